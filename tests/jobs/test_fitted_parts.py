"""What was written as fitted, beside what the board's file says."""

from __future__ import annotations

from datetime import date

import pytest

from tests.diagnosis.boards import TEXTS
from zcd.board.files import parse_board
from zcd.diagnosis.retest_record import RetestRecord, Verdict
from zcd.jobs.fitted_parts import grade_fitted_line, unlike_file_line

BOARD = parse_board(TEXTS["half-wave"])


def line_of(*replaced: str) -> str:
    record = RetestRecord(
        taken=date(2026, 3, 14), verdict=Verdict.GOOD, good_ratio=0.97, replaced=replaced
    )
    return unlike_file_line([record], BOARD)


@pytest.mark.parametrize(
    "written", ["R2 130k 1/4 W", "R2 150k", "r2 130k 0805", "R2 130k 1206 1/4 W"]
)
def test_a_part_that_the_file_does_not_have_is_said(written: str) -> None:
    """The file has 130 k, 1206, of which the lowest of the makers read rates 0.125 W."""
    assert line_of("OC1", written) == (
        f"Fitted, as written: {written}; the board file has R2 130 kΩ 5 % 1206 (taken as 125 mW). "
        "Describe what was fitted in a file of its own: zcd new --like BOARD repaired.toml."
    )


@pytest.mark.parametrize(
    "written", ["R2", "R2 130k", "R2 130k 1206", "R2 renewed", 'R2 "130k"', "OC1 817C", "R9 1 W"]
)
def test_what_may_be_the_part_of_the_file_is_not(written: str) -> None:
    assert line_of(written) == ""


def test_without_a_retest_nothing_is_written() -> None:
    assert unlike_file_line([], BOARD) == ""


UNGRADED = parse_board(TEXTS["half-wave"].replace('"817C"', '"817"'))


@pytest.mark.parametrize("written", ["OC1 PC817B", "OC1 renewed, PC817B", "new oc1: PC817B."])
def test_a_grade_that_only_the_words_have_is_said(written: str) -> None:
    """Sharp's PC817X sheet: the letter behind the number is the rank."""
    assert grade_fitted_line(["", written], UNGRADED) == (
        "Fitted: PC817B. The verdict is for the board as described, without a grade: write PC817B "
        "into BOARD and check again."
    )


@pytest.mark.parametrize(
    "written", ["OC1", "OC1 renewed", "OC1 PC817", "R2 130k", "OC1 TLP785(GB)", "IC9 PC817B"]
)
def test_words_without_a_grade_of_this_part_are_not(written: str) -> None:
    assert grade_fitted_line([written], UNGRADED) == ""


def test_a_grade_that_the_file_has_is_not() -> None:
    assert grade_fitted_line(["OC1 PC817C"], BOARD) == ""


def test_the_file_that_describes_the_board_is_named_not_that_of_the_job() -> None:
    assert "write PC817B into press.toml" in grade_fitted_line(
        ["OC1 PC817B"], UNGRADED, "press.toml"
    )
