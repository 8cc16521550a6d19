"""The fault dictionary of a board: what every reading shows under every fault, over all that is
unknown."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit, Resistance, stack
from zcd.circuit.points import of_leads
from zcd.diagnosis.cache import Store, name_of
from zcd.diagnosis.circuit_edits import between
from zcd.diagnosis.fault_pairs import pairs_of
from zcd.diagnosis.faults import LOW_SUPPLY, Fault, Joint, answer_of, faults_of, reads_alike
from zcd.diagnosis.flag_evidence import (
    DOUBT,
    FAN,
    NO_FLAG,
    RUNS,
    SILENT,
    STARVED,
    SUPPLY_LOW,
    SYNC,
    flags_share,
    sync_flag_share,
)
from zcd.diagnosis.functions import Function
from zcd.diagnosis.information import Spectrum, sparse, spectrum
from zcd.diagnosis.likelihood import LOOSE_ENTRIES, Fit, is_cold, restless
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.priors import prior_shares, with_pairs
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import (
    Reading,
    parts_over,
    parts_read,
    past_chip,
    useful_readings,
)
from zcd.diagnosis.samples import MORE_SEED, sample_circuits, sample_meter
from zcd.engine.network import island_of
from zcd.logs import logger

if TYPE_CHECKING:
    from scipy.sparse import csr_array

_LOG = logger(__name__)

FloatArray = NDArray[np.float64]

SAMPLES = 16
BANDS = 3
MORE_GOOD = 3
"""So many more samples of a good board, times those of a fault: its least and most are limits that
people work by, and outside those of 16 lie up to 30 % of good boards."""
ALIKE = 0.02
"""Resistors of one value whose middles are no farther apart stand in one place: common practice, no
source."""
GOOD_BOARD = 0
"""Number of the fault that is none."""
MARGIN = "margin of the lock"
Progress = Callable[[str], None]


@dataclass(repr=False)
class FaultDictionary:
    """Predictions for every fault and sample, made reading by reading when asked for.

    Parameters
    ----------
    board : Board
    meter : Meter
    faults : tuple of Fault
        F of them, ``healthy`` first, those that only look like others last.
    shares : ndarray, shape (F,)
        Their prior probabilities; what is missing to 1 belongs to none of them.
    member : ndarray of int, shape (E,)
        Fault of each entry: a fault with a severity has `BANDS` entries, each a part of its
        range, so that a size that was measured has samples near it; a loose joint `LOOSE_ENTRIES`.
    severity : ndarray, shape (E, N)
        N samples an entry.
    states : ndarray of int, shape (D, 2)
        For the last D entries, the two entries between which they change; S of them are before.
    alike : ndarray of int, shape (4, C, N)
        For the last C of those S, open joints and faults on both sides of the light: the entries
        that a sample reads like, each at some places (`_place_of`). Only the others have a
        circuit.
    circuit : Circuit
        Nominal, healthy, one row.
    readings : tuple of Reading
        Worth taking, least trouble and danger first.
    """

    board: Board
    meter: Meter
    faults: tuple[Fault, ...]
    shares: FloatArray
    member: NDArray[np.intp]
    severity: FloatArray
    states: NDArray[np.intp]
    alike: NDArray[np.intp]
    circuit: Circuit
    readings: tuple[Reading, ...]
    _meter_model: MeterModel
    _store: Store | None = None
    _stored: dict[str, FloatArray] = field(default_factory=dict)
    _predictions: dict[Reading, FloatArray] = field(default_factory=dict)
    _fits: dict[Reading, Fit] = field(default_factory=dict)
    _spectra: dict[Reading, Spectrum] = field(default_factory=dict)
    _is_new: bool = False

    def __repr__(self) -> str:
        return f"<FaultDictionary: {len(self.faults)} faults of {self.board!r}>"

    @cached_property
    def holds(self) -> csr_array:
        """1 where a fault (row) is there if another (column) is; sparse, shape (F, F).

        All that leaves the sync circuit good counts as one: no reading tells it apart.
        """
        answers, repairs = (np.array([of(f) for f in self.faults]) for of in (answer_of, _repair))
        there = answers[:, None] == answers
        for number, fault in enumerate(self.faults):
            if fault.also:  # as `includes` has it
                there[:, number] |= np.isin(repairs, fault.also)
        return sparse(there.astype(np.float64))

    @property
    def simulated(self) -> int:
        """Number S of entries that are predicted, and do not change between two others."""
        return len(self.member) - len(self.states)

    @property
    def circuits(self) -> int:
        """How many of them have a circuit of their own."""
        return self.simulated - self.alike.shape[1]

    @property
    def predicted_shape(self) -> tuple[int, int]:
        """Of what is predicted of a reading: these circuits, then more samples of a good board."""
        return self.circuits + MORE_GOOD, self.severity.shape[1]

    def predictions(self, reading: Reading) -> FloatArray:
        """What the meter would show, shape (S, N)."""
        if reading not in self._predictions:
            self._predictions[reading] = self._stored_or(
                reading.words,
                lambda: self._meter_model.read([reading])[:, 0],
                reading,
            )
        return self._predictions[reading]

    def good(self, reading: Reading) -> FloatArray:
        """What the meter would show on a good board, its `MORE_GOOD` further samples too.

        Of one of several resistors alike in a row what it would show of each: a range is theirs,
        not that of the samples that one of them happened to get.
        """
        own = self._good_alone(reading)
        middle = np.median(own)
        rest = [self._good_alone(other) for other in self._alike(reading)]
        alike = [shown for shown in rest if abs(np.median(shown) - middle) < ALIKE * middle]
        return np.concatenate([own, *alike])

    def _good_alone(self, reading: Reading) -> FloatArray:
        self.predictions(reading)
        shown = self._stored[name_of(reading.words)]
        return np.concatenate([shown[GOOD_BOARD], shown[self.circuits :].ravel()])

    def _alike(self, reading: Reading) -> list[Reading]:
        """The same of the other resistors of one value and chain; none of anything else."""
        ref = parts_over(self.circuit, reading.red, reading.black)
        chain = next((f.neighbours for f in self.faults if f.part == ref and f.neighbours), ())
        unread = {each.ref for each in self.board.unknowns}  # may be of any value
        if not chain or ref in unread or reading.lifted or reading.function is not Function.OHM:
            return []
        ohm = {r.ref: float(np.max(r.resistance_ohm)) for r in self.circuit.of(Resistance)}
        known = [r for r in self.circuit.of(Resistance) if r.ref in {*chain} - unread]
        same = [r for r in known if ohm[r.ref] == ohm[ref]]
        others = [replace(reading, red=each.a, black=each.b) for each in same]
        return [each for each in others if each in self.readings]

    @cached_property
    def _pin_side(self) -> frozenset[str]:
        return island_of(self.circuit, "pin")

    def _place_of(self, reading: Reading | None) -> NDArray[np.intp]:
        """Which of `alike` holds for a reading, or (None) for the pulses at the pin, shape (C,):
        of two sides 1 at the pin; of a joint 1 or 2 from a lead of the one part or the other, of
        the first on a dead board 3; else 0."""
        ends, parts, at_pin = frozenset[str](), frozenset[str](), True
        places = (1, 2)
        if reading is not None:
            places = (3, 2) if reading.function.row.dead else (1, 2)
            ends = frozenset(self.circuit.node(node) for node in (reading.red, reading.black))
            parts = frozenset(map(of_leads, parts_read(self.circuit, reading)))
            at_pin = self.circuit.node(reading.red) in self._pin_side
        result = []
        for f in self.member[self.circuits : self.simulated]:
            if (joint := self.faults[f].joint) is None:
                result.append(int(at_pin))
                continue
            if joint.pole:
                on_lead = _on_own_lead(joint, self.circuit, ends, parts)
                result.append(places[0] if on_lead else 0)
                continue
            read = [at for at, (ref, _) in zip(places, joint.over, strict=True) if ref in parts]
            result.append(read[0] if joint.node in ends and read else 0)
        return np.array(result, dtype=np.intp)

    def _stored_or(
        self, words: str, make: Callable[[], FloatArray], reading: Reading | None = None
    ) -> FloatArray:
        """A prediction from an earlier run, or a new one, shape (S, N)."""
        name = name_of(words)
        if name not in self._stored:
            self._stored[name] = make().reshape(self.predicted_shape)
            self._is_new = True
        entries = self.reads_as(reading)[: self.simulated]
        return self._stored[name][entries, np.arange(entries.shape[1])]

    def reads_as(self, reading: Reading | None) -> NDArray[np.intp]:
        """The entry like whose sample each sample is read, shape (E, N): by a reading, or (None) by
        what asks for the pulses at the pin. Of loose joints that move at each look, their own."""
        result = np.repeat(np.arange(len(self.member))[:, None], self.severity.shape[1], axis=1)
        places = self._place_of(reading), np.arange(self.alike.shape[1])
        result[self.circuits : self.simulated] = self.alike[places]
        steady = self.simulated + np.flatnonzero(~restless(len(self.states)))
        look = 0 if reading is not None and is_cold(reading) else 1
        result[steady] = result[self.states[steady - self.simulated, look]]
        return result

    def keep(self) -> None:
        """Keep what was predicted for the next run."""
        if self._store is not None and self._is_new:
            self._store.write(self._stored)
            self._is_new = False

    def fit(self, reading: Reading) -> Fit:
        """How well any value of a reading fits each entry."""
        if reading not in self._fits:
            graded = [self.faults[f].amount is not None for f in self.member[: self.simulated]]
            self._fits[reading] = Fit(
                reading,
                self.predictions(reading),
                self.meter,
                self.states,
                np.array(graded),
                self._near_limit(reading),
                past_chip=past_chip(self.circuit, reading),
            )
        return self._fits[reading]

    def _near_limit(self, reading: Reading) -> NDArray[np.bool_] | None:
        """Where pulses are seen now and then, shape (S, N); None for other readings."""
        if not reading.at_pin:
            return None
        near = self._stored_or(
            f"{reading.words}, near the limit",
            lambda: self._meter_model.near_limit(reading).astype(np.float64),
        )
        return near > 0.5

    def spectrum(self, reading: Reading) -> Spectrum:
        """The same in bins, for what a reading is expected to tell."""
        if reading not in self._spectra:
            self._spectra[reading] = spectrum(self.fit(reading))
        return self._spectra[reading]

    @cached_property
    def sync_lost(self) -> FloatArray:
        """Chance of the sync flag by the lock rules, shape (E, N)."""
        margin = self._stored_or(MARGIN, lambda: self._meter_model.lock().margin)
        sync = sync_flag_share(margin)
        return np.concatenate([sync, sync[self.states].mean(axis=1)])

    def flags(self, observed: Collection[str]) -> FloatArray | float:
        """Chance of the flags observed, shape (E, N); 1 where not checked."""
        if not observed:
            return 1.0
        reports = [self.faults[f].reports for f in self.member]
        own = {
            flag: np.array([1.0 - DOUBT if flag in r else DOUBT for r in reports])[:, None]
            for flag in (SYNC, FAN)
        }
        starved = [STARVED.get((fault.kind, fault.mode), 0.0) for fault in self.faults]
        own[FAN] = np.maximum(own[FAN], np.array(starved)[self.member][:, None])
        silent = np.array([self.faults[f].key in SILENT for f in self.member])[:, None]
        silent = silent | self._too_low
        share = flags_share(observed, np.maximum(self.sync_lost, own[SYNC]), own[FAN])
        return np.where(silent, 1.0 - DOUBT if NO_FLAG in observed else DOUBT * share, share)

    @cached_property
    def _too_low(self) -> NDArray[np.bool_]:
        """Samples of a supply so low that the controller does not run, shape (E, N)."""
        low = np.array([self.faults[f].key == SUPPLY_LOW for f in self.member])[:, None]
        return low & (between(LOW_SUPPLY)(self.severity) < RUNS)

    def by_fault(self, values: FloatArray) -> list[FloatArray]:
        """Values of shape (E, N), or (S, N), all samples of each fault together."""
        ends = np.searchsorted(self.member[: len(values)], np.arange(1, len(self.faults)))
        return [part.ravel() for part in np.split(values, ends)]

    def sums(self, weights: FloatArray) -> FloatArray:
        """Weights of shape (E, N) summed over all samples of each fault, shape (F,)."""
        sums = np.bincount(self.member, weights.sum(axis=1), len(self.faults))
        return np.asarray(sums, dtype=float)

    def of_fault(self, values: FloatArray, fault: int) -> FloatArray:
        """Values of shape (E, N), or (S, N): all samples of one fault."""
        first, last = np.searchsorted(self.member[: len(values)], (fault, fault + 1))
        return values[first:last].ravel()

    def looks(self, reading: Reading) -> FloatArray:
        """What the meter would show, shape (E, N): now one, now the other of two looks."""
        shown = self.predictions(reading)
        turns = shown[self.states]
        other = restless(len(self.states)) | (not is_cold(reading))
        return np.concatenate([shown, np.where(other, turns[:, 1], turns[:, 0])])

    def prepare(self, readings: Sequence[Reading], progress: Progress | None = None) -> None:
        """Make the predictions of several readings, telling which one is under way."""
        for reading in readings:
            if progress is not None and not self.has(reading):
                progress(reading_text(reading, self.circuit))
            self.predictions(reading)
            self._near_limit(reading)

    def has(self, reading: Reading) -> bool:
        """Whether a reading is predicted already."""
        return reading in self._predictions or name_of(reading.words) in self._stored


def _on_own_lead(
    joint: Joint, circuit: Circuit, ends: frozenset[str], parts: frozenset[str]
) -> bool:
    """Whether a reading up to a joint with the mains is from the lead of the part there: of a LED
    only that across it, of another part where it begins with that and ends before the far pole."""
    (own, _), _ = joint.over
    if ends == frozenset(circuit[own].nodes):
        return True
    begins = joint.node in ends and own in parts and joint.pole not in ends
    return begins and not own.endswith(".led")


def _repair(fault: Fault) -> str:
    return fault.repair


def make_fault_dictionary(
    board: Board, meter: Meter, samples: int = SAMPLES, *, stored: bool = False
) -> FaultDictionary:
    """Set up the fault dictionary of a board.

    Parameters
    ----------
    board : Board
    meter : Meter
    samples : int
        N, per fault.
    stored : bool
        Take what an earlier run has kept in the user's cache folder.

    Returns
    -------
    fault dictionary : FaultDictionary
    """
    nominal = build_circuit(board)
    faults, shares = faults_and_shares(nominal)
    healthy, unit = sample_circuits(board, samples)
    parts = [(f, b) for f, fault in enumerate(faults) for b in range(_entries(fault))]
    member = np.array([f for f, _ in parts])
    bands = np.where([faults[f].amount is not None for f in member], BANDS, 1)
    band = np.array([b for _, b in parts]) % bands
    severity = (band[:, None] + unit) / bands[:, None]
    first = {fault.key: int(np.argmax(member == f)) for f, fault in enumerate(faults)}
    looks = [fault.states for fault in faults if fault.states for _ in range(LOOSE_ENTRIES)]
    simulated = member.size - len(looks)
    alike = _alike(faults, first, samples)
    circuits = simulated - alike.shape[1]
    rows = [
        faults[f].edit(healthy, u)
        for f, u in zip(member[:circuits], severity[:circuits], strict=True)
    ]
    more = MORE_GOOD * samples
    rows.append(sample_circuits(board, more, MORE_SEED, with_ends=True)[0])
    store = Store.of(board, meter, samples) if stored else None
    kept = store.read((circuits + MORE_GOOD, samples)) if store else {}
    _LOG.info(
        "%d faults, %d samples each; %d readings known before", len(faults), samples, len(kept)
    )
    return FaultDictionary(
        board=board,
        meter=meter,
        faults=faults,
        shares=shares,
        member=member,
        severity=severity,
        states=np.array([[first[s[0]], first[s[-1]]] for s in looks], dtype=np.intp),
        alike=alike,
        circuit=nominal,
        readings=tuple(
            reading
            for reading in useful_readings(board, nominal)
            if meter.has_scope or not reading.function.row.scope
        ),
        _meter_model=sample_meter(
            board, stack(rows), meter, samples, np.tile(np.arange(samples), circuits), more
        ),
        _store=store,
        _stored=kept,
    )


def _entries(fault: Fault) -> int:
    """How many entries a fault has."""
    if fault.states:
        return LOOSE_ENTRIES
    return BANDS if fault.amount else 1


def keep_predictions(board: Board, meter: Meter) -> None:
    """Predict all readings of a board, and keep them for those who set up its dictionary next."""
    dictionary = make_fault_dictionary(board, meter, stored=True)
    dictionary.prepare(dictionary.readings)
    dictionary.keep()


def _alike(faults: Sequence[Fault], first: Mapping[str, int], samples: int) -> NDArray[np.intp]:
    """Entries that faults without a circuit of their own read like, shape (4, C, N): of pairs on
    two sides every band of both in turn."""
    graded = {fault.key for fault in faults if fault.amount is not None}
    turn = np.arange(samples)
    bands = turn % BANDS, turn // BANDS % BANDS

    def entries(key: str, side: int = 0) -> NDArray[np.intp]:
        return first[key] + (bands[side] if key in graded else 0 * turn)

    result = []
    for fault in filter(reads_alike, faults):
        if fault.joint is not None:
            either = np.stack([entries(key) for key in fault.joint.elsewhere])
            over = [entries(key) for _, key in fault.joint.over]
            if fault.joint.pole:
                over = [np.where(turn % 2 == 0, *over)] * 2
            rows = [either[turn % len(either), turn], *over, entries(fault.joint.dead)]
        else:
            mains, pin = (entries(key, side) for side, key in enumerate(fault.members))
            rows = [mains, pin, pin, pin]
        result.append(np.stack(rows))
    shape = 4, len(result), samples
    return np.stack(result, axis=1) if result else np.empty(shape, dtype=np.intp)


def faults_and_shares(circuit: Circuit) -> tuple[tuple[Fault, ...], FloatArray]:
    """Single faults, pairs, then those that only look like others; and their priors."""
    single = faults_of(circuit)
    shares = prior_shares(single)
    pairs, pair_shares = pairs_of(single, shares, circuit)
    result = (*single, *pairs)
    order = sorted(
        range(len(result)), key=lambda k: (bool(result[k].states), reads_alike(result[k]))
    )
    return tuple(result[k] for k in order), with_pairs(shares, pair_shares)[order]
