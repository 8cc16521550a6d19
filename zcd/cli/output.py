"""What commands do with their results: print tables or JSON, ask, draw, write reports."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from zcd.board.model import Board
    from zcd.diagnosis.case import Case
    from zcd.diagnosis.fault_dictionary import FaultDictionary
    from zcd.diagnosis.job import Job
    from zcd.diagnosis.job_history import FaultStatistics
    from zcd.diagnosis.meters import Meter
    from zcd.diagnosis.rank import Diagnosis
    from zcd.diagnosis.readings import AccessLevel, Measured, Reading
    from zcd.jobs.conversation import Answers
    from zcd.jobs.job_file import JobFileWriter
    from zcd.margin.check import Check
    from zcd.report.cautions import Caution
    from zcd.report.document import Document
    from zcd.results import Result

NARROWEST = 40
"""Columns of a table, however few the terminal says it has: below, words would be left out."""


def print_json(record: dict[str, Any], cautions: Iterable[Caution] = ()) -> None:
    """One object, ASCII, no numbers that JSON does not know; with the cautions that are due."""
    from zcd.renderings import numbered

    click.echo(json.dumps(numbered(record, cautions), indent=2, allow_nan=False, ensure_ascii=True))


FULL_HINT = "All figures, limits and sources: add --full."


def print_result(
    result: Result,
    as_json: bool,
    *,
    full: bool = True,
    plot: str | None = None,
    written: str | None = None,
    **more: Any,
) -> None:
    """Print a result on one screen or in full, and what file was written, its picture too; or, with
    whatever else there is to tell, as JSON."""
    from zcd.renderings import answer_of, rendering_of

    rendering, written = rendering_of(result), plot or written
    if plot is not None:
        result.picture().save(plot)
    if as_json:
        print_json({**rendering.record(result), **more}, rendering.cautions(result))
    else:
        show(rendering.document(result) if full else answer_of(result))
        if written is not None:
            say(f"{written} written.")
        if not full:
            click.echo(FULL_HINT)


def show(document: Document) -> None:
    """Print a document in one piece, so that a reader who leaves early is noticed here."""
    from rich.console import Console

    from zcd.report.terminal import print_document

    console = Console()
    console.width = max(console.width, NARROWEST)
    with console.capture() as captured:
        print_document(document, console)
    text = "\n".join(line.rstrip() for line in captured.get().splitlines())
    click.echo(text, color=console.is_terminal)


def on_terminal() -> bool:
    """Whether a person can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def ask(question: str) -> str:
    """Put a question to the person at the terminal, and read a line."""
    click.echo(question, nl=False)
    line = sys.stdin.readline()
    if not line:
        click.echo()
        raise EOFError
    return line


def say(text: str, *, err: bool = False) -> None:
    """Print a sentence within the width of a terminal; a file's name stays whole."""
    from zcd.report.text import wrapped

    click.echo(wrapped(text, 80), err=err)


def tell(text: str) -> None:
    """Say why a line could not be used."""
    say(f"zcd: {text}", err=True)


def with_meter_asked(job: Job) -> tuple[Job, dict[str, str]]:
    """A job with its meter, asked for once and kept in the job's file where there is one.

    Parameters
    ----------
    job : Job

    Returns
    -------
    job : Job
    texts : dict
        Keys of ``[meter]`` for a new job file.
    """
    from dataclasses import replace

    from zcd.circuit.build import build_circuit
    from zcd.jobs.job_file import JobFileWriter
    from zcd.jobs.meter_questions import START, ask_meter, meter_from

    click.echo(START)
    texts = ask_meter(ask, tell)
    if job.file is not None:
        JobFileWriter(job.file, build_circuit(job.board), log=None).write_meter(texts)
    return replace(job, meter=meter_from(texts)), texts


def converse(
    job: Job,
    place: str | None,
    more: Sequence[Measured] = (),
    flags: Sequence[str] = (),
    meter_texts: Mapping[str, str] | None = None,
    statistics: FaultStatistics | None = None,
) -> None:
    """Ask for readings until the person ends it, keeping each answer in a job file.

    Parameters
    ----------
    job : Job
        What is known already.
    place : str or None
        Of a new job file; None: the job's own, or one beside the board file.
    more : sequence of Measured
        Readings given beside those of the job.
    flags : sequence of str
        Flags given in place of those of the job; empty: none were.
    meter_texts : mapping, optional
        What a new job file is to say of the meter.
    statistics : FaultStatistics, optional
        What closed jobs say; they shift what is likely.

    Raises
    ------
    InputError
        If there is no place for the job file, or the last answer could not be kept in it.
    """
    from dataclasses import replace

    from zcd.diagnosis.case import Case
    from zcd.errors import InputError
    from zcd.files import file_name, path_here
    from zcd.jobs.analysis import diagnosed, fault_dictionary_of, prepared
    from zcd.jobs.conversation import HELP, MORE, SHORT_HELP, Answers, Conversation
    from zcd.report.of_diagnosis_answer import work_lines
    from zcd.report.of_job_history import fault_statistics_line

    dictionary = fault_dictionary_of(job, statistics)
    steps = _Steps(dictionary)

    def show_step(diagnosis: Diagnosis) -> None:
        steps.show(diagnosis, talk.answers)
        if diagnosis.suggestion is None and board_file:
            job_file = path_here(writer.path) if writer.written else None
            for line in work_lines(diagnosis, job.board, dictionary.circuit, board_file, job_file):
                say(line)

    def explain(word: str, diagnosis: Diagnosis) -> None:
        if word not in MORE:
            say(HELP)
            return
        now = replace(
            job,
            log=tuple(talk.answers.log),
            flags=talk.answers.flags,
            codes=talk.answers.codes,
        )
        _show_more(Case(job=now, dictionary=dictionary, diagnosis=diagnosis, known=statistics))

    def keep(log: Sequence[Measured | Reading], flags: Sequence[str]) -> None:
        new = not writer.written
        writer.codes = talk.answers.codes
        theirs = writer.keep(log, flags)
        if new and meter_texts:
            writer.write_meter(meter_texts)
        if theirs:
            talk.answers.join(theirs, writer.log)
            readings = "a reading" if len(theirs) == 1 else f"{len(theirs)} readings"
            tell(f"{name}: somebody else has added {readings} meanwhile; counted from now on")

    writer = _document(job, dictionary, place)
    name = file_name(writer.path)
    board_file = job.board_file and path_here(job.board_file)
    known = writer if writer.written else job
    talk = Conversation(
        Answers(dictionary.circuit, [*known.log, *more], tuple(flags) or known.flags, job.codes),
        lambda taken, skipped, flags: diagnosed(dictionary, taken, skipped, flags),
        keep,
    )
    given = talk.answers.log, talk.answers.flags
    changed = given != (list(writer.log), writer.flags)
    if (changed and (given[0] or writer.written)) or (meter_texts and not writer.written):
        keep(*given)
    prepared(dictionary)
    counted = fault_statistics_line(statistics)
    say(f"{SHORT_HELP} Each answer is kept in {name}. {counted}".strip())
    click.echo("All cautions: zcd help cautions.")
    last = talk.run(show_step, ask, tell, explain)
    if talk.unkept:
        raise InputError(
            f"{name}: found no way to keep the last answer, as told above; allowed: the same "
            "answer again, once there is one"
        )
    if writer.written:
        go_on = (
            ""
            if last.stopped == "sure"
            else f"; go on with: zcd diagnose {path_here(writer.path)} --ask"
        )
        click.echo(f"Kept in {name}{go_on}")


def _show_more(case: Case) -> None:
    """Every fault and reading, without cautions, assumptions and sources, which --full has."""
    from dataclasses import replace

    from zcd.renderings import rendering_of
    from zcd.report.of_check_document import TOUCH_CAUTION

    whole = rendering_of(case).document(case)
    titles = [section.title for section in whole.sections]
    show(replace(whole, sections=whole.sections[: titles.index(TOUCH_CAUTION)]))


class _Steps:
    """The steps of a conversation as they are shown: what is new in each."""

    def __init__(self, dictionary: FaultDictionary) -> None:
        self.dictionary = dictionary
        self.asked: AccessLevel | None = None

    def show(self, diagnosis: Diagnosis, answers: Answers) -> None:
        from zcd.diagnosis.readings import AccessLevel, access_level
        from zcd.diagnosis.trip import plan_trip
        from zcd.report.of_diagnosis_answer import prompt_document

        trip = plan_trip(self.dictionary, diagnosis, answers.skipped, answers.flags)
        click.echo()
        circuit, flags = self.dictionary.circuit, answers.flags
        taken = [access_level(circuit, m.reading) for m in answers.measured[-1:]]
        # due again whenever the state of the board changes; those for live parts each time
        same = all(each is self.asked for each in taken)
        warned = {self.asked} - {None, AccessLevel.MAINS} if same else set()
        document = prompt_document(self.dictionary, diagnosis, trip, warned, flags)
        # with the caution every time, if nothing on the board is isolated
        show(document.on_board(self.dictionary.board))
        step = diagnosis.suggestion
        self.asked = None if step is None else step.access


def _document(job: Job, dictionary: FaultDictionary, place: str | None) -> JobFileWriter:
    """The job file that a conversation writes."""
    from pathlib import Path

    from zcd.jobs.job_file import JobFileWriter, free_job_path

    if place is None and job.file is not None:
        # others may have added to it since it was read
        return JobFileWriter(job.file, dictionary.circuit, log=None)
    assert job.board_file is not None
    path = free_job_path(job.board_file) if place is None else Path(place)
    return JobFileWriter(path, dictionary.circuit, job.board_file)


def draw(
    board: Board,
    check: Check,
    report: str | None,
    plots: str | None,
    case: Case | None = None,
    *,
    kind: str = "png",
    paper: str = "a4",
    meter: Meter | None = None,
    full: bool = False,
) -> None:
    """Work out and write report and pictures, those as files of a kind."""
    from zcd.jobs.job_sheet import (
        document_of,
        solved_at_nominal,
        where_sync_is_lost,
        write_report,
    )

    if plots:
        from zcd.drawing.figures import save_plots

        solution, lock = solved_at_nominal(board)
        save_plots(
            plots,
            board=board,
            solution=solution,
            lock=lock,
            loss_map=where_sync_is_lost(board),
            outlook=check.outlook,
            kind=kind,
        )
    if report:
        write_report(report, document_of(board, check, case, meter, full=full), paper)


def write_netlist(
    path: str | None,
    job: Job,
    fault: str,
    severity: float,
    level: str,
    readings: Sequence[str],
    *,
    as_json: bool,
) -> None:
    """Write a netlist, a meter in it where a reading is asked for; say how to run it.

    Without a path it is printed.
    """
    from zcd.circuit.build import build_circuit
    from zcd.circuit.elements import MainsSource
    from zcd.diagnosis.faults import with_fault
    from zcd.diagnosis.reading_syntax import parse_places
    from zcd.engine.solve import solve
    from zcd.errors import plain
    from zcd.files import write_whole
    from zcd.spice.deck import deck_text, metered
    from zcd.spice.devices import family_of
    from zcd.spice.netlist import Level
    from zcd.spice.solve import Spice

    way = Spice(level=Level(level), family=family_of(job.board))
    nominal = build_circuit(job.board)
    chosen, circuit = with_fault(nominal, fault, severity)
    circuit = metered(job.board, circuit, job.meter, parse_places(readings, nominal))
    dead = not circuit.of(MainsSource)
    settled = dead or bool(solve(circuit).settled[0])
    text = deck_text(job.board, circuit, way, chosen.key, settled)
    if path is not None:
        write_whole(path, text.encode("ascii"))
    if as_json:
        print_json({"file": path, "level": level, "fault": chosen.key, "text": text})
    elif path is None:
        click.echo(text, nl=False)
    else:
        click.echo(plain(f"{path} written; run it with: ngspice -b {path}"), err=True)
