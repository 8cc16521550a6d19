"""All rules of all boards of a batch, however large."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.batch import COMMON, Batch, split
from zcd.circuit.elements import in_groups
from zcd.engine.solution import row_pieces
from zcd.engine.solve import PULSES, SolverOptions, solve
from zcd.margin.roots import broken_rule
from zcd.margin.rules import Rule
from zcd.margin.stress_rules import stress_rules
from zcd.margin.tolerances import Boards
from zcd.sync.lock import FUNCTION, NOT_BINDING, RULES, Lock, judge

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
    binding : tuple of bool
        Which rules fail a board; the others are expectations.
    pulse_s : ndarray, shape (n, 2)
        Of the first pulse: how long it is low, and how long after the crossing it falls.
    """

    names: tuple[str, ...]
    margins: FloatArray
    pulse_s: FloatArray
    binding: tuple[bool, ...] = field(metadata=COMMON)

    @property
    def binding_margins(self) -> FloatArray:
        """The margins, those of expectations out of reach, of the same shape."""
        return np.where(self.binding, self.margins, NOT_BINDING)

    @property
    def passes(self) -> NDArray[np.bool_]:
        """Whether a board passes, shape (n,)."""
        return np.all(self.binding_margins >= 0.0, axis=1)

    @property
    def working(self) -> RuleMargins:
        """Those of the boards whose pin does what a sync input is for."""
        return self.rows(np.all(self.margins[:, : len(FUNCTION)] >= 0.0, axis=1))

    @property
    def broken_ratio(self) -> dict[str, float]:
        """Share of the boards that break each rule, binding or not."""
        shares = np.mean(self.margins < 0.0, axis=0).tolist()
        return dict(zip(self.names, shares, strict=True))

    @property
    def first_failed(self) -> NDArray[np.intp]:
        """The first rule in the order of `names` that each board breaks, or -1; shape (n,)."""
        return broken_rule(self.binding_margins)

    @property
    def lock_margin(self) -> FloatArray:
        """The smallest binding margin of the lock rules, shape (n,)."""
        return np.asarray(np.min(self.binding_margins[:, : len(RULES)], axis=1))


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
        _together(lock.rows(mine), stress_rules(solution.rows(mine), board))
        for mine, board in zip(split([drawn.size for drawn in draws]), boards, strict=True)
    ]


def _evaluate(boards: Boards, board: Board, options: SolverOptions) -> RuleMargins:
    solution = solve(boards.circuit, options)
    lock = judge(solution, board, boards.thresholds)
    return _together(lock, stress_rules(solution, board))


def _together(lock: Lock, rules: Sequence[Rule[FloatArray]]) -> RuleMargins:
    return RuleMargins(
        names=(*RULES, *(rule.name for rule in rules)),
        margins=np.column_stack([lock.margins, *(rule.margin for rule in rules)]),
        pulse_s=np.column_stack([lock.pulses.low_time_s[:, 0], lock.pulses.fall_offset_s[:, 0]]),
        binding=(*lock.binding, *(rule.kind != "expectation" for rule in rules)),
    )
