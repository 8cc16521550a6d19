"""The map's boundary is where the controller loses lock, at every mains voltage."""

from __future__ import annotations

import numpy as np
import pytest

from tests.diagnosis.boards import board, controlled
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


def test_not_helped_means_that_a_scan_finds_nothing() -> None:
    """nan is promised only where nothing in the range of CTR helps."""
    found = controlled('min_high_time = "1 ms"', "bridge")
    chart = loss_map(found, points=9)
    left = np.geomspace(chart.lowest_ratio, chart.highest_ratio, 61)
    for mains, boundary in zip(chart.mains_rms_v, chart.boundary_ratio, strict=True):
        conditions = Conditions(mains_rms_v=float(mains), remaining_ratio=left)
        if np.any(lock_of(build_circuit(found, conditions), found).locks):
            assert np.isfinite(boundary), f"{mains} V"
