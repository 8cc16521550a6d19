"""Points in time: what a meter reads does not hang on where they happen to stand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from numpy.testing import assert_allclose, assert_array_equal, assert_array_less
from numpy.typing import NDArray

from tests.boards import VARIANTS
from tests.fuzz.random_boards import boards, same_again
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit, input_refs
from zcd.circuit.elements import stack
from zcd.engine.grid import CLUSTERING_RATIO, clustered_phases_rad
from zcd.engine.solve import PULSES, READINGS, SolverOptions, solve
from zcd.margin.check import level_conditions
from zcd.sync.lock import judge

FINE = SolverOptions(points=6000, refine=False, isolated=False)
NEAR = 0.02
"""A margin of the pin's levels smaller than this: a pulse may be there or not."""
LEAST_LED_A = 1e-6


def test_crowded_points_rise_and_mirror() -> None:
    (phase,) = clustered_phases_rad(1, 96)
    step = np.diff(phase, append=phase[0] + 2.0 * np.pi)
    assert np.all(step > 0.0)
    assert_allclose(np.sin(phase), np.sin(np.roll(phase[::-1], 49)), atol=1e-12)
    even = 2.0 * np.pi / 96
    moved = CLUSTERING_RATIO * np.sin(2.0 * even) / 2.0
    assert_allclose([step.min(), step.max()], [even - moved, even + moved], rtol=1e-9)
    assert step.min() < even / 40.0


@pytest.mark.parametrize("name", ["half-wave", "clamped", "half-wave-clamped", "bridge", "two-led"])
def test_mean_over_the_led_is_that_of_a_fine_grid(name: str) -> None:
    """It turns over within some tens of microseconds: an even grid is 8 mV off.

    Within half of the 5 mV that a reading may be off.
    """
    rows = build_circuit(VARIANTS[name], Conditions(mains_rms_v=np.linspace(100.0, 264.0, 12)))
    means = []
    for options in (READINGS, FINE):
        result = solve(rows, options)
        wave = result.between_v("led+", "led-")
        means.append(np.stack([result.mean(wave), result.rms(wave)]))
    assert_allclose(*means, atol=2.5e-3)


@pytest.mark.parametrize("count", [80, pytest.param(2000, marks=pytest.mark.slow)])
def test_edges_peaks_and_margins_are_those_of_many_points(count: int) -> None:
    """Boards of all kinds against 2,400 points; where the pin turns round at a threshold, a pulse
    may be there or not."""
    off: dict[str, list[NDArray[np.float64]]] = {"edge_s": [], "peak": [], "margin": []}

    @settings(same_again, max_examples=count)
    @given(boards())
    def collect(board: Board) -> None:
        circuit = stack([build_circuit(board, case) for case in level_conditions(board)])
        solutions = [solve(circuit, o) for o in (PULSES, replace(PULSES, points=2400))]
        found, fine = (judge(solution, board, worst=True) for solution in solutions)
        clear = np.min(np.abs(fine.margins[:, :2]), axis=1) > NEAR
        assert_array_equal(found.pulses.count[clear], fine.pulses.count[clear])
        for edge in ("fall_s", "rise_s"):
            apart = getattr(found.pulses, edge) - getattr(fine.pulses, edge)
            turn = fine.pulses.period_s[:, None] * fine.pulses.count[:, None]
            off["edge_s"].append(np.abs(apart - turn * np.round(apart / turn))[clear])
        off["margin"].append(np.abs(found.margins - fine.margins)[clear])
        for led in input_refs(board):
            some, more = (solution.peak(solution.currents_a[led]) for solution in solutions)
            lit = more > LEAST_LED_A
            off["peak"].append(np.abs(some / more - 1.0)[lit])

    collect()
    edge_s, peak, margin = (np.concatenate([x.ravel() for x in waves]) for waves in off.values())
    assert edge_s.size > 8 * count
    assert_array_less(np.nanpercentile(edge_s, [50.0, 99.0]), [2e-6, 5e-6])
    assert_array_less(np.nanpercentile(peak, [50.0, 99.0]), [1e-3, 5e-3])
    assert np.percentile(margin[np.isfinite(margin)], 99.0) < 0.02
