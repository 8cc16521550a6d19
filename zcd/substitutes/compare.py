"""The verdict on many boards that differ in a few parts, in few batches."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.board.parts_library import all_resistors
from zcd.circuit.batch import split
from zcd.circuit.build import build_circuit, led_refs
from zcd.circuit.elements import Circuit, in_groups, stack
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.margin.check import (
    headroom_rules,
    level_conditions,
    levels_of,
    rules_of,
)
from zcd.margin.corners import ROOM_RATIO, corners_among, find_all_corners
from zcd.margin.headroom import Headroom, headrooms_of, weakened
from zcd.margin.rules import Rule, kept_ratio
from zcd.margin.spread import corner_circuit, corner_rules
from zcd.margin.stress import ResistorStress, reverse_stress, worst_circuit, worst_of
from zcd.margin.stress_rules import junction_rules
from zcd.margin.tolerances import tolerances_of
from zcd.substitutes.series_string import condensed
from zcd.sync.lock import judge

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What ``zcd check`` would say of a board.

    Parameters
    ----------
    board : Board
    rules : tuple of Rule
    resistors : tuple of ResistorStress
        At the worse ends of tolerance.
    corner_rules : tuple of Rule
        At the worst corners; empty: not asked for.
    """

    board: Board
    rules: tuple[Rule[float], ...]
    resistors: tuple[ResistorStress, ...]
    corner_rules: tuple[Rule[float], ...] = ()

    @property
    def every_rule(self) -> tuple[Rule[float], ...]:
        """The rules of the verdict, those at the worst corners last."""
        return self.rules + self.corner_rules

    @property
    def passes(self) -> bool:
        """Whether all rules are kept."""
        return all(rule.passes for rule in self.every_rule)

    @property
    def margin_ratio(self) -> float:
        """How many times the tightest rule is kept; below 1 if one fails."""
        return min(kept_ratio(rule) for rule in self.every_rule)

    @property
    def tightest(self) -> Rule[float]:
        """The first rule that fails or, if none does, the one with the least margin.

        A breakdown comes before what the current through it does to others.
        """
        failed = [rule for rule in self.every_rule if not rule.passes]
        failed.sort(key=lambda rule: not rule.limited_by_breakdown)
        return failed[0] if failed else min(self.every_rule, key=kept_ratio)


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
    at_levels = solved_apart([_level_rows(board) for board in boards])
    headrooms = _headrooms(boards)
    at_worst = solved_alike([worst_circuit(board) for board in boards])
    return [
        _verdict(board, at_levels[k], headrooms[k], at_worst[k]) for k, board in enumerate(boards)
    ]


def with_corners(
    verdict: Sequence[Verdict], known: Callable[[Board], FloatArray | None] = lambda board: None
) -> list[Verdict]:
    """Verdicts with the rules at the worst corners too, found for all boards together.

    Parameters
    ----------
    verdict : sequence of Verdict
        Of variants of one board. Those that fail already stay as they are.
    known : callable
        Gives the corners of a board, shape (n, d), where they are known and need not be looked for.

    Returns
    -------
    verdicts : list of Verdict
        In the same order.
    """
    passing = [number for number, verdict in enumerate(verdict) if verdict.passes]
    boards = [verdict[number].board for number in passing]
    tolerances = [tolerances_of(board) for board in boards]
    shares = [rows for rows in map(known, boards) if rows is not None]
    if len(shares) == len(boards):
        corners = corners_among(boards, tolerances, shares)
    else:
        corners = find_all_corners(boards, tolerances, room_ratio=ROOM_RATIO)
    worst = list(zip(boards, corners, strict=True))
    solved = solved_alike([corner_circuit(*one) for one in worst])
    complete = list(verdict)
    for number, one, solution in zip(passing, worst, solved, strict=True):
        complete[number] = replace(verdict[number], corner_rules=corner_rules(*one, solution))
    return complete


def _verdict(
    board: Board, at_levels: Solution, headrooms: Sequence[Headroom], at_worst: Solution
) -> Verdict:
    resistors = tuple(worst_of(at_worst, board))
    lock = judge(at_levels, board)
    levels = levels_of(board, at_levels, lock)
    reverse = reverse_stress(at_levels, board)
    return Verdict(
        board=board,
        rules=rules_of(board, levels, lock, headrooms, resistors, reverse),
        resistors=resistors,
    )


def _level_rows(board: Board) -> Circuit:
    lean = condensed(board)
    return stack([build_circuit(lean, case) for case in level_conditions(board)])


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
    result = headrooms_of(stack(cases), names, condensed(boards[0]))
    size = len(asked[0])
    return [result[k : k + size] for k in range(0, len(result), size)]


def turning_margins(board: Board, ref: str, ohm: FloatArray) -> FloatArray:
    """How far the verdict is from turning at some values of one resistor.

    Parameters
    ----------
    board : Board
    ref : str
        Of a resistor.
    ohm : ndarray, shape (n,)

    Returns
    -------
    margin : ndarray, shape (n,)
        The least of the lock margins at the levels, of those with each quantity weakened by the
        headroom that its rule asks for, and of LED current and reverse voltage as 1 - value /
        limit. Positive if all rules are kept but for power and voltage of resistors; continuous
        but for a breakdown of the LED. Quicker than `verdicts`, as it needs no headroom.
    """
    conditions = level_conditions(board)
    cases = [build_circuit(board, case) for case in conditions]
    for asked in headroom_rules(board):
        circuit = build_circuit(board, asked.conditions)
        cases.append(weakened(circuit, board, asked.quantity, np.array([asked.rule.limit])))
    nominal = next(part.resistance_ohm for part in all_resistors(board) if part.ref == ref)
    # scaled, not set: the chain may be one of the weakened quantities
    solution = solve(stack([case.scale(ref, "resistance_ohm", ohm / nominal) for case in cases]))
    lock = judge(solution, board).margin.reshape(len(cases), ohm.size).min(axis=0)
    at_levels = solution.rows(np.arange(len(conditions) * ohm.size))
    led_a = np.sum([at_levels.currents_a[led] for led in led_refs(board)], axis=0)
    rules = junction_rules(board, reverse_stress(at_levels, board), at_levels.peak(led_a))
    margins = [_turning_margin(rule).reshape(len(conditions), ohm.size) for rule in rules]
    return np.asarray(np.min([lock, *np.concatenate(margins)], axis=0))


def _turning_margin(rule: Rule[FloatArray]) -> FloatArray:
    if rule.limited_by_breakdown:
        return np.where(rule.margin >= 0.0, inf, -1.0)
    return rule.margin
