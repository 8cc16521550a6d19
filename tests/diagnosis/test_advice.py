"""What an advice claims happens in the simulation, in every topology."""

from __future__ import annotations

import pytest

from tests.boards import VARIANTS
from zcd.circuit.build import build_circuit
from zcd.diagnosis.faults import faults_of
from zcd.margin.shorts import short_stress
from zcd.margin.stress import HARMLESS_REVERSE_A


@pytest.mark.parametrize("name", VARIANTS)
def test_a_shorted_diode_exposes_the_led_where_it_is_said_to(name: str) -> None:
    """The reverse current through the LED with the diode shorted, by the engine."""
    board = VARIANTS[name]
    words = {fault.key: fault.words for fault in faults_of(build_circuit(board))}
    for stress in short_stress(board):
        text = words.get(f"{stress.ref} short", "")
        said = "took the reverse voltage" in text
        # a resistor or LED that is shorted promises nothing about it
        if said or stress.ref.startswith(("D", "BR")):
            assert said == (stress.led_reverse_a > HARMLESS_REVERSE_A), stress.ref
