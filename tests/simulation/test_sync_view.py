"""What the controller sees: the engine's pulses, with the load contact open and closed."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.simulation.boards import SUPPRESSED, board
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.engine.solve import solve
from zcd.simulation.causes import find_cause
from zcd.simulation.sync_view import SyncView, sync_views_of
from zcd.sync.lock import judge


def view(found: Board, key: str) -> SyncView:
    (only,) = sync_views_of(found, [find_cause(found, key)])
    return only


def test_healthy_board_is_on_time_and_dark_with_the_relay_off() -> None:
    seen = view(board(), "healthy")
    assert seen.faulty_closed.good
    assert_allclose(seen.faulty_closed.late_s, 0.0, atol=1e-9)
    assert not seen.faulty_open.good
    assert seen.faulty_open.feed_rms_v < 1.0
    assert seen.powered


def test_direct_feed_sees_the_same_with_the_relay_off() -> None:
    seen = view(board(feed='feed = "direct"'), "healthy")
    assert seen.faulty_open == seen.faulty_closed
    assert seen.state(True, False).good


def test_open_resistor_leaves_the_feed_live_and_an_open_contact_does_not() -> None:
    """Both are silent; the switched terminal tells them apart."""
    resistor, contact = view(board(), "R1 open"), view(board(), "K1 contact open")
    assert not resistor.faulty_closed.good
    assert not contact.faulty_closed.good
    assert_allclose(resistor.faulty_closed.feed_rms_v, 230.0, rtol=1e-3)
    assert contact.faulty_closed.feed_rms_v < 1.0


def test_suppressor_lets_pulses_through_an_open_contact_for_a_while() -> None:
    seen = view(board(feed=SUPPRESSED), "K1 contact open")
    assert seen.faulty_closed.feed_rms_v > 50.0
    early = seen.faulty_closed.early
    assert early[0]
    assert not early[-1]
    assert not seen.faulty_closed.good


def test_compensation_is_that_of_the_design_unless_written() -> None:
    result = board()
    designed = judge(solve(build_circuit(result)), result).pulses.fall_offset_s[0, 0]
    written = board('drive = {compensation = "100 us"}')
    assert_allclose(view(written, "healthy").faulty_closed.late_s, designed - 1e-4, atol=5e-6)


def test_edges_time_the_two_half_cycles_apart() -> None:
    """A weaker LED makes the one edge late and the other early: unequal half cycles."""
    timer = view(board(), "R1 drift").faulty_closed.late_s
    edges = view(board('drive = {half_cycles = "edges"}'), "R1 drift").faulty_closed.late_s
    assert timer[0] == timer[1] == edges[0]
    assert edges[0] > 1e-4
    assert edges[1] < 0.0


def test_low_mains_reaches_the_fan_too() -> None:
    seen = view(board(), "mains low")
    assert seen.mains_rms_v < 200.0
    assert seen.mains_hz == 50.0


@pytest.mark.parametrize(("key", "powered"), [("supply missing", False), ("pin stuck low", True)])
def test_supply(key: str, powered: bool) -> None:
    assert view(board(), key).powered is powered


def test_one_batch_gives_what_each_cause_gives_alone() -> None:
    result = board(feed=SUPPRESSED)
    keys = ("R1 drift", "K1 contact open")
    together = sync_views_of(result, [find_cause(result, key) for key in keys])
    for key, seen in zip(keys, together, strict=True):
        alone = view(result, key)
        assert alone.faulty_closed.good is seen.faulty_closed.good
        assert_allclose(alone.faulty_closed.led_peak_a, seen.faulty_closed.led_peak_a, rtol=1e-6)
        assert_allclose(alone.faulty_closed.late_s, seen.faulty_closed.late_s, atol=1e-7)
        assert np.array_equal(alone.faulty_closed.early, seen.faulty_closed.early)
