"""The mains voltage over a cycle, with harmonics, and its true zero crossings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

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
        Harmonics: order, amplitude ratio to the fundamental, phase; ratio and phase may have a
        second axis for rows of their own, shape (h, n). [1, 1, rad]

    Returns
    -------
    voltage_v : ndarray, shape (n, m)
        [V]
    """
    phase = np.asarray(phase_rad, dtype=float)
    wave = np.sin(phase)
    amplitudes: dict[int, NDArray[np.complex128]] = {}
    for order, ratio, shift in _each(orders, ratios, phases_rad):
        number = int(order.item())
        amplitudes[number] = amplitudes.get(number, 0.0) + ratio * np.exp(1j * shift)
    power = turn = np.cos(phase) + 1j * wave if amplitudes else wave
    reached = 1
    for number, amplitude in sorted(amplitudes.items()):  # a sine of each takes twice as long
        power, reached = power * turn ** (number - reached), number
        wave = wave + (amplitude * power).imag
    return np.asarray(np.sqrt(2.0) * np.asarray(rms_v, dtype=float)[..., None] * wave)


def _each(
    orders: ArrayLike, ratios: ArrayLike, phases_rad: ArrayLike
) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
    """Order, ratio and phase of one harmonic after another, each of shape (n, 1) or (1, 1)."""
    columns = (np.atleast_1d(np.asarray(x, dtype=float)) for x in (orders, ratios, phases_rad))
    return zip(*(c[..., None] if c.ndim == 2 else c[:, None, None] for c in columns), strict=True)


def crossing_shift_rad(
    orders: ArrayLike = (), ratios: ArrayLike = (), phases_rad: ArrayLike = ()
) -> tuple[FloatArray, FloatArray]:
    """Shift of the rising and the falling true crossing from those of the fundamental.

    Parameters
    ----------
    orders, ratios, phases_rad : array_like
        Harmonics, as for `mains_voltage_v`.

    Returns
    -------
    rising_rad, falling_rad : ndarray, shape (n,) or (1,)
        Positive = later than 0 (rising) and pi (falling). [rad]

    Raises
    ------
    InputError
        If a crossing is not within half a radian of that of the fundamental.

    Notes
    -----
    The crossing nearest to the fundamental's is taken; harmonics strong enough to make several
    crossings in one half cycle are outside this law. The zero is found by Newton's method, kept
    between ends of different sign.
    """
    harmonics = list(_each(orders, ratios, phases_rad))
    if not harmonics:
        return np.zeros(1), np.zeros(1)
    # the falling crossing, turned by half a period, is a rising one with the even orders reversed
    turned = [(h, np.where(h % 2 == 0, -a, a), p) for h, a, p in harmonics]
    return _rising_rad(harmonics), _rising_rad(turned)


_SPAN_RAD = 0.5  # single harmonics at their compatibility levels move a crossing by 0.07 rad
_ENOUGH_RAD = 1e-13


def _rising_rad(harmonics: Sequence[tuple[FloatArray, FloatArray, FloatArray]]) -> FloatArray:
    """Zero of the wave nearest to 0, shape (n,)."""

    def wave(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        value, slope = np.sin(x), np.cos(x)
        for order, ratio, phase in harmonics:
            value = value + ratio[:, 0] * np.sin(order[:, 0] * x + phase[:, 0])
            slope = slope + ratio[:, 0] * order[:, 0] * np.cos(order[:, 0] * x + phase[:, 0])
        return value, slope

    size = max(a.shape[0] for triple in harmonics for a in triple)
    low, high = np.full(size, -_SPAN_RAD), np.full(size, _SPAN_RAD)
    crosses = bool(np.all((wave(low)[0] < 0) & (wave(high)[0] > 0)))
    require(crosses, "mains.harmonics", [float(np.max(a)) for _, a, _ in harmonics], "",
            "weak enough to leave one zero crossing in each half period")  # fmt: skip
    x = np.zeros(size)
    moved = np.full(size, _SPAN_RAD)
    while np.any(np.abs(moved) > _ENOUGH_RAD):
        value, slope = wave(x)
        low, high = np.where(value < 0, x, low), np.where(value < 0, high, x)
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = x - value / slope
        inside = (newton >= low) & (newton <= high)
        moved = np.where(inside, newton, 0.5 * (low + high)) - x
        x = x + moved
    return x
