"""Where and when a network is solved, and what lags behind on that way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.batch import Batch
from zcd.engine.kernel import lag

FloatArray = NDArray[np.float64]


@dataclass(slots=True)
class Trajectory(Batch):
    """Where and when a network is solved.

    Parameters
    ----------
    phase_rad : ndarray, shape (n, m)
        Rising; a full period, or several when it is not closed.
    omega_rad_per_s : ndarray, shape (n, 1)
    closed : bool
        True: periodic; False: starts from nothing charged.
    mirrored : bool
        True: each quarter of the period mirrors the one before, as `grid.mirror` has it.
    """

    phase_rad: FloatArray
    omega_rad_per_s: FloatArray
    closed: bool = True
    mirrored: bool = False


def intervals_s(trajectory: Trajectory) -> FloatArray:
    """Time from the point before to each point, shape (n, m)."""
    phase = trajectory.phase_rad
    if trajectory.closed:
        first = phase[:, :1] + 2.0 * np.pi - phase[:, -1:]
    else:
        first = phase[:, 1:2] - phase[:, :1]
    return np.concatenate([first, np.diff(phase, axis=1)], axis=1) / trajectory.omega_rad_per_s


def lagged(values: FloatArray, time_constant_s: FloatArray, trajectory: Trajectory) -> FloatArray:
    """First-order lag of a waveform, exact for straight lines between its points.

    Parameters
    ----------
    values : ndarray, shape (n, m)
    time_constant_s : ndarray, shape (n, 1)
    trajectory : Trajectory

    Returns
    -------
    lagged : ndarray, shape (n, m)
    """
    result = np.empty(values.shape)
    lag(
        np.ascontiguousarray(values),
        intervals_s(trajectory),
        np.ascontiguousarray(time_constant_s),
        trajectory.closed,
        result,
    )
    return result
