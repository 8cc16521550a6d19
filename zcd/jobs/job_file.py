"""Job files as they are written: after each answer, whole, nothing of others overwritten."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from hashlib import sha256
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

from zcd.circuit.elements import Circuit
from zcd.diagnosis.job import SKIPPED, VERSION, flag_codes, log_of
from zcd.diagnosis.reading_syntax import show_measured
from zcd.diagnosis.readings import Measured, Reading, usual_power
from zcd.errors import InputError
from zcd.files import (
    OtherWriterError,
    file_name,
    read_again,
    replace_whole,
    require_place,
    update_whole,
)
from zcd.jobs.job_text import JobText, add_table, inline_table

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

DIGITS = 7
HEAD = "# What was measured, in the order taken; written by zcd after each answer.\n"
Entry = Measured | Reading


class JobFileWriter:
    """A job file that is kept up to date; comments and layout that a person gave it stay.

    Parameters
    ----------
    path : Path
        A job file; or a place for a new one, which must be free.
    circuit : Circuit
        Of its board.
    board_file : Path, optional
        Makes a new job about this board.
    log : sequence of Measured or Reading, or None
        What a job file holds already; None: whatever that is by now.

    Attributes
    ----------
    codes : mapping
        What the appliance shows for each flag, beside what the file says of that.
    """

    def __init__(
        self,
        path: Path,
        circuit: Circuit,
        board_file: Path | None = None,
        log: Sequence[Entry] | None = (),
    ) -> None:
        self.path, self._circuit = path, circuit
        self.codes: Mapping[str, str] = {}
        self.written = board_file is None
        if board_file is None:
            self._text = JobText.of(read_again(path), file_name(path))
            self.log = self._log_of(self._text) if log is None else tuple(log)
            if len(self._text.plain.get("readings", ())) != len(self.log):
                raise OtherWriterError(path)
            return
        if os.path.lexists(path):
            raise InputError(f"{path}: found something of that name; allowed: a new job file")
        require_place(path)
        self._text, self.log = _new_text(path, board_file), ()

    @property
    def version(self) -> str:
        """A short text that is another one for each state of the file."""
        return version_of(self._text.data if self.written else b"")

    @property
    def flags(self) -> tuple[str, ...]:
        """What the controller reported, as the file says."""
        return tuple(self._text.plain.get("flags", ()))

    def write(self, log: Sequence[Entry], flags: Sequence[str]) -> None:
        """Bring the file up to date.

        Parameters
        ----------
        log : sequence of Measured or Reading
            What it holds already, with entries added at the end or taken away anywhere.
        flags : sequence of str

        Raises
        ------
        OtherWriterError
            If the file has been changed by somebody else meanwhile.
        InputError
            If it cannot be written.
        """
        self._replace(self._with_log(self._text, self.log, log, flags))
        self.log = tuple(log)

    def keep(self, log: Sequence[Entry], flags: Sequence[str]) -> tuple[Entry, ...]:
        """Bring the file up to date, also where others have only added readings meanwhile.

        Theirs stay, and stand before those that are new in `log`.

        Parameters
        ----------
        log, flags
            As for `write`.

        Returns
        -------
        tuple of Measured or Reading
            What the others added.

        Raises
        ------
        OtherWriterError
            If somebody else has changed anything else that says what the readings mean.
        InputError
            If the job was closed meanwhile, or the file cannot be written.
        """
        if not self.written:
            try:
                self.write(log, flags)
            except OtherWriterError:
                self.written = True  # another has begun the same job meanwhile
            else:
                return ()
        text, now, more = self._text, tuple(log), tuple[Entry, ...]()

        def change(data: bytes) -> bytes:
            nonlocal text, now, more
            if data != text.data:
                text = JobText.of(data, text.name)
                more = self._added_by_others(text)
                ours = sum(_staying(self.log, log))
                now = (*log[:ours], *more, *log[ours:])
            text = self._with_log(text, (*self.log, *more), now, flags)
            return text.data

        update_whole(self.path, change)
        self._text, self.log = text, now
        return more

    def write_meter(self, texts: Mapping[str, str]) -> None:
        """Bring what the file says of the meter up to date.

        Parameters
        ----------
        texts : mapping
            Key of its table -> what was written; an empty text takes the key away.
        """
        import tomlkit

        plain = dict(self._text.plain)
        told = {k: v for k, v in {**plain.pop("meter", {}), **texts}.items() if v != ""}

        def edit(document: TOMLDocument) -> None:
            table = document.setdefault("meter", tomlkit.table())
            for key, text in texts.items():
                if text:
                    table[key] = text
                else:
                    table.pop(key, None)
            if not told:
                del document["meter"]

        self._replace(self._text.changed(edit, {**plain, "meter": told} if told else plain))

    def _log_of(self, text: JobText) -> tuple[Entry, ...]:
        return log_of(text.job().readings, self._circuit, text.name)

    def _added_by_others(self, theirs: JobText) -> tuple[Entry, ...]:
        """What stands in the file beside what is known of it; refused where that has changed."""
        before, now = self._text.job(), theirs.job()
        if now.closed is not None and before.closed is None:
            raise already_closed(theirs)
        log = self._log_of(theirs)
        same = (now.board, now.meter, now.flags) == (before.board, before.meter, before.flags)
        if not same or log[: len(self.log)] != self.log:
            raise OtherWriterError(self.path)
        return log[len(self.log) :]

    def _with_log(
        self, text: JobText, before: Sequence[Entry], log: Sequence[Entry], flags: Sequence[str]
    ) -> JobText:
        """A text that holds other entries than before."""
        import tomlkit

        staying = _staying(before, log)
        new = [self._entry(each) for each in log[sum(staying) :]]
        there = zip(text.plain.get("readings", ()), staying, strict=True)
        readings = [*(reading for reading, stays in there if stays), *new]
        plain = dict(text.plain)
        codes = {**flag_codes(plain.get("flags")), **self.codes}
        if (told := _flags_with_codes(flags, codes)) != plain.get("flags", []):
            plain["flags"] = told
        if readings:
            plain["readings"] = readings
        elif before:
            del plain["readings"]  # which would stand there as an empty list in brackets

        def edit(document: TOMLDocument) -> str | None:
            if plain.get("flags") != text.plain.get("flags"):
                told = plain["flags"]
                document["flags"] = inline_table(told) if isinstance(told, dict) else told
            for at in reversed(range(len(staying))):
                if not staying[at]:
                    del document["readings"][at]
            for entry in new:
                add_table(document, "readings", entry)
            if "readings" not in plain:
                document.pop("readings", None)
            # the empty line before what is gone goes with it
            return None if all(staying) else f"{tomlkit.dumps(document).rstrip()}\n"

        return text.changed(edit, plain)

    def _entry(self, each: Entry) -> dict[str, Any]:
        """One entry of the log."""
        reading = each.reading if isinstance(each, Measured) else each
        entry: dict[str, Any] = {"function": str(reading.function)}
        if reading.lifted:
            entry["over"] = reading.lifted
            if self._circuit[reading.lifted].nodes[0] != reading.red:
                entry["reversed"] = True
            entry["lifted"] = True
        elif not reading.at_pin:
            entry["red"], entry["black"] = reading.red, reading.black
        if reading.power is not usual_power(reading.function):
            entry["power"] = str(reading.power)
        entry["value"] = show_measured(each, DIGITS) if isinstance(each, Measured) else SKIPPED
        return entry

    def _replace(self, text: JobText) -> None:
        """Write the file as it is known with another text."""
        replace_whole(self.path, self._text.data if self.written else None, text.data)
        self._text, self.written = text, True


def _new_text(path: Path, board_file: Path) -> JobText:
    """A job about a board, before anything was measured."""
    import tomlkit

    document = tomlkit.parse(HEAD)
    document["version"] = VERSION
    document["board"] = Path(os.path.relpath(board_file, path.parent or ".")).as_posix()
    return JobText.of(tomlkit.dumps(document).encode("utf-8"), file_name(path))


def _flags_with_codes(flags: Sequence[str], codes: Mapping[str, str]) -> list[str] | dict[str, str]:
    """Flags as they are written: with their codes where all have one."""
    if flags and set(flags) <= set(codes):
        return {flag: codes[flag] for flag in flags}
    return list(flags)


def _staying(before: Sequence[Entry], log: Sequence[Entry]) -> list[bool]:
    """Which entries a changed log still has; they stand at its beginning."""
    staying: list[bool] = []
    for old in before:
        at = sum(staying)
        staying.append(at < len(log) and log[at] == old)
    return staying


def already_closed(text: JobText) -> InputError:
    """Tell that a job has been closed, and as what."""
    was, on = text.plain.get("found", ""), text.plain["closed"]
    as_what = f' as "{was}"' if was else ""
    return InputError(
        f"{text.name}: found a job that was closed on {on}{as_what}; allowed: an open job "
        "(to change it, edit the file)"
    )


def version_of(data: bytes) -> str:
    """A short text that is another one for other bytes."""
    return sha256(data).hexdigest()[:16]


def free_job_path(board_file: Path) -> Path:
    """Where the job of a board goes: beside it, under the first free name."""
    stem = board_file.stem.removesuffix("-board")
    names = (f"{stem}-job{'' if n == 1 else f'-{n}'}.toml" for n in count(1))
    return next(p for p in map(board_file.with_name, names) if not os.path.lexists(p))
