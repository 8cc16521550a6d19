"""Exercises as documents: what was done, how an expert would have gone, the story of the fault."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import groupby

from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.reading_syntax import show_measured
from zcd.diagnosis.readings import PLUGGED, AccessLevel, Power
from zcd.errors import plain
from zcd.practice.bench import Bench, Danger
from zcd.practice.exercise import LEVELS, Exercise
from zcd.practice.record import LevelSummary
from zcd.practice.review import Review, Step
from zcd.practice.session import Session, reading_text
from zcd.practice.trade_words import bare_name
from zcd.report.cautions import SHORT_CAUTIONS
from zcd.report.document import BulletList, Document, Paragraph, Section
from zcd.report.of_diagnosis import RELAY_ON, STATES, spread_text
from zcd.report.of_diagnosis_text import fault_words, sentence
from zcd.report.of_story import headline
from zcd.report.of_story_flags import why_lines
from zcd.report.table import Table
from zcd.report.text import count_text

MOST_OF_WAY = 10
"""Lines of the expert's readings on one screen."""
MOST_NAMED = 3
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
        f"The controller shows {shown}.",
        "The board is on the bench: unplugged, not proved dead.",
        "This is practice; nothing here is live. On a real board: unplug, discharge, prove dead. "
        "Local codes and licensed practice go first.",
    )


def bench_state(bench: Bench) -> tuple[str, str, tuple[str, ...]]:
    """How the board stands: in a word, in words, and the cautions that are due."""
    if bench.plugged:
        relay = RELAY_ON if "K1.contact" in bench.circuit else ""
        return "LIVE", f"{STATES[Power.LIVE]}{relay}.", SHORT_CAUTIONS[AccessLevel.MAINS]
    if bench.proved:
        return "DEAD", "Board unplugged, discharged and proved dead.", ()
    return "UNPLUGGED", "Not proved dead.", SHORT_CAUTIONS[AccessLevel.DEAD]


def progress_line(session: Session) -> str:
    """What the work has cost so far."""
    bench = session.bench
    hints = [count_text(session.hints, "hint")] if session.hints else []
    counts = [
        count_text(len(bench.taken), "reading"),
        *hints,
        count_text(len(bench.dangers), "dangerous step"),
    ]
    return f"{minutes_text(bench.seconds)}, {', '.join(counts)}."


def minutes_text(seconds: float) -> str:
    """A time on the clock, in minutes."""
    return f"{max(1, round(seconds / 60.0))} min"


def review_document(review: Review, *, full: bool) -> Document:
    """The dangerous steps, and the expert's way; in full what each reading told, and the story."""
    exercise = review.exercise
    told = _told(review.steps, exercise, full=full) or ("You took none.",)
    verdict = "Found" if review.found else "Half found" if review.repairs else "Not found"
    asked = f", {count_text(review.hints, 'hint')}" if review.hints else ""
    asked += f", {count_text(review.wrong, 'wrong name')}" if review.wrong else ""
    blocks = (
        Paragraph(f"{verdict}: it was {exercise.hidden}.", "strong"),
        Paragraph(sentence(exercise.fault.words) + _as_good(review)),
        Paragraph(
            f"You: {count_text(len(review.steps), 'reading')}, "
            f"{minutes_text(review.seconds)}{asked}. An expert: "
            f"{count_text(len(review.expert), 'reading')}, {minutes_text(review.expert_seconds)}."
        ),
    )
    return Document(
        title=f"Exercise {exercise.level}-{exercise.seed}",
        sections=(
            Section("", blocks),
            Section("Dangerous steps", _dangers(review)),
            Section("The expert's way", (BulletList(_way(review, full=full)),)),
            Section("What your readings told you", (BulletList(told),) if full else ()),
            Section("How the errors came about", (BulletList(_story(review)),) if full else ()),
        ),
    ).on_board(exercise.board)


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


def _dangers(review: Review) -> tuple[BulletList | Paragraph, ...]:
    if not review.dangers:
        return (Paragraph("None."),)
    circuit = build_circuit(review.exercise.board)
    instead = [step.instead for step in review.steps if step.instead is not None]
    first = ", ".join(dict.fromkeys(reading_text(each, circuit) for each in instead))
    to_do = {**_TO_DO, Danger.NEEDLESS: f"{_TO_DO[Danger.NEEDLESS]} ({first})"}
    counted = Counter(review.dangers).items()
    lines = (f"{danger} ({count} x): {to_do[danger]}." for danger, count in counted)
    return (BulletList(tuple(lines)),)


def _way(review: Review, *, full: bool) -> tuple[str, ...]:
    """The expert's readings, and what they come to."""
    told = _told(review.expert, review.exercise, full=full)
    if not full and len(told) > MOST_OF_WAY:
        left = len(told) - MOST_OF_WAY + 1
        half = MOST_OF_WAY // 2
        told = (*told[:half], f"{left} lines more: add --full.", *told[left + half :])
    return ("Prove dead.", *told, _conclusion(review))


def _conclusion(review: Review) -> str:
    """What the expert names, and how that fits what was hidden."""
    hidden, named = review.exercise.fault, review.expert_found
    words = fault_words(" or ".join(fault.key for fault in named[:MOST_NAMED]))
    if not review.expert_right:
        return _wrong(words, loose=bool(hidden.states) and not hidden.reports)
    if len(named) > 1:
        return f"So: {words}. {_apart(review)}"
    if hidden.members:
        return f"So: {words}. The retest fails after the repair: the same way finds the other."
    if words == fault_words(hidden.key):
        return f"So: {words}."
    first = named[0]
    part = first.repair if first.is_replaced else first.part.partition(" ")[0]
    return f"So it is {part}, whichever way it failed."


def _apart(review: Review) -> str:
    """What would tell apart those that are named."""
    if review.apart is None:
        return "No reading here tells these apart."
    circuit = build_circuit(review.exercise.board)
    return f"To tell these apart: {reading_text(review.apart, circuit)}."


def _wrong(words: str, *, loose: bool) -> str:
    """Why the expert is wrong."""
    if loose:
        return (
            f"The readings point to {words or 'no single fault'}. That is wrong: a joint that "
            "opens now and then misled them. Take a reading under power again, and tap the board."
        )
    if not words:
        return "No single fault explains these readings: look for two."
    return (
        f"The readings point to {words}. That is wrong here, as only the retest after "
        "the repair shows: the error is still there."
    )


def _told(steps: Sequence[Step], exercise: Exercise, *, full: bool) -> tuple[str, ...]:
    """Each reading beside that of a good board; in full what it rules out, and leaves."""
    circuit = build_circuit(exercise.board)
    lines: list[str] = []
    left: tuple[str, ...] = ()
    plugged = False
    for reading, group in groupby(steps, key=lambda step: step.taken.measured.reading):
        same = tuple(group)
        if plugged is not (reading.power in PLUGGED):
            lines.append("Unplug, prove dead." if plugged else "Plug in.")
            plugged = not plugged
        shown = ", then ".join(map(_shown, same))
        good = spread_text(reading.function, same[0].good)
        effect = _effect(same, left, circuit) if full else ""
        lines.append(f"{reading_text(reading, circuit)}: {shown} (good board {good}){effect}")
        left = same[-1].left
    return tuple(lines)


def _shown(step: Step) -> str:
    """What the meter showed, and that the board was tapped."""
    return f"{show_measured(step.taken.measured)}{' when tapped' if step.taken.tapped else ''}"


def _as_good(review: Review) -> str:
    """That a name counts which no reading tells from what was hidden, where that was named."""
    fault = review.exercise.fault
    last = review.named[-1] if review.found else fault.part
    if fault.members or bare_name(last).casefold() in (fault.part.casefold(), fault.key.casefold()):
        return ""
    if fault.reports:
        return f" {last} counts as found: no reading here tells it from this."
    return f" {last} counts as found: the repair is the same." if " " in bare_name(last) else ""


def _effect(steps: Sequence[Step], before: Sequence[str], circuit: Circuit) -> str:
    """What a reading, taken once or more, told where so much was left before."""
    said, left, instead = [], steps[-1].left, steps[0].instead
    if ruled_out := dict.fromkeys(name for step in steps for name in step.ruled_out):
        said.append(f"Rules out {_names(tuple(ruled_out))}.")
    if set(left) == set(before):
        said.append("Nothing new.")
    elif left:
        said.append(f"Left: {_names(left)}.")
    if instead is not None:
        said.append(f'To be taken first, unplugged: "{reading_text(instead, circuit)}".')
    return ". " + " ".join(said) if said else ""


def _names(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more


def _story(review: Review) -> tuple[str, ...]:
    story = review.exercise.story
    return (f"{headline(story)}.", *why_lines(story))
