"""Both answers side by side: the engine's, and the simulator's at both levels."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isinf, isnan

import numpy as np

from zcd.board.model import Board
from zcd.circuit.build import led_refs
from zcd.circuit.elements import Circuit, Resistance
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.readings import UNITS, Bench, Reading
from zcd.engine.solution import Solution
from zcd.engine.solve import EDGES, solve
from zcd.margin.stress import chain_resistors
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
    """

    name: str
    unit: str
    ours: float
    equations: float
    device: float
    share: float = SHARE
    reading: Reading | None = None

    @property
    def difference(self) -> float:
        """The simulator's answer minus ours, on the same equations."""
        return self.equations - self.ours if self.ours != self.equations else 0.0

    @property
    def allowed(self) -> float:
        """What that difference may be."""
        return max(LEAST[self.unit], self.share * abs(self.ours))

    @property
    def agrees(self) -> bool:
        """Whether both solvers say the same."""
        for test in (isnan, isinf):
            if test(self.ours) or test(self.equations):
                return test(self.ours) and test(self.equations)
        return abs(self.difference) <= self.allowed


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
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
        Told what is under way.

    Raises
    ------
    NoSimulatorError, SimulationError
        If there is no simulator, or one of its runs did not end well.
    """
    tell = progress or (lambda words: None)
    family = board.optocoupler.family
    ways = [Spice(level=level, family=family) for level in Level]
    tell("waveforms")
    solutions = [solve(circuit, EDGES), *(way.solve(circuit) for way in ways)]
    locks = [judge(solution, board) for solution in solutions]
    lines = [*_currents(board, circuit, solutions), *_pulse_lines(solutions, locks)]
    benches = [Bench(board, circuit, meter)]
    benches += [Bench(board, circuit, meter, way.solve, way.solve_dead) for way in ways]
    for reading in readings:
        tell(reading.words)
        shown = [float(bench.take([reading])[0, 0]) for bench in benches]
        lines.append(_line(reading.words, UNITS[reading.function], shown, reading=reading))
    return Comparison(
        board=board,
        fault=fault,
        severity=severity,
        lines=tuple(lines),
        ours=solutions[0],
        equations=solutions[1],
        device=solutions[2],
        locks=tuple(bool(lock.locks[0]) for lock in locks),  # type: ignore[arg-type]
    )


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
    way = Spice(level=level, family=board.optocoupler.family)
    bench = Bench(board, circuit, meter, way.solve, way.solve_dead)
    return float(bench.take([reading])[0, 0])


def _line(name: str, unit: str, values: Sequence[float], **more: object) -> Line:
    ours, equations, device = values
    return Line(name=name, unit=unit, ours=ours, equations=equations, device=device, **more)  # type: ignore[arg-type]


def _currents(board: Board, circuit: Circuit, solutions: Sequence[Solution]) -> list[Line]:
    """LED current, and the power of each resistor."""

    def led(solution: Solution) -> np.ndarray:
        waves = (np.maximum(solution.currents_a[ref], 0.0) for ref in led_refs(board))
        return np.asarray(sum(waves))

    peaks = [float(s.peak(led(s))[0]) for s in solutions]
    means = [float(s.mean(led(s))[0]) for s in solutions]
    found = [_line("LED current, peak", "A", peaks), _line("LED current, mean", "A", means)]
    wanted = {part.ref for part in (*chain_resistors(board), board.output.resistor)}
    for part in circuit.of(Resistance):
        if part.ref in wanted:
            powers = [float(s.power_w(part)[0]) for s in solutions]
            found.append(_line(f"power in {part.ref}", "W", powers))
    return found


def _pulse_lines(solutions: Sequence[Solution], locks: Sequence[Lock]) -> list[Line]:
    """Edges, low time, pin."""
    pulses = [lock.pulses for lock in locks]
    found = []
    for k in range(max(int(p.count[0]) for p in pulses)):
        mark = f" of pulse {k + 1}" if k else ""
        falls = [float(p.fall_offset_s[0, k]) for p in pulses]
        rises = [float(p.rise_offset_s[0, k]) for p in pulses]
        lows = [float(p.low_time_s[0, k]) for p in pulses]
        found += [
            _line(f"falling edge{mark}, offset", "s", falls, share=0.0),
            _line(f"rising edge{mark}, offset", "s", rises, share=0.0),
            _line(f"low time{mark}", "s", lows, share=0.0),
        ]
    means = [float(s.mean(s.voltages_v["pin"])[0]) for s in solutions]
    return [*found, _line("pin, mean", "V", means)]
