"""The record of a job."""

from __future__ import annotations

import click

from zcd.arguments import PAPERS
from zcd.cli.command import Command, full_option, settings
from zcd.cli.completion import files
from zcd.cli.exits import exit_codes
from zcd.cli.given import DASH, board_given, job_given, require_file


@click.command(
    cls=Command,
    epilog=exit_codes(
        "written; the repaired board passes", "written; the board does not pass, or not yet"
    ),
)
@click.argument("job_file", metavar="JOB", shell_complete=files)
@click.option(
    "--repaired",
    metavar="BOARD",
    shell_complete=files,
    help="Board file of the repaired board; else that of the last retest, or of the job.",
)
@click.option(
    "--to",
    "files",
    multiple=True,
    metavar="FILE",
    shell_complete=files,
    help="Ends in .html or .pdf (extra [pdf]); may be repeated. Else one of each beside the job.",
)
@click.option(
    "--paper",
    type=click.Choice([*PAPERS]),
    help="Size of paper; else that of the settings, else a4.",
)
@click.option(
    "--record/--no-record",
    default=True,
    help="Whether closed jobs in the same folder change the prior probabilities.",
)
@click.option("--json", "as_json", is_flag=True, help="Print what was written as a JSON object.")
@full_option
def report(
    job_file: str,
    repaired: str | None,
    files: tuple[str, ...],
    paper: str | None,
    record: bool,
    as_json: bool,
    full: bool,
) -> int:
    """Write the job sheet: complaint, found, done, tested, verdict; then what it rests on.

    The repaired board is that of the last retest, or else the one that the job names, unless
    --repaired gives another. The files are self-contained. Exit status 1
    where it does not pass, where the last retest failed or had too few readings, and while a
    fault is not repaired.

    \b
    Example
      zcd report job.toml --repaired repaired.toml --paper letter
    """
    from pathlib import Path

    from zcd.cli.report_output import record_job, report_files
    from zcd.files import NO_TYPESETTER, has_typesetter
    from zcd.jobs.retests import retested_file
    from zcd.margin.as_new import require_same_kind

    if not files:
        require_file(job_file, "say with --to where the report goes")
    places = report_files(job_file, files)
    job = job_given(job_file)
    repaired = repaired or retested_file(job)
    board = job.board if repaired is None else board_given(repaired)
    require_same_kind(board, job.board, "--repaired", "give the board of this job as repaired")
    if not files and not has_typesetter():
        click.echo(f"No PDF is written: {NO_TYPESETTER}", err=True)
    return record_job(
        job,
        board,
        places,
        paper or settings().paper,
        history=Path(job_file).parent if record and job_file != DASH else None,
        as_json=as_json,
        full=full,
    )
