"""What the readings sheet shows, in words ready for its templates."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from zcd.board.model import Board
from zcd.circuit.elements import Circuit
from zcd.circuit.points import point_text
from zcd.diagnosis.flag_evidence import FLAGS, NO_FLAG
from zcd.diagnosis.functions import Function, Method
from zcd.diagnosis.job_history import FaultStatistics, search
from zcd.diagnosis.node_readings import expected_readings
from zcd.diagnosis.rank import Diagnosis
from zcd.diagnosis.reading_syntax import place_text, show_measured
from zcd.diagnosis.reading_words import probes_of, reading_text
from zcd.diagnosis.readings import (
    AccessLevel,
    Measured,
    Power,
    Reading,
    access_level,
    usual_power,
)
from zcd.diagnosis.trip import Trip, plan_trip
from zcd.errors import InputError
from zcd.report.cautions import SHORT_CAUTIONS, Caution
from zcd.report.of_diagnosis import (
    ACCESS_TITLES,
    CAUTIONS,
    STOPPED,
    failed_marks,
    hidden_line,
    indistinguishable_line,
    node_texts,
    part_texts,
    ranked_table,
    state_line,
    suspects_line,
)
from zcd.report.of_diagnosis_answer import (
    answers_to,
    confirm_line,
    higher_supply_line,
    rest_line,
    then_line,
    verdict_line,
    with_tracks_first,
)
from zcd.report.of_diagnosis_text import fault_words, range_text, sentence
from zcd.report.of_job_history import fault_statistics_line, job_history_table
from zcd.report.text import probability_text
from zcd.substitutes.search import replaceable_refs
from zcd.web.captures import capture_drawing, last_capture
from zcd.web.circuit_drawing import CircuitDrawing, circuit_drawing
from zcd.web.fault_dictionaries import PreparedBoard
from zcd.web.job_store import JobStore, OpenJob

MAX_JOBS = 200
DIGITS = 5
PROBABLY = 0.5
TO_REPAIR = (("To the repair", "replaced", ""),)
FLAG_CHOICES = (NO_FLAG, *FLAGS[:-1], " ".join(FLAGS[:-1]))

EXAMPLES = {Method.OHMS: "62k", Method.JUNCTION: "0.58 V", Method.VOLTS: "4.98 V"}
"""What a meter may show, by how it is taken: each answer field has one that it would take."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One reading of the sheet, whether taken or not.

    Parameters
    ----------
    id : str
        On the page.
    at : str
        What is measured where, as one would write it.
    words, what, probes : str
        `what`: the part or node that is read.
    good : str
        What a good board shows.
    shown : str
        What was read; empty: nothing yet.
    skipped, doubtful : bool
    """

    id: str
    at: str
    words: str
    what: str
    probes: str
    good: str
    shown: str
    skipped: bool
    doubtful: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SideRows:
    """The readings of one side."""

    title: str
    rows: tuple[Row, ...]
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Safety:
    """How the board must be for a reading, and the cautions of that.

    Parameters
    ----------
    live, dead : bool
        Whether the mains side is touched under power; whether the board is unplugged.
    state : str
    cautions : tuple of str
    """

    live: bool
    dead: bool
    state: str
    cautions: tuple[str, ...]


def safety_of(reading: Reading, circuit: Circuit) -> Safety:
    """The same of a reading."""
    side = access_level(circuit, reading)
    return Safety(
        live=side is AccessLevel.MAINS,
        dead=reading.power is Power.DEAD,
        state=state_line(reading, circuit),
        cautions=SHORT_CAUTIONS[side],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class NextCard:
    """The next reading on one card.

    Parameters
    ----------
    before : str
        What to do on the dead board before it.
    at : str
        What is measured where, as one would write it.
    safety : Safety
    function, range, red, black, lifted, again : str
        How to set the meter, where the probes go; a part of which one end is lifted; what a
        reading that is taken again showed.
    example : str
        What one may type.
    outcomes : tuple of (str, str)
        Buttons: their words, and the answer that they give.
    meanings : tuple of str
        What each answer would mean.
    picture : CircuitDrawing
        Where the probes go.
    """

    before: str
    at: str
    safety: Safety
    function: str
    range: str
    red: str
    black: str
    lifted: str
    again: str
    example: str
    outcomes: tuple[tuple[str, str], ...]
    meanings: tuple[str, ...]
    picture: CircuitDrawing


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What was found, where nothing more is to be measured.

    Parameters
    ----------
    headline : str
    lines : tuple of str
    ways : tuple of (str, str, str)
        Buttons that lead on: their words, and what they say to the repair.
    named : bool
        Whether one fault is named, and the headline says how sure that is.
    likely : bool
        Whether what the buttons replace is likelier than all else together.
    """

    headline: str
    lines: tuple[str, ...]
    ways: tuple[tuple[str, str, str], ...]
    named: bool
    likely: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Chip:
    """An answer: what was read in short and in full, what it showed, and how to write both."""

    what: str
    words: str
    shown: str
    at: str
    value: str


def probe_words(circuit: Circuit) -> dict[str, Any]:
    """What can be chosen to measure, and between which points."""
    return {
        "functions": [(str(f), f.row.words) for f in Function],
        "points": [(node, point_text(node, circuit)) for node in circuit.nodes],
    }


def jobs_words(jobs: JobStore, words: str, gone: str = "") -> dict[str, Any]:
    """The list of jobs, and what was wrong with the folder unless it is `gone`."""
    if gone:
        return {"table": None, "names": (), "unlisted": ""}
    try:
        record = jobs.history()
    except InputError as error:
        return {"table": None, "names": (), "unlisted": str(error)}
    result = search(record, words)
    table = job_history_table(result, len(record))
    names = tuple(e.file.stem for e in result if not e.problem)
    return {"table": table, "names": names[:MAX_JOBS], "unlisted": ""}


def talk_words(
    prepared: PreparedBoard,
    open_job: OpenJob,
    diagnosis: Diagnosis,
    statistics: FaultStatistics,
    counts: bool,
) -> dict[str, Any]:
    """What a job's readings say.

    Parameters
    ----------
    prepared : PreparedBoard
        With its fault dictionary.
    open_job : OpenJob
    diagnosis : Diagnosis
    statistics : FaultStatistics
        Of the closed jobs.
    counts : bool
        Whether they shifted the probabilities.
    """
    table, circuit, job = ranked_table(diagnosis, open_job.circuit), open_job.circuit, open_job.job
    shares = [r.probability for r in diagnosis.ranked]
    assert prepared.dictionary is not None
    plan = plan_trip(prepared.dictionary, diagnosis, job.skipped, job.flags)
    lines = (
        indistinguishable_line(diagnosis) if diagnosis.suggestion else "",
        suspects_line(diagnosis, circuit),
        rest_line(prepared.dictionary, diagnosis),
        hidden_line(diagnosis, circuit),
    )
    return {
        "ready": True,
        "conclusion": sentence(fault_words(diagnosis.conclusion)),
        "danger": diagnosis.stopped == "danger",
        "ranked": tuple(
            (100.0 * share, *row) for share, row in zip(shares, table.rows, strict=False)
        ),
        "rest": table.remark,
        "lines": tuple(line for line in lines if line),
        "next": _next_card(plan, open_job, diagnosis),
        "found": _found(diagnosis, job.board, circuit),
        "then": then_line(plan.steps, circuit),
        **probe_words(circuit),
        "sides": _side_rows(prepared, open_job, diagnosis),
        "log": tuple(_chip(each, circuit) for each in job.log),
        "flags": " ".join(
            f"{flag}={job.codes[flag]}" if flag in job.codes else flag for flag in job.flags
        ),
        "flag_choices": FLAG_CHOICES,
        "diagram": _diagram(prepared, open_job, diagnosis),
        "capture": _capture(open_job),
        "jobs_line": fault_statistics_line(statistics),
        "counts": counts,
    }


def _capture(open_job: OpenJob) -> Markup | None:
    """The last capture over the model; None where there is none that can be read."""
    file = open_job.job.file
    path = None if file is None else last_capture(file)
    try:
        return None if path is None else Markup(capture_drawing(path, open_job.job.board))
    except (InputError, OSError):
        return None


def _next_card(trip: Trip, open_job: OpenJob, diagnosis: Diagnosis) -> NextCard | None:
    """The next reading."""
    if not trip.steps or open_job.job.closed is not None:
        return None
    circuit = open_job.circuit
    suggestion, before = with_tracks_first(trip, circuit)
    reading = suggestion.reading
    row = reading.function.row
    outcomes = [("OL", "OL")] if row.dead else []
    if row.method is Method.VOLTS:
        outcomes.append(("0 V", "0 V"))
    if row.nothing is not None:
        outcomes.append(("Nothing", "nothing"))
    again = suggestion.again
    meanings = answers_to(suggestion, circuit, diagnosis.ranked)
    return NextCard(
        before=before,
        at=place_text(reading, circuit),
        safety=safety_of(reading, circuit),
        function=sentence(row.words).removesuffix("."),
        range=range_text(suggestion),
        red=point_text(reading.red, circuit),
        black=point_text(reading.black, circuit),
        lifted=f"One end of {reading.lifted} lifted." if reading.lifted else "",
        again="" if again is None else f"Take it again: it showed {show_measured(again)}.",
        example=EXAMPLES.get(row.method, ""),
        outcomes=(*outcomes, ("Unstable", "unstable"), ("Cannot reach", "skip")),
        meanings=tuple(meaning.text(len(meaning.faults)) for meaning in meanings),
        picture=circuit_drawing(open_job.job.board, circuit, near=(reading.red, reading.black)),
    )


def _found(diagnosis: Diagnosis, board: Board, circuit: Circuit) -> Found:
    """The fault that is named, in words of the bench, and the parts to replace."""
    named = diagnosis.indistinguishable if diagnosis.stopped != "contradiction" else ()
    parts = [r.fault.repair.split()[0] for r in named if r.fault is not None and r.fault.repair]
    headline, rest = verdict_line(diagnosis), ""
    if diagnosis.stopped != "danger":
        headline, _, rest = headline.partition(". ")
    lines = [rest or STOPPED[diagnosis.stopped]] if diagnosis.stopped != "sure" else []
    lines.append(higher_supply_line(diagnosis.measured, circuit))
    first = named[0] if len(named) == 1 else None
    is_named = diagnosis.stopped == "sure" and first is not None and first.fault is not None
    if is_named:
        assert first is not None
        what, _, todo = first.words.partition(":")
        sure = probability_text(diagnosis.named_ratio)
        headline = f"{sentence(what.strip()).removesuffix('.')} ({sure})"
        lines.append(sentence(todo.strip()) if todo else "")
        lines.append(confirm_line(diagnosis))
    return Found(
        headline=headline.removesuffix("."),
        lines=tuple(line for line in lines if line),
        ways=_ways_on(dict.fromkeys(parts), board, circuit) or TO_REPAIR * is_named,
        named=is_named,
        likely=is_named or diagnosis.named_ratio > PROBABLY,
    )


def _ways_on(
    parts: Iterable[str], board: Board, circuit: Circuit
) -> tuple[tuple[str, str, str], ...]:
    """To what to fit in place of a part; a part that the tool finds none for is said to be new."""
    replaceable, fitted = replaceable_refs(board), {e.ref.split(".")[0] for e in circuit}
    return tuple(
        (f"Replace {ref}", "part" if ref in replaceable else "replaced", ref)
        for ref in parts
        if ref in replaceable or ref in fitted
    )


def _chip(each: Measured | Reading, circuit: Circuit) -> Chip:
    """An entry of the log."""
    taken = isinstance(each, Measured)
    reading = each.reading if isinstance(each, Measured) else each
    shown = show_measured(each, DIGITS) if isinstance(each, Measured) else "cannot be reached"
    probes = probes_of(reading, circuit)
    name = f"{reading.function.row.short or reading.function} {probes.short}"
    if probes.state not in name:  # the same points are read in more than one state
        name += f", {probes.state}"
    return Chip(
        what=name,
        words=reading_text(reading, circuit),
        shown=shown,
        at=place_text(reading, circuit),
        value=shown if taken else "",
    )


def _side_rows(
    prepared: PreparedBoard, open_job: OpenJob, diagnosis: Diagnosis
) -> tuple[SideRows, ...]:
    """Every useful reading, and those taken beside them, by side."""
    assert prepared.dictionary is not None
    job, circuit = open_job.job, open_job.circuit
    taken = {m.reading: m for m in job.measured}
    every = dict.fromkeys((*prepared.dictionary.readings, *taken, *job.skipped))
    doubtful = {m.reading for m in diagnosis.suspects}
    good = _good(prepared, tuple(every), circuit)
    for reading in every.keys() - prepared.named.keys():
        what, probes = probes_of(reading, circuit).short, _probes(reading, circuit)
        prepared.named[reading] = place_text(reading, circuit), what, probes
    rows = {
        reading: Row(
            id=f"row-{number}",
            at=prepared.named[reading][0],
            words=reading.function.row.words,
            what=prepared.named[reading][1],
            probes=prepared.named[reading][2],
            good=good[reading],
            shown=show_measured(taken[reading], DIGITS) if reading in taken else "",
            skipped=reading in job.skipped and reading not in taken,
            doubtful=reading in doubtful,
        )
        for number, reading in enumerate(every, start=1)
    }
    by_side = {side: [r for r in every if access_level(circuit, r) is side] for side in AccessLevel}
    return tuple(
        SideRows(
            title=ACCESS_TITLES[side],
            rows=tuple(rows[r] for r in readings),
            cautions=CAUTIONS[side],
        )
        for side, readings in by_side.items()
        if readings
    )


def _probes(reading: Reading, circuit: Circuit) -> str:
    """Red and black, and the state of the board where it is not the usual one."""
    red, black = (point_text(node, circuit) for node in (reading.red, reading.black))
    state = "" if reading.power is usual_power(reading.function) else f", {reading.power}"
    return f"red {red}, black {black}{state}"


def _good(
    prepared: PreparedBoard, readings: Sequence[Reading], circuit: Circuit
) -> dict[Reading, str]:
    """What a good board shows; worked out once where it is not on the bench card."""
    new = [r for r in readings if r not in prepared.good]
    for m in expected_readings(new, prepared.board, circuit, prepared.meter) if new else ():
        prepared.good[m.reading] = f"about {show_measured(m)}" if m.exact else show_measured(m)
    return prepared.good


def _diagram(prepared: PreparedBoard, open_job: OpenJob, diagnosis: Diagnosis) -> CircuitDrawing:
    """The circuit with what was read, and what a good board would read."""
    circuit, measured = open_job.circuit, diagnosis.measured
    texts = {
        node: f"{word}\n{text}"
        for word, taken in (("good", prepared.at_nodes), ("read", measured))
        for node, text in node_texts(taken, circuit).items()
    }
    failed = failed_marks(diagnosis.ranked[0], circuit) if diagnosis.stopped == "sure" else {}
    return circuit_drawing(
        open_job.job.board,
        circuit,
        at_nodes=texts,
        at_parts=part_texts(measured, circuit),
        failed=failed,
    )
