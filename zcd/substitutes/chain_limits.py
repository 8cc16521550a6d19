"""What a section of the chain may be as a whole, and what each part in it then has to bear.

Whatever stands in a section, the rest of the board sees only its total. So the rules fall into
two kinds: those about the total, which hold in ranges found by root finding on the verdict
itself; and power and voltage of each resistor, which follow from the current that the section
carries at its total.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zcd.board.model import Board, Resistor
from zcd.circuit.batch import Batch
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import Circuit, Resistance
from zcd.engine.solve import SolverOptions, solve
from zcd.margin.roots import batched_root, passing_ranges
from zcd.margin.rules import kept_ratio
from zcd.margin.stress import chain_resistors, worst_circuit, worst_of
from zcd.margin.tolerances import Tolerance
from zcd.physics.resistor import derated_power_w
from zcd.substitutes.compare import Verdict, solved_apart, turning_margins, verdicts
from zcd.substitutes.corner_ranges import KnownCorners, corner_ranges, is_load
from zcd.substitutes.series_string import SeriesString, with_parts

FloatArray = NDArray[np.float64]

SCAN_OHM = (1e3, 100e6)
"""Totals between which a lock is looked for, or more, where more than that is kept."""
SCAN_POINTS = 41
MIN_NEW, MAX_NEW = 1e-3, 100.0
"""New parts that are looked for beside those that stay, as ratios to them."""
TABLE_POINTS = 8
CURRENT_POINTS = 48
EDGE_TOLERANCE = 1e-6
"""Relative error of the ends of a range."""
OTHERS_POINTS = 12
PROBE_W, PROBE_V = 1.0, 1e3
"""Limits of the part with which corners are looked for; they scale its margins only."""
_MIN_USED = 1e-6
_FARTHEST = 7.0
"""Logs of margins are cut off here, either way."""
_MAINS_SIDE = SolverOptions(isolated=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranges:
    """Totals of a section at which all rules hold that do not depend on how it is made up.

    Parameters
    ----------
    tolerances : tuple of float
        Widest tolerance among the new parts, rising: the more, the more the chain may drift.
    edges_ohm : ndarray, shape (tolerances, ranges, 2)
        Lowest and highest total; (inf, -inf) where a tolerance has fewer ranges.
    totals_ohm : ndarray, shape (t,)
    log_ratios : ndarray, shape (tolerances, rules, t)
        Log of how many times each of these rules is kept at these totals.
    nearest : Verdict
        At the lowest of them or, where there is no range, at the total nearest to having one.
    """

    tolerances: tuple[float, ...]
    edges_ohm: FloatArray
    totals_ohm: FloatArray
    log_ratios: FloatArray
    nearest: Verdict

    def ratio(self, total_ohm: ArrayLike, tier: ArrayLike) -> FloatArray:
        """How many times the tightest of these rules is kept; between the totals along a line."""
        log_total, tiers = np.broadcast_arrays(np.log(np.asarray(total_ohm, dtype=float)), tier)
        result = np.full(log_total.shape, np.inf)
        for number, rules in enumerate(self.log_ratios):
            mine = tiers == number
            lines = [np.interp(log_total[mine], np.log(self.totals_ohm), rule) for rule in rules]
            result[mine] = np.exp(np.min(lines, axis=0))
        return result


def ranges_of(place: SeriesString, tolerances: Sequence[float]) -> Ranges:
    """Find them.

    Parameters
    ----------
    place : SeriesString
    tolerances : sequence of float
        Of the parts that may come into it.

    Returns
    -------
    ranges : Ranges
    """
    tiers = tuple(sorted(set(tolerances)))
    lowest = max(SCAN_OHM[0], place.kept_ohm * (1.0 + MIN_NEW))
    steps = np.linspace(np.log(lowest), np.log(max(SCAN_OHM[1], MAX_NEW * lowest)), SCAN_POINTS)
    result: list[FloatArray] = []
    for tier in tiers:
        margins = partial(_margins, place, tier)
        if not (result and _still_passing(margins, result[-1])):
            result.append(np.exp(passing_ranges(margins, steps, EDGE_TOLERANCE)))
        else:
            result.append(result[-1])
    edges = np.full((len(tiers), max(1, *map(len, result)), 2), [np.inf, -np.inf])
    for number, pairs in enumerate(result):
        edges[number, : len(pairs)] = pairs
    passing = edges[..., 0] < edges[..., 1]
    if passing.any():
        table = np.geomspace(edges[passing].min(), edges[passing].max(), TABLE_POINTS)
    else:
        table = np.exp(steps[[np.argmax(_margins(place, tiers[0], steps))]])
    judged = verdicts([_lumped(place, x, tier) for tier in tiers for x in table])
    logs = np.reshape(
        [_log_ratios(place, verdict) for verdict in judged], (len(tiers), table.size, -1)
    )
    return Ranges(
        tolerances=tiers,
        edges_ohm=edges,
        totals_ohm=table,
        log_ratios=np.swapaxes(logs, 1, 2),
        nearest=judged[0],
    )


def _still_passing(margins: Callable[[FloatArray], FloatArray], pairs: FloatArray) -> bool:
    """Whether ranges found for a narrower tolerance hold for a wider one, which allows no more."""
    if not len(pairs):
        return True
    low, high = np.log(pairs).T + np.array([[EDGE_TOLERANCE], [-EDGE_TOLERANCE]])
    return bool(np.all(margins(np.linspace(low, high, TABLE_POINTS).ravel()) >= 0.0))


def _margins(place: SeriesString, tolerance_ratio: float, log_total: FloatArray) -> FloatArray:
    """How far the verdict is from turning at some totals."""
    board = _lumped(place, 2.0 * place.kept_ohm + 1.0, tolerance_ratio)
    ref = place.replaced[0].ref
    return turning_margins(board, ref, np.exp(log_total) - place.kept_ohm)


def _lumped(
    place: SeriesString,
    total_ohm: float,
    tolerance_ratio: float,
    rated: tuple[float, float] = (np.inf, np.inf),
) -> Board:
    """The board with one part, which bears anything (or W and V), for those to be replaced."""
    part = Resistor(
        ref="",
        resistance_ohm=total_ohm - place.kept_ohm,
        tolerance_ratio=tolerance_ratio,
        style="",
        rated_power_w=rated[0],
        working_v=rated[1],
        overload_v=np.inf,
        source="",
    )
    return with_parts(place, [part])


def _log_ratios(place: SeriesString, verdict: Verdict) -> list[float]:
    """Of each rule that is not about a resistor of the section."""
    refs = _string_refs(place)
    with np.errstate(divide="ignore"):
        result = np.log([kept_ratio(r) for r in verdict.rules if not is_load(r.name, refs)])
    return list(np.clip(result, -_FARTHEST, _FARTHEST))


def _string_refs(place: SeriesString) -> frozenset[str]:
    return frozenset(part.ref for part in (*place.replaced, *place.kept))


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueRange:
    """Between which ends the total must stay as it really is, whatever other tolerances do.

    Parameters
    ----------
    number : int
        Of the range in `Ranges.edges_ohm` that it belongs to.
    lowest_ohm, highest_ohm : float
        For the total with all its resistors at their low ends, and at their high ends.
    """

    number: int
    lowest_ohm: float
    highest_ohm: float


def true_ranges(
    place: SeriesString, ranges: Ranges
) -> tuple[tuple[TrueRange, ...], KnownCorners | None]:
    """Find where the rules hold at the worst corners of all that is not in the section.

    Parameters
    ----------
    place : SeriesString
    ranges : Ranges

    Returns
    -------
    result : tuple of TrueRange
    corners : KnownCorners or None
        Of all that is not in the section, with one exact resistor for all of it.
    """
    whole = _whole(place)
    lowest, highest = ranges.edges_ohm[..., 0].min(axis=0), ranges.edges_ohm[..., 1].max(axis=0)
    numbers = np.flatnonzero(lowest < highest)
    result = corner_ranges(
        lambda ohm: _lumped(whole, ohm, 0.0, rated=(PROBE_W, PROBE_V)),
        whole.replaced[0].ref,
        [(float(lowest[k]), float(highest[k])) for k in numbers],
        exempt=_string_refs(place),
        reach_ratio=max(ranges.tolerances),
    )
    return tuple(
        TrueRange(number=int(k), lowest_ohm=float(low), highest_ohm=float(high))
        for k, pieces in zip(numbers, result.ranges, strict=True)
        for low, high in pieces
    ), result.corners


def corners_with(
    known: KnownCorners, tolerances: Sequence[Tolerance], refs: Sequence[str]
) -> FloatArray:
    """Corners of a board with parts in a section, from those of all that is not in it.

    Parameters
    ----------
    known : KnownCorners
    tolerances : sequence of Tolerance
        d of them, those of the parts among them.
    refs : sequence of str
        Of the resistors of the section.

    Returns
    -------
    shares : ndarray, shape (n, d)
        All parts low and all high and, where the section carries the most, each alone high.
    """
    names = [tolerance.name for tolerance in tolerances]
    mine = np.array([name in refs for name in names])
    columns = [k for k, name in enumerate(names) if not mine[k]]
    taken = [known.names.index(names[k]) for k in columns]

    def together(shares: FloatArray, ends: FloatArray) -> FloatArray:
        rows = np.empty((len(shares), len(ends), len(names)))
        rows[..., columns] = shares[:, None, taken]
        rows[..., mine] = ends
        return rows.reshape(-1, len(names))

    count = int(mine.sum())
    alone = together(known.loading, np.eye(count))
    return np.concatenate([together(known.shares, np.outer([0.0, 1.0], np.ones(count))), alone])


def _whole(place: SeriesString) -> SeriesString:
    """The section with nothing that stays."""
    return SeriesString(board=place.board, replaced=(*place.replaced, *place.kept), kept=())


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLimits(Batch):
    """Resistors and what they may bear, arrays of one shape.

    Parameters
    ----------
    ohm, low_ohm, high_ohm : ndarray
        Nominal, and at the ends of tolerance.
    power_w : ndarray
        Rating derated for the hot ambient.
    working_v : ndarray
    """

    ohm: FloatArray
    low_ohm: FloatArray
    high_ohm: FloatArray
    power_w: FloatArray
    working_v: FloatArray


def part_limits(parts: Sequence[Resistor], hot_degc: float) -> PartLimits:
    """Resistors as arrays of shape (parts,)."""
    ohm = np.array([part.resistance_ohm for part in parts])
    tolerance = np.array([part.tolerance_ratio for part in parts])
    return PartLimits(
        ohm=ohm,
        low_ohm=ohm * (1.0 - tolerance),
        high_ohm=ohm * (1.0 + tolerance),
        power_w=derated_power_w([part.rated_power_w for part in parts], hot_degc),
        working_v=np.array([part.working_v for part in parts]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class StringCurrent:
    """Current of a section at high mains, the other resistors of the chain at their low ends.

    Parameters
    ----------
    totals_ohm : ndarray, shape (t,)
        Rising.
    rms_a : ndarray, shape (t,)
        Falling.
    working_stress_a : ndarray, shape (t,)
        Rms, at least that of the sine with the same peak: times a resistance, what is held against
        its working voltage.
    """

    totals_ohm: FloatArray
    rms_a: FloatArray
    working_stress_a: FloatArray

    def shares(self, parts: PartLimits, low_total_ohm: FloatArray) -> FloatArray:
        """How many times the tightest limit of each part is kept.

        Parameters
        ----------
        parts : PartLimits
            Arrays of shape (...).
        low_total_ohm : ndarray, broadcastable
            Of the section with every resistor at its low end.
        """
        one_high = low_total_ohm + (parts.high_ohm - parts.low_ohm)
        film, rms = self._at(one_high, self.working_stress_a), self._at(one_high, self.rms_a)
        by_voltage = parts.working_v / (parts.high_ohm * film)
        all_low = self._at(low_total_ohm, self.rms_a)
        power = np.maximum(parts.high_ohm * rms**2, parts.low_ohm * all_low**2)
        return np.asarray(np.minimum(by_voltage, parts.power_w / power))

    def floors_ohm(self, parts: PartLimits, ratio: float = 1.0) -> FloatArray:
        """Least total, all at the low end, at which each part keeps its limits `ratio` times.

        -inf where any total looked at will do, inf where none.
        """
        rise = parts.high_ohm - parts.low_ohm
        by_voltage = (
            self._where(parts.working_v / (ratio * parts.high_ohm), self.working_stress_a) - rise
        )
        most_a = np.sqrt(parts.power_w / ratio)
        by_power = self._where(most_a / np.sqrt(parts.high_ohm), self.rms_a) - rise
        when_low = self._where(most_a / np.sqrt(parts.low_ohm), self.rms_a)
        return np.asarray(np.maximum(np.maximum(by_voltage, by_power), when_low))

    def _at(self, total_ohm: FloatArray, current_a: FloatArray) -> FloatArray:
        """Current at a total; current times total is nearly straight in logs."""
        log_total = np.log(total_ohm)
        log_volts = np.interp(
            log_total, np.log(self.totals_ohm), np.log(current_a * self.totals_ohm)
        )
        return np.exp(log_volts - log_total)

    def _where(self, limit_a: FloatArray, current_a: FloatArray) -> FloatArray:
        """Total at which the current falls to a limit."""
        x, y = -np.log(current_a), np.log(self.totals_ohm)
        return np.exp(np.interp(-np.log(limit_a), x, y, left=-np.inf, right=np.inf))


def current_of(
    place: SeriesString, lowest_ohm: float, highest_ohm: float, loads: Circuit | None
) -> StringCurrent:
    """Current of a section at totals from one to another.

    Parameters
    ----------
    place : SeriesString
    lowest_ohm, highest_ohm : float
    loads : Circuit or None
        Corners, a row each; what the section has to carry there counts too.

    Returns
    -------
    current : StringCurrent
    """
    whole = _whole(place)
    totals = np.geomspace(lowest_ohm, highest_ohm, CURRENT_POINTS)
    rms_v, film_v = _across(whole, totals, _at_high_mains(whole))
    for row in range(loads.size if loads is not None else 0):
        assert loads is not None
        more_rms_v, more_film_v = _across(whole, totals, loads.rows(np.array([row])))
        rms_v, film_v = np.maximum(rms_v, more_rms_v), np.maximum(film_v, more_film_v)
    return StringCurrent(totals_ohm=totals, rms_a=rms_v / totals, working_stress_a=film_v / totals)


def _at_high_mains(whole: SeriesString) -> Circuit:
    """The other resistors of the chain at their low ends."""
    lumped = _lumped(whole, 1.0, 0.0)
    circuit = build_circuit(lumped, Conditions(mains_rms_v=whole.board.mains.high_rms_v))
    for part in chain_resistors(lumped):
        circuit = circuit.scale(part.ref, "resistance_ohm", 1.0 - part.tolerance_ratio)
    return circuit


def _across(
    whole: SeriesString, totals_ohm: FloatArray, circuit: Circuit
) -> tuple[FloatArray, FloatArray]:
    """Rms voltage across the section, and what is held against working voltages."""
    ref = whole.replaced[0].ref
    rows = circuit.rows(np.zeros(totals_ohm.size, dtype=np.intp))
    solution = solve(rows.change(ref, resistance_ohm=totals_ohm), _MAINS_SIDE)
    element = solution.circuit[ref]
    assert isinstance(element, Resistance)
    across = solution.voltages_v[element.a] - solution.voltages_v[element.b]
    rms_v = solution.rms(across)
    return rms_v, np.maximum(rms_v, solution.peak(np.abs(across)) / np.sqrt(2.0))


def floor_of_others_ohm(place: SeriesString, lowest_ohm: float, highest_ohm: float) -> float:
    """Least total, all at the low end, from which the resistors outside the section hold.

    Parameters
    ----------
    place : SeriesString
    lowest_ohm, highest_ohm : float
        Where to look.

    Returns
    -------
    floor_ohm : float
        -inf where they hold everywhere; inf where they do not at the highest total, whatever
        stands in the section. (The more resistance there, the less they bear.)
    """
    refs = _string_refs(place)
    whole = _whole(place)

    def margin(log_total: FloatArray) -> FloatArray:
        boards = [_lumped(whole, x, 0.0) for x in np.exp(log_total)]
        solutions = solved_apart([worst_circuit(board) for board in boards])
        return np.array(
            [
                min(
                    np.log(1.0 / max(stress.used_ratio(), _MIN_USED))
                    for stress in worst_of(solution, board)
                    if stress.resistor.ref not in refs
                )
                for board, solution in zip(boards, solutions, strict=True)
            ]
        )

    logs = np.linspace(np.log(lowest_ohm), np.log(highest_ohm), OTHERS_POINTS)
    margins = margin(logs)
    failing = np.flatnonzero(margins < 0.0)
    if not failing.size:
        return -np.inf
    last = failing[-1]
    if last == logs.size - 1:
        return np.inf
    ends = logs[last : last + 1], logs[last + 1 : last + 2]
    values = margins[last : last + 1], margins[last + 1 : last + 2]
    return float(np.exp(batched_root(margin, ends, values, EDGE_TOLERANCE))[0])
