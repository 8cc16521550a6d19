"""A board judged: ours, and ngspice's on the same question at equal accuracy.

The question: lock, pulse, and what every part bears. Ours is a population, each board with its own
tolerances, mains, harmonics and heat, judged by every rule; ngspice's the same board at its nominal
values, and of its time only what the simulator itself takes.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.benchmarks.timing import Row, seconds
from tests.diagnosis.boards import board
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.engine.solution import Solution
from zcd.engine.solve import PULSES, SolverOptions, solve
from zcd.margin.population import even_points
from zcd.margin.rule_margins import evaluate
from zcd.margin.tolerances import draw, tolerances_of
from zcd.spice.solve import Effort, Spice, mains_period_s
from zcd.sync.lock import judge

KINDS = {"no capacitor": "half-wave", "a capacitor": "joint capacitor"}
"""On the mains side."""
CYCLES = {"half-wave": 2, "joint capacitor": 4}
"""Periods from rest until the last one is the steady state, as accurately as the edges are."""
STEPS = (50, 100, 200, 400)
FINE = SolverOptions(points=3200)
ROWS, QUICK_ROWS = 8192, 64


def judged_rows(*, quick: bool = False) -> list[Row]:
    """A board of a population beside ngspice, by kind of board."""
    size = QUICK_ROWS if quick else ROWS
    return [
        Row(
            job=f"a board judged, {kind}",
            time_s=seconds(population_job(board(name), size), quick=quick) / size,
            beside="ngspice, same question and accuracy",
            beside_s=seconds(ngspice_job(board(name), CYCLES[name]), quick=quick),
        )
        for kind, name in KINDS.items()
    ]


def population_job(found: Board, size: int) -> Callable[[], object]:
    """Draw a population and judge it by every rule."""
    tolerances = tolerances_of(found)
    shares = even_points(size, len(tolerances), np.random.default_rng(1))
    return lambda: evaluate(draw(found, tolerances, shares), found)


def ngspice_job(found: Board, cycles: int) -> Callable[[], object]:
    """Run ngspice from rest, with the fewest steps that make its edges as accurate as ours."""
    circuit = build_circuit(found)
    fine = solve(circuit, FINE)
    within_s = edge_error_s(solve(circuit, PULSES), fine, found)
    for steps in STEPS:
        spice = Spice(effort=Effort(steps=steps, tolerance_ratio=1e-3))
        deck, stop_s = ngspice_deck(spice, circuit, cycles)
        if edge_error_s(spice.solve(circuit), fine, found) <= within_s:
            break
    return lambda: spice.run(deck, stop_s)


def ngspice_deck(spice: Spice, circuit: Circuit, cycles: int) -> tuple[str, float]:
    """Deck of some periods from rest, and its end."""
    period_s = mains_period_s(circuit)
    step_s, stop_s = period_s / spice.effort.steps, cycles * period_s
    analysis = f".tran {step_s!r} {stop_s!r} 0 {step_s!r} uic"
    return spice.deck(spice.netlist(circuit, {}, cycles), analysis), stop_s


def edge_error_s(solution: Solution, fine: Solution, found: Board) -> float:
    """How far the edges of one board are from those of a fine grid."""
    pulses, expected = (judge(s, found).pulses for s in (solution, fine))
    pairs = (pulses.fall_s, expected.fall_s), (pulses.rise_s, expected.rise_s)
    return max(abs(float(a[0, 0] - b[0, 0])) for a, b in pairs)
