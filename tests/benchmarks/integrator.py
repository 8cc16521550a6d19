"""The LED's current of a batch of boards: ours, and solve_ivp's on one at equal accuracy.

How far off either is, is told against itself solved much finer, so that what the two call a board
(series resistance of junctions, stray capacitance) stays out of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.reference import integrate_led_current
from tests.benchmarks.rows import KINDS
from tests.benchmarks.timing import Row, seconds
from tests.diagnosis.boards import board
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.engine.solution import row_pieces
from zcd.engine.solve import PULSES, SolverOptions, solve

FloatArray = NDArray[np.float64]

OURS = replace(PULSES, isolated=False)
OURS_FINE = replace(OURS, points=3200)
TOLERANCES = (1e-2, 1e-3, 1e-4, 1e-5, 1e-6)
FINEST = 1e-8
EVEN = 2000
"""Times of a period at which currents are compared."""
ROWS, QUICK_ROWS = 10_000, 64


def integrator_rows(*, quick: bool = False) -> list[Row]:
    """A board of a batch beside solve_ivp, by kind of board."""
    size, rows = QUICK_ROWS if quick else ROWS, []
    for kind, name in KINDS.items():
        capacitor = name != "half-wave"
        tolerance = equal_tolerance(board(name), capacitor=capacitor)
        alone = _one(tolerance, capacitor=capacitor)
        rows.append(
            Row(
                job=f"a board's LED current, {kind}",
                time_s=seconds(batch_job(board(name), size), quick=quick) / size,
                beside=f"solve_ivp, same question and accuracy (rtol {tolerance:.0e})",
                beside_s=seconds(alone, quick=quick),
            )
        )
    return rows


def _one(tolerance_ratio: float, *, capacitor: bool) -> Callable[[], object]:
    return lambda: integrate_led_current(tolerance_ratio, capacitor=capacitor)


def batch_job(found: Board, size: int) -> Callable[[], object]:
    """Peak LED current of boards under as many mains voltages, a piece at a time."""
    circuit = build_circuit(found, Conditions(mains_rms_v=np.linspace(200.0, 260.0, size)))
    pieces = row_pieces(size)
    return lambda: [
        solve(circuit.rows(piece), OURS).currents_a["OC1.led"].max(axis=1) for piece in pieces
    ]


def our_current_a(found: Board, options: SolverOptions) -> FloatArray:
    """At `EVEN` even times of a period, straight between the points of the grid."""
    solution = solve(build_circuit(found), options)
    period_s = 1.0 / found.mains.frequency_hz
    even_s = np.arange(EVEN) / EVEN * period_s
    return np.interp(even_s, solution.time_s[0], solution.currents_a["OC1.led"][0], period=period_s)


def error_ratio(found_a: FloatArray, expected_a: FloatArray) -> float:
    """Largest difference, over the peak."""
    return float(np.max(np.abs(found_a - expected_a)) / np.max(expected_a))


def equal_tolerance(found: Board, *, capacitor: bool) -> float:
    """The integrator's coarsest tolerance with which it is as near the truth as we are."""
    ours = error_ratio(our_current_a(found, OURS), our_current_a(found, OURS_FINE))
    fine = integrate_led_current(FINEST, EVEN, capacitor=capacitor)
    return next(
        tolerance
        for tolerance in TOLERANCES
        if error_ratio(integrate_led_current(tolerance, EVEN, capacitor=capacitor), fine) <= ours
    )
