"""What a report of a check says, and the file that it becomes."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from zcd import api
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.case import Case
from zcd.diagnosis.faults import HEALTHY
from zcd.diagnosis.flag_evidence import FAN, SYNC, flag_text
from zcd.diagnosis.job import Job
from zcd.diagnosis.meters import Meter, usual_meter
from zcd.diagnosis.node_readings import expected_at_nodes
from zcd.diagnosis.rank import Ranked
from zcd.drawing.figures import figure_svg, loss_map_figure, outlook_figures, waveform_figure
from zcd.drawing.schematic import schematic
from zcd.drawing.sketch import Sketch, sketch_svg
from zcd.drawing.timeline import timeline_figure
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.errors import plain
from zcd.files import file_name, write_whole
from zcd.jobs.fitted_parts import grade_fitted_line, unlike_file_line
from zcd.margin.check import Check
from zcd.margin.loss_map import LossMap
from zcd.progress import progress_bar
from zcd.report.cautions import DEAD, GENERAL, ISOLATED, LIVE
from zcd.report.document import (
    Block,
    BulletList,
    Cautions,
    Document,
    Facts,
    Paragraph,
    Picture,
    Section,
)
from zcd.report.html import report_html
from zcd.report.of_changes import changes
from zcd.report.of_check import board_line
from zcd.report.of_check_answer import answer_section, headline_text, repair_text
from zcd.report.of_check_document import check_sections, end_sections
from zcd.report.of_diagnosis import (
    failed_marks,
    node_texts,
    part_texts,
    ranked_table,
)
from zcd.report.of_diagnosis_answer import (
    TOO_MILD,
    done_text,
    recorded_line,
    unconfirmed_name,
    unconfirmed_text,
)
from zcd.report.of_diagnosis_text import fault_words
from zcd.report.of_job_history import fault_statistics_line
from zcd.report.of_readings_card import compared_table
from zcd.report.of_retest_record import (
    closed_text,
    not_passed_line,
    retest_record_lines,
    retest_record_table,
)
from zcd.report.of_story import FLAG_TIMES, headline
from zcd.report.of_story_flags import why_lines
from zcd.report.pdf import report_pdf
from zcd.simulation.causes import causes_of, of_severity
from zcd.simulation.drive import appliance_of
from zcd.simulation.timeline import Story, stories_of
from zcd.sync.lock import Lock, judge

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

    from zcd.diagnosis.retest_record import RetestRecord


LINE = "_" * 30
"""Where a person writes."""
CAUTION_GROUPS = (
    ("In every case", GENERAL),
    ("Before a part is touched, and for ohms and diode tests", DEAD),
    ("Readings on the isolated side, under power", ISOLATED),
    ("Readings on the mains side, under power", LIVE),
)


def write_report(path: str | Path, document: Document, paper: str = "a4") -> Path:
    """Write a report.

    Parameters
    ----------
    path : str or Path
        Ends in ``.pdf`` for a PDF file, else HTML; an old one is replaced when the new one is
        complete.
    document : Document
    paper : str
        ``a4`` or ``letter``.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the file cannot be written.
    """
    return write_whole(path, report_bytes(document, Path(path).suffix.lower(), paper))


def report_bytes(document: Document, kind: str, paper: str = "a4") -> bytes:
    """A report as it is written: `kind` is ``.pdf``, else HTML."""
    return (
        report_pdf(document, paper)
        if kind == ".pdf"
        else report_html(document, paper).encode("utf-8")
    )


def report_document(
    *,
    board: Board,
    check: Check,
    solution: Solution,
    lock: Lock,
    lost: LossMap | None = None,
    case: Case | None = None,
    meter: Meter | None = None,
    retests: Sequence[RetestRecord] = (),
) -> Document:
    """What a report says: the job sheet on its first page, then what it rests on.

    Parameters
    ----------
    board : Board
        As it is now: after the repair, where there was one.
    check : Check
    solution, lock : Solution, Lock
        Of the board at nominal mains; the first row is drawn.
    lost : LossMap, optional
        Where sync is lost. With it the report is the full one: every table of the check, all
        pictures, assumptions and sources.
    case : Case, optional
        What was found on the board before the repair.
    meter : Meter, optional
        Of what a good board reads, where there is no case; the usual one if not given.
    retests : sequence of RetestRecord
        Of the repaired board, in order; those of the case if not given.

    Returns
    -------
    document : Document
    """
    full = lost is not None
    retests = retests or (() if case is None else case.job.retests)
    cautions = Section("Cautions", (Cautions(CAUTION_GROUPS),))
    pictures = () if check.outlook is None else _outlook_pictures(check)
    sections: list[Section] = [_sheet_section(board, check, case, meter, retests)]
    if case is not None:
        repaired = not _unrepaired(board, case, retests)
        sections += [_found_section(case, full, repaired), _story_section(case, full)]
    sections.append(_retest_section(retests))
    left = left_line(board, case, retests)
    graded = _grade_fitted(board, case, retests)
    if graded or unlike_file_line(retests, board):  # the files do not say what the repair changed
        check = replace(check, repair=None)
    title = "As described, by calculation" if left else "Verdict"
    answer = answer_section(check, title, not left, graded=graded)
    sections += [answer, _waveforms_section(board, solution, lock)]
    if full or check.outlook is not None:
        sections += check_sections(check, pictures)
    if lost is not None:
        sections += [_map_section(lost), *end_sections(board, cautions)]
    else:
        sections.append(cautions)
    return Document(
        title=plain(board.name),
        before=f"Mains sync circuit, checked by calculation on {date.today().isoformat()}",
        sections=tuple(sections),
    ).on_board(board)


def _sheet_section(
    board: Board,
    check: Check,
    case: Case | None,
    meter: Meter | None,
    retests: Sequence[RetestRecord],
) -> Section:
    """The job sheet: what was complained of, found, done and tested, one picture, a signature."""
    appliance = board.name if case is None else case.job.appliance or case.job.board.name
    facts = [("Appliance", plain(appliance)), *_job_facts(board, case)]
    untested = case is not None and not retests
    facts.append(("Verdict", verdict_text(check, left_line(board, case, retests), untested)))
    unlike = unlike_file_line(retests, board) or _grade_fitted(board, case, retests)
    if check.repair is not None:
        facts.append(("Repair", unlike or repair_text(check.repair, board, check.passes)))
    facts.append(("Circuit", board_line(board)))
    signature = (("Technician", LINE), ("Date", LINE))
    worked = "Figures are calculated from the board file and published part data"
    worked += "." if case is None else "; only the readings were measured."
    drawn = _board_picture(board, meter) if case is None else _found_picture(case)
    return Section(
        "Job sheet",
        (Facts(tuple(facts)), drawn, Facts(signature), Paragraph(worked, "small")),
    )


def _grade_fitted(board: Board, case: Case | None, retests: Sequence[RetestRecord]) -> str:
    """That what was written as fitted has a grade and the board's file none; else empty."""
    written = [*(retests[-1].replaced if retests else ()), *([case.job.repair] if case else [])]
    is_own = case is not None and board is case.job.board
    file = case.job.board_file if case is not None and is_own else None
    return grade_fitted_line(written, board, "" if file is None else file_name(file))


def unlike_retest_line(job: Job, board: Board) -> str:
    """That a report is of the job's own board and the last retest of another; else empty."""
    if not job.retests or not job.retests[-1].board or board is not job.board:
        return ""
    own = "the board of the job" if job.board_file is None else file_name(job.board_file)
    tested = plain(job.retests[-1].board)
    return f"Calculated for {own}; the retest was of {tested}: add --repaired {tested}."


def _unrepaired(board: Board, case: Case, retests: Sequence[RetestRecord]) -> bool:
    """Whether nothing says that the board of a job was repaired."""
    return not retests and case.job.closed is None and board is case.job.board


def left_line(board: Board, case: Case | None, retests: Sequence[RetestRecord]) -> str:
    """Why a board does not pass yet, whatever the calculation says of it; empty where it may."""
    unlike = "" if case is None else unlike_retest_line(case.job, board)
    if line := not_passed_line(retests) or (unlike and "NOT JUDGED."):
        return f"{line} {unlike}".strip()
    if case is None or not _unrepaired(board, case, retests):
        return ""
    if case.diagnosis.stopped != "sure":
        return "FAULT NOT FOUND yet."
    first = case.diagnosis.indistinguishable[0]
    return "" if first.key == HEALTHY.key else f"NOT REPAIRED yet: {fault_words(first.key)}."


def verdict_text(check: Check, left: str, untested: bool = False) -> str:
    """The verdict on a board: what was measured last goes before what is calculated.

    Parameters
    ----------
    check : Check
    left : str
        Why it does not pass yet, as `left_line` says it.
    untested : bool, optional
        It is of a repair that was not measured.
    """
    if not left:
        only = " By calculation: the repair was not measured." if untested and check.passes else ""
        return f"{headline_text(check)}{only}"
    if check.passes:
        return f"{left} By calculation it passes as described, which says nothing of this board."
    return f"{left} By calculation: {headline_text(check)}"


def _job_facts(board: Board, case: Case | None) -> list[tuple[str, str]]:
    """What the job says, in the order of the work."""
    if case is None:
        return []
    job = case.job
    shown = ", ".join(flag_text(flag, job.codes) for flag in job.flags)
    flags = f"error flags: {shown}" if shown else ""
    complaint = "; ".join(text for text in (plain(job.note), flags) if text)
    found = plain(fault_words(job.found)) or unconfirmed_text(case.diagnosis)
    name = "Found" if job.found else unconfirmed_name(case.diagnosis)
    parts = "; ".join(changes(job.board, board))
    fitted = ", ".join(map(plain, job.retests[-1].replaced)) if job.retests else ""
    done = done_text(job) or parts or (f"{fitted} replaced" if fitted else "")
    if job.closed is not None and not done:
        done = LINE  # a sheet without it is filled in by hand
    tested = retest_record_lines(job.retests[-1])[0] if job.retests else "not measured again"
    closed = "" if job.closed is None else closed_text(job.closed, job.retests)
    told = (
        ("Complaint", complaint), (name, found), ("Done", done), ("Tested", tested),
        ("Closed", closed),
    )  # fmt: skip
    return [(name, text) for name, text in told if text]


def _board_picture(board: Board, meter: Meter | None) -> Picture:
    """The board, drawn with what a good one reads."""
    circuit = build_circuit(board)
    expected = expected_at_nodes(board, circuit, meter or usual_meter())
    return Picture(
        "schematic",
        sketch_svg(schematic(board, at_nodes=node_texts(expected, circuit))),
        "The board as described, with what a meter shows at each point of a good one: AC volts "
        "against neutral, DC volts against logic0.",
    )


def _found_section(case: Case, full: bool, repaired: bool) -> Section:
    """What was found before the repair, and how."""
    return Section(
        "What was found before the repair" if repaired else "What was found so far",
        (
            Paragraph(_before_line(case), "strong"),
            *(
                []
                if case.known is None or case.job.closed is not None
                else [Paragraph(fault_statistics_line(case.known), "small")]
            ),
            *_tables(case),
            *(_before_pictures(case) if full else ()),
        ),
    )


def _before_line(case: Case) -> str:
    """What was found, without what came after it."""
    if case.job.closed is None:
        return recorded_line(case)
    return f"Found: {plain(fault_words(case.job.found))}."


def job_line(case: Case) -> str:
    """What was found and done, and how the job was closed; of an open one what the readings say."""
    job = case.job
    if job.closed is None:
        return recorded_line(case)
    done = f" Done: {done_text(job)}." if job.repair else ""
    return f"{_before_line(case)}{done} Closed {closed_text(job.closed, job.retests)}."


def _found_picture(case: Case) -> Picture:
    words = "The faulty board; in bold what a meter showed there. Boxed and crossed: " + (
        "what best explains the readings." if case.job.closed is None else "what was found."
    )
    return Picture("found", sketch_svg(_found_sketch(case)), words)


def _before_pictures(case: Case) -> tuple[Picture, ...]:
    words = "The faulty board: one mains period with the likeliest fault at its likeliest size."
    return (Picture("before", figure_svg(_before_figure(case)), words),)


def _tables(case: Case) -> tuple[Block, ...]:
    """The readings, and what explains them; nothing where none was taken."""
    result, circuit, job = case.diagnosis, case.circuit, case.job
    if not result.measured:
        return ()
    compared = compared_table(result.measured, case.dictionary)
    # once it is known what it was, what it might have been is beside the point
    return (compared, ranked_table(result, circuit)) if job.closed is None else (compared,)


def _failed(case: Case) -> Ranked:
    """The fault that the pictures show: what a closed job found, else the likeliest."""
    found = (r for r in case.diagnosis.ranked if r.key == case.job.found)
    return next(found, case.diagnosis.ranked[0])


def _retest_section(retests: Sequence[RetestRecord]) -> Section:
    """How the board read after the repair, each retest in turn; empty where there was none."""
    blocks: list[Block] = []
    for number, record in enumerate(retests):
        same = number > 0 and record.replaced == retests[number - 1].replaced
        first, *rest = retest_record_lines(replace(record, replaced=()) if same else record)
        count = f"{number + 1}. " if len(retests) > 1 else ""
        blocks += [Paragraph(f"{count}{first}", "strong"), *map(Paragraph, rest)]
        if record.readings:
            blocks.append(retest_record_table(record))
    return Section("What was measured after the repair", tuple(blocks))


def _story_section(case: Case, full: bool) -> Section:
    """How the likeliest fault came to the flags, in words for whoever brought the board in."""
    first = _failed(case)
    board = case.job.board
    causes = [cause for cause in causes_of(board) if cause.key == first.key]
    if not causes or not case.job.flags:
        return Section("", ())
    (story,) = stories_of(board, [of_severity(causes[0], first.severity)])
    if SYNC in case.job.flags and SYNC not in story.flags:
        return Section("Why the controller reports what it reports", (Paragraph(TOO_MILD),))
    fan = FAN in case.job.flags or board.tells_of_fan
    guessed = any(note.key in FLAG_TIMES for note in appliance_of(board).assumptions)
    told = f"{headline(story, fan=fan)}{' with a typical controller' * guessed}."
    return Section(
        "Why the controller reports what it reports",
        (
            Paragraph(told, "strong"),
            BulletList(tuple(why_lines(story, fan=fan))),
            *([_story_picture(story, board)] if full else ()),
        ),
    )


def _story_picture(story: Story, board: Board) -> Picture:
    words = "From switching on: what the board would do with the likeliest fault."
    return Picture("story", figure_svg(timeline_figure(story, board.name)), words, 190.0)


def _waveforms_section(board: Board, solution: Solution, lock: Lock) -> Section:
    """One mains period."""
    return Section(
        "Waveforms",
        (
            Picture(
                "waveforms",
                figure_svg(waveform_figure(board, solution, lock)),
                "Calculated, not measured: one mains period at nominal mains and room "
                "temperature, with a typical part of the optocoupler's grade.",
            ),
        ),
    )


def _map_section(loss_map: LossMap) -> Section:
    """Where sync is lost."""
    return Section(
        "Where sync is lost",
        (
            Picture(
                "loss-map",
                figure_svg(loss_map_figure(loss_map.board, loss_map, loss_map.share)),
                "Where sync is lost as mains or CTR go down: hatched by the first rule to fail for "
                "a typical board, shaded by the share of boards within tolerance that lose it.",
                height_mm=105.0,
            ),
        ),
    )


def _outlook_pictures(check: Check) -> tuple[Picture, ...]:
    """What decides the reserve, and the years."""
    assert check.outlook is not None
    decides, years = outlook_figures(check.board, check.outlook)
    return (
        Picture(
            "decides",
            figure_svg(decides),
            "What makes the CTR reserve differ from board to board: hatched, including "
            "interactions; solid, each tolerance alone.",
        ),
        Picture(
            "years",
            figure_svg(years),
            "The tightest lock rule against years in service, by both published views of "
            "ageing: 98 of 100 boards lie in the band; dashed, the worst corner.",
        ),
    )


def _before_figure(case: Case) -> Figure:
    """One period of the faulty board, with the likeliest fault at its likeliest size."""
    first = _failed(case)
    circuit = case.circuit
    if first.fault is not None:
        circuit = first.fault.edit(circuit, np.array([first.severity]))
    solution = solve(circuit)
    return waveform_figure(case.job.board, solution, judge(solution, case.job.board), name="before")


def _found_sketch(case: Case) -> Sketch:
    """The faulty board with what was read at its nodes, the likeliest fault marked."""
    return schematic(
        case.job.board,
        at_nodes=node_texts(case.diagnosis.measured, case.circuit),
        at_parts=part_texts(case.diagnosis.measured, case.circuit),
        failed=failed_marks(_failed(case), case.circuit),
    )


def checked_job(job: Job, board: Board, history: Path | None) -> tuple[Case | None, Check]:
    """What was found on a board, and whether it holds after the repair.

    Parameters
    ----------
    job, board, history
        As for `record_job`.

    Returns
    -------
    case : Case or None
        None: nothing is known of it yet.
    check : Check
    """
    known = bool(job.measured or job.flags or job.closed or job.note)
    if not known:
        return None, api.check(board)
    case = api.diagnose(job, history=history, progress=progress_bar)
    # mended with the same parts, it is the board it was
    mended = board != job.board or job.retests or job.closed is not None
    return case, api.check(board, was=job.board if mended else None)


def write_record(
    case: Case | None,
    board: Board,
    check: Check,
    files: Sequence[str],
    paper: str,
    meter: Meter | None = None,
    *,
    full: bool = False,
    retests: Sequence[RetestRecord] = (),
) -> None:
    """Write the record of a job, before and after its repair, once for each file."""
    pages = document_of(board, check, case, meter, full=full, retests=retests)
    for file in files:
        write_report(file, pages, paper)


def document_of(
    board: Board,
    check: Check,
    case: Case | None,
    meter: Meter | None = None,
    *,
    full: bool = False,
    retests: Sequence[RetestRecord] = (),
) -> Document:
    """What a report says, all of it worked out."""
    solution, lock = solved_at_nominal(board)
    return report_document(
        board=board,
        check=check,
        solution=solution,
        lock=lock,
        lost=where_sync_is_lost(board) if full else None,
        case=case,
        meter=meter,
        retests=retests,
    )


@cache
def solved_at_nominal(board: Board) -> tuple[Solution, Lock]:
    """A typical board on the bench, for the pictures of it."""
    solution = solve(build_circuit(board))
    return solution, judge(solution, board)


@cache
def where_sync_is_lost(board: Board) -> LossMap:
    """The map of lost sync with its shares, for the pictures of it."""
    return api.loss_map(board, progress=progress_bar)
