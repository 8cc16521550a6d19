"""Which resistors of a drawer to try in a section of the chain, in the order of a colleague.

The printed values first; then totals near the original one, of equal parts or of two different
values, where no part works harder than before; then those where it does somewhat. What each part
has to bear follows from the section's voltage, which stays, and from how the resistors share it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from zcd.board.drawer import StockResistor
from zcd.board.model import Board, Resistor
from zcd.board.parts_library import all_resistors, is_chip
from zcd.circuit.batch import Batch
from zcd.margin.stress import ResistorStress
from zcd.physics.resistor import derated_power_w
from zcd.substitutes.proposals import Candidate, Closeness
from zcd.substitutes.series_string import SeriesString, with_parts

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

SAME_VALUE = 0.005
"""How near a part comes to the printed value, to count as one of it."""
SAME_TOTAL = 0.01
"""Totals so much nearer to the original one are not better, nor are those that half the tolerance
of the original hides."""
LEAST_PART = 0.05
"""Share of the section's total below which a part is not worth its joints."""
NEAR_TOTAL = 0.10
WIDEST_TOTAL = 2.0
"""Factor on the total within which others are looked for."""
HARDER = (1.0 - NEAR_TOTAL) ** -2
"""What a total that is 10 % lower does to power."""
SLACK = 1.01
ROUNDING = 1e-9
MORE_PARTS, MORE_ALIKE = 3, 1
"""How many more parts than before are tried, and how many leave it much as it was."""
PRINTED = 2
"""Proposals of the printed values in different ratings."""
TRIED = 12


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
class Sharing:
    """Voltage across a section at high mains, and how its resistors share it.

    Parameters
    ----------
    rms_v : float
        For power.
    film_v : float
        Rms, or peak / √2 if that is higher: for working voltages.
    """

    rms_v: float
    film_v: float

    def shares(self, parts: PartLimits, total_ohm: FloatArray) -> FloatArray:
        """What each part bears, as shares of its power and voltage limits.

        Parameters
        ----------
        parts : PartLimits
            Arrays of shape (...).
        total_ohm : ndarray, broadcastable
            Of the section.

        Returns
        -------
        shares : ndarray, shape (2, ...)
            Power, then voltage.
        """
        power = parts.ohm * (self.rms_v / total_ohm) ** 2 / parts.power_w
        voltage = self.film_v * parts.ohm / total_ohm / parts.working_v
        return np.array([power, voltage])

    def worst_shares(self, parts: PartLimits, low_total_ohm: FloatArray) -> FloatArray:
        """The same with each part at the worse end of its tolerance, the others at their low ends.

        `low_total_ohm` is that of the section with all its resistors at their low ends.
        """
        one_high = low_total_ohm + (parts.high_ohm - parts.low_ohm)
        high = self.shares(replace(parts, ohm=parts.high_ohm), one_high)
        low = self.shares(replace(parts, ohm=parts.low_ohm), low_total_ohm)
        return np.maximum(high, low)


def sharing_of(place: SeriesString, stresses: Sequence[ResistorStress]) -> Sharing:
    """What a section has across it on the original board.

    Parameters
    ----------
    place : SeriesString
    stresses : sequence of ResistorStress
        Of the board's resistors at the worse ends of tolerance.
    """
    part = place.replaced[0]
    stress = next(one for one in stresses if one.resistor.ref == part.ref)
    low = sum(r.resistance_ohm * (1.0 - r.tolerance_ratio) for r in (*place.replaced, *place.kept))
    high_ohm = part.resistance_ohm * (1.0 + part.tolerance_ratio)
    total_ohm = low + 2.0 * part.resistance_ohm * part.tolerance_ratio
    # the first row has this part at its high end
    rms_a = np.sqrt(float(stress.power_w[0]) / high_ohm)
    film_a = float(stress.working_stress_v[0]) / high_ohm
    return Sharing(rms_v=float(rms_a) * total_ohm, film_v=film_a * total_ohm)


def chain_candidates(
    place: SeriesString, stock: Sequence[StockResistor], sharing: Sharing, *, others: bool = False
) -> tuple[Candidate, ...]:
    """What to try in a section of the chain.

    Parameters
    ----------
    place : SeriesString
    stock : sequence of StockResistor
    sharing : Sharing
    others : bool
        Also totals further off, and parts that work harder.

    Returns
    -------
    candidates : tuple of Candidate
        In the order in which they are proposed; never fewer parts than before, and none beyond
        its rating unless it has the printed value and the original was.
    """
    searches = [_Search.of(place, place, stock, sharing)]
    beside = _beside_printed(place, stock)
    if beside is not None:
        searches.insert(0, _Search.of(place, *beside, sharing))
    ranked = sorted((r for s in searches for r in s.ranked(others)), key=lambda pair: pair[0])
    printed = _printed(place, stock, sharing)
    found = {_as_bought(candidate): candidate for candidate in printed}
    values = {tuple(part.resistance_ohm for part in parts) for parts in found}
    for _, candidate in ranked:
        parts = _as_bought(candidate)
        # no mixture of the ratings that are proposed already
        if tuple(part.resistance_ohm for part in parts) not in values:
            found.setdefault(parts, candidate)
    return tuple(found.values())


def is_printed(part: Resistor, old: Resistor) -> bool:
    """Whether a resistor has the value of another, and a rating at least as high, if known."""
    rated = part.rated_power_w >= old.rated_power_w and part.working_v >= old.working_v
    same = abs(part.resistance_ohm / old.resistance_ohm - 1.0) <= SAME_VALUE
    return same and (rated or old.size_assumed)


def nearest_rating(part: Resistor, old: Resistor) -> tuple[bool, bool, float, float]:
    """Orders resistors of one value: the same style, as narrow a tolerance, the least rating."""
    return (
        part.style != old.style,
        part.tolerance_ratio > old.tolerance_ratio,
        part.rated_power_w,
        part.working_v,
    )


def _as_bought(candidate: Candidate) -> tuple[Resistor, ...]:
    """The resistors of a candidate, whatever their places."""
    new = [replace(part, ref="") for part in candidate.parts if isinstance(part, Resistor)]
    return tuple(sorted(new, key=lambda part: (part.resistance_ohm, part.style)))


def _candidate(original: SeriesString, board: Board, closeness: Closeness) -> Candidate:
    """A board that differs from the original one in the resistors replaced."""
    free = {part.ref for part in original.replaced}
    stays = {part.ref for part in all_resistors(original.board)} - free
    parts = tuple(part for part in all_resistors(board) if part.ref not in stays)
    return Candidate(parts=parts, board=board, closeness=closeness)


def _printed(
    place: SeriesString, stock: Sequence[StockResistor], sharing: Sharing
) -> list[Candidate]:
    """The printed values: in the nearest ratings that bear the load, else as the original."""
    candidates = []
    for rank in range(max(len(_options(old, stock)) for old in place.replaced)):
        items = _chosen(place, stock, rank)
        if None not in items:
            board = with_parts(place, [item.part for item in items if item is not None])
            candidates.append(_candidate(place, board, Closeness.SAME))
    low_ohm = np.array(_low_ohm(place.kept))
    hot = place.board.service.hot_degc

    def bears(candidate: Candidate) -> bool:
        parts = [part for part in candidate.parts if isinstance(part, Resistor)]
        shares = sharing.worst_shares(part_limits(parts, hot), low_ohm + _low_ohm(parts))
        return bool(np.max(shares) <= 1.0)

    return ([one for one in candidates if bears(one)] or candidates)[:PRINTED]


def _options(old: Resistor, stock: Sequence[StockResistor]) -> list[StockResistor]:
    """Resistors of the printed value, the nearest rating first; where the size of a leaded one was
    not read, the next one above that which is assumed, as it may have been that."""
    fit = [item for item in stock if is_printed(item.part, old)]
    fit.sort(key=lambda item: nearest_rating(item.part, old))
    if old.size_assumed and not is_chip(old.style):
        larger = [item for item in fit if item.part.rated_power_w > old.rated_power_w]
        first = min(larger, key=lambda item: item.part.rated_power_w, default=None)
        fit.sort(key=lambda item: item is not first)
    return fit


def _chosen(
    place: SeriesString, stock: Sequence[StockResistor], rank: int
) -> list[StockResistor | None]:
    """For each resistor one of its printed value; None where the drawer holds too few."""
    taken: Counter[Resistor] = Counter()
    result: list[StockResistor | None] = []
    for old in place.replaced:
        mine = _options(old, stock)
        at = min(rank, len(mine) - 1)
        able = (item for item in (*mine[at:], *mine[:at]) if taken[item.part] < item.count)
        item = next(able, None)
        if item is not None:
            taken[item.part] += 1
        result.append(item)
    return result


def _beside_printed(
    place: SeriesString, stock: Sequence[StockResistor]
) -> tuple[SeriesString, list[StockResistor]] | None:
    """The section with those printed values put in that the drawer has, and what is left in it.

    None: it has all or none.
    """
    items = _chosen(place, stock, 0)
    there = {
        old.ref: replace(item.part, ref=old.ref)
        for old, item in zip(place.replaced, items, strict=True)
        if item is not None
    }
    if not 0 < len(there) < len(place.replaced):
        return None
    taken = Counter(item.part for item in items if item is not None)
    left = [replace(item, count=item.count - taken[item.part]) for item in stock]

    def put(chain: tuple[Resistor, ...]) -> tuple[Resistor, ...]:
        return tuple(there.get(part.ref, part) for part in chain)

    board = place.board
    section = SeriesString(
        board=replace(
            board, chains=tuple(map(put, board.chains)), return_chain=put(board.return_chain)
        ),
        replaced=tuple(part for part in place.replaced if part.ref not in there),
        kept=(*place.kept, *there.values()),
    )
    return section, left


def _low_ohm(parts: Sequence[Resistor]) -> float:
    return sum(part.resistance_ohm * (1.0 - part.tolerance_ratio) for part in parts)


_Key = tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Search:
    """A drawer held against a section.

    `total_ohm` is the original one; `most` what a new part may bear as the hardest-working of
    those it replaces did (power, voltage), `kept_most` what each of those that stay did.
    """

    original: SeriesString
    place: SeriesString
    parts: tuple[Resistor, ...]
    counts: IntArray
    limits: PartLimits
    kept: PartLimits
    sharing: Sharing
    total_ohm: float
    most: FloatArray
    kept_most: FloatArray
    styles: frozenset[str]
    tolerance_ratio: float

    @classmethod
    def of(
        cls,
        original: SeriesString,
        place: SeriesString,
        stock: Sequence[StockResistor],
        sharing: Sharing,
    ) -> _Search:
        """What the search needs to know of the original section and of the places to fill."""
        board, old = original.board, (*original.replaced, *original.kept)
        hot, total = board.service.hot_degc, np.array(sum(part.resistance_ohm for part in old))
        stock = list(_not_too_many(stock, original.replaced[0]))
        kept = part_limits(place.kept, hot)
        return cls(
            original=original,
            place=place,
            parts=tuple(item.part for item in stock),
            counts=np.array([item.count for item in stock]),
            limits=part_limits([item.part for item in stock], hot),
            kept=kept,
            sharing=sharing,
            total_ohm=float(total),
            most=sharing.shares(part_limits(original.replaced, hot), total).max(axis=1),
            kept_most=sharing.shares(kept, total),
            styles=frozenset(part.style for part in original.replaced),
            tolerance_ratio=max(part.tolerance_ratio for part in original.replaced),
        )

    def ranked(self, others: bool) -> Iterator[tuple[_Key, Candidate]]:
        """The first candidates, each with what it is ordered by."""
        least = len(self.place.replaced)
        near = NEAR_TOTAL + ROUNDING
        windows = [(size, 1.0 - near, 1.0 + near) for size in range(least, least + MORE_PARTS + 1)]
        if others:
            windows += [(least + more, 1.0 / WIDEST_TOTAL, WIDEST_TOTAL) for more in (0, 1)]
        for size, low, high in windows:
            if self.parts:
                keys, rows = self._ordered(self._rows(size, low, high))
                for closeness in range(2 + others):
                    for at in np.flatnonzero(keys[:, 0] == closeness)[:TRIED]:
                        parts = sorted(
                            (self.parts[k] for k in rows[at]), key=lambda part: -part.resistance_ohm
                        )
                        board = with_parts(self.place, parts)
                        yield (
                            tuple(keys[at]),
                            _candidate(self.original, board, _CLOSENESS[closeness]),
                        )

    def _rows(self, size: int, low: float, high: float) -> IntArray:
        """Combinations of one or two different parts whose total is within a window."""
        ohm = self.limits.ohm
        lowest, highest = (factor * self.total_ohm - self.kept_ohm for factor in (low, high))
        every = np.arange(ohm.size)
        alone = every[(self.counts >= size) & (lowest <= size * ohm) & (size * ohm <= highest)]
        result = [np.repeat(alone[:, None], size, axis=1)]
        for first in range(1, size // 2 + 1):
            second = size - first
            sums = first * ohm[:, None] + second * ohm
            able = (self.counts >= first)[:, None] & (self.counts >= second)
            able &= (lowest <= sums) & (sums <= highest)
            able &= every[:, None] < every if first == second else every[:, None] != every
            x, y = np.nonzero(able)
            result.append(np.column_stack([x] * first + [y] * second))
        return np.concatenate(result)

    @property
    def kept_ohm(self) -> float:
        """Resistance that stays."""
        return sum(part.resistance_ohm for part in self.place.kept)

    def _ordered(self, rows: IntArray) -> tuple[FloatArray, IntArray]:
        """Combinations in the order of a colleague, with what they are ordered by."""
        parts = self.limits.rows(rows)
        total = parts.ohm.sum(axis=1) + self.kept_ohm
        low = parts.low_ohm.sum(axis=1) + _low_ohm(self.place.kept)
        shares = self.sharing.shares(parts, total[:, None]).max(axis=2)
        kept = self.sharing.shares(self.kept, total[:, None])
        harder = np.maximum(
            (shares / self.most[:, None]).max(axis=0),
            (kept / self.kept_most[:, None]).max(axis=(0, 2), initial=0.0),
        )
        beyond = (self.sharing.worst_shares(parts, low[:, None]) > 1.0).any(axis=(0, 2))
        beyond |= parts.ohm.min(axis=1) < LEAST_PART * self.total_ohm
        total /= self.total_ohm
        more = rows.shape[1] - len(self.place.replaced)
        near = np.abs(total - 1.0) <= NEAR_TOTAL + ROUNDING
        like = near & (harder <= SLACK) & (more <= MORE_ALIKE)
        closeness = np.select([like, near & (harder <= HARDER)], [0, 1], 2)
        off = np.abs(np.log(total))
        tolerances = np.array([part.tolerance_ratio for part in self.parts])[rows]
        other = np.array([part.style not in self.styles for part in self.parts])[rows]
        keys = np.column_stack(
            [
                closeness,
                np.floor(off / max(SAME_TOTAL, self.tolerance_ratio / 2.0)),
                tolerances.max(axis=1) > self.tolerance_ratio,
                np.full(len(rows), more),
                other.any(axis=1),
                np.floor(off / SAME_TOTAL),
                (parts.ohm != parts.ohm[:, :1]).any(axis=1),
                off,
                shares.max(axis=0),
            ]
        )[~beyond]
        order = np.lexsort(keys.T[::-1])
        return keys[order], rows[~beyond][order]


_CLOSENESS = (Closeness.LIKE, Closeness.NEAR, Closeness.OTHER)


def _not_too_many(stock: Sequence[StockResistor], old: Resistor) -> Iterator[StockResistor]:
    """Of each value the nearest to the old rating, and the highest rated."""
    by_value: dict[float, list[StockResistor]] = {}
    for item in stock:
        by_value.setdefault(item.part.resistance_ohm, []).append(item)
    for items in by_value.values():
        first = min(items, key=lambda item: nearest_rating(item.part, old))
        strong = max(items, key=lambda item: (item.part.rated_power_w, item.part.working_v))
        yield from dict.fromkeys((first, strong))
