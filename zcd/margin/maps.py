"""The map of lost sync: mains voltage against what is left of the CTR, with its exact boundary."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.margin.roots import batched_root
from zcd.sync.lock import Lock, lock_of

FloatArray = NDArray[np.float64]

LOG_TOLERANCE = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class LossMap:
    """Where sync is lost.

    Parameters
    ----------
    mains_rms_v : ndarray, shape (m,)
        Mains voltages.
    boundary_ratio : ndarray, shape (m,)
        Remaining CTR below which sync is lost at each of them; nan where nothing in the range
        helps, the lower end of the range where it is never lost.
    rules : tuple of str or None
        The rule that fails just below the boundary.
    lowest_ratio, highest_ratio : float
        The range of remaining CTR that was searched.
    here : tuple of float
        The board's operating point: nominal mains, remaining CTR.
    temperature_degc : float
    """

    mains_rms_v: FloatArray
    boundary_ratio: FloatArray
    rules: tuple[str | None, ...]
    lowest_ratio: float
    highest_ratio: float
    here: tuple[float, float]
    temperature_degc: float


def loss_map(board: Board, points: int = 41, lowest_ratio: float = 0.01) -> LossMap:
    """Map the loss of sync over mains voltage and remaining CTR.

    Parameters
    ----------
    board : Board
    points : int
        Mains voltages, from 0.3 times nominal to 1.25 times.
    lowest_ratio : float
        Lower end of the remaining CTR.

    Returns
    -------
    loss_map : LossMap
        On the bench, at the grade's typical CTR.
    """
    mains = board.mains.rms_v * np.linspace(0.3, 1.25, points)
    base = build_circuit(board, Conditions(mains_rms_v=mains, remaining_ratio=np.ones(points)))

    def lock(log_ratio: FloatArray) -> Lock:
        return lock_of(base.change(board.optocoupler.ref, remaining_ratio=np.exp(log_ratio)), board)

    low, high = np.full(points, np.log(lowest_ratio)), np.zeros(points)
    at_low, at_high = lock(low).margin, lock(high).margin
    crosses = (at_low < 0) & (at_high >= 0)
    upper = np.where(crosses, high, low)
    boundary = batched_root(
        lambda x: lock(x).margin, (low, upper), (at_low, at_high), LOG_TOLERANCE
    )
    boundary = np.where(crosses, boundary, np.where(at_low >= 0, low, np.nan))
    below = lock(np.where(np.isnan(boundary), high, boundary - 10 * LOG_TOLERANCE))
    return LossMap(
        mains_rms_v=mains,
        boundary_ratio=np.exp(boundary),
        rules=tuple(below.failed_rule(k) for k in range(points)),
        lowest_ratio=lowest_ratio,
        highest_ratio=1.0,
        here=(board.mains.rms_v, board.optocoupler.remaining_ratio),
        temperature_degc=board.service.bench_degc,
    )
