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

from zcd.board.model import Board
from zcd.board.toml_files import parse_toml, read_text
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.job import WANTED, Job, Log, load_job
from zcd.diagnosis.job_history import Entry, Experience, experience, read_record
from zcd.diagnosis.meters import Meter
from zcd.errors import InputError
from zcd.files import OtherWriterError
from zcd.jobs.job_file import JobDocument, mark_of
from zcd.settings import Settings

MOST_MARKS = 200
CHANGED = (
    "the job file was changed by another program meanwhile. Nothing was written over it; this is "
    "how it stands now: enter it again if it still holds"
)


GONE_ON = (
    "the job has gone on since this page was made, and this was answered meanwhile; here is how "
    "it stands now"
)


class ChangedMeanwhileError(InputError):
    """The file is another one than that which the page shows."""

    def __init__(self, words: str = CHANGED) -> None:
        super().__init__(words)


@dataclass(frozen=True, slots=True)
class Opened:
    """A job as its file has it.

    Parameters
    ----------
    name : str
    job : Job
    circuit : Circuit
        Of its board.
    mark : str
        Of the state of the file.
    meter : dict
        What the file says of the meter, as written; else the settings.
    """

    name: str
    job: Job
    circuit: Circuit
    mark: str
    meter: dict[str, str]


class KeptJobs:
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
        self._record: tuple[tuple[object, ...], tuple[Entry, ...]] = ((), ())
        self._last: tuple[Path, tuple[bytes, ...], Opened] | None = None

    def open(self, file: Path) -> Opened:
        """Read a job; that of the last time again, if its files are as they were."""
        path, data, opened = self._last or (None, (), None)
        before: tuple[bytes, ...] = ()
        if opened is not None and path == file:
            before = _bytes_at(file, opened.job.board_file)
            if before and before == data:
                return opened
        opened = _opened(file, self._settings)
        # only where both files were the same all the while is it known what was read
        same = before == _bytes_at(file, opened.job.board_file)
        self._last = file, before if same else (), opened
        return opened

    def change(self, file: Path, seen: str, act: Callable[[Opened, JobDocument], object]) -> Opened:
        """Change a job, and read it again.

        Parameters
        ----------
        file : Path
        seen : str
            Mark of what the page shows.
        act : callable
            Writes the document.

        Raises
        ------
        InputError
            If nothing could be written.
        """
        with self.claimed(file, seen) as opened:
            if opened.job.closed is not None:
                raise InputError(
                    f"found a job that was closed on {opened.job.closed}; allowed: an open one"
                )
            try:
                document = JobDocument(file, opened.circuit, log=opened.job.log)
                if document.mark != opened.mark:
                    raise ChangedMeanwhileError
                act(opened, document)
            except OtherWriterError as error:
                raise ChangedMeanwhileError from error
            return self.open(file)

    @contextmanager
    def claimed(self, file: Path, seen: str) -> Iterator[Opened]:
        """A job that nobody else of this page writes meanwhile; what is written counts as its own.

        Parameters
        ----------
        file : Path
        seen : str
            Mark of what the page shows.

        Raises
        ------
        ChangedMeanwhileError
            If another program has written into the file since.
        """
        with self._door:
            opened = self.open(file)
            if not self._descends(seen, opened.mark):
                raise ChangedMeanwhileError
            yield opened
            now = _mark_at(file)
            if now != opened.mark:
                self._own[opened.mark] = now, opened.job.log
                while len(self._own) > MOST_MARKS:
                    self._own.popitem(last=False)

    def _descends(self, seen: str, now: str) -> bool:
        """Whether only this page's own changes lie between two states of a file."""
        for _ in range(MOST_MARKS):
            if seen == now:
                return True
            seen, _ = self._own.get(seen, ("", ()))
        return False

    def log_seen(self, seen: str, opened: Opened) -> Log:
        """The log that a page shows, of which a change is claimed.

        Parameters
        ----------
        seen : str
            Mark of what it shows.
        opened : Opened
            As the job is now.
        """
        return opened.job.log if seen == opened.mark else self._own[seen][1]

    def begin(self, file: Path, board: Board, board_file: Path) -> JobDocument:
        """Write a new job about a board that is in a file."""
        meter = self._last_meter() or _as_texts(self._settings.meter_texts)
        document = JobDocument(file, build_circuit(board), board_file)
        if meter:
            document.write_meter(meter)
        else:
            document.write((), ())
        return document

    def _last_meter(self) -> dict[str, str]:
        """The meter of the job that was written last: a bench has one."""
        files = [e.file for e in self.record() if not e.problem]
        last = max(files, key=lambda f: f.stat().st_mtime_ns, default=None)
        return {} if last is None else _meter_texts(last)

    def record(self) -> tuple[Entry, ...]:
        """All jobs of the folder; read again only when a file has changed."""
        with suppress(OSError):
            files = sorted(self.folder.glob("*.toml"))
            state = tuple((f.name, s.st_mtime_ns, s.st_size) for f in files for s in (f.stat(),))
            if state and self._record[0] == state:
                return self._record[1]
            self._record = state, read_record(self.folder)
            return self._record[1]
        return read_record(self.folder)

    def experience(self, opened: Opened) -> Experience:
        """What the closed jobs of the folder say of a job's board."""
        return experience(self.record(), opened.job.board.name, without=opened.job.file)


def _opened(file: Path, settings: Settings) -> Opened:
    """Read a job file."""
    job, mark = marked_job(file, settings.meter)
    if job.file is None:
        raise InputError(f"{file.name}: found a board file; allowed: a job file")
    meter = _meter_texts(file) or _as_texts(settings.meter_texts)
    return Opened(file.stem, job, build_circuit(job.board), mark, meter)


def _bytes_at(*files: Path | None) -> tuple[bytes, ...]:
    """What is in some files; nothing where one cannot be read."""
    try:
        return tuple(file.read_bytes() for file in files if file is not None)
    except OSError:
        return ()


def marked_job(file: Path, meter: Meter | None = None) -> tuple[Job, str]:
    """A job, read with a meter where it says none, and the mark of its file."""
    mark = _mark_at(file)
    return load_job(file, meter), mark


def _mark_at(file: Path) -> str:
    """The mark of a file; empty where none can be read, which `load_job` refuses in words."""
    try:
        return mark_of(file.read_bytes())
    except OSError:
        return ""


def _meter_texts(file: Path) -> dict[str, str]:
    """What a job file says of the meter, as written."""
    table = parse_toml(read_text(file, WANTED), file.name, WANTED).get("meter", {})
    return _as_texts(table)


def _as_texts(table: Mapping[str, object]) -> dict[str, str]:
    """Values as a field shows them."""
    return {key: str(value) for key, value in table.items()}
