"""Solved points as a curve for the eye: finer than the points, through all of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from zcd.engine.solution import Solution

FloatArray = NDArray[np.float64]

FINER = 6
"""Drawn pieces between two solved points."""


def smooth(at: FloatArray, values: FloatArray, finer: int = FINER) -> tuple[FloatArray, FloatArray]:
    """A smooth curve through points that adds no swing of its own.

    Parameters
    ----------
    at : ndarray, shape (m,)
        Never falling; of equal ones the first counts.
    values : ndarray, shape (m,)
    finer : int
        Drawn pieces between two points.

    Returns
    -------
    at, values : ndarray
        On cubics. It rises and falls with the points; beyond them it goes only at a rounded top
        or bottom, where the bends on both sides agree, as far as the parabola there.

    Notes
    -----
    The slope at a point is that of the parabola through it and its neighbours, limited as H. T.
    Huynh does, "Accurate monotone cubic interpolation", SIAM J. Numer. Anal. 30 (1993), method M3.
    """
    rising = np.diff(at, prepend=-np.inf) > 0.0
    at, values = at[rising], values[rising]
    width = np.diff(at)
    chord = np.diff(values) / width
    share = np.arange(finer)[:, None] / finer
    rest = 1.0 - share
    slope = _slopes(width, chord)
    fine = (
        values[:-1] * rest**2 * (1.0 + 2.0 * share)
        + values[1:] * share**2 * (1.0 + 2.0 * rest)
        + width * share * rest * (slope[:-1] * rest - slope[1:] * share)
    )
    points = at[:-1] + width * share
    return np.append(points.T.ravel(), at[-1]), np.append(fine.T.ravel(), values[-1])


def _slopes(width: FloatArray, chord: FloatArray) -> FloatArray:
    """Slope at each point, given width and slope of the chords between them."""
    bend = np.pad(np.diff(chord) / (width[:-1] + width[1:]), 1)
    tilt = _smaller(bend[:-1], bend[1:]) * width
    before, after = chord[:-1], chord[1:]
    parabola = (before * width[1:] + after * width[:-1]) / (width[:-1] + width[1:])
    rounded = _smaller(before + tilt[:-1], after - tilt[1:])
    limit = np.maximum(3.0 * np.abs(_smaller(before, after)), 1.5 * np.abs(rounded))
    inner = np.where(rounded * parabola > 0.0, np.clip(parabola, -limit, limit), 0.0)
    return np.concatenate([chord[:1], inner, chord[-1:]])


def _smaller(one: FloatArray, other: FloatArray) -> FloatArray:
    """The nearer one to zero of two of the same sign, else zero."""
    least = np.minimum(np.abs(one), np.abs(other))
    return np.where(one * other > 0.0, np.sign(one) * least, 0.0)


def period_curve(
    solution: Solution, wave: FloatArray, row: int = 0, finer: int = FINER
) -> tuple[FloatArray, FloatArray]:
    """A solved waveform as a smooth curve over one mains period.

    Parameters
    ----------
    solution : Solution
        Gives the instants; a row that has not settled is drawn as far as it was solved.
    wave : ndarray, shape (n, m)
    row : int
    finer : int
        As for `smooth`.

    Returns
    -------
    time_s, values : ndarray
        From 0 to the end of the period.
    """
    time, values = solution.time_s[row], np.asarray(wave)[row]
    period_s = float(solution.period_s[row])
    order = np.argsort(time)
    time, values = time[order], values[order]
    if not solution.settled[row]:
        return smooth(time, values, finer)
    time = np.concatenate([time[-3:] - period_s, time, time[:3] + period_s])
    values = np.concatenate([values[-3:], values, values[:3]])
    time, values = smooth(time, values, finer)
    within = (time > 0.0) & (time < period_s)
    ends = np.interp([0.0, period_s], time, values)
    return (
        np.concatenate([[0.0], time[within], [period_s]]),
        np.concatenate([ends[:1], values[within], ends[1:]]),
    )
