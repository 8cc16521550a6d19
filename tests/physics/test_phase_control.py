"""Phase control: published points, limits, and an ODE solver as the second method."""

from __future__ import annotations

import re
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad, solve_ivp

from zcd.physics.phase_control import (
    current_ratio,
    extinction_rad,
    highest_ratio,
    power_ratio,
    rms_ratio,
    slice_of_sine,
)
from zcd.refdata import table


def example(name: str) -> tuple[dict[str, float], float]:
    """Given values and result of a published worked example."""
    (row,) = (row for row in table("zero_crossing_examples") if row["id"] == name)
    pairs = re.findall(r"(\w+)=([\d.e-]+)", str(row["given"]))
    return {key: float(text) for key, text in pairs}, float(row["expected_si"])


@pytest.mark.law(
    "AN1003", where="page AN1003-2", why="printed in whole per cent of full power", atol=0.005
)
@pytest.mark.parametrize("name", ["T8a", "T8b"])
def test_power_at_a_conduction_angle(name: str, published: SimpleNamespace) -> None:
    given, expected = example(name)
    firing = np.radians(180.0 - given["conduction_deg"])
    assert_allclose(power_ratio(firing), expected, atol=published.atol)
    assert_allclose(rms_ratio(firing) ** 2, expected, atol=published.atol)


@pytest.mark.law(
    "AN1003", where="page AN1003-2, half-wave circuit", why="half of the power, exactly", rtol=1e-12
)
def test_one_half_cycle_whole_is_half_of_the_power(published: SimpleNamespace) -> None:
    one, both = slice_of_sine(0.0, np.pi).square, 2.0 * slice_of_sine(0.0, np.pi).square
    assert_allclose(one / both, 0.5, rtol=published.rtol)
    assert_allclose(both, power_ratio(0.0), rtol=published.rtol)


@pytest.mark.law(
    "AN303", where="section 1.1, 10 W lamp at 230 V", why="peak current printed in mA", atol=1e-3
)
def test_small_lamp_and_its_latching_current(published: SimpleNamespace) -> None:
    """A triac that needs 50 mA drops out if its gate pulse ends early in the half cycle."""
    given, expected = example("T9")
    peak_a = np.sqrt(2.0) * given["power_w"] / given["rms_v"]
    latching_a = 50e-3
    whole = peak_a * highest_ratio(0.1, np.pi, 0.0)
    short = peak_a * highest_ratio(0.1, 0.1 + np.radians(18.0), 0.0)
    assert_allclose(whole, expected, atol=published.atol)
    assert short < latching_a < whole


def test_power_falls_from_all_to_nothing() -> None:
    firing = np.linspace(0.0, np.pi, 181)
    power = power_ratio(firing)
    assert_allclose(power[[0, 90, 180]], [1.0, 0.5, 0.0], atol=1e-12)
    assert np.all(np.diff(power) < 0.0)
    # what is not delivered up to an angle is delivered after the angle's mirror image
    assert_allclose(power + power[::-1], 1.0, atol=1e-12)


@pytest.mark.parametrize(("start", "end"), [(0.3, 2.9), (2.0, np.pi), (1.0, 4.0)])
def test_slice_against_quadrature(start: float, end: float) -> None:
    result = slice_of_sine(start, end)
    assert_allclose(result.square, quad(lambda t: np.sin(t) ** 2 / np.pi, start, end)[0])
    assert_allclose(result.mean, quad(lambda t: np.sin(t) / np.pi, start, end)[0])
    real = quad(lambda t: np.sin(t) * np.cos(t), start, end)[0]
    imaginary = -quad(lambda t: np.sin(t) ** 2, start, end)[0]
    assert_allclose(result.fundamental, 2.0 / np.pi * (real + 1j * imaginary))


def test_slice_of_nothing_is_zero() -> None:
    result = slice_of_sine(2.0, 1.0)
    assert_allclose([result.square, result.mean, abs(result.fundamental)], 0.0)


def test_resistive_load_conducts_to_the_crossing() -> None:
    firing = np.linspace(0.05, 3.0, 40)
    end = extinction_rad(firing, 0.0)
    assert_allclose(end, np.pi, atol=1e-3)
    assert_allclose(2.0 * slice_of_sine(firing, np.pi).square, power_ratio(firing), atol=1e-12)


def test_firing_at_the_lag_gives_the_plain_sine() -> None:
    """Without a transient, conduction takes exactly half a period."""
    lag = np.array([0.2, 0.7, 1.2, 1.5])
    assert_allclose(extinction_rad(lag, lag), np.pi + lag, atol=1e-9)


def test_earlier_than_the_lag_conducts_longer_than_half_a_period() -> None:
    lag = 1.0
    firing = np.linspace(0.05, 2.95, 30)  # on the lag itself rounding decides
    longer = extinction_rad(firing, lag) - firing > np.pi
    assert_allclose(longer, firing < lag)


@pytest.mark.parametrize(("firing", "lag"), [(0.4, 1.2), (1.57, 0.8), (2.4, 1.0), (1.0, 0.3)])
def test_current_against_an_ode_solver(firing: float, lag: float) -> None:
    """Current and its end, of (R + L d/dt) i = sin with an impedance of 1."""
    r, x = np.cos(lag), np.sin(lag)

    def ends(angle: float, current: np.ndarray) -> float:
        return float(current[0]) if angle > firing + 0.1 else 1.0

    ends.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        lambda angle, i: (np.sin(angle) - r * i) / x,
        (firing, 7.0),
        [0.0],
        events=ends,
        rtol=1e-10,
        atol=1e-12,
    )
    assert_allclose(current_ratio(solved.t, firing, lag), solved.y[0], atol=1e-8)
    assert_allclose(extinction_rad(firing, lag), solved.t_events[0][0], atol=1e-7)


def test_mean_current_is_mean_voltage_over_resistance() -> None:
    """An inductance carries no mean voltage: a check of extinction and slice together."""
    firing, lag = np.array([0.9, 1.6, 2.3]), 0.8
    end = extinction_rad(firing, lag)
    mean_a = [
        quad(lambda t, a=a: float(current_ratio(t, a, lag)) / np.pi, a, b)[0]
        for a, b in zip(firing, end, strict=True)
    ]
    assert_allclose(slice_of_sine(firing, end).mean / np.cos(lag), mean_a, rtol=1e-8)
