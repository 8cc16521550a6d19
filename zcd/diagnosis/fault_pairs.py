"""Two faults at once: those pairs that a bench meets, at a lower prior than either alone.

Most pairs of one fault on the mains side and one at the pin need no circuit of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Circuit, Phototransistor
from zcd.diagnosis.circuit_edits import two_faults
from zcd.diagnosis.faults import Fault

FloatArray = NDArray[np.float64]

MAX_PAIRS, MAX_ON_TWO_SIDES = 28, 120
"""Pairs with a circuit of their own, and without."""
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
PIN_NODES = {"pin", "logic+", "logic0"}
SECOND_SHARE = 0.04
"""How often a board that has one of these has a second: common practice, no source."""
RELATED_FACTOR = 5.0
"""How much likelier two faults of one cause are than two that have nothing to do with each other:
a shorted rectifier and the LED behind it, two resistors of one chain; common practice, no
source."""
RELATED = ({"diode", "led"}, {"resistor"})


def pairs_of(
    faults: Sequence[Fault], shares: FloatArray, circuit: Circuit
) -> tuple[tuple[Fault, ...], FloatArray]:
    """The likeliest pairs of faults at different parts, and their prior probabilities.

    Parameters
    ----------
    faults : sequence of Fault
        Single ones.
    shares : ndarray, shape (len(faults),)
        Their prior probabilities.
    circuit : Circuit
        Without a fault.

    Returns
    -------
    pairs : tuple of Fault
        Those with a circuit of their own first.
    pair_shares : ndarray, shape (len(pairs),)
    """
    common = [k for k, f in enumerate(faults) if (f.kind, f.mode) in COMMON and not f.states]
    blind = [k for k in common if _is_blind(faults[k], circuit)]
    at_pin = [k for k in common if _is_at_pin(faults[k], circuit)]
    own: list[tuple[float, int, int]] = []
    sides: list[tuple[float, int, int]] = []
    for i, j in combinations(common, 2):
        if not _apart(faults[i], faults[j]):
            continue
        weight = float(shares[i] * shares[j]) * _related(faults[i], faults[j])
        mains, pin = (j, i) if i in at_pin else (i, j)
        apart = pin in blind and mains not in at_pin
        (sides if apart else own).append((weight, mains, pin))
    own, sides = (
        sorted(some, key=lambda each: -each[0])[:most]
        for some, most in ((own, MAX_PAIRS), (sides, MAX_ON_TWO_SIDES))
    )
    weights = np.array([weight for weight, _, _ in (*own, *sides)])
    second = SECOND_SHARE / shares[common].sum()
    pairs = [pair_of(faults[i], faults[j]) for _, i, j in own]
    pairs += [replace(pair_of(faults[i], faults[j]), on_two_sides=True) for _, i, j in sides]
    return tuple(pairs), second * weights


def _is_at_pin(fault: Fault, circuit: Circuit) -> bool:
    """Whether a fault is on the controller's side of the light."""
    if fault.kind == "phototransistor":
        return True
    return fault.part in circuit and not PIN_NODES.isdisjoint(circuit[fault.part].nodes)


def _is_blind(fault: Fault, circuit: Circuit) -> bool:
    """Whether, with this fault at the pin, light makes no difference there."""
    # through a resistor that is shorted or open the pin still follows the light a little
    alone = len(circuit.of(Phototransistor)) == 1
    return alone and fault.kind == "phototransistor" and fault.mode in ("open", "short")


def _apart(first: Fault, second: Fault) -> bool:
    """Whether two faults are at different parts, and not both in one bridge."""
    same = first.part.partition(" ")[0] == second.part.partition(" ")[0]
    return not same and not first.kind == second.kind == "diode"


def _related(first: Fault, second: Fault) -> float:
    return RELATED_FACTOR if {first.kind, second.kind} in RELATED else 1.0


def _both_words(first: Fault, second: Fault) -> str:
    """What is wrong with both, in one sentence where it is the same of two parts."""
    if first.words.replace(first.part, second.part) != second.words:
        return f"{first.words}; and {second.words}"
    said = first.words.replace(first.part, f"{first.part} and {second.part}")
    for one, two in ((" has ", " have "), (" is ", " are "), ("replace it", "replace both")):
        said = said.replace(one, two, 1)
    return said


def pair_of(first: Fault, second: Fault) -> Fault:
    """Both at once."""
    return Fault(
        key=f"{first.key} + {second.key}",
        part=f"{first.part}, {second.part}",
        kind="pair",
        mode="",
        words=f"two faults: {_both_words(first, second)}",
        edit=two_faults(first.edit, second.edit),
        members=(first.key, second.key),
        also=(first.repair, second.repair),
    )
