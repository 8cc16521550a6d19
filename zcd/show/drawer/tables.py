"""Parts in place of failed ones, on a terminal."""

from __future__ import annotations

from rich.console import Console

from zcd.board.model import Board
from zcd.margin.chain_parts import ChainFits
from zcd.margin.substitutes import Substitutes
from zcd.margin.swaps import PullUps
from zcd.show.cautions import FITTED
from zcd.show.checked.sheets import assumptions_sheet, board_line, taken_sheet
from zcd.show.drawer.sheets import (
    chain_lines,
    diodes_sheet,
    fits_sheet,
    groups_line,
    misses_sheet,
    optocouplers_sheet,
    passed_over_line,
    pull_up_lines,
    pull_ups_sheet,
)
from zcd.show.drawer.switches import need_line, refused_lines, switches_sheet
from zcd.show.tables import (
    print_cautions,
    print_heading,
    print_line,
    print_list,
    print_notes,
    print_sheet,
)
from zcd.show.wording import SourceNotes, plain, quantity_text
from zcd.story.switches import Switches


def print_substitutes(found: Substitutes, drive: Switches | None, console: Console) -> None:
    """Print what may stand in place of the parts asked for.

    Parameters
    ----------
    found : Substitutes
    drive : Switches or None
        None: not asked for.
    console : Console
    """
    notes = SourceNotes()
    print_line(plain(found.board.name), console, bold=True)
    print_line(board_line(found.board), console)
    print_line(f"Drawer: {plain(found.drawer.name)}", console)
    if found.groups:
        print_list("Resistors of the chain", (groups_line(found.groups),), console)
    if found.chain is not None:
        _print_chain(found.chain, console)
    if found.optocouplers is not None:
        print_sheet(optocouplers_sheet(found), console)
        if line := passed_over_line(found):
            print_line(line, console, indent=1)
    if found.pull_ups is not None:
        _print_pull_ups(found.board, found.pull_ups, console)
    for ref, swaps in found.diodes.items():
        print_sheet(diodes_sheet(ref, swaps), console)
    if drive is not None:
        print_sheet(switches_sheet(drive, notes), console)
        print_line(need_line(drive), console, indent=1)
        print_list("Not for this fan", refused_lines(drive), console)
    print_sheet(assumptions_sheet(found.board, notes), console)
    if drive is not None and found.board.appliance is not None:
        taken = [a for a in found.board.appliance.assumptions if a.key.startswith("fan.")]
        print_sheet(taken_sheet("Assumed of the fan", taken, notes), console)
    if found.drawer.assumptions:
        title = "Assumed, because the drawer does not say"
        print_sheet(taken_sheet(title, found.drawer.assumptions, notes), console)
    print_notes(notes, console)
    print_cautions(FITTED, console)


def _print_chain(fits: ChainFits, console: Console) -> None:
    print_heading("Resistors of the chain", console)
    for line in chain_lines(fits):
        print_line(line, console)
    if fits.best:
        print_sheet(fits_sheet(fits.best), console)
    if fits.misses:
        print_sheet(misses_sheet(fits.misses), console)


def _print_pull_ups(board: Board, found: PullUps, console: Console) -> None:
    now = board.output.resistor
    value = quantity_text(now.resistance_ohm, "Ω")
    name = " ".join(dict.fromkeys((board.output.kind, plain(now.ref))))
    print_heading(f"In place of the {name}, {value}", console)
    for line in pull_up_lines(found):
        print_line(line, console)
    if found.swaps:
        print_sheet(pull_ups_sheet(found), console)
