"""Root finding for many questions at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


def broken_rule(margins: FloatArray) -> IntArray:
    """The first broken rule of each point, -1 where all hold; margins of shape (..., rules)."""
    broken = margins < 0.0
    return np.where(np.any(broken, axis=-1), np.argmax(broken, axis=-1), -1)


def nearest_to_broken(margins: FloatArray) -> IntArray:
    """The first broken rule of each point; where none is, the one that is nearest to it."""
    broken = broken_rule(margins)
    return np.where(broken < 0, np.argmin(margins, axis=-1), broken)


def limits(
    margins: Callable[[FloatArray, IntArray], FloatArray],
    ends: tuple[FloatArray, FloatArray],
    at_ends: tuple[FloatArray, FloatArray],
    tolerance: float,
) -> tuple[FloatArray, IntArray]:
    """Where the smallest margin of several rules changes sign, and which rule is broken beyond.

    Parameters
    ----------
    margins : callable
        Of the variable, shape (k,), and of the rows that it belongs to, to the margins, shape
        (k, rules).
    ends : tuple of ndarray, shape (n,)
        The two ends of each bracket; the same where there is nothing to find.
    at_ends : tuple of ndarray, shape (n, rules)
        The margins there, the smallest of different sign.
    tolerance : float
        Largest error of the variable.

    Returns
    -------
    limit : ndarray, shape (n,)
    rules : ndarray of int, shape (n,)
        The first that is broken within the tolerance of the limit.
    """
    least = at_ends[0].min(axis=1), at_ends[1].min(axis=1)
    rules = nearest_to_broken(np.where((least[0] < 0.0)[:, None], *at_ends))

    def smallest(x: FloatArray, rows: IntArray) -> FloatArray:
        found = margins(x, rows)
        broken = broken_rule(found)
        # each place that is asked for is an end of the bracket from then on
        rules[rows] = np.where(broken < 0, rules[rows], broken)
        return found.min(axis=1)

    return open_roots(smallest, ends, least, tolerance), rules


def open_roots(
    function: Callable[[FloatArray, IntArray], FloatArray],
    ends: tuple[FloatArray, FloatArray],
    values: tuple[FloatArray, FloatArray],
    tolerance: float,
) -> FloatArray:
    """Where functions of one variable change sign; each is asked only until its root is found.

    Parameters
    ----------
    function : callable
        Of the variable, shape (k,), and of the rows that it belongs to, to the values, (k,).
    ends : tuple of ndarray, shape (n,)
        The two ends of each bracket; the same where there is nothing to find.
    values : tuple of ndarray, shape (n,)
        The functions at the ends, of different sign.
    tolerance : float
        Largest error of the variable.

    Returns
    -------
    root : ndarray, shape (n,)
        The end itself where both are the same.

    References
    ----------
    .. [1] T. R. Chandrupatla, "A new hybrid quadratic/bisection algorithm for finding the zero of
       a nonlinear function without using derivatives", Advances in Engineering Software 28(3),
       pp. 145-149, 1997.
    """
    (b, a), (at_b, at_a) = ends, values
    share = np.full(a.shape, 0.5)
    root, rows = np.empty(a.shape), np.arange(a.size)
    while True:
        width = np.abs(b - a)
        # the end that is taken may be the farther one: stop within the tolerance, not twice it
        least = 0.5 * tolerance / np.where(width > 0, width, 0.5 * tolerance)
        root[rows] = np.where(np.abs(at_a) < np.abs(at_b), a, b)
        still = least <= 0.5
        if not np.any(still):
            return root
        rows, least, share = rows[still], least[still], share[still]
        a, b, at_a, at_b = a[still], b[still], at_a[still], at_b[still]
        x = a + np.clip(share, least, 1.0 - least) * (b - a)
        at_x = function(x, rows)
        same = np.sign(at_x) == np.sign(at_a)
        c, at_c = np.where(same, a, b), np.where(same, at_a, at_b)
        b, at_b = np.where(same, b, a), np.where(same, at_b, at_a)
        a, at_a = x, at_x
        share = _share((a, b, c), (at_a, at_b, at_c))


def _share(x: tuple[FloatArray, ...], at: tuple[FloatArray, ...]) -> FloatArray:
    """Where between a and b to look next: inverse quadratic where that is safe, else the middle."""
    (a, b, c), (at_a, at_b, at_c) = x, at
    with np.errstate(divide="ignore", invalid="ignore"):
        xi, phi = (a - b) / (c - b), (at_a - at_b) / (at_c - at_b)
        safe = (phi**2 < xi) & ((1.0 - phi) ** 2 < 1.0 - xi)
        quadratic = at_a / (at_b - at_a) * at_c / (at_b - at_c) + (c - a) / (b - a) * at_a / (
            at_c - at_a
        ) * at_b / (at_c - at_b)
    return np.asarray(np.where(safe, quadratic, 0.5))
