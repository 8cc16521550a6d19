"""Closing a job: what the fault was, and what was done about it, written into its file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from zcd.board.units import nearest, require_part
from zcd.circuit.points import diode_of_bridge
from zcd.diagnosis.fault_pairs import pair_of
from zcd.diagnosis.faults import REPLACED, Fault
from zcd.diagnosis.job import Job
from zcd.diagnosis.job_history import kind_of
from zcd.errors import InputError, invalid_value
from zcd.files import file_name, update_whole
from zcd.jobs.job_file import already_closed
from zcd.jobs.job_text import JobText
from zcd.jobs.trade_words import folded, in_plain_words, modes_told, offered_for

if TYPE_CHECKING:
    from tomlkit import TOMLDocument


_TWO_PARTS = re.compile(
    r"(?P<first>[^\s,+&]+)(?: (?P<way>(?!and )[a-z]+))?(?: and | ?[,+&] ?| )"
    r"(?P<second>\S+) (?P<last>[a-z]+)"
)
"""``R7 and R8 drifted``, ``R7 open + R8 drifted``."""
SHORTEST_WORD, FEWEST_WORDS, MOST_OFFERED = 3, 2, 5
FILLERS = {"and", "the", "was", "with"}
"""Of free words: which count, how many must be found, how many faults are offered."""


def find_fault(faults: Sequence[Fault], written: str) -> Fault:
    """A fault by its key, or by a part and a word of the trade: ``R2 burnt``.

    Raises
    ------
    InputError
        If nothing is said, or no one fault is meant; those that may be are offered.
    """
    known = {folded(fault.key): fault for fault in faults}
    plain = in_plain_words(faults, written)
    for text in (folded(written), plain):
        if text in known:
            return known[text]
    if (both := _of_two_parts(faults, plain)) is not None:
        return both
    keys = tuple(fault.key for fault in faults)
    if not plain:
        raise InputError(
            f'--found: say what it was; allowed: a fault such as "{keys[1]}", or "healthy"'
        )
    _refuse_several(faults, plain, written)
    of_part = _of_part(faults, plain)
    if len(of_part) == 1:
        return of_part[0]
    if not of_part:
        require_part(written, keys, "--found ")
    meant = [fault.key for fault in of_part] or _in_words(faults, plain)
    if meant := meant or offered_for(faults, plain) or _of_mode(faults, plain):
        offered = ", ".join(dict.fromkeys(meant[:MOST_OFFERED]))
        raise invalid_value(written, f"one of these: {offered}", "--found")
    resistors = {fault.part for fault in faults if fault.kind == "resistor"}
    joints = (f.key for f in faults if f.mode == "intermittent" and f.part in resistors)
    such = next(joints, keys[1])
    allowed = (
        "PART and one of open, shorted, drifted, aged, intermittent (dry joint), such as "
        f'"{such}", or "healthy"{nearest(written, keys)}'
    )
    raise invalid_value(written, allowed, "--found")


def _of_two_parts(faults: Sequence[Fault], plain: str) -> Fault | None:
    """The two faults of ``R7 and R8 drifted`` as one; None where a text is not of two."""
    match = _TWO_PARTS.fullmatch(plain)
    if match is None:
        return None
    told = match["way"] or match["last"]
    texts = f"{match['first']} {told}", f"{match['second']} {match['last']}"
    one, other = (_of_part(faults, text) for text in texts)
    both = len(one) == len(other) == 1 and one[0].part != other[0].part
    return pair_of(one[0], other[0]) if both else None


def _refuse_several(faults: Sequence[Fault], plain: str, written: str) -> None:
    """Refuse a text that names several parts: none of them is dropped without a word."""
    keys: dict[str, str] = {}  # of each part its first fault
    for fault in faults:
        if fault.kind in REPLACED:
            keys.setdefault(fault.part.partition(" ")[0], fault.key)
    words = re.findall(r"[^\s,+&]+", plain)
    named = sorted((r for r in keys if folded(r) in words), key=lambda r: words.index(folded(r)))
    if len(named) > 1:
        one, other = (keys[ref] for ref in named[:2])
        allowed = f'one fault, or two with a plus: "{one} + {other}" (the others in --repair)'
        raise invalid_value(written, allowed, "--found")


def _of_part(faults: Sequence[Fault], plain: str) -> list[Fault]:
    """Faults of the part that a text begins with: that of the mode it tells, else all of them.

    A part further on counts only with a mode: ``dry joint at R2``. Of a bridge in one piece all
    diodes are meant.
    """
    text = f" {plain} "
    named = {f.part for f in faults if f.part and f" {folded(f.part)} " in text}
    roots = {f.part.partition(" ")[0] for f in faults if f.kind in REPLACED}
    named |= {root for root in roots if root and f" {folded(root)} " in text}
    named |= {b for f in faults if f" {folded(b := diode_of_bridge(f.part)[0])} " in text and b}
    first = {part for part in named if text.startswith(f" {folded(part)} ")}
    if not named:
        return []
    part = max(first or named, key=len)
    words = set(text.replace(f" {folded(part)} ", " ", 1).split())
    own = [
        f
        for f in faults
        if part in (f.part, diode_of_bridge(f.part)[0]) or f.part.startswith(f"{part} ")
    ]
    told = [f for f in own if modes_told(words, f)]
    exact = [f for f in told if f.part == part]
    return exact or told or (own if first else [])


def _of_mode(faults: Sequence[Fault], plain: str) -> list[str]:
    """Keys of the faults whose mode a text tells that names no part, where they are few."""
    words = {*plain.split()}
    told = [fault.key for fault in faults if modes_told(words, fault)]
    return told if len(told) <= MOST_OFFERED else []


def _in_words(faults: Sequence[Fault], written: str) -> list[str]:
    """Keys of the faults that have most of some free words in their name or description."""
    wanted = {word for word in folded(written).split() if len(word) >= SHORTEST_WORD} - FILLERS
    if len(wanted) < FEWEST_WORDS:
        return []
    told = {f.key: set(re.findall(r"[\w-]+", f"{f.key} {f.words}".casefold())) for f in faults}
    hits = {key: len(wanted & words) for key, words in told.items()}
    best = max(hits.values())
    if best < FEWEST_WORDS:
        return []
    return [key for key, number in hits.items() if number == best][:MOST_OFFERED]


def close_job(job: Job, fault: Fault, repair: str, today: date) -> Path:
    """Write into a job file what the fault was; the rest of the file stays as it is.

    Parameters
    ----------
    job : Job
        Read from a file, still open.
    fault : Fault
        What it turned out to be.
    repair : str
        What was done, a line of text; may be empty.
    today : date

    Returns
    -------
    Path
        The job file.

    Raises
    ------
    InputError
        If there is no job file, the job is closed by now, whoever closed it, or the file cannot be
        written.
    """
    file = job.file
    if file is None:
        raise invalid_value("a board file", "a job file", "JOB")
    told: dict[str, str | date] = {
        "found": fault.key,
        "kind": kind_of(fault),
        "repair": repair,
        "closed": today,
    }
    update_whole(file, lambda data: _closed(JobText.of(data, file_name(file)), told).data)
    return file


def _closed(text: JobText, told: dict[str, str | date]) -> JobText:
    """A job file with what the fault was."""
    import tomlkit

    if text.job().closed is not None:
        raise already_closed(text)
    plain = {key: value for key, value in text.plain.items() if key not in told}
    added = {key: value for key, value in told.items() if value != ""}

    def edit(document: TOMLDocument) -> str:
        for key in told:
            document.pop(key, None)
        return _with_keys(tomlkit.dumps(document), tomlkit.dumps(added))

    return text.changed(edit, {**plain, **added})


def _with_keys(text: str, keys: str) -> str:
    """A TOML text with more keys, put in front of its first table: they belong to the whole."""
    import tomlkit

    document = tomlkit.parse(text)
    for key, value in tomlkit.parse(keys).items():
        document[key] = value
    return tomlkit.dumps(document)
