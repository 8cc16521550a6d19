"""What the markings of a board file were taken for, as a sentence."""

from __future__ import annotations

from zcd.board.model import Board
from zcd.report.text import plain


def read_as_line(board: Board) -> str:
    """Codes and plates with what they were read as; empty where there are none."""
    refs: dict[str, list[str]] = {}
    for note in board.read_as:
        said = f'"{note.printed}" = {note.meaning}'
        refs.setdefault(said, []).append(_place(board, note.key))
    parts = (f"{', '.join(dict.fromkeys(names))} {said}" for said, names in refs.items())
    return plain(f"Read as: {'; '.join(parts)}.") if refs else ""


def _place(board: Board, key: str) -> str:
    """The part at a key, or the key in words."""
    places = {} if board.description is None else board.description.places
    parts = {where: ref for ref, where in places.items()}
    return parts.get(key) or parts.get(key.rpartition(".")[0]) or key.replace("_", " ")
