"""Closing a job: what the fault was, and what was done about it, written into its file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from zcd.board.units import nearest, refusal, require_part
from zcd.diagnosis.faults import Fault
from zcd.diagnosis.job import Job
from zcd.diagnosis.record import kind_of
from zcd.errors import InputError
from zcd.show.files import read_again, replace_whole


def find_fault(faults: Sequence[Fault], written: str) -> Fault:
    """A fault by its key; case and spaces do not matter.

    Raises
    ------
    InputError
        If nothing is said, or there is none of this name; the nearest is named.
    """
    folded = {_folded(fault.key): fault for fault in faults}
    if _folded(written) in folded:
        return folded[_folded(written)]
    keys = tuple(fault.key for fault in faults)
    if not written.strip():
        raise InputError(
            f'--found: say what it was; allowed: a fault such as "{keys[1]}", or "healthy"'
        )
    require_part(written, keys, "--found ")
    allowed = f'a fault such as "{keys[1]}", or "healthy"{nearest(written, keys)}'
    raise refusal(written, allowed, "--found")


def _folded(key: str) -> str:
    return " ".join(key.split()).casefold()


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
        If there is no job file, the job is closed already, or the file cannot be written.
    """
    import tomlkit

    if job.file is None:
        raise refusal("a board file", "a job file", "JOB")
    if job.closed is not None:
        raise InputError(
            f"{job.file.name}: found a job that was closed on {job.closed}; allowed: an open job "
            "(to change it, edit the file)"
        )
    before = read_again(job.file)
    document = tomlkit.parse(before.decode("utf-8-sig"))
    told = {"found": fault.key, "kind": kind_of(fault), "repair": repair, "closed": today}
    added = tomlkit.document()
    for key, value in told.items():
        document.pop(key, None)
        if value != "":
            added[key] = value
    text = _with_keys(tomlkit.dumps(document), tomlkit.dumps(added))
    return replace_whole(job.file, before, text.encode("utf-8"))


def _with_keys(text: str, keys: str) -> str:
    """Lines put in front of the first table of a TOML text, where they belong to the whole."""
    table = re.search(r"^[ \t]*\[", text, flags=re.MULTILINE)
    at = len(text) if table is None else table.start()
    head = text[:at].rstrip("\n")
    return f"{head}\n{keys}\n{text[at:]}" if table else f"{head}\n{keys}"
