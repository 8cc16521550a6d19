"""What the report command does: work it all out, write the files, tell which."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from zcd.board.model import Board
from zcd.cli.output import print_json, say
from zcd.diagnosis.job import Job
from zcd.errors import invalid_value, plain
from zcd.files import REPORT_ENDINGS, has_typesetter, require_report
from zcd.jobs.job_sheet import checked_job, job_line, left_line, verdict_text, write_record


def report_files(job_file: str, wanted: Sequence[str]) -> tuple[str, ...]:
    """Where the report goes; by default one file of each kind beside the job file.

    Without the package that sets PDF files, the default is HTML alone.

    Raises
    ------
    InputError
        If a file is neither HTML nor PDF, its place cannot be written, or the package is missing.
    """
    if not Path(job_file).name:
        raise invalid_value(job_file, "a job or board file", "JOB")
    job = Path(job_file)
    places = tuple(wanted) or tuple(
        str(job.with_name(f"{job.stem}-report{kind}"))
        for kind in (REPORT_ENDINGS if has_typesetter() else REPORT_ENDINGS[:1])
    )
    for place in places:
        require_report(place, "--to")
    return places


def record_job(
    job: Job,
    board: Board,
    places: Sequence[str],
    paper: str,
    *,
    history: Path | None,
    as_json: bool,
    full: bool = False,
) -> int:
    """Write the record of a job.

    Parameters
    ----------
    job : Job
    board : Board
        After the repair.
    places : sequence of str
        Files.
    paper : str
        ``a4`` or ``letter``.
    history : Path or None
        A folder whose closed jobs shift what is likely.
    as_json : bool
    full : bool
        With every table and source of the check.

    Returns
    -------
    int
        Exit code: 0 where the repaired board passes, and so did its last retest if there was
        one; else 1.
    """
    case, check = checked_job(job, board, history)
    write_record(case, board, check, places, paper, job.meter, full=full, retests=job.retests)
    told = "" if case is None else job_line(case)
    left = left_line(board, case, job.retests)
    untested = case is not None and not job.retests
    passes = check.passes and not left
    if as_json:
        print_json({"files": list(places), "conclusion": told or None, "passes": passes})
    else:
        for line in (
            told,
            f"Verdict: {verdict_text(check, left, untested)}",
            *(f"{place} written" for place in places),
        ):
            if line:
                say(plain(line))
    return 0 if passes else 1
