"""The fields of the board sheet: every key of a board file, with a label and an example."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

from zcd import refdata
from zcd.board.keys import Key, NameReader, holds, key_of, reader_of
from zcd.board.schema import BoardFile, HarmonicTable, ResistorTable, Table
from zcd.board.toml_files import table_in
from zcd.board.traced import KEY as CIRCUIT

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

DETAILS = ("ref", "tolerance", "style", "power", "working_voltage")
"""What a board file may say of a resistor beside its value."""
SINGLES = ("output.pull_up", "output.pull_down", "led.resistor")
"""Resistors that stand alone."""
PARALLEL = "chain.parallel"
SAID = {"true": "yes", "false": "no", "": "not set"}
"""How the page says what a file says otherwise."""
LONG_HINT = 16
"""Letters from which an example has no room for more words beside it."""
FIRST = (
    "name", "mains.voltage", "feed.kind", "chain.resistors", "rectifier.part",
    "optocoupler.family", "output.pull_up", "output.supply",
)  # fmt: skip
"""Fields, and a string, that are never folded away."""
FIRST_TRACED = (*FIRST[:3], CIRCUIT, *FIRST[5:])
"""The same where each part stands in a line of the circuit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field.

    Parameters
    ----------
    key : str
        Dotted key of the board file; of a resistor in a string with its row's number.
    label : str
    hint : str
        An example.
    choices : tuple of str
        What a list offers; empty: free text.
    kind : str
        ``text``, ``lines`` (with a semicolon between), ``whole`` (a number without a unit) or
        ``truth`` (true or false).
    """

    key: str
    label: str
    hint: str = ""
    choices: tuple[str, ...] = ()
    kind: str = "text"

    @property
    def id(self) -> str:
        """Its id on the page."""
        return "field-" + self.key.replace(".", "-")


@dataclass(frozen=True, slots=True, kw_only=True)
class String:
    """Resistors in series: rows of a table.

    Parameters
    ----------
    key : str
        Of the list in the board file, the strings of a parallel list numbered from 1.
    label : str
    """

    key: str
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Fields under a heading; `more` and `more_strings` are folded away while they are empty."""

    title: str
    fields: tuple[Field, ...] = ()
    strings: tuple[String, ...] = ()
    more: tuple[Field, ...] = ()
    more_strings: tuple[String, ...] = ()

    @property
    def id(self) -> str:
        """Its id on the page."""
        return "group-" + self.title.lower().replace(" ", "-")


@lru_cache(maxsize=512)
def row_fields(row: str, words: str) -> tuple[Field, tuple[Field, ...]]:
    """Fields of one resistor: its value, and what else may be said of it.

    Parameters
    ----------
    row : str
        Its key.
    words : str
        What it is called in the labels.
    """
    value, *more = (
        _field(f"{row}.{name}", info, words) for name, info in ResistorTable.model_fields.items()
    )
    return replace(value, key=row, hint=""), tuple(more)


@cache
def groups() -> tuple[Group, ...]:
    """The fields by heading, in the order of the schema."""
    result: dict[str, Group] = {}
    for title, part, folded in _parts(BoardFile, "", "", ""):
        group = result.setdefault(title, Group(title=title))
        name = ("more_" if folded else "") + ("strings" if isinstance(part, String) else "fields")
        name = {"more_fields": "more"}.get(name, name)
        parts: dict[str, Any] = {name: (*getattr(group, name), part)}
        result[title] = replace(group, **parts)
    return tuple(result.values())


@cache
def single_fields() -> Mapping[str, Field]:
    """All fields but those of strings, by key."""
    return {f.key: f for group in groups() for f in (*group.fields, *group.more)}


def _parts(
    table: type[Table], before: str, of: str, title: str
) -> Iterator[tuple[str, Field | String, bool]]:
    """Fields and strings of a table, each with its heading and whether it is folded away."""
    title = getattr(table, "TITLE", title)
    for name, info in table.model_fields.items():
        own, key, inner = key_of(info), before + name, table_in(info.annotation)
        heading = own.group or title
        if key in SINGLES:
            yield heading, _field(key, info, of), own.folded
            yield from ((heading, field, True) for field in row_fields(key, own.label)[1])
        elif inner is ResistorTable:
            if key != PARALLEL:  # whose strings come and go
                yield heading, String(key=key, label=own.label), own.folded
        elif inner is None or inner is HarmonicTable:
            yield heading, _field(key, info, of), own.folded
        else:
            yield from _parts(inner, f"{key}.", own.label, heading)


def _field(key: str, info: FieldInfo, of: str) -> Field:
    """The field of one key."""
    own, reader = key_of(info), reader_of(info)
    names = own.choices() if own.choices else ()
    kind = "truth" if holds(info.annotation, bool) else "text"
    if isinstance(reader, NameReader):
        names = reader.names
    elif own.lines:
        kind = "lines"
    elif kind == "truth":
        names = ("false", "true")
    elif holds(info.annotation, int):
        kind = "whole"
    return Field(
        key=key,
        label=own.label.format(of=of),
        hint="" if names else _hint(key, own),
        choices=("", *names) if names else (),
        kind=kind,
    )


def _hint(key: str, own: Key) -> str:
    """An example; empty where something is assumed, which is told beside the field."""
    if own.usual or (own.default_row or key) in refdata.defaults():
        return ""
    is_example = re.search(r"\d", own.hint) and len(own.hint) < LONG_HINT
    return f"such as {own.hint}" if is_example else own.hint
