"""Solved points as a curve for the eye: finer than the points, through all of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from zcd.engine.solution import Solution

FloatArray = NDArray[np.float64]

FINER = 6
"""Drawn pieces between two solved points."""


def smooth(at: FloatArray, values: FloatArray, finer: int = FINER) -> tuple[FloatArray, FloatArray]:
    """A curve through points that is smooth and never beyond them.

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
        On the cubics on which `zcd.sync.pulses` finds the edges, so that marks lie on the curve:
        the slope at a point is the weighted harmonic mean of those of the chords beside it, and
        zero at a peak (Fritsch and Butland).
    """
    rising = np.diff(at, prepend=-np.inf) > 0.0
    at, values = at[rising], values[rising]
    width = np.diff(at)
    chord = np.diff(values) / width
    before, after = chord[:-1], chord[1:]
    own, other = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    same = before * after > 0.0
    mean = np.zeros_like(before)
    weighed = own[same] / before[same] + other[same] / after[same]
    mean[same] = (own + other)[same] / weighed
    slope = np.concatenate([chord[:1], mean, chord[-1:]])
    share = np.arange(finer)[:, None] / finer
    rest = 1.0 - share
    fine = (
        values[:-1] * rest**2 * (1.0 + 2.0 * share)
        + values[1:] * share**2 * (1.0 + 2.0 * rest)
        + width * share * rest * (slope[:-1] * rest - slope[1:] * share)
    )
    points = at[:-1] + width * share
    return np.append(points.T.ravel(), at[-1]), np.append(fine.T.ravel(), values[-1])


def period_curve(
    solution: Solution, wave: FloatArray, period_s: float, row: int = 0, finer: int = FINER
) -> tuple[FloatArray, FloatArray]:
    """A solved waveform as a smooth curve over one mains period.

    Parameters
    ----------
    solution : Solution
        Gives the instants; a row that has not settled is drawn as far as it was solved.
    wave : ndarray, shape (n, m)
    period_s : float
    row : int
    finer : int
        As for `smooth`.

    Returns
    -------
    time_s, values : ndarray
        From 0 to the end of the period.
    """
    time, values = solution.time_s[row], np.asarray(wave)[row]
    order = np.argsort(time)
    time, values = time[order], values[order]
    if not solution.settled[row]:
        return smooth(time, values, finer)
    time = np.concatenate([time[-2:] - period_s, time, time[:2] + period_s])
    values = np.concatenate([values[-2:], values, values[:2]])
    time, values = smooth(time, values, finer)
    within = (time > 0.0) & (time < period_s)
    ends = np.interp([0.0, period_s], time, values)
    return (
        np.concatenate([[0.0], time[within], [period_s]]),
        np.concatenate([ends[:1], values[within], ends[1:]]),
    )
