"""Stories as documents."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from zcd.board.model import Board
from zcd.circuit.elements import Circuit
from zcd.diagnosis.faults import HEALTHY
from zcd.diagnosis.next_reading import Suggestion
from zcd.diagnosis.reading_syntax import show_span, show_value
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import AccessLevel as Where
from zcd.diagnosis.trip import Trip
from zcd.errors import plain
from zcd.report.cautions import MOTOR, SHORT_CAUTIONS, Caution, caution_lines, most_dangerous
from zcd.report.document import Block, BulletList, Document, Facts, Paragraph, Section
from zcd.report.of_board import allowed_line, taken_line
from zcd.report.of_check import board_line
from zcd.report.of_check_document import brief_cautions, caution_sections, end_sections
from zcd.report.of_diagnosis import cautions_for, state_line
from zcd.report.of_diagnosis_answer import step_text
from zcd.report.of_readings_card import good_text
from zcd.report.of_story import (
    FAN_FEED,
    advice_lines,
    assumed_times_line,
    by_flags,
    events_table,
    first_events,
    fits_table,
    flags_text,
    headline,
    likeliest,
    likeliest_line,
    next_line,
    seen_table,
    stories_table,
)
from zcd.report.of_story_flags import why_lines
from zcd.report.text import count_text
from zcd.simulation.causes import Subsystem
from zcd.simulation.controller import SYNC, State
from zcd.simulation.drive import appliance_of
from zcd.simulation.flags import CausesForFlags, Fit, SideTest, StoryTable
from zcd.simulation.timeline import Story


def story_document(story: Story) -> Document:
    """One story: headline, why, what happens when."""
    board = story.board
    return Document(
        title=plain(board.name),
        sections=(
            Section(
                "",
                (
                    Paragraph(headline(story), "strong"),
                    *_lines(taken_line(board)),
                    Paragraph(f"{_so_far(story)}To do: {story.cause.words}."),
                ),
                answer=True,
            ),
            Section("Why", (BulletList(tuple(why_lines(story))),), answer=True),
            Section("What happens when", _when(story), answer=True),
            brief_cautions(Where.DEAD),
            Section("", (Paragraph(board_line(board)), events_table(story), seen_table(story))),
            *_end_sections(board, story_cautions((), fan=story.cause.subsystem is Subsystem.FAN)),
        ),
    )


def _so_far(story: Story) -> str:
    """That a board with a fault still works; empty where it does not."""
    works = not story.flags and story.end_state is State.RUN and story.cause.key != HEALTHY.key
    return "No flag so far: the board still works. " * works


def _lines(*lines: str) -> tuple[Block, ...]:
    """Lines that are there, each on its own."""
    return tuple(Paragraph(line) for line in lines if line)


def _when(story: Story) -> tuple[Block, ...]:
    """What happens when, and which times are not those of the machine."""
    guessed = assumed_times_line(appliance_of(story.board).assumptions)
    return (Facts(first_events(story)), *([Paragraph(guessed)] if guessed else []))


BY_SIZE = (
    "Where a cause is listed twice, how far the part has drifted decides which flags it raises."
)
NARROW_RATIO = 0.2
"""Ends that are no farther apart than this share of the largest value are told by their middle."""


def table_document(table: StoryTable) -> Document:
    """All causes against flags."""
    return Document(
        title=plain(table.board.name),
        sections=(
            Section(
                "Causes by the flags they raise",
                (
                    Facts(by_flags(table.stories)),
                    Paragraph(BY_SIZE),
                    *_lines(taken_line(table.board)),
                    Paragraph(
                        "Why one of them does: zcd story "
                        f'{plain(table.board.file)} --cause "{_first_cause(table)}"'
                    ),
                ),
                True,
            ),
            brief_cautions(Where.DEAD),
            Section("", (Paragraph(board_line(table.board)),)),
            Section("", (stories_table(table.stories),)),
            *_end_sections(table.board, story_cautions((), fan=True)),
        ),
    )


def _first_cause(table: StoryTable) -> str:
    """A cause that raises a flag, the likeliest of a board to show."""
    raising = [story.cause.key for story in table.stories if SYNC in story.flags]
    return raising[0] if raising else table.stories[0].cause.key


def causes_document(causes_for_flags: CausesForFlags) -> Document:
    """Which causes fit some flags, and the first reading."""
    board, fits, side_test = causes_for_flags.board, causes_for_flags.fits, causes_for_flags.told
    flags, delay_s = causes_for_flags.flags, causes_for_flags.fan_flag_delay_s
    advice = advice_lines(fits, flags, delay_s)
    plan = causes_for_flags.plan if SYNC in flags else Trip()
    jobs = 0 if causes_for_flags.known is None else causes_for_flags.known.jobs
    counted = f" {count_text(jobs, 'closed job')} of this folder counted in." if jobs else ""
    first = (Paragraph(f"{likeliest_line(fits)}{counted}", "strong"),) if fits else ()
    return Document(
        title=plain(board.name),
        sections=(
            Section(
                f"Flags: {flags_text(flags)}",
                (*first, *_lines(allowed_line(board)), BulletList(tuple(advice))),
                answer=True,
            ),
            *_reading_sections(causes_for_flags, plan),
            Section(
                "" if plan.steps else "Likeliest causes, before any reading",
                (Facts(likeliest(fits)), Paragraph(next_line(board, flags)))
                if fits and not plan.steps
                else (),
                answer=True,
            ),
            _cautions_of(plan, side_test),
            Section("", (Paragraph(board_line(board)),)),
            Section("", (fits_table(fits, flags),) if fits else ()),
            *_end_sections(board, fits_cautions(fits, side_test)),
        ),
    )


def _cautions_of(plan: Trip, side_test: SideTest | None) -> Section:
    """Those of the first readings, and of the one that tells the sides apart."""
    first = most_dangerous(step.access for step in plan.steps)
    if side_test is None or side_test.where is first:
        return brief_cautions(first)
    before = [f"CAUTION: {text}" for text in SHORT_CAUTIONS[first]] if plan.steps else []
    lines = (*before, *caution_lines(side_test.where))
    return Section("", tuple(map(Paragraph, lines)), answer=True)


def _reading_sections(causes: CausesForFlags, plan: Trip) -> tuple[Section, ...]:
    """What to read first, as `zcd diagnose` has it, and the reading that tells the sides apart."""
    blocks: list[Block] = []
    title = ""
    if plan.steps:
        title = f"First readings: {state_line(plan.steps[0].reading, causes.circuit).lower()}"
        blocks.append(BulletList(tuple(_step_line(step, causes.circuit) for step in plan.steps)))
    if causes.told is not None:
        to_tell = "Then, to tell" if plan.steps else "To tell"
        relay = (
            ""
            if causes.board.relay is None
            else " Feed is the load side of the relay's contact: start a program first."
        )
        line = (
            f"{to_tell} on which side the fault is: "
            f"{reading_text(causes.told.reading, causes.circuit)} ({causes.told.where}).{relay} "
        )
        blocks.append(Paragraph(f"{line}{_answers(causes.told)}."))
    if plan.steps:
        blocks.append(Paragraph(next_line(causes.board, causes.flags)))
    return (Section(title, tuple(blocks), answer=True),)


def _step_line(step: Suggestion, circuit: Circuit) -> str:
    """A reading to take, with what a good board shows; that says which range to set too."""
    good = good_text(step.reading.function, step.good)
    return f"{step_text(replace(step, full_scale=None), circuit)} (good board {good})"


def _answers(side_test: SideTest) -> str:
    """About what the meter shows, for each side; sides that show the same together."""
    function, sides = side_test.reading.function, dict[str, list[str]]()
    most = max(abs(middle) for _, middle, _ in side_test.shown.values())
    for side, (low, middle, high) in side_test.shown.items():
        shown = show_span(function, low, high)
        if abs(high - low) <= NARROW_RATIO * most:
            near = 0.0 if abs(middle) < NARROW_RATIO * most else middle
            shown = f"about {show_value(function, near, digits=2)}"
        sides.setdefault(shown, []).append(side)
    texts = "; ".join(f"{shown}: {' or '.join(same)}" for shown, same in sides.items())
    return f"{texts[:1].upper()}{texts[1:]}"


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


def fits_cautions(fits: Sequence[Fit], side_test: SideTest | None) -> tuple[Caution, ...]:
    """The same for causes that fit, and the first reading."""
    sides = () if side_test is None else (side_test.where,)
    return story_cautions(sides, fan=any(fit.cause.subsystem is Subsystem.FAN for fit in fits))
