"""From a board to its element list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from zcd.board.diode_names import LEADS, leg_refs
from zcd.board.model import Board, Capacitor, Diode, Link, Optocoupler, Resistor
from zcd.board.model import Junction as JunctionData
from zcd.board.model import Transistor as TransistorPart
from zcd.board.parts_library import SILICON_GAP_V, diode, typical_leak_ohm
from zcd.board.paths import links_of, string_name
from zcd.circuit.elements import (
    INFINITE_OHM,
    PIN_CLAMPS,
    PIN_INPUT,
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
    Transistor,
    Value,
)
from zcd.physics.bipolar import GAIN_RISE, gain_at, npn_law
from zcd.physics.diode import saturation_current_a, thermal_voltage_v
from zcd.physics.optocoupler import (
    ctr_shape_ratio,
    dark_current_a,
    family_shape_weight,
    output_transistor,
    own_shape,
    turn_off_temperature_ratio,
)
from zcd.refdata import REFERENCE_DEGC, default


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What a board is exposed to; None takes the board's nominal value.

    Parameters
    ----------
    mains_rms_v, temperature_degc : Value or None
        [V], [°C]
    frequency_hz : Value or None
        [Hz]
    ctr_ratio : Value or None
        CTR at the data sheet's test current, 25 degC, new. [1]
    remaining_ratio : Value or None
        What age left of the CTR. [1]
    shape_weight : Value or None
        Shape of CTR against current; None: the family's own, or what the CTR suggests. [1]
    coil_driven : bool
        False: the load relay is off.
    """

    mains_rms_v: Value | None = None
    frequency_hz: Value | None = None
    temperature_degc: Value | None = None
    ctr_ratio: Value | None = None
    remaining_ratio: Value | None = None
    shape_weight: Value | None = None
    coil_driven: bool = True


NOMINAL = Conditions()
PIN_CLAMP_LAW = "1N4148"
"""Diode whose law those of a controller's pin have: 0.5 V at 0.3 mA, as Microchip AVR182 says."""


BASE_SWING_V = 0.06
"""By which the base moves while the collector goes from one rail to the other: some VT."""
FLAT_V = 1e6
"""Early voltage of what has none."""
BASE_LEAK_OHM = typical_leak_ohm(5.0, 100e-9)
"""Emitter-base cut-off current: at most 100 nA at 5 V, NXP BC847BV data sheet (2001)."""


def build_circuit(board: Board, conditions: Conditions = NOMINAL) -> Circuit:
    """The element list of a board under some conditions.

    Parameters
    ----------
    board : Board
    conditions : Conditions

    Returns
    -------
    circuit : Circuit
        One row, or as many as the arrays in `conditions` have.
    """
    celsius = _or(conditions.temperature_degc, board.service.bench_degc)
    mains = MainsSource(
        ref="mains",
        a="line",
        b="neutral",
        rms_v=_or(conditions.mains_rms_v, board.mains.rms_v),
        frequency_hz=_or(conditions.frequency_hz, board.mains.frequency_hz),
    )
    harmonics = [
        mains_harmonic(h.order, ratio=h.ratio, phase_rad=h.phase_rad) for h in board.mains.harmonics
    ]
    relay = _relay(board, conditions)
    side, aliases = _mains_side(board, conditions, celsius)
    elements = [mains, *harmonics, *relay, *side, *_controller(board, celsius)]
    if board.optocoupler is not None:
        elements += _coupler(board, board.optocoupler, conditions, celsius)
    elif board.transistor is not None:
        elements += _transistor(board, board.transistor, conditions, celsius)
    return Circuit(elements=(), aliases=aliases).add(*elements)


def at_temperature(circuit: Circuit, board: Board, celsius: Value) -> Circuit:
    """The circuit of a board with its junctions and transistor at another temperature.

    Parameters
    ----------
    circuit : Circuit
        Built from the board, whatever has been edited in it since.
    board : Board
    celsius : Value
        [°C]

    Returns
    -------
    circuit : Circuit
        What temperature does not touch (CTR, age, leakage, values of other parts) is as it was.
    """
    warm = build_circuit(board, Conditions(temperature_degc=celsius))
    before = build_circuit(board, Conditions(temperature_degc=circuit.temperature_degc))
    for ref, name in _times_with_temperature(warm):
        ratio = getattr(warm[ref], name) / getattr(before[ref], name)
        circuit = circuit.scale(ref, name, ratio)
    for element in warm:
        names = _WITH_TEMPERATURE.get(type(element), ())
        if names:
            circuit = circuit.change(element.ref, **{n: getattr(element, n) for n in names})
    return circuit


def _times_with_temperature(circuit: Circuit) -> list[tuple[str, str]]:
    """Values that heat multiplies, whatever they are: element and name."""
    couplers = [coupler.ref for coupler in circuit.of(Phototransistor)]
    leaks = [f"{junction.ref}.leak" for junction in circuit.of(Junction)]
    gains = [(each.ref, "ctr_ratio") for each in circuit.of(Transistor)]
    return [
        *gains,
        *((opto, "storage_s") for opto in couplers),
        *((f"{opto}.miller", "capacitance_f") for opto in couplers),
        *((leak, "resistance_ohm") for leak in leaks),
    ]


_WITH_TEMPERATURE: dict[type[Element], tuple[str, ...]] = {
    Junction: ("saturation_a", "emission_v", "temperature_degc"),
    Phototransistor: ("temperature_degc", "dark_a", "knee_v"),
    Transistor: ("temperature_degc", "knee_v", "offset_v"),
}


def mains_harmonic(order: int, *, ratio: Value, phase_rad: Value) -> MainsHarmonic:
    """A harmonic of the mains as an element."""
    return MainsHarmonic(
        ref=f"mains.h{order}", a="line", b="neutral", order=order, ratio=ratio, phase_rad=phase_rad
    )


def _or(value: Value | None, nominal: float) -> Value:
    return nominal if value is None else value


def _relay(board: Board, conditions: Conditions) -> list[Element]:
    """The elements of the load relay, behind whose contact the chain is tapped."""
    relay = board.relay
    if relay is None:
        return []
    closed = conditions.coil_driven
    elements: list[Element] = [
        DcSource(ref="coil supply", a="coil+", b="logic0", voltage_v=relay.coil_supply_v),
        Resistance(ref="K1.coil", a="coil+", b="coil-", resistance_ohm=relay.coil_resistance_ohm),
        Resistance(
            ref="K1.driver",
            a="coil-",
            b="logic0",
            resistance_ohm=relay.driver_resistance_ohm if closed else INFINITE_OHM,
        ),
        Resistance(
            ref="K1.contact",
            a="line",
            b="feed",
            resistance_ohm=relay.contact_resistance_ohm if closed else INFINITE_OHM,
        ),
    ]
    if relay.suppressor is not None:
        elements += [
            Resistance(
                ref="suppressor.r",
                a="line",
                b="suppressor",
                resistance_ohm=relay.suppressor.resistance_ohm,
            ),
            Capacitance(
                ref="suppressor.c",
                a="suppressor",
                b="feed",
                capacitance_f=relay.suppressor.capacitance_f,
            ),
        ]
    return elements


def _junction(ref: str, a: str, b: str, data: JunctionData, celsius: Value) -> list[Element]:
    """A diode at a temperature, with its reverse leakage beside it."""
    return [
        Junction(
            ref=ref,
            a=a,
            b=b,
            saturation_a=saturation_current_a(
                data.saturation_current_a, data.emission_ratio, data.gap_v, celsius
            ),
            emission_v=data.emission_ratio * thermal_voltage_v(celsius),
            series_ohm=data.series_ohm,
            breakdown_v=data.reverse_rating_v,
            temperature_degc=celsius,
        ),
        Resistance(ref=f"{ref}.leak", a=a, b=b, resistance_ohm=_leak_ohm(data, celsius)),
    ]


def _leak_ohm(data: JunctionData, celsius: Value) -> Value:
    """Reverse leakage as a resistance; straight in logs between the sheet's cold and hot limit."""
    if not data.leak_rise_per_k:
        return data.leak_ohm
    hotter_k = np.asarray(celsius, dtype=float) - REFERENCE_DEGC
    return np.asarray(data.leak_ohm * np.exp(-data.leak_rise_per_k * hotter_k))


def _string(resistors: Sequence[Resistor], start: str, prefix: str, end: str) -> list[Element]:
    """Resistors in series from `start` to `end`, the joints named after `prefix`."""
    joints = [f"{prefix}.{k}" for k in range(1, len(resistors))]
    nodes = [start, *joints, end]
    return [
        Resistance(ref=r.ref, a=nodes[k], b=nodes[k + 1], resistance_ohm=r.resistance_ohm)
        for k, r in enumerate(resistors)
    ]


def _mains_side(
    board: Board, conditions: Conditions, celsius: Value
) -> tuple[list[Element], dict[str, str]]:
    """Chain, diodes, capacitors and LED as the links of the board have them; names of nodes."""
    links, aliases = links_of(board)
    if board.transistor is not None:
        ref, leads = board.transistor.ref, (("b", "base"), ("c", "pin"), ("e", "logic0"))
        aliases = {**{f"{ref}.{lead}": aliases.get(n, n) for lead, n in leads}, **aliases}
    aliases = {**_leads(board, links), **aliases}
    strings = {string_name(k): chain for k, chain in enumerate(board.chains, 1)}
    strings["return"] = board.return_chain
    parts = _parts_by_link(board, conditions)
    elements: list[Element] = []
    for link in links:
        ref, a, b = link.ref, link.a, link.b
        if ref in strings:
            elements += _string(strings[ref], a, ref, b)
            continue
        part, own = parts[ref]
        match part:
            case Capacitor():
                elements.append(Capacitance(ref=own, a=a, b=b, capacitance_f=part.capacitance_f))
            case Resistor():
                elements.append(Resistance(ref=own, a=a, b=b, resistance_ohm=part.resistance_ohm))
            case _:
                elements += _junction(own, a, b, part, celsius)
    return elements, aliases


def _leads(board: Board, links: Sequence[Link]) -> dict[str, str]:
    """Leads of a bridge in one piece, ``BR1~1``, as further names of nodes."""
    part = board.rectifier
    if part is None or leg_refs(part.ref, part.part)[0] != f"{part.ref}{LEADS[0]}":
        return {}
    ends = {link.ref: (link.a, link.b) for link in links}
    leads = (("~1", "a", 0), ("~2", "b", 0), ("+", "a", 1), ("-", "c", 0))
    return {
        f"{part.ref}{lead}": ends[f"rectifier.{leg}"][end]
        for lead, leg, end in leads
        if f"rectifier.{leg}" in ends
    }


def _parts_by_link(
    board: Board, conditions: Conditions
) -> dict[str, tuple[Resistor | Capacitor | JunctionData, str]]:
    """Each part as the links call it, with the reference of its element."""
    opto = board.optocoupler
    result: dict[str, tuple[Resistor | Capacitor | JunctionData, str]] = {}
    if opto is not None:
        result = {name: (opto.led, f"{opto.ref}.{name}") for name in ("led", "led2")}
        result |= {f"{ref}.led": (opto.led, f"{ref}.led") for ref in coupler_refs(board)[1:]}
    if board.traced is not None:
        result |= {c.ref: (c, c.ref) for c in board.traced.capacitors}
        if (part := board.traced.transistor) is not None:
            result[f"{part.ref}.be"] = _base_emitter(part, conditions), f"{part.ref}.be"
        for diode in board.traced.diodes:
            refs = (diode.ref, *leg_refs(diode.ref, diode.part))
            result |= {ref: (diode.junction, ref) for ref in refs}
        return result
    named = ("led_resistor", "led_capacitor", "joint_capacitor")
    fitted = {name: getattr(board, name) for name in named}
    result |= {name: (part, part.ref) for name, part in fitted.items() if part is not None}
    for name, own in (("rectifier", board.rectifier), ("clamp", board.clamp)):
        if own is not None:
            legs = zip("abcd", leg_refs(own.ref, own.part), strict=True)
            result |= {f"{name}.{leg}": (own.junction, ref) for leg, ref in legs}
            result[name] = own.junction, own.ref
    return result


def junction_refs(diode: Diode, circuit: Circuit) -> list[str]:
    """Refs of the junctions that a diode of the board became: four in a bridge."""
    known = {diode.ref, *leg_refs(diode.ref, diode.part)}
    return [j.ref for j in circuit.of(Junction) if j.ref in known]


def led_refs(board: Board) -> tuple[str, ...]:
    """Refs of the LED of an optocoupler, or of both of them; none without one."""
    second = (f"{ref}.led2" for ref in coupler_refs(board)[:1] if board.two_leds)
    return *(f"{coupler}.led" for coupler in coupler_refs(board)), *second


def input_refs(board: Board) -> tuple[str, ...]:
    """Refs of what the chain's current ends in: LEDs, a transistor's base, or else the
    controller's own diodes."""
    return led_refs(board) or base_refs(board) or PIN_CLAMPS


def base_refs(board: Board) -> tuple[str, ...]:
    """Ref of the base-emitter junction of the transistor at the pin; none without one."""
    return () if board.transistor is None else (f"{board.transistor.ref}.be",)


def _controller(board: Board, celsius: Value) -> list[Element]:
    """Supply and pin of the controller, with what is at the pin."""
    out = board.output
    elements: list[Element] = [
        DcSource(ref="supply", a="logic+", b="logic0", voltage_v=out.supply_v)
    ]
    for part in (out.resistor, out.internal):
        if part is None:
            continue
        a, b = ("pin", "logic0") if out.kind == "emitter-follower" else ("logic+", "pin")
        elements.append(Resistance(ref=part.ref, a=a, b=b, resistance_ohm=part.resistance_ohm))
    if out.pin_capacitor is not None:
        c = out.pin_capacitor
        elements.append(Capacitance(ref=c.ref, a="pin", b="logic0", capacitance_f=c.capacitance_f))
    if not board.is_isolated and board.transistor is None:
        law = diode(PIN_CLAMP_LAW, ref=PIN_CLAMP_LAW).junction
        for ref, ends in zip(PIN_CLAMPS, (("pin", "logic+"), ("logic0", "pin")), strict=True):
            elements += _junction(ref, *ends, law, celsius)
        farad = default("controller.pin_capacitance").value
        elements.append(Capacitance(ref=PIN_INPUT, a="pin", b="logic0", capacitance_f=farad))
    return elements


def _coupler(
    board: Board, opto: Optocoupler, conditions: Conditions, celsius: Value
) -> list[Element]:
    """The phototransistor at the pin, or both of them."""
    ctr = _or(conditions.ctr_ratio, opto.ctr_ratio)
    weight = conditions.shape_weight
    if weight is None:
        weight = family_shape_weight(opto.family, ctr, opto.test_current_a)
    own = own_shape(opto.family)
    model, slower = output_transistor(opto.family), turn_off_temperature_ratio(celsius)
    follower = board.output.kind == "emitter-follower"
    collector, emitter = ("logic+", "pin") if follower else ("pin", "logic0")
    elements: list[Element] = []
    for ref in coupler_refs(board):
        elements += [
            Phototransistor(
                ref=ref,
                a=collector,
                b=emitter,
                leds=tuple(led for led in led_refs(board) if led.startswith(f"{ref}.")),
                ctr_ratio=np.asarray(ctr / ctr_shape_ratio(opto.test_current_a, weight, own)),
                remaining_ratio=_or(conditions.remaining_ratio, opto.remaining_ratio),
                shape_weight=weight,
                own_shape=float(own),
                temperature_degc=celsius,
                dark_a=dark_current_a(celsius),
                knee_v=model.emission_ratio * thermal_voltage_v(celsius),
                knee_ratio=model.knee_ratio,
                early_v=model.early_v,
                storage_s=model.storage_s * slower,
            ),
            Capacitance(
                ref=f"{ref}.miller", a=collector, b=emitter, capacitance_f=model.miller_f * slower
            ),
        ]
    return elements


def coupler_refs(board: Board) -> tuple[str, ...]:
    """References of the optocoupler, or of both of them; none without one."""
    if board.optocoupler is None:
        return ()
    second = board.traced.second_coupler if board.traced is not None else ""
    return (board.optocoupler.ref, *([second] if second else []))


def _base_emitter(part: TransistorPart, conditions: Conditions) -> JunctionData:
    """The base-emitter junction: the collector's current over the gain, at the same voltage."""
    gain = _or(conditions.ctr_ratio, part.gain_ratio)
    return JunctionData(
        saturation_current_a=npn_law(part.model).saturation_a / gain,  # type: ignore[arg-type]
        emission_ratio=1.0,
        series_ohm=0.0,
        gap_v=SILICON_GAP_V - GAIN_RISE * float(thermal_voltage_v(REFERENCE_DEGC)),
        leak_ohm=BASE_LEAK_OHM,
        reverse_rating_v=part.emitter_reverse_v,
    )


def _transistor(
    board: Board, part: TransistorPart, conditions: Conditions, celsius: Value
) -> list[Element]:
    """The transistor at the pin, with the capacitances of its base and of its collector."""
    law, gain = npn_law(part.model), _or(conditions.ctr_ratio, part.gain_ratio)
    supply_v, load = board.output.supply_v, board.output.resistor
    load_ohm = 1e4 if load is None else load.resistance_ohm
    base_ohm, base_f = _at_base(board)
    # what is at the base takes of the current through the collector's capacitance: a capacitor by
    # what the base swings, a resistor by the transistor's own input resistance at half the supply
    own_ohm = gain * 2.0 * float(thermal_voltage_v(REFERENCE_DEGC)) * load_ohm / supply_v
    share = 1.0 / (1.0 + BASE_SWING_V / supply_v * base_f / law.collector_f + own_ohm / base_ohm)
    seen = gain * share
    hot, thermal_v = gain_at(gain, celsius), thermal_voltage_v(celsius)
    back = 1.0 + law.reverse_gain_ratio
    return [
        Transistor(
            ref=part.ref, a="pin", b="logic0", leds=(f"{part.ref}.be",), ctr_ratio=hot,
            remaining_ratio=_or(conditions.remaining_ratio, 1.0), shape_weight=0.0,
            temperature_degc=celsius, dark_a=0.0, knee_v=thermal_v, knee_ratio=hot / back,
            offset_v=thermal_v * np.log(back / law.reverse_gain_ratio), early_v=law.early_v,
            collector_f=law.collector_f,
            storage_s=law.storage_s,
        ),
        Release(
            ref=f"{part.ref}.release", a="logic+", b="pin", leds=(f"{part.ref}.input",),
            ctr_ratio=hot * share, remaining_ratio=1.0, shape_weight=0.0, temperature_degc=celsius,
            dark_a=0.0, knee_v=thermal_v, knee_ratio=1.0, early_v=FLAT_V, storage_s=law.storage_s,
        ),
        Capacitance(
            ref=f"{part.ref}.miller", a="pin", b="logic0",
            capacitance_f=law.collector_f * (1.0 + seen),
        ),
        Capacitance(
            ref=f"{part.ref}.input", a="base", b="logic0",
            capacitance_f=law.collector_f + law.emitter_f,
        ),
    ]  # fmt: skip


def _at_base(board: Board) -> tuple[float, float]:
    """Resistance, and capacitance, from the base to other points."""
    links, aliases = links_of(board)
    base = aliases.get("base", "base")
    at_base = {link.ref for link in links if base in (link.a, link.b)}
    strings = (chain for k, chain in enumerate(board.chains, 1) if string_name(k) in at_base)
    siemens = sum(1.0 / sum(r.resistance_ohm for r in string) for string in strings)
    traced = () if board.traced is None else board.traced.capacitors
    farad = sum(part.capacitance_f for part in traced if part.ref in at_base)
    return (1.0 / siemens if siemens else INFINITE_OHM), farad
