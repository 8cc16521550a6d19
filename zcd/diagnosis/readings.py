"""Readings: what can be measured where, and what the meter would show on any batch of circuits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.elements import (
    INFINITE_OHM,
    Circuit,
    DcSource,
    Junction,
    MainsSource,
    Resistance,
    TestSource,
)
from zcd.diagnosis.meters import (
    DIODE_FULL_SCALE_V,
    DIODE_SOURCE_OHM,
    OHM_RANGES_OHM,
    OPEN_SHARE,
    OVERLOAD,
    Meter,
    ac_volts,
    dc_volts,
    ohm_source_ohm,
)
from zcd.engine.network import islands
from zcd.engine.solution import Solution
from zcd.engine.solve import PULSES, READINGS, solve, solve_dead
from zcd.errors import InputError
from zcd.sync.pulses import Pulses, find_pulses

FloatArray = NDArray[np.float64]

FINEST_SHARE = 1e-6


class Function(StrEnum):
    """What the meter (or scope) is set to."""

    DC = "dc"
    AC = "ac"
    OHM = "ohm"
    DIODE = "diode"
    FREQUENCY = "frequency"
    DUTY = "duty"
    LOW_TIME = "low time"


class Side(StrEnum):
    """How dangerous a reading is to take, safest first."""

    DEAD = "dead"
    ISOLATED = "isolated side"
    MAINS = "mains side, live"


DEAD_FUNCTIONS = (Function.OHM, Function.DIODE)
PIN_FUNCTIONS = (Function.FREQUENCY, Function.DUTY, Function.LOW_TIME)
UNITS = {
    Function.DC: "V",
    Function.AC: "V",
    Function.OHM: "Ω",
    Function.DIODE: "V",
    Function.FREQUENCY: "Hz",
    Function.DUTY: "%",
    Function.LOW_TIME: "s",
}
WORDS = {
    Function.DC: "DC volts",
    Function.AC: "AC volts",
    Function.OHM: "ohms",
    Function.DIODE: "diode test",
    Function.FREQUENCY: "frequency",
    Function.DUTY: "duty (share of time low)",
    Function.LOW_TIME: "low time (scope)",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A function and the pair of nodes it is taken at: red probe on `a`, black on `b`."""

    function: Function
    a: str
    b: str

    @property
    def words(self) -> str:
        """Such as ``DC volts, pin to logic0``."""
        return f"{WORDS[self.function]}, {self.a} to {self.b}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A reading with what the meter showed, SI; `OVERLOAD` is beyond the range."""

    reading: Reading
    value: float


def side_of(circuit: Circuit, reading: Reading) -> Side:
    """How dangerous a reading is."""
    if reading.function in DEAD_FUNCTIONS:
        return Side.DEAD
    island = next(i for i in islands(circuit) if circuit.node(reading.a) in i)
    return Side.MAINS if "line" in island else Side.ISOLATED


def check_reading(circuit: Circuit, reading: Reading) -> None:
    """Refuse a reading at nodes that the board lacks or that share no path."""
    a, b = circuit.node(reading.a), circuit.node(reading.b)
    if a == b:
        raise InputError(
            f"a reading needs two different nodes, got {reading.a!r} and {reading.b!r}, "
            "which are one"
        )
    if not any({a, b} <= island for island in islands(circuit)):
        raise InputError(
            f"a reading needs two nodes on the same side of the optocoupler, "
            f"got {reading.a!r} and {reading.b!r}"
        )
    if reading.function in PIN_FUNCTIONS and {a, b} != {"pin", "logic0"}:
        raise InputError(
            f"{reading.function} is read between 'pin' and 'logic0', "
            f"got {reading.a!r} and {reading.b!r}"
        )


def useful_readings(board: Board, circuit: Circuit) -> tuple[Reading, ...]:
    """Every reading worth offering on a board, safest first."""
    return (*_dead(board, circuit), *_isolated(board), *_live(board, circuit))


def _dead(board: Board, circuit: Circuit) -> list[Reading]:
    """Ohms over each resistor; diode test over each junction, both ways."""
    refs = [r.ref for chain in (*board.chains, board.return_chain) for r in chain]
    refs += [r.ref for r in (board.led_resistor, board.output.resistor) if r]
    found = [_over(circuit, ref, Function.OHM) for ref in refs]
    ends = circuit[board.optocoupler.ref].nodes
    found.append(Reading(function=Function.OHM, a=ends[0], b=ends[1]))
    if board.relay is not None:
        found.append(_over(circuit, "K1.coil", Function.OHM))
    pairs = dict.fromkeys(j.nodes for j in circuit.of(Junction))
    for a, b in pairs:
        found.append(Reading(function=Function.DIODE, a=a, b=b))
        if (b, a) not in pairs:
            found.append(Reading(function=Function.DIODE, a=b, b=a))
    return found


def _over(circuit: Circuit, ref: str, function: Function) -> Reading:
    """A reading over an element."""
    a, b = circuit[ref].nodes
    return Reading(function=function, a=a, b=b)


def _isolated(board: Board) -> list[Reading]:
    """Supply, pin and coil under power."""
    found = [
        Reading(function=Function.DC, a="logic+", b="logic0"),
        Reading(function=Function.DC, a="pin", b="logic0"),
    ]
    found += [Reading(function=f, a="pin", b="logic0") for f in PIN_FUNCTIONS]
    if board.relay is not None:
        found.append(Reading(function=Function.DC, a="coil+", b="coil-"))
    return found


def _live(board: Board, circuit: Circuit) -> list[Reading]:
    """Line, feed, each joint of the chain, LED."""
    found = [Reading(function=Function.AC, a="line", b="neutral")]
    if board.relay is not None:
        found.append(Reading(function=Function.AC, a="feed", b="neutral"))
        found.append(Reading(function=Function.AC, a="line", b="feed"))
    chains = (*board.chains, board.return_chain)
    found += [_over(circuit, r.ref, Function.AC) for chain in chains for r in chain]
    low = circuit.node("led-")
    found.append(Reading(function=Function.DC, a="led+", b=low))
    found.append(Reading(function=Function.AC, a="led+", b=low))
    return found


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
    _pulses: Pulses | None = None

    def take(self, readings: Sequence[Reading]) -> FloatArray:
        """What the meter shows, shape (n, len(readings))."""
        shown = np.empty((self.circuit.size, len(readings)))
        for column, reading in enumerate(readings):
            shown[:, column] = self._one(reading)
        return shown

    def _one(self, reading: Reading) -> FloatArray:
        match reading.function:
            case Function.DC | Function.AC:
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

    def _volts(self, reading: Reading) -> FloatArray:
        """Volts, the meter's own resistance included."""
        dc = reading.function is Function.DC
        ohm = self.meter.dc_input_ohm if dc else self.meter.ac_input_ohm
        a, b = self.circuit.node(reading.a), self.circuit.node(reading.b)
        loaded = self.circuit.add(Resistance(ref="meter", a=a, b=b, resistance_ohm=ohm))
        mains = side_of(self.circuit, reading) is Side.MAINS
        grid = replace(READINGS, isolated=not mains)
        # only the engine can go on from what it knows without the meter
        known = self._base() if self.solve is solve else None
        solution = self.solve(loaded, grid, like=known)
        wave = solution.between_v(a, b)
        if dc:
            return dc_volts(solution, wave)
        return ac_volts(solution, wave, self.meter.ac_kind)

    def _pin(self, function: Function) -> FloatArray:
        """Frequency, duty and low time at the pin; no pulses read 0."""
        rules = self.board.controller
        if self._pulses is None:
            solution = self.solve(self.circuit, PULSES)
            self._pulses = find_pulses(solution, rules.low_threshold_v, rules.high_threshold_v)
        pulses = self._pulses
        there = pulses.count > 0
        if function is Function.FREQUENCY:
            return np.where(there, 1.0 / np.where(there, pulses.period_s, 1.0), 0.0)
        low = np.nan_to_num(pulses.low_time_s[:, 0])
        if function is Function.LOW_TIME:
            return low
        # a pin that stays low all the time is low for the whole of it
        always = (~there) & (pulses.highest_v < rules.high_threshold_v)
        return np.where(there, low / np.where(there, pulses.period_s, 1.0), 1.0 * always)

    def _probe(self, reading: Reading, open_v: float, source_ohm: float) -> FloatArray:
        """Voltage at the probes of a test source on the dead circuit."""
        a, b = self.circuit.node(reading.a), self.circuit.node(reading.b)
        test = TestSource(ref="meter", a=a, b=b, open_v=open_v, resistance_ohm=source_ohm)
        volts = self.solve_dead(unplugged(self.circuit).add(test)).between_v(a, b)[:, 0]
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


def unplugged(circuit: Circuit) -> Circuit:
    """The board dead on the bench: no mains, no supplies, relay off."""
    sources = [e.ref for e in circuit if isinstance(e, MainsSource | DcSource)]
    dead = circuit.without(*sources)
    for ref in ("K1.contact", "K1.driver"):
        if ref in dead:
            dead = dead.change(ref, resistance_ohm=INFINITE_OHM)
    return dead
