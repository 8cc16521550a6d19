"""An invented board, checked, solved and diagnosed, for the tests of what is shown."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.case import Case
from zcd.diagnosis.expected_readings import ExpectedReading, list_expected_readings
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.job import Job
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.rank import diagnose
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.margin.ageing import YEARS, Ageing, Course
from zcd.margin.check import Check, nominal_check
from zcd.margin.lattice import boundary, explore
from zcd.margin.loss_map import Boundary, LossMap, Reach
from zcd.margin.loss_share import LINES, LossShare
from zcd.margin.outlook import Outlook
from zcd.margin.quantities import quantity_of
from zcd.margin.roots import broken_rule
from zcd.margin.sensitivity import Sensitivity
from zcd.margin.spread import with_spread
from zcd.sync.lock import RULES, Lock, judge

FloatArray = NDArray[np.float64]

RESISTORS = '["30k", "43k"]'
HOLDS = f"""\
name = "Ostrel D3 mushroom dryer, invented"
mains = "120 V 60 Hz"
rectifier = "1N4007"
optocoupler = "817 C"
[feed]
kind = "switched"
coil_supply = "24 V"
coil_resistance = "1k44"
[chain]
style = "1206"
resistors = {RESISTORS}
[output]
pull_up = "39k"
supply = "5 V"
"""
FAILS = HOLDS.replace('style = "1206"', 'style = "0402"')
"""Resistors too small for their power and voltage."""
DARK = HOLDS.replace(RESISTORS, '["10M", "10M"]')
"""So little LED current that there is no pulse."""


@dataclass(frozen=True, kw_only=True)
class Solved:
    """A board at nominal mains, and its check."""

    board: Board
    solution: Solution
    lock: Lock

    @cached_property
    def check(self) -> Check:
        """With worst corners and a population."""
        return with_spread(nominal_check(self.board))


@cache
def solved(text: str = HOLDS) -> Solved:
    """Solve and check a board file."""
    return solved_board(parse_board(text))


def solved_board(board: Board) -> Solved:
    """Solve and check a board."""
    solution = solve(build_circuit(board))
    return Solved(board=board, solution=solution, lock=judge(solution, board))


def course(first: float, median: float, corner: float) -> Course:
    """A course made by hand: straight lines."""
    falling = np.linspace(0.0, 1.0, YEARS.size)
    return Course(
        points_years=YEARS,
        low_ratio=0.5 - falling,
        middle_ratio=0.7 - falling,
        high_ratio=0.9 - falling,
        corner_ratio=0.2 - falling,
        first_years=first,
        median_years=median,
        corner_years=corner,
    )


def outlook() -> Outlook:
    """An outlook made by hand."""
    decides = Sensitivity(
        names=("CTR of OC1", "mains voltage", "R1"),
        first=np.array([0.70, 0.18, 0.0]),
        total=np.array([0.71, 0.2, 0.004]),
        total_low=np.array([0.69, 0.15, 0.002]),
        total_high=np.array([0.73, 0.26, 0.008]),
        unexplained_ratio=0.02,
        headroom_low_ratio=8.8,
        headroom_middle_ratio=17.0,
        headroom_high_ratio=35.0,
    )
    ageing = Ageing(
        hours_per_year=4000.0,
        drift_ratio=np.linspace(0.0, 0.16, YEARS.size),
        courses={
            "design rule": course(26.5, np.inf, 7.5),
            "acceleration": course(np.inf, np.inf, 0.0),
        },
    )
    return Outlook(sensitivity=decides, ageing=ageing)


SETTLED = ("dc K1.coil 23.7 V", "dc pin logic0 4.98 V", "ohm R2 OL")
"""Readings that leave no doubt: R2 is open."""
OPEN = ("dc pin logic0 4.98 V",)
"""One that leaves the question open."""


@cache
def dictionary() -> FaultDictionary:
    """A coarse fault dictionary of the board, for what is shown of it."""
    return make_fault_dictionary(parse_board(HOLDS), usual_meter(), samples=4)


@cache
def card() -> tuple[ExpectedReading, ...]:
    """The bench card of the board."""
    return list_expected_readings(dictionary())


@cache
def case(texts: tuple[str, ...] = SETTLED, note: str = "the fan stands still") -> Case:
    """The board diagnosed from readings as typed."""
    measured = tuple(parse_reading(text, dictionary().circuit) for text in texts)
    job = Job(
        board=dictionary().board,
        meter=dictionary().meter,
        log=measured,
        flags=("sync", "fan"),
        note=note,
    )
    return Case(job=job, dictionary=dictionary(), diagnosis=diagnose(dictionary(), measured))


def lost_below(
    limit_ratio: float, *, rule: str = "edge offset", here: float = 1.0, above: float = np.inf
) -> LossMap:
    """A map made by hand: lost below one remaining CTR and, too strong, above another."""
    opto = replace(solved().board.optocoupler, remaining_ratio=here)
    board = replace(solved().board, optocoupler=opto)
    mains, ctr = quantity_of(board, "mains"), quantity_of(board, "ctr")

    def margins(across: FloatArray, up: FloatArray) -> FloatArray:
        del across
        result = np.ones((up.size, len(RULES)))
        value = ctr.value(up)
        result[:, RULES.index("high time")] = np.clip(np.log(above / value), -1.0, 1.0)
        result[:, RULES.index(rule)] = np.clip(np.log(value / limit_ratio), -1.0, 1.0)
        return result

    lattice = explore(margins)
    kept = limit_ratio <= here <= above
    nothing = Reach(below=np.nan, above=np.nan, rule_below=None, rule_above=None)
    high = above if here <= above < ctr.high else np.nan
    low = limit_ratio if ctr.low < limit_ratio <= here else np.nan
    return LossMap(
        board=solved().board,
        across=mains,
        up=ctr,
        lattice=lattice,
        boundaries=tuple(
            Boundary(
                across=mains.value(curve.across),
                up=ctr.value(curve.up),
                rules=tuple(RULES[kind] for kind in curve.kinds),
                closed=curve.closed,
            )
            for curve in boundary(margins, lattice)
        ),
        failed_rule=None if kept else rule if here < limit_ratio else "high time",
        reach_across=nothing,
        reach_up=Reach(below=low, above=high, rule_below=rule, rule_above="high time"),
        temperature_degc=25.0,
    )


def share_lost(chart: LossMap) -> LossShare:
    """A share made by hand: all boards do as the typical one, and lie around it."""
    return LossShare(
        lost_ratio=(broken_rule(chart.lattice.margins) >= 0).astype(float),
        line_margins=np.stack([chart.lattice.margins.min(axis=2)] * len(LINES)),
        boards=16,
        points=81,
        cloud_across=np.linspace(114.0, 126.0, 8),
        cloud_up=np.full(8, chart.up.here),
    )
