"""What the engine hands around: the state of one island, and the solution of a batch."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.batch import COMMON, OF_WHOLE, Batch
from zcd.circuit.elements import Circuit, MainsSource, Resistance, Value
from zcd.engine.kernel import highest
from zcd.engine.network import MIN_RESISTANCE_OHM, Passive, column, islands
from zcd.errors import InputError

FloatArray = NDArray[np.float64]


Places = dict[str, NDArray[Any]]


@dataclass(frozen=True, slots=True, eq=False)
class Voltages(Batch, Mapping[str, FloatArray]):
    """Voltages of nodes, each of shape (n, m): of passive ones worked out when asked for.

    Parameters
    ----------
    names : tuple of str
    waves : mapping of str to ndarray
        Of the nodes that were solved for, known ones and the reference.
    passive : tuple of Passive
        The others.
    """

    names: tuple[str, ...] = field(metadata=COMMON)
    waves: Mapping[str, FloatArray]
    passive: tuple[Passive, ...] = ()

    def __getitem__(self, node: str) -> FloatArray:
        if node in self.waves:
            return self.waves[node]
        weights: dict[str, Value] = {node: 1.0}
        fixed_v: Value = 0.0
        for each in self.passive:
            if each.node in weights:
                weight = weights.pop(each.node)
                fixed_v = fixed_v + weight * each.fixed_v
                for other, share in each.shares.items():
                    weights[other] = weights.get(other, 0.0) + weight * share
        if node in weights:
            raise KeyError(node)
        size, points = next(iter(self.waves.values())).shape
        wave = np.repeat(column(fixed_v, size), points, axis=1)
        for other, weight in weights.items():
            wave += column(weight, size) * self.waves[other]
        return wave

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __len__(self) -> int:
        return len(self.names)


def voltages_of(states: States) -> Voltages:
    """Those of all islands."""
    all_of = [state.voltages_v for state in states.values()]
    names = dict.fromkeys(name for each in all_of for name in each)
    waves = {name: wave for each in all_of for name, wave in each.waves.items()}
    return Voltages(tuple(names), waves, tuple(p for each in all_of for p in each.passive))


@dataclass(slots=True)
class Island(Batch):
    """What one island came to: where it was solved, waveforms, rows with capacitors at work.

    Without these also, by row, what it came to at some voltages of its source, as the kernel has
    it, for other points in time.
    """

    phase_rad: FloatArray
    voltages_v: Voltages
    currents_a: dict[str, FloatArray]
    dynamic: NDArray[np.bool_]
    multiplier: FloatArray
    places: Places = field(default_factory=dict)


PIECE_ROWS = 512
"""Rows of a large batch that are solved at a time where only what follows from them is kept."""


def row_pieces(size: int) -> list[NDArray[np.intp]]:
    """Row numbers of a batch in pieces, so that memory does not grow with its size."""
    return np.array_split(np.arange(size), max(1, -(-size // PIECE_ROWS)))


States = Mapping[frozenset[str], Island]


def nothing_yet(size: int) -> Island:
    """An island of which every row is still to be solved with its capacitors."""
    return Island(
        phase_rad=np.zeros((size, 0)),
        voltages_v=Voltages((), {}),
        currents_a={},
        dynamic=np.ones(size, dtype=bool),
        multiplier=np.zeros(size),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution(Batch):
    """Waveforms of a batch over one mains period.

    Parameters
    ----------
    circuit : Circuit
        What was solved.
    phase_rad, time_s, weight : ndarray, shape (n, m)
        Phase and time from the fundamental's rising zero crossing; weights of the mean.
    voltages_v : mapping of str to ndarray, shape (n, m)
        Of each node, against the reference of its island.
    currents_a : mapping of str to ndarray, shape (n, m)
        Forward current of each junction.
    settled : ndarray of bool, shape (n,)
        False: the waveform is still changing after `WINDOW_CYCLES`; what is given is the last
        of these cycles.
    cycle_peaks_a : mapping of str to ndarray, shape (n, cycles)
        For rows that have not settled: peak current of each junction, cycle by cycle.
    states : mapping
        What the engine left behind for a next solution of nearly the same batch.
    """

    circuit: Circuit
    phase_rad: FloatArray
    time_s: FloatArray
    weight: FloatArray
    voltages_v: Mapping[str, FloatArray]
    currents_a: Mapping[str, FloatArray]
    settled: NDArray[np.bool_]
    cycle_peaks_a: Mapping[str, FloatArray] = field(default_factory=dict, metadata=OF_WHOLE)
    states: Mapping[frozenset[str], Island] = field(
        default_factory=dict, repr=False, metadata=OF_WHOLE
    )

    @property
    def period_s(self) -> FloatArray:
        """One period of the mains, shape (n,)."""
        frequency_hz = np.asarray(self.circuit.of(MainsSource)[0].frequency_hz, dtype=float)
        return 1.0 / np.broadcast_to(frequency_hz, self.settled.shape)

    def between_v(self, a: str, b: str) -> FloatArray:
        """Voltage of node `a` against node `b`, shape (n, m); they must share an island."""
        first, second = self.circuit.node(a), self.circuit.node(b)
        for island in islands(self.circuit):
            if (first in island) != (second in island):
                raise InputError(
                    f"nodes must have a galvanic path between them, got {a!r} and {b!r}"
                )
        return self.voltages_v[first] - self.voltages_v[second]

    @property
    def pin_v(self) -> FloatArray:
        """Voltage of the controller's pin against its ground, shape (n, m)."""
        pin, ground = self.voltages_v["pin"], self.circuit.aliases.get("logic0", "logic0")
        # where it has an island of its own, that ground is the reference
        return pin - self.voltages_v[ground] if ground in self.voltages_v else pin

    def mean(self, wave: FloatArray) -> FloatArray:
        """Mean over the period, shape (n,)."""
        return np.asarray(np.sum(wave * self.weight, axis=1))

    def rms(self, wave: FloatArray) -> FloatArray:
        """Rms over the period, shape (n,)."""
        return np.sqrt(self.mean(wave**2))

    def share_above_zero(self, wave: FloatArray) -> FloatArray:
        """Share of the period, shape (n,): with a straight line from each point to the next."""
        step = np.diff(self.phase_rad, axis=1, append=self.phase_rad[:, :1] + 2.0 * np.pi)
        ends = np.stack([wave, np.roll(wave, -1, axis=1)])
        above = np.maximum(ends, 0.0).sum(axis=0)
        share = above / np.maximum(np.abs(ends).sum(axis=0), np.finfo(np.float64).tiny)
        return np.asarray(np.sum(step * share, axis=1) / (2.0 * np.pi))

    def peak(self, wave: FloatArray) -> FloatArray:
        """Highest value over the period, shape (n,): of the parabola through the highest points."""
        result = np.empty(wave.shape[0])
        highest(np.ascontiguousarray(self.phase_rad), np.ascontiguousarray(wave), result)
        return result

    def power_w(self, resistance: Resistance) -> FloatArray:
        """Mean power in a resistance, shape (n,)."""
        across = self.voltages_v[resistance.a] - self.voltages_v[resistance.b]
        ohm = np.maximum(np.asarray(resistance.resistance_ohm), MIN_RESISTANCE_OHM)
        return self.mean(across**2) / ohm
