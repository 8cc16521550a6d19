"""Readings that a tired bench writes down: nothing is called sure, and the unit is asked for.

A healthy invented board, whose readings are its own predictions changed as said in each case.
"""

from __future__ import annotations

from functools import cache

import pytest

import zcd
from zcd.diagnosis.rank import GOOD_CIRCUIT, UNMODELLED, Diagnosis, present, together_names
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
FOOT_WARMER = """\
name = "Invented foot warmer"
mains = "120 V 60 Hz"
rectifier = "1N4007"
optocoupler = "817 B"
chain = {resistors = ["20k", "20k"], style = "1/2 W"}
output = {pull_up = "8k2", supply = "5 V"}
feed = {kind = "switched", coil_supply = "24 V", coil_resistance = "1k44"}
"""
EGG_BOILER = """\
name = "Invented egg boiler"
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 B"
chain = {resistors = ["47k", "47k"], style = "1/2 W"}
output = {pull_up = "10k", supply = "5 V"}
"""
SHOE_DRYER = """\
name = "Invented shoe dryer"
mains = "230 V 50 Hz"
rectifier = "DB107"
optocoupler = "817 B"
chain = {topology = "bridge", resistors = ["43k"], return_resistors = ["43k"], style = "1 W"}
output = {pull_up = "15k", supply = "5 V"}
"""
BOOT_RACK = """\
name = "Invented boot rack"
mains = "120 V 60 Hz"
optocoupler = "none"
circuit = [
    "feed - R1 470k - R2 470k - Q1.b",
    "base - R3 220k - emitter",
    "emitter - D1 1N4148 > - base",
    "Q1 BC847B",
    "emitter - neutral",
]
output = {pull_up = "33k", supply = "3.3 V"}
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


def test_the_unit_is_asked_for_where_few_volts_are_a_thousand_times_too_small() -> None:
    """Two such readings look like a missing mains, of which 50 Hz at the pin is the contradiction:
    then it is the volts that may be the slip."""
    readings = ("dc pin logic0 2.7 mV", "frequency 50 Hz", "ac line neutral 0.230 V")
    found = diagnosis(*readings)
    assert found.stopped != "sure"
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


def shown_by_ngspice(*readings: str, text: str = RICE_POLISHER) -> Diagnosis:
    """Of decks of ngspice made elsewhere: 1 MΩ between line and neutral, 3.3 kΩ to 12 kΩ on the
    supply, other diode models, and a meter with 0.40 V or 0.45 V on its ohms ranges that is off by
    up to 1 %."""
    return zcd.diagnose(zcd.loads(text), *readings).diagnosis


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


@pytest.mark.usefixtures("all_samples")
def test_a_part_read_alone_is_told_from_what_is_across_it() -> None:
    """2.2 kΩ fitted for 220 kΩ at the base, read alone: neither a diode there nor the transistor is
    named with it (by inspection)."""
    found = shown_by_ngspice(
        "ohm base emitter 2.194k", "ohm R1 474k", "ohm R2 468k", "diode emitter base 0.585 V",
        "ohm R1 to R2 941k", "ohm R3 lifted 2.193k", text=BOOT_RACK,
    )  # fmt: skip
    assert (found.indistinguishable[0].key, len(found.indistinguishable)) == ("R3 low", 1)


def test_a_burnt_contact_before_the_load() -> None:
    """330 Ω in the contact, and the appliance's 200 Ω behind it: nothing contradicts that."""
    found = shown_by_ngspice(
        "ohm feed chain.2 40.1k", "ohm logic+ pin 8.09k", "diode chain.2 neutral 1.618",
        "dc pin logic0 3.09", "duty pin logic0 39.5 %", "low z feed neutral 42.7",
        "ac line neutral 118.6", "low z feed neutral 43.4", "ac line feed 74.6",
        "ac line feed 74.1", text=FOOT_WARMER,
    )  # fmt: skip
    assert found.ranked[0].key == "K1 contact resistive"
    assert found.stopped == "sure"
    assert not found.suspects


def test_a_load_behind_the_contact_makes_no_led_leak() -> None:
    """Backwards over the LED of a good board: load, chain and rectifier, at a third of a volt."""
    found = shown_by_ngspice(
        "ohm feed chain.2 39.77k", "ohm logic+ pin 8.07k", "diode chain.2 neutral 1.637",
        "ohm pin logic0 15.01k", "dc pin logic0 2.741", "frequency pin logic0 60 Hz",
        "ohm neutral led+ 334.5k", "ohm led+ chain.2 OL", text=FOOT_WARMER,
    )  # fmt: skip
    assert found.ranked[0].key == "healthy"
    assert not found.suspects


@pytest.mark.usefixtures("all_samples")
def test_a_leaky_diode_is_seen_through_the_one_beside_it() -> None:
    """30 kΩ in a diode of a bridge; backwards over the LED, that and a sound diode forward."""
    found = shown_by_ngspice(
        "ohm line chain.1 42.5k", "ohm logic+ pin 15.3k", "diode return.1 chain.1 2.21",
        "ohm neutral return.1 42.8k", "dc pin logic0 0.28", "low time 9.57 ms",
        "ohm led- led+ 245k", "ohm return.1 led- 29.7k", "ohm led+ return.1 OL",
        "ohm OC1.led reversed lifted OL", "ohm led+ chain.1 OL", text=SHOE_DRYER,
    )  # fmt: skip
    assert found.ranked[0].key == "BR1-~2 leaky"
    assert not found.suspects


def test_dirt_beside_one_resistor_shows_when_that_is_lifted() -> None:
    """150 kΩ beside R1 of 47 kΩ: alone it reads as it should."""
    readings = (
        "ohm line chain.2 82.8k", "ohm led+ chain.2 OL", "ohm line chain.1 35.36k",
        "ohm neutral led+ 2.562M",
    )  # fmt: skip
    assembled = shown_by_ngspice(*readings, text=EGG_BOILER)
    assert assembled.suggestion is not None
    assert assembled.suggestion.reading.lifted == "R1"
    alone = shown_by_ngspice(*readings, "ohm R1 lifted 46.15k", text=EGG_BOILER)
    assert alone.ranked[0].key == "R1 leaky"
    assert present(alone.ranked) > 0.9
    assert not alone.suspects


@pytest.mark.usefixtures("all_samples")
def test_a_good_circuit_is_one_answer() -> None:
    """Nothing but the controller, the drive or the fan is left, and joints that show nothing."""
    found = shown_by_ngspice(
        "ohm feed chain.2 39.77k", "ohm logic+ pin 8.07k", "diode chain.2 neutral 1.637",
        "ohm pin logic0 15.01k", "dc pin logic0 2.741", "frequency pin logic0 60 Hz",
        "dc pin logic0 relay off 5.06", "ac feed chain.1 32.91", text=FOOT_WARMER,
    )  # fmt: skip
    assert found.suggestion is None
    assert together_names(found.indistinguishable) == (GOOD_CIRCUIT,)
    assert found.conclusion == found.ranked[0].words


def test_both_supplies_dead_is_no_fuse_until_the_mains_is_read() -> None:
    """0 V on both rails: a failed power supply, or no mains; only the mains tells which."""
    dead = ("dc pin logic0 0 V", "dc coil+ logic0 0 V")
    board = zcd.loads(FOOT_WARMER)
    first = zcd.diagnose(board, *dead)
    assert first.diagnosis.stopped != "sure"
    assert {r.key for r in first.ranked[:2]} == {"supplies missing", "mains missing"}
    assert first.next_reading is not None
    assert first.next_reading.reading.words.startswith("AC volts")
    for reading, found in (("119 V", "supplies missing"), ("0 V", "mains missing")):
        told = zcd.diagnose(board, *dead, f"ac line neutral {reading}")
        assert told.diagnosis.stopped == "sure"
        assert told.ranked[0].key == found


MILK_FROTHER = """\
name = "Invented milk frother"
mains = "230 V 50 Hz"
optocoupler = "814 A"
chain = {topology = "two-led", resistors = ["22k", "22k", "22k"], style = "1/2 W"}
led = {resistor = {value = "2k7", ref = "R7"}}
output = {pull_up = {value = "8k2", ref = "R8"}, supply = "5 V"}
"""


def test_a_leak_beside_a_part_that_reads_good_alone_is_not_that_part() -> None:
    """Dirt of 250 ohm over the LEDs, read by hand: with 1.3 mA the diode test shows 0.33 V both
    ways round, whatever shows as much in ohms; R7 itself, one end lifted, is in order."""
    case = zcd.diagnose(
        zcd.loads(MILK_FROTHER), "diode led- led+ 0.331 V", "ohm led+ led- 228.8 ohm",
        "ohm R7 lifted 2.71 k", "diode led+ led- 0.331 V", flags=("sync",),
    )  # fmt: skip
    assert {r.key for r in case.ranked[:2]} == {"OC1 LED leaky", "OC1 second LED leaky"}
    assert sum(r.probability for r in case.ranked if r.fault and r.fault.part == "R7") < 0.05
