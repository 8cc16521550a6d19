"""Read a board file: TOML, checked, completed."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from zcd.board.as_printed import as_printed, spread
from zcd.board.build import build_board
from zcd.board.consistency import problems, unknown_names
from zcd.board.model import Board
from zcd.board.schema import BoardFile, TracedBoardFile
from zcd.board.toml_files import parse_toml, read_text, refuse, require_lengths, validate
from zcd.board.traced import KEY as CIRCUIT_KEY
from zcd.board.traced import couplers_apart, read_traced
from zcd.errors import InputError
from zcd.files import file_name

BOARD_FILE = "a board file, TOML in UTF-8, up to 1 MB (zcd new makes one)"
STAND_IN: dict[str, dict[str, Any]] = {
    "mains": {"voltage": "230 V"},
    "chain": {"resistors": ["120k"]},
    "optocoupler": {"family": "817"},
    "output": {"pull_up": "10k", "supply": "5 V"},
}
"""What a file must have, good by itself: for the checks of the rest where that is wrong."""


def load_board(path: str | Path) -> Board:
    """Read a board file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Board
        Complete; `assumptions` lists what the file does not say.

    Raises
    ------
    InputError
        If the file cannot be read, or does not describe a board; one line for each problem.
    """
    path = Path(path)
    return _parsed(read_text(path, BOARD_FILE), file_name(path))


@lru_cache(maxsize=16)
def _parsed(text: str, name: str) -> Board:
    """The board of a text; nothing changes one, so that the same text may give the same board."""
    return parse_board(text, name)


def parse_board(text: str, name: str = "board.toml") -> Board:
    """Read a board from the text of a board file.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        The file's name, for messages; without its ending, the board's name if none is written.

    Returns
    -------
    Board

    Raises
    ------
    InputError
        If it does not describe a board; one line for each problem.

    Examples
    --------
    >>> board = parse_board('''
    ... mains = "230 V"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["120k", "120k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> [part.ref for part in board.chains[0]], board.mains.low_rms_v
    (['R1', 'R2'], 207.0)
    """
    return board_from_dict(parse_toml(text, name, BOARD_FILE), name)


def board_from_dict(value: Mapping[str, Any], name: str = "board.toml") -> Board:
    """Make a board from the keys and values of a board file.

    Parameters
    ----------
    value : mapping
        What TOML gives.
    name : str
        As in `parse_board`.

    Returns
    -------
    Board

    Raises
    ------
    InputError
        If it does not describe a board; one line for each problem.
    """
    if {"board", "readings"} & value.keys():
        raise InputError(f"{name}: found a job file; allowed: {BOARD_FILE}")
    require_lengths(value, name)
    value = couplers_apart(spread(value))
    printed = as_printed(value)
    schema = BoardFile
    if CIRCUIT_KEY in value:
        read_traced(printed)
        schema = TracedBoardFile
    file, lines = validate(schema, printed.value, value)
    refused = {line.partition(": ")[0] for line in printed.problems}
    lines = [*printed.problems, *(x for x in lines if x.partition(": ")[0] not in refused)]
    if file is not None and not lines:
        lines = [_short(line, value) for line in problems(file)]
        if not lines:
            return build_board(
                file, Path(name).stem, value, printed.notes, printed.unknown, printed.references
            )
    else:
        rest, _ = validate(schema, _without(printed.value, lines))
        lines += [_short(line, value) for line in unknown_names(rest)] if rest else []
    raise refuse(name, lines)


def _without(given: Mapping[str, Any], lines: list[str]) -> dict[str, Any]:
    """The file without the keys that these lines blame; what must be there stands in."""
    blamed = {".".join(line.partition(":")[0].split("[")[0].split(".")[:2]) for line in lines}
    kept = {key: value for key, value in given.items() if key not in blamed}
    for name, value in kept.items():
        if isinstance(value, Mapping):
            kept[name] = {k: v for k, v in value.items() if f"{name}.{k}" not in blamed}
    if "optocoupler.family" in blamed:
        del kept["optocoupler"]  # of its other keys nothing can be said
    for name, stand_in in STAND_IN.items():
        value = kept.setdefault(name, stand_in)
        if isinstance(value, Mapping):
            kept[name] = {**stand_in, **value}
    return kept


def _short(line: str, value: Mapping[str, Any]) -> str:
    """Name the key as written: optocoupler, not optocoupler.family, in optocoupler = "817"."""
    key, _, rest = line.partition(":")
    first, _, _ = key.partition(".")
    return line if isinstance(value.get(first), Mapping | None) else f"{first}:{rest}"
