"""Which of many quantities make a result differ: shares of its variance, from a few hundred runs.

The result is fitted by polynomials of the quantities that are orthogonal over their spans. Then its
variance is a sum of squares: of the coefficients of one quantity by itself, and of those of pairs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

MIN_SHARE = 0.01
"""Only quantities that make at least this share by themselves are looked at in pairs."""
LARGEST_FIT = 0.5
"""Terms of the fit, at most, for each run."""
SURE = 1.96
"""Standard errors on either side that are 95 % sure."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shares:
    """Shares of a variance.

    Parameters
    ----------
    first, total : ndarray, shape (d,)
        What each quantity makes by itself, and with all it does together with others.
    total_low, total_high : ndarray, shape (d,)
        Interval (95 %) of the totals. What the fit leaves unexplained may be any quantity's: it is
        within the upper end.
    unexplained : float
        Share that the fit does not explain.
    """

    first: FloatArray
    total: FloatArray
    total_low: FloatArray
    total_high: FloatArray
    unexplained: float


def variance_shares(points: FloatArray, values: FloatArray) -> Shares:
    """Split the variance of a result among the quantities that it comes from.

    Parameters
    ----------
    points : ndarray, shape (n, d)
        Runs, spread evenly over the unit cube.
    values : ndarray, shape (n,)
        Their results.

    Returns
    -------
    shares : Shares
        All of it 0 where the result is the same in all runs.

    Notes
    -----
    Each quantity up to its square, products of those that matter. Where the result is smooth, this
    needs far fewer runs than estimates that assume nothing of it, such as
    `scipy.stats.sobol_indices`; what it misses is seen in the residuals.

    References
    ----------
    .. [1] B. Sudret, "Global sensitivity analysis using polynomial chaos expansions", Reliability
       Engineering & System Safety 93(7), pp. 964-979, 2008.
    """
    count, dimensions = points.shape
    if not np.ptp(values) > 0.0:
        nothing = np.zeros(dimensions)
        return Shares(
            first=nothing, total=nothing, total_low=nothing, total_high=nothing, unexplained=0.0
        )
    terms: list[tuple[int, ...]] = [
        (),
        *((d,) for d in range(dimensions)),
        *((d, d) for d in range(dimensions)),
    ]
    alone = _fit(points, values, terms)
    main = _sum_over(terms, alone.squares, dimensions)
    matter = [d for d in np.argsort(-main) if main[d] > MIN_SHARE * main.sum()]
    room = max(int(LARGEST_FIT * count) - len(terms), 0)
    pairs = sorted(combinations(range(len(matter)), 2), key=sum)[:room]
    terms += [(int(matter[a]), int(matter[b])) for a, b in pairs]
    fit = _fit(points, values, terms)
    variance = fit.squares[1:].sum() + fit.residual
    total = _sum_over(terms, fit.squares, dimensions) / variance
    first = _sum_over([t if len(set(t)) == 1 else () for t in terms], fit.squares, dimensions)
    error = np.array(
        [fit.error_of(_holds(terms, d), total[d], variance) for d in range(dimensions)]
    )
    unexplained = float(fit.residual / variance)
    return Shares(
        first=first / variance,
        total=total,
        total_low=np.maximum(total - SURE * error, 0.0),
        total_high=np.minimum(total + SURE * error + unexplained, 1.0),
        unexplained=unexplained,
    )


@dataclass(frozen=True, slots=True)
class _Fitted:
    """Coefficients of orthogonal terms, their covariance, and the variance of what is left."""

    coefficients: FloatArray
    covariance: FloatArray
    residual: float

    @property
    def squares(self) -> FloatArray:
        """What each term makes of the variance, without what chance adds to a square."""
        return np.maximum(np.square(self.coefficients) - np.diag(self.covariance), 0.0)

    def error_of(self, held: NDArray[np.bool_], share: float, variance: float) -> float:
        """Standard error of the share of the variance that some terms make together."""
        slope = 2.0 * self.coefficients * (held - share) / variance
        slope[0] = 0.0
        return float(np.sqrt(slope @ self.covariance @ slope))


def _fit(points: FloatArray, values: FloatArray, terms: Sequence[tuple[int, ...]]) -> _Fitted:
    """Least squares."""
    u = 2.0 * points - 1.0
    one, two = np.sqrt(3.0) * u, np.sqrt(5.0) * (1.5 * u**2 - 0.5)  # Legendre, of variance 1
    columns = np.column_stack([_column(term, one, two) for term in terms])
    inverse = np.linalg.pinv(columns.T @ columns)
    coefficients = inverse @ (columns.T @ values)
    left = values - columns @ coefficients
    residual = float(left @ left) / max(len(values) - len(terms), 1)
    return _Fitted(coefficients, np.asarray(residual * inverse), residual)


def _column(term: tuple[int, ...], one: FloatArray, two: FloatArray) -> FloatArray:
    """A term at all points: nothing, a quantity, its square, or a pair."""
    if len(term) == 2 and term[0] == term[1]:
        return two[:, term[0]]
    return np.asarray(np.prod(one[:, list(term)], axis=1))


def _holds(terms: Sequence[tuple[int, ...]], quantity: int) -> NDArray[np.bool_]:
    """Which terms a quantity stands in."""
    return np.array([quantity in term for term in terms])


def _sum_over(terms: Sequence[tuple[int, ...]], squares: FloatArray, dimensions: int) -> FloatArray:
    """What all the terms make that each quantity stands in."""
    return np.array([squares[_holds(terms, d)].sum() for d in range(dimensions)])
