"""The answer on one screen, the prompt in its last lines, the readings on one page."""

from __future__ import annotations

import re
from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console

import zcd
from tests.diagnosis.atlases import atlas_of
from tests.diagnosis.boards import PROOFER, TEXTS, board
from zcd.board.files import parse_board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.case import Case
from zcd.diagnosis.expected_readings import list_expected_readings
from zcd.diagnosis.fault_dictionary import make_fault_dictionary
from zcd.diagnosis.faults import HEALTHY, faults_of
from zcd.diagnosis.job import Job
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.next_reading import Suggestion
from zcd.diagnosis.rank import Ranked, diagnose
from zcd.diagnosis.reading_syntax import parse_place, parse_reading
from zcd.diagnosis.readings import AccessLevel, Power
from zcd.diagnosis.trip import MOST_PLANNED, plan_trip
from zcd.report.cautions import SHORT_CAUTIONS, short_cautions
from zcd.report.document import Document
from zcd.report.of_board import no_sync_line
from zcd.report.of_diagnosis import RELAY_ON_HOW
from zcd.report.of_diagnosis_answer import (
    TOO_MILD,
    answer_document,
    levels_line,
    likeliest_line,
    mend_text,
    prompt_document,
    repair_text,
)
from zcd.report.of_points import points_line
from zcd.report.terminal import document_text, print_document

LINES, COLUMNS, LAST_LINES = 25, 80, 8
SERIES: tuple[tuple[str, ...], ...] = (
    (),
    ("dc pin logic0 4.98",),
    ("ohm feed chain.2 OL", "ohm R1 110k"),
    ("dc pin logic0 4.98", "dc coil+ coil- 24", "ac feed neutral 0.5"),
    ("dc pin logic0 2.6", "frequency 50", "dc logic+ logic0 5", "ohm feed chain.2 240k"),
    ("ohm chain.1 chain.2 unstable", "dc pin logic0 5", "ohm R1 110k", "ohm R2 130k"),
)


def case_of(*texts: str) -> Case:
    dictionary = atlas_of()
    log = tuple(parse_reading(text, dictionary.circuit) for text in texts)
    job = Job(board=dictionary.board, meter=dictionary.meter, log=log)
    return Case(job=job, dictionary=dictionary, diagnosis=diagnose(dictionary, log))


def lines_of(document: Document) -> list[str]:
    file = StringIO()
    print_document(document, Console(file=file, width=COLUMNS, color_system=None))
    return [line.rstrip() for line in file.getvalue().strip().splitlines()]


@pytest.mark.parametrize("texts", SERIES)
def test_answer_fits_one_screen(texts: tuple[str, ...]) -> None:
    lines = lines_of(answer_document(case_of(*texts)))
    assert len(lines) <= LINES
    assert max(map(len, lines)) <= COLUMNS
    assert 1 <= sum(line.startswith("CAUTION") for line in lines) <= 3


def test_pulses_beside_no_pulses_contradict_each_other() -> None:
    case = case_of("frequency 0 Hz", "low time 8.8 ms")
    text = " ".join(lines_of(answer_document(case)))
    assert "0 Hz: no pulses; " in text
    assert "8.8 ms: pulses. One of the two is wrong" in text
    good = case_of("frequency 50 Hz", "low time 8.8 ms")
    assert "One of the two is wrong" not in " ".join(lines_of(answer_document(good)))


@pytest.mark.parametrize("texts", SERIES)
def test_question_is_in_the_last_lines(texts: tuple[str, ...]) -> None:
    case = case_of(*texts)
    trip = plan_trip(case.dictionary, case.diagnosis)
    if not (plan := trip.steps):
        return
    lines = lines_of(prompt_document(case.dictionary, case.diagnosis, trip, AccessLevel))
    # the answer field is the line after them
    last = "\n".join(lines[1 - LAST_LINES :])
    assert plan[0].reading.name in " ".join(last.split())
    assert "board " in last


def prompt_text(*texts: str) -> str:
    case = case_of(*texts)
    trip = plan_trip(case.dictionary, case.diagnosis)
    return " ".join(lines_of(prompt_document(case.dictionary, case.diagnosis, trip)))


def test_the_prompt_explains_the_answers_still_likely() -> None:
    text = prompt_text("ohm feed chain.2 2.73M")
    assert "R1 or R2 is bad" in text
    meaning = text.partition(": ohms ")[2]
    assert re.search(r"Ω \(about 2\.6 MΩ if it alone is bad\): R[12] gone high ", meaning)
    assert ": a good board" not in meaning
    assert "--full" not in text


def test_before_any_reading_no_fault_is_named() -> None:
    assert prompt_text().startswith("Nothing measured yet. ")


def test_one_good_range_on_all_screens() -> None:
    case = case_of()
    (step, *_) = plan_trip(case.dictionary, case.diagnosis).steps
    (answer,) = (a for a in step.answers if HEALTHY.key in a.keys)
    (line,) = (e for e in list_expected_readings(case.dictionary) if e.reading == step.reading)
    assert (answer.low, answer.high) == (line.healthy.low, line.healthy.high)


def test_readings_that_fit_no_fault_are_to_be_checked() -> None:
    case = case_of()
    none = Ranked(fault=None, probability=0.93)
    line = likeliest_line(replace(case.diagnosis, ranked=(none, *case.diagnosis.ranked)))
    assert line == "No fault known here fits (93 %): check the last readings."


def test_plan_stays_in_one_state_of_the_board() -> None:
    case = case_of()
    plan = plan_trip(case.dictionary, case.diagnosis).steps
    assert 1 < len(plan) <= MOST_PLANNED
    assert len({step.reading for step in plan}) == len(plan)
    assert len({step.reading.power for step in plan}) == 1


def test_part_to_change_comes_first_with_the_reading_that_says_so() -> None:
    lines = lines_of(answer_document(case_of("ohm feed chain.2 OL", "ohm R1 110k", "ohm R2 OL")))
    assert lines[1].startswith("Replace R2: open")
    assert any(re.search(r"OL \(good board 2\d\d to 2\d\d kΩ\)", line) for line in lines)


def test_a_board_without_sync_as_described_is_not_called_good_in_silence() -> None:
    """Every part good, and still no pulse: a chain ten times too large."""
    board = parse_board(PROOFER)
    assert no_sync_line(board) == ""
    told = no_sync_line(board.with_(R1="3M3", R2="3M3"))
    assert told.startswith("As described, this board has no sync even with every part good (")


def test_one_reading_alone_is_to_be_confirmed() -> None:
    """What a colleague would say: it is open; measure once more. Lifting it shows nothing new."""
    first = " ".join(lines_of(answer_document(case_of("ohm R2 OL"))))
    assert "R2" in first
    assert "take it once more to be sure" in first or "To settle it" in first
    high = " ".join(lines_of(answer_document(case_of("ohm R2 1M"))))
    assert "lift one end of R2 and measure it once more" in high or "To settle it" in high
    twice = " ".join(lines_of(answer_document(case_of("ohm R2 OL", "ohm feed chain.2 OL"))))
    assert "Replace R2" in twice
    assert "once more" not in twice


def test_an_open_question_names_the_likeliest_and_what_settles_it() -> None:
    """The reading that is said to settle it does, if it shows what was said."""
    case = case_of("diode led+ led- OL")
    trip = plan_trip(case.dictionary, case.diagnosis)
    assert case.diagnosis.stopped != "sure"
    text = " ".join(lines_of(answer_document(case)))
    assert case.diagnosis.ranked[0].key in text
    assert ("To settle it" in text) is trip.settles


def test_to_settle_it_is_said_of_a_reading_that_does_whatever_it_shows() -> None:
    """With one of two resistors left, it is the one that is too high."""
    chain = case_of("ohm feed chain.2 400k")
    assert not plan_trip(chain.dictionary, chain.diagnosis).settles
    rest = case_of("ohm feed chain.2 400k", "ohm R1 110k")
    assert plan_trip(rest.dictionary, rest.diagnosis).settles
    assert "To settle it" in " ".join(lines_of(answer_document(rest)))


def test_because_has_the_reading_that_ruled_the_others_out() -> None:
    for texts, named in (
        (("ohm feed chain.2 OL", "ohm R1 110k"), "As on a good board: ohm R1 110 kΩ."),
        (("dc pin logic0 4.98", "dc coil+ coil- 24"), "As on a good board: dc coil+, coil- 24 V."),
    ):
        text = " ".join(lines_of(answer_document(case_of(*texts))))
        assert named in text.partition("Because:")[2].partition("Next")[0]


def test_a_contact_that_leads_is_told_how_to_be_read_unplugged() -> None:
    """Beside a plan of other readings; a reading behind the contact tells of it by itself."""
    suspected = case_of(
        "ohm feed chain.2 240k", "dc pin logic0 4.98", "dc coil+ coil- 24",
        "diode chain.2 neutral 1.6", "ohm K1 coil 1.44k",
    )  # fmt: skip
    assert suspected.ranked[0].key == "K1 contact open"
    text = " ".join(lines_of(answer_document(suspected)))
    assert (
        "To test K1 contact: board unplugged and discharged, 24 V from a bench supply on its coil"
        in text
    )
    assert "To test" not in " ".join(lines_of(answer_document(case_of("dc pin logic0 2.6"))))


def test_it_is_said_how_the_load_relay_is_brought_on() -> None:
    powered = case_of("ohm feed chain.2 240k", "ohm pull-up 47k", "diode led+ led- 1.1")
    assert any(step.reading.power is Power.LIVE for step in plan_of(powered))
    assert RELAY_ON_HOW in " ".join(lines_of(answer_document(powered)))
    dead = case_of("ohm feed chain.2 OL")
    assert RELAY_ON_HOW not in " ".join(lines_of(answer_document(dead)))


def plan_of(case: Case) -> tuple[Suggestion, ...]:
    return plan_trip(case.dictionary, case.diagnosis).steps


def test_a_good_sync_circuit_leads_to_the_fan() -> None:
    dictionary = atlas_of()
    texts = ("dc pin logic0 2.6", "frequency 50", "ohm R1 110k", "ohm R2 130k")
    log = tuple(parse_reading(text, dictionary.circuit) for text in texts)
    job = Job(board=dictionary.board, meter=dictionary.meter, log=log, flags=("fan",))
    case = Case(job=job, dictionary=dictionary, diagnosis=diagnose(dictionary, log, flags=("fan",)))
    text = " ".join(lines_of(answer_document(case)))
    assert case.diagnosis.ranked[0].fault is not None
    assert case.diagnosis.ranked[0].fault.kind in ("drive", "fan")
    assert "Now the fan: unplug it, discharge its run capacitor and measure its windings" in text
    assert "settle it" not in text
    assert "settles it" not in text


def test_live_parts_are_no_part_of_another_plan() -> None:
    dictionary = make_fault_dictionary(parse_board(PROOFER), usual_meter())
    texts = ("ohm R1 to R2 66k", "dc pin 3.3")
    log = tuple(parse_reading(text, dictionary.circuit) for text in texts)
    job = Job(board=dictionary.board, meter=dictionary.meter, log=log, flags=("sync",))
    case = Case(
        job=job, dictionary=dictionary, diagnosis=diagnose(dictionary, log, flags=("sync",))
    )
    trip = plan_trip(dictionary, case.diagnosis, flags=("sync",))
    sides = {step.access for step in trip.steps}
    assert sides == {AccessLevel.ISOLATED}
    for document in (
        answer_document(case),
        prompt_document(case.dictionary, case.diagnosis, trip),
    ):
        assert "CAUTION: LIVE MAINS" not in " ".join(lines_of(document))


def test_every_side_has_cautions_of_its_own() -> None:
    assert set(SHORT_CAUTIONS) == set(AccessLevel)
    assert all(len(texts) <= 2 for texts in SHORT_CAUTIONS.values())


def test_a_supply_that_is_another_usual_one_asks_for_the_board_file() -> None:
    """3.3 V where the file says 5 V; 2.6 V is no usual supply (common practice, no source)."""
    lines = ("ohm R1 110k", "ohm R2 130k")
    texts = ("dc logic+ logic0 3.3", "dc pin logic0 1.7", "frequency 50", *lines)
    other = " ".join(lines_of(answer_document(case_of(*texts))))
    assert "3.3 V is a usual supply: is the supply in the board file right?" in other
    low = case_of(texts[0].replace("3.3", "2.6"), *texts[1:])
    assert "usual supply" not in " ".join(lines_of(answer_document(low)))


@pytest.mark.parametrize("reading", ["dc pin logic0 11.9", "dc logic+ logic0 12.1"])
def test_a_higher_supply_than_written_asks_for_the_board_file(reading: str) -> None:
    """12 V where the file says 5 V; 5.2 V is a regulator's error (common practice, no source)."""
    other = " ".join(lines_of(answer_document(case_of(reading))))
    assert "where the board file has a supply of 5 V: is it 12 V?" in other
    usual = case_of("dc logic+ logic0 5.2")
    assert "board file" not in " ".join(lines_of(answer_document(usual)))


SMALL = """mains = "230 V 50 Hz"
optocoupler = "814"
chain = {topology = "two-led", resistors = ["47k", "47k", "47k"], style = "1206"}
output = {pull_up = "10k", supply = "5 V"}
"""


def told(text: str, *readings: str, flags: tuple[str, ...] = ()) -> str:
    """The answer to some readings, in one line."""
    case = zcd.diagnose(parse_board(text), *readings, flags=flags)
    return " ".join(document_text(answer_document(case)).split())


def test_a_part_too_small_for_its_place_is_not_fitted_again() -> None:
    """0805 chips are rated 125 mW (makers' data sheets: reference/resistor_styles.csv)."""
    answer = told(SMALL.replace("1206", "0805"), "ohm R1 OL", "ohm R1 lifted OL")
    assert "R1, R2 and R3 are all too small for this chain" in answer
    assert "the same would fail again. Fit 1210" in answer
    assert "too small" not in told(SMALL.replace("1206", "1 W"), "ohm R1 OL", "ohm R1 lifted OL")


def test_a_file_that_describes_a_board_without_sync_is_doubted_first() -> None:
    weak = SMALL.replace('["47k", "47k", "47k"]', '["470k", "470k"]')
    assert "no sync even with every part good" in told(weak, "ohm R1 470k")
    assert "no sync even" not in told(SMALL, "ohm R1 47k")


def test_a_first_reading_under_power_comes_with_its_cautions() -> None:
    """Where no dead test tells that it is mended, the pulses are read."""
    case = case_of("dc logic+ logic0 3.2", "dc pin logic0 1.8")
    case = replace(case, job=replace(case.job, board_file=Path("board.toml")))
    lines = " ".join(lines_of(answer_document(case)))
    assert "leads on first, then plugged in, and enter what the meter shows" in (lines)
    assert 'zcd retest board.toml -r "frequency pin, logic0 ..."' in lines
    both = short_cautions(AccessLevel.DEAD, AccessLevel.ISOLATED)
    assert all(text in lines for text in both)
    assert lines.count(both[0]) == 1


MILD = ("ohm R1 to R2 400k", "ohm R1 270k", "ohm R2 130k")
"""A chain of 240 k that has drifted to 400 k: less current, and still enough."""


def test_a_fault_too_mild_for_the_flag_is_said_to_be() -> None:
    """The lock rules of the solved board: with R1 of 270 k the pin still passes its thresholds."""
    assert TOO_MILD in told(TEXTS["half-wave"], *MILD, flags=("sync",))
    assert TOO_MILD not in told(TEXTS["half-wave"], *MILD)
    gone = ("ohm R1 to R2 OL", "ohm R1 OL", "ohm R2 130k")
    assert TOO_MILD not in told(TEXTS["half-wave"], *gone, flags=("sync",))


def test_a_range_for_ohms_leaves_no_open_that_is_none() -> None:
    """On the lowest range over a good part one that has drifted shows OL: then the next one."""
    assert "higher while it shows OL" in " ".join(lines_of(answer_document(case_of())))


STILL = """mains = "230 V 50 Hz"
optocoupler = "814A"
chain = {topology = "two-led", resistors = ["39k", "39k"], style = "1 W"}
led = {resistor = "4k7"}
output = {pull_up = "6k8", supply = "5 V"}
"""


@pytest.mark.usefixtures("all_samples")
def test_low_ohms_that_a_good_board_may_read_name_no_fault() -> None:
    """A resistor of two in the row reads low beside what hangs at the mains inlet."""
    text = told(STILL, "frequency 100 Hz", "dc pin 3.9 V")
    assert "up to 41.6 kΩ, or much lower through parts in parallel, as on a good board" in text
    assert ": chain leaky to neutral" not in text


def test_the_tilde_leads_of_a_bridge_are_explained() -> None:
    circuit = build_circuit(parse_board(TEXTS["bridge"].replace('"1N4007"', '"DB107"')))
    through = parse_place("diode neutral, R2/BR1~1", circuit)
    said = "R2/BR1~1: where R2 meets the ~ pin of BR1 on the line side."
    assert points_line([through], circuit) == said
    assert points_line([parse_place("ohm R1", circuit)], circuit) == ""


def test_a_diode_of_a_bridge_is_read_at_pins_that_are_explained() -> None:
    circuit = build_circuit(parse_board(TEXTS["bridge"].replace('"1N4007"', '"DB107"')))
    line = points_line([parse_place("diode BR1~2 BR1+", circuit)], circuit)
    assert line == "BR1~2: the ~ pin of BR1 on the neutral side. BR1+: the + pin of BR1."


def test_what_no_meter_parts_of_one_resistor_is_said_in_one_word() -> None:
    """A 10 k that reads 54 k has drifted, or is of another value."""
    faults = {fault.key: fault for fault in faults_of(build_circuit(board()))}
    rows = [
        Ranked(fault=faults[f"pull-up {mode}"], probability=0.5)
        for mode in ("drift", "wrong value x10")
    ]
    for first in rows:
        assert repair_text(first, rows) == (
            "Replace pull-up: too high, drifted or a wrong value fitted."
        )


def test_pins_of_two_leds_and_levels_of_a_low_time_are_told() -> None:
    """Both LEDs back to back have no plus and minus of their own."""
    circuit = build_circuit(board("two-led"))
    pins = points_line([parse_place("diode led-, led+", circuit)], circuit)
    assert pins.startswith("led+: the LED pin on the line side")
    one = build_circuit(board("switched"))
    pins = points_line([parse_place("diode led+, led-", one)], one)
    assert pins == "led+, led-: anode and cathode of the optocoupler's LED, mostly pins 1 and 2."
    step = replace(plan_of(case_of())[0], reading=parse_place("low time pin, logic0", circuit))
    assert "falls below 1 V until it rises above 4 V" in levels_line((step,), board("two-led"))


def test_what_a_reading_that_is_taken_again_means_leaves_out_no_good_board() -> None:
    """Of an unread resistor too: what a good board may show is no drift."""
    unread = TEXTS["half-wave"].replace('"110k"', '"?"')
    text = told(unread, "ohm R1 OL")
    assert "as on a good board: then the first reading was wrong" in text
    good = re.search(r"good board ([\d.]+) to ([\d.]+) kΩ", text)
    drift = re.search(r"([\d.]+) kΩ to (?:[\d.]+ MΩ|OL): R1 (?:open or )?gone high", text)
    assert good is not None
    assert drift is not None
    assert float(drift[1]) >= float(good[2])


def test_a_contact_is_not_replaced_for_a_fuse_before_it() -> None:
    """No volts behind it, volts at its coil: what comes before it reads the same."""
    told_of = told(
        TEXTS["switched"], "dc coil+ coil- 24 V", "ac feed neutral 0.2 V", "dc pin 4.98 V",
        "ohm R1 to R2 241k", flags=("sync", "fan"),
    )  # fmt: skip
    assert "K1" in told_of
    fault = next(
        f for f in faults_of(build_circuit(board("switched"))) if f.key == "K1 contact open"
    )
    assert "line reaches the contact" in mend_text(fault, ())


def test_a_powered_reading_counts_only_with_the_load_relay_on_also_where_its_coil_comes_next() -> (
    None
):
    """Ohms of the coil, unplugged, do not show whether it was fed."""
    text = told(TEXTS["switched"], "ac feed neutral 40 V", flags=("sync",))
    assert "ohms across K1 coil" in text
    assert "Powered readings count only if the load relay was on" in text
