"""What the repair sheet has worked out in another process: each answer as words and drawings.

These functions call what the commands call, and only lay out what comes of it.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from zcd.board.model import Board
from zcd.diagnosis.job import Job
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.readings import Measured
from zcd.report.document import Document

TemplateContext = dict[str, Any]


def check(board: Board, was: Board | None = None) -> TemplateContext:
    """Whether a board holds, with every rule: as `zcd check` says it.

    Parameters
    ----------
    board : Board
    was : Board, optional
        As it was built, where it is another and may be compared.
    """
    from zcd import api
    from zcd.margin.as_new import comparable
    from zcd.report.of_check_answer import advice_lines, finding_lines, headline_text
    from zcd.report.of_check_document import check_document

    result = api.check(board, was=was if was is not None and comparable(board, was) else None)
    # the command that comes next is no answer on a page
    lines = [line.partition(" Next: ") for line in advice_lines(result)]
    told = [line for line, _, _ in lines]
    advice, *others = ("", *told) if result.passes else (told or [""])
    refs = re.findall(r"--for (\S+)", lines[0][2]) if advice else []
    return {
        "verdict": headline_text(result),
        "passes": result.passes,
        "advice": advice,
        "too_small": refs,
        "findings": (*others, *finding_lines(result)),
        **_tables(check_document(result)),
    }


def _tables(document: Document) -> TemplateContext:
    """The tables of a document, and where their limits and values come from."""
    from zcd.report.document import Notes

    document = document.resolved()
    notes = [b for section in document.sections for b in section.blocks if isinstance(b, Notes)]
    return {
        "tables": [table for table in document.tables() if table.rows],
        "origins": notes[0].origins,
        "sources": notes[0].sources,
    }


def outlook(board: Board, narrow: bool = False) -> TemplateContext:
    """What decides the reserve, and the margin over the years: `zcd check --outlook`."""
    from zcd import api
    from zcd.drawing.figures import figure_svg, outlook_figures
    from zcd.report.of_outlook import outlook_tables

    result = api.check(board, outlook=True)
    assert result.outlook is not None
    figures = outlook_figures(board, result.outlook, narrow=narrow)
    return {
        "tables": outlook_tables(result),
        "pictures": tuple(figure_svg(figure, letters=True) for figure in figures),
    }


def loss_map(board: Board, across: str, up: str, width_in: float) -> TemplateContext:
    """Where sync is lost over two quantities: `zcd map`; drawn so wide."""
    from zcd import api
    from zcd.drawing.figures import figure_svg, loss_map_figure
    from zcd.drawing.loss_map import loss_map_caption
    from zcd.report.of_loss_map import (
        TYPICAL_LINE,
        loss_map_lines,
        loss_map_table,
        loss_map_title,
        warning_lines,
    )

    result = api.loss_map(board, across, up)
    assert result.share is not None
    return {
        "title": loss_map_title(result),
        "lines": (TYPICAL_LINE, *warning_lines(result), *loss_map_lines(result, result.share)),
        "tables": (loss_map_table(result),),
        "caption": loss_map_caption(board, result, result.share)[1:],
        "picture": figure_svg(
            loss_map_figure(board, result, result.share, width_in=width_in), letters=True
        ),
    }


def substitute(board: Board, drawer: str, style: str, refs: tuple[str, ...]) -> TemplateContext:
    """What to fit in place of a part: `zcd substitute`.

    Parameters
    ----------
    board : Board
    drawer : str
        A drawer file, or the name of a series.
    style : str
        Of the resistors of a series.
    refs : tuple of str
    """
    from zcd import api
    from zcd.board.drawer import series_drawer
    from zcd.board.preferred import SERIES
    from zcd.report.of_drive_parts import drive_lines
    from zcd.report.of_substitutes import buy_line, original_line, proposal_line
    from zcd.report.of_substitutes_document import replacements_document
    from zcd.substitutes.proposals import SHOWN

    stock = series_drawer(drawer, style) if drawer in SERIES else drawer
    result = api.substitute(board, stock, refs=refs)
    found = result.found
    choices = [
        (proposal_line(found, answer, proposal), proposal.board)
        for answer in found.answers
        for proposal in answer.proposals
    ]
    lines = [original_line(found)]
    lines += [buy_line(found, answer) for answer in found.answers if not answer.proposals]
    if result.drive is not None:
        lines += drive_lines(result.drive, SHOWN)
    return {
        "lines": [line for line in lines if line],
        "choices": choices,
        "missing": not found.all_found,
        "drawer": found.drawer.name,
        **_tables(replacements_document(result)),
    }


def diagnose(job: Job, counts: bool, stamp: str) -> TemplateContext:
    """What the readings of a job say: `zcd diagnose`.

    Parameters
    ----------
    job : Job
    counts : bool
        Whether closed jobs shift what is likely.
    stamp : str
        Of the state of the job's folder, so that it is asked again when that changes.
    """
    from zcd import api
    from zcd.report.of_diagnosis import ranked_table
    from zcd.report.of_diagnosis_text import sentence

    case = api.diagnose(job, history=_history(job, counts))
    first = case.diagnosis.ranked[0]
    return {
        "conclusion": sentence(case.diagnosis.conclusion),
        "tables": (ranked_table(case.diagnosis, case.circuit),),
        "key": first.key,
        "severity": first.severity,
        "part": "" if first.fault is None else first.fault.part,
    }


def _history(job: Job, counts: bool) -> Path | None:
    """The folder whose closed jobs count."""
    return job.file.parent if counts and job.file is not None else None


def story(board: Board, key: str, severity: float | None, narrow: bool = False) -> TemplateContext:
    """What a cause does from switching on, and why it raises its flags: `zcd story`.

    Parameters
    ----------
    board : Board
        Before the repair.
    key : str
        Of the cause.
    severity : float or None
        None: its middle.
    narrow : bool
        Whether its picture is for a phone.
    """
    from zcd.drawing.figures import figure_svg
    from zcd.drawing.timeline import timeline_figure
    from zcd.report.of_story import events_table, headline
    from zcd.report.of_story_flags import why_lines
    from zcd.simulation.causes import find_cause, of_severity
    from zcd.simulation.timeline import stories_of

    cause = find_cause(board, key)
    (story,) = stories_of(board, [cause if severity is None else of_severity(cause, severity)])
    return {
        "headline": headline(story),
        "lines": why_lines(story),
        "tables": (events_table(story),),
        "picture": figure_svg(timeline_figure(story, board.name, narrow=narrow), letters=True),
    }


def retest(
    board: Board,
    meter: Meter,
    measured: tuple[Measured, ...],
    before: tuple[Measured, ...],
) -> TemplateContext:
    """Whether the repaired board reads as a good one: `zcd retest`."""
    from datetime import date

    from zcd import api
    from zcd.diagnosis.reading_words import reading_text
    from zcd.jobs.retests import retest_record_of
    from zcd.report.of_retest import remaining_lines, retest_line
    from zcd.report.of_retest_record import retest_record_table

    result = api.retest(Job(board=board, meter=meter), *measured, before=before)
    record = retest_record_of(result, date.today())
    return {
        "line": retest_line(result),
        "tables": (retest_record_table(record),),
        "missing": result.missing,
        "to_take": [reading_text(reading, result.circuit) for reading in result.to_take],
        "lines": remaining_lines(result),
        "kept": record,
    }


def report(
    job: Job | None,
    board: Board,
    counts: bool,
    stamp: str,
    kind: str,
    paper: str,
    meter: Meter,
) -> bytes:
    """The report, as `zcd report` writes it; without a job, as `zcd check --report` does.

    Parameters
    ----------
    job : Job or None
    board : Board
        After the repair.
    counts, stamp
        As for `diagnose`.
    kind : str
        ``.html`` or ``.pdf``.
    paper : str
        ``a4`` or ``letter``.
    meter : Meter
        Where there is no job.
    """
    from zcd.files import require_typesetter
    from zcd.jobs.job_sheet import checked_job, document_of, report_bytes

    require_typesetter(f"report{kind}")
    about = Job(board=board, meter=meter) if job is None else job
    case, check = checked_job(about, board, _history(about, counts))
    return report_bytes(
        document_of(board, check, case, about.meter, retests=about.retests), kind, paper
    )


def stamp_of(folder: Path) -> str:
    """A text that changes with the job files of a folder."""
    try:
        files = [file for file in sorted(folder.glob("*.toml")) if file.is_file()]
        return repr([(file.name, file.stat().st_mtime_ns) for file in files])
    except OSError:
        return ""
