"""What tolerances make of a board: its worst corners, and a population of its kind."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import ClassVar

import numpy as np

from zcd.board.model import Board
from zcd.board.units import format_si
from zcd.circuit.elements import Circuit
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.logs import logger
from zcd.margin.check import LOCK_SOURCE, Check, NominalCheck
from zcd.margin.corners import Corners, Place, find_corners
from zcd.margin.culprit import passing_as_sized, passing_values_of, remedies_of
from zcd.margin.population import Population, draw_population
from zcd.margin.rules import RARE_RATIO, SYNC, Rule, without_number
from zcd.margin.stress_rules import stress_rules
from zcd.margin.tolerances import draw, tolerances_of
from zcd.margin.unpublished import counts_by_distortion, doubt_about
from zcd.sync.lock import FUNCTION, RULES, binding_rules

_LOG = logger(__name__)

AT_CORNER = "worst corner: "
"""Before the names of the rules."""
MIN_MISS_RATIO = 1e-3
"""What the points in time leave undecided is not told apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """The corner that is worst for one rule.

    Parameters
    ----------
    rule : str
        Its name.
    left_ratio : float
        Share of its limit that the rule has left there, negative where it fails.
    passes : bool
        Whether it is kept.
    places : tuple of Place
        Where the tolerances sit there, those with the largest effect first.
    """

    rule: str
    left_ratio: float
    passes: bool
    places: tuple[Place, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """What tolerances make of a board.

    Parameters
    ----------
    corners : Corners
        Of every rule, all tolerances at the ends that are worse for it.
    rules : tuple of Rule
        The same as rules of the verdict, in the same order.
    population : Population
        Boards of its kind.
    """

    JSON_KEYS: ClassVar = ("tolerances=corners.tolerances", "corners=worst", "population")

    corners: Corners
    rules: tuple[Rule[float], ...]
    population: Population

    @property
    def worst(self) -> tuple[Corner, ...]:
        """The worst corner of every rule."""
        result = zip(self.corners.names, self.corners.margins, self.rules, strict=True)
        return tuple(
            Corner(
                rule=name,
                left_ratio=float(margin),
                passes=rule.passes,
                places=self.corners.places(k),
            )
            for k, (name, margin, rule) in enumerate(result)
        )


def with_spread(check: NominalCheck) -> Check:
    """The whole check: with the worst corners of its board and a population of its kind.

    Parameters
    ----------
    check : NominalCheck

    Returns
    -------
    check : Check
        Its verdict counts the rules at the worst corners too.
    """
    known = {field.name: getattr(check, field.name) for field in fields(NominalCheck)}
    unread = [unknown.ref for unknown in check.board.unknowns]
    values = passing_values_of(check.board, unread)
    whole = Check(
        **known,
        spread=spread_of(check.board),
        passing_values=values,
        passing_as_sized=passing_as_sized(check.board, unread),
    )
    if whole.passes and not whole.hangs_on_grade:
        return whole
    _LOG.info("trying which single part, put right, makes the board pass")
    failed = {rule.subject for rule in whole.every_rule if rule.status == "fail"}
    return replace(whole, remedies=remedies_of(check.board, failed))


def spread_of(board: Board) -> Spread:
    """Find the worst corners of a board and judge a population.

    Parameters
    ----------
    board : Board

    Returns
    -------
    spread : Spread
    """
    tolerances = tolerances_of(board)
    _LOG.info("searching the worst corners of %d tolerances", len(tolerances))
    corners = find_corners(board, tolerances)
    _LOG.info("judging boards drawn from all tolerances")
    population = draw_population(board, tolerances)
    drawn = population.shares.reshape(-1, len(tolerances))
    corners = corners.with_drawn(drawn, population.rule_margins.margins)
    return Spread(
        corners=corners,
        rules=corner_rules(board, corners, solve(corner_circuit(board, corners)), population),
        population=population,
    )


DISTORTED = (
    "how distorted the mains is, and whether the controller leaves out a second pulse close to the "
    "first"
)
"""What decides whether a board with a series capacitor counts right."""


def corner_circuit(board: Board, corners: Corners) -> Circuit:
    """The board at the corners of the rules of stress, a row each."""
    of_stress = np.arange(len(RULES), len(corners.names))
    return draw(board, corners.tolerances, corners.shares[of_stress]).circuit


def corner_rules(
    board: Board, corners: Corners, solution: Solution, drawn: Population | None = None
) -> tuple[Rule[float], ...]:
    """Every rule at its own corner, in the order of `Corners.names`, with its share of boards.

    A lock rule has no number but by how much it is missed; the rules of stress are read off the
    solution of `corner_circuit`.
    """
    lock = [
        without_number(
            name,
            float(margin),
            LOCK_SOURCE,
            remark=_missed_by(float(margin)),
            kind=("function" if name in FUNCTION else "limit") if binding else "expectation",
            subject=SYNC if binding else name,
        )
        for name, margin, binding in zip(
            RULES, corners.margins[: len(RULES)], binding_rules(board), strict=True
        )
    ]
    stress = [rule.at(row) for row, rule in enumerate(stress_rules(solution, board))]
    # a pulse is missing where the pin stays on one side
    doubt = doubt_about(board, RULES[int(np.argmin(corners.margins[:2]))])
    reached = (_reached(rule, doubt, drawn) for rule in (*lock, *stress))
    return tuple(
        replace(_of_distorted_mains(rule, board), name=f"{AT_CORNER}{rule.name}")
        for rule in reached
    )


def _reached(rule: Rule[float], doubt: str, drawn: Population | None) -> Rule[float]:
    """A rule with the share of boards that break it, and what that depends on."""
    if drawn is None:
        return rule
    share = drawn.rule_margins.broken_ratio[rule.name]
    doubtful = share >= RARE_RATIO > drawn.sure_margins.broken_ratio[rule.name]
    return replace(rule, share_ratio=share, depends_on=doubt if doubtful else "")


def _of_distorted_mains(rule: Rule[float], board: Board) -> Rule[float]:
    """A rule of the pulses' number behind a series capacitor, which a clean mains always keeps: no
    data sheet says what the controller leaves out."""
    broken = rule.name == "pulse count" and rule.margin < 0.0
    return replace(rule, depends_on=DISTORTED) if broken and counts_by_distortion(board) else rule


def _missed_by(margin: float) -> str:
    """How far a lock rule is from being kept, in words; empty where it is."""
    if margin >= 0.0:
        return ""
    if margin <= -1.0:
        return "fails: no pulse"
    return f"misses its limit by {format_si(max(-margin, MIN_MISS_RATIO), '%', digits=2)}"
