"""What a meter shows at every node, against Ohm's law done by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.boards import VARIANTS, board, pull_up, resistor
from zcd.circuit.build import build_circuit
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.node_readings import expected_at_nodes, expected_readings, node_readings
from zcd.diagnosis.readings import Reading

TWO_LED = VARIANTS["two-led"]


@pytest.mark.parametrize("name", VARIANTS)
def test_every_node_but_the_two_references(name: str) -> None:
    circuit = build_circuit(VARIANTS[name])
    readings = node_readings(circuit)
    assert sorted(r.red for r in readings) == sorted(set(circuit.nodes) - {"neutral", "logic0"})
    assert {(r.function, r.black) for r in readings} == {
        (Function.AC, "neutral"),
        (Function.DC, "logic0"),
    }


def test_the_chain_divides_the_mains() -> None:
    """R1 and R2 in series, then at most two LED drops (under 1.3 V) to neutral."""
    shown = expected_at_nodes(TWO_LED, build_circuit(TWO_LED), usual_meter())
    volts = {m.reading.red: m.value for m in shown}
    assert volts["line"] == pytest.approx(230.0, abs=0.1)
    assert volts["chain.1"] == pytest.approx(230.0 * 130.0 / 240.0, abs=1.3)
    assert 0.9 < volts["led+"] < 1.3


def test_the_meter_loads_the_chain() -> None:
    """A meter of 195 kΩ at the joint stands parallel to the 130 kΩ below it: 230 V x 78 / 188."""
    meter = replace(usual_meter(), ac_input_ohm=195e3)
    shown = expected_at_nodes(TWO_LED, build_circuit(TWO_LED), meter)
    volts = {m.reading.red: m.value for m in shown}
    assert volts["chain.1"] == pytest.approx(230.0 * 78.0 / 188.0, abs=1.3)


def test_a_dark_pin_stands_at_its_supply() -> None:
    """Without light only the meter loads the pull-up: 5 V x 10 MΩ / (10 MΩ + 10 kΩ)."""
    dark = board(chains=((resistor("R1", 10e6), resistor("R2", 10e6)),), output=pull_up(10e3))
    shown = expected_at_nodes(dark, build_circuit(dark), usual_meter())
    volts = {m.reading.red: m.value for m in shown}
    assert volts["pin"] == pytest.approx(5.0 * 10e6 / (10e6 + 10e3), rel=0.01)


def test_ohms_through_a_junction_are_a_range() -> None:
    """Through a diode more volts find less ohms; a resistor alone has one value (Ohm's law)."""
    half = VARIANTS["half-wave"]
    circuit = build_circuit(half)
    forward = Reading(
        function=Function.OHM, red=circuit["D1"].nodes[0], black=circuit["D1"].nodes[1]
    )
    first = Reading(function=Function.OHM, red=circuit["R1"].nodes[0], black=circuit["R1"].nodes[1])
    diode, plain = expected_readings([forward, first], half, circuit, usual_meter())
    assert plain.exact
    assert not diode.exact
