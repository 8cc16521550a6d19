"""Diagnosis and bench card on a terminal: 80 columns, plain when piped, cautions with them."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from tests.jobs.demo_job import OPEN, SETTLED, card, case, dictionary, solved
from zcd.diagnosis.case import ExpectedReadings
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import AccessLevel
from zcd.jobs.demo import Demo, demo_document
from zcd.report.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.report.document import Document
from zcd.report.of_diagnosis import ACCESS_TITLES, CAUTIONS
from zcd.report.of_diagnosis_document import card_document, case_document, step_sections
from zcd.report.of_diagnosis_text import fault_words
from zcd.report.terminal import print_document


def printed(document: Document, *, encoding: str = "utf-8") -> str:
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding=encoding)
    print_document(document, Console(file=file, width=80, legacy_windows=False))
    file.flush()
    return raw.getvalue().decode(encoding)


def squeezed(text: str) -> str:
    return " ".join(text.split())


def on_card() -> Document:
    board, circuit, meter = dictionary().board, dictionary().circuit, dictionary().meter
    return card_document(ExpectedReadings(board=board, circuit=circuit, meter=meter, lines=card()))


def on_demo() -> Document:
    result = case(SETTLED)
    demo = Demo(folder=Path("somewhere"), job=result.job, repaired=solved().board)
    return demo_document(demo, result, solved().check)


SHOWS: dict[str, Callable[[], Document]] = {
    "card": on_card,
    "nothing measured": lambda: case_document(case(())),
    "open": lambda: case_document(case(OPEN)),
    "settled": lambda: case_document(case(SETTLED)),
    "demo": on_demo,
}


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
@pytest.mark.parametrize("name", list(SHOWS))
def test_80_columns_are_enough(name: str, encoding: str) -> None:
    text = printed(SHOWS[name](), encoding=encoding)
    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text
    assert not set(text) & set("─│━┃┏┓╭╮")
    if encoding == "ascii":
        assert "?" not in text
        assert "ohm" in text


def test_card_says_with_what_meter_it_is_read() -> None:
    text = squeezed(printed(on_card()))
    assert text.startswith("Bench card: Ostrel D3 mushroom dryer, invented half-wave, 120 V 60 Hz")
    assert "Read with 10 MΩ on DC and 5 MΩ on AC volts (true-rms)" in text
    places = [text.index(squeezed(ACCESS_TITLES[side])) for side in AccessLevel]
    assert places == sorted(places)


def test_cautions_of_every_side_stand_before_the_card() -> None:
    text = squeezed(printed(on_card()))
    first = text.index(squeezed(ACCESS_TITLES[AccessLevel.DEAD]))
    for caution in (*GENERAL, *DEAD, *ISOLATED, *LIVE):
        assert 0 <= text.find(squeezed(caution.text)) < first
        assert squeezed(caution.source) in text


@pytest.mark.parametrize("texts", [(), OPEN, SETTLED])
def test_cautions_of_the_next_reading_stand_below_it(texts: tuple[str, ...]) -> None:
    """Of its side; where nothing is to be read any more, a part is to be touched."""
    suggestion = case(texts).diagnosis.suggestion
    side = AccessLevel.DEAD if suggestion is None else suggestion.access
    text = squeezed(printed(case_document(case(texts))))
    for caution in (*GENERAL, *CAUTIONS[side]):
        assert squeezed(caution.text) in text


def test_live_reading_brings_the_live_cautions() -> None:
    result = case(OPEN).diagnosis
    assert result.suggestion is not None
    live = replace(result, suggestion=replace(result.suggestion, access=AccessLevel.MAINS))
    text = squeezed(printed(Document(title="", sections=step_sections(live, dictionary().circuit))))
    assert "mains side, live" in text
    for caution in (*GENERAL, *LIVE):
        assert squeezed(caution.text) in text


def test_conclusion_comes_first() -> None:
    lines = [
        line.strip() for line in printed(case_document(case(SETTLED))).splitlines() if line.strip()
    ]
    assert lines[0] == "Ostrel D3 mushroom dryer, invented"
    assert lines[1] == "Flags reported: sync, fan."
    assert lines[2].startswith("Replace R2: open (over 99 % sure).")
    assert "Next reading" not in lines


def test_open_question_names_the_next_reading() -> None:
    result = case(OPEN).diagnosis
    assert result.suggestion is not None
    text = squeezed(printed(case_document(case(OPEN))))
    asked = reading_text(result.suggestion.reading, dictionary().circuit)
    assert f"Next reading {asked}" in text
    assert "What the answer would mean" in text
    keys = [key for answer in result.suggestion.answers for key in answer.keys]
    assert len(keys) > 2
    for key in keys:
        assert ("a good board" if key == "healthy" else fault_words(key)) in text


def test_assumptions_stand_there() -> None:
    for document in (on_card(), case_document(case(SETTLED))):
        text = printed(document)
        for assumption in dictionary().board.assumptions:
            assert f" {assumption.key} " in text


def test_no_flags_no_line_of_flags() -> None:
    result = case(SETTLED)
    assert "Flags" not in printed(case_document(replace(result, job=replace(result.job, flags=()))))


def test_demo_shows_both_boards_and_where_the_files_are() -> None:
    text = printed(on_demo())
    places = [
        text.index(words)
        for words in ("THE FAULTY BOARD", "R2", "THE REPAIRED BOARD", "PASSES.",
                      "THE FILES", "somewhere: board.toml")
    ]  # fmt: skip
    assert places == sorted(places)
    assert "Board, appliance, fault and readings are invented." in squeezed(text)


def test_markup_in_a_name_is_shown_as_it_is() -> None:
    result = case(SETTLED)
    board = replace(result.job.board, name="[bold]x[/] \x1b[31m")
    text = printed(case_document(replace(result, job=replace(result.job, board=board))))
    assert text.strip().splitlines()[0].strip() == "[bold]x[/] ?[31m"
