"""Sync pulses from the pin's waveform: edges, low time, offset, time in the undefined band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zcd.circuit.batch import Batch
from zcd.circuit.elements import Phototransistor, harmonics_of
from zcd.engine.kernel import find_falls
from zcd.engine.solution import Solution
from zcd.physics.mains import crossing_shift_rad

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

MAX_PULSES = 4
"""Pulses a period that are kept; more than two is chatter already."""
# edges of each kind: those of the pulses kept, and one more at either end
_EDGES = MAX_PULSES + 2
ONE_SIDED_RATIO = 0.1
"""Light of one half period over that of the other, below which the detector is one-sided."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulses(Batch):
    """Low pulses at the sync pin over one mains period.

    A pulse begins where the pin falls below the low threshold and ends where it rises above the
    high one. Arrays of shape (n, `MAX_PULSES`) are in order of time, nan where there is no pulse.

    Parameters
    ----------
    count : ndarray of int, shape (n,)
        Complete pulses a period.
    fall_s, rise_s : ndarray
        Edges, as time from the fundamental's rising crossing; `rise_s` is after its `fall_s`.
    low_time_s : ndarray
        From falling to rising edge.
    fall_offset_s, rise_offset_s : ndarray
        From the edge's true zero crossing to the edge; positive = late. Where the LED conducts
        in one half of the period only, the crossings are those that bound that half;
        otherwise the nearest.
    fall_transition_s, rise_transition_s : ndarray
        Time in the undefined band at each edge.
    interval_s : ndarray
        From each falling edge to the next one.
    period_s : ndarray, shape (n,)
        Their mean; nan without pulses.
    lowest_v, highest_v : ndarray, shape (n,)
        Extremes of the pin.
    """

    count: IntArray
    fall_s: FloatArray
    rise_s: FloatArray
    low_time_s: FloatArray
    fall_offset_s: FloatArray
    rise_offset_s: FloatArray
    fall_transition_s: FloatArray
    rise_transition_s: FloatArray
    interval_s: FloatArray
    period_s: FloatArray
    lowest_v: FloatArray
    highest_v: FloatArray


def find_pulses(
    solution: Solution,
    low_threshold_v: ArrayLike,
    high_threshold_v: ArrayLike,
    rows: IntArray | slice = slice(None),
) -> Pulses:
    """Low pulses of rows of a solution.

    Parameters
    ----------
    solution : Solution
    low_threshold_v, high_threshold_v : array_like, shape (n,) or scalar
        Of the sync pin. [V]
    rows : ndarray of int, shape (n,), or slice
        Which, repeated or not; all of them by default.

    Returns
    -------
    pulses : Pulses
    """
    time, pin, period = (w[rows] for w in (solution.time_s, solution.pin_v, solution.period_s))
    time, pin = np.ascontiguousarray(time), np.ascontiguousarray(pin)
    n = pin.shape[0]
    low, high = (np.full(n, level, dtype=float) for level in (low_threshold_v, high_threshold_v))
    fall, band_in, rise, band_out = np.full((4, n, _EDGES), np.nan)
    find_falls(time, pin, low, high, period, fall, band_in)
    # a rise is a fall of the waveform upside down
    find_falls(time, -pin, -high, -low, period, rise, band_out)
    rise, band_out = _after(fall, rise, band_out, period[:, None])
    fall, band_in, rise, band_out = (a[:, :MAX_PULSES] for a in (fall, band_in, rise, band_out))
    low_time = rise - fall
    count = np.sum(np.isfinite(low_time), axis=1)
    whole = (solution.period_s.size, 1)
    rising, falling = (
        np.broadcast_to(shift[:, None], whole)[rows]
        for shift in crossing_shift_rad(*harmonics_of(solution.circuit))
    )
    shifts, half = (rising, falling), _lit_half(solution)[rows, None]
    # an emitter follower is high while there is light
    inverted = any(opto.b == "pin" for opto in solution.circuit.of(Phototransistor))
    return Pulses(
        count=count,
        fall_s=fall,
        rise_s=rise,
        low_time_s=low_time,
        fall_offset_s=_offset(fall, period[:, None], shifts, half + inverted),
        rise_offset_s=_offset(rise, period[:, None], shifts, half + (not inverted)),
        fall_transition_s=band_in,
        rise_transition_s=band_out,
        interval_s=_to_next(fall, count, period[:, None]),
        period_s=np.where(count > 0, period / np.maximum(count, 1), np.nan),
        lowest_v=pin.min(axis=1),
        highest_v=pin.max(axis=1),
    )


def _after(
    fall: FloatArray, rise: FloatArray, band: FloatArray, period: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The rising edge that follows each falling edge; falls and rises take turns."""
    first_is_rise = rise[:, :1] < fall[:, :1]
    count = np.sum(np.isfinite(rise), axis=1, keepdims=True)
    shift = np.arange(rise.shape[1]) + first_is_rise
    wraps = shift >= count
    index = np.where(wraps, shift - count, shift).clip(0, rise.shape[1] - 1)
    none = np.where(np.isnan(fall), np.nan, 0.0)
    rise_next = np.take_along_axis(rise, index, axis=1) + np.where(wraps, period, 0.0)
    return rise_next + none, np.take_along_axis(band, index, axis=1) + none


def _to_next(fall: FloatArray, count: IntArray, period: FloatArray) -> FloatArray:
    """From each falling edge to the next; from the last to the first of the next period."""
    last = np.arange(fall.shape[1]) == count[:, None] - 1
    following = np.where(last, fall[:, :1] + period, np.roll(fall, -1, axis=1))
    return following - fall


def _lit_half(solution: Solution) -> FloatArray:
    """Half of the period (0 or 1) in which alone the LED conducts; nan where it is both."""
    leds = {led for opto in solution.circuit.of(Phototransistor) for led in opto.leds}
    lit = [np.maximum(solution.currents_a[led], 0.0) for led in leds & set(solution.currents_a)]
    n = solution.phase_rad.shape[0]
    if not lit:
        return np.full(n, np.nan)
    light = np.sum(lit, axis=0)
    first = solution.mean(light * (solution.phase_rad < np.pi))
    halves = np.stack([first, solution.mean(light) - first])
    one_sided = halves.min(axis=0) < ONE_SIDED_RATIO * halves.max(axis=0)
    return np.where(one_sided, np.argmax(halves, axis=0), np.nan)


def _offset(
    edge: FloatArray, period: FloatArray, shifts: tuple[FloatArray, FloatArray], half: FloatArray
) -> FloatArray:
    """Time from crossing number `half`, or from the nearest one where that is nan."""
    turn = period / (2.0 * np.pi)
    nearest = np.round((edge - shifts[0] * turn) / (period / 2.0))
    number = np.where(np.isnan(half), nearest, half)
    crossing = number * period / 2.0 + np.where(number % 2 == 0, shifts[0], shifts[1]) * turn
    late = edge - crossing
    wrapped = (late + period / 2.0) % period - period / 2.0
    return np.where(np.isnan(half), late, wrapped)
