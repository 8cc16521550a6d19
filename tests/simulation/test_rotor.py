"""The rotor against a general ODE solver and a root finder; the tacho against the shaft."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from zcd.physics.motor import Motor, braking_torque_nm, design_motor, fan_torque_nm, run
from zcd.simulation.rotor import Impeller, Rotor, Tacho

MOTOR = design_motor(rms_v=230.0, frequency_hz=50.0, poles=4, speed_rpm=1200.0, input_w=40.0)
IMPELLER = Impeller(at_rpm=1200.0, torque_nm=0.13, bearing_nm=0.004, inertia_kg_m2=2e-3)
STEP_S = 0.01


def run_up(rotor: Rotor, rms_v: float, direct_v: float, seconds: float) -> np.ndarray:
    """Speeds at the ends of the half cycles."""
    speeds = []
    for _ in range(round(seconds / STEP_S)):
        rotor.step(rms_v**2, direct_v**2, STEP_S)
        speeds.append(rotor.speed_rpm)
    return np.array(speeds)


@pytest.mark.parametrize(("rms_v", "direct_v"), [(230.0, 0.0), (150.0, 0.0), (230.0, 15.0)])
def test_run_up_against_an_ode_solver(rms_v: float, direct_v: float) -> None:
    """The same torques without a table, by a solver with step control: within 1 rpm."""
    rad_s = 2.0 * np.pi / 60.0

    def slope(_: float, speed: np.ndarray) -> np.ndarray:
        torque = run(MOTOR, speed, rms_v).torque_nm + braking_torque_nm(MOTOR, speed, direct_v)
        torque = torque - fan_torque_nm(speed, IMPELLER.at_rpm, IMPELLER.torque_nm)
        return np.asarray((torque - IMPELLER.bearing_nm) / (IMPELLER.inertia_kg_m2 * rad_s))

    times = np.arange(1, 601) * STEP_S
    solved = solve_ivp(slope, (0.0, 6.0), [0.0], t_eval=times, rtol=1e-8, atol=1e-6)
    result = run_up(Rotor(MOTOR, IMPELLER), rms_v, direct_v, 6.0)
    assert_allclose(result, solved.y[0], atol=1.0)


@pytest.mark.parametrize("rms_v", [180.0, 230.0])
def test_speed_ends_where_the_torques_balance(rms_v: float) -> None:
    def rest(speed: float) -> float:
        taken = fan_torque_nm(speed, 1200.0, IMPELLER.torque_nm) + IMPELLER.bearing_nm
        return float(run(MOTOR, speed, rms_v).torque_nm - taken)

    result = run_up(Rotor(MOTOR, IMPELLER), rms_v, 0.0, 30.0)[-1]
    assert_allclose(result, brentq(rest, 300.0, 1490.0), atol=0.5)


def test_more_voltage_more_speed() -> None:
    ends = [run_up(Rotor(MOTOR, IMPELLER), v, 0.0, 20.0)[-1] for v in (80.0, 120.0, 180.0, 230.0)]
    assert np.all(np.diff(ends) > 100.0)


@pytest.mark.parametrize("bearing_nm", [0.5, np.inf])
def test_bearing_that_holds_keeps_the_rotor_at_rest(bearing_nm: float) -> None:
    held = replace(IMPELLER, bearing_nm=bearing_nm)
    assert_allclose(run_up(Rotor(MOTOR, held), 230.0, 0.0, 2.0), 0.0)


def test_open_capacitor_does_not_start_but_keeps_a_fan_turning() -> None:
    single: Motor = replace(MOTOR, capacitance_f=0.0)
    assert_allclose(run_up(Rotor(single, IMPELLER), 230.0, 0.0, 2.0), 0.0)
    pushed = Rotor(single, IMPELLER, speed_rpm=900.0)
    assert run_up(pushed, 230.0, 0.0, 10.0)[-1] > 500.0


def test_fan_coasts_down_to_rest() -> None:
    rotor = Rotor(MOTOR, IMPELLER, speed_rpm=1200.0)
    speeds = run_up(rotor, 0.0, 0.0, 120.0)
    assert np.all(np.diff(speeds) <= 0.0)
    assert speeds[-1] == 0.0


@pytest.mark.parametrize(
    ("pulses", "believed", "share"), [(1, 1, 1.0), (3, 3, 1.0), (2, 1, 2.0), (12, 12, 1.0)]
)
def test_tacho_measures_the_shaft(pulses: int, believed: int, share: float) -> None:
    tacho = Tacho(pulses, believed)
    for k in range(1, 300):
        tacho.step(k * STEP_S, STEP_S, 870.0)
    assert_allclose(tacho.speed_rpm, share * 870.0, rtol=1e-9)


def test_tacho_that_falls_silent_reads_zero() -> None:
    tacho = Tacho(1, 1)
    for k in range(1, 300):
        tacho.step(k * STEP_S, STEP_S, 870.0 if k < 100 else 0.0)
        if k == 120:
            assert 0.0 < tacho.speed_rpm < 870.0
    assert tacho.speed_rpm == 0.0


def test_lost_tacho_reads_zero() -> None:
    tacho = Tacho(0, 1)
    for k in range(1, 50):
        tacho.step(k * STEP_S, STEP_S, 870.0)
    assert tacho.speed_rpm == 0.0
