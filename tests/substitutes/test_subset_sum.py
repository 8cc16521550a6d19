"""Combinations by their sum: none lost, none counted twice."""

from __future__ import annotations

from collections import Counter
from itertools import combinations_with_replacement
from math import comb

import numpy as np
import pytest

from zcd.substitutes.subset_sum import MAX_PARTS, Stock, Window, combinations, count

SIZES = range(1, MAX_PARTS + 1)


def stock(seed: int, size: int, tolerances: tuple[float, ...]) -> Stock:
    """Parts over three decades, a third of them with no floor, some few in number."""
    random = np.random.default_rng(seed)
    values = np.round(10.0 ** random.uniform(3.0, 6.0, size))
    tiers = random.integers(0, len(tolerances), size)
    floors = np.where(random.random(size) < 0.3, -np.inf, values * random.uniform(0.8, 4.0, size))
    return Stock(
        values=values,
        lows=values * (1.0 - np.array(tolerances)[tiers]),
        floors=floors,
        tiers=tiers,
        counts=random.integers(0, MAX_PARTS + 1, size),
    )


def window(tiers: int) -> Window:
    """The wider the tolerance, the narrower; floor and ceiling cut further."""
    return Window(
        lowest=np.full(tiers, 1e5),
        highest=6e5 * 0.95 ** np.arange(tiers),
        floor=1.1e5,
        ceiling=5.4e5,
    )


def tried_out(parts: Stock, wanted: Window, size: int) -> set[tuple[int, ...]]:
    result = set()
    for row in combinations_with_replacement(range(parts.values.size), size):
        members = list(row)
        tier = parts.tiers[members].max()
        total, low = parts.values[members].sum(), parts.lows[members].sum()
        if (
            all(n <= parts.counts[k] for k, n in Counter(row).items())
            and wanted.lowest[tier] <= total <= wanted.highest[tier]
            and low >= max(parts.floors[members].max(), wanted.floor)
            and 2.0 * total - low <= wanted.ceiling
        ):
            result.add(row)
    return result


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("tolerances", [(0.05,), (0.01, 0.05), (0.01, 0.02, 0.05)])
def test_all_that_fit_are_found_once(tolerances: tuple[float, ...], size: int) -> None:
    for seed in range(5):
        parts, wanted = stock(seed, 13, tolerances), window(len(tolerances))
        tried = tried_out(parts, wanted, size)
        listed = [tuple(sorted(row)) for row in combinations(parts, wanted, size).tolist()]
        assert len(listed) == len(set(listed))
        assert set(listed) == tried
        assert count(parts, wanted, size) == len(tried)


@pytest.mark.parametrize("size", SIZES)
def test_without_limits_every_multiset_counts(size: int) -> None:
    """n + k - 1 over k: the number of multisets."""
    parts = stock(0, 40, (0.05,))
    free = Stock(
        values=parts.values,
        lows=parts.lows,
        floors=np.full(40, -np.inf),
        tiers=parts.tiers,
        counts=np.full(40, 9),
    )
    anything = Window(lowest=np.zeros(1), highest=np.array([1e12]))
    assert count(free, anything, size) == comb(40 + size - 1, size)


def test_nothing_fits_an_empty_stock_or_window() -> None:
    parts = stock(2, 8, (0.05,))
    none = Window(lowest=np.array([np.inf]), highest=np.array([-np.inf]))
    empty = parts.rows(np.empty(0, dtype=np.intp))
    for size in SIZES:
        assert count(parts, none, size) == count(empty, window(1), size) == 0
        assert combinations(empty, window(1), size).shape == (0, size)
