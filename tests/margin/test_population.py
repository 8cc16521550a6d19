"""A population against direct enumeration, against scipy, and against itself with other seeds."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.stats import binomtest, qmc, t

from tests.diagnosis.boards import board, controlled
from zcd.board.model import Board
from zcd.margin.population import (
    Population,
    Share,
    draw_population,
    even_points,
    failing_share,
)
from zcd.margin.rule_margins import evaluate
from zcd.margin.tolerances import Draw, Tolerance, draw, tolerances_of

FloatArray = NDArray[np.float64]


def two_valued(tolerance: Tolerance) -> Tolerance:
    """The same quantity, but only ever at one of its ends."""

    def put(drawn: Draw, amount: FloatArray) -> Draw:
        middle = tolerance.amount(np.array(0.5))
        return tolerance.put(drawn, np.where(amount < middle, tolerance.low, tolerance.high))

    return replace(tolerance, put=put)


@cache
def weak_board() -> Board:
    """A board that fails when enough of its tolerances are against it."""
    return controlled("max_offset = 0.00075")


@cache
def design() -> tuple[Tolerance, ...]:
    names = ("mains voltage", "temperature", "R1", "CTR of OC1", "CTR shape", "low threshold")
    return tuple(two_valued(t) for t in tolerances_of(weak_board()) if t.name.startswith(names))


@cache
def exact_share() -> float:
    """Share of all combinations of ends that fail, each solved by itself."""
    shares = np.array(list(product((0.0, 1.0), repeat=len(design()))))
    return float(np.mean(~evaluate(draw(weak_board(), design(), shares), weak_board()).passes))


@cache
def drawn(seed: int) -> Population:
    return draw_population(weak_board(), design(), per_run=32, runs=8, seed=seed)


def test_population_agrees_with_enumeration() -> None:
    assert 0.05 < exact_share() < 0.5
    result = draw_population(weak_board(), design(), per_run=128, runs=8)
    failing = result.failing
    assert failing.low_ratio <= exact_share() <= failing.high_ratio
    assert failing.high_ratio - failing.low_ratio < 0.06


def test_seeds_agree_within_their_intervals() -> None:
    """Of 20 seeds, 19 should hold the exact share; 16 or fewer have a chance of 0.3 %."""
    result = [drawn(seed).failing for seed in range(20)]
    assert len({share.ratio for share in result}) > 5
    inside = sum(share.low_ratio <= exact_share() <= share.high_ratio for share in result)
    assert inside >= 17


def test_first_failures_add_up_to_the_share_that_fails() -> None:
    result = drawn(0)
    assert_allclose(sum(result.first_failures.values()), result.failing.ratio)
    assert set(result.first_failures) == {"edge offset"}


def test_sound_board_is_told_how_sure_that_is() -> None:
    """None of 1024 fails: at 95 % fewer than 3 in 1024 do (the rule of three)."""
    result = draw_population(board(), tolerances_of(board()))
    assert result.size == 1024
    assert result.first_failures == {}
    assert result.failing == Share(ratio=0.0, low_ratio=0.0, high_ratio=result.failing.high_ratio)
    assert_allclose(result.failing.high_ratio, 3.0 / 1024, rtol=0.01)


# ------------------------------------------------------------------ intervals


@pytest.mark.parametrize("count", [1, 4, 9])
def test_few_failures_get_the_exact_binomial_interval(count: int) -> None:
    """As scipy's."""
    fails = np.zeros((8, 100), dtype=bool)
    fails.ravel()[:count] = True
    share = failing_share(fails)
    exact = binomtest(count, 800).proportion_ci(0.95, method="exact")
    assert_allclose([share.low_ratio, share.high_ratio], [exact.low, exact.high])


def test_all_failing_is_the_mirror_of_none_failing() -> None:
    none, every = (failing_share(np.full((4, 50), fails)) for fails in (False, True))
    assert every.ratio == 1.0
    assert every.high_ratio == 1.0
    assert_allclose(1.0 - every.low_ratio, none.high_ratio)


def test_runs_that_agree_leave_little_doubt_and_runs_that_differ_more() -> None:
    """Student's interval of the mean of the runs: 8 runs, 2.365 standard errors.

    Runs of 100 boards that all count 20 cannot tell 0.196 from 0.204.
    """
    alike = np.zeros((8, 100), dtype=bool)
    alike[:, :20] = True
    share = failing_share(alike)
    assert_allclose([share.low_ratio, share.ratio, share.high_ratio], [0.195, 0.2, 0.205])
    counts = np.array([10, 14, 18, 20, 20, 22, 26, 30])
    share = failing_share(np.arange(100) < counts[:, None])
    error = np.std(counts / 100, ddof=1) / np.sqrt(8)
    assert_allclose(share.high_ratio - share.ratio, 2.365 * error, rtol=1e-3)


@pytest.mark.parametrize("runs", [2, 3, 4, 7, 8, 15])
def test_interval_of_any_number_of_runs_is_scipys(runs: int) -> None:
    counts = np.linspace(20, 40, runs).round()
    share = failing_share(np.arange(100) < counts[:, None])
    error = np.std(counts / 100, ddof=1) / np.sqrt(runs)
    reach = max(t.ppf(0.975, runs - 1) * error, 0.005)
    assert_allclose(share.high_ratio, min(share.ratio + reach, 1.0), rtol=1e-12)


@pytest.mark.parametrize("share", [0.002, 0.02, 0.2])
def test_intervals_hold_the_truth_as_often_as_they_say(share: float) -> None:
    """A plane through the cube in 12 dimensions; 200 populations of 8 runs."""
    rng = np.random.default_rng(12)
    slope = 1.0 / np.arange(1, 13)
    limit = np.quantile(rng.random((500_000, 12)) @ slope, share)
    result = []
    for _ in range(200):
        points = np.stack([even_points(128, 12, rng) for _ in range(8)])
        result.append(failing_share(points @ slope < limit))
    inside = np.mean([s.low_ratio <= share <= s.high_ratio for s in result])
    # 95 % of 200, less four standard errors, and the truth itself is known to 1 % only
    assert inside > 0.95 - 4 * np.sqrt(0.95 * 0.05 / 200)


# ------------------------------------------------------------------ points


@pytest.mark.parametrize("dimensions", [2, 8, 26])
def test_points_lie_more_evenly_than_chance(dimensions: int) -> None:
    """Centred discrepancy as scipy computes it."""
    rng = np.random.default_rng(1)
    even = [qmc.discrepancy(even_points(512, dimensions, rng)) for _ in range(4)]
    chance = [qmc.discrepancy(rng.random((512, dimensions))) for _ in range(4)]
    assert max(even) < min(chance)


def test_points_are_without_bias_and_within_the_cube() -> None:
    rng = np.random.default_rng(2)
    points = np.stack([even_points(16, 30, rng) for _ in range(500)])
    assert points.shape == (500, 16, 30)
    assert np.all((points >= 0.0) & (points < 1.0))
    assert_allclose(points.mean(axis=0), 0.5, atol=5 * np.sqrt(1 / 12 / 500))
