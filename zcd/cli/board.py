"""Commands about a board: write its file, check it."""

from __future__ import annotations

import click

from zcd.board.model import Topology
from zcd.cli.exits import EXIT_CODES


@click.command()
@click.argument("file", metavar="FILE")
@click.option("--json", "as_json", is_flag=True, help="Tell what was written as a JSON object.")
@click.option(
    "--topology",
    type=click.Choice([str(topology) for topology in Topology]),
    default=str(Topology.HALF_WAVE),
    show_default=True,
    help="How LED, rectifier and chain are arranged.",
)
@click.option("--drawer", is_flag=True, help="A drawer file, the parts in stock, instead.")
def new(file: str, as_json: bool, topology: str, drawer: bool) -> None:
    """Write a board file (or a drawer file) to start from.

    FILE is made and must not exist yet; "-" writes to the terminal instead.

    \b
    Examples
      zcd new --topology two-led vent.toml
      zcd new --drawer drawer.toml
    """
    from zcd.board.drawer_starter import STARTER
    from zcd.board.starter import starter_text
    from zcd.show.files import write_new

    text = STARTER if drawer else starter_text(Topology(topology))
    path = None if file == "-" else write_new(file, text)
    if as_json:
        from zcd.show.output import print_json

        of = {"topology": None if drawer else topology}
        print_json({"file": path and str(path), **of, "text": text})
    elif path is None:
        click.echo(text, nl=False)
    else:
        from zcd.show.wording import plain

        then = f"zcd substitute BOARD --drawer {path}" if drawer else f"zcd check {path}"
        words = f"{path} written; change it to what the parts say, then: {then}"
        click.echo(plain(words), err=True)


@click.command(epilog=EXIT_CODES)
@click.argument("board_file", metavar="BOARD")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
@click.option(
    "--outlook",
    is_flag=True,
    help="Also tell what decides the headroom, and for how many years: takes some seconds.",
)
@click.option("--report", metavar="FILE.html", help="Write a report; FILE may end in .pdf too.")
@click.option("--plots", metavar="FOLDER", help="Write the pictures as PNG files.")
def check(
    board_file: str, as_json: bool, outlook: bool, report: str | None, plots: str | None
) -> int:
    """Check whether a board holds: low mains, hot, weak part, aged part.

    BOARD is a board file; `zcd new` makes one. Every limit is shown with its source,
    and so is everything that was assumed because the file does not say it.

    \b
    Example
      zcd check vent.toml --report vent.html
    """
    from zcd.board.files import load_board
    from zcd.margin.check import check as check_board
    from zcd.margin.spread import with_spread
    from zcd.show.files import require_place
    from zcd.show.output import draw, print_json, print_tables

    if report is not None:
        require_place(report)
    if plots is not None:
        require_place(plots, folder=True)
    board = load_board(board_file)
    found = with_spread(check_board(board))
    if outlook:
        from zcd.margin.outlook import with_outlook

        found = with_outlook(found)
    if report or plots:
        draw(board, found, report, plots)
    if as_json:
        from zcd.show.cautions import TOUCHED
        from zcd.show.checked.records import check_record

        print_json(check_record(found), TOUCHED)
    else:
        from zcd.show.tables import print_check

        print_tables(lambda console: print_check(found, console))
    return 0 if found.passes else 1
