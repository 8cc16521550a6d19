"""Commands about a fault: what to measure, what it means."""

from __future__ import annotations

import click

from zcd.cli.command import Command, settings
from zcd.cli.completion import files, story_flags
from zcd.cli.exits import exit_codes
from zcd.cli.given import DASH, job_given, require_file


@click.command(cls=Command, epilog=exit_codes())
@click.argument("file", metavar="BOARD|JOB", shell_complete=files)
@click.option("--full", is_flag=True, help="All readings, each with all faults that it tells.")
@click.option(
    "--card",
    metavar="FILE",
    shell_complete=files,
    help="Write them on a page, as a card for the bench: .pdf (extra [pdf]) or .html.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def readings(file: str, full: bool, card: str | None, as_json: bool) -> int:
    """Print what a meter reads on a good board, and the faults that each reading shows best.

    Unplugged readings first, then the isolated side, live mains last. The meter comes from the
    job file; a board file gets the one of the settings, or a typical handheld meter.

    \b
    Examples
      zcd readings board.toml
      zcd readings board.toml --card card.pdf
    """
    from zcd import api
    from zcd.cli.output import print_result
    from zcd.progress import progress_bar

    if card is not None:
        from zcd.files import require_report

        require_report(card, "--card")
    job = job_given(file)
    expected = api.readings(job.board, job.meter, progress=progress_bar)
    if card is not None:
        from zcd.jobs.job_sheet import write_report
        from zcd.report.of_readings_card import bench_card_document

        write_report(card, bench_card_document(expected), settings().paper)
        if not as_json:
            click.echo(f"{card} written")
            return 0
    print_result(expected, as_json, full=full)
    return 0


@click.command(cls=Command, epilog=exit_codes())
@click.argument("file", metavar="JOB|BOARD", shell_complete=files)
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
    "--flags",
    "--flag",
    "flags",
    multiple=True,
    metavar="FLAGS",
    shell_complete=story_flags,
    help='Error flags that the controller reports: "sync,fan", "sync", "fan", "none", or with the '
    'codes that the appliance shows, "sync=F3,fan=F5".',
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
    "--ask",
    is_flag=True,
    help="Continue interactively (default for a board file on a terminal).",
)
@click.option(
    "--job",
    "place",
    metavar="FILE",
    shell_complete=files,
    help="New job file for the answers; else one is made beside the board file.",
)
@click.option(
    "--record/--no-record",
    default=True,
    help="Whether closed jobs in the same folder change the prior probabilities.",
)
@click.option("--full", is_flag=True, help="All faults, readings, assumptions and cautions.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def diagnose(
    file: str,
    written: tuple[str, ...],
    flags: tuple[str, ...],
    csv: str | None,
    ask: bool,
    place: str | None,
    record: bool,
    full: bool,
    as_json: bool,
) -> int:
    """Name the part to change, and the next readings worth taking.

    Readings come from a job file, from --reading, or one by one at a prompt, which saves each
    answer in a job file. Give that file to continue.

    \b
    Examples
      zcd diagnose board.toml
      zcd diagnose job.toml --ask
      zcd diagnose board.toml -r "ac feed neutral nothing" -r "ohm R7 OL" -f sync
    """
    from dataclasses import replace
    from pathlib import Path

    from zcd import api
    from zcd.circuit.build import build_circuit
    from zcd.cli.output import converse, on_terminal, print_result, with_meter_asked
    from zcd.diagnosis.job_history import fault_statistics_in
    from zcd.diagnosis.meters import usual_meter
    from zcd.diagnosis.reading_syntax import as_measured
    from zcd.jobs.conversation import parse_flags
    from zcd.progress import progress_bar

    if ask and as_json:
        raise click.UsageError("--ask talks to a person, --json to a program: give one of them")
    if ask:
        require_file(file, "write it into one and give that, for the answers are typed here")
    job = job_given(file)
    prompted = ask or (
        job.file is None
        and file != DASH
        and not (written or csv is not None or as_json)
        and on_terminal()
    )
    meter_texts = dict(settings().meter_texts)
    if prompted and on_terminal() and job.meter == usual_meter():
        try:
            job, meter_texts = with_meter_asked(job)
        except EOFError:
            return 0
    more = as_measured(written, build_circuit(job.board))
    more += api.capture(csv, job.board).readings if csv is not None else ()
    if flags:
        flags, codes = parse_flags(flags, job.codes)
        job = replace(job, codes=codes)
    history = Path(file).parent if record and file != DASH else None
    if prompted:
        statistics = None if history is None else fault_statistics_in(history, job)
        converse(job, place, more, flags, meter_texts, statistics)
        return 0
    if place is not None:
        raise click.UsageError(
            "--job keeps what is entered at the prompt: give --ask too; nothing was kept"
        )
    case = api.diagnose(job, *more, flags=flags, history=history, progress=progress_bar)
    print_result(replace(case, unkept=more), as_json, full=full)
    return 0
