"""The fan's motor: energy, limits, symmetry, and its differential equations as second method."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from zcd.physics.motor import (
    Motor,
    braking_torque_nm,
    design_motor,
    fan_torque_nm,
    rotor_impedance_ohm,
    run,
)

PLATE: dict[str, Any] = {
    "rms_v": 230.0,
    "frequency_hz": 50.0,
    "poles": 4,
    "speed_rpm": 1200.0,
    "input_w": 40.0,
}
SPEEDS = np.linspace(-200.0, 1500.0, 18)


def motor(**changes: Any) -> Motor:
    """A fan motor of 40 W, with some of its values replaced."""
    return replace(design_motor(**PLATE), **changes)


def test_motor_does_what_its_plate_says() -> None:
    running = run(motor(), 1200.0, 230.0)
    assert_allclose(running.input_w, 40.0, rtol=1e-12)
    assert 10.0 < running.torque_nm * 1200.0 * 2.0 * np.pi / 60.0 < 30.0


@pytest.mark.parametrize(
    "changes",
    [{}, {"capacitance_f": 0.3e-6}, {"capacitance_f": 0.0}, {"start_ohm": 2e3}],
    ids=["good", "weak capacitor", "open capacitor", "unequal windings"],
)
def test_power_in_is_losses_and_shaft(changes: dict[str, float]) -> None:
    """Copper of the windings, copper of the rotor by its own currents, and the shaft."""
    m = motor(**changes)
    running = run(m, SPEEDS, 230.0)
    winding_w = m.main_ohm * abs(running.main_a) ** 2 + m.start_ohm * abs(running.start_a) ** 2
    slip = 1.0 - SPEEDS / m.synchronous_rpm
    quadrature_a = 1j * m.turns_ratio * running.start_a
    rotor_w = sum(
        m.rotor_ohm
        / 2.0
        * abs(s * m.magnetising_ohm * field_a) ** 2
        / (m.rotor_ohm**2 + s**2 * (m.rotor_leak_ohm + m.magnetising_ohm) ** 2)
        for s, field_a in (
            (slip, running.main_a - quadrature_a),
            (2.0 - slip, running.main_a + quadrature_a),
        )
    )
    shaft_w = running.torque_nm * SPEEDS * 2.0 * np.pi / 60.0
    assert_allclose(running.input_w, winding_w + rotor_w + shaft_w, rtol=1e-9)


def test_design_makes_one_rotating_field() -> None:
    """At its plate's point no field runs backward, and the polyphase formula holds."""
    result = motor()
    running = run(result, 1200.0, 230.0)
    in_start = result.turns_ratio * running.start_a
    assert_allclose(in_start, 1j * running.main_a, rtol=1e-9)
    rotor = rotor_impedance_ohm(result, 0.2).real
    polyphase_nm = 2.0 * abs(running.main_a) ** 2 * rotor / (2.0 * np.pi * 25.0)
    assert_allclose(running.torque_nm, polyphase_nm, rtol=1e-9)


@pytest.mark.parametrize(
    "dead", [{"capacitance_f": 0.0}, {"start_ohm": np.inf}, {"main_ohm": np.inf}]
)
def test_one_winding_alone_does_not_start(dead: dict[str, float]) -> None:
    """A pulsating field has no direction: no torque at rest, the same either way round."""
    single = motor(**dead)
    assert_allclose(run(single, 0.0, 230.0).torque_nm, 0.0, atol=1e-9)
    forward = run(single, 600.0, 230.0).torque_nm
    assert_allclose(run(single, -600.0, 230.0).torque_nm, -forward, rtol=1e-6)


def test_weak_capacitor_takes_starting_torque() -> None:
    good_f = float(np.asarray(motor().capacitance_f))
    shares = np.array([1.0, 0.8, 0.5, 0.2])
    torque = run(motor(capacitance_f=good_f * shares), 0.0, 230.0).torque_nm
    assert np.all(np.diff(torque) < 0.0)


@pytest.mark.law("QA-TORQUE-VOLTAGE", where="answer", why="a proportion, exact", rtol=1e-9)
def test_torque_goes_with_the_square_of_the_voltage(published: SimpleNamespace) -> None:
    """Half of the voltage leaves a quarter of the torque at the same slip."""
    whole, half = (run(motor(), SPEEDS, volts).torque_nm for volts in (230.0, 115.0))
    assert_allclose(half, 0.25 * whole, rtol=published.rtol)


def test_fan_law() -> None:
    """Torque as the square, so power as the cube of the speed; against a reversed turn."""
    assert_allclose(fan_torque_nm([600.0, 2400.0], 1200.0, 0.2), [0.05, 0.8])
    assert_allclose(fan_torque_nm(-600.0, 1200.0, 0.2), -0.05)


def test_written_capacitor_and_windings_are_kept() -> None:
    result = design_motor(**PLATE, capacitance_f=1.5e-6, main_ohm=480.0, start_ohm=390.0)
    assert (result.capacitance_f, result.main_ohm, result.start_ohm) == (1.5e-6, 480.0, 390.0)


def test_written_capacitor_scales_the_start_winding() -> None:
    """At rest neither winding sees the other: all impedances of one branch go with its reactance.

    Its turns go with the root of that, so its field, and with it the torque, with the root of C.
    """
    suits, written = (
        run(motor(), 0.0, 230.0),
        run(design_motor(**PLATE, capacitance_f=2e-6), 0.0, 230.0),
    )
    more = 2e-6 / motor().capacitance_f
    assert_allclose(written.main_a, suits.main_a, rtol=1e-9)
    assert_allclose(written.start_a, suits.start_a * more, rtol=1e-9)
    assert_allclose(written.torque_nm, suits.torque_nm * np.sqrt(more), rtol=1e-9)


def mean_torque_nm(m: Motor, speed_rpm: float, source: Any, periods: int, alone: bool) -> float:
    """Mean torque of the last period, by the two-axis differential equations of the machine.

    Positive from the axis of the start winding, whose current leads, to that of the main one.
    States: flux of main, start, both rotor axes; voltage of the capacitor. `alone`: the main
    winding only.
    """
    omega = 2.0 * np.pi * m.frequency_hz
    a, r_2 = m.turns_ratio, m.rotor_ohm
    l_m, l_2 = m.magnetising_ohm / omega, m.rotor_leak_ohm / omega
    l_1, l_s = m.main_leak_ohm / omega, m.start_leak_ohm / omega
    inductance = np.array(
        [
            [l_1 + l_m, 0.0, l_m, 0.0],
            [0.0, l_s + a**2 * l_m, 0.0, a * l_m],
            [l_m, 0.0, l_2 + l_m, 0.0],
            [0.0, a * l_m, 0.0, l_2 + l_m],
        ]
    )
    axes = [0, 2, 3] if alone else [0, 1, 2, 3]
    currents = np.zeros((4, 4))
    currents[np.ix_(axes, axes)] = np.linalg.inv(inductance[np.ix_(axes, axes)])
    pairs = m.poles / 2.0
    turning = speed_rpm * 2.0 * np.pi / 60.0 * pairs

    def torque(state: Any) -> Any:
        i = currents @ state[:4]
        return pairs * l_m * (i[0] * i[3] - a * i[1] * i[2])

    def slope(t: float, state: Any) -> Any:
        i = currents @ state[:4]
        volts = source(t)
        start = 0.0 if alone else volts - m.start_ohm * i[1] - state[4]
        return [
            volts - m.main_ohm * i[0],
            start,
            -r_2 * i[2] + turning * state[3],
            -r_2 * i[3] - turning * state[2],
            0.0 if alone else i[1] / m.capacitance_f,
        ]

    end = periods / m.frequency_hz
    last = np.linspace(end - 1.0 / m.frequency_hz, end, 401)[:-1]
    solved = solve_ivp(
        slope, (0.0, end), np.zeros(5), t_eval=last, rtol=1e-8, atol=1e-10, method="DOP853"
    )
    return float(np.mean(torque(solved.y)))


@pytest.mark.parametrize("speed_rpm", [0.0, 700.0, 1300.0])
def test_torque_against_the_differential_equations(speed_rpm: float) -> None:
    """The phasors agree with the machine's own transient once it has settled."""
    m = motor(capacitance_f=1.1e-6, start_ohm=500.0)
    omega = 2.0 * np.pi * 50.0
    peak_v = 230.0 * np.sqrt(2.0)
    by_ode = mean_torque_nm(m, speed_rpm, lambda t: peak_v * np.cos(omega * t), 20, alone=False)
    assert_allclose(run(m, speed_rpm, 230.0).torque_nm, by_ode, rtol=1e-3)


@pytest.mark.parametrize("speed_rpm", [200.0, 900.0])
def test_braking_against_the_differential_equations(speed_rpm: float) -> None:
    m = motor()
    by_ode = mean_torque_nm(m, speed_rpm, lambda _: 40.0, 20, alone=True)
    assert by_ode < 0.0
    assert_allclose(braking_torque_nm(m, speed_rpm, 40.0), by_ode, rtol=1e-3)


def test_direct_voltage_does_not_hold_a_rotor_at_rest() -> None:
    assert_allclose(braking_torque_nm(motor(), 0.0, 100.0), 0.0, atol=1e-12)


def test_power_in_is_that_of_the_current_of_the_line() -> None:
    """Of both windings: volts times the current in phase."""
    result = run(motor(), SPEEDS, 230.0)
    assert_allclose(result.input_w, 230.0 * np.real(result.line_a), rtol=1e-9)
