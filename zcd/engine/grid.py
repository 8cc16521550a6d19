"""Points in time: even ones first, then more where the waveforms move."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def even_phases_rad(size: int, points: int, cycles: int = 1) -> FloatArray:
    """Evenly spaced phases from 0, shape (size, points * cycles)."""
    one = np.arange(points * cycles) * (2.0 * np.pi / points)
    return np.broadcast_to(one, (size, points * cycles)).copy()


def follow(phase_rad: FloatArray, waves: list[FloatArray], points: int) -> FloatArray:
    """Phases that share the length of the waveforms' graphs evenly.

    Parameters
    ----------
    phase_rad : ndarray, shape (n, m)
        Phases of one period, rising from 0.
    waves : list of ndarray, shape (n, m)
        What to follow; each is scaled to its own swing.
    points : int
        How many phases to return.

    Returns
    -------
    phase_rad : ndarray, shape (n, points)
        Rising from 0; neighbouring intervals differ by a factor of 2 at the most, roughly.
    """
    n = phase_rad.shape[0]
    step = np.diff(phase_rad, axis=1, append=2.0 * np.pi)
    length = 2.0 * step / (2.0 * np.pi)
    for wave in waves:
        swing = np.ptp(wave, axis=1, keepdims=True)
        moved = np.abs(np.roll(wave, -1, axis=1) - wave)
        length = length + moved / np.maximum(swing, 1e-30)
    length = _widen(length)
    total = np.cumsum(length, axis=1)
    edges = np.concatenate([np.zeros((n, 1)), total / total[:, -1:]], axis=1)
    known = np.concatenate([phase_rad, np.full((n, 1), 2.0 * np.pi)], axis=1)
    wanted = np.arange(points) / points
    found = _rowwise(wanted[None, :], edges, known)
    found[:, 0] = 0.0
    return found


def resample(phase_rad: FloatArray, wave: FloatArray, finer_rad: FloatArray) -> FloatArray:
    """A periodic waveform at other phases, by straight lines; all shapes (n, ...)."""
    closed = np.concatenate([phase_rad, phase_rad[:, :1] + 2.0 * np.pi], axis=1)
    turns = 1.0 / (2.0 * np.pi)
    return _rowwise(finer_rad * turns, closed * turns, np.concatenate([wave, wave[:, :1]], axis=1))


def _rowwise(x: FloatArray, known_x: FloatArray, known_y: FloatArray) -> FloatArray:
    """Interpolate row by row in one call: row r of the table occupies r to r + 1."""
    rows = np.arange(known_x.shape[0])[:, None]
    flat = np.interp((x + rows).ravel(), (known_x + rows).ravel(), known_y.ravel())
    return flat.reshape(known_x.shape[0], -1)


def _widen(length: FloatArray) -> FloatArray:
    """Spread each interval's share over its neighbours, so that steps grow gently."""
    spread = length
    for shift, weight in ((1, 0.5), (2, 0.25), (3, 0.125)):
        for way in (shift, -shift):
            spread = spread + weight * np.roll(length, way, axis=1)
    return spread


def mean_weights(phase_rad: FloatArray) -> FloatArray:
    """Trapezoid weights that give the mean over a period, shape (n, m), each row sums to 1."""
    step = np.diff(phase_rad, axis=1, append=phase_rad[:, :1] + 2.0 * np.pi)
    return (step + np.roll(step, 1, axis=1)) / (4.0 * np.pi)
