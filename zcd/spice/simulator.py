"""The simulator: ngspice as a library in this process or, failing that, as a program."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path
from typing import Protocol

import numpy as np

from zcd.errors import NoSimulatorError, SimulationError
from zcd.spice.judge import Vectors, judged
from zcd.spice.library import PLACE, Library, LibraryDeadError

INSTALL = (
    "ngspice is not installed; on Debian or Ubuntu: sudo apt-get install libngspice0 "
    "(elsewhere: ngspice from your system's packages, its program in the path)"
)
PROGRAM = "ngspice"
LONGEST_RUN_S = 600.0
_BRANCH = re.compile(r"^i\((.*)\)$")
_NODE = re.compile(r"^v\((.*)\)$")


class Simulator(Protocol):
    """What runs a deck."""

    def run(self, deck: str, stop_s: float | None) -> Vectors:
        """Run one deck.

        Parameters
        ----------
        deck : str
            A whole netlist with one analysis.
        stop_s : float or None
            End of its transient; None where it is an operating point. [s]

        Returns
        -------
        vectors : dict of ndarray, shape (points,)
            By name in lower case: ``time``, nodes as they are, currents of voltage sources as
            ``name#branch``.

        Raises
        ------
        SimulationError
            If the run did not end well: one line with ngspice's own words.
        """


class Program:
    """ngspice as a program of its own for each run; several may run side by side."""

    def __init__(self) -> None:
        path = shutil.which(PROGRAM)
        if path is None:
            raise NoSimulatorError(INSTALL)
        self._path = path

    def run(self, deck: str, stop_s: float | None) -> Vectors:
        """Run one deck; see `Simulator`."""
        with tempfile.TemporaryDirectory(prefix="zcd-") as folder:
            place = Path(folder)
            (place / "deck.cir").write_text(deck, encoding="ascii")
            line = [self._path, "-n", "-b", "-r", "out.raw", "deck.cir"]
            try:
                done = subprocess.run(
                    line, cwd=place, capture_output=True, check=False, timeout=LONGEST_RUN_S
                )
            except subprocess.TimeoutExpired:
                raise SimulationError(
                    f"ngspice has not finished after {LONGEST_RUN_S:g} s", deck
                ) from None
            said = (done.stderr + done.stdout).decode("utf-8", "replace").splitlines()
            raw = place / "out.raw"
            vectors = read_raw(raw.read_bytes()) if raw.is_file() else {}
        faults = [text for text in said if "unrecognized" in text or text.startswith("Error")]
        return judged({} if faults else vectors, stop_s, said, deck)


class Either:
    """The library while it works, then the program."""

    def __init__(self) -> None:
        self._now: Simulator
        try:
            self._now = Library()
        except NoSimulatorError:
            if os.environ.get(PLACE) and shutil.which(PROGRAM) is None:
                raise  # what to mend is the variable, not the installation
            self._now = Program()

    def run(self, deck: str, stop_s: float | None) -> Vectors:
        """Run one deck; see `Simulator`."""
        try:
            return self._now.run(deck, stop_s)
        except LibraryDeadError:
            self._now = Program()
            return self._now.run(deck, stop_s)


@cache
def simulator() -> Simulator:
    """The simulator of this process.

    Raises
    ------
    NoSimulatorError
        If neither library nor program is there; says what to install.
    """
    return Either()


def read_raw(data: bytes) -> Vectors:
    """Read ngspice's binary result file (one plot of real numbers).

    Parameters
    ----------
    data : bytes

    Returns
    -------
    vectors : dict
        Empty where the file holds no plot.
    """
    head, mark, body = data.partition(b"Binary:\n")
    if not mark:
        return {}
    names = []
    points = 0
    for line in head.decode("utf-8", "replace").splitlines():
        if line.startswith("No. Points:"):
            points = int(line.split(":")[1])
        elif line.startswith("\t") and len(fields := line.split()) >= 3:
            names.append(_plain_name(fields[1]))
    values = np.frombuffer(body, dtype="<f8", count=points * len(names))
    table = values.reshape(points, len(names))
    return {name: table[:, k].copy() for k, name in enumerate(names)}


def _plain_name(name: str) -> str:
    """A vector's name as the library gives it."""
    if result := _BRANCH.match(name):
        return f"{result[1]}#branch"
    return result[1] if (result := _NODE.match(name)) else name
