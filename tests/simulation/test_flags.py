"""Turned round: the causes behind flags, and the reading that tells their side."""

from __future__ import annotations

from collections import Counter
from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.sampled import some
from tests.simulation.boards import board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.case import Case
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.functions import Function
from zcd.diagnosis.job import Job
from zcd.diagnosis.job_history import FaultStatistics
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.readings import AccessLevel as Where
from zcd.engine.solve import READINGS, solve
from zcd.simulation.causes import Subsystem, find_cause
from zcd.simulation.flags import all_stories, causes_for_flags, find_side_test, matching_causes
from zcd.simulation.timeline import Story

BOTH = frozenset({"sync", "fan"})
CLOSED = FaultStatistics(kinds=Counter({"resistor open": 3}), parts=Counter({"R1 open": 3}))


@cache
def stories() -> tuple[Story, ...]:
    return all_stories(board(), seconds=20.0)


@cache
def dictionary(feed: str = 'feed = "switched"') -> FaultDictionary:
    return make_fault_dictionary(board(feed=feed), usual_meter(), samples=8)


@pytest.mark.parametrize(
    "flags", [BOTH, frozenset({"fan"}), frozenset({"sync"}), frozenset()], ids=sorted
)
def test_every_story_fits_its_own_flags_only(flags: frozenset[str]) -> None:
    fits = matching_causes(stories(), flags)
    told = [story for fit in fits for story in fit.stories]
    assert len(told) == sum(set(story.flags) == flags for story in stories())
    if fits:
        assert_allclose(sum(fit.share_ratio for fit in fits), 1.0)
        shares = [fit.share_ratio for fit in fits]
        assert shares == sorted(shares, reverse=True)


def test_no_fault_of_drive_or_fan_raises_the_sync_flag() -> None:
    for fit in matching_causes(stories(), BOTH):
        assert fit.cause.subsystem is not Subsystem.FAN


def test_both_flags_are_told_apart_at_the_switched_terminal() -> None:
    """Relay side or chain: the voltage behind the contact; all of the side is settled by it."""
    side_test = find_side_test(dictionary(), matching_causes(stories(), BOTH))
    assert side_test is not None
    assert side_test.reading.function is Function.AC
    assert {side_test.reading.red, side_test.reading.black} == {"feed", "neutral"}
    assert side_test.where is Where.MAINS
    assert side_test.gain_bits > 0.9 * side_test.open_bits
    assert max(side_test.shown[Subsystem.FEED]) < 5.0
    assert min(side_test.shown[Subsystem.SYNC]) > 200.0


def test_what_the_telling_reading_shows_is_what_the_circuit_gives() -> None:
    """Against the engine on the nominal board, without the fault dictionary."""
    side_test = find_side_test(dictionary(), matching_causes(stories(), BOTH))
    assert side_test is not None
    result = board()
    for key, side in (("K1 contact open", Subsystem.FEED), ("R1 open", Subsystem.SYNC)):
        edit = find_cause(result, key).fault.edit
        circuit = edit(build_circuit(result), np.array([0.5]))
        if side is Subsystem.SYNC:
            solution = solve(circuit, READINGS)
            volts = solution.rms(solution.between_v("feed", "neutral"))[0]
            assert_allclose(side_test.shown[side][1], volts, rtol=0.06)


def test_fan_flag_alone_needs_no_reading_on_the_sync_circuit() -> None:
    fits = matching_causes(stories(), {"fan"})
    assert sum(fit.share_ratio for fit in fits if fit.cause.subsystem is Subsystem.FAN) > 0.95
    assert find_side_test(dictionary(), fits) is None


@pytest.mark.parametrize("known", some([None, CLOSED], CLOSED))
def test_a_story_begins_as_a_diagnosis_does(known: FaultStatistics | None) -> None:
    """The same first readings, on a dead board, and the same probabilities; of closed jobs too."""
    result = causes_for_flags(board(feed='feed = "switched"'), BOTH, seconds=20.0, statistics=known)
    wanted = Case.of(Job(board=result.board, meter=usual_meter(), flags=("sync", "fan")), known)
    assert result.plan.steps[0].reading == wanted.next_reading.reading  # type: ignore[union-attr]
    assert result.plan.steps[0].access is Where.DEAD
    chances = {ranked.key: ranked.probability for ranked in wanted.ranked}
    shares = {fit.cause.key: fit.share_ratio for fit in result.fits}
    same = shares.keys() & chances.keys()
    assert len(same) > 20
    assert_allclose([shares[key] for key in same], [chances[key] for key in same])


def test_flags_that_nothing_raises_fit_nothing() -> None:
    assert matching_causes(stories(), {"display"}) == ()


def test_sync_flag_alone_comes_from_a_controller_that_goes_on() -> None:
    told = all_stories(board('supervision = {without_sync = "free-run"}'), seconds=8.0)
    keys = {fit.cause.key for fit in matching_causes(told, {"sync"})}
    assert {"K1 contact open", "R1 open"} <= keys
