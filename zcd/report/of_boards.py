"""The boards of a folder as a table of words, and as data."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from zcd.board.model import Board
from zcd.diagnosis.boards import BoardEntry
from zcd.errors import plain
from zcd.margin.stress import chain_resistors
from zcd.report.table import Table
from zcd.report.text import count_text, quantity_text
from zcd.serialize import Record

_LINE = re.compile(r"^(line \d+): found ")
_AFTER_LINE = r"\1, "


NOT_BELOW = (" Folders below this one are not searched.", "")
"""What to know where nothing was found."""


def boards_table(entries: Sequence[BoardEntry]) -> Table:
    """A row for each board; what cannot be read follows them."""
    unread = [unread_text(entry.file.name, entry.problem) for entry in entries if entry.problem]
    rows = tuple(_row(entry.file.name, entry.board) for entry in entries if entry.board)
    return Table(
        title="Boards",
        columns=("file", "board", "circuit"),
        rows=rows,
        remark="\n".join((f"{count_text(len(rows), 'board')}.{NOT_BELOW[bool(entries)]}", *unread)),
        unbroken=(0,),
    )


def boards_to_dict(entries: Sequence[BoardEntry], folder: str) -> Record:
    """The same for other programs."""
    return {"folder": folder, "boards": [_record(entry) for entry in entries]}


def unread_text(name: str, problem: str) -> str:
    """Why a file is not in the table."""
    found, _, _ = problem.removeprefix(f"{name}: ").partition("; allowed: ")
    return f"{plain(name)} cannot be read: {plain(_LINE.sub(_AFTER_LINE, found))}."


def _row(name: str, board: Board) -> tuple[str, ...]:
    values = Counter(quantity_text(r.resistance_ohm, "Ω") for r in chain_resistors(board))
    ohms = ", ".join(f"{n} x {value}" if n > 1 else value for value, n in values.items())
    circuit = (_mains(board), str(board.topology), ohms, _coupler(board).removesuffix(" any"))
    return plain(name), plain(board.name.partition(",")[0]), ", ".join(circuit)


def _record(entry: BoardEntry) -> Record:
    board = entry.board
    return {
        "file": entry.file.name,
        "board": None if board is None else board.name,
        "topology": None if board is None else str(board.topology),
        "mains_rms_v": None if board is None else board.mains.rms_v,
        "mains_hz": None if board is None else board.mains.frequency_hz,
        "optocoupler": None if board is None else _coupler(board),
        "problem": entry.problem or None,
    }


def _mains(board: Board) -> str:
    return f"{board.mains.rms_v:g} V {board.mains.frequency_hz:g} Hz"


def _coupler(board: Board) -> str:
    opto = board.optocoupler
    if opto is None:
        return "none: NOT isolated"
    return f"{opto.family} {opto.grade}".strip()
