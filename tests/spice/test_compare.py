"""Both answers side by side: they agree where they should, and it is told where they do not."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import inf, nan

import pytest

from tests.boards import VARIANTS, chain, controller, pull_up, relay
from tests.boards import board as board_of_variant
from tests.diagnosis.boards import SUPPRESSED_TEXT, board
from zcd.board.files import parse_board
from zcd.board.model import Suppressor
from zcd.circuit.build import Conditions, build_circuit
from zcd.diagnosis.faults import with_fault
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import Reading, useful_readings
from zcd.spice.compare import Comparison, Engine, Line, answer, compare, reading_value
from zcd.spice.netlist import Level

PIN = Reading(function=Function.DC, red="pin", black="logic0")
R2_AC = Reading(function=Function.AC, red="chain.1", black="chain.2")
R2_OHM = Reading(function=Function.OHM, red="chain.1", black="chain.2")
SCOPE = (Function.LOW_TIME, Function.EDGE_DELAY)


@cache
def healthy() -> Comparison:
    result = board("switched")
    return compare(result, build_circuit(result), usual_meter(), [PIN, R2_OHM])


def line(ours: float, equations: float, unit: str = "V", share: float = 0.005) -> Line:
    return Line(name="x", unit=unit, ours=ours, equations=equations, device=nan, share=share)


def test_a_healthy_board_agrees() -> None:
    result = healthy()
    assert result.agrees
    assert result.locks == (True, True, True)
    names = [item.name for item in result.lines]
    assert names[:3] == ["LED current, peak", "LED current, mean", "power in R1"]
    assert {"falling edge, offset", "rising edge, offset", "low time", "pin, mean"} <= set(names)
    assert [item.reading for item in result.lines[-2:]] == [PIN, R2_OHM]


def test_the_transistor_gives_its_own_edges() -> None:
    """It differs: else it would be no second opinion."""
    (low,) = [item for item in healthy().lines if item.name == "low time"]
    assert abs(low.device - low.equations) > 1.5 * abs(low.equations - low.ours)


@pytest.mark.parametrize(
    ("item", "agrees"),
    [
        (line(1.0, 1.004), True),
        (line(100.0, 100.6), False),
        (line(0.1, 0.1049), True),
        (line(0.1, 0.106), False),
        (line(1e-3, 1.009e-3, "s", 0.0), True),
        (line(1e-3, 1.011e-3, "s", 0.0), False),
        (line(nan, nan), True),
        (line(inf, inf), True),
        (line(nan, 1.0), False),
        (line(5.0, inf), False),
    ],
)
def test_limits(item: Line, agrees: bool) -> None:
    assert item.agrees is agrees


def test_one_line_that_differs_is_enough() -> None:
    result = healthy()
    assert not replace(result, lines=(*result.lines, line(1.0, 2.0))).agrees
    assert not replace(result, locks=(True, False, True)).agrees


def test_what_fades_is_shown_at_the_same_cycle() -> None:
    """An open contact with a suppressor: the pulses die away over tens of periods."""
    result = parse_board(SUPPRESSED_TEXT)
    _, circuit = with_fault(build_circuit(result), "K1 contact open", 0.5)
    both = compare(result, circuit, usual_meter(), [])
    assert not both.ours.settled[0]
    assert not both.equations.settled[0]
    assert both.agrees
    (peak,) = [item for item in both.lines if item.name == "LED current, peak"]
    assert peak.ours == pytest.approx(peak.equations, rel=0.01)


@pytest.mark.parametrize("level", Level)
@pytest.mark.parametrize("reading", [PIN, R2_AC, R2_OHM], ids=lambda r: str(r.function))
def test_reading_of_a_faulty_board(reading: Reading, level: Level) -> None:
    """The meter completes the circuit: an open resistor reads nearly the whole supply."""
    result = board("switched")
    _, circuit = with_fault(build_circuit(result), "R2 open", 0.5)
    ours = MeterModel(result, circuit, usual_meter()).read([reading])[0, 0]
    assert reading_value(circuit, reading, result, usual_meter(), level) == pytest.approx(
        ours, rel=0.01
    )


def test_every_useful_reading_has_a_value() -> None:
    result = board("bridge")
    circuit = build_circuit(result)
    for reading in useful_readings(result, circuit):
        value = reading_value(circuit, reading, result, usual_meter())
        assert value >= 0.0 or reading.function is Function.DC


def test_short_dips_of_a_led_behind_a_bridge_agree() -> None:
    """Lit but for some tens of microseconds at each crossing: the AC volts over it are the dips."""
    whole = board("bridge")
    over_led = Reading(function=Function.AC, red="led+", black="led-")
    both = compare(whole, build_circuit(whole), usual_meter(), [over_led])
    assert both.agrees
    (item,) = [each for each in both.lines if each.reading == over_led]
    assert item.ours == pytest.approx(item.equations, rel=0.03)
    assert item.equations > 0.03


def test_leds_of_unlike_ctr_agree() -> None:
    """The second LED's CTR stands in the netlist: both pulses come out alike, and differ."""
    whole = VARIANTS["two-led"]
    circuit = build_circuit(whole).change("OC1", second_led_ratio=0.4)
    both = compare(whole, circuit, usual_meter(), [])
    assert both.agrees
    first, second = (item for item in both.lines if item.name.startswith("low time"))
    assert first.equations - second.equations > 100e-6
    assert first.device - second.device > 100e-6


@pytest.mark.parametrize("levels", [(4.0, 4.05), (2.49, 2.5)])
def test_delay_on_the_scope_is_the_edge_itself(levels: tuple[float, float]) -> None:
    """Thresholds close together, a slow rise: one grid for the edge and for the reading of it."""
    whole = board_of_variant(
        chains=(chain(68e3, 82e3),),
        output=pull_up(47e3),
        controller=controller(low_threshold_v=levels[0], high_threshold_v=levels[1], edge="rising"),
    )
    circuit = build_circuit(whole)
    asked = [Reading(function=f, red="pin", black="logic0") for f in SCOPE]
    ours = answer(whole, circuit, usual_meter(), asked, Engine()).values
    by_name = {quantity.name: value for quantity, value in ours.items()}
    low, delay = (by_name[reading_text(reading, circuit)] for reading in asked)
    assert delay == pytest.approx(by_name["rising edge, offset"], rel=0.0, abs=1e-6)
    assert low == pytest.approx(by_name["low time"], rel=0.0, abs=1e-6)


def test_no_direct_voltage_behind_a_capacitor_in_series() -> None:
    """An open contact with a suppressor: all that reaches the chain comes through a capacitor.

    The charge that a capacitor passes in a period is zero, so the mean of the current is.
    """
    whole = board_of_variant(
        chains=(chain(1e6, 1e6),), relay=relay(Suppressor(resistance_ohm=100.0, capacitance_f=1e-8))
    )
    circuit = build_circuit(whole, Conditions(coil_driven=False))
    asked = [Reading(function=Function.DC, red="feed", black="chain.1")]
    (shown,) = list(answer(whole, circuit, usual_meter(), asked, Engine()).values.values())[-1:]
    assert abs(shown) < 2e-3
