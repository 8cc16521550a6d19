"""Boards on an invented bench: drawn at random, one fault put in, read with a meter that errs.

Drawn apart from the fault dictionary: plain random numbers, not its samples, and readings with
meter noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import Circuit, stack
from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.functions import Function
from zcd.diagnosis.likelihood import Fit, error, fact_log, outlier_share, partly_wrong, scaled
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.rank import Diagnosis, Ranked, diagnose, one_repair
from zcd.diagnosis.readings import AccessLevel, Measured, Reading, access_level

FloatArray = NDArray[np.float64]

LEAST_NOISE = {Function.DC: 0.005, Function.AC: 0.2, Function.LOW_Z: 0.2, Function.DIODE: 0.003}
"""A few counts, in volts."""
PULSE_NOISE_S = 20e-6
CTR_STEPS, SEVERITY_STEPS = 5, 161


@dataclass(frozen=True, slots=True)
class Case:
    """A fault put into a random board, and what the meter then showed."""

    board: Board
    fault: int
    healthy: Circuit
    readings: tuple[Reading, ...]
    exact: FloatArray
    shown: FloatArray

    def measured(self) -> list[Measured]:
        """Every reading as entered by the technician."""
        pairs = zip(self.readings, self.shown, strict=True)
        return [Measured(reading=r, value=float(v)) for r, v in pairs]


def random_circuits(board: Board, rng: np.random.Generator, size: int) -> Circuit:
    """Healthy boards: mains, heat, grade, supplies, coil, resistors anywhere within limits."""
    opto = board.optocoupler
    span = opto.ctr_max_ratio / opto.ctr_min_ratio
    circuit = build_circuit(
        board,
        Conditions(
            mains_rms_v=board.mains.rms_v * rng.uniform(0.95, 1.05, size),
            temperature_degc=rng.uniform(15.0, 35.0, size),
            ctr_ratio=opto.ctr_min_ratio * span ** rng.random(size),
        ),
    )
    circuit = circuit.scale("supply", "voltage_v", rng.uniform(0.97, 1.03, size))
    if board.relay is not None:
        circuit = circuit.scale("coil supply", "voltage_v", rng.uniform(0.85, 1.25, size))
        circuit = circuit.scale("K1.coil", "resistance_ohm", rng.uniform(0.85, 1.15, size))
    chains = (*board.chains, board.return_chain, (board.output.resistor,))
    for resistor in (r for chain in chains for r in chain):
        share = 1.0 + resistor.tolerance_ratio * rng.uniform(-1.0, 1.0, size)
        circuit = circuit.scale(resistor.ref, "resistance_ohm", share)
    return circuit


def safe_readings(dictionary: FaultDictionary) -> tuple[Reading, ...]:
    """The fault dictionary's readings that need no probe on live mains."""
    return tuple(
        r
        for r in dictionary.readings
        if access_level(dictionary.circuit, r) is not AccessLevel.MAINS
    )


def draw(
    dictionary: FaultDictionary, rng: np.random.Generator, size: int, *, live: bool = False
) -> list[Case]:
    """`size` boards for each single fault of a fault dictionary, at random severity."""
    readings = dictionary.readings if live else safe_readings(dictionary)
    healthy = random_circuits(dictionary.board, rng, size)
    severity = rng.random(size)
    real = [k for k, f in enumerate(dictionary.faults) if not f.states and not f.members]
    rows = stack([dictionary.faults[k].edit(healthy, severity) for k in real])
    exact = MeterModel(dictionary.board, rows, dictionary.meter).read(readings)
    shown = exact.copy()
    for column, reading in enumerate(readings):
        shown[:, column] = noisy(dictionary.meter, reading, exact[:, column], rng)
    return [
        Case(
            board=dictionary.board,
            fault=real[row // size],
            healthy=healthy.rows(np.array([row % size])),
            readings=readings,
            exact=exact[row],
            shown=shown[row],
        )
        for row in range(exact.shape[0])
    ]


def noisy(
    meter: Meter, reading: Reading, values: FloatArray, rng: np.random.Generator
) -> FloatArray:
    """Readings with the meter's accuracy as standard error; pulses are timed by a scope."""
    noise = rng.standard_normal(values.shape)
    finite = np.where(np.isfinite(values), values, 0.0)
    match reading.function:
        case Function.OHM:
            moved = finite * (1.0 + meter.ohm_accuracy_ratio * noise)
        case Function.LOW_TIME:
            moved = np.where(finite > 0.0, finite + PULSE_NOISE_S * noise, 0.0)
        case Function.EDGE_DELAY:
            moved = finite + PULSE_NOISE_S * noise
        case Function.FREQUENCY | Function.DUTY:
            moved = finite
        case _:
            ac = reading.function in (Function.AC, Function.LOW_Z)
            accuracy = meter.ac_accuracy_ratio if ac else meter.dc_accuracy_ratio
            size = np.hypot(accuracy * finite, LEAST_NOISE[reading.function])
            moved = finite + size * noise
            moved = np.abs(moved) if ac else moved
    return np.where(np.isfinite(values), moved, values)


def alike(dictionary: FaultDictionary, case: Case, other: int) -> bool:
    """Whether another fault shows the same on this board, within one standard error everywhere.

    It may be of any size, and the optocoupler anywhere within its grade.
    """
    opto = dictionary.board.optocoupler
    ratio = np.geomspace(opto.ctr_min_ratio, opto.ctr_max_ratio, CTR_STEPS) / opto.ctr_ratio
    rows = np.zeros(CTR_STEPS * SEVERITY_STEPS, dtype=int)
    typical = build_circuit(dictionary.board)[opto.ref]
    circuit = case.healthy.rows(rows).change(
        opto.ref,
        ctr_ratio=np.repeat(ratio, SEVERITY_STEPS) * np.asarray(typical.ctr_ratio),  # type: ignore[attr-defined]
    )
    severity = np.tile(np.linspace(0.0, 1.0, SEVERITY_STEPS), CTR_STEPS)
    circuit = dictionary.faults[other].edit(circuit, severity)
    result = MeterModel(dictionary.board, circuit, dictionary.meter).read(case.readings)
    worst = np.zeros(result.shape[0])
    for column, reading in enumerate(case.readings):
        there = scaled(reading.function, np.asarray(case.exact[column]))
        gap = scaled(reading.function, result[:, column]) - there
        worst = np.maximum(worst, np.abs(gap) / error(reading.function, there, dictionary.meter))
    return bool(np.any(worst <= 1.0))


def finds(dictionary: FaultDictionary, case: Case) -> tuple[bool, Diagnosis]:
    """Whether the first of the ranking is the true fault, or one that cannot be told from it."""
    diagnosis = diagnose(dictionary, case.measured())
    first = diagnosis.ranked[0].fault
    if first is None:
        return False, diagnosis
    other = dictionary.faults.index(first)
    truth = Ranked(fault=dictionary.faults[case.fault], probability=1.0)
    if first.members or one_repair(diagnosis.ranked[0], truth):
        return truth.key in (first.key, *first.members) or not first.members, diagnosis
    return other == case.fault or alike(dictionary, case, other), diagnosis


def joint_log(fits: Sequence[tuple[Fit, Measured]]) -> tuple[FloatArray, float]:
    """Log density of readings that show one fact, and that of the same readings as outliers: both
    as `fact_log` gives them, some of the facts plainly wrong."""
    log_good, log_flat = fact_log(fits)
    return partly_wrong(log_good, log_flat, outlier_share([read for _, read in fits])), log_flat
