"""A small NPN transistor: the constants of its law, from published SPICE models."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zcd.physics.diode import REFERENCE_K, ZERO_CELSIUS_K
from zcd.refdata import table

FloatArray = NDArray[np.float64]

GAIN_RISE = 1.5
"""Power of absolute temperature with which gain rises: XTB of both models."""
_AT_PIN_SHARE = 0.6
"""Collector-base capacitance at some volts over that at none: (1 + 2.5 V / 0.75 V) ** -1/3."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NpnLaw:
    """Constants of the transport model.

    Parameters
    ----------
    saturation_a : float
        Collector current is this times exp(VBE / VT). [A]
    reverse_gain_ratio, early_v : float
        BR and VAF. [1], [V]
    collector_f, emitter_f : float
        Capacitance from collector to base at some volts; from base to emitter. [F]
    storage_s : float
        Time in which the charge of saturation is gone. [s]
    """

    saturation_a: float
    reverse_gain_ratio: float
    early_v: float
    collector_f: float
    emitter_f: float
    storage_s: float


def npn_law(model: str) -> NpnLaw:
    """The law of a row of ``reference/transistor_models.csv``."""
    row = {
        name: float(value) if name not in ("model", "source") else 0.0
        for name, value in next(
            r for r in table("transistor_models") if r["model"] == model
        ).items()
    }
    return NpnLaw(
        saturation_a=row["saturation_a"],
        reverse_gain_ratio=row["reverse_gain_ratio"],
        early_v=row["early_v"],
        collector_f=_AT_PIN_SHARE * row["collector_junction_f"],
        emitter_f=row["emitter_junction_f"],
        storage_s=row["reverse_transit_s"],
    )


def gain_at(gain_ratio: ArrayLike, temperature_degc: ArrayLike) -> FloatArray:
    """Gain at a temperature, from that at 25 degC.

    Parameters
    ----------
    gain_ratio : array_like
        hFE. [1]
    temperature_degc : array_like
        [°C]

    Returns
    -------
    gain_ratio : ndarray
        [1]
    """
    kelvin = np.asarray(temperature_degc, dtype=float) + ZERO_CELSIUS_K
    return np.asarray(np.asarray(gain_ratio) * (kelvin / REFERENCE_K) ** GAIN_RISE)
