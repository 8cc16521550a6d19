"""What is still to be read until a repaired board can be called good."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.fault_dictionary import Atlas
from zcd.diagnosis.information import SURE
from zcd.diagnosis.likelihood import joint_log
from zcd.diagnosis.next_reading import COSTS, GOOD_BOARD
from zcd.diagnosis.readings import Measured, Reading, Side, side_of

FloatArray = NDArray[np.float64]

MOST_MISSING = 4
"""No longer list is asked for."""
LEAST_SHARE_OFF = 0.1
"""Share of what is still open that a reading must take away to be asked for."""


def missing_readings(
    atlas: Atlas, weights: FloatArray, good: NDArray[np.bool_], taken: set[Reading]
) -> tuple[Reading, ...]:
    """The few readings which, if they are those of a good board, make it a sure one.

    One after the other, the one that takes most of the doubt away for its trouble and danger;
    nothing is lifted on a board that was just mended.

    Parameters
    ----------
    atlas : Atlas
    weights : ndarray, shape (E, N)
        Posterior after the readings taken.
    good : ndarray of bool, shape (F,)
        Faults whose sync circuit is a good one.
    taken : set of Reading

    Returns
    -------
    readings : tuple of Reading
        Fewer than needed where no few would do.
    """
    left = [r for r in atlas.readings if r not in taken]
    left = [r for r in left if side_of(atlas.circuit, r) is not Side.LIFTED]
    cost = np.array([COSTS[side_of(atlas.circuit, r)] for r in left])
    share = np.stack([_share_of_good(atlas, reading) for reading in left])
    fine = good[atlas.member]
    found: list[Reading] = []
    while len(found) < MOST_MISSING and weights[~fine].sum() > (1.0 - SURE) * weights.sum():
        now = weights * share
        open_before = weights[~fine].sum() / weights.sum()
        open_after = now[:, ~fine].sum(axis=(1, 2)) / now.sum(axis=(1, 2))
        off = np.log(open_before / open_after)
        best = int(np.argmax(off / cost))
        if open_after[best] > (1.0 - LEAST_SHARE_OFF) * open_before:
            break
        found.append(left[best])
        weights = now[best]
    return tuple(found)


def _share_of_good(atlas: Atlas, reading: Reading) -> FloatArray:
    """Density of what a good board shows, over its highest, shape (E, N)."""
    shown = np.sort(atlas.by_fault(atlas.shown(reading))[GOOD_BOARD])
    middle = Measured(reading=reading, value=float(shown[shown.size // 2]))
    log_density, _ = joint_log([(atlas.fit(reading), middle)])
    return np.asarray(np.exp(log_density - log_density.max()))
