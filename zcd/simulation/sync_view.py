"""What the controller sees of each cause, with the load contact open and closed: one batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit, input_refs
from zcd.circuit.elements import INFINITE_OHM, Circuit, DcSource, MainsSource, Resistance, stack
from zcd.diagnosis.faults import HEALTHY
from zcd.engine.solution import Solution
from zcd.engine.solve import PULSES, solve
from zcd.simulation.causes import Cause
from zcd.sync.lock import Lock, expected_pulses, judge, times_both_edges

FloatArray = NDArray[np.float64]

INSULATION_OHM = 1e11
MIN_SUPPLY_RATIO = 0.6
"""Of the nominal supply, below which the controller holds itself in reset: common practice."""
WEAKER = np.geomspace(0.02, 1.0, 24)
"""Shares of nominal mains at which the least LED current that still locks is looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SyncState:
    """What comes from the sync circuit in one state.

    Parameters
    ----------
    good : bool
        The periods keep all lock rules, once settled.
    early : tuple of bool
        The same for the first periods after switching, where the waveform is slow to settle.
    failed_rule : str or None
    pulses_a_cycle : int
        Complete pulses at the pin.
    late_s : tuple of float
        Error of the crossing as the controller believes it, after its compensation, in the one
        half cycle and in the other; positive = late.
    led_peak_a : float
    feed_rms_v : float
        Between the feed and neutral.
    """

    good: bool
    early: tuple[bool, ...]
    failed_rule: str | None
    pulses_a_cycle: int
    late_s: tuple[float, float]
    led_peak_a: float
    feed_rms_v: float

    @property
    def acts(self) -> tuple[object, ...]:
        """What of it the controller acts on: equal for sights that make the same story."""
        return self.good, self.early, self.late_s


@dataclass(frozen=True, slots=True, kw_only=True)
class SyncView:
    """All that a cause shows the controller.

    Parameters
    ----------
    sound_open, sound_closed : SyncState
        With the load contact open and closed, while the cause is away. Both are the closed one
        where the feed is direct.
    faulty_open, faulty_closed : SyncState
        While it is there.
    powered : bool
        The controller's supply is there.
    mains_rms_v, mains_hz : float
    """

    sound_open: SyncState
    sound_closed: SyncState
    faulty_open: SyncState
    faulty_closed: SyncState
    powered: bool
    mains_rms_v: float
    mains_hz: float

    def state(self, faulty: bool, closed: bool) -> SyncState:
        """What there is to see in one state."""
        if closed:
            return self.faulty_closed if faulty else self.sound_closed
        return self.faulty_open if faulty else self.sound_open

    @property
    def acts(self) -> tuple[object, ...]:
        """Equal for views that make the same story."""
        sights = (self.sound_open, self.sound_closed, self.faulty_open, self.faulty_closed)
        supply = (self.powered, self.mains_rms_v, self.mains_hz)
        return (*(sight.acts for sight in sights), *supply)


def sync_views_of(board: Board, causes: Sequence[Cause]) -> tuple[SyncView, ...]:
    """What the controller sees under each cause.

    Parameters
    ----------
    board : Board
    causes : sequence of Cause

    Returns
    -------
    views : tuple of SyncView
        In the same order.
    """
    driven = (False, True) if board.relay is not None else (True,)
    # the board's own insulation, so that a feed left open at both ends has a voltage at all
    insulation = Resistance(ref="insulation", a="feed", b="neutral", resistance_ohm=INSULATION_OHM)
    healthy = Cause(key=HEALTHY.key, fault=HEALTHY, subsystem=causes[0].subsystem)
    circuits = [
        faulty_circuit(board, cause, on).add(insulation)
        for cause in (healthy, *causes)
        for on in driven
    ]
    rows = stack(circuits)
    solution = solve(rows)
    lock = judge(solution, board)
    needed_a = 0.0 if np.all(solution.settled) else _least_peak_a(board)
    designed = driven.index(True)
    sights = [
        _sync_state(board, solution, lock, row, designed, needed_a) for row in range(len(circuits))
    ]
    mains = rows.of(MainsSource)[0]
    rms_v = np.broadcast_to(mains.rms_v, (rows.size,))
    hertz = np.broadcast_to(mains.frequency_hz, (rows.size,))
    powered = _powered(board, rows)
    step = len(driven)
    return tuple(
        SyncView(
            sound_open=sights[0],
            sound_closed=sights[designed],
            faulty_open=sights[at],
            faulty_closed=sights[at + designed],
            powered=bool(powered[at]),
            mains_rms_v=float(rms_v[at]),
            mains_hz=float(hertz[at]),
        )
        for at in range(step, step * (len(causes) + 1), step)
    )


def faulty_circuit(board: Board, cause: Cause, driven: bool = True) -> Circuit:
    """The circuit while a cause is there.

    Parameters
    ----------
    board : Board
    cause : Cause
    driven : bool
        False: the load relay is off, and its own contact open, whatever the fault.

    Returns
    -------
    circuit : Circuit
        One row.
    """
    circuit = build_circuit(board, Conditions(coil_driven=driven))
    circuit = cause.fault.edit(circuit, np.array([cause.severity]))
    if driven or board.relay is None:
        return circuit
    circuit = circuit.change("K1.contact", resistance_ohm=INFINITE_OHM)
    return circuit.change("K1.driver", resistance_ohm=INFINITE_OHM)


def _powered(board: Board, rows: Circuit) -> NDArray[np.bool_]:
    supply = next(e for e in rows.of(DcSource) if e.ref == "supply")
    volts = np.broadcast_to(supply.voltage_v, (rows.size,))
    return np.asarray(volts >= MIN_SUPPLY_RATIO * board.output.supply_v)


def _sync_state(
    board: Board, solution: Solution, lock: Lock, row: int, designed: int, needed_a: float
) -> SyncState:
    peak_a = max(float(solution.peak(solution.currents_a[ref])[row]) for ref in input_refs(board))
    early: tuple[bool, ...] = ()
    good = bool(lock.locks[row])
    if not solution.settled[row]:
        peaks = np.max([solution.cycle_peaks_a[ref][row] for ref in input_refs(board)], axis=0)
        early = tuple((peaks >= needed_a).tolist())
        good = good and early[-1]
    return SyncState(
        good=good,
        early=early,
        failed_rule=lock.failed_rule(row),
        pulses_a_cycle=int(lock.pulses.count[row]),
        late_s=_late_s(board, lock, row, designed),
        led_peak_a=max(peak_a, 0.0),
        feed_rms_v=float(solution.rms(solution.between_v("feed", "neutral"))[row]),
    )


def _late_s(board: Board, lock: Lock, row: int, designed: int) -> tuple[float, float]:
    """What is left of the edges' offsets after the firmware's compensation."""
    offsets, compensated = _offsets_s(board, lock, row), _offsets_s(board, lock, designed)
    written = board.appliance.drive.compensation_s if board.appliance else None
    if written is not None:
        by_edges = times_both_edges(board)
        compensated = (written, -written if by_edges else written)
    late = np.subtract(offsets, compensated)
    return (0.0, 0.0) if np.any(np.isnan(late)) else (float(late[0]), float(late[1]))


def _offsets_s(board: Board, lock: Lock, row: int) -> tuple[float, float]:
    """Offsets of the edges that time the two half cycles; nan without pulses."""
    falls, rises = lock.pulses.fall_offset_s[row], lock.pulses.rise_offset_s[row]
    if times_both_edges(board):
        return float(falls[0]), float(rises[0])
    edges = falls if board.controller.edge == "falling" else rises
    second = 1 if expected_pulses(board) > 1 else 0
    return float(edges[0]), float(edges[second])


def _least_peak_a(board: Board) -> float:
    """Least peak of the LED current with which the board as designed locks."""
    weaker = build_circuit(board, Conditions(mains_rms_v=board.mains.rms_v * WEAKER))
    solution = solve(weaker, PULSES)
    peaks = np.max([solution.peak(solution.currents_a[ref]) for ref in input_refs(board)], axis=0)
    locks = judge(solution, board).locks
    return float(np.min(peaks[locks])) if np.any(locks) else float("inf")
