"""Readings as people write them."""

from __future__ import annotations

import numpy as np
import pytest

from tests.diagnosis.boards import TEXTS, board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import NO_EDGE, OVERLOAD
from zcd.diagnosis.reading_syntax import (
    parse_function,
    parse_place,
    parse_reading,
    parse_value,
    place_text,
    show_value,
)
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import Measured, Reading, useful_readings, usual_power
from zcd.errors import InputError
from zcd.report.of_readings_card import short_reading
from zcd.report.of_retest import typed_text

CIRCUIT = build_circuit(board("switched"))


def reading(function: Function, a: str, b: str, value: float) -> Measured:
    return Measured(reading=Reading(function=function, red=a, black=b), value=value)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("dc pin logic0 4.98 V", reading(Function.DC, "pin", "logic0", 4.98)),
        ("DC pin logic0 -310mV", reading(Function.DC, "pin", "logic0", -0.31)),
        ("ac line neutral 228", reading(Function.AC, "line", "neutral", 228.0)),
        ("ohm R2 130k", reading(Function.OHM, "chain.1", "chain.2", 130e3)),
        ("ohm r2 4k7", reading(Function.OHM, "chain.1", "chain.2", 4.7e3)),
        ("ohm chain.1 chain.2 OL", reading(Function.OHM, "chain.1", "chain.2", OVERLOAD)),
        ("diode D1 0.57 reversed", reading(Function.DIODE, "led+", "chain.2", 0.57)),
        ("diode D1 ol", reading(Function.DIODE, "chain.2", "led+", OVERLOAD)),
        ("diode led+ led- 1.05 V", reading(Function.DIODE, "led+", "neutral", 1.05)),
        ("frequency 50 Hz", reading(Function.FREQUENCY, "pin", "logic0", 50.0)),
        ("frequency line neutral 49.9", reading(Function.FREQUENCY, "line", "neutral", 49.9)),
        ("duty 48 %", reading(Function.DUTY, "pin", "logic0", 0.48)),
        ("low time 9.5 ms", reading(Function.LOW_TIME, "pin", "logic0", 9.5e-3)),
        ("duty pin 0 %", reading(Function.DUTY, "pin", "logic0", 0.0)),
        ("dc pin 4.98", reading(Function.DC, "pin", "logic0", 4.98)),
        ("R2=OL", reading(Function.OHM, "chain.1", "chain.2", OVERLOAD)),
        ("ohm R2 infinite", reading(Function.OHM, "chain.1", "chain.2", OVERLOAD)),
        ("dc pin 5 volt", reading(Function.DC, "pin", "logic0", 5.0)),
        ("ac L N 230", reading(Function.AC, "line", "neutral", 230.0)),
        ("pin 4.98 V", reading(Function.DC, "pin", "logic0", 4.98)),
        ("freq 0 Hz", reading(Function.FREQUENCY, "pin", "logic0", 0.0)),
        ("resistance R2 0.L", reading(Function.OHM, "chain.1", "chain.2", OVERLOAD)),
        ("pull up 15k", reading(Function.OHM, "logic+", "pin", 15e3)),
        ("dc coil+ nothing", reading(Function.DC, "coil+", "logic0", 0.0)),
        ("ohm R1 to R2 OL", reading(Function.OHM, "feed", "chain.2", OVERLOAD)),
        ("ac R1/R2 neutral 118", reading(Function.AC, "chain.1", "neutral", 118.0)),
        ("diode R2/D1 led+ OL", reading(Function.DIODE, "chain.2", "led+", OVERLOAD)),
        ("R1-R2 300k", reading(Function.OHM, "feed", "chain.2", 300e3)),
        ("ohm R2 to R1 300k", reading(Function.OHM, "chain.2", "feed", 300e3)),
        ("diode R2 to D1 reversed OL", reading(Function.DIODE, "led+", "chain.1", OVERLOAD)),
        ("ohm K1 coil 360", reading(Function.OHM, "coil+", "coil-", 360.0)),
        ("ohm K1 contact OL", reading(Function.OHM, "line", "feed", OVERLOAD)),
        ("ohm OC1 transistor OL", reading(Function.OHM, "pin", "logic0", OVERLOAD)),
        ("diode OC1 LED 1.05", reading(Function.DIODE, "led+", "neutral", 1.05)),
        (
            "diode test over OC1 LED, red led+, black led- 1.05",
            reading(Function.DIODE, "led+", "neutral", 1.05),
        ),
        (
            "DC volts, red on pin, black on logic0 1.74 V",
            reading(Function.DC, "pin", "logic0", 1.74),
        ),
        ("dc pin, logic0 1.74 V", reading(Function.DC, "pin", "logic0", 1.74)),
        ("ac feed, R1/R2 30", reading(Function.AC, "feed", "chain.1", 30.0)),
        ("AC volts over R1 30", reading(Function.AC, "feed", "chain.1", 30.0)),
        ("ohms over R1 to R2 66k", reading(Function.OHM, "feed", "chain.2", 66e3)),
        ("ohms across R1 and R2 66k", reading(Function.OHM, "feed", "chain.2", 66e3)),
        (
            "low time (scope), red on pin, black on logic0 9 ms",
            reading(Function.LOW_TIME, "pin", "logic0", 9e-3),
        ),
        ("low-time pin logic0 800 us", reading(Function.LOW_TIME, "pin", "logic0", 800e-6)),
    ],
)
def test_lines_of_a_prompt(text: str, expected: Measured) -> None:
    result = parse_reading(text, CIRCUIT)
    assert result.reading == expected.reading
    assert result.value == pytest.approx(expected.value)


@pytest.mark.parametrize(
    ("text", "least"),
    [("ohm R2 OL on 2M", 2e6), ("ac R2 overload on the 60 V range", 60.0), ("diode D1 ol at 2", 2)],
)
def test_overload_on_a_range_is_beyond_its_full_scale(text: str, least: float) -> None:
    result = parse_reading(text, CIRCUIT)
    assert (result.low, result.high) == (least, np.inf)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "allowed: a reading such as"),
        ("foo", 'found "foo"; allowed: one of dc, ac'),
        ("line \x1b pin 4.98 V", 'which function. Write "ac line . pin 4.98 V"'),
        ("amps pin logic0 3", 'found "amps"'),
        ("dc", "red probe, black probe"),
        ("dc pin", "red probe, black probe"),
        ("ac feed 230", 'found "feed"; allowed: a second point too: "ac feed neutral'),
        ("dc gnd 3 V", "a second point too"),
        ("ohm R1 to pull-up 3k", "two parts in series"),
        ("ohm R1 to R1 3k", "two parts in series"),
        ("ohm R1 R2 3k", '"R1 to R2" for both in series'),
        ("dc pin logic0", "red probe, black probe"),
        ("ohm R2", "red probe, black probe"),
        ("ohm R9 110k", "one of the points|R9"),
        ("ohm D1.leak 100k", "one of the points"),
        ("ohm D1.leak OC1.miller 100k", "one of the points"),
        ("dc pin nowhere 3", "nowhere"),
        ("dc pin line 3", "same side of the optocoupler"),
        ("dc pin pin 3", "two different points"),
        ("dc pin logic0 OL", 'found "OL"; allowed: DC volts.*or with its range: "OL on 60 V"'),
        ("ac line neutral -3", 'found "-3"; allowed: AC volts from 0 V'),
        ("dc pin logic0 nan", 'found "nan"'),
        ("dc pin logic0 inf", 'found "inf"'),
        ("dc pin logic0 1,234", "may be thousands: use a point"),
        ("ohm R2 6,8,0k", 'found "6,8,0k".*one comma or point at most'),
        ("ohm R2 150 Hz", 'found "150 Hz"'),
        ("duty 148 %", "from 0 % to 100 %"),
        ("low time line neutral 9 ms", "between 'pin' and 'logic0'|found"),
    ],
)
def test_bad_lines_are_refused_in_one_line(text: str, match: str) -> None:
    with pytest.raises(InputError, match=match) as caught:
        parse_reading(text, CIRCUIT)
    assert str(caught.value).isprintable()


def test_bare_duty_is_not_guessed() -> None:
    """48 on the display is 48 %; a bare 0.5 could be half a percent or half."""
    with pytest.raises(InputError, match=r"duty|share|unit"):
        parse_value("0.5", Function.DUTY)


@pytest.mark.parametrize("name", [*Function, "LOW-TIME", "low_time", " Dc "])
def test_functions_by_name(name: str) -> None:
    text = str(name).strip().lower().replace("-", " ").replace("_", " ")
    assert parse_function(str(name)) == Function(text)


VALUES = {
    Function.DC: (0.0, 0.0123, 4.98, -0.478, -3.41, 12.0, 325.0),
    Function.AC: (0.0, 0.3, 49.7, 228.0),
    Function.OHM: (0.0, 0.1, 47.2, 4.7e3, 151e3, 1.82e6, 60e6, OVERLOAD),
    Function.DIODE: (0.0, 0.575, 1.06, OVERLOAD),
    Function.FREQUENCY: (0.0, 50.0, 100.0, 1.2e3),
    Function.DUTY: (0.0, 0.004, 0.479, 1.0),
    Function.LOW_TIME: (0.0, 80e-6, 9.57e-3),
    Function.LOW_Z: (0.0, 3.6, 228.0),
    Function.EDGE_DELAY: (0.0, -80e-6, 620e-6, NO_EDGE),
}


@pytest.mark.parametrize("function", list(Function))
def test_value_shown_can_be_read_back(function: Function) -> None:
    """To the three digits that are shown."""
    for value in VALUES[function]:
        shown = show_value(function, value)
        back = parse_value(shown, function)
        assert back == value or back == pytest.approx(value, rel=5e-3), shown


def test_every_useful_reading_can_be_entered() -> None:
    for item in useful_readings(board("switched"), CIRCUIT):
        value = VALUES[item.function][2]
        probes = f"{item.red} {item.black}"
        if item.lifted:
            turned = " reversed" if CIRCUIT[item.lifted].nodes[0] != item.red else ""
            probes = f"{item.lifted} lifted{turned}"
        probes += "" if item.power is usual_power(item.function) else f" {item.power}"
        text = f"{item.function} {probes} {show_value(item.function, value)}"
        result = parse_reading(text, CIRCUIT)
        assert result.reading == item
        assert np.isclose(result.value, value, rtol=5e-3)


@pytest.mark.parametrize("name", sorted(TEXTS))
def test_where_a_reading_is_taken_is_read_back(name: str) -> None:
    circuit = build_circuit(board(name))
    for reading in useful_readings(board(name), circuit):
        assert parse_place(place_text(reading, circuit), circuit) == reading


@pytest.mark.parametrize(
    ("line", "limit"),
    [
        # a period of 50 Hz, a quarter longer where a generator is slow
        ("low time 1 s", "25 ms"),
        ("low time over 30 ms", "25 ms"),
        ("edge delay 60 ms", "25 ms"),
        ("edge delay -60 ms", "25 ms"),
    ],
)
def test_no_pulse_is_longer_than_the_mains_period(line: str, limit: str) -> None:
    with pytest.raises(InputError, match=f"no more than a period of the mains, {limit}"):
        parse_reading(line, CIRCUIT)


@pytest.mark.parametrize("line", ["low time 19 ms", "low time nothing", "edge delay no edge"])
def test_what_a_scope_may_show(line: str) -> None:
    assert parse_reading(line, CIRCUIT).reading.at_pin


@pytest.mark.parametrize("text", ["ac feed neutral -0.001 V", "diode D1 -0.002 V"])
def test_a_display_may_stand_a_few_counts_below_zero(text: str) -> None:
    """Common practice, no source: an offset of the meter."""
    assert parse_reading(text, build_circuit(board("switched"))).value == 0.0
    with pytest.raises(InputError, match="allowed"):
        parse_reading(text.replace("-0.00", "-3"), build_circuit(board("switched")))


def test_nothing_at_the_pin_has_no_duty() -> None:
    assert parse_reading("duty nothing", build_circuit(board())).value == 0.0


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("R2 OL", "ohm R2 OL"),
        ("D1 0.58", "diode D1 0.58"),
        ("volts pin gnd 4,98", "dc pin logic0 4.98"),
        ("R2 110,5k", "ohm R2 110.5k"),
    ],
)
def test_a_line_may_be_as_short_as_a_person_says_it(text: str, same: str) -> None:
    assert parse_reading(text, CIRCUIT) == parse_reading(same, CIRCUIT)


@pytest.mark.parametrize("name", list(TEXTS))
def test_what_the_screens_print_is_read_back(name: str) -> None:
    """Each useful reading, as the short list and as the prompt name it, and as a failed retest
    gives it to the next command."""
    made = board(name)
    circuit = build_circuit(made)
    for each in useful_readings(made, circuit):
        if not each.lifted:
            assert parse_place(short_reading(each, circuit), circuit) == each
        assert parse_place(reading_text(each, circuit), circuit) == each
        typed = typed_text(Measured(reading=each, value=0.0), circuit)
        assert parse_reading(typed, circuit).reading == each


def test_a_share_of_time_high_is_turned_round() -> None:
    assert parse_reading("duty 55 % high", CIRCUIT).value == pytest.approx(0.45)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("ohm R2 1.", r'OL for a lone 1 on the left of the display \(over range\), or "1 ohm"'),
        ("diode D1 1 .", "OL for a lone 1"),
        ("ohm R2 1", "OL for a lone 1 on the left of the display"),
        ("ohm R1 to R2 15", '"15k", or "15 ohm" if it shows that'),
        ("ohm R2 150", '"150k", or "150 ohm" if it shows that'),
        ("ohm R2 0.15", '"0.15M", or "0.15 ohm" if it shows that'),
    ],
)
def test_a_display_whose_range_was_left_out_is_asked_about(text: str, told: str) -> None:
    """Two or three digits: what the knob of a manual meter says is not on its display."""
    with pytest.raises(InputError, match=told):
        parse_reading(text, CIRCUIT)
    assert parse_reading("ohm R2 150 ohm", CIRCUIT).value == 150.0
    assert parse_reading("ohm R2 1.2", CIRCUIT).value == 1.2
