"""Newton's method on a network: point by point, or on a whole trajectory with capacitors."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded

from zcd.engine.branches import Branch
from zcd.engine.network import Network
from zcd.errors import SolverError

FloatArray = NDArray[np.float64]
LinearSolve = Callable[[list[list[FloatArray]], list[FloatArray]], FloatArray]

STEP_TOLERANCE_V = 1e-5
"""Newton ends when no branch moves by more: near the end it is quadratic in units of the thermal
voltage, so that less than 1e-8 V is left."""
MAX_STEPS = 80


@dataclass(slots=True)
class Trajectory:
    """Where and when a network is solved.

    Parameters
    ----------
    phase_rad : ndarray, shape (n, m)
        Rising; a full period, or several when it is not closed.
    omega_rad_per_s : ndarray, shape (n, 1)
    closed : bool
        True: periodic; False: starts from nothing charged.
    multiplier : ndarray, shape (n,)
        Set by the solver: largest Floquet multiplier, how much of a disturbance is left
        after one period.
    """

    phase_rad: FloatArray
    omega_rad_per_s: FloatArray
    closed: bool = True
    multiplier: FloatArray | None = None


def newton(
    network: Network, branches: Sequence[Branch], inputs_v: FloatArray, solve: LinearSolve
) -> FloatArray:
    """Voltages of the active nodes.

    Parameters
    ----------
    network : Network
    branches : sequence of Branch
        Left at their solution.
    inputs_v : ndarray, shape (u, n, m)
        Voltages of the known nodes.
    solve : callable
        Linear solution from the entries of the nodal matrix and the currents.

    Returns
    -------
    voltages_v : ndarray, shape (k, n, m)

    Raises
    ------
    SolverError
        If it does not converge.
    """
    k = network.active
    base = _base_currents(network, inputs_v, inputs_v.shape[1:])
    left = np.inf
    for _ in range(MAX_STEPS):
        matrix = [[network.conductance_s[:, i, j, None] for j in range(k)] for i in range(k)]
        currents = list(base)
        for branch in branches:
            voltage, current, conductance = branch.linearise()
            across = _branch_input(branch, inputs_v)
            _add_branch(matrix, currents, branch, conductance,
                        current - conductance * (voltage - across))  # fmt: skip
        x = solve(matrix, currents)
        moved = [
            branch.update(np.asarray(_end(branch.a, x, inputs_v) - _end(branch.b, x, inputs_v)))
            for branch in branches
        ]
        left = max((float(np.max(np.abs(m))) for m in moved), default=0.0)
        if left < STEP_TOLERANCE_V:
            return x
        if not np.isfinite(left):
            break
    raise SolverError(f"the circuit did not converge: {left:.3g} V left")


def _base_currents(
    network: Network, inputs_v: FloatArray, shape: tuple[int, ...]
) -> list[FloatArray]:
    """Currents into the active nodes from sources, one (n, m) array a node."""
    base = []
    for i in range(network.active):
        current = np.broadcast_to(network.injection_a[:, i, None], shape)
        for u, wave in enumerate(inputs_v):
            if np.any(network.input_s[:, i, u]):
                current = current - network.input_s[:, i, u, None] * wave
        base.append(current)
    return base


def _end(place: tuple[str, int], x: FloatArray, inputs_v: FloatArray) -> FloatArray | float:
    """Voltage at one end of a branch."""
    kind, index = place
    if kind == "active":
        return np.asarray(x[index])
    return np.asarray(inputs_v[index]) if kind == "known" else 0.0


def _branch_input(branch: Branch, inputs_v: FloatArray) -> FloatArray | float:
    """The part of a branch's voltage that known nodes give."""
    a = inputs_v[branch.a[1]] if branch.a[0] == "known" else 0.0
    b = inputs_v[branch.b[1]] if branch.b[0] == "known" else 0.0
    return a - b


def _add_branch(
    matrix: list[list[FloatArray]],
    currents: list[FloatArray],
    branch: Branch,
    conductance: FloatArray,
    constant: FloatArray,
) -> None:
    """Add a linearised branch to the nodal equations."""
    a = branch.a[1] if branch.a[0] == "active" else None
    b = branch.b[1] if branch.b[0] == "active" else None
    for node, sign in ((a, 1.0), (b, -1.0)):
        if node is not None:
            matrix[node][node] = matrix[node][node] + conductance
            currents[node] = currents[node] - sign * constant
    if a is not None and b is not None:
        matrix[a][b] = matrix[a][b] - conductance
        matrix[b][a] = matrix[b][a] - conductance


def solve_points(matrix: list[list[FloatArray]], currents: list[FloatArray]) -> FloatArray:
    """Solve each point by itself: elimination over the nodes, vectorised over all points.

    The nodal matrix of conductances is symmetric and positive definite, so no pivoting.
    """
    k = len(currents)
    a, y = [list(row) for row in matrix], list(currents)
    for i in range(k):
        for r in range(i + 1, k):
            factor = a[r][i] / a[i][i]
            for c in range(i + 1, k):
                a[r][c] = a[r][c] - factor * a[i][c]
            y[r] = y[r] - factor * y[i]
    for i in reversed(range(k)):
        for c in range(i + 1, k):
            y[i] = y[i] - a[i][c] * y[c]
        y[i] = y[i] / a[i][i]
    return np.array(np.broadcast_arrays(*y)) if k else np.empty((0,))


@dataclass(frozen=True, slots=True)
class Steps:
    """Second-order backward difference on an uneven grid: x' = now x_k + one x_k-1 + two x_k-2.

    Shapes (n, m), in 1/s. The first step of a period is of first order, so that only one value
    of the period before is needed.
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
    start = 1 if trajectory.closed else 2
    now[:, :start], one[:, :start] = 1.0 / h[:, :start], -1.0 / h[:, :start]
    two[:, :start] = 0.0
    return Steps(now, one, two)


def trajectory_solver(
    network: Network, inputs_v: FloatArray, trajectory: Trajectory
) -> LinearSolve:
    """A linear solution that couples each point to those before it through the capacitors."""
    steps = difference_steps(trajectory)
    c, k = network.capacitance_f, network.active
    n, m = trajectory.phase_rad.shape
    charged = [i for i in range(k) if np.any(c[:, :, i])]
    push = _input_displacement(network, inputs_v, steps, trajectory.closed)
    lower, upper = 3 * k - 1, k - 1
    band = np.zeros((lower + upper + 1, n, m, k))
    for i in range(k):
        for j in range(k):
            band[upper + k + i - j, :, : m - 1, j] = c[:, i, j, None] * steps.one[:, 1:]
            band[upper + 2 * k + i - j, :, : m - 2, j] = c[:, i, j, None] * steps.two[:, 2:]
    wrap = np.zeros((n, m, k, len(charged)))
    for column, j in enumerate(charged):
        wrap[:, 0, :, column] = -c[:, :, j] * steps.one[:, :1]
        wrap[:, 1, :, column] = -c[:, :, j] * steps.two[:, 1:2]

    def solve(matrix: list[list[FloatArray]], currents: list[FloatArray]) -> FloatArray:
        for i in range(k):
            for j in range(k):
                band[upper + i - j, :, :, j] = matrix[i][j] + c[:, i, j, None] * steps.now
        right = np.empty((n, m, k, 1 + len(charged)))
        for i in range(k):
            right[..., i, 0] = currents[i] - push[i]
        right[..., 1:] = wrap
        flat = solve_banded(
            (lower, upper),
            band.reshape(lower + upper + 1, -1),
            right.reshape(n * m * k, -1),
            overwrite_b=True,
            check_finite=False,
        ).reshape(right.shape)
        x = flat[..., 0]
        if trajectory.closed and charged:
            last = flat[:, -1][:, charged]
            carry = last[..., 1:]
            trajectory.multiplier = np.max(np.abs(np.linalg.eigvals(carry)), axis=1)
            gap = np.eye(len(charged)) - carry
            start = np.linalg.solve(gap, last[..., :1])
            x = x + (flat[..., 1:] @ start[:, None])[..., 0]
        return np.moveaxis(x, 2, 0)

    return solve


def _input_displacement(
    network: Network, inputs_v: FloatArray, steps: Steps, closed: bool
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
        sum((network.input_f[:, i, u, None] * rate for u, rate in enumerate(rates)), zero)
        for i in range(network.active)
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
    ramp = -np.expm1(-x) / x
    before = np.roll(values, 1, axis=1)
    if not trajectory.closed:
        before[:, 0], decay[:, 0] = values[:, 0], 0.0
    push = values * (1.0 - ramp) + before * (ramp - decay)
    band = np.ones((2, n, m))
    band[1, :, :-1] = -decay[:, 1:]
    band[1, :, -1] = 0.0
    right = np.zeros((n, m, 2))
    right[..., 0] = push
    right[:, 0, 1] = decay[:, 0]
    out = solve_banded((1, 0), band.reshape(2, -1), right.reshape(n * m, 2)).reshape(n, m, 2)
    if not trajectory.closed:
        return np.asarray(out[..., 0])
    start = out[:, -1, 0] / (1.0 - out[:, -1, 1])
    return np.asarray(out[..., 0] + start[:, None] * out[..., 1])
