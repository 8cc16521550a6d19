"""Exercises as documents: what was done, how an expert would have gone, the story of the fault."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from zcd.circuit.elements import Circuit
from zcd.diagnosis.reading_syntax import show_measured
from zcd.practice.bench import Danger
from zcd.practice.exercise import LEVELS, Exercise
from zcd.practice.record import LevelSummary
from zcd.practice.review import Review, Step
from zcd.practice.session import reading_text
from zcd.report.document import BulletList, Document, Paragraph, Section
from zcd.report.of_diagnosis_text import sentence
from zcd.report.of_story import headline
from zcd.report.of_story_flags import why_lines
from zcd.report.table import Table
from zcd.report.text import count_text, plain

MOST_NAMED = 3
MOST_STEPS = 7
_TO_DO = {
    Danger.OHMS_LIVE: "unplug, discharge and prove dead before ohms or a diode test",
    Danger.LIFTED_LIVE: "no iron on a board under power",
    Danger.NOT_PROVED: "prove dead each time, the meter tested before and after",
    Danger.PLUGGED_TWICE: "a bench supply goes on with the plug pulled",
    Danger.NEEDLESS: "take the unplugged reading first",
}


def begin_lines(exercise: Exercise) -> tuple[str, ...]:
    """What an apprentice is told at the beginning."""
    flags = exercise.flags
    shown = "no error" if flags == ("none",) else " and ".join(f"a {flag} error" for flag in flags)
    return (
        f"Exercise {exercise.level}-{exercise.seed}: {plain(exercise.board.name)}.",
        f"Hidden: {LEVELS[exercise.level]}.",
        f"The controller shows {shown}. The board lies before you: unplugged, not proved dead.",
        "This is practice; nothing here is live. On a real board: unplug, discharge, prove dead. "
        "Local codes and licensed practice go first.",
    )


def minutes_text(seconds: float) -> str:
    """A time on the clock, in minutes."""
    return f"{max(1, round(seconds / 60.0))} min"


def review_document(review: Review) -> Document:
    """The answer, the dangerous steps, the expert's way; in full each reading, and the story."""
    exercise = review.exercise
    circuit = exercise.states[0]
    verdict = "Found" if review.found else "Not found"
    asked = f", {count_text(review.hints, 'hint')}" if review.hints else ""
    blocks = (
        Paragraph(f"{verdict}: it was {exercise.fault.key}.", "strong"),
        Paragraph(sentence(exercise.fault.words)),
        Paragraph(
            f"You: {count_text(len(review.steps), 'reading')}, "
            f"{minutes_text(review.seconds)}{asked}. An expert: "
            f"{count_text(len(review.expert), 'reading')}, {minutes_text(review.expert_seconds)}."
        ),
    )
    return Document(
        title=f"Exercise {exercise.level}-{exercise.seed}",
        sections=(
            Section("", blocks, answer=True),
            Section("Dangerous steps", _dangers(review.dangers), answer=True),
            Section("The expert's way", (BulletList(_way(review, circuit)),), answer=True),
            Section("What your readings told", (BulletList(_told(review.steps, circuit)),)),
            Section("How the errors came about", (BulletList(_story(review)),)),
        ),
    )


def summary_document(summaries: Sequence[LevelSummary]) -> Document:
    """A teacher's view of a record."""
    rows = tuple(
        (
            str(one.level),
            f"{one.found} of {one.exercises}",
            f"{one.mean_readings:.1f}",
            minutes_text(one.mean_seconds),
            str(one.hints),
            str(one.dangers),
        )
        for one in summaries
    )
    columns = ("level", "found", "readings", "time", "hints", "dangerous steps")
    table = Table(title="", columns=columns, rows=rows)
    blocks = (table,) if rows else (Paragraph("No exercise in it yet."),)
    return Document(title="Exercises by level", sections=(Section("", blocks, answer=True),))


def _dangers(dangers: Sequence[Danger]) -> tuple[BulletList | Paragraph, ...]:
    if not dangers:
        return (Paragraph("None."),)
    counted = Counter(dangers).items()
    lines = (f"{danger} ({count} x): {_TO_DO[danger]}." for danger, count in counted)
    return (BulletList(tuple(lines)),)


def _way(review: Review, circuit: Circuit) -> tuple[str, ...]:
    lines = [
        f"{reading_text(measured.reading, circuit)}: {show_measured(measured)}"
        for measured in review.expert[:MOST_STEPS]
    ]
    if len(review.expert) > MOST_STEPS:
        lines.append(f"and {len(review.expert) - MOST_STEPS} more")
    return ("prove dead", *lines, f"{review.expert_found}.")


def _told(steps: Sequence[Step], circuit: Circuit) -> tuple[str, ...]:
    lines = [
        f"{reading_text(step.taken.measured.reading, circuit)}: {_effect(step, circuit)}"
        for step in steps[:MOST_STEPS]
    ]
    if len(steps) > MOST_STEPS:
        lines.append(f"and {len(steps) - MOST_STEPS} more")
    return tuple(lines) or ("You took none.",)


def _effect(step: Step, circuit: Circuit) -> str:
    gone = f"rules out {_names(step.ruled_out)}" if step.ruled_out else "rules out nothing"
    left = f"; left: {_names(step.left)}" if step.left else ""
    instead = f"; unplugged: {reading_text(step.instead, circuit)}" if step.instead else ""
    return f"{gone}{left}{instead}."


def _names(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more


def _story(review: Review) -> tuple[str, ...]:
    story = review.exercise.story
    return (f"{headline(story)}.", *why_lines(story))
