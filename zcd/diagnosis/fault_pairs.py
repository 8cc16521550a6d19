"""Two faults at once: those pairs that a bench meets, at a lower prior than either alone."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.circuit_edits import two_faults
from zcd.diagnosis.faults import Fault

FloatArray = NDArray[np.float64]

MAX_PAIRS = 28
COMMON = {
    ("contact", "open"),
    ("resistor", "open"),
    ("resistor", "drift"),
    ("resistor", "short"),
    ("diode", "open"),
    ("diode", "short"),
    ("diode", "reversed"),
    ("led", "open"),
    ("led", "short"),
    ("phototransistor", "aged"),
    ("phototransistor", "open"),
    ("phototransistor", "short"),
}
"""Kinds and modes that are tried two at a time: what fails, and what a repair gets wrong."""
SECOND_SHARE = 0.04
"""How often a board that has one of these has a second: common practice, no source."""
RELATED_FACTOR = 5.0
"""How much likelier two faults of one cause are than two that have nothing to do with each other:
a shorted rectifier and the LED behind it, two resistors of one chain; common practice, no
source."""
RELATED = ({"diode", "led"}, {"resistor"})


def pairs_of(faults: Sequence[Fault], shares: FloatArray) -> tuple[tuple[Fault, ...], FloatArray]:
    """The likeliest pairs of faults at different parts, and their prior probabilities.

    Parameters
    ----------
    faults : sequence of Fault
        Single ones.
    shares : ndarray, shape (len(faults),)
        Their prior probabilities.

    Returns
    -------
    pairs : tuple of Fault
        No more than `MAX_PAIRS`.
    pair_shares : ndarray, shape (len(pairs),)
    """
    common = [k for k, f in enumerate(faults) if (f.kind, f.mode) in COMMON and not f.states]
    result = [
        (float(shares[i] * shares[j]) * _related(faults[i], faults[j]), i, j)
        for i, j in combinations(common, 2)
        if _apart(faults[i], faults[j])
    ]
    result = sorted(result, key=lambda each: -each[0])[:MAX_PAIRS]
    weights = np.array([weight for weight, _, _ in result])
    second = SECOND_SHARE / shares[common].sum()
    return tuple(_pair(faults[i], faults[j]) for _, i, j in result), second * weights


def _apart(first: Fault, second: Fault) -> bool:
    """Whether two faults are at different parts, and not both in one bridge."""
    same = first.part.partition(" ")[0] == second.part.partition(" ")[0]
    return not same and not first.kind == second.kind == "diode"


def _related(first: Fault, second: Fault) -> float:
    return RELATED_FACTOR if {first.kind, second.kind} in RELATED else 1.0


def _pair(first: Fault, second: Fault) -> Fault:
    return Fault(
        key=f"{first.key} + {second.key}",
        part=f"{first.part}, {second.part}",
        kind="pair",
        mode="",
        words=f"two faults: {first.words}; and {second.words}",
        edit=two_faults(first.edit, second.edit),
        members=(first.key, second.key),
        also=(first.repair, second.repair),
    )
