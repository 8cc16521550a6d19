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
      zcd readings dryer.toml
    """
    from zcd.diagnosis.atlas import make_atlas
    from zcd.diagnosis.card import bench_card
    from zcd.diagnosis.job import load_job
    from zcd.show.output import print_json, print_tables
    from zcd.show.progress import progress_bar

    job = load_job(file)
    atlas = make_atlas(job.board, job.meter)
    with progress_bar(len(atlas.readings)) as begin:
        lines = bench_card(atlas, begin)
    if as_json:
        from zcd.show.finding_records import card_record

        print_json(card_record(job.board, atlas.circuit, lines))
    else:
        from zcd.show.finding_tables import print_card

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
    help='A reading such as "dc pin logic0 4.98 V" or "ohm R2 OL"; may be repeated.',
)
@click.option("--ask", is_flag=True, help="Go on at a prompt, one reading at a time.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def diagnose(file: str, written: tuple[str, ...], ask: bool, as_json: bool) -> int:
    """Name the fault behind the readings, and the next reading worth taking.

    Readings come from a job file, from --reading, or one by one with --ask.

    \b
    Examples
      zcd diagnose job.toml
      zcd diagnose dryer.toml -r "dc K1.coil 11.5 V" -r "ac feed neutral 0 V"
      zcd diagnose dryer.toml --ask
    """
    from dataclasses import replace

    from zcd.diagnosis.atlas import make_atlas
    from zcd.diagnosis.job import load_job
    from zcd.diagnosis.words import parse_reading
    from zcd.show.findings import Case
    from zcd.show.output import converse, diagnosed, print_case

    if ask and as_json:
        raise click.UsageError("--ask talks to a person, --json to a program: give one of them")
    job = load_job(file)
    atlas = make_atlas(job.board, job.meter)
    more = tuple(parse_reading(text, atlas.circuit, f'--reading "{text[:60]}"') for text in written)
    job = replace(job, measured=job.measured + more)
    if ask:
        converse(job, atlas)
    else:
        print_case(Case(job, atlas.circuit, diagnosed(atlas, job.measured)), as_json)
    return 0
