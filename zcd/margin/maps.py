"""The map of lost sync: mains voltage against what is left of the CTR, with its exact boundary."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.margin.roots import batched_root
from zcd.sync.lock import Lock, lock_of

FloatArray = NDArray[np.float64]

LOG_TOLERANCE = 1e-3
SCAN_STEPS = 12


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
    upper_ratio : ndarray, shape (m,)
        Remaining CTR above which sync is lost again, the part being too strong; nan where it
        is not.
    upper_rules : tuple of str or None
        The rule that fails just above it.
    lowest_ratio, highest_ratio : float
        The range of remaining CTR that was searched.
    here : tuple of float
        The board's operating point: nominal mains, remaining CTR.
    temperature_degc : float
    """

    mains_rms_v: FloatArray
    boundary_ratio: FloatArray
    rules: tuple[str | None, ...]
    upper_ratio: FloatArray
    upper_rules: tuple[str | None, ...]
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

    def root(low: FloatArray, high: FloatArray) -> FloatArray:
        at = lock(low).margin, lock(high).margin
        return batched_root(lambda x: lock(x).margin, (low, high), at, LOG_TOLERANCE)

    low, high = np.full(points, np.log(lowest_ratio)), np.zeros(points)
    first, last = _locked_span(lambda x: lock(x).margin >= 0, low, high)
    none = np.isnan(first[1])
    boundary = np.where(none, np.nan, root(*(np.where(none, low, end) for end in first)))
    strong = last[0] < last[1]
    upper = np.where(strong, root(*(np.where(strong, end, high) for end in last)), np.nan)
    below = lock(np.where(none, high, boundary - 10 * LOG_TOLERANCE))
    above = lock(np.where(strong, upper + 10 * LOG_TOLERANCE, high))
    return LossMap(
        mains_rms_v=mains,
        boundary_ratio=np.exp(boundary),
        rules=tuple(below.failed_rule(k) for k in range(points)),
        upper_ratio=np.exp(upper),
        upper_rules=tuple(above.failed_rule(k) if strong[k] else None for k in range(points)),
        lowest_ratio=lowest_ratio,
        highest_ratio=1.0,
        here=(board.mains.rms_v, board.optocoupler.remaining_ratio),
        temperature_degc=board.service.bench_degc,
    )


def _locked_span(
    locks: Callable[[FloatArray], NDArray[np.bool_]], low: FloatArray, high: FloatArray
) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Brackets of where the lock begins and where it ends, between two ends.

    Where it holds at an end, the bracket there is that end twice; where it holds nowhere, the
    first bracket is nan.
    """
    at_low, at_high = locks(low), locks(high)
    if np.all(at_high):
        return (low, np.where(at_low, low, high)), (high, high)
    steps = [low + (high - low) * k / SCAN_STEPS for k in range(SCAN_STEPS + 1)]
    held = np.stack([at_low, *(locks(x) for x in steps[1:-1]), at_high])
    x = np.stack(steps)
    column = np.arange(low.size)
    first = np.argmax(held, axis=0)
    last = SCAN_STEPS - np.argmax(held[::-1], axis=0)
    nowhere = ~np.any(held, axis=0)
    begins = x[np.maximum(first - 1, 0), column], np.where(nowhere, np.nan, x[first, column])
    ends = (
        x[last, column],
        np.where(nowhere, x[last, column], x[np.minimum(last + 1, SCAN_STEPS), column]),
    )
    return begins, ends
