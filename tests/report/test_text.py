"""Words for numbers and verdicts."""

from __future__ import annotations

from dataclasses import replace
from math import inf, nan

import pytest

from tests.jobs.demo_job import FAILS, solved
from zcd.errors import plain
from zcd.margin.headroom import Headroom
from zcd.margin.rules import Rule
from zcd.refdata import cite
from zcd.report.of_check import board_line, life_table
from zcd.report.of_check_answer import headline_text
from zcd.report.text import (
    SourceNotes,
    factor_text,
    limit_text,
    offset_text,
    quantity_text,
    rule_value_text,
    share_text,
    years_text,
)


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (1.2345e-3, "A", "1.23 mA"),
        (47e3, "Ω", "47 kΩ"),
        (4380.0, "h", "4380 h"),
        (inf, "V", "-"),
        (nan, "", "-"),
    ],
)
def test_quantities_have_three_figures_and_a_unit(value: float, unit: str, words: str) -> None:
    assert quantity_text(value, unit) == words


@pytest.mark.parametrize(
    ("offset_s", "words"),
    [(1.11e-3, "1.11 ms after"), (-2.22e-4, "222 µs before"), (0.0, "at crossing"), (nan, "-")],
)
def test_offsets_are_late_or_early(offset_s: float, words: str) -> None:
    assert offset_text(offset_s) == words


@pytest.mark.parametrize(
    ("factor", "words"),
    [(4.696, "4.7"), (0.25, "0.25 (short)"), (inf, "over 100"), (nan, "none; no sync")],
)
def test_headrooms(factor: float, words: str) -> None:
    assert factor_text(Headroom(locks=factor >= 1.0, factor_ratio=factor, rule=None)) == words


def test_too_strong_is_not_told_as_headroom() -> None:
    assert factor_text(Headroom(locks=False, factor_ratio=3.0, rule=None)) == "3 (too strong)"
    assert factor_text(Headroom(locks=True, factor_ratio=3.0, rule=None)) == "3"


@pytest.mark.parametrize(
    ("years", "words"), [(0.0, "none"), (6.04, "6 years"), (101.0, "over a century")]
)
def test_life_is_not_told_beyond_a_century(years: float, words: str) -> None:
    assert years_text(years) == words


def test_a_share_of_nothing_is_no_number() -> None:
    assert share_text(1.0, 0.0) == "-"


@pytest.mark.parametrize(
    ("value", "limit", "at_least", "found", "asked"),
    [
        (2.5, 2.0, True, "2.5", "min 2"),
        (inf, 2.0, True, "over 100", "min 2"),
        (nan, 2.0, True, "none", "min 2"),
        (0.5, 2.0, False, "0.5", "max 2"),
        (nan, nan, True, "yes", "yes"),
    ],
)
def test_rules(value: float, limit: float, at_least: bool, found: str, asked: str) -> None:
    rule = Rule(
        name="x", value=value, limit=limit, at_least=at_least, unit="", margin=0.0, source=""
    )
    assert (rule_value_text(rule), limit_text(rule)) == (found, asked)


def test_one_failing_rule_is_singular() -> None:
    check = solved().check
    first, *others = check.rules
    one = replace(check, rules=(replace(first, margin=-0.5), *others))
    assert headline_text(one) == "FAILS: sync is lost."
    assert headline_text(solved(FAILS).check) == "FAILS: R1 and R2 are overloaded."


def test_what_cannot_be_shown_becomes_a_question_mark() -> None:
    assert plain("a\x1b[31m\nb\u202e") == "a?[31m?b?"


def test_source_notes_number_each_source_once() -> None:
    notes = SourceNotes()
    letters = [notes.letter(text) for text in ("x [EL-817]", "y [YAGEO-RC]; [EL-817]", "[NO-KEY]")]
    assert letters == ["a", "b", "c"]
    assert notes.origins == (("a", "x [1]"), ("b", "y [2]; [1]"), ("c", "[NO-KEY]"))
    assert notes.sources == (("1", cite("EL-817")), ("2", cite("YAGEO-RC")))


def test_source_notes_go_on_after_z() -> None:
    notes = SourceNotes()
    assert [notes.letter(str(k)) for k in range(28)][25:] == ["z", "aa", "ab"]


@pytest.mark.parametrize(("rule", "model", "counts"), [(5.0, 9.0, 0), (9.0, 5.0, 1)])
def test_the_view_of_life_that_counts_is_named(rule: float, model: float, counts: int) -> None:
    check = solved().check
    life = replace(check.life, design_rule_years=rule, acceleration_years=model)
    marks = [row[2] for row in life_table(replace(check, life=life)).rows]
    assert marks[counts] == "counts"
    assert marks[1 - counts] == ""


def test_the_board_in_one_line() -> None:
    line = board_line(solved().board)
    assert line.startswith("half-wave, 120 V 60 Hz, feed through the load relay's contact")
    assert "30 kΩ + 43 kΩ" in line
