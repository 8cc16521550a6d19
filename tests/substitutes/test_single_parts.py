"""Other optocouplers, pull-ups and diodes: each verdict turns where it says it does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import board
from zcd.board.drawer import parse_drawer, series_drawer
from zcd.board.model import Board
from zcd.board.optocouplers import TWO_LED_FAMILIES
from zcd.engine.solve import solve
from zcd.margin.check import nominal_check
from zcd.margin.corners import find_corners
from zcd.margin.spread import corner_circuit, corner_rules
from zcd.margin.tolerances import tolerances_of
from zcd.substitutes.single_parts import (
    Swap,
    diode_swaps,
    every_diode,
    optocoupler_swaps,
    pull_ups,
    reverse_ratio,
)

FEW = parse_drawer(
    'optocouplers = ["817C", "817D", "817A", "814A", {family = "817", ctr = "40 %"}]\n'
    'diodes = ["1N4007", {part = "M7", count = 3}, {part = "M7", count = 1}, "1N4148"]'
)


E6_FINE = parse_drawer('resistors = [{series = "E6", style = "1/4 W", tolerance = "5 %"}]')
"""In the tolerance of the board's own pull-up: what lies in the range then fits."""


def ctr_headroom(swap: Swap) -> float:
    return next(rule.value for rule in swap.verdict.rules if rule.name == "CTR headroom")


def holds(one: Board) -> bool:
    """What `zcd check` rests its verdict on: its rules, and all of them at their own corners."""
    corners = find_corners(one, tolerances_of(one))
    rules = corner_rules(one, corners, solve(corner_circuit(one, corners)))
    return nominal_check(one).keeps_nominal_rules and all(rule.passes for rule in rules)


def with_pull_up(found: Board, ohm: float) -> Board:
    resistor = replace(found.output.resistor, resistance_ohm=ohm)
    return replace(found, output=replace(found.output, resistor=resistor))


def test_ctr_headroom_goes_with_the_least_ctr_of_the_grade() -> None:
    """Under the weak conditions all parts have the same shape, so that they differ by CTR only."""
    result = {swap.name: swap for swap in optocoupler_swaps(board(), FEW.optocouplers)}
    for name, least in (("817 D", 3.0), ("817 A", 0.8)):
        ratio = ctr_headroom(result[name]) / ctr_headroom(result["817 C"])
        assert_allclose(ratio, least / 2.0, rtol=3e-4)


def test_best_optocoupler_first_those_that_fail_last() -> None:
    swaps = optocoupler_swaps(board(), FEW.optocouplers)
    assert [swap.fits for swap in swaps] == sorted((s.fits for s in swaps), reverse=True)
    assert swaps[-1].verdict.tightest.name != ""
    assert not swaps[-1].fits
    assert [swap.name for swap in swaps if swap.fitted] == ["817 C"]


def test_two_leds_go_only_where_two_are_needed() -> None:
    for name in ("half-wave", "two-led"):
        families = {s.name.split(" ")[0] for s in optocoupler_swaps(board(name), FEW.optocouplers)}
        assert families
        assert (families <= set(TWO_LED_FAMILIES)) is (name == "two-led")
        assert families.isdisjoint(TWO_LED_FAMILIES) is (name != "two-led")


@pytest.mark.slow
@pytest.mark.parametrize("name", ["half-wave", "emitter follower"])
def test_verdict_turns_at_both_ends_of_the_pull_up_range(name: str) -> None:
    result = pull_ups(board(name), E6_FINE.resistors)
    ((low, high),) = result.ranges
    for end, inwards in ((low, 1.005), (high, 1.0 / 1.005)):
        assert holds(with_pull_up(board(name), end.ohm * inwards))
        assert not holds(with_pull_up(board(name), end.ohm / inwards))
        assert end.beyond is not None
        assert not end.beyond.passes
    assert result.swaps
    assert all(swap.fits for swap in result.swaps)
    assert all(
        low.ohm <= swap.verdict.board.output.resistor.resistance_ohm <= high.ohm
        for swap in result.swaps
    )


def test_too_low_starves_the_optocoupler_too_high_is_slow() -> None:
    """A starved one pulls the pin low late: its edge moves first, at the least CTR."""
    ((low, high),) = pull_ups(board(), ()).ranges
    assert low.beyond is not None
    assert low.beyond.tightest.name == "worst corner: edge offset"
    # a tenth beyond: the range also minds corners that one board's own search does not reach
    slow = with_pull_up(board(), 1.1 * high.ohm)
    corners = find_corners(slow, tolerances_of(slow))
    assert corners.margins.min() < 0.0
    assert corners.names[int(np.argmin(corners.margins))] == "transition"


@pytest.mark.published(
    "DIOTECH-1N4148", where="ratings: 75 V", why="the verdict needs no more digits", rtol=0.0
)
def test_a_signal_diode_does_not_block_mains() -> None:
    """75 V repetitive against 358 V, the peak of 253 V."""
    swaps = {swap.name: swap for swap in diode_swaps(board(), every_diode(), "rectifier")}
    assert not swaps["1N4148"].fits
    assert swaps["1N4148"].verdict.tightest.name == "D1 reverse voltage"
    assert swaps["1N4148"].verdict.tightest.limit == 75.0
    assert swaps["1N4007"].fits
    assert reverse_ratio(swaps["1N4007"], "D1") == pytest.approx(1000.0 / 357.8, rel=0.01)


def test_a_bridge_needs_four_of_a_kind() -> None:
    swaps = {s.name: s for s in diode_swaps(board("bridge"), FEW.diodes, "rectifier")}
    assert not swaps["M7"].too_few
    three = parse_drawer('diodes = [{part = "M7", count = 3}]').diodes
    assert diode_swaps(board("bridge"), three, "rectifier")[0].too_few
    assert not diode_swaps(board("half-wave"), three, "rectifier")[0].too_few


@pytest.mark.slow
def test_a_swap_that_is_shown_as_fitting_passes_the_check() -> None:
    """With its worst corners; a pull-up of 20 % within the range of those of 5 % may not."""
    shown = [
        *optocoupler_swaps(board(), FEW.optocouplers),
        *pull_ups(board(), series_drawer("E6", "1/4 W").resistors).swaps,
        *diode_swaps(board(), FEW.diodes, "rectifier"),
    ]
    fits = [swap.verdict.board for swap in shown if swap.fits]
    assert len(fits) > 3
    assert all(holds(one) for one in fits)
