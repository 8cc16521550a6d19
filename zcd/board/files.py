"""Read a board file: TOML, checked, completed.

Every problem is one line that names the file, the key, what was found and what is allowed; the
items of a list are counted from 1, like the parts on a board.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from pydantic import ValidationError

from zcd.board.build import build_board
from zcd.board.model import Board
from zcd.board.rules import problems
from zcd.board.schema import BoardFile, Table
from zcd.board.units import nearest, refusal, show_found
from zcd.errors import InputError

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

LARGEST_FILE_BYTES = 1_000_000
_BOARD_FILE = "a board file, TOML in UTF-8, up to 1 MB"
_MOST_LINES = 20


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
    return parse_board(_read_text(path), name=path.name)


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
    if not text.strip():
        raise InputError(f"{name}: found an empty file; allowed: {_BOARD_FILE}")
    try:
        return board_from_dict(tomllib.loads(text), name)
    except tomllib.TOMLDecodeError as error:
        found = f"text that is no TOML: {error}"
    except RecursionError:
        found = "lists or tables nested too deep"
    except ValueError as error:
        if isinstance(error, InputError):
            raise
        found = "a number with too many digits"
    raise InputError(f'{name}: found {found}; allowed: lines such as supply = "5 V"')


def board_from_dict(found: Mapping[str, Any], name: str = "board.toml") -> Board:
    """Make a board from the keys and values of a board file.

    Parameters
    ----------
    found : mapping
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
    try:
        file = BoardFile.model_validate(found)
    except ValidationError as error:
        lines = _schema_lines(error, found)
    else:
        lines = [_short(line, found) for line in problems(file)]
        if not lines:
            return build_board(file, Path(name).stem)
    if len(lines) > _MOST_LINES:
        lines[_MOST_LINES:] = [f"found {len(lines) - _MOST_LINES} more problems; allowed: none"]
    raise InputError("\n".join(f"{name}: {line}" for line in lines))


def _read_text(path: Path) -> str:
    """Text of a small UTF-8 file; a byte order mark, which some editors write, is dropped."""
    data = _read_bytes(path)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        found = f"bytes that are not UTF-8 text in line {line}"
    raise InputError(f"{_file_name(path)}: found {found}; allowed: {_BOARD_FILE}")


def _read_bytes(path: Path) -> bytes:
    try:
        if path.is_file():
            size = path.stat().st_size
            if size <= LARGEST_FILE_BYTES:
                return path.read_bytes()
            found = f"{size} bytes"
        elif path.is_dir():
            found = "a directory"
        else:
            found = "no ordinary file" if path.exists() else "no such file"
    except OSError as error:
        found = f"a file that cannot be read ({error.strerror})"
    raise InputError(f"{_file_name(path)}: found {found}; allowed: {_BOARD_FILE}")


def _file_name(path: Path) -> str:
    return "".join(c if c.isprintable() else "?" for c in path.name or str(path))


def _schema_lines(error: ValidationError, found: Mapping[str, Any]) -> list[str]:
    """Problems with single keys; a list is not blamed for an item that is."""
    details = error.errors(include_url=False)
    blamed = {detail["loc"][:depth] for detail in details for depth in range(len(detail["loc"]))}
    return [_line(detail, found) for detail in details if detail["loc"] not in blamed]


def _line(detail: ErrorDetails, found: Mapping[str, Any]) -> str:
    """One problem found by the schema, as key, what was found and what is allowed."""
    key = _dotted(_written_location(detail["loc"], found))
    cause = detail.get("ctx", {}).get("error")
    if isinstance(cause, InputError):
        return f"{key}: {cause}"
    table, name = _table_at(detail["loc"])
    if detail["type"] == "extra_forbidden":
        known = tuple(table.model_fields)
        return str(refusal(name, f"{', '.join(known)}{nearest(name, known)}", key))
    value = None if detail["type"] == "missing" else detail["input"]
    return str(refusal(value, table.model_fields[name].description or detail["msg"], key))


def _short(line: str, found: Mapping[str, Any]) -> str:
    """Name the key as written: optocoupler, not optocoupler.family, in optocoupler = "817"."""
    key, _, rest = line.partition(":")
    first, _, _ = key.partition(".")
    return line if isinstance(found.get(first), Mapping | None) else f"{first}:{rest}"


def _written_location(location: tuple[int | str, ...], found: object) -> tuple[int | str, ...]:
    """Cut off what a short form does not show: mains.voltage is mains in mains = "230"."""
    for depth, step in enumerate(location):
        if isinstance(found, Mapping):
            found = found.get(str(step))
        elif isinstance(found, list) and isinstance(step, int):
            found = found[step]
        else:
            return location[:depth]
    return location


def _dotted(location: tuple[int | str, ...]) -> str:
    return "".join(map(_step, location)).removeprefix(".")


def _step(step: int | str) -> str:
    if isinstance(step, int):
        return f"[{step + 1}]"
    return f".{step}" if re.fullmatch(r"[\w-]{1,40}", step) else f".{show_found(step)}"


def _table_at(location: tuple[int | str, ...]) -> tuple[type[Table], str]:
    """Table and key of a location; list positions belong to the key that holds the list."""
    names = [step for step in location if isinstance(step, str)]
    table: type[Table] = BoardFile
    for name in names[:-1]:
        table = _table_in(table.model_fields[name].annotation) or table
    return table, names[-1]


def _table_in(annotation: Any) -> type[Table] | None:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    inner = (_table_in(argument) for argument in get_args(annotation))
    return next((table for table in inner if table is not None), None)
