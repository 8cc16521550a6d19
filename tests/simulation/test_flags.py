"""Turned round: the causes behind flags, and the reading that tells their side."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.simulation.boards import board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.fault_dictionary import Atlas, make_atlas
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.readings import Side as Where
from zcd.engine.solve import READINGS, solve
from zcd.simulation.causes import Side, find_cause
from zcd.simulation.flags import all_stories, fitting, telling
from zcd.simulation.timeline import Story

BOTH = frozenset({"sync", "fan"})


@cache
def stories() -> tuple[Story, ...]:
    return all_stories(board(), seconds=20.0)


@cache
def atlas(feed: str = 'feed = "switched"') -> Atlas:
    return make_atlas(board(feed=feed), usual_meter(), samples=8)


@pytest.mark.parametrize(
    "flags", [BOTH, frozenset({"fan"}), frozenset({"sync"}), frozenset()], ids=sorted
)
def test_every_story_fits_its_own_flags_only(flags: frozenset[str]) -> None:
    fits = fitting(stories(), flags)
    told = [story for fit in fits for story in fit.stories]
    assert len(told) == sum(set(story.flags) == flags for story in stories())
    if fits:
        assert_allclose(sum(fit.share_ratio for fit in fits), 1.0)
        shares = [fit.share_ratio for fit in fits]
        assert shares == sorted(shares, reverse=True)


def test_no_fault_of_drive_or_fan_raises_the_sync_flag() -> None:
    for fit in fitting(stories(), BOTH):
        assert fit.cause.side is not Side.FAN


def test_both_flags_are_told_apart_at_the_switched_terminal() -> None:
    """Relay side or chain: the voltage behind the contact; all of the side is settled by it."""
    told = telling(atlas(), fitting(stories(), BOTH))
    assert told is not None
    assert told.reading.function is Function.AC
    assert {told.reading.a, told.reading.b} == {"feed", "neutral"}
    assert told.where is Where.MAINS
    assert told.gain_bits > 0.9 * told.open_bits
    assert max(told.shown[Side.FEED]) < 5.0
    assert min(told.shown[Side.SYNC]) > 200.0


def test_what_the_telling_reading_shows_is_what_the_circuit_gives() -> None:
    """Against the engine on the nominal board, without the atlas."""
    told = telling(atlas(), fitting(stories(), BOTH))
    assert told is not None
    found = board()
    for key, side in (("K1 contact open", Side.FEED), ("R1 open", Side.SYNC)):
        edit = find_cause(found, key).fault.edit
        circuit = edit(build_circuit(found), np.array([0.5]))
        if side is Side.SYNC:
            solution = solve(circuit, READINGS)
            volts = solution.rms(solution.between_v("feed", "neutral"))[0]
            assert_allclose(told.shown[side][1], volts, rtol=0.06)


def test_fan_flag_alone_needs_no_reading_on_the_sync_circuit() -> None:
    fits = fitting(stories(), {"fan"})
    assert sum(fit.share_ratio for fit in fits if fit.cause.side is Side.FAN) > 0.95
    assert telling(atlas(), fits) is None


def test_flags_that_nothing_raises_fit_nothing() -> None:
    assert fitting(stories(), {"display"}) == ()


def test_sync_flag_alone_comes_from_a_controller_that_goes_on() -> None:
    told = all_stories(board('supervision = {without_sync = "free-run"}'), seconds=8.0)
    keys = {fit.cause.key for fit in fitting(told, {"sync"})}
    assert {"K1 contact open", "R1 open"} <= keys
