"""Curves between solved points: near to what they stand for, and without swings of their own.

Sources: the sine itself; scipy's PchipInterpolator, which never leaves the points; H. T. Huynh,
"Accurate monotone cubic interpolation", SIAM J. Numer. Anal. 30 (1993): monotone data stay so.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import PchipInterpolator

import zcd
from tests.boards import VARIANTS
from zcd.circuit.build import build_circuit
from zcd.engine.solve import solve
from zcd.sync.curves import period_curve, smooth


@pytest.mark.parametrize("points", [12, 20, 40])
def test_a_sine_on_few_points_is_nearer_to_it_than_scipys_monotone_cubics(points: int) -> None:
    at = np.linspace(-1.0, 7.0, points)
    fine, drawn = smooth(at, np.sin(at))
    inner = (fine >= at[2]) & (fine <= at[-3])
    off = np.abs(drawn - np.sin(fine))[inner].max()
    scipys = np.abs(PchipInterpolator(at, np.sin(at))(fine) - np.sin(fine))[inner].max()
    assert off < scipys / 5.0
    assert off < (at[1] - at[0]) ** 3 / 9.0**1.5  # bound of the parabola through three points


def test_rising_points_make_a_rising_curve() -> None:
    rng = np.random.default_rng(5)
    at = np.cumsum(rng.uniform(0.2, 2.0, 400))
    values = np.round(np.sort(rng.normal(size=400)), 1)  # with equal neighbours
    assert np.all(np.diff(smooth(at, values)[1]) >= -1e-12)


@pytest.mark.parametrize(
    "values",
    [(0, 0, 0, 0, 1, 1, 1, 1, 0, 0), (0, 0, 0, 1, 5, 9, 10, 10, 10), (3, 3, 3, 1, 0, 0, 0)],
)
def test_no_curve_goes_beyond_a_flat_top_or_bottom(values: tuple[float, ...]) -> None:
    _, drawn = smooth(np.arange(float(len(values))), np.array(values, dtype=float))
    assert drawn.min() >= min(values) - 1e-12
    assert drawn.max() <= max(values) + 1e-12


def test_equal_instants_count_once() -> None:
    fine, drawn = smooth(np.array([0.0, 1.0, 1.0, 2.0]), np.array([0.0, 3.0, 3.0, 3.0]))
    assert np.all(np.diff(fine) > 0.0)
    assert drawn[-1] == 3.0


@pytest.mark.parametrize("name", VARIANTS)
def test_one_period_of_the_mains_is_its_sine(name: str) -> None:
    """A source without harmonics: sqrt(2) times RMS, drawn within 0.02 % of its peak."""
    board = VARIANTS[name]
    solution = solve(build_circuit(board))
    time, volts = period_curve(solution, solution.between_v("line", "neutral"))
    period_s = 1.0 / board.mains.frequency_hz
    assert (time[0], time[-1]) == (0.0, period_s)
    peak = 2.0**0.5 * board.mains.rms_v
    assert_allclose(volts, peak * np.sin(2.0 * np.pi * time / period_s), atol=2e-4 * peak)


@pytest.mark.parametrize("name", VARIANTS)
def test_edges_lie_on_the_curve(name: str) -> None:
    """Each edge is found where the pin crosses its threshold: the mark is on the drawn line."""
    solved = zcd.solve(VARIANTS[name])
    time_s, pin_v = solved.voltage_curve("pin", "logic0")
    rules = solved.board.controller
    levels = {"falling": rules.low_threshold_v, "rising": rules.high_threshold_v}
    assert solved.edges
    for edge in solved.edges:
        at = edge.time_s % time_s[-1]
        assert np.interp(at, time_s, pin_v) == pytest.approx(levels[edge.name], abs=5e-3)
