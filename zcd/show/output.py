"""What commands do with their results: print tables or JSON, ask, draw, write reports."""

from __future__ import annotations

import json
import sys
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from pathlib import Path

    from zcd.board.model import Board
    from zcd.circuit.elements import Circuit
    from zcd.diagnosis.atlas import Atlas
    from zcd.diagnosis.case import Case
    from zcd.diagnosis.faults import Fault
    from zcd.diagnosis.job import Job
    from zcd.diagnosis.meters import Meter
    from zcd.diagnosis.rank import Diagnosis
    from zcd.diagnosis.readings import Measured, Reading
    from zcd.diagnosis.record import Experience
    from zcd.diagnosis.retest import Retest
    from zcd.diagnosis.traces import Traces
    from zcd.engine.solution import Solution
    from zcd.margin.check import Check
    from zcd.margin.loss_share import LossShare
    from zcd.margin.maps import LossMap
    from zcd.results import Result
    from zcd.show.cautions import Caution
    from zcd.show.document import Document
    from zcd.show.found.job_files import JobDocument
    from zcd.spice.compare import Comparison
    from zcd.sync.lock import Lock

NARROWEST = 40
"""Columns of a table, however few the terminal says it has: below, words would be left out."""


def print_json(record: dict[str, Any], cautions: Iterable[Caution] = ()) -> None:
    """One object, ASCII, no numbers that JSON does not know; with the cautions that are due."""
    from zcd.show.renderings import numbered

    click.echo(json.dumps(numbered(record, cautions), indent=2, allow_nan=False, ensure_ascii=True))


def print_result(result: Result, as_json: bool, **more: Any) -> None:
    """Print a result as text or, with whatever else there is to tell, as JSON."""
    from zcd.show.renderings import rendering_of

    rendering = rendering_of(result)
    if as_json:
        print_json({**rendering.record(result), **more}, rendering.cautions(result))
    else:
        show(rendering.document(result))


def show(document: Document) -> None:
    """Print a document in one piece, so that a reader who leaves early is noticed here."""
    from rich.console import Console

    from zcd.show.terminal import print_document

    console = Console()
    console.width = max(console.width, NARROWEST)
    with console.capture() as captured:
        print_document(document, console)
    text = "\n".join(line.rstrip() for line in captured.get().splitlines())
    click.echo(text, color=console.is_terminal)


def on_terminal() -> bool:
    """Whether a person can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def atlas_of(job: Job) -> Atlas:
    """The atlas of a job's board and meter."""
    from zcd.diagnosis.atlas import make_atlas

    return make_atlas(job.board, job.meter, stored=True)


def diagnosed(
    atlas: Atlas,
    measured: Sequence[Measured],
    skipped: Sequence[Reading] = (),
    flags: Sequence[str] = (),
) -> Diagnosis:
    """Diagnose with a progress bar."""
    from zcd.diagnosis.rank import diagnose
    from zcd.show.progress import progress_bar

    with progress_bar(len(atlas.readings)) as begin:
        found = diagnose(atlas, measured, skipped, begin, flags)
    atlas.keep()
    return found


def tested_again(
    atlas: Atlas, measured: Sequence[Measured], before: Sequence[Measured], flags: Sequence[str]
) -> Retest:
    """Judge readings after a repair with a progress bar."""
    from zcd.diagnosis.retest import retest
    from zcd.show.progress import progress_bar

    with progress_bar(len(measured)) as begin:
        found = retest(atlas, measured, before, flags, begin)
    atlas.keep()
    return found


def retest_kept(
    about: Job, found: Retest, by: str, replaced: Sequence[str], board_file: Path | None
) -> None:
    """Keep a retest of today in the job file that it is about."""
    from datetime import date

    from zcd.show.found.retested import board_name_for, keep_retest, retested

    board = board_name_for(about, board_file)
    keep_retest(about, retested(found, date.today(), by=by, replaced=replaced, board=board))


def captured(csv: str, board: Board) -> tuple[Measured, ...]:
    """An oscilloscope's capture as readings."""
    from zcd.diagnosis.capture import load_capture
    from zcd.diagnosis.traces import find_traces, readings_of

    return readings_of(find_traces(load_capture(csv), board))


def draw_capture(board: Board, traces: Traces, path: str) -> None:
    """Draw a capture over the model."""
    from zcd.show.draw.canvas import save_figure
    from zcd.show.draw.captures import capture_figure

    save_figure(capture_figure(board, traces), path)


def prepared(atlas: Atlas) -> None:
    """Predict all readings with a progress bar, so that each answer is judged at once."""
    from zcd.show.progress import progress_bar

    with progress_bar(len(atlas.readings)) as begin:
        atlas.prepare(atlas.readings, begin)
    atlas.keep()


def experienced(job: Job, file: str) -> Experience:
    """What the closed jobs beside a job or board file say of its board."""
    from pathlib import Path

    from zcd.diagnosis.record import experience, read_record

    return experience(read_record(Path(file).parent), job.board.name, without=job.file)


def converse(
    job: Job,
    atlas: Atlas,
    place: str | None,
    more: Sequence[Measured] = (),
    flags: Sequence[str] = (),
    meter_texts: Mapping[str, str] | None = None,
) -> None:
    """Ask for readings until the person ends it, keeping each answer in a job file.

    Parameters
    ----------
    job : Job
        What is known already.
    atlas : Atlas
    place : str or None
        Of a new job file; None: the job's own, or one beside the board file.
    more : sequence of Measured
        Readings given beside those of the job.
    flags : sequence of str
        Flags given in place of those of the job; empty: none were.
    meter_texts : mapping, optional
        What a new job file is to say of the meter.

    Raises
    ------
    InputError
        If there is no place for the job file, or the last answer could not be kept in it.
    """
    from zcd.board.documents import file_name
    from zcd.diagnosis.readings import Side
    from zcd.errors import InputError
    from zcd.show.checked.document import end_sections
    from zcd.show.document import Document
    from zcd.show.found.document import step_sections
    from zcd.show.found.prompt import HELP, Answers, Conversation

    def ask(question: str) -> str:
        click.echo(question, nl=False)
        line = sys.stdin.readline()
        if not line:
            click.echo()
            raise EOFError
        return line

    warned: set[Side] = set()

    def show_step(found: Diagnosis) -> None:
        show(Document(title="", sections=step_sections(found, atlas.circuit, warned)))
        if found.suggestion is not None and found.suggestion.side is not Side.MAINS:
            # the cautions for live parts are due each time
            warned.add(found.suggestion.side)

    def tell(text: str) -> None:
        click.echo(textwrap.fill(f"zcd: {text}", 78), err=True)

    def keep(log: Sequence[Measured | Reading], flags: Sequence[str]) -> None:
        new = not document.written
        theirs = document.keep(log, flags)
        if new and meter_texts:
            document.write_meter(meter_texts)
        if theirs:
            talk.answers.join(theirs, document.log)
            readings = "a reading" if len(theirs) == 1 else f"{len(theirs)} readings"
            tell(f"{name}: somebody else has added {readings} meanwhile; counted from now on")

    document = _document(job, atlas, place)
    name = file_name(document.path)
    known = document if document.written else job
    talk = Conversation(
        Answers(atlas.circuit, [*known.log, *more], tuple(flags) or known.flags),
        lambda taken, skipped, flags: diagnosed(atlas, taken, skipped, flags),
        keep,
    )
    given = talk.answers.log, talk.answers.flags
    if (given[0] or document.written) and given != (list(document.log), document.flags):
        keep(*given)
    prepared(atlas)
    click.echo(textwrap.fill(HELP, 78))
    click.echo(f"Each answer is kept in {name}.")
    talk.run(show_step, ask, tell)
    show(Document(title="", sections=end_sections(job.board)[:2]))
    if talk.unkept:
        raise InputError(
            f"{name}: found no way to keep the last answer, as told above; allowed: the same "
            "answer again, once there is one"
        )
    if document.written:
        click.echo(f"Kept in {name}; go on with: zcd diagnose {name} --ask")


def _document(job: Job, atlas: Atlas, place: str | None) -> JobDocument:
    """The job file that a conversation writes."""
    from pathlib import Path

    from zcd.show.found.job_files import JobDocument, free_job_path

    if place is None and job.file is not None:
        # others may have added to it since it was read
        return JobDocument(job.file, atlas.circuit, log=None)
    assert job.board_file is not None
    path = free_job_path(job.board_file) if place is None else Path(place)
    return JobDocument(path, atlas.circuit, job.board_file)


def write_record(
    case: Case | None,
    board: Board,
    check: Check,
    files: Sequence[str],
    paper: str,
    meter: Meter | None = None,
) -> None:
    """Write the record of a job, before and after its repair, once for each file."""
    from zcd.show.paper.report import write_report

    pages = pages_of(board, check, case, meter)
    for file in files:
        write_report(file, pages, paper)


def draw(
    board: Board,
    found: Check,
    report: str | None,
    plots: str | None,
    case: Case | None = None,
    *,
    kind: str = "png",
    paper: str = "a4",
    meter: Meter | None = None,
) -> None:
    """Work out and write report and pictures, those as files of a kind."""
    from zcd.show.paper.report import write_report

    if plots:
        from zcd.show.draw.plots import save_plots

        solution, lock, lost, share = _pictured(board)
        save_plots(
            plots,
            board=board,
            solution=solution,
            lock=lock,
            loss_map=lost,
            loss_share=share,
            outlook=found.outlook,
            kind=kind,
        )
    if report:
        write_report(report, pages_of(board, found, case, meter), paper)


def pages_of(board: Board, check: Check, case: Case | None, meter: Meter | None = None) -> Document:
    """What a report says, all of it worked out."""
    from zcd.show.paper.report import report_document

    solution, lock, lost, share = _pictured(board)
    return report_document(
        board=board,
        check=check,
        solution=solution,
        lock=lock,
        loss_map=lost,
        loss_share=share,
        case=case,
        meter=meter,
    )


@cache
def _pictured(board: Board) -> tuple[Solution, Lock, LossMap, LossShare]:
    """What the pictures of a board show."""
    from zcd.circuit.build import build_circuit
    from zcd.engine.solve import solve
    from zcd.margin.loss_share import loss_share
    from zcd.margin.maps import loss_map
    from zcd.show.progress import progress_bar
    from zcd.sync.lock import judge

    with progress_bar(3) as begin:
        begin("solving")
        solution = solve(build_circuit(board))
        begin("searching where sync is lost")
        lost = loss_map(board)
        begin("drawing boards within tolerance")
        return solution, judge(solution, board), lost, loss_share(board, lost)


def print_comparison(
    job: Job,
    circuit: Circuit,
    fault: Fault,
    severity: float,
    readings: Sequence[Reading],
    *,
    plot: str | None,
    as_json: bool,
) -> Comparison:
    """Compare with the simulator, print it, and draw it where asked for."""
    from zcd.show.progress import progress_bar
    from zcd.spice.compare import compare

    with progress_bar(3 * (1 + len(readings))) as begin:
        found = compare(
            job.board,
            circuit,
            job.meter,
            readings,
            fault=fault.key,
            severity=None if fault.amount is None else severity,
            progress=begin,
        )
    if plot:
        from zcd.show.draw.canvas import save_figure
        from zcd.show.draw.overlay import overlay_figure

        save_figure(overlay_figure(found), plot)
    print_result(found, as_json)
    return found


def write_netlist(
    path: str | None,
    job: Job,
    circuit: Circuit,
    fault: str,
    level: str,
    readings: Sequence[Reading],
    *,
    as_json: bool,
) -> None:
    """Write a netlist, a meter in it where a reading is asked for; say how to run it.

    Without a path it is printed.
    """
    from zcd.circuit.elements import MainsSource
    from zcd.engine.solve import solve
    from zcd.show.files import write_whole
    from zcd.show.wording import plain
    from zcd.spice.deck import deck_text, metered
    from zcd.spice.netlist import Level
    from zcd.spice.solve import Spice

    way = Spice(level=Level(level), family=job.board.optocoupler.family)
    circuit = metered(job.board, circuit, job.meter, readings)
    dead = not circuit.of(MainsSource)
    settled = dead or bool(solve(circuit).settled[0])
    text = deck_text(job.board, circuit, way, fault, settled)
    if path is not None:
        write_whole(path, text.encode("ascii"))
    if as_json:
        print_json({"file": path, "level": level, "fault": fault, "text": text})
    elif path is None:
        click.echo(text, nl=False)
    else:
        click.echo(plain(f"{path} written; run it with: ngspice -b {path}"), err=True)
