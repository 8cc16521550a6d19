"""At which values of one resistor no corner of the tolerances breaks a rule."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.board.parts_library import all_resistors
from zcd.circuit.elements import Circuit
from zcd.margin.corners import MAX_PASSES, MIN_GAIN, ROOM_RATIO, Corners, find_all_corners
from zcd.margin.roots import passing_ranges
from zcd.margin.rule_margins import evaluate
from zcd.margin.tolerances import Boards, draw, tolerances_of

FloatArray = NDArray[np.float64]

CORNER_POINTS = 7
"""Values of a range at which the corners are tried."""
CORNER_TOLERANCE = 1e-4
"""Relative error of the ends of a range."""
NEAR_RATIO = 0.02
"""Where to look for an end again that moves by less than `MIN_GAIN` of a margin, or little."""
MAX_ROUNDS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerRows:
    """Corners of boards that differ in one resistor only, each a row.

    Parameters
    ----------
    board : Board
        One of them.
    ref : str
        Of the resistor.
    shares : ndarray, shape (rows, d)
        Where each tolerance sits.
    boards : Boards
        The rows, with the resistor that `board` has.
    asked : ndarray of int
        Numbers of the rules that count.
    """

    board: Board
    ref: str
    shares: FloatArray
    boards: Boards
    asked: NDArray[np.intp]

    def margins(self, log_ohm: FloatArray) -> FloatArray:
        """The least margin of the rules that count at some values, in any of the corners."""
        size = len(self.shares)
        rows = self.boards.rows(np.tile(np.arange(size), log_ohm.size))
        now = next(p.resistance_ohm for p in all_resistors(self.board) if p.ref == self.ref)
        circuit = rows.circuit.scale(
            self.ref, "resistance_ohm", np.repeat(np.exp(log_ohm), size) / now
        )
        result = evaluate(replace(rows, circuit=circuit), self.board).margins[:, self.asked]
        return np.asarray(result.min(axis=1).reshape(log_ohm.size, size).min(axis=1))


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerRanges:
    """Values at which the corners keep the rules.

    Parameters
    ----------
    ranges : tuple of ndarray, shape (pieces, 2)
        Of each span that was asked for, in ohms.
    corners : KnownCorners or None
        Those that were found on the way; None: no span was asked for.
    """

    ranges: tuple[FloatArray, ...]
    corners: KnownCorners | None


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownCorners:
    """Corners of all tolerances but those of one resistor.

    Parameters
    ----------
    names : tuple of str
        Of the d tolerances.
    shares : ndarray, shape (rows, d)
        Where each tolerance sits, at the corners of all rules that count.
    loading : ndarray, shape (rows, d)
        At those that load the resistor itself the most.
    loads : Circuit
        These, a row each.
    """

    names: tuple[str, ...]
    shares: FloatArray
    loading: FloatArray
    loads: Circuit


def corner_ranges(
    variant: Callable[[float], Board],
    ref: str,
    spans: Sequence[tuple[float, float]],
    *,
    exempt: frozenset[str] = frozenset(),
    reach_ratio: float = 0.0,
) -> CornerRanges:
    """Find them.

    Parameters
    ----------
    variant : callable
        The board with the resistor of so many ohms.
    ref : str
        Of the resistor.
    spans : sequence of pairs of float
        Lowest and highest value to look at. [ohm]
    exempt : frozenset of str
        References of resistors whose power and voltage do not count.
    reach_ratio : float
        How far beyond the spans to look.

    Returns
    -------
    result : CornerRanges

    Notes
    -----
    Corners are looked for at the ends of the spans, in haste, then at the ends that these leave,
    until those hold at their own worst corners.
    """
    if not spans:
        return CornerRanges(ranges=(), corners=None)
    steps = [
        np.linspace(
            np.log(low * (1.0 - reach_ratio)), np.log(high * (1.0 + reach_ratio)), CORNER_POINTS
        )
        for low, high in spans
    ]
    rows, loading, _ = _look(variant, ref, np.ravel(spans), exempt, None)
    result: list[FloatArray] = []
    for _ in range(MAX_ROUNDS):
        result = [np.exp(passing_ranges(rows.margins, at, CORNER_TOLERANCE)) for at in steps]
        ends = np.concatenate([pieces.ravel() for pieces in result])
        if not ends.size:
            break
        rows, loading, least = _look(variant, ref, ends, exempt, rows)
        if least >= -MIN_GAIN:
            if least < 0.0:
                result = [_closer(rows, pieces) if pieces.size else pieces for pieces in result]
            break
    tolerances = tolerances_of(rows.board)
    known = KnownCorners(
        names=tuple(tolerance.name for tolerance in tolerances),
        shares=rows.shares,
        loading=loading,
        loads=draw(rows.board, tolerances, loading).circuit,
    )
    return CornerRanges(ranges=tuple(result), corners=known)


def _closer(rows: CornerRows, pieces: FloatArray) -> FloatArray:
    """Ranges whose ends hardly move, looked for beside these and at some values within."""
    around = np.array([-NEAR_RATIO, 0.0, NEAR_RATIO])
    within = [np.linspace(low, high, CORNER_POINTS)[1:-1] for low, high in np.log(pieces)]
    ends = (np.log(pieces)[..., None] + around).ravel()
    steps = np.unique(np.concatenate([ends, *within]))
    return np.exp(passing_ranges(rows.margins, steps, CORNER_TOLERANCE))


def _look(
    variant: Callable[[float], Board],
    ref: str,
    ohm: FloatArray,
    exempt: frozenset[str],
    before: CornerRows | None,
) -> tuple[CornerRows, FloatArray, float]:
    """Corners at some values, with those known before; those that load most; the least margin."""
    boards = [variant(float(value)) for value in ohm]
    tolerances = tolerances_of(boards[0])
    result = find_all_corners(
        boards,
        [tolerances_of(board) for board in boards],
        known=None if before is None else before.shares,
        passes=0 if before is None else MAX_PASSES,
        room_ratio=ROOM_RATIO,
    )
    asked = np.array(
        [k for k, name in enumerate(result[0].names) if not is_load(name, exempt)], dtype=np.intp
    )
    shares = np.concatenate([one.shares[asked] for one in result])
    if before is not None:
        shares = np.concatenate([before.shares, shares])
    shares = np.unique(shares, axis=0)
    rows = CornerRows(
        board=boards[0],
        ref=ref,
        shares=shares,
        boards=draw(boards[0], tolerances, shares),
        asked=asked,
    )
    loading = np.unique(np.concatenate([_loading(one, ref) for one in result]), axis=0)
    return rows, loading, min(float(one.margins[asked].min()) for one in result)


def _loading(corners: Corners, ref: str) -> FloatArray:
    """The corners of power and voltage of a resistor."""
    at = [corners.names.index(f"{ref} {what}") for what in ("power", "voltage")]
    return corners.shares[at]


def is_load(rule: str, refs: frozenset[str]) -> bool:
    """Whether a rule is about power or voltage of one of some resistors."""
    ref, _, what = rule.rpartition(" ")
    return ref in refs and what in {"power", "voltage"}
