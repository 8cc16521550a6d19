"""All rules of all boards of a batch, however large."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.engine.solution import row_pieces
from zcd.engine.solve import PULSES, Grid, solve
from zcd.margin.limits import limits_of
from zcd.margin.tolerances import Boards
from zcd.sync.lock import RULES, judge

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Margins of all rules.

    Parameters
    ----------
    names : tuple of str
        The lock rules in the order of `RULES`, then the rules of stress.
    margins : ndarray, shape (n, len(names))
        Positive = kept; in units of the rule's own limit.
    """

    names: tuple[str, ...]
    margins: FloatArray

    @property
    def passes(self) -> NDArray[np.bool_]:
        """Whether a board keeps all rules, shape (n,)."""
        return np.all(self.margins >= 0.0, axis=1)

    @property
    def first_failed(self) -> NDArray[np.intp]:
        """The first rule in the order of `names` that each board breaks, or -1; shape (n,)."""
        broken = self.margins < 0.0
        return np.where(np.any(broken, axis=1), np.argmax(broken, axis=1), -1)

    @property
    def lock_margin(self) -> FloatArray:
        """The smallest margin of the lock rules, shape (n,)."""
        return np.asarray(np.min(self.margins[:, : len(RULES)], axis=1))


def judged(boards: Boards, board: Board, grid: Grid = PULSES) -> Judged:
    """Solve boards and judge them by every rule of lock and stress.

    Parameters
    ----------
    boards : Boards
        n rows.
    board : Board
        The design that they are of.
    grid : Grid

    Returns
    -------
    judged : Judged
    """
    pieces = row_pieces(boards.circuit.size)
    parts = [_judged(boards.rows(piece), board, grid) for piece in pieces]
    return Judged(names=parts[0].names, margins=np.concatenate([p.margins for p in parts]))


def _judged(boards: Boards, board: Board, grid: Grid) -> Judged:
    solution = solve(boards.circuit, grid)
    lock = judge(solution, board, boards.thresholds)
    limits = limits_of(solution, board)
    return Judged(
        names=(*RULES, *(limit.name for limit in limits)),
        margins=np.column_stack([lock.margins, *(limit.margin for limit in limits)]),
    )
