"""Margin over the years against the closed forms of both views, and what drift adds."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import board, controlled
from zcd.board.model import Board
from zcd.circuit.build import Conditions
from zcd.margin import ageing
from zcd.margin.ageing import VIEWS, YEARS, Ageing, ageing_of
from zcd.margin.corners import find_corners
from zcd.margin.headroom import headrooms
from zcd.margin.tolerances import Tolerance, tolerances_of
from zcd.physics.ageing import STRESS_HOURS, STRESS_REMAINING_RATIO, black_acceleration_ratio
from zcd.refdata import Default, default


def narrow(whole: Board) -> list[Tolerance]:
    """One tolerance that changes nothing to speak of: all boards are the nominal one."""
    first = next(t for t in tolerances_of(whole) if t.name == "R1")
    return [replace(first, low=1.0 - 1e-9, high=1.0 + 1e-9)]


def without_drift(monkeypatch: pytest.MonkeyPatch) -> None:
    def drift_is_none(key: str) -> Default:
        result = default(key)
        return replace(result, value=0.0) if key == "margin.chain_drift" else result

    monkeypatch.setattr(ageing, "default", drift_is_none)


def aged(whole: Board, tolerances: list[Tolerance]) -> Ageing:
    return ageing_of(whole, tolerances, find_corners(whole, tolerances))


# so late an edge that age soon makes it too late
TIGHT = "max_offset = 0.001"


def test_design_rule_loses_sync_when_the_headroom_is_used_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Half of the output in five years, day and night: 5 log2(headroom)."""
    without_drift(monkeypatch)
    monkeypatch.setattr(ageing, "BOARDS", 4)
    whole = controlled(TIGHT)
    assert whole.service.hours_per_year == 8760.0
    (result,) = headrooms(whole, [Conditions()], worst=True)
    course = aged(whole, narrow(whole)).courses["design rule"]
    expected = 5.0 * np.log2(result["ctr"].factor_ratio)
    assert 1.0 < expected < 30.0
    # the grid of many rows moves an edge by a microsecond or two, of some hundreds
    for lost in (course.first_years, course.median_years, course.corner_years):
        assert_allclose(lost, expected, rtol=0.02)


@pytest.mark.law(
    "AV02-3401EN",
    where="worked example: 184.7 times from 20 mA 125 degC to 5 mA 60 degC; 0.8 % lost in 1000 h",
    rtol=1e-3,
    why="184.7 has four digits",
)
def test_acceleration_follows_the_worked_example(
    monkeypatch: pytest.MonkeyPatch, published: SimpleNamespace
) -> None:
    """A fleet at 5 mA rms and 60 degC keeps 0.992 of its CTR for 184 767 h, 21.1 years."""
    whole = board()
    monkeypatch.setattr(ageing, "BOARDS", 1)
    fleet = ageing._Fleet(whole, ageing.draw(whole, [], np.empty((1, 0))))
    fleet.led_rms_a, fleet.celsius = np.array([5e-3]), 60.0
    years_on = np.array([184.7 * 1000.0 / 8760.0])
    left = fleet.remaining("acceleration", years_on, np.array([0]))
    assert_allclose(1.0 - left, 1.0 - 0.992, rtol=published.rtol)


def test_acceleration_uses_each_boards_own_current() -> None:
    whole = board()
    hot = [t for t in tolerances_of(whole) if t.name in ("R1", "temperature")]
    shares = np.array([[0.0, 0.0], [1.0, 1.0]])
    fleet = ageing._Fleet(whole, ageing.draw(whole, hot, shares))
    left = fleet.remaining("acceleration", np.full(2, 10.0), np.arange(2))
    factor = black_acceleration_ratio(20e-3, fleet.led_rms_a, 125.0, [25.0, 60.0])
    lost = STRESS_REMAINING_RATIO ** (10.0 * 8760.0 / factor / STRESS_HOURS)
    assert fleet.led_rms_a[0] != fleet.led_rms_a[1]
    assert_allclose(left, lost)


@cache
def usual() -> Ageing:
    whole = controlled(TIGHT)
    tolerances = [t for t in tolerances_of(whole) if t.name.startswith(("CTR", "mains v", "R"))]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ageing, "BOARDS", 64)
        return aged(whole, tolerances)


def test_margins_fall_and_keep_their_order() -> None:
    for course in usual().courses.values():
        for curve in (
            course.low_ratio,
            course.middle_ratio,
            course.high_ratio,
            course.corner_ratio,
        ):
            assert np.all(np.diff(curve) < 1e-2)
        assert np.all(course.low_ratio <= course.middle_ratio)
        assert np.all(course.middle_ratio <= course.high_ratio)
        assert np.all(course.corner_ratio <= course.low_ratio + 1e-2)
        assert course.corner_years <= course.first_years <= course.median_years


def test_design_rule_is_the_harsher_view() -> None:
    rule, model = (usual().courses[view] for view in VIEWS)
    others = np.interp(rule.points_years, model.points_years, model.middle_ratio)
    assert np.all(rule.middle_ratio <= others + 1e-9)
    assert rule.median_years < model.median_years


def test_loss_is_where_the_curve_crosses_zero() -> None:
    course = usual().courses["design rule"]
    for curve, lost in (
        (course.middle_ratio, course.median_years),
        (course.corner_ratio, course.corner_years),
    ):
        after = int(np.argmax(curve < 0.0))
        assert course.points_years[after - 1] <= lost <= course.points_years[after]


def test_years_are_close_where_a_margin_moves() -> None:
    """No step above a tenth, down to where it is drawn, in more than about a year."""
    for course in usual().courses.values():
        curves = [course.low_ratio, course.middle_ratio, course.high_ratio, course.corner_ratio]
        moved = np.abs(np.diff(np.maximum(curves, -0.25), axis=1)).max(axis=0)
        assert np.diff(course.points_years)[moved > 0.1].max(initial=0.0) <= 1.1
        assert set(YEARS) <= set(course.points_years)


def test_chain_drifts_by_the_limit_of_load_life() -> None:
    """3 % in the first 1000 h (economy chip resistors), then with the cube root."""
    assert_allclose(usual().drift_ratio[1], 0.03 * 8.76 ** (1 / 3))
    assert usual().drift_ratio[0] == 0.0


def test_drift_brings_the_loss_forward(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ageing, "BOARDS", 2)
    whole = controlled(TIGHT)
    drifting = aged(whole, narrow(whole)).courses["design rule"].median_years
    without_drift(monkeypatch)
    steady = aged(whole, narrow(whole)).courses["design rule"].median_years
    assert drifting < steady - 0.3


def test_board_without_sync_has_lost_it_from_the_beginning(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(ageing, "BOARDS", 2)
    whole = controlled("max_offset = 0.0001")
    course = aged(whole, narrow(whole)).courses["design rule"]
    assert course.first_years == course.median_years == course.corner_years == 0.0
    assert course.corner_ratio[0] < 0.0


def test_board_that_is_never_used_keeps_sync(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ageing, "BOARDS", 2)
    whole = replace(board(), service=replace(board().service, hours_per_year=0.0))
    for course in aged(whole, narrow(whole)).courses.values():
        assert np.isinf([course.first_years, course.median_years, course.corner_years]).all()
