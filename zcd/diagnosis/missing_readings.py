"""What is still to be read until a repaired board can be called good."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.information import SURE
from zcd.diagnosis.likelihood import joint_log
from zcd.diagnosis.next_reading import COSTS, GOOD_BOARD
from zcd.diagnosis.readings import AccessLevel, Measured, Reading, access_level

FloatArray = NDArray[np.float64]

MAX_MISSING = 4
"""No longer list is asked for."""
MIN_SHARE_OFF = 0.1
"""Share of what is still open that a reading must take away to be asked for."""


def missing_readings(
    dictionary: FaultDictionary, weights: FloatArray, good: NDArray[np.bool_], taken: set[Reading]
) -> tuple[Reading, ...]:
    """The few readings which, if they are those of a good board, make it a sure one.

    One after the other, the one that takes most of the doubt away for its trouble and danger;
    nothing is lifted on a board that was just mended.

    Parameters
    ----------
    dictionary : FaultDictionary
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
    left = [r for r in dictionary.readings if r not in taken]
    left = [r for r in left if access_level(dictionary.circuit, r) is not AccessLevel.LIFTED]
    cost = np.array([COSTS[access_level(dictionary.circuit, r)] for r in left])
    share = np.stack([_share_of_good(dictionary, reading) for reading in left])
    fine = good[dictionary.member]
    result: list[Reading] = []
    while len(result) < MAX_MISSING and weights[~fine].sum() > (1.0 - SURE) * weights.sum():
        now = weights * share
        open_before = weights[~fine].sum() / weights.sum()
        open_after = now[:, ~fine].sum(axis=(1, 2)) / now.sum(axis=(1, 2))
        off = np.log(open_before / open_after)
        best = int(np.argmax(off / cost))
        if open_after[best] > (1.0 - MIN_SHARE_OFF) * open_before:
            break
        result.append(left[best])
        weights = now[best]
    return tuple(result)


def _share_of_good(dictionary: FaultDictionary, reading: Reading) -> FloatArray:
    """Density of what a good board shows, over its highest, shape (E, N)."""
    shown = np.sort(dictionary.by_fault(dictionary.predictions(reading))[GOOD_BOARD])
    middle = Measured(reading=reading, value=float(shown[shown.size // 2]))
    log_density, _ = joint_log([(dictionary.fit(reading), middle)])
    return np.asarray(np.exp(log_density - log_density.max()))
