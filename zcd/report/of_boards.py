"""The boards of a folder as a table of words, and as data."""

from __future__ import annotations

from collections.abc import Sequence

from zcd.board.model import Board
from zcd.jobs.boards import BoardEntry
from zcd.margin.stress import chain_resistors
from zcd.report.table import Table
from zcd.report.text import plain, quantity_text
from zcd.serialize import Record


def boards_table(entries: Sequence[BoardEntry]) -> Table:
    """A row for each board."""
    return Table(
        title="Boards",
        columns=("file", "board", "mains", "circuit", "resistors", "optocoupler"),
        rows=tuple(_row(entry) for entry in entries),
        remark=f"{len(entries)} board{'' if len(entries) == 1 else 's'}.",
    )


def boards_to_dict(entries: Sequence[BoardEntry], folder: str) -> Record:
    """The same for other programs."""
    return {"folder": folder, "boards": [_record(entry) for entry in entries]}


def _row(entry: BoardEntry) -> tuple[str, ...]:
    name, board = plain(entry.file.name), entry.board
    if board is None:
        return name, f"cannot be read: {plain(entry.problem)}", "-", "-", "-", "-"
    ohms = ", ".join(quantity_text(r.resistance_ohm, "Ω") for r in chain_resistors(board))
    return name, plain(board.name), _mains(board), str(board.topology), ohms, _coupler(board)


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
    return f"{opto.family} {opto.grade}".strip()
