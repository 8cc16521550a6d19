"""Resistors in series as rows of a form: rows come and go, strings in parallel too."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from zcd.web.board_fields import PARALLEL, String, groups

MAX_ROWS, MAX_STRINGS = 30, 10
LISTS = ("chain.resistors", "chain.return_resistors")
ROW = re.compile(
    r"(chain\.(?:resistors|return_resistors|parallel\.\d{1,2}))\.(\d{1,2})(?:\.(\w+))?", re.ASCII
)
"""Key of a row's field: its string, its number, and what it says beside the value."""

Texts = dict[str, str]
"""Key of a field -> what stands in it."""


def strings_of(texts: Mapping[str, str]) -> tuple[String, ...]:
    """The strings of a board: those that each has, and those in parallel that this one has."""
    always = [s for group in groups() for s in (*group.strings, *group.more_strings)]
    numbers = {int(k.split(".")[2]) for k in texts if k.startswith(f"{PARALLEL}.")}
    return (
        *always,
        *(String(key=f"{PARALLEL}.{n}", label=f"parallel string {n}") for n in sorted(numbers)),
    )


def parallel_of(texts: Mapping[str, str]) -> tuple[String, ...]:
    """Those in parallel."""
    return tuple(s for s in strings_of(texts) if s.key.startswith(f"{PARALLEL}."))


def rows_of(texts: Mapping[str, str], string: str) -> list[Texts]:
    """The rows of a string, each with its texts by name, that of the value under ``""``."""
    rows: dict[int, Texts] = {}
    for key, text in texts.items():
        match = ROW.fullmatch(key)
        if match is not None and match[1] == string:
            rows.setdefault(int(match[2]), {})[match[3] or ""] = text
    return [rows[number] for number in sorted(rows)] or [{}]


def with_rows(texts: Mapping[str, str], string: str, rows: Sequence[Texts]) -> Texts:
    """The texts with other rows in a string."""
    kept = {k: t for k, t in texts.items() if not k.startswith(f"{string}.")}
    for number, row in enumerate(rows, 1):
        for name, text in ({"": ""} | row).items():
            kept[f"{string}.{number}" + (f".{name}" if name else "")] = text
    return kept


def added(texts: Mapping[str, str], where: str) -> Texts:
    """The texts with one more row in a string, or one more string in parallel."""
    if where == PARALLEL:
        numbers = [
            int(s.key.split(".")[2]) for s in strings_of(texts) if s.key.startswith(PARALLEL)
        ]
        number = max(numbers, default=0) + 1
        return (
            with_rows(texts, f"{PARALLEL}.{number}", [{}]) if number <= MAX_STRINGS else {**texts}
        )
    if where not in {s.key for s in strings_of(texts)}:
        return {**texts}
    return with_rows(texts, where, [*rows_of(texts, where), {}][:MAX_ROWS])


def removed(texts: Mapping[str, str], row: str) -> Texts:
    """The texts without one row of a string; a parallel string without rows is gone."""
    match = ROW.fullmatch(row)
    if match is None or match[3]:
        return {**texts}
    rows = rows_of(texts, match[1])
    return with_rows(texts, match[1], [r for n, r in enumerate(rows, 1) if n != int(match[2])])


def place_of_change(texts: Mapping[str, str], added_to: str, removed_row: str) -> str:
    """Key of the field in which a person goes on after a row came or went; empty: none did."""
    if added_to == PARALLEL:
        added_to = strings_of(texts)[-1].key
    if added_to:
        return f"{added_to}.{len(rows_of(texts, added_to))}"
    string, _, number = removed_row.rpartition(".")
    if not ROW.fullmatch(removed_row):
        return ""
    there = f"{string}.{min(int(number), len(rows_of(texts, string)))}"
    return there if there in texts else f"{LISTS[0]}.1"


def row_words(number: int) -> str:
    """What a row is called in the labels of its fields."""
    return f"Row {number}"
