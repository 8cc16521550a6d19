"""The map's boundary is where the controller loses lock, at every mains voltage."""

from __future__ import annotations

import numpy as np
import pytest

from tests.diagnosis.boards import board, controlled, edited
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.margin.maps import LossMap, loss_map
from zcd.sync.lock import Lock, lock_of


def lock_at(found: Board, chart: LossMap, factor: float) -> Lock:
    """Lock of every point of the boundary, with the CTR multiplied by a factor."""
    conditions = Conditions(
        mains_rms_v=chart.mains_rms_v,
        remaining_ratio=np.nan_to_num(chart.boundary_ratio, nan=1.0) * factor,
    )
    return lock_of(build_circuit(found, conditions), found)


@pytest.mark.parametrize("name", ["half-wave", "bridge", "two-led", "emitter follower"])
def test_boundary_agrees_with_lock_on_both_sides(name: str) -> None:
    """0.2 % apart; nan where even a new part does not lock."""
    found = board(name)
    chart = loss_map(found, points=23)
    crosses = np.isfinite(chart.boundary_ratio) & (chart.boundary_ratio > chart.lowest_ratio)
    assert np.any(crosses)
    above, below = lock_at(found, chart, 1.002), lock_at(found, chart, 0.998)
    assert np.all(above.locks[crosses])
    assert not np.any(below.locks[crosses])
    for point in np.flatnonzero(crosses):
        assert chart.rules[point] == below.failed_rule(int(point))
    never = np.isnan(chart.boundary_ratio)
    assert not np.any(lock_at(found, chart, 1.0).locks[never])


def test_more_mains_needs_less_ctr() -> None:
    boundary = loss_map(board(), points=23).boundary_ratio
    assert np.all(np.diff(boundary[np.isfinite(boundary)]) < 0.0)


def test_too_strong_a_part_loses_lock_above_the_upper_boundary() -> None:
    """A pull-up too large for twice a period; 0.2 % apart, at every mains voltage."""
    found = edited('"15k"', '"47k"', "bridge")
    chart = loss_map(found, points=23)
    strong = np.isfinite(chart.upper_ratio)
    assert 0 < np.count_nonzero(strong) < strong.size
    assert np.all(chart.upper_ratio[strong] > chart.boundary_ratio[strong])
    mains, upper = chart.mains_rms_v[strong], chart.upper_ratio[strong]
    below, above = (
        lock_of(
            build_circuit(found, Conditions(mains_rms_v=mains, remaining_ratio=upper * factor)),
            found,
        )
        for factor in (0.998, 1.002)
    )
    assert np.all(below.locks)
    assert not np.any(above.locks)
    for row, point in enumerate(np.flatnonzero(strong)):
        assert chart.upper_rules[point] == above.failed_rule(row)


def test_no_upper_boundary_where_a_new_part_locks() -> None:
    """nan, and no rule, exactly where the upper end of the range locks or nothing does."""
    found = edited('"15k"', '"47k"', "bridge")
    chart = loss_map(found, points=23)
    new = Conditions(mains_rms_v=chart.mains_rms_v, remaining_ratio=chart.highest_ratio)
    locks = lock_of(build_circuit(found, new), found).locks
    none = np.isnan(chart.upper_ratio)
    assert np.array_equal(none, locks | np.isnan(chart.boundary_ratio))
    assert [k for k, rule in enumerate(chart.upper_rules) if rule is None] == list(
        np.flatnonzero(none)
    )
    assert np.all(np.isnan(loss_map(board(), points=5).upper_ratio))


def test_not_helped_means_that_a_scan_finds_nothing() -> None:
    """nan is promised only where nothing in the range of CTR helps."""
    found = controlled('min_high_time = "1 ms"', "bridge")
    chart = loss_map(found, points=9)
    left = np.geomspace(chart.lowest_ratio, chart.highest_ratio, 61)
    for mains, boundary in zip(chart.mains_rms_v, chart.boundary_ratio, strict=True):
        conditions = Conditions(mains_rms_v=float(mains), remaining_ratio=left)
        if np.any(lock_of(build_circuit(found, conditions), found).locks):
            assert np.isfinite(boundary), f"{mains} V"
