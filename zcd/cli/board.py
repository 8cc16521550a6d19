"""Commands about a board: write its file, check it."""

from __future__ import annotations

import click

from zcd.cli.command import Command, full_option, settings
from zcd.cli.completion import files
from zcd.cli.exits import exit_codes
from zcd.cli.given import DASH, board_given, keys_given
from zcd.cli.pictures import format_of, format_option, plots_option

TOPOLOGIES = ("half-wave", "clamped", "half-wave-clamped", "bridge", "two-led")
"""As `zcd.board.model.Topology` has them, without loading what a board is made of."""


@click.command(cls=Command, epilog=exit_codes(solver=""))
@click.argument("file", metavar="FILE", shell_complete=files)
@click.option("--json", "as_json", is_flag=True, help="Tell what was written as a JSON object.")
@click.option(
    "--topology",
    type=click.Choice(TOPOLOGIES),
    help="How LED, rectifier and chain are arranged: writes an example of it, half-wave if not "
    "given.",
)
@click.option("--drawer", is_flag=True, help="A drawer file, the parts in stock, instead.")
@click.option("--like", metavar="BOARD", shell_complete=files, help="A copy of another board file.")
@click.option(
    "--ask", is_flag=True, help="Ask what is on the board; on a terminal FILE alone does so too."
)
def new(
    file: str, as_json: bool, topology: str | None, drawer: bool, like: str | None, ask: bool
) -> None:
    """Describe a board: by answering questions, from an example, or like another board.

    zcd makes FILE and does not overwrite one; "-" writes to the terminal instead.

    \b
    Examples
      zcd new board.toml
      zcd new --topology two-led board.toml
      zcd new --like board.toml second.toml
      zcd new --drawer drawer.toml
    """
    given = (topology is not None) + drawer + (like is not None) + ask
    if given > 1:
        raise click.UsageError("--topology, --drawer, --like and --ask: give one of them")
    if ask or not (given or as_json or file == "-"):
        from zcd.cli.interview import describe
        from zcd.cli.output import on_terminal

        if ask or on_terminal():
            describe(file)
            return
    _write(file, _text(topology, drawer, like), as_json, None if drawer else topology, drawer, like)


def _text(topology: str | None, drawer: bool, like: str | None) -> str:
    """What a new file holds."""
    from zcd.board.drawer_starter import STARTER
    from zcd.board.model import Topology
    from zcd.board.starter import starter_text

    if drawer:
        return STARTER
    if like is not None:
        return keys_given(like)[1]
    return starter_text(Topology(topology or TOPOLOGIES[0]), settings().mains)


def _write(
    file: str, text: str, as_json: bool, topology: str | None, drawer: bool, like: str | None
) -> None:
    """Write a new file, and say what to do with it."""
    from zcd.files import write_new

    path = None if file == "-" else write_new(file, text)
    if as_json:
        from zcd.cli.output import print_json

        print_json({"file": path and str(path), "topology": topology, "text": text})
    elif path is None:
        click.echo(text, nl=False)
    else:
        from zcd.cli.output import say
        from zcd.errors import plain

        was = f" --was {like}" if like not in (None, DASH) else ""
        then = f"zcd substitute BOARD --drawer {path}" if drawer else f"zcd check {path}{was}"
        what = (
            "what you have in stock"
            if drawer
            else "what is fitted now"
            if like
            else "what your parts say"
        )
        words = f"{path} written; change it to {what}, then: {then}"
        say(plain(words), err=True)


@click.command(
    cls=Command,
    epilog=exit_codes("the board passes", "it does not pass; with --strict also for a warning"),
)
@click.argument("board_file", metavar="BOARD", shell_complete=files)
@click.option("--json", "as_json", is_flag=True, help="Print a JSON object instead.")
@click.option(
    "--outlook",
    is_flag=True,
    help="Add what the reserve depends on and how it ages (a few seconds).",
)
@click.option(
    "--report",
    metavar="FILE.html",
    shell_complete=files,
    help="Write a report; with the extra [pdf], .pdf too.",
)
@plots_option
@format_option
@full_option
@click.option(
    "--was",
    metavar="BOARD",
    shell_complete=files,
    help="The board before the repair: say whether it is as good as new.",
)
@click.option("--strict", is_flag=True, help="Exit with status 1 for a warning too.")
def check(
    board_file: str,
    as_json: bool,
    outlook: bool,
    report: str | None,
    plots: str | None,
    picture_format: str | None,
    full: bool,
    was: str | None,
    strict: bool,
) -> int:
    """Check a board: does sync work, is a part overloaded, how much reserve is left?

    BOARD is a board file, or "-" for standard input; `zcd new` makes one. The board is
    judged at low and high mains, hot, with the weakest and strongest part of the grade. If it
    fails, the part to change comes first.

    \b
    Examples
      zcd check board.toml
      zcd check repaired.toml --was board.toml
      zcd check board.toml --full --report board.html
    """
    from zcd import api
    from zcd.cli.output import draw, print_result
    from zcd.files import require_place, require_report

    kind = format_of(plots, picture_format)
    if report is not None:
        require_report(report, "--report")
    if plots is not None:
        require_place(plots, folder=True)
    board = board_given(board_file)
    before = None if was is None else board_given(was)
    result = api.check(board, outlook=outlook, was=before)
    if report or plots:
        once = settings()
        draw(board, result, report, plots, kind=kind, paper=once.paper, meter=once.meter, full=full)
    print_result(
        result, as_json, full=full, written=" and ".join(filter(None, (report, plots))) or None
    )
    return 0 if result.status == "pass" or (result.passes and not strict) else 1
