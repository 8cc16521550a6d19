"""What a row of resistors reads, less what was read of some: what is left for the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isfinite

import numpy as np

from zcd.board.parts_library import all_resistors
from zcd.circuit.elements import Circuit, Resistance
from zcd.diagnosis.expected_readings import good_board
from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.functions import Function
from zcd.diagnosis.readings import Measured, Reading, parts_between

CLEARLY_HIGH = 1.15
"""Ohms over the most that a good board shows, from which nobody doubts: common practice, no
source."""
SAME_SUM = 0.05
"""How far a row may be from the sum of its parts, as they are read on several ranges of a meter:
common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """Resistors that were not read, and have to be high for their row to read as it did.

    Parameters
    ----------
    whole : Measured
        Ohms over the row.
    read : tuple of Measured
        Those of some of its parts.
    refs : tuple of str
        The others.
    ohm : float
        What is left for them together, at least.
    good_ohm : float
        The most that they read on a good board.
    """

    whole: Measured
    read: tuple[Measured, ...]
    refs: tuple[str, ...]
    ohm: float
    good_ohm: float


def rest_of_row(dictionary: FaultDictionary, measured: Sequence[Measured]) -> Rest | None:
    """What a row leaves for the parts of it that were not read; None where that is what they have.

    A part that read good counts as the most that a good one may have; parallel paths let the row
    read lower and never higher.
    """
    circuit = dictionary.circuit
    alone = _alone(circuit, measured)
    for whole in filter(_is_exact, measured):
        row = row_of(circuit, whole.reading)
        left = tuple(ref for ref in row if ref not in alone)
        if len(row) < 2 or not left or len(left) == len(row):
            continue
        read = tuple(alone[ref] for ref in row if ref in alone)
        ohm = whole.value - sum(_most(dictionary, m) for m in read)
        good = sum(good_most_ohm(dictionary, over(circuit, ref)) for ref in left)
        # what is left of much is no more than the error of the meter
        if ohm > CLEARLY_HIGH * good and ohm - good > SAME_SUM * whole.value:
            return Rest(whole=whole, read=read, refs=left, ohm=ohm, good_ohm=good)
    return None


def summed_up(circuit: Circuit, measured: Sequence[Measured]) -> list[Measured]:
    """Readings without those over a row that its parts, all of them read, make up: no sample of two
    faults is of just these sizes. The row says of each part that it was read right."""
    alone = _alone(circuit, measured)

    def adds_up(m: Measured) -> bool:
        row = row_of(circuit, m.reading) if _is_exact(m) else ()
        if len(row) < 2 or not alone.keys() >= {*row}:
            return False
        return abs(m.value - sum(alone[ref].value for ref in row)) <= SAME_SUM * m.value

    rows = [m for m in measured if adds_up(m)]
    right = [alone[ref] for m in rows for ref in row_of(circuit, m.reading)]
    return [
        replace(m, repeated=True) if any(m is each for each in right) else m
        for m in measured
        if m not in rows
    ]


def reads_over(dictionary: FaultDictionary, measured: Measured) -> bool:
    """Whether a reading is clearly above all that a good board shows, and that its parts have."""
    least = measured.value if measured.low is None else measured.low
    return least > CLEARLY_HIGH * good_most_ohm(dictionary, measured.reading)


def good_most_ohm(dictionary: FaultDictionary, reading: Reading) -> float:
    """The most that good resistors read: on a good board, or alone where another string that was
    parallel to them is open."""
    tolerances = {part.ref: part.tolerance_ratio for part in all_resistors(dictionary.board)}
    own = sum(
        float(np.max(part.resistance_ohm)) * (1.0 + tolerances.get(part.ref, 0.0))
        for part in (dictionary.circuit[ref] for ref in row_of(dictionary.circuit, reading))
        if isinstance(part, Resistance)
    )
    return max(own, good_board(dictionary, reading).high)


def cannot_raise(dictionary: FaultDictionary, measured: Measured) -> frozenset[str]:
    """Keys of faults beside resistors that read more than all of them have: what is parallel to
    these makes them read lower."""
    row = row_of(dictionary.circuit, measured.reading)
    ohms = measured.reading.function is Function.OHM and not measured.unstable
    if not ohms or not row or not reads_over(dictionary, measured):
        return frozenset()
    raise_it = {
        fault.key
        for fault in dictionary.faults
        if {fault.part, *(ref for ref, _ in (fault.joint.over if fault.joint else ()))} & {*row}
    }
    return frozenset(
        fault.key for fault in dictionary.faults if not {fault.key, *fault.members} & raise_it
    )


def over(circuit: Circuit, ref: str) -> Reading:
    """Ohms over a resistor in the circuit."""
    red, black = circuit[ref].nodes
    return Reading(function=Function.OHM, red=red, black=black)


def _is_exact(measured: Measured) -> bool:
    ohms = measured.reading.function is Function.OHM
    return ohms and measured.exact and not measured.about and isfinite(measured.value)


def _alone(circuit: Circuit, measured: Sequence[Measured]) -> dict[str, Measured]:
    """The last exact reading of each resistor that was read by itself."""
    ohms = filter(_is_exact, measured)
    return {refs[0]: m for m in ohms if len(refs := row_of(circuit, m.reading)) == 1}


def row_of(circuit: Circuit, reading: Reading) -> tuple[str, ...]:
    """The resistors in a row of which a reading is taken; empty where there is anything else."""
    refs = parts_between(circuit, circuit.node(reading.red), circuit.node(reading.black))
    return refs if all(isinstance(circuit[ref], Resistance) for ref in refs) else ()


def _most(dictionary: FaultDictionary, measured: Measured) -> float:
    """The most that a part may have that read so."""
    return max(measured.value, good_most_ohm(dictionary, measured.reading))
