"""One island: static where its capacitors are idle, dynamic where they are at work."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import (
    Capacitance,
    Circuit,
    Controlled,
    Junction,
    MainsSource,
    harmonics_of,
)
from zcd.engine.branches import BreakdownBranch, JunctionBranch, TransistorBranch
from zcd.engine.grid import mirror
from zcd.engine.initial_guess import guess_output_v, lone_transistor
from zcd.engine.network import Network, column, compile_island, input_voltages_v
from zcd.engine.newton import SMALL_POINTS, LinearSolve, Pointwise, newton
from zcd.engine.photocurrent import photocurrents_a
from zcd.engine.solution import Island, at_points, nothing_yet
from zcd.engine.steady_state import Trajectory, abrupt_points, trajectory_solver
from zcd.errors import SolverError

FloatArray = NDArray[np.float64]
Branches = dict[str, JunctionBranch | TransistorBranch]

NEGLIGIBLE_RATIO = 1e-5
"""Displacement current, over the largest junction current, below which a capacitor is idle."""
JUMP_RATIO = 0.1
"""Jump of a capacitor's current, over the largest junction current, that may matter."""
OVERSHOT_V = 1e-3
"""What a transistor may seem to be below 0 V: rounding, and no overshoot."""
MIN_CURRENT_A = 1e-9
PIECE_POINTS = 81_920
"""With fewer, numpy's calls cost more than the cache saves; with more, memory does."""
FEW_POINTS = 8
"""With more, it pays to solve for the peaks of the mains first."""
MIN_PEAK_V = 1e-6
MANY_ROWS = 32
"""From so many rows on it pays to look for those in which an island is the same."""


def solve_island(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory,
    currents: Mapping[str, FloatArray],
    guess: Island | None,
    initial_guess_only: bool = False,
) -> Island:
    """One island: static where its capacitors are idle, dynamic in the other rows.

    With `initial_guess_only`, an output stage is only as good as is needed to place points in time.
    """
    photo = photocurrents_a(circuit, island, trajectory, currents)
    first, member = _distinct(circuit, island, trajectory, lit=bool(photo))
    if first.size < member.size:
        known = guess.rows(first) if guess else None
        some = solve_island(circuit.rows(first), island, trajectory.rows(first), {}, known)
        return some.rows(member)
    start = guess.states_v if guess else {}
    capacitors = [e for e in circuit.of(Capacitance) if island.issuperset(e.nodes)]
    if guess and np.all(guess.dynamic):
        state = replace(guess, voltages_v={}, currents_a={}, states_v=dict(start))
    elif capacitors and _has_output(circuit, island):
        # the output's capacitors are always at work: no need to ask what it does without them
        state = nothing_yet(circuit.size)
    else:
        state = _static(circuit, island, trajectory, photo, start)
        state.dynamic = _dynamic(capacitors, state, trajectory)
        if guess:
            state.dynamic |= guess.dynamic
    given = circuit, island, trajectory, photo, start, state
    solve_rows = partial(_solve_rows, *given, initial_guess_only=initial_guess_only)
    for index in _pieces(np.flatnonzero(state.dynamic), trajectory.phase_rad.shape[1]):
        if _has_output(circuit, island):
            solve_rows(index)
        else:
            _plain_then_damped(solve_rows, index)
    return state


def _has_output(circuit: Circuit, island: frozenset[str]) -> bool:
    """Whether there is a transistor at the pin in it."""
    return any(island.issuperset(e.nodes) for e in circuit.of(Controlled))


def _static(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory,
    photo: Mapping[str, FloatArray],
    start: Mapping[str, FloatArray],
) -> Island:
    """One island without its capacitors: where the mains repeats a voltage, solved once."""
    phase = trajectory.phase_rad
    if photo or not trajectory.mirrored or not _is_even(circuit):
        return static_island(circuit, island, phase, photo, start)
    rising, like = mirror(phase.shape[1])
    begin = {name: wave[:, rising] for name, wave in start.items()}
    return at_points(static_island(circuit, island, phase[:, rising], photo, begin), like)


def _is_even(circuit: Circuit) -> bool:
    """Whether the falling half of the mains mirrors the rising one."""
    orders, ratios, phases = harmonics_of(circuit)
    bent = (ratios != 0.0) & ((orders % 2 == 0) | (np.sin(phases) != 0.0))
    return not np.any(bent) and not any(np.any(m.surge_v) for m in circuit.of(MainsSource))


def static_island(
    circuit: Circuit,
    island: frozenset[str],
    phase: FloatArray,
    photo: Mapping[str, FloatArray],
    start: Mapping[str, FloatArray],
) -> Island:
    """One island without its capacitors, point by point."""
    pieces = _pieces(np.arange(phase.shape[0]), phase.shape[1])
    if len(pieces) > 1:
        return Island.joined(
            [
                static_island(
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
    branches, x = _newton(network, inputs, photo, start, Pointwise())
    return Island(
        voltages_v=_voltages(network, circuit, island, x, inputs),
        currents_a=_currents(branches),
        states_v={name: branch.state_v for name, branch in branches.items()},
        dynamic=np.zeros(circuit.size, dtype=bool),
        multiplier=np.zeros(circuit.size),
    )


def _distinct(
    circuit: Circuit, island: frozenset[str], trajectory: Trajectory, lit: bool
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows in which an island differs, and which of them each row is like.

    All of them where it would not pay to look, where they are solved at different phases, or
    where they may see different light.
    """
    phase = trajectory.phase_rad
    if lit or circuit.size < MANY_ROWS or np.any(np.ptp(phase, axis=0)):
        return np.arange(circuit.size), np.arange(circuit.size)
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


def _pieces(rows: NDArray[np.intp], points: int) -> list[NDArray[np.intp]]:
    """Rows in pieces small enough to stay near the processor, and worth numpy's calls."""
    count = min(rows.size, -(-rows.size * points // PIECE_POINTS))
    return np.array_split(rows, count) if count else []


def _newton(
    network: Network,
    inputs_v: FloatArray,
    photo: Mapping[str, FloatArray],
    start: Mapping[str, FloatArray],
    solver: LinearSolve,
) -> tuple[Branches, FloatArray]:
    """Solve a network; junctions get a breakdown only where one is driven into it."""
    points = inputs_v.shape[2]
    many = inputs_v.shape[1] * points > SMALL_POINTS and points > FEW_POINTS
    if isinstance(solver, Pointwise) and not start and not photo and many:
        start = _between_peaks(network, inputs_v)
    branches: Branches = {}
    for element in network.branches:
        if isinstance(element, Junction):
            times = photo.get(element.ref, 1.0)
            branches[element.ref] = JunctionBranch(element, network, points, times)
            if f"{element.ref}~" in start:
                branches[f"{element.ref}~"] = BreakdownBranch(element, network, points)
        elif isinstance(element, Controlled):
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


def _between_peaks(network: Network, inputs_v: FloatArray) -> dict[str, FloatArray]:
    """States where the source peaks, and straight lines between: nearly what they will be."""
    wave = inputs_v[0]
    ends = [int(np.argmin(wave[0])), int(np.argmax(wave[0]))]
    branches, _ = _newton(network, inputs_v[:, :, ends], {}, {}, Pointwise())
    peaks = wave[:, ends]
    up = np.maximum(wave, 0.0) / np.maximum(peaks[:, 1:], MIN_PEAK_V)
    down = np.minimum(wave, 0.0) / np.minimum(peaks[:, :1], -MIN_PEAK_V)
    return {
        name: branch.state_v[:, 1:] * up + branch.state_v[:, :1] * down
        for name, branch in branches.items()
    }


def _broken(network: Network, branches: Branches) -> list[Junction]:
    """Junctions without a breakdown whose reverse voltage calls for one."""
    result = []
    for element in network.branches:
        if isinstance(element, Junction) and f"{element.ref}~" not in branches:
            branch = branches[element.ref]
            assert isinstance(branch, JunctionBranch)
            limit = column(element.breakdown_v, branch.voltage_v.shape[0])
            if np.any(-branch.voltage_v > limit):
                result.append(element)
    return result


def _plain_then_damped(solve_rows: Callable[..., None], index: NDArray[np.intp]) -> None:
    """Solve these rows; those in which Newton finds no end by themselves, more patiently.

    The others are solved again without them, so that no row depends on its neighbours.
    """
    damped = index[:0]
    while damped.size < index.size:
        rest = np.setdiff1d(index, damped)
        try:
            solve_rows(rest)
            break
        except SolverError as error:
            if not error.rows:
                raise
            damped = np.union1d(damped, rest[list(error.rows)])
    if damped.size:
        solve_rows(damped, damped=True)


def _solve_rows(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory,
    photo: Mapping[str, FloatArray],
    start: Mapping[str, FloatArray],
    state: Island,
    index: NDArray[np.intp],
    initial_guess_only: bool,
    damped: bool = False,
) -> None:
    """Solve these rows of an island with their capacitors, and put them into `state`.

    Differences of second order overshoot where a charge stops; where several stop (a suppressor
    before a diode, a capacitor behind it) Newton may follow that round the period without an end.
    `damped` rows begin with differences of first order everywhere.
    """
    # a slice where it is all of them: nothing is copied
    pick = slice(None) if index.size == state.dynamic.size else index
    rows = circuit if isinstance(pick, slice) else circuit.rows(index)
    part = trajectory.rows(pick)
    network = compile_island(rows, island, dynamic=True)
    inputs = input_voltages_v(network, part.phase_rad)
    lit = {ref: wave[pick] for ref, wave in photo.items()}
    begin = {name: wave[pick] for name, wave in (start or state.states_v).items()}
    branches: Branches = {}
    element = None if begin else lone_transistor(network)
    if element:
        x, begin[element.ref] = guess_output_v(network, element, lit[element.ref], inputs, part)
    if not (element and initial_guess_only):
        part.abrupt = np.ones(part.phase_rad.shape, dtype=bool) if damped else None
        solver = trajectory_solver(network, inputs, part)
        branches, x = _newton(network, inputs, lit, begin, solver)
        if _has_output(circuit, island):
            part.abrupt = _overshot(branches, part.phase_rad.shape)
        else:
            largest = _largest_a(_currents(branches), index.size)[:, None]
            part.abrupt = abrupt_points(network, x, part, JUMP_RATIO * largest)
        if damped or np.any(part.abrupt):
            begin = {name: branch.state_v for name, branch in branches.items()}
            solver = trajectory_solver(network, inputs, part)
            branches, x = _newton(network, inputs, lit, begin, solver)
    _scatter(
        state.voltages_v, _voltages(network, rows, island, x, inputs), index, state.dynamic.size
    )
    _scatter(state.currents_a, _currents(branches), index, state.dynamic.size)
    states = {name: branch.state_v for name, branch in branches.items()}
    _scatter(state.states_v, states, index, state.dynamic.size)
    if not _has_output(circuit, island):
        state.multiplier[index] = part.multiplier()


def _overshot(branches: Branches, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Where a transistor seems to be driven below 0 V, which it cannot be: it comes to rest in
    saturation, and differences of second order go on."""
    result = np.zeros(shape, dtype=bool)
    for branch in branches.values():
        if isinstance(branch, TransistorBranch):
            result |= branch.state_v < -OVERSHOT_V
    return result


def _scatter(
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


def _largest_a(currents_a: Mapping[str, FloatArray], size: int) -> FloatArray:
    """Largest junction current of each row, shape (size,)."""
    largest = np.full(size, MIN_CURRENT_A)
    for wave in currents_a.values():
        np.maximum(largest, np.max(wave, axis=1), out=largest)
    return largest


def _dynamic(
    capacitors: list[Capacitance], state: Island, trajectory: Trajectory
) -> NDArray[np.bool_]:
    """Rows in which some capacitor's current matters beside the largest junction current."""
    n = trajectory.phase_rad.shape[0]
    step = np.diff(trajectory.phase_rad, axis=1)
    largest = _largest_a(state.currents_a, n)
    dynamic = np.zeros(n, dtype=bool)
    for element in capacitors:
        across = state.voltages_v[element.a] - state.voltages_v[element.b]
        slope = np.max(np.abs(np.diff(across, axis=1)) / step, axis=1, initial=0.0)
        current = np.asarray(element.capacitance_f) * slope * trajectory.omega_rad_per_s[:, 0]
        dynamic |= current > NEGLIGIBLE_RATIO * largest
    return dynamic
