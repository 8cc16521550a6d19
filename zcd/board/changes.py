"""A board with some of its keys or parts changed, as if its file had been written so."""

from __future__ import annotations

from copy import deepcopy
from typing import TYPE_CHECKING, Any

from zcd.board.as_printed import NAMED_CAPACITOR
from zcd.board.files import board_from_dict
from zcd.board.schema import BoardFile
from zcd.board.toml_files import table_in
from zcd.board.traced import KEY, with_marking
from zcd.board.units import nearest
from zcd.errors import InputError, invalid_value

if TYPE_CHECKING:
    from zcd.board.model import Board

_SHORT = {"rectifier": "part", "clamp": "part", "optocoupler": "family"}


def with_changes(board: Board, changes: dict[str, Any]) -> Board:
    """Change keys or parts of a board.

    Parameters
    ----------
    board : Board
        Read from a board file or its text.
    changes : dict
        By reference of a part, or by key: a table of the file (``mains``), a key that only one
        table has (``pull_up``), or any key with its table (``output.supply``).

    Returns
    -------
    board : Board

    Raises
    ------
    InputError
        If there is no such part or key, or the changed board is none.
    """
    if board.description is None:
        raise InputError("the board must come from a board file or its text to be changed")
    written = deepcopy(dict(board.description.written))
    for name, value in changes.items():
        _put(written, _place(board, name), value)
    return board_from_dict(written, board.name)


def _place(board: Board, name: str) -> str:
    """Key of a board file that a name stands for."""
    assert board.description is not None
    places = dict(board.description.places)
    keys = _keys()
    if name in places:
        return places[name]
    if name in BoardFile.model_fields or name in keys.values():
        return name
    if name in keys:
        return keys[name]
    allowed = f"a part of this board ({', '.join(places)}) or a key of its file such as pull_up"
    raise invalid_value(name, f"{allowed}{nearest(name, (*places, *keys))}")


def _keys() -> dict[str, str]:
    """Keys that only one table of the file has, by their name."""
    result: dict[str, list[str]] = {}
    for table, info in BoardFile.model_fields.items():
        inner = table_in(info.annotation)
        for key in inner.model_fields if inner is not None else ():
            result.setdefault(key, []).append(f"{table}.{key}")
    names = {key: where[0] for key, where in result.items() if len(where) == 1}
    return {**names, **{where: where for all_of in result.values() for where in all_of}}


def _put(written: dict[str, Any], place: str, value: Any) -> None:
    """Put a value in its place; of a part, only its value or name is changed."""
    table, _, ref = place.partition(".")
    if table == KEY and ref:
        written[KEY] = with_marking(written[KEY], ref, str(value))
        return
    *tables, last = place.replace("]", "").replace("[", ".").split(".")
    holder: Any = written
    for name in tables:
        if isinstance(holder, list):
            holder = holder[int(name) - 1]
        else:
            inner = holder.setdefault(name, {})
            if not isinstance(inner, dict | list):
                inner = holder[name] = {_SHORT.get(name, "value"): inner}
            holder = inner
    key: Any = int(last) - 1 if isinstance(holder, list) else last
    old = holder[key] if isinstance(holder, list) else holder.get(key)
    if isinstance(old, dict) and not isinstance(value, dict):
        holder[key] = {**old, _SHORT.get(last, "value"): value} if _is_part(last, old) else value
    elif isinstance(old, str) and (named := NAMED_CAPACITOR.match(old)):
        holder[key] = f"{named[0]}{value}"
    else:
        holder[key] = value


def _is_part(name: str, old: dict[str, Any]) -> bool:
    return name in _SHORT or "value" in old
