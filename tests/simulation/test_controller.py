"""The state machine: its times, counts and flags, rule by rule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from zcd.board.appliance import default_appliance
from zcd.simulation.controller import FAN, SYNC, Controller, State

RULES = replace(
    default_appliance(50.0).supervision,
    supply_wait_s=0.5,
    relay_delay_s=0.3,
    lock_periods=10,
    loss_periods=3,
    run_up_s=2.0,
    target_rpm=900.0,
    sync_flag_s=3.0,
    fan_flag_s=10.0,
    retries=1,
    retry_pause_s=4.0,
)
STEP_S = 0.01


def drive(
    controller: Controller,
    good: Callable[[float], bool],
    rpm: Callable[[float], float],
    seconds: float,
) -> dict[State, list[float]]:
    """Times at which each state was entered."""
    entered: dict[State, list[float]] = {}
    was = None
    for k in range(round(seconds / STEP_S)):
        time_s = (k + 1) * STEP_S
        if k % 2:
            controller.see(good(time_s))
        controller.step(time_s, STEP_S, rpm(time_s))
        if controller.state is not was:
            was = controller.state
            entered.setdefault(was, []).append(time_s)
    return entered


def test_good_board_goes_through_its_states_and_raises_nothing() -> None:
    controller = Controller(RULES)
    entered = drive(controller, lambda t: t > 0.8, lambda t: 900.0 if t > 2.0 else 0.0, 20.0)
    assert list(entered) == [State.WAIT, State.CLOSE, State.SEEK, State.RUN_UP, State.RUN]
    assert entered[State.CLOSE] == [pytest.approx(0.5)]
    assert entered[State.SEEK] == [pytest.approx(0.8)]
    # ten good periods of 20 ms
    assert entered[State.RUN_UP] == [pytest.approx(1.0)]
    assert controller.flags == {}


def test_no_sync_raises_both_flags_and_locks_out() -> None:
    """One cause, two flags: without sync the drive is never fired, so the tacho is silent."""
    controller = Controller(RULES)
    entered = drive(controller, lambda _: False, lambda _: 0.0, 40.0)
    assert controller.flags[SYNC] == pytest.approx(0.8 + 3.0, abs=2 * STEP_S)
    assert controller.flags[FAN] == pytest.approx(0.8 + 10.0, abs=2 * STEP_S)
    assert State.RUN_UP not in entered
    # pause 4 s, relay 0.3 s, another 10 s
    assert entered[State.LOCKED_OUT] == [pytest.approx(10.8 + 4.0 + 0.3 + 10.0, abs=0.1)]
    assert not controller.relay_on


def test_fan_alone_raises_its_own_flag() -> None:
    controller = Controller(RULES)
    drive(controller, lambda _: True, lambda _: 0.0, 40.0)
    assert set(controller.flags) == {FAN}
    assert controller.state is State.LOCKED_OUT


def test_speed_above_the_share_is_no_fault() -> None:
    share = RULES.fan_flag_ratio * RULES.target_rpm
    for rpm, flagged in ((share + 1.0, False), (share - 1.0, True)):
        controller = Controller(RULES)
        drive(controller, lambda _: True, lambda _, rpm=rpm: rpm, 12.0)  # type: ignore[misc]
        assert (FAN in controller.flags) is flagged


def test_lock_needs_good_periods_in_a_row_and_bad_ones_to_be_lost() -> None:
    controller = Controller(RULES)
    for good in [True] * 9 + [False] + [True] * 9:
        controller.see(good)
    assert not controller.locked
    controller.see(True)
    assert controller.locked
    for good in (False, False, True, False, False):
        controller.see(good)
    assert controller.locked
    controller.see(False)
    assert not controller.locked


def test_loss_of_sync_stops_the_drive_and_flags_after_its_time() -> None:
    controller = Controller(RULES)
    drive(controller, lambda t: t < 5.0, lambda t: 900.0 if 2.0 < t < 6.0 else 0.0, 9.0)
    assert not controller.firing
    assert controller.flags[SYNC] == pytest.approx(5.0 + 0.06 + 3.0, abs=0.05)


def test_free_running_fires_after_the_sync_flag() -> None:
    controller = Controller(replace(RULES, without_sync="free-run"))
    entered = drive(controller, lambda _: False, lambda t: 900.0 if t > 5.0 else 0.0, 20.0)
    assert entered[State.RUN_UP] == [pytest.approx(3.8, abs=0.05)]
    assert controller.free
    assert set(controller.flags) == {SYNC}


def test_success_forgives_failed_attempts() -> None:
    """A fan that comes up in between starts the count of attempts anew."""
    controller = Controller(RULES)
    drive(controller, lambda _: True, lambda t: 900.0 if 16.0 < t < 30.0 else 0.0, 43.0)
    assert controller.state is State.PAUSE


def test_speed_loop_closes_when_the_fan_is_too_fast() -> None:
    controller = Controller(RULES)
    drive(controller, lambda _: True, lambda _: 950.0, 20.0)
    assert controller.opening_ratio == 0.0
    controller = Controller(RULES)
    drive(controller, lambda _: True, lambda _: 800.0, 20.0)
    assert controller.opening_ratio == 1.0


def test_without_supply_nothing_happens() -> None:
    controller = Controller(RULES, powered=False)
    assert list(drive(controller, lambda _: True, lambda _: 0.0, 5.0)) == [State.OFF]
    assert controller.flags == {}
