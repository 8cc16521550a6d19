"""The bench: what a meter (or scope) shows on any batch of circuits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.elements import (
    INFINITE_OHM,
    Circuit,
    DcSource,
    MainsSource,
    Resistance,
    TestSource,
)
from zcd.diagnosis.meters import (
    DIODE_FULL_SCALE_V,
    DIODE_SOURCE_OHM,
    NO_EDGE,
    OHM_RANGES_OHM,
    OPEN_SHARE,
    OVERLOAD,
    AcKind,
    Meter,
    ac_volts,
    dc_volts,
    ohm_source_ohm,
)
from zcd.diagnosis.readings import Function, Reading, Side, part_elements, side_of
from zcd.engine.solution import Solution
from zcd.engine.solve import PULSES, READINGS, solve, solve_dead
from zcd.sync.lock import Lock, judge

FloatArray = NDArray[np.float64]

METER = "meter"
"""Ref of the meter in a circuit."""
FINEST_SHARE = 1e-6


@dataclass(slots=True)
class Bench:
    """A batch of circuits on the bench, with what was already found out about it.

    Parameters
    ----------
    board : Board
        For the pin's thresholds.
    circuit : Circuit
        n rows, under power.
    meter : Meter
    solve, solve_dead : callable
        As those of `zcd.engine.solve`, which they are unless another solver is asked.
    """

    board: Board
    circuit: Circuit
    meter: Meter
    solve: Callable[..., Solution] = solve
    solve_dead: Callable[[Circuit], Solution] = solve_dead
    _powered: Solution | None = None
    _pulsed: Lock | None = None

    def take(self, readings: Sequence[Reading]) -> FloatArray:
        """What the meter shows, shape (n, len(readings))."""
        shown = np.empty((self.circuit.size, len(readings)))
        for column, reading in enumerate(readings):
            shown[:, column] = self._one(reading)
        return shown

    def _one(self, reading: Reading) -> FloatArray:
        match reading.function:
            case Function.DC | Function.AC | Function.LOW_Z:
                return self._volts(reading)
            case Function.OHM:
                return self._ohms(reading)
            case Function.DIODE:
                return self._diode(reading)
            case _:
                return self._pin(reading.function)

    def _base(self) -> Solution:
        """The batch under power, without a meter."""
        if self._powered is None:
            self._powered = self.solve(self.circuit, READINGS)
        return self._powered

    def lock(self) -> Lock:
        """What the controller makes of the pulses at the pin."""
        if self._pulsed is None:
            self._pulsed = judge(self.solve(self.circuit, PULSES), self.board)
        return self._pulsed

    def _volts(self, reading: Reading) -> FloatArray:
        """Volts, the meter's own resistance included."""
        kind = {
            Function.DC: None,
            Function.AC: self.meter.ac_kind,
            Function.LOW_Z: AcKind.TRUE_RMS_DC,
        }[reading.function]
        a, b = self.circuit.node(reading.a), self.circuit.node(reading.b)
        loaded = under_meter(self.circuit, self.meter, reading)
        mains = side_of(self.circuit, reading) is Side.MAINS
        grid = replace(READINGS, isolated=not mains)
        # only the engine can go on from what it knows without the meter
        known = self._base() if self.solve is solve else None
        solution = self.solve(loaded, grid, like=known)
        wave = solution.between_v(a, b)
        return dc_volts(solution, wave) if kind is None else ac_volts(solution, wave, kind)

    def _pin(self, function: Function) -> FloatArray:
        """Frequency, duty, low time and edge delay at the pin; without pulses 0, or no edge."""
        rules = self.board.controller
        pulses = self.lock().pulses
        there = pulses.count > 0
        if function is Function.FREQUENCY:
            return np.where(there, 1.0 / np.where(there, pulses.period_s, 1.0), 0.0)
        if function is Function.EDGE_DELAY:
            falls = rules.edge == "falling"
            offset = pulses.fall_offset_s if falls else pulses.rise_offset_s
            return np.where(there, offset[:, 0], NO_EDGE)
        low = np.nan_to_num(pulses.low_time_s[:, 0])
        if function is Function.LOW_TIME:
            return low
        # a pin that stays low all the time is low for the whole of it
        always = (~there) & (pulses.highest_v < rules.high_threshold_v)
        return np.where(there, low / np.where(there, pulses.period_s, 1.0), 1.0 * always)

    def _probe(self, reading: Reading, open_v: float, source_ohm: float) -> FloatArray:
        """Voltage at the probes of a test source on the dead circuit, or on a part alone."""
        a, b = self.circuit.node(reading.a), self.circuit.node(reading.b)
        tested = probed(self.circuit, reading, open_v, source_ohm)
        volts = self.solve_dead(tested).between_v(a, b)[:, 0]
        return np.broadcast_to(volts, (self.circuit.size,))

    def _ohms(self, reading: Reading) -> FloatArray:
        """Ohms on the lowest range that holds the reading."""
        shown = np.full(self.circuit.size, OVERLOAD)
        for full_scale in OHM_RANGES_OHM:
            source = ohm_source_ohm(self.meter, full_scale)
            volts = self._probe(reading, self.meter.ohms_open_v, source)
            rest = np.maximum(self.meter.ohms_open_v - volts, FINEST_SHARE)
            ohms = volts * source / rest
            shown = np.where(np.isinf(shown) & (ohms <= full_scale), ohms, shown)
            if np.all(np.isfinite(shown)):
                break
        return shown

    def _diode(self, reading: Reading) -> FloatArray:
        """Diode test."""
        volts = self._probe(reading, self.meter.diode_open_v, DIODE_SOURCE_OHM)
        full_scale = min(DIODE_FULL_SCALE_V, OPEN_SHARE * self.meter.diode_open_v)
        return np.where(volts > full_scale, OVERLOAD, volts)


def under_meter(circuit: Circuit, meter: Meter, reading: Reading) -> Circuit:
    """The circuit under power with the meter on volts across two of its points."""
    ohm = {
        Function.DC: meter.dc_input_ohm,
        Function.AC: meter.ac_input_ohm,
        Function.LOW_Z: meter.low_impedance_ohm,
    }[reading.function]
    a, b = circuit.node(reading.a), circuit.node(reading.b)
    return circuit.add(Resistance(ref=METER, a=a, b=b, resistance_ohm=ohm))


def probed(circuit: Circuit, reading: Reading, open_v: float, source_ohm: float) -> Circuit:
    """The board dead, or a part of it alone, with the meter's own source at the probes."""
    dead = unplugged(circuit)
    if reading.lifted:
        dead = part_elements(dead, reading.lifted)
    a, b = dead.node(reading.a), dead.node(reading.b)
    source = TestSource(ref=METER, a=a, b=b, open_v=open_v, resistance_ohm=source_ohm)
    return dead.add(source)


def unplugged(circuit: Circuit) -> Circuit:
    """The board dead on the bench: no mains, no supplies, relay off."""
    sources = [e.ref for e in circuit if isinstance(e, MainsSource | DcSource)]
    dead = circuit.without(*sources)
    for ref in ("K1.contact", "K1.driver"):
        if ref in dead:
            dead = dead.change(ref, resistance_ohm=INFINITE_OHM)
    return dead
