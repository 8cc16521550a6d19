"""The map of lost sync over two quantities."""

from __future__ import annotations

import click

from zcd.cli.command import Command, full_option
from zcd.cli.completion import files, quantities
from zcd.cli.exits import exit_codes
from zcd.cli.given import board_given
from zcd.cli.pictures import plot_option


@click.command(
    "map",
    cls=Command,
    epilog=exit_codes("done; sync works", "done; the board as described has no sync"),
)
@click.argument("board_file", metavar="BOARD", shell_complete=files)
@click.option(
    "--across",
    metavar="QUANTITY",
    shell_complete=quantities,
    default="mains",
    show_default=True,
    help="Left to right.",
)
@click.option(
    "--up",
    metavar="QUANTITY",
    shell_complete=quantities,
    help="Bottom to top; by default ctr, or chain without an optocoupler.",
)
@plot_option
@click.option("--json", "as_json", is_flag=True, help="Print a JSON object instead.")
@full_option
def map_command(
    board_file: str, across: str, up: str | None, plot: str | None, as_json: bool, full: bool
) -> int:
    """Plot where sync is lost against two quantities.

    QUANTITY is mains, ctr (remaining fraction), chain (total, as a multiple), temperature,
    frequency, pull-up (or pull-down), one resistor of the chain by its name, or, on a board that
    has one, led-resistor, led-capacitor, joint-capacitor, pin-capacitor.

    \b
    Example
      zcd map board.toml --across R7 --up temperature --plot map.png
    """
    from zcd import api
    from zcd.cli.output import print_result
    from zcd.files import require_picture
    from zcd.progress import progress_bar

    if plot is not None:
        require_picture(plot)
    board = board_given(board_file)
    result = api.loss_map(board, across, up, progress=progress_bar)
    print_result(result, as_json, full=full, plot=plot)
    return 0 if result.locks else 1
