"""The surge of the immunity standards: a voltage that rises in 1.2 us and halves in 50 us."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

TAIL_S = 68.217e-6
"""Time constant of the fall."""
FRONT_S = 0.40503e-6
"""Time constant of the rise; with `TAIL_S` the only pair that gives 1.2 and 50 us."""
PEAK_S = np.log(TAIL_S / FRONT_S) * TAIL_S * FRONT_S / (TAIL_S - FRONT_S)
"""When it is highest, after its start."""


def surge_ratio(time_s: ArrayLike) -> FloatArray:
    r"""Open-circuit voltage of the surge, against its peak.

    .. math:: u = (e^{-t / \tau_2} - e^{-t / \tau_1}) / \hat u

    Parameters
    ----------
    time_s : array_like, shape (...,)
        From its start; nothing before. [s]

    Returns
    -------
    ratio : ndarray, shape (...,)
        1 at the peak. [1]

    Notes
    -----
    The standards define the wave by two times only: front 1.2 us (1.67 times the time from 30 to
    90 %) and 50 us from the virtual start to half; a double exponential is the usual reading of
    that. Its constants follow from the two times.

    Examples
    --------
    >>> surge_ratio([-1e-6, 0.0, PEAK_S]).round(6).tolist()
    [0.0, 0.0, 1.0]
    """
    time = np.maximum(np.asarray(time_s, dtype=float), 0.0)
    peak = np.exp(-PEAK_S / TAIL_S) - np.exp(-PEAK_S / FRONT_S)
    return np.asarray((np.exp(-time / TAIL_S) - np.exp(-time / FRONT_S)) / peak)


def surge_voltage_v(
    phase_rad: FloatArray, surge_v: FloatArray, frequency_hz: FloatArray
) -> FloatArray:
    """A surge on the peak of the mains that has its sign, once a period.

    Parameters
    ----------
    phase_rad : ndarray, shape (n, m)
        Phase of the mains. [rad]
    surge_v : ndarray, shape (n, 1)
        Peak; a negative surge comes on the negative peak of the mains. [V]
    frequency_hz : ndarray, shape (n, 1)
        Of the mains. [Hz]

    Returns
    -------
    voltage_v : ndarray, shape (n, m)
        [V]
    """
    since = (phase_rad - start_rad(surge_v)) % (2.0 * np.pi)
    return surge_v * surge_ratio(since / (2.0 * np.pi * frequency_hz))


def start_rad(surge_v: ArrayLike) -> FloatArray:
    """Phase of the mains at which a surge of this sign starts. [rad]"""
    return np.where(np.asarray(surge_v) < 0.0, 1.5 * np.pi, 0.5 * np.pi)
