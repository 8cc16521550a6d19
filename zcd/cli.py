"""The command line: thin; each command imports what it needs when it runs."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import click

from zcd.board.model import Topology
from zcd.errors import InputError, ZcdError

INTERRUPTED = 130
BROKEN_PIPE = 141
CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 88}

_EXIT_CODES = """\b
Exit codes
  0  done; the board passes
  1  done; the board does not pass
  2  an option, a file or a value in it cannot be used
  3  the solver found no solution"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments; those of the process if not given.

    Returns
    -------
    int
        Exit code.
    """
    arguments = list(sys.argv[1:] if argv is None else argv)
    try:
        with commands.make_context("zcd", arguments) as context:
            code = int(commands.invoke(context) or 0)
        if sys.stdout is not None:
            sys.stdout.flush()
    except click.exceptions.Exit as leave:
        code = leave.exit_code
    except click.ClickException as error:
        error.show()
        code = error.exit_code
    except ZcdError as error:
        for line in str(error).splitlines():
            click.echo(f"zcd: {line}", err=True)
        code = error.exit_code
    except (KeyboardInterrupt, click.Abort):
        code = INTERRUPTED
    except BrokenPipeError:
        _forget_stdout()
        code = BROKEN_PIPE
    except OSError as error:
        _forget_stdout()
        click.echo(f"zcd: the output cannot be written ({error.strerror})", err=True)
        code = InputError.exit_code
    return code


def _forget_stdout() -> None:
    """Whoever read our output has gone: let the interpreter's last flush go nowhere."""
    if sys.stdout is not None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _show_version(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from zcd.show.wording import version_text

        click.echo(f"zcd {version_text()}")
        context.exit()


@click.group(name="zcd", context_settings=CONTEXT, epilog=_EXIT_CODES)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_version,
    help="Show the version and leave.",
)
def commands() -> None:
    """Model, diagnose and check the mains sync circuit of an appliance's control board.

    All results are calculated. The mains side of the real board is live: local codes
    and licensed practice go first.

    \b
    Example
      zcd demo                        see all of it on an invented board
      zcd new dryer.toml              write down what is printed on the parts
      zcd readings dryer.toml         what a meter shows, good or faulty
      zcd diagnose dryer.toml --ask   enter readings, learn which fault it is
      zcd check dryer.toml            see whether the repaired board will hold
    """


@commands.command()
@click.argument("file", metavar="FILE")
@click.option("--json", "as_json", is_flag=True, help="Tell what was written as a JSON object.")
@click.option(
    "--topology",
    type=click.Choice([str(topology) for topology in Topology]),
    default=str(Topology.HALF_WAVE),
    show_default=True,
    help="How LED, rectifier and chain are arranged.",
)
def new(file: str, as_json: bool, topology: str) -> None:
    """Write a board file to start from.

    FILE is made and must not exist yet; "-" writes to the terminal instead.

    \b
    Example
      zcd new --topology two-led dryer.toml
    """
    from zcd.board.starter import starter_text, write_starter

    text = starter_text(Topology(topology))
    path = None if file == "-" else write_starter(file, Topology(topology))
    if as_json:
        from zcd.show.output import print_json

        print_json({"file": path and str(path), "topology": topology, "text": text})
    elif path is None:
        click.echo(text, nl=False)
    else:
        words = f"{path} written; change it to what the parts say, then: zcd check {path}"
        click.echo(words, err=True)


@commands.command(epilog=_EXIT_CODES)
@click.argument("board_file", metavar="BOARD")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
@click.option("--report", metavar="FILE.html", help="Write a report that prints on A4.")
@click.option("--plots", metavar="FOLDER", help="Write the pictures as PNG files.")
def check(board_file: str, as_json: bool, report: str | None, plots: str | None) -> int:
    """Check whether a board holds: low mains, hot, weak part, aged part.

    BOARD is a board file; `zcd new` makes one. Every limit is shown with its source,
    and so is everything that was assumed because the file does not say it.

    \b
    Example
      zcd check dryer.toml --report dryer.html
    """
    from zcd.board.files import load_board
    from zcd.margin.check import check as check_board
    from zcd.show.files import require_place
    from zcd.show.output import draw, print_json, print_tables

    if report:
        require_place(report)
    if plots:
        require_place(plots, folder=True)
    board = load_board(board_file)
    found = check_board(board)
    if report or plots:
        draw(board, found, report, plots)
    if as_json:
        from zcd.show.records import check_record

        print_json(check_record(found))
    else:
        from zcd.show.tables import print_check

        print_tables(lambda console: print_check(found, console))
    return 0 if found.passes else 1


@commands.command(epilog=_EXIT_CODES)
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


@commands.command(epilog=_EXIT_CODES)
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


@commands.command(epilog=_EXIT_CODES)
@click.argument("folder", required=False)
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def demo(folder: str | None, as_json: bool) -> int:
    """Diagnose an invented board, check its repair, write a report next to it.

    FOLDER is made and must not exist yet; without it, zcd-demo (or zcd-demo-2, ...) in
    the present directory.

    \b
    Example
      zcd demo
    """
    from zcd.diagnosis.atlas import make_atlas
    from zcd.margin.check import check as check_board
    from zcd.show.demo import write_demo
    from zcd.show.findings import Case
    from zcd.show.output import diagnosed, draw, print_json, print_tables

    made = write_demo(folder)
    atlas = make_atlas(made.job.board, made.job.meter)
    found = diagnosed(atlas, made.job.measured)
    verdict = check_board(made.repaired)
    report = str(made.folder / "report.html")
    draw(made.repaired, verdict, report, None, Case(made.job, atlas.circuit, found))
    if as_json:
        from zcd.show.finding_records import diagnosis_record
        from zcd.show.records import check_record

        print_json(
            {
                "folder": str(made.folder),
                "diagnosis": diagnosis_record(made.job, atlas.circuit, found),
                "check": check_record(verdict),
            }
        )
    else:
        from zcd.show.finding_tables import print_demo

        print_tables(lambda console: print_demo(made, atlas.circuit, found, verdict, console))
    return 0 if verdict.passes else 1
