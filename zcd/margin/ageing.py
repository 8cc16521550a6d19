"""Margin against years in service, by both published views of ageing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import led_refs
from zcd.engine.solve import PULSES, solve
from zcd.margin.corners import Corners
from zcd.margin.headroom import weakened
from zcd.margin.lifetime import HOURS_PER_YEAR, MIN_LED_A
from zcd.margin.population import SEED, even_points
from zcd.margin.roots import open_roots
from zcd.margin.tolerances import Boards, Tolerance, draw
from zcd.physics.ageing import remaining_by_acceleration_ratio, remaining_by_design_rule_ratio
from zcd.physics.resistor import drift_ratio
from zcd.refdata import default
from zcd.sync.lock import RULES, judge

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

VIEWS = ("design rule", "acceleration")
"""The maker's design rule (half of the CTR lost in five years), and the current-and-temperature
model."""
YEARS = np.array([0.0, 1.0, 3.0, 5.0, 8.0, 12.0, 16.0, 21.0, 28.0, 40.0])
BOARDS = 256
FIRST_RATIO = 0.01
YEAR_TOLERANCE = 0.02
STEP_RATIO, STEP_YEARS, WATCHED_RATIO = 0.1, 1.1, -0.25
"""Years that are halved: in which a margin moves by more than the first above the last, and which
are longer than the second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """How the smallest lock margin goes with the years, by one view.

    Parameters
    ----------
    points_years : ndarray, shape (m,)
        `YEARS`, and more where a margin moves.
    low_ratio, middle_ratio, high_ratio : ndarray, shape (m,)
        What 1 %, half and 99 % of the boards do not reach then.
    corner_ratio : ndarray, shape (m,)
        The worst corner's.
    first_years, median_years, corner_years : float
        When the first percent, half of the boards and the worst corner have lost sync; inf: not
        within `YEARS`, 0: from the beginning.
    """

    points_years: FloatArray
    low_ratio: FloatArray
    middle_ratio: FloatArray
    high_ratio: FloatArray
    corner_ratio: FloatArray
    first_years: float
    median_years: float
    corner_years: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ageing:
    """Margin against years.

    Parameters
    ----------
    hours_per_year : float
        Hours a year with mains at the chain.
    drift_ratio : ndarray, shape (m,)
        By how much the chain has risen, at each of `YEARS`.
    courses : dict of str to Course
        By view.
    """

    JSON_KEYS: ClassVar = ("use_h=hours_per_year", "points_years", "drift_ratio", "views=courses")

    hours_per_year: float
    drift_ratio: FloatArray
    courses: dict[str, Course]

    @property
    def points_years(self) -> FloatArray:
        """Years in service at which there is a value."""
        return YEARS


def ageing_of(board: Board, tolerances: Sequence[Tolerance], corners: Corners) -> Ageing:
    """Follow a population and the worst corner through the years.

    Parameters
    ----------
    board : Board
    tolerances : sequence of Tolerance
    corners : Corners
        Of the same tolerances.

    Returns
    -------
    ageing : Ageing

    Notes
    -----
    CTR falls, and the chain rises by load life: towards less current, which is the worse way.
    Each board keeps its temperature and its mains. The acceleration goes with the square of each
    board's own LED current.
    """
    points = even_points(BOARDS, len(tolerances), np.random.default_rng(SEED))
    shares = np.concatenate([points, corners.shares[: len(RULES)]])
    fleet = _Fleet(board, draw(board, tolerances, shares))
    return Ageing(
        hours_per_year=board.service.hours_per_year,
        drift_ratio=fleet.drift(YEARS),
        courses={view: _course(fleet, view) for view in VIEWS},
    )


class _Fleet:
    """Boards that grow old together."""

    def __init__(self, board: Board, boards: Boards) -> None:
        self.board, self.boards = board, boards
        self.size = boards.circuit.size
        self.hours = board.service.hours_per_year
        solution = solve(boards.circuit, PULSES)
        led = np.sum([solution.currents_a[ref] for ref in led_refs(board)], axis=0)
        self.led_rms_a = np.maximum(solution.rms(led), MIN_LED_A)
        self.celsius = boards.circuit.temperature_degc

    def drift(self, years: FloatArray) -> FloatArray:
        """Rise of the chain after some years."""
        return drift_ratio(years * self.hours, default("margin.chain_drift").value)

    def remaining(self, view: str, years: FloatArray, row: IntArray) -> FloatArray:
        """What is left of the CTR of some boards after as many years each, shape (k,)."""
        if view == "design rule":
            return remaining_by_design_rule_ratio(years * self.hours / HOURS_PER_YEAR)
        celsius = np.broadcast_to(self.celsius, self.size)[row]
        return remaining_by_acceleration_ratio(years * self.hours, self.led_rms_a[row], celsius)

    def margin(self, view: str, years: FloatArray, row: IntArray) -> FloatArray:
        """Smallest lock margin of some boards, each after its own number of years, shape (k,)."""
        board, boards = self.board, self.boards.rows(row)
        aged = weakened(boards.circuit, board, "ctr", 1.0 / self.remaining(view, years, row))
        aged = weakened(aged, board, "chain", 1.0 + self.drift(years))
        return judge(solve(aged, PULSES), board, boards.thresholds).margin


def _course(fleet: _Fleet, view: str) -> Course:
    def margin(years: FloatArray, row: IntArray) -> FloatArray:
        return fleet.margin(view, years, row)

    years, new = np.empty(0), YEARS
    margins = np.empty((0, fleet.size))
    while new.size:
        rows = np.tile(np.arange(fleet.size), new.size)
        more = margin(np.repeat(new, fleet.size), rows).reshape(new.size, -1)
        years, margins = np.append(years, new), np.concatenate([margins, more])
        order = np.argsort(years)
        years, margins = years[order], margins[order]
        low, middle, high = np.quantile(
            margins[:, :BOARDS], (FIRST_RATIO, 0.5, 1.0 - FIRST_RATIO), axis=1
        )
        corner = margins[:, BOARDS:].min(axis=1)
        watched = np.maximum([low, middle, high, corner], WATCHED_RATIO)
        moves = np.any(np.abs(np.diff(watched)) > STEP_RATIO, axis=0)
        wide = np.diff(years) > STEP_YEARS
        new = ((years[1:] + years[:-1]) / 2.0)[moves & wide]
    lost = _lost_years(margin, years, margins)
    first, median = np.quantile(lost[:BOARDS], (FIRST_RATIO, 0.5), method="lower")
    return Course(
        points_years=years,
        low_ratio=low,
        middle_ratio=middle,
        high_ratio=high,
        corner_ratio=corner,
        first_years=float(first),
        median_years=float(median),
        corner_years=float(lost[BOARDS:].min()),
    )


def _lost_years(
    margin: Callable[[FloatArray, IntArray], FloatArray], years: FloatArray, margins: FloatArray
) -> FloatArray:
    """When each board loses sync; 0 if it never had it, inf if it keeps it."""
    row = np.arange(margins.shape[1])
    lost = margins < 0.0
    ever, at = np.any(lost, axis=0), np.argmax(lost, axis=0)
    crosses = ever & (at > 0)
    before = np.maximum(at - 1, 0)
    ends = years[before], np.where(crosses, years[at], years[before])
    values = margins[before, row], np.where(crosses, margins[at, row], margins[before, row])
    result = open_roots(margin, ends, values, YEAR_TOLERANCE)
    return np.where(crosses, result, np.where(ever, 0.0, np.inf))
