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
    factor : float
        CTR or mains may fall to 1 / factor, the chain rise to factor times its value. Below 1:
        it is too far gone by that much already. inf: beyond `LARGEST_FACTOR`; nan: no value
        of this quantity gives lock.
    rule : str or None
        The rule that fails first beyond it.
    """

    factor: float
    rule: str | None


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
    lock is lost (or, without lock, towards where it is won), and ends within 1e-4.
    """
    names = list(WEAKENINGS)
    base = stack([build_circuit(board, case) for case in cases for _ in names])
    asked = _Questions(board, base, np.array(names * len(cases)))
    logs = _limits(asked)
    beyond = asked.lock(np.where(np.isfinite(logs), logs, 0.0) + 10 * FACTOR_TOLERANCE)
    found = [
        Headroom(
            factor=float(np.exp(log)),
            rule=beyond.failed_rule(row) if np.isfinite(log) else None,
        )
        for row, log in enumerate(logs)
    ]
    size = len(names)
    return [
        dict(zip(names, found[k * size : (k + 1) * size], strict=True)) for k in range(len(cases))
    ]


def _limits(asked: _Questions) -> FloatArray:
    """Log factor at which the lock is lost; inf or nan where there is no such factor."""
    zero = np.zeros(asked.names.size)
    here = asked.lock(zero).margin
    far = np.where(here >= 0, 1.0, -1.0) * np.log(LARGEST_FACTOR)
    there = asked.lock(far).margin
    crosses = (there < 0) != (here < 0)
    far = np.where(crosses, far, zero)
    logs = batched_root(
        lambda x: asked.lock(x).margin, (zero, far), (here, there), FACTOR_TOLERANCE
    )
    return np.where(crosses, logs, np.where(here >= 0, np.inf, np.nan))


def weak_conditions(board: Board) -> Conditions:
    """The conditions a repair must bear: low mains, hot, the optocoupler the worst of its grade."""
    return Conditions(
        mains_rms_v=board.mains.low_rms_v,
        temperature_degc=board.service.hot_degc,
        ctr_ratio=board.optocoupler.ctr_min_ratio,
        shape_weight=0.0,
    )
