"""A circuit through the simulator: the same questions as the engine's, another solver's answers.

`Spice.solve` and `Spice.solve_dead` answer as those of `zcd.engine.solve` do, with a `Solution`, so
that every reader of solutions (pulses, lock, meters, powers) takes either.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Circuit, Junction, MainsSource
from zcd.engine.grid import mean_weights
from zcd.engine.solution import Solution
from zcd.engine.solve import EDGES, SETTLED_RATIO, WINDOW_CYCLES, Grid
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
    settled_ratio: float = 3e-5


USUAL = Effort()
FIRST_CYCLES = 4
"""Of the first run; the last three say how fast the rest would come."""
MOST_RUNS = 12
LARGEST_LEFT = 0.9999
"""Share of a disturbance left after a period; more cannot be told from nothing happening."""
LEAST_V = 1e-4
LEAST_SHARE = 1e-9
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

    def solve(self, circuit: Circuit, grid: Grid = EDGES, like: Solution | None = None) -> Solution:
        """Waveforms over one mains period of a circuit of one row.

        Parameters
        ----------
        circuit : Circuit
        grid : Grid
            Of it, `patient` counts; points in time are the simulator's own.
        like : Solution, optional
            Of no use here: every run starts from nothing.

        Raises
        ------
        SimulationError
            If a run does not end well, or the steady state does not come.
        """
        del like
        return _last_cycle(circuit, *_settle(self, circuit, grid.patient))

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
        return f"{netlist.options} reltol={self.effort.tolerance_ratio!r} abstol=1e-13"

    def deck(self, netlist: Netlist, analysis: str) -> str:
        """A whole deck."""
        return "\n".join([TITLE, *netlist.lines, self.options(netlist), analysis, ".end", ""])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Span:
    """Some periods from a state of the capacitances.

    `ends_v` is the voltage of each capacitance at the start and at the end of each period, shape
    (cycles + 1, capacitances); `swing_v` its highest magnitude, shape (capacitances,).
    """

    netlist: Netlist
    vectors: Vectors
    cycles: int
    ends_v: FloatArray
    swing_v: FloatArray

    def missing_v(self) -> tuple[FloatArray, float]:
        """What each capacitance still lacks to the steady state, and the share left a period."""
        last, before = self.ends_v[-1] - self.ends_v[-2], self.ends_v[-2] - self.ends_v[-3]
        norm = float(before @ before)
        left = min(max(float(last @ before) / norm, 0.0), LARGEST_LEFT) if norm else 0.0
        return last * left / (1.0 - left), left

    def settled(self, share: float) -> bool:
        """Whether what is missing, and what the last period changed, is below a share."""
        change = np.abs(self.ends_v[-1] - self.ends_v[-2])
        limit = share * self.swing_v + LEAST_V
        return bool(np.all(np.maximum(np.abs(self.missing_v()[0]), change) <= limit))

    def charges_v(self) -> dict[str, float]:
        """Where the capacitances are going."""
        wanted = self.ends_v[-1] + self.missing_v()[0]
        return dict(zip(self.netlist.capacitors, wanted.tolist(), strict=True))


def _settle(spice: Spice, circuit: Circuit, patient: bool) -> tuple[_Span, bool]:
    """Run until what is missing to the steady state no longer matters.

    A few periods are waited for, then `WINDOW_CYCLES`. What takes longer is either shown as it
    then is or, where asked for, sought: the capacitances' voltages at the ends of the last
    periods show where they are going, and the next run starts there.
    """
    share = spice.effort.settled_ratio
    for cycles in (FIRST_CYCLES, WINDOW_CYCLES):
        span = _run(spice, circuit, {}, cycles)
        if span.settled(share):
            return span, True
    if not patient and span.missing_v()[1] ** WINDOW_CYCLES > SETTLED_RATIO:
        return span, False
    for _ in range(MOST_RUNS):
        span = _run(spice, circuit, span.charges_v(), FIRST_CYCLES)
        if span.settled(share):
            return span, True
    raise SimulationError(f"the steady state has not come in {MOST_RUNS} runs of ngspice")


def _run(spice: Spice, circuit: Circuit, charges_v: Mapping[str, float], cycles: int) -> _Span:
    """Some periods from given voltages of the capacitances; those not given start empty."""
    netlist = spice.netlist(circuit, charges_v, cycles)
    period_s = mains_period_s(circuit)
    stop_s, step_s = cycles * period_s, period_s / spice.effort.steps
    deck = spice.deck(netlist, f".tran {step_s!r} {stop_s!r} 0 {step_s!r} uic")
    vectors = spice.run(deck, stop_s)
    waves = [vectors[a] - vectors[b] for a, b in netlist.capacitors.values()]
    ends = np.arange(cycles + 1) * period_s
    at_ends = [np.interp(ends, vectors["time"], wave) for wave in waves]
    return _Span(
        netlist=netlist,
        vectors=vectors,
        cycles=cycles,
        ends_v=np.array(at_ends).reshape(len(waves), ends.size).T,
        swing_v=np.array([np.max(np.abs(wave)) for wave in waves]),
    )


def mains_period_s(circuit: Circuit) -> float:
    """Period of the mains of a circuit of one row."""
    return 1.0 / number(circuit.of(MainsSource)[0].frequency_hz)


def _last_cycle(circuit: Circuit, span: _Span, settled: bool) -> Solution:
    """The last period of a span, from the crossing on."""
    period_s = mains_period_s(circuit)
    time = span.vectors["time"]
    start_s = (span.cycles - 1) * period_s
    inside = (time > start_s + LEAST_SHARE * period_s) & (
        time < start_s + (1.0 - LEAST_SHARE) * period_s
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
        weight=mean_weights(row),
        voltages_v={node: vectors[name][None] for node, name in netlist.nodes.items()},
        currents_a={
            junction.ref: vectors[netlist.sensed[junction.ref]][None]
            if junction.ref in netlist.sensed
            else zero
            for junction in circuit.of(Junction)
        },
        settled=np.array([settled]),
    )
