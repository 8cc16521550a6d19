"""Both views of ageing against what their makers print."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from zcd.physics import ageing
from zcd.physics.ageing import (
    black_acceleration_ratio,
    remaining_by_acceleration_ratio,
    remaining_by_design_rule_ratio,
)
from zcd.refdata import table

SOURCE_ROWS = {str(row["name"]): float(row["value"]) for row in table("ctr_ageing")}


@pytest.mark.law(
    "AV02-3401EN",
    where="worked example: 184.7, and 184 767 h from 1000 h",
    atol=0.5e-3,
    why="184 767 h for 1000 h give three more digits, the last of them cut off",
)
def test_acceleration_agrees_with_the_worked_example(published: SimpleNamespace) -> None:
    """20 mA at 125 degC to 5 mA at 60 degC."""
    result = black_acceleration_ratio(20e-3, 5e-3, 125.0, 60.0)
    assert_allclose(result, 184.7675, rtol=0.0, atol=published.atol)
    assert int(1000.0 * result) == 184767


@pytest.mark.parametrize(
    ("use_a", "use_degc", "expected"),
    [
        (5e-3, 60.0, 184.7678),
        (5e-3, 80.0, 79.072),
        (10e-3, 60.0, 46.192),
        (1e-3, 60.0, 4619.196),
        (1.5e-3, 70.0, 1326.509),
        (1e-3, 40.0, 12030.204),
        (0.5e-3, 40.0, 48120.816),
    ],
)
def test_acceleration_of_further_cases(use_a: float, use_degc: float, expected: float) -> None:
    """Worked out apart from this code with the same constants; to the digits written."""
    result = black_acceleration_ratio(20e-3, use_a, 125.0, use_degc)
    assert_allclose(result, expected, rtol=0.0, atol=0.5e-3)


def test_constants_are_those_of_the_table() -> None:
    assert SOURCE_ROWS["activation_energy"] == ageing.ACTIVATION_EV
    assert SOURCE_ROWS["current_exponent"] == ageing.CURRENT_EXPONENT
    assert SOURCE_ROWS["boltzmann"] == ageing.BOLTZMANN_EV_PER_K
    assert SOURCE_ROWS["stress_current"] == ageing.STRESS_CURRENT_A
    assert SOURCE_ROWS["stress_temperature"] == ageing.STRESS_DEGC
    assert SOURCE_ROWS["stress_time"] == ageing.STRESS_HOURS
    assert SOURCE_ROWS["stress_remaining"] == ageing.STRESS_REMAINING_RATIO


@pytest.mark.fitted(
    "AV02-3401EN",
    where="stress test: 99.2 % left after 1000 h at 20 mA, 125 degC",
    atol=0.5e-3,
    why="printed to 0.1 %",
)
def test_stress_test_leaves_what_was_measured(published: SimpleNamespace) -> None:
    left = remaining_by_acceleration_ratio(1000.0, 20e-3, 125.0)
    assert_allclose(left, 0.992, rtol=0.0, atol=published.atol)


@pytest.mark.law(
    "AV02-3401EN", where="worked example: 21 years", rtol=0.025, why="printed to the year"
)
def test_use_of_21_years_loses_as_much_as_the_stress_test(published: SimpleNamespace) -> None:
    years = 21.0
    left = remaining_by_acceleration_ratio(years * 8760.0, 5e-3, 60.0)
    assert_allclose(1.0 - left, 1.0 - 0.992, rtol=published.rtol)


def test_no_time_no_loss_and_harder_use_loses_more() -> None:
    assert_allclose(remaining_by_acceleration_ratio(0.0, 1e-3, 60.0), 1.0)
    base = remaining_by_acceleration_ratio(1e6, 2e-3, 60.0)
    assert remaining_by_acceleration_ratio(2e6, 2e-3, 60.0) < base
    assert remaining_by_acceleration_ratio(1e6, 4e-3, 60.0) < base
    assert remaining_by_acceleration_ratio(1e6, 2e-3, 80.0) < base


@pytest.mark.transcribed(
    "SHARP-817", where="page 9, degradation", rtol=1e-12, why="half in five years, a plain rule"
)
def test_design_rule_halves_in_five_years(published: SimpleNamespace) -> None:
    left = remaining_by_design_rule_ratio(np.array([0.0, 5.0, 10.0]))
    assert_allclose(left, [1.0, 0.5, 0.25], rtol=published.rtol)
