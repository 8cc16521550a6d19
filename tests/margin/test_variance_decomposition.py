"""Shares of a variance, against closed forms and against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.stats import sobol_indices, uniform

from zcd.margin.population import even_points
from zcd.margin.variance_decomposition import Shares, variance_shares

FloatArray = NDArray[np.float64]

PI = np.pi


def drawn(size: int, dimensions: int, seed: int = 1) -> FloatArray:
    return even_points(size, dimensions, np.random.default_rng(seed))


def bent(x: FloatArray) -> FloatArray:
    """3 a + 2 b + c + 4 (a - 1/2) (b - 1/2), and three quantities that do nothing."""
    a, b, c = x[:3]
    return np.asarray(3 * a + 2 * b + c + 4 * (a - 0.5) * (b - 0.5))


def ishigami(x: FloatArray) -> FloatArray:
    """Of three angles from -pi to pi: a usual test of such estimates, far from any parabola."""
    a, b, c = 2.0 * PI * x - PI
    return np.asarray(np.sin(a) + 7.0 * np.sin(b) ** 2 + 0.1 * c**4 * np.sin(a))


def smooth(x: FloatArray) -> FloatArray:
    """Of six quantities, neither additive nor a polynomial."""
    weight = np.array([2.0, 1.0, 0.6, 0.3, 0.1, 0.05])
    return np.asarray(np.log(1.0 + np.exp(weight @ x)) + 0.3 * np.sin(2.0 * x[0]) * x[1])


def split(function: object, size: int, dimensions: int, seed: int = 1) -> Shares:
    points = drawn(size, dimensions, seed)
    return variance_shares(points, function(points.T))  # type: ignore[operator]


def test_what_can_be_fitted_is_split_exactly() -> None:
    """Variances 9, 4, 1 twelfths, and 16 by 144ths of the product."""
    result = split(bent, 128, 6)
    joint, parts = 16.0 / 144.0, np.array([9.0, 4.0, 1.0, 0.0, 0.0, 0.0]) / 12.0
    variance = parts.sum() + joint
    total = parts + np.array([joint, joint, 0.0, 0.0, 0.0, 0.0])
    assert_allclose(result.first, parts / variance, atol=1e-9)
    assert_allclose(result.total, total / variance, atol=1e-9)
    assert_allclose(result.total_high - result.total_low, 0.0, atol=1e-6)
    assert result.unexplained < 1e-12


@pytest.mark.parametrize("seed", range(5))
def test_interval_holds_what_the_fit_cannot_say(seed: int) -> None:
    """Total indices 0.558, 0.442 and 0.244 by the closed form; the fit explains little of it."""
    variance = 7.0**2 / 8 + 0.1 * PI**4 / 5 + 0.1**2 * PI**8 / 18 + 0.5
    own = 0.5 * (1.0 + 0.1 * PI**4 / 5) ** 2, 7.0**2 / 8
    joint = 0.1**2 * PI**8 * 8.0 / 225.0
    exact = np.array([own[0] + joint, own[1], joint]) / variance
    assert_allclose(exact, [0.558, 0.442, 0.244], atol=1e-3)
    result = split(ishigami, 256, 3, seed)
    assert result.unexplained > 0.2
    assert np.all(result.total_low <= exact)
    assert np.all(exact <= result.total_high)


@pytest.mark.parametrize("seed", range(5))
def test_smooth_function_agrees_with_scipy(seed: int) -> None:
    """Estimates that assume nothing, from 65 536 points in six quantities."""
    asked = sobol_indices(func=smooth, n=2**13, dists=[uniform()] * 6, rng=np.random.default_rng(9))
    result = split(smooth, 256, 6, seed)
    # as sure as scipy is with so many points
    assert np.all(result.total_low <= asked.total_order + 0.01)
    assert np.all(asked.total_order - 0.01 <= result.total_high)
    assert_allclose(result.first, asked.first_order, atol=0.02)
    assert np.max(result.total_high - result.total_low) < 0.1


def test_noise_is_nobodys() -> None:
    """Half of the variance is noise: it is unexplained, and makes no quantity large."""
    points = drawn(256, 6)
    noise = np.random.default_rng(3).normal(0.0, np.sqrt(1.0 / 12.0), 256)
    result = variance_shares(points, points[:, 0] + noise)
    assert_allclose(result.unexplained, 0.5, atol=0.1)
    assert result.total_low[0] < 0.5 < result.total_high[0]
    assert np.all(result.total[1:] < 0.05)


def test_more_quantities_than_the_runs_can_tell_in_pairs() -> None:
    points = drawn(64, 20)
    result = variance_shares(points, points.sum(axis=1))
    assert_allclose(result.total, 1.0 / 20.0, atol=1e-9)


def test_no_variance_has_no_shares() -> None:
    result = variance_shares(drawn(64, 3), np.ones(64))
    assert_allclose([result.total, result.total_low, result.total_high, result.first], 0.0)
