"""Whole circuits that others published, built by hand and solved by the engine."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.boards import capacitance, element_list, junction, mains_source, resistance
from zcd.board.files import parse_board
from zcd.board.model import Junction
from zcd.circuit.build import Conditions, build_circuit
from zcd.engine.solution import Solution
from zcd.engine.solve import EDGES, READINGS, SolverOptions, solve
from zcd.sync.lock import lock_of

FINE = SolverOptions(points=1000)


def coupled_detector(options: SolverOptions = FINE) -> Solution:
    """560 kohm and 0.1 uF in series into a detector at 0 V, on 120 V 60 Hz."""
    return solve(
        element_list(
            mains_source(120.0, 60.0),
            capacitance("C", "line", "x", 0.1e-6),
            resistance("R", "x", "neutral", 560e3),
        ),
        options,
    )


@pytest.mark.circuit(
    "MICROCHIP-ZCD", where="section 35.5.1", rtol=1e-3, why="302.7 uA, four digits, through 0.1 %"
)
@pytest.mark.parametrize("options", [EDGES, READINGS, FINE], ids=["edges", "readings", "fine"])
def test_coupled_detector_current(options: SolverOptions, published: SimpleNamespace) -> None:
    """Peak 302.7 uA."""
    solution = coupled_detector(options)
    peak_a = solution.peak(solution.voltages_v["x"]) / 560e3
    assert_allclose(peak_a, 302.7e-6, rtol=published.rtol)


@pytest.mark.circuit(
    "MICROCHIP-ZCD", where="section 35.5.1", atol=0.1, why="8.0 V, printed to 0.1 V"
)
@pytest.mark.parametrize("options", [EDGES, FINE], ids=["edges", "fine"])
def test_coupled_detector_capacitor(options: SolverOptions, published: SimpleNamespace) -> None:
    """Peak 8.0 V over the capacitor."""
    held_v = coupled_detector(options).between_v("line", "x")
    assert_allclose(held_v.max(), 8.0, rtol=0.0, atol=published.atol)


@pytest.mark.circuit(
    "MICROCHIP-ZCD", where="section 35.5.1", atol=0.2e-6, why="125.6 us, rounded on the way"
)
@pytest.mark.parametrize("options", [EDGES, FINE], ids=["edges", "fine"])
def test_coupled_detector_advance(options: SolverOptions, published: SimpleNamespace) -> None:
    """The current leads by 125.6 us."""
    solution = coupled_detector(options)
    fundamental = 2 * solution.mean(solution.voltages_v["x"] * np.exp(-1j * solution.phase_rad))
    lead_s = (np.angle(fundamental) + np.pi / 2) / (2 * np.pi * 60.0)
    assert_allclose(lead_s, 125.6e-6, rtol=0.0, atol=published.atol)


@pytest.mark.parametrize(
    ("rms_v", "mean_v", "half_rms_v", "coupled_v"),
    [(120.0, 54.019, 84.853, 65.437), (230.0, 103.536, 162.635, 125.420)],
)
@pytest.mark.parametrize("options", [EDGES, READINGS], ids=["edges", "readings"])
def test_half_wave_follows_the_closed_forms(
    rms_v: float, mean_v: float, half_rms_v: float, coupled_v: float, options: SolverOptions
) -> None:
    """Vm / pi, Vm / 2 and, without the mean, Vm sqrt(1/4 - 1/pi^2); 0.1 % for the grid.

    The diode is near ideal: 4 mV forward at 1 mA, 1 pA backwards.
    """
    peak_v = np.sqrt(2) * rms_v
    assert_allclose([mean_v, half_rms_v], [peak_v / np.pi, peak_v / 2], rtol=1e-5)
    ideal = Junction(
        saturation_current_a=1e-12,
        emission_ratio=0.01,
        series_ohm=0.0,
        gap_v=1.0,
        leak_ohm=1e12,
        reverse_rating_v=1e9,
    )
    circuit = element_list(
        mains_source(rms_v),
        junction("D", "line", "k", ideal),
        resistance("R", "k", "neutral", 220e3),
    )
    solution = solve(circuit, options)
    load = solution.voltages_v["k"]
    mean, rms = solution.mean(load), solution.rms(load)
    assert_allclose(mean, mean_v, rtol=1e-3)
    assert_allclose(rms, half_rms_v, rtol=1e-3)
    assert_allclose(np.sqrt(rms**2 - mean**2), coupled_v, rtol=1e-3)
    power = solution.power_w(solution.circuit["R"])  # type: ignore[arg-type]
    assert_allclose(power, rms_v**2 / 2 / 220e3, rtol=1e-3)


def fall_s(text: str, ctr_ratio: float, low_threshold_v: float, miller_ratio: float = 1.0) -> float:
    """Zero to falling edge of a board with this CTR at its test current."""
    rules = f'controller = {{low_threshold = "{low_threshold_v} V", high_threshold = "2.6 V"}}\n'
    whole = parse_board(text + rules)
    circuit = build_circuit(whole, Conditions(ctr_ratio=ctr_ratio))
    pulses = lock_of(circuit.scale("OC1.miller", "capacitance_f", miller_ratio), whole).pulses
    assert pulses.count[0] == 2
    return float(pulses.fall_offset_s[0, 0])


MEASURED_BRIDGE = """mains = "220 V 60 Hz"
rectifier = "MB6S"
optocoupler = "TCMT1109"
chain = {topology = "bridge", resistors = ["200k"], style = "1 W"}
output = {pull_up = "10k", supply = "3.3 V"}
"""
WORKED_OUT = """mains = "120 V 60 Hz"
optocoupler = {family = "H11AA1", test_current = "0.74 mA"}
chain = {topology = "two-led", resistors = ["30k"], style = "1 W"}
output = {pull_up = "27k", supply = "5 V"}
"""


@pytest.mark.published(
    "QA-TCMT1109",
    where="question: about 0.450 ms on the oscilloscope, where 0.299 ms was computed from a "
    "constant CTR of 200 %",
    rtol=0.05,
    why="read off a screen; CTR of the sample and level of the reading are not known, so that "
    "it can only be bracketed: 200 to 400 %, a rank of two to one from the asker's figure up, "
    "and levels from 10 to 50 % of the supply",
)
def test_bridge_pulls_the_pin_as_late_as_was_measured(published: SimpleNamespace) -> None:
    late = [fall_s(MEASURED_BRIDGE, ctr, level) for ctr in (2.0, 4.0) for level in (0.33, 1.65)]
    assert min(late) > 0.299e-3, "CTR falls with LED current, so it must be later than computed"
    assert min(late) < 0.450e-3 * (1 + published.rtol)
    assert max(late) > 0.450e-3 * (1 - published.rtol)
    assert max(late) < 1e-3


@pytest.mark.published(
    "FORUM-H11AA1",
    where="example: 0.148 mA pulls to 1 V; CTR 0.2, 0.74 to 0.8 mA, 24 V, 0.38 ms",
    atol=0.04e-3,
    why="0.74 to 0.8 mA is 0.35 to 0.38 ms, the LED's volt adds 0.015 ms, and at 1 V the "
    "transistor conducts 15 % less than where its CTR is stated, another 0.02 ms",
)
def test_two_leds_pull_the_pin_as_late_as_was_worked_out(published: SimpleNamespace) -> None:
    """H11AA1, 30 kohm, 27 kohm to 5 V, 120 V 60 Hz, with the CTR meant at that LED current.

    The example is one of direct current: without the transistor's capacitance.
    """
    found = fall_s(WORKED_OUT, 0.2, 1.0, miller_ratio=1e-6)
    assert_allclose(found, 0.38e-3, rtol=0.0, atol=published.atol)


BUILT_BRIDGE = """name = "bridge of the web page"
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = {family = "817", ctr = "60 %"}
chain = {topology = "bridge", resistors = ["180k"], style = "2 W"}
output = {pull_up = "100k", supply = "5 V"}"""
BUILT_TWO_LED = """name = "dimmer of the forum"
mains = "120 V 60 Hz"
optocoupler = "H11AA1"
chain = {topology = "two-led", resistors = ["15k", "15k"], style = "1/2 W"}
output = {pull_up = "27k", supply = "5 V"}"""


@pytest.mark.parametrize("text", [BUILT_BRIDGE, BUILT_TWO_LED], ids=["bridge", "two-led"])
def test_detectors_that_are_built_and_work_reach_a_high_pin(text: str) -> None:
    """The pin rises between the pulses, through 70 % of the supply.

    The first is a published hobby circuit with an MCT2E, whose typical CTR is 60 % (emergingtechs,
    "zer"), the second the zero crossing of published dimmers (computerchristmas.com, and the same
    parts in doityourselfchristmas.com, archive t-9895). Both say that they work; neither says
    more, so that only this is asked.
    """
    whole = parse_board(text)
    pulses = lock_of(build_circuit(whole), whole).pulses
    assert pulses.highest_v[0] > 0.7 * whole.output.supply_v
    assert pulses.lowest_v[0] < 0.2 * whole.output.supply_v
