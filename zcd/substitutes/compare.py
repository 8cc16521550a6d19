"""The verdict on many boards that differ in a few parts, in few batches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from zcd.board.model import Board
from zcd.circuit.batch import split
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit, in_groups, stack
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.margin.check import (
    WORST_LEVELS,
    Level,
    headroom_rules,
    level_conditions,
    levels_of,
    rules_of,
)
from zcd.margin.corners import ROOM_RATIO, find_all_corners
from zcd.margin.headroom import Headroom, headrooms_of
from zcd.margin.population import PER_RUN, RUNS, draw_population
from zcd.margin.rules import RARE_RATIO, Rule, newly_failed
from zcd.margin.spread import AT_CORNER, corner_circuit, corner_rules
from zcd.margin.stress import (
    ResistorStress,
    reverse_stress,
    worst_circuit,
    worst_of,
    zener_stress,
)
from zcd.margin.tolerances import tolerances_of
from zcd.substitutes.series_string import condensed
from zcd.sync.lock import judge

SAME_MARGIN = 0.02
"""A rule that fails by so little more, in units of its limit, fails as on the original board."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What ``zcd check`` would say of a board.

    Parameters
    ----------
    board : Board
    levels : tuple of Level
    rules : tuple of Rule
    resistors : tuple of ResistorStress
        At the worse ends of tolerance.
    corner_rules : tuple of Rule
        At the worst corners; empty: not asked for.
    zener_w : dict of str to float
        Power of each zener, by reference.
    """

    board: Board
    levels: tuple[Level, ...]
    rules: tuple[Rule[float], ...]
    resistors: tuple[ResistorStress, ...]
    corner_rules: tuple[Rule[float], ...] = ()
    zener_w: dict[str, float] = field(default_factory=dict)

    @property
    def every_rule(self) -> tuple[Rule[float], ...]:
        """The rules of the verdict, those at the worst corners last."""
        return self.rules + self.corner_rules

    @property
    def failed(self) -> tuple[Rule[float], ...]:
        """The rules that fail, a breakdown before what the current through it does to others."""
        failed = [rule for rule in self.every_rule if not rule.passes]
        return tuple(sorted(failed, key=lambda rule: not rule.limited_by_breakdown))

    @property
    def passes(self) -> bool:
        """Whether no rule fails."""
        return not self.failed

    def newly_failed(self, original: Verdict) -> tuple[Rule[float], ...]:
        """Rules that fail and did not on the original board, or not so far."""
        return newly_failed(self.failed, original.failed, SAME_MARGIN)


def verdicts(boards: Sequence[Board]) -> list[Verdict]:
    """Judge boards by all rules.

    Parameters
    ----------
    boards : sequence of Board
        Variants of one board: same controller, same reference of the optocoupler.

    Returns
    -------
    verdicts : list of Verdict
        In the same order.

    Notes
    -----
    Resistors that carry the same current are one to the rest of the board, so that boards with
    chains of different length are solved together but for the stress of single resistors.
    """
    at_levels = solved_apart([level_rows(board) for board in boards])
    headrooms = _headrooms(boards)
    at_worst = solved_alike([worst_circuit(board) for board in boards])
    return [
        _verdict(board, at_levels[k], headrooms[k], at_worst[k]) for k, board in enumerate(boards)
    ]


def with_corners(verdict: Sequence[Verdict]) -> list[Verdict]:
    """Verdicts with the rules at the worst corners too, found for all boards together.

    Parameters
    ----------
    verdict : sequence of Verdict
        Of variants of one board.

    Returns
    -------
    verdicts : list of Verdict
        In the same order.
    """
    boards = [one.board for one in verdict]
    corners = find_all_corners(
        boards, [tolerances_of(board) for board in boards], room_ratio=ROOM_RATIO
    )
    worst = list(zip(boards, corners, strict=True))
    solved = solved_alike([corner_circuit(*one) for one in worst])
    result = []
    for one, at, solution in zip(verdict, worst, solved, strict=True):
        rules = corner_rules(*at, solution)
        failed = [rule.name.removeprefix(AT_CORNER) for rule in rules if not rule.passes]
        if failed and not _surely_reached(one.board, failed):
            # a corner that hardly any board surely reaches only warns, as in the whole check
            drawn = draw_population(one.board, tolerances_of(one.board))
            rules = corner_rules(*at, solution, drawn)
        result.append(replace(one, corner_rules=rules))
    return result


def _surely_reached(board: Board, failed: Sequence[str]) -> bool:
    """Whether the first run of the population alone says that no failing corner is rare."""
    first = draw_population(board, tolerances_of(board), runs=1).sure_margins
    few = RARE_RATIO * PER_RUN * RUNS
    return all(first.broken_ratio[name] * PER_RUN >= few for name in failed)


def level_rows(board: Board) -> Circuit:
    """The board at each of its levels."""
    lean = condensed(board)
    return stack([build_circuit(lean, case) for case in level_conditions(board)])


def _verdict(
    board: Board, at_levels: Solution, headrooms: Sequence[Headroom], at_worst: Solution
) -> Verdict:
    resistors = tuple(worst_of(at_worst, board))
    zeners = zener_stress(at_levels, board)
    lock = judge(at_levels, board, worst=WORST_LEVELS)
    levels = levels_of(board, at_levels, lock)
    reverse = reverse_stress(at_levels, board)
    return Verdict(
        board=board,
        levels=levels,
        rules=rules_of(board, levels, lock, headrooms, (*resistors, *zeners), reverse),
        resistors=resistors,
        zener_w={one.part.ref: float(one.power_w.max()) for one in zeners},
    )


def solved_alike(circuits: Sequence[Circuit]) -> list[Solution]:
    """Solutions of some batches, those of the same elements solved as one."""
    return in_groups(circuits, lambda some: solved_apart([circuits[k] for k in some]))


def solved_apart(circuits: Sequence[Circuit]) -> list[Solution]:
    """Solutions of some batches of the same elements, solved as one."""
    whole = solve(stack(circuits))
    return [whole.rows(rows) for rows in split([circuit.size for circuit in circuits])]


def _headrooms(boards: Sequence[Board]) -> list[list[Headroom]]:
    """Those that rules ask for, of each board."""
    asked = [headroom_rules(board) for board in boards]
    cases = [
        build_circuit(condensed(board), one.conditions)
        for board, each in zip(boards, asked, strict=True)
        for one in each
    ]
    names = np.array([one.quantity for each in asked for one in each])
    result = headrooms_of(stack(cases), names, condensed(boards[0]), worst=True)
    size = len(asked[0])
    return [result[k : k + size] for k in range(0, len(result), size)]
