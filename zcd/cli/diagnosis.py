"""Commands about a fault: what to measure, what it means."""

from __future__ import annotations

import click

from zcd.cli.exits import EXIT_CODES


@click.command(epilog=EXIT_CODES)
@click.argument("file", metavar="BOARD|JOB")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def readings(file: str, as_json: bool) -> int:
    """Print the bench card: what a meter reads, on a good board and under each fault.

    Dead tests first, then the isolated side, the live mains side last. Of a job file
    the meter is taken; with a board file it is a usual handheld one.

    \b
    Example
      zcd readings vent.toml
    """
    from zcd.diagnosis.card import bench_card
    from zcd.diagnosis.job import load_job
    from zcd.show.output import atlas_of, print_json, print_tables
    from zcd.show.progress import progress_bar

    job = load_job(file)
    atlas = atlas_of(job)
    with progress_bar(len(atlas.readings)) as begin:
        lines = bench_card(atlas, begin)
    atlas.keep()
    if as_json:
        from zcd.diagnosis.readings import Side
        from zcd.show.found.findings import cautions_for
        from zcd.show.found.records import card_record

        print_json(card_record(job.board, atlas.circuit, lines), cautions_for(Side))
    else:
        from zcd.show.found.tables import print_card

        print_tables(
            lambda console: print_card(job.board, atlas.circuit, job.meter, lines, console)
        )
    return 0


@click.command(epilog=EXIT_CODES)
@click.argument("file", metavar="JOB|BOARD")
@click.option(
    "-r",
    "--reading",
    "written",
    multiple=True,
    metavar="TEXT",
    help='A reading such as "dc pin logic0 4.98 V" or "ohm R7 OL"; may be repeated.',
)
@click.option(
    "-f",
    "--flag",
    "flags",
    multiple=True,
    type=click.Choice(["sync", "fan", "none"]),
    help="What the controller reports; may be repeated; none: no flag.",
)
@click.option(
    "-c", "--capture", "csv", metavar="CSV", help="An oscilloscope's capture, as readings."
)
@click.option(
    "--ask", is_flag=True, help="Go on at a prompt; on a terminal a board file alone does so too."
)
@click.option(
    "--job",
    "place",
    metavar="FILE",
    help="New job file for the answers; else one is made beside the board file.",
)
@click.option(
    "--record/--no-record",
    default=True,
    help="Whether closed jobs in the same folder shift what is likely before any reading.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def diagnose(
    file: str,
    written: tuple[str, ...],
    flags: tuple[str, ...],
    csv: str | None,
    ask: bool,
    place: str | None,
    record: bool,
    as_json: bool,
) -> int:
    """Name the fault behind the readings, and the next reading worth taking.

    Readings come from a job file, from --reading, or one by one at a prompt, which keeps each
    answer in a job file: it can be left and gone on with.

    \b
    Examples
      zcd diagnose vent.toml
      zcd diagnose vent-job.toml --ask
      zcd diagnose vent.toml -r "ac feed neutral nothing" -r "ohm R7 OL" -f sync
    """
    from dataclasses import replace

    from zcd.diagnosis.job import load_job
    from zcd.diagnosis.record import with_experience
    from zcd.diagnosis.words import parse_reading
    from zcd.show.found.findings import Case
    from zcd.show.found.prompt import parse_flags
    from zcd.show.output import (
        atlas_of,
        captured,
        converse,
        diagnosed,
        experienced,
        on_terminal,
        print_case,
    )

    if ask and as_json:
        raise click.UsageError("--ask talks to a person, --json to a program: give one of them")
    job = load_job(file)
    atlas = atlas_of(job)
    known = None
    if record:
        known = experienced(job, file)
        atlas = with_experience(atlas, known)
    more = tuple(parse_reading(text, atlas.circuit, f'--reading "{text[:60]}"') for text in written)
    more += captured(csv, job.board) if csv is not None else ()
    job = replace(job, log=job.log + more, flags=parse_flags(flags) if flags else job.flags)
    if ask or (job.file is None and not (more or as_json) and on_terminal()):
        converse(job, atlas, place)
        return 0
    if place is not None:
        raise click.UsageError("--job is for the prompt: give --ask too")
    found = diagnosed(atlas, job.measured, job.skipped, job.flags)
    print_case(Case(job, atlas.circuit, found), as_json, known)
    return 0
