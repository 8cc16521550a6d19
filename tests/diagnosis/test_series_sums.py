"""A row of resistors has to add up (Kirchhoff's laws): what is left is in those not yet read."""

from __future__ import annotations

import numpy as np
import pytest

import zcd
from tests.diagnosis.atlases import atlas_of
from zcd.diagnosis.expected_readings import good_board
from zcd.diagnosis.rank import diagnose
from zcd.diagnosis.reading_syntax import parse_place, parse_reading
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import Power
from zcd.diagnosis.series_sums import reads_over
from zcd.diagnosis.trip import plan_trip
from zcd.report.of_diagnosis import indistinguishable_line
from zcd.report.of_diagnosis_answer import answer_document, prompt_document, proved_line, rest_line
from zcd.report.terminal import document_text

KILN = """\
name = "Invented glass kiln"
mains = "120 V 60 Hz"
rectifier = "1N4007"
optocoupler = "817 D"
chain = {resistors = ["12k", "12k", "12k", "12k"], style = "1206"}
output = {pull_up = "33k", supply = "3.3 V"}
"""


def said(*readings: str) -> tuple[zcd.Case, str]:
    case = zcd.diagnose(zcd.loads(KILN), *readings, flags=("sync",))
    return case, " ".join(document_text(answer_document(case)).split())


def test_a_second_bad_part_is_told_from_the_sum() -> None:
    """241 k less 124 k leaves 117 k for three of 12 k."""
    case, text = said("ohm R1 to R4 241k", "ohm R4 124k")
    assert "R1 to R4 less R4 (124 kΩ) leaves at least 117 kΩ for R1, R2 and R3" in text
    assert "one of these is bad too" in text
    assert case.next_reading is not None
    assert reading_text(case.next_reading.reading, case.circuit) == "ohms across R1"


def test_a_part_that_read_good_counts_as_the_most_that_a_good_one_has() -> None:
    """12 k within 5 % and the meter's error is 12.8 k at most: 100 - 61 - 12.8 - 12.8 = 13.4."""
    _, text = said("ohm R1 to R4 100k", "ohm R1 61k", "ohm R2 12.6k", "ohm R3 12.5k")
    assert "bad too" not in text
    _, text = said("ohm R1 to R4 110k", "ohm R1 61k", "ohm R2 12.6k", "ohm R3 12.5k")
    assert "for R4" in text
    assert "R4 is bad too" in text


@pytest.mark.parametrize(
    "readings",
    [
        ("ohm R1 to R4 160k", "ohm R4 124k"),  # the rest is good
        ("ohm R1 to R4 241k",),  # none alone
        ("ohm R1 to R4 OL", "ohm R4 124k"),  # no number
        ("ohm R4 124k",),
    ],
)
def test_nothing_is_said_where_the_row_adds_up_or_is_not_known(readings: tuple[str, ...]) -> None:
    assert "bad too" not in said(*readings)[1]


def test_two_that_make_up_the_sum_are_both_named() -> None:
    both = ("ohm R1 to R4 241k", "ohm R4 124k", "ohm R1 94k")
    _, text = said(*both)
    assert "R1" in text.partition("Because")[0]
    assert "R4" in text.partition("Because")[0]
    assert ",," not in text
    case, text = said(*both, "ohm R2 11.9k", "ohm R3 12k")
    assert case.diagnosis.stopped == "sure"
    assert case.ranked[0].key == "R1 drift + R4 drift"
    assert "Does not fit it" not in text


def test_a_row_that_adds_up_confirms_what_one_part_showed() -> None:
    """The same resistance seen twice: no slip, so that nothing is asked for once more."""
    case, _ = said("ohm R1 to R4 160k", "ohm R4 124k", "ohm R1 12k", "ohm R2 11.9k", "ohm R3 12k")
    assert case.ranked[0].fault is not None
    assert (case.ranked[0].fault.part, case.diagnosis.stopped) == ("R4", "sure")


def test_a_mended_board_is_plugged_in_sooner_than_read_part_by_part() -> None:
    again = zcd.retest(zcd.loads(KILN), "ohm R1 12.1k", "ohm R4 11.9k")
    assert 1 <= len(again.missing) <= 2
    assert {(r.red, r.power) for r in again.missing} == {("pin", Power.LIVE)}


def test_the_answer_to_the_last_of_a_row_is_worked_out_from_the_sum() -> None:
    """100 - 61 - 12.6 - 12.5 = 13.9 with good ones; 160 - 61 - 25 leaves 74 k for R4, and no fault
    beside the row, as what is parallel to resistors only makes them read lower."""
    case, text = said("ohm R1 to R4 160k", "ohm R1 61k", "ohm R2 12.6k", "ohm R3 12.5k")
    assert case.next_reading is not None
    assert reading_text(case.next_reading.reading, case.circuit) == "ohms across R4"
    answers = {answer.keys for answer in case.next_reading.answers}
    assert answers == {("R4 drift",)}
    assert "as on a good board: then a reading before is wrong" in text
    (answer,) = case.next_reading.answers
    assert answer.low < 74e3 < answer.high


def test_a_part_that_read_good_is_not_called_bad_with_its_row() -> None:
    _, text = said("ohm R1 to R2 OL", "ohm R2 12.1k")
    assert "R1, or a joint beside it, is bad" in text
    _, text = said("ohm R1 to R2 80k", "ohm R2 12.1k")
    assert "R1 is bad." in text
    assert "bad too" not in text


def test_no_fault_beside_a_row_explains_that_it_reads_high() -> None:
    """A diode the wrong way round adds no ohms to the resistors before it (Kirchhoff's laws)."""
    case, _ = said("ohm R1 to R4 160k")
    assert case.next_reading is not None
    named = {key for answer in case.next_reading.answers for key in answer.keys}
    assert named
    assert all(key.startswith("R") for key in named)


def test_every_face_says_what_is_left_of_a_row() -> None:
    """Terminal, prompt and page; and none says at once that no reading is left to take."""
    case, text = said("ohm R1 to R4 241k", "ohm R4 124k")
    line = rest_line(case.dictionary, case.diagnosis)
    assert line
    assert line in text
    trip = plan_trip(case.dictionary, case.diagnosis)
    prompt = prompt_document(case.dictionary, case.diagnosis, trip)
    assert line in " ".join(document_text(prompt).split())
    assert indistinguishable_line(case.diagnosis) == ""


def test_a_part_that_reads_what_it_has_is_not_to_blame() -> None:
    """Beside an intact string R1 reads less than it has; beside an open one all of it (Ohm's law):
    what is wrong is another part."""
    made = atlas_of("parallel")
    own_ohm = float(np.max(made.circuit["R1"].resistance_ohm))
    beside = good_board(made, parse_place("ohm R1", made.circuit)).high
    assert beside < own_ohm
    alone = parse_reading(f"ohm R1 {own_ohm:.0f}", made.circuit)
    assert not reads_over(made, alone)
    case = diagnose(made, [alone], flags=("sync",))
    assert "R1 is bad" not in proved_line(made, case)
    higher = parse_reading(f"ohm R1 {1.5 * own_ohm:.0f}", made.circuit)
    assert reads_over(made, higher)


THREE_ALIKE = """
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 C"
chain = {resistors = ["51k", "51k", "51k"], style = "1/4 W"}
output = {pull_up = "12k", supply = "5 V"}
"""


def test_a_rest_within_the_error_of_the_meter_is_none() -> None:
    """Of 30 MΩ one per cent is more than the resistors that are left have: nothing follows."""
    board = zcd.loads(THREE_ALIKE)
    taken = ("ohm R1 to R3 30.127M", "ohm R3 52.09k", "ohm R2 29.8M")
    found = zcd.diagnose(board, *taken, flags=("sync",))
    assert found.diagnosis.rest is None
    assert found.diagnosis.ranked[0].key == "R2 open"
    assert "Replace R2" in str(found)


def test_a_trip_is_planned_where_a_row_leaves_something() -> None:
    """The answer that a row leaves is none of those that were tried."""
    board = zcd.loads(THREE_ALIKE)
    found = zcd.diagnose(board, "ohm R1 to R3 2M", "ohm R2 1.1M", flags=("sync",))
    assert found.diagnosis.rest is not None
    assert "as on a good board" in str(found)
