"""Edits on the element list: what a fault does to a circuit, at a severity for each row."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import INFINITE_OHM, Circuit, DcSource, Junction, Resistance

FloatArray = NDArray[np.float64]
Edit = Callable[[Circuit, FloatArray], Circuit]
Amount = Callable[[FloatArray], FloatArray]

NO_MAINS_V = 0.01
NEVER_V = 1e9
"""Where a junction that is not there breaks down."""
GOLDEN_SHARE = 0.5 * (5.0**0.5 - 1.0)
"""Step by which the second of two faults takes its sizes apart from the first."""


def nothing(circuit: Circuit, severity: FloatArray) -> Circuit:
    """The circuit as it is."""
    del severity
    return circuit


def between(ends: tuple[float, float]) -> Amount:
    """Severity 0 to 1 spread evenly in logs."""
    low, high = ends
    return lambda u: low * (high / low) ** u


def either(first: tuple[float, float], second: tuple[float, float]) -> Amount:
    """Two ranges, each for half of the severities."""
    return lambda u: np.where(
        u < 0.5, between(first)(np.minimum(2.0 * u, 1.0)), between(second)(2.0 * u - 1.0)
    )


def setting(ref: str, name: str, value: float | Amount) -> Edit:
    """Set one value of an element, at all severities or by severity."""
    return lambda circuit, u: circuit.change(ref, **{name: value(u) if callable(value) else value})


def times(ref: str, name: str, factor: Amount) -> Edit:
    """Multiply one value of an element by severity."""
    return lambda circuit, u: circuit.scale(ref, name, factor(u))


def bridge(ref: str, a: str, b: str, size: float | Amount) -> Edit:
    """A resistance between two nodes."""

    def edit(circuit: Circuit, severity: FloatArray) -> Circuit:
        ohm = size(severity) if callable(size) else size
        return circuit.add(Resistance(ref=ref, a=a, b=b, resistance_ohm=ohm))

    return edit


def bridge_at_one(ref: str, places: Sequence[tuple[str, str]], size: Amount) -> Edit:
    """A resistance between two nodes at one of several places: row after row at the next.

    Where there are more places than rows, at some of them, from the first to the last.
    """

    def edit(circuit: Circuit, severity: FloatArray) -> Circuit:
        rows = np.arange(severity.size)
        at = rows % len(places)
        if severity.size < len(places):
            at = rows * len(places) // severity.size
        for number in np.unique(at):
            a, b = places[number]
            ohm = np.where(at == number, size(severity), INFINITE_OHM)
            there = Resistance(ref=f"{ref}.{number}", a=a, b=b, resistance_ohm=ohm)
            circuit = circuit.add(there)
        return circuit

    return edit


def shorted(ref: str, size: Amount) -> Edit:
    """Bridge a part."""
    return lambda circuit, u: circuit.short(ref, size(u))


def leak(ref: str, size: Amount) -> Edit:
    """What a junction lets through beside itself."""
    return setting(f"{ref}.leak", "resistance_ohm", size)


def leak_in_or_beside(ref: str, size: Amount) -> Edit:
    """The same, in every other row as dirt on the board: that stays when the part is lifted."""

    def edit(circuit: Circuit, severity: FloatArray) -> Circuit:
        ohm, was = size(severity), circuit[ref]
        beside = np.arange(severity.size) % 2 == 1
        own = np.broadcast_to(circuit[f"{ref}.leak"].values()["resistance_ohm"], ohm.shape)
        dirt = np.where(beside, ohm, INFINITE_OHM)
        return circuit.change(f"{ref}.leak", resistance_ohm=np.where(beside, own, ohm)).add(
            Resistance(ref=f"beside {ref}", a=was.nodes[0], b=was.nodes[1], resistance_ohm=dirt)
        )

    return edit


def junction_opened(ref: str, size: Amount) -> Edit:
    """A junction whose bond or pin is off; what is left is the dirt beside it."""

    def edit(circuit: Circuit, severity: FloatArray) -> Circuit:
        circuit = circuit.change(ref, saturation_a=0.0, breakdown_v=NEVER_V)
        return circuit.change(f"{ref}.leak", resistance_ohm=size(severity))

    return edit


def turned(ref: str) -> Edit:
    """Turn a diode round: the forward one goes, one the other way comes."""

    def edit(circuit: Circuit, severity: FloatArray) -> Circuit:
        del severity
        was = circuit[ref]
        assert isinstance(was, Junction)
        other = replace(was, ref=f"{ref}.turned", a=was.b, b=was.a)
        return circuit.change(ref, saturation_a=0.0, breakdown_v=NEVER_V).add(other)

    return edit


def contact_open(circuit: Circuit, severity: FloatArray) -> Circuit:
    """The load contact does not close."""
    del severity
    if "K1.contact" not in circuit:
        return circuit
    return circuit.change("K1.contact", resistance_ohm=INFINITE_OHM)


def all_dead(circuit: Circuit, severity: FloatArray) -> Circuit:
    """No mains, and so no supply and no relay."""
    circuit = circuit.change("mains", rms_v=NO_MAINS_V)
    for source in circuit.of(DcSource):
        circuit = circuit.change(source.ref, voltage_v=0.0)
    return contact_open(circuit, severity)


def both(*edits: Edit) -> Edit:
    """One edit after another, at the same severity."""

    def edit(circuit: Circuit, severity: FloatArray) -> Circuit:
        for one in edits:
            circuit = one(circuit, severity)
        return circuit

    return edit


def two_faults(first: Edit, second: Edit) -> Edit:
    """Two faults of unrelated sizes."""

    def edit(circuit: Circuit, severity: FloatArray) -> Circuit:
        return second(first(circuit, severity), second_severity(severity))

    return edit


def second_severity(severity: FloatArray) -> FloatArray:
    """That of the second of two faults whose sizes have nothing to do with one another."""
    return (severity + GOLDEN_SHARE) % 1.0
