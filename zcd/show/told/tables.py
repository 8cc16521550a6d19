"""Stories on a terminal."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from rich.console import Console

from zcd.board.model import Board
from zcd.diagnosis.readings import Side as Where
from zcd.diagnosis.words import show_value
from zcd.show.cautions import MOTOR, Caution
from zcd.show.checked.sheets import assumptions_sheet, board_line
from zcd.show.found.findings import cautions_for
from zcd.show.tables import (
    print_cautions,
    print_heading,
    print_line,
    print_list,
    print_notes,
    print_sheet,
)
from zcd.show.told.why import why_lines
from zcd.show.told.words import (
    FAN_FEED,
    advice_lines,
    cause_text,
    events_sheet,
    fits_sheet,
    headline,
    seen_sheet,
    table_sheet,
)
from zcd.show.wording import SourceNotes, plain
from zcd.story.causes import Side
from zcd.story.flags import Fit, Telling
from zcd.story.power import appliance_of
from zcd.story.timeline import Story


def print_story(story: Story, board: Board, console: Console) -> None:
    """Print one story: headline, why, what happens when.

    Parameters
    ----------
    story : Story
    board : Board
    console : Console
    """
    print_line(plain(board.name), console, bold=True)
    print_line(headline(story), console, bold=True)
    print_line(board_line(board), console)
    print_list("Why", why_lines(story), console)
    print_sheet(events_sheet(story), console)
    print_sheet(seen_sheet(story), console)
    print_heading("What is wrong", console)
    print_line(f"{cause_text(story.cause)}: {story.cause.words}.", console)
    _print_end(board, console, story_cautions((), fan=story.cause.side is Side.FAN))


def print_table(stories: Sequence[Story], board: Board, console: Console) -> None:
    """Print all causes against flags."""
    print_line(plain(board.name), console, bold=True)
    print_line(board_line(board), console)
    print_sheet(table_sheet(stories), console)
    _print_end(board, console, story_cautions((), fan=True))


def print_fits(
    fits: Sequence[Fit],
    flags: Collection[str],
    told: Telling | None,
    board: Board,
    console: Console,
) -> None:
    """Print which causes fit some flags, and the first reading."""
    print_line(plain(board.name), console, bold=True)
    print_line(board_line(board), console)
    if fits:
        print_sheet(fits_sheet(fits, flags), console)
    print_list("What the flags say", advice_lines(fits, flags, told), console)
    if told is not None:
        print_heading("First reading: on which side does it lie?", console)
        share = 100.0 * told.gain_bits / told.open_bits
        print_line(
            f"{told.reading.words}; {told.where}; settles {share:.0f} % of the side.", console
        )
        print_list("What the answer would mean", _answers(told), console)
    _print_end(board, console, fits_cautions(fits, told))


def _answers(told: Telling) -> list[str]:
    """What the meter shows, for each side."""
    lines = []
    for side, (low, _, high) in told.shown.items():
        ends = [show_value(told.reading.function, end) for end in (low, high)]
        span = ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"
        lines.append(f"{span}: {side}")
    return lines


def _print_end(board: Board, console: Console, due: Sequence[Caution]) -> None:
    """What was assumed, and the cautions that are due."""
    if board.relay is not None:
        print_heading("Where the fan is fed", console)
        print_line(FAN_FEED, console)
    notes = SourceNotes()
    whole = (*board.assumptions, *appliance_of(board).assumptions)
    print_sheet(assumptions_sheet(replace(board, assumptions=whole), notes), console)
    print_notes(notes, console)
    print_cautions(due, console)


def story_cautions(sides: Sequence[Where], *, fan: bool) -> tuple[Caution, ...]:
    """The cautions due for readings on some sides, and for the fan where it may be the cause."""
    return (*cautions_for(sides), *(MOTOR if fan else ()))


def fits_cautions(fits: Sequence[Fit], told: Telling | None) -> tuple[Caution, ...]:
    """The same for causes that fit, and the first reading."""
    sides = () if told is None else (told.where,)
    return story_cautions(sides, fan=any(fit.cause.side is Side.FAN for fit in fits))
