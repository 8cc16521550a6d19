"""A teacher's record of exercises: one JSON object a line, in a file of the teacher's choice."""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from zcd.board.toml_files import read_bytes
from zcd.errors import InputError
from zcd.files import OtherWriterError, replace_whole, update_whole
from zcd.practice.exercise import LEVELS
from zcd.practice.review import Review

LARGEST_BYTES = 10_000_000
_WANTED = "a record that zcd practice wrote: one JSON object a line"
_KEYS = {
    "level": int,
    "found": bool,
    "readings": int,
    "hints": int,
    "seconds": int,
    "dangers": dict,
}
_MOST = 10**9
"""No number of a record is larger, and none is negative."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelSummary:
    """The exercises of one level.

    Parameters
    ----------
    level : int
    exercises, found : int
    mean_readings, mean_seconds : float
    hints, dangers : int
        Over all of them.
    """

    level: int
    exercises: int
    found: int
    mean_readings: float
    mean_seconds: float
    hints: int
    dangers: int


def record_of(review: Review, today: date) -> dict[str, Any]:
    """An exercise as a JSON object."""
    exercise = review.exercise
    return {
        "date": today.isoformat(),
        "board": exercise.board.name,
        "level": exercise.level,
        "seed": exercise.seed,
        "fault": exercise.fault.key,
        "found": review.found,
        "named": list(review.named),
        "readings": len(review.steps),
        "hints": review.hints,
        "seconds": round(review.seconds),
        "dangers": {str(k): n for k, n in Counter(review.dangers).items()},
        "expert_readings": len(review.expert),
        "expert_seconds": round(review.expert_seconds),
    }


def require_record(path: Path) -> None:
    """Refuse a file that is there and no record, before an exercise is worked for nothing."""
    if path.exists():
        list(_read(path))
    elif not path.parent.is_dir():
        raise InputError(f"{path}: found no such folder; allowed: a file in an existing one")
    if not os.access(path if path.exists() else path.parent, os.W_OK):
        raise InputError(f"{path}: found a place that cannot be written; allowed: one that can")


def add_to_record(path: Path, record: dict[str, Any]) -> None:
    """Add an exercise to a record, which is left alone where it cannot be read."""
    line = json.dumps(record, ensure_ascii=True).encode("ascii") + b"\n"

    def added(before: bytes) -> bytes:
        list(_records(before, path))
        return before + (b"" if not before or before.endswith(b"\n") else b"\n") + line

    if not path.exists():
        with suppress(OtherWriterError):  # somebody else has just begun it
            replace_whole(path, None, line)
            return
    update_whole(path, added)


def summaries(path: Path) -> tuple[LevelSummary, ...]:
    """What a record says, by level.

    Parameters
    ----------
    path : Path

    Returns
    -------
    summaries : tuple of LevelSummary

    Raises
    ------
    InputError
        If it is no record; the line is named.
    """
    records = list(_read(path))
    result = []
    for level in LEVELS:
        mine = [record for record in records if record["level"] == level]
        if mine:
            result.append(
                LevelSummary(
                    level=level,
                    exercises=len(mine),
                    found=sum(record["found"] for record in mine),
                    mean_readings=sum(record["readings"] for record in mine) / len(mine),
                    mean_seconds=sum(record["seconds"] for record in mine) / len(mine),
                    hints=sum(record["hints"] for record in mine),
                    dangers=sum(sum(record["dangers"].values()) for record in mine),
                )
            )
    return tuple(result)


def _read(path: Path) -> Iterator[dict[str, Any]]:
    yield from _records(read_bytes(path, _WANTED, LARGEST_BYTES), path)


def _records(data: bytes, path: Path) -> Iterator[dict[str, Any]]:
    for number, line in enumerate(data.splitlines(), 1):
        if line.strip():
            yield _parsed(line, f"{path}, line {number}")


def _is_count(value: object) -> bool:
    return type(value) is int and 0 <= value <= _MOST


def _parsed(line: bytes, where: str) -> dict[str, Any]:
    try:
        record = json.loads(line)
    except (ValueError, RecursionError):
        record = None
    if not isinstance(record, dict):
        raise InputError(f"{where}: found no JSON object; allowed: {_WANTED}")
    for key, kind in _KEYS.items():
        value = record.get(key)
        if not (_is_count(value) if kind is int else type(value) is kind):
            raise InputError(f'{where}: found no usable "{key}"; allowed: {_WANTED}')
    if record["level"] not in LEVELS:
        raise InputError(
            f'{where}: found no usable "level"; allowed: {min(LEVELS)} to {max(LEVELS)}'
        )
    if not all(map(_is_count, record["dangers"].values())):
        raise InputError(f'{where}: found no usable "dangers"; allowed: {_WANTED}')
    return record
