"""Which single part, put right, makes a failing board pass: found by trying."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import inf, log10
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board, Capacitor, Resistor
from zcd.board.parts_library import all_resistors
from zcd.board.pins import INTERNAL_PULL_UP
from zcd.board.preferred import decade
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit, stack
from zcd.margin.check import LEVELS, level_conditions
from zcd.margin.population import SEED, even_points
from zcd.margin.rule_margins import RuleMargins, evaluate, evaluate_together
from zcd.margin.stress import chain_resistors
from zcd.margin.tolerances import Boards, draw, tolerances_of
from zcd.sync.lock import RULES, thresholds_of

FloatArray = NDArray[np.float64]

DECADES = 4
"""How far either way another value is tried: a printed code read as a value is three off."""
SERIES = "E12"
SMALLEST_F, LARGEST_F = 1e-11, 1e-4
USUAL_CHAIN_A = (0.3e-3, 6e-3)
USUAL_PULL_UP_OHM = (2e3, 150e3)
USUAL_PIN_F = (0.0, 22e-9)
"""What such circuits use: common practice, no source; it only ranks what was found by trying."""
ROOM = (0.05, 0.15)
"""Margins of lock and stress asked for where a value is tried, before tolerances are."""
ROOM_OF_UNREAD = (0.02, 0.05)
"""The same where the values are told with which a board just passes."""
DRAWN, AT_ENDS, MANY = 96, 8, 6
"""Boards drawn for each value, values tried at each end, and how many make a span."""
MOST = 3
_ENDS = [LEVELS.index(name) for name in ("weak", "nominal", "strong")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One part that, put right, makes the board pass at the ends of mains and grade.

    Parameters
    ----------
    ref : str
        The part.
    unit : str
        Of the values, ``Ω`` or ``F``.
    value : float
        What it is now.
    low, high : float
        Values of the E12 series with which the board passes. For a capacitor `low` may be 0:
        it passes without.
    unusual_decades : float
        How far the present value is outside what such circuits use.
    """

    JSON_KEYS: ClassVar = ("ref", "unit", "value", "low", "high")

    ref: str
    unit: str
    value: float
    low: float
    high: float
    unusual_decades: float

    @property
    def distance_decades(self) -> float:
        """How far the present value is from the nearest that passes."""
        nearest = self.low if self.value < self.low else self.high
        return abs(log10(nearest / self.value)) if nearest > 0.0 else inf


def remedies_of(board: Board) -> tuple[Remedy, ...]:
    """Try every resistor and capacitor of a failing board with other values.

    Parameters
    ----------
    board : Board

    Returns
    -------
    remedies : tuple of Remedy
        At most three, the most likely culprit first: a value that such circuits do not use, then
        the part that is nearest to passing. Empty where no single part mends the board.

    Notes
    -----
    Judged by lock and stress at low and high mains with the ends of the grade, then over boards
    drawn within all tolerances.
    """
    return _tried(board, _parts(board))


def passing_values_of(board: Board, refs: Sequence[str]) -> tuple[Remedy, ...]:
    """Values of single parts with which a board passes, whether it does as it is or not.

    Parameters
    ----------
    board : Board
    refs : sequence of str
        References of resistors.

    Returns
    -------
    values : tuple of Remedy
        Without the parts that no value mends.
    """
    if not refs:
        return ()
    parts = [part for part in _parts(board) if part.ref in refs]
    return _tried(board, parts, ROOM_OF_UNREAD, len(parts))


def _tried(
    board: Board,
    parts: Sequence[Resistor | Capacitor],
    room: tuple[float, float] = ROOM,
    most: int = MOST,
) -> tuple[Remedy, ...]:
    """Remedies among some parts of a board."""
    base = stack([build_circuit(board, level_conditions(board)[k]) for k in _ENDS])
    trials = [(part, _trial_values(part)) for part in parts]
    circuits = [_with_values(base, part, values) for part, values in trials]
    tried = Boards(circuit=stack(circuits), thresholds=thresholds_of(board))
    passes = _safely(evaluate(tried, board), room)
    found, start = [], 0
    for part, values in trials:
        rows = passes[start : start + values.size * base.size]
        start += rows.size
        good = np.all(rows.reshape(values.size, base.size), axis=1)
        span = _nearest_span(values, good, _value(part))
        if span is not None:
            found.append(_remedy(board, part, span))
    ranked = sorted(found, key=lambda r: (-r.unusual_decades, r.distance_decades))
    by_ref = {part.ref: part for part in parts}
    return _within_tolerance(board, [(by_ref[r.ref], r) for r in ranked[:most]], room)


def _within_tolerance(
    board: Board,
    found: Sequence[tuple[Resistor | Capacitor, Remedy]],
    room: tuple[float, float],
) -> tuple[Remedy, ...]:
    """The remedies, their ends drawn in until boards drawn within tolerance pass."""
    tolerances = tolerances_of(board)
    shares = even_points(DRAWN, len(tolerances), np.random.default_rng(SEED))
    drawn = draw(board, tolerances, shares)
    values = [_end_values(part, remedy) for part, remedy in found]
    margins = evaluate_together(
        [_drawn_with(drawn, part, v) for (part, _), v in zip(found, values, strict=True)],
        [board] * len(found),
    )
    kept = []
    for (_, remedy), some, result in zip(found, values, margins, strict=True):
        good = some[np.all(_safely(result, room).reshape(some.size, DRAWN), axis=1)]
        # the ends themselves are where a board in a thousand may fail
        good = good[2:-2] if good.size > MANY else good
        if good.size:
            low = 0.0 if remedy.low == 0.0 else float(good[0])
            kept.append(replace(remedy, low=low, high=float(good[-1])))
    return tuple(kept)


def _end_values(part: Resistor | Capacitor, remedy: Remedy) -> FloatArray:
    """The values at both ends of a span."""
    values = _trial_values(part)
    inside = values[(values >= remedy.low) & (values <= remedy.high)]
    return np.unique(np.concatenate([inside[:AT_ENDS], inside[-AT_ENDS:]]))


def _drawn_with(drawn: Boards, part: Resistor | Capacitor, values: FloatArray) -> Boards:
    """Boards within tolerance with other values of one part, shape (values * boards,)."""
    rows = drawn.rows(np.tile(np.arange(drawn.size), values.size))
    name = _attribute(part)
    factor = getattr(rows.circuit[part.ref], name) / _value(part)
    changed = rows.circuit.change(part.ref, **{name: np.repeat(values, drawn.size) * factor})
    return replace(rows, circuit=changed)


def _safely(margins: RuleMargins, room: tuple[float, float]) -> NDArray[Any]:
    """Rows that pass with room for the tolerances that are not tried, shape (n,)."""
    of_stress = np.arange(len(margins.names)) >= len(RULES)
    wanted = np.where(of_stress, room[1], room[0])
    return np.all(margins.binding_margins >= wanted, axis=1)


def _parts(board: Board) -> list[Resistor | Capacitor]:
    fitted = (r for r in all_resistors(board) if r.ref != INTERNAL_PULL_UP)
    return [*fitted, *board.capacitors]


def _value(part: Resistor | Capacitor) -> float:
    return part.resistance_ohm if isinstance(part, Resistor) else part.capacitance_f


def _attribute(part: Resistor | Capacitor) -> str:
    return "resistance_ohm" if isinstance(part, Resistor) else "capacitance_f"


@cache
def _ladder(low_exponent: int, high_exponent: int) -> tuple[float, ...]:
    exponents = range(low_exponent, high_exponent)
    return tuple(figure * 10.0**e for e in exponents for figure in decade(SERIES))


def _trial_values(part: Resistor | Capacitor) -> FloatArray:
    value = _value(part)
    around = int(np.floor(log10(value)))
    values = np.array(_ladder(around - DECADES, around + DECADES + 1))
    if isinstance(part, Capacitor):
        values = values[(values >= SMALLEST_F) & (values <= LARGEST_F)]
    return values


def _with_values(base: Circuit, part: Resistor | Capacitor, values: FloatArray) -> Circuit:
    """Each value under all of the conditions, shape (values * conditions,)."""
    name = _attribute(part)
    rows = base.rows(np.tile(np.arange(base.size), values.size))
    return rows.change(part.ref, **{name: np.repeat(values, base.size)})


def _nearest_span(values: FloatArray, good: NDArray[Any], now: float) -> tuple[float, float] | None:
    """The run of values that pass which is nearest to the present one."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(int)))
    runs = [(values[a], values[b - 1]) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    if not runs:
        return None
    low, high = min(runs, key=lambda run: max(log10(run[0] / now), log10(now / run[1])))
    return float(low), float(high)


def _remedy(board: Board, part: Resistor | Capacitor, span: tuple[float, float]) -> Remedy:
    low, high = span
    is_resistor = isinstance(part, Resistor)
    if not is_resistor and low <= _trial_values(part)[0]:
        low = 0.0
    return Remedy(
        ref=part.ref,
        unit="Ω" if is_resistor else "F",
        value=_value(part),
        low=low,
        high=high,
        unusual_decades=_unusual_decades(board, part),
    )


def _unusual_decades(board: Board, part: Resistor | Capacitor) -> float:
    """How far a value is outside what such circuits use, in decades."""
    if part is board.output.resistor:
        return _outside(_value(part), USUAL_PULL_UP_OHM)
    if part is board.output.pin_capacitor:
        return max(0.0, log10(_value(part) / USUAL_PIN_F[1]))
    chain = chain_resistors(board)
    if part not in chain:
        return 0.0
    current_a = board.mains.rms_v / sum(r.resistance_ohm for r in chain)
    biggest, smallest = max(map(_value, chain)), min(map(_value, chain))
    outside = _outside(current_a, USUAL_CHAIN_A)
    # too much current: no small part is to blame that a large one stands beside
    to_blame = _value(part) == (smallest if current_a > USUAL_CHAIN_A[1] else biggest)
    return outside if to_blame else outside / 2.0


def _outside(value: float, span: tuple[float, float]) -> float:
    return max(0.0, log10(span[0] / value), log10(value / span[1]))
