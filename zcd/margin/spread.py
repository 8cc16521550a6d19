"""What tolerances make of a board: its worst corners, and a population of its kind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from zcd.board.model import Board
from zcd.engine.solve import solve
from zcd.margin.check import Rule
from zcd.margin.corners import Corners, find_corners
from zcd.margin.limits import limits_of
from zcd.margin.population import Population, draw_population
from zcd.margin.tolerances import draw, tolerances_of
from zcd.sync.lock import RULES

LOCK_SOURCE = "the controller's lock rules, as written or assumed in the board file"


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
    """

    corners: Corners
    rules: tuple[Rule, ...]
    population: Population

    @property
    def passes(self) -> bool:
        """Whether every rule is kept at its own worst corner."""
        return all(rule.passes for rule in self.rules)


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
    corners = find_corners(board, tolerances)
    return Spread(
        corners=corners,
        rules=_corner_rules(board, corners),
        population=draw_population(board, tolerances),
    )


def _corner_rules(board: Board, corners: Corners) -> tuple[Rule, ...]:
    """Every rule at its own corner; a lock rule has no number."""
    of_stress = np.arange(len(RULES), len(corners.names))
    drawn = draw(board, corners.tolerances, corners.shares[of_stress])
    lock = [
        Rule(
            name=f"worst corner: {name}",
            value=float("nan"),
            limit=float("nan"),
            at_least=True,
            unit="",
            passes=bool(margin >= 0.0),
            source=LOCK_SOURCE,
        )
        for name, margin in zip(RULES, corners.margins[: len(RULES)], strict=True)
    ]
    stress = [
        Rule(
            name=f"worst corner: {limit.name}",
            value=float(limit.value[row]),
            limit=float(limit.limit[row]),
            at_least=False,
            unit=limit.unit,
            passes=bool(limit.margin[row] >= 0.0),
            source=limit.source,
        )
        for row, limit in enumerate(limits_of(solve(drawn.circuit), board))
    ]
    return (*lock, *stress)
