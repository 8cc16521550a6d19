"""The optocoupler from LED current to collector, in SPICE's words.

Light is a voltage: 1 V stands for 1 mA of collector current at VCE = 5 V. CTR over current is a
straight line in logs between its corners, so that a table in logs holds it exactly.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Phototransistor
from zcd.physics.optocoupler import (
    REFERENCE_COLLECTOR_V,
    ctr_corners_a,
    ctr_shape_ratio,
    ctr_temperature_ratio,
)
from zcd.spice.devices import Device, base_current_a
from zcd.spice.names import PartNames, plain

FloatArray = NDArray[np.float64]

MA = 1e-3
LAG_OHM = 1e3
HIGHEST_A = 1.0
STEEPEST = 60.0
"""Arguments of the saturation law's exponential are kept within this, as the engine does."""
PAIRS_A_LINE = 3
DEVICE_POINTS_A = np.geomspace(1e-10, 0.3, 80)
"""Collector currents between which the base current goes straight in logs."""


def light(opto: Phototransistor, sources: Mapping[str, float], names: PartNames) -> Iterator[str]:
    """A node whose voltage is the light, from the currents of some sources.

    `sources` gives for each of them its LED's CTR over that of the first.
    """
    node = light_node(opto)
    yield f"* {opto.ref}: 1 V at {node} stands for 1 mA of collector current at 5 V"
    ratio = _one(opto.ctr_ratio) * _one(opto.remaining_ratio)
    name = names.of("B", f"{opto.ref}.light")
    if ratio == 0.0 or not sources:
        yield f"{name} {node} 0 V=0 ; dark"
        return
    own = int(_one(opto.own_shape))
    current = np.append(ctr_corners_a(own), HIGHEST_A)
    shape = ctr_shape_ratio(current, _one(opto.shape_weight), own)
    heat = ctr_temperature_ratio(current, _one(opto.temperature_degc), own)
    wanted = ratio * current * shape * heat / MA
    yield f"{name} {node} 0 V=0"
    for source, of_first in sources.items():
        yield from table(f"i({source})", current, of_first * wanted, "+ +")


def by_equations(
    opto: Phototransistor, collector: str, emitter: str, names: PartNames
) -> Iterator[str]:
    """Storage as a lag, then the saturation law: the same equations as the engine's."""
    node, late = light_node(opto), f"{plain(opto.ref)}.late"
    farad = _one(opto.storage_s) / LAG_OHM
    yield f"{names.of('R', f'{opto.ref}.storage')} {node} {late} {LAG_OHM!r}"
    yield f"{names.of('C', f'{opto.ref}.storage')} {late} 0 {farad!r} ; storage"
    across = f"v({collector},{emitter})"
    knee, early = _one(opto.knee_v), _one(opto.early_v)
    rise = f"exp(min(max({across}/{knee!r},{-STEEPEST!r}),{STEEPEST!r}))"
    yield f"{names.of('B', opto.ref)} {collector} {emitter} I="
    yield f"+ (v({late})*{MA!r}+{_one(opto.dark_a)!r})"
    yield f"+ *({rise}-1)"
    yield f"+ /({rise}+{_one(opto.knee_ratio)!r})"
    yield f"+ *(1+max({across},0)/{early!r})/{1.0 + REFERENCE_COLLECTOR_V / early!r}"


def by_device(
    opto: Phototransistor,
    collector: str,
    emitter: str,
    device: tuple[Device, float],
    names: PartNames,
) -> Iterator[str]:
    """A transistor whose base takes the photocurrent that gives the same light at 5 V.

    `device` is the transistor and its thermal voltage.
    """
    base = f"{plain(opto.ref)}.base"
    yield f"* photocurrent from collector to base, calibrated at VCE = {REFERENCE_COLLECTOR_V:g} V"
    yield f"{names.of('B', f'{opto.ref}.base')} {collector} {base} I=0"
    seen = f"v({light_node(opto)})+{_one(opto.dark_a) / MA!r}"
    wanted = base_current_a(device[0], DEVICE_POINTS_A, device[1])
    yield from table(seen, DEVICE_POINTS_A / MA, wanted, "+ +")
    yield f"{names.of('Q', opto.ref)} {collector} {base} {emitter} law.{plain(opto.ref)}"


def light_node(opto: Phototransistor) -> str:
    """Name of the node that stands for the light."""
    return f"{plain(opto.ref)}.light"


def table(argument: str, x: FloatArray, y: FloatArray, start: str) -> Iterator[str]:
    """A function given by points, straight in logs between them; ends in continued lines."""
    yield f"{start}exp(pwl(ln(max({argument},{float(x[0])!r})),"
    pairs = [f"{a!r},{b!r}" for a, b in zip(np.log(x).tolist(), np.log(y).tolist(), strict=True)]
    for k in range(0, len(pairs), PAIRS_A_LINE):
        end = "))" if k + PAIRS_A_LINE >= len(pairs) else ","
        yield f"+ {','.join(pairs[k : k + PAIRS_A_LINE])}{end}"


def _one(value: object) -> float:
    return float(np.asarray(value, dtype=float).reshape(-1)[0])
