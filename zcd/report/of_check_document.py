"""What a check, a map and the studies around them say, as documents."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from zcd.board.model import Board
from zcd.diagnosis.readings import AccessLevel
from zcd.errors import plain
from zcd.margin.check import Check
from zcd.report.cautions import TOUCHED, Caution, caution_lines
from zcd.report.document import (
    Cautions,
    Document,
    Notes,
    Paragraph,
    Section,
)
from zcd.report.of_board import taken_line
from zcd.report.of_check import (
    assumptions_table,
    board_line,
    headroom_table,
    levels_table,
    life_table,
    resistors_table,
    rules_table,
    shorts_table,
    surge_table,
)
from zcd.report.of_check_answer import MOST_FINDINGS, answer_section
from zcd.report.of_spread import population_table, spread_tables
from zcd.report.terminal import longest_on_a_screen

if TYPE_CHECKING:
    from zcd.margin.loss_map import LossMap
    from zcd.margin.population import Population
    from zcd.margin.sensitivity import Sensitivity
    from zcd.report.document import Picture

OUTLOOK_HINT = (
    "`zcd check BOARD --outlook` adds, in a few seconds: what makes the CTR reserve differ from "
    "board to board, and when the worst corner, the worst 1 % and half of the "
    "boards lose sync."
)
TOUCH_CAUTION = "CAUTION before the board is touched"


def caution_sections(*due: Caution) -> tuple[Section, ...]:
    """The cautions that are due, under their heading; none where none is."""
    return (Section(TOUCH_CAUTION, (Cautions((("", due),)),)),) if due else ()


def brief_cautions(*sides: AccessLevel) -> Section:
    """Those of the most dangerous next action, in the answer of one screen."""
    return Section("", tuple(map(Paragraph, caution_lines(*sides))), answer=True)


def check_document(check: Check) -> Document:
    """All that a check says, the verdict first.

    Parameters
    ----------
    check : Check

    Returns
    -------
    document : Document
    """
    return Document(
        title=f"{plain(check.board.name)}, calculated as described, not measured",
        sections=(
            answer_section(check),
            Section("", (Paragraph(board_line(check.board)),)),
            *check_sections(check),
            Section("", (Paragraph(OUTLOOK_HINT),) if check.life and not check.outlook else ()),
            *end_sections(check.board),
        ),
    )


def check_answer(check: Check) -> Document:
    """The answer with as many findings as a screen holds, and the outlook where it was asked for.

    Parameters
    ----------
    check : Check

    Returns
    -------
    document : Document
    """
    title = f"{plain(check.board.name)}, calculated as described, not measured"
    screen = longest_on_a_screen(
        lambda most: Document(title=title, sections=(answer_section(check, most=most),)),
        check.board,
        MOST_FINDINGS,
    )
    return replace(screen, sections=(*screen.sections, _outlook_section(check, ()))).answer


def check_sections(check: Check, pictures: Sequence[Picture] = ()) -> tuple[Section, ...]:
    """The tables of a check; `pictures` are those of its outlook."""
    return (
        Section("Levels", (levels_table(check),)),
        Section("Stress", (resistors_table(check),)),
        Section("Reserve", tuple(t for t in (headroom_table(check), life_table(check)) if t)),
        Section("Rules and where they come from", (rules_table(check),)),
        Section("Tolerances", spread_tables(check)),
        _outlook_section(check, pictures),
        Section("Beyond the verdict", (shorts_table(check), surge_table(check))),
    )


def _outlook_section(check: Check, pictures: Sequence[Picture]) -> Section:
    """What decides the reserve, and the years; empty where it was not asked for."""
    if check.outlook is None:
        return Section("", ())
    from zcd.report.of_outlook import outlook_tables

    return Section("Outlook", (*pictures, *outlook_tables(check)), answer=True)


def end_sections(board: Board, *cautions: Section) -> tuple[Section, ...]:
    """What was assumed, where values come from, and the cautions that are due."""
    return (
        Section("Assumptions", (assumptions_table(board),)),
        Section("Origins and sources", (Notes(),)),
        *(cautions or (Section(TOUCH_CAUTION, (Cautions((("", TOUCHED),)),)),)),
    )


def map_document(loss_map: LossMap) -> Document:
    """What a map of lost sync says."""
    from zcd.report.of_loss_map import (
        TYPICAL_LINE,
        loss_map_lines,
        loss_map_table,
        loss_map_title,
        warning_lines,
    )

    board, share = loss_map.board, loss_map.share
    told = [Paragraph(line) for line in (TYPICAL_LINE, taken_line(board)) if line]
    lines = () if share is None else loss_map_lines(loss_map, share)
    return Document(
        title=plain(board.name),
        sections=(
            Section("", (Paragraph(f"{loss_map_title(loss_map)}.", "strong"), *told), answer=True),
            Section("", tuple(map(Paragraph, warning_lines(loss_map))), answer=True),
            Section("", (loss_map_table(loss_map),), answer=True),
            Section("", tuple(map(Paragraph, lines))),
            *end_sections(board)[:2],
        ),
    )


def population_document(population: Population) -> Document:
    """What share of boards fails, and what fails first."""
    return Document(title="", sections=(Section("", (population_table(population),), True),))


def decides_document(decides: Sensitivity) -> Document:
    """What makes the CTR reserve differ from board to board."""
    from zcd.report.of_outlook import sensitivity_table

    return Document(title="", sections=(Section("", (sensitivity_table(decides),), True),))
