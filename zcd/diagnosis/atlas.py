"""The atlas of a board: what every reading shows under every fault, over all that is unknown."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import INFINITE_OHM, Circuit, Resistance, stack
from zcd.diagnosis.faults import Fault, faults_of
from zcd.diagnosis.likelihood import Fit
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.readings import Bench, Reading, useful_readings
from zcd.physics.optocoupler import shape_weight_ratio

FloatArray = NDArray[np.float64]

SAMPLES = 24
BANDS = 3
SEED = 20
BENCH_MAINS = (0.95, 1.05)
"""The mains of the day over nominal: common practice, no source."""
BENCH_DEGC = (15.0, 35.0)
SUPPLY = (0.97, 1.03)
LOAD_OHM = (150.0, 5e3)
"""What the load contact feeds, where it is connected at all (every other sample): common
practice, no source."""
COIL_SUPPLY = (0.85, 1.25)
"""An unregulated coil supply: common practice, no source."""
COIL_OHM = (0.85, 1.15)
"""Tolerance of a relay coil (Omron glossary: 15 % unless stated)."""
SHAPE_SPREAD = 0.3
"""How far a part may lie from the shape that its CTR suggests: samples of published curves."""

Progress = Callable[[str], None]


@dataclass(slots=True)
class Atlas:
    """Predictions for every fault and sample, made reading by reading when asked for.

    Parameters
    ----------
    board : Board
    meter : Meter
    faults : tuple of Fault
        F of them, ``healthy`` first.
    member : ndarray of int, shape (E,)
        Fault of each entry: a fault with a severity has `BANDS` entries, each a part of its
        range, so that a size that was measured has samples near it.
    severity : ndarray, shape (E, N)
        N samples an entry.
    circuit : Circuit
        Nominal, healthy, one row.
    readings : tuple of Reading
        Worth taking, safest first.
    """

    board: Board
    meter: Meter
    faults: tuple[Fault, ...]
    member: NDArray[np.intp]
    severity: FloatArray
    circuit: Circuit
    readings: tuple[Reading, ...]
    _bench: Bench
    _shown: dict[Reading, FloatArray] = field(default_factory=dict)
    _fits: dict[Reading, Fit] = field(default_factory=dict)

    def shown(self, reading: Reading) -> FloatArray:
        """What the meter would show, shape (E, N)."""
        if reading not in self._shown:
            values = self._bench.take([reading])[:, 0]
            self._shown[reading] = values.reshape(self.severity.shape)
        return self._shown[reading]

    def fit(self, reading: Reading) -> Fit:
        """How well any value of a reading fits each entry."""
        if reading not in self._fits:
            self._fits[reading] = Fit(reading, self.shown(reading), self.meter)
        return self._fits[reading]

    def by_fault(self, values: FloatArray) -> list[FloatArray]:
        """Values of shape (E, N), all samples of each fault together."""
        return [values[self.member == f].ravel() for f in range(len(self.faults))]

    def prepare(self, readings: Sequence[Reading], progress: Progress | None = None) -> None:
        """Make the predictions of several readings, telling which one is under way."""
        for reading in readings:
            if progress is not None:
                progress(reading.words)
            self.shown(reading)


def make_atlas(board: Board, meter: Meter, samples: int = SAMPLES) -> Atlas:
    """Set up the atlas of a board.

    Parameters
    ----------
    board : Board
    meter : Meter
    samples : int
        N, per fault.

    Returns
    -------
    atlas : Atlas
    """
    nominal = build_circuit(board)
    faults = faults_of(nominal)
    healthy, unit = sample_circuits(board, samples)
    parts = [(f, b) for f, fault in enumerate(faults) for b in range(BANDS if fault.amount else 1)]
    member = np.array([f for f, _ in parts])
    bands = np.where([faults[f].amount is not None for f in member], BANDS, 1)
    severity = (np.array([b for _, b in parts])[:, None] + unit) / bands[:, None]
    rows = stack([faults[f].edit(healthy, u) for f, u in zip(member, severity, strict=True)])
    return Atlas(
        board=board,
        meter=meter,
        faults=faults,
        member=member,
        severity=severity,
        circuit=nominal,
        readings=useful_readings(board, nominal),
        _bench=Bench(board, rows, meter),
    )


def sample_circuits(board: Board, samples: int) -> tuple[Circuit, FloatArray]:
    """Healthy circuits over all that is unknown at the bench, and a severity for each.

    Parameters
    ----------
    board : Board
    samples : int

    Returns
    -------
    circuit : Circuit
        `samples` rows: mains of the day, temperature, CTR within its grade and its shape, every
        resistor within its tolerance, the supply.
    severity : ndarray, shape (samples,)
        From 0 to 1.
    """
    opto = board.optocoupler
    resistors = [r for chain in (*board.chains, board.return_chain) for r in chain]
    resistors += [r for r in (board.led_resistor, board.output.resistor) if r]
    unit = qmc.Halton(d=8 + len(resistors), rng=SEED).random(samples).T
    severity, mains, celsius, ctr, shape, supply, coil_supply, coil = unit[:8]
    ratio = opto.ctr_min_ratio * (opto.ctr_max_ratio / opto.ctr_min_ratio) ** ctr
    weight = shape_weight_ratio(ratio, opto.test_current_a) + SHAPE_SPREAD * (2.0 * shape - 1.0)
    circuit = build_circuit(
        board,
        Conditions(
            mains_rms_v=board.mains.rms_v * _span(BENCH_MAINS, mains),
            temperature_degc=_span(BENCH_DEGC, celsius),
            ctr_ratio=ratio,
            shape_weight=np.clip(weight, 0.0, 1.0),
        ),
    )
    circuit = circuit.scale("supply", "voltage_v", _span(SUPPLY, supply))
    if board.relay is not None:
        circuit = circuit.scale("coil supply", "voltage_v", _span(COIL_SUPPLY, coil_supply))
        circuit = circuit.scale("K1.coil", "resistance_ohm", _span(COIL_OHM, coil))
        connected = np.arange(samples) % 2 == 0
        low, high = LOAD_OHM
        load = np.where(connected, low * (high / low) ** severity, INFINITE_OHM)
        circuit = circuit.add(Resistance(ref="load", a="feed", b="neutral", resistance_ohm=load))
    for resistor, share in zip(resistors, unit[8:], strict=True):
        spread = 1.0 + resistor.tolerance_ratio * (2.0 * share - 1.0)
        circuit = circuit.scale(resistor.ref, "resistance_ohm", spread)
    return circuit, severity


def _span(ends: tuple[float, float], share: FloatArray) -> FloatArray:
    return ends[0] + (ends[1] - ends[0]) * share
