"""All rules of all boards of a batch, however large."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.batch import Batch, split
from zcd.circuit.elements import in_groups
from zcd.engine.solution import row_pieces
from zcd.engine.solve import PULSES, SolverOptions, solve
from zcd.margin.rules import Rule
from zcd.margin.stress_rules import stress_rules
from zcd.margin.tolerances import Boards
from zcd.sync.lock import RULES, judge

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleMargins(Batch):
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


def evaluate(boards: Boards, board: Board, options: SolverOptions = PULSES) -> RuleMargins:
    """Solve boards and judge them by every rule of lock and stress.

    Parameters
    ----------
    boards : Boards
        n rows.
    board : Board
        The design that they are of.
    options : SolverOptions

    Returns
    -------
    margins : RuleMargins
    """
    pieces = row_pieces(boards.size)
    return RuleMargins.joined([_evaluate(boards.rows(piece), board, options) for piece in pieces])


def evaluate_together(draws: Sequence[Boards], boards: Sequence[Board]) -> list[RuleMargins]:
    """Judge boards of several designs, those with the same elements in one batch.

    Parameters
    ----------
    draws : sequence of Boards
    boards : sequence of Board
        The design of each; all have the same controller.

    Returns
    -------
    margins : list of RuleMargins
        In the same order.
    """
    return in_groups(
        [drawn.circuit for drawn in draws],
        lambda some: _evaluate_as_one([draws[k] for k in some], [boards[k] for k in some]),
    )


def _evaluate_as_one(draws: Sequence[Boards], boards: Sequence[Board]) -> list[RuleMargins]:
    """Boards of several designs with the same elements."""
    if len(draws) == 1 or len(row_pieces(sum(drawn.size for drawn in draws))) > 1:
        return [evaluate(drawn, board) for drawn, board in zip(draws, boards, strict=True)]
    whole = Boards.joined(draws)
    solution = solve(whole.circuit, PULSES)
    lock = judge(solution, boards[0], whole.thresholds)
    return [
        _together(lock.margins[mine], stress_rules(solution.rows(mine), board))
        for mine, board in zip(split([drawn.size for drawn in draws]), boards, strict=True)
    ]


def _evaluate(boards: Boards, board: Board, options: SolverOptions) -> RuleMargins:
    solution = solve(boards.circuit, options)
    lock = judge(solution, board, boards.thresholds)
    return _together(lock.margins, stress_rules(solution, board))


def _together(lock_margins: FloatArray, rules: Sequence[Rule[FloatArray]]) -> RuleMargins:
    return RuleMargins(
        names=(*RULES, *(rule.name for rule in rules)),
        margins=np.column_stack([lock_margins, *(rule.margin for rule in rules)]),
    )
