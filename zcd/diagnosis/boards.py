"""The boards of a folder: those that have been described before, to begin with one of them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from zcd.board.files import board_from_dict
from zcd.board.model import Board
from zcd.board.toml_files import parse_toml, read_text
from zcd.diagnosis.job_history import toml_files
from zcd.errors import InputError
from zcd.files import file_name

_WANTED = "a board file"


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardEntry:
    """A file that describes a board.

    Parameters
    ----------
    file : Path
    board : Board or None
        None: it has problems.
    problem : str
        The first one.
    """

    file: Path
    board: Board | None
    problem: str = ""


def find_boards(folder: str | Path, words: str = "") -> tuple[BoardEntry, ...]:
    """Board files in a folder.

    Parameters
    ----------
    folder : str or Path
    words : str
        Only those with all of them in the file's name, the board's name or its parts.

    Returns
    -------
    boards : tuple of BoardEntry
        By file name.

    Raises
    ------
    InputError
        If there is no such folder.
    """
    wanted = words.casefold().split()
    entries = (_entry(path) for path in toml_files(folder, "board files"))
    return tuple(
        entry for entry in entries if entry and all(word in _text(entry) for word in wanted)
    )


def _entry(path: Path) -> BoardEntry | None:
    """The board of a file; None where it is a job, a drawer or something else that can be read."""
    try:
        keys = parse_toml(read_text(path, _WANTED), file_name(path), _WANTED)
    except InputError as error:
        return _unread(path, error)
    if keys.keys().isdisjoint({"optocoupler", "circuit"}) or "board" in keys:
        return None
    try:
        return BoardEntry(file=path, board=board_from_dict(keys, file_name(path)))
    except InputError as error:
        return _unread(path, error)


def _unread(path: Path, error: InputError) -> BoardEntry:
    """A file that cannot be read, with what is wrong first."""
    return BoardEntry(file=path, board=None, problem=str(error).splitlines()[0])


def _text(entry: BoardEntry) -> str:
    """What a search looks at."""
    board = entry.board
    if board is None:
        return entry.file.name.casefold()
    parts = [entry.file.name, board.name, str(board.topology)]
    parts += [] if board.optocoupler is None else [board.optocoupler.family]
    parts += [] if board.transistor is None else [board.transistor.part]
    parts += [diode.part for diode in board.diodes]
    return " ".join(parts).casefold()
