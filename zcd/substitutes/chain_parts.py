"""Which parts of a drawer, up to four in series, may stand in a section of the chain.

The search is exhaustive: every combination is counted, none is tried out (see
`zcd.substitutes.subset_sum`). Those that come out best, and some that just fail, are then judged
one by one by the verdict.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from zcd.board.drawer import StockResistor
from zcd.board.model import Board, Resistor
from zcd.board.parts_library import all_resistors
from zcd.logs import logger
from zcd.margin.stress import ResistorStress
from zcd.margin.tolerances import tolerances_of
from zcd.substitutes.chain_limits import (
    PartLimits,
    Ranges,
    StringCurrent,
    TrueRange,
    corners_with,
    current_of,
    floor_of_others_ohm,
    part_limits,
    ranges_of,
    true_ranges,
)
from zcd.substitutes.compare import Verdict, verdicts, with_corners
from zcd.substitutes.corner_ranges import KnownCorners
from zcd.substitutes.series_string import SeriesString, new_refs, with_parts
from zcd.substitutes.subset_sum import MAX_PARTS, Stock, Window, combinations, count

_LOG = logger(__name__)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

SHOWN = 3
"""Combinations of each number of parts that are judged and shown."""
SAME_VALUE = 0.005
"""How near a part comes to the value of what it replaces, to count as a like one."""
MISSES = 5
LISTED = 50_000
"""Combinations that are all looked at one by one; of more, only those above some margin are."""
SAMPLED = 20_000
WIDER = 0.99
"""Factor on a margin that too few combinations are found to reach."""
ROUNDS = 3
"""So many combinations are drawn, so many times from those parts that are still in question, to
see which margin is surely reached; the search itself draws nothing."""
SURELY_MISSED = 0.999
"""How near to passing a combination may come and still be shown as failing."""
_FINE = 400
_MIN_OHM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A combination, and the verdict on the board with it.

    Parameters
    ----------
    stresses : tuple of ResistorStress
        Of each of its resistors, the largest first.
    verdict : Verdict
        At the worst corners too, unless it fails without.
    """

    stresses: tuple[ResistorStress, ...]
    verdict: Verdict

    @property
    def parts(self) -> tuple[Resistor, ...]:
        """Its resistors, with the references they get."""
        return tuple(stress.resistor for stress in self.stresses)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainFits:
    """What the drawer holds for a section of the chain.

    Parameters
    ----------
    place : SeriesString
    ranges : Ranges
        Of the section's total.
    true_ranges : tuple of TrueRange
        Of the same with tolerances.
    stock : int
        Different resistors in the drawer.
    counts : tuple of int
        Combinations of one, two ... parts with which all rules are kept.
    best : tuple of Fit
        Of each number of parts the best ones, fewest parts first, then best margin; among those
        of one part are like ones, of the value of what they replace.
    misses : tuple of Fit
        Some that just fail, each for another reason.
    """

    place: SeriesString
    ranges: Ranges
    true_ranges: tuple[TrueRange, ...]
    stock: int
    counts: tuple[int, ...]
    best: tuple[Fit, ...]
    misses: tuple[Fit, ...]


def chain_fits(place: SeriesString, drawer: Sequence[StockResistor]) -> ChainFits:
    """Search a drawer.

    Parameters
    ----------
    place : SeriesString
    drawer : sequence of StockResistor

    Returns
    -------
    fits : ChainFits

    Notes
    -----
    Every rule but power and voltage of the section's own resistors depends on its total only, so
    the counts are exact but for three things: ends of ranges are found within 1e-4 and corners
    within 1e-3 of a limit, and a combination nearer than that to an end may fall on either side;
    rules are taken to hold between
    ends at which they hold; and a part's share is read off a table of the section's current, at
    the corners that load the section as a whole the most. Those that are shown are judged by
    themselves, by all rules and at every corner that the search for the ends came upon, with
    their own tolerances low, high and one against all: one that fails is a miss.
    """
    _LOG.info("trying all combinations of up to %d of %d resistors", MAX_PARTS, len(drawer))
    search = _search(place, drawer)
    sizes = range(1, MAX_PARTS + 1)
    counts = tuple(search.count(size) for size in sizes)
    result = [search.best(n, c) for n, c in zip(sizes, counts, strict=True) if c]
    rows = [row for members in result for row in members]
    best, misses = _evaluate(search, rows, _nearest_misses(search))
    return ChainFits(
        place=place,
        ranges=search.ranges,
        true_ranges=search.true_ranges,
        stock=len(drawer),
        counts=counts,
        best=best,
        misses=misses,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Search:
    """A drawer held against a section.

    `tiers` is the number of each part's tolerance among those of `ranges`; `floor_ohm` the least
    total at which the resistors outside the section hold.
    """

    place: SeriesString
    parts: tuple[Resistor, ...]
    borne: PartLimits
    kept: PartLimits
    counts: IntArray
    tiers: IntArray
    ranges: Ranges
    true_ranges: tuple[TrueRange, ...]
    corners: KnownCorners | None
    current: StringCurrent
    floor_ohm: float

    def ratio(self, members: IntArray) -> FloatArray:
        """How many times each combination keeps its tightest rule, shape (combinations,)."""
        total = self.borne.ohm[members].sum(axis=1) + self.place.kept_ohm
        of_total = self.ranges.ratio(total, self.tiers[members].max(axis=1))
        return np.minimum(of_total, self.shares(members))

    def shares(self, members: IntArray) -> FloatArray:
        """How many times the tightest limit of a resistor of the section is kept."""
        parts = self.borne.rows(members)
        low = parts.low_ohm.sum(axis=1)[:, None] + self.place.kept_low_ohm
        of_kept = self.current.shares(self.kept, low).min(axis=1, initial=np.inf)
        return np.minimum(self.current.shares(parts, low).min(axis=1), of_kept)

    def count(self, size: int) -> int:
        """How many combinations of a size keep all rules."""
        stock = self._stock(1.0)
        return sum(count(stock, window, size) for window in self._windows())

    def best(self, size: int, number: int) -> IntArray:
        """The best of the `number` combinations of a size, and like ones.

        Returns
        -------
        members : ndarray of int, shape (combinations, size)
        """
        ratio = self._surely_above(size) if number > LISTED else 1.0
        while True:
            asked = self._narrowed(ratio) if ratio > 1.0 else self._all()
            members = np.concatenate([combinations(*ask, size) for ask in asked])
            if members.shape[0] >= min(SHOWN, number) or ratio <= 1.0:
                break
            ratio *= WIDER  # the sums that reach it lie between two that are looked at
        members = members[np.argsort(-self.ratio(members), kind="stable")]
        shown = self._like(members)
        shown[:SHOWN] = True
        return members[shown]

    def _like(self, members: IntArray) -> NDArray[np.bool_]:
        """Which are one part of the value of what it replaces, the first thing to look for."""
        old_ohm = sum(part.resistance_ohm for part in self.place.replaced)
        off = np.abs(self.borne.ohm[members[:, 0]] / old_ohm - 1.0)
        return (members.shape[1] == 1) & (off <= SAME_VALUE)

    def _surely_above(self, size: int) -> float:
        """A margin that at least `SHOWN` combinations reach, by a look at some of all."""
        random, surely = np.random.default_rng(0), 1.0
        for _ in range(ROUNDS):
            able = self._able(surely)
            drawn = able[random.integers(0, able.size, (SAMPLED, size))]
            # of equal parts none bears more than another: often the best
            members = self._in_stock(
                np.concatenate([drawn, np.repeat(able[:, None], size, axis=1)])
            )
            members = members[self.spare(members) >= 1.0]
            if members.shape[0] < SHOWN:
                break
            surely = max(surely, float(np.sort(self.ratio(members))[-SHOWN]))
        return surely

    def _able(self, ratio: float) -> IntArray:
        """Parts that may be in a combination which keeps every limit so many times."""
        asked = self._narrowed(ratio)
        most = max((float(window.highest.max()) for _, window in asked), default=-np.inf)
        stock = self._stock(ratio)
        return np.flatnonzero((np.maximum(stock.floors, stock.values) <= most) & (stock.counts > 0))

    def _in_stock(self, drawn: IntArray) -> IntArray:
        """Different combinations of which there are enough parts."""
        members = np.sort(drawn, axis=1)
        places = len(self.parts) ** np.arange(members.shape[1])
        members = members[np.unique(members @ places, return_index=True)[1]]
        # as many as there are of a part: the one so many places before must be another
        for place in range(1, members.shape[1]):
            few = self.counts[members[:, place:]] <= place
            members = members[~np.any(few & (members[:, place:] == members[:, :-place]), axis=1)]
        return members

    def causes(self, members: IntArray) -> tuple[FloatArray, IntArray]:
        """How near combinations come to keeping all rules, and what stands most in their way.

        Returns
        -------
        nearness : ndarray, shape (combinations,)
            1 or more where they do.
        cause : ndarray of int, shape (combinations,)
            0: the total is too low, 1: too high, 2: what a part has to bear, 3: tolerances.
        """
        parts = self.borne.rows(members)
        total = parts.ohm.sum(axis=1) + self.place.kept_ohm
        low = parts.low_ohm.sum(axis=1) + self.place.kept_low_ohm
        edges = self.ranges.edges_ohm[self.tiers[members].max(axis=1)]
        above, below = total[:, None] / edges[..., 0], edges[..., 1] / total[:, None]
        nearest = np.argmax(np.minimum(above, below), axis=1)[:, None]
        near = np.stack(
            [
                np.take_along_axis(above, nearest, axis=1)[:, 0],
                np.take_along_axis(below, nearest, axis=1)[:, 0],
                np.minimum(
                    self.current.shares(parts, low[:, None]).min(axis=1),
                    low / max(self.floor_ohm, _MIN_OHM),
                ),
                self.spare(members) if self.true_ranges else self._but_for_corners(members),
            ]
        )
        return near.min(axis=0), near.argmin(axis=0)

    def _but_for_corners(self, members: IntArray) -> FloatArray:
        """Where corners leave nothing: the nearer, the better all else is kept; inf where not."""
        ratio = self.ratio(members)
        return np.where(ratio >= 1.0, SURELY_MISSED * ratio / (1.0 + ratio), np.inf)

    def _all(self) -> list[tuple[Stock, Window]]:
        stock = self._stock(1.0)
        return [(stock, window) for window in self._windows()]

    def _windows(self) -> list[Window]:
        """Where the sum of the new parts may lie."""
        place, edges = self.place, self.ranges.edges_ohm - self.place.kept_ohm
        return [
            Window(
                lowest=edges[:, true.number, 0],
                highest=edges[:, true.number, 1],
                floor=true.lowest_ohm - place.kept_low_ohm,
                ceiling=true.highest_ohm - place.kept_high_ohm,
            )
            for true in self.true_ranges
        ]

    def spare(self, members: IntArray) -> FloatArray:
        """How many times a combination with its tolerances stays within a true range."""
        parts = self.borne.rows(members)
        low = parts.low_ohm.sum(axis=1) + self.place.kept_low_ohm
        high = parts.high_ohm.sum(axis=1) + self.place.kept_high_ohm
        within = [
            np.minimum(low / true.lowest_ohm, true.highest_ohm / high) for true in self.true_ranges
        ]
        return np.max([np.zeros(len(members)), *within], axis=0)

    def _narrowed(self, ratio: float) -> list[tuple[Stock, Window]]:
        """Stock and windows such that every limit is kept `ratio` times."""
        stock = self._stock(ratio)
        return [(stock, self._narrower(window, ratio)) for window in self._windows()]

    def _stock(self, ratio: float) -> Stock:
        floors = self.current.floors_ohm(self.borne, ratio)
        of_kept = self.current.floors_ohm(self.kept, ratio).max(initial=self.floor_ohm)
        return Stock(
            values=self.borne.ohm,
            lows=self.borne.low_ohm,
            floors=np.maximum(floors, of_kept) - self.place.kept_low_ohm,
            tiers=self.tiers,
            counts=self.counts,
        )

    def _narrower(self, window: Window, ratio: float) -> Window:
        lowest = np.full(window.lowest.shape, np.inf)
        highest = -lowest
        for tier in np.flatnonzero(window.lowest < window.highest):
            sums = np.geomspace(window.lowest[tier], window.highest[tier], _FINE)
            sums = sums[self.ranges.ratio(sums + self.place.kept_ohm, tier) >= ratio]
            if sums.size:
                lowest[tier], highest[tier] = sums[0], sums[-1]
        return replace(window, lowest=lowest, highest=highest)


def _search(place: SeriesString, drawer: Sequence[StockResistor]) -> _Search:
    """Work out what the search needs to know of the board."""
    board, parts = place.board, tuple(item.part for item in drawer)
    # the widest tolerance counts, and parts that stay have theirs
    stays = [r for chain in (*board.chains, board.return_chain) for r in chain]
    least = max((r.tolerance_ratio for r in stays if r not in place.replaced), default=0.0)
    tolerances = np.array([max(part.tolerance_ratio, least) for part in parts])
    ranges = ranges_of(place, tolerances.tolist())
    kept_ranges, corners = true_ranges(place, ranges)
    # low ends, and one part at its high end, lie somewhat outside
    lowest, highest = 0.4 * ranges.totals_ohm[0], 2.5 * ranges.totals_ohm[-1]
    hot = board.service.hot_degc
    return _Search(
        place=place,
        parts=parts,
        borne=part_limits(parts, hot),
        kept=part_limits(place.kept, hot),
        counts=np.array([item.count for item in drawer]),
        tiers=np.searchsorted(ranges.tolerances, tolerances),
        ranges=ranges,
        true_ranges=kept_ranges,
        corners=corners,
        current=current_of(place, lowest, highest, None if corners is None else corners.loads),
        floor_ohm=floor_of_others_ohm(place, lowest, highest),
    )


def _worth(fit: Fit) -> tuple[int, float]:
    """Fewest parts first, then best margin."""
    return len(fit.parts), -fit.verdict.margin_ratio


def _nearest_misses(search: _Search) -> list[IntArray]:
    """Equal parts and pairs that just fail: the nearest of each number and cause."""
    every = np.arange(len(search.parts))
    tried = [np.repeat(every[search.counts >= n, None], n, axis=1) for n in range(1, MAX_PARTS + 1)]
    tried.append(np.stack(np.triu_indices(every.size, 1), axis=1))
    result: list[tuple[float, IntArray]] = []
    for members in tried:
        nearness, causes = search.causes(members)
        for cause in np.unique(causes[nearness < SURELY_MISSED]):
            mine = np.flatnonzero((causes == cause) & (nearness < SURELY_MISSED))
            first = mine[np.argmax(nearness[mine])]
            result.append((float(nearness[first]), members[first]))
    return [row for _, row in sorted(result, key=lambda pair: -pair[0])[: 2 * MISSES]]


def _fit(search: _Search, verdict: Verdict, row: IntArray) -> Fit:
    by_ref = {stress.resistor.ref: stress for stress in verdict.resistors}
    return Fit(
        stresses=tuple(by_ref[ref] for ref in new_refs(search.place, row.size)),
        verdict=verdict,
    )


def _corners_of(search: _Search, board: Board) -> FloatArray | None:
    """All that are known of a board with a combination in it."""
    if search.corners is None:
        return None
    place = search.place
    new = [part.ref for part in all_resistors(board)]
    old = {part.ref for part in all_resistors(place.board)}
    refs = {part.ref for part in (*place.replaced, *place.kept)}
    mine = [ref for ref in new if ref in refs or ref not in old]
    return corners_with(search.corners, tolerances_of(board), mine)


def _evaluate(
    search: _Search, best: Sequence[IntArray], misses: Sequence[IntArray]
) -> tuple[tuple[Fit, ...], tuple[Fit, ...]]:
    """The verdict on combinations that fit and on some that do not."""
    parts = [
        tuple(sorted((search.parts[k] for k in row), key=lambda part: -part.resistance_ohm))
        for row in (*best, *misses)
    ]
    boards = [with_parts(search.place, chosen) for chosen in parts]
    judged = with_corners(verdicts(boards), lambda board: _corners_of(search, board))
    rows = (*best, *misses)
    fits = [_fit(search, verdict, row) for verdict, row in zip(judged, rows, strict=True)]
    good = (fit for fit in fits[: len(best)] if fit.verdict.passes)
    reasons: dict[tuple[int, str], Fit] = {}
    for fit in fits:
        if not fit.verdict.passes:
            what = fit.verdict.tightest.name.partition(" ")[2]
            reasons.setdefault((len(fit.parts), what), fit)
    return (
        tuple(sorted(good, key=_worth)),
        tuple(reasons.values())[:MISSES],
    )
