"""Parts in place of failed ones, on a terminal."""

from __future__ import annotations

from rich.console import Console

from zcd.margin.chain_parts import ChainFits
from zcd.margin.substitutes import Substitutes
from zcd.show.cautions import DEAD, FITTING, GENERAL
from zcd.show.sheets import assumptions_sheet, board_line, taken_sheet
from zcd.show.substitute_sheets import chain_lines, fits_sheet, misses_sheet
from zcd.show.tables import (
    print_cautions,
    print_heading,
    print_line,
    print_notes,
    print_sheet,
)
from zcd.show.wording import SourceNotes, plain


def print_substitutes(found: Substitutes, console: Console) -> None:
    """Print what may stand in place of the parts asked for.

    Parameters
    ----------
    found : Substitutes
    console : Console
    """
    notes = SourceNotes()
    print_line(plain(found.board.name), console, bold=True)
    print_line(board_line(found.board), console)
    print_line(f"Drawer: {plain(found.drawer.name)}", console)
    if found.chain is not None:
        _print_chain(found.chain, console)
    print_sheet(assumptions_sheet(found.board, notes), console)
    if found.drawer.assumptions:
        title = "Assumed, because the drawer does not say"
        print_sheet(taken_sheet(title, found.drawer.assumptions, notes), console)
    print_notes(notes, console)
    print_cautions((*GENERAL, *DEAD, *FITTING), console)


def _print_chain(fits: ChainFits, console: Console) -> None:
    print_heading("Resistors of the chain", console)
    for line in chain_lines(fits):
        print_line(line, console)
    if fits.best:
        print_sheet(fits_sheet(fits.best), console)
    if fits.misses:
        print_sheet(misses_sheet(fits.misses), console)
