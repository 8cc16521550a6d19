"""Stories as documents."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from zcd.board.model import Board
from zcd.diagnosis.reading_syntax import show_value
from zcd.diagnosis.readings import Side as Where
from zcd.report.cautions import MOTOR, Caution
from zcd.report.document import BulletList, Document, Paragraph, Section
from zcd.report.of_check import board_line
from zcd.report.of_check_document import end_sections
from zcd.report.of_diagnosis import cautions_for
from zcd.report.of_diagnosis_document import caution_sections
from zcd.report.of_story import (
    FAN_FEED,
    advice_lines,
    cause_text,
    events_sheet,
    fits_sheet,
    headline,
    seen_sheet,
    table_sheet,
)
from zcd.report.of_story_flags import why_lines
from zcd.report.text import percent_text, plain
from zcd.simulation.causes import Side
from zcd.simulation.drive import appliance_of
from zcd.simulation.flags import CausesForFlags, Fit, StoryTable, Telling
from zcd.simulation.timeline import Story


def story_document(story: Story) -> Document:
    """One story: headline, why, what happens when."""
    board = story.board
    return Document(
        title=plain(board.name),
        sections=(
            Section(
                "",
                (Paragraph(headline(story), "strong"), Paragraph(board_line(board))),
                answer=True,
            ),
            Section("Why", (BulletList(tuple(why_lines(story))),), answer=True),
            Section("", (events_sheet(story), seen_sheet(story))),
            Section(
                "What is wrong",
                (Paragraph(f"{cause_text(story.cause)}: {story.cause.words}."),),
                answer=True,
            ),
            *_end_sections(board, story_cautions((), fan=story.cause.side is Side.FAN)),
        ),
    )


def table_document(table: StoryTable) -> Document:
    """All causes against flags."""
    return Document(
        title=plain(table.board.name),
        sections=(
            Section("", (Paragraph(board_line(table.board)),), answer=True),
            Section("", (table_sheet(table.stories),), answer=True),
            *_end_sections(table.board, story_cautions((), fan=True)),
        ),
    )


def causes_document(found: CausesForFlags) -> Document:
    """Which causes fit some flags, and the first reading."""
    board, fits, told = found.board, found.fits, found.told
    advice = advice_lines(fits, found.flags, told)
    return Document(
        title=plain(board.name),
        sections=(
            Section("", (Paragraph(board_line(board)),), answer=True),
            Section("", (fits_sheet(fits, found.flags),) if fits else ()),
            Section(
                "What the flags say", (BulletList(tuple(advice)),) if advice else (), answer=True
            ),
            *([] if told is None else _telling_sections(told)),
            *_end_sections(board, fits_cautions(fits, told)),
        ),
    )


def _telling_sections(told: Telling) -> tuple[Section, ...]:
    """The first reading, and what its answer would mean."""
    share = percent_text(told.gain_bits / told.open_bits)
    line = f"{told.reading.words}; {told.where}; settles {share} of the side."
    title = "First reading: on which side does it lie?"
    return (
        Section(title, (Paragraph(line),), answer=True),
        Section("What the answer would mean", (BulletList(tuple(_answers(told))),)),
    )


def _answers(told: Telling) -> list[str]:
    """What the meter shows, for each side."""
    lines = []
    for side, (low, _, high) in told.shown.items():
        ends = [show_value(told.reading.function, end) for end in (low, high)]
        span = ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"
        lines.append(f"{span}: {side}")
    return lines


def _end_sections(board: Board, due: Sequence[Caution]) -> tuple[Section, ...]:
    """How the fan is fed, what was assumed, and the cautions that are due."""
    feed = () if board.relay is None else (Paragraph(FAN_FEED),)
    whole = (*board.assumptions, *appliance_of(board).assumptions)
    return (
        Section("Where the fan is fed", feed),
        *end_sections(replace(board, assumptions=whole))[:2],
        *caution_sections(*due),
    )


def story_cautions(sides: Sequence[Where], *, fan: bool) -> tuple[Caution, ...]:
    """The cautions due for readings on some sides, and for the fan where it may be the cause."""
    return (*cautions_for(sides), *(MOTOR if fan else ()))


def fits_cautions(fits: Sequence[Fit], told: Telling | None) -> tuple[Caution, ...]:
    """The same for causes that fit, and the first reading."""
    sides = () if told is None else (told.where,)
    return story_cautions(sides, fan=any(fit.cause.side is Side.FAN for fit in fits))
