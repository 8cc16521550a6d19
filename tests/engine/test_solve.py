"""Laws that every solution keeps: energy, symmetry, scaling, batches, grids, extremes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.optimize import brentq

from tests.boards import (
    BOTH_HALVES,
    CHAIN_OHM,
    LED,
    RECTIFIER,
    VARIANTS,
    board,
    capacitance,
    chain,
    element_list,
    junction,
    mains,
    mains_source,
    optocoupler,
    pull_up,
    relay,
    resistance,
    resistor,
)
from zcd.board.model import Board, Capacitor, Harmonic, Suppressor, Topology
from zcd.circuit.build import Conditions, build_circuit, mains_harmonic
from zcd.circuit.elements import Circuit, DcSource, Junction, MainsSource, Resistance, stack
from zcd.circuit.elements import TestSource as Probe
from zcd.engine.network import islands
from zcd.engine.solution import Solution
from zcd.engine.solve import EDGES, READINGS, WINDOW_CYCLES, SolverOptions, solve, solve_dead
from zcd.errors import InputError, SolverError
from zcd.sync.lock import lock_of

FloatArray = NDArray[np.float64]

EVEN = SolverOptions(points=400, refine=False)
each_variant = pytest.mark.parametrize("name", VARIANTS)


def mains_side(circuit: Circuit) -> list[Any]:
    """The elements that have a galvanic path to the line."""
    inside = next(group for group in islands(circuit) if "line" in group)
    return [e for e in circuit if e.nodes[0] in inside]


def across_v(solution: Solution, element: Any) -> FloatArray:
    return solution.voltages_v[element.a] - solution.voltages_v[element.b]


def current_from(solution: Solution, node: str) -> FloatArray:
    """Current that leaves a node through resistances and junctions."""
    total = np.zeros_like(solution.phase_rad)
    for element in mains_side(solution.circuit):
        sign = (element.a == node) - (element.b == node)
        if isinstance(element, Resistance):
            total += (
                sign * across_v(solution, element) / np.reshape(element.resistance_ohm, (-1, 1))
            )
        elif isinstance(element, Junction):
            total += sign * solution.currents_a[element.ref]
    return total


# ------------------------------------------------------------------ energy and Kirchhoff


def unbroken(whole: Board) -> Board:
    """The board with an LED that does not break down, as breakdown current is not reported."""
    return replace(whole, optocoupler=optocoupler(led=replace(LED, reverse_rating_v=1e6)))


@each_variant
def test_source_gives_what_the_parts_take(name: str) -> None:
    """Mean power of the mains against the sum over resistances and junctions.

    0.1 %: capacitors give back over a period what they took; what the steps in time keep of it
    goes with their square and is 0.05 % at 400 points.
    """
    solution = solve(build_circuit(unbroken(VARIANTS[name])), SolverOptions(points=400))
    source = solution.circuit.of(MainsSource)[0]
    given = solution.mean(across_v(solution, source) * current_from(solution, "line"))
    taken = np.zeros(1)
    for element in mains_side(solution.circuit):
        if isinstance(element, Resistance):
            taken += solution.power_w(element)
        elif isinstance(element, Junction):
            taken += solution.mean(across_v(solution, element) * solution.currents_a[element.ref])
    assert given > 0.05
    assert_allclose(taken, given, rtol=1e-3)


@each_variant
def test_currents_add_up_where_no_capacitor_is(name: str) -> None:
    """Kirchhoff's law at every node of the mains side, to 1e-6 of the largest current."""
    circuit = build_circuit(unbroken(VARIANTS[name]))
    held = {n for e in circuit if hasattr(e, "capacitance_f") for n in e.nodes}
    held |= {n for e in circuit.of(MainsSource) for n in e.nodes}
    solution = solve(circuit)
    largest = max(float(np.max(i)) for i in solution.currents_a.values())
    nodes = {n for e in mains_side(circuit) for n in e.nodes} - held
    assert nodes
    for node in nodes:
        assert np.max(np.abs(current_from(solution, node))) < 1e-6 * largest, node


@pytest.mark.parametrize("options", [EDGES, READINGS], ids=["edges", "readings"])
def test_capacitor_voltage_has_no_mean_in_a_circuit_of_linear_parts(options: SolverOptions) -> None:
    """A capacitor behind a resistance on a sine; 0.5 % of the peak, a good meter's DC accuracy."""
    circuit = element_list(
        mains_source(120.0, 60.0),
        resistance("R", "line", "x", 560e3),
        capacitance("C", "x", "neutral", 0.1e-6),
    )
    solution = solve(circuit, options)
    held = solution.voltages_v["x"]
    assert np.abs(solution.mean(held)) < 5e-3 * held.max()


@pytest.mark.parametrize("resistance_ohm", [10e3, 47e3, 1e6])
def test_capacitor_into_a_resistance_by_its_phasor(resistance_ohm: float) -> None:
    """j w R C / (1 + j w R C), from where it forgets at once to where it does not.

    Differences of second order on 432 points are off by (2 pi / 432)^2 / 3 of the peak, or 7e-5.
    """
    circuit = element_list(
        mains_source(230.0, 50.0),
        capacitance("C", "line", "x", 2.2e-9),
        resistance("R", "x", "neutral", resistance_ohm),
    )
    solution = solve(circuit, EDGES)
    turn = 2j * np.pi * 50.0 * resistance_ohm * 2.2e-9
    phasor = 230.0 * np.sqrt(2.0) * turn / (1.0 + turn)
    exact = np.imag(phasor * np.exp(1j * solution.phase_rad))
    assert_allclose(solution.voltages_v["x"], exact, rtol=0.0, atol=1e-4 * abs(phasor))


@each_variant
def test_pin_stays_between_the_rails(name: str) -> None:
    """0.2 % of the supply for the steps in time, a fraction of what a controller resolves."""
    pin = solve(build_circuit(VARIANTS[name])).voltages_v["pin"]
    assert pin.min() > -0.01
    assert pin.max() < 5.01


@pytest.mark.parametrize("ohm", [1e5, 3.62e5, 1e6])
def test_no_transistor_draws_a_pin_below_its_emitter(ohm: float) -> None:
    """It only takes from a pin that is above it; a large pull-up makes the fall a cliff."""
    whole = VARIANTS["half-wave-clamped"]
    resistor = replace(whole.output.resistor, resistance_ohm=ohm)
    board = replace(whole, output=replace(whole.output, resistor=resistor))
    assert np.min(solve(build_circuit(board)).voltages_v["pin"]) > -1e-3


# ------------------------------------------------------------------ symmetry and scaling


@pytest.mark.parametrize("name", BOTH_HALVES)
def test_half_cycles_are_alike(name: str) -> None:
    """Half a period later everything repeats, with the LEDs of a pair changing places.

    0.1 % of the supply at the pin, for the steps in time: the first of a period is another one.
    """
    solution = solve(build_circuit(VARIANTS[name]), EVEN)
    half = EVEN.points // 2
    pin = solution.voltages_v["pin"]
    assert_allclose(np.roll(pin, half, axis=1), pin, atol=5e-3)
    lit = solution.currents_a["OC1.led"]
    other = solution.currents_a.get("OC1.led2", lit)
    assert_allclose(np.roll(lit, half, axis=1), other, atol=1e-8)


def test_rectifier_may_stand_before_or_after_the_chain() -> None:
    """Without breakdown the order in a series string is free."""
    one, other = (
        solve(build_circuit(unbroken(board(rectifier_first=first))), EVEN)
        for first in (False, True)
    )
    assert_allclose(one.currents_a["OC1.led"], other.currents_a["OC1.led"], rtol=1e-6, atol=1e-12)


def test_swapped_line_and_neutral_shift_a_half_wave_board_by_half_a_period() -> None:
    plain = VARIANTS["half-wave"]
    circuit = build_circuit(plain)
    turned = circuit.scale("mains", "rms_v", -1.0)
    half = EVEN.points // 2
    one, other = solve(circuit, EVEN), solve(turned, EVEN)
    assert_allclose(
        np.roll(one.voltages_v["pin"], half, axis=1), other.voltages_v["pin"], atol=5e-3
    )


def scaled(circuit: Circuit, factor: float) -> Circuit:
    """All impedances of the mains side times a factor; junctions pass as much less current."""
    for element in mains_side(circuit):
        if isinstance(element, Resistance):
            circuit = circuit.scale(element.ref, "resistance_ohm", factor)
        elif isinstance(element, Junction):
            circuit = circuit.scale(element.ref, "series_ohm", factor)
            circuit = circuit.scale(element.ref, "saturation_a", 1 / factor)
        elif hasattr(element, "capacitance_f"):
            circuit = circuit.scale(element.ref, "capacitance_f", 1 / factor)
    return circuit


@pytest.mark.parametrize("name", ["half-wave", "bridge", "across the LED", "joint capacitor"])
@pytest.mark.parametrize("factor", [0.1, 7.0])
def test_voltages_do_not_depend_on_the_level_of_impedance(name: str, factor: float) -> None:
    """Currents scale with 1 / factor; only the least conductance to the reference does not."""
    circuit = build_circuit(VARIANTS[name])
    one, other = solve(circuit, EVEN), solve(scaled(circuit, factor), EVEN)
    led = "OC1.led"
    assert_allclose(other.currents_a[led] * factor, one.currents_a[led], rtol=1e-4, atol=1e-9)
    assert_allclose(other.voltages_v["led+"], one.voltages_v["led+"], atol=2e-3)


def test_frequency_does_not_matter_without_capacitors() -> None:
    circuit = build_circuit(VARIANTS["half-wave"], Conditions(frequency_hz=np.array([50.0, 60.0])))
    solution = solve(circuit, EVEN)
    led = solution.currents_a["OC1.led"]
    assert_allclose(led[0], led[1], rtol=1e-9)
    assert_allclose(solution.time_s[0, -1] / solution.time_s[1, -1], 1.2)


def test_frequency_and_capacitance_trade_one_for_one() -> None:
    whole = VARIANTS["joint capacitor"]
    circuit = build_circuit(whole, Conditions(frequency_hz=np.array([50.0, 100.0])))
    circuit = circuit.change("C2", capacitance_f=np.array([10e-9, 5e-9]))
    led = solve(circuit, SolverOptions(points=400, refine=False, isolated=False)).currents_a[
        "OC1.led"
    ]
    assert_allclose(led[0], led[1], rtol=1e-6, atol=1e-12)


# ------------------------------------------------------------------ batches


@each_variant
def test_batch_equals_single_runs(name: str) -> None:
    """Rows of different mains, CTR and heat; to what Newton leaves at its end."""
    whole = VARIANTS[name]
    mains_v, ctr = np.array([185.0, 230.0, 253.0]), np.array([0.5, 1.8, 4.0])
    heat = np.array([70.0, 25.0, -10.0])
    batch = solve(
        build_circuit(whole, Conditions(mains_rms_v=mains_v, ctr_ratio=ctr, temperature_degc=heat))
    )
    for row in range(3):
        conditions = Conditions(
            mains_rms_v=mains_v[row], ctr_ratio=ctr[row], temperature_degc=heat[row]
        )
        single = solve(build_circuit(whole, conditions))
        assert_allclose(batch.time_s[row], single.time_s[0], rtol=1e-5, atol=1e-9)
        for node in ("led+", "pin"):
            assert_allclose(
                batch.voltages_v[node][row], single.voltages_v[node][0], rtol=0.0, atol=2e-4
            )


@pytest.mark.parametrize("name", ["half-wave", "across the LED", "two-led"])
def test_row_order_is_free(name: str) -> None:
    order = np.array([3, 0, 4, 1, 2])
    mains_v = np.linspace(150.0, 260.0, 5)
    one = solve(build_circuit(VARIANTS[name], Conditions(mains_rms_v=mains_v)))
    other = solve(build_circuit(VARIANTS[name], Conditions(mains_rms_v=mains_v[order])))
    assert_allclose(other.voltages_v["pin"], one.voltages_v["pin"][order], atol=1e-6)


def test_stacked_circuits_solve_as_they_do_alone() -> None:
    """Boards that differ in which parts they have: what a row lacks does nothing there."""
    names = ("half-wave", "across the LED", "joint capacitor", "pin capacitor")
    circuits = [build_circuit(VARIANTS[name]) for name in names]
    together = solve(stack(circuits), EVEN)
    for row, circuit in enumerate(circuits):
        alone = solve(circuit, EVEN)
        for node in ("led+", "pin"):
            assert_allclose(
                together.voltages_v[node][row], alone.voltages_v[node][0], atol=1e-4, err_msg=node
            )


def test_clamp_missing_from_a_stacked_row_is_missing() -> None:
    circuits = [build_circuit(VARIANTS[name]) for name in ("half-wave", "half-wave-clamped")]
    reverse = solve(stack(circuits), EVEN).voltages_v["led+"].min(axis=1)
    assert reverse[0] < -5.0
    assert -1.0 < reverse[1] < 0.0


# ------------------------------------------------------------------ grids


@each_variant
def test_usual_grid_finds_the_edges(name: str) -> None:
    """3 us against a grid six times as fine."""
    whole = VARIANTS[name]
    circuit = build_circuit(whole)
    coarse, fine = (
        lock_of(circuit, whole, options).pulses for options in (EDGES, SolverOptions(points=1000))
    )
    count = int(fine.count[0])
    assert coarse.count[0] == count > 0
    for edge in ("fall_s", "rise_s"):
        result, expected = getattr(coarse, edge)[0, :count], getattr(fine, edge)[0, :count]
        assert_allclose(result, expected, rtol=0.0, atol=3e-6)


@each_variant
def test_reading_grid_finds_the_means(name: str) -> None:
    """0.5 % DC and 1 % AC, the basic accuracies of a good meter, or 10 mV.

    Parts of one kind differ by more than 10 mV in their forward voltage.
    """
    circuit = build_circuit(VARIANTS[name])
    coarse, fine = solve(circuit, READINGS), solve(circuit, SolverOptions(points=2000))
    led = "OC1.led"
    assert_allclose(coarse.mean(coarse.currents_a[led]), fine.mean(fine.currents_a[led]), rtol=5e-3)
    for node in ("feed", "led+", "pin"):
        known = circuit.node(node)
        result, expected = coarse.voltages_v[known], fine.voltages_v[known]
        whole = fine.rms(expected)
        assert_allclose(coarse.rms(result), whole, rtol=1e-2)
        within_v = max(5e-3 * float(whole[0]), 0.01)
        assert_allclose(coarse.mean(result), fine.mean(expected), rtol=0.0, atol=within_v)


def test_weights_make_means() -> None:
    solution = solve(build_circuit(VARIANTS["half-wave"]))
    assert_allclose(solution.weight.sum(axis=1), 1.0)
    assert_allclose(solution.rms(solution.voltages_v["line"]), 230.0, rtol=1e-3)
    assert_allclose(solution.mean(solution.voltages_v["line"]), 0.0, atol=0.05)


def test_times_rise_from_zero_through_one_period() -> None:
    solution = solve(build_circuit(VARIANTS["bridge"], Conditions(frequency_hz=60.0)))
    assert np.all(solution.time_s[:, 0] == 0.0)
    assert np.all(np.diff(solution.time_s, axis=1) > 0)
    assert solution.time_s[0, -1] < 1 / 60.0


def test_without_the_isolated_side_the_pin_is_left_out() -> None:
    solution = solve(build_circuit(VARIANTS["half-wave"]), SolverOptions(isolated=False))
    assert "pin" not in solution.voltages_v
    assert "led+" in solution.voltages_v


# ------------------------------------------------------------------ what more of something does


@pytest.mark.parametrize("name", ["half-wave", "bridge", "two-led", "across the LED"])
def test_led_current_falls_as_the_chain_grows(name: str) -> None:
    circuit = build_circuit(VARIANTS[name])
    circuit = circuit.change("R2", resistance_ohm=np.geomspace(10e3, 10e6, 12))
    solution = solve(circuit)
    assert np.all(np.diff(solution.mean(solution.currents_a["OC1.led"])) < 0)


@pytest.mark.parametrize("name", ["half-wave", "bridge", "two-led", "pin capacitor"])
@pytest.mark.parametrize("weight", [None, 0.0, 1.0])
def test_more_ctr_never_shortens_the_low_time(name: str, weight: float | None) -> None:
    whole = VARIANTS[name]
    conditions = Conditions(ctr_ratio=np.geomspace(0.5, 6.0, 15), shape_weight=weight)
    low_s = lock_of(build_circuit(whole, conditions), whole).pulses.low_time_s[:, 0]
    assert np.isfinite(low_s[-1])
    assert np.all(np.diff(low_s[np.isfinite(low_s)]) > -1e-6)
    assert not np.any(np.isnan(low_s) & np.maximum.accumulate(np.isfinite(low_s)))


def test_more_mains_never_shortens_the_low_time() -> None:
    whole = VARIANTS["half-wave"]
    conditions = Conditions(mains_rms_v=np.linspace(150.0, 300.0, 12))
    low_s = lock_of(build_circuit(whole, conditions), whole).pulses.low_time_s[:, 0]
    assert np.all(np.diff(low_s) > 0)


# ------------------------------------------------------------------ capacitors


@pytest.mark.parametrize("name", BOTH_HALVES)
def test_readings_see_the_dip_of_a_led_at_the_crossings(name: str) -> None:
    """A LED lit in both halves is dark for microseconds: its AC voltage is all in there."""
    bright = VARIANTS[name]
    circuit = build_circuit(replace(bright, chains=((resistor("R1", 33e3),),), return_chain=()))

    def ac_v(options: SolverOptions) -> FloatArray:
        solution = solve(circuit, options)
        wave = np.abs(solution.between_v("led+", "led-"))
        return solution.rms(wave - solution.mean(wave)[:, None])

    dense = SolverOptions(points=4000, refine=False)
    assert_allclose(ac_v(READINGS), ac_v(dense), rtol=0.0, atol=2.5e-3)


@pytest.mark.parametrize("points", [112, 144, 200, 400])
def test_led_behind_a_charged_joint_turns_on_without_overshoot(points: int) -> None:
    """Where the joint's charge stops to change, the LED takes what the chain brings, no more."""
    part = board(
        mains=mains(140.0),
        chains=(chain(120e3, 130e3),),
        joint=2,
        joint_capacitor=Capacitor(ref="C2", capacitance_f=38e-9),
    )
    solution = solve(build_circuit(part), SolverOptions(points=points))
    led_a = solution.currents_a["OC1.led"]
    chain_a = (solution.voltages_v["line"] - solution.voltages_v["chain.2"]) / 250e3
    assert_allclose(solution.peak(led_a), np.max(chain_a * (led_a > 1e-6), axis=1), rtol=5e-3)


@pytest.mark.parametrize("name", VARIANTS)
def test_mains_without_a_chain_converges(name: str) -> None:
    """Every chain resistor bridged: hundreds of amperes, to be told and not refused."""
    circuit = build_circuit(VARIANTS[name])
    for row in (*VARIANTS[name].chains, VARIANTS[name].return_chain):
        for part in row:
            circuit = circuit.short(part.ref)
    solution = solve(circuit)
    assert np.all(np.isfinite(solution.voltages_v["pin"]))
    assert solution.peak(solution.currents_a["OC1.led"])[0] > 1.0


@pytest.mark.parametrize("place", ["led", "joint"])
def test_tiny_capacitor_changes_nothing(place: str) -> None:
    """1 pF is enough to be solved with its charge; 0.1 us of time constant with the chain."""
    small = Capacitor(ref="C1", capacitance_f=1e-12)
    with_it = board(led_capacitor=small) if place == "led" else board(joint_capacitor=small)
    without = build_circuit(board())
    circuit = build_circuit(with_it)
    static, dynamic = (
        lock_of(c, board(), SolverOptions(points=600)).pulses for c in (without, circuit)
    )
    for edge in ("fall_s", "rise_s"):
        assert_allclose(getattr(dynamic, edge)[0, 0], getattr(static, edge)[0, 0], atol=1.5e-6)


def open_board(**changes: Any) -> Board:
    whole = replace(
        VARIANTS["clamped"], relay=relay(Suppressor(resistance_ohm=100.0, capacitance_f=100e-9))
    )
    return replace(whole, **changes)


@pytest.mark.parametrize("chain_ohm", [110e3, 160e3, 220e3, 300e3])
def test_open_contact_with_suppressor_leads_by_the_phase_of_its_impedance(
    chain_ohm: float,
) -> None:
    """A resistor behind 100 ohm and 0.1 uF at 230 V 50 Hz, by the rules of AC circuits."""
    circuit = element_list(
        mains_source(),
        resistance("Rs", "line", "s", 100.0),
        capacitance("Cs", "s", "feed", 100e-9),
        resistance("R", "feed", "neutral", chain_ohm),
    )
    solution = solve(circuit, SolverOptions(points=600))
    feed = solution.voltages_v["feed"]
    impedance = chain_ohm + 100.0 - 1j / (2 * np.pi * 50.0 * 100e-9)
    assert_allclose(solution.rms(feed), 230.0 * chain_ohm / abs(impedance), rtol=5e-4)
    fundamental = 2 * solution.mean(feed * np.exp(-1j * solution.phase_rad))
    found_s = (np.angle(fundamental) + np.pi / 2) / (2 * np.pi * 50.0)
    expected_s = -np.angle(impedance) / (2 * np.pi * 50.0)
    assert 300e-6 < expected_s < 1e-3
    assert_allclose(found_s, expected_s, atol=1.5e-6)


def test_open_contact_makes_the_pulses_early_and_lock_all_the_same() -> None:
    whole = open_board()
    closed, opened = (
        lock_of(build_circuit(whole, Conditions(coil_driven=driven)), whole)
        for driven in (True, False)
    )
    assert closed.locks.all()
    early_s = closed.pulses.rise_s[0, 0] - opened.pulses.rise_s[0, 0]
    assert 200e-6 < early_s < 500e-6


def test_fading_row_shows_its_transient_and_leaves_its_neighbour_alone() -> None:
    """A half-wave chain behind a suppressor fades; the clamped one beside it does not."""
    suppressor = relay(Suppressor(resistance_ohm=100.0, capacitance_f=100e-9))
    opened = Conditions(coil_driven=False)
    fading = build_circuit(board(relay=suppressor), opened)
    steady = build_circuit(board(relay=suppressor), Conditions(coil_driven=True))
    both = solve(stack([fading, steady]))
    assert both.settled.tolist() == [False, True]
    peaks = both.cycle_peaks_a["OC1.led"]
    assert peaks.shape == (2, WINDOW_CYCLES)
    assert np.all(np.diff(peaks[0]) < 0)
    assert np.all(np.isnan(peaks[1]))
    alone = solve(steady)
    assert_allclose(both.voltages_v["pin"][1], alone.voltages_v["pin"][0], atol=1e-4)
    assert alone.settled.all()
    assert not alone.cycle_peaks_a


def test_disturbance_of_a_row_fades_as_it_does_alone() -> None:
    """A row that Newton solves on after others have arrived keeps its own Floquet multiplier."""
    mains_v = np.array([20.0, 90.0, 120.0, 230.0, 400.0])
    bridge = VARIANTS["bridge, no return chain"]
    circuit = build_circuit(bridge, Conditions(mains_rms_v=mains_v))
    circuit = circuit.add(capacitance("C9", "led+", "neutral", 10e-6))

    def multiplier(some: Circuit) -> FloatArray:
        return np.max([s.multiplier for s in solve(some, READINGS).states.values()], axis=0)

    alone = np.concatenate([multiplier(circuit.rows(np.array([row]))) for row in range(5)])
    assert_allclose(multiplier(circuit), alone, rtol=0.0, atol=1e-5)
    # of 20 V little reaches the LED: the capacitor is left to the leaks, of 400 V it is clamped
    assert alone[0] > 0.9
    assert alone[4] < 0.5


@pytest.mark.parametrize("surge_v", [400.0, 600.0])
def test_breakdown_in_some_rows_leaves_the_others_alone(surge_v: float) -> None:
    """A batch of a fading row, a steady one, and one whose rectifier breaks down in a surge."""
    suppressor = relay(Suppressor(resistance_ohm=100.0, capacitance_f=100e-9))
    opened = build_circuit(board(relay=suppressor), Conditions(coil_driven=False))
    closed = build_circuit(board(relay=suppressor))
    surge = build_circuit(
        board(relay=suppressor), Conditions(coil_driven=False, mains_rms_v=surge_v)
    )
    high = build_circuit(board(relay=suppressor), Conditions(mains_rms_v=800.0))
    rows = [opened, closed, high, surge]
    together = solve(stack(rows))
    for row in (0, 1):
        alone = solve(rows[row])
        led = "OC1.led"
        assert_allclose(
            together.mean(together.currents_a[led])[row],
            alone.mean(alone.currents_a[led])[0],
            rtol=1e-3,
        )


def test_clamped_peaks_are_found_beside_a_breakdown() -> None:
    """A capacitor feeds a diode: it charges to the mains' peak, and no charge flows on.

    With a breakdown in the row beside it, Newton once went round the period without an end.
    """
    whole = board(
        relay=relay(Suppressor(resistance_ohm=100.0, capacitance_f=45.85e-9)),
        led_capacitor=Capacitor(ref="C1", capacitance_f=9.574e-9),
        mains=replace(mains(), frequency_hz=60.0),
    )
    circuit = build_circuit(whole, Conditions(coil_driven=False, mains_rms_v=np.full(2, 114.265)))
    circuit = (
        circuit.change("K1.contact", resistance_ohm=np.array([np.inf, 0.1]))
        .change("R1", resistance_ohm=np.array([80.55e3, 37.72e3]))
        .change("R2", resistance_ohm=38.7e3)
        .change(
            "D1", saturation_a=1.01e-11, emission_v=0.034986, breakdown_v=np.array([1418.7, 75.0])
        )
        .change("D1.leak", resistance_ohm=28.9e9)
        .change("OC1.led", saturation_a=3.352e-17, emission_v=0.037143, breakdown_v=9.243)
        .change("OC1.led.leak", resistance_ohm=82.72e6)
    )
    solution = solve(circuit, READINGS)
    feed_v = solution.voltages_v["feed"][0]
    peak_v = np.sqrt(2.0) * 114.265
    assert_allclose(np.mean([feed_v.min(), feed_v.max()]), -peak_v, rtol=0.005)
    assert 0.0 < feed_v.max() < 1.0
    mean_v = solution.mean(across_v(solution, next(e for e in circuit if e.ref == "R1")))[0]
    assert abs(mean_v) < 1e-4 * peak_v


def test_charge_of_a_fading_suppressor_is_what_flowed() -> None:
    """Behind an open contact, with a rectifier that breaks down: C dV is the integral of i dt.

    With differences of second order from the start Newton goes round the period without an end.
    """
    whole = board(
        relay=relay(Suppressor(resistance_ohm=100.0, capacitance_f=850e-9)),
        led_capacitor=Capacitor(ref="C1", capacitance_f=290e-9),
    )
    circuit = build_circuit(whole, Conditions(coil_driven=False, mains_rms_v=256.9))
    circuit = (
        circuit.change("R1", resistance_ohm=1930.0)
        .change("R2", resistance_ohm=422e3)
        .change("D1", breakdown_v=86.7)
    )
    solution = solve(circuit)
    held_v = across_v(solution, circuit["suppressor.c"])[0]
    flow_a = across_v(solution, circuit["suppressor.r"])[0] / 100.0
    charge = np.trapezoid(flow_a, solution.time_s[0])
    assert_allclose(850e-9 * (held_v[-1] - held_v[0]), charge, rtol=2e-3)
    assert_allclose(across_v(solution, circuit["R1"])[0] / 1930.0, flow_a, atol=1e-5 * flow_a.max())


# ------------------------------------------------------------------ extremes


@pytest.mark.parametrize("name", ["half-wave", "clamped", "bridge", "two-led", "across the LED"])
def test_extremes_converge_or_say_so(name: str) -> None:
    """0 ohm to 1 Gohm in the chain at 1 V to 1 kV; infinite and zero for opens and shorts."""
    ohm, rms = np.meshgrid(
        [0.0, 1e-3, 1.0, 1e3, 100e3, 10e6, 1e9, np.inf], [1.0, 10.0, 230.0, 1000.0]
    )
    circuit = build_circuit(VARIANTS[name], Conditions(mains_rms_v=rms.ravel()))
    circuit = circuit.change("R1", resistance_ohm=ohm.ravel())
    circuit = circuit.change("R2", resistance_ohm=ohm.ravel())
    solution = solved_or_refused(circuit)
    if solution is not None:
        opened = np.isinf(ohm.ravel())
        assert np.max(solution.currents_a["OC1.led"][opened]) < 1e-9


@pytest.mark.parametrize("ref", ["R1", "R2", "D1", "OC1.led", "R3"])
@pytest.mark.parametrize("fault", ["open", "short"])
def test_open_and_short_parts_converge(ref: str, fault: str) -> None:
    circuit = build_circuit(VARIANTS["half-wave"])
    if fault == "short":
        a, b = circuit[ref].nodes
        circuit = circuit.add(resistance("short", a, b, 0.1))
    elif isinstance(circuit[ref], Junction):
        circuit = circuit.change(ref, saturation_a=0.0)
    else:
        circuit = circuit.change(ref, resistance_ohm=np.inf)
    solution = solve(circuit)
    assert_finite(solution)


@pytest.mark.parametrize("seed", range(4))
def test_random_boards_converge_or_say_so(seed: int) -> None:
    """Log-uniform values over far more than any board has, in one batch."""
    rng = np.random.default_rng(seed)
    size = 40

    def spread(low: float, high: float) -> FloatArray:
        return np.asarray(np.exp(rng.uniform(np.log(low), np.log(high), size)))

    name = list(VARIANTS)[seed % len(VARIANTS)]
    conditions = Conditions(
        mains_rms_v=spread(1.0, 1e3),
        frequency_hz=spread(16.0, 400.0),
        temperature_degc=rng.uniform(-40.0, 110.0, size),
        ctr_ratio=spread(0.01, 20.0),
        remaining_ratio=spread(1e-3, 1.0),
    )
    circuit = build_circuit(VARIANTS[name], conditions)
    circuit = circuit.change("R1", resistance_ohm=spread(1.0, 1e9))
    circuit = circuit.change("R3", resistance_ohm=spread(10.0, 10e6))
    circuit = circuit.add(capacitance("stray", "led+", "neutral", spread(1e-13, 1e-4)))
    circuit = circuit.add(capacitance("load", "pin", "logic0", spread(1e-13, 1e-6)))
    solved_or_refused(circuit)


def solved_or_refused(circuit: Circuit) -> Solution | None:
    """A solution without nan, or none where the engine says that it found none."""
    try:
        solution = solve(circuit)
    except SolverError:
        return None
    assert_finite(solution)
    return solution


def assert_finite(solution: Solution) -> None:
    for wave in (*solution.voltages_v.values(), *solution.currents_a.values()):
        assert np.all(np.isfinite(wave))


def test_no_current_without_mains() -> None:
    circuit = build_circuit(board(mains=mains(1e-9)))
    solution = solve(circuit)
    assert np.max(np.abs(solution.currents_a["OC1.led"])) < 1e-12
    assert_allclose(solution.voltages_v["pin"], 5.0, atol=1e-3)


@pytest.mark.parametrize(
    ("order", "phase_rad"), [(2, 0.0), (3, 0.0), (2, 1.1), (3, np.pi), (3, 1.1)]
)
def test_diode_and_resistance_follow_distorted_mains(order: int, phase_rad: float) -> None:
    """At each point the root of V = R I + n Vt ln(1 + I / Is), by scipy's brentq.

    The falling half mirrors the rising one with odd harmonics in phase only.
    """
    circuit = element_list(
        mains_source(230.0, 50.0),
        mains_harmonic(order, ratio=0.08, phase_rad=phase_rad),
        resistance("R", "line", "x", 100e3),
        junction("D", "x", "neutral", RECTIFIER),
    )
    solution = solve(circuit, SolverOptions(points=96, refine=False))
    (diode,) = circuit.of(Junction)
    phase = solution.phase_rad[0]
    line_v = np.sin(phase) + 0.08 * np.sin(order * phase + phase_rad)
    for k in range(3, phase.size, 7):
        volts = 230.0 * np.sqrt(2.0) * line_v[k]
        if volts > 1.0:
            exact_a = brentq(
                lambda i, v=volts: v - i * (100e3 + RECTIFIER.series_ohm)
                - diode.emission_v * np.log1p(i / diode.saturation_a), 0.0, volts / 100e3,
            )  # fmt: skip
            assert_allclose(solution.currents_a["D"][0, k], exact_a, rtol=1e-6)


def test_harmonics_reach_the_line() -> None:
    bent = replace(mains(), harmonics=(Harmonic(order=3, ratio=0.05, phase_rad=0.7),))
    solution = solve(build_circuit(board(mains=bent)), EVEN)
    line = solution.voltages_v["line"]
    third = 2 * solution.mean(line * np.exp(-3j * solution.phase_rad))
    expected = 0.05 * np.sqrt(2) * 230.0 * np.exp(1j * (0.7 - np.pi / 2))
    assert_allclose(third, expected, rtol=1e-9)


# ------------------------------------------------------------------ dead circuits


def test_divider_on_a_dead_board() -> None:
    """A meter's 3 V behind 1 kohm on 2 kohm: 2 V, whatever floats elsewhere."""
    circuit = element_list(
        Probe(ref="meter", a="x", b="y", open_v=3.0, resistance_ohm=1e3),
        resistance("R", "x", "y", 2e3),
        resistance("S", "y", "z", 1e6),
    )
    solution = solve_dead(circuit)
    assert_allclose(solution.between_v("x", "y"), [[2.0]])


def test_diode_test_on_a_dead_board_reads_the_forward_voltage() -> None:
    """1 mA through the LED: the law of the junction, by hand."""
    circuit = element_list(
        Probe(ref="meter", a="led+", b="neutral", open_v=2.7, resistance_ohm=1.6e3),
        junction("L", "led+", "neutral", LED),
    )
    solution = solve_dead(circuit)
    (current,) = solution.currents_a["L"][0]
    (forward,) = solution.voltages_v["led+"][0]
    assert_allclose(forward, 2.7 - 1.6e3 * current, rtol=1e-7)
    by_law = 1.485 * 0.025692579 * np.log1p(current / 6.25e-16) + 2.34 * current
    assert_allclose(forward, by_law, rtol=1e-6)
    assert 0.9e-3 < current < 1.1e-3


def test_dead_board_has_no_voltage_without_a_meter() -> None:
    circuit = element_list(
        resistance("R1", "line", "led+", 100e3),
        junction("L", "led+", "neutral", LED),
        junction("D", "neutral", "led+", RECTIFIER),
    )
    for wave in solve_dead(circuit).voltages_v.values():
        assert_allclose(wave, 0.0, atol=1e-6)


# ------------------------------------------------------------------ starting from a solution


METERS = {
    "on the chain": resistance("meter", "chain.1", "neutral", 10e6),
    "at the pin": resistance("meter", "pin", "logic0", 10e6),
    "across a resistor": resistance("meter", "line", "chain.1", 10e6),
}


@pytest.mark.parametrize("name", ["half-wave", "across the LED", "joint capacitor", "bridge"])
@pytest.mark.parametrize("where", METERS)
@pytest.mark.parametrize("opened", [False, True], ids=["good", "open R1"])
def test_meter_added_to_a_solution_reads_as_if_solved_afresh(
    name: str, where: str, opened: bool
) -> None:
    """The earlier solution is only where the engine starts from."""
    circuit = build_circuit(VARIANTS[name])
    if opened:
        circuit = circuit.change("R1", resistance_ohm=np.inf)
    with_meter = circuit.add(METERS[where])
    afresh = solve(with_meter, READINGS)
    started = solve(with_meter, READINGS, warm_start=solve(circuit, READINGS))
    for node, wave in afresh.voltages_v.items():
        swing = max(float(np.ptp(wave)), 1e-3)
        assert_allclose(started.voltages_v[node], wave, rtol=0.0, atol=1e-4 * swing, err_msg=node)


# ------------------------------------------------------------------ what is refused


def test_nodes_of_different_islands_have_no_voltage_between_them() -> None:
    solution = solve(build_circuit(board()))
    with pytest.raises(InputError, match="must have a galvanic path between them, got 'pin' and"):
        solution.between_v("pin", "led+")
    with pytest.raises(InputError, match=r'found "nowhere"; allowed: one of the points '):
        solution.between_v("pin", "nowhere")


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_source_may_stand_against_another(sign: float) -> None:
    """A supply whose one end is the line: 5 V above it, or below."""
    ends = ("x", "line") if sign > 0.0 else ("line", "x")
    circuit = element_list(
        DcSource(ref="bias", a=ends[0], b=ends[1], voltage_v=5.0), mains_source(),
        resistance("R", "x", "neutral", 1e3),
    )  # fmt: skip
    solution = solve(circuit)
    line_v = solution.between_v("line", "neutral")
    assert_allclose(solution.between_v("x", "neutral"), line_v + sign * 5.0, atol=1e-9)


def test_source_that_closes_a_loop_of_sources_is_refused() -> None:
    circuit = element_list(
        mains_source(), DcSource(ref="bias", a="line", b="neutral", voltage_v=5.0),
        resistance("R", "line", "neutral", 1e3),
    )  # fmt: skip
    with pytest.raises(InputError, match="bias must fix a node of its own"):
        solve(circuit)


def test_unused_settings_of_a_board_do_not_matter() -> None:
    """Two chains in parallel carry the current of one of their joint resistance."""
    pair = VARIANTS["two chains"]
    joint_ohm = 1 / (1 / sum(CHAIN_OHM) + 1 / 597e3)
    one = board(chains=((resistor("R1", joint_ohm),),), output=pull_up())
    result, expected = (solve(build_circuit(b), EVEN).currents_a["OC1.led"] for b in (pair, one))
    assert_allclose(result, expected, rtol=1e-6, atol=1e-12)
    assert pair.topology is Topology.HALF_WAVE


def test_two_leds_of_unlike_ctr_make_unlike_pulses() -> None:
    """Each half period is that of a part whose LEDs both have its LED's CTR.

    5 us: what is left at the pin of the pulse before, where it was another one.
    """
    whole = VARIANTS["two-led"]
    alike = build_circuit(whole)
    ctr = np.asarray(alike["OC1"].values()["ctr_ratio"])
    weak = lock_of(alike.change("OC1", ctr_ratio=0.4 * ctr), whole).pulses
    strong = lock_of(alike, whole).pulses
    unlike = lock_of(alike.change("OC1", second_led_ratio=0.4), whole).pulses
    for name in ("fall_offset_s", "low_time_s"):
        wanted = [getattr(strong, name)[0, 0], getattr(weak, name)[0, 1]]
        assert abs(wanted[0] - wanted[1]) > 50e-6
        assert_allclose(getattr(unlike, name)[0, :2], wanted, rtol=0.0, atol=5e-6)
    first, second = unlike.interval_s[0, :2]
    assert_allclose(first + second, 1.0 / whole.mains.frequency_hz)
    assert first - second > 50e-6


def test_second_led_of_one_ctr_changes_nothing_where_there_is_one_led() -> None:
    whole = VARIANTS["half-wave"]
    circuit = build_circuit(whole)
    other = solve(circuit.change("OC1", second_led_ratio=0.2))
    assert np.array_equal(other.voltages_v["pin"], solve(circuit).voltages_v["pin"])


@pytest.mark.parametrize("led", ["OC1.led", "OC1.led2"])
def test_open_led_leaves_the_pulse_of_the_other(led: str) -> None:
    """Whatever the CTR of the LED that is open."""
    whole = VARIANTS["two-led"]
    unlike = build_circuit(whole).change("OC1", second_led_ratio=0.4)
    other = 1 if led == "OC1.led" else 0
    dark = unlike.change(led, saturation_a=0.0, breakdown_v=1e9)
    pulses = lock_of(dark, whole, worst=True).pulses
    assert pulses.count[0] == 1
    whole_pulses = lock_of(unlike, whole, worst=True).pulses
    assert_allclose(pulses.low_time_s[0, 0], whole_pulses.low_time_s[0, other], rtol=0.0, atol=5e-6)
