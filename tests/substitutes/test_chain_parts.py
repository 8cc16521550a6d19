"""The search of a drawer against trying every combination out."""

from __future__ import annotations

from collections import Counter
from functools import cache
from itertools import combinations_with_replacement
from math import isnan

import pytest

from tests.diagnosis.boards import board, controlled
from zcd.board.drawer import Drawer, parse_drawer, series_drawer
from zcd.board.files import board_from_dict
from zcd.margin.check import nominal_check
from zcd.margin.corners import find_corners
from zcd.margin.spread import AT_CORNER
from zcd.margin.tolerances import tolerances_of
from zcd.substitutes.chain_parts import SHOWN, ChainFits, chain_fits
from zcd.substitutes.compare import verdicts, with_corners
from zcd.substitutes.series_string import SeriesString, series_string, with_parts
from zcd.substitutes.subset_sum import MAX_PARTS

MESSY = parse_drawer(
    """
    resistors = [
        {value = "39k", style = "1206"},
        {value = "62k", style = "1206", tolerance = "1 %", count = 2},
        {value = "110k", style = "1/4 W"},
        {value = "150k", style = "1 W", tolerance = "2 %", count = 1},
        {value = "2k2", style = "0603"},
    ]
    """
)
"""Different styles and tolerances, some parts few: nothing about it is regular."""
FEW = parse_drawer(
    'resistors = [{values = ["62k", "150k"], style = "1206", tolerance = "1 %", count = 1}, "110k"]'
)
DRAWERS = {"messy": MESSY, "few": FEW}
WHERE: dict[str, tuple[str, ...]] = {
    "half-wave": (),
    "half-wave, one failed": ("R2",),
    "clamped": (),
    "half-wave-clamped": (),
    "bridge": (),
    "two-led": (),
    "parallel": ("R3", "R4"),
    "across the LED": (),
    "joint capacitor": ("R2",),
    "emitter follower": (),
    "switched": (),
}
"""Which resistors are replaced, by board."""


def place_of(name: str) -> SeriesString:
    return series_string(board(name.partition(",")[0]), WHERE[name])


def tried_out(place: SeriesString, drawer: Drawer) -> dict[tuple[int, ...], bool]:
    """Whether every combination that the counts in the drawer allow holds."""
    stock = drawer.resistors
    rows = [
        row
        for size in range(1, MAX_PARTS + 1)
        for row in combinations_with_replacement(range(len(stock)), size)
        if all(stock[k].count >= n for k, n in Counter(row).items())
    ]
    boards = [with_parts(place, [stock[k].part for k in row]) for row in rows]
    judged = with_corners(verdicts(boards))
    return {row: verdict.passes for row, verdict in zip(rows, judged, strict=True)}


@cache
def searched(name: str, drawer: str) -> ChainFits:
    """The search, once for all tests that look at it."""
    return chain_fits(place_of(name), DRAWERS[drawer].resistors)


def found_counts(tried: dict[tuple[int, ...], bool]) -> tuple[int, ...]:
    by_size = Counter(len(row) for row, good in tried.items() if good)
    return tuple(by_size[size] for size in range(1, MAX_PARTS + 1))


@pytest.mark.parametrize(
    ("name", "drawer"),
    [
        ("half-wave, one failed", "few"),
        *(pytest.param(name, "messy", marks=pytest.mark.slow) for name in WHERE),
    ],
)
def test_no_combination_is_lost_or_gained(name: str, drawer: str) -> None:
    tried = tried_out(place_of(name), DRAWERS[drawer])
    result = searched(name, drawer)
    assert result.counts == found_counts(tried)
    assert bool(result.best) is any(tried.values())
    assert all(fit.verdict.passes and fit.verdict.margin_ratio >= 1.0 for fit in result.best)
    for miss in result.misses:
        reason = miss.verdict.tightest
        assert not reason.passes
        assert reason.remark or not isnan(reason.limit)


def test_a_combination_that_is_shown_says_what_check_says() -> None:
    best = searched("half-wave, one failed", "few").best[0]
    checked = nominal_check(best.verdict.board)
    assert checked.keeps_nominal_rules
    corners = find_corners(checked.board, tolerances_of(checked.board))
    assert corners.margins.min() >= 0.0
    for ours, theirs in zip(best.verdict.rules, checked.rules, strict=True):
        assert ours.name == theirs.name
        assert ours.value == pytest.approx(theirs.value, rel=2e-4, nan_ok=True)
        assert ours.limit == pytest.approx(theirs.limit, nan_ok=True)


@pytest.mark.slow
@pytest.mark.parametrize("name", WHERE)
def test_every_combination_that_is_shown_passes_the_check(name: str) -> None:
    """Each by itself, as `zcd check` does it: its rules, and its own worst corners."""
    for fit in searched(name, "messy").best:
        result = fit.verdict.board
        assert nominal_check(result).keeps_nominal_rules
        assert find_corners(result, tolerances_of(result)).margins.min() >= 0.0


def test_a_drawer_without_a_solution_says_so() -> None:
    """Ten ohms and ten megohms: nothing of that makes a chain."""
    drawer = parse_drawer('resistors = ["10", "10M"]')
    result = chain_fits(place_of("half-wave"), drawer.resistors)
    assert result.counts == (0, 0, 0, 0)
    assert result.best == ()
    assert result.misses


def test_a_board_that_no_total_can_save_says_so() -> None:
    place = series_string(controlled('max_offset = "1 us"'))
    result = chain_fits(place, parse_drawer('resistors = ["91k"]').resistors)
    assert result.counts == (0, 0, 0, 0)
    assert not result.ranges.nearest.passes


def test_where_no_corner_holds_the_misses_are_still_the_nearest() -> None:
    """A bridge whose pin never comes up at the worst corner, whatever the chain."""
    result = chain_fits(place_of("bridge"), parse_drawer('resistors = ["1k", "82k"]').resistors)
    assert result.true_ranges == ()
    assert any(fit.verdict.tightest.name.startswith(AT_CORNER) for fit in result.misses)


def test_of_each_number_of_parts_that_will_do_the_best_is_shown() -> None:
    """Also where the best margin is reached between two of the totals that are looked at."""
    of_board = board_from_dict(
        {
            "mains": "230 V 50 Hz", "feed": "switched", "rectifier": "1N4007",
            "optocoupler": "817 C", "output": {"pull_up": "47k", "supply": "5 V"},
            "chain": {"resistors": ["91k", "160k"], "style": "1206"},
        }
    )  # fmt: skip
    result = chain_fits(series_string(of_board, ["R2"]), series_drawer("E24", "1206").resistors)
    shown = {len(fit.parts) for fit in result.best}
    assert shown == {size for size, count in enumerate(result.counts, 1) if count}


def test_a_like_part_is_offered_first_of_all() -> None:
    """One part of the printed value, though others, and rows of others, have more margin."""
    drawer = parse_drawer(
        'resistors = [{values = ["51k", "75k", "110k", "130k", "150k"], style = "1206"}, '
        '{values = ["120k", "130k", "160k", "180k"], style = "1/2 W"}]'
    )
    place = place_of("half-wave, one failed")
    (old,) = place.replaced
    result = chain_fits(place, drawer.resistors)
    sizes = [len(fit.parts) for fit in result.best]
    assert sizes == sorted(sizes)
    assert set(sizes) == {size for size, count in enumerate(result.counts, 1) if count}
    alone = [fit for fit in result.best if len(fit.parts) == 1]
    assert any(fit.parts[0].resistance_ohm == old.resistance_ohm for fit in alone)
    for size in set(sizes):
        margins = [f.verdict.margin_ratio for f in result.best if len(f.parts) == size]
        assert margins == sorted(margins, reverse=True)
        assert len(margins) <= SHOWN + 1
