"""Heat and returning voltage of the switch, each by a second way."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad, solve_ivp

from zcd.physics.triac import derated_current_a, free_air_current_a, reapplied_slope_v_per_s


def test_derating_is_a_straight_line_between_its_ends() -> None:
    ambient = np.array([-20.0, 40.0, 55.0, 70.0, 100.0, 130.0])
    result = derated_current_a(1.2, ambient, 40.0, 100.0)
    assert_allclose(result, [1.2, 1.2, 0.9, 0.6, 0.0, 0.0], atol=1e-12)


def test_heat_of_a_whole_sine_brings_the_junction_to_its_limit() -> None:
    """On-state voltage times current, integrated over a half cycle by a general integrator."""
    on_v, thermal, ambient, junction = 1.2, 60.0, 45.0, 125.0
    rms = float(free_air_current_a(on_v, thermal, ambient, junction))
    heat_w = quad(lambda x: on_v * np.sqrt(2.0) * rms * np.sin(x), 0.0, np.pi)[0] / np.pi
    assert_allclose(ambient + thermal * heat_w, junction, rtol=1e-9)


def test_no_current_in_an_oven() -> None:
    assert free_air_current_a(1.2, 60.0, 150.0, 125.0) == 0.0


@pytest.mark.parametrize("lag_degrees", [20.0, 60.0, 85.0])
def test_slope_is_that_of_the_swinging_circuit(lag_degrees: float) -> None:
    """Inductance and capacitance in series, solved as a differential equation from the instant at
    which the current ends; the mains hardly moves in the meantime."""
    lag, peak_v, henry, farad = np.radians(lag_degrees), 325.0, 2.0, 1e-10
    turn = np.sqrt(henry * farad)

    def rates(time_s: float, state: np.ndarray) -> list[float]:
        mains = peak_v * np.sin(2.0 * np.pi * 50.0 * time_s + lag)
        return [state[1], (mains - state[0]) / (henry * farad)]

    result = solve_ivp(
        rates, (0.0, 4.0 * turn), [0.0, 0.0], rtol=1e-9, atol=1e-9, max_step=turn / 50
    )
    slope = float(np.max(np.abs(result.y[1])))
    assert_allclose(reapplied_slope_v_per_s(peak_v, lag, henry, farad), slope, rtol=0.02)
