"""How far one quantity may move before lock is lost, found exactly by root finding."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.batch import COMMON, Batch
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import Circuit, stack
from zcd.engine.solution import Solution
from zcd.engine.solve import solve_together
from zcd.margin.quantities import quantities
from zcd.margin.roots import IntArray, limits
from zcd.physics.optocoupler import weakest_shape_weight
from zcd.sync.lock import RULES, judge, lock_of

FloatArray = NDArray[np.float64]

LARGEST_FACTOR = 100.0
"""Headroom is not looked for beyond this factor."""
FACTOR_TOLERANCE = 1e-4
LADDER = np.log((1.0, 1.5, 2.5, 5.0, 12.0, LARGEST_FACTOR))
"""Factors between which the loss of lock is bracketed, in one batch."""
SCAN = np.log((1.0, 1.1, 1.25, 1.5, 2.0, 3.0, 4.5, 7.0, 12.0, 25.0, LARGEST_FACTOR))
"""Factors, either way, at which a lock is looked for where there is none."""

WEAKENINGS: dict[str, float] = {"ctr": -1.0, "mains": -1.0, "chain": 1.0}
"""The quantities of which there is headroom, and the power of the factor that weakens each."""


def weakenings(board: Board) -> list[str]:
    """Those of `WEAKENINGS` that a board has: without an optocoupler, no CTR."""
    return [name for name in WEAKENINGS if name != "ctr" or board.optocoupler is not None]


def weakened(circuit: Circuit, board: Board, name: str, factor: FloatArray) -> Circuit:
    """The circuit with one of `WEAKENINGS` weakened by a factor."""
    return quantities(board)[name].scale(circuit, factor ** WEAKENINGS[name])


@dataclass(frozen=True, slots=True, kw_only=True)
class Headroom:
    """How far a quantity may go.

    Parameters
    ----------
    locks : bool
        Whether the controller locks as it is.
    factor_ratio : float
        CTR or mains may fall to 1 / factor, the chain rise to factor times its value; inf:
        beyond `LARGEST_FACTOR`. Without lock, the factor at which it would begin: below 1 the
        quantity is too weak, above 1 too strong; nan: no value of it gives lock.
    rule : str or None
        The rule that fails first on the other side of the limit.
    """

    JSON_KEYS: ClassVar = ("locks", "factor_ratio", "outcome", "rule")

    locks: bool
    factor_ratio: float
    rule: str | None

    def reaches(self, limit: float) -> bool:
        """Whether the lock holds with the quantity weakened by this factor."""
        return self.locks and self.factor_ratio >= limit

    @property
    def outcome(self) -> str:
        """What there is of a number: ``found``, ``beyond search`` or ``never locks``."""
        if np.isfinite(self.factor_ratio):
            return "found"
        return "beyond search" if np.isinf(self.factor_ratio) else "never locks"


@dataclass(frozen=True, slots=True)
class _Questions(Batch):
    """Which quantity to weaken under which conditions: a row of `base` each."""

    board: Board = field(metadata=COMMON)
    base: Circuit
    names: NDArray[np.str_]
    worst: NDArray[np.bool_]

    def at(self, log_factor: FloatArray) -> Circuit:
        """The circuits with the quantity of each row weakened by a factor."""
        circuit = self.base
        for name in weakenings(self.board):
            factor = np.exp(np.where(self.names == name, log_factor, 0.0))
            circuit = weakened(circuit, self.board, name, factor)
        return circuit

    def margins(self, log_factor: FloatArray) -> FloatArray:
        """Of all rules, with the quantity of each row weakened by a factor; shape (n, rules)."""
        return lock_of(self.at(log_factor), self.board, worst=self.worst).binding_margins

    def at_steps(
        self, steps: FloatArray, row: IntArray, beside: Sequence[Circuit] = ()
    ) -> tuple[FloatArray, list[Solution]]:
        """Of some rows at every step, shape (rows, steps, rules); what else is solved."""
        every = self.rows(np.repeat(row, steps.size))
        solved, *others = solve_together([every.at(np.tile(steps, row.size)), *beside])
        margins = judge(solved, self.board, worst=every.worst).binding_margins
        return margins.reshape(row.size, steps.size, -1), others


def headrooms(
    board: Board, cases: Sequence[Conditions], worst: bool | Sequence[bool] = False
) -> list[dict[str, Headroom]]:
    """Headroom of every quantity in `WEAKENINGS` under several sets of conditions.

    Parameters
    ----------
    board : Board
    cases : sequence of Conditions
        One row each.
    worst : bool or sequence of bool
        Which of them are worst ones: see `zcd.sync.lock.judge`.

    Returns
    -------
    headrooms : list of dict of str to Headroom
        One a case, by name of the quantity.

    Notes
    -----
    The search goes in logs of the factor, all questions in one batch, from 1 towards where the
    lock is lost (or, without lock, either way to where it is won), and ends within 1e-4.
    """
    return headrooms_beside(board, cases, worst)[0]


def headrooms_beside(
    board: Board,
    cases: Sequence[Conditions],
    worst: bool | Sequence[bool] = False,
    beside: Sequence[Circuit] = (),
) -> tuple[list[dict[str, Headroom]], list[Solution]]:
    """The same, and the solutions of other batches of this board, which go with the first call."""
    names = weakenings(board)
    base = stack([each for case in cases for each in [build_circuit(board, case)] * len(names)])
    each = np.repeat(np.broadcast_to(worst, len(cases)), len(names))
    result, others = headrooms_of(base, np.array(names * len(cases)), board, each, beside)
    size = len(names)
    return [
        dict(zip(names, result[k * size : (k + 1) * size], strict=True)) for k in range(len(cases))
    ], others


def headrooms_of(
    base: Circuit,
    names: NDArray[np.str_],
    board: Board,
    worst: bool | NDArray[np.bool_] = False,
    beside: Sequence[Circuit] = (),
) -> tuple[list[Headroom], list[Solution]]:
    """Headroom of one quantity in each row of a batch.

    Parameters
    ----------
    base : Circuit
        n rows.
    names : ndarray of str, shape (n,)
        Of the quantity, out of `WEAKENINGS`.
    board : Board
        Gives the controller, and which resistors are the chain.
    worst : bool or ndarray of bool, shape (n,)
        Which rows are worst ones: see `zcd.sync.lock.judge`.
    beside : sequence of Circuit
        Other batches of the same elements, solved in the first call.

    Returns
    -------
    headrooms : list of Headroom
        One a row, as from `headrooms`.
    solutions : list of Solution
        Of `beside`.
    """
    asked = _Questions(board, base, names, np.broadcast_to(worst, names.shape))
    at_ladder, others = asked.at_steps(LADDER, np.arange(names.size), beside)
    locks = np.all(at_ladder[:, 0] >= 0.0, axis=1)
    logs, rules = _limits(asked, at_ladder, locks)
    return [
        Headroom(
            locks=bool(lock),
            factor_ratio=float(np.exp(log)),
            rule=RULES[rule] if np.isfinite(log) else None,
        )
        for lock, log, rule in zip(locks, logs, rules, strict=True)
    ], others


def _limits(
    asked: _Questions, margins: FloatArray, locks: NDArray[np.bool_]
) -> tuple[FloatArray, IntArray]:
    """Log factor at which the lock is lost or won, inf or nan without one; the rule beyond it."""
    first, at_first, second, at_second = _bracket(LADDER, margins, lost=True)
    sick = np.flatnonzero(~locks)
    if sick.size:
        both, _ = asked.at_steps(np.concatenate([SCAN, -SCAN]), sick)
        halves = zip((SCAN, -SCAN), np.split(both, 2, axis=1), strict=True)
        result = [_bracket(steps, margins, lost=False) for steps, margins in halves]
        nearer = np.abs(result[0][2]) <= np.abs(result[1][2])
        for whole, up, down in zip((first, at_first, second, at_second), *result, strict=True):
            whole[sick] = np.where(nearer if up.ndim == 1 else nearer[:, None], up, down)
    crosses = np.isfinite(second)
    ends = first, np.where(crosses, second, first)
    whole = ends[0].copy()

    def at(x: FloatArray, rows: IntArray) -> FloatArray:
        whole[rows] = x  # to pick some rows of a few takes as long as to solve them all
        return asked.margins(whole)[rows]

    logs, rules = limits(at, ends, (at_first, at_second), FACTOR_TOLERANCE)
    return np.where(crosses, logs, np.where(locks, np.inf, np.nan)), rules


def _bracket(
    steps: FloatArray, margins: FloatArray, lost: bool
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """The steps between which the lock is first lost (or won), with their margins.

    Where it is not, the second step is infinite.
    """
    row = np.arange(margins.shape[0])
    broken = np.any(margins < 0.0, axis=2)
    change = broken if lost else ~broken
    at = np.argmax(change, axis=1)
    there = change[row, at] & (at > 0)
    before = np.maximum(at - 1, 0)
    return (
        np.where(there, steps[before], 0.0),
        np.where(there[:, None], margins[row, before], margins[:, 0]),
        np.where(there, steps[at], np.inf),
        np.where(there[:, None], margins[row, at], margins[:, 0]),
    )


def weak_conditions(board: Board) -> Conditions:
    """What a repair must bear: low mains, hot, the least CTR of the grade or hFE of the type."""
    surroundings = Conditions(
        mains_rms_v=board.mains.low_rms_v, temperature_degc=board.service.hot_degc
    )
    if board.transistor is not None:
        return replace(surroundings, ctr_ratio=board.transistor.gain_min_ratio)
    if (opto := board.optocoupler) is None:
        return surroundings
    weight = weakest_shape_weight(opto.family)
    return replace(surroundings, ctr_ratio=opto.ctr_min_ratio, shape_weight=weight)
