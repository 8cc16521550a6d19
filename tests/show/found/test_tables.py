"""Diagnosis and bench card on a terminal: 80 columns, plain when piped, cautions with them."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from tests.show.demo import OPEN, SETTLED, atlas, card, case, solved
from zcd.diagnosis.readings import Side
from zcd.show.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.show.found.findings import CAUTIONS, SIDE_TITLES, Case
from zcd.show.found.tables import print_card, print_demo, print_diagnosis, print_step
from zcd.show.paper.demo import Demo

Show = Callable[[Console], None]


def printed(show: Show, *, encoding: str = "utf-8") -> str:
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding=encoding)
    show(Console(file=file, width=80, legacy_windows=False))
    file.flush()
    return raw.getvalue().decode(encoding)


def squeezed(text: str) -> str:
    return " ".join(text.split())


def on_card(console: Console) -> None:
    print_card(atlas().board, atlas().circuit, atlas().meter, card(), console)


def on(found: Case) -> Show:
    job = found.job
    return lambda console: print_diagnosis(
        job.board, found.circuit, found.diagnosis, job.flags, console
    )


def on_demo(console: Console) -> None:
    found = case(SETTLED)
    demo = Demo(folder=Path("somewhere"), job=found.job, repaired=solved().board)
    print_demo(demo, found.circuit, found.diagnosis, solved().check, console)


SHOWS: dict[str, Show] = {
    "card": on_card,
    "nothing measured": on(case(())),
    "open": on(case(OPEN)),
    "settled": on(case(SETTLED)),
    "demo": on_demo,
}


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
@pytest.mark.parametrize("name", list(SHOWS))
def test_80_columns_are_enough(name: str, encoding: str) -> None:
    text = printed(SHOWS[name], encoding=encoding)
    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text
    assert not set(text) & set("─│━┃┏┓╭╮")
    if encoding == "ascii":
        assert "?" not in text
        assert "ohm" in text


def test_card_says_with_what_meter_it_is_read() -> None:
    text = squeezed(printed(on_card))
    assert text.startswith("Bench card: Ostrel D3 mushroom dryer, invented half-wave, 120 V 60 Hz")
    assert "Read with 10 MΩ on DC and 5 MΩ on AC volts (true-rms)" in text
    places = [text.index(squeezed(SIDE_TITLES[side])) for side in Side]
    assert places == sorted(places)


def test_cautions_of_every_side_stand_before_the_card() -> None:
    text = squeezed(printed(on_card))
    first = text.index(squeezed(SIDE_TITLES[Side.DEAD]))
    for caution in (*GENERAL, *DEAD, *ISOLATED, *LIVE):
        assert 0 <= text.find(squeezed(caution.text)) < first
        assert squeezed(caution.source) in text


@pytest.mark.parametrize("texts", [(), OPEN, SETTLED])
def test_cautions_of_the_next_reading_stand_below_it(texts: tuple[str, ...]) -> None:
    """Of its side; where nothing is to be read any more, a part is to be touched."""
    suggestion = case(texts).diagnosis.suggestion
    side = Side.DEAD if suggestion is None else suggestion.side
    text = squeezed(printed(on(case(texts))))
    for caution in (*GENERAL, *CAUTIONS[side]):
        assert squeezed(caution.text) in text


def test_live_reading_brings_the_live_cautions() -> None:
    found = case(OPEN).diagnosis
    assert found.suggestion is not None
    live = replace(found, suggestion=replace(found.suggestion, side=Side.MAINS))
    text = squeezed(printed(lambda console: print_step(live, atlas().circuit, console)))
    assert "mains side, live" in text
    for caution in (*GENERAL, *LIVE):
        assert squeezed(caution.text) in text


def test_conclusion_comes_first() -> None:
    lines = [line.strip() for line in printed(on(case(SETTLED))).splitlines() if line.strip()]
    assert lines[0] == "Ostrel D3 mushroom dryer, invented"
    assert lines[1] == "Flags reported: sync, fan."
    assert lines[2].startswith("R2 is open: replace it")
    assert "Next reading" not in lines


def test_open_question_names_the_next_reading() -> None:
    found = case(OPEN).diagnosis
    assert found.suggestion is not None
    text = squeezed(printed(on(case(OPEN))))
    assert f"Not settled yet; next reading: {found.suggestion.reading.words}." in text
    assert "What the answer would mean" in text
    for outcome in found.suggestion.outcomes:
        assert ("a good board" if outcome.key == "healthy" else outcome.key) in text


def test_assumptions_stand_there() -> None:
    for show in (on_card, on(case(SETTLED))):
        text = printed(show)
        for assumption in atlas().board.assumptions:
            assert f" {assumption.key} " in text


def test_no_flags_no_line_of_flags() -> None:
    found = case(SETTLED)
    assert "Flags" not in printed(on(replace(found, job=replace(found.job, flags=()))))


def test_demo_shows_both_boards_and_where_the_files_are() -> None:
    text = printed(on_demo)
    places = [
        text.index(words)
        for words in ("THE FAULTY BOARD", "R2 is open", "THE REPAIRED BOARD", "The board holds",
                      "THE FILES", "somewhere: board.toml")
    ]  # fmt: skip
    assert places == sorted(places)
    assert squeezed(text).endswith("Board, appliance, fault and readings are invented.")


def test_markup_in_a_name_is_shown_as_it_is() -> None:
    found = case(SETTLED)
    board = replace(found.job.board, name="[bold]x[/] \x1b[31m")
    text = printed(on(replace(found, job=replace(found.job, board=board))))
    assert text.strip().splitlines()[0].strip() == "[bold]x[/] ?[31m"
