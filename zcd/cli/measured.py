"""Commands about what was measured: an oscilloscope's capture, and a repaired board."""

from __future__ import annotations

import click

from zcd.cli.exits import EXIT_CODES


@click.command(epilog=EXIT_CODES)
@click.argument("file", metavar="CSV")
@click.argument("board_file", metavar="BOARD")
@click.option("--plot", metavar="FILE", help="Draw it over the model, as .png or .svg.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def capture(file: str, board_file: str, plot: str | None, as_json: bool) -> int:
    """Read an oscilloscope's capture: edges, low time, jitter, missing pulses, offset.

    CSV with a column of time and one or two of volts, in the layout of any scope. The second
    channel is the mains, through a probe made for it.

    \b
    Example
      zcd capture scope.csv dryer.toml --plot scope.png
    """
    from zcd.board.files import load_board
    from zcd.circuit.build import build_circuit
    from zcd.diagnosis.capture import load_capture
    from zcd.diagnosis.traces import find_traces
    from zcd.show.output import draw_capture, print_json, print_tables

    board = load_board(board_file)
    traces = find_traces(load_capture(file), board)
    if plot:
        draw_capture(board, traces, plot)
    if as_json:
        from zcd.show.found.measured import capture_record

        print_json(capture_record(board, traces, build_circuit(board)))
    else:
        from zcd.show.found.measured import print_capture

        print_tables(lambda console: print_capture(board, traces, console))
    return 0


@click.command(epilog=EXIT_CODES)
@click.argument("file", metavar="REPAIRED")
@click.option(
    "-r",
    "--reading",
    "written",
    multiple=True,
    metavar="TEXT",
    help='A reading such as "dc pin logic0 2.6 V"; may be repeated.',
)
@click.option(
    "-c", "--capture", "csv", metavar="CSV", help="An oscilloscope's capture, as readings."
)
@click.option("--before", metavar="JOB", help="What was measured before the repair.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def retest(
    file: str, written: tuple[str, ...], csv: str | None, before: str | None, as_json: bool
) -> int:
    """Judge a repaired board by measured values: does it read as a good one, what is left.

    REPAIRED is the board file as it is after the repair, or a job file with readings taken
    since. A measured low time gives the CTR that is left and its headroom. Exit status 1 if
    the board does not read as a good one.

    \b
    Example
      zcd retest repaired.toml -r "ac line neutral 228 V" -r "low time 9.4 ms"
    """
    from zcd.diagnosis.job import load_job
    from zcd.diagnosis.words import parse_reading
    from zcd.show.output import atlas_of, captured, print_json, print_tables, tested_again

    job = load_job(file)
    atlas = atlas_of(job)
    more = [parse_reading(text, atlas.circuit, f'--reading "{text[:60]}"') for text in written]
    taken = (*job.measured, *more, *(captured(csv, job.board) if csv else ()))
    if not taken:
        raise click.UsageError("nothing was measured: give --reading, --capture or a job file")
    earlier = load_job(before).measured if before else ()
    found = tested_again(atlas, taken, earlier, job.flags)
    if as_json:
        from zcd.show.found.measured import retest_record

        print_json(retest_record(job.board, atlas.circuit, found))
    else:
        from zcd.show.found.measured import print_retest

        print_tables(lambda console: print_retest(job.board, found, console))
    return 0 if found.good else 1
