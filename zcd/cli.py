"""The command line: thin; each command imports what it needs when it runs."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from zcd.board.model import Topology
from zcd.errors import ZcdError

if TYPE_CHECKING:
    from zcd.board.model import Board
    from zcd.margin.check import Check

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
            code = commands.invoke(context)
        sys.stdout.flush()
    except click.exceptions.Exit as leave:
        return leave.exit_code
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except ZcdError as error:
        for line in str(error).splitlines():
            click.echo(f"zcd: {line}", err=True)
        return error.exit_code
    except (KeyboardInterrupt, click.Abort):
        return INTERRUPTED
    except BrokenPipeError:
        _forget_stdout()
        return BROKEN_PIPE
    return int(code or 0)


def _forget_stdout() -> None:
    """Whoever read our output has gone: let the interpreter's last flush go nowhere."""
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
    """Model and check the mains sync circuit of an appliance's control board.

    All results are calculated. The mains side of the real board is live: local codes
    and licensed practice go first.

    \b
    Example
      zcd new dryer.toml       write down what is printed on the parts
      zcd check dryer.toml     see whether the board will hold
    """


@commands.command()
@click.argument("file", metavar="FILE")
@click.option(
    "--topology",
    type=click.Choice([str(topology) for topology in Topology]),
    default=str(Topology.HALF_WAVE),
    show_default=True,
    help="How LED, rectifier and chain are arranged.",
)
def new(file: str, topology: str) -> None:
    """Write a board file to start from.

    FILE is made and must not exist yet; "-" writes to the terminal instead.

    \b
    Example
      zcd new --topology two-led dryer.toml
    """
    from zcd.board.starter import starter_text, write_starter

    if file == "-":
        click.echo(starter_text(Topology(topology)), nl=False)
        return
    path = write_starter(file, Topology(topology))
    click.echo(f"{path} written; change it to what the parts say, then: zcd check {path}", err=True)


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

    if report:
        require_place(report)
    if plots:
        require_place(plots, folder=True)
    board = load_board(board_file)
    found = check_board(board)
    if report or plots:
        _draw(board, found, report, plots)
    if as_json:
        import json

        from zcd.show.records import check_record

        click.echo(json.dumps(check_record(found), indent=2, allow_nan=False, ensure_ascii=True))
    else:
        _print_tables(found)
    return 0 if found.passes else 1


def _print_tables(found: Check) -> None:
    """Print in one piece, so that a reader who leaves early is noticed here."""
    from rich.console import Console

    from zcd.show.tables import print_check

    console = Console()
    with console.capture() as captured:
        print_check(found, console)
    text = "\n".join(line.rstrip() for line in captured.get().splitlines())
    click.echo(text, color=console.is_terminal)


def _draw(board: Board, found: Check, report: str | None, plots: str | None) -> None:
    """Work out and write report and pictures."""
    from zcd.circuit.build import build_circuit
    from zcd.engine.solve import solve
    from zcd.margin.maps import loss_map
    from zcd.show.plots import save_plots
    from zcd.show.progress import progress_bar
    from zcd.show.report import write_report
    from zcd.sync.lock import judge

    with progress_bar(3) as begin:
        begin("solving")
        solution = solve(build_circuit(board))
        lock = judge(solution, board)
        begin("searching where sync is lost")
        lost = loss_map(board)
        begin("drawing")
        if plots:
            save_plots(plots, board=board, solution=solution, lock=lock, loss_map=lost)
        if report:
            write_report(
                report, board=board, check=found, solution=solution, lock=lock, loss_map=lost
            )
