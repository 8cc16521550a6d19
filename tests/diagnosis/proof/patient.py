"""A faulty board on the bench: ngspice with a transistor as output stage, and a meter that errs."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.random import Generator, default_rng

from tests.diagnosis.proof.designs import Design, between
from tests.diagnosis.proof.kept import Kept
from tests.diagnosis.proof.wrong import FAN_FLAG_FOLLOWS, FLAGS_LOOKED_AT, SILENT, Wrong, draw
from tests.diagnosis.truth import noisy
from zcd.board.model import Board
from zcd.board.parts_library import all_resistors
from zcd.circuit.build import Conditions, build_circuit, led_refs
from zcd.circuit.elements import (
    Capacitance,
    Circuit,
    Junction,
    MainsHarmonic,
    Resistance,
    is_hidden,
)
from zcd.diagnosis.flag_evidence import FAN, NO_FLAG, SYNC
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.readings import Measured, Reading
from zcd.physics.optocoupler import shape_weight_ratio
from zcd.spice.devices import Device, devices
from zcd.spice.netlist import Level
from zcd.spice.solve import Spice

MOST_TRIES = 100
LOCK = "margin of the lock"
SEEN_RATIO = 0.05
SEEN_FROM = {
    Function.DC: 0.03, Function.AC: 1.0, Function.LOW_Z: 1.0, Function.DIODE: 0.02,
    Function.OHM: 1.0, Function.LOW_TIME: 100e-6, Function.EDGE_DELAY: 100e-6,
}  # fmt: skip
"""From how far apart the two looks of a loose joint are seen to jump: a share, and in units."""


@dataclass(slots=True)
class Patient:
    """One board with one thing wrong.

    Parameters
    ----------
    design : Design
    wrong : Wrong
    healthy : Circuit
        As it was put together, before that.
    looks : tuple of MeterModel
        What there is to measure; of a loose joint both the sound board and the open one.
    flags : tuple of str
        That somebody looked at; empty: nobody did.
    passes : bool
        Every reading of the assembled board is one of a good board.
    restless : float
        How often a loose joint moves during a reading.
    """

    design: Design
    wrong: Wrong
    healthy: Circuit
    looks: tuple[MeterModel, ...]
    seed: tuple[int, ...]
    restless: float
    kept: Kept
    flags: tuple[str, ...] = ()
    shown: dict[Reading, Measured] = field(default_factory=dict)
    passes: bool = False

    def lock_margin(self) -> float:
        """How far the controller is from losing the pulses."""
        return float(self.looks[0].lock().margin[0])

    def exact(self, reading: Reading) -> list[float]:
        """What a perfect meter of this load shows, at each look."""
        return [
            self.kept.of(
                meter_model, reading.words, lambda b=meter_model: float(b.read([reading])[0, 0])
            )
            for meter_model in self.looks
        ]

    def take(self, reading: Reading, *, again: bool = False) -> Measured:
        """What the meter shows, the same if it is asked twice; of a loose joint, as it is then."""
        if reading not in self.shown or (again and self.wrong.loose):
            digest = hashlib.sha256(reading.words.encode()).digest()
            rng = default_rng([*self.seed, *digest[:4], *((1,) if again else ())])
            self.shown[reading] = self._read(reading, rng)
        return self.shown[reading]

    def _read(self, reading: Reading, rng: Generator) -> Measured:
        values = [np.array([value]) for value in self.exact(reading)]
        meter = self.design.meter
        shown = [float(noisy(meter, reading, value, rng)[0]) for value in values]
        look = int(rng.integers(len(shown)))
        if len(shown) > 1 and rng.random() < self.restless and _jumps(reading, shown):
            return Measured(reading=reading, value=0.0, unstable=True)
        return Measured(reading=reading, value=shown[look])


def _jumps(reading: Reading, shown: list[float]) -> bool:
    """Whether one sees a reading go from one look to the other."""
    if not all(map(np.isfinite, shown)):
        return bool(np.isfinite(shown[0]) != np.isfinite(shown[1]))
    least = SEEN_RATIO * max(map(abs, shown)) + SEEN_FROM.get(reading.function, 0.0)
    return abs(shown[0] - shown[1]) > least


def patient(design: Design, number: int, kept: Kept) -> Patient:
    """One case on a design; the same numbers always give the same.

    A board whose pulses the controller does not lock on before anything is wrong with it is put
    together anew: it is no good one.
    """
    seed = (design.seed, design.number, number)
    for again in range(MOST_TRIES):
        rng = default_rng([*seed, *((again,) if again else ())])
        healthy = put_together(design.board, rng)
        wrong = draw(healthy, rng)
        faulty = wrong.change(healthy, rng)
        family = design.board.optocoupler.family
        way = Spice(level=Level.DEVICE, family=family, device=_device(rng))
        sound, sick = (
            MeterModel(
                design.board, circuit, design.meter, way.solve, way.solve_dead,
                full_scale_v=np.array([design.full_scale_v]),
            )
            for circuit in (healthy, faulty)
        )  # fmt: skip
        result = Patient(
            design=design, wrong=wrong, healthy=healthy, seed=seed, kept=kept,
            looks=(sound, sick) if wrong.loose else (sick,), restless=float(rng.uniform(0.2, 0.8)),
        )  # fmt: skip
        if _margin(sound, kept) > 0.0:
            result.flags = _flags(result, rng)
            return result
    raise AssertionError(f"no good board of {seed} locks")


def _margin(meter_model: MeterModel, kept: Kept) -> float:
    """How far the controller is from losing the pulses."""
    return kept.of(meter_model, LOCK, lambda: float(meter_model.lock().margin[0]))


def put_together(board: Board, rng: Generator) -> Circuit:
    """A good board as it may come: parts within their limits, the mains of the day, heat."""
    opto = board.optocoupler
    ratio = between(rng, opto.ctr_min_ratio, opto.ctr_max_ratio)
    weight = float(shape_weight_ratio(ratio, opto.test_current_a)) + rng.uniform(-0.3, 0.3)
    circuit = build_circuit(
        board,
        Conditions(
            mains_rms_v=board.mains.rms_v * rng.uniform(0.95, 1.05),
            temperature_degc=rng.uniform(15.0, 35.0),
            ctr_ratio=ratio,
            shape_weight=float(np.clip(weight, 0.0, 1.0)),
        ),
    )
    for resistor in all_resistors(board):
        share = 1.0 + resistor.tolerance_ratio * rng.uniform(-1.0, 1.0)
        circuit = circuit.scale(resistor.ref, "resistance_ohm", share)
    circuit = circuit.scale("supply", "voltage_v", rng.uniform(0.97, 1.03))
    if board.relay is not None:
        circuit = circuit.scale("coil supply", "voltage_v", rng.uniform(0.9, 1.25))
        circuit = circuit.scale("K1.coil", "resistance_ohm", rng.uniform(0.85, 1.15))
        if rng.random() < 0.5:
            ohm = between(rng, 20.0, 5e3)
            circuit = circuit.add(Resistance(ref="load", a="feed", b="neutral", resistance_ohm=ohm))
    own = rng.spawn(1)[0]
    if own.random() < 0.8:  # regulator, controller and bleeder on the dead board's supply
        ohm = between(own, 500.0, 200e3)
        circuit = circuit.add(Resistance(ref="rail", a="logic+", b="logic0", resistance_ohm=ohm))
    return _small_spreads(_distorted(circuit, rng), board, rng)


def _small_spreads(circuit: Circuit, board: Board, rng: Generator) -> Circuit:
    """Junctions, their leakage, capacitors, the dark current."""
    leds = led_refs(board)
    for junction in circuit.of(Junction):
        volts = rng.uniform(-1.0, 1.0) * (0.1 if junction.ref in leds else 0.05)
        factor = np.exp(-volts / np.asarray(junction.emission_v))
        circuit = circuit.scale(junction.ref, "saturation_a", factor)
        leak = between(rng, 0.1, 10.0)
        circuit = circuit.scale(f"{junction.ref}.leak", "resistance_ohm", leak)
    for part in circuit.of(Capacitance):
        if not is_hidden(part):
            circuit = circuit.scale(part.ref, "capacitance_f", rng.uniform(0.8, 1.2))
    return circuit.scale(board.optocoupler.ref, "dark_a", between(rng, 0.1, 10.0))


def _distorted(circuit: Circuit, rng: Generator) -> Circuit:
    """Half of the sockets have a third and a fifth harmonic of up to 4 %."""
    if rng.random() < 0.5:
        return circuit
    for order in (3, 5):
        ratio, phase = rng.uniform(0.0, 0.04), rng.uniform(0.0, 2.0 * np.pi)
        circuit = circuit.add(
            MainsHarmonic(
                ref=f"mains.h{order}", a="line", b="neutral", order=order, ratio=ratio,
                phase_rad=phase,
            )
        )  # fmt: skip
    return circuit


def _device(rng: Generator) -> Device:
    """One of the published transistors, its charges a little more or less."""
    result = list(devices().values())[rng.integers(3)]
    more = between(rng, 0.7, 1.4)
    return replace(
        result,
        collector_junction_f=more * result.collector_junction_f,
        emitter_junction_f=more * result.emitter_junction_f,
        forward_transit_s=more * result.forward_transit_s,
    )


def _flags(found: Patient, rng: Generator) -> tuple[str, ...]:
    """What the controller reports, if anybody looked: it has sync where it can lock."""
    looked, follows = rng.random() < FLAGS_LOOKED_AT, rng.random() < FAN_FLAG_FOLLOWS
    wrong = found.wrong
    if not (looked or wrong.flag) or wrong.loose or set(wrong.keys) & set(SILENT):
        return ()
    margin = _margin(found.looks[0], found.kept)
    if margin < 0.0 or wrong.flag == SYNC:
        return (SYNC, FAN) if follows else (SYNC,)
    return (FAN,) if wrong.flag == FAN else (NO_FLAG,)
