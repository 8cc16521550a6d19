"""Tables for a terminal: readable at 80 columns, without colour, and when piped."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from rich.box import SIMPLE_HEAD, Box
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from zcd.board.library import odd_values
from zcd.board.model import Board
from zcd.margin.check import Check
from zcd.show.cautions import TOUCHED, Caution
from zcd.show.checked.sheets import (
    FAILS,
    Sheet,
    assumptions_sheet,
    board_line,
    failed_lines,
    headroom_sheet,
    levels_sheet,
    life_sheet,
    resistors_sheet,
    rules_sheet,
    shorts_sheet,
    surge_sheet,
)
from zcd.show.checked.spread_sheets import spread_sheets
from zcd.show.wording import SourceNotes, plain, to_ascii, verdict_text

if TYPE_CHECKING:
    from zcd.margin.loss_share import LossShare
    from zcd.margin.maps import LossMap

WIDEST = 100
OUTLOOK_HINT = (
    "`zcd check BOARD --outlook` adds, in a few seconds: what makes the CTR headroom differ from "
    "board to board, and when the worst corner, the first board in a hundred and half of the "
    "boards lose sync."
)

# Only a line under the heads, in plain hyphens.
PLAIN_BOX = Box(
    "    \n    \n -- \n    \n    \n    \n    \n    \n",
    ascii=True,
)


def print_check(check: Check, console: Console) -> None:
    """Print what a check found, the verdict first.

    Parameters
    ----------
    check : Check
    console : Console
        Unicode and bold only where it is a terminal that can show them.
    """
    notes = SourceNotes()
    print_line(plain(check.board.name), console, bold=True)
    print_line(verdict_text(check), console, bold=True)
    for line in failed_lines(check):
        print_line(line, console, indent=2)
    print_line(board_line(check.board), console)
    for sheet in (
        levels_sheet(check),
        resistors_sheet(check),
        headroom_sheet(check),
        life_sheet(check),
        rules_sheet(check, notes),
        shorts_sheet(check),
        surge_sheet(check, notes),
        *spread_sheets(check, notes),
    ):
        print_sheet(sheet, console)
    _print_outlook(check, console)
    print_list("Read again", odd_values(check.board), console)
    print_sheet(assumptions_sheet(check.board, notes), console)
    print_notes(notes, console)
    print_cautions(TOUCHED, console)


def _print_outlook(check: Check, console: Console) -> None:
    """What lies ahead of the board, or how to learn it."""
    if check.outlook is None:
        print_heading("Which part decides, and for how many years it holds", console)
        print_line(OUTLOOK_HINT, console, indent=1)
        return
    from zcd.show.checked.outlook_sheets import outlook_sheets

    for sheet in outlook_sheets(check):
        print_sheet(sheet, console)


def print_map(board: Board, loss_map: LossMap, loss_share: LossShare, console: Console) -> None:
    """Print what a map of lost sync says."""
    from zcd.show.checked.map_words import map_lines, map_sheet, map_title

    print_line(plain(board.name), console, bold=True)
    print_line(f"{map_title(loss_map)}.", console, bold=True)
    print_sheet(map_sheet(loss_map), console)
    console.print()
    for line in map_lines(loss_map, loss_share):
        print_line(line, console, indent=1)
    print_sheet(assumptions_sheet(board, notes := SourceNotes()), console)
    print_notes(notes, console)


def print_heading(text: str, console: Console) -> None:
    """Print a heading after an empty line."""
    console.print()
    print_line(text, console, bold=True)


def print_line(text: str, console: Console, *, bold: bool = False, indent: int = 0) -> None:
    """Print one paragraph, wrapped, as it is: nothing in it is markup."""
    style = "bold" if bold else ""
    body = Padding(Text(_spell(text, console), style=style), (0, 0, 0, indent))
    console.print(body, width=_width(console), highlight=False)


def print_sheet(sheet: Sheet, console: Console) -> None:
    """Print one table with its title and remark; without rows only title and remark."""
    print_heading(sheet.title, console)
    if sheet.rows:
        console.print(_table(sheet, console), width=_width(console), highlight=False)
    if sheet.remark:
        print_line(sheet.remark, console, indent=1)


def print_list(title: str, lines: Iterable[str], console: Console) -> None:
    """Print lines under a heading; nothing if there are none."""
    lines = tuple(lines)
    if lines:
        print_heading(title, console)
        _print_pairs((("-", line) for line in lines), console)


def print_notes(notes: SourceNotes, console: Console) -> None:
    """Print where limits and values come from, letters first, then the numbered sources."""
    if notes.origins:
        print_heading("Where limits and values come from", console)
        _print_pairs(notes.origins, console)
    if notes.sources:
        print_heading("Sources", console)
        _print_pairs(((f"[{number}]", text) for number, text in notes.sources), console)


def print_cautions(cautions: Iterable[Caution], console: Console) -> None:
    """Print cautions, each with who asks for it."""
    print_list("CAUTION before the board is touched", map(_caution_text, cautions), console)


def _caution_text(caution: Caution) -> str:
    return f"{caution.text} ({caution.source})"


def _print_pairs(pairs: Iterable[tuple[str, str]], console: Console) -> None:
    """Print marks with paragraphs that hang from them."""
    grid = Table.grid(padding=(0, 1))
    grid.add_column(no_wrap=True, justify="right")
    grid.add_column(overflow="fold")
    for mark, text in pairs:
        grid.add_row(Text(mark), Text(_spell(text, console)))
    console.print(Padding(grid, (0, 0, 0, 1)), width=_width(console), highlight=False)


def _table(sheet: Sheet, console: Console) -> Table:
    fancy = console.is_terminal and _knows_unicode(console)
    table = Table(
        box=SIMPLE_HEAD if fancy else PLAIN_BOX, show_edge=False, header_style="", safe_box=False
    )
    for index, head in enumerate(sheet.columns):
        table.add_column(
            Text(_spell(head, console)),
            justify="right" if index in sheet.right else "left",
            overflow="fold",
        )
    for row in sheet.rows:
        style = "bold" if FAILS in row else ""
        table.add_row(*(Text(_spell(cell, console)) for cell in row), style=style)
    return table


def _spell(text: str, console: Console) -> str:
    return text if _knows_unicode(console) else to_ascii(text)


def _knows_unicode(console: Console) -> bool:
    return console.encoding.lower().replace("-", "").startswith("utf")


def _width(console: Console) -> int:
    return min(console.width, WIDEST)
