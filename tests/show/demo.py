"""An invented board, checked, solved and diagnosed, for the tests of what is shown."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.atlas import Atlas, make_atlas
from zcd.diagnosis.card import CardLine, bench_card
from zcd.diagnosis.job import Job
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.rank import diagnose
from zcd.diagnosis.words import parse_reading
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.margin.check import Check, check
from zcd.margin.maps import LossMap
from zcd.margin.spread import with_spread
from zcd.show.findings import Case
from zcd.sync.lock import Lock, judge

HOLDS = """\
name = "Ostrel D3 mushroom dryer, invented"
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 C"
[feed]
kind = "switched"
[chain]
style = "1206"
resistors = ["100k", "150k"]
[output]
pull_up = "47k"
supply = "5 V"
"""
FAILS = HOLDS.replace('style = "1206"', 'style = "0603"')
"""Resistors too small for their power and voltage."""
DARK = HOLDS.replace('["100k", "150k"]', '["10M", "10M"]')
"""So little LED current that there is no pulse."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """A board at nominal mains, and its check."""

    board: Board
    solution: Solution
    lock: Lock
    check: Check


@cache
def solved(text: str = HOLDS) -> Solved:
    """Solve and check a board file."""
    return solved_board(parse_board(text))


def solved_board(board: Board) -> Solved:
    """Solve and check a board."""
    solution = solve(build_circuit(board))
    return Solved(board=board, solution=solution, lock=judge(solution, board), check=check(board))


@cache
def spread_check(text: str = HOLDS) -> Check:
    """A check with worst corners and a population."""
    return with_spread(solved(text).check)


SETTLED = ("dc K1.coil 11.5 V", "dc pin logic0 4.98 V", "ohm R2 OL")
"""Readings that leave no doubt: R2 is open."""
OPEN = ("dc pin logic0 4.98 V",)
"""One that leaves the question open."""


@cache
def atlas() -> Atlas:
    """A coarse atlas of the board, for what is shown of it."""
    return make_atlas(parse_board(HOLDS), usual_meter(), samples=4)


@cache
def card() -> tuple[CardLine, ...]:
    """The bench card of the board."""
    return bench_card(atlas())


@cache
def case(texts: tuple[str, ...] = SETTLED, note: str = "the fan stands still") -> Case:
    """The board diagnosed from readings as typed."""
    measured = tuple(parse_reading(text, atlas().circuit) for text in texts)
    job = Job(
        board=atlas().board,
        meter=atlas().meter,
        measured=measured,
        flags=("sync", "fan"),
        note=note,
    )
    return Case(job, atlas().circuit, diagnose(atlas(), measured))


def lost_below(*boundary_ratio: float, rule: str = "edge offset", here: float = 1.0) -> LossMap:
    """A map made by hand: a boundary over 100 V to 260 V, one failing rule."""
    points = len(boundary_ratio)
    return LossMap(
        mains_rms_v=np.linspace(100.0, 260.0, points),
        boundary_ratio=np.array(boundary_ratio),
        rules=(rule,) * points,
        upper_ratio=np.full(points, np.nan),
        upper_rules=(None,) * points,
        lowest_ratio=0.01,
        highest_ratio=1.0,
        here=(230.0, here),
        temperature_degc=25.0,
    )
