"""The verdict on many boards that differ in a few parts, in few batches."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.board.parts_library import all_resistors
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit, in_groups, stack
from zcd.engine.solution import Solution
from zcd.engine.solve import solve_together
from zcd.margin.check import (
    WORST_LEVELS,
    Level,
    headroom_rules,
    level_conditions,
    levels_of,
    rules_of,
)
from zcd.margin.corners import ROOM_RATIO, Corners, find_all_corners
from zcd.margin.headroom import Headroom, headrooms_of
from zcd.margin.population import Population, drawn_shares
from zcd.margin.rule_margins import RuleMargins, evaluate_together
from zcd.margin.rules import Rule, newly_failed
from zcd.margin.spread import AT_CORNER, corner_circuit, corner_rules
from zcd.margin.stress import (
    ResistorStress,
    reverse_stress,
    worst_circuit,
    worst_of,
    zener_stress,
)
from zcd.margin.tolerances import draw, tolerances_of
from zcd.margin.unpublished import with_doubt
from zcd.substitutes.series_string import condensed
from zcd.sync.lock import NOT_BINDING, judge

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

NEAREST = 24
"""Boards of a population that are judged for each corner that fails: with 12, 2 of 97 rules weighed
otherwise than among all boards, with 24 none."""
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

    def loses_lock(self, original: Verdict, *, mends: bool = False) -> bool:
        """Whether a level does not lock, be it by what no data sheet states, that did before.

        With `mends` also one that surely did not.
        """
        each = zip(self.levels, original.levels, original.rules, strict=False)
        return any(
            not now.locks and (was.locks or (mends and rule.status == "fail"))
            for now, was, rule in each  # the first rules are those of lock at the levels
        )


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
    some, which = _different(boards, _circuit_key)
    headrooms, at_levels = _headrooms(some, [level_rows(board) for board in some])
    at_worst = solved_alike([worst_circuit(board) for board in some])
    return [
        _verdict(board, at_levels[k], headrooms[k], at_worst[k])
        for board, k in zip(boards, which, strict=True)
    ]


def _different(
    boards: Sequence[Board], key: Callable[[Board], tuple[object, ...]]
) -> tuple[list[Board], list[int]]:
    """One board of each key, and which of them each board is."""
    keys = list(map(key, boards))
    firsts = [keys.index(key) for key in dict.fromkeys(keys)]
    return [boards[k] for k in firsts], [firsts.index(keys.index(key)) for key in keys]


def _circuit_key(board: Board) -> tuple[object, ...]:
    """What the engine sees of a board and of its tolerances: equal circuits have equal keys."""
    elements = (
        (type(each), each.ref, each.nodes, *map(float, each.values().values()))
        for each in build_circuit(board)
    )
    return (*elements, *((each.name, each.low, each.high) for each in tolerances_of(board)))


def _rated_key(board: Board) -> tuple[object, ...]:
    """The same and the ratings: where a rule has room left, its corner is not looked for."""
    parts = [
        (part.rated_power_w, part.usual_power_w, part.working_v, part.size_assumed)
        for part in all_resistors(board)
    ]
    diodes = [(diode.junction.reverse_rating_v, diode.rated_power_w) for diode in board.diodes]
    return (*_circuit_key(board), *parts, *diodes)


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
    some, which = _different(boards, _rated_key)
    corners = find_all_corners(
        some, [tolerances_of(board) for board in some], room_ratio=ROOM_RATIO
    )
    at_corners = solved_alike([corner_circuit(*one) for one in zip(some, corners, strict=True)])
    worst = [(board, corners[k]) for board, k in zip(boards, which, strict=True)]
    solved = [at_corners[k] for k in which]
    found = [corner_rules(*at, solution) for at, solution in zip(worst, solved, strict=True)]
    failed = [
        [rule.name.removeprefix(AT_CORNER) for rule in rules if not rule.passes] for rules in found
    ]
    asked = [k for k, names in enumerate(failed) if names]
    populations = near_corners([worst[k] for k in asked], [failed[k] for k in asked])
    for k, drawn in zip(asked, populations, strict=True):
        # a corner that hardly any board surely reaches only warns, as in the whole check
        found[k] = corner_rules(*worst[k], solved[k], drawn)
    return [replace(one, corner_rules=rules) for one, rules in zip(verdict, found, strict=True)]


def near_corners(
    worst: Sequence[tuple[Board, Corners]], failed: Sequence[Sequence[str]]
) -> list[Population]:
    """The population of each board; only the `NEAREST` to each failing corner are judged.

    How near is the sum of what each tolerance does alone (`Corners.effects`): once of all, and
    once of those that a data sheet states, as the others have the benefit of the doubt.
    """
    shares, near = [], []
    for (_, corners), names in zip(worst, failed, strict=True):
        points = drawn_shares(len(corners.tolerances))
        rules = [corners.names.index(name) for name in names]
        towards = corners.effects[rules] * np.sign(corners.shares[rules] - 0.5)
        stated = [t.unpublished is None or t.unpublished.above > 0.0 for t in corners.tolerances]
        towards = np.concatenate([towards, towards * stated])
        closeness = points.reshape(-1, len(corners.tolerances)) @ towards.T
        shares.append(points)
        near.append(np.unique(np.argsort(-closeness, axis=0)[:NEAREST]))
    rows = [
        points.reshape(-1, points.shape[-1])[some]
        for points, some in zip(shares, near, strict=True)
    ]
    drawn = [
        draw(board, corners.tolerances, some)
        for (board, corners), some in zip(worst, rows, strict=True)
    ]
    judged = evaluate_together(drawn, [board for board, _ in worst])
    return [
        Population(
            tolerances=corners.tolerances,
            shares=points,
            rule_margins=_among(margins, some, points),
            sure_margins=_among(with_doubt(margins, board, corners.tolerances, mine), some, points),
        )
        for (board, corners), points, some, mine, margins in zip(
            worst, shares, near, rows, judged, strict=True
        )
    ]


def _among(judged: RuleMargins, rows: IntArray, shares: FloatArray) -> RuleMargins:
    """Margins of a whole population, where only some rows were judged and the others pass."""
    size = shares.shape[0] * shares.shape[1]
    margins = np.full((size, len(judged.names)), NOT_BINDING)
    margins[rows] = judged.margins
    return replace(judged, margins=margins, pulse_s=np.full((size, 2), np.nan))


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
    return in_groups(circuits, lambda some: solve_together([circuits[k] for k in some]))


def _headrooms(
    boards: Sequence[Board], beside: Sequence[Circuit]
) -> tuple[list[list[Headroom]], list[Solution]]:
    """Those that rules ask for, of each board; and what is solved beside them."""
    asked = [headroom_rules(board) for board in boards]
    cases = [
        build_circuit(condensed(board), one.conditions)
        for board, each in zip(boards, asked, strict=True)
        for one in each
    ]
    names = np.array([one.quantity for each in asked for one in each])
    result, others = headrooms_of(stack(cases), names, condensed(boards[0]), True, beside)
    size = len(asked[0])
    return [result[k : k + size] for k in range(0, len(result), size)], others
