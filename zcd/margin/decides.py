"""What decides whether a board holds: variance-based sensitivity of its CTR headroom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.engine.solve import PULSES, solve
from zcd.margin.headroom import weakened
from zcd.margin.roots import batched_root
from zcd.margin.tolerances import Boards, Tolerance, draw
from zcd.sync.lock import judge

FloatArray = NDArray[np.float64]

LADDER = np.log((0.1, 0.4, 1.0, 2.0, 4.0, 9.0, 25.0, 100.0))
"""Factors by which the CTR may fall, between which the loss of lock is bracketed."""
LOG_TOLERANCE = 0.02
BASE = 64
LEAST_SHARE = 0.005
"""A tolerance that alone makes less than this share of the variance is left in its middle."""
SEED = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Decides:
    """How much of the spread of the log CTR headroom each tolerance makes.

    Parameters
    ----------
    names : tuple of str
        d tolerances, the one with the largest total first.
    first, total : ndarray, shape (d,)
        Sobol indices: share of the variance that it makes by itself, and with all its
        interactions. The former, less surely known, is held between 0 and the latter.
    total_low, total_high : ndarray, shape (d,)
        Bootstrap interval (95 %) of the totals.
    headroom_low, headroom_middle, headroom_high : float
        What 5 %, half and 95 % of the boards do not reach, as factors.
    """

    names: tuple[str, ...]
    first: FloatArray
    total: FloatArray
    total_low: FloatArray
    total_high: FloatArray
    headroom_low: float
    headroom_middle: float
    headroom_high: float


def what_decides(board: Board, tolerances: Sequence[Tolerance], base: int = BASE) -> Decides:
    """Split the variance of the log CTR headroom among the tolerances.

    Parameters
    ----------
    board : Board
    tolerances : sequence of Tolerance
    base : int
        A power of 2: boards in the base sample; there are two more than tolerances of these.

    Returns
    -------
    decides : Decides

    References
    ----------
    .. [1] A. Saltelli et al., "Variance based sensitivity analysis of model output", Computer
       Physics Communications 181(2), pp. 259-270, 2010; as in `scipy.stats.sobol_indices`.
    """
    from scipy.stats import bootstrap, sobol_indices

    matter = [t for t, does in zip(tolerances, _matters(board, tolerances), strict=True) if does]
    seen: list[FloatArray] = []

    def headroom(shares: FloatArray) -> FloatArray:
        """Of shares (d, n)."""
        seen.append(log_headrooms(draw(board, matter, shares.T), board))
        return seen[-1].copy()  # scipy works in place

    rng = np.random.default_rng(SEED)
    found = sobol_indices(func=headroom, n=base, dists=[_Even()] * len(matter), rng=rng)
    first, total = np.asarray(found.first_order), np.asarray(found.total_order)
    one, other, mixed = seen
    apart = np.square(one - mixed.reshape(base, -1).T)  # a row for each tolerance

    def total_of(rows: NDArray[np.intp]) -> FloatArray:
        """Total indices from some rows; scipy's own bootstrap cannot be given a seed."""
        variance = np.var([one[rows], other[rows]])
        return np.asarray(apart[:, rows].mean(axis=1) / (2.0 * variance))

    interval = bootstrap([np.arange(base)], total_of, rng=rng).confidence_interval
    order = np.argsort(-total)
    low, middle, high = np.exp(np.quantile([one, other], (0.05, 0.5, 0.95)))
    return Decides(
        names=tuple(matter[d].name for d in order),
        first=np.clip(first, 0.0, total)[order],
        total=total[order],
        total_low=np.asarray(interval.low)[order],
        total_high=np.asarray(interval.high)[order],
        headroom_low=float(low),
        headroom_middle=float(middle),
        headroom_high=float(high),
    )


class _Even:
    """A share is spread evenly from 0 to 1."""

    def ppf(self, q: Any, /) -> Any:
        """The share below which q lie."""
        return q


def _matters(board: Board, tolerances: Sequence[Tolerance]) -> NDArray[np.bool_]:
    """Whether each tolerance, alone at its extremes, moves the headroom by a share that counts."""
    which = np.array([d for d, t in enumerate(tolerances) for _ in t.extremes])
    shares = np.full((1 + which.size, len(tolerances)), 0.5)
    shares[np.arange(which.size) + 1, which] = [e for t in tolerances for e in t.extremes]
    logs = log_headrooms(draw(board, tolerances, shares), board)
    moved = np.zeros(len(tolerances))
    np.maximum.at(moved, which, np.abs(logs[1:] - logs[0]))
    share = np.square(moved) / max(np.sum(np.square(moved)), np.finfo(float).tiny)
    return share > LEAST_SHARE


def log_headrooms(boards: Boards, board: Board) -> FloatArray:
    """Log of the factor by which the CTR of each board may fall before lock is lost.

    Parameters
    ----------
    boards : Boards
        n rows.
    board : Board

    Returns
    -------
    log_factor : ndarray, shape (n,)
        Within the ends of `LADDER`; negative where the CTR falls short.
    """
    size, steps = boards.circuit.size, LADDER.size

    def margin(log_factor: FloatArray, some: Boards) -> FloatArray:
        aged = weakened(some.circuit, board, "ctr", np.exp(log_factor))
        return judge(solve(aged, PULSES), board, some.thresholds).margin

    every = boards.rows(np.repeat(np.arange(size), steps))
    margins = margin(np.tile(LADDER, size), every).reshape(size, steps)
    row = np.arange(size)
    locks = margins >= 0.0
    # the last step at which it still locks: from there on the CTR is too small
    last = steps - 1 - np.argmax(locks[:, ::-1], axis=1)
    crosses = np.any(locks, axis=1) & (last < steps - 1)
    after = np.where(crosses, np.minimum(last + 1, steps - 1), last)
    ends = LADDER[last], LADDER[after]
    values = margins[row, last], margins[row, after]
    found = batched_root(lambda x: margin(x, boards), ends, values, LOG_TOLERANCE)
    return np.where(np.any(locks, axis=1), found, LADDER[0])
