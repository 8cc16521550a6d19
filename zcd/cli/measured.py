"""Commands about what was measured: an oscilloscope's capture, and a repaired board."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from zcd.cli.command import Command
from zcd.cli.completion import files
from zcd.cli.exits import exit_codes
from zcd.cli.given import board_given, job_given, require_file
from zcd.cli.pictures import plot_option

if TYPE_CHECKING:
    from zcd.diagnosis.retest import Retest


@click.command(cls=Command, epilog=exit_codes("the capture is that of a good board", "it is not"))
@click.argument("file", metavar="CSV", shell_complete=files)
@click.argument("board_file", metavar="BOARD", shell_complete=files)
@plot_option
@click.option("--full", is_flag=True, help="All figures, jitter, and all cautions.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def capture(file: str, board_file: str, plot: str | None, full: bool, as_json: bool) -> int:
    """Read an oscilloscope's capture: good or bad, each figure beside that of a good board.

    CSV with a column of time and one or two of volts, in the layout of any scope. The second
    channel is the mains, through a probe made for it.

    \b
    Example
      zcd capture scope.csv board.toml --plot scope.png
    """
    from zcd import api
    from zcd.cli.output import print_result
    from zcd.files import require_picture

    if plot is not None:
        require_picture(plot)
    traces = api.capture(file, board_given(board_file))
    print_result(traces, as_json, full=full, plot=plot)
    return 0 if traces.good else 1


@click.command(
    cls=Command,
    epilog=exit_codes(
        "the board passes", "it fails, or readings are missing: the first line says which"
    ),
)
@click.argument("file", metavar="REPAIRED", shell_complete=files)
@click.option(
    "-r",
    "--reading",
    "written",
    multiple=True,
    metavar="TEXT",
    help='A reading such as "dc pin logic0 2.6 V"; may be repeated.',
)
@click.option(
    "-c",
    "--capture",
    "csv",
    metavar="CSV",
    shell_complete=files,
    help="An oscilloscope's capture, as readings.",
)
@click.option(
    "--job",
    "job_file",
    metavar="JOB",
    shell_complete=files,
    help="The job that the repair is about: says what was measured before, and keeps the result.",
)
@click.option(
    "--replaced",
    multiple=True,
    metavar="TEXT",
    help='What was replaced, such as "R7 39k 1/2 W"; may be repeated; with --job.',
)
@click.option("--by", default="", metavar="NAME", help="Who did it; with --job.")
@click.option("--full", is_flag=True, help="All readings, and all cautions.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def retest(
    file: str,
    written: tuple[str, ...],
    csv: str | None,
    job_file: str | None,
    replaced: tuple[str, ...],
    by: str,
    full: bool,
    as_json: bool,
) -> int:
    """Judge a repaired board by what you measured: good or not, and how much CTR is left.

    REPAIRED is the board file as it is after the repair; where the same parts were fitted, the
    job file will do. A measured low time gives the CTR that is left and its reserve. The first
    line says PASSES, or what fails, or which readings are missing. With a job the result is kept
    in it, and the readings of the last retest count too, unless it failed, was of another board
    file, or --replaced names another part; a reading taken again replaces the old one.

    \b
    Examples
      zcd retest job.toml -r "dc pin 2.9 V" -r "frequency 50 Hz"
      zcd retest repaired.toml -r "low time 8.9 ms" --job job.toml --replaced R7
    """
    from dataclasses import replace
    from datetime import date

    from zcd import api
    from zcd.circuit.build import build_circuit
    from zcd.cli.output import print_result, say
    from zcd.diagnosis.job import load_job
    from zcd.diagnosis.reading_syntax import as_measured
    from zcd.diagnosis.retest import require_reading
    from zcd.jobs.retests import (
        board_name_for,
        continued_retest,
        keep_retest,
        readings_of_record,
        retest_record_of,
    )
    from zcd.margin.as_new import require_same_kind
    from zcd.progress import progress_bar

    if job_file is not None:
        require_file(file, "write it into one and give that, as the job names its file")
    job = job_given(file)
    if job.file is not None:
        if job_file is not None:
            raise click.UsageError(f"{file} is a job file: give the repaired board's, or no --job")
        job_file, job = file, job_given(str(job.board_file))
    if (replaced or by) and job_file is None:
        raise click.UsageError("--replaced and --by are kept in a job file: give --job too")
    about = load_job(job_file) if job_file is not None else None
    if about is not None and about.file is None:
        raise click.UsageError(f"--job: {job_file} is a board file; give a job file")
    if about is not None:
        require_same_kind(job.board, about.board, "--job", "give the job of this board")
        job = replace(job, meter=about.meter)
    more = as_measured(written, build_circuit(job.board))
    taken = (*more, *(api.capture(csv, job.board).readings if csv is not None else ()))
    require_reading(taken)
    board = "" if about is None else board_name_for(about, job.board_file)
    last = None if about is None else continued_retest(about, board, replaced)
    earlier = () if last is None else readings_of_record(last, job, taken)
    taken = (*earlier, *taken)
    if last is not None:
        replaced, by = replaced or last.replaced, by or last.by
    result = api.retest(job, *taken, before=about or (), progress=progress_bar)
    if about is not None:
        today = date.today()
        keep_retest(about, retest_record_of(result, today, by=by, replaced=replaced, board=board))
    print_result(result, as_json, full=full, job=job_file)
    if not as_json:
        for line in _last_lines(result, file, job_file, len(earlier), replaced):
            say(line)
    return 0 if result.good else 1


def _last_lines(
    result: Retest, file: str, job_file: str | None, earlier: int, replaced: Sequence[str]
) -> tuple[str, ...]:
    """What was kept where, and what to do next."""
    from zcd.errors import plain
    from zcd.jobs.fitted_parts import grade_fitted_line
    from zcd.report.of_retest import added_line, command_line
    from zcd.report.text import count_text

    if job_file is None:
        return (added_line(result),) if result.missing else ()
    count = count_text(earlier, "earlier reading")
    since = f" {count} since the repair counted too." if earlier else ""
    kept = f"Kept in {plain(job_file)}.{since} {command_line(result, file, job_file)}"
    return tuple(filter(None, (grade_fitted_line(replaced, result.board), kept)))
