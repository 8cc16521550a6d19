"""A plane of two quantities: where which rule is broken, and the exact boundary of what holds.

The plane is a unit square, its rules functions on it, each kept where it is not negative. A coarse
lattice is solved everywhere, one twice as close where a margin may reach 0 between its points; a
fine one only along the borders between one broken rule and another, followed wherever they lead.
Each crossing of the boundary with a line of the fine lattice is then a root, found exactly, and the
roots are joined to curves, open or closed, as many as there are.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from zcd.margin.roots import broken_rule, limits

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
Margins = Callable[[FloatArray, FloatArray], FloatArray]
"""Of places across and up, shape (n,) each, to the margins of all rules, shape (n, rules)."""

CELLS = 12
SPLITS = 3
"""12 coarse cells each way, halved once where in doubt, then twice along borders: as fine as 97
lines each way. Of 400 maps over any two quantities of random boards none looked otherwise than
with 24 cells solved everywhere."""
ROOT_TOLERANCE = 2e-5
"""Of the whole range of an axis."""


@dataclass(frozen=True, slots=True)
class Lattice:
    """Margins on a square lattice.

    Parameters
    ----------
    margins : ndarray, shape (m, m, rules)
        First axis: up; second: across.
    solved : ndarray of bool, shape (m, m)
        False: between solved points of one kind, and interpolated.
    """

    margins: FloatArray
    solved: NDArray[np.bool_]

    @property
    def places(self) -> FloatArray:
        """Where the lines stand, shape (m,)."""
        return np.linspace(0.0, 1.0, self.solved.shape[0])


@dataclass(frozen=True, slots=True)
class Curve:
    """A piece of the boundary.

    Parameters
    ----------
    across, up : ndarray, shape (k,)
        Its points in order; of a closed one the first is not repeated.
    kinds : ndarray of int, shape (k,)
        Which rule is broken just beyond each.
    closed : bool
    """

    across: FloatArray
    up: FloatArray
    kinds: IntArray
    closed: bool


def explore(margins: Margins, cells: int = CELLS, splits: int = SPLITS) -> Lattice:
    """Find out which rule is broken where.

    Parameters
    ----------
    margins : callable
    cells : int
        Coarse cells each way; what is smaller than one of them may be missed.
    splits : int
        How often cells at a border are halved.

    Returns
    -------
    lattice : Lattice
        With ``cells * 2**splits + 1`` lines each way.
    """
    step = 2**splits
    size = cells * step + 1
    solved = np.zeros((size, size), dtype=bool)
    place = np.linspace(0.0, 1.0, size)
    values: FloatArray = np.zeros((0,))

    def solve(step: int, wanted: NDArray[np.bool_]) -> None:
        nonlocal values
        row, column = step * np.array(np.nonzero(wanted))
        if not row.size:
            return
        result = margins(place[column], place[row])
        if not values.size:
            values = np.zeros((size, size, result.shape[1]))
        values[row, column] = result
        solved[row, column] = True

    solve(step, np.ones((cells + 1, cells + 1), dtype=bool))
    doubtful = _doubtful(values[::step, ::step])
    doubtful[::2, ::2] = False
    solve(step // 2, doubtful)
    while step > 1:
        step //= 2
        part = np.s_[::step, ::step]
        between = halved(values[:: 2 * step, :: 2 * step])
        values[part] = np.where(solved[part][..., None], values[part], between)
        while np.any(new := _at_borders(broken_rule(values[part])) & ~solved[part]):
            solve(step, new)
    return Lattice(values, solved)


def _at_borders(kinds: IntArray) -> NDArray[np.bool_]:
    """Points at a corner of a cell whose corners are not all of one kind."""
    corners = _corners(kinds)
    return _of_cells(np.any(corners != corners[0], axis=0), 1)


def _doubtful(margins: FloatArray) -> NDArray[np.bool_]:
    """Points, of lines twice as close, of cells in which a margin may reach 0: it changes from
    corner to corner by more than it is away from 0."""
    low, high = np.min(_corners(margins), axis=0), np.max(_corners(margins), axis=0)
    return _of_cells(np.any(np.maximum(low, -high) < high - low, axis=-1), 2)


def _corners(values: NDArray[Any]) -> NDArray[Any]:
    """What is at the four corners of each cell."""
    return np.stack([values[:-1, :-1], values[:-1, 1:], values[1:, :-1], values[1:, 1:]])


def _of_cells(cells: NDArray[np.bool_], width: int) -> NDArray[np.bool_]:
    """All points of some cells, each so many lines wide."""
    size = width * len(cells) + 1
    result = np.zeros((size, size), dtype=bool)
    for down in range(width + 1):
        for side in range(width + 1):
            result[down : size - width + down : width, side : size - width + side : width] |= cells
    return result


def halved(values: FloatArray) -> FloatArray:
    """Values on lines twice as close, by straight lines."""
    for axis in (0, 1):
        values = np.moveaxis(values, axis, 0)
        fine = np.empty((2 * values.shape[0] - 1, *values.shape[1:]))
        fine[::2] = values
        fine[1::2] = (values[1:] + values[:-1]) / 2.0
        values = np.moveaxis(fine, 0, axis)
    return values


def boundary(margins: Margins, lattice: Lattice) -> tuple[Curve, ...]:
    """The curves between where all rules hold and where one is broken.

    Parameters
    ----------
    margins : callable
    lattice : Lattice

    Returns
    -------
    curves : tuple of Curve
        The longest first.
    """
    least = lattice.margins.min(axis=2)
    holds = least >= 0.0
    level = _edges(holds[:, :-1] != holds[:, 1:])
    upright = _edges(holds[:-1] != holds[1:])
    if not level.row.size + upright.row.size:
        return ()
    across, up, kinds = _roots(margins, lattice, level, upright)
    curves = [
        Curve(across[path], up[path], kinds[path], closed)
        for path, closed in _paths(_links(least, level, upright))
    ]
    return tuple(sorted(curves, key=lambda curve: -curve.across.size))


@dataclass(frozen=True, slots=True)
class _Edges:
    """Lattice edges that the boundary crosses, by their lower or left end."""

    row: IntArray
    column: IntArray
    size: int

    def numbers(self, first: int) -> IntArray:
        """A table of their numbers, counted from `first`; -1 where there is none."""
        table = np.full((self.size, self.size), -1)
        table[self.row, self.column] = first + np.arange(self.row.size)
        return table


def _edges(crossed: NDArray[np.bool_]) -> _Edges:
    row, column = np.nonzero(crossed)
    return _Edges(row, column, size=max(crossed.shape))


def _roots(
    margins: Margins, lattice: Lattice, level: _Edges, upright: _Edges
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Where the boundary crosses each edge, and the rule that is broken beyond."""
    row = np.concatenate([level.row, upright.row])
    column = np.concatenate([level.column, upright.column])
    is_level = np.arange(row.size) < level.row.size
    pitch = 1.0 / (level.size - 1)

    def place(t: FloatArray, some: IntArray) -> tuple[FloatArray, FloatArray]:
        along, upwards = np.where(is_level[some], t, 0.0), np.where(is_level[some], 0.0, t)
        return (column[some] + along) * pitch, (row[some] + upwards) * pitch

    found = lattice.margins
    t, kinds = limits(
        lambda x, some: margins(*place(x, some)),
        (np.zeros(row.size), np.ones(row.size)),
        (found[row, column], found[row + ~is_level, column + is_level]),
        ROOT_TOLERANCE / pitch,
    )
    return *place(t, np.arange(row.size)), kinds


def _links(least: FloatArray, level: _Edges, upright: _Edges) -> dict[int, list[int]]:
    """Which crossings are neighbours: those of one cell."""
    flat, steep = level.numbers(0), upright.numbers(level.row.size)
    around = np.stack([flat[:-1, :-1], steep[:-1, 1:], flat[1:, :-1], steep[:-1, :-1]])
    links: dict[int, list[int]] = {}
    for row, column in zip(*np.nonzero(np.any(around >= 0, axis=0)), strict=True):
        bottom, right, top, left = around[:, row, column]
        crossed = [e for e in (bottom, right, top, left) if e >= 0]
        if len(crossed) == 4:
            corners = least[row : row + 2, column : column + 2]
            alike = (corners.mean() >= 0.0) == (corners[0, 0] >= 0.0)
            crossed = [bottom, right, top, left] if alike else [bottom, left, top, right]
        for a, b in zip(crossed[::2], crossed[1::2], strict=True):
            links.setdefault(int(a), []).append(int(b))
            links.setdefault(int(b), []).append(int(a))
    return links


def _paths(links: dict[int, list[int]]) -> list[tuple[list[int], bool]]:
    """Chains of neighbours, those with ends first; and whether each is closed."""
    ends = [number for number, near in links.items() if len(near) == 1]
    left = dict.fromkeys([*ends, *links])
    result = []
    while left:
        path = [next(iter(left))]
        closed = len(links[path[0]]) == 2
        del left[path[0]]
        while ahead := [n for n in links[path[-1]] if n in left]:
            path.append(ahead[0])
            del left[ahead[0]]
        result.append((path, closed))
    return result
