"""The jobs of the folder as the page reads and changes them: one writer each, nothing lost.

Each request reads the job's file and writes it whole. What the server keeps of it, it takes only
while job and board file are byte for byte those that it was read from. A change
carries the mark of the file that its page shows. Where the file is another one by now, and not by
a change of this page, nothing is written.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from zcd.board.model import Board
from zcd.board.toml_files import parse_toml, read_text
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.job import WANTED, Job, Log, load_job
from zcd.diagnosis.job_history import Entry, FaultStatistics, fault_statistics, read_job_history
from zcd.errors import InputError
from zcd.files import OtherWriterError
from zcd.jobs.job_file import JobFileWriter, version_of
from zcd.settings import Settings

MAX_VERSIONS = 200
CHANGED = (
    "the job file was changed by another program meanwhile. Nothing was written over it; this is "
    "how it is now: enter it again if it still applies"
)


GONE_ON = (
    "the job has gone on since this page was made, and this was answered meanwhile; here is how "
    "it is now"
)


class ChangedMeanwhileError(InputError):
    """The file is another one than that which the page shows."""

    def __init__(self, words: str = CHANGED) -> None:
        super().__init__(words)


@dataclass(frozen=True, slots=True)
class OpenJob:
    """A job as its file has it.

    Parameters
    ----------
    name : str
    job : Job
    circuit : Circuit
        Of its board.
    version : str
        Of the state of the file.
    meter : dict
        What the file says of the meter, as written; else the settings.
    """

    name: str
    job: Job
    circuit: Circuit
    version: str
    meter: dict[str, str]


class JobStore:
    """The jobs of a folder.

    Parameters
    ----------
    folder : Path
    settings : Settings, optional
        Say which meter is on the bench where a job does not.
    """

    def __init__(self, folder: Path, settings: Settings | None = None) -> None:
        self.folder = folder
        self._settings = settings or Settings()
        self._door = threading.Lock()
        self._own: OrderedDict[str, tuple[str, Log]] = OrderedDict()
        self._history: tuple[set[tuple[str, int, int]], tuple[Entry, ...]] = (set(), ())
        self._last: tuple[Path, tuple[bytes, ...], OpenJob] | None = None

    def open(self, file: Path) -> OpenJob:
        """Read a job; that of the last time again, if its files are as they were."""
        path, data, open_job = self._last or (None, (), None)
        before: tuple[bytes, ...] = ()
        if open_job is not None and path == file:
            before = _bytes_at(file, open_job.job.board_file)
            if before and before == data:
                return open_job
        open_job = _open_job(file, self._settings)
        # only where both files were the same all the while is it known what was read
        same = before == _bytes_at(file, open_job.job.board_file)
        self._last = file, before if same else (), open_job
        return open_job

    def change(
        self, file: Path, expected_version: str, act: Callable[[OpenJob, JobFileWriter], object]
    ) -> OpenJob:
        """Change a job, and read it again.

        Parameters
        ----------
        file : Path
        expected_version : str
            Mark of what the page shows.
        act : callable
            Writes the document.

        Raises
        ------
        InputError
            If nothing could be written.
        """
        with self.claimed(file, expected_version) as open_job:
            if open_job.job.closed is not None:
                raise InputError(
                    f"found a job that was closed on {open_job.job.closed}; allowed: an open one"
                )
            try:
                writer = JobFileWriter(file, open_job.circuit, log=open_job.job.log)
                if writer.version != open_job.version:
                    raise ChangedMeanwhileError
                act(open_job, writer)
            except OtherWriterError as error:
                raise ChangedMeanwhileError from error
            return self.open(file)

    @contextmanager
    def claimed(self, file: Path, expected_version: str) -> Iterator[OpenJob]:
        """A job that nobody else of this page writes meanwhile; what is written counts as its own.

        Parameters
        ----------
        file : Path
        expected_version : str
            Mark of what the page shows.

        Raises
        ------
        ChangedMeanwhileError
            If another program has written into the file since.
        """
        with self._door:
            open_job = self.open(file)
            if not self._descends(expected_version, open_job.version):
                raise ChangedMeanwhileError
            yield open_job
            now = _version_at(file)
            if now != open_job.version:
                self._own[open_job.version] = now, open_job.job.log
                while len(self._own) > MAX_VERSIONS:
                    self._own.popitem(last=False)

    def _descends(self, expected_version: str, now: str) -> bool:
        """Whether only this page's own changes lie between two states of a file."""
        for _ in range(MAX_VERSIONS):
            if expected_version == now:
                return True
            expected_version, _ = self._own.get(expected_version, ("", ()))
        return False

    def log_of_version(self, expected_version: str, open_job: OpenJob) -> Log:
        """The log that a page shows, of which a change is claimed.

        Parameters
        ----------
        expected_version : str
            Mark of what it shows.
        open_job : OpenJob
            As the job is now.
        """
        return (
            open_job.job.log
            if expected_version == open_job.version
            else self._own[expected_version][1]
        )

    def begin(
        self,
        file: Path,
        board: Board,
        board_file: Path,
        flags: tuple[str, ...] = (),
        codes: Mapping[str, str] = MappingProxyType({}),
    ) -> JobFileWriter:
        """Write a new job about a board that is in a file."""
        meter = self._last_meter() or _as_texts(self._settings.meter_texts)
        writer = JobFileWriter(file, build_circuit(board), board_file)
        writer.codes = codes
        if meter:
            writer.write_meter(meter)
        if flags or not meter:
            writer.write((), flags)
        return writer

    def _last_meter(self) -> dict[str, str]:
        """The meter of the job that was written last: a bench has one."""
        files = [e.file for e in self.history() if not e.problem]
        last = max(files, key=lambda f: f.stat().st_mtime_ns, default=None)
        return {} if last is None else _meter_texts(last)

    def history(self, without: Path | None = None) -> tuple[Entry, ...]:
        """All jobs of the folder; read again only when a file has changed, but for one."""
        with suppress(OSError):
            files = [file for file in sorted(self.folder.glob("*.toml")) if file.is_file()]
            state = {(f.name, s.st_mtime_ns, s.st_size) for f in files for s in (f.stat(),)}
            changed = {name for name, _, _ in self._history[0] ^ state}
            if state and changed <= ({without.name} if without else set()):
                return self._history[1]
            self._history = state, read_job_history(self.folder)
            return self._history[1]
        return read_job_history(self.folder)

    def fault_statistics(self, open_job: OpenJob) -> FaultStatistics:
        """What the closed jobs of the folder say of a job's board."""
        job = open_job.job
        return fault_statistics(self.history(job.file), job.board.name, without=job.file)


def _open_job(file: Path, settings: Settings) -> OpenJob:
    """Read a job file."""
    version = _version_at(file)
    job = load_job(file, settings.meter)
    if job.file is None:
        raise InputError(f"{file.name}: found a board file; allowed: a job file")
    meter = _meter_texts(file) or _as_texts(settings.meter_texts)
    return OpenJob(file.stem, job, build_circuit(job.board), version, meter)


def _bytes_at(*files: Path | None) -> tuple[bytes, ...]:
    """What is in some files; nothing where one cannot be read."""
    try:
        return tuple(file.read_bytes() for file in files if file is not None)
    except OSError:
        return ()


def _version_at(file: Path) -> str:
    """The mark of a file; empty where none can be read, which `load_job` refuses in words."""
    try:
        return version_of(file.read_bytes())
    except OSError:
        return ""


def _meter_texts(file: Path) -> dict[str, str]:
    """What a job file says of the meter, as written."""
    text = read_text(file, WANTED)
    table = parse_toml(text, file.name, WANTED).get("meter", {}) if "meter" in text else {}
    return _as_texts(table)


def _as_texts(table: Mapping[str, object]) -> dict[str, str]:
    """Values as a field shows them."""
    return {key: str(value) for key, value in table.items()}
