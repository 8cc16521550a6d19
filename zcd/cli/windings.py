"""Before the fan goes on: its leads, its connector, its capacitor."""

from __future__ import annotations

import click

from zcd.cli.command import Command, full_option
from zcd.cli.exits import exit_codes


@click.command(
    cls=Command,
    epilog=exit_codes(
        "all was measured and fits; the insulation is still to be tested",
        "something is wrong or was not measured",
        solver="",
    ),
)
@click.argument("readings", nargs=-1, metavar="LEAD-LEAD=OHMS ...")
@click.option(
    "--pin",
    "pins",
    multiple=True,
    metavar="LEAD=PIN",
    help="Pin of the fan's connector that a lead is in.",
)
@click.option(
    "--board",
    "board_pins",
    multiple=True,
    metavar="PIN=ROLE",
    help="What a pin of the board's connector is for: common, run or start.",
)
@click.option("--capacitor", metavar="FARADS", help="The run capacitor as measured.")
@click.option("--marking", metavar="FARADS", help="The value printed on it.")
@click.option(
    "--capacitor-tolerance",
    default="10 %",
    show_default=True,
    metavar="SHARE",
    help="Tolerance of the run capacitor.",
)
@click.option("--accuracy", metavar="SHARE", help="Error of the meter on ohms; 1.5 % if not given.")
@click.option("--json", "as_json", is_flag=True, help="Print a JSON object instead.")
@full_option
def windings(
    readings: tuple[str, ...],
    pins: tuple[str, ...],
    board_pins: tuple[str, ...],
    capacitor: str | None,
    marking: str | None,
    capacitor_tolerance: str,
    accuracy: str | None,
    as_json: bool,
    full: bool,
) -> int:
    """Name the leads of a capacitor fan, check its connector, before you plug it in.

    Pull the plug, unplug the fan from the board, discharge its run capacitor. Then measure the
    ohms between each two of its three leads, and from each to the frame (call it "frame").
    OL to the frame is no insulation test: that takes an insulation tester.

    \b
    Example
      zcd windings blue-grey=126 grey-brown=203 blue-brown=328 \\
          blue-frame=OL grey-frame=OL brown-frame=OL \\
          --pin blue=1 --pin grey=2 --pin brown=3 \\
          --board 1=run --board 2=common --board 3=start \\
          --capacitor 2.06u --marking "2.2 uF"
    """
    from zcd import api
    from zcd.cli.output import print_result

    result = api.windings(
        *readings,
        pins=pins,
        board=board_pins,
        capacitor=capacitor,
        marking=marking,
        capacitor_tolerance=capacitor_tolerance,
        accuracy=accuracy,
    )
    print_result(result, as_json, full=full)
    return 0 if result.safe else 1
