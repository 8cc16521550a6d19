"""Newton's method on a network."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from zcd.engine.branches import Branch, Part, gather, rows_of, scatter
from zcd.engine.network import Network
from zcd.errors import SolverError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


class LinearSolve(Protocol):
    """Voltages, shape (k, n, m), from the entries of the nodal matrix and the currents."""

    def __call__(self, matrix: list[list[FloatArray]], currents: list[FloatArray]) -> FloatArray:
        """Solve the linearised circuit."""

    def moving(self, moving: NDArray[np.bool_]) -> Part | None:
        """What to go on with where only some points still move; None: with all of them."""

    def gather(self, at: Part) -> LinearSolve:
        """The same for a part of the batch."""

    def scatter(self, at: Part, part: LinearSolve) -> None:
        """Take over what is known of a part."""


TOLERANCE_V = 1e-5
"""Newton ends when no branch can have more left to move."""
MAX_STEPS, WHOLE_STEPS = 80, 30
"""Where so many whole steps have not ended, Newton goes round (a zener and a diode in series hand
the voltage from one to the other and back): then it takes half steps."""
FEW_RATIO = 0.6
"""Share of the points or rows still moving below which it pays to go on with these alone."""
SMALL_POINTS = 2048
"""Of so few points, all go on together: numpy's calls cost more than the arithmetic."""


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
    solve : LinearSolve
        Says also what is left alone as it has arrived.

    Returns
    -------
    voltages_v : ndarray, shape (k, n, m)

    Raises
    ------
    SolverError
        If it does not converge.
    """
    return _newton(network, branches, inputs_v, solve, MAX_STEPS)


def _newton(
    network: Network,
    branches: Sequence[Branch],
    inputs_v: FloatArray,
    solve: LinearSolve,
    most_steps: int,
) -> FloatArray:
    k = network.active
    base = base_currents(network, inputs_v, inputs_v.shape[1:])
    given = [known_voltage(branch.a, branch.b, inputs_v) for branch in branches]
    left, lacking = np.inf, np.full(inputs_v.shape[1:], np.inf)
    for step in range(1, most_steps + 1):
        matrix = [[network.conductance_s[:, i, j, None] for j in range(k)] for i in range(k)]
        currents = list(base)
        for branch, across in zip(branches, given, strict=True):
            voltage, current, conductance = branch.linearise()
            _add_branch(matrix, currents, branch, conductance,
                        current - conductance * (voltage - across))  # fmt: skip
        x = solve(matrix, currents)
        lacking = np.zeros(inputs_v.shape[1:])
        share = 1.0 if MAX_STEPS - most_steps + step <= WHOLE_STEPS else 0.5
        for branch in branches:
            across = np.asarray(_end(branch.a, x, inputs_v) - _end(branch.b, x, inputs_v))
            np.maximum(lacking, branch.update(across, share), out=lacking)
        left = float(np.max(lacking, initial=0.0))
        if left < TOLERANCE_V:
            return x
        if not np.isfinite(left):
            break
        at = solve.moving(lacking >= TOLERANCE_V)
        if at is not None:
            part = solve.gather(at)
            some = [branch.gather(at) for branch in branches]
            # a dead island has no inputs at all
            shape = (len(inputs_v), *gather(lacking, at).shape)
            inputs = np.array([gather(wave, at) for wave in inputs_v]).reshape(shape)
            try:
                result = _newton(network.rows(rows_of(at)), some, inputs, part, most_steps - step)
            except SolverError as error:
                rows = np.unique(rows_of(at)[list(error.rows)])
                raise SolverError(str(error), rows.tolist()) from None
            for whole, piece in zip(x, result, strict=True):
                scatter(whole, at, piece)
            for branch, left_to in zip(branches, some, strict=True):
                branch.scatter(at, left_to)
            solve.scatter(at, part)
            return x
    astray = np.any(~(lacking < TOLERANCE_V), axis=1)
    message = f"the circuit did not converge: {left:.3g} V left"
    raise SolverError(message, np.flatnonzero(astray).tolist())


def base_currents(
    network: Network, inputs_v: FloatArray, shape: tuple[int, ...]
) -> list[FloatArray]:
    """Currents into the active nodes from sources, one (n, m) array a node."""
    base = []
    for i in range(network.active):
        current = np.zeros(shape) + network.injection_a[:, i, None]
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


def known_voltage(
    a: tuple[str, int], b: tuple[str, int], inputs_v: FloatArray
) -> FloatArray | float:
    """The part of the voltage between two places that known nodes give."""
    first = inputs_v[a[1]] if a[0] == "known" else 0.0
    return first - (inputs_v[b[1]] if b[0] == "known" else 0.0)


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


class Pointwise:
    """Each point by itself: elimination over the nodes, vectorised over all points."""

    def __call__(self, matrix: list[list[FloatArray]], currents: list[FloatArray]) -> FloatArray:
        (x,) = solve_pointwise(matrix, [currents])
        return np.array(np.broadcast_arrays(*x)) if x else np.empty((0,))

    def moving(self, moving: NDArray[np.bool_]) -> Part | None:
        if moving.size < SMALL_POINTS or np.count_nonzero(moving) >= FEW_RATIO * moving.size:
            return None
        row, column = np.nonzero(moving)
        return row, column

    def gather(self, at: Part) -> Pointwise:
        return self

    def scatter(self, at: Part, part: LinearSolve) -> None:
        pass


def solve_pointwise(
    matrix: list[list[FloatArray]], sides: list[list[FloatArray]]
) -> list[list[FloatArray]]:
    """Solutions for several right sides, each point by itself; positive definite: no pivoting."""
    a, x = [list(row) for row in matrix], [list(side) for side in sides]
    k = len(a)
    for i in range(k):
        for r in range(i + 1, k):
            factor = a[r][i] / a[i][i]
            for c in range(i + 1, k):
                a[r][c] = a[r][c] - factor * a[i][c]
            for side in x:
                side[r] = side[r] - factor * side[i]
    for side in x:
        for i in reversed(range(k)):
            for c in range(i + 1, k):
                side[i] = side[i] - a[i][c] * side[c]
            side[i] = side[i] / a[i][i]
    return x


def eliminate(
    matrix: list[list[FloatArray]], currents: list[FloatArray], nodes: Sequence[int]
) -> tuple[list[list[FloatArray]], list[FloatArray]]:
    """Matrix and currents after eliminating some nodes, in this order, from all that follow.

    The nodal matrix of conductances is symmetric and positive definite, so no pivoting.
    """
    a, y = [list(row) for row in matrix], list(currents)
    left = list(range(len(y)))
    for i in nodes:
        left.remove(i)
        for r in left:
            factor = a[r][i] / a[i][i]
            for c in left:
                a[r][c] = a[r][c] - factor * a[i][c]
            y[r] = y[r] - factor * y[i]
    return a, y
