"""A population judged by the engine against the same boards solved by ngspice."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.diagnosis.boards import controlled
from zcd.board.model import Board
from zcd.engine.solution import Solution
from zcd.engine.solve import EDGES, SolverOptions, solve
from zcd.margin.population import even_points
from zcd.margin.rule_margins import evaluate
from zcd.margin.stress_rules import stress_rules
from zcd.margin.tolerances import Boards, draw, tolerances_of
from zcd.spice.solve import Spice
from zcd.sync.lock import RULES, judge

FloatArray = NDArray[np.float64]

SIZE = 50
EDGE_S = 10e-6
STRESS_RATIO = 0.005
"""To which both must agree: on an edge; on power, voltage and current."""
FINE = SolverOptions(points=320)
"""A mains bent by harmonics has a sharper peak than a sine."""
LEAK_RATIO = 0.02
"""The LED's reverse current is nanoamperes, of a limit of 10 uA: SPICE's own tolerance."""


@cache
def population() -> tuple[Board, Boards]:
    """Boards of which about half lock: the limit of the offset stands where the median is."""
    whole = controlled("max_offset = 0.00058")
    tolerances = tolerances_of(whole)
    points = even_points(SIZE, len(tolerances), np.random.default_rng(50))
    return whole, draw(whole, tolerances, points)


@cache
def by_spice() -> tuple[FloatArray, FloatArray]:
    """Lock margins and used shares of the limits, each board solved alone by the simulator."""
    whole, boards = population()
    margins, used = [], []
    for k in range(SIZE):
        one = boards.rows(np.array([k]))
        solution = Spice().solve(one.circuit)
        margins.append(judge(solution, whole, one.thresholds).margins[0])
        used.append(_used(solution, whole)[:, 0])
    return np.array(margins), np.array(used)


def _used(solution: Solution, whole: Board) -> FloatArray:
    """Values over their limits, shape (limits, n); the LED's reverse current comes first."""
    rules = stress_rules(solution, whole)
    rules.sort(key=lambda rule: rule.name != "OC1.led reverse current")
    return np.array([rule.value / rule.limit for rule in rules])


def test_stress_of_fifty_boards() -> None:
    """Power, voltage, reverse voltage and current, as shares of their limits."""
    whole, boards = population()
    ours, spice = _used(solve(boards.circuit, FINE), whole).T, by_spice()[1]
    assert_allclose(ours[:, 1:], spice[:, 1:], rtol=STRESS_RATIO, atol=1e-5)
    assert_allclose(ours[:, 0], spice[:, 0], rtol=0.0, atol=LEAK_RATIO)


def test_offsets_of_fifty_boards() -> None:
    whole, boards = population()
    offset, limit_s = RULES.index("edge offset"), whole.controller.max_offset_s
    ours = evaluate(boards, whole, EDGES).margins[:, offset]
    assert_allclose(ours * limit_s, by_spice()[0][:, offset] * limit_s, rtol=0.0, atol=EDGE_S)


def test_verdicts_of_fifty_boards() -> None:
    """The same boards pass, but for those that stand on the limit within the width of an edge."""
    whole, boards = population()
    lock, used = by_spice()
    ours = evaluate(boards, whole)
    passes = np.all(lock >= 0.0, axis=1) & np.all(used <= 1.0, axis=1)
    near = np.abs(lock.min(axis=1)) < 2.0 * EDGE_S / whole.controller.max_offset_s
    assert 10 < passes.sum() < 40
    assert near.sum() < 8
    assert np.array_equal(ours.passes[~near], passes[~near])
    first = [int(np.argmax(row < 0.0)) for row in lock[~near & ~passes]]
    assert ours.first_failed[~near & ~passes].tolist() == first
