"""Years of life by both published views."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import TEXTS
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.margin.headroom import Headroom
from zcd.margin.lifetime import life_of


def ctr(factor: float, *, locks: bool = True) -> Headroom:
    return Headroom(locks=locks, factor_ratio=factor, rule="low time")


def served(hours: float, hot_degc: float = 60.0) -> Board:
    service = f'[service]\nhours_per_year = "{hours:g} h"\nhot_temperature = "{hot_degc:g} degC"\n'
    return parse_board(TEXTS["half-wave"] + service)


@pytest.mark.transcribed(
    "SHARP-817",
    where='page 9, "Degradation": half of the output in five years',
    rtol=1e-9,
    why="the rule is stated as it stands",
)
def test_a_factor_of_two_lasts_five_years_of_operation(published: SimpleNamespace) -> None:
    result = life_of(served(8760.0), 1e-3, ctr(2.0))
    assert_allclose(result.design_rule_years, 5.0, rtol=published.rtol)


def test_design_rule_in_other_cases() -> None:
    """Twice the halvings, or half the hours, last twice as long; no headroom lasts no time."""
    assert_allclose(life_of(served(8760.0), 1e-3, ctr(4.0)).design_rule_years, 10.0)
    assert_allclose(life_of(served(4380.0), 1e-3, ctr(2.0)).design_rule_years, 10.0)
    at_the_limit = life_of(served(8760.0), 1e-3, ctr(1.0))
    assert (at_the_limit.design_rule_years, at_the_limit.acceleration_years) == (0.0, 0.0)


@pytest.mark.parametrize("factor", [0.3, np.nan, 3.0])
@pytest.mark.parametrize("hours", [8760.0, 0.0])
def test_without_lock_there_is_no_life(hours: float, factor: float) -> None:
    """Too weak, never, too strong; also for a board that is never switched on."""
    none = life_of(served(hours), 1e-3, ctr(factor, locks=False))
    assert (none.design_rule_years, none.acceleration_years) == (0.0, 0.0)


def test_headroom_beyond_the_search_lasts_for_ever() -> None:
    result = life_of(served(8760.0), 1e-3, ctr(np.inf))
    assert result.design_rule_years == result.acceleration_years == np.inf


@pytest.mark.law(
    "AV02-3401EN",
    where="worked example: 1000 h at 20 mA, 125 degC are 184 767 h at 5 mA, 60 degC",
    rtol=3e-6,
    why="six printed digits",
)
def test_acceleration_of_the_worked_example(published: SimpleNamespace) -> None:
    """A headroom of what the stress test cost lasts as long as the example says."""
    result = life_of(served(8760.0, 60.0), 5e-3, ctr(1.0 / 0.992))
    assert_allclose(result.acceleration_years * 8760.0, 184767.0, rtol=published.rtol, atol=1.0)


def test_half_the_current_lasts_four_times_as_long() -> None:
    """Exponent 2 of Black's model."""
    full, half = (life_of(served(4000.0), a, ctr(2.0)).acceleration_years for a in (2e-3, 1e-3))
    assert_allclose(half / full, 4.0)


def test_hours_of_zero_are_no_error() -> None:
    """`hours_per_year = 0` is allowed in a board file; it then lasts for ever."""
    result = life_of(served(0.0), 1e-3, ctr(2.0))
    assert result.design_rule_years == np.inf
    assert result.acceleration_years == np.inf
