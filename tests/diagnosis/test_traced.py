"""Faults, readings, diagnosis and drawing of circuits that are none of the known topologies.

That an open part is found from ohms over it and a dead pin is what the readings themselves say;
no outside source is needed for it.
"""

from __future__ import annotations

import pytest

import zcd
from tests.spice.test_traced import CIRCUITS
from zcd.board.files import board_from_dict
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Capacitance, Junction, Resistance, is_hidden
from zcd.diagnosis.faults import MAINS_RESISTOR, faults_of
from zcd.diagnosis.readings import check_reading, useful_readings
from zcd.drawing.schematic import schematic
from zcd.drawing.sketch import sketch_svg

BOTH_LEGS = "chain in both legs without a bridge"
FROM_NEUTRAL = "rectifier in the neutral leg, LED fed from neutral"


def board(name: str) -> Board:
    circuit = CIRCUITS[name]
    return board_from_dict(
        {
            "mains": circuit.mains, "optocoupler": circuit.optocoupler,
            "output": {"pull_up": "10k", "supply": "5 V"}, "circuit": list(circuit.lines),
            "chain": {"style": "1 W"},
        }
    )  # fmt: skip


@pytest.mark.parametrize("name", CIRCUITS)
def test_every_part_has_faults_and_every_reading_can_be_taken(name: str) -> None:
    given = board(name)
    circuit = build_circuit(given)
    named = {fault.part.partition(" ")[0] for fault in faults_of(circuit)}
    parts = [e for e in circuit if isinstance(e, Resistance | Capacitance | Junction)]
    assert {e.ref.partition(".")[0] for e in parts if not is_hidden(e)} <= named
    readings = useful_readings(given, circuit)
    assert len(readings) == len(set(readings))
    for reading in readings:
        check_reading(circuit, reading)


def test_resistors_of_both_legs_are_resistors_of_the_mains() -> None:
    faults = {fault.key: fault for fault in faults_of(build_circuit(board(BOTH_LEGS)))}
    assert {faults[f"R{n} open"].row for n in (1, 2, 3, 4)} == {MAINS_RESISTOR}
    assert faults["R3 open"].neighbours == ("R1", "R2", "R4")
    assert "replace R1, R2, R4 too" in faults["R3 open"].words


@pytest.mark.parametrize(
    ("name", "readings", "found"),
    [
        (BOTH_LEGS, "ohm R3 OL", "R3 open"),
        ("series capacitor, charge let back by a diode", "diode neutral x 2 mV", "D1 short"),
        ("two strings with a rectifier each", "ohm R3 OL", "R3 open"),
    ],
)
def test_a_part_is_found(name: str, readings: str, found: str) -> None:
    case = zcd.diagnose(board(name), readings, flags=["sync"])
    assert case.ranked[0].key == found


@pytest.mark.parametrize("name", CIRCUITS)
def test_every_part_is_on_the_drawing(name: str) -> None:
    given = board(name)
    text = sketch_svg(schematic(given, at_nodes={"led+": "1.2 V"}, failed={"R1": "open"}))
    for ref in ("R1", "OC1", "pull-up"):
        assert ref in text
    assert "1.2 V" in text
    assert "LIVE" in text


def test_what_has_no_place_on_a_drawing_is_a_list() -> None:
    text = sketch_svg(schematic(board(FROM_NEUTRAL), failed={"R2": "open"}))
    assert "C1 10 nF" in text
    assert "D1 cathode 1N4007" in text
    assert "R2: open" in text
