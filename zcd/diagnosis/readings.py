"""Readings: what can be measured where, how dangerous it is, and what was shown."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from math import inf

import numpy as np

from zcd.board.model import Board, Topology
from zcd.board.pins import INTERNAL_PULL_UP
from zcd.board.strings import CONTROLLER
from zcd.circuit.build import coupler_refs
from zcd.circuit.elements import (
    PIN_CLAMPS,
    Capacitance,
    Circuit,
    Junction,
    MainsSource,
    Phototransistor,
    Resistance,
    Transistor,
    is_hidden,
)
from zcd.circuit.points import diode_of_bridge
from zcd.diagnosis.functions import Function, Method
from zcd.engine.network import islands
from zcd.errors import invalid_value


class Power(StrEnum):
    """State of the board while a reading is taken."""

    DEAD = "dead"
    """Unplugged, discharged."""
    BENCH = "bench supply"
    """Unplugged; the controller's supply comes from a bench supply at its nominal voltage."""
    OFF = "relay off"
    """Under mains, the load relay not driven."""
    LIVE = "live"
    """Under mains, the load relay (where there is one) driven."""


PLUGGED = (Power.LIVE, Power.OFF)


class AccessLevel(StrEnum):
    """How much trouble and danger a reading is, least first."""

    DEAD = "dead"
    BENCH = "unplugged, on a bench supply"
    ISOLATED = "isolated side"
    MAINS = "mains side, live"
    LIFTED = "dead, one end lifted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A function and the pair of nodes it is taken at.

    Parameters
    ----------
    function : Function
    red, black : str
        Nodes of the red and the black probe.
    lifted : str
        Ref of the part of which one end is lifted, so that it is measured alone; else empty.
    power : Power, optional
        State of the board; by default dead for ohms and diode test, live for all others.
    """

    function: Function
    red: str
    black: str
    lifted: str = ""
    power: Power = field(default=None)  # type: ignore[assignment]

    def __post_init__(self) -> None:
        if self.power is None:
            object.__setattr__(self, "power", usual_power(self.function))

    @property
    def words(self) -> str:
        """Such as ``DC volts, pin to logic0``."""
        lifted = f", one end of {self.lifted} lifted" if self.lifted else ""
        power = "" if self.power is usual_power(self.function) else f", {self.power}"
        return f"{self.name}, {self.red} to {self.black}{lifted}{power}"

    @property
    def name(self) -> str:
        """What is read, such as ``DC volts``."""
        row = self.function.row
        return row.words if self.at_pin else row.words_off_pin or row.words

    @property
    def at_pin(self) -> bool:
        """Whether it is one of the pulses at the pin."""
        return self.function.row.pulses and self.over_pin

    @property
    def over_pin(self) -> bool:
        """Whether it is read between the pin and the controller's ground."""
        return {self.red, self.black} == {"pin", "logic0"}


SLOWEST = 1.25
"""Longest period of the mains over the nominal one: a generator that runs at 80 % of its speed;
common practice, no source."""


def usual_power(function: Function) -> Power:
    """State of the board for a reading of which nothing else is said."""
    return Power.DEAD if function.row.dead else Power.LIVE


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A reading with what the meter showed, SI.

    Parameters
    ----------
    reading : Reading
    value : float
        `OVERLOAD` is beyond the range; of a range of values, one within it.
    low, high : float or None
        Ends where it is only known to lie between them, either of them possibly infinite.
    about : bool
        Read off roughly.
    unstable : bool
        It jumps; there is no value.
    repeated : bool
        It was taken twice, and showed the same.
    """

    reading: Reading
    value: float
    low: float | None = None
    high: float | None = None
    about: bool = False
    unstable: bool = False
    repeated: bool = False

    @classmethod
    def between(cls, reading: Reading, low: float, high: float) -> Measured:
        """Known to lie within a range only; an end may be infinite."""
        inside = low if high == inf else high if low == -inf else 0.5 * (low + high)
        return cls(reading=reading, value=inside, low=low, high=high)

    @property
    def exact(self) -> bool:
        """Whether there is one number for it."""
        return self.low is None and not self.unstable


def access_level(circuit: Circuit, reading: Reading) -> AccessLevel:
    """How dangerous a reading is."""
    if reading.lifted:
        return AccessLevel.LIFTED
    if reading.function.row.dead:
        return AccessLevel.DEAD
    if reading.power is Power.BENCH:
        return AccessLevel.BENCH
    if reading.function.row.on_mains:
        return AccessLevel.MAINS
    return AccessLevel.MAINS if _is_live(circuit, reading.red) else AccessLevel.ISOLATED


def is_behind_contact(reading: Reading) -> bool:
    """Whether it is of what the load gets, its relay driven."""
    return reading.power is Power.LIVE and {reading.red, reading.black} == {"feed", "neutral"}


def past_chip(circuit: Circuit, reading: Reading) -> bool:
    """Whether the controller, without its supply, is a way from probe to probe of a dead test."""
    ends = {circuit.node(reading.red), circuit.node(reading.black)}
    known = PIN_CLAMPS[0] in circuit  # diodes of the board's own, described with it
    at_chip = not known and not ends.isdisjoint({"pin", "logic+"})
    return at_chip and reading.function.row.dead and not reading.lifted


def same_witness(circuit: Circuit, first: Reading, second: Reading) -> bool:
    """Whether two dead tests hang on the same unknowns: the same one with its probes turned, or
    one of another diode of the same make, the same way round."""
    if first.function is not second.function or not first.function.row.dead:
        return False
    if replace(first, red=first.black, black=first.red) == second:
        return True
    laws = [_law(circuit, reading) for reading in (first, second)]
    return laws[0] is not None and laws[0] == laws[1]


def _law(circuit: Circuit, reading: Reading) -> tuple[object, ...] | None:
    """The law of the one diode that a dead test is across, and which way round; else None."""
    over = parts_over(circuit, reading.red, reading.black)
    if over not in circuit or not isinstance(part := circuit[over], Junction):
        return None
    law = (float(np.max(v)) for v in (part.saturation_a, part.emission_v))
    return (*law, part.a == reading.red, bool(reading.lifted))


def _is_live(circuit: Circuit, node: str) -> bool:
    """Whether more than light joins a point to the mains: it is live while the plug is in."""
    return any({"line", circuit.node(node)} <= island for island in islands(circuit))


def check_reading(circuit: Circuit, reading: Reading) -> None:
    """Refuse a reading at nodes that the board lacks or that share no path, or in another state."""
    a, b = circuit.node(reading.red), circuit.node(reading.black)
    given = f"{reading.red} and {reading.black}"
    if a == b:
        raise invalid_value(f"{given}, which are one", "two different points")
    if not any({a, b} <= island for island in islands(circuit)):
        volts = reading.function.row.volts
        danger = "; steady volts between its sides mean lost isolation: unplug" if volts else ""
        raise invalid_value(given, f"two points on the same side of the optocoupler{danger}")
    if reading.function.row.scope and {a, b} != {"pin", circuit.node("logic0")}:
        raise invalid_value(given, f"pin and logic0, where {reading.function} is read")
    _check_power(circuit, reading)
    if not reading.function.row.dead and _drives_base(circuit, {a, b}):
        allowed = "base to emitter, or pin to emitter: a meter from base to collector turns it on"
        raise invalid_value(given, allowed)
    if reading.lifted and not reading.function.row.dead:
        raise invalid_value(str(reading.function), "ohm or diode where one end of a part is lifted")


def _drives_base(circuit: Circuit, ends: set[str]) -> bool:
    """Whether a meter between these nodes leads current into the base of a transistor."""
    return any(ends == {part.a, circuit[part.leds[0]].nodes[0]} for part in circuit.of(Transistor))


def check_shown(circuit: Circuit, measured: Measured, key: str = "") -> None:
    """Refuse a time at the pin that no pulse has: longer than the period of the slowest mains."""
    row = measured.reading.function.row
    if not row.scope or measured.unstable:
        return
    (mains,) = circuit.of(MainsSource)
    longest_s = SLOWEST / float(np.min(mains.frequency_hz))
    ends = (measured.value, measured.value)
    if measured.low is not None and measured.high is not None:
        ends = measured.low, measured.high
    nearest_s = 0.0 if ends[0] <= 0.0 <= ends[1] else min(map(abs, ends))
    if longest_s < nearest_s < inf:
        without = row.overload if row.nothing == inf else "nothing"
        raise invalid_value(
            f"{1e3 * nearest_s:.3g} ms",
            f"no more than a period of the mains, {1e3 * longest_s:.3g} ms where it is slow; "
            f'without pulses "{without}"',
            key,
        )


def _check_power(circuit: Circuit, reading: Reading) -> None:
    """Refuse a state of the board in which a reading cannot be taken, or shows nothing."""
    row, power = reading.function.row, reading.power
    result = f"{row.words}, {power.value}"
    if row.dead is not (power is Power.DEAD):
        allowed = "a dead board" if row.dead else "a board under power"
        raise invalid_value(result, allowed)
    if power is Power.OFF and "K1.contact" not in circuit:
        raise invalid_value(power.value, "a board with a load relay; this one has a direct feed")
    if power is Power.BENCH:
        if row.pulses:
            raise invalid_value(result, f"{row.words} under mains only")
        if _is_live(circuit, reading.red):
            allowed = "points of the isolated side only, on a bench supply"
            if _is_live(circuit, "pin"):
                allowed = "no bench supply on this board: it is NOT isolated from the mains"
            raise invalid_value(reading.red, allowed)


def parts_over(circuit: Circuit, a: str, b: str) -> str:
    """Refs of the parts directly between two nodes, such as ``R2``."""
    refs = []
    for element in circuit:
        if not isinstance(element, Resistance | Capacitance | Junction | Phototransistor):
            continue
        if {element.a, element.b} == {a, b} and not is_hidden(element):
            refs.append(element.ref)
    return ", ".join(refs)


def parts_between(circuit: Circuit, a: str, b: str, *, forward: bool = False) -> tuple[str, ...]:
    """Refs of the fewest resistors and junctions in a row from one node to another; `forward`
    through no junction from its cathode, where there is such a row."""
    parts = [e for e in circuit if isinstance(e, Resistance | Junction) and not is_hidden(e)]
    if forward:  # of two parts side by side the junction is the one that is tested
        parts.sort(key=lambda part: isinstance(part, Resistance))
    rows: dict[str, tuple[str, ...]] = {a: ()}
    reached = [a]
    for node in reached:
        for part in parts:
            blocks = forward and isinstance(part, Junction) and part.a != node
            if node in part.nodes and not blocks:
                other = part.b if part.a == node else part.a
                if other not in rows:
                    rows[other] = (*rows[node], part.ref)
                    reached.append(other)
    if forward and b not in rows:
        return parts_between(circuit, a, b)
    return rows.get(b, ())


def parts_read(circuit: Circuit, reading: Reading) -> frozenset[str]:
    """Refs of the parts from lead to lead of which a reading is taken."""
    a, b = circuit.node(reading.red), circuit.node(reading.black)
    if not reading.function.row.dead:
        return frozenset(parts_over(circuit, a, b).split(", "))
    lit = reading.function.row.method is Method.JUNCTION
    return frozenset(parts_between(circuit, a, b, forward=lit))


def part_elements(circuit: Circuit, ref: str) -> Circuit:
    """A part alone, as it is with one end lifted: its element and what a fault put into it."""
    inside = tuple(e for e in circuit if e.ref == ref or e.ref.startswith(f"{ref}."))
    return Circuit(elements=inside, aliases=circuit.aliases)


def useful_readings(board: Board, circuit: Circuit) -> tuple[Reading, ...]:
    """Every reading worth offering on a board, by side, in the order of `AccessLevel`."""
    dead = _dead(board, circuit)
    bench = _on_bench() if board.is_isolated else []
    every = (*dead, *bench, *_at_controller(board), *_live(board, circuit))
    every = (*every, *_lifted(board, circuit))
    return tuple(dict.fromkeys(with_own_names(reading, circuit) for reading in every))


def with_own_names(reading: Reading, circuit: Circuit) -> Reading:
    """A reading at the controller by the controller's names for its points.

    Without an optocoupler they may be those of the mains as well: ``pin`` is read against
    ``logic0``, whether that is neutral or not.
    """
    if circuit.aliases.keys().isdisjoint(CONTROLLER):
        return reading
    names = {circuit.node(name): name for name in (*CONTROLLER, "pin", "coil+", "coil-")
             if name in circuit.aliases or name in circuit.nodes}  # fmt: skip
    ends = circuit.node(reading.red), circuit.node(reading.black)
    for part in circuit.of(Transistor):
        base, emitter = circuit[part.leds[0]].nodes
        if set(ends) == {base, emitter}:
            names = {base: "base", emitter: "emitter"}
    if not set(ends) <= names.keys():
        return reading
    return replace(reading, red=names[ends[0]], black=names[ends[1]])


def _dead(board: Board, circuit: Circuit) -> list[Reading]:
    """Ohms over each resistor, and over each junction backwards, which shows what leaks there;
    diode test over each junction, both ways."""
    result = [*_stretches(board, circuit)]
    result += [_over(circuit, ref, Function.OHM) for ref in _resistors(board)]
    if (part := board.transistor) is not None:
        result.append(_over(circuit, part.ref, Function.OHM))
        result.append(Reading(function=Function.DIODE, red="base", black="pin"))
    for ref in coupler_refs(board)[:1]:
        result.append(_over(circuit, ref, Function.OHM))
    if board.relay is not None:
        result.append(_over(circuit, "K1.coil", Function.OHM))
        result.append(_over(circuit, "K1.contact", Function.OHM))
    pairs = dict.fromkeys(j.nodes for j in circuit.of(Junction))
    for a, b in pairs:
        result.append(Reading(function=Function.DIODE, red=a, black=b))
        if (b, a) not in pairs:
            result.append(Reading(function=Function.DIODE, red=b, black=a))
            if not any({a, b} == {r.red, r.black} and r.function is Function.OHM for r in result):
                result.append(Reading(function=Function.OHM, red=b, black=a))
    return result


def _stretches(board: Board, circuit: Circuit) -> Iterator[Reading]:
    """Several parts at once, which halve the question: a whole chain; from its end through
    rectifier and LED."""
    for chain in (board.chains[0], board.return_chain):
        if len(chain) > 1:
            start, end = circuit[chain[0].ref].nodes[0], circuit[chain[-1].ref].nodes[1]
            yield Reading(function=Function.OHM, red=start, black=end)
    last = circuit.node(f"chain.{len(board.chains[0])}")
    if not board.is_isolated:
        return
    far = circuit.node("led-")
    if board.topology is Topology.BRIDGE:
        far = circuit.node(f"return.{len(board.return_chain)}") if board.return_chain else "neutral"
        yield Reading(function=Function.DIODE, red=far, black=last)
    if last != circuit.node("led+"):
        yield Reading(function=Function.DIODE, red=last, black=far)


def _resistors(board: Board) -> list[str]:
    """Refs of every resistor."""
    refs = [r.ref for chain in (*board.chains, board.return_chain) for r in chain]
    others = [r.ref for r in (board.led_resistor, board.output.resistor) if r]
    return refs + [ref for ref in others if ref != INTERNAL_PULL_UP]


def _over(circuit: Circuit, ref: str, function: Function, lifted: str = "") -> Reading:
    """A reading over an element."""
    a, b = circuit[ref].nodes
    return Reading(function=function, red=a, black=b, lifted=lifted)


def _on_bench() -> list[Reading]:
    """The pin with nothing but the controller's supply there: no light, so it should be idle."""
    return [Reading(function=Function.DC, red="pin", black="logic0", power=Power.BENCH)]


def _at_controller(board: Board) -> list[Reading]:
    """Supply, pin and coil under power."""
    result = [
        Reading(function=Function.DC, red="logic+", black="logic0"),
        Reading(function=Function.DC, red="pin", black="logic0"),
    ]
    result += [
        Reading(function=f, red="pin", black="logic0")
        for f in Function
        if f.row.pulses and not f.row.on_mains
    ]
    if board.relay is not None:
        result.append(Reading(function=Function.DC, red="coil+", black="coil-"))
        result.append(Reading(function=Function.DC, red="coil+", black="logic0"))
        result.append(Reading(function=Function.DC, red="pin", black="logic0", power=Power.OFF))
    return result


def _live(board: Board, circuit: Circuit) -> list[Reading]:
    """Line, feed, each joint of the chain, LED; the edge against the mains."""
    result = [
        Reading(function=Function.AC, red="line", black="neutral"),
        Reading(function=Function.FREQUENCY, red="line", black="neutral"),
    ]
    if board.relay is not None:
        result.append(Reading(function=Function.AC, red="feed", black="neutral"))
        result.append(Reading(function=Function.AC, red="feed", black="neutral", power=Power.OFF))
        result.append(Reading(function=Function.LOW_Z, red="feed", black="neutral"))
        result.append(Reading(function=Function.AC, red="line", black="feed"))
    chains = (*board.chains, board.return_chain)
    result += [_over(circuit, r.ref, Function.AC) for chain in chains for r in chain]
    if board.is_isolated:
        low = circuit.node("led-")
        result.append(Reading(function=Function.DC, red="led+", black=low))
        result.append(Reading(function=Function.AC, red="led+", black=low))
    if board.transistor is not None:
        result.append(Reading(function=Function.DC, red="base", black="emitter"))
    result.append(Reading(function=Function.EDGE_DELAY, red="pin", black="logic0"))
    return result


def _lifted(board: Board, circuit: Circuit) -> list[Reading]:
    """Each resistor, capacitor, diode and the LED alone; no diode of a bridge in one piece."""
    refs = [*_resistors(board), *(part.ref for part in board.capacitors)]
    result = [_over(circuit, ref, Function.OHM, ref) for ref in refs]
    for junction in circuit.of(Junction):
        if diode_of_bridge(junction.ref)[1] or is_hidden(junction):
            continue
        a, b = junction.nodes
        for red, black in ((a, b), (b, a)):
            result.append(
                Reading(function=Function.DIODE, red=red, black=black, lifted=junction.ref)
            )
        result.append(Reading(function=Function.OHM, red=b, black=a, lifted=junction.ref))
    return result
