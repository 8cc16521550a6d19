"""Faults: every way in which the element list, and what lies around it, can go wrong.

Each fault is an edit on a circuit, with a severity from 0 to 1, an array over the rows of a batch,
so that a drift is tried at all its sizes at once.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, pairwise
from typing import NamedTuple

import numpy as np

from zcd.board.strings import CONTROLLER, ways_between
from zcd.board.units import find_name, nearest, require_part
from zcd.circuit.elements import (
    PIN_CLAMPS,
    Capacitance,
    Circuit,
    DcSource,
    Element,
    Junction,
    MainsSource,
    Phototransistor,
    Resistance,
    Transistor,
    is_hidden,
)
from zcd.circuit.points import diode_of_bridge, of_leads, piece_of
from zcd.diagnosis.circuit_edits import (
    Amount,
    Edit,
    all_dead,
    between,
    both,
    bridge,
    bridge_at_one,
    contact_open,
    either,
    junction_opened,
    leak,
    leak_in_or_beside,
    nothing,
    setting,
    shorted,
    times,
    turned,
)
from zcd.errors import invalid_value

MAX_SHORT_OHM = 100.0
"""What is beyond is a leak: between the two no size is left out."""
SHORT_OHM = between((1e-3, MAX_SHORT_OHM))
"""A blob of solder, a junction that was punched through, a carbonised track."""
OPEN_OHM = (20e6, 1e12)
"""What an open part still lets through: a cracked film, flux, dirt; common practice, no source."""
OPEN_AT_PIN_OHM = (1e10, 1e14)
"""The same where the chain ends in a pin or a base, which a microampere moves: dry and clean;
common practice, no source."""
DRIFT = (1.15, 100.0)
"""A drifted resistor reads high: from just out of tolerance to where `OPEN_OHM` begins."""
LOW_VALUE = (0.01, 0.87)
"""A resistor that is too low: a wrong part, or one whose film is partly bridged."""
LEAK_OHM = (1e3, 3e6)
ROUND_CHAIN = "clean the board all round the chain, look for burnt tracks"
DIRT_W = 0.5
"""A leak on the mains that turns more than this into heat burns itself clear or burns the board:
common practice, no source."""
MAX_LED_A = 0.1
"""What no LED of these optocouplers survives as a steady current, nor a controller's pin: twice the
absolute maximum of the 817 class (50 mA, LTV-817 data sheet)."""
LED_LEAK_OHM = (MAX_SHORT_OHM, 300e3)
"""At some milliamperes a LED does not feel more than that beside it."""
LOST_CAPACITANCE = (1e-6, 0.1)
WEAK_CAPACITOR = (0.05, 0.75)
"""What is left of a film capacitor in series with the mains, which loses its coating discharge by
discharge: common practice, no source."""
AGED = (0.02, 0.7)
RESISTIVE_CONTACT_OHM = (MAX_SHORT_OHM, 3e6)
"""With the load behind it some hundred ohms take what the board lives on."""
LOW_SUPPLY = (0.3, 0.85)
LOW_COIL_SUPPLY = (0.2, 0.6)
"""Below what a relay must pull in at (75 to 80 % of rated), with what a cold coil gives away."""
DEAD_SUPPLY = (1e-4, 0.05)
DRIVER_OFF_OHM = (5e3, 1e11)
"""What is left of a coil's supply that is missing, from what feeds back into it, and what a driver
that is off still conducts: a coil that is not driven seldom reads nothing; common practice, no
source."""
LOW_MAINS = (0.4, 0.85)
FREQUENCY_OFF = ((0.8, 0.96), (1.04, 1.25))
"""Too low, or too high: a generator, or a supply of the other frequency; common practice, no
source."""
PIN_LEAK_OHM = (MAX_SHORT_OHM, 300e3)
HIGH_OHM = 10e3
MAINS_RESISTOR = "mains resistor"
"""Row of the priors for a resistor of at least this value in series with the mains: common
practice, no source."""
MAINS_CAPACITOR = "mains capacitor"
"""The same for a capacitor in series with the mains."""
SMALL_DIODE_V = 75.0
"""Reverse rating of a signal diode fitted where a mains rectifier belongs (1N4148)."""


class Joint(NamedTuple):
    """How an open joint between two parts reads: each part is good from lead to lead.

    Parameters
    ----------
    node : str
        Where the two meet.
    over : tuple of (str, str)
        Ref of either part, and the key of the fault as which it reads from the lead of that part
        at this node: something is open beyond it.
    dead : str
        The same of the first part, on a dead board.
    elsewhere : tuple of str
        Keys of the faults as which it reads anywhere else, by turns: the probe may be at either
        end of the crack.
    pole : str
        Where it is the last of the string on the way to the mains: the other end of the string.
        `over` has its one part twice, for a probe on its lead and one beyond the crack, by turns
        under power: the pin of a LED and the neutral that it leads to have one name.
    """

    node: str
    over: tuple[tuple[str, str], ...]
    dead: str
    elsewhere: tuple[str, ...]
    pole: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One way in which a board fails.

    Parameters
    ----------
    key : str
        Such as ``R2 open``.
    part : str
        Ref of the part to look at; empty for ``healthy``.
    kind, mode : str
        Row of ``reference/fault_shares.csv``.
    words : str
        What is wrong and what to do about it.
    edit : callable
        Puts the fault into a circuit, at a severity for each row.
    amount : callable or None
        What the severity means, in `unit`; None where there is only one severity.
    unit : str
        Of the amount; ``x`` for a factor.
    like : str
        Row of the priors in place of that of its kind; empty: that of its kind.
    states : tuple of str
        Keys of the faults that it looks like, now one, now the other; empty where it is a
        circuit of its own.
    also : tuple of str
        `repair` of the faults that are there where this one is.
    members : tuple of str
        Keys of the two faults that it consists of; empty for a single fault.
    on_two_sides : bool
        The first of them is on the mains side, and the second shows the same whatever the LED
        does: each side of the board reads as if its own fault were the only one.
    joint : Joint or None
        Where a joint or track between two parts is open.
    across : frozenset of str
        Two nodes between which there is less resistance than there should be; else empty.
    reports : frozenset of str
        Flags that it raises whatever the pulses are.
    neighbours : tuple of str
        Refs of the resistors to replace with it.
    """

    key: str
    part: str
    kind: str
    mode: str
    words: str
    edit: Edit
    amount: Amount | None = None
    unit: str = ""
    like: str = ""
    states: tuple[str, ...] = ()
    members: tuple[str, ...] = ()
    on_two_sides: bool = False
    joint: Joint | None = None
    also: tuple[str, ...] = ()
    across: frozenset[str] = frozenset()
    reports: frozenset[str] = field(default_factory=frozenset)
    neighbours: tuple[str, ...] = ()

    @property
    def row(self) -> str:
        """Part in the priors' tables."""
        return self.like or self.kind

    @property
    def is_replaced(self) -> bool:
        """Whether a new part mends it."""
        return self.mode in REPLACED.get(self.kind, ())

    @property
    def is_leak(self) -> bool:
        """Whether current takes a way that no part gives it."""
        return self.mode.startswith("leaky")

    @property
    def repair(self) -> str:
        """The part that a new one takes the place of, or whose joints are reflowed; the key where
        neither mends it."""
        ref = self.part.partition(" ")[0]
        if self.is_replaced:
            return diode_of_bridge(ref)[0]
        if self.kind == "led" and self.is_leak:
            return f"{ref} LED leaky"
        if self.is_leak and self.kind in ("board", "resistor"):
            return CHAIN_LEAKY
        return f"{ref} joints" if self.mode == LOOSE_MODE else SAME_PLACE.get(self.key, self.key)


LOOSE_MODE = "intermittent"
HEALTHY = Fault(
    key="healthy",
    part="",
    kind="healthy",
    mode="",
    words="the sync circuit reads as a good one: look at the controller, its supply and "
    "connectors, the drive, the fan",
    edit=nothing,
)


REPLACED: dict[str, tuple[str, ...]] = {
    "resistor": ("open", "drift", "low", "wrong value x10", "wrong value x0.1"),
    "diode": ("open", "short", "leaky", "wrong part"),
    "led": ("open", "short", "reversed"),
    "phototransistor": ("aged", "low gain", "open", "short"),
    "capacitor": ("open", "short", "leaky", "weak"),
    "contact": ("open", "resistive", "welded"),
    "coil": ("open",),
}
"""Modes, by kind, that one new part mends. Dirt, solder bridges, joints and diodes fitted the wrong
way round are not among them; an optocoupler is taken out whether its LED is open or turned."""

SAME_PLACE = {"pin stuck low": "pin leaky", "pin stuck high": "pin leaky to supply"}
"""Shorts and leaks at one place: clean it and lift the pin."""
CHAIN_LEAKY = "chain leaky"
"""Dirt round the chain keeps to no pair of points."""


def answer_of(fault: Fault) -> str:
    """What it says of the sync circuit: the part to replace or to look at, or that it is good."""
    return HEALTHY.key if fault.reports else fault.repair


def same_repair(first: Fault, second: Fault) -> bool:
    """Whether the same new part mends two faults, or they are one."""
    return first.repair == second.repair


def reads_alike(fault: Fault) -> bool:
    """Whether every reading of it is one of another fault, so that it needs no circuit."""
    return fault.on_two_sides or fault.joint is not None


def includes(fault: Fault, other: Fault) -> bool:
    """Whether one fault is there where another is: in a pair, or now and then."""
    return other.repair in fault.also


def faults_of(circuit: Circuit) -> tuple[Fault, ...]:
    """All single faults of a circuit, ``healthy`` first, then circuits, then looks of them.

    Parameters
    ----------
    circuit : Circuit
        Under power.

    Returns
    -------
    faults : tuple of Fault
        Those with `states` come last.
    """
    result = [HEALTHY]
    for element in circuit:
        result += _of_element(element, circuit)
    result += _joint_faults(circuit)
    result += _chain_leaks(circuit)
    result += _pin_faults(circuit)
    result += [_loose(fault) for fault in result if _may_be_loose(fault)]
    return (*result, *_elsewhere())


def with_fault(circuit: Circuit, key: str, severity: float) -> tuple[Fault, Circuit]:
    """A circuit with one of its faults put in.

    Parameters
    ----------
    circuit : Circuit
        Healthy.
    key : str
        Of the fault, such as ``R2 open``; upper or lower case.
    severity : float
        From 0 to 1.

    Returns
    -------
    fault, circuit

    Raises
    ------
    InputError
        If the circuit has no such fault.
    """
    faults = {f.key: f for f in faults_of(circuit) if not f.states}
    result = find_name(key, tuple(faults))
    if result is None:
        require_part(key, (e.ref for e in circuit), "fault ")
        known = tuple(faults)
        near = nearest(key, known)
        allowed = f"a fault of this board{near}" if near else f"one of {', '.join(known)}"
        raise invalid_value(key, allowed, "fault")
    rows = np.full(circuit.size, severity)
    return faults[result], faults[result].edit(circuit, rows)


def _of_element(element: Element, circuit: Circuit) -> Iterator[Fault]:
    """Failure modes of one element of a circuit."""
    match element:
        case Resistance(ref="K1.contact"):
            yield from _contact_faults()
        case Resistance(ref="K1.coil"):
            edit = both(setting("K1.coil", "resistance_ohm", between(OPEN_OHM)), contact_open)
            words = "the relay's coil is open: replace the relay"
            yield _fault("K1 coil", "coil", "open", words, edit)
        case Resistance(ref="K1.driver"):
            words = (
                "the relay's coil is not driven: look at its driver transistor, and whether the "
                "controller asks for the load at all"
            )
            edit = both(
                setting("K1.driver", "resistance_ohm", between(DRIVER_OFF_OHM)), contact_open
            )
            yield _fault("K1 driver", "driver", "open", words, edit)
        case Resistance(ref=ref) if not is_hidden(element) and "suppressor" not in ref:
            yield from _resistor_faults(element, circuit)
        case Capacitance(ref="suppressor.c"):
            edit = bridge("suppressor.c.short", element.a, element.b, SHORT_OHM)
            words = "the suppressor across the load contact is shorted: replace it, with class X2"
            yield _fault("suppressor", "suppressor", "short", words, edit)
        case Capacitance() if not is_hidden(element):
            yield from _capacitor_faults(element, circuit)
        case Junction() if not is_hidden(element):
            yield from _junction_faults(element, circuit)
        case Transistor():
            yield from _transistor_faults(element)
        case Phototransistor():
            yield from _phototransistor_faults(element)
        case MainsSource():
            yield from _mains_faults()
        case DcSource(ref="coil supply"):
            yield from _coil_supply_faults()
        case DcSource(ref="supply"):
            yield from _supply_faults()


def _junction_faults(element: Junction, circuit: Circuit) -> Iterator[Fault]:
    """Of a LED, of the base of a transistor, or of a diode."""
    if ".led" in element.ref:
        return _led_faults(element, circuit)
    if element.ref.endswith(".be"):
        return _base_faults(element, circuit)
    return _diode_faults(element, circuit)


def _fault(
    part: str, kind: str, mode: str, words: str, edit: Edit, amount: Amount | None = None,
    unit: str = "",
) -> Fault:  # fmt: skip
    return Fault(
        key=f"{part} {mode}", part=part, kind=kind, mode=mode, words=words, edit=edit,
        amount=amount, unit=unit,
    )  # fmt: skip


def _contact_faults() -> Iterator[Fault]:
    yield _fault(
        "K1 contact",
        "contact",
        "open",
        "the load relay's contact stays open although its coil is driven: replace the relay; "
        "the sync chain is not at fault",
        # a gap in air, not a cracked part
        contact_open,
    )
    size = between(RESISTIVE_CONTACT_OHM)
    yield _fault(
        "K1 contact", "contact", "resistive",
        "contacts of the load relay dirty or burnt: replace the relay",
        setting("K1.contact", "resistance_ohm", size), size, "Ω",
    )  # fmt: skip
    yield _fault(
        "K1 contact", "contact", "welded",
        "the load relay's contact is welded, the load cannot be switched off: replace the relay",
        bridge("K1.weld", "line", "feed", SHORT_OHM),
    )  # fmt: skip


def _resistor_faults(element: Resistance, circuit: Circuit) -> Iterator[Fault]:
    """Faults of a resistor; one of high value on the mains has priors of its own."""
    on_mains = element.ref in {r.ref for r in _chain_resistors(circuit)}
    for fault in _modes_of_resistor(element, circuit):
        yield replace(fault, like=_like(element) if on_mains else "")


def _like(resistor: Resistance) -> str:
    """Row of the priors of a resistor on the mains in place of that of any other."""
    high = float(np.max(resistor.resistance_ohm)) >= HIGH_OHM
    return MAINS_RESISTOR if high else ""


def _neighbours(ref: str, circuit: Circuit) -> tuple[str, ...]:
    """What is replaced together with a resistor of a chain; empty for any other resistor.

    Those that share its voltage; one of much fewer ohms has had an easy life.
    """
    row = {r.ref: float(np.max(r.resistance_ohm)) for r in _chain_resistors(circuit)}
    return tuple(r for r in row if r != ref and row[r] > row[ref] / 3) if ref in row else ()


def _shares_mains(ref: str, circuit: Circuit) -> bool:
    """Whether other resistors take over the voltage of one: it is one of several in a chain."""
    refs = {resistor.ref for resistor in _chain_resistors(circuit)}
    return ref in refs and len(refs) > 1


def _modes_of_resistor(element: Resistance, circuit: Circuit) -> Iterator[Fault]:
    ref, nominal = element.ref, float(np.max(element.resistance_ohm))
    least = _least_ohm(element, circuit)
    open_ohm = (min(OPEN_OHM[0], DRIFT[1] * nominal), OPEN_OHM[1])
    if PIN_CLAMPS[0] in circuit or circuit.of(Transistor):
        open_ohm = OPEN_AT_PIN_OHM
    others = _neighbours(ref, circuit)
    too = f"; replace {', '.join(others)} too (same type, same age)" if others else ""
    fault = _fault(
        ref, "resistor", "open", f"{ref} is open: replace it{too}",
        setting(ref, "resistance_ohm", between(open_ohm)),
    )  # fmt: skip
    yield replace(fault, neighbours=others)
    lowest = max(LOW_VALUE[0], least / nominal)
    for mode, ends, words in (
        ("drift", DRIFT, f"{ref} has gone high: replace it"),
        (
            "low", (lowest, LOW_VALUE[1]),
            f"{ref} is too low: a wrong part, or partly bridged; replace it",
        ),
    ):  # fmt: skip
        size, ohm = between(ends), between((nominal * ends[0], nominal * ends[1]))
        fault = _fault(ref, "resistor", mode, words, setting(ref, "resistance_ohm", ohm), size, "x")
        yield replace(fault, across=frozenset(element.nodes if mode == "low" else ()))
    if least <= MAX_SHORT_OHM:
        shared = "; its neighbours carried its voltage" * _shares_mains(ref, circuit)
        yield _fault(
            ref, "resistor", "short",
            f"{ref} is bridged: look for solder or a burnt track{shared}",
            shorted(ref, SHORT_OHM),
        )  # fmt: skip
    # a meter cannot tell a wrong part from one that has gone as far: the marking does
    for mode, decade, much, other in (
        ("wrong value x0.1", 0.1, "a tenth of", "partly bridged"),
        ("wrong value x10", 10.0, "ten times", "drifted"),
    ):
        fault = _fault(
            ref, "resistor", mode,
            f"{ref} has {much} its value: wrong part, or {other}; read its marking and replace it",
            times(ref, "resistance_ohm", between((decade, decade))),
        )  # fmt: skip
        yield replace(fault, across=frozenset(element.nodes if decade < 1.0 else ()))


def _least_ohm(element: Resistance, circuit: Circuit) -> float:
    """What a resistor of the chain must keep, or the LED behind it is gone; 0 for all others."""
    chain = _chain_resistors(circuit)
    if element.ref not in {r.ref for r in chain}:
        return 0.0
    rest = sum(float(np.max(r.resistance_ohm)) for r in chain if r.ref != element.ref)
    return max(_mains_v(circuit) / MAX_LED_A - rest, 0.0)


def _chain_resistors(circuit: Circuit) -> list[Resistance]:
    """Resistors of the first chain and of the return leg, and others in series with the LED."""
    names = (*circuit.nodes, *circuit.aliases)
    joints = {circuit.node(n) for n in names if n.startswith(("chain.", "return."))}
    ends = joints | {circuit.node(n) for n in ("feed", "rect", "neutral") if n in names}
    on_way = _on_way(circuit)
    at_base = set(_input_ends(circuit)) if circuit.of(Transistor) else set()
    return [
        r
        for r in circuit.of(Resistance)
        if "." not in r.ref
        and {r.a, r.b} != at_base
        and (r.ref in on_way or ({r.a, r.b} & joints and {r.a, r.b} <= ends))
    ]


def _on_way(circuit: Circuit) -> tuple[str, ...]:
    """Refs of the parts on the way from the mains to the LED, then of those on the way back."""
    poles = circuit.node("feed"), circuit.node("neutral")
    led = _input_ends(circuit)
    parts: dict[str, dict[str, str]] = {}
    for e in circuit:
        if isinstance(e, Resistance | Capacitance | Junction) and "." not in e.ref:
            for near, far in (e.nodes, e.nodes[::-1]):
                parts.setdefault(near, {}).setdefault(far, e.ref)
    for source, sink in (poles, poles[::-1]):
        to_led = next(ways_between(parts, source, led[0], {sink, led[1]} - {led[0], source}), None)
        back = next(ways_between(parts, led[1], sink, {source, led[0]} - {led[1]}), None)
        if to_led is not None and back is not None:
            return tuple(parts[a][b] for way in (to_led, back) for a, b in pairwise(way))
    return ()


def _joint_faults(circuit: Circuit) -> Iterator[Fault]:
    """An open joint or track between two neighbours of the string: solder that has cracked, a pad
    that was lifted."""
    refs = [*_on_way(circuit)]
    refs += [e.ref for e in circuit.of(Junction) if e.ref.endswith(".led")]
    for first, second in combinations(refs, 2):
        shared = set(circuit[first].nodes) & set(circuit[second].nodes)
        if len(shared) == 1 and (joint := _joint(first, second, refs, circuit)) is not None:
            pieces = [_piece_at(ref, joint.node, circuit) for ref in (first, second)]
            yield _open_joint(pieces, first, joint, circuit)
    for names, ref, joint in _end_joints(refs, circuit):
        yield _open_joint(names, ref, joint, circuit)


def _open_joint(names: Sequence[str], ref: str, joint: Joint, circuit: Circuit) -> Fault:
    """With the edit of one of its parts: the current is the same."""
    part = circuit[ref]
    if isinstance(part, Junction):
        edit = junction_opened(ref, between(OPEN_OHM))
    elif isinstance(part, Resistance):
        edit = setting(ref, "resistance_ohm", between(OPEN_OHM))
    else:
        edit = times(ref, "capacitance_f", between(LOST_CAPACITANCE))
    fault = _fault(
        f"{'/'.join(names)} joint", "joint", "open",
        f"the joint or track between {' and '.join(names)} is open: look at both solder "
        "joints with a lens and reflow them, follow the track",
        edit,
    )  # fmt: skip
    return replace(fault, joint=joint)


def _end_joints(
    string: Sequence[str], circuit: Circuit
) -> Iterator[tuple[tuple[str, str], str, Joint]]:
    """The joints of the string with the mains: names, and the part, where it is alone there."""
    names = ("feed" if "K1.contact" in circuit else "line", "neutral")
    first, last = [(name, circuit.node(name)) for name in names]
    ends = {
        point: [r for r in string if point in circuit[r].nodes and not diode_of_bridge(r)[1]]
        for _, point in (first, last)
    }
    if any(len(refs) != 1 for refs in ends.values()) or ends[first[1]] == ends[last[1]]:
        return
    for (name, point), (_, pole) in ((first, last), (last, first)):
        (own,), (other,) = ends[point], ends[pole]
        beyond = _opened(other, circuit)
        across = _opened(own, circuit) if own.endswith(".led") else beyond
        joint = Joint(
            node=point, over=((own, beyond), (own, across)), dead=beyond,
            elsewhere=(_opened(own, circuit),), pole=pole,
        )  # fmt: skip
        part = piece_of(own)
        yield (part, name) if name == "neutral" else (name, part), own, joint


def _joint(first: str, second: str, string: list[str], circuit: Circuit) -> Joint | None:
    """How the joint of two neighbours of a string reads where it is open; None where no listed
    fault reads so.

    Where other parts meet there too, it is the lead of one of the two that is off.
    """
    (node,) = set(circuit[first].nodes) & set(circuit[second].nodes)
    here = {e.ref for e in circuit if node in e.nodes and not is_hidden(e)}
    alone = {of_leads(ref) for ref in here} == {first, second}
    # a diode of a bridge is not alone on its lead
    own = [ref for ref in (first, second) if not diode_of_bridge(ref)[1]]
    others = [r for r in string if r not in (first, second) and not r.endswith(".led")]
    if not own or not (alone or others):
        return None
    off = own[0]
    other = second if off == first else first
    beyond = other if alone else others[0]
    # what an open diode lets through charges a LED backwards; a gap does not
    before = [r for r in string[: string.index(off)] if isinstance(circuit[r], Resistance)]
    feeds = before[0] if before and isinstance(circuit[off], Junction) else off
    return Joint(
        node=node,
        over=((off, _opened(beyond, circuit)), (other, _opened(feeds, circuit))),
        dead=_opened(other, circuit) if alone else HEALTHY.key,
        elsewhere=tuple(_opened(ref, circuit) for ref in ((off, other) if alone else (off,))),
    )


def _opened(ref: str, circuit: Circuit) -> str:
    """Key of the fault that opens a part of the string."""
    if not ref.endswith(".led"):
        return f"{ref} open"
    return f"{piece_of(ref)} LED{'s' if f'{ref}2' in circuit else ''} open"


def _piece_at(ref: str, node: str, circuit: Circuit) -> str:
    """The part in one piece; of a bridge that of its pins which is at a node: both of its DC pins
    lead to the LED."""
    piece = piece_of(ref)
    pins = (piece + pin for pin in ("+", "-", "~1", "~2"))
    named = (pin for pin in pins if circuit.aliases.get(pin) == node)
    return next(named, piece) if diode_of_bridge(ref)[1] else piece


def _input_ends(circuit: Circuit) -> tuple[str, str]:
    """Between which nodes the chain's current is used: of the LED, base and emitter, or else the
    pin and ground."""
    for part in circuit.of(Transistor):
        base, emitter = circuit[part.leds[0]].nodes
        return base, emitter
    if not circuit.of(Phototransistor):
        return "pin", next(circuit.node(n) for n in CONTROLLER if n in circuit.aliases)
    return circuit.node("led+"), circuit.node("led-")


def _mains_v(circuit: Circuit) -> float:
    (mains,) = circuit.of(MainsSource)
    return float(np.max(mains.rms_v))


def _capacitor_faults(element: Capacitance, circuit: Circuit) -> Iterator[Fault]:
    ref, fed = element.ref, element.ref in _on_way(circuit)
    lost = LOST_CAPACITANCE if not fed else (LOST_CAPACITANCE[0], WEAK_CAPACITOR[0])
    size = between(PIN_LEAK_OHM)
    leaky = _fault(
        ref, "capacitor", "leaky", f"{ref} leaks (cracked, damp): lift an end to tell, replace it",
        bridge(f"{ref}.leak", element.a, element.b, size), size, "Ω",
    )  # fmt: skip
    faults = [
        _fault(
            ref, "capacitor", "open", f"{ref} has lost its capacitance: replace it",
            times(ref, "capacitance_f", between(lost)),
        ),
        _fault(ref, "capacitor", "short", f"{ref} is shorted: replace it", shorted(ref, SHORT_OHM)),
        replace(leaky, across=frozenset(element.nodes)),
    ]  # fmt: skip
    if fed:
        left = between(WEAK_CAPACITOR)
        faults.append(
            _fault(
                ref, "capacitor", "weak",
                f"{ref} has lost part of its capacitance: replace it, with class X2 in series "
                "with the mains",
                times(ref, "capacitance_f", left), left, "x",
            )
        )  # fmt: skip
    yield from (replace(fault, like=MAINS_CAPACITOR if fed else "") for fault in faults)


def _lift_words(led: Junction, circuit: Circuit) -> str:
    """To lift first what else lies across an LED, where there is something."""
    beside = [each.ref for each in circuit
              if {*each.nodes} == {*led.nodes} and not is_hidden(each)
              and not each.ref.endswith((".led", ".led2"))]  # fmt: skip
    alone = "each" if len(beside) > 1 else "it"
    return f"lift {' and '.join(beside)} and measure {alone} alone, " if beside else ""


def _led_faults(element: Junction, circuit: Circuit) -> Iterator[Fault]:
    """Of a LED that may stand alone; two back to back in one part look the same turned round."""
    ref = element.ref
    alone = f"{ref}2" not in circuit
    guard = f", {words}" if (words := _guard_words(circuit)) else ""
    opto = ref.partition(".")[0]
    name = "LED" if ref.endswith("led") else "second LED"
    part = f"{opto} {name}"
    yield _fault(
        part, "led", "open", f"the {name} of {opto} is open: replace {opto}",
        junction_opened(ref, between(OPEN_OHM)),
    )  # fmt: skip
    yield _fault(
        part, "led", "short",
        f"the {name} of {opto} is shorted: replace {opto}, and look for why (surge{guard})",
        shorted(ref, SHORT_OHM),
    )  # fmt: skip
    size = between(LED_LEAK_OHM)
    leaky = _fault(
        part, "led", "leaky",
        f"something leaks across the {name} of {opto}: clean the board there, "
        f"{_lift_words(element, circuit)}then replace {opto}",
        leak_in_or_beside(ref, size), size, "Ω",
    )  # fmt: skip
    yield replace(leaky, across=frozenset(element.nodes))
    if name == "LED" and not alone:
        yield _both_leds_open(ref)
    if name == "LED" and alone:
        wrong = _fault(
            part, "led", "reversed", f"{opto} is fitted the wrong way round: turn it", turned(ref)
        )
        yield replace(wrong, key=f"{opto} reversed")


def _both_leds_open(ref: str) -> Fault:
    """A pin or bond that both LEDs of one part share."""
    opto = ref.partition(".")[0]
    edits = [junction_opened(each, between(OPEN_OHM)) for each in (ref, f"{ref}2")]
    return _fault(
        f"{opto} LEDs", "led", "open",
        f"both LEDs of {opto} are open: look for a lifted or cracked pin, then replace {opto}",
        both(*edits),
    )  # fmt: skip


def _diode_faults(element: Junction, circuit: Circuit) -> Iterator[Fault]:
    ref = element.ref
    yield _fault(
        ref,
        "diode",
        "open",
        f"{ref} is open: replace it",
        junction_opened(ref, between(OPEN_OHM)),
    )
    yield _fault(
        ref, "diode", "short",
        f"{ref} is shorted: {_short_words(element, circuit)}",
        shorted(ref, SHORT_OHM),
    )  # fmt: skip
    size = between((MAX_SHORT_OHM, LEAK_OHM[1]))
    leaky = _fault(
        ref, "diode", "leaky", f"{ref} leaks in reverse: replace it", leak(ref, size), size, "Ω"
    )
    yield replace(leaky, across=frozenset(element.nodes))
    if diode_of_bridge(ref)[1]:
        return  # none of the four is turned or replaced alone
    yield _fault(
        ref, "diode", "reversed", f"{ref} is fitted the wrong way round: turn it", turned(ref)
    )
    if _blocks_mains(element, circuit):
        yield _fault(
            ref, "diode", "wrong part",
            f"{ref} is a small signal diode that cannot block mains: fit a rectifier",
            setting(ref, "breakdown_v", SMALL_DIODE_V),
        )  # fmt: skip


def _short_words(element: Junction, circuit: Circuit) -> str:
    """What to do about a shorted diode: alone before the LED, it exposed it to the mains."""
    if _blocks_mains(element, circuit) and not _across_input(circuit):
        return "replace it, and check the LED, which took the reverse voltage"
    return "replace it"


def _guard_words(circuit: Circuit) -> str:
    """The fault of another part that turns the mains on the LED backwards; empty: no one part."""
    rectifiers = [each for each in circuit.of(Junction) if _blocks_mains(each, circuit)]
    across = _across_input(circuit)
    if rectifiers or len(across) > 1:
        return "" if across else f"{rectifiers[0].ref} shorted"
    return f"{across[0].ref} open" if across else ""


def _blocks_mains(element: Junction, circuit: Circuit) -> bool:
    """Whether a diode alone keeps the mains from flowing backwards: no bridge, no clamp."""
    inputs, diodes = _junctions(circuit)
    across = _across_input(circuit)
    able = [d for d in diodes if d not in across and np.max(d.breakdown_v) > SMALL_DIODE_V]
    return len(inputs) < 2 and able == [element] and element.ref in _on_way(circuit)


def _across_input(circuit: Circuit) -> list[Junction]:
    """Diodes across the LED, or from base to emitter."""
    inputs, diodes = _junctions(circuit)
    ends = [set(each.nodes) for each in inputs]
    return [each for each in diodes if set(each.nodes) in ends]


def _junctions(circuit: Circuit) -> tuple[list[Junction], list[Junction]]:
    """LEDs and the base of a transistor; and all other diodes."""
    junctions = circuit.of(Junction)
    inputs = [each for each in junctions if ".led" in each.ref or ".be" in each.ref]
    return inputs, [each for each in junctions if each not in inputs]


def _phototransistor_faults(element: Phototransistor) -> Iterator[Fault]:
    ref = element.ref
    yield _fault(
        ref, "phototransistor", "aged",
        f"the CTR of {ref} is low: aged, or of too low a grade; replace {ref}",
        times(ref, "remaining_ratio", between(AGED)), between(AGED), "x",
    )  # fmt: skip
    yield _fault(
        f"{ref} transistor", "phototransistor", "open",
        f"the transistor of {ref} is open (or one of its joints): reflow, then replace {ref}",
        both(
            lambda c, _: c.change(ref, remaining_ratio=0.0, dark_a=0.0),
            bridge(f"{ref}.bridge", element.a, element.b, between(OPEN_OHM)),
        ),
    )  # fmt: skip
    yield _fault(
        f"{ref} transistor", "phototransistor", "short",
        f"the transistor of {ref} is shorted: replace {ref}",
        bridge(f"{ref}.bridge", element.a, element.b, SHORT_OHM),
    )  # fmt: skip
    size = between(PIN_LEAK_OHM)
    leaky = _fault(
        f"{ref} transistor", "phototransistor", "leaky",
        f"something leaks from collector to emitter of {ref}: clean, then replace {ref}",
        bridge(f"{ref}.bridge", element.a, element.b, size), size, "Ω",
    )  # fmt: skip
    yield replace(leaky, across=frozenset((element.a, element.b)))


def _base_faults(element: Junction, circuit: Circuit) -> Iterator[Fault]:
    """Of the base-emitter junction of a transistor."""
    guarded = _across_input(circuit) or any(_blocks_mains(d, circuit) for d in circuit.of(Junction))
    why = "surge" if guarded else "surge, no diode across it"
    ref = element.ref.partition(".")[0]
    part = f"{ref} base-emitter"
    size = between(LED_LEAK_OHM)
    for mode, words, edit, amount in (
        (
            "open", f"the base-emitter junction of {ref} is open: replace {ref}",
            junction_opened(element.ref, between(OPEN_AT_PIN_OHM)), None,
        ),
        (
            "short",
            f"the base-emitter junction of {ref} is shorted: replace {ref}, and look for why "
            f"({why})",
            shorted(element.ref, SHORT_OHM), None,
        ),
        (
            "leaky", f"something leaks from base to emitter of {ref}: clean, then replace {ref}",
            leak_in_or_beside(element.ref, size), size,
        ),
    ):  # fmt: skip
        fault = _fault(part, "diode", mode, words, edit, amount, "Ω" if amount else "")
        ends = element.nodes if mode == "leaky" else ()
        yield replace(fault, like="transistor", across=frozenset(ends))


def _transistor_faults(element: Transistor) -> Iterator[Fault]:
    """Of a transistor's gain and its collector."""
    ref, part = element.ref, f"{element.ref} collector-emitter"
    low, size = between(AGED), between(PIN_LEAK_OHM)
    weak = both(  # more current into the base at the same voltage
        times(ref, "remaining_ratio", low), times(ref, "knee_ratio", low),
        times(element.leds[0], "saturation_a", lambda u: 1.0 / low(u)),
    )  # fmt: skip
    off = setting(ref, "remaining_ratio", 0.0)
    faults = (
        _fault(
            ref, "phototransistor", "low gain", f"the gain of {ref} is low: replace {ref}",
            weak, low, "x",
        ),
        _fault(
            part, "phototransistor", "open",
            f"the collector of {ref} is open (or one of its joints): reflow, then replace {ref}",
            both(off, bridge(f"{ref}.bridge", element.a, element.b, between(OPEN_OHM))),
        ),
        _fault(
            part, "phototransistor", "short",
            f"collector to emitter of {ref} is shorted: replace {ref}",
            bridge(f"{ref}.bridge", element.a, element.b, SHORT_OHM),
        ),
        replace(
            _fault(
                part, "phototransistor", "leaky",
                f"something leaks from collector to emitter of {ref}: clean, then replace {ref}",
                bridge(f"{ref}.bridge", element.a, element.b, size), size, "Ω",
            ),
            across=frozenset(element.nodes),
        ),
    )  # fmt: skip
    yield from (replace(fault, like="transistor") for fault in faults)


def _mains_faults() -> Iterator[Fault]:
    share = between(LOW_MAINS)
    yield _fault(
        "mains", "mains", "low", "the mains at the board is low: measure at the socket first",
        times("mains", "rms_v", share), share, "x",
    )  # fmt: skip
    yield _fault(
        "mains", "mains", "missing",
        "no mains reaches the board: plug, inlet, fuse, varistor",
        all_dead,
    )  # fmt: skip
    share = either(*FREQUENCY_OFF)
    yield _fault(
        "mains", "mains", "frequency wrong",
        "the mains frequency is wrong: generator or wrong supply, the sync circuit is not at fault",
        times("mains", "frequency_hz", share), share, "x",
    )  # fmt: skip


def _coil_supply_faults() -> Iterator[Fault]:
    share = between(LOW_COIL_SUPPLY)
    for mode, edit, amount in (
        ("missing", times("coil supply", "voltage_v", between(DEAD_SUPPLY)), None),
        ("low", times("coil supply", "voltage_v", share), share),
    ):
        yield _fault(
            "coil supply", "supply", mode,
            f"the supply of the relay's coil is {mode}: find out why",
            both(edit, contact_open), amount, "x" if amount else "",
        )  # fmt: skip
    none = both(setting("supply", "voltage_v", 0.0), setting("coil supply", "voltage_v", 0.0))
    fault = _fault(
        "supply", "supply", "missing",
        "mains is there, both supplies are dead: the board's power supply has failed",
        both(none, contact_open),
    )  # fmt: skip
    yield replace(fault, key="supplies missing")


def _supply_faults() -> Iterator[Fault]:
    yield _fault(
        "supply", "supply", "missing",
        "the controller's supply is missing: find out why before anything else",
        setting("supply", "voltage_v", 0.0),
    )  # fmt: skip
    share = between(LOW_SUPPLY)
    yield _fault(
        "supply", "supply", "low", "the controller's supply is low: regulator or its load",
        times("supply", "voltage_v", share), share, "x",
    )  # fmt: skip


def _chain_leaks(circuit: Circuit) -> Iterator[Fault]:
    """Dirt across the chain or a part of it, and from a joint to the other pole of the mains."""
    names = (*circuit.nodes, *circuit.aliases)
    last = max(int(n.partition(".")[2]) for n in names if n.startswith("chain."))
    begin, end = (circuit.node(f"chain.{k}") for k in (1, last))
    start = next(r.a for r in circuit.of(Resistance) if r.b == begin and "." not in r.ref)
    ohm = {
        frozenset((r.a, r.b)): float(np.max(r.resistance_ohm)) for r in _chain_resistors(circuit)
    }
    whole = sum(ohm.values())
    size = _dirt(circuit, whole - _along(ohm, [start, *_joints_of(circuit, last)]))
    chain = _fault(
        "chain", "board", "leaky",
        f"something leaks across the chain: {ROUND_CHAIN}",
        bridge("dirt", start, end, size), size, "Ω",
    )  # fmt: skip
    yield replace(chain, across=frozenset((start, end)))
    for resistor in _chain_resistors(circuit):
        if {resistor.a, resistor.b} != {start, end}:
            yield _dirt_over(resistor, circuit, whole - ohm[frozenset(resistor.nodes)])
    joints = _joints_of(circuit, last)
    along = [start, *joints]
    parts = [(a, b) for k, a in enumerate(along) for b in along[k + 2 :] if (a, b) != (start, end)]
    if parts:
        bridged = [along[along.index(a) : along.index(b) + 1] for a, b in parts]
        size = _dirt(circuit, whole - max(_along(ohm, nodes) for nodes in bridged))
        yield _fault(
            "chain", "board", "leaky in part",
            f"something leaks across neighbours in the chain: {ROUND_CHAIN}",
            bridge_at_one("dirt in part", parts, size), size, "Ω",
        )  # fmt: skip
    # after the last resistor a LED without a rectifier follows: a leak across that is its own
    joints = [node for node in joints if node != _input_ends(circuit)[0]]
    other = "line" if start == "neutral" else "neutral"
    if joints:
        size = _dirt(circuit, _along(ohm, [start, joints[0]]))
        fault = _fault(
            "chain", "board", "leaky to neutral",
            f"something leaks from the chain to {other}: {ROUND_CHAIN}",
            bridge_at_one(f"dirt to {other}", [(j, other) for j in joints], size), size, "Ω",
        )  # fmt: skip
        yield replace(fault, key=f"chain leaky to {other}")


def _dirt_over(resistor: Resistance, circuit: Circuit, rest_ohm: float) -> Fault:
    """Dirt beside one resistor of a chain: it reads low until one end of it is lifted."""
    ref, size = resistor.ref, _dirt(circuit, rest_ohm)
    leaky = _fault(
        ref, "resistor", "leaky", f"something leaks across {ref}: {ROUND_CHAIN}",
        bridge(f"beside {ref}", resistor.a, resistor.b, size), size, "Ω",
    )  # fmt: skip
    return replace(leaky, like=_like(resistor), across=frozenset(resistor.nodes))


def _joints_of(circuit: Circuit, last: int) -> list[str]:
    return [circuit.node(f"chain.{k}") for k in range(1, last + 1)]


def _along(ohm: dict[frozenset[str], float], nodes: list[str]) -> float:
    """Resistance of a stretch of the chain."""
    return sum(ohm.get(frozenset(pair), 0.0) for pair in pairwise(nodes))


def _dirt(circuit: Circuit, rest_ohm: float) -> Amount:
    """Sizes of a leak in series with the rest of the chain: no more heat than dirt survives.

    The mains reaches it in every other half-wave at least: half of the power of a sine.
    """
    low, high = LEAK_OHM
    # V^2 R / 2 (R + rest)^2 = DIRT_W, the larger root
    half = _mains_v(circuit) ** 2 / (4.0 * DIRT_W) - rest_ohm
    square = half**2 - rest_ohm**2
    if half > 0.0 and square >= 0.0:
        low = max(low, half + square**0.5)
    return between((min(low, high), high))


def _pin_faults(circuit: Circuit) -> Iterator[Fault]:
    """Faults of the controller's input, which is no element of its own."""
    size = between(PIN_LEAK_OHM)
    for mode, a, b, ohm, words in (
        (
            "stuck low", "pin", "logic0", SHORT_OHM,
            "the controller's pin (or its track) is shorted to ground: lift it to tell which",
        ),
        (
            "leaky", "pin", "logic0", size,
            "the controller's pin (or the board) leaks to ground: clean, then lift the pin",
        ),
        (
            "stuck high", "logic+", "pin", SHORT_OHM,
            "the controller's pin (or its track) is shorted to the supply: lift it to tell which",
        ),
        (
            "leaky to supply", "logic+", "pin", size,
            "something leaks from the supply to the controller's pin: clean, then lift the pin",
        ),
    ):  # fmt: skip
        fault = _fault(
            "pin", "pin", mode, words, bridge(f"pin {mode}", a, b, ohm),
            *((ohm, "Ω") if ohm is size else (None, "")),
        )  # fmt: skip
        leak_ends = (circuit.node(a), circuit.node(b)) if fault.is_leak else ()
        yield replace(fault, across=frozenset(leak_ends))


LOOSE = ("resistor", "diode", "led", "phototransistor", "contact", "coil")
"""Kinds of parts whose joints are tried as cracked."""


def _may_be_loose(fault: Fault) -> bool:
    return fault.mode == "open" and fault.kind in LOOSE


def _loose(fault: Fault) -> Fault:
    """A joint that is now sound, now open."""
    words = f"a joint of {fault.part} opens now and then (heat, a knock): look at it with a lens, "
    words += "reflow it"
    if fault.kind == "contact":
        relay = fault.part.partition(" ")[0]
        words = f"the contact of {relay} opens now and then (heat, a knock): reflow the relay's "
        words += "pins, and replace the relay if it stays so"
    return Fault(
        key=f"{fault.part} {LOOSE_MODE}",
        part=fault.part,
        kind=fault.kind,
        like=fault.like,
        mode=LOOSE_MODE,
        words=words,
        edit=nothing,
        states=(HEALTHY.key, fault.key),
        also=(fault.repair,),
    )


def _elsewhere() -> Iterator[Fault]:
    """Faults that leave the sync circuit as a good one: only the flags tell of them."""
    for part, mode, flag, words in (
        (
            "controller", "input dead", "sync",
            "the sync circuit reads as a good one, the controller does not see it: its pin, its "
            "program, its clock",
        ),
        (
            "drive", "not firing", "fan",
            "the sync circuit is good: the drive (triac, its coupler, gate) does not fire",
        ),
        (
            "fan", "not turning", "fan",
            "the sync circuit is good: the fan, its capacitor, its plug or its tacho",
        ),
    ):  # fmt: skip
        yield Fault(
            key=f"{part} {mode}", part=part, kind=part, mode=mode, words=words, edit=nothing,
            states=(HEALTHY.key,), reports=frozenset({flag}),
        )  # fmt: skip
