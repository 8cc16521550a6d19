"""Which parts of a stock, up to four in series, add up to a wanted total: all of them.

A combination is a multiset. It fits where its nominal sum lies between two limits, which depend on
the widest tolerance in it, where its sum at the high end of tolerance stays below a ceiling, and
where its sum at the low end reaches a floor and that of each of its parts (the least total at which
that part bears its share). Tolerances are as wide up as down: the sum at the high end is twice the
nominal one less that at the low end, and so all of this is asked of the low end. Nothing is
sampled: pairs are kept sorted by their sum, and every other pair asks how many of them fit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.batch import Batch

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

MAX_PARTS = 4
_FIXED = 2
"""Of three or four different parts two are fixed, the others looked up in a sorted list."""
PAIRS = 200_000
"""Pairs that are looked at together."""
SMALL = 4000
"""Sums in a small pool."""
_HAIR = 1.0 - 1e-12
"""Room for rounding where a floor is divided by a tolerance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock(Batch):
    """Parts to choose from, arrays of shape (n,).

    Parameters
    ----------
    values : ndarray
        Nominal.
    lows : ndarray
        At the low end of tolerance.
    floors : ndarray
        Least sum of lows at which the part bears its share; -inf: any, inf: none.
    tiers : ndarray of int
        Number of the part's tolerance, the widest last.
    counts : ndarray of int
        How many there are of it.
    """

    values: FloatArray
    lows: FloatArray
    floors: FloatArray
    tiers: IntArray
    counts: IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Between which limits a sum must lie.

    Parameters
    ----------
    lowest, highest : ndarray, shape (tiers,)
        Of the nominal sum, by the widest tier used.
    floor, ceiling : float
        Of the sum at the low end of tolerance, and of that at the high end.
    """

    lowest: FloatArray
    highest: FloatArray
    floor: float = -np.inf
    ceiling: float = np.inf


@dataclass(slots=True)
class _Pool:
    """Sums of parts of lower rank, sorted: of those with the same tolerances.

    The low end of such a sum lies between `least_ratio` and `most_ratio` times its nominal value.
    `codes` are numbers that stand for the members of each. Where sums of any rank are in it,
    `below` says of every rank and position how many before the position are of a lower rank.
    """

    tier: int
    least_ratio: float
    most_ratio: float
    sums: FloatArray
    lows: FloatArray
    codes: IntArray
    below: NDArray[np.int32] | None = None

    def add(self, sums: FloatArray, lows: FloatArray, codes: IntArray) -> None:
        """Take in further sums."""
        order = np.argsort(np.concatenate([self.sums, sums]), kind="stable")
        self.sums = np.concatenate([self.sums, sums])[order]
        self.lows = np.concatenate([self.lows, lows])[order]
        self.codes = np.concatenate([self.codes, codes])[order]

    def empty(self) -> None:
        """Let all sums go."""
        self.sums, self.lows, self.codes = self.sums[:0], self.lows[:0], self.codes[:0]


@dataclass(slots=True)
class _Pools:
    """A large pool that is seldom sorted anew, and a small one that takes in what comes."""

    large: _Pool
    small: _Pool

    def add(self, sums: FloatArray, lows: FloatArray, codes: IntArray) -> None:
        """Take in further sums."""
        self.small.add(sums, lows, codes)
        if self.small.sums.size > SMALL:
            self.large.add(self.small.sums, self.small.lows, self.small.codes)
            self.small.empty()


def count(stock: Stock, window: Window, size: int) -> int:
    """How many combinations of `size` parts fit.

    Parameters
    ----------
    stock : Stock
    window : Window
    size : int
        1 to `MAX_PARTS`.

    Returns
    -------
    int
    """
    return sum(number for number, _ in _fitting(stock, window, size, listed=False))


def combinations(stock: Stock, window: Window, size: int) -> IntArray:
    """All combinations of `size` parts that fit.

    Parameters
    ----------
    stock, window, size
        As in `count`, which tells beforehand how many they are.

    Returns
    -------
    members : ndarray of int, shape (combinations, size)
        Positions in the stock; one that is used twice stands twice.
    """
    result = [members for _, members in _fitting(stock, window, size, listed=True)]
    return np.concatenate([np.empty((0, size), dtype=np.intp), *result])


def _fitting(
    stock: Stock, window: Window, size: int, *, listed: bool
) -> Iterator[tuple[int, IntArray]]:
    """Numbers of combinations and, if asked for, the combinations, in pieces."""
    stock = replace(stock, floors=np.maximum(stock.floors, window.floor))
    reach = min(np.max(window.highest, initial=-np.inf), window.ceiling)
    able = (stock.floors <= reach) & (stock.values <= reach) & (stock.counts > 0)
    rank = np.flatnonzero(able)
    # by floors: the last part of a combination then has the highest floor of all
    rank = rank[np.argsort(stock.floors[rank], kind="stable")]
    ranked = stock.rows(rank)
    for blocks in _blocks(size):
        if len(blocks) < MAX_PARTS:
            search = _few if len(blocks) <= _FIXED else _three
            pieces = search(ranked, window, blocks, listed)
        else:
            pieces = _four(ranked, window, listed)
        for number, members in pieces:
            yield number, rank[np.repeat(members, blocks, axis=1)] if listed else members


def _blocks(size: int) -> Iterator[tuple[int, ...]]:
    """How often each of the different parts is used, lowest rank first.

    Examples
    --------
    >>> list(_blocks(3))
    [(3,), (1, 2), (2, 1), (1, 1, 1)]
    """
    yield (size,)
    for last in range(size - 1, 0, -1):
        for before in _blocks(size - last):
            yield (*before, last)


def _few(
    stock: Stock, window: Window, blocks: tuple[int, ...], listed: bool
) -> Iterator[tuple[int, IntArray]]:
    """One part, or two different ones, each used as often as `blocks` says."""
    every = np.arange(stock.values.size)
    if len(blocks) == 1:
        members = every[:, None]
    else:
        first, second = np.triu_indices(every.size, 1)
        members = np.stack([first, second], axis=1)
    times = np.array(blocks)
    sums = stock.values[members] @ times
    tiers = stock.tiers[members].max(axis=1, initial=0)
    lows = stock.lows[members] @ times
    fits = (
        (sums >= window.lowest[tiers])
        & (sums <= window.highest[tiers])
        & (lows >= stock.floors[members].max(axis=1, initial=-np.inf))
        & (2.0 * sums - lows <= window.ceiling)
        & np.all(stock.counts[members] >= times, axis=1)
    )
    yield int(fits.sum()), members[fits] if listed else members[:0]


def _three(
    stock: Stock, window: Window, blocks: tuple[int, ...], listed: bool
) -> Iterator[tuple[int, IntArray]]:
    """Three different parts: all pairs of the last two at once, the first looked up."""
    free, before, last = blocks
    every = np.arange(stock.values.size)
    k, above = np.triu_indices(every.size, 1)
    enough = (stock.counts[k] >= before) & (stock.counts[above] >= last)
    k, above = k[enough], above[enough]
    for tier in np.unique(stock.tiers):
        mine = every[(stock.tiers == tier) & (stock.counts >= free)]
        if mine.size:
            pool = _new_pool(stock, mine[:1], int(tier))
            pool.add(free * stock.values[mine], free * stock.lows[mine], mine)
            pool.below = np.zeros((every.size, mine.size + 1), dtype=np.int32)
            np.cumsum(pool.codes < every[:, None], axis=1, out=pool.below[:, 1:])
            for piece in np.array_split(np.arange(k.size), 1 + k.size // PAIRS):
                fixed = _Fixed(k=k[piece], before=before, above=above[piece], last=last)
                number, codes, upper = _look_up(stock, window, pool, fixed, listed)
                yield number, np.column_stack([codes, upper])


def _four(stock: Stock, window: Window, listed: bool) -> Iterator[tuple[int, IntArray]]:
    """Four different parts: the last two fixed, the others looked up."""
    pools: dict[tuple[int, int], _Pools] = {}
    size = stock.values.size
    for k in range(size):
        above = np.arange(k + 1, size)
        fixed = _Fixed(k=np.full(above.size, k), before=1, above=above, last=1)
        for pool in (each for both in pools.values() for each in (both.large, both.small)):
            if pool.sums.size:
                number, codes, upper = _look_up(stock, window, pool, fixed, listed)
                yield number, np.column_stack([codes // size, codes % size, upper])
        _widen(pools, stock, k)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fixed:
    """The last two parts of combinations, arrays of one shape, and how often each is used."""

    k: IntArray
    before: int
    above: IntArray
    last: int


def _widen(pools: dict[tuple[int, int], _Pools], stock: Stock, k: int) -> None:
    """Put into the pools the sums of pairs in which part `k` is the second."""
    for tier in np.unique(stock.tiers[:k]):
        first = np.flatnonzero(stock.tiers[:k] == tier)
        key = (int(tier), int(stock.tiers[k]))
        if key not in pools:
            members = np.array([first[0], k])
            large, small = (_new_pool(stock, members, max(key)) for _ in range(2))
            pools[key] = _Pools(large=large, small=small)
        pools[key].add(
            stock.values[first] + stock.values[k],
            stock.lows[first] + stock.lows[k],
            first * stock.values.size + k,
        )


def _new_pool(stock: Stock, members: IntArray, tier: int) -> _Pool:
    """An empty one for sums of parts with the tolerances of some."""
    ratios = stock.lows[members] / stock.values[members]
    return _Pool(
        tier=tier,
        least_ratio=float(ratios.min()),
        most_ratio=float(ratios.max()),
        sums=np.empty(0),
        lows=np.empty(0),
        codes=np.empty(0, dtype=np.intp),
    )


def _look_up(
    stock: Stock, window: Window, pool: _Pool, fixed: _Fixed, listed: bool
) -> tuple[int, IntArray, IntArray]:
    """Which sums of the pool fit with parts `k` and `above`: number, codes and these two."""
    k, before, above, last = fixed.k, fixed.before, fixed.above, fixed.last
    sums = before * stock.values[k] + last * stock.values[above]
    lows = before * stock.lows[k] + last * stock.lows[above]
    floors = stock.floors[above] - lows
    ceilings = window.ceiling - (2.0 * sums - lows)
    tiers = np.maximum(np.maximum(stock.tiers[k], stock.tiers[above]), pool.tier)
    lowest, highest = window.lowest[tiers] - sums, window.highest[tiers] - sums

    def starts(low_ratio: float, hair: float) -> IntArray:
        least = np.maximum(lowest, floors / low_ratio * hair)
        return np.searchsorted(pool.sums, least)

    def stops(low_ratio: float, hair: float) -> IntArray:
        most = np.minimum(highest, ceilings / (2.0 - low_ratio) / hair)
        return np.searchsorted(pool.sums, most, side="right")

    first = starts(pool.most_ratio, _HAIR)
    stop = np.maximum(stops(pool.most_ratio, _HAIR), first)
    sure, until = stop, stop
    if not listed:
        # between `sure` and `until` whatever the tolerances; below and above, look one by one
        sure = np.clip(starts(pool.least_ratio, 1.0 / _HAIR), first, stop)
        until = np.clip(stops(pool.least_ratio, 1.0 / _HAIR), sure, stop)
    query, index = (
        np.concatenate(both)
        for both in zip(_spread(first, sure), _spread(until, stop), strict=True)
    )
    low, high = pool.lows[index], 2.0 * pool.sums[index] - pool.lows[index]
    fits = (low >= floors[query]) & (high <= ceilings[query])
    counted = until - sure
    if pool.below is not None:
        fits &= pool.codes[index] < k[query]
        counted = pool.below[k, until] - pool.below[k, sure]
    query, index = query[fits], index[fits]
    upper = np.stack([k[query], above[query]], axis=1)
    return int(counted.sum()) + query.size, pool.codes[index], upper


def _spread(start: IntArray, stop: IntArray) -> tuple[IntArray, IntArray]:
    """All positions of some slices, and which slice each belongs to."""
    sizes = stop - start
    query = np.repeat(np.arange(start.size), sizes)
    offset = np.arange(query.size) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    return query, np.repeat(start, sizes) + offset
