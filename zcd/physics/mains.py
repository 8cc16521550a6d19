"""The mains voltage over a cycle, with harmonics, and its true zero crossings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zcd.errors import require

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]


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
    amplitudes = _amplitudes(orders, ratios, phases_rad)
    if amplitudes:
        for power, _, amplitude in _harmonics(np.cos(phase) + 1j * wave, amplitudes):
            wave = wave + (amplitude[..., None] * power).imag
    return np.asarray(np.sqrt(2.0) * np.asarray(rms_v, dtype=float)[..., None] * wave)


def _amplitudes(
    orders: ArrayLike, ratios: ArrayLike, phases_rad: ArrayLike
) -> dict[int, ComplexArray]:
    """Complex amplitude of each order, rising, over the fundamental; shape (n,) or (1,)."""
    amplitudes: dict[int, ComplexArray] = {}
    columns = (np.atleast_1d(np.asarray(x, dtype=float)) for x in (orders, ratios, phases_rad))
    for order, ratio, shift in zip(*columns, strict=True):
        number = int(np.max(order))
        more = np.atleast_1d(ratio * np.exp(1j * shift))
        amplitudes[number] = amplitudes[number] + more if number in amplitudes else more
    return dict(sorted(amplitudes.items()))


def _harmonics(
    turn: ComplexArray, amplitudes: Mapping[int, ComplexArray]
) -> Iterator[tuple[ComplexArray, int, ComplexArray]]:
    """Powers of `turn` by order; a sine of each would take twice as long."""
    power, reached = turn, 1
    for number, amplitude in amplitudes.items():
        power, reached = power * turn ** (number - reached), number
        yield power, number, amplitude


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
    amplitudes = _amplitudes(orders, ratios, phases_rad)
    if not amplitudes:
        return np.zeros(1), np.zeros(1)
    # the falling crossing, turned by half a period, is a rising one with the even orders reversed
    turned = {number: a if number % 2 else -a for number, a in amplitudes.items()}
    return _rising_rad(amplitudes), _rising_rad(turned)


_SPAN_RAD = 0.5  # single harmonics at their compatibility levels move a crossing by 0.07 rad
_ENOUGH_RAD = 1e-13


def _rising_rad(amplitudes: Mapping[int, ComplexArray]) -> FloatArray:
    """Zero of the wave nearest to 0, shape (n,)."""

    def wave(x: FloatArray) -> tuple[FloatArray, FloatArray]:
        turn = np.exp(1j * x)
        value, slope = turn.imag, turn.real
        for power, number, amplitude in _harmonics(turn, amplitudes):
            part = amplitude * power
            value, slope = value + part.imag, slope + number * part.real
        return value, slope

    size = max(amplitude.size for amplitude in amplitudes.values())
    low, high = np.full(size, -_SPAN_RAD), np.full(size, _SPAN_RAD)
    crosses = bool(np.all((wave(low)[0] < 0) & (wave(high)[0] > 0)))
    found = [float(np.max(np.abs(amplitude))) for amplitude in amplitudes.values()]
    require(crosses, "mains.harmonics", found, "",
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
