"""Job files as they are written: after each answer, whole, nothing of others overwritten."""

from __future__ import annotations

import os
from collections.abc import Sequence
from itertools import count
from pathlib import Path
from typing import Any

from zcd.circuit.elements import Circuit
from zcd.diagnosis.job import SKIPPED
from zcd.diagnosis.readings import Measured, Reading, usual_power
from zcd.diagnosis.words import show_measured
from zcd.errors import InputError
from zcd.show.files import write_whole

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
    """

    def __init__(self, path: Path, circuit: Circuit, board_file: Path | None = None) -> None:
        import tomlkit

        self.path, self._circuit = path, circuit
        self._on_disk: bytes | None = None
        if board_file is None:
            self._on_disk = path.read_bytes()
            self._document = tomlkit.parse(self._on_disk.decode("utf-8"))
            return
        if os.path.lexists(path):
            raise InputError(f"{path}: found something of that name; allowed: a new job file")
        self._document = tomlkit.parse(HEAD)
        name = os.path.relpath(board_file, path.parent or ".")
        self._document["board"] = Path(name).as_posix()

    @property
    def written(self) -> bool:
        """Whether there is anything on the disk."""
        return self._on_disk is not None

    def write(self, log: Sequence[Measured | Reading], flags: Sequence[str]) -> None:
        """Bring the file up to date.

        Parameters
        ----------
        log : sequence of Measured or Reading
            What it holds already, with entries added or taken away at the end.
        flags : sequence of str

        Raises
        ------
        InputError
            If the file has been changed by somebody else meanwhile, or cannot be written.
        """
        import tomlkit

        if flags or "flags" in self._document:
            self._document["flags"] = list(flags)
        tables = self._document.get("readings")
        if tables is None and log:
            tables = self._document["readings"] = tomlkit.aot()
        while tables is not None and len(tables) > len(log):
            del tables[-1]
        for each in log[len(tables) if tables is not None else 0 :]:
            self._document["readings"].append(self._table(each))
        self._save(tomlkit.dumps(self._document).encode("utf-8"))

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

    def _save(self, data: bytes) -> None:
        there = self.path.read_bytes() if os.path.lexists(self.path) else None
        if there != self._on_disk:
            raise InputError(
                f"{self.path}: found changes made by somebody else while this was going on; "
                "allowed: the file as it was left"
            )
        write_whole(self.path, data)
        self._on_disk = data


def free_job_path(board_file: Path) -> Path:
    """Where the job of a board goes: beside it, under the first free name."""
    stem = board_file.stem.removesuffix("-board")
    names = (f"{stem}-job{'' if n == 1 else f'-{n}'}.toml" for n in count(1))
    return next(p for p in map(board_file.with_name, names) if not os.path.lexists(p))
