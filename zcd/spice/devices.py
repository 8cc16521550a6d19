"""The phototransistor as a device: a published transistor, its base driven by a photocurrent.

The published models say how the transistor saturates and how slowly it leaves saturation. How
much light a LED current makes they say badly or not at all, so that the base current is
calibrated: at VCE = 5 V the device gives the board's own CTR at every LED current.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from math import isnan

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zcd.board.model import Board
from zcd.physics.optocoupler import REFERENCE_COLLECTOR_V
from zcd.refdata import table

FloatArray = NDArray[np.float64]

MIN_BASE_A = 1e-16


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """Parameters of a published transistor model, and of the LED beside it.

    Parameters
    ----------
    model : str
        Name of its row in ``reference/optocoupler_device.csv``.
    saturation_a, forward_emission_ratio : float
        Transport saturation current and its emission coefficient (IS, NF).
    forward_gain_ratio, reverse_gain_ratio : float
        BF, BR.
    early_v, knee_a : float
        VAF; IKF, infinite where the model has none.
    base_leak_a, base_leak_emission_ratio : float
        ISE, NE.
    collector_leak_a : float
        ISC; its emission coefficient is 2.
    collector_ohm : float
        RC.
    collector_junction_f, emitter_junction_f, substrate_junction_f : float
        CJC, CJE, CJS.
    forward_transit_s, reverse_transit_s : float
        TF, TR.
    led_capacitance_f : float
        CJO of the LED.
    """

    model: str
    saturation_a: float
    forward_gain_ratio: float
    forward_emission_ratio: float
    early_v: float
    knee_a: float
    base_leak_a: float
    base_leak_emission_ratio: float
    reverse_gain_ratio: float
    collector_leak_a: float
    collector_ohm: float
    collector_junction_f: float
    emitter_junction_f: float
    substrate_junction_f: float
    forward_transit_s: float
    reverse_transit_s: float
    led_capacitance_f: float = 0.0


_SPICE_NAMES = {
    "saturation_a": "IS",
    "forward_gain_ratio": "BF",
    "forward_emission_ratio": "NF",
    "early_v": "VAF",
    "knee_a": "IKF",
    "base_leak_a": "ISE",
    "base_leak_emission_ratio": "NE",
    "reverse_gain_ratio": "BR",
    "collector_leak_a": "ISC",
    "collector_ohm": "RC",
    "collector_junction_f": "CJC",
    "emitter_junction_f": "CJE",
    "substrate_junction_f": "CJS",
    "forward_transit_s": "TF",
    "reverse_transit_s": "TR",
}
_COLLECTOR_LEAK_EMISSION = 2.0
"""NC, SPICE's own default."""


def devices() -> dict[str, Device]:
    """The published models of optocouplers by name."""
    return _models("optocoupler_device")


def _models(name: str) -> dict[str, Device]:
    result = {}
    for row in table(name):
        values = {f.name: row[f.name] for f in fields(Device) if f.name in row}
        if isnan(float(values["knee_a"])):
            values["knee_a"] = float("inf")
        result[str(row["model"])] = Device(**values)  # type: ignore[arg-type]
    return result


def family_of(board: Board) -> str:
    """The family of a board's optocoupler, or the model of its transistor; empty without one, where
    no transistor is at the pin."""
    if board.transistor is not None:
        return board.transistor.model
    return "" if board.optocoupler is None else board.optocoupler.family


def device_of(family: str) -> Device:
    """The model taken for an optocoupler family, or that of a transistor by its name; families
    without one take that of 817."""
    if family in (transistors := _models("transistor_models")):
        return transistors[family]
    models = {str(row["family"]): str(row["model"]) for row in table("optocoupler_device")}
    return devices()[models.get(family, models["817"])]


def model_parameters(device: Device) -> dict[str, float]:
    """Parameters of SPICE's NPN model, by SPICE's names."""
    result = {spice: getattr(device, name) for name, spice in _SPICE_NAMES.items()}
    return {name: value for name, value in result.items() if np.isfinite(value)}


def base_current_a(device: Device, collector_a: ArrayLike, thermal_v: float) -> FloatArray:
    """Photocurrent into the base that gives a collector current at VCE = 5 V.

    Parameters
    ----------
    device : Device
    collector_a : array_like, shape (m,)
        At the collector's pin, photocurrent included; > 0. [A]
    thermal_v : float
        Thermal voltage. [V]

    Returns
    -------
    base_a : ndarray, shape (m,)
        [A]

    Notes
    -----
    Gummel-Poon equations without the ohmic resistances, which at some milliamperes drop
    millivolts out of 5 V. The base-emitter voltage is sought by bisection: collector current
    rises with it.
    """
    wanted = np.asarray(collector_a, dtype=float)
    low, high = np.zeros(wanted.shape), np.full(wanted.shape, 1.5)
    for _ in range(60):
        middle = (low + high) / 2.0
        base, collector = _currents_a(device, middle, thermal_v)
        above = collector + base > wanted
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    base, _ = _currents_a(device, high, thermal_v)
    return np.maximum(base, MIN_BASE_A)


def _currents_a(
    device: Device, base_emitter_v: FloatArray, thermal_v: float
) -> tuple[FloatArray, FloatArray]:
    """Base and collector current of the Gummel-Poon model at VCE = 5 V."""
    d, vbe = device, base_emitter_v
    vbc = vbe - REFERENCE_COLLECTOR_V
    forward = d.saturation_a * np.expm1(vbe / (d.forward_emission_ratio * thermal_v))
    reverse = d.saturation_a * np.expm1(vbc / thermal_v)
    early = 1.0 / (1.0 - vbc / d.early_v)
    charge = early * (1.0 + np.sqrt(1.0 + 4.0 * np.maximum(forward, 0.0) / d.knee_a)) / 2.0
    leak_e = d.base_leak_a * np.expm1(vbe / (d.base_leak_emission_ratio * thermal_v))
    leak_c = d.collector_leak_a * np.expm1(vbc / (_COLLECTOR_LEAK_EMISSION * thermal_v))
    backwards = reverse / d.reverse_gain_ratio + leak_c
    base = forward / d.forward_gain_ratio + leak_e + backwards
    collector = (forward - reverse) / charge - backwards
    return np.asarray(base), np.asarray(collector)
