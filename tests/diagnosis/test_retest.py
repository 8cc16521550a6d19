"""After the repair: good boards read as good, and the CTR is found again from the pulses."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from tests.diagnosis.atlases import atlas_of
from tests.diagnosis.boards import PROOFER, TEXTS, board
from zcd.board.files import parse_board
from zcd.circuit.build import Conditions, build_circuit
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.faults import faults_of
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.reading_syntax import parse_reading, show_span
from zcd.diagnosis.reading_words import over_text, reading_text
from zcd.diagnosis.readings import Measured, Power, Reading
from zcd.diagnosis.retest import beside_good, remaining, retest
from zcd.report.of_readings_card import typed_place
from zcd.report.of_retest import (
    added_line,
    first_of_retest,
    missing_in_order,
    remaining_lines,
    retest_answer,
    retest_line,
)
from zcd.report.terminal import document_text

LOW_TIME = Reading(function=Function.LOW_TIME, red="pin", black="logic0")
MAINS = Reading(function=Function.AC, red="line", black="neutral")


def dictionary() -> FaultDictionary:
    return atlas_of("half-wave")


def measured(*lines: str) -> list[Measured]:
    return [parse_reading(line, dictionary().circuit) for line in lines]


def of_board(remaining_ratio: float, mains_rms_v: float = 230.0) -> list[Measured]:
    """Low time and mains of a board with so much left of its optocoupler."""
    conditions = Conditions(remaining_ratio=remaining_ratio, mains_rms_v=mains_rms_v)
    circuit = build_circuit(dictionary().board, conditions)
    shown = MeterModel(dictionary().board, circuit, usual_meter()).read([LOW_TIME, MAINS])[0]
    return [
        Measured(reading=reading, value=float(value))
        for reading, value in zip((LOW_TIME, MAINS), shown, strict=True)
    ]


GOOD = ("ohm R1 110.2k", "ohm R2 130.3k", "diode D1 0.57 V", "dc logic+ logic0 5.01",
        "dc pin logic0 2.65 V", "frequency 50")  # fmt: skip


SWITCHED = """
mains = "220-240V~ 50Hz"
rectifier = "1N4007"
optocoupler = "PC817B"
chain = {resistors = ["27k", "27k", "27k", "27k"], style = "1206"}
output = {pull_up = "8k2", supply = "5 V"}
feed = {kind = "switched", coil_supply = "12 V", coil_resistance = "360"}
"""


@pytest.fixture
def doubtful(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bench whose repairs come back more often: two good readings do not pass a board there."""
    monkeypatch.setattr("zcd.diagnosis.retest.REPAIRED_SHARE", 0.7)


def test_five_good_readings_and_a_good_new_part_pass() -> None:
    """LED both ways, level, frequency and low time of a board with a new optocoupler."""
    board = parse_board(
        'mains = "100-120V~ 60Hz"\noptocoupler = "PC814"\n'
        'chain = {topology = "two-led", resistors = ["15k", "15k"], style = "1/2 W"}\n'
        'output = {pull_up = "4k7", supply = "3.3 V"}\n'
    )
    made = make_fault_dictionary(board, usual_meter())
    texts = ("dc pin 0.42 V", "frequency pin 120 Hz", "diode led+ led- 1.05 V",
             "diode led- led+ 1.06 V", "low time 7.4 ms")  # fmt: skip
    assert retest(made, [parse_reading(text, made.circuit) for text in texts]).good


def test_good_board_reads_as_good() -> None:
    result = retest(dictionary(), measured(*GOOD), flags=("none",))
    assert all(again.good for again in result.readings)
    assert result.good_ratio > 0.9


def test_what_differs_is_named() -> None:
    result = retest(dictionary(), measured("ohm R1 110k", "ohm R2 640k", "frequency 50"))
    assert [again.good for again in result.readings] == [True, False, True]
    assert not result.good
    assert result.good_ratio < 0.5


def test_what_was_taken_before_is_to_be_taken_again() -> None:
    before = measured("ohm R1 110k", "ohm R2 OL", "dc pin logic0 4.98")
    result = retest(dictionary(), measured("ohm R2 130k"), before)
    assert [r.words for r in result.to_take] == [before[0].reading.words, before[2].reading.words]


def test_what_showed_the_fault_is_read_again_before_it_passes() -> None:
    """A pin that stayed high: good parts alone do not prove that it is pulled low now."""
    parts = ("ohm R1 110.2k", "ohm R2 130.3k", "diode D1 0.57 V", "diode led+ led- 1.05 V",
             "low time 9.5 ms", "frequency 50")  # fmt: skip
    before = measured("ohm R2 OL", "dc pin logic0 4.98")
    assert retest(dictionary(), measured(*parts)).good
    result = retest(dictionary(), measured(*parts), before)
    assert result.good_ratio > 0.95
    assert not result.good
    assert [reading.words for reading in result.missing] == [before[1].reading.words]
    assert "what showed the fault was not read again" in retest_line(result)
    assert retest(dictionary(), measured(*parts, "dc pin logic0 2.65 V"), before).good


def test_half_the_pulses_are_not_good_where_some_meters_count_none() -> None:
    """A good board with two LEDs gives two pulses a period of the mains."""
    meter, shown = usual_meter(), np.array([0.0, 0.0, 100.0, 100.0])
    frequency = Reading(function=Function.FREQUENCY, red="pin", black="logic0")
    good = [
        beside_good(Measured(reading=frequency, value=hertz), shown, meter).good
        for hertz in (0.0, 50.0, 100.0)
    ]
    assert good == [True, False, True]


@pytest.mark.parametrize("left_ratio", [0.05, 0.1, 0.2])
def test_ctr_is_found_again_from_low_time_and_mains(left_ratio: float) -> None:
    """A weak part's low time tells: within what tolerances and the spread of shapes leave."""
    result = remaining(dictionary().board, usual_meter(), of_board(left_ratio))
    ctr_ratio = left_ratio * dictionary().board.optocoupler.ctr_ratio
    assert result is not None
    low, middle, high = result.ctr_ratio
    assert low < ctr_ratio < high
    assert 0.5 < middle / ctr_ratio < 2.0


def test_measured_mains_moves_the_estimate() -> None:
    """The same low time at higher mains means less CTR."""
    low_time = of_board(0.1)[0]
    middles = []
    for volts in (207.0, 253.0):
        mains = Measured(reading=MAINS, value=volts)
        result = remaining(dictionary().board, usual_meter(), [low_time, mains])
        assert result is not None
        middles.append(result.ctr_ratio[1])
    assert middles[0] > middles[1]


def test_headroom_is_the_ctr_over_the_least_that_locks() -> None:
    """Dividing the estimate by its headroom always ends at the same CTR, the limit."""
    result = remaining(dictionary().board, usual_meter(), of_board(0.2))
    assert result is not None
    factors = np.array([headroom.factor_ratio for headroom in result.bench])
    assert np.all(np.diff(factors) > 0.0)
    assert np.all(np.array([h.factor_ratio for h in result.weak]) < factors)


def test_no_low_time_no_estimate() -> None:
    assert remaining(dictionary().board, usual_meter(), measured("dc pin logic0 2.6")) is None
    assert remaining(dictionary().board, usual_meter(), measured("low time 0")) is None


@pytest.mark.usefixtures("doubtful")
def test_too_little_measured_names_what_would_do() -> None:
    """What is asked for, read as on a good board, makes it one; nothing is lifted for it."""
    few = measured("dc pin logic0 2.65 V", "low time 9.5 ms")
    result = retest(dictionary(), few)
    assert not result.good
    assert 1 <= len(result.missing) <= 4
    assert not any(reading.lifted for reading in result.missing)
    line = retest_line(result)
    assert line.startswith("NOT PASSED yet: ")
    assert line.endswith("One more good reading, and it passes.")
    shown = " ".join(document_text(retest_answer(result)).split())
    assert "Next, board unplugged and discharged: ohms across R1 to R2 (" in shown
    assert all(reading_text(reading, result.circuit) in shown for reading in result.missing)
    shown = MeterModel(dictionary().board, dictionary().circuit, usual_meter()).read(
        result.missing
    )[0]
    more = [
        Measured(reading=reading, value=float(value))
        for reading, value in zip(result.missing, shown, strict=True)
    ]
    whole = retest(dictionary(), [*few, *more])
    assert whole.good
    assert whole.missing == ()


@pytest.mark.usefixtures("doubtful")
def test_nothing_left_is_said_only_where_no_reading_would_do() -> None:
    """Just short of sure, readings of little weight are enough, and are named."""
    proofer = make_fault_dictionary(parse_board(PROOFER.replace("PC817X2", "817C")), usual_meter())
    texts = ("low time 7.85 ms", "ac line neutral 117", "dc pin 1.78")
    result = retest(proofer, [parse_reading(text, proofer.circuit) for text in texts])
    assert 0.93 < result.good_ratio < 0.95
    assert 1 <= len(result.missing) <= 2
    assert "no reading left" not in retest_line(result)
    assert result.suffices
    assert " more reading" in retest_line(result)


SWITCHED_GOOD = ("dc pin 2.79 V", "frequency pin 50 Hz", "low time 8.9 ms", "ohm R2 27.1k",
                 "ac line neutral 231 V")  # fmt: skip


@pytest.mark.usefixtures("doubtful")
def test_a_reading_with_the_relay_off_asks_for_no_program() -> None:
    """What is said of the readings that were taken must not contradict the one to take."""
    switched = make_fault_dictionary(parse_board(SWITCHED), usual_meter())
    taken = [parse_reading(text, switched.circuit) for text in SWITCHED_GOOD]
    result = retest(switched, taken)
    assert [reading.power for reading in result.missing] == [Power.OFF]
    text = " ".join(document_text(retest_answer(result)).split())
    assert "board powered, load relay off, no program running: DC volts, red on pin" in text
    above = "count only if the load relay was on (a program running)."
    assert f"Powered readings above {above}" in text
    assert added_line(result) == (
        'Next: the same command with -r "dc pin, logic0 relay off ..." added.'
    )
    off = parse_reading("dc pin logic0 relay off 5 V", switched.circuit)
    text = " ".join(document_text(retest_answer(retest(switched, [*taken, off]))).split())
    assert f"Powered readings above not marked relay off {above}" in text


def test_every_reading_to_add_is_named_as_it_is_typed() -> None:
    """What the command's last line has is read as just those readings."""
    before = measured("dc pin logic0 4.98", "frequency pin 0 Hz")
    result = retest(dictionary(), measured("low time 9.5 ms"), before)
    assert len(result.missing) > 1
    named = re.findall(r'-r "(.*?) \.\.\."', added_line(result))
    read = [parse_reading(f"{place} 1.5", result.circuit).reading for place in named]
    assert read == missing_in_order(result)
    assert added_line(retest(dictionary(), measured("ohm R2 640k"))) == ""


@pytest.mark.parametrize(
    ("name", "key", "typed"),
    [
        ("half-wave", "R2 drift", "ohm R2"),
        ("half-wave", "D1 leaky", "diode R2/D1, led+"),
        ("half-wave", "OC1 aged", "diode led+, led-"),
        ("clamped", "D1 short", "diode led-, led+"),
        ("bridge", "D1d leaky", "diode led-, neutral"),
        ("two-led", "OC1 second LED open", "diode led-, led+"),
        ("switched", "K1 contact resistive", "frequency pin, logic0"),
        ("switched", "K1 contact welded", "ohm K1 contact"),
        ("switched", "K1 coil open", "ohm K1 coil"),
        ("half-wave", "pin leaky", "frequency pin, logic0"),
    ],
)
def test_the_part_that_was_replaced_is_read_first(name: str, key: str, typed: str) -> None:
    """On the dead board, with a diode test where it has a junction: common practice, no source."""
    of_board = board(name)
    circuit = build_circuit(of_board)
    (fault,) = (fault for fault in faults_of(circuit) if fault.key == key)
    untouched = [parse_reading("ohm R1 110k", circuit)]
    reading = first_of_retest(fault, untouched, of_board, circuit)
    assert reading is not None
    assert typed_place(reading, circuit) == typed
    shown = "OL" if reading.function.row.dead else "50 Hz"
    assert parse_reading(f"{typed} {shown}", circuit).reading == reading


@pytest.mark.parametrize("name", TEXTS)
def test_what_is_read_first_is_of_the_part_at_fault(name: str) -> None:
    """Of every part that a new one replaces, on every topology."""
    of_board = board(name)
    circuit = build_circuit(of_board)
    for fault in faults_of(circuit):
        if not fault.is_replaced:
            continue
        reading = first_of_retest(fault, (), of_board, circuit)
        assert reading is not None
        if fault.kind not in ("capacitor", "contact"):
            assert reading.function.row.dead
        if reading.function.row.dead:
            assert fault.repair.split()[0] in over_text(reading, circuit)[0]


def test_board_that_differs_is_asked_for_nothing_more() -> None:
    assert retest(dictionary(), measured("ohm R2 640k")).missing == ()


def test_low_time_that_no_ctr_gives_is_said_to_be() -> None:
    lines = remaining_lines(retest(dictionary(), measured("low time 19 ms")))
    assert lines == ["No CTR gives this board the low time that was measured: measure it again."]


def test_live_mains_is_said_where_a_reading_on_it_is_still_to_take() -> None:
    before = measured("ac R1 60 V", "ohm R2 130k")
    text = document_text(retest_answer(retest(dictionary(), measured("ohm R2 640k"), before)))
    assert "Not measured again since the repair" in text
    assert "LIVE MAINS" in text


def test_live_mains_is_not_said_where_none_is() -> None:
    """Also where a reading on it was not taken again and a board that passes does not need it."""
    fails = retest(dictionary(), measured("ohm R2 640k"))
    passes = replace(
        retest(dictionary(), measured(*GOOD), measured("ac R1 60 V")), good_ratio=0.97, missing=()
    )
    assert passes.good
    assert passes.to_take
    for result in (fails, passes):
        assert "LIVE MAINS" not in document_text(retest_answer(result))


def test_a_duty_says_what_a_meter_shows_that_counts_the_time_high() -> None:
    """The two shares make a whole."""
    result = retest(dictionary(), measured("frequency 50", "duty 45 %"))
    (duty,) = (a for a in result.readings if a.measured.reading.function is Function.DUTY)
    text = " ".join(document_text(retest_answer(result)).split())
    assert f"LOW: {show_span(Function.DUTY, duty.low, duty.high)} on a good board. " in text
    without = retest(dictionary(), measured("frequency 50"))
    assert "time LOW" not in document_text(retest_answer(without))


def test_a_board_that_fails_is_sent_on_to_the_diagnosis() -> None:
    result = retest(dictionary(), measured("ohm R2 640k", "frequency 50"))
    text = " ".join(document_text(retest_answer(result)).split())
    assert 'find the fault: zcd diagnose BOARD -r "ohm R2 640 kΩ"' in text
    assert (
        parse_reading("ohm chain.1 chain.2 640 kΩ", dictionary().circuit)
        == measured("ohm R2 640k")[0]
    )
    of_job = replace(result, flags_before=("sync", "fan"))
    told = " ".join(document_text(retest_answer(of_job)).split())
    assert 'zcd diagnose BOARD -f sync,fan -r "ohm R2 640 kΩ"' in told
    assert "(without -f if it shows no error now)" in told


def test_a_ctr_known_by_its_lower_end_is_compared_with_what_the_board_needs() -> None:
    result = retest(dictionary(), of_board(1.0))
    assert result.remaining is not None
    assert not result.remaining.tells
    first = remaining_lines(result)[0]
    factor = result.remaining.weak[0].factor_ratio
    assert "CTR at least " in first
    assert f"{factor:.3g} times what the board needs" in first
    assert "when new" not in first


def test_a_board_that_has_no_sync_as_described_never_passes() -> None:
    """Not though every reading is that of its parts: its pull-up is too low for the coupler."""
    text = TEXTS["half-wave"].replace('pull_up = "47k"', 'pull_up = "R9 100"')
    assert text != TEXTS["half-wave"]
    weak = make_fault_dictionary(parse_board(text), usual_meter())
    taken = [parse_reading("dc pin 5 V", weak.circuit)]
    result = retest(weak, taken)
    while result.missing:
        shown = MeterModel(weak.board, weak.circuit, usual_meter()).read(result.missing)[0]
        taken += [Measured(reading=r, value=float(v))
                  for r, v in zip(result.missing, shown, strict=True)]  # fmt: skip
        result = retest(weak, taken)
    assert result.as_described
    assert not result.good
    said = " ".join(document_text(retest_answer(result)).split())
    assert "NOT PASSED: every part reads as described, but such a board has no sync." in said
    assert "As described, this board has no sync even with every part good (the pin is" in said
    assert "PASSES" not in said
    assert retest(dictionary(), measured(*GOOD)).locks


def test_a_diode_across_the_led_is_tested_before_a_board_passes() -> None:
    """Open, it lets the pulses be: each other half the new LED has the mains in reverse."""
    text = TEXTS["clamped"]
    before = ("ohm R1 to R2 240k", "diode led+ led- OL")
    known = make_fault_dictionary(parse_board(text), usual_meter())
    first = [parse_reading(line, known.circuit) for line in before]
    taken = [parse_reading("diode led+ led- 1.06 V", known.circuit)]
    result = retest(known, taken, first)
    clamp = Reading(function=Function.DIODE, red="neutral", black="led+")
    assert clamp in result.missing
    while result.missing:
        shown = MeterModel(known.board, known.circuit, usual_meter()).read(result.missing)[0]
        taken += [Measured(reading=r, value=float(v))
                  for r, v in zip(result.missing, shown, strict=True)]  # fmt: skip
        result = retest(known, taken, first)
    assert result.good
    taken = [m for m in taken if m.reading != clamp]
    left = retest(known, taken, first)
    assert not left.good
    assert "a diode of which the pulses say nothing was not tested" in retest_line(left)
