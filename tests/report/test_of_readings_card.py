"""The expected readings on one screen."""

from __future__ import annotations

import pytest

from tests.diagnosis.boards import TEXTS
from zcd import api
from zcd.board.files import parse_board
from zcd.report.of_readings_card import card_screen_document
from zcd.report.terminal import document_text, fits_a_screen


@pytest.mark.parametrize(
    "name", ["switched", *(pytest.param(n, marks=pytest.mark.slow) for n in TEXTS)]
)
def test_dead_rows_first_and_none_on_live_parts_where_the_pin_is_isolated(name: str) -> None:
    """What one finds on an unplugged board, then pin and frequency: common practice, no source."""
    expected = api.readings(parse_board(TEXTS[name]))
    document = card_screen_document(expected)
    (table,) = document.tables()
    states = [str(row[0]) for row in table.rows]
    assert states == sorted(states)  # dead before power
    assert "LIVE" not in states
    assert states.count("dead") >= 3
    told = " ".join(str(row[3]) for row in table.rows)
    assert "OC1 LED open" in told or "second LED open" in told
    text = document_text(document)
    assert fits_a_screen(document)
    assert "LIVE MAINS" not in text
    assert "low side isolated?" in " ".join(text.split())


def test_a_reading_over_a_row_of_resistors_names_none_of_them() -> None:
    """In series each of them, open or drifted, makes the whole read high."""
    (table,) = card_screen_document(api.readings(parse_board(TEXTS["switched"]))).tables()
    told = {str(row[1]): str(row[3]) for row in table.rows}
    assert told["ohm R1 to R2"] == "higher: one of them"
