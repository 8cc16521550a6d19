"""The element list: small parts between named nodes, and the edits made on it.

Every number is a scalar or an array of shape ``(n,)``: one list describes a batch of n circuits.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cache, cached_property
from itertools import accumulate
from typing import Any, ClassVar, TypeVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.pins import INTERNAL_PULL_UP
from zcd.board.units import nearest
from zcd.circuit.batch import Batch
from zcd.errors import InputError, invalid_value
from zcd.refdata import REFERENCE_DEGC

Answer = TypeVar("Answer")
Value = float | NDArray[np.float64]

INFINITE_OHM = float("inf")
SHORT_OHM = 0.1
"""A solder bridge or carbonised track."""
PIN_CLAMPS = ("pin.high", "pin.low")
"""Diodes of the controller from its sync pin to its supply, and from its ground to the pin."""
PIN_INPUT = "pin.input"
"""Capacitance of that pin."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Element(Batch):
    """A part between nodes.

    `absent` names the values that make it do nothing: what it has in the rows of a batch
    whose circuit lacks it.
    """

    ref: str
    absent: ClassVar[Mapping[str, float]] = {}

    @property
    def nodes(self) -> tuple[str, ...]:
        """The nodes it stands between."""
        raise NotImplementedError

    def values(self) -> dict[str, Value]:
        """Its batched numbers."""
        return {name: getattr(self, name) for name in _value_names(type(self))}  # type: ignore[arg-type]


@cache
def _value_names(kind: type[Element]) -> tuple[str, ...]:
    """Names of the fields that hold batched numbers."""
    return tuple(f.name for f in fields(kind) if f.type == "Value")


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoNode(Element):
    """An element from node `a` to node `b`."""

    a: str
    b: str

    @property
    def nodes(self) -> tuple[str, ...]:
        return self.a, self.b


@dataclass(frozen=True, slots=True, kw_only=True)
class Resistance(TwoNode):
    """A resistance; infinite means open. [ohm]"""

    resistance_ohm: Value
    absent: ClassVar[Mapping[str, float]] = {"resistance_ohm": INFINITE_OHM}


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacitance(TwoNode):
    """A capacitance; 0 means absent. [F]"""

    capacitance_f: Value
    absent: ClassVar[Mapping[str, float]] = {"capacitance_f": 0.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Junction(TwoNode):
    """A diode from anode `a` to cathode `b`, its law at the circuit's temperature.

    Parameters
    ----------
    saturation_a, emission_v, series_ohm : Value
        V = emission_v ln(I / saturation_a + 1) + series_ohm I; saturation 0 means open.
    breakdown_v : Value
        Reverse voltage at which it begins to conduct backwards. [V]
    temperature_degc : Value
        That the law is for. [°C]
    """

    saturation_a: Value
    emission_v: Value
    series_ohm: Value
    breakdown_v: Value
    temperature_degc: Value = REFERENCE_DEGC
    absent: ClassVar[Mapping[str, float]] = {"saturation_a": 0.0, "breakdown_v": 1e9}


@dataclass(frozen=True, slots=True, kw_only=True)
class Controlled(TwoNode):
    """A current from collector `a` to emitter `b` that the elements named in `leds` control.

    Parameters
    ----------
    leds : tuple of str
        Refs of the junctions that light it, or of what else controls it.
    ctr_ratio : Value
        CTR at 5 mA, 25 degC, new; of the first LED where there are two. [1]
    second_led_ratio : Value
        CTR of the second LED over that of the first. [1]
    remaining_ratio : Value
        What age left of it. [1]
    shape_weight : Value
        Between the low-rank (0) and high-rank (1) shape of CTR against current, or off the
        family's own by as much. [1]
    own_shape : Value
        Number of the family's own curve, as in `zcd.physics.optocoupler`; 0: it has none.
    temperature_degc : Value
        [°C]
    dark_a : Value
        Collector current without light. [A]
    knee_v, knee_ratio, early_v, storage_s : Value
        As in `zcd.physics.optocoupler`.
    """

    leds: tuple[str, ...]
    ctr_ratio: Value
    remaining_ratio: Value
    shape_weight: Value
    temperature_degc: Value
    dark_a: Value
    knee_v: Value
    knee_ratio: Value
    early_v: Value
    storage_s: Value
    second_led_ratio: Value = 1.0
    own_shape: Value = 0.0
    absent: ClassVar[Mapping[str, float]] = {"ctr_ratio": 0.0, "dark_a": 0.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Phototransistor(Controlled):
    """A phototransistor, lit by the LEDs named in `leds`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Transistor(Phototransistor):
    """A transistor from collector `a` to emitter `b`: the same law with current in place of light.

    `leds` names its base-emitter junction, `ctr_ratio` is its gain hFE at VCE = 5 V, whatever the
    current. `offset_v` is VCE at no collector current: alpha below 1 backwards. The junction's
    law is that of the amplifying transistor; saturated, it takes its current at a lower voltage.
    `collector_f` is its capacitance from collector to base.
    """

    offset_v: Value = 0.0
    collector_f: Value = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Release(Controlled):
    """What lets a transistor's collector rise faster than its load: current out of its base.

    That takes the charge between base and collector, gain times less than seems to lie from
    collector to emitter; `leds` names the base's capacitance.
    """


@dataclass(frozen=True, slots=True, kw_only=True)
class MainsSource(TwoNode):
    """The mains: fixes node `a` against `b`, the reference of its island.

    A surge is added where the mains peaks: a positive one on the positive peak, a negative one
    on the negative.
    """

    rms_v: Value
    frequency_hz: Value
    surge_v: Value = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MainsHarmonic(TwoNode):
    """What one harmonic adds to the mains source between the same nodes.

    Parameters
    ----------
    order : int
        From 2.
    ratio, phase_rad : Value
        Amplitude over that of the fundamental, and phase. [1, rad]
    """

    order: int
    ratio: Value
    phase_rad: Value = 0.0
    absent: ClassVar[Mapping[str, float]] = {"ratio": 0.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class DcSource(TwoNode):
    """A supply: fixes node `a` against `b`, the reference of its island."""

    voltage_v: Value


@dataclass(frozen=True, slots=True, kw_only=True)
class TestSource(TwoNode):
    """A meter's ohms or diode-test output: an open-circuit voltage behind a resistance."""

    __test__ = False  # not a test class, whatever its name

    open_v: Value
    resistance_ohm: Value
    absent: ClassVar[Mapping[str, float]] = {"resistance_ohm": INFINITE_OHM}


@dataclass(frozen=True, kw_only=True, eq=False)
class Circuit(Batch):
    """A list of elements, and second names for some of its nodes; equal to itself alone.

    Parameters
    ----------
    elements : tuple of Element
        In the order of the signal: mains to pin.
    aliases : mapping
        Second name of a node -> the name it has in the elements, such as ``led-`` -> ``neutral``.
    """

    elements: tuple[Element, ...]
    aliases: Mapping[str, str] = field(default_factory=dict)

    def __iter__(self) -> Iterator[Element]:
        return iter(self.elements)

    def __contains__(self, ref: object) -> bool:
        return any(e.ref == ref for e in self.elements)

    def __getitem__(self, ref: str) -> Element:
        for element in self.elements:
            if element.ref == ref:
                return element
        known = ", ".join(e.ref for e in self.elements)
        raise InputError(f"part must be one of {known}, got {ref!r}")

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """All nodes, in order of first mention."""
        return tuple(dict.fromkeys(n for e in self.elements for n in e.nodes))

    @cached_property
    def size(self) -> int:
        """Number of rows of the batch."""
        values = (v for e in self.elements for v in e.values().values())
        return max((getattr(v, "size", 1) for v in values), default=1)

    @cached_property
    def temperature_degc(self) -> Value:
        """What its junctions are at. [°C]"""
        return next(junction.temperature_degc for junction in self.of(Junction))

    @classmethod
    def joined(cls, parts: Sequence[Circuit], sizes: Sequence[int] | None = None) -> Circuit:
        """As from `stack`."""
        return stack(parts)

    def node(self, name: str, key: str = "") -> str:
        """The name that a node has in the elements; refuses a node the circuit lacks, which the
        message says of `key`."""
        result = self.aliases.get(name, name)
        if result not in self.nodes:
            if pieces := [e.ref for e in self if e.ref.startswith(f"{name}.")]:
                raise invalid_value(name, f"one of its pieces {', '.join(pieces)}", key)
            known = [n for n in (*self.nodes, *self.aliases) if "." not in n]
            allowed = f"one of the points {', '.join(known)}{nearest(name, tuple(known))}"
            raise invalid_value(name, f'{allowed}, or where two parts meet, such as "R1/R2"', key)
        return result

    def change(self, ref: str, **values: Value) -> Circuit:
        """The circuit with some values of one element replaced."""
        changed = replace(self[ref], **_arguments(values))
        return replace(self, elements=tuple(changed if e.ref == ref else e for e in self.elements))

    def scale(self, ref: str, name: str, factor: Value) -> Circuit:
        """The circuit with one value of one element multiplied."""
        return self.change(ref, **{name: getattr(self[ref], name) * factor})

    def short(self, ref: str, ohm: Value = SHORT_OHM) -> Circuit:
        """The circuit with one resistor, diode or capacitor bridged."""
        element = self[ref]
        if isinstance(element, Junction):
            return self.short(f"{ref}.leak", ohm)
        if isinstance(element, Resistance):
            return self.change(ref, resistance_ohm=ohm)
        a, b = element.nodes
        return self.add(Resistance(ref=f"{ref}.short", a=a, b=b, resistance_ohm=ohm))

    def add(self, *elements: Element) -> Circuit:
        """The circuit with further elements, between points by any of their names."""
        own = tuple(_between(element, self.aliases) for element in elements)
        return replace(self, elements=self.elements + own)

    def without(self, *refs: str) -> Circuit:
        """The circuit without some elements."""
        return replace(self, elements=tuple(e for e in self.elements if e.ref not in refs))

    def of(self, kind: type[Any]) -> list[Any]:
        """The elements of one kind."""
        return [e for e in self.elements if isinstance(e, kind)]


def _between(element: Element, aliases: Mapping[str, str]) -> Element:
    """An element with the own names of its nodes."""
    if not isinstance(element, TwoNode) or aliases.keys().isdisjoint(element.nodes):
        return element
    a, b = (aliases.get(node, node) for node in element.nodes)
    return replace(element, a=a, b=b)


Harmonics = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


def harmonics_of(circuit: Circuit) -> Harmonics:
    """Orders, ratios and phases of all harmonics of the mains, each of shape (h, n) or (h, 1)."""
    result = circuit.of(MainsHarmonic)
    orders = np.array([h.order for h in result], dtype=float).reshape(-1, 1)
    ratios, phases = (
        np.stack(np.broadcast_arrays(*(np.atleast_1d(np.asarray(v, dtype=float)) for v in values)))
        if values
        else np.empty((0, 1))
        for values in ([h.ratio for h in result], [h.phase_rad for h in result])
    )
    return orders, ratios, phases


def _arguments(values: dict[str, Value]) -> dict[str, Any]:
    """Values as keyword arguments, for the type checker's sake."""
    return dict(values)


def is_hidden(element: Element) -> bool:
    """Whether an element is a property of a part rather than a part with a marking."""
    inner = element.ref.endswith((".leak", ".miller", ".input", ".release"))
    inner = inner or element.ref in (INTERNAL_PULL_UP, *PIN_CLAMPS, PIN_INPUT)
    return inner or isinstance(element, MainsHarmonic)


def stack(circuits: Sequence[Circuit]) -> Circuit:
    """Join batches, row after row; an element that some circuits lack is absent in their rows.

    Parameters
    ----------
    circuits : sequence of Circuit
        They may differ in values and in which elements they have, not in how a shared
        element is connected.

    Returns
    -------
    circuit : Circuit
        As many rows as all of them together.
    """
    sizes = [c.size for c in circuits]
    tables = [{e.ref: e for e in c} for c in circuits]
    elements: dict[str, Element] = {}
    for table in tables:
        for ref, element in table.items():
            first = elements.setdefault(ref, element)
            if first.nodes != element.nodes:
                between = " and ".join(first.nodes)
                raise InputError(
                    f"{ref} must stand between {between} in all rows, got {element.nodes}"
                )
    joined = tuple(_join(e, [t.get(ref) for t in tables], sizes) for ref, e in elements.items())
    return replace(circuits[0], elements=joined)


def in_groups(
    circuits: Sequence[Circuit], answer: Callable[[Sequence[int]], Sequence[Answer]]
) -> list[Answer]:
    """An answer for each circuit, asked for those with the same elements together.

    Parameters
    ----------
    circuits : sequence of Circuit
    answer : callable
        Given the numbers of some circuits, gives an answer for each of them.

    Returns
    -------
    answers : list
        In the order of `circuits`.
    """
    groups: dict[object, list[int]] = {}
    for number, circuit in enumerate(circuits):
        groups.setdefault(tuple((e.ref, e.nodes) for e in circuit), []).append(number)
    result: dict[int, Answer] = {}
    for numbers in groups.values():
        result |= dict(zip(numbers, answer(numbers), strict=True))
    return [result[number] for number in range(len(circuits))]


def _join(model: Element, element: list[Element | None], sizes: list[int]) -> Element:
    """One element of a joined batch."""
    values: dict[str, Any] = {}
    rows = [slice(end - size, end) for end, size in zip(accumulate(sizes), sizes, strict=True)]
    for name in model.values():
        lacking = np.max(model.absent.get(name, getattr(model, name)))
        values[name] = np.empty(sum(sizes))
        for each, its_rows in zip(element, rows, strict=True):
            values[name][its_rows] = lacking if each is None else getattr(each, name)
    if isinstance(model, Controlled):
        leds = (led for e in element if isinstance(e, Controlled) for led in e.leds)
        values["leds"] = tuple(dict.fromkeys(leds))
    return replace(model, **values)
