"""How far one quantity may move before lock is lost, found exactly by root finding."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import Circuit, stack
from zcd.margin.roots import batched_root
from zcd.sync.lock import Lock, lock_of

FloatArray = NDArray[np.float64]

LARGEST_FACTOR = 100.0
"""Headroom is not looked for beyond this factor."""
FACTOR_TOLERANCE = 1e-4
SCAN = np.log((1.1, 1.25, 1.5, 2.0, 3.0, 4.5, 7.0, 12.0, 25.0, LARGEST_FACTOR))
"""Factors at which a lock is looked for where there is none."""

_Ends = tuple[FloatArray, FloatArray]

Weaken = Callable[[Circuit, Board, FloatArray], Circuit]


def weaken_ctr(circuit: Circuit, board: Board, factor: FloatArray) -> Circuit:
    """CTR divided by a factor."""
    return circuit.scale(board.optocoupler.ref, "remaining_ratio", 1.0 / factor)


def weaken_mains(circuit: Circuit, board: Board, factor: FloatArray) -> Circuit:
    """Mains divided by a factor."""
    del board
    return circuit.scale("mains", "rms_v", 1.0 / factor)


def weaken_chain(circuit: Circuit, board: Board, factor: FloatArray) -> Circuit:
    """All chain resistors multiplied by a factor."""
    for chain in (*board.chains, board.return_chain):
        for resistor in chain:
            circuit = circuit.scale(resistor.ref, "resistance_ohm", factor)
    return circuit


WEAKENINGS: dict[str, Weaken] = {
    "ctr": weaken_ctr,
    "mains": weaken_mains,
    "chain": weaken_chain,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Headroom:
    """How far a quantity may go.

    Parameters
    ----------
    locks : bool
        Whether the controller locks as it is.
    factor : float
        CTR or mains may fall to 1 / factor, the chain rise to factor times its value; inf:
        beyond `LARGEST_FACTOR`. Without lock, the factor at which it would begin: below 1 the
        quantity is too weak, above 1 too strong; nan: no value of it gives lock.
    rule : str or None
        The rule that fails first on the other side of the limit.
    """

    locks: bool
    factor: float
    rule: str | None

    def reaches(self, limit: float) -> bool:
        """Whether the lock holds with the quantity weakened by this factor."""
        return self.locks and self.factor >= limit


@dataclass(frozen=True, slots=True)
class _Questions:
    """Which quantity to weaken under which conditions: a row of `base` each."""

    board: Board
    base: Circuit
    names: NDArray[np.str_]

    def lock(self, log_factor: FloatArray) -> Lock:
        """Lock with the quantity of each row weakened by a factor."""
        circuit = self.base
        for name, weaken in WEAKENINGS.items():
            asked = self.names == name
            circuit = weaken(circuit, self.board, np.exp(np.where(asked, log_factor, 0.0)))
        return lock_of(circuit, self.board)


def headrooms(board: Board, cases: Sequence[Conditions]) -> list[dict[str, Headroom]]:
    """Headroom of every quantity in `WEAKENINGS` under several sets of conditions.

    Parameters
    ----------
    board : Board
    cases : sequence of Conditions
        One row each.

    Returns
    -------
    headrooms : list of dict of str to Headroom
        One a case, by name of the quantity.

    Notes
    -----
    The search goes in logs of the factor, all questions in one batch, from 1 towards where the
    lock is lost (or, without lock, either way to where it is won), and ends within 1e-4.
    """
    names = list(WEAKENINGS)
    base = stack([build_circuit(board, case) for case in cases for _ in names])
    asked = _Questions(board, base, np.array(names * len(cases)))
    logs, locks = _limits(asked)
    lost = np.where(locks | (logs < 0), 10.0, -10.0) * FACTOR_TOLERANCE
    beyond = asked.lock(np.where(np.isfinite(logs), logs + lost, 0.0))
    found = [
        Headroom(
            locks=bool(lock),
            factor=float(np.exp(log)),
            rule=beyond.failed_rule(row) if np.isfinite(log) else None,
        )
        for row, (log, lock) in enumerate(zip(logs, locks, strict=True))
    ]
    size = len(names)
    return [
        dict(zip(names, found[k * size : (k + 1) * size], strict=True)) for k in range(len(cases))
    ]


def _limits(asked: _Questions) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Log factor at which the lock is lost or won (inf or nan without one), and who locks now."""
    inner = np.zeros(asked.names.size)
    at_inner = asked.lock(inner).margin
    locks = at_inner >= 0
    outer = np.where(locks, np.log(LARGEST_FACTOR), 0.0)
    at_outer = asked.lock(outer).margin
    if not np.all(locks):
        (inner, at_inner), (outer, at_outer) = _nearest_lock(
            asked, (inner, at_inner), (outer, at_outer)
        )
    crosses = (at_inner < 0) != (at_outer < 0)
    logs = batched_root(
        lambda x: asked.lock(x).margin,
        (inner, np.where(crosses, outer, inner)),
        (at_inner, at_outer),
        FACTOR_TOLERANCE,
    )
    return np.where(crosses, logs, np.where(locks, np.inf, np.nan)), locks


def _nearest_lock(asked: _Questions, inner: _Ends, outer: _Ends) -> tuple[_Ends, _Ends]:
    """Bracket, in the rows that do not lock, the nearest lock either way."""
    (x, at_x), (y, at_y) = (tuple(map(np.copy, end)) for end in (inner, outer))
    searching = at_x < 0
    before = {-1.0: (np.zeros(x.size), at_x), 1.0: (np.zeros(x.size), at_x)}
    for step in SCAN:
        for way in (-1.0, 1.0):
            if not np.any(searching):
                break
            there = np.where(searching, way * step, 0.0)
            margin = asked.lock(there).margin
            won = searching & (margin >= 0)
            x[won], at_x[won] = (end[won] for end in before[way])
            y[won], at_y[won] = there[won], margin[won]
            before[way] = there, margin
            searching &= ~won
    return (x, at_x), (y, at_y)


def weak_conditions(board: Board) -> Conditions:
    """The conditions a repair must bear: low mains, hot, the optocoupler the worst of its grade."""
    return Conditions(
        mains_rms_v=board.mains.low_rms_v,
        temperature_degc=board.service.hot_degc,
        ctr_ratio=board.optocoupler.ctr_min_ratio,
        shape_weight=0.0,
    )
