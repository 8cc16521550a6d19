"""A reading in words: what is read, and over which parts or at which points as printed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from zcd.circuit.elements import Circuit, Element, Junction, Phototransistor, Resistance
from zcd.circuit.points import diode_of_bridge, leads_text, part_words, probe_texts
from zcd.diagnosis.functions import Method
from zcd.diagnosis.readings import Reading, parts_between, parts_over, past_chip, usual_power
from zcd.engine.network import REFERENCES

LIFTED_ENDS = ("its plain end", "its ring end")
"""Anode and cathode of a diode with one end lifted: a lead in the air has no point's name."""


class Probes(NamedTuple):
    """Where the probes go, in words.

    Parameters
    ----------
    over : str
        The parts that they are across, and whether one is lifted; empty for a point against ground.
    red, black : str
        At which points; empty across resistors alone, which read the same either way round where
        no chip lies beside them.
    state : str
        Of the board, where it is not the usual one for such a reading.
    """

    over: str
    red: str
    black: str
    state: str

    @property
    def short(self) -> str:
        """The parts, and red at a diode; else the point that is read."""
        red = f"red on {self.red}" if self.over and self.red else self.red
        return _listed(self.over, red, self.state if self.over and not self.red else "")


def probes_of(reading: Reading, circuit: Circuit) -> Probes:
    """Where the probes go: over which parts, or red and black at which points."""
    state = "" if reading.power is usual_power(reading.function) else str(reading.power)
    over, between = over_text(reading, circuit)
    if reading.lifted:
        over = f"{part_words(reading.lifted)}, one end lifted"
        between = (circuit[reading.lifted],)
    alike = all(isinstance(part, Resistance) for part in between)
    if over and alike and not past_chip(circuit, reading):
        return Probes(over=over, red="", black="", state=state)
    red, black = probe_texts(reading.red, reading.black, circuit)
    if len(between) == 1:
        red, black = leads_text(between[0].ref, reading.red, circuit) or (red, black)
        if reading.lifted and isinstance(between[0], Junction) and "." not in between[0].ref:
            turned = reading.red != between[0].a
            red, black = LIFTED_ENDS[::-1] if turned else LIFTED_ENDS
    return Probes(over=over, red=red, black=black, state=state)


def probes_text(reading: Reading, circuit: Circuit, *, with_state: bool = True) -> str:
    """The same as one text, the state of the board too unless that is said beside it."""
    over, red, black, state = probes_of(reading, circuit)
    leads = (f"red on {red}", f"black on {black}") if red else ()
    one = reading.lifted or _directly_over(reading, circuit)
    how = "across" if one or reading.function.row.method is not Method.JUNCTION else "through"
    return _listed(f"{how} {over}" if over else "", *leads, state * with_state)


def _listed(*texts: str) -> str:
    return ", ".join(text for text in texts if text)


def over_text(reading: Reading, circuit: Circuit) -> tuple[str, tuple[Element, ...]]:
    """What the probes are across, in words, and those parts; empty for a point against ground."""
    dead = reading.function.row.dead
    if not dead and circuit.node(reading.black) in REFERENCES:
        return "", ()
    if over := _directly_over(reading, circuit):
        refs = over.split(", ")
        parts = tuple(circuit[ref] for ref in refs)
        # of a bridge in one piece the leads say where the probes go
        return "" if diode_of_bridge(over)[1] else side_by_side(refs, circuit), parts
    lit = reading.function.row.method is Method.JUNCTION
    row = parts_between(circuit, reading.red, reading.black, forward=lit) if dead else ()
    if not row:
        return "", ()
    parts = tuple(circuit[ref] for ref in row)
    if not all(isinstance(part, Resistance) for part in parts):
        *most, last = dict.fromkeys(part_words(diode_of_bridge(ref)[0]) for ref in row)
        return " and ".join(filter(None, (", ".join(most), last))), parts
    return " to ".join(part_words(ref) for ref in (row[0], row[-1])), parts


def _directly_over(reading: Reading, circuit: Circuit) -> str:
    """Refs of the parts that both probes touch; empty, too, where all are diodes against the
    current of a diode test, which takes another way."""
    over = parts_over(circuit, reading.red, reading.black)
    if not over or reading.function.row.method is not Method.JUNCTION:
        return over
    row = parts_between(circuit, reading.red, reading.black, forward=True)
    parts, red = [circuit[ref] for ref in over.split(", ")], circuit.node(reading.red)
    against = all(isinstance(part, Junction) and part.nodes[0] != red for part in parts)
    return "" if len(row) > 1 and against else over


def side_by_side(refs: Sequence[str], circuit: Circuit) -> str:
    """Parts across the same two points, such as ``OC1 LEDs with R23 in parallel``."""
    first, *others = (
        _piece_words(ref, circuit) + ("s" if f"{ref}2" in refs else "")
        for ref in sorted(refs, key=lambda ref: ".led" not in ref)
        if not ref.endswith(".led2")
    )
    return f"{first} with {' and '.join(others)} in parallel" if others else first


def _piece_words(ref: str, circuit: Circuit) -> str:
    """The same for what probes are across: of an optocoupler's output, that it is the output."""
    words = part_words(ref)
    return f"{words} transistor" if isinstance(circuit[ref], Phototransistor) else words


def reading_text(reading: Reading, circuit: Circuit, *, with_state: bool = True) -> str:
    """What is read where, such as ``ohms across R2``."""
    over = probes_of(reading, circuit).over
    probes = probes_text(reading, circuit, with_state=with_state)
    return f"{reading.name}{' ' if over else ', '}{probes}"
