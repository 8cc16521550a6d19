"""What decides whether a board holds: variance-based sensitivity of its CTR reserve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.engine.solve import PULSES, solve
from zcd.errors import invalid_value
from zcd.margin.headroom import weakened
from zcd.margin.population import SEED, even_points
from zcd.margin.roots import open_roots
from zcd.margin.tolerances import Boards, Tolerance, draw
from zcd.margin.variance_decomposition import variance_shares
from zcd.results import Result
from zcd.sync.lock import judge

FloatArray = NDArray[np.float64]

LADDER = np.log((0.1, 0.4, 1.0, 2.0, 4.0, 9.0, 25.0, 100.0))
"""Factors by which the CTR may fall, between which the loss of lock is bracketed."""
LOG_TOLERANCE = 0.02
BOARDS = 256
PILOT = 16
"""Of so many boards one is looked for on the whole ladder; the others are near it."""
BESIDE = 0.1
"""So far beyond the pilots, in logs, the others are looked for first."""


@dataclass(frozen=True, slots=True)
class Decider:
    """How much of the spread one tolerance makes.

    Parameters
    ----------
    name : str
        What is uncertain.
    first_ratio : float
        Share of the variance that it makes by itself.
    total_ratio : float
        With all its interactions.
    total_low_ratio, total_high_ratio : float
        Interval (95 %) of the total.
    """

    name: str
    first_ratio: float
    total_ratio: float
    total_low_ratio: float
    total_high_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Sensitivity(Result):
    """How much of the spread of the log CTR reserve each tolerance makes.

    Parameters
    ----------
    names : tuple of str
        d tolerances, the one with the largest total first.
    first, total : ndarray, shape (d,)
        Sobol indices: share of the variance that it makes by itself, and with all its
        interactions.
    total_low, total_high : ndarray, shape (d,)
        Interval (95 %) of the totals.
    unexplained_ratio : float
        Share of which it is not known what makes it.
    headroom_low_ratio, headroom_middle_ratio, headroom_high_ratio : float
        What 5 %, half and 95 % of the boards do not reach, as factors.
    """

    JSON_KEYS: ClassVar = (
        "headroom_low_ratio",
        "headroom_middle_ratio",
        "headroom_high_ratio",
        "unexplained_ratio",
        "tolerances",
    )

    names: tuple[str, ...]
    first: FloatArray
    total: FloatArray
    total_low: FloatArray
    total_high: FloatArray
    unexplained_ratio: float
    headroom_low_ratio: float
    headroom_middle_ratio: float
    headroom_high_ratio: float

    @property
    def tolerances(self) -> tuple[Decider, ...]:
        """What each tolerance makes, the one with the largest total first."""
        shares = self.first, self.total, self.total_low, self.total_high
        columns = (column.tolist() for column in shares)
        return tuple(Decider(*row) for row in zip(self.names, *columns, strict=True))


def sensitivity_of(
    board: Board, tolerances: Sequence[Tolerance], boards: int = BOARDS
) -> Sensitivity:
    """Split the variance of the log CTR reserve among the tolerances.

    Parameters
    ----------
    board : Board
    tolerances : sequence of Tolerance
    boards : int
        So many are drawn.

    Returns
    -------
    decides : Sensitivity

    Raises
    ------
    InputError
        If the board has no optocoupler.
    """
    if board.optocoupler is None:
        allowed = "one with an optocoupler: what is looked at is the reserve of its CTR"
        raise invalid_value(f"{board.name}, a board without", allowed)
    points = even_points(boards, len(tolerances), np.random.default_rng(SEED))
    logs = log_headrooms(draw(board, tolerances, points), board)
    shares = variance_shares(points, logs)
    order = np.argsort(-shares.total, kind="stable")
    low, middle, high = np.exp(np.quantile(logs, (0.05, 0.5, 0.95)))
    return Sensitivity(
        names=tuple(tolerances[d].name for d in order),
        first=shares.first[order],
        total=shares.total[order],
        total_low=shares.total_low[order],
        total_high=shares.total_high[order],
        unexplained_ratio=shares.unexplained,
        headroom_low_ratio=float(low),
        headroom_middle_ratio=float(middle),
        headroom_high_ratio=float(high),
    )


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
    every = np.arange(boards.circuit.size)
    result, crosses = np.empty(every.size), np.zeros(every.size, dtype=bool)
    pilots = every[::PILOT]
    result[pilots], crosses[pilots] = _lost_at(boards.rows(pilots), board, LADDER)
    known = result[crosses]
    others = every[every % PILOT != 0]
    if known.size and others.size:
        near = np.array([known.min() - BESIDE, np.median(known), known.max() + BESIDE])
        result[others], crosses[others] = _lost_at(boards.rows(others), board, near)
        others = others[~crosses[others]]
    if others.size:
        result[others], _ = _lost_at(boards.rows(others), board, LADDER)
    return result


def _lost_at(
    boards: Boards, board: Board, ladder: FloatArray
) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Where on a ladder of log factors each board loses lock for good, and whether it does.

    Where it does not, it is the end of the ladder.
    """
    size, steps = boards.circuit.size, ladder.size

    def margin(log_factor: FloatArray, some: Boards) -> FloatArray:
        aged = weakened(some.circuit, board, "ctr", np.exp(log_factor))
        return judge(solve(aged, PULSES), board, some.thresholds).margin

    every = boards.rows(np.repeat(np.arange(size), steps))
    margins = margin(np.tile(ladder, size), every).reshape(size, steps)
    row = np.arange(size)
    locks = margins >= 0.0
    # the last step at which it still locks: from there on the CTR is too small
    last = steps - 1 - np.argmax(locks[:, ::-1], axis=1)
    crosses = np.any(locks, axis=1) & (last < steps - 1)
    after = np.where(crosses, np.minimum(last + 1, steps - 1), last)
    ends = ladder[last], ladder[after]
    values = margins[row, last], margins[row, after]
    result = open_roots(lambda x, row: margin(x, boards.rows(row)), ends, values, LOG_TOLERANCE)
    return np.where(np.any(locks, axis=1), result, ladder[0]), crosses
