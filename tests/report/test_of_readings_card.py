"""The expected readings on one screen."""

from __future__ import annotations

import pytest

from tests.diagnosis.boards import TEXTS
from zcd import api
from zcd.board.files import parse_board
from zcd.diagnosis.expected_readings import ExpectedRange
from zcd.diagnosis.functions import Function
from zcd.report.of_readings_card import (
    MISSED,
    WIDE_OHMS,
    card_screen_document,
    cells_legend,
    good_cell,
)
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
    assert "low-voltage side is isolated only if" in " ".join(text.split())


def test_a_reading_over_a_row_of_resistors_names_none_of_them() -> None:
    """In series each of them, open or drifted, makes the whole read high."""
    (table,) = card_screen_document(api.readings(parse_board(TEXTS["switched"]))).tables()
    told = {str(row[1]): str(row[3]) for row in table.rows}
    assert told["ohm R1 to R2"] == "higher: R1 or R2"


BESIDE_OTHERS = (Function.OHM, ExpectedRange(low=410.0, middle=30e3, high=32e3))
NARROW_GAPS = (Function.FREQUENCY, ExpectedRange(low=0.0, middle=120.0, high=120.0))
BY_ITSELF = (Function.OHM, ExpectedRange(low=29e3, middle=30e3, high=31e3))


def test_a_cell_says_only_the_end_that_tells_and_both_where_less_was_shown() -> None:
    """Parts in parallel only lower ohms (Ohm's law): the upper end is that of the part."""
    assert good_cell(*BESIDE_OTHERS) == good_cell(*BESIDE_OTHERS, 29.8e3) == "up to 32 kΩ"
    assert good_cell(*BESIDE_OTHERS, 120.0) == "410 Ω to 32 kΩ"
    assert good_cell(*BY_ITSELF) == "29 to 31 kΩ"


def test_what_cells_leave_open_is_said_below_the_table() -> None:
    assert cells_legend([BY_ITSELF]) == ""
    assert cells_legend([BY_ITSELF, BESIDE_OTHERS]) == WIDE_OHMS
    assert cells_legend([NARROW_GAPS, BESIDE_OTHERS]) == f"{WIDE_OHMS} {MISSED}"
    assert "DC volts" in MISSED  # 0 Hz is what a dead circuit reads too


def test_a_level_that_one_fault_gives_has_both_ends() -> None:
    """With one LED of two the pin is low for half the time, and not as high as without pulses."""
    (table,) = card_screen_document(api.readings(parse_board(TEXTS["two-led"]))).tables()
    told = {str(row[1]): str(row[3]) for row in table.rows}
    level = told["dc pin, logic0"]
    assert not (level.startswith(">") and "second LED open" in level)
