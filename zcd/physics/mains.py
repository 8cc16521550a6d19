"""The mains voltage over a cycle, with harmonics, and its true zero crossings."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zcd.errors import require

FloatArray = NDArray[np.float64]


def mains_voltage_v(
    phase_rad: ArrayLike,
    rms_v: ArrayLike,
    orders: ArrayLike = (),
    ratios: ArrayLike = (),
    phases_rad: ArrayLike = (),
) -> FloatArray:
    r"""Instantaneous mains voltage.

    .. math:: v = \sqrt 2 V (\sin\theta + \sum_h a_h \sin(h\theta + \varphi_h))

    Parameters
    ----------
    phase_rad : array_like, shape (n, m)
        Phase of the fundamental. [rad]
    rms_v : array_like, shape (n,) or scalar
        Rms of the fundamental, which harmonics leave as it is. [V]
    orders, ratios, phases_rad : array_like, shape (h,)
        Harmonics: order, amplitude ratio to the fundamental, phase. [1, 1, rad]

    Returns
    -------
    voltage_v : ndarray, shape (n, m)
        [V]
    """
    phase = np.asarray(phase_rad, dtype=float)
    wave = np.sin(phase)
    triples = zip(
        np.atleast_1d(orders), np.atleast_1d(ratios), np.atleast_1d(phases_rad), strict=True
    )
    for order, ratio, shift in triples:
        wave = wave + ratio * np.sin(order * phase + shift)
    return np.asarray(np.sqrt(2.0) * np.asarray(rms_v, dtype=float)[..., None] * wave)


def crossing_shift_rad(
    orders: ArrayLike = (), ratios: ArrayLike = (), phases_rad: ArrayLike = ()
) -> tuple[float, float]:
    """Shift of the rising and the falling true crossing from those of the fundamental.

    Parameters
    ----------
    orders, ratios, phases_rad : array_like, shape (h,)
        Harmonics, as for `mains_voltage_v`.

    Returns
    -------
    rising_rad, falling_rad : float
        Positive = later than 0 (rising) and pi (falling). [rad]

    Raises
    ------
    InputError
        If a crossing is not within half a radian of that of the fundamental.

    Notes
    -----
    The crossing nearest to the fundamental's is taken; harmonics strong enough to make several
    crossings in one half cycle are outside this law.
    """
    if np.size(orders) == 0:
        return 0.0, 0.0
    from scipy.optimize import brentq

    def wave(phase: float) -> float:
        return float(mains_voltage_v([[phase]], [1.0], orders, ratios, phases_rad)[0, 0])

    span = 0.5  # rad; single harmonics at their compatibility levels move a crossing by 0.07 rad
    for middle in (0.0, np.pi):
        crosses = wave(middle - span) * wave(middle + span) < 0
        require(crosses, "mains.harmonics", list(np.atleast_1d(ratios)), "",
                "weak enough to leave one zero crossing in each half period")  # fmt: skip
    return brentq(wave, -span, span), brentq(wave, np.pi - span, np.pi + span) - np.pi
