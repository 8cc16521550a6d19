"""Resistors that nobody could read: what is taken, within which limits, and what is said of it."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import Any

import numpy as np
import pytest

import zcd
from tests.board.boards import edited
from zcd.board.files import board_from_dict
from zcd.board.model import Board
from zcd.board.unknown_values import unknown_limits
from zcd.diagnosis.samples import bench_tolerances
from zcd.report.of_board import read_as_line, unread_line


def chain(*resistors: Any) -> Board:
    return board_from_dict(edited(chain={"resistors": list(resistors), "style": "1/2 W"}))


@pytest.mark.parametrize(
    ("text", "limits"),
    [
        ("?", (0.0, inf)),
        ("burnt", (0.0, inf)),
        ("unknown", (0.0, inf)),
        ("about 100k", (70e3, 130e3)),
        ("ca. 100k", (70e3, 130e3)),
        ("~100k", (70e3, 130e3)),
        ("100k ?", (70e3, 130e3)),
        ("47k..100k", (47e3, 100e3)),
        ("47-100k", (47e3, 100e3)),
        ("between 47k and 100k", (47e3, 100e3)),
        ("100k to 47k", (47e3, 100e3)),
    ],
)
def test_what_is_known_roughly_or_not_at_all(text: str, limits: tuple[float, float]) -> None:
    assert unknown_limits(text) == pytest.approx(limits)


@pytest.mark.parametrize("text", ["100k", "4k7", "104", "1-2-3", "about", "about it", "47k..", ""])
def test_what_is_a_value_or_nothing(text: str) -> None:
    assert unknown_limits(text) is None


def test_a_neighbour_is_the_likeliest() -> None:
    board = chain("82k", "?", "68k")
    assert [part.resistance_ohm for part in board.chains[0]] == [82e3, 82e3, 68e3]
    assert [each.ref for each in board.unknowns] == ["R2"]
    assert 'R2 "?" = 82 kΩ, like its neighbour' in read_as_line(board)
    assert unread_line(board) == (
        "R2 is unknown: taken to be 27.3 to 246 kΩ; any other reads as a fault. With which "
        "values the board passes: zcd check BOARD"
    )


def test_a_neighbour_outside_the_limits_is_not() -> None:
    board = chain("22k", "47k..100k")
    assert board.chains[0][1].resistance_ohm == 75e3
    assert (board.unknowns[0].low_ohm, board.unknowns[0].high_ohm) == (47e3, 100e3)
    assert chain("68k", "about 100k").chains[0][1].resistance_ohm == 100e3


def test_without_a_neighbour_the_usual_current_counts() -> None:
    """2 mA at the peak of 230 V is 163 k: two of 82 k (common practice, no source)."""
    board = chain("?", "?")
    assert [part.resistance_ohm for part in board.chains[0]] == [82e3, 82e3]
    assert len(board.unknowns) == 2


@pytest.mark.parametrize(
    ("bands", "low_ohm", "high_ohm"),
    [
        ("brown ? orange gold", 10e3, 19.6e3),
        ("? violet orange gold", 27e3, 97.6e3),
        ("brn blk ? gold", 10.0, 10e6),
    ],
)
def test_a_band_that_cannot_be_read(bands: str, low_ohm: float, high_ohm: float) -> None:
    """IEC 60062: two figures and the zeros; values of E24 and E96 alone."""
    (limits,) = chain(bands).unknowns
    assert low_ohm <= limits.low_ohm
    assert limits.high_ohm <= high_ohm
    assert limits.low_ohm < limits.high_ohm


def test_pull_up_and_led_resistor() -> None:
    board = board_from_dict(edited(output={"pull_up": "?"}, led={"resistor": "burnt"}))
    assert board.output.resistor.resistance_ohm == 10e3
    assert {each.ref for each in board.unknowns} == {"pull-up", "R3"}


def test_a_part_that_was_read_is_no_longer_unknown() -> None:
    board = chain("82k", "?")
    assert board.with_(R2="75k").unknowns == ()


def test_a_diagnosis_allows_for_all_that_it_may_be() -> None:
    board = chain("82k", "?")
    (spread,) = (t for t in bench_tolerances(board) if t.name == "R2")
    assert spread.amount(np.array([0.0, 0.5, 1.0])) == pytest.approx([1 / 3, 1.0, 3.0])


def test_check_tells_with_which_values_the_board_passes() -> None:
    """Judged by checking the board anew with the ends of the span, and with three times that."""
    board = chain("82k", "?")
    check = zcd.check(board)
    (span,) = check.passing_values
    assert span.ref == "R2"
    said = " ".join(str(check).split())
    assert "R2 is unknown: taken as 82 kΩ; the board passes with " in said
    assert "; what follows is for 82 kΩ." in said
    # a value with which the board just passes is not said to fail
    tight = replace(check, passing_values=tuple(
        replace(each, high=0.5 * each.value) for each in check.passing_values
    ))  # fmt: skip
    assert tight.passes
    assert "taken as 82 kΩ; the board just works with it." in str(tight)
    for ohm in (span.low, span.high):
        assert zcd.check(board.with_(R2=ohm)).passes
    assert not zcd.check(board.with_(R2=3 * span.high)).passes
    assert zcd.check(chain("82k", "82k")).passing_values == ()


def test_values_that_only_larger_resistors_bear_are_told_apart() -> None:
    """Judged by checking the board anew with the ends of both spans."""
    resistors = ["68k", "?"]
    board = board_from_dict(edited(chain={"resistors": resistors, "style": None}))
    check = zcd.check(board)
    (sized,), (span,) = check.passing_as_sized, check.passing_values
    assert (span.low, span.high) != (sized.low, sized.high)
    said = " ".join(str(check).split())
    larger = "if the resistors are larger than 1/4 W (E12, watts and volts as its neighbours; "
    assert f"{larger}check again" in said
    for ohm in (sized.low, sized.high):
        assert " PASSES. " in f" {' '.join(str(zcd.check(board.with_(R2=ohm))).split())}"
    assert "PASSES, if R2 is 1/2 W or larger" in str(zcd.check(board.with_(R2=span.high)))
