"""The benefit of the doubt: no board is failed by what no data sheet states, or nobody read.

How fast an optocoupler lets go, how far it saturates, what it collects at small currents and, of
some types, its highest CTR are known from a few makers' curves at most. A board that does not do
what a sync input is for is judged again with all of that kind to it: with a transistor that is
fast and weak, deep or shallow in saturation, and with one that is fast and strong. What only one of
them mends is in doubt. So it is with an optocoupler whose grade was not read: a typical one of all
grades stands in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import Circuit, stack
from zcd.margin.rule_margins import RuleMargins, evaluate
from zcd.margin.tolerances import Draw, Tolerance, draw, grade_unread, tolerances_of
from zcd.sync.lock import FUNCTION, lock_of, thresholds_of

FloatArray = NDArray[np.float64]

Kind = Literal["weak", "shallow", "strong"]
KINDS: tuple[Kind, ...] = get_args(Kind)
"""The kind transistors: see `zcd.margin.tolerances.Unpublished`."""
_OF_FUNCTION, _COUNTED = slice(0, len(FUNCTION)), FUNCTION.index("pulse count")


def kind_shares(tolerances: Sequence[Tolerance], shares: FloatArray, kind: Kind) -> FloatArray:
    """Shares of boards, what is unpublished moved to a kind end.

    Parameters
    ----------
    tolerances : sequence of Tolerance
    shares : ndarray, shape (n, d)
    kind : {"weak", "shallow", "strong"}

    Returns
    -------
    shares : ndarray, shape (n, d)
    """
    result = shares.copy()
    for column, tolerance in zip(result.T, tolerances, strict=True):
        if tolerance.unpublished is not None:
            end = tolerance.unpublished.end(kind)
            column[column >= tolerance.unpublished.above] = end
    return result


def with_doubt(
    margins: RuleMargins, board: Board, tolerances: Sequence[Tolerance], shares: FloatArray
) -> RuleMargins:
    """Margins with the benefit of the doubt: those by which a board surely fails.

    Parameters
    ----------
    margins : RuleMargins
        Of the boards as drawn.
    board : Board
        The design that they are of.
    tolerances : sequence of Tolerance
        d of them.
    shares : ndarray, shape (n, d)
        Where each board lies within each.

    Returns
    -------
    margins : RuleMargins
        The same, but of boards that do not do what a sync input is for those with the kinder
        transistor.
    """
    if counts_by_distortion(board):
        margins = replace(margins, margins=margins.margins.copy())
        np.maximum(margins.margins[:, _COUNTED], 0.0, out=margins.margins[:, _COUNTED])
    broken = np.flatnonzero(np.any(margins.margins[:, _OF_FUNCTION] < 0.0, axis=1))
    if not broken.size or not any(tolerance.unpublished for tolerance in tolerances):
        return margins
    result = margins.margins.copy()
    for kind in KINDS:
        rows = kind_shares(tolerances, shares[broken], kind)
        found = evaluate(draw(board, tolerances, rows), board).margins[:, _OF_FUNCTION]
        if counts_by_distortion(board):
            found[:, _COUNTED] = np.maximum(found[:, _COUNTED], 0.0)
        before = result[broken, _OF_FUNCTION]
        better = found.min(axis=1) > before.min(axis=1)
        result[broken, _OF_FUNCTION] = np.where(better[:, None], found, before)
        # what one kind mends need not be asked of the others
        broken = broken[result[broken, _OF_FUNCTION].min(axis=1) < 0.0]
        if not broken.size:
            break
    return replace(margins, margins=result)


def counts_by_distortion(board: Board) -> bool:
    """Whether the number of pulses hangs on how distorted the mains is: behind a series capacitor,
    where no data sheet says what the controller leaves out."""
    return board.traced is not None and bool(board.traced.capacitors)


def locks_with_doubt(
    board: Board, cases: Sequence[Conditions], worst: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Under which conditions, some of them worst ones, a kind transistor would lock, shape (n,)."""
    kinds = stack([_kind_circuit(board, cases, kind) for kind in KINDS])
    lock = lock_of(kinds, board, worst=np.tile(worst, len(KINDS)))
    return np.any(lock.locks.reshape(len(KINDS), -1), axis=0)


def _kind_circuit(board: Board, cases: Sequence[Conditions], kind: Kind) -> Circuit:
    """A board under some conditions, a row each, with a kind transistor."""
    opto = board.optocoupler
    unpublished = [t for t in tolerances_of(board) if t.unpublished]
    rows = []
    for case in cases:
        drawn = Draw(conditions=case, thresholds=thresholds_of(board))
        for tolerance in unpublished:
            assert tolerance.unpublished is not None
            if not tolerance.unpublished.above:
                share = np.array([tolerance.unpublished.end(kind)])
                drawn = tolerance.put(drawn, tolerance.amount(share))
        # the highest of a grade that has none published is no more than the usual
        ctr_ratio = drawn.conditions.ctr_ratio
        doubted = None if opto is None or opto.ctr_max_published else opto
        if kind != "strong" and doubted is not None and ctr_ratio is not None:
            least = np.minimum(ctr_ratio, doubted.ctr_ratio)
            drawn = replace(drawn, conditions=replace(drawn.conditions, ctr_ratio=least))
        circuit = build_circuit(board, drawn.conditions)
        for change in drawn.edits:
            circuit = change(circuit)
        rows.append(circuit)
    return stack(rows)


def doubt_about(board: Board, rule: str) -> str:
    """What decides whether a function of the sync input is kept, in the bench's words."""
    if (opto := board.optocoupler) is None:
        return ""
    if grade_unread(board):
        return f"the grade of {opto.ref}, which was not read"
    follows = board.output.kind == "emitter-follower"
    conducts = rule == ("pin never high" if follows else "pin never low")
    load = "this load" if board.output.resistor is None else f"this {board.output.resistor.ref}"
    what = (
        f"the CTR of {opto.ref} at this LED current"
        if conducts
        else f"the turn-off time of {opto.ref} with {load}"
    )
    return f"{what}, which its data sheet does not give"
