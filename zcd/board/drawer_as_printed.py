"""A drawer file with parts as people list them: markings, counts and ratings in one text."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from zcd.board.as_printed import (
    Reader,
    capacitor_as_printed,
    diode_as_printed,
    resistor_as_printed,
    resistors_in,
    with_problem,
)
from zcd.board.markings import capacitor_marking
from zcd.board.parts_library import UNKNOWN_CHIP
from zcd.board.unknown_values import nobody_knows
from zcd.errors import invalid_value

Item = dict[str, Any]
NOT_KNOWN = "a part that can be read; measure it, or leave it out"

_COUNT_FIRST = re.compile(
    r"(?P<count>\d{1,5})\s*(?:[x×*]|pcs\.?|pieces?(?: of)?)\s*(?P<part>\S.*)", re.IGNORECASE
)
_COUNT_LAST = re.compile(
    r"(?P<part>\S.*?)(?:\s+(?:[x×*]\s*|X\s+)(?P<count>\d{1,5})"
    r"|,?\s+(?P<pieces>\d{1,5})\s*(?:pcs\.?|pieces?))"
)
_CLASS = re.compile(r"\b(?:class\s*)?([XY][12])\b", re.IGNORECASE)
_VOLTS = re.compile(r"(\d+(?:[.,]\d+)?\s*k?V)(?:\s*(?:AC|DC|~))*(?=\W|$)", re.IGNORECASE)


def drawer_as_printed(value: Mapping[str, Any]) -> Reader:
    """Read the items of a drawer file.

    Parameters
    ----------
    value : mapping
        Keys and values as written.

    Returns
    -------
    Reader
        Its `value` is what the schema reads; a problem begins with its item's key.
    """
    reader = Reader(dict(value))
    for kind, (name, read) in _READERS.items():
        items = reader.value.get(kind)
        if isinstance(items, list):
            reader.value[kind] = [
                _item(reader, item, name, f"{kind}[{number}]", read)
                for number, item in enumerate(items, start=1)
            ]
    return reader


def _item(
    reader: Reader, item: Any, name: str, key: str, read: Callable[[Reader, Item, str], None]
) -> Any:
    """One item as a table; what is no text is left to the schema."""
    table = dict(item) if isinstance(item, dict) else {name: item}
    text = table.get(name)
    if isinstance(text, str) and "count" not in table:
        shown = text.strip()
        if match := _COUNT_FIRST.fullmatch(shown) or _COUNT_LAST.fullmatch(shown):
            found = match.groupdict()
            table[name] = found["part"]
            table["count"] = int(found["count"] or found["pieces"])
    if isinstance(table.get(name), str):
        if nobody_knows(table[name]):
            reader.refuse(key, table[name], NOT_KNOWN)
        else:
            with_problem(reader, lambda: read(reader, table, key))
    elif isinstance(table.get("values"), list):
        with_problem(reader, lambda: _values(reader, table, key))
    return table if isinstance(item, dict) or isinstance(text, str) else item


def _resistor(reader: Reader, table: Item, key: str) -> None:
    texts = resistors_in(table["value"])
    if len(texts) > 1:
        del table["value"]
        table["values"] = texts
        _values(reader, table, key)
        return
    table |= _ohms(reader, {**table, "value": texts[0]}, key)


def _values(reader: Reader, table: Item, key: str) -> None:
    """Several values, each read; what they share stays with the table."""
    if any(isinstance(one, dict) and "value" not in one for one in table["values"]):
        return  # no values at all: left to the schema
    read = [_ohms(reader, {"value": one}, key) for one in table["values"]]
    table["values"] = [one["value"] for one in read]
    for one in read:
        table.update({k: v for k, v in one.items() if k != "value" and k not in table})


def _ohms(reader: Reader, table: Item, key: str) -> Item:
    before = len(reader.notes)
    read = resistor_as_printed(reader, table.get("value"), key, table.get("style"))
    if key in reader.unknown:
        raise invalid_value(table["value"], NOT_KNOWN, key)
    result = {
        **(read if isinstance(read, dict) else {"value": read}),
        **{name: given for name, given in table.items() if name != "value"},
    }
    result.pop("ref", None)
    if any(note.on_chip for note in reader.notes[before:]):
        result.setdefault("style", UNKNOWN_CHIP)
    return result


def _capacitor(reader: Reader, table: Item, key: str) -> None:
    text = table["value"]
    if found := _CLASS.search(text):
        table.setdefault("safety_class", found[1].upper())
    if found := _VOLTS.search(text):
        table.setdefault("voltage", found[1])
    elif (marks := capacitor_marking(text.strip().partition(" ")[0])) and marks[0].rated_v:
        table.setdefault("voltage", marks[0].rated_v)
    table["value"] = capacitor_as_printed(reader, text, key)


def _diode(reader: Reader, table: Item, key: str) -> None:
    table["part"] = diode_as_printed(reader, table["part"], key)


def _as_it_is(reader: Reader, table: Item, key: str) -> None:
    """Read elsewhere."""


_READERS: dict[str, tuple[str, Callable[[Reader, Item, str], None]]] = {
    "resistors": ("value", _resistor),
    "optocouplers": ("family", _as_it_is),
    "diodes": ("part", _diode),
    "capacitors": ("value", _capacitor),
    "drive_parts": ("part", _as_it_is),
}
"""Lists of a drawer: the key of a plain text, and who reads it."""
