"""The engine: a batch of circuits in, their waveforms over one mains period out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.batch import split
from zcd.circuit.elements import (
    Capacitance,
    Circuit,
    Controlled,
    DcSource,
    MainsSource,
    Release,
    TestSource,
    Transistor,
    is_hidden,
    stack,
)
from zcd.engine.grid import (
    clustered_phases_rad,
    even_phases_rad,
    follow,
    mean_weights,
    trapezoid_weights,
)
from zcd.engine.island import at_rest, solve_island, static_island
from zcd.engine.network import column, islands, parts_of
from zcd.engine.photocurrent import photocurrents_a, saturated_ratio
from zcd.engine.solution import Island, Solution, States, voltages_of
from zcd.engine.trajectory import Trajectory

FloatArray = NDArray[np.float64]

WINDOW_CYCLES = 50
"""A circuit that has not settled after so many periods is shown as the transient it is."""
SETTLED_RATIO = 0.01
SURELY_RATIO = 0.02
"""What is left of a disturbance on the first grid where the second would not say otherwise."""
TRANSIENT_ROWS = 64
"""So many at once: of a transient all points of all its periods are held."""
CHARGED_ROUNDS = 3
ON_V = 0.6
"""A base this far below its emitter is as far below as a diode across it lets it come."""
DEFAULT_FREQUENCY_HZ = 50.0
COARSER_RATIO = 2.0 / 3.0
"""So many of the points serve to place the others."""
CHARGED_FINER = 2.5
"""How many times as many points where capacitors drive currents on the mains side: a clamped
charge flows at once (at twice as many the power in a part of little current is 0.6 % off)."""
PIN_WEIGHT = 3.0
"""What the pin's waveform weighs beside the currents, as edges are asked for."""
LEAST_V, LEAST_A = 1e-3, 1e-9
"""What swings by less is nearly still: its rounding errors must move no points."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SolverOptions:
    """How to solve.

    Parameters
    ----------
    points : int
        Of one period; 2.5 times as many where capacitors drive currents on the mains side.
    refine : bool
        Solve again with the points where the waveforms move.
    isolated : bool
        False: leave out an isolated side.
    cluster_at_crossings : bool
        Begin with points that crowd at the mains' zero crossings, not with even ones.
    steady_state_only : bool
        Take the periodic steady state however many periods it takes to come; False shows what
        has not settled as the transient it is.
    """

    points: int = 108
    refine: bool = True
    isolated: bool = True
    cluster_at_crossings: bool = False
    steady_state_only: bool = False


EDGES = SolverOptions()
"""For edges and pulses: within 10 us of a circuit simulator's on 99 of 100 boards of any kind."""
READINGS = SolverOptions(
    points=104, refine=False, cluster_at_crossings=True, steady_state_only=True
)
"""For meters, which see means only, and are read long after switching on."""
PULSES = SolverOptions(steady_state_only=True)
"""For pulses of many rows: edges of 99 in 100 within 3 us of those of 2,400 points."""


def solve(
    circuit: Circuit, options: SolverOptions = EDGES, warm_start: Solution | None = None
) -> Solution:
    """Waveforms of every row of a batch over one mains period.

    Without capacitors on the mains side that side is solved point by point, exactly. With them
    it is the periodic steady state; where a disturbance would take longer than
    `WINDOW_CYCLES` to die to 1 % (and the grid is not patient), it is the transient from the
    moment of switching on.

    Parameters
    ----------
    circuit : Circuit
        n rows.
    options : SolverOptions
    warm_start : Solution, optional
        Of the same batch on the same first grid, before a few elements were added: islands
        without a new element are taken over, the others start from it.

    Returns
    -------
    solution : Solution

    Raises
    ------
    SolverError
        If a row does not converge.
    """
    points = options.points
    if options.refine and _charges(circuit):
        points = round(points * CHARGED_FINER)
    begin = clustered_phases_rad if options.cluster_at_crossings else even_phases_rad
    phase = begin(circuit.size, round(points * COARSER_RATIO) if options.refine else points)
    if warm_start is not None and not np.array_equal(warm_start.phase_rad, phase):
        warm_start = None
    guess = warm_start.states if warm_start else {}
    states = _solve_on(circuit, phase, options, guess, warm_start, for_points_only=options.refine)
    if options.refine:
        phase = follow(phase, *_followed(circuit, states, phase.shape), points)
        if np.any(fading := _fades(states, options, SURELY_RATIO)):
            return _beside_transients(circuit, phase, options, states, fading)
        states = _solve_on(circuit, phase, options, states)
    solution, fading = _solution(circuit, phase, states), _fades(states, options)
    return _with_transients(solution, fading, options) if np.any(fading) else solution


def _fades(
    states: States, options: SolverOptions, left_ratio: float = SETTLED_RATIO
) -> NDArray[np.bool_]:
    """Rows in which more than a share of a disturbance is left after `WINDOW_CYCLES`."""
    multiplier = np.max([s.multiplier for s in states.values()], axis=0)
    return (multiplier**WINDOW_CYCLES > left_ratio) & (not options.steady_state_only)


def _beside_transients(
    circuit: Circuit,
    phase: FloatArray,
    options: SolverOptions,
    states: States,
    fading: NDArray[np.bool_],
) -> Solution:
    """The solution where the first grid shows that some rows fade: only the others are refined."""
    # at least one, which is replaced
    rows = np.flatnonzero(~fading) if not np.all(fading) else np.zeros(1, dtype=np.intp)
    some, guess = circuit.rows(rows), {i: state.rows(rows) for i, state in states.items()}
    refined = _solve_on(some, phase[rows], options, guess)
    place = np.searchsorted(rows, np.arange(circuit.size)).clip(max=rows.size - 1)
    solution = replace(_solution(some, phase[rows], refined).rows(place), circuit=circuit)
    return _with_transients(solution, fading | _fades(refined, options)[place], options)


def solve_together(circuits: Sequence[Circuit]) -> list[Solution]:
    """Solutions of batches with the same elements, in one call."""
    whole = solve(stack(circuits))
    return [whole.rows(rows) for rows in split([circuit.size for circuit in circuits])]


def _followed(
    circuit: Circuit, states: States, shape: tuple[int, ...]
) -> tuple[FloatArray, FloatArray]:
    """How much each waveform counts that says where points in time are wanted, and these."""
    flows = [
        wave / LEAST_A
        for state in states.values()
        for name, wave in state.currents_a.items()
        if not name.endswith("~")
    ]
    ground = circuit.aliases.get("logic0", "logic0")
    sides = (state.voltages_v for state in states.values() if "pin" in state.voltages_v)
    pins = [(side["pin"] - side[ground]) / LEAST_V for side in sides]
    volts = voltages_of(states)
    charges = [
        (column(e.capacitance_f, circuit.size) > 0.0) * (volts[e.a] - volts[e.b]) / LEAST_V
        for e in _charges(circuit)
        if volts.keys() >= set(e.nodes)
    ]
    kinds = [np.reshape(waves, (-1, *shape)) for waves in (flows, charges, pins)]
    shares = (
        weight * _shares(waves) for weight, waves in zip((1.0, 1.0, PIN_WEIGHT), kinds, strict=True)
    )
    return np.concatenate(list(shares)), np.concatenate(kinds)


def _shares(waves: FloatArray) -> FloatArray:
    """Of waveforms, shape (w, n, m), that count as one together.

    Each row by itself: neither breakdowns nor parts that only others have may move its points.
    """
    alive = np.sum(np.any(waves, axis=-1, keepdims=True), axis=0)
    return np.broadcast_to(1.0 / np.maximum(alive, 1.0), (*waves.shape[:2], 1))


def _charges(circuit: Circuit) -> list[Capacitance]:
    """Capacitors on the mains side."""
    line = next((island for island in islands(circuit) if "line" in island), frozenset())
    return [e for e in circuit.of(Capacitance) if e.a in line]


def solve_at(circuit: Circuit, phase_rad: FloatArray, options: SolverOptions = EDGES) -> Solution:
    """Periodic waveforms at given phases: for what is over between two points of a grid.

    Parameters
    ----------
    circuit : Circuit
        n rows.
    phase_rad : ndarray, shape (n, m)
        Rising from 0, below a full turn.
    options : SolverOptions
        Says only whether the isolated side is solved too.

    Returns
    -------
    solution : Solution
    """
    trajectory = Trajectory(phase_rad, _omega(circuit))
    states = _all_islands(circuit, trajectory, options.isolated, {}, {})
    return replace(_solution(circuit, phase_rad, states), weight=trapezoid_weights(phase_rad))


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
        if not _is_driven(circuit, island):
            states[island] = at_rest(circuit, island)
            continue
        photo = photocurrents_a(circuit, island, None, currents)
        states[island] = static_island(circuit, island, phase, photo)
        currents |= states[island].currents_a
    states = _with_saturation(
        circuit,
        states,
        {},
        lambda island, more: static_island(
            circuit, island, phase, photocurrents_a(circuit, island, None, more)
        ),
    )
    return _solution(circuit, phase, states)


def _is_driven(circuit: Circuit, island: frozenset[str]) -> bool:
    """Whether anything may give a current: a saturated transistor does, of its base's alone."""
    sources = (e for e in circuit if isinstance(e, DcSource | TestSource | Transistor))
    return any(island.issuperset(e.nodes) for e in sources)


def _solution(circuit: Circuit, phase: FloatArray, states: States) -> Solution:
    return Solution(
        circuit=circuit,
        phase_rad=phase,
        time_s=phase / _omega(circuit),
        weight=mean_weights(phase) if phase.shape[1] > 1 else np.ones(phase.shape),
        voltages_v=voltages_of(states),
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
    outputs = [e.nodes for e in circuit.of(Controlled)]
    return sorted(
        parts_of(circuit), key=lambda part: any(part.issuperset(nodes) for nodes in outputs)
    )


def _solve_on(
    circuit: Circuit,
    phase: FloatArray,
    options: SolverOptions,
    guess: States,
    warm_start: Solution | None = None,
    for_points_only: bool = False,
) -> States:
    """All islands of a circuit on given phases of one period."""
    trajectory = Trajectory(phase, _omega(circuit))
    kept = _unchanged(circuit, warm_start) if warm_start else {}
    return _all_islands(circuit, trajectory, options.isolated, guess, kept, for_points_only)


def _unchanged(circuit: Circuit, warm_start: Solution) -> States:
    """Islands that consist of the very elements they had before, and see the same light."""
    kept: dict[frozenset[str], Island] = {}
    all_kept = True
    for island in _lit_last(circuit):
        now = [e for e in circuit if island.issuperset(e.nodes)]
        before = [e for e in warm_start.circuit if island.issuperset(e.nodes)]
        same = len(now) == len(before) and all(a is b for a, b in zip(now, before, strict=True))
        lit = any(isinstance(e, Controlled) for e in now)
        if same and island in warm_start.states and (all_kept or not lit):
            kept[island] = warm_start.states[island]
        all_kept &= same
    return kept


def _all_islands(
    circuit: Circuit,
    trajectory: Trajectory,
    isolated: bool,
    guess: States,
    kept: States,
    for_points_only: bool = False,
) -> dict[frozenset[str], Island]:
    """Every island in the order of the light."""
    currents: dict[str, FloatArray] = {}
    states: dict[frozenset[str], Island] = {}
    for island in _lit_last(circuit):
        if not isolated and "pin" in island and "line" not in island:
            continue
        if island in kept:
            states[island] = kept[island]
        else:
            before = guess.get(island)
            states[island] = solve_island(
                circuit, island, trajectory, currents, before, for_points_only
            )
        currents |= states[island].currents_a
        currents |= _out_of_bases(circuit, states[island], trajectory)
    if for_points_only:
        return states

    def again(island: frozenset[str], more: Mapping[str, FloatArray]) -> Island:
        return solve_island(circuit, island, trajectory, more, states[island])

    states = _with_saturation(circuit, states, kept, again)
    # how deep a transistor was saturated says how much charge a capacitor at its base gives
    for _ in range(CHARGED_ROUNDS if _base_holds_charge(circuit) else 0):
        for part in circuit.of(Transistor):
            for state in states.values():
                currents |= state.currents_a | _out_of_bases(circuit, state, trajectory)
            collector = next(island for island in states if island.issuperset(part.nodes))
            states[collector] = again(collector, currents)
        states = _with_saturation(circuit, states, kept, again)
    return states


def _base_holds_charge(circuit: Circuit) -> bool:
    """Whether there is a capacitor of its own at the base of a transistor."""
    bases = {circuit[part.leds[0]].nodes[0] for part in circuit.of(Transistor)}
    return any(not is_hidden(e) and not bases.isdisjoint(e.nodes) for e in circuit.of(Capacitance))


def _out_of_bases(circuit: Circuit, state: Island, trajectory: Trajectory) -> dict[str, FloatArray]:
    """What flows out of the capacitance of a transistor's base, by its ref."""
    result = {}
    time_s = trajectory.phase_rad / trajectory.omega_rad_per_s
    for part in circuit.of(Release):
        (ref,) = part.leds
        element = circuit[ref]
        assert isinstance(element, Capacitance)
        if element.a in state.voltages_v:
            across = state.voltages_v[element.a] - state.voltages_v[element.b]
            slope = np.diff(across, axis=1) / np.diff(time_s, axis=1)
            slope = np.concatenate([slope[:, :1], slope], axis=1)
            on = across > -ON_V  # far below, the collector is up and takes nothing
            result[ref] = -column(element.capacitance_f, circuit.size) * slope * on
    return result


def _with_saturation(
    circuit: Circuit,
    states: dict[frozenset[str], Island],
    kept: States,
    solve_again: Callable[[frozenset[str], Mapping[str, FloatArray]], Island],
) -> dict[frozenset[str], Island]:
    """Bases solved again with what their transistors' collectors are at: saturated ones take
    their current at a lower voltage. Those that were kept have been."""
    for part in circuit.of(Transistor):
        base = next(i for i in states if all(i.issuperset(circuit[j].nodes) for j in part.leds))
        collector = next(i for i in states if i.issuperset(part.nodes))
        if base == collector or base in kept:
            continue
        volts = states[collector].voltages_v
        more = {part.ref: saturated_ratio(part, volts[part.a] - volts[part.b])}
        states[base] = solve_again(base, more)
    return states


def _with_transients(
    solution: Solution, fading: NDArray[np.bool_], options: SolverOptions
) -> Solution:
    """Replace the rows that have not settled by the last cycle of their transient."""
    index = np.flatnonzero(fading)
    points = solution.phase_rad.shape[1]
    phases = solution.phase_rad.copy()
    volts = _without_rows(solution.voltages_v, index)
    currents = _without_rows(solution.currents_a, index)
    peaks: dict[str, FloatArray] = {}
    for rows in np.array_split(index, -(-index.size // TRANSIENT_ROWS)):
        last = _last_cycle(solution.circuit.rows(rows), points, options)
        phases[rows] = last.phase_rad
        for whole, part in ((volts, last.voltages_v), (currents, last.currents_a)):
            for name, wave in part.items():
                whole.setdefault(name, np.zeros(phases.shape))[rows] = wave
        for name, peak in last.cycle_peaks_a.items():
            if name not in peaks:
                peaks[name] = np.where(fading[:, None], 0.0, np.full(WINDOW_CYCLES, np.nan))
            peaks[name][rows] = peak
    return replace(
        solution,
        phase_rad=phases,
        time_s=phases / _omega(solution.circuit),
        weight=mean_weights(phases),
        voltages_v=volts,
        currents_a=currents,
        settled=~fading,
        cycle_peaks_a=peaks,
    )


def _without_rows(waves: Mapping[str, FloatArray], rows: NDArray[np.intp]) -> dict[str, FloatArray]:
    """Copies of waveforms, some rows of them empty."""
    copies = {name: wave.copy() for name, wave in waves.items()}
    for wave in copies.values():
        wave[rows] = 0.0
    return copies


def _last_cycle(circuit: Circuit, points: int, options: SolverOptions) -> Solution:
    """The last cycle from switching on, with the peaks of all: those before it are not kept."""
    phase = even_phases_rad(circuit.size, points, WINDOW_CYCLES)
    trajectory = Trajectory(phase, _omega(circuit), closed=False)
    whole = _solution(circuit, phase, _all_islands(circuit, trajectory, options.isolated, {}, {}))
    by_cycle = (circuit.size, WINDOW_CYCLES, points)
    return replace(
        whole,
        phase_rad=phase[:, :points],
        voltages_v={name: w[:, -points:].copy() for name, w in whole.voltages_v.items()},
        currents_a={name: w[:, -points:].copy() for name, w in whole.currents_a.items()},
        cycle_peaks_a={n: w.reshape(by_cycle).max(axis=2) for n, w in whole.currents_a.items()},
        states={},
    )
