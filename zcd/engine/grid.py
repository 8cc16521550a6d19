"""Points in time: even ones first, then more where the waveforms move."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

TIME_WEIGHT = 8.0
"""What an even grid weighs beside the waveforms that are followed."""
SINE = 0.5
"""A waveform that bends no more than the mains, over its swing and the step squared, is smooth."""
STRAIGHT = 1e-6
"""A bend below this share of a waveform's swing is nearly none: rounding must move no points."""

BESIDE = 0.5
"""Of an interval's share of points, what either neighbour gets too."""
CLUSTERING_RATIO = 0.98
"""How much closer crowded points stand at the mains' zero crossings, and farther at its peaks."""


def even_phases_rad(size: int, points: int, cycles: int = 1) -> FloatArray:
    """Evenly spaced phases from 0, shape (size, points * cycles)."""
    one = np.arange(points * cycles) * (2.0 * np.pi / points)
    return np.broadcast_to(one, (size, points * cycles)).copy()


def clustered_phases_rad(size: int, points: int) -> FloatArray:
    """Phases of one period from 0 that crowd where the mains crosses zero, shape (size, points).

    There the voltages of LED and diodes turn over, and nearly at once: an even grid would give
    their means by chance. Each quarter mirrors the one before.
    """
    even = even_phases_rad(1, points)
    return np.repeat(even - CLUSTERING_RATIO * np.sin(2.0 * even) / 2.0, size, axis=0)


def follow(
    phase_rad: FloatArray, weights: FloatArray, waves: FloatArray, points: int
) -> FloatArray:
    """Phases that stand closer where waveforms bend: where something begins or ceases to conduct.

    So that a straight line from each to the next misses about the same.

    Parameters
    ----------
    phase_rad : ndarray, shape (n, m)
        Phases of one period, rising from 0.
    weights, waves : ndarray, shape (w, n, 1) and (w, n, m)
        The weight of each waveform to follow, and the waveform, over the least swing that counts;
        a larger one is scaled to its own swing.
    points : int
        How many phases to return.

    Returns
    -------
    phase_rad : ndarray, shape (n, points)
        Rising from 0; neighbouring intervals differ by a factor of 2 at the most, roughly.
    """
    n = phase_rad.shape[0]
    step = np.diff(phase_rad, axis=1, append=2.0 * np.pi)
    wide = np.concatenate([waves[..., -1:], waves, waves[..., :2]], axis=-1)
    rates = (wide[..., 1:] - wide[..., :-1]) / np.concatenate([step[:, -1:], step, step[:, :1]], 1)
    bends = np.abs(rates[..., 1:] - rates[..., :-1])
    missed = np.maximum(bends[..., :-1], bends[..., 1:]) * step
    missed /= np.maximum(np.ptp(waves, axis=-1, keepdims=True), 1.0)
    missed = np.maximum(missed - SINE * step**2, 0.0)
    length = TIME_WEIGHT * step / (2.0 * np.pi)
    length += np.sum(weights * (np.sqrt(missed + STRAIGHT) - np.sqrt(STRAIGHT)), axis=0)
    total = np.cumsum(_widen(length), axis=1)
    gone = np.concatenate([np.zeros((n, 1)), total / total[:, -1:]], axis=1)
    ends = np.concatenate([phase_rad, np.full((n, 1), 2.0 * np.pi)], axis=1)
    return rowwise(np.arange(points)[None, :] / points, gone, ends)


def rowwise(x: FloatArray, known_x: FloatArray, known_y: FloatArray) -> FloatArray:
    """Interpolate row by row in one call: row r of the table occupies r to r + 1."""
    rows = np.arange(known_x.shape[0])[:, None]
    flat = np.interp((x + rows).ravel(), (known_x + rows).ravel(), known_y.ravel())
    return flat.reshape(known_x.shape[0], -1)


def _widen(length: FloatArray) -> FloatArray:
    """Spread each interval's share over its neighbours, so that steps grow gently."""
    wide = np.concatenate([length[:, -1:], length, length[:, :1]], axis=1)
    return np.asarray(length + BESIDE * (wide[:, :-2] + wide[:, 2:]))


def trapezoid_weights(phase_rad: FloatArray) -> FloatArray:
    """Weights that give the mean over a period on any grid, shape (n, m), each row sums to 1."""
    step = np.diff(phase_rad, axis=1, append=phase_rad[:, :1] + 2.0 * np.pi)
    return (step + np.roll(step, 1, axis=1)) / (4.0 * np.pi)


def mean_weights(phase_rad: FloatArray) -> FloatArray:
    """The same of higher order: exact where a cubic goes through each four neighbours."""
    turn = 2.0 * np.pi
    # before points follow what flows they are the same in all rows
    own = phase_rad[:1] if np.all(phase_rad == phase_rad[:1]) else phase_rad
    wide = np.concatenate([own[:, -1:] - turn, own, own[:, :2] + turn], axis=1)
    step = np.diff(wide, axis=1)
    before, width, after = step[:, :-2], step[:, 1:-1], step[:, 2:]
    both = width**3 / (12.0 * (before + width + after))
    first = -both * (width + 2.0 * after) / (before * (before + width))
    last = -both * (width + 2.0 * before) / (after * (width + after))
    end = 0.5 * width + (first * before - last * (width + after)) / width
    begin = width - first - last - end
    whole = np.roll(first, -1, axis=1) + begin + np.roll(end, 1, axis=1) + np.roll(last, 2, axis=1)
    return np.broadcast_to(whole / turn, phase_rad.shape)
