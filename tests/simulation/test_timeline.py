"""Stories: one cause, two flags; and every other pairing of causes and flags."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.simulation.boards import SUPPRESSED, TEXT, board
from zcd.board.files import parse_board
from zcd.physics.motor import run
from zcd.simulation.causes import Condition, find_cause
from zcd.simulation.controller import FAN, SYNC, State
from zcd.simulation.timeline import Story, What, stories_of

FREE = 'supervision = {without_sync = "free-run"}'


@cache
def told(key: str, more: str = "", feed: str = 'feed = "switched"', seconds: float = 60.0) -> Story:
    result = board(more, feed)
    (story,) = stories_of(result, [find_cause(result, key)], seconds)
    return story


@pytest.mark.parametrize(
    ("key", "flags"),
    [
        ("healthy", set()),
        ("K1 contact open", {SYNC, FAN}),
        ("K1 driver open", {SYNC, FAN}),
        ("R1 open", {SYNC, FAN}),
        ("OC1 transistor short", {SYNC, FAN}),
        ("triac not firing", {FAN}),
        ("rotor stalled", {FAN}),
        ("run capacitor open", {FAN}),
        ("main winding open", {FAN}),
        ("tacho lost", {FAN}),
        ("triac short", set()),
        ("tacho twice the pulses", set()),
        ("supply missing", set()),
    ],
)
def test_flags_of_a_cause(key: str, flags: set[str]) -> None:
    assert set(told(key).flags) == flags


def test_one_cause_raises_two_flags_in_order() -> None:
    """Sync first; the fan, never fired, a while later."""
    story = told("R1 open")
    assert story.flags[SYNC] < story.flags[FAN]
    assert not story.firing.any()
    assert_allclose(story.speed_rpm, 0.0)
    assert story.end_state is State.LOCKED_OUT
    order = [event.which for event in story.events if event.what is What.FLAG]
    assert order == [SYNC, FAN]


def test_good_board_holds_its_target() -> None:
    story = told("healthy")
    assert story.end_state is State.RUN
    assert_allclose(story.speed_rpm[-500:], 900.0, atol=2.0)
    assert_allclose(story.tacho_rpm[-500:], story.speed_rpm[-500:], atol=5.0)


def test_voltage_at_the_target_gives_the_torque_that_the_fan_takes() -> None:
    """The loop ends where motor and impeller balance, worked out without the timeline."""
    story = told("healthy")
    plant = story.plant
    firing = story.delay_s[-1] * 2.0 * story.view.mains_hz * np.pi
    square, rms_v, _ = plant._delivery((0.0, 0.0), 0.01).at(firing)
    torque = run(plant.motor, story.speed_rpm[-1], square**0.5).torque_nm
    impeller = plant.rotor.impeller
    taken = impeller.torque_nm * (story.speed_rpm[-1] / impeller.at_rpm) ** 2
    assert_allclose(torque, taken + impeller.bearing_nm, rtol=0.02)
    assert_allclose(rms_v, story.fan_rms_v[-1], rtol=1e-6)


def test_lost_tacho_lets_the_fan_run_away() -> None:
    story = told("tacho lost")
    assert story.speed_rpm.max() > 1.1 * 900.0
    assert_allclose(story.tacho_rpm, 0.0)


def test_tacho_with_twice_the_pulses_halves_the_speed_without_a_flag() -> None:
    story = told("tacho twice the pulses")
    assert_allclose(story.speed_rpm[-1], 450.0, atol=5.0)


def test_shorted_triac_turns_the_fan_before_it_is_wanted() -> None:
    story = told("triac short")
    assert story.speed_rpm[story.time_s < 0.8].max() > 50.0
    assert_allclose(story.speed_rpm[-1], 1200.0, rtol=0.01)


def test_one_half_cycle_alone_brakes_more_than_it_drives() -> None:
    story = told("triac fires one half cycle only")
    assert np.abs(story.direct_v).max() > 50.0
    assert set(story.flags) == {FAN}


def test_late_crossing_is_made_up_by_the_speed_loop() -> None:
    """The offset of the sync pulse moves the firing: the loop asks for a shorter delay."""
    late, good = told("OC1 aged"), told("healthy")
    assert late.view.faulty_closed.late_s[0] > 500e-6
    assert_allclose(late.speed_rpm[-1], good.speed_rpm[-1], atol=3.0)
    shorter = good.delay_s[-1] - late.delay_s[-1]
    assert_allclose(shorter, late.view.faulty_closed.late_s[0], atol=60e-6)


def test_unequal_edges_put_direct_voltage_into_the_winding() -> None:
    story = told("R1 drift", 'drive = {half_cycles = "edges"}')
    assert abs(story.direct_v[-1]) > 3.0
    assert_allclose(told("R1 drift").direct_v[-1], 0.0, atol=1e-6)


def test_free_running_fan_runs_rough() -> None:
    story = told("R1 open", FREE)
    assert set(story.flags) == {SYNC}
    late = story.speed_rpm[story.time_s > 30.0]
    assert late.max() - late.min() > 50.0
    assert story.free[-1]


def test_zero_cross_part_cannot_drive_the_fan() -> None:
    for story in (told("zero-cross coupler fitted"), told("healthy", 'drive = "zero-cross"')):
        assert set(story.flags) == {FAN}
        assert story.speed_rpm.max() < 100.0


def test_contact_that_opens_warm_raises_both_flags_late() -> None:
    story = told("K1 contact opens when warm")
    assert story.flags[SYNC] > 15.0
    assert story.flags[FAN] > story.flags[SYNC]
    assert story.speed_rpm.max() > 900.0
    kinds = [event.what for event in story.events]
    assert kinds.index(What.LOCK) < kinds.index(What.OPENS) < kinds.index(What.LOSS)


def test_shaken_joint_loses_lock_again_and_again_below_the_flag() -> None:
    story = told("R1 opens when shaken")
    losses = sum(event.what is What.LOSS for event in story.events)
    assert losses > 3
    assert story.flags == {}
    assert story.speed_rpm[story.time_s > 10.0].min() < 600.0


def test_bouncing_contact_only_delays_the_lock() -> None:
    bounced, good = told("K1 contact bounces"), told("healthy")
    assert bounced.flags == {}
    first = [next(e.time_s for e in s.events if e.what is What.LOCK) for s in (bounced, good)]
    assert first[0] > first[1] + 0.5


def test_suppressor_gives_lock_for_a_moment_behind_an_open_contact() -> None:
    story = told("K1 contact open", feed=SUPPRESSED)
    assert set(story.flags) == {SYNC, FAN}
    assert story.good.any()


def test_sixty_hertz_has_shorter_half_cycles() -> None:
    american = parse_board(TEXT.format(feed="", more="").replace("230 V 50 Hz", "120 V 60 Hz"))
    (story,) = stories_of(american, [find_cause(american, "healthy")], 30.0)
    assert_allclose(np.diff(story.time_s), 1.0 / 120.0)
    assert story.time_s.size == 3600
    assert_allclose(story.speed_rpm[-1], 0.75 * 1440.0, atol=3.0)


def test_same_story_twice_is_the_same() -> None:
    result = board()
    cause = find_cause(result, "K1 contact opens when shaken")
    first, second = stories_of(result, [cause, cause], 20.0)
    (third,) = stories_of(result, [cause], 20.0)
    assert_allclose(first.speed_rpm, second.speed_rpm)
    assert_allclose(first.speed_rpm, third.speed_rpm)


def test_stories_that_share_a_run_keep_their_own_sights() -> None:
    result = board()
    causes = [find_cause(result, key) for key in ("R1 open", "OC1 transistor open")]
    chain, output = stories_of(result, causes, 15.0)
    assert chain.flags == output.flags
    # an open resistor conducts less than a microampere
    assert chain.seen("led_peak_a").max() < 1e-6
    assert output.seen("led_peak_a").max() > 1e-4


def test_deaf_controller_is_as_good_as_no_pulses() -> None:
    result = board()
    cause = find_cause(result, "healthy")
    (story,) = stories_of(result, [replace(cause, condition=Condition(deaf=True))], 15.0)
    assert set(story.flags) == {SYNC, FAN}
    assert story.good.any()
