"""Where and when a network is solved."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.batch import Batch

FloatArray = NDArray[np.float64]


@dataclass(slots=True, eq=False)
class Trajectory(Batch):
    """Where and when a network is solved.

    Parameters
    ----------
    phase_rad : ndarray, shape (n, m)
        Rising; a full period, or several when it is not closed.
    omega_rad_per_s : ndarray, shape (n, 1)
    closed : bool
        True: periodic; False: starts from nothing charged.
    """

    phase_rad: FloatArray
    omega_rad_per_s: FloatArray
    closed: bool = True


@lru_cache(maxsize=1)  # of one trajectory: of its light, and of each island
def intervals_s(trajectory: Trajectory) -> FloatArray:
    """Time from the point before to each point, shape (n, m)."""
    phase = trajectory.phase_rad
    if trajectory.closed:
        first = phase[:, :1] + 2.0 * np.pi - phase[:, -1:]
    else:
        first = phase[:, 1:2] - phase[:, :1]
    return np.concatenate([first, np.diff(phase, axis=1)], axis=1) / trajectory.omega_rad_per_s
