"""The map of lost sync over two quantities."""

from __future__ import annotations

import click

from zcd.cli.exits import EXIT_CODES


@click.command(name="map", epilog=EXIT_CODES)
@click.argument("board_file", metavar="BOARD")
@click.option(
    "--across", metavar="QUANTITY", default="mains", show_default=True, help="Left to right."
)
@click.option("--up", metavar="QUANTITY", default="ctr", show_default=True, help="Bottom to top.")
@click.option("--figure", metavar="FILE.png", help="Draw it.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object in place of the words.")
def map_command(board_file: str, across: str, up: str, figure: str | None, as_json: bool) -> int:
    """Map where sync is lost over two quantities of a board.

    QUANTITY is mains, ctr (what is left of it), chain (all of it, times its value), temperature,
    frequency, pull-up (or pull-down), one resistor of the chain by its name, or, on a board that
    has one, led-resistor, led-capacitor, joint-capacitor, pin-capacitor.

    \b
    Example
      zcd map vent.toml --across R7 --up temperature --figure vent-map.png
    """
    from zcd.board.files import load_board
    from zcd.board.units import refusal
    from zcd.margin.loss_share import loss_share
    from zcd.margin.maps import loss_map
    from zcd.margin.quantities import quantity_of
    from zcd.show.files import require_picture
    from zcd.show.output import print_json, print_tables
    from zcd.show.progress import progress_bar

    if figure is not None:
        require_picture(figure)
    board = load_board(board_file)
    first = quantity_of(board, across, "--across")
    if quantity_of(board, up, "--up") == first:
        raise refusal(up, f"another quantity than --across, which is {first.key}", "--up")
    with progress_bar(3) as begin:
        begin("searching where sync is lost")
        found = loss_map(board, across, up)
        begin("drawing boards within tolerance")
        share = loss_share(board, found)
        begin("drawing")
        if figure:
            from zcd.show.draw.canvas import save_figure
            from zcd.show.draw.lossmap import loss_map_figure

            save_figure(loss_map_figure(board, found, share), figure)
    if as_json:
        from zcd.show.checked.map_records import map_record

        print_json(map_record(board, found, share))
    else:
        from zcd.show.tables import print_map

        print_tables(lambda console: print_map(board, found, share, console))
    return 0 if found.rule_here is None else 1
