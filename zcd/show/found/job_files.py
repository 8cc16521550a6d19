"""Job files as they are written: after each answer, whole, nothing of others overwritten."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from hashlib import sha256
from itertools import count
from pathlib import Path
from typing import Any

from zcd.circuit.elements import Circuit
from zcd.diagnosis.job import SKIPPED, VERSION
from zcd.diagnosis.readings import Measured, Reading, usual_power
from zcd.diagnosis.words import show_measured
from zcd.errors import InputError
from zcd.show.files import changed_meanwhile, read_again, replace_whole, require_place

DIGITS = 7
HEAD = "# What was measured, in the order taken; written by zcd after each answer.\n"


class JobDocument:
    """A job file that is kept up to date; comments and layout that a person gave it stay.

    Parameters
    ----------
    path : Path
        A job file; or a place for a new one, which must be free.
    circuit : Circuit
        For the ends of lifted parts.
    board_file : Path, optional
        Makes a new job about this board.
    log : sequence of Measured or Reading
        What a job file holds already.
    """

    def __init__(
        self,
        path: Path,
        circuit: Circuit,
        board_file: Path | None = None,
        log: Sequence[Measured | Reading] = (),
    ) -> None:
        import tomlkit

        self.path, self._circuit, self._log = path, circuit, list(log)
        self._on_disk: bytes | None = None
        if board_file is None:
            self._on_disk = read_again(path)
            self._kept = self._on_disk.decode("utf-8-sig")
            self._document = tomlkit.parse(self._kept)
            if len(self._document.get("readings", ())) != len(self._log):
                raise changed_meanwhile(path)
            return
        if os.path.lexists(path):
            raise InputError(f"{path}: found something of that name; allowed: a new job file")
        require_place(path)
        self._document = tomlkit.parse(HEAD)
        name = os.path.relpath(board_file, path.parent or ".")
        self._document["version"] = VERSION
        self._document["board"] = Path(name).as_posix()
        self._kept = tomlkit.dumps(self._document)

    @property
    def mark(self) -> str:
        """A short text that is another one for each state of the file."""
        return mark_of(self._on_disk or b"")

    @property
    def written(self) -> bool:
        """Whether there is anything on the disk."""
        return self._on_disk is not None

    def write(self, log: Sequence[Measured | Reading], flags: Sequence[str]) -> None:
        """Bring the file up to date.

        Parameters
        ----------
        log : sequence of Measured or Reading
            What it holds already, with entries added at the end or taken away anywhere.
        flags : sequence of str

        Raises
        ------
        InputError
            If the file has been changed by somebody else meanwhile, or cannot be written.
        """
        if flags or "flags" in self._document:
            self._document["flags"] = list(flags)
        self._spread_out()
        at = 0
        for old in self._log:
            if at < len(log) and log[at] == old:
                at += 1
            else:
                del self._document["readings"][at]
        for each in log[at:]:
            self._document["readings"].append(self._table(each))
        if not log:
            del self._document["readings"]  # which would stand there as an empty list in brackets
        self._save()
        self._log = list(log)

    def _spread_out(self) -> None:
        """See that the readings are tables of their own, as only those can be added to."""
        import tomlkit
        from tomlkit.items import AoT

        there = self._document.get("readings", ())
        if not isinstance(there, AoT):
            spread = tomlkit.aot()
            for each in there:
                table = tomlkit.table()
                table.update(each)
                spread.append(table)
            self._document.pop("readings", None)
            self._document["readings"] = spread

    def write_meter(self, texts: Mapping[str, str]) -> None:
        """Bring what the file says of the meter up to date.

        Parameters
        ----------
        texts : mapping
            Key of its table -> what was written; an empty text takes the key away.
        """
        import tomlkit

        table = self._document.setdefault("meter", tomlkit.table())
        for key, text in texts.items():
            if text:
                table[key] = text
            else:
                table.pop(key, None)
        if not table:
            del self._document["meter"]
        self._save()

    def _table(self, each: Measured | Reading) -> Any:
        """One entry of the log."""
        import tomlkit

        reading = each.reading if isinstance(each, Measured) else each
        table = tomlkit.table()
        table["function"] = str(reading.function)
        if reading.lifted:
            table["over"] = reading.lifted
            if self._circuit[reading.lifted].nodes[0] != reading.a:
                table["reversed"] = True
            table["lifted"] = True
        elif not reading.at_pin:
            table["red"], table["black"] = reading.a, reading.b
        if reading.power is not usual_power(reading.function):
            table["power"] = str(reading.power)
        table["value"] = show_measured(each, DIGITS) if isinstance(each, Measured) else SKIPPED
        return table

    def _save(self) -> None:
        """Write the document; one that could not be written is again as it was kept last."""
        import tomlkit

        text = tomlkit.dumps(self._document)
        try:
            replace_whole(self.path, self._on_disk, text.encode("utf-8"))
        except InputError:
            self._document = tomlkit.parse(self._kept)
            raise
        self._kept, self._on_disk = text, text.encode("utf-8")


def mark_of(data: bytes) -> str:
    """A short text that is another one for other bytes."""
    return sha256(data).hexdigest()[:16]


def free_job_path(board_file: Path) -> Path:
    """Where the job of a board goes: beside it, under the first free name."""
    stem = board_file.stem.removesuffix("-board")
    names = (f"{stem}-job{'' if n == 1 else f'-{n}'}.toml" for n in count(1))
    return next(p for p in map(board_file.with_name, names) if not os.path.lexists(p))
