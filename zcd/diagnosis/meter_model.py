"""The bench: what a meter (or scope) shows on any batch of circuits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.board.pins import INTERNAL_PULL_UP
from zcd.circuit.elements import (
    INFINITE_OHM,
    PIN_CLAMPS,
    Circuit,
    DcSource,
    Junction,
    MainsHarmonic,
    MainsSource,
    Resistance,
    TestSource,
    Transistor,
    Value,
)
from zcd.diagnosis.circuit_edits import NO_MAINS_V
from zcd.diagnosis.functions import Function, Method
from zcd.diagnosis.meters import (
    DIODE_SOURCE_OHM,
    NO_EDGE,
    OVERLOAD,
    TRIGGER_PIN_V,
    TRIGGER_V,
    Meter,
    ac_volts,
    dc_volts,
    diode_full_scale_v,
    ohm_full_scale_v,
    ohm_source_ohm,
)
from zcd.diagnosis.readings import (
    AccessLevel,
    Power,
    Reading,
    access_level,
    part_elements,
    past_chip,
)
from zcd.engine.network import column
from zcd.engine.solution import Solution
from zcd.engine.solve import PULSES, READINGS, SolverOptions, solve, solve_dead
from zcd.physics.diode import thermal_voltage_v
from zcd.sync.lock import Lock, judge, thresholds_of
from zcd.sync.pulses import Pulses, find_pulses

FloatArray = NDArray[np.float64]

METER = "meter"
"""Ref of the meter in a circuit."""
FINEST_SHARE = 1e-6
NEAR_SWING = 1.4
"""Pulses that swing so much more or less than what a meter needs are counted now and then: common
practice, no source."""
COUNTED_AT_V, COUNTED_WITHIN = 1.4, 0.1
"""Level at which a meter counts that is not coupled through a capacitor, as a logic input does, and
how near to the ends of a pulse it may lie, as a share of it: common practice, no source."""
NEAR_SHARE = 0.1
"""Share of the supply within which a level is read now on this side, now on that: common practice,
no source."""
ROOM_DEGC = 25.0


@dataclass(frozen=True, slots=True)
class Grids:
    """How finely a meter's waveforms, and the pulses on a scope, are solved."""

    meter: SolverOptions
    scope: SolverOptions


MANY_BOARDS = Grids(READINGS, PULSES)
"""For the hundreds of rows of a fault dictionary."""
ONE_BOARD = Grids(replace(PULSES, points=4 * PULSES.points), PULSES)
"""To compare one board with another solver: a millivolt where a mean is 0, a few microseconds."""


@dataclass(slots=True)
class MeterModel:
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
    full_scale_v : ndarray, shape (n,), optional
        What the ohms ranges leave at the probes at full scale, where that is not known of the
        meter.
    diode_full_scale_v : ndarray, shape (n,), optional
        Where the diode test ends, where that is not known of the meter.
    diode_drive_v : ndarray, shape (n,), optional
        What the diode test drives like, where that is more than its open-circuit voltage: beyond
        its end it shows overload in any case.
    diode_source_ohm : float or ndarray, shape (n,)
        Behind that.
    pin_clamp_a : ndarray, shape (n,), optional
        Saturation current of the diodes that protect the controller's input. They conduct on a
        dead board alone: under power the pin stays between the rails.
    threshold_ratio : float or ndarray, shape (n,)
        Levels between which a person reads a pulse off the trace, over the board's thresholds.
    trigger_ratio : float or ndarray, shape (n,)
        What a meter needs to count pulses at the pin, over the usual.
    count_share : float or ndarray, shape (n,)
        How far the level at which it counts them lies from their mean (0: coupled through a
        capacitor) to that of a logic input (1).
    grids : Grids
        Of the engine's solutions.
    """

    board: Board
    circuit: Circuit
    meter: Meter
    solve: Callable[..., Solution] = solve
    solve_dead: Callable[[Circuit], Solution] = solve_dead
    full_scale_v: FloatArray | None = None
    diode_full_scale_v: FloatArray | None = None
    diode_drive_v: FloatArray | None = None
    diode_source_ohm: Value = DIODE_SOURCE_OHM
    pin_clamp_a: FloatArray | None = None
    threshold_ratio: Value = 1.0
    grids: Grids = MANY_BOARDS
    trigger_ratio: Value = 1.0
    count_share: Value = 0.0
    _circuits: dict[Power, Circuit] = field(default_factory=dict)
    _mains_sides: dict[Power, Solution] = field(default_factory=dict)
    _whole: dict[Power, Solution] = field(default_factory=dict)
    _pin_waves: dict[Power, Solution] = field(default_factory=dict)
    _pulsed: dict[Power, Pulses] = field(default_factory=dict)
    _swings: dict[tuple[str, ...], FloatArray] = field(default_factory=dict)

    def read(self, readings: Sequence[Reading]) -> FloatArray:
        """What the meter shows, shape (n, len(readings))."""
        shown = np.empty((self.circuit.size, len(readings)))
        for number, reading in enumerate(readings):
            shown[:, number] = self._one(reading)
        return shown

    def _one(self, reading: Reading) -> FloatArray:
        match reading.function.row.method:
            case Method.VOLTS:
                return self._volts(reading)
            case Method.OHMS:
                return self._ohms(reading)
            case Method.JUNCTION:
                return self._diode(reading)
            case Method.SCOPE:
                return self._pin(reading)
            case _:
                return self._counted(reading)

    def _state(self, power: Power) -> Circuit:
        """The batch in a state of the board."""
        if power not in self._circuits:
            self._circuits[power] = in_state(self.circuit, self.board, power)
        return self._circuits[power]

    def _mains_side(self, power: Power) -> Solution:
        """The mains side of the batch in a state of the board, without a meter."""
        if power not in self._mains_sides:
            self._mains_sides[power] = self.solve(self._state(power), self._of_mains_side)
        return self._mains_sides[power]

    @property
    def _of_mains_side(self) -> SolverOptions:
        return replace(self.grids.meter, isolated=False)

    def lock(self, power: Power = Power.LIVE) -> Lock:
        """What the controller makes of the pulses at the pin."""
        return judge(self._pin_wave(power), self.board)

    def _pin_wave(self, power: Power) -> Solution:
        """The pin without a meter."""
        if power not in self._pin_waves:
            self._pin_waves[power] = self.solve(self._state(power), self.grids.scope)
        return self._pin_waves[power]

    def _pulses(self, power: Power) -> Pulses:
        """Pulses as they are read off a trace."""
        if power not in self._pulsed:
            thresholds = thresholds_of(self.board)
            low, high = (
                np.broadcast_to(self.threshold_ratio * v, (self.circuit.size,))
                for v in (thresholds.low_v, thresholds.high_v)
            )
            self._pulsed[power] = find_pulses(self._pin_wave(power), low, high)
        return self._pulsed[power]

    def _volts(self, reading: Reading) -> FloatArray:
        """Volts, the meter's own resistance included."""
        solution, wave = self._wave(reading)
        kind = reading.function.row.ac_kind
        if kind is None:
            return dc_volts(solution, wave)
        return ac_volts(solution, wave, kind(self.meter))

    def _wave(self, reading: Reading) -> tuple[Solution, FloatArray]:
        """Voltage between the probes, the meter's own resistance included."""
        a, b = self.circuit.node(reading.red), self.circuit.node(reading.black)
        state = self._state(reading.power)
        loaded = with_meter(state, self.meter, reading)
        if reading.power is Power.BENCH:
            still = self.solve_dead(_without_mains(loaded))
            return still, still.between_v(a, b)
        without = self._mains_side(reading.power)
        if (source := _source(state, a, b)) is not None:
            # no meter loads an ideal source
            return without, _of_source(without, source, a)
        # only the engine can go on from what it knows already
        ours = self.solve is solve
        if access_level(self.circuit, reading) is AccessLevel.MAINS:
            known = without if ours else None
            solution = self.solve(loaded, self._of_mains_side, warm_start=known)
        else:
            known = self._whole.get(reading.power, without) if ours else None
            solution = self.solve(loaded, self.grids.meter, warm_start=known)
            self._whole[reading.power] = solution
        return solution, solution.between_v(a, b)

    def _counted(self, reading: Reading) -> FloatArray:
        """Frequency or duty that a meter on volts counts; 0 where there is too little to count."""
        solution, wave = self._wave(reading)
        moving = wave - solution.mean(wave)[:, None]
        swing_v = self._swings[_place(reading)] = solution.rms(moving)
        seen = swing_v >= self._trigger_v(reading)
        if reading.at_pin:
            moving = wave - self._count_level_v(wave, solution.mean(wave))[:, None]
        if reading.function is Function.DUTY:
            high = solution.share_above_zero(moving)
            return np.where(seen, 1.0 - high if reading.at_pin else high, 0.0)
        rises = (moving > 0.0) & (np.roll(moving, 1, axis=1) <= 0.0)
        (mains,) = solution.circuit.of(MainsSource)
        return np.where(seen, rises.sum(axis=1) * mains.frequency_hz, 0.0)

    def _count_level_v(self, wave: FloatArray, mean_v: FloatArray) -> FloatArray:
        """Where pulses at the pin are counted: within them, as a meter is set until it counts."""
        level_v = mean_v + self.count_share * (COUNTED_AT_V - mean_v)
        low, high = wave.min(axis=1), wave.max(axis=1)
        margin_v = COUNTED_WITHIN * (high - low)
        return np.asarray(np.clip(level_v, low + margin_v, high - margin_v))

    def _trigger_v(self, reading: Reading) -> Value:
        """What moves at least where a meter counts; it knows nothing of the controller's levels."""
        return TRIGGER_PIN_V * self.trigger_ratio if reading.at_pin else TRIGGER_V

    def near_limit(self, reading: Reading) -> NDArray[np.bool_]:
        """Where the instrument may now see the pulses at the pin and now miss them, shape (n,)."""
        if reading.function.row.method is Method.COUNTED:
            if _place(reading) not in self._swings:
                self._counted(reading)
            swing = self._swings[_place(reading)] / self._trigger_v(reading)
            return np.asarray((swing > 1.0 / NEAR_SWING) & (swing < NEAR_SWING))
        thresholds = thresholds_of(self.board)
        wave = self._pin_wave(reading.power).between_v("pin", "logic0")
        margin_v = NEAR_SHARE * self.board.output.supply_v
        low = np.abs(wave.min(axis=1) - thresholds.low_v) < margin_v
        return np.asarray(low | (np.abs(wave.max(axis=1) - thresholds.high_v) < margin_v))

    def _pin(self, reading: Reading) -> FloatArray:
        """Low time and edge delay at the pin; without pulses 0, or no edge."""
        pulses = self._pulses(reading.power)
        if reading.function is Function.LOW_TIME:
            return np.nan_to_num(pulses.low_time_s[:, 0])
        falls = self.board.controller.edge == "falling"
        offset = pulses.fall_offset_s if falls else pulses.rise_offset_s
        return np.where(pulses.count > 0, offset[:, 0], NO_EDGE)

    def _tested(self, reading: Reading, open_v: Value, source_ohm: Value) -> Circuit:
        """The dead circuit, or a part alone, with a test source at the probes."""
        tested = probed(self.circuit, reading, open_v, source_ohm)
        if self.pin_clamp_a is not None and past_chip(self.circuit, reading):
            tested = _with_pin_clamps(tested, self.pin_clamp_a)
        return tested

    def _probe(self, tested: Circuit, reading: Reading) -> FloatArray:
        """Voltage at the probes of a test source."""
        return self.solve_dead(tested).between_v(reading.red, reading.black)[:, 0]

    def _ohms(self, reading: Reading) -> FloatArray:
        """Ohms on the lowest range that holds the reading."""
        shown = np.full(self.circuit.size, OVERLOAD)
        known = self.full_scale_v is None
        full_scale_v = np.asarray(ohm_full_scale_v(self.meter) if known else self.full_scale_v)
        open_v, left = self.meter.ohms_open_v, np.arange(shown.size)
        tested = self._tested(reading, open_v, 0.0)
        for full_scale in self.meter.ohm_ranges_ohm:
            source = ohm_source_ohm(
                self.meter, full_scale, np.broadcast_to(full_scale_v, shown.shape)[left]
            )
            volts = self._probe(tested.change(METER, resistance_ohm=source), reading)
            ohms = volts * source / np.maximum(open_v - volts, FINEST_SHARE)
            over = ohms > full_scale
            shown[left[~over]] = ohms[~over]
            if not np.any(over):
                break
            if not np.all(over):
                tested, left = tested.rows(np.flatnonzero(over)), left[over]
        return shown

    def _diode(self, reading: Reading) -> FloatArray:
        """Diode test."""
        drive_v = self.meter.diode_open_v if self.diode_drive_v is None else self.diode_drive_v
        tested = self._tested(reading, drive_v, self.diode_source_ohm)
        volts = np.broadcast_to(self._probe(tested, reading), (self.circuit.size,))
        known = self.diode_full_scale_v is None
        ends = np.asarray(diode_full_scale_v(self.meter) if known else self.diode_full_scale_v)
        return np.where(volts > ends, OVERLOAD, volts)


def _place(reading: Reading) -> tuple[str, ...]:
    """Points and state of the board: what a counting meter sees there hangs on nothing else."""
    return reading.red, reading.black, reading.power


def with_meter(circuit: Circuit, meter: Meter, reading: Reading) -> Circuit:
    """The circuit under power with the meter on volts across two of its points."""
    ohm = reading.function.row.input_ohm(meter)
    a, b = circuit.node(reading.red), circuit.node(reading.black)
    return circuit.add(Resistance(ref=METER, a=a, b=b, resistance_ohm=ohm))


def probed(circuit: Circuit, reading: Reading, open_v: Value, source_ohm: Value) -> Circuit:
    """The board dead, or a part of it alone, with the meter's own source at the probes."""
    dead = unplugged(circuit)
    if reading.lifted:
        dead = part_elements(dead, reading.lifted.removesuffix(".be"))
    a, b = dead.node(reading.red), dead.node(reading.black)
    source = TestSource(ref=METER, a=a, b=b, open_v=open_v, resistance_ohm=source_ohm)
    return _with_collector_junction(dead, {a, b}).add(source)


def _with_collector_junction(circuit: Circuit, probes: set[str]) -> Circuit:
    """With the base-collector junction of a transistor, where a dead board is tested across it.

    The law of the transistor has it elsewhere: it is what makes it saturate.
    """
    for part in circuit.of(Transistor):
        base = next((each for each in circuit if each.ref == part.leds[0]), None)
        if isinstance(base, Junction) and probes == {part.a, base.a}:
            back = np.expm1(np.asarray(part.offset_v) / part.knee_v)  # 1 / BR
            collector = replace(
                base, ref=f"{part.ref}.bc", b=part.a,
                saturation_a=np.asarray(base.saturation_a) * part.ctr_ratio * back,
                breakdown_v=Junction.absent["breakdown_v"],
            )  # fmt: skip
            circuit = circuit.change(part.ref, remaining_ratio=0.0).add(collector)
    return circuit


def _with_pin_clamps(circuit: Circuit, saturation_a: FloatArray) -> Circuit:
    """The circuit with diodes from the controller's input to its supply and from ground to it."""
    law: dict[str, Value] = {
        "saturation_a": saturation_a, "emission_v": thermal_voltage_v(ROOM_DEGC),
        "series_ohm": 0.0, "breakdown_v": Junction.absent["breakdown_v"],
    }  # fmt: skip
    high, low = PIN_CLAMPS
    return circuit.add(
        Junction(ref=high, a="pin", b="logic+", **law),
        Junction(ref=low, a="logic0", b="pin", **law),
    )


def _source(circuit: Circuit, a: str, b: str) -> MainsSource | DcSource | None:
    """The ideal source between two nodes; None where there is none."""
    sources = (*circuit.of(MainsSource), *circuit.of(DcSource))
    return next((s for s in sources if set(s.nodes) == {a, b}), None)


def _of_source(solution: Solution, source: MainsSource | DcSource, a: str) -> FloatArray:
    """Voltage of node `a` against the other end of an ideal source, shape (n, m)."""
    if isinstance(source, MainsSource):
        return solution.between_v(a, source.b if a == source.a else source.a)
    volts = column(source.voltage_v, solution.circuit.size)
    sign = 1.0 if a == source.a else -1.0
    return np.broadcast_to(sign * volts, solution.phase_rad.shape)


def in_state(circuit: Circuit, board: Board, power: Power) -> Circuit:
    """The circuit under power as it is while a reading is taken: relay off, or on a bench supply.

    A bench supply feeds the controller's supply alone, whatever is wrong with the board's own.
    """
    if power is Power.LIVE:
        return circuit
    circuit = _relay_off(circuit)
    if power is Power.BENCH:
        circuit = circuit.change("mains", rms_v=NO_MAINS_V)
        for source in circuit.of(DcSource):
            volts = board.output.supply_v if source.ref == "supply" else 0.0
            circuit = circuit.change(source.ref, voltage_v=volts)
    return circuit


def _without_mains(circuit: Circuit) -> Circuit:
    mains = [e.ref for e in circuit if isinstance(e, MainsSource | MainsHarmonic)]
    return circuit.without(*mains)


def _relay_off(circuit: Circuit) -> Circuit:
    for ref in ("K1.contact", "K1.driver"):
        if ref in circuit:
            circuit = circuit.change(ref, resistance_ohm=INFINITE_OHM)
    return circuit


def unplugged(circuit: Circuit) -> Circuit:
    """The board dead on the bench: no mains, no supplies, relay off."""
    supplies = [e.ref for e in circuit.of(DcSource)]
    if INTERNAL_PULL_UP in circuit:  # a transistor of the controller, off without its supply
        circuit = circuit.change(INTERNAL_PULL_UP, resistance_ohm=INFINITE_OHM)
    return _relay_off(_without_mains(circuit).without(*supplies))
