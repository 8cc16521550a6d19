"""The lag of light, and steps in time from rest, against scipy's linear systems."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import PchipInterpolator
from scipy.signal import lsim
from scipy.special import ive

from tests.boards import VARIANTS, capacitance, element_list, mains_source, resistance
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import DcSource, Junction, Phototransistor, Resistance, stack
from zcd.engine.island import solve_network
from zcd.engine.kernel import lag
from zcd.engine.network import compile_island, input_voltages_v, island_of
from zcd.engine.photocurrent import photocurrents_a
from zcd.engine.solve import READINGS, solve
from zcd.engine.trajectory import Trajectory, intervals_s
from zcd.physics.optocoupler import ctr_shape_ratio, ctr_temperature_ratio, own_shape

OMEGA = 2.0 * np.pi * 50.0
LAG_S = 400e-6


def lagged(values: np.ndarray, lag_s: float, trajectory: Trajectory) -> np.ndarray:
    wave = values[None].copy()
    lag(wave, intervals_s(trajectory), np.array([[lag_s]]), trajectory.closed)
    return wave[0]


def test_lag_from_where_the_waveform_begins() -> None:
    """1 / (1 + s tau) by scipy.signal.lsim, of straight lines through uneven points and half way
    between them, where monotone cubics are (Fritsch and Butland's, by scipy)."""
    rng = np.random.default_rng(3)
    time_s = np.concatenate([[0.0], np.sort(rng.uniform(0.0, 0.02, 40))])
    values = rng.uniform(0.0, 1.0, 41)
    values[1], values[-2] = values[0], values[-1]  # level at both ends
    start = Trajectory(time_s[None] * OMEGA, np.array([[OMEGA]]), closed=False)
    found = lagged(values, LAG_S, start)
    fine_s = np.linspace(0.0, time_s[-1], 400_001)
    # the state is the output itself
    half_way_s = np.sort(np.append(time_s, time_s[1:] - np.diff(time_s) / 2.0))
    lines = np.interp(fine_s, half_way_s, PchipInterpolator(time_s, values)(half_way_s))
    _, exact, _ = lsim(
        ([[-1.0 / LAG_S]], [[1.0 / LAG_S]], [[1.0]], [[0.0]]), lines, fine_s, X0=[values[0]]
    )
    assert_allclose(found, np.interp(time_s, fine_s, exact), rtol=0.0, atol=2e-5)


@pytest.mark.parametrize("lag_s", [LAG_S, 0.1])
def test_lag_of_a_period_is_that_of_many_in_a_row(lag_s: float) -> None:
    """What a lag comes to in the last of so many periods that nothing is left of the start."""
    rng = np.random.default_rng(4)
    phase = np.sort(rng.uniform(0.0, 2.0 * np.pi, 30))
    values = rng.uniform(0.0, 1.0, 30)
    once = lagged(values, lag_s, Trajectory(phase[None], np.array([[OMEGA]])))
    periods = int(np.ceil(30.0 * lag_s / 0.02)) + 1
    long = (phase + 2.0 * np.pi * np.arange(periods)[:, None]).ravel()
    row = Trajectory(long[None], np.array([[OMEGA]]), closed=False)
    many = lagged(np.tile(values, periods), lag_s, row)
    assert_allclose(once, many[-30:], rtol=1e-9)


def test_intervals_go_round_the_period() -> None:
    phase = np.array([[0.5, 1.0, 4.0]])
    omega = np.array([[OMEGA]])
    closed = intervals_s(Trajectory(phase, omega)) * OMEGA
    assert_allclose(closed, [[2.0 * np.pi - 3.5, 0.5, 3.0]])
    assert_allclose(intervals_s(Trajectory(phase, omega, closed=False)) * OMEGA, [[0.5, 0.5, 3.0]])


def test_light_is_what_the_laws_of_ctr_say() -> None:
    """CTR over current times CTR over temperature, of families with and without own curves."""
    led_a = np.array([-1e-3, 0.0, 1e-10, 1e-7, *np.geomspace(1e-5, 2e-2, 40), 5e-3, 60e-3])
    families, celsius = ("817", "293", "2501", "817"), np.array([60.0, 85.0, -20.0, 25.0])
    weight, own = np.array([0.6, 0.0, -0.2, 1.0]), np.array([own_shape(f) for f in families])
    opto = Phototransistor(
        ref="Q", a="pin", b="logic0", leds=("D",), ctr_ratio=2.0, remaining_ratio=0.5,
        shape_weight=weight, own_shape=own, temperature_degc=celsius, dark_a=1e-8,
        knee_v=0.03, knee_ratio=100.0, early_v=100.0, storage_s=1e-6,
    )  # fmt: skip
    waves = {"D": np.tile(led_a, (4, 1))}
    found = photocurrents_a(element_list(opto), frozenset({"pin", "logic0"}), None, waves)
    lit = np.maximum(led_a, 0.0)
    for row, light in enumerate(found["Q"]):
        laws = ctr_shape_ratio(lit, weight[row], own[row])
        laws = laws * ctr_temperature_ratio(lit, celsius[row], own[row])
        assert_allclose(light, lit * laws + 1e-8, rtol=1e-8)


def charged_v(points: int) -> tuple[np.ndarray, np.ndarray]:
    """A resistance charges a capacitor from rest to 1 V: step by step, and the exponential."""
    circuit = element_list(
        DcSource(ref="supply", a="in", b="neutral", voltage_v=1.0),
        resistance("R1", "in", "out", 1e3),
        capacitance("C1", "out", "neutral", LAG_S / 1e3),
    )
    trajectory = Trajectory(
        np.linspace(0.0, np.pi, points)[None], np.array([[OMEGA]]), closed=False
    )
    network = compile_island(circuit, island_of(circuit, "out"), dynamic=True)
    inputs = input_voltages_v(network, trajectory.phase_rad)
    ((wave,), _, _) = solve_network(network, inputs, {}, trajectory)
    return wave[0], -np.expm1(-np.cumsum(intervals_s(trajectory)[0]) / LAG_S)


def test_charge_from_rest_converges_as_the_square_of_the_step() -> None:
    """Half the step, a quarter of the error: of second order, in spite of the jump at first."""
    coarse, fine = (np.max(np.abs(np.subtract(*charged_v(points)))) for points in (801, 1601))
    assert 3.5 < coarse / fine < 4.5


def test_a_sine_on_a_capacitor_converges_as_the_cube_of_the_step() -> None:
    """Half the step, an eighth of the error: of third order, against the phasor of the divider."""
    ohm, farad = 10e3, 100e-9
    circuit = element_list(
        mains_source(230.0),
        resistance("R1", "line", "out", ohm),
        capacitance("C1", "out", "neutral", farad),
    )
    network = compile_island(circuit, island_of(circuit, "out"), dynamic=True)
    apart = []
    for points in (100, 200):
        phase = (np.arange(points) * 2.0 * np.pi / points)[None]
        trajectory = Trajectory(phase, np.array([[OMEGA]]))
        inputs = input_voltages_v(network, phase)
        ((wave,), _, _) = solve_network(network, inputs, {}, trajectory)
        out_v = 230.0 * 2.0**0.5 / (1.0 + 1j * OMEGA * ohm * farad)
        apart.append(np.max(np.abs(wave - np.imag(out_v * np.exp(1j * phase)))))
    assert 7.0 < apart[0] / apart[1] < 9.0


def test_a_pin_that_remembers_for_seconds_comes_to_its_steady_state() -> None:
    """An open pull-up and hardly any light: what the pin holds is found between rising and held
    down, where what it holds after a period hardly depends on what it held before."""
    chains_ohm = np.geomspace(1e5, 3e9, 40)
    open_ohm = np.geomspace(1e6, 1e10, 40)
    circuit = build_circuit(VARIANTS["half-wave"])
    chain, pull_up = (
        next(e.ref for e in circuit.of(Resistance) if circuit.node(node) in e.nodes)
        for node in ("feed", "pin")
    )
    grid = np.meshgrid(chains_ohm, open_ohm)
    circuit = stack([circuit] * grid[0].size)
    circuit = circuit.change(chain, resistance_ohm=grid[0].ravel())
    circuit = circuit.change(pull_up, resistance_ohm=grid[1].ravel())
    pin = solve(circuit, READINGS).voltages_v["pin"]
    assert np.all(np.isfinite(pin))
    assert pin.min() > -0.05


def test_a_capacitor_behind_a_lone_diode_is_charged_until_its_mean_current_is_none() -> None:
    """A contact open under its suppressor, a diode the wrong way round: charge finds a way back
    only as the diode's saturation current, and the last of it comes ever more slowly. By phasors
    what the load has; of the diode's exponential of a sine the mean is a Bessel function I0."""
    rms_v, leads_ohm, suppressor_f, load_ohm, emission_v = 227.5, 100.0, 56e-9, 129.0, 0.035
    circuit = element_list(
        mains_source(rms_v),
        resistance("leads", "line", "suppressor", leads_ohm),
        capacitance("suppressor", "suppressor", "feed", suppressor_f),
        capacitance("C1", "feed", "rect", 10e-9),
        resistance("R1", "rect", "x", 49e3),
        Junction(ref="D1", a="neutral", b="x", saturation_a=2.9e-10, emission_v=emission_v,
                 series_ohm=0.04, breakdown_v=1500.0),
        resistance("load", "feed", "neutral", load_ohm),
    )  # fmt: skip
    solution = solve(circuit, READINGS)
    impedance_ohm = leads_ohm + load_ohm + 1.0 / (1j * OMEGA * suppressor_f)
    peak = np.sqrt(2.0) * rms_v * load_ohm / abs(impedance_ohm) / emission_v
    charged_v = solution.voltages_v["rect"] - solution.voltages_v["feed"]
    # on 96 points a capacitor's current is 0.14 % off, its rate h^2 / 3: 1 mV at the load
    assert_allclose(charged_v, emission_v * (peak + np.log(ive(0, peak))), rtol=0.0, atol=2e-3)
