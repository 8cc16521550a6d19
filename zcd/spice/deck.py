"""A deck to keep: a netlist that ngspice runs by itself, with what it should print."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from zcd.board.model import Board
from zcd.circuit.build import input_refs
from zcd.circuit.elements import Circuit, Resistance, TestSource, is_hidden
from zcd.diagnosis.functions import Method
from zcd.diagnosis.meter_model import FINEST_SHARE, METER, MeterModel, in_state, probed, with_meter
from zcd.diagnosis.meters import DIODE_SOURCE_OHM, Meter, ohm_full_scale_v, ohm_source_ohm
from zcd.diagnosis.readings import Reading
from zcd.engine.solve import WINDOW_CYCLES
from zcd.errors import InputError
from zcd.spice.names import plain
from zcd.spice.netlist import TITLE, Netlist, number, spelt
from zcd.spice.solve import FIRST_CYCLES, Spice, mains_period_s

DIRECT = "CAUTION: no optocoupler, NOT ISOLATED: every point of this board is LIVE at mains"
WORDS = {
    "equations": "LED and phototransistor by zcd's own equations",
    "device": "LED by zcd's equations, phototransistor as a published transistor model",
}


def deck_text(board: Board, circuit: Circuit, spice: Spice, fault: str, settled: bool) -> str:
    """A deck for ``ngspice -b``: waveforms of some periods, what matters measured in the last.

    With a meter's own source in it, on ohms or diode test: the operating point.

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
    if circuit.of(TestSource):
        asked = _dead(circuit, netlist)
    else:
        asked = _powered(board, circuit, netlist, spice, cycles)
    name = "".join(c if c.isascii() and c.isprintable() else "?" for c in board.name)
    lines = [
        TITLE,
        f"* board: {name}; fault: {fault}",
        f"* {WORDS[spice.level] if board.is_isolated else DIRECT}",
        "* run it with: ngspice -b FILE",
        *netlist.lines,
        spice.options(netlist),
        *asked,
        ".end",
    ]
    return "\n".join(lines) + "\n"


def metered(board: Board, circuit: Circuit, meter: Meter, readings: Sequence[Reading]) -> Circuit:
    """A circuit with a meter at two of its points, as the reading asked for puts it there.

    Ohms and the diode test find the board dead; ohms are on the range that the meter would be on.

    Raises
    ------
    InputError
        If there is more than one reading.
    """
    if len(readings) > 1:
        raise InputError(f"a netlist takes one reading, got {len(readings)}")
    for reading in readings:
        state = in_state(circuit, board, reading.power)
        method = reading.function.row.method
        if method is Method.VOLTS:
            return with_meter(state, meter, reading)
        if method is Method.JUNCTION:
            return probed(circuit, reading, meter.diode_open_v, DIODE_SOURCE_OHM)
        if method is Method.OHMS:
            shown_ohm = MeterModel(board, circuit, meter).read([reading])[0, 0]
            ranges = (ohm for ohm in meter.ohm_ranges_ohm if shown_ohm <= ohm)
            full_scale_ohm = next(ranges, meter.ohm_range_ohm)
            source_ohm = ohm_source_ohm(meter, full_scale_ohm, ohm_full_scale_v(meter))
            return probed(circuit, reading, meter.ohms_open_v, source_ohm)
    return circuit


def _powered(
    board: Board, circuit: Circuit, netlist: Netlist, spice: Spice, cycles: int
) -> Iterator[str]:
    """Some periods under power, and what ngspice prints of the last."""
    period_s = mains_period_s(circuit)
    stop_s, step_s = cycles * period_s, period_s / spice.effort.steps
    yield f".tran {step_s!r} {stop_s!r} 0 {step_s!r} uic ; {cycles} periods from nothing charged"
    yield from _measures(board, circuit, netlist, stop_s - period_s, stop_s)


def _dead(circuit: Circuit, netlist: Netlist) -> Iterator[str]:
    """The operating point of a board without mains, and what its meter makes of it."""
    for part in circuit.of(TestSource):
        a, b = (netlist.nodes[n] for n in part.nodes)
        open_v, source_ohm = number(part.open_v), number(part.resistance_ohm)
        yield f"B.meter_v meter_v 0 V=v({a})-v({b}) ; between the probes"
        yield "* what it makes of that on ohms, 1 V for 1 ohm; beyond its highest range it shows OL"
        rest = f"max({open_v!r}-v(meter_v),{FINEST_SHARE!r})"
        yield f"B.meter_ohm meter_ohm 0 V=v(meter_v)*{source_ohm!r}/{rest}"
    yield ".op"


def _measures(
    board: Board, circuit: Circuit, netlist: Netlist, start_s: float, stop_s: float
) -> Iterator[str]:
    """What ngspice prints when it has run."""
    window = f"from={start_s!r} to={stop_s!r}"
    yield f"* the last period, which begins at {spelt(start_s, 's')}"
    for ref in input_refs(board):
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
    pin, ground = netlist.nodes["pin"], netlist.nodes[circuit.node("logic0")]
    pin_v = f"v({pin},{ground})" if board.optocoupler is None else f"v({pin})"
    yield f".meas tran pin_mean_v avg {pin_v} {window}"
    yield "* an edge that does not come fails"
    for word, level in (("fall", rules.low_threshold_v), ("rise", rules.high_threshold_v)):
        yield f".meas tran pin_{word}s_s when {pin_v}={level!r} td={start_s!r} {word}=1"
