"""Which single part, put right, makes a failing board pass: found by trying."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import inf, log10, nan, pi, sqrt
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board import parts_library
from zcd.board.model import Board, Capacitor, Diode, Resistor
from zcd.board.parts_library import all_resistors
from zcd.board.pins import INTERNAL_PULL_UP
from zcd.board.preferred import decade
from zcd.circuit.batch import split
from zcd.circuit.build import build_circuit, input_refs
from zcd.circuit.elements import Circuit, stack
from zcd.circuit.points import diode_of_bridge
from zcd.engine.solve import solve
from zcd.margin.check import LEVELS, level_conditions
from zcd.margin.population import SEED, even_points
from zcd.margin.rule_margins import RuleMargins, evaluate, evaluate_together
from zcd.margin.stress import chain_resistors, reverse_stress
from zcd.margin.tolerances import Boards, draw, tolerances_of
from zcd.sync.lock import RULES, thresholds_of

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
Part = Resistor | Capacitor
Chain = tuple[dict[str, float], float]

DECADES = 4
"""How far either way another value is tried: a printed code read as a value is three off."""
SERIES = "E12"
SMALLEST_F, LARGEST_F, LARGEST_ON_MAINS_F = 1e-11, 1e-4, 2.2e-6
USUAL_CHAIN_A = (0.3e-3, 6e-3)
USUAL_PULL_UP_OHM = (2e3, 150e3)
USUAL_PIN_F = (0.0, 22e-9)
"""What such circuits use: common practice, no source; it only ranks what was found by trying."""
ROOM = (0.05, 0.15)
"""Margins of lock and stress asked for where a value is tried, before tolerances are.

Less where the board passes with less at present: no other part is to blame for that.
"""
SAME_MARGIN = 0.01
"""What a margin may move by because another part was changed."""
ROOM_OF_UNREAD = (0.02, 0.05)
"""The same where the values are told with which a board just passes."""
FARTHEST_DECADES = 1.0
"""Of a part that is to blame though the LED's current is as usual."""
COARSE = 4
"""Every so many of the values are tried first."""
DRAWN, FIRST, MANY = 96, 8, 6
"""Boards drawn for each value, how many of them are judged first, how many values make a span."""
LOPSIDED_RATIO = 2.0
"""From here on below the resistors that it is like, a value leaves them too much of the mains."""
MOST_LACKING = 10.0
"""Of one rule: what is failed altogether says no more."""
MOST = 3
USUAL_RECTIFIER = "1N4007"
REVERSE_RATINGS_V = (100.0, 200.0, 400.0, 600.0, 800.0, 1000.0)
"""What mains rectifiers are made for: 1N4002 to 1N4007."""
_ENDS = [LEVELS.index(name) for name in ("weak", "nominal", "strong")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One part that, put right, makes the board pass at the ends of mains and grade.

    Parameters
    ----------
    ref : str
        The part.
    unit : str
        Of the values, ``Ω`` or ``F``; ``V`` for the reverse voltage that a diode is rated for.
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


def remedies_of(board: Board, failed: Collection[str] = ()) -> tuple[Remedy, ...]:
    """Try every resistor and capacitor of a failing board with other values.

    Parameters
    ----------
    board : Board
    failed : collection of str
        References of parts that are over a limit: diodes among them are tried with more voltage.

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
    rated = (_rating_remedy(board, now) for now in board.diodes if now.ref in failed)
    diodes = [remedy for remedy in rated if remedy is not None]
    values = (each for each in _tried(board, _parts(board)) if not _is_lopsided(board, each))
    return (*diodes, *values)[:MOST]


def _is_lopsided(board: Board, remedy: Remedy) -> bool:
    """Whether it makes one of several like resistors of a chain much smaller than the others.

    They are alike because they share the mains; the others would have its volts to bear.
    """
    like = [part.ref for part in chain_resistors(board) if part.resistance_ohm == remedy.value]
    alike = len(like) > 1 and remedy.ref in like and remedy.unit == "Ω"
    return alike and remedy.high < remedy.value / LOPSIDED_RATIO


def _rating_remedy(board: Board, now: Diode) -> Remedy | None:
    """The least reverse voltage of a mains rectifier with which the board passes."""
    rating_v = now.junction.reverse_rating_v
    if now.junction.is_zener:
        return None
    usual = parts_library.diode(USUAL_RECTIFIER, ref=now.ref)
    most_v = usual.junction.reverse_rating_v
    for volts in (v for v in REVERSE_RATINGS_V if rating_v < v <= most_v):
        part = replace(usual, junction=replace(usual.junction, reverse_rating_v=volts))
        if _passes(board.with_diode(now, part)):
            return Remedy(
                ref=now.ref, unit="V", value=rating_v, low=volts, high=most_v,
                unusual_decades=log10(volts / rating_v),
            )  # fmt: skip
    return None


@cache
def unclamped_v(board: Board, ref: str) -> float:
    """What a diode would have across it in reverse, did it not break down at less.

    Parameters
    ----------
    board : Board
    ref : str
        Of the diode, or of one leg of a bridge.

    Returns
    -------
    volts : float
        At the mains and grade that are worst for it; nan for what is no diode of the board.
    """
    is_of = (diode_of_bridge(ref)[0], ref)
    now = next((diode for diode in board.diodes if diode.ref in is_of), None)
    if now is None or now.junction.is_zener:
        return nan
    most_v = parts_library.diode(USUAL_RECTIFIER, ref=ref).junction.reverse_rating_v
    ideal = replace(now, junction=replace(now.junction, reverse_rating_v=most_v))
    rated = board.with_diode(now, ideal)
    circuit = stack([build_circuit(rated, each) for each in level_conditions(rated)])
    stresses = reverse_stress(solve(circuit), rated)
    return max((float(each.reverse_v.max()) for each in stresses if each.ref == ref), default=nan)


def _passes(board: Board) -> bool:
    """Whether it does at low and high mains with the ends of the grade, and drawn in tolerance."""
    ends = Boards(circuit=_at_ends(board), thresholds=thresholds_of(board))
    margins = (evaluate(boards, board) for boards in (ends, _drawn(board)))
    return all(bool(np.all(_lacking(some, _wanted(some, ROOM)) == 0.0)) for some in margins)


def _at_ends(board: Board) -> Circuit:
    """The board at low, nominal and high mains with the ends of the grade."""
    return stack([build_circuit(board, level_conditions(board)[k]) for k in _ENDS])


def _drawn(board: Board) -> Boards:
    """Boards within tolerance, the same each time."""
    tolerances = tolerances_of(board)
    shares = even_points(DRAWN, len(tolerances), np.random.default_rng(SEED))
    return draw(board, tolerances, shares)


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


def passing_as_sized(board: Board, refs: Sequence[str]) -> tuple[Remedy, ...]:
    """The same where each resistor whose size nobody wrote has to bear its load in the size that
    is assumed; `passing_values_of` allows the largest usual one."""

    def sized(part: Resistor) -> Resistor:
        return replace(part, size_assumed=False)

    chains = tuple(tuple(map(sized, chain)) for chain in board.chains)
    return passing_values_of(
        replace(board, chains=chains, return_chain=tuple(map(sized, board.return_chain))), refs
    )


def _tried(
    board: Board,
    parts: Sequence[Part],
    room: tuple[float, float] = ROOM,
    most: int = MOST,
) -> tuple[Remedy, ...]:
    """Remedies among some parts of a board."""
    spans = _spans(board, parts, room)
    chain = _chain_of(board)
    found = [(part, _remedy(board, part, span, chain)) for part, span in spans]
    if board.traced is not None and board.traced.capacitors:
        # where the LED's current is usual, no part of a series capacitor's circuit is far off
        found = [
            (part, remedy)
            for part, remedy in found
            if remedy.unusual_decades > 0.0 or remedy.distance_decades <= FARTHEST_DECADES
        ]
    found.sort(key=lambda pair: (-pair[1].unusual_decades, pair[1].distance_decades))
    kept = _within_tolerance(board, found[:most], room, _values_within)
    if kept or board.traced is None or not board.traced.capacitors:
        return kept
    # too little in series with a capacitor: the board fails by tolerances alone, at distorted mains
    found = [
        (part, _remedy(board, part, span, chain)) for part, span in spans if part.ref in chain[0]
        and isinstance(part, Resistor)
    ]  # fmt: skip
    return _within_tolerance(board, found, room, _larger_values)


def _spans(
    board: Board, parts: Sequence[Part], room: tuple[float, float]
) -> list[tuple[Part, FloatArray]]:
    """The values of each part with which the board passes; parts without any are left out.

    A few values of each decade first, then all that are near the ends of what passes; or, where
    none does, near the one that lacks least.
    """
    base = _at_ends(board)
    now = evaluate(Boards(circuit=base, thresholds=thresholds_of(board)), board)
    wanted = _wanted(now, room)
    values = [_trial_values(board, part) for part in parts]
    lacks = [np.full(some.size, np.inf) for some in values]
    picks = [np.arange(0, some.size, COARSE) for some in values]
    for _ in range(2):
        circuits = [
            _with_values(base, part, some[pick])
            for part, some, pick in zip(parts, values, picks, strict=True)
        ]
        tried = Boards(circuit=stack(circuits), thresholds=thresholds_of(board))
        lacking = _lacking(evaluate(tried, board), wanted).reshape(-1, base.size).sum(axis=1)
        rows = split([pick.size for pick in picks])
        for lack, pick, mine in zip(lacks, picks, rows, strict=True):
            lack[pick] = lacking[mine]
        picks = [
            _finer(lack, _value(part), some)
            for part, some, lack in zip(parts, values, lacks, strict=True)
        ]
    spans = [
        (part, some[_nearest_run(lack == 0.0, some, _value(part))])
        for part, some, lack in zip(parts, values, lacks, strict=True)
    ]
    return [(part, span) for part, span in spans if span.size]


def _finer(lack: FloatArray, now: float, values: FloatArray) -> IntArray:
    """Values to try after the first few; what lies between two that pass is taken to pass too."""
    known = np.arange(0, values.size, COARSE)
    run = known[_nearest_run(lack[known] == 0.0, values[known], now)]
    ends = run if run.size else known[[np.argmin(lack[known])]]
    lack[ends[0] : ends[-1] + 1] = lack[ends[0]]
    around = np.arange(max(ends[0] - COARSE + 1, 0), min(ends[-1] + COARSE, values.size))
    return around[(around < ends[0]) | (around > ends[-1])]


def _within_tolerance(
    board: Board,
    found: Sequence[tuple[Part, Remedy]],
    room: tuple[float, float],
    values_of: Callable[[Board, Part, Remedy], FloatArray],
) -> tuple[Remedy, ...]:
    """The remedies, their ends drawn in until boards drawn within tolerance pass.

    A few of the boards weed out most values; the others are asked for at the ends of what is left.
    """
    drawn = _drawn(board)
    wanted = _wanted(evaluate(drawn, board), room)
    few, others = slice(0, FIRST), slice(FIRST, None)

    def hold(some: slice, values: Sequence[FloatArray]) -> list[NDArray[np.bool_]]:
        return _hold(board, drawn.rows(some), parts, values, wanted[some])

    parts = [part for part, _ in found]
    values = [values_of(board, part, remedy) for part, remedy in found]
    survive = hold(few, values)
    values = [some[good] for some, good in zip(values, survive, strict=True)]
    sure: list[set[float]] = [set() for _ in parts]
    while any(asked := [_unsure_ends(*pair) for pair in zip(values, sure, strict=True)]):
        holds = hold(others, [np.array(some) for some in asked])
        for k, (some, good) in enumerate(zip(asked, holds, strict=True)):
            result = dict(zip(some, good.tolist(), strict=True))
            values[k] = np.array([v for v in values[k].tolist() if result.get(v, True)])
            sure[k] |= {v for v, holding in result.items() if holding}
    kept = []
    for (part, remedy), left in zip(found, values, strict=True):
        # the ends themselves are where a board in a thousand may fail
        inner = left[2:-2] if left.size > MANY else left
        if inner.size:
            without = remedy.low == 0.0 and left[0] <= _trial_values(board, part)[0]
            low = 0.0 if without else float(inner[0])
            kept.append(replace(remedy, low=low, high=float(inner[-1])))
    return tuple(kept)


def _unsure_ends(values: FloatArray, sure: Collection[float]) -> list[float]:
    """The first and the last value, where not all boards have been judged with them."""
    return sorted({*values[:1].tolist(), *values[-1:].tolist()} - set(sure))


def _hold(
    board: Board,
    drawn: Boards,
    parts: Sequence[Part],
    values: Sequence[FloatArray],
    wanted: FloatArray,
) -> list[NDArray[np.bool_]]:
    """For each part, with which of its values all boards that were drawn pass."""
    asked = [k for k, some in enumerate(values) if some.size]
    margins = evaluate_together(
        [_drawn_with(drawn, parts[k], values[k]) for k in asked], [board] * len(asked)
    )
    result = [np.zeros(0, dtype=bool)] * len(parts)
    for k, of_part in zip(asked, margins, strict=True):
        lacking = _lacking(of_part, wanted).reshape(values[k].size, drawn.size)
        result[k] = np.all(lacking == 0.0, axis=1)
    return result


def _values_within(board: Board, part: Part, remedy: Remedy) -> FloatArray:
    """The values of a span."""
    values = _trial_values(board, part)
    return values[(values >= remedy.low) & (values <= remedy.high)]


def _larger_values(board: Board, part: Part, remedy: Remedy) -> FloatArray:
    """Larger values, of those with which the board passes but for tolerances."""
    values = _trial_values(board, part)
    return values[(values > remedy.value) & (values <= remedy.high)][::2]


def _drawn_with(drawn: Boards, part: Part, values: FloatArray) -> Boards:
    """Boards within tolerance with other values of one part, shape (values * boards,)."""
    rows = drawn.rows(np.tile(np.arange(drawn.size), values.size))
    name = _attribute(part)
    factor = getattr(rows.circuit[part.ref], name) / _value(part)
    changed = rows.circuit.change(part.ref, **{name: np.repeat(values, drawn.size) * factor})
    return replace(rows, circuit=changed)


def _wanted(now: RuleMargins, room: tuple[float, float]) -> FloatArray:
    """Margins asked for: room for the tolerances that are not tried, shape (n, rules)."""
    of_stress = np.arange(len(now.names)) >= len(RULES)
    most = np.where(of_stress, room[1], room[0])
    kept = now.binding_margins - SAME_MARGIN
    return np.where((kept >= 0.0) & (kept < most), kept, most)


def _lacking(margins: RuleMargins, wanted: FloatArray) -> FloatArray:
    """What rows lack of the margins asked for, shape (n,): the sum over all rules, 0 for none.

    `wanted` has a row for each of as many conditions as follow one another in the rows.
    """
    wanted = np.tile(wanted, (len(margins.margins) // len(wanted), 1))
    lack = np.where(margins.binding_margins >= wanted, 0.0, wanted - margins.binding_margins)
    return np.asarray(np.nan_to_num(lack, nan=MOST_LACKING).clip(max=MOST_LACKING).sum(axis=1))


def _parts(board: Board) -> list[Part]:
    fitted = (r for r in all_resistors(board) if r.ref != INTERNAL_PULL_UP)
    return [*fitted, *board.capacitors]


def _value(part: Part) -> float:
    return part.resistance_ohm if isinstance(part, Resistor) else part.capacitance_f


def _attribute(part: Part) -> str:
    return "resistance_ohm" if isinstance(part, Resistor) else "capacitance_f"


@cache
def _ladder(low_exponent: int, high_exponent: int) -> tuple[float, ...]:
    exponents = range(low_exponent, high_exponent)
    return tuple(figure * 10.0**e for e in exponents for figure in decade(SERIES))


def _trial_values(board: Board, part: Part) -> FloatArray:
    value = _value(part)
    around = int(np.floor(log10(value)))
    values = np.array(_ladder(around - DECADES, around + DECADES + 1))
    if isinstance(part, Capacitor):
        at_pin = part is board.output.pin_capacitor
        largest_f = LARGEST_F if at_pin else LARGEST_ON_MAINS_F
        values = values[(values >= SMALLEST_F) & (values <= largest_f)]
    return values


def _with_values(base: Circuit, part: Part, values: FloatArray) -> Circuit:
    """Each value under all of the conditions, shape (values * conditions,)."""
    name = _attribute(part)
    rows = base.rows(np.tile(np.arange(base.size), values.size))
    return rows.change(part.ref, **{name: np.repeat(values, base.size)})


def _nearest_run(good: NDArray[np.bool_], values: FloatArray, now: float) -> IntArray:
    """Places of the run of values that pass which is nearest to the present one."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(int)))
    runs = [np.arange(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    if not runs:
        return np.arange(0)
    return min(runs, key=lambda run: max(values[run[0]] / now, now / values[run[-1]]))


def _remedy(board: Board, part: Part, span: FloatArray, chain: Chain) -> Remedy:
    low, high = float(span[0]), float(span[-1])
    is_resistor = isinstance(part, Resistor)
    if not is_resistor and low <= _trial_values(board, part)[0]:
        low = 0.0
    return Remedy(
        ref=part.ref,
        unit="Ω" if is_resistor else "F",
        value=_value(part),
        low=low,
        high=high,
        unusual_decades=_unusual_decades(board, part, chain),
    )


def _chain_of(board: Board) -> Chain:
    """Impedance of each part in series with the mains, and the current of the whole, rms."""
    impedances_ohm = {r.ref: r.resistance_ohm for r in chain_resistors(board)}
    current_a = board.mains.rms_v / sum(impedances_ohm.values())
    if board.traced is not None and board.traced.capacitors:
        omega = 2.0 * pi * board.mains.frequency_hz
        impedances_ohm |= {c.ref: 1.0 / (omega * c.capacitance_f) for c in board.traced.capacitors}
        solution = solve(build_circuit(board))
        peaks_a = [solution.currents_a[ref].max() for ref in input_refs(board)]
        current_a = float(max(peaks_a)) / sqrt(2)
    return impedances_ohm, current_a


def _unusual_decades(board: Board, part: Part, chain: Chain) -> float:
    """How far a value is outside what such circuits use, in decades."""
    if part is board.output.resistor:
        return _outside(_value(part), USUAL_PULL_UP_OHM)
    if part is board.output.pin_capacitor:
        return max(0.0, log10(_value(part) / USUAL_PIN_F[1]))
    impedances_ohm, current_a = chain
    if part.ref not in impedances_ohm:
        return 0.0
    biggest, smallest = max(impedances_ohm.values()), min(impedances_ohm.values())
    outside = _outside(current_a, USUAL_CHAIN_A)
    # too much current: no small part is to blame that a large one stands beside
    to_blame = impedances_ohm[part.ref] == (smallest if current_a > USUAL_CHAIN_A[1] else biggest)
    return outside if to_blame else outside / 2.0


def _outside(value: float, span: tuple[float, float]) -> float:
    return max(0.0, log10(span[0] / value), log10(value / span[1]))
