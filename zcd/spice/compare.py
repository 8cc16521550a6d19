"""Both answers side by side: the engine's, and the simulator's at both levels."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import isinf, isnan, nan
from typing import Protocol

import numpy as np

from zcd.board.model import Board
from zcd.circuit.build import input_refs
from zcd.circuit.elements import Circuit, Resistance
from zcd.diagnosis.meter_model import ONE_BOARD, MeterModel
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import Reading
from zcd.engine.solution import Solution
from zcd.engine.solve import EDGES, SolverOptions, solve, solve_dead
from zcd.margin.stress import chain_resistors
from zcd.results import Result
from zcd.spice.devices import family_of
from zcd.spice.netlist import Level
from zcd.spice.solve import Spice
from zcd.sync.lock import Lock, judge

SHARE = 0.005
"""Two solvers of the same equations may differ by this, or by what stands in `LEAST`."""
LEAST = {"A": 1e-6, "V": 5e-3, "W": 1e-6, "Ω": 0.1, "Hz": 0.05, "%": 5e-4, "s": 10e-6}
"""Smallest difference that counts, by unit: also what a bench can hardly see."""

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One quantity by three ways.

    Parameters
    ----------
    name : str
    unit : str
        SI; ``%`` for a ratio.
    ours, equations, device : float
        The engine's, the simulator's with the engine's equations, and with a transistor as the
        output stage. nan: there is no such thing; infinite: an overload.
    share : float
        Difference allowed between `ours` and `equations`, as a share; 0 for edges.
    reading : Reading or None
        Where it is what a meter shows.
    edges : int
        How many edges it hangs on, each of which may be off.
    """

    name: str
    unit: str
    ours: float
    equations: float
    device: float
    share: float = SHARE
    reading: Reading | None = None
    edges: int = 1

    @property
    def difference(self) -> float:
        """The simulator's answer minus ours, on the same equations."""
        return self.equations - self.ours if self.ours != self.equations else 0.0

    @property
    def allowed(self) -> float:
        """What that difference may be."""
        return max(self.edges * LEAST[self.unit], self.share * abs(self.ours))

    @property
    def agrees(self) -> bool:
        """Whether both solvers say the same."""
        for test in (isnan, isinf):
            if test(self.ours) or test(self.equations):
                return test(self.ours) and test(self.equations)
        return abs(self.difference) <= self.allowed


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Comparison(Result):
    """A board in both solvers.

    Parameters
    ----------
    board : Board
    fault : str
        Key of the fault that was put in; ``healthy`` for none.
    severity : float or None
        Of the fault.
    lines : tuple of Line
        Currents and powers, edges, pin; then the readings.
    ours, equations, device : Solution
        One period each.
    locks : tuple of bool
        Whether the controller locks, in the same order.
    """

    board: Board
    circuit: Circuit
    fault: str
    severity: float | None
    lines: tuple[Line, ...]
    ours: Solution
    equations: Solution
    device: Solution
    locks: tuple[bool, bool, bool]

    @property
    def agrees(self) -> bool:
        """Whether the engine and the simulator agree on the same equations, in all they say."""
        return all(line.agrees for line in self.lines) and self.locks[0] == self.locks[1]


@dataclass(frozen=True, slots=True)
class Quantity:
    """What is compared; the fields are those of `Line`."""

    name: str
    unit: str
    share: float = SHARE
    reading: Reading | None = None
    edges: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What one solver says about a circuit."""

    solution: Solution
    lock: Lock
    values: dict[Quantity, float]


class Solver(Protocol):
    """The engine, or the simulator at one level."""

    def solve(
        self, circuit: Circuit, options: SolverOptions = ..., warm_start: Solution | None = ...
    ) -> Solution:
        """As `zcd.engine.solve.solve`."""

    def solve_dead(self, circuit: Circuit) -> Solution:
        """As `zcd.engine.solve.solve_dead`."""


class Engine:
    """The engine as a `Solver`."""

    solve = staticmethod(solve)
    solve_dead = staticmethod(solve_dead)


def answer(
    board: Board,
    circuit: Circuit,
    meter: Meter,
    readings: Sequence[Reading],
    solver: Solver,
    *,
    steady_state_only: bool = False,
    progress: Progress | None = None,
) -> Answer:
    """All that is compared, by one solver; the circuit has one row.

    `steady_state_only` asks for the steady state however long it takes to come (see
    `SolverOptions`).
    """
    tell = progress or (lambda words: None)
    tell("waveforms")
    solution = solver.solve(circuit, replace(EDGES, steady_state_only=steady_state_only))
    lock = judge(solution, board)
    values = {**_currents(board, circuit, solution), **_edges(solution, lock)}
    meter_model = MeterModel(
        board, circuit, meter, solver.solve, solver.solve_dead, grids=ONE_BOARD
    )
    for reading in readings:
        name = reading_text(reading, circuit)
        tell(name)
        quantity = Quantity(name, reading.function.row.unit, SHARE, reading)
        values[quantity] = float(meter_model.read([reading])[0, 0])
    return Answer(solution=solution, lock=lock, values=values)


def lines_of(ours: Answer, equations: Answer, device: Answer | None = None) -> tuple[Line, ...]:
    """Answers side by side; nan where one of them does not have what another has."""
    answers = [ours.values, equations.values, device.values if device else {}]
    return tuple(
        Line(
            name=quantity.name,
            unit=quantity.unit,
            share=quantity.share,
            reading=quantity.reading,
            edges=quantity.edges,
            ours=answers[0].get(quantity, nan),
            equations=answers[1].get(quantity, nan),
            device=answers[2].get(quantity, nan),
        )
        for quantity in dict.fromkeys(key for values in answers for key in values)
    )


def compare(
    board: Board,
    circuit: Circuit,
    meter: Meter,
    readings: Sequence[Reading],
    *,
    fault: str = "healthy",
    severity: float | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Solve a circuit three times and set the answers side by side.

    Parameters
    ----------
    board : Board
        Gives thresholds and names.
    circuit : Circuit
        One row, its fault put in.
    meter : Meter
    readings : sequence of Reading
    fault, severity
        Of `Comparison`.
    progress : callable, optional
        Told what is under way, three times for each reading and once for the waveforms.

    Raises
    ------
    NoSimulatorError, SimulationError
        If there is no simulator, or one of its runs did not end well.
    """
    family = family_of(board)
    ours = answer(board, circuit, meter, readings, Engine(), progress=progress)
    # the simulator is asked for what the engine shows: steady state, or a late cycle of it
    patient = bool(ours.solution.settled[0])
    equations, device = (
        answer(board, circuit, meter, readings, way, steady_state_only=patient, progress=progress)
        for way in (Spice(level=level, family=family) for level in Level)
    )
    return Comparison(
        board=board,
        circuit=circuit,
        fault=fault,
        severity=severity,
        lines=lines_of(ours, equations, device),
        ours=ours.solution,
        equations=equations.solution,
        device=device.solution,
        locks=(_locks(ours), _locks(equations), _locks(device)),
    )


def _locks(answer: Answer) -> bool:
    return bool(answer.lock.locks[0])


def reading_value(
    circuit: Circuit, reading: Reading, board: Board, meter: Meter, level: Level = Level.DEVICE
) -> float:
    """What a meter shows on a circuit of one row, by the simulator.

    Cheap: one run for a live reading (some tens of milliseconds), a few operating points for
    ohms, one for a diode test. Good for making up cases whose truth is not the engine's own.

    Parameters
    ----------
    circuit : Circuit
        One row, faults and drifts put in.
    reading : Reading
    board : Board
        Gives the thresholds of the pin, and the optocoupler's family.
    meter : Meter
        Its input resistance hangs in the circuit.
    level : Level
        With a transistor as the output stage, unless told otherwise.

    Returns
    -------
    value : float
        SI; infinite for an overload.

    Raises
    ------
    NoSimulatorError, SimulationError
    """
    way = Spice(level=level, family=family_of(board))
    meter_model = MeterModel(board, circuit, meter, way.solve, way.solve_dead)
    return float(meter_model.read([reading])[0, 0])


def _currents(board: Board, circuit: Circuit, solution: Solution) -> dict[Quantity, float]:
    """LED current, or else that of the pin, and the power of each resistor."""
    waves = (np.maximum(solution.currents_a[ref], 0.0) for ref in input_refs(board))
    led, what = np.asarray(sum(waves)), board.input_name
    result = {
        Quantity(f"{what} current, peak", "A"): float(solution.peak(led)[0]),
        Quantity(f"{what} current, mean", "A"): float(solution.mean(led)[0]),
    }
    wanted = {part.ref for part in (*chain_resistors(board), board.output.resistor) if part}
    for part in circuit.of(Resistance):
        if part.ref in wanted:
            result[Quantity(f"power in {part.ref}", "W")] = float(solution.power_w(part)[0])
    return result


def _edges(solution: Solution, lock: Lock) -> dict[Quantity, float]:
    """Edges, low time, pin."""
    pulses = lock.pulses
    result = {}
    for k in range(max(int(pulses.count[0]), 1)):
        mark = f" of pulse {k + 1}" if k else ""
        for name, values, edges in (
            (f"falling edge{mark}, offset", pulses.fall_offset_s, 1),
            (f"rising edge{mark}, offset", pulses.rise_offset_s, 1),
            (f"low time{mark}", pulses.low_time_s, 2),
        ):
            result[Quantity(name, "s", 0.0, edges=edges)] = float(values[0, k])
    result[Quantity("pin, mean", "V")] = float(solution.mean(solution.pin_v)[0])
    return result
