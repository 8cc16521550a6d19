"""Lock rules: margins by hand, their order, and how they behave along a sweep."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.boards import VARIANTS, board, controller, pin_wave
from tests.sync.test_pulses import BAND_S, SUPPLY_V, TIME_S, trapezoids
from zcd.board.model import Board, Topology
from zcd.circuit.build import Conditions, build_circuit
from zcd.sync.lock import RULES, Lock, expected_pulses, judge, lock_of

FloatArray = NDArray[np.float64]

GOOD = trapezoids((0.001, 0.009))


def judged(pin: FloatArray, whole: Board | None = None, frequency_hz: float = 50.0) -> Lock:
    """Verdict by guaranteed levels, at the nominal frequency or stretched to another."""
    solution = pin_wave(TIME_S * 50.0 / frequency_hz, pin, frequency_hz)
    return judge(solution, whole or board(), worst=True)


def margin(lock: Lock, rule: str) -> float:
    return float(lock.margins[0, RULES.index(rule)])


def test_good_pulses_lock() -> None:
    lock = judged(GOOD)
    assert lock.locks.tolist() == [True]
    assert lock.failed_rule(0) is None
    assert lock.margin[0] == lock.margins.min() > 0


def test_margins_by_hand() -> None:
    """One 8 ms pulse in 20 ms, 1.06 ms late, 120 us in the band, from 5 V to nothing."""
    lock = judged(GOOD)
    assert_allclose(margin(lock, "pin never low"), 1.0)
    assert_allclose(margin(lock, "pin never high"), 1.0)
    assert_allclose(margin(lock, "low time"), (8e-3 - BAND_S) / 200e-6 - 1, rtol=1e-6)
    assert_allclose(margin(lock, "high time"), (12e-3 - BAND_S) / 200e-6 - 1, rtol=1e-6)
    assert_allclose(margin(lock, "transition"), 1 - BAND_S / 1e-3, rtol=1e-6)
    assert_allclose(margin(lock, "edge offset"), 1 - 1.06e-3 / 2e-3, rtol=1e-6)
    assert_allclose(margin(lock, "period"), 1.0, atol=1e-9)


@pytest.mark.parametrize(
    ("pin", "rule"),
    [
        (trapezoids((0.001, 0.009), bottom_v=1.5), "pin never low"),
        (0.7 * GOOD, "pin never high"),
        (trapezoids((0.001, 0.00115), ramp_s=50e-6), "low time"),
        (trapezoids((0.0005, 0.02035), ramp_s=50e-6), "high time"),
        (trapezoids((0.0025, 0.009)), "edge offset"),
        (trapezoids((0.001, 0.009), (0.0105, 0.019)), "pulse count"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_each_rule_names_itself(pin: FloatArray, rule: str) -> None:
    lock = judged(pin)
    assert lock.locks.tolist() == [False]
    assert lock.failed_rule(0) == rule


@pytest.mark.parametrize(
    ("pin", "rule", "expected"),
    [
        (trapezoids((0.001, 0.009), bottom_v=1.5), "pin never low", (1.6 - 1.5) / 1.6),
        (0.75 * GOOD, "pin never high", (3.75 - 3.4) / (SUPPLY_V - 3.4)),
    ],
    ids=["never low", "never high"],
)
def test_usual_board_has_a_typical_input(pin: FloatArray, rule: str, expected: float) -> None:
    """Guaranteed 1 and 4 V, up to 40 % of the way inward: in the middle of that, 1.6 and 3.4 V."""
    solution = pin_wave(TIME_S, np.array([pin, pin, GOOD]), 50.0)
    lock = judge(solution, board(), worst=np.array([True, False, False]))
    assert [lock.failed_rule(row) for row in range(3)] == [rule, None, None]
    assert lock.by_typical.tolist() == [False, True, False]
    assert_allclose(lock.margins[1, RULES.index(rule)], expected, rtol=1e-6)
    assert lock.pulses.count.tolist() == [0, 1, 1]
    # 200 us for 5 V: where the pin passes the guaranteed levels, the edge is told by these
    sure = judged(GOOD).pulses
    assert_allclose(lock.pulses.fall_s[2], sure.fall_s[0])
    assert_allclose(lock.pulses.low_time_s[2], sure.low_time_s[0])


def test_slow_edge_fails_the_transition() -> None:
    lock = judged(GOOD, board(controller=controller(max_transition_s=100e-6)))
    assert lock.failed_rule(0) == "transition"
    assert_allclose(lock.margin, 1 - BAND_S / 100e-6, rtol=1e-6)


def test_edge_that_counts_is_the_one_the_controller_takes() -> None:
    """Falls 1.06 ms late, rises 2.44 ms early."""
    pin = trapezoids((0.001, 0.0075))
    assert judged(pin, board(controller=controller(edge="falling"))).locks.all()
    lock = judged(pin, board(controller=controller(edge="rising")))
    assert lock.failed_rule(0) == "edge offset"
    assert_allclose(margin(lock, "edge offset"), 1 - 2.44e-3 / 2e-3, rtol=1e-6)


def test_first_broken_rule_in_order_is_named() -> None:
    """A pulse too short and too late, and one where the pin does not even go low."""
    both = judged(trapezoids((0.0035, 0.00365), ramp_s=50e-6))
    assert both.failed_rule(0) == "low time"
    assert margin(both, "edge offset") < 0
    assert RULES.index("pin never low") < RULES.index("low time") < RULES.index("edge offset")


def test_limit_itself_still_locks() -> None:
    """What a margin of nothing means: the limit is reached and not passed."""
    lock = replace(judged(GOOD), margins=np.zeros((1, len(RULES))))
    assert lock.locks.tolist() == [True]
    assert lock.failed_rule(0) is None


def test_rules_about_pulses_fail_without_pulses() -> None:
    """By one and by as much more as the pin is short of a threshold."""
    lock = judged(trapezoids((0.001, 0.009), bottom_v=1.5))
    assert_allclose(margin(lock, "pin never low"), -0.5)
    assert_allclose(margin(lock, "pulse count"), -0.5)
    assert_allclose(lock.margins[0, 3:], -1.5)


@pytest.mark.parametrize(
    ("frequency_hz", "locks"), [(47.5, True), (52.5, True), (46.0, False), (54.0, False)]
)
def test_frequency_may_be_off_by_the_period_tolerance(frequency_hz: float, locks: bool) -> None:
    """6 % of the nominal period."""
    lock = judged(GOOD, frequency_hz=frequency_hz)
    assert lock.locks.tolist() == [locks]
    assert lock.failed_rule(0) == (None if locks else "period")
    assert_allclose(margin(lock, "period"), 1 - abs(50 / frequency_hz - 1) / 0.06, rtol=1e-6)


@pytest.mark.parametrize(
    ("topology", "expected"),
    [
        (Topology.HALF_WAVE, 1),
        (Topology.CLAMPED, 1),
        (Topology.HALF_WAVE_CLAMPED, 1),
        (Topology.BRIDGE, 2),
        (Topology.TWO_LED, 2),
    ],
)
def test_pulses_a_period(topology: Topology, expected: int) -> None:
    assert expected_pulses(board(topology=topology)) == expected


def test_half_of_a_bridges_pulses_is_the_wrong_count() -> None:
    bridge = board(topology=Topology.BRIDGE)
    assert judged(GOOD, bridge).failed_rule(0) == "pulse count"
    assert judged(trapezoids((0.001, 0.009), (0.011, 0.019)), bridge).locks.all()


def test_rows_are_judged_one_by_one() -> None:
    lock = judged(np.array([GOOD, np.full(TIME_S.shape, SUPPLY_V), 0.7 * GOOD]))
    assert lock.locks.tolist() == [True, False, False]
    assert [lock.failed_rule(row) for row in range(3)] == [None, "pin never low", "pin never high"]


@pytest.mark.parametrize("name", VARIANTS)
def test_every_variant_locks_with_a_tolerant_controller(name: str) -> None:
    """An invented controller that takes what these invented boards give."""
    rules = replace(VARIANTS[name].controller, max_transition_s=3e-3, max_offset_s=3e-3)
    whole = replace(VARIANTS[name], controller=rules)
    lock = lock_of(build_circuit(whole), whole)
    assert lock.pulses.count.tolist() == [expected_pulses(whole)]
    assert lock.locks.all(), lock.failed_rule(0)


def sweep(**changes: Any) -> Lock:
    """A half-wave board as its optocoupler ages to nothing."""
    whole = board(**changes)
    remaining = np.geomspace(1.0, 0.05, 400)
    return lock_of(build_circuit(whole, Conditions(remaining_ratio=remaining)), whole)


def test_margin_is_continuous_as_the_optocoupler_ages() -> None:
    """Steps of 0.75 % in CTR move the smallest margin by little, through zero and beyond."""
    lock = sweep()
    steps = np.diff(lock.margin)
    assert lock.locks[0]
    assert not lock.locks[-1]
    assert np.max(np.abs(steps)) < 0.1
    sign_changes = np.count_nonzero(np.diff(np.sign(lock.margin)))
    assert sign_changes == 1


def test_lock_is_lost_once_as_the_optocoupler_ages() -> None:
    locks = sweep(controller=controller(max_transition_s=5e-3, max_offset_s=5e-3)).locks
    assert np.count_nonzero(np.diff(locks.astype(int))) == 1


def test_what_nobody_states_is_an_expectation() -> None:
    """A controller that nobody has read: only the pin's own function loses the lock."""
    late = trapezoids((0.0025, 0.009))
    unread = board(controller=controller(stated=frozenset()))
    lock = judged(late, unread)
    assert lock.locks.all()
    assert lock.unmet_expectations(0) == ("edge offset",)
    assert_allclose(margin(lock, "edge offset"), margin(judged(late), "edge offset"))
    assert judged(trapezoids((0.001, 0.009), bottom_v=1.5), unread).failed_rule(0) == RULES[0]
    one_stated = board(controller=controller(stated=frozenset({"max_offset"})))
    assert judged(late, one_stated).failed_rule(0) == "edge offset"


@pytest.mark.parametrize(
    ("pulses", "octaves"),
    [
        (((0.001, 0.009),), 0.0),
        (((0.0, 0.002), (0.005, 0.007), (0.01, 0.012), (0.015, 0.017)), 2.0),
    ],
)
def test_pulse_count_by_hand(pulses: tuple[tuple[float, float], ...], octaves: float) -> None:
    """1 less twice the octaves by which the interval is off, no lower than -1."""
    lock = judged(trapezoids(*pulses))
    assert_allclose(margin(lock, "pulse count"), max(1.0 - 2.0 * octaves, -1.0), atol=1e-6)


def test_no_least_time_asks_for_none() -> None:
    """A least time of nothing is met by every pulse that is there, and warns of nothing."""
    free = board(controller=controller(min_low_time_s=0.0, min_high_time_s=0.0))
    lock = judged(GOOD, free)
    assert np.all(np.isfinite(lock.margins))
    assert lock.locks[0]
    never_low = judged(trapezoids((0.001, 0.009), bottom_v=4.0), free)
    assert margin(never_low, "low time") < 0.0
