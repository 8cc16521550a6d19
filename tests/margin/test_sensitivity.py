"""Sensitivity of the headroom: against scipy, and against the headroom search."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from numpy.typing import NDArray
from scipy.stats import sobol_indices, uniform

from tests.diagnosis.boards import board, controlled
from zcd.circuit.build import Conditions, build_circuit
from zcd.margin.headroom import headrooms, weak_conditions
from zcd.margin.sensitivity import LADDER, LOG_TOLERANCE, log_headrooms, sensitivity_of
from zcd.margin.tolerances import Boards, draw, tolerances_of
from zcd.sync.lock import thresholds_of

FloatArray = NDArray[np.float64]


@pytest.mark.parametrize("remaining", [1.0, 0.5])
def test_headroom_is_that_of_the_search(remaining: float) -> None:
    """Nominal and weak board: the same factor as the search that ``zcd check`` shows."""
    whole = board()
    for conditions in (Conditions(remaining_ratio=remaining), weak_conditions(whole)):
        boards = Boards(circuit=build_circuit(whole, conditions), thresholds=thresholds_of(whole))
        (result,) = headrooms(whole, [conditions], worst=True)
        # edges of the coarser grid lie within microseconds, of some hundreds
        expected = np.log(result["ctr"].factor_ratio)
        assert_allclose(log_headrooms(boards, whole), expected, atol=LOG_TOLERANCE + 0.02)


def test_what_falls_short_has_a_negative_headroom() -> None:
    whole = controlled("max_offset = 0.0005")
    boards = draw(whole, [], np.empty((1, 0)))
    (result,) = headrooms(whole, [Conditions()], worst=True)
    assert result["ctr"].factor_ratio < 1.0
    assert_allclose(log_headrooms(boards, whole), np.log(result["ctr"].factor_ratio), atol=0.03)
    never = controlled("max_offset = 0.00001")
    assert_allclose(log_headrooms(draw(never, [], np.empty((1, 0))), never), LADDER[0])


def test_boards_far_from_the_others_are_found_too() -> None:
    """One board in sixteen is a pilot; the last ones lie far beyond what the pilots show."""
    whole = board()
    remaining = np.where(np.arange(40) > 35, 0.2, 1.0)
    boards = Boards(
        circuit=build_circuit(whole, Conditions(remaining_ratio=remaining)),
        thresholds=thresholds_of(whole),
    )
    result = log_headrooms(boards, whole)
    assert_allclose(np.ptp(result[:36]), 0.0, atol=2.0 * LOG_TOLERANCE)
    assert_allclose(result[36:], result[0] + np.log(0.2), atol=2.0 * LOG_TOLERANCE)


def test_shares_are_those_of_estimates_that_assume_nothing() -> None:
    """A usual board's own headroom, split by scipy from four times as many boards."""
    whole = board()
    names = ("CTR of OC1", "mains voltage", "temperature", "low threshold")
    few = [t for t in tolerances_of(whole) if t.name in names]
    result = sensitivity_of(whole, few)

    def headroom(shares: FloatArray) -> FloatArray:
        return log_headrooms(draw(whole, few, shares.T), whole)

    even = [uniform()] * len(few)
    asked = sobol_indices(func=headroom, n=128, dists=even, rng=np.random.default_rng(1))
    interval = asked.bootstrap(n_resamples=400).total_order.confidence_interval
    for d, tolerance in enumerate(few):
        own = result.names.index(tolerance.name)
        assert result.total_low[own] <= interval.high[d]
        assert result.total_high[own] >= interval.low[d]
    # and far surer, for fewer boards
    reach = result.total_high - result.total_low
    assert np.max(reach) < 0.5 * np.max(interval.high - interval.low)


def test_every_headroom_the_same_is_decided_by_nothing() -> None:
    whole = controlled("max_offset = 0.00001")
    few = [t for t in tolerances_of(whole) if t.name in ("R1", "R2")]
    result = sensitivity_of(whole, few, boards=64)
    assert_array_equal([result.total, result.total_high], 0.0)
    assert result.headroom_low_ratio == result.headroom_high_ratio


def test_ctr_decides_a_usual_board() -> None:
    """A grade two to one wide, one to one in the headroom; a chain of 5 % resistors is little."""
    whole = board()
    names = ("CTR of OC1", "R1", "R2", "mains voltage")
    few = [t for t in tolerances_of(whole) if t.name in names]
    result = sensitivity_of(whole, few, boards=64)
    assert result.names[:2] == ("CTR of OC1", "mains voltage")
    assert result.total[0] > 0.7
    assert result.headroom_low_ratio < result.headroom_middle_ratio < result.headroom_high_ratio
