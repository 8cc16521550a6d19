"""A board solved: voltages, currents and edges by name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.board.units import nearest
from zcd.circuit.build import input_refs
from zcd.circuit.elements import Circuit, Resistance, is_hidden
from zcd.engine.solution import Solution
from zcd.errors import invalid_value
from zcd.results import Result
from zcd.sync.curves import period_curve
from zcd.sync.lock import Lock

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """An edge of the sync pulse.

    Parameters
    ----------
    name : str
        ``falling`` or ``rising``.
    time_s : float
        From the fundamental's rising zero crossing.
    offset_s : float
        From the true zero crossing; positive = late.
    """

    name: str
    time_s: float
    offset_s: float


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Solved(Result):
    """One mains period of a board, or of a batch of n cases.

    Parameters
    ----------
    board : Board
    solution : Solution
        Waveforms of shape (n, m).
    lock : Lock
        Pulses, and the margin of each lock rule.
    """

    JSON_KEYS: ClassVar = (
        "board=board.name",
        "locks",
        "failed_rules",
        "led_peak_a",
        "low_time_s",
        "period_s=lock.pulses.period_s",
        "edges",
    )

    board: Board
    solution: Solution
    lock: Lock

    @property
    def failed_rules(self) -> tuple[str | None, ...]:
        """The lock rule that each case breaks; null: none."""
        return tuple(self.lock.failed_rule(row) for row in range(self.size))

    @property
    def led_peak_a(self) -> FloatArray:
        """Peak of the current through the LED, or through both, shape (n,)."""
        waves = [self.solution.currents_a[ref] for ref in input_refs(self.board)]
        return self.solution.peak(np.sum(waves, axis=0))

    @property
    def low_time_s(self) -> FloatArray:
        """How long the pin is low, shape (n,)."""
        return self.lock.pulses.low_time_s[:, 0]

    @property
    def size(self) -> int:
        """Number of cases."""
        return self.solution.circuit.size

    @property
    def circuit(self) -> Circuit:
        """Elements between named nodes, as they were solved."""
        return self.solution.circuit

    @property
    def time_s(self) -> FloatArray:
        """Points in time from the rising crossing, shape (m,), of a batch (n, m)."""
        return self._of_one(self.solution.time_s)

    @property
    def locks(self) -> NDArray[np.bool_]:
        """Whether the controller locks, shape (n,)."""
        return self.lock.locks

    @property
    def edges(self) -> tuple[Edge, ...]:
        """Edges of the sync pulses in order of time; of a batch, those of its first case.

        Examples
        --------
        >>> import zcd
        >>> board = zcd.loads('''
        ... mains = "230 V 50 Hz"
        ... rectifier = "1N4007"
        ... optocoupler = "817C"
        ... chain.resistors = ["68k", "68k"]
        ... output = {pull_up = "10k", supply = "5 V"}
        ... ''')
        >>> [edge.name for edge in zcd.solve(board).edges]
        ['falling', 'rising']
        """
        pulses = self.lock.pulses
        result = [
            Edge(name=name, time_s=float(time), offset_s=float(offset))
            for name, times, offsets in (
                ("falling", pulses.fall_s[0], pulses.fall_offset_s[0]),
                ("rising", pulses.rise_s[0], pulses.rise_offset_s[0]),
            )
            for time, offset in zip(times, offsets, strict=True)
            if np.isfinite(time)
        ]
        return tuple(sorted(result, key=lambda edge: edge.time_s))

    def voltage(self, a: str, b: str) -> FloatArray:
        """Voltage of node `a` against node `b`.

        Parameters
        ----------
        a, b : str
            Nodes, such as ``pin`` and ``logic0``, or ``led+`` and ``led-``.

        Returns
        -------
        voltage_v : ndarray, shape (m,), of a batch (n, m)

        Raises
        ------
        InputError
            If there is no such node, or no galvanic path between them.

        Examples
        --------
        >>> import zcd
        >>> board = zcd.loads('''
        ... mains = "230 V 50 Hz"
        ... rectifier = "1N4007"
        ... optocoupler = "817C"
        ... chain.resistors = ["68k", "68k"]
        ... output = {pull_up = "10k", supply = "5 V"}
        ... ''')
        >>> solved = zcd.solve(board, mains=[207.0, 253.0])
        >>> solved.voltage("pin", "logic0").min(axis=1).round(2).tolist()
        [0.07, 0.07]
        """
        known = tuple(self.solution.voltages_v)
        for name, node in (("a", a), ("b", b)):
            if self.circuit.node(node, name) not in known:
                raise invalid_value(node, f"one of {', '.join(known)}{nearest(node, known)}", name)
        return self._of_one(self.solution.between_v(a, b))

    def voltage_curve(self, a: str, b: str, case: int = 0) -> tuple[FloatArray, FloatArray]:
        """The same voltage as a smooth curve over one whole period, to be drawn.

        Parameters
        ----------
        a, b : str
            As for `voltage`.
        case : int
            Of a batch.

        Returns
        -------
        time_s, voltage_v : ndarray, shape (k,)
            Finer than the solved points, and through all of them.
        """
        wave = self.voltage(a, b).reshape(self.size, -1)
        return period_curve(self.solution, wave, case)

    def current(self, part: str) -> FloatArray:
        """Current through a part.

        Parameters
        ----------
        part : str
            A resistor, a diode or the optocoupler's LED, such as ``R1``, ``D1``, ``OC1``.

        Returns
        -------
        current_a : ndarray, shape (m,), of a batch (n, m)
            Positive from line to neutral, through a junction forward.

        Raises
        ------
        InputError
            If there is no such part.

        Examples
        --------
        >>> import zcd
        >>> board = zcd.loads('''
        ... mains = "230 V 50 Hz"
        ... rectifier = "1N4007"
        ... optocoupler = "817C"
        ... chain.resistors = ["68k", "68k"]
        ... output = {pull_up = "10k", supply = "5 V"}
        ... ''')
        >>> round(1e3 * float(zcd.solve(board).current("OC1").max()), 2)
        2.38
        """
        junctions = self.solution.currents_a
        name = f"{part}.led" if f"{part}.led" in junctions else part
        if name in junctions:
            return self._of_one(junctions[name])
        resistances = {e.ref: e for e in self.solution.circuit if isinstance(e, Resistance)}
        if part not in resistances:
            parts = (*(ref for ref, e in resistances.items() if not is_hidden(e)), *junctions)
            known = tuple(ref.removesuffix(".led") for ref in parts if not ref.endswith("~"))
            raise invalid_value(part, f"one of {', '.join(known)}{nearest(part, known)}", "part")
        element = resistances[part]
        across_v = self.solution.between_v(element.a, element.b)
        ohm = np.asarray(element.resistance_ohm, dtype=float)
        return self._of_one(across_v / (ohm[:, None] if ohm.ndim else ohm))

    def _of_one(self, wave: FloatArray) -> FloatArray:
        return wave[0] if self.size == 1 else wave
