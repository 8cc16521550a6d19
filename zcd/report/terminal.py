"""Documents on a terminal: readable at 80 columns, without colour, and when piped."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from io import StringIO

from rich.box import SIMPLE_HEAD, Box
from rich.console import Console, JustifyMethod
from rich.padding import Padding
from rich.table import Table as RichTable
from rich.text import Text

from zcd.board.model import Board
from zcd.report.document import (
    Block,
    BulletList,
    Cautions,
    Document,
    Facts,
    Notes,
    Paragraph,
    Picture,
    Verdict,
)
from zcd.report.table import FAIL, Table
from zcd.report.text import to_ascii, wrapped

MAX_WIDTH = 100
SCREEN_COLUMNS, SCREEN_LINES = 80, 25
BESIDE_MARKS = 2
"""Columns before a mark and between it and its paragraph."""
MOST_UNBROKEN = 40
"""Letters of the longest cell with which a column is still kept in one piece."""

# Only a line under the headings, in plain hyphens.
PLAIN_BOX = Box(
    "    \n    \n -- \n    \n    \n    \n    \n    \n",
    ascii=True,
)


def print_document(document: Document, console: Console) -> None:
    """Print a document; pictures are left out.

    Parameters
    ----------
    document : Document
    console : Console
        Unicode and bold only where it is a terminal that can show them.
    """
    if document.title:
        _line(document.title, console, bold=True)
    for number, section in enumerate(document.resolved().sections):
        first = section.blocks[0]
        # a table has a title of its own, and a verdict needs none
        if section.title and not isinstance(first, Table | Verdict | Notes):
            _heading(section.title, console)
        elif number and not isinstance(first, Table | Notes):
            console.print()
        for block in section.blocks:
            _print_block(block, console)


def fits_a_screen(document: Document, below: int = 0) -> bool:
    """Whether a document, with a line on what is not in it, and with so many lines below it, is no
    longer than a screen."""
    return len(document_text(document, SCREEN_COLUMNS).splitlines()) + below < SCREEN_LINES


def longest_on_a_screen(
    make: Callable[[int], Document], board: Board, most: int, least: int = 1, *, below: int = 0
) -> Document:
    """The longest of some documents that, as it is for a board, is no longer than a screen; else
    the shortest."""
    for length in range(most, least, -1):
        document = make(length)
        if fits_a_screen(document.on_board(board), below):
            return document
    return make(least)


def document_text(document: Document, width: int = MAX_WIDTH) -> str:
    """What `print_document` prints on so many columns, as text."""
    file = StringIO()
    print_document(
        document,
        Console(
            file=file, width=width, force_terminal=False, force_jupyter=False, color_system=None
        ),
    )
    return "\n".join(line.rstrip() for line in file.getvalue().strip("\n").splitlines())


def _print_block(block: Block, console: Console) -> None:
    match block:
        case Paragraph():
            _line(block.text, console, bold=block.weight == "strong")
        case Verdict():
            _line(block.text, console, bold=True)
        case BulletList():
            _pairs((("-", line) for line in block.lines), console)
        case Facts():
            _pairs(block.pairs, console, justify="left")
        case Table():
            _table(block, console)
        case Notes():
            _notes(block, console)
        case Cautions():
            for title, cautions in block.groups:
                if title:
                    _line(title, console)
                _pairs((("-", f"{c.text} ({c.source})") for c in cautions), console)
        case Picture():
            pass


def _heading(text: str, console: Console) -> None:
    """Print a heading, if there is one, after an empty line."""
    console.print()
    if text:
        _line(text, console, bold=True)


def _line(text: str, console: Console, *, bold: bool = False, indent: int = 0) -> None:
    """Print one paragraph, wrapped, as it is: nothing in it is markup."""
    style = "bold" if bold else ""
    lines = wrapped(_spell(text, console), _width(console) - indent)
    body = Padding(Text(lines, style=style), (0, 0, 0, indent))
    console.print(body, width=_width(console), highlight=False)


def _table(table: Table, console: Console) -> None:
    """Print one table with its title and remark; without rows only title and remark."""
    _heading(table.title, console)
    if table.rows:
        console.print(_rich_table(table, console), width=_width(console), highlight=False)
    if table.remark:
        _line(table.remark, console, indent=1)


def _rich_table(table: Table, console: Console) -> RichTable:
    fancy = console.is_terminal and _knows_unicode(console)
    laid_out = RichTable(
        box=SIMPLE_HEAD if fancy else PLAIN_BOX, show_edge=False, header_style="", safe_box=False
    )
    for index, heading in enumerate(table.columns):
        laid_out.add_column(
            Text(_spell(heading, console)),
            justify="right" if index in table.right else "left",
            overflow="fold",
            no_wrap=index in table.unbroken
            and max(len(row[index]) for row in table.rows) <= MOST_UNBROKEN,
        )
    for row in table.rows:
        style = "bold" if FAIL in row else ""
        laid_out.add_row(*(Text(_spell(cell, console)) for cell in row), style=style)
    return laid_out


def _notes(notes: Notes, console: Console) -> None:
    """Print where limits and values come from, letters first, then the numbered sources."""
    if notes.origins:
        _heading("Where limits and values come from", console)
        _pairs(notes.origins, console)
    if notes.sources:
        _heading("Sources", console)
        _pairs(((f"[{number}]", text) for number, text in notes.sources), console)


def _pairs(
    pairs: Iterable[tuple[str, str]], console: Console, justify: JustifyMethod = "right"
) -> None:
    """Print marks with paragraphs that hang from them."""
    grid = RichTable.grid(padding=(0, 1))
    grid.add_column(no_wrap=True, justify=justify)
    grid.add_column(overflow="fold")
    rows = tuple(pairs)
    room = _width(console) - max((len(mark) for mark, _ in rows), default=0) - BESIDE_MARKS
    for mark, text in rows:
        grid.add_row(Text(mark), Text(wrapped(_spell(text, console), room)))
    console.print(Padding(grid, (0, 0, 0, 1)), width=_width(console), highlight=False)


def _spell(text: str, console: Console) -> str:
    return text if _knows_unicode(console) else to_ascii(text)


def _knows_unicode(console: Console) -> bool:
    return console.encoding.lower().replace("-", "").startswith("utf")


def _width(console: Console) -> int:
    return min(console.width, MAX_WIDTH)
