"""Readings that a tired bench writes down: nothing is called sure, and the unit is asked for.

A healthy invented board, whose readings are its own predictions changed as said in each case.
"""

from __future__ import annotations

from functools import cache

import pytest

import zcd
from zcd.diagnosis.rank import UNMODELLED, Diagnosis, present
from zcd.report.of_diagnosis import suspects_line

WALL_LAMP = """\
name = "Invented wall lamp"
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 B"
chain = {resistors = ["36k", "36k", "36k"], style = "1/2 W"}
output = {pull_up = "15k", supply = "5 V"}
"""
PULSES = ("frequency 50 Hz", "low time 9.2 ms")
RICE_POLISHER = """\
name = "Invented rice polisher"
mains = "230 V 50 Hz"
rectifier = "1N4007"
clamp = "1N4148"
optocoupler = "817 C"
chain = {topology = "half-wave-clamped", resistors = ["100k", "100k"], style = "1/4 W"}
output = {pull_up = "33k", supply = "3.3 V", pin_capacitor = "2.2 nF"}
"""
SURE = 0.95


@cache
def case(*readings: str) -> zcd.Case:
    return zcd.diagnose(zcd.loads(WALL_LAMP), *readings)


def diagnosis(*readings: str) -> Diagnosis:
    return case(*readings).diagnosis


VOLTS_IN_MILLIVOLTS = (
    ("ac line neutral 0.230 V", *PULSES, "dc pin logic0 2.7 mV", "dc logic+ logic0 5 mV"),
    ("ac line neutral 0.230 V", "ac R1 0.041 V", "ac R2 0.041 V", *PULSES, "dc logic+ logic0 5 mV"),
    ("ac line neutral 0.230 V", "ac R1 0.041 V", *PULSES, "duty 46 %"),
)


@pytest.mark.parametrize("readings", VOLTS_IN_MILLIVOLTS)
def test_pulses_of_a_good_board_leave_no_mains_missing(readings: tuple[str, ...]) -> None:
    """Pulses come from nothing else: the volts are doubted, and the unit is asked for."""
    found = diagnosis(*readings)
    assert found.stopped != "sure"
    assert present(found.ranked) < SURE
    assert found.suspects
    meant = {slip.meant.reading.words: slip.meant.value for slip in found.slips}
    assert any(value == pytest.approx(230.0) for value in meant.values()), meant
    assert "Check the unit" in suspects_line(found, case(*readings).circuit)
    assert "230 mV, or 230 V?" in suspects_line(found, case(*readings).circuit)


@pytest.mark.parametrize("readings", VOLTS_IN_MILLIVOLTS[:2])
def test_none_of_these_wins_where_a_third_is_doubtful(readings: tuple[str, ...]) -> None:
    found = diagnosis(*readings)
    assert len(found.suspects) >= len(found.measured) / 3.0
    assert found.ranked[0].key == UNMODELLED
    assert sum(ranked.probability for ranked in found.ranked) == pytest.approx(1.0)


def test_ohms_in_place_of_kilohms() -> None:
    found = diagnosis("ohm R1 36 ohm", "ohm R2 36 ohm", "ohm R3 36 ohm", *PULSES)
    assert found.stopped != "sure"
    assert [slip.meant.value for slip in found.slips] == pytest.approx([36e3] * 3)


def test_one_slip_among_many_is_no_confusion() -> None:
    """A part that is plainly open stays the answer, and no unit is asked for."""
    found = diagnosis("ohm R1 36k", "ohm R2 OL", "ohm R3 36k", "ohm pin logic+ 15k")
    assert found.ranked[0].key == "R2 open"
    assert found.stopped == "sure"
    assert not found.slips


def test_sound_readings_of_a_good_board_suggest_no_unit() -> None:
    found = diagnosis("ac line neutral 231 V", "ac R1 41 V", *PULSES, "dc logic+ logic0 5.01 V")
    assert not found.suspects
    assert not found.slips


def shown_by_ngspice(*readings: str) -> Diagnosis:
    """Of a deck of ngspice with 1 MΩ between line and neutral, 12 kΩ on the supply, other diode
    models, and a meter with 0.45 V on its ohms ranges that is off by up to 1 %."""
    return zcd.diagnose(zcd.loads(RICE_POLISHER), *readings).diagnosis


def test_what_joins_line_and_neutral_is_no_leak() -> None:
    """A good board: a diode that reads 57 MΩ backwards in the circuit, and OL alone."""
    found = shown_by_ngspice(
        "ohm line chain.2 198.1k", "diode chain.2 neutral 1.634", "ohm logic+ pin 33.32k",
        "ohm pin logic0 45.32k", "ohm led+ chain.2 56.97M", "diode chain.2 led+ 0.5832",
        "ohm D1 reversed lifted OL", "dc pin logic0 1.692",
    )  # fmt: skip
    assert found.ranked[0].key == "healthy"
    assert found.stopped != "sure"


def test_a_leaky_capacitor_is_lifted_before_it_is_named() -> None:
    """22 kΩ in a capacitor of 2.2 nF: it, the pin and the optocoupler read the same until one end
    is lifted."""
    readings = (
        "diode chain.2 neutral 1.637", "ohm line chain.2 201k", "ohm pin logic0 14.69k",
        "ohm logic+ pin 16.8k",
    )  # fmt: skip
    together = shown_by_ngspice(*readings)
    assert together.stopped != "sure"
    first = [ranked.key for ranked in together.ranked[:3]]
    assert set(first) == {"pin leaky", "C1 leaky", "OC1 transistor leaky"}
    alone = shown_by_ngspice(*readings, "ohm C1 lifted 22.1k")
    assert (alone.ranked[0].key, alone.stopped) == ("C1 leaky", "sure")
