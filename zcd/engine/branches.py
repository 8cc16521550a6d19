"""Nonlinear branches, each linearised where the last step left it.

A junction is not followed along its exponential: its state is ``s = v + R0 i``, the voltage over
it and a fixed resistance in series. Voltage and current are both smooth, almost straight
functions of `s` (closed Lambert-W form), so that Newton's method neither overflows nor needs
damping at mains voltage.
"""

from __future__ import annotations

from copy import copy
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Controlled, Junction, Transistor
from zcd.engine.network import Network, column
from zcd.physics.diode import omega_start, wright_omega
from zcd.physics.optocoupler import collector_share

FloatArray = NDArray[np.float64]

FORWARD_OHM, BREAKDOWN_OHM = 1e6, 30e6
"""R0: of the order of the chains, or of what leaks into a breakdown; sets how fast Newton
converges, not what it converges to."""

MAX_KNEES = 60.0
FINEST_RATIO = 1e-3
"""Accuracy of a state, as a share of it, over the voltage at which Newton ends."""


IntArray = NDArray[np.intp]
Part = IntArray | tuple[IntArray, IntArray]
"""Some rows of a batch, or some points of some rows, each of which becomes a row of its own."""


def rows_of(at: Part) -> IntArray:
    """The row of the batch that each row of a part comes from."""
    return at[0] if isinstance(at, tuple) else at


def gather(wave: FloatArray, at: Part) -> FloatArray:
    """A part of a waveform."""
    return wave[at][:, None] if isinstance(at, tuple) else wave[at]


def _rows(wave: FloatArray, at: Part) -> FloatArray:
    return wave[rows_of(at)]


def scatter(wave: FloatArray, at: Part, part: FloatArray) -> None:
    """Put a part of a waveform back."""
    wave[at] = part[:, 0] if isinstance(at, tuple) else part


class Branch(Protocol):
    """A nonlinear two-node element in Newton's iteration.

    All arrays have shape (n, m). `a` and `b` say where the branch's nodes are found.
    """

    a: tuple[str, int]
    b: tuple[str, int]

    def linearise(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Voltage, current and conductance at the present state."""

    def update(self, voltage_v: FloatArray, share: float) -> FloatArray:
        """Take a share of the step to the voltage that the linearised circuit gave; return what
        may be left."""

    def gather(self, at: Part) -> Self:
        """Some rows or points as a branch of their own."""

    def scatter(self, at: Part, part: Self) -> None:
        """Take over what a part came to."""


class JunctionBranch:
    """A diode in forward direction; its saturation current may be that of each point.

    After an update, `voltage_v` and `current_a` are those of the linearised circuit: where Newton
    has ended they are the solution.
    """

    offset_v: FloatArray | float = 0.0
    scale_ohm = FORWARD_OHM

    def __init__(
        self,
        junction: Junction,
        network: Network,
        points: int,
        times: FloatArray | float = 1.0,
    ) -> None:
        size = network.conductance_s.shape[0]
        self.a, self.b = network.place(junction.a), network.place(junction.b)
        self.saturation_a = column(junction.saturation_a, size) * times
        self.emission_v = column(junction.emission_v, size)
        self.series_ohm = column(junction.series_ohm, size)
        self.total_ohm = self.series_ohm + self.scale_ohm
        self.unit_a = self.emission_v / self.total_ohm
        self.start = omega_start(self.saturation_a, self.emission_v, self.total_ohm)
        self.state_v = np.zeros((size, points))
        self.bend: FloatArray
        self.now: tuple[FloatArray, FloatArray, FloatArray]
        self.voltage_v: FloatArray
        self.current_a: FloatArray

    def linearise(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        self.bend = self.start + self.state_v / self.emission_v
        omega = wright_omega(self.bend)
        current = omega * self.unit_a - self.saturation_a
        voltage = self.state_v - self.scale_ohm * current + self.offset_v
        self.now = voltage, current, omega / (self.total_ohm + omega * self.series_ohm)
        return self.now

    def update(self, voltage_v: FloatArray, share: float) -> FloatArray:
        voltage, current, conductance = self.now
        step = voltage_v - voltage
        more = conductance * step
        self.voltage_v, self.current_a = voltage_v, current + more
        step = step + self.scale_ohm * more
        self.state_v = self.state_v + share * step
        # beyond some volts rounding sets the limit: a dead short on mains has s of megavolts
        left = _left_of_junction(step, self.emission_v, self.bend)
        return left / (1.0 + FINEST_RATIO * np.abs(self.state_v))

    def gather(self, at: Part) -> Self:
        rows = rows_of(at)
        part = copy(self)
        part.state_v = gather(self.state_v, at)
        for name in ("saturation_a", "emission_v", "series_ohm", "total_ohm", "unit_a", "start"):
            of_part = gather if getattr(self, name).shape[1] > 1 else _rows
            setattr(part, name, of_part(getattr(self, name), at))
        if isinstance(self.offset_v, np.ndarray):
            part.offset_v = self.offset_v[rows]
        return part

    def scatter(self, at: Part, part: Self) -> None:
        for name in ("state_v", "voltage_v", "current_a"):
            scatter(getattr(self, name), at, getattr(part, name))


class BreakdownBranch(JunctionBranch):
    """The same diode beyond its breakdown voltage, conducting backwards."""

    scale_ohm = BREAKDOWN_OHM

    def __init__(self, junction: Junction, network: Network, points: int) -> None:
        super().__init__(junction, network, points)
        self.a, self.b = self.b, self.a
        self.offset_v = column(junction.breakdown_v, self.total_ohm.shape[0])


class TransistorBranch:
    """The phototransistor at a given photocurrent.

    Its current rises with VCE as a sigmoid. Newton starts at the steepest point and may not step
    over it, which makes each step monotone.
    """

    def __init__(
        self, transistor: Controlled, network: Network, photocurrent_a: FloatArray
    ) -> None:
        size = network.conductance_s.shape[0]
        self.a, self.b = network.place(transistor.a), network.place(transistor.b)
        self.photocurrent_a = photocurrent_a
        self.knee_v = column(transistor.knee_v, size)
        self.knee_ratio = column(transistor.knee_ratio, size)
        self.early_v = column(transistor.early_v, size)
        own = transistor.offset_v if isinstance(transistor, Transistor) else 0.0
        self.offset_v = column(own, size)
        self.steepest_v = self.offset_v + self.knee_v * np.log(self.knee_ratio)
        self.state_v = np.broadcast_to(self.steepest_v, photocurrent_a.shape).copy()

    def linearise(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        above_v = self.state_v - self.offset_v
        share, slope = collector_share(above_v, self.knee_v, self.knee_ratio, self.early_v)
        return self.state_v, self.photocurrent_a * share, self.photocurrent_a * slope

    def update(self, voltage_v: FloatArray, share: float) -> FloatArray:
        before, steepest = self.state_v, self.steepest_v
        crosses = (before - steepest) * (voltage_v - steepest) < 0
        self.state_v = np.where(crosses, steepest, before + share * (voltage_v - before))
        lower = (np.minimum(before, voltage_v) - steepest) / self.knee_v
        return _left_of_transistor(voltage_v - before, lower, self.knee_v, self.early_v)

    def gather(self, at: Part) -> Self:
        rows = rows_of(at)
        part = copy(self)
        part.state_v = gather(self.state_v, at)
        part.photocurrent_a = gather(self.photocurrent_a, at)
        for name in ("knee_v", "knee_ratio", "early_v", "steepest_v", "offset_v"):
            setattr(part, name, getattr(self, name)[rows])
        return part

    def scatter(self, at: Part, part: Self) -> None:
        scatter(self.state_v, at, part.state_v)


def _left_of_junction(step_v: FloatArray, emission_v: FloatArray, before: FloatArray) -> FloatArray:
    """What a step of Newton's method leaves to do: at most what the law bends on its way.

    With w(z) Wright's omega, z from `before` on, w'' = w / (1 + w)^3 < 1 / (4 + 0.4 z^2): a
    junction far from its knee is straight, so that one step is the last. A step over the knee
    counts as one at the knee, one away from it as one towards it.
    """
    step = np.abs(step_v)
    moved = step / emission_v
    nearest = np.maximum(np.abs(before) - moved, 0.0)
    moved *= moved
    moved /= 4.0 + 0.4 * nearest * nearest
    moved *= emission_v
    return np.minimum(step, moved)


def _left_of_transistor(
    step_v: FloatArray, lower: FloatArray, knee_v: FloatArray, early_v: FloatArray
) -> FloatArray:
    """The same: where it amplifies, what is left of the knee bends less than Early's straight line.

    `lower` is the lower end of the step, in knees above the steepest point.
    """
    straight = 1.0 + np.exp(np.minimum(lower, MAX_KNEES)) * knee_v / (4.0 * early_v)
    return np.minimum(np.abs(step_v), step_v * step_v / (knee_v * straight))
