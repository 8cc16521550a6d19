"""From an element list to a SPICE netlist: one more reader of it.

Every number is written by `repr`, as SPICE reads ``1M`` as a milliohm; there are no parameters
in braces, as an undefined one leaves ngspice's library unusable.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from math import degrees, pi, sqrt

import numpy as np

from zcd.board.units import format_si
from zcd.circuit.elements import (
    PIN_CLAMPS,
    Capacitance,
    Circuit,
    DcSource,
    Element,
    Junction,
    MainsHarmonic,
    MainsSource,
    Phototransistor,
    Release,
    Resistance,
    TestSource,
    Transistor,
    Value,
)
from zcd.engine.network import MIN_CONDUCTANCE_S, MIN_RESISTANCE_OHM, REFERENCES, islands
from zcd.errors import InputError
from zcd.physics.diode import thermal_voltage_v
from zcd.physics.optocoupler import REFERENCE_COLLECTOR_V
from zcd.physics.surge import FRONT_S, TAIL_S, start_rad, surge_ratio
from zcd.spice.devices import Device, device_of, model_parameters
from zcd.spice.names import PartNames, node_names, plain
from zcd.spice.output import by_device, by_equations, light

OPEN_OHM = 1e15
"""What stands for an open resistance, so that its nodes stay in the netlist."""
NEVER_V = 1e8
"""A breakdown voltage from which on a diode has none."""
NEVER_FORWARD_RATIO = 1e-9
"""What a junction of which only the breakdown counts has of its saturation current."""
BREAKDOWN_A = 0.01
"""IBV: a current at which SPICE is told the breakdown voltage."""
ROOM_DEGC = 25.0
SURGE_S = np.concatenate(
    [np.linspace(0.0, 4.0 * FRONT_S, 16), np.geomspace(5.0 * FRONT_S, 12.0 * TAIL_S, 48)]
)
"""Times after its start at which a surge is given: it is straight between them within 1 %."""
TITLE = "zcd sync circuit"


class Level(StrEnum):
    """How the output stage is modelled."""

    EQUATIONS = "equations"
    DEVICE = "device"


@dataclass(slots=True)
class Netlist:
    """A circuit in SPICE's words, without an analysis.

    Parameters
    ----------
    nodes : dict
        Node of the circuit -> its name here.
    lines : list of str
        Elements, models and comments.
    sensed : dict
        Ref of a junction -> name of the vector that holds its current.
    capacitors : dict
        Ref of a capacitance -> its nodes, here.
    options : str
        What the analysis needs to know.
    """

    nodes: dict[str, str]
    lines: list[str] = field(default_factory=list)
    sensed: dict[str, str] = field(default_factory=dict)
    capacitors: dict[str, tuple[str, str]] = field(default_factory=dict)
    options: str = ""


class _Writer:
    """Writes the elements of one circuit, one after another."""

    def __init__(
        self, circuit: Circuit, device: Device | None, charges_v: Mapping[str, float], cycles: int
    ) -> None:
        self.circuit = circuit
        self.cycles = cycles
        self.device = device
        self.charges_v = charges_v
        self.names = PartNames()
        # a release writes no line: a node that only it names is none here
        written = {n for e in circuit if not isinstance(e, Release) for n in e.nodes}
        self.netlist = Netlist(nodes=node_names([n for n in circuit.nodes if n in written]))
        transistors = circuit.of(Phototransistor)
        self.leds = {led for opto in transistors for led in opto.leds}
        self.millers = {f"{opto.ref}.miller" for opto in transistors}
        self.sensed = self.leds.union(PIN_CLAMPS)
        amplifiers = [each for each in circuit.of(Transistor) if _amplifies(each, circuit)]
        self.bases = {each.leds[0] for each in amplifiers}
        self.inside = {f"{each.ref}.{name}" for each in amplifiers for name in ("miller", "input")}
        junctions = circuit.of(Junction)
        self.celsius = number(junctions[0].temperature_degc) if junctions else ROOM_DEGC
        self.thermal_v = float(thermal_voltage_v(self.celsius))

    def write(self) -> Netlist:
        """The whole netlist."""
        for second, first in self.circuit.aliases.items():
            if first in self.netlist.nodes:
                self._put(f"* the board's {second} is {self.netlist.nodes[first]} here")
        self._grounds()
        for element in self.circuit:
            for line in self._element(element):
                self._put(line)
        celsius = repr(self.celsius)
        self.netlist.options = (
            f".options temp={celsius} tnom={celsius} rshunt={1.0 / MIN_CONDUCTANCE_S!r}"
        )
        return self.netlist

    def _put(self, line: str) -> None:
        self.netlist.lines.append(line)

    def _grounds(self) -> None:
        """Tie the reference of each island to SPICE's one ground."""
        self._put("* each side has its own ground on the board; SPICE knows one, called 0")
        for island in islands(self.circuit):
            inside = [n for n in self.circuit.nodes if n in island]
            reference = next((n for n in REFERENCES if n in island), inside[0])
            node = self.netlist.nodes[reference]
            self._put(f"{self.names.of('V', f'ground.{node}')} {node} 0 0")

    def _ends(self, element: Element) -> str:
        return " ".join(self.netlist.nodes[n] for n in element.nodes)

    def _element(self, element: Element) -> Iterator[str]:
        match element:
            case Resistance():
                yield self._resistance(element.ref, self._ends(element), element.resistance_ohm)
            case Capacitance():
                yield from self._capacitance(element)
            case Junction():
                yield from self._junction(element)
            case Release():
                return  # what a base with a capacitance does by itself
            case Transistor():
                if element.leds[0] in self.bases:
                    yield from self._transistor(element)
            case Phototransistor():
                yield from self._phototransistor(element)
            case MainsSource():
                yield from self._mains(element)
            case MainsHarmonic():
                return  # stands in series with the mains
            case DcSource():
                volts = number(element.voltage_v)
                name = self.names.of("V", element.ref)
                yield f"{name} {self._ends(element)} {volts!r} ; {spelt(volts, 'V')}"
            case TestSource():
                yield from self._test(element)
            case _:
                raise InputError(f"{element.ref} must be of a kind that SPICE has here")

    def _resistance(self, ref: str, ends: str, value: Value) -> str:
        ohm = number(value)
        remark = "open" if np.isinf(ohm) else spelt(ohm, "Ω")
        written = OPEN_OHM if np.isinf(ohm) else max(ohm, MIN_RESISTANCE_OHM)
        return f"{self.names.of('R', ref)} {ends} {written!r} ; {remark}"

    def _capacitance(self, element: Capacitance) -> Iterator[str]:
        farad = number(element.capacitance_f)
        if farad == 0.0:
            yield f"* {element.ref}: no capacitance"
        elif element.ref in self.inside or (
            self.device is not None and element.ref in self.millers
        ):
            yield f"* {element.ref}: in the transistor's own junction"
        else:
            a, b = (self.netlist.nodes[n] for n in element.nodes)
            self.netlist.capacitors[element.ref] = a, b
            charge = f" IC={self.charges_v[element.ref]!r}" if element.ref in self.charges_v else ""
            name = self.names.of("C", element.ref)
            yield f"{name} {a} {b} {farad!r}{charge} ; {spelt(farad, 'F')}"

    def _junction(self, element: Junction) -> Iterator[str]:
        a, b = (self.netlist.nodes[n] for n in element.nodes)
        if element.ref in self.sensed:
            inner = f"{a}.{plain(element.ref)}"
            sense = self.names.of("V", f"V.{element.ref}")
            self.netlist.sensed[element.ref] = f"{sense.lower()}#branch"
            ends = (a, inner) if element.ref in self.bases else (inner, b)
            yield f"{sense} {ends[0]} {ends[1]} 0 ; its current is that of {element.ref}"
            a, b = (inner, b) if element.ref in self.bases else (a, inner)
        saturation = number(element.saturation_a)
        if saturation == 0.0:
            yield f"* {element.ref}: open"
            return
        if element.ref in self.bases:  # its breakdown alone: the rest is in the transistor
            saturation *= NEVER_FORWARD_RATIO
        model = f"law.{plain(element.ref)}"
        values = {
            "IS": saturation,
            "N": number(element.emission_v) / self.thermal_v,
            "RS": number(element.series_ohm),
        }
        if (breakdown_v := number(element.breakdown_v)) < NEVER_V:
            above_v = number(element.emission_v) * float(
                np.log(BREAKDOWN_A / number(element.saturation_a))
            )
            values |= {"BV": breakdown_v + above_v, "IBV": BREAKDOWN_A}
        if self.device is not None and element.ref in self.leds:
            values["CJO"] = self.device.led_capacitance_f
        yield f".model {model} D({_assigned(values)})"
        yield f"{self.names.of('D', element.ref)} {a} {b} {model}"

    def _transistor(self, element: Transistor) -> Iterator[str]:
        """A transistor with the engine's constants, or the published one with the board's gain."""
        base = self.circuit[element.leds[0]]
        assert isinstance(base, Junction)
        gain = number(element.ctr_ratio) * number(element.remaining_ratio)
        if self.device is None:
            forward = gain / (1.0 + REFERENCE_COLLECTOR_V / number(element.early_v))
            back = 1.0 / (np.exp(number(element.offset_v) / self.thermal_v) - 1.0)
            both_f = self.circuit[f"{element.ref}.input"].values()["capacitance_f"]
            values = {
                "IS": number(base.saturation_a) * gain, "BF": forward,
                "BR": float(back), "VAF": number(element.early_v),
                "TR": number(element.storage_s), "CJC": number(element.collector_f), "MJC": 0.0,
                "CJE": number(both_f) - number(element.collector_f), "MJE": 0.0,
            }  # fmt: skip
        else:
            values = model_parameters(self.device) | {"BF": gain, "ISE": 0.0}
        name, model = self.names.of("Q", element.ref), f"law.{plain(element.ref)}"
        a, b = (self.netlist.nodes[n] for n in element.nodes)
        yield f"{name} {a} {self.netlist.nodes[base.a]}.{plain(base.ref)} {b} {model}"
        yield f".model {model} NPN({_assigned(values)})"

    def _phototransistor(self, element: Phototransistor) -> Iterator[str]:
        ends = [self.netlist.nodes[n] for n in element.nodes]
        ratios = (1.0, number(element.second_led_ratio))
        sources = {
            self.netlist.sensed[led].removesuffix("#branch"): ratio
            for led, ratio in zip(element.leds, ratios, strict=False)
            if led in self.netlist.sensed
        }
        yield from light(element, sources, self.names)
        if self.device is None:
            yield from by_equations(element, ends[0], ends[1], self.names)
        else:
            ask = (self.device, self.thermal_v)
            yield from by_device(element, ends[0], ends[1], ask, self.names)
            values = _assigned(model_parameters(self.device))
            yield f".model law.{plain(element.ref)} NPN({values}) ; {self.device.model}, published"

    def _mains(self, element: MainsSource) -> Iterator[str]:
        a, b = (self.netlist.nodes[n] for n in element.nodes)
        rms, hertz = number(element.rms_v), number(element.frequency_hz)
        peak = sqrt(2.0) * rms
        sources = [(element.ref, f"SIN(0 {peak!r} {hertz!r}) ; {spelt(rms, 'V')} rms")]
        for harmonic in self.circuit.of(MainsHarmonic):
            amplitude, phase = peak * number(harmonic.ratio), degrees(number(harmonic.phase_rad))
            wave = f"SIN(0 {amplitude!r} {hertz * harmonic.order!r} 0 0 {phase!r})"
            sources.append((harmonic.ref, f"{wave} ; harmonic {harmonic.order}"))
        sources += self._surges(element)
        joints = [a, *(f"{a}.{plain(ref)}" for ref, _ in sources[1:]), b]
        for k, (ref, wave) in enumerate(sources):
            yield f"{self.names.of('V', ref)} {joints[k]} {joints[k + 1]} {wave}"

    def _surges(self, element: MainsSource) -> list[tuple[str, str]]:
        """A surge in each period, by points: SPICE steps from one to the next of them."""
        surge, hertz = number(element.surge_v), number(element.frequency_hz)
        if surge == 0.0:
            return []
        start_s = float(start_rad(surge)) / (2.0 * pi * hertz)
        pairs = []
        for cycle in range(self.cycles):
            for time, ratio in zip(SURGE_S, surge_ratio(SURGE_S), strict=True):
                at_s = start_s + cycle / hertz + float(time)
                pairs.append(f"{at_s!r} {float(ratio) * surge!r}")
        points = "\n+ ".join(pairs)
        return [(f"{element.ref}.surge", f"PWL({points}) ; {spelt(surge, 'V')} surge")]

    def _test(self, element: TestSource) -> Iterator[str]:
        a, b = (self.netlist.nodes[n] for n in element.nodes)
        volts, inner = number(element.open_v), f"{plain(element.ref)}.open"
        yield f"{self.names.of('V', element.ref)} {inner} {b} {volts!r} ; the meter's own source"
        yield self._resistance(element.ref, f"{inner} {a}", element.resistance_ohm)


def netlist_of(
    circuit: Circuit,
    level: Level = Level.EQUATIONS,
    *,
    family: str = "817",
    device: Device | None = None,
    charges_v: Mapping[str, float] | None = None,
    cycles: int = 1,
) -> Netlist:
    """The netlist of a circuit.

    Parameters
    ----------
    circuit : Circuit
        One row.
    level : Level
    family : str
        Of the optocoupler: which published transistor stands for it.
    device : Device, optional
        That transistor itself, in place of the family's.
    charges_v : mapping, optional
        Voltage at which a capacitance starts, by ref; those not in it start empty.
    cycles : int
        Of the mains that will be run: a surge comes in each.

    Returns
    -------
    netlist : Netlist

    Raises
    ------
    InputError
        If the circuit has more than one row.
    """
    if circuit.size != 1:
        raise InputError(f"a netlist takes one row of a batch, got {circuit.size}")
    if level is Level.EQUATIONS:
        device = None
    elif device is None:
        device = device_of(family)
    return _Writer(circuit, device, charges_v or {}, cycles).write()


def _amplifies(part: Transistor, circuit: Circuit) -> bool:
    """Whether a transistor has gain and a base-emitter junction."""
    gain = number(part.ctr_ratio) * number(part.remaining_ratio)
    return gain > 0.0 and number(circuit[part.leds[0]].values()["saturation_a"]) > 0.0


def number(value: Value) -> float:
    """The one number that a value of a single row is."""
    return float(np.asarray(value, dtype=float).reshape(-1)[0])


def spelt(value: float, unit: str) -> str:
    """A value with its unit in ASCII, for a comment."""
    text = format_si(value, unit) if value else f"0 {unit}"
    return text.replace("Ω", "ohm").replace("µ", "u")


def _assigned(values: Mapping[str, float]) -> str:
    return " ".join(f"{name}={value!r}" for name, value in values.items())
