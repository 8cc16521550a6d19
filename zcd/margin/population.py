"""A population of boards: the share that fails, how sure that is, and what fails first."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import pi, sqrt, tan
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.margin.rule_margins import RuleMargins, evaluate
from zcd.margin.tolerances import Tolerance, draw
from zcd.margin.unpublished import with_doubt
from zcd.results import Result

FloatArray = NDArray[np.float64]

RUNS = 8
PER_RUN = 128
SEED = 4
CONFIDENCE_RATIO = 0.95
TAIL = 0.5 * (1.0 - CONFIDENCE_RATIO)
FEW = 10
"""With fewer boards that fail, or that hold, the runs say little about their own spread."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A share of a population, with the interval that holds it at `CONFIDENCE_RATIO`.

    Parameters
    ----------
    ratio : float
        The share, as found.
    low_ratio, high_ratio : float
        They hold the true share with a confidence of 95 %.
    """

    ratio: float
    low_ratio: float
    high_ratio: float


@dataclass(frozen=True, slots=True)
class RuleShare:
    """What the boards of a population have left of one rule.

    Parameters
    ----------
    rule : str
        Its name.
    first_ratio : float
        Share of the boards that break this rule first.
    left_worst_ratio : float
        Share of the limit that 1 % of the boards do not reach.
    left_middle_ratio : float
        The median.
    """

    rule: str
    first_ratio: float
    left_worst_ratio: float
    left_middle_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Population(Result):
    """Boards of one design, each with its own tolerances, under all that mains and heat may do.

    Parameters
    ----------
    tolerances : tuple of Tolerance
        d of them.
    shares : ndarray, shape (runs, n, d)
        Where each board lies within each, from 0 to 1; runs are independent of each other.
    rule_margins : RuleMargins
        Of all boards, run after run.
    sure_margins : RuleMargins
        The same with the benefit of the doubt: by these a board fails.
    """

    JSON_KEYS: ClassVar = (
        "size_counts=size",
        "failing_ratio=failing.ratio",
        "low_ratio=failing.low_ratio",
        "high_ratio=failing.high_ratio",
        "confidence_ratio",
        "doubtful_ratio",
        "rules",
    )

    tolerances: tuple[Tolerance, ...]
    shares: FloatArray
    rule_margins: RuleMargins
    sure_margins: RuleMargins

    @property
    def confidence_ratio(self) -> float:
        """Of the interval around the failing share."""
        return CONFIDENCE_RATIO

    @property
    def rules(self) -> tuple[RuleShare, ...]:
        """What the boards have left of each rule, in the order in which rules are judged."""
        first = self.first_failures
        left = np.quantile(self.rule_margins.margins, (0.01, 0.5), axis=0).T.tolist()
        return tuple(
            RuleShare(name, first.get(name, 0.0), *ends)
            for name, ends in zip(self.rule_margins.names, left, strict=True)
        )

    @property
    def size(self) -> int:
        """How many boards."""
        return self.rule_margins.passes.size

    @property
    def failing(self) -> Share:
        """Share of the boards that break a rule, whatever is not published of their parts."""
        fails = ~self.sure_margins.passes
        return failing_share(fails.reshape(self.shares.shape[:2]))

    @property
    def doubtful_ratio(self) -> float:
        """Share of the boards that may fail: it depends on what no data sheet states."""
        return float(np.mean(self.sure_margins.passes & ~self.rule_margins.passes))

    @property
    def first_failures(self) -> dict[str, float]:
        """Share of the boards that fail by each rule first, largest first."""
        first = self.sure_margins.first_failed
        counts = {name: int(np.sum(first == k)) for k, name in enumerate(self.rule_margins.names)}
        ranked = sorted(counts.items(), key=lambda item: -item[1])
        return {name: count / self.size for name, count in ranked if count}


def draw_population(
    board: Board,
    tolerances: Sequence[Tolerance],
    *,
    per_run: int = PER_RUN,
    runs: int = RUNS,
    seed: int = SEED,
) -> Population:
    """Draw a population and judge every board.

    Parameters
    ----------
    board : Board
    tolerances : sequence of Tolerance
    per_run, runs : int
        Boards in each run, and how many runs.
    seed : int

    Returns
    -------
    population : Population
    """
    shares = drawn_shares(len(tolerances), per_run, runs, seed)
    rows = shares.reshape(runs * per_run, -1)
    result = evaluate(draw(board, tolerances, rows), board)
    return Population(
        tolerances=tuple(tolerances),
        shares=shares,
        rule_margins=result,
        sure_margins=with_doubt(result, board, tolerances, rows),
    )


def drawn_shares(
    dimensions: int, per_run: int = PER_RUN, runs: int = RUNS, seed: int = SEED
) -> FloatArray:
    """Where the boards of a population lie within each tolerance, shape (runs, n, dimensions)."""
    rng = np.random.default_rng(seed)
    return np.stack([even_points(per_run, dimensions, rng) for _ in range(runs)])


def even_points(size: int, dimensions: int, rng: np.random.Generator) -> FloatArray:
    """Points that fill the unit cube evenly, shifted by chance as a whole.

    Parameters
    ----------
    size, dimensions : int
    rng : numpy.random.Generator

    Returns
    -------
    points : ndarray, shape (size, dimensions)
        Multiples of the square roots of the primes, modulo 1. Each point by itself is uniform,
        so that the mean over several shifts is without bias and their spread tells its error.

    References
    ----------
    .. [1] R. D. Richtmyer, "The evaluation of definite integrals, and a quasi-Monte-Carlo method
       based on the properties of algebraic numbers", Los Alamos report LA-1342, 1951.
    .. [2] R. Cranley and T. N. L. Patterson, "Randomization of number theoretic methods for
       multiple integration", SIAM Journal on Numerical Analysis 13(6), pp. 904-914, 1976.
    """
    steps = np.sqrt(_primes(dimensions))
    return np.asarray((rng.random(dimensions) + np.arange(1, size + 1)[:, None] * steps) % 1.0)


def _primes(count: int) -> FloatArray:
    """The first primes."""
    result: list[int] = []
    candidate = 2
    while len(result) < count:
        if all(candidate % prime for prime in result):
            result.append(candidate)
        candidate += 1
    return np.array(result, dtype=float)


def failing_share(fails: NDArray[np.bool_]) -> Share:
    """The share of boards that fail, from several runs.

    Parameters
    ----------
    fails : ndarray of bool, shape (runs, n)

    Returns
    -------
    share : Share
        The interval comes from the spread of the runs (Student), as even points are better than
        chance, but is never narrower than half a board of a run either way, as runs count whole
        boards; where almost none or almost all fail, it is the exact binomial one (Clopper and
        Pearson), as if the points were no better than chance.
    """
    runs, total = fails.shape[0], fails.size
    count = int(fails.sum())
    if min(count, total - count) < FEW:
        return binomial_share(count, total)
    ratio = count / total
    error = float(np.std(fails.mean(axis=1), ddof=1)) / np.sqrt(runs)
    reach = max(_student(runs - 1, CONFIDENCE_RATIO) * error, 0.5 / fails.shape[1])
    return Share(ratio=ratio, low_ratio=max(ratio - reach, 0.0), high_ratio=min(ratio + reach, 1.0))


def binomial_share(count: int, total: int) -> Share:
    """The share of boards that fail, from so many of a total; as if drawn at random.

    Examples
    --------
    >>> round(binomial_share(0, 64).high_ratio, 4)
    0.0457

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial limits illustrated
       in the case of the binomial", Biometrika 26(4), pp. 404-413, 1934.
    """
    # one-sided where there is nothing on the other side to be sure about
    tail = 2.0 * TAIL if count in (0, total) else TAIL
    return Share(
        ratio=count / total,
        low_ratio=_ratio_with_fewer(count, total, 1.0 - tail) if count else 0.0,
        high_ratio=_ratio_with_fewer(count + 1, total, tail) if count < total else 1.0,
    )


def _ratio_with_fewer(count: int, total: int, chance: float) -> float:
    """The share at which fewer than so many of a total fail with this chance."""
    k = np.arange(count)
    # logs of the binomial coefficients
    ways = np.cumsum(np.log(np.where(k > 0, (total - k + 1) / np.maximum(k, 1), 1.0)))

    def excess(ratio: float) -> float:
        logs = ways + k * np.log(ratio) + (total - k) * np.log1p(-ratio)
        return chance - float(np.sum(np.exp(logs)))

    return _rising_root(excess, 0.0, 1.0)


def _student(freedom: int, confidence_ratio: float) -> float:
    """The factor of a standard error that gives a two-sided confidence, after Student.

    References
    ----------
    .. [1] M. Abramowitz and I. A. Stegun, "Handbook of Mathematical Functions", 1964, equations
       26.7.3 and 26.7.4.
    """
    odd = freedom % 2
    k = np.arange(1, (freedom - odd) // 2)
    weights = np.cumprod([1.0, *(2 * k / (2 * k + 1) if odd else (2 * k - 1) / (2 * k))])
    powers = 2 * np.arange(weights.size) + odd

    def excess(angle: float) -> float:
        series = float(np.sin(angle) * np.sum(weights * np.cos(angle) ** powers))
        if odd:
            series = 2.0 / pi * (angle + (series if freedom > 1 else 0.0))
        return series - confidence_ratio

    return sqrt(freedom) * tan(_rising_root(excess, 0.0, pi / 2.0))


def _rising_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function is zero, by halving the span until it is as fine as numbers are."""
    while low < (middle := 0.5 * (low + high)) < high:
        low, high = (low, middle) if function(middle) > 0.0 else (middle, high)
    return middle
