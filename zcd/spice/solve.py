"""A circuit through the simulator: the same questions as the engine's, another solver's answers.

`Spice.solve` and `Spice.solve_dead` answer as those of `zcd.engine.solve` do, with a `Solution`, so
that every reader of solutions (pulses, lock, meters, powers) takes either.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import cumulative_trapezoid

from zcd.circuit.elements import Circuit, Junction, MainsSource
from zcd.engine.grid import trapezoid_weights
from zcd.engine.solution import Solution
from zcd.engine.solve import EDGES, WINDOW_CYCLES, SolverOptions
from zcd.errors import SimulationError
from zcd.spice.devices import Device
from zcd.spice.judge import Vectors
from zcd.spice.netlist import TITLE, Level, Netlist, netlist_of, number
from zcd.spice.simulator import Simulator, simulator

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """How hard the simulator tries.

    Parameters
    ----------
    steps : int
        Least number of steps a period.
    tolerance_ratio : float
        SPICE's RELTOL.
    settled_ratio : float
        What may be missing to the steady state, as a share of a capacitance's highest voltage.
    """

    steps: int = 400
    tolerance_ratio: float = 1e-4
    settled_ratio: float = 1e-4


USUAL = Effort()
FIRST_CYCLES = 4
"""Of the first run; its last three say whether it has settled."""
SEEK_CYCLES = 16
"""Of each run on the way to a steady state that comes slowly."""
MAX_RUNS = 20
LARGEST_LEFT = 0.999
"""Share of a disturbance left after a stride: more cannot be told from none."""
QUIET_RATIO = 1e-6
"""A change of all capacitances below this, over their swing, is the simulator's own noise."""
MIN_V = 1e-4
CLOCK_EDGE_RATIO = 1e-4
MIN_SHARE = 1e-9
"""Of a period: nearer than this, two points in time are one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spice:
    """The simulator, and how it is to model and to try.

    Parameters
    ----------
    level : Level
    family : str
        Of the optocoupler; says which published transistor stands for it.
    device : Device, optional
        That transistor itself.
    effort : Effort
    simulator : Simulator, optional
        The process's own unless another is given; it is not needed to write a netlist.
    """

    level: Level = Level.EQUATIONS
    family: str = "817"
    device: Device | None = None
    effort: Effort = USUAL
    simulator: Simulator | None = None

    def solve(
        self, circuit: Circuit, options: SolverOptions = EDGES, warm_start: Solution | None = None
    ) -> Solution:
        """Waveforms over one mains period of a circuit of one row.

        Parameters
        ----------
        circuit : Circuit
        options : SolverOptions
            Of it, `patient` counts; points in time are the simulator's own.
        warm_start : Solution, optional
            Of no use here: every run starts from nothing.

        Raises
        ------
        SimulationError
            If a run does not end well, or the steady state does not come.
        """
        del warm_start
        return _last_cycle(circuit, *_settle(self, circuit, options.steady_state_only))

    def solve_dead(self, circuit: Circuit) -> Solution:
        """DC solution of a circuit of one row without mains."""
        netlist = self.netlist(circuit)
        deck = self.deck(netlist, ".op")
        return _solution(circuit, netlist, np.zeros(1), self.run(deck, None))

    def run(self, deck: str, stop_s: float | None) -> Vectors:
        """Run one deck."""
        return (self.simulator or simulator()).run(deck, stop_s)

    def netlist(
        self, circuit: Circuit, charges_v: Mapping[str, float] | None = None, cycles: int = 1
    ) -> Netlist:
        """The circuit in SPICE's words, at this level; as `netlist_of` says."""
        return netlist_of(
            circuit,
            self.level,
            family=self.family,
            device=self.device,
            charges_v=charges_v,
            cycles=cycles,
        )

    def options(self, netlist: Netlist) -> str:
        """The line of options."""
        return f"{netlist.options} reltol={self.effort.tolerance_ratio!r} abstol=1e-11"

    def deck(self, netlist: Netlist, analysis: str) -> str:
        """A whole deck."""
        return "\n".join([TITLE, *netlist.lines, self.options(netlist), analysis, ".end", ""])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    """Some periods from a state of the capacitances.

    Parameters
    ----------
    netlist : Netlist
    vectors : dict
    cycles : int
    means_v : ndarray, shape (cycles, c)
        Mean voltage of each capacitance over each period: steadier than any one point.
    last_v : ndarray, shape (c,)
        At the end.
    swing_v : ndarray, shape (c,)
        Highest magnitude.
    """

    netlist: Netlist
    vectors: Vectors
    cycles: int
    means_v: FloatArray
    last_v: FloatArray
    swing_v: FloatArray

    @property
    def stride(self) -> int:
        """Periods from one to the next of the three whose means are compared."""
        return max(1, self.cycles // 2 - 1)

    def changes_v(self) -> tuple[FloatArray, FloatArray]:
        """What the means changed over the last and over the last but one stride."""
        s = self.stride
        last, before, first = self.means_v[-1], self.means_v[-1 - s], self.means_v[-1 - 2 * s]
        return last - before, before - first

    def left(self) -> float:
        """Share of a disturbance that is left after a stride; 0 where nothing moves any more."""
        last, before = (change / (self.swing_v + MIN_V) for change in self.changes_v())
        if np.max(np.abs(last), initial=0.0) < QUIET_RATIO:
            return 0.0
        return float(np.clip(last @ before / max(float(before @ before), 1e-30), 0.0, LARGEST_LEFT))

    def missing_v(self) -> FloatArray:
        """What each capacitance still lacks to the steady state."""
        left = self.left()
        return self.changes_v()[0] * left / (1.0 - left)

    def settled(self, share: float) -> bool:
        """Whether what is missing, and what the last stride changed, is below a share."""
        most = np.maximum(np.abs(self.missing_v()), np.abs(self.changes_v()[0]))
        return bool(np.all(most <= share * self.swing_v + MIN_V))

    def charges_v(self) -> dict[str, float]:
        """Where the capacitances are going."""
        wanted = self.last_v + self.missing_v()
        return dict(zip(self.netlist.capacitors, wanted.tolist(), strict=True))


def _settle(spice: Spice, circuit: Circuit, steady_state_only: bool) -> tuple[_Span, bool]:
    """Run until what is missing to the steady state no longer matters.

    A few periods are waited for, then `WINDOW_CYCLES`. What takes longer is either shown as it
    then is or, where asked for, sought: the mean voltages of the capacitances show where they are
    going, and the next run starts there.
    """
    share = spice.effort.settled_ratio
    for cycles in (FIRST_CYCLES, WINDOW_CYCLES):
        span = _run(spice, circuit, {}, cycles)
        if span.settled(share):
            return span, True
    if not steady_state_only:
        return span, False
    for _ in range(MAX_RUNS):
        span = _run(spice, circuit, span.charges_v(), SEEK_CYCLES)
        if span.settled(share):
            return span, True
    raise SimulationError(f"the steady state has not come in {MAX_RUNS} runs of ngspice")


def _run(spice: Spice, circuit: Circuit, charges_v: Mapping[str, float], cycles: int) -> _Span:
    """Some periods from given voltages of the capacitances; those not given start empty."""
    netlist = spice.netlist(circuit, charges_v, cycles)
    period_s = mains_period_s(circuit)
    stop_s, step_s = cycles * period_s, period_s / spice.effort.steps
    # edges of a clock are points in time: with them the simulator steps through each period alike
    edge_s = CLOCK_EDGE_RATIO * period_s
    clock = f"V.clock clock 0 PULSE(0 1 0 {edge_s!r} {edge_s!r} {period_s / 2.0!r} {period_s!r})"
    run = f"{clock}\n.tran {step_s!r} {stop_s!r} 0 {step_s!r} uic"
    vectors = spice.run(spice.deck(netlist, run), stop_s)
    time = vectors["time"]
    waves = np.empty((len(netlist.capacitors), time.size))
    for row, (a, b) in enumerate(netlist.capacitors.values()):
        waves[row] = vectors[a] - vectors[b]
    ends = np.arange(cycles + 1) * period_s
    areas = cumulative_trapezoid(waves, time, axis=1, initial=0)
    at_ends = np.array([np.interp(ends, time, area) for area in areas])
    return _Span(
        netlist=netlist,
        vectors=vectors,
        cycles=cycles,
        means_v=np.diff(at_ends.reshape(-1, ends.size), axis=1).T / period_s,
        last_v=waves[:, -1],
        swing_v=np.max(np.abs(waves), axis=1, initial=0.0),
    )


def mains_period_s(circuit: Circuit) -> float:
    """Period of the mains of a circuit of one row."""
    return 1.0 / number(circuit.of(MainsSource)[0].frequency_hz)


def _last_cycle(circuit: Circuit, span: _Span, settled: bool) -> Solution:
    """The last period of a span, from the crossing on."""
    period_s = mains_period_s(circuit)
    time = span.vectors["time"]
    start_s = (span.cycles - 1) * period_s
    inside = (time > start_s + MIN_SHARE * period_s) & (
        time < start_s + (1.0 - MIN_SHARE) * period_s
    )
    wanted = np.concatenate([[start_s], time[inside]])
    vectors = {name: np.interp(wanted, time, wave) for name, wave in span.vectors.items()}
    phase = (wanted - start_s) * (2.0 * np.pi / period_s)
    return _solution(circuit, span.netlist, phase, vectors, settled)


def _solution(
    circuit: Circuit, netlist: Netlist, phase: FloatArray, vectors: Vectors, settled: bool = True
) -> Solution:
    """Vectors of one row as the engine gives them."""
    row = phase[None]
    mains = circuit.of(MainsSource)
    turn_s = mains_period_s(circuit) / (2.0 * np.pi) if mains else 0.0
    zero = np.zeros(row.shape)
    return Solution(
        circuit=circuit,
        phase_rad=row,
        time_s=row * turn_s,
        weight=trapezoid_weights(row),
        voltages_v={node: vectors[name][None] for node, name in netlist.nodes.items()},
        currents_a={
            junction.ref: vectors[netlist.sensed[junction.ref]][None]
            if junction.ref in netlist.sensed
            else zero
            for junction in circuit.of(Junction)
        },
        settled=np.array([settled]),
    )
