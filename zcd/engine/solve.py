"""The engine: a batch of circuits in, their waveforms over one mains period out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import (
    Capacitance,
    Circuit,
    Junction,
    MainsSource,
    Phototransistor,
    Resistance,
)
from zcd.engine.branches import BreakdownBranch, JunctionBranch, TransistorBranch
from zcd.engine.grid import even_phases_rad, follow, mean_weights, resample
from zcd.engine.network import (
    LEAST_RESISTANCE_OHM,
    Network,
    column,
    compile_island,
    input_voltages_v,
    islands,
)
from zcd.engine.newton import LinearSolve, newton, solve_points
from zcd.engine.trajectory import Trajectory, lagged, trajectory_solver
from zcd.errors import InputError
from zcd.physics.optocoupler import ctr_shape_ratio, ctr_temperature_ratio

FloatArray = NDArray[np.float64]

WINDOW_CYCLES = 50
"""A circuit that has not settled after so many periods is shown as the transient it is."""
SETTLED_RATIO = 0.01
NEGLIGIBLE_RATIO = 1e-5
"""Displacement current, over the largest junction current, below which a capacitor is idle."""
LEAST_CURRENT_A = 1e-9
PIECE_POINTS = 16_384
MANY_ROWS = 32
"""From so many rows on it pays to look for those in which an island is the same."""
DEFAULT_FREQUENCY_HZ = 50.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """How finely to solve: points a period, and whether to solve again where waveforms move."""

    points: int = 160
    refine: bool = True
    isolated: bool = True


EDGES = Grid()
"""For edges and pulses."""
READINGS = Grid(points=96, refine=False)
"""For meters, which see means only."""
PULSES = Grid(points=80)
"""For pulses of many rows: edges within some microseconds."""


@dataclass(slots=True)
class Island:
    """What one island came to: waveforms, states of its branches, rows with capacitors at work."""

    voltages_v: dict[str, FloatArray]
    currents_a: dict[str, FloatArray]
    states_v: dict[str, FloatArray]
    busy: NDArray[np.bool_]
    multiplier: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
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
    cycle_peaks_a: Mapping[str, FloatArray] = field(default_factory=dict)
    states: Mapping[frozenset[str], Island] = field(default_factory=dict, repr=False)

    def between_v(self, a: str, b: str) -> FloatArray:
        """Voltage of node `a` against node `b`, shape (n, m); they must share an island."""
        first, second = self.circuit.node(a), self.circuit.node(b)
        for island in islands(self.circuit):
            if (first in island) != (second in island):
                raise InputError(
                    f"nodes must have a galvanic path between them, got {a!r} and {b!r}"
                )
        return self.voltages_v[first] - self.voltages_v[second]

    def mean(self, wave: FloatArray) -> FloatArray:
        """Mean over the period, shape (n,)."""
        return np.asarray(np.sum(wave * self.weight, axis=1))

    def rms(self, wave: FloatArray) -> FloatArray:
        """Rms over the period, shape (n,)."""
        return np.sqrt(self.mean(wave**2))

    def peak(self, wave: FloatArray) -> FloatArray:
        """Highest value over the period, shape (n,): of the parabola through the highest points."""
        rows = np.arange(wave.shape[0])
        top = np.argmax(wave, axis=1)
        m = wave.shape[1]
        before, after = (top - 1) % m, (top + 1) % m
        turn = 2.0 * np.pi
        left = (self.phase_rad[rows, top] - self.phase_rad[rows, before]) % turn
        right = (self.phase_rad[rows, after] - self.phase_rad[rows, top]) % turn
        y = wave[rows, top]
        down_left, down_right = wave[rows, before] - y, wave[rows, after] - y
        slope = (down_right * left**2 - down_left * right**2) / (left * right * (left + right))
        bend = (down_right * left + down_left * right) / (left * right * (left + right))
        return y + np.where(bend < 0, -(slope**2) / np.where(bend < 0, 4.0 * bend, 1.0), 0.0)

    def power_w(self, resistance: Resistance) -> FloatArray:
        """Mean power in a resistance, shape (n,)."""
        across = self.voltages_v[resistance.a] - self.voltages_v[resistance.b]
        ohm = np.maximum(np.asarray(resistance.resistance_ohm), LEAST_RESISTANCE_OHM)
        return self.mean(across**2) / ohm


def solve(circuit: Circuit, grid: Grid = EDGES, like: Solution | None = None) -> Solution:
    """Waveforms of every row of a batch over one mains period.

    Without capacitors on the mains side that side is solved point by point, exactly. With them
    it is the periodic steady state; where a disturbance would take longer than
    `WINDOW_CYCLES` to die to 1 %, it is the transient from the moment of switching on.

    Parameters
    ----------
    circuit : Circuit
        n rows.
    grid : Grid
    like : Solution, optional
        Of the same batch on the same even grid, before a few elements were added: islands
        without a new element are taken over, the others start from it.

    Returns
    -------
    solution : Solution

    Raises
    ------
    SolverError
        If a row does not converge.
    """
    points = grid.points // 2 if grid.refine else grid.points
    phase = even_phases_rad(circuit.size, points)
    if like is not None and like.phase_rad.shape != phase.shape:
        like = None
    states = _solve_on(circuit, phase, grid, like.states if like else {}, like)
    if grid.refine:
        waves = [w for state in states.values() for w in state.currents_a.values()]
        waves += [s.voltages_v["pin"] for s in states.values() if "pin" in s.voltages_v]
        finer = follow(phase, waves, grid.points)
        states = _solve_on(circuit, finer, grid, _at(phase, states, finer))
        phase = finer
    solution = _solution(circuit, phase, states)
    multiplier = np.max([s.multiplier for s in states.values()], axis=0)
    fading = multiplier**WINDOW_CYCLES > SETTLED_RATIO
    return _with_transients(solution, fading, grid) if np.any(fading) else solution


def solve_dead(circuit: Circuit) -> Solution:
    """DC solution of a circuit without mains: what a meter's own test source does.

    Parameters
    ----------
    circuit : Circuit
        Without a `MainsSource`.

    Returns
    -------
    solution : Solution
        One point a row.
    """
    phase = np.zeros((circuit.size, 1))
    currents: dict[str, FloatArray] = {}
    states: dict[frozenset[str], Island] = {}
    for island in _lit_last(circuit):
        photo = _photocurrents(circuit, island, None, currents)
        states[island] = _static_island(circuit, island, phase, photo, {})
        currents |= states[island].currents_a
    return _solution(circuit, phase, states)


States = Mapping[frozenset[str], Island]
Branches = dict[str, JunctionBranch | TransistorBranch]


def _at(phase: FloatArray, states: States, finer: FloatArray) -> States:
    """States of the branches at other phases: where Newton starts the second time."""
    return {
        island: replace(
            state,
            states_v={k: resample(phase, v, finer) for k, v in state.states_v.items()},
        )
        for island, state in states.items()
    }


def _solution(circuit: Circuit, phase: FloatArray, states: States) -> Solution:
    return Solution(
        circuit=circuit,
        phase_rad=phase,
        time_s=phase / _omega(circuit),
        weight=mean_weights(phase),
        voltages_v={k: v for s in states.values() for k, v in s.voltages_v.items()},
        currents_a={k: v for s in states.values() for k, v in s.currents_a.items()},
        settled=np.ones(circuit.size, dtype=bool),
        states=states,
    )


def _omega(circuit: Circuit) -> FloatArray:
    """Angular frequency, shape (n, 1)."""
    mains = circuit.of(MainsSource)
    frequency = mains[0].frequency_hz if mains else DEFAULT_FREQUENCY_HZ
    return 2.0 * np.pi * column(frequency, circuit.size)


def _lit_last(circuit: Circuit) -> list[frozenset[str]]:
    """Islands in the order of the light: those with a phototransistor come last."""
    outputs = {n for e in circuit.of(Phototransistor) for n in e.nodes}
    return sorted(islands(circuit), key=lambda island: not outputs.isdisjoint(island))


def _solve_on(
    circuit: Circuit, phase: FloatArray, grid: Grid, guess: States, like: Solution | None = None
) -> States:
    """All islands of a circuit on given phases of one period."""
    trajectory = Trajectory(phase, _omega(circuit))
    kept = _unchanged(circuit, like) if like else {}
    return _all_islands(circuit, trajectory, grid.isolated, guess, kept)


def _unchanged(circuit: Circuit, like: Solution) -> States:
    """Islands that consist of the very elements they had before, and see the same light."""
    kept: dict[frozenset[str], Island] = {}
    all_kept = True
    for island in _lit_last(circuit):
        now = [e for e in circuit if island.issuperset(e.nodes)]
        before = [e for e in like.circuit if island.issuperset(e.nodes)]
        same = len(now) == len(before) and all(a is b for a, b in zip(now, before, strict=True))
        lit = any(isinstance(e, Phototransistor) for e in now)
        if same and island in like.states and (all_kept or not lit):
            kept[island] = like.states[island]
        all_kept &= same
    return kept


def _all_islands(
    circuit: Circuit, trajectory: Trajectory, isolated: bool, guess: States, kept: States
) -> dict[frozenset[str], Island]:
    """Every island in the order of the light."""
    currents: dict[str, FloatArray] = {}
    states: dict[frozenset[str], Island] = {}
    for island in _lit_last(circuit):
        if not isolated and "pin" in island:
            continue
        if island in kept:
            states[island] = kept[island]
        else:
            states[island] = _island(circuit, island, trajectory, currents, guess.get(island))
        currents |= states[island].currents_a
    return states


def _with_transients(solution: Solution, fading: NDArray[np.bool_], grid: Grid) -> Solution:
    """Replace the rows that have not settled by the last cycle of their transient."""
    index = np.flatnonzero(fading)
    circuit = solution.circuit.rows(index)
    points = solution.phase_rad.shape[1]
    phase = even_phases_rad(index.size, points, WINDOW_CYCLES)
    trajectory = Trajectory(phase, _omega(circuit), closed=False)
    transient = _solution(circuit, phase, _all_islands(circuit, trajectory, grid.isolated, {}, {}))
    phases = solution.phase_rad.copy()
    phases[index] = phase[:, :points]

    def merged(
        whole: Mapping[str, FloatArray], part: Mapping[str, FloatArray]
    ) -> dict[str, FloatArray]:
        out = {}
        for name in {**whole, **part}:
            out[name] = whole[name].copy() if name in whole else np.zeros(phases.shape)
            out[name][index] = part[name][:, -points:] if name in part else 0.0
        return out

    peaks = {}
    for name, wave in transient.currents_a.items():
        peaks[name] = np.full((fading.size, WINDOW_CYCLES), np.nan)
        peaks[name][index] = wave.reshape(index.size, WINDOW_CYCLES, points).max(axis=2)
    return replace(
        solution,
        phase_rad=phases,
        time_s=phases / _omega(solution.circuit),
        weight=mean_weights(phases),
        voltages_v=merged(solution.voltages_v, transient.voltages_v),
        currents_a=merged(solution.currents_a, transient.currents_a),
        settled=~fading,
        cycle_peaks_a=peaks,
    )


def _island(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory,
    currents: Mapping[str, FloatArray],
    guess: Island | None,
) -> Island:
    """One island: static where its capacitors are idle, dynamic in the other rows."""
    photo = _photocurrents(circuit, island, trajectory, currents)
    start = guess.states_v if guess else {}
    capacitors = [e for e in circuit.of(Capacitance) if e.a in island]
    if guess and np.all(guess.busy):
        state = replace(guess, voltages_v={}, currents_a={}, states_v=dict(start))
    elif photo and capacitors:
        # the output's capacitors are always at work: no need to ask what it does without them
        state = _nothing_yet(circuit.size)
    else:
        state = _static_island(circuit, island, trajectory.phase_rad, photo, start)
        state.busy = _busy(capacitors, state, trajectory)
        if guess:
            state.busy |= guess.busy
    if np.any(state.busy):
        _solve_dynamic(circuit, island, trajectory, photo, start, state)
    return state


def _nothing_yet(size: int) -> Island:
    """An island of which every row is still to be solved with its capacitors."""
    return Island(
        voltages_v={},
        currents_a={},
        states_v={},
        busy=np.ones(size, dtype=bool),
        multiplier=np.zeros(size),
    )


def _static_island(
    circuit: Circuit,
    island: frozenset[str],
    phase: FloatArray,
    photo: Mapping[str, FloatArray],
    start: Mapping[str, FloatArray],
) -> Island:
    """One island without its capacitors, point by point."""
    if not photo and phase.shape[0] >= MANY_ROWS and not np.any(np.ptp(phase, axis=0)):
        first, member = _distinct(circuit, island)
        if first.size < phase.shape[0]:
            few = {name: wave[first] for name, wave in start.items()}
            part = _static_island(circuit.rows(first), island, phase[first], photo, few)
            return _take(part, member)
    pieces = _pieces(np.arange(phase.shape[0]), phase.shape[1])
    if len(pieces) > 1:
        return _joined(
            [
                _static_island(
                    circuit.rows(rows),
                    island,
                    phase[rows],
                    {ref: wave[rows] for ref, wave in photo.items()},
                    {name: wave[rows] for name, wave in start.items()},
                )
                for rows in pieces
            ]
        )
    network = compile_island(circuit, island, dynamic=False)
    inputs = input_voltages_v(network, phase)
    branches, x = _newton(network, inputs, photo, start, solve_points)
    return Island(
        voltages_v=_voltages(network, circuit, island, x, inputs),
        currents_a=_currents(branches),
        states_v={name: branch.state_v for name, branch in branches.items()},
        busy=np.zeros(circuit.size, dtype=bool),
        multiplier=np.zeros(circuit.size),
    )


def _distinct(
    circuit: Circuit, island: frozenset[str]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows in which an island differs, and which of them each row is like."""
    values = [
        np.broadcast_to(np.asarray(value, dtype=float), (circuit.size,))
        for element in circuit
        if island.issuperset(element.nodes)
        for value in element.values().values()
    ]
    _, first, member = np.unique(
        np.stack(values, axis=1), axis=0, return_index=True, return_inverse=True
    )
    return first, member.ravel()


def _take(state: Island, rows: NDArray[np.intp]) -> Island:
    """Some rows of an island, in any order, repeated or not."""
    return Island(
        voltages_v={name: wave[rows] for name, wave in state.voltages_v.items()},
        currents_a={name: wave[rows] for name, wave in state.currents_a.items()},
        states_v={name: wave[rows] for name, wave in state.states_v.items()},
        busy=state.busy[rows],
        multiplier=state.multiplier[rows],
    )


def _joined(parts: Sequence[Island]) -> Island:
    """Rows of several islands, one after another; a breakdown that some lack is zero there."""

    def join(waves: Sequence[Mapping[str, FloatArray]]) -> dict[str, FloatArray]:
        names = dict.fromkeys(name for part in waves for name in part)
        shapes = [next(iter(part.values())).shape if part else (0, 0) for part in waves]
        return {
            name: np.concatenate(
                [p.get(name, np.zeros(shape)) for p, shape in zip(waves, shapes, strict=True)]
            )
            for name in names
        }

    return Island(
        voltages_v=join([p.voltages_v for p in parts]),
        currents_a=join([p.currents_a for p in parts]),
        states_v=join([p.states_v for p in parts]),
        busy=np.concatenate([p.busy for p in parts]),
        multiplier=np.concatenate([p.multiplier for p in parts]),
    )


def _pieces(rows: NDArray[np.intp], points: int) -> list[NDArray[np.intp]]:
    """Rows in pieces small enough to stay in the processor's cache."""
    return np.array_split(rows, max(1, -(-rows.size * points // PIECE_POINTS)))


def _newton(
    network: Network,
    inputs_v: FloatArray,
    photo: Mapping[str, FloatArray],
    start: Mapping[str, FloatArray],
    solver: LinearSolve,
) -> tuple[Branches, FloatArray]:
    """Solve a network; junctions get a breakdown only where one is driven into it."""
    points = inputs_v.shape[2]
    branches: Branches = {}
    for element in network.branches:
        if isinstance(element, Junction):
            branches[element.ref] = JunctionBranch(element, network, points)
            if f"{element.ref}~" in start:
                branches[f"{element.ref}~"] = BreakdownBranch(element, network, points)
        elif isinstance(element, Phototransistor):
            branches[element.ref] = TransistorBranch(element, network, photo[element.ref])
    while True:
        for name, branch in branches.items():
            branch.state_v = start.get(name, branch.state_v)
        x = newton(network, list(branches.values()), inputs_v, solver)
        broken = _broken(network, branches)
        if not broken:
            return branches, x
        start = {name: branch.state_v for name, branch in branches.items()}
        for element in broken:
            branches[f"{element.ref}~"] = BreakdownBranch(element, network, points)


def _broken(network: Network, branches: Branches) -> list[Junction]:
    """Junctions without a breakdown whose reverse voltage calls for one."""
    found = []
    for element in network.branches:
        if isinstance(element, Junction) and f"{element.ref}~" not in branches:
            branch = branches[element.ref]
            assert isinstance(branch, JunctionBranch)
            limit = column(element.breakdown_v, branch.voltage_v.shape[0])
            if np.any(-branch.voltage_v > limit):
                found.append(element)
    return found


def _solve_dynamic(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory,
    photo: Mapping[str, FloatArray],
    start: Mapping[str, FloatArray],
    state: Island,
) -> None:
    """Solve the busy rows of an island with their capacitors, and put them into `state`."""
    for index in _pieces(np.flatnonzero(state.busy), trajectory.phase_rad.shape[1]):
        _solve_rows(circuit, island, trajectory, photo, start, state, index)


def _solve_rows(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory,
    photo: Mapping[str, FloatArray],
    start: Mapping[str, FloatArray],
    state: Island,
    index: NDArray[np.intp],
) -> None:
    """Solve these rows of an island with their capacitors, and put them into `state`."""
    # a slice where it is all of them: nothing is copied
    pick = slice(None) if index.size == state.busy.size else index
    rows = circuit if isinstance(pick, slice) else circuit.rows(index)
    part = Trajectory(
        trajectory.phase_rad[pick], trajectory.omega_rad_per_s[pick], trajectory.closed
    )
    network = compile_island(rows, island, dynamic=True)
    inputs = input_voltages_v(network, part.phase_rad)
    lit = {ref: wave[pick] for ref, wave in photo.items()}
    begin = {name: wave[pick] for name, wave in (start or state.states_v).items()}
    solver = trajectory_solver(network, inputs, part)
    branches, x = _newton(network, inputs, lit, begin, solver)
    _put(state.voltages_v, _voltages(network, rows, island, x, inputs), index, state.busy.size)
    _put(state.currents_a, _currents(branches), index, state.busy.size)
    states = {name: branch.state_v for name, branch in branches.items()}
    _put(state.states_v, states, index, state.busy.size)
    if not photo:
        state.multiplier[index] = part.multiplier()


def _put(
    whole: dict[str, FloatArray],
    part: Mapping[str, FloatArray],
    index: NDArray[np.intp],
    size: int,
) -> None:
    """Put some rows of waveforms into those of the whole batch."""
    for name, wave in part.items():
        if index.size == size:
            whole[name] = wave
        else:
            whole.setdefault(name, np.zeros((size, wave.shape[1])))
            whole[name][index] = wave


def _currents(branches: Branches) -> dict[str, FloatArray]:
    """Currents of the junctions by ref; ``ref~`` is what flows backwards in breakdown."""
    return {
        name: branch.current_a
        for name, branch in branches.items()
        if isinstance(branch, JunctionBranch)
    }


def _voltages(
    network: Network,
    circuit: Circuit,
    island: frozenset[str],
    x: FloatArray,
    inputs_v: FloatArray,
) -> dict[str, FloatArray]:
    """Voltages of all nodes of an island."""
    shape = inputs_v.shape[1:]
    k = network.active
    voltages = {n: np.zeros(shape) for n in circuit.nodes if n in island}
    for i, node in enumerate(network.nodes[:k]):
        voltages[node] = np.array(x[i])
    for u, node in enumerate(network.known):
        voltages[node] = inputs_v[u].copy()
    by_active, by_input, fixed = network.recover
    for row, node in enumerate(network.nodes[k:]):
        wave = np.broadcast_to(fixed[:, row, None], shape).copy()
        for i in range(k):
            wave += by_active[:, row, i, None] * x[i]
        for u in range(len(network.known)):
            wave += by_input[:, row, u, None] * inputs_v[u]
        voltages[node] = wave
    return voltages


def _photocurrents(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory | None,
    currents: Mapping[str, FloatArray],
) -> dict[str, FloatArray]:
    """Collector current, at VCE = 5 V, that the light calls for in each phototransistor."""
    found = {}
    for opto in circuit.of(Phototransistor):
        if opto.a not in island:
            continue
        size = circuit.size
        ratio = column(opto.ctr_ratio, size) * column(opto.remaining_ratio, size)
        celsius = column(opto.temperature_degc, size)
        weight = column(opto.shape_weight, size)
        light = np.zeros((size, 1))
        for led in opto.leds:
            if led in currents:
                i = np.maximum(currents[led], 0.0)
                light = light + i * ctr_shape_ratio(i, weight) * ctr_temperature_ratio(i, celsius)
        light = ratio * light
        if trajectory is not None:
            points = trajectory.phase_rad.shape[1]
            light = np.broadcast_to(light, (size, points))
            light = lagged(light, column(opto.storage_s, size), trajectory)
        found[opto.ref] = light + column(opto.dark_a, size)
    return found


def _busy(
    capacitors: list[Capacitance], state: Island, trajectory: Trajectory
) -> NDArray[np.bool_]:
    """Rows in which some capacitor's current matters beside the largest junction current."""
    n, m = trajectory.phase_rad.shape
    largest = np.full(n, LEAST_CURRENT_A)
    for wave in state.currents_a.values():
        np.maximum(largest, np.max(wave, axis=1), out=largest)
    busy = np.zeros(n, dtype=bool)
    for element in capacitors:
        across = state.voltages_v[element.a] - state.voltages_v[element.b]
        slope = np.max(np.abs(np.diff(across, axis=1)), axis=1, initial=0.0) * m / (2.0 * np.pi)
        current = np.asarray(element.capacitance_f) * slope * trajectory.omega_rad_per_s[:, 0]
        busy |= current > NEGLIGIBLE_RATIO * largest
    return busy
