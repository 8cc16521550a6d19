"""A deck to keep: a netlist that ngspice runs by itself, with what it should print."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from zcd.board.model import Board
from zcd.circuit.build import led_refs
from zcd.circuit.elements import Circuit, Resistance, is_hidden
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.readings import Function, Reading
from zcd.engine.solve import WINDOW_CYCLES
from zcd.errors import InputError
from zcd.spice.names import plain
from zcd.spice.netlist import TITLE, Netlist, spelt
from zcd.spice.solve import FIRST_CYCLES, Spice, mains_period_s

METER = "meter"
WORDS = {
    "equations": "LED and phototransistor by zcd's own equations",
    "device": "LED by zcd's equations, phototransistor as a published transistor model",
}


def deck_text(board: Board, circuit: Circuit, spice: Spice, fault: str, settled: bool) -> str:
    """A deck for ``ngspice -b``: waveforms of some periods, what matters measured in the last.

    Parameters
    ----------
    board : Board
        Gives name and thresholds.
    circuit : Circuit
        One row, its fault put in.
    spice : Spice
        The level.
    fault : str
        Key of the fault, for the heading.
    settled : bool
        False: run as many periods as the engine shows of a circuit that settles slowly.

    Returns
    -------
    deck : str
        ASCII.
    """
    cycles = FIRST_CYCLES if settled else WINDOW_CYCLES
    netlist = spice.netlist(circuit, cycles=cycles)
    period_s = mains_period_s(circuit)
    stop_s, step_s = cycles * period_s, period_s / spice.effort.steps
    name = "".join(c if c.isascii() and c.isprintable() else "?" for c in board.name)
    lines = [
        TITLE,
        f"* board: {name}; fault: {fault}",
        f"* {WORDS[spice.level]}",
        "* run it with: ngspice -b FILE",
        *netlist.lines,
        spice.options(netlist),
        f".tran {step_s!r} {stop_s!r} 0 {step_s!r} uic ; {cycles} periods from nothing charged",
        *_measures(board, circuit, netlist, stop_s - period_s, stop_s),
        ".end",
    ]
    return "\n".join(lines) + "\n"


def metered(circuit: Circuit, meter: Meter, readings: Sequence[Reading]) -> Circuit:
    """A circuit with a meter on volts across two of its points.

    Raises
    ------
    InputError
        If there is more than one reading, or one that is not in volts under power.
    """
    if not readings:
        return circuit
    inputs = {Function.DC: meter.dc_input_ohm, Function.AC: meter.ac_input_ohm}
    if len(readings) > 1 or readings[0].function not in inputs:
        words = ", ".join(str(reading.function) for reading in readings)
        raise InputError(f"a netlist takes one reading in dc or ac volts, got {words}")
    (reading,) = readings
    a, b = circuit.node(reading.a), circuit.node(reading.b)
    ohm = inputs[reading.function]
    return circuit.add(Resistance(ref=METER, a=a, b=b, resistance_ohm=ohm))


def _measures(
    board: Board, circuit: Circuit, netlist: Netlist, start_s: float, stop_s: float
) -> Iterator[str]:
    """What ngspice prints when it has run."""
    window = f"from={start_s!r} to={stop_s!r}"
    yield f"* the last period, which begins at {spelt(start_s, 's')}"
    for ref in led_refs(board):
        current = f"i({netlist.sensed[ref].removesuffix('#branch')})"
        name = plain(ref).replace(".", "_")
        yield f".meas tran {name}_peak_a max {current} {window}"
        yield f".meas tran {name}_mean_a avg par('max({current},0)') {window}"
    for part in circuit.of(Resistance):
        ohm = float(np.max(part.resistance_ohm))
        if is_hidden(part) or not np.isfinite(ohm):
            continue
        a, b = (netlist.nodes[n] for n in part.nodes)
        if part.ref == METER:
            yield f".meas tran meter_dc_v avg par('v({a})-v({b})') {window}"
            yield f".meas tran meter_rms_v rms par('v({a})-v({b})') {window}"
            continue
        name = plain(part.ref).replace(".", "_")
        square = f"(v({a})-v({b}))*(v({a})-v({b}))/{ohm!r}"
        yield f".meas tran {name}_power_w avg par('{square}') {window}"
    rules = board.controller
    pin = netlist.nodes["pin"]
    yield f".meas tran pin_mean_v avg v({pin}) {window}"
    yield "* an edge that does not come fails"
    for word, level in (("fall", rules.low_threshold_v), ("rise", rules.high_threshold_v)):
        yield f".meas tran pin_{word}s_s when v({pin})={level!r} td={start_s!r} {word}=1"
