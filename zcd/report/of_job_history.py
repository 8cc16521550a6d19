"""The record of jobs as a table of words, and as data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from zcd.diagnosis.job_history import Entry, FaultStatistics
from zcd.errors import plain
from zcd.report.of_boards import unread_text
from zcd.report.of_diagnosis_text import fault_words
from zcd.report.of_retest_record import retest_record_to_dict, verdict_text
from zcd.report.table import Table
from zcd.report.text import count_text

MAX_KINDS = 5
LEAVE_OUT = "--no-record leaves them out."


def job_history_table(entries: Sequence[Entry], total: int) -> Table:
    """Jobs of a record, each with its board and what it was."""
    unread = [unread_text(e.file.name, e.problem) for e in entries if e.problem]
    jobs = count_text(total, "job")
    remark = f"{len(entries)} of {jobs}." if len(entries) != total else f"{jobs}."
    remark = "\n".join((remark, *unread))
    return Table(
        title="Jobs",
        columns=("job", "board", "flags", "closed on", "what it was"),
        rows=tuple(_row(e) for e in entries if not e.problem),
        remark=remark,
        unbroken=(0,),
    )


def _row(entry: Entry) -> tuple[str, ...]:
    closed = "still open" if entry.closed is None else entry.closed.isoformat()
    again = f"retest: {verdict_text(entry.retest)}" if entry.retest else ""
    said = (fault_words(entry.found), entry.repair, again, entry.note)
    told = "\n".join(plain(text) for text in said if text)
    return (
        plain(entry.file.name),
        plain(entry.board_name),
        " + ".join(entry.flags) or "-",
        closed,
        told or "-",
    )


def job_history_to_dict(entries: Sequence[Entry], folder: str) -> dict[str, Any]:
    """The same for other programs."""
    return {
        "folder": folder,
        "jobs": [
            {
                "file": e.file.name,
                "board": e.board_name or None,
                "flags": list(e.flags),
                "readings": e.readings,
                "found": e.found or None,
                "kind": e.kind or None,
                "repair": e.repair or None,
                "note": e.note or None,
                "closed": None if e.closed is None else e.closed.isoformat(),
                "retest": None if e.retest is None else retest_record_to_dict(e.retest),
                "problem": e.problem or None,
            }
            for e in entries
        ],
    }


def fault_statistics_line(statistics: FaultStatistics | None) -> str:
    """What the record does to the priors; empty where it does nothing."""
    if statistics is None or not statistics.jobs:
        return ""
    counted = statistics.kinds.most_common(MAX_KINDS)
    kinds = ", ".join(f"{'two faults' if kind == 'pair' else kind} {n}" for kind, n in counted)
    here = statistics.parts.total()
    same = f", {here} of them on boards of this name" if here else ""
    if here == statistics.jobs:
        same = " on a board of this name" if here == 1 else ", all on boards of this name"
    jobs = count_text(statistics.jobs, "closed job")
    return (
        "Probabilities before any reading: handbook failure rates, changed by "
        f"{jobs} in this folder{same} ({kinds})."
    )
