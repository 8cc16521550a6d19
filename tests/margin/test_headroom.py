"""Headroom: lock is there just inside and gone just outside, and nothing was skipped between."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.diagnosis.boards import RESISTORS, TEXTS, board, controlled, edited
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import stack
from zcd.margin.headroom import WEAKENINGS, Headroom, headrooms, weak_conditions
from zcd.margin.headroom import weakened as weaken
from zcd.sync.lock import Lock, lock_of

FloatArray = NDArray[np.float64]

INSIDE, OUTSIDE = 0.999, 1.001
SCAN = np.geomspace(0.05, 60.0, 121)


def weakened(found: Board, conditions: Conditions, name: str, factors: FloatArray) -> Lock:
    """Lock of a board with one quantity weakened by each of some factors."""
    circuit = stack([build_circuit(found, conditions)] * factors.size)
    return lock_of(weaken(circuit, found, name, factors), found)


@cache
def of(name: str, weak: bool) -> dict[str, Headroom]:
    """Headrooms of a board, at nominal or under the weak conditions."""
    result = board(name)
    return headrooms(result, [weak_conditions(result) if weak else Conditions()])[0]


@pytest.mark.parametrize("weak", [False, True], ids=["typical", "weak"])
@pytest.mark.parametrize("quantity", list(WEAKENINGS))
@pytest.mark.parametrize("name", ["half-wave", "bridge", "two-led", "joint capacitor"])
def test_limit_is_exact(name: str, quantity: str, weak: bool) -> None:
    """Lock 0.1 % inside, none 0.1 % outside, and the rule named is one that fails there."""
    result = board(name)
    headroom = of(name, weak)[quantity]
    assert np.isfinite(headroom.factor_ratio)
    assert headroom.locks is (headroom.factor_ratio >= 1.0)
    conditions = weak_conditions(result) if weak else Conditions()
    lock = weakened(
        result, conditions, quantity, headroom.factor_ratio * np.array([INSIDE, OUTSIDE])
    )
    assert list(lock.locks) == [True, False]
    assert headroom.rule == lock.failed_rule(1)


@pytest.mark.parametrize("quantity", list(WEAKENINGS))
@pytest.mark.parametrize("name", ["half-wave", "bridge", "two-led", "emitter follower"])
def test_brute_force_scan_finds_the_same_limit(name: str, quantity: str) -> None:
    """From 1 upwards, the first factor of a scan without lock is the first beyond the headroom."""
    factors = SCAN[SCAN >= 1.0]
    lock = weakened(board(name), Conditions(), quantity, factors)
    lost = factors[~lock.locks][0]
    limit = of(name, False)[quantity].factor_ratio
    assert lost / (factors[1] / factors[0]) <= limit * OUTSIDE
    assert limit <= lost * OUTSIDE


def test_chain_and_mains_headroom_go_together() -> None:
    """Twice the chain is half the current, as half the mains is, less what the drops take.

    At half the mains the diode and LED (about 1.6 V) and the time to reach them count twice;
    with a peak of 325 V that is a few percent.
    """
    result = of("half-wave", False)
    assert 1.0 < result["chain"].factor_ratio / result["mains"].factor_ratio < 1.06


def test_every_case_gets_its_own_answer() -> None:
    """Several sets of conditions in one call are those of a call each."""
    result = board()
    cases = [Conditions(), weak_conditions(result), Conditions(temperature_degc=60.0)]
    together = headrooms(result, cases)
    for case, answer in zip(cases, together, strict=True):
        alone = headrooms(result, [case])[0]
        for name in WEAKENINGS:
            assert_allclose(answer[name].factor_ratio, alone[name].factor_ratio, rtol=2e-4)


def test_board_far_from_lock_says_how_far() -> None:
    """A chain ten times too high has less than 1 of everything."""
    result = headrooms(edited(RESISTORS, '["1M", "1M5"]'), [Conditions()])[0]
    for headroom in result.values():
        assert not headroom.locks
        assert headroom.factor_ratio < 1.0
    factors = np.array([INSIDE, OUTSIDE]) * result["chain"].factor_ratio
    high = edited(RESISTORS, '["1M", "1M5"]')
    assert list(weakened(high, Conditions(), "chain", factors).locks) == [True, False]


@pytest.mark.parametrize("quantity", list(WEAKENINGS))
def test_board_that_is_too_strong_says_how_far(quantity: str) -> None:
    """A pull-up too large for twice a period: less of anything gives lock, from 0.1 % on."""
    result = edited('"15k"', '"180k"', "bridge")
    headroom = headrooms(result, [Conditions()])[0][quantity]
    assert not headroom.locks
    assert headroom.factor_ratio > 1.0
    factors = headroom.factor_ratio * np.array([INSIDE, OUTSIDE])
    lock = weakened(result, Conditions(), quantity, factors)
    assert list(lock.locks) == [False, True]
    assert headroom.rule == lock.failed_rule(0)
    nearer = np.linspace(1.0, INSIDE * headroom.factor_ratio, 40)
    assert not np.any(weakened(result, Conditions(), quantity, nearer).locks)


@pytest.mark.parametrize(
    ("locks", "factor", "limit", "reached"),
    [
        (True, 2.0, 2.0, True),
        (True, 1.99, 2.0, False),
        (True, np.inf, 2.0, True),
        (False, 0.5, 0.4, False),
        (False, 3.0, 2.0, False),
        (False, np.nan, 2.0, False),
    ],
)
def test_headroom_counts_only_with_lock(
    locks: bool, factor: float, limit: float, reached: bool
) -> None:
    """A part three times too strong has no headroom of 3."""
    assert Headroom(locks=locks, factor_ratio=factor, rule=None).reaches(limit) is reached


@pytest.mark.parametrize("quantity", list(WEAKENINGS))
@pytest.mark.parametrize(
    ("name", "keys", "weak"),
    [
        ("two-led", "", True),
        ("two-led", 'min_high_time = "2 ms"', False),
        ("bridge", 'min_high_time = "1 ms"', False),
    ],
)
def test_not_found_means_that_a_scan_finds_nothing(
    name: str, keys: str, weak: bool, quantity: str
) -> None:
    """nan is promised only where no value of the quantity gives lock."""
    result = controlled(keys, name) if keys else board(name)
    conditions = weak_conditions(result) if weak else Conditions()
    headroom = headrooms(result, [conditions])[0][quantity]
    lock = weakened(result, conditions, quantity, SCAN)
    if np.any(lock.locks):
        assert np.isfinite(headroom.factor_ratio), f"locks at factors {SCAN[lock.locks].round(2)}"
    else:
        assert np.isnan(headroom.factor_ratio)


def test_every_variant_has_headroom() -> None:
    """A finite or infinite factor above 0 for each board that locks at nominal."""
    for name in TEXTS:
        for headroom in of(name, False).values():
            assert headroom.locks
            assert headroom.factor_ratio > 1.0
