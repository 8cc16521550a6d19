"""One island: static where its capacitors are idle, dynamic where they are at work."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Capacitance, Circuit, Controlled, Junction
from zcd.engine.grid import rowwise
from zcd.engine.kernel import Solver
from zcd.engine.network import REACH, Network, compile_island, input_voltages_v
from zcd.engine.photocurrent import photocurrents_a
from zcd.engine.solution import Island, Places, Voltages, nothing_yet
from zcd.engine.trajectory import Trajectory, intervals_s
from zcd.errors import SolverError

FloatArray = NDArray[np.float64]

NEGLIGIBLE_RATIO = 1e-5
"""Displacement current, over the largest junction current, below which a capacitor is idle."""
MIN_CURRENT_A = 1e-9
MOST_PLACES = 128
"""At so many voltages of its source an island without capacitors is solved at the most."""
MANY_ROWS = 32
"""From so many rows on it pays to look for those in which an island is the same."""
WORTH_PICKING = 0.8
"""Where more than this share of the rows differ, it takes longer to copy them than to solve all."""


def solve_island(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory,
    currents: Mapping[str, FloatArray],
    before: Island | None,
    more_to_come: bool = False,
) -> Island:
    """One island: static where its capacitors are idle, dynamic in the other rows.

    In rows where they were at work `before`, they are. What it came to at some voltages is taken
    from there, and kept if there is `more_to_come`.
    """
    photo = photocurrents_a(circuit, island, trajectory, currents)
    first, member = _distinct(circuit, island, trajectory, lit=bool(photo))
    if first.size < WORTH_PICKING * member.size:
        rows = circuit.rows(first), island, trajectory.rows(first)
        some = solve_island(*rows, {}, before.rows(first) if before else None, more_to_come)
        return some.rows(member)
    capacitors = [e for e in circuit.of(Capacitance) if island.issuperset(e.nodes)]
    if before and np.all(before.dynamic):
        state = nothing_yet(circuit.size)
    elif capacitors and _has_output(circuit, island):
        # the output's capacitors are always at work: no need to ask what it does without them
        state = nothing_yet(circuit.size)
    else:
        places = before.places if before else {}
        state = static_island(circuit, island, trajectory.phase_rad, photo, places, more_to_come)
        state.dynamic = _dynamic(capacitors, state, trajectory)
        if before:
            state.dynamic |= before.dynamic
    index = np.flatnonzero(state.dynamic)
    if index.size:
        _solve_rows(circuit, island, trajectory, photo, state, index, before)
    state.phase_rad = trajectory.phase_rad
    return state


def _has_output(circuit: Circuit, island: frozenset[str]) -> bool:
    """Whether there is a transistor at the pin in it."""
    return any(island.issuperset(e.nodes) for e in circuit.of(Controlled))


def static_island(
    circuit: Circuit,
    island: frozenset[str],
    phase: FloatArray,
    photo: Mapping[str, FloatArray],
    places: Places | None = None,
    more_to_come: bool = False,
) -> Island:
    """One island without its capacitors."""
    network = compile_island(circuit, island, dynamic=False)
    inputs = input_voltages_v(network, phase)
    places = places or _no_places(network, circuit.size, circuit.size if more_to_come else 1)
    x, currents, _ = solve_network(network, inputs, photo, None, places)
    return Island(
        phase_rad=phase,
        voltages_v=_voltages(network, circuit, island, x, inputs),
        currents_a=currents,
        dynamic=np.zeros(circuit.size, dtype=bool),
        multiplier=np.zeros(circuit.size),
        places=places if more_to_come else {},
    )


def at_rest(circuit: Circuit, island: frozenset[str]) -> Island:
    """One island of a dead circuit in which nothing gives a current."""
    still = np.zeros((circuit.size, 1))
    names = tuple(n for n in circuit.nodes if n in island)
    inside = [e.ref for e in circuit.of(Junction) if island.issuperset(e.nodes)]
    return Island(
        phase_rad=still,
        voltages_v=Voltages(names, dict.fromkeys(names, still)),
        currents_a=dict.fromkeys(inside, still),
        dynamic=np.zeros(circuit.size, dtype=bool),
        multiplier=np.zeros(circuit.size),
    )


def _no_places(network: Network, size: int, kept: int) -> Places:
    """For what a network comes to at some voltages of its source, in all rows or in one."""
    wide, count = MOST_PLACES if network.swinging >= 0 else 0, len(network.branches)
    return {
        "links": np.zeros((kept, 2, wide), dtype=np.intc),
        "volts": np.empty((kept, 2, wide, 1 + 2 * count + network.active)),
        "broken": np.zeros((size, count), dtype=np.int8),
    }


def solve_network(
    network: Network,
    inputs_v: FloatArray,
    photo: Mapping[str, FloatArray],
    trajectory: Trajectory | None,
    places: Places | None = None,
    begin_v: FloatArray | None = None,
) -> tuple[FloatArray, dict[str, FloatArray], FloatArray]:
    """A network row by row; without a trajectory each point by itself.

    There, where no light comes, all that a point has is the voltage of its source: the row is
    solved at some voltages, and read off between.

    Parameters
    ----------
    network : Network
    inputs_v : ndarray, shape (u, n, m)
    photo : mapping of str to ndarray, shape (n, m)
        What controls some of its elements: photocurrents, factors to saturation currents.
    trajectory : Trajectory, optional
    places : mapping of str to ndarray, optional
        As `Island` has them, or still empty.
    begin_v : ndarray, shape (n, 3, k), optional
        What the active nodes may be at the points before a period's first, the nearest first.

    Returns
    -------
    voltages_v : ndarray, shape (k, n, m)
        Of the active nodes.
    currents_a : dict of str to ndarray, shape (n, m)
        Of the junctions by ref; ``ref~`` is what flows backwards in breakdown.
    carry : ndarray, shape (n, 3 c, 3 c)
        What a disturbance of the c charged nodes, at three points, looks like after one period.

    Raises
    ------
    SolverError
        If a row does not converge; it has their numbers.
    """
    _, n, m = inputs_v.shape
    count, closed = len(network.branches), trajectory is not None and trajectory.closed
    lit = [e.ref for e in network.branches if e.ref in photo]
    drive = np.empty((len(lit), n, m))
    for place, ref in enumerate(lit):
        drive[place] = photo[ref]
    numbers = [lit.index(e.ref) if e.ref in lit else -1 for e in network.branches]
    x, flows = np.zeros((network.active, n, m)), np.zeros((2 * count, n, m))
    left_v = np.zeros(n)
    places = places or _no_places(network, n, 1)
    broken = places["broken"]
    held = REACH * network.charged.size if closed else 0
    carry = np.zeros((n, held, held))
    solver = Solver(
        network,
        inputs_v,
        drive,
        np.array(numbers, dtype=np.intc),
        intervals_s(trajectory) if trajectory else np.zeros((0, 0)),
        closed,
        network.swinging if trajectory is None and m > 1 and not lit else -1,
        places["links"],
        places["volts"],
        np.zeros((n if held else 1, REACH, network.active)) if begin_v is None else begin_v,
        broken,
        x,
        flows,
        carry,
        left_v,
    )
    astray = [row for row in range(n) if not solver.solve(row)]
    if astray:
        message = f"the circuit did not converge: {left_v[astray].max():.3g} V left"
        raise SolverError(message, astray)
    currents = {}
    for place, element in enumerate(network.branches):
        if isinstance(element, Junction):
            currents[element.ref] = flows[place]
            if broken[:, place].any():
                currents[f"{element.ref}~"] = flows[count + place]
    return x, currents, carry


def _distinct(
    circuit: Circuit, island: frozenset[str], trajectory: Trajectory, lit: bool
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows in which an island differs, and which of them each row is like.

    All of them where it would not pay to look, where they are solved at different phases, or
    where they may see different light.
    """
    phase = trajectory.phase_rad
    if lit or circuit.size < MANY_ROWS or np.any(phase != phase[:1]):
        return np.arange(circuit.size), np.arange(circuit.size)
    values = [
        np.broadcast_to(np.asarray(value, dtype=float), (circuit.size,))
        for element in circuit
        if island.issuperset(element.nodes)
        for value in element.values().values()
    ]
    bits = np.stack(values, axis=1).view(np.uint64)
    # to sort the rows themselves would take ten times as long
    keys = bits @ np.random.default_rng(0).integers(2**64, size=bits.shape[1], dtype=np.uint64)
    _, first, member = np.unique(keys, return_index=True, return_inverse=True)
    if not np.array_equal(bits[first[member]], bits):  # two rows of one key
        return np.arange(circuit.size), np.arange(circuit.size)
    return first, member


def _solve_rows(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory,
    photo: Mapping[str, FloatArray],
    state: Island,
    index: NDArray[np.intp],
    before: Island | None,
) -> None:
    """Solve these rows of an island with their capacitors, and put them into `state`."""
    size = state.dynamic.size
    rows, part, lit = circuit, trajectory, photo
    if index.size < size:  # where it is all of them nothing is copied
        rows, part = circuit.rows(index), trajectory.rows(index)
        lit = {ref: wave[index] for ref, wave in photo.items()}
        before = before.rows(index) if before else None
    network = compile_island(rows, island, dynamic=True)
    inputs = input_voltages_v(network, part.phase_rad)
    begin_v = _begin_v(network, part, before) if before and part.closed else None
    x, currents, carry = solve_network(network, inputs, lit, part, begin_v=begin_v)
    volts = _voltages(network, rows, island, x, inputs)
    if index.size < size:
        waves = {name: state.voltages_v[name] for name in volts.waves}
        _scatter(waves, volts.waves, index, size)
        # what recovers passive nodes beside capacitors at work does it beside idle ones too
        volts = Voltages(volts.names, waves, compile_island(circuit, island, dynamic=True).recover)
    state.voltages_v = volts
    _scatter(state.currents_a, currents, index, size)
    if carry.size and not _has_output(circuit, island):
        # the largest Floquet multiplier: the share of a disturbance that is left after one period
        state.multiplier[index] = np.abs(np.linalg.eigvals(carry)).max(axis=1)


def _begin_v(network: Network, trajectory: Trajectory, before: Island) -> FloatArray | None:
    """What nodes with a capacitor were before the period, as `solve_network` takes it."""
    turn = 2.0 * np.pi
    ends = trajectory.phase_rad[:, : -REACH - 1 : -1] / turn
    known = np.append(before.phase_rad / turn, np.ones((len(ends), 1)), axis=1)
    result = np.zeros((*ends.shape, network.active))
    for place in network.charged:
        if (wave := before.voltages_v.waves.get(network.nodes[place])) is None:
            return None
        result[:, :, place] = rowwise(ends, known, np.append(wave, wave[:, :1], axis=1))
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


def _voltages(
    network: Network,
    circuit: Circuit,
    island: frozenset[str],
    x: FloatArray,
    inputs_v: FloatArray,
) -> Voltages:
    """Voltages of all nodes of an island."""
    names = tuple(n for n in circuit.nodes if n in island)
    passive = {each.node for each in network.recover}
    waves = {n: np.zeros(inputs_v.shape[1:]) for n in names if n not in passive}
    waves |= zip(network.nodes[: network.active], x, strict=True)
    waves |= {node: inputs_v[u].copy() for u, node in enumerate(network.known)}
    return Voltages(names, waves, network.recover)


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
