"""The bench's own record: a folder of job files, and what its closed jobs say of the faults.

A closed job names the fault that it was. How often each kind of fault was the one shifts the priors
of the handbooks; a fault that was found before on a board of the same name shifts them further.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from zcd.board.toml_files import parse_toml, read_text
from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.faults import Fault
from zcd.diagnosis.job import WANTED, Job, JobFile, job_file_of
from zcd.diagnosis.retest_record import RetestRecord, read_retest
from zcd.errors import InputError
from zcd.files import file_name

FloatArray = NDArray[np.float64]

HANDBOOK_JOBS = 20.0
"""The handbooks' shares of kinds of faults count like so many jobs; common practice, no source."""
PART_JOBS = 5.0
"""Within a kind, an even share of the parts counts like so many; common practice, no source."""
MAX_FILES = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One job of the record.

    Parameters
    ----------
    file : Path
    board_name : str
    note, repair : str
    flags : tuple of str
    readings : int
        How many are in it.
    found : str
        Key of the fault that it was; empty while the job is open.
    kind : str
        Its kind and mode, such as ``resistor drift``.
    closed : date or None
    retest : RetestRecord or None
        The last one.
    problem : str
        Why the file cannot be read; empty if it can.
    """

    file: Path
    board_name: str = ""
    note: str = ""
    repair: str = ""
    flags: tuple[str, ...] = ()
    readings: int = 0
    found: str = ""
    kind: str = ""
    closed: date | None = None
    retest: RetestRecord | None = None
    problem: str = ""

    @property
    def words(self) -> str:
        """All that a search looks at."""
        told = (self.file.stem, self.board_name, self.note, self.repair, self.found, self.problem)
        again = self.retest
        mended = (again.by, *again.replaced, f"retested {again.verdict}") if again else ()
        return " ".join((*told, *self.flags, *mended)).casefold()


def read_job_history(folder: str | Path) -> tuple[Entry, ...]:
    """All jobs of a folder: open ones first, then the last closed first.

    Parameters
    ----------
    folder : str or Path

    Returns
    -------
    entries : tuple of Entry
        A job file that cannot be read is there with its problem; other files are left out.

    Raises
    ------
    InputError
        If the folder cannot be read, or holds more than `MAX_FILES` such files.
    """
    names: dict[Path, str] = {}
    files = toml_files(folder, "job files")
    entries = [entry for file in files if (entry := _entry(file, names)) is not None]
    entries.sort(key=lambda e: e.file.name)
    entries.sort(key=lambda e: e.closed or date.max, reverse=True)
    return tuple(entries)


def toml_files(folder: str | Path, what: str) -> list[Path]:
    """The TOML files of a folder, by name; `what` is for the refusal of another."""
    folder = Path(folder)
    name = file_name(folder)
    try:
        files = sorted(_toml_files(folder)) if folder.is_dir() else None
    except OSError as error:
        why = f"found a folder that cannot be read ({error.strerror})"
        raise InputError(f"{name}: {why}; allowed: a folder of {what}") from error
    if files is None:
        raise InputError(f"{name}: found no folder; allowed: a folder of {what}")
    if len(files) > MAX_FILES:
        raise InputError(f"{name}: found {len(files)} files; allowed: up to {MAX_FILES}")
    return files


def _toml_files(folder: Path) -> list[Path]:
    """Those of a folder; unlike a glob, which takes what it may not read for empty."""
    return [folder / name for name in os.listdir(folder) if name.endswith(".toml")]


def _entry(path: Path, names: dict[Path, str]) -> Entry | None:
    """A job in brief; None for a file that is no job. `names` holds those of boards read before."""
    try:
        result = parse_toml(read_text(path, WANTED), file_name(path), WANTED)
    except InputError as error:
        return Entry(file=path, problem=str(error))
    if not JobFile.model_fields.keys() & result.keys():
        return None
    file, lines = job_file_of(result)
    if file is None:
        return Entry(file=path, problem=f"{file_name(path)}: {lines[0]}")
    board = path.parent / file.board
    if board not in names:
        names[board] = _board_name(board)
    return Entry(
        file=path,
        board_name=names[board],
        note=file.note,
        repair=file.repair,
        flags=file.flags,
        readings=len(file.readings),
        found=file.found,
        kind=file.kind,
        closed=file.closed,
        retest=read_retest(file.retests[-1]) if file.retests else None,
    )


def _board_name(path: Path) -> str:
    """Name in a board file; that of the file where it has none or cannot be read."""
    try:
        name = parse_toml(read_text(path, WANTED), file_name(path), WANTED).get("name")
    except InputError:
        name = None
    return name if isinstance(name, str) else path.stem


def search(entries: Iterable[Entry], words: str) -> tuple[Entry, ...]:
    """The jobs in which every word occurs, whatever its case."""
    wanted = words.casefold().split()
    return tuple(e for e in entries if all(word in e.words for word in wanted))


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultStatistics:
    """What closed jobs say of the faults of a board.

    Parameters
    ----------
    kinds : Counter
        Kind and mode -> number of closed jobs.
    parts : Counter
        Key of a fault -> number of closed jobs on boards of the same name.
    """

    kinds: Counter[str]
    parts: Counter[str]

    @property
    def jobs(self) -> int:
        """How many closed jobs it rests on."""
        return self.kinds.total()


def fault_statistics(
    entries: Iterable[Entry], board_name: str, without: Path | None = None
) -> FaultStatistics:
    """Count the closed jobs of a record.

    Parameters
    ----------
    entries : iterable of Entry
    board_name : str
        Of the board that is on the bench.
    without : Path, optional
        A job file that must not count: the one that is being worked on.
    """
    closed = [e for e in entries if e.closed and e.kind and e.file != without]
    return FaultStatistics(
        kinds=Counter(e.kind for e in closed),
        parts=Counter(e.found for e in closed if e.board_name == board_name),
    )


def fault_statistics_in(folder: str | Path, job: Job) -> FaultStatistics:
    """What the closed jobs of a folder say of the board of a job.

    Raises
    ------
    InputError
        As `read_job_history`.
    """
    return fault_statistics(read_job_history(folder), job.board.name, without=job.file)


def kind_of(fault: Fault) -> str:
    """Kind and mode of a fault, as a closed job names them."""
    return f"{fault.kind} {fault.mode}".strip()


def shifted_shares(
    faults: Sequence[Fault], shares: FloatArray, statistics: FaultStatistics
) -> FloatArray:
    """Prior probabilities of faults, shifted by experience.

    The mean of a Dirichlet distribution after counting, once over the kinds of faults and once over
    the parts of each kind.

    Parameters
    ----------
    faults : sequence of Fault
    shares : ndarray, shape (len(faults),)
        Before.
    statistics : FaultStatistics

    Returns
    -------
    shares : ndarray, shape (len(faults),)
        The same sum.
    """
    names = [kind_of(fault) for fault in faults]
    kinds, member = np.unique(names, return_inverse=True)
    before = np.bincount(member, weights=shares) / shares.sum()
    seen = np.array([statistics.kinds[str(kind)] for kind in kinds], dtype=float)
    after = (HANDBOOK_JOBS * before + seen) / (HANDBOOK_JOBS + seen.sum())
    result = np.array([statistics.parts[fault.key] for fault in faults], dtype=float)
    of_kind = np.bincount(member, weights=result)
    within = shares / shares.sum() / before[member]
    within = (PART_JOBS * within + result) / (PART_JOBS + of_kind[member])
    return np.asarray(shares.sum() * after[member] * within)


def with_fault_statistics(
    dictionary: FaultDictionary, statistics: FaultStatistics | None
) -> FaultDictionary:
    """A fault dictionary with its priors shifted, where there are closed jobs."""
    if statistics is None or not statistics.jobs:
        return dictionary
    return replace(
        dictionary, shares=shifted_shares(dictionary.faults, dictionary.shares, statistics)
    )
