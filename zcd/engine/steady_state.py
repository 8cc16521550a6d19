"""Capacitors: a network over a whole period at once, or over the transient from switching on.

The waveform is one system of equations, a band matrix over time: the periodic steady state is
solved for, not waited for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.batch import OF_WHOLE, Batch
from zcd.engine.band import solve_band
from zcd.engine.branches import Part, rows_of
from zcd.engine.network import Network
from zcd.engine.newton import (
    FEW_RATIO,
    SMALL_POINTS,
    LinearSolve,
    Pointwise,
    eliminate,
    solve_pointwise,
)

FloatArray = NDArray[np.float64]
Solve = Callable[[list[list[FloatArray]], list[FloatArray]], FloatArray]

MIN_F = 1e-300
ROUNDING_RATIO = 1e-12
FORGOTTEN = 20.0
"""Time constants after which nothing is left: 2e-9."""
ABRUPT_RATIO = 0.1
"""Jump of a rate over its swing from which on it is no smooth change: a sine on 80 points has
0.04."""
CLOSED_V = 1e-9
"""What the beginning of a period may differ from its end."""


@dataclass(slots=True)
class Trajectory(Batch):
    """Where and when a network is solved.

    Parameters
    ----------
    phase_rad : ndarray, shape (n, m)
        Rising; a full period, or several when it is not closed.
    omega_rad_per_s : ndarray, shape (n, 1)
    closed : bool
        True: periodic; False: starts from nothing charged.
    mirrored : bool
        True: each quarter of the period mirrors the one before, as `grid.mirror` has it.
    abrupt : ndarray of bool, shape (n, m)
        Points at which a charge stops or starts to change: the differences are of first order
        there, as those of second order would overshoot.
    carry : ndarray, shape (n, c, c)
        Set by the solver: how a disturbance of the c charged nodes looks after one period.
    """

    phase_rad: FloatArray
    omega_rad_per_s: FloatArray
    closed: bool = True
    mirrored: bool = False
    abrupt: NDArray[np.bool_] | None = None
    carry: FloatArray | None = field(default=None, metadata=OF_WHOLE)

    def multiplier(self) -> FloatArray:
        """Largest Floquet multiplier: the share of a disturbance left after one period, (n,)."""
        if self.carry is None:
            return np.zeros(self.phase_rad.shape[0])
        return np.max(np.abs(np.linalg.eigvals(self.carry)), axis=1)


@dataclass(frozen=True, slots=True)
class Steps:
    """Second-order backward difference on an uneven grid: x' = now x_k + one x_k-1 + two x_k-2.

    Shapes (n, m), in 1/s. The first two steps from rest are of first order.
    """

    now: FloatArray
    one: FloatArray
    two: FloatArray


def intervals_s(trajectory: Trajectory) -> FloatArray:
    """Time from the point before to each point, shape (n, m)."""
    phase = trajectory.phase_rad
    if trajectory.closed:
        first = phase[:, :1] + 2.0 * np.pi - phase[:, -1:]
    else:
        first = phase[:, 1:2] - phase[:, :1]
    return np.concatenate([first, np.diff(phase, axis=1)], axis=1) / trajectory.omega_rad_per_s


def difference_steps(trajectory: Trajectory) -> Steps:
    """Difference coefficients of a trajectory."""
    h = intervals_s(trajectory)
    ratio = h / np.roll(h, 1, axis=1)
    now = (1.0 + 2.0 * ratio) / (1.0 + ratio) / h
    one = -(1.0 + ratio) / h
    two = ratio**2 / (1.0 + ratio) / h
    first = np.zeros(h.shape, dtype=bool) if trajectory.abrupt is None else trajectory.abrupt.copy()
    if not trajectory.closed:
        first[:, :2] = True
    now[first], one[first], two[first] = 1.0 / h[first], -1.0 / h[first], 0.0
    return Steps(now, one, two)


def abrupt_points(
    network: Network, voltages_v: FloatArray, trajectory: Trajectory, least_a: FloatArray
) -> NDArray[np.bool_]:
    """Where the current of a charge jumps between two intervals, with the points beside.

    Parameters
    ----------
    network : Network
    voltages_v : ndarray, shape (k, n, m)
        Of its active nodes.
    trajectory : Trajectory
    least_a : ndarray, shape (n, 1)
        A jump that counts, where it is no small part of the swing of that current either.

    Returns
    -------
    abrupt : ndarray of bool, shape (n, m)
    """
    h = intervals_s(trajectory)
    result = np.zeros(h.shape, dtype=bool)
    for i, wave in enumerate(voltages_v):
        rate = (wave - np.roll(wave, 1, axis=1)) / h
        if not trajectory.closed:
            rate[:, 0] = wave[:, 0] / h[:, 0]
        jump = np.abs(rate - np.roll(rate, 1, axis=1))
        counts = network.capacitance_f[:, i, i, None] * jump > least_a
        result |= counts & (jump > ABRUPT_RATIO * np.ptp(rate, axis=1, keepdims=True))
    # a jump within an interval shows at both its ends, at one of them perhaps weakly
    return np.asarray(result | np.roll(result, 1, axis=1) | np.roll(result, -1, axis=1))


class Coupled:
    """A linear solution that couples each point to those before it through the capacitors.

    Nodes without a capacitor are eliminated at each point by itself first.

    Parameters
    ----------
    network : Network
    inputs_v : ndarray, shape (u, n, m)
    trajectory : Trajectory
        Left with its `carry`.
    """

    def __init__(self, network: Network, inputs_v: FloatArray, trajectory: Trajectory) -> None:
        self.network, self.inputs_v, self.trajectory = network, inputs_v, trajectory
        held = np.any(network.capacitance_f, axis=(0, 1))
        self.floating = _floating(network)
        roots = [group[0] for group in self.floating]
        self.charged = [i for i in range(network.active) if held[i] and i not in roots]
        self.free = [i for i in range(network.active) if not held[i] or i in roots]
        self.inner = _coupled(network, inputs_v, trajectory, self.charged)

    def __call__(self, matrix: list[list[FloatArray]], currents: list[FloatArray]) -> FloatArray:
        charged, free = self.charged, self.free
        if not free:
            return self.inner(matrix, currents)
        a, y = eliminate(*_from_roots(matrix, currents, self.floating), free)
        x = np.empty((self.network.active, *self.inputs_v.shape[1:]))
        reduced = [[a[i][j] for j in charged] for i in charged]
        x[charged] = self.inner(reduced, [y[i] for i in charged])
        for at, i in reversed(list(enumerate(free))):
            rest = sum((a[i][j] * x[j] for j in (*free[at + 1 :], *charged)), np.zeros(1))
            x[i] = (y[i] - rest) / a[i][i]
        for root, *others in self.floating:
            x[others] += x[root]
        return x

    def moving(self, moving: NDArray[np.bool_]) -> Part | None:
        rows = np.flatnonzero(np.any(moving, axis=1))
        few = moving.size < SMALL_POINTS or rows.size >= FEW_RATIO * moving.shape[0]
        return None if few else rows

    def gather(self, at: Part) -> Coupled:
        rows = rows_of(at)
        network, trajectory = self.network.rows(rows), self.trajectory.rows(rows)
        return Coupled(network, self.inputs_v[:, rows], trajectory)

    def scatter(self, at: Part, part: LinearSolve) -> None:
        assert isinstance(part, Coupled)
        if self.trajectory.carry is not None and part.trajectory.carry is not None:
            self.trajectory.carry[rows_of(at)] = part.trajectory.carry


def trajectory_solver(
    network: Network, inputs_v: FloatArray, trajectory: Trajectory
) -> LinearSolve:
    """The linear solution of a network on a trajectory, with its capacitors if it has any."""
    return Coupled(network, inputs_v, trajectory) if np.any(network.capacitance_f) else Pointwise()


def _coupled(
    network: Network, inputs_v: FloatArray, trajectory: Trajectory, charged: list[int]
) -> Solve:
    """The same for the nodes with capacitors alone."""
    steps = difference_steps(trajectory)
    c, k = network.capacitance_f[:, charged][:, :, charged], len(charged)
    n, m = trajectory.phase_rad.shape
    push = _input_displacement(network.input_f[:, charged], inputs_v, steps, trajectory.closed)
    if k == 1 and trajectory.closed and _forgets(network, trajectory, charged[0]):
        return _recurrence(c[:, 0], steps, push[0])
    c_of = [[c[:, i, j, None] for j in range(k)] for i in range(k)]

    def solve(matrix: list[list[FloatArray]], currents: list[FloatArray]) -> FloatArray:
        now = [[matrix[i][j] + c_of[i][j] * steps.now for j in range(k)] for i in range(k)]
        # with each point solved for its own nodes, all that is left of a point goes before it
        own, *drive = solve_pointwise(now, [[currents[i] - push[i] for i in range(k)], *c_of])
        # last axis: the diagonals, so that a column of the matrix is contiguous
        band = np.zeros((n, m, k, 3 * k))
        right = np.zeros((1 + 2 * k, n, m, k))
        for i in range(k):
            right[0, ..., i] = own[i]
            for j in range(k):
                one, two = drive[j][i] * steps.one, drive[j][i] * steps.two
                band[:, :-1, j, k + i - j] = one[:, 1:]
                band[:, :-2, j, 2 * k + i - j] = two[:, 2:]
                # what the last value of the period before and the one before it do to the first two
                right[1 + j, :, 0, i], right[1 + j, :, 1, i] = -one[:, 0], -two[:, 1]
                right[1 + k + j, :, 0, i] = -two[:, 0]
        flat = solve_band(band, right, unit=True)
        x = flat[0]
        if trajectory.closed:
            ends = np.concatenate([flat[:, :, -1], flat[:, :, -2]], axis=2)
            last = np.moveaxis(ends, 0, 2)
            trajectory.carry = last[..., 1:]
            gap = np.eye(2 * k) - trajectory.carry
            start = np.linalg.solve(gap, last[..., :1])[..., 0]
            for column in range(2 * k):
                x = x + flat[1 + column] * start[:, column, None, None]
        return np.moveaxis(x, 2, 0)

    return solve


def _floating(network: Network) -> list[list[int]]:
    """Nodes that capacitors tie to each other and to no source: one of each group, the first, has
    no charge of its own once the others are seen from it."""
    c = network.capacitance_f
    tied = np.any(c, axis=0)
    to_fixed = np.abs(c.sum(axis=2)) > ROUNDING_RATIO * np.abs(c).max(axis=(1, 2))[:, None]
    held = np.any(to_fixed, axis=0) | np.any(network.input_f, axis=(0, 2))
    result, left = [], set(np.flatnonzero(tied.any(axis=1)).tolist())
    while left:
        group, new = set[int](), {min(left)}
        while new:
            group |= new
            new = {int(j) for i in new for j in np.flatnonzero(tied[i])} - group
        left -= group
        if not held[list(group)].any():
            result.append(sorted(group))
    return result


def _from_roots(
    matrix: list[list[FloatArray]], currents: list[FloatArray], floating: list[list[int]]
) -> tuple[list[list[FloatArray]], list[FloatArray]]:
    """Matrix and currents of the voltages of floating nodes over the first of their group."""
    a, y = [list(row) for row in matrix], list(currents)
    for root, *others in floating:
        for row in a:
            row[root] = sum((row[j] for j in others), row[root])
        a[root] = [sum((a[j][c] for j in others), a[root][c]) for c in range(len(a))]
        y[root] = sum((y[j] for j in others), y[root])
    return a, y


def _forgets(network: Network, trajectory: Trajectory, node: int) -> bool:
    """Whether nothing of a node's charge is left after half a period, in any row.

    Seen from it through resistances alone: what conducts besides can only be quicker.
    """
    g = network.conductance_s
    others = [i for i in range(network.active) if i != node]
    through = g[:, others][:, :, others]
    seen = np.linalg.solve(through, g[:, others, node, None])[..., 0]
    load_s = g[:, node, node] - np.sum(g[:, node, others] * seen, axis=1)
    rate = load_s / np.maximum(network.capacitance_f[:, node, node], MIN_F)
    return bool(np.all(np.pi * rate > FORGOTTEN * trajectory.omega_rad_per_s[:, 0]))


def _recurrence(capacitance_f: FloatArray, steps: Steps, push: FloatArray) -> Solve:
    """The same for one node that forgets: what goes before a period follows from its end."""
    n, m = push.shape
    one, two = capacitance_f * steps.one, capacitance_f * steps.two
    now = capacitance_f * steps.now
    band = np.zeros((n, m, 1, 3))
    band[:, :-1, 0, 1], band[:, :-2, 0, 2] = one[:, 1:], two[:, 2:]

    def solve(matrix: list[list[FloatArray]], currents: list[FloatArray]) -> FloatArray:
        main = matrix[0][0] + now
        band[:, :, 0, 0] = main
        # at first as if it had come to rest; what the period then ends with takes its place
        before = currents[0][:, -2:] / matrix[0][0][:, -2:]
        while True:
            right = currents[0] - push
            right[:, 0] -= one[:, 0] * before[:, 1] + two[:, 0] * before[:, 0]
            right[:, 1] -= two[:, 1] * before[:, 1]
            x = solve_band(band, right[None, :, :, None])[0, :, :, 0]
            if np.max(np.abs(x[:, -2:] - before)) < CLOSED_V:
                return x[None]
            before = x[:, -2:]

    return solve


def _input_displacement(
    input_f: FloatArray, inputs_v: FloatArray, steps: Steps, closed: bool
) -> list[FloatArray]:
    """Current that capacitors to known nodes draw from the active nodes."""
    rates = []
    for wave in inputs_v:
        before = np.roll(wave, 1, axis=1)
        earlier = np.roll(wave, 2, axis=1)
        if not closed:
            before[:, 0] = 0.0
            earlier[:, :2] = 0.0
        rates.append(steps.now * wave + steps.one * before + steps.two * earlier)
    zero = np.zeros(steps.now.shape)
    return [
        sum((input_f[:, i, u, None] * rate for u, rate in enumerate(rates)), zero)
        for i in range(input_f.shape[1])
    ]


def lagged(values: FloatArray, time_constant_s: FloatArray, trajectory: Trajectory) -> FloatArray:
    """First-order lag of a waveform, exact for straight lines between its points.

    Parameters
    ----------
    values : ndarray, shape (n, m)
    time_constant_s : ndarray, shape (n, 1)
    trajectory : Trajectory

    Returns
    -------
    lagged : ndarray, shape (n, m)
    """
    n, m = values.shape
    x = intervals_s(trajectory) / time_constant_s
    decay = np.exp(-x)
    ramp = (1.0 - decay) / x
    before = np.roll(values, 1, axis=1)
    if not trajectory.closed:
        before[:, 0], decay[:, 0] = values[:, 0], 0.0
    push = values * (1.0 - ramp) + before * (ramp - decay)
    band = np.ones((n, m, 1, 2))
    band[:, :-1, 0, 1] = -decay[:, 1:]
    band[:, -1, 0, 1] = 0.0
    once = solve_band(band, push[None, ..., None])[0, ..., 0]
    if not trajectory.closed:
        return np.asarray(once)
    carried = np.exp(-np.cumsum(x, axis=1))
    start = once[:, -1:] / (1.0 - carried[:, -1:])
    return np.asarray(once + start * carried)
