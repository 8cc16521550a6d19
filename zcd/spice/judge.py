"""Whether a run of the simulator succeeded: the data decide, and its own words explain."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from zcd.errors import SimulationError

Vectors = dict[str, NDArray[np.float64]]
"""By name, in lower case: ``time``, nodes as they are, sources' currents as ``name#branch``."""

_HARMLESS = ("Note:", "Using ", "Circuit:", "Warning: singular matrix", "Warning: Dynamic gmin")
_TELLING = (
    "timestep too small",
    "singular matrix",
    "no convergence",
    "iteration limit",
    "can't find model",
    "unknown",
    "unrecognized",
    "undefined",
    "error",
)
_LONGEST = 160


def refuse_faults(said: Iterable[str], deck: str) -> None:
    """Refuse a deck about which ngspice complained while it read it.

    It accepts a mistyped parameter with no more than a warning, and computes something else.
    """
    result = [line for line in map(str.strip, said) if line and not line.startswith(_HARMLESS)]
    if result:
        raise SimulationError(f"ngspice does not accept the netlist: {_words(result)}", deck)


def judged(vectors: Vectors, stop_s: float | None, said: Iterable[str], deck: str) -> Vectors:
    """The vectors of a run, if they are complete.

    Parameters
    ----------
    vectors : dict
        Empty where the run gave none; without points where it was given up.
    stop_s : float or None
        When the transient must end; None for an operating point.
    said : iterable of str
        ngspice's lines during the run.
    deck : str

    Raises
    ------
    SimulationError
        If the run gave nothing, ended early, or holds numbers that are none.
    """
    lines = [line.strip() for line in said if line.strip()]
    if not all(wave.size for wave in vectors.values()) or not vectors:
        raise SimulationError(f"ngspice gave no result: {_words(lines)}", deck)
    if stop_s is not None and abs(vectors["time"][-1] - stop_s) > 1e-6 * stop_s:
        last_s = float(vectors["time"][-1])
        raise SimulationError(f"ngspice stopped at {last_s:.6g} s: {_words(lines)}", deck)
    if not all(np.all(np.isfinite(wave)) for wave in vectors.values()):
        raise SimulationError(f"ngspice's result holds no numbers: {_words(lines)}", deck)
    return vectors


def _words(lines: list[str]) -> str:
    """The line that says most, cut to one line of a terminal or two."""
    for word in _TELLING:
        for line in lines:
            if word in line.lower():
                return " ".join(line.split())[:_LONGEST]
    return " ".join(lines[-1].split())[:_LONGEST] if lines else "it said nothing"
