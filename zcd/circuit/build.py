"""From a board to its element list: the one place that knows the topologies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from zcd.board.model import Board, Diode, Resistor, Topology
from zcd.board.model import Junction as JunctionData
from zcd.circuit.elements import (
    INFINITE_OHM,
    Capacitance,
    Circuit,
    DcSource,
    Element,
    Junction,
    MainsHarmonic,
    MainsSource,
    Phototransistor,
    Resistance,
    Value,
)
from zcd.physics.diode import saturation_current_a, thermal_voltage_v
from zcd.physics.optocoupler import (
    ctr_shape_ratio,
    dark_current_a,
    family_shape_weight,
    output_transistor,
    turn_off_temperature_ratio,
)
from zcd.refdata import REFERENCE_DEGC


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
    feed, relay = _relay(board, conditions)
    side, aliases = _mains_side(board, feed, celsius)
    if feed == "line":
        aliases["feed"] = "line"
    output = _isolated_side(board, conditions, celsius)
    return Circuit(elements=(mains, *harmonics, *relay, *side, *output), aliases=aliases)


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
    was = circuit[board.optocoupler.ref]
    assert isinstance(was, Phototransistor)
    before = build_circuit(board, Conditions(temperature_degc=was.temperature_degc))
    for ref, name in _times_with_temperature(board, warm):
        ratio = getattr(warm[ref], name) / getattr(before[ref], name)
        circuit = circuit.scale(ref, name, ratio)
    for element in warm:
        names = _WITH_TEMPERATURE.get(type(element), ())
        if names:
            circuit = circuit.change(element.ref, **{n: getattr(element, n) for n in names})
    return circuit


def _times_with_temperature(board: Board, circuit: Circuit) -> list[tuple[str, str]]:
    """Values that heat multiplies, whatever they are: element and name."""
    opto = board.optocoupler.ref
    leaks = [f"{junction.ref}.leak" for junction in circuit.of(Junction)]
    return [
        (opto, "storage_s"),
        (f"{opto}.miller", "capacitance_f"),
        *((leak, "resistance_ohm") for leak in leaks),
    ]


_WITH_TEMPERATURE: dict[type[Element], tuple[str, ...]] = {
    Junction: ("saturation_a", "emission_v"),
    Phototransistor: ("temperature_degc", "dark_a", "knee_v"),
}


def mains_harmonic(order: int, *, ratio: Value, phase_rad: Value) -> MainsHarmonic:
    """A harmonic of the mains as an element."""
    return MainsHarmonic(
        ref=f"mains.h{order}", a="line", b="neutral", order=order, ratio=ratio, phase_rad=phase_rad
    )


def _or(value: Value | None, nominal: float) -> Value:
    return nominal if value is None else value


def _relay(board: Board, conditions: Conditions) -> tuple[str, list[Element]]:
    """The node the chain is tapped from, and the elements of the load relay."""
    relay = board.relay
    if relay is None:
        return "line", []
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
    return "feed", elements


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
        ),
        Resistance(ref=f"{ref}.leak", a=a, b=b, resistance_ohm=_leak_ohm(data, celsius)),
    ]


def _leak_ohm(data: JunctionData, celsius: Value) -> Value:
    """Reverse leakage as a resistance; straight in logs between the sheet's cold and hot limit."""
    if not data.leak_rise_per_k:
        return data.leak_ohm
    hotter_k = np.asarray(celsius, dtype=float) - REFERENCE_DEGC
    return np.asarray(data.leak_ohm * np.exp(-data.leak_rise_per_k * hotter_k))


def _diode(diode: Diode | None, a: str, b: str, celsius: Value, suffix: str = "") -> list[Element]:
    if diode is None:
        return []
    return _junction(diode.ref + suffix, a, b, diode.junction, celsius)


def _string(resistors: Sequence[Resistor], start: str, prefix: str, end: str) -> list[Element]:
    """Resistors in series from `start` to `end`, the joints named after `prefix`."""
    joints = [f"{prefix}.{k}" for k in range(1, len(resistors))]
    nodes = [start, *joints, end]
    return [
        Resistance(ref=r.ref, a=nodes[k], b=nodes[k + 1], resistance_ohm=r.resistance_ohm)
        for k, r in enumerate(resistors)
    ]


def _mains_side(board: Board, feed: str, celsius: Value) -> tuple[list[Element], dict[str, str]]:
    """Chain, diodes and LED, by topology; and the second names of nodes."""
    top = board.topology
    series = top in (Topology.HALF_WAVE, Topology.HALF_WAVE_CLAMPED)
    last = f"chain.{len(board.chains[0])}"
    elements: list[Element] = []
    start, end = feed, "led+"
    if series and board.rectifier_first:
        elements += _diode(board.rectifier, feed, "rect", celsius)
        start = "rect"
    elif series or top is Topology.BRIDGE:
        end = last
    for number, chain in enumerate(board.chains, start=1):
        elements += _string(chain, start, "chain" if number == 1 else f"chain{number}", end)
    if series and not board.rectifier_first:
        elements += _diode(board.rectifier, last, "led+", celsius)
    low = "neutral"
    if top is Topology.BRIDGE:
        low = "led-"
        elements += _bridge(board, last, celsius)
    elements += _led(board, low, celsius)
    if top in (Topology.CLAMPED, Topology.HALF_WAVE_CLAMPED):
        elements += _diode(board.clamp, low, "led+", celsius)
    if board.joint_capacitor is not None:
        joint = end if board.joint == len(board.chains[0]) else f"chain.{board.joint}"
        elements.append(
            Capacitance(
                ref=board.joint_capacitor.ref,
                a=joint,
                b="neutral",
                capacitance_f=board.joint_capacitor.capacitance_f,
            )
        )
    aliases = {} if low == "led-" else {"led-": low}
    if end == "led+":
        aliases[last] = "led+"
    return elements, aliases


def _bridge(board: Board, far: str, celsius: Value) -> list[Element]:
    """Return leg and the four diodes of a bridge."""
    near = f"return.{len(board.return_chain)}" if board.return_chain else "neutral"
    elements = _string(board.return_chain, "neutral", "return", near) if board.return_chain else []
    legs = (("a", far, "led+"), ("b", near, "led+"), ("c", "led-", far), ("d", "led-", near))
    for suffix, a, b in legs:
        elements += _diode(board.rectifier, a, b, celsius, suffix)
    return elements


def junction_refs(diode: Diode, circuit: Circuit) -> list[str]:
    """Refs of the junctions that a diode of the board became: four in a bridge."""
    known = {f"{diode.ref}{suffix}" for suffix in ("", *"abcd")}
    return [j.ref for j in circuit.of(Junction) if j.ref in known]


def led_refs(board: Board) -> tuple[str, ...]:
    """Refs of the optocoupler's LED, or of both of them."""
    ref = board.optocoupler.ref
    return (f"{ref}.led", f"{ref}.led2") if board.topology is Topology.TWO_LED else (f"{ref}.led",)


def _led(board: Board, low: str, celsius: Value) -> list[Element]:
    """The LED (or two, anti-parallel) and what stands across it."""
    refs = led_refs(board)
    elements = _junction(refs[0], "led+", low, board.optocoupler.led, celsius)
    if len(refs) > 1:
        elements += _junction(refs[1], low, "led+", board.optocoupler.led, celsius)
    if (r := board.led_resistor) is not None:
        elements.append(Resistance(ref=r.ref, a="led+", b=low, resistance_ohm=r.resistance_ohm))
    if (c := board.led_capacitor) is not None:
        elements.append(Capacitance(ref=c.ref, a="led+", b=low, capacitance_f=c.capacitance_f))
    return elements


def _isolated_side(board: Board, conditions: Conditions, celsius: Value) -> list[Element]:
    """Supply, phototransistor and its resistor, pin."""
    opto, out = board.optocoupler, board.output
    ctr = _or(conditions.ctr_ratio, opto.ctr_ratio)
    weight = conditions.shape_weight
    if weight is None:
        weight = family_shape_weight(opto.family, ctr, opto.test_current_a)
    model, slower = output_transistor(opto.family), turn_off_temperature_ratio(celsius)
    follower = out.kind == "emitter-follower"
    collector, emitter = ("logic+", "pin") if follower else ("pin", "logic0")
    elements: list[Element] = [
        DcSource(ref="supply", a="logic+", b="logic0", voltage_v=out.supply_v),
        Resistance(
            ref=out.resistor.ref,
            a="pin" if follower else "logic+",
            b="logic0" if follower else "pin",
            resistance_ohm=out.resistor.resistance_ohm,
        ),
        Phototransistor(
            ref=opto.ref,
            a=collector,
            b=emitter,
            leds=led_refs(board),
            ctr_ratio=np.asarray(ctr / ctr_shape_ratio(opto.test_current_a, weight)),
            remaining_ratio=_or(conditions.remaining_ratio, opto.remaining_ratio),
            shape_weight=weight,
            temperature_degc=celsius,
            dark_a=dark_current_a(celsius),
            knee_v=model.emission_ratio * thermal_voltage_v(celsius),
            knee_ratio=model.knee_ratio,
            early_v=model.early_v,
            storage_s=model.storage_s * slower,
        ),
        Capacitance(
            ref=f"{opto.ref}.miller",
            a=collector,
            b=emitter,
            capacitance_f=model.miller_f * slower,
        ),
    ]
    if (inside := out.internal) is not None:
        ohm = inside.resistance_ohm
        elements.append(Resistance(ref=inside.ref, a="logic+", b="pin", resistance_ohm=ohm))
    if out.pin_capacitor is not None:
        c = out.pin_capacitor
        elements.append(Capacitance(ref=c.ref, a="pin", b="logic0", capacitance_f=c.capacitance_f))
    return elements
