"""The lag of light, and steps in time from rest, against scipy's linear systems."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.signal import lsim

from zcd.engine.steady_state import Trajectory, intervals_s, lagged

OMEGA = 2.0 * np.pi * 50.0
LAG_S = 400e-6


def test_lag_from_where_the_waveform_begins() -> None:
    """1 / (1 + s tau) of straight lines between uneven points, by scipy.signal.lsim."""
    rng = np.random.default_rng(3)
    time_s = np.concatenate([[0.0], np.sort(rng.uniform(0.0, 0.02, 40))])
    values = rng.uniform(0.0, 1.0, 41)
    start = Trajectory(time_s[None] * OMEGA, np.array([[OMEGA]]), closed=False)
    found = lagged(values[None], np.array([[LAG_S]]), start)[0]
    fine_s = np.linspace(0.0, time_s[-1], 400_001)
    # the state is the output itself
    _, exact, _ = lsim(
        ([[-1.0 / LAG_S]], [[1.0 / LAG_S]], [[1.0]], [[0.0]]),
        np.interp(fine_s, time_s, values), fine_s, X0=[values[0]],
    )  # fmt: skip
    assert_allclose(found, np.interp(time_s, fine_s, exact), rtol=0.0, atol=2e-4)


@pytest.mark.parametrize("lag_s", [LAG_S, 0.1])
def test_lag_of_a_period_is_that_of_many_in_a_row(lag_s: float) -> None:
    """What a lag comes to in the last of so many periods that nothing is left of the start."""
    rng = np.random.default_rng(4)
    phase = np.sort(rng.uniform(0.0, 2.0 * np.pi, 30))
    values = rng.uniform(0.0, 1.0, 30)
    once = lagged(values[None], np.array([[lag_s]]), Trajectory(phase[None], np.array([[OMEGA]])))[
        0
    ]
    periods = int(np.ceil(30.0 * lag_s / 0.02)) + 1
    long = (phase + 2.0 * np.pi * np.arange(periods)[:, None]).ravel()
    row = Trajectory(long[None], np.array([[OMEGA]]), closed=False)
    many = lagged(np.tile(values, periods)[None], np.array([[lag_s]]), row)[0]
    assert_allclose(once, many[-30:], rtol=1e-9)


def test_intervals_go_round_the_period() -> None:
    phase = np.array([[0.5, 1.0, 4.0]])
    omega = np.array([[OMEGA]])
    closed = intervals_s(Trajectory(phase, omega)) * OMEGA
    assert_allclose(closed, [[2.0 * np.pi - 3.5, 0.5, 3.0]])
    assert_allclose(intervals_s(Trajectory(phase, omega, closed=False)) * OMEGA, [[0.5, 0.5, 3.0]])
