"""Points in time: what a meter reads does not hang on where they happen to stand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.boards import VARIANTS
from tests.fuzz.random_boards import boards, same_again
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import stack
from zcd.engine.grid import CLUSTERING_RATIO, clustered_phases_rad
from zcd.engine.solve import EDGES, PULSES, READINGS, SolverOptions, solve
from zcd.margin.check import level_conditions
from zcd.sync.lock import judge

FINE = SolverOptions(points=6000, refine=False, isolated=False)


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


@pytest.mark.parametrize("count", [80, pytest.param(240, marks=pytest.mark.slow)])
def test_edges_are_those_of_a_thousand_points(count: int) -> None:
    """Of 240 boards the last hundredth of the edges is more than a single board's."""
    off: dict[str, list[NDArray[np.float64]]] = {"single": [], "many": []}

    @settings(same_again, max_examples=count)
    @given(boards(capacitors=False))
    def collect(board: Board) -> None:
        circuit = stack([build_circuit(board, case) for case in level_conditions(board)])
        fine = judge(solve(circuit, replace(EDGES, points=1200)), board, worst=True).pulses
        for name, options in (("single", EDGES), ("many", PULSES)):
            found = judge(solve(circuit, options), board, worst=True).pulses
            alike = (found.count == fine.count) & (fine.count > 0)
            off[name] += [
                np.abs(getattr(found, edge) - getattr(fine, edge))[alike, 0]
                for edge in ("fall_s", "rise_s")
            ]

    collect()
    every = np.array([np.concatenate(off[name]) for name in off])
    assert every.shape[1] >= 2 * count
    assert np.all(np.median(every, axis=1) < [0.5e-6, 1e-6])
    assert np.all(np.percentile(every, 99.0, axis=1) < [5e-6, 10e-6])
