"""A retest in the job file: made ready, and written whole."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from zcd.board.units import format_si
from zcd.circuit.build import build_circuit
from zcd.diagnosis.reading_syntax import parse_shown
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import useful_readings
from zcd.diagnosis.retest_record import RetestRecord, Verdict
from zcd.errors import invalid_value
from zcd.files import file_name, update_whole
from zcd.jobs.job_text import JobText, add_table, inline_table
from zcd.report.of_retest_record import retest_reading
from zcd.report.text import factor_text

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date
    from typing import Any

    from tomlkit import TOMLDocument

    from zcd.diagnosis.job import Job
    from zcd.diagnosis.readings import Measured
    from zcd.diagnosis.retest import Retest


def retest_record_of(
    retest: Retest, taken: date, *, by: str = "", replaced: Sequence[str] = (), board: str = ""
) -> RetestRecord:
    """What a job file keeps of a retest.

    Parameters
    ----------
    retest : Retest
    taken : date
    by : str
        Who.
    replaced : sequence of str
        What was replaced before it.
    board : str
        Name of the repaired board's file, beside the job file.
    """
    left = retest.remaining
    return RetestRecord(
        taken=taken,
        by=by,
        replaced=tuple(replaced),
        board=board,
        verdict=verdict_of(retest),
        good_ratio=retest.good_ratio,
        ctr_ratio=None if left is None else left.ctr_ratio,
        headroom=() if left is None else tuple(map(factor_text, left.bench)),
        headroom_weak=() if left is None else tuple(map(factor_text, left.weak)),
        readings=tuple(retest_reading(again, retest.circuit, 4) for again in retest.readings),
    )


def verdict_of(retest: Retest) -> Verdict:
    """How the board reads now, in a word or two."""
    if retest.good:
        return Verdict.GOOD
    return Verdict.NOT_GOOD if retest.differs else Verdict.UNSURE


def continued_retest(job: Job, board: str, replaced: Sequence[str] = ()) -> RetestRecord | None:
    """The last retest of a job, which a new one of the same repair continues; else None.

    It does not where another board was retested, something else was replaced since, or it failed:
    then something on the board has to be changed first.

    Parameters
    ----------
    job : Job
    board : str
        Name of the repaired board's file, beside the job file.
    replaced : sequence of str
        What was replaced before the new one; empty: nothing more. Said for the first time, it
        is of the repair under way.
    """
    last = job.retests[-1] if job.retests else None
    if last is None or last.verdict is Verdict.NOT_GOOD or last.board != board:
        return None
    named = not replaced or not last.replaced or tuple(replaced) == last.replaced
    return last if named else None


def readings_of_record(
    record: RetestRecord, job: Job, given: Sequence[Measured]
) -> tuple[Measured, ...]:
    """The readings of a kept retest, without those that were taken again."""
    again = {m.reading for m in given}
    circuit = build_circuit(job.board)
    named = {
        name: reading
        for reading in useful_readings(job.board, circuit)
        if reading not in again
        for name in (reading.words, reading_text(reading, circuit))  # older files have the first
    }
    return tuple(
        parse_shown(each.shown, named[each.reading], each.reading, circuit)
        for each in record.readings
        if each.reading in named
    )


def keep_retest(job: Job, record: RetestRecord) -> Path:
    """Add a retest to a job file, once where it is told again; the rest of it stays as it is.

    Parameters
    ----------
    job : Job
        Read from a file; open or closed.
    record : RetestRecord

    Returns
    -------
    Path
        The job file.

    Raises
    ------
    InputError
        If there is no job file, or it cannot be written.
    """
    file = job.file
    if file is None:
        raise invalid_value("a board file", "a job file", "JOB")
    update_whole(file, lambda data: _with_retest(JobText.of(data, file_name(file)), record).data)
    return file


def _with_retest(text: JobText, record: RetestRecord) -> JobText:
    """A job file with one more retest, unless that is the last one already."""
    import tomlkit

    text.job()
    entry, before = _entry(record), text.plain.get("retests", [])
    if before[-1:] == [entry]:
        return text

    def edit(document: TOMLDocument) -> None:
        laid_out = dict(entry)
        if record.readings:
            rows = tomlkit.array().multiline(True)
            rows.extend(map(inline_table, entry["readings"]))
            laid_out["readings"] = rows
        add_table(document, "retests", laid_out)

    return text.changed(edit, {**text.plain, "retests": [*before, entry]})


def _entry(record: RetestRecord) -> dict[str, Any]:
    """One ``[[retests]]``, what is empty left out."""
    told: dict[str, Any] = {
        "taken": record.taken,
        "by": record.by,
        "replaced": list(record.replaced),
        "board": record.board,
        "verdict": str(record.verdict),
        "sure": format_si(record.good_ratio, "%"),
        "ctr": [format_si(ratio, "%") for ratio in record.ctr_ratio or ()],
        "headroom": list(record.headroom),
        "headroom_weak": list(record.headroom_weak),
        "readings": [
            {"reading": each.reading, "shown": each.shown, "good_board": each.good_board}
            | ({"differs": True} if each.differs else {})
            | ({"close": True} if each.close else {})
            for each in record.readings
        ],
    }
    return {key: value for key, value in told.items() if value}


def retested_file(job: Job) -> str | None:
    """The board file of the last retest; None: the job's own, or it is no longer there."""
    if job.file is None or not job.retests or not job.retests[-1].board:
        return None
    file = job.file.parent / job.retests[-1].board
    return str(file) if file.is_file() else None


def board_name_for(job: Job, board_file: Path | None) -> str:
    """How a job file names the repaired board's file; empty where it is the job's own board."""
    if job.file is None or board_file is None:
        return ""
    if job.board_file is not None and board_file.resolve() == job.board_file.resolve():
        return ""
    return Path(os.path.relpath(board_file, job.file.parent)).as_posix()
