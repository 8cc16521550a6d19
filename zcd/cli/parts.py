"""Commands about parts: what to fit in place of a failed one."""

from __future__ import annotations

import click

from zcd.cli.command import Command, settings
from zcd.cli.completion import files, replaceable, series
from zcd.cli.exits import exit_codes
from zcd.cli.given import board_given


@click.command(
    cls=Command,
    epilog=exit_codes("something was found for each part", "nothing was found for one of them"),
)
@click.argument("board_file", metavar="BOARD", shell_complete=files)
@click.option(
    "--drawer",
    "drawer_file",
    metavar="FILE",
    shell_complete=files,
    help="A drawer file: the parts in stock; else that of the settings.",
)
@click.option(
    "--series",
    metavar="NAME",
    shell_complete=series,
    help="In place of a drawer, all values of E6, E12, E24, E48 or E96.",
)
@click.option(
    "--style",
    metavar="TEXT",
    help='With --series: the resistors\' style, such as "1/2 W".',
)
@click.option(
    "--for",
    "refs",
    multiple=True,
    metavar="REF",
    shell_complete=replaceable,
    help="A part that must be replaced; may be repeated. Without it, every part in turn.",
)
@click.option(
    "--any",
    "others",
    is_flag=True,
    help="Also parts with which the pulse, a rating or the isolation changes.",
)
@click.option("--full", is_flag=True, help="All figures, assumptions, sources and cautions.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the tables.")
def substitute(
    board_file: str,
    drawer_file: str | None,
    series: str | None,
    style: str | None,
    refs: tuple[str, ...],
    others: bool,
    full: bool,
    as_json: bool,
) -> int:
    """Find replacement parts.

    For each part, in this order: the printed value or the same part, in a rating at least
    as high; the nearest total from as many resistors or more, none loaded harder than
    before; a total within 10 %. Never fewer resistors in series, never a part beyond its
    rating; each proposal passes `zcd check` as far as the original does. If nothing in the
    drawer will do, it says what to buy. Without a drawer, resistors are those of a series
    (E24 if not named) in the style of those they replace, and the printed values;
    optocouplers and diodes are those of the tables where the drawer lists none. `--for
    drive` proposes what switches the fan.

    \b
    Examples
      zcd substitute board.toml --drawer drawer.toml
      zcd substitute board.toml --series E12 --style "1/2 W" --for R7
    """
    from pathlib import Path

    from zcd import api
    from zcd.board.drawer import load_drawer, series_drawer
    from zcd.cli.output import print_result
    from zcd.substitutes.search import usual_drawer

    if drawer_file is not None and not (series is None and style is None):
        raise click.UsageError("--drawer says what there is: give it, or --series with --style")
    stock = None if drawer_file is None else Path(drawer_file)
    if stock is None and series is None and style is None:
        stock = settings().drawer
    board = board_given(board_file)
    if stock is not None:
        drawer = load_drawer(stock)
    elif style is not None:
        drawer = series_drawer("E24" if series is None else series, style)
    else:
        drawer = usual_drawer(board, "E24" if series is None else series)
    result = api.substitute(board, drawer, refs=refs, others=others)
    print_result(result, as_json, full=full)
    return 0 if result.all_found else 1
