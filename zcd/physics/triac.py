"""The switch that carries a fan's current: heat, and the voltage that returns when it stops."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

MEAN_OVER_RMS = 2.0 * np.sqrt(2.0) / np.pi
"""Of the absolute value of a sine."""


def derated_current_a(
    rated_a: ArrayLike, ambient_degc: ArrayLike, full_degc: ArrayLike, zero_degc: ArrayLike
) -> FloatArray:
    """Rms current that a part may carry at an ambient temperature.

    Parameters
    ----------
    rated_a : array_like
        [A]
    ambient_degc, full_degc, zero_degc : array_like
        Ambient; up to where the full current is allowed; from where none is. [°C]

    Returns
    -------
    current : ndarray
        On a straight line between the two. [A]

    Examples
    --------
    >>> derated_current_a(1.5, [25.0, 70.0, 110.0], 40.0, 100.0).tolist()
    [1.5, 0.75, 0.0]
    """
    span = np.subtract(zero_degc, full_degc)
    share = np.clip(np.subtract(zero_degc, ambient_degc) / span, 0.0, 1.0)
    return np.asarray(np.asarray(rated_a, dtype=float) * share)


def free_air_current_a(
    on_v: ArrayLike, thermal_k_per_w: ArrayLike, ambient_degc: ArrayLike, junction_degc: ArrayLike
) -> FloatArray:
    r"""Rms current that heats a triac without a heat sink to its highest junction temperature.

    .. math:: T_j - T_a = R_{th} V_{on} \frac{2 \sqrt 2}{\pi} I

    Parameters
    ----------
    on_v : array_like
        On-state voltage, taken as the same at any current. [V]
    thermal_k_per_w : array_like
        Junction to ambient. [K/W]
    ambient_degc, junction_degc : array_like
        [°C]

    Returns
    -------
    current : ndarray
        Of a whole sine: phase control takes some of it away. [A]

    Examples
    --------
    >>> float(free_air_current_a(1.2, 60.0, 60.0, 125.0).round(3))
    1.003
    """
    rise = np.maximum(np.subtract(junction_degc, ambient_degc), 0.0)
    return np.asarray(rise / (np.multiply(thermal_k_per_w, on_v) * MEAN_OVER_RMS))


def reapplied_slope_v_per_s(
    peak_v: ArrayLike, lag_rad: ArrayLike, inductance_h: ArrayLike, capacitance_f: ArrayLike
) -> FloatArray:
    r"""Steepest rise of the voltage across a switch that stops at the end of a half cycle.

    .. math:: \left.\frac{dv}{dt}\right|_{max} = \frac{\hat V \sin\varphi}{\sqrt{L C}}

    The current of an inductive load ends when the mains is already at its next half: the load's
    inductance then swings the capacitance across the switch up to there.

    Parameters
    ----------
    peak_v : array_like
        Of the mains. [V]
    lag_rad : array_like
        Of the load's current. [rad]
    inductance_h, capacitance_f : array_like
        Of the load; across the switch (snubber, or what strays). [H], [F]

    Returns
    -------
    slope : ndarray
        Without damping: cautious. [V/s]
    """
    swing = np.sqrt(np.multiply(inductance_h, capacitance_f))
    return np.asarray(np.asarray(peak_v) * np.sin(np.asarray(lag_rad, dtype=float)) / swing)
