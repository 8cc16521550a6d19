"""ngspice as a library in this process, through PySpice, with its traps worked around.

PySpice itself is left as it is. What is known of it and of ngspice 39, and done about it here:

* It looks for ``libngspice.so``, Debian ships ``libngspice.so.0``; and a first load that fails
  poisons the process. So the library is found and tried before PySpice gets to see it.
* A process can have one instance only, and two threads in it crash. So there is one, behind a
  lock; what wants to run side by side takes processes.
* It raises on harmless notes, and is silent about real faults. So the data decide, not its
  exceptions.
* A Ctrl-C that falls into one of its callbacks is printed with a traceback, and lost. So it waits
  for the end of a run.
* Circuits and results stay in memory until they are removed. So both are, after every run.
* One bad netlist can leave the library unable to run any other. Then it says so, by a
  `LibraryDeadError`, and whoever called goes on with the program.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import logging
import os
import signal
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

import numpy as np

from zcd.errors import NoSimulatorError
from zcd.spice.judge import Vectors, judged, refuse_faults

logger = logging.getLogger(__name__)
logger.addHandler(logging.NullHandler())

_LOCK = threading.Lock()
_LAST_WORDS = "awaits to be detached"


class LibraryDeadError(NoSimulatorError):
    """The library was left unusable by an earlier netlist."""


class Library:
    """The simulator in this process."""

    def __init__(self) -> None:
        with _later_interrupt():
            self._shared = _shared_instance()
        self._dead = False

    def run(self, deck: str, stop_s: float | None) -> Vectors:
        """Run one deck; see `zcd.spice.simulator.Simulator`."""
        with _LOCK, _later_interrupt():
            if self._dead:
                raise LibraryDeadError("the simulator's library stopped working")
            try:
                return self._run(deck, stop_s)
            finally:
                self._clean()

    def _run(self, deck: str, stop_s: float | None) -> Vectors:
        said = self._attempt(lambda: self._shared.load_circuit(deck))
        refuse_faults(said, deck)
        said = self._attempt(self._shared.run)
        name = self._shared.last_plot
        kind = "op" if stop_s is None else "tran"
        # without a result of this run, the newest plot is ngspice's own table of constants
        vectors = self._vectors(name) if name.startswith(kind) else {}
        return judged(vectors, stop_s, said, deck)

    def _attempt(self, step: Any) -> list[str]:
        """Do one step whatever PySpice thinks of it; return what ngspice said on the way."""
        try:
            step()
        except Exception as error:
            if type(error) is NameError:  # a failed call into the library itself
                self._dead = True
                raise LibraryDeadError("the simulator's library stopped working") from error
            # notes count as failures there: judge by the data
            logger.debug("PySpice complained", exc_info=True)
        said: list[str] = [*self._shared.stdout.splitlines(), *self._shared.stderr.splitlines()]
        if any(_LAST_WORDS in line for line in said):
            self._dead = True
            raise LibraryDeadError("the simulator's library stopped working")
        return said

    def _vectors(self, name: str) -> Vectors:
        plot = self._shared.plot(None, name)
        return {key: np.array(vector.to_waveform(), dtype=float) for key, vector in plot.items()}

    def _clean(self) -> None:
        """Forget circuit and results: else a run keeps up to 300 kB."""
        for step in (self._shared.destroy, self._shared.remove_circuit):
            if not self._dead:
                try:
                    step()
                except Exception as error:
                    self._dead = type(error) is NameError
                    logger.debug("PySpice complained", exc_info=True)


@contextmanager
def _later_interrupt() -> Iterator[None]:
    """Ctrl-C counts at the end, where it is Python's own to handle: in the main thread."""
    if (
        threading.current_thread() is not threading.main_thread()
        or signal.getsignal(signal.SIGINT) is not signal.default_int_handler
    ):
        yield
        return
    pressed: list[int] = []
    signal.signal(signal.SIGINT, lambda number, _: pressed.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        if pressed:
            raise KeyboardInterrupt


PLACE = "NGSPICE_LIBRARY_PATH"
"""Variable of the environment that says where the library is."""


def library_path() -> str | None:
    """Where ngspice's library is: where `PLACE` says, else where the system has it."""
    return os.environ.get(PLACE) or ctypes.util.find_library("ngspice")


@cache
def _shared_instance() -> Any:
    """The one instance that a process may have."""
    path = library_path()
    if path is None:
        raise NoSimulatorError("ngspice's library is not installed")
    try:
        ctypes.CDLL(path)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # the wrapper's own, when it is compiled first
            from PySpice.Spice.NgSpice.Shared import NgSpiceShared  # type: ignore[import-untyped]
    except (OSError, ImportError) as error:
        raise NoSimulatorError(_unusable(path, error)) from error
    logging.getLogger("PySpice").addHandler(logging.NullHandler())
    theirs = logging.getLogger("PySpice.Spice.NgSpice.Shared.NgSpiceShared")
    theirs.addFilter(lambda record: "Unsupported Ngspice version" not in record.getMessage())
    NgSpiceShared.LIBRARY_PATH = path
    return NgSpiceShared.new_instance()


def _unusable(path: str, error: Exception) -> str:
    """Why a library cannot be used; names the variable if that is where its place comes from."""
    if os.environ.get(PLACE):
        return f"{PLACE}: found {path}, which cannot be used ({error}); allowed: ngspice's library"
    return f"ngspice's library cannot be used: {error}"
