"""Maps of lost sync over any two quantities of a board, with their exact boundaries."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.batch import split
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.errors import invalid_value
from zcd.margin.lattice import (
    ROOT_TOLERANCE,
    Lattice,
    boundary,
    explore,
)
from zcd.margin.quantities import Quantity, quantity_of, usual_up
from zcd.margin.roots import broken_rule, limits
from zcd.results import Result
from zcd.sync.lock import RULES, lock_of

if TYPE_CHECKING:
    from zcd.margin.loss_share import LossShare
    from zcd.margin.population import Share

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

ROWS_AT_ONCE = 1024
EVERY = 4
"""Of the lines of the lattice: for other programs, and on the way to where a lock changes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Boundary:
    """A curve on one side of which sync is lost.

    Parameters
    ----------
    across, up : ndarray, shape (k,)
        Its points in order, in the units of the two quantities.
    rules : tuple of str
        The rule that fails just beyond each point.
    closed : bool
        Whether the last point is next to the first.
    """

    across: FloatArray
    up: FloatArray
    rules: tuple[str, ...]
    closed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """How far a board is from losing (or, without lock, from winning) sync along one quantity.

    Parameters
    ----------
    below, above : float
        Values of the quantity at which the lock changes, going down and going up from the board;
        nan where it does not within the map.
    rule_below, rule_above : str or None
        The rule that fails on the losing side of each.
    """

    below: float
    above: float
    rule_below: str | None
    rule_above: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lost:
    """Where sync is lost, on lines across and up.

    Parameters
    ----------
    across, up : ndarray, shape (m,)
        The lines, in the units of the two quantities.
    rules : tuple of tuple of str or None
        For each line up, over the lines across: the rule that a typical board breaks; null: none.
    ratio : ndarray, shape (m, m), or None
        Likewise: the share of boards within tolerance that lose sync.
    """

    across: FloatArray
    up: FloatArray
    rules: tuple[tuple[str | None, ...], ...]
    ratio: FloatArray | None


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class LossMap(Result):
    """Where sync is lost over two quantities, all others as on the bench.

    Parameters
    ----------
    board : Board
    across, up : Quantity
        What lies along the two axes.
    lattice : Lattice
        Margins of all rules over the plane, places as shares of the two ranges.
    boundaries : tuple of Boundary
        As many curves as there are, the longest first.
    failed_rule : str or None
        The rule that the board breaks as it is; null: it locks.
    unmet_expectations : tuple of str
        What some controllers expect of a pulse and the board does not give where it stands.
    reach_across, reach_up : Reach
        From the board, along either quantity.
    temperature_degc : float
        Where neither quantity is the temperature.
    share : LossShare or None
        Of the boards within tolerance; None: not drawn.
    """

    JSON_KEYS: ClassVar = (
        "board=board.name",
        "across",
        "up",
        "locks",
        "failed_rule",
        "unmet_expectations",
        "reach",
        "boundaries",
        "locked_ratio",
        "lost",
        "boards=share.boards",
        "lost_here",
        "cloud=share.cloud",
    )

    board: Board
    across: Quantity
    up: Quantity
    lattice: Lattice
    boundaries: tuple[Boundary, ...]
    failed_rule: str | None
    unmet_expectations: tuple[str, ...] = ()
    reach_across: Reach
    reach_up: Reach
    temperature_degc: float
    share: LossShare | None = None

    @property
    def locks(self) -> bool:
        """Whether the board does as it is."""
        return self.failed_rule is None

    @property
    def reach(self) -> dict[str, Reach]:
        """Along ``across`` and ``up``: where the lock changes, going from the board."""
        return {"across": self.reach_across, "up": self.reach_up}

    @property
    def lost(self) -> Lost:
        """What is lost on some lines of the lattice."""
        places, share = self.lattice.places[::EVERY], self.share
        return Lost(
            across=self.across.value(places),
            up=self.up.value(places),
            rules=tuple(tuple(row[::EVERY]) for row in self.rules()[::EVERY]),
            ratio=None if share is None else share.lost_ratio[::EVERY, ::EVERY],
        )

    @property
    def lost_here(self) -> Share | None:
        """Share of boards that lose sync where the board itself stands."""
        return None if self.share is None else self.share.here(self)

    @property
    def locked_ratio(self) -> float:
        """Share of the plane in which there is lock."""
        return float(np.mean(broken_rule(self.lattice.margins) < 0))

    def rules(self) -> list[list[str | None]]:
        """The rule that a typical board breaks at each point of the lattice; None: it locks."""
        names = (*RULES, None)  # -1 takes the last
        return [[names[kind] for kind in row] for row in broken_rule(self.lattice.margins)]


@dataclass(frozen=True, slots=True)
class _Plane:
    """A board with two of its quantities free."""

    board: Board
    base: Circuit
    across: Quantity
    up: Quantity

    def margins(self, across: FloatArray, up: FloatArray) -> FloatArray:
        """Margins of all rules at places of the plane, in pieces of bounded memory."""
        pieces = range(0, across.size, ROWS_AT_ONCE)
        return np.concatenate(
            [self._margins(across[k : k + ROWS_AT_ONCE], up[k : k + ROWS_AT_ONCE]) for k in pieces]
        )

    def _margins(self, across: FloatArray, up: FloatArray) -> FloatArray:
        circuit = self.across.put(self.base, self.board, self.across.value(across))
        circuit = self.up.put(circuit, self.board, self.up.value(up))
        return lock_of(circuit, self.board).binding_margins


def loss_map(board: Board, across: str = "mains", up: str | None = None) -> LossMap:
    """Map the loss of sync over two quantities.

    Parameters
    ----------
    board : Board
    across, up : str
        Keys of two different quantities: see `zcd.margin.quantities.quantities`. Up by default
        `usual_up`.

    Returns
    -------
    loss_map : LossMap
        Of the board on the bench with a typical part of its grade.

    Raises
    ------
    InputError
        If the board has no such quantity, or both are the same.

    Notes
    -----
    Every point of a boundary is a root of the smallest margin, to 2e-5 of the range of its axis.
    Islands smaller than 1/24 of both ranges may be missed.
    """
    up = up or usual_up(board)
    first, second = quantity_of(board, across, "across"), quantity_of(board, up, "up")
    if first == second:
        raise invalid_value(up, f"another quantity than across, which is {first.key}", "up")
    plane = _Plane(board, build_circuit(board), first, second)
    lattice = explore(plane.margins)
    curves = boundary(plane.margins, lattice)
    (reach_across, reach_up), failed = _reaches(plane, lattice.places[::EVERY])
    return LossMap(
        board=board,
        across=first,
        up=second,
        lattice=lattice,
        boundaries=tuple(
            Boundary(
                across=first.value(curve.across),
                up=second.value(curve.up),
                rules=tuple(RULES[kind] for kind in curve.kinds),
                closed=curve.closed,
            )
            for curve in curves
        ),
        failed_rule=failed,
        unmet_expectations=() if failed else _unmet(plane),
        reach_across=reach_across,
        reach_up=reach_up,
        temperature_degc=board.service.bench_degc,
    )


def _unmet(plane: _Plane) -> tuple[str, ...]:
    """Expectations of controllers that the board does not meet where it stands."""
    return lock_of(plane.base, plane.board).unmet_expectations(0)


def _reaches(plane: _Plane, places: FloatArray) -> tuple[list[Reach], str | None]:
    """The nearest changes of the lock from the board along either quantity; its own broken rule."""
    axes = plane.across, plane.up
    here = np.array([float(axis.share(np.array([axis.here]))[0]) for axis in axes])
    sides = [
        np.concatenate([[own], side])
        for own in here
        for side in (places[places < own][::-1], places[places > own])
    ]
    axis_of = np.repeat([0, 1], 2)

    def margins(x: FloatArray, rows: IntArray) -> FloatArray:
        along = axis_of[rows]
        return plane.margins(*(np.where(along == axis, x, here[axis]) for axis in (0, 1)))

    sizes = [side.size for side in sides]
    solved = margins(np.concatenate(sides), np.repeat(np.arange(len(sides)), sizes))
    found = [solved[rows] for rows in split(sizes)]
    last = [_last_alike(each.min(axis=1) >= 0.0) for each in found]
    changes = [k + 1 < size for k, size in zip(last, sizes, strict=True)]
    ends, at_ends = (
        [np.stack([each[k + step * c] for each, k, c in zip(table, last, changes, strict=True)])
         for step in (0, 1)]
        for table in (sides, found)
    )  # fmt: skip
    shares, rules = limits(margins, (ends[0], ends[1]), (at_ends[0], at_ends[1]), ROOT_TOLERANCE)
    reaches = []
    for axis, below in ((0, 0), (1, 2)):
        values = np.where(changes, axes[axis].value(shares), np.nan)[below : below + 2].tolist()
        names = [RULES[rules[k]] if changes[k] else None for k in (below, below + 1)]
        reaches.append(
            Reach(below=values[0], above=values[1], rule_below=names[0], rule_above=names[1])
        )
    own_rule = int(broken_rule(found[0][:1])[0])
    return reaches, RULES[own_rule] if own_rule >= 0 else None


def _last_alike(holds: NDArray[np.bool_]) -> int:
    """Number of the last place before the first that is not like the one at the beginning."""
    changes = np.flatnonzero(holds != holds[0])
    return int(changes[0]) - 1 if changes.size else holds.size - 1
