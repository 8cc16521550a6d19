"""Roots of many functions at once, against another implementation of the same algorithm."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.optimize import elementwise

from zcd.margin.roots import limits, open_roots

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
Function = Callable[[FloatArray], FloatArray]

TOLERANCE = 1e-4
AT = np.array([-3.9, -1.7, -0.3, 0.0, 1e-3, 0.6, 2.2, 3.99])
"""Where the functions below cross zero, one a row."""
LOW, HIGH = np.full(AT.shape, -4.0), np.full(AT.shape, 4.0)

FUNCTIONS: dict[str, Function] = {
    "line": lambda x: x - AT,
    "cube": lambda x: (x - AT) ** 3,
    "falling": lambda x: np.exp(-x) - np.exp(-AT),
    "saturating": lambda x: np.arctan(20.0 * (x - AT)),
    "kink": lambda x: np.where(x > AT, 1000.0, 1.0) * (x - AT),
    "step": lambda x: np.where(x >= AT, 1.0, -1.0),
    "floor": lambda x: np.maximum(np.sinh(x - AT), -1.0),
}
SMOOTH = ("line", "cube", "falling", "saturating")


class Counted:
    """A function, asked for some of its rows, that counts how often it is called."""

    def __init__(self, function: Function) -> None:
        self.function = function
        self.calls = 0

    def __call__(self, x: FloatArray, rows: IntArray) -> FloatArray:
        self.calls += 1
        whole = AT.copy()
        whole[rows] = x
        return self.function(whole)[rows]


def root(function: Function, first: FloatArray = LOW, second: FloatArray = HIGH) -> FloatArray:
    at = function(first), function(second)
    return open_roots(Counted(function), (first, second), at, TOLERANCE)


@pytest.mark.parametrize("name", list(FUNCTIONS))
def test_tolerance_is_reached(name: str) -> None:
    assert_allclose(root(FUNCTIONS[name]), AT, rtol=0.0, atol=TOLERANCE)


@pytest.mark.parametrize("name", list(FUNCTIONS))
def test_tolerance_is_reached_from_any_bracket(name: str) -> None:
    """Drawn at random around the root, from a fraction of the tolerance to a million of it."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        below, above = TOLERANCE * 10.0 ** rng.uniform(-2.0, 6.0, (2, AT.size))
        result = root(FUNCTIONS[name], AT - below, AT + above)
        assert_allclose(result, AT, rtol=0.0, atol=TOLERANCE)


@pytest.mark.parametrize("name", list(FUNCTIONS))
def test_brackets_may_stand_either_way_round(name: str) -> None:
    """All turned round, and every other one."""
    turned = root(FUNCTIONS[name], HIGH, LOW)
    assert_allclose(turned, AT, rtol=0.0, atol=TOLERANCE)
    odd = np.arange(AT.size) % 2 == 1
    mixed = root(FUNCTIONS[name], np.where(odd, HIGH, LOW), np.where(odd, LOW, HIGH))
    assert_allclose(mixed, AT, rtol=0.0, atol=TOLERANCE)


@pytest.mark.parametrize("name", SMOOTH)
def test_root_is_that_of_scipy(name: str) -> None:
    """Both may be off by the tolerance; no row takes more looks than scipy's slowest."""
    counted = Counted(FUNCTIONS[name])
    ends = FUNCTIONS[name](LOW), FUNCTIONS[name](HIGH)
    result = open_roots(counted, (LOW, HIGH), ends, TOLERANCE)

    def one_by_one(x: FloatArray, *at: FloatArray) -> FloatArray:
        rows = np.searchsorted(AT, at[0])
        whole = np.repeat(x[:, None], AT.size, axis=1)
        return FUNCTIONS[name](whole)[np.arange(x.size), rows]

    theirs = elementwise.find_root(
        one_by_one,
        (LOW, HIGH),
        args=(AT,),
        tolerances={"xatol": TOLERANCE, "xrtol": 0.0, "fatol": 0.0, "frtol": 0.0},
    )
    assert np.all(theirs.success)
    assert_allclose(result, theirs.x, rtol=0.0, atol=2.0 * TOLERANCE)
    assert counted.calls <= np.max(theirs.nfev)


@pytest.mark.parametrize("name", list(FUNCTIONS))
def test_few_evaluations(name: str) -> None:
    """Never more than twice what halving would take; a good deal fewer for a smooth function."""
    counted = Counted(FUNCTIONS[name])
    open_roots(counted, (LOW, HIGH), (counted.function(LOW), counted.function(HIGH)), TOLERANCE)
    halvings = int(np.ceil(np.log2((HIGH[0] - LOW[0]) / TOLERANCE)))
    assert counted.calls <= 2 * halvings
    if name in SMOOTH and name != "cube":
        assert counted.calls <= 0.7 * halvings


def test_equal_ends_are_their_own_answer() -> None:
    """Beside rows that are searched, whatever the function is there; without them, unasked."""
    first = np.where(AT > 0.0, 3.5, LOW)
    second = np.where(AT > 0.0, 3.5, HIGH)
    result = root(FUNCTIONS["line"], first, second)
    assert_allclose(result, np.where(AT > 0.0, 3.5, AT), rtol=0.0, atol=TOLERANCE)
    counted = Counted(FUNCTIONS["line"])
    assert np.array_equal(
        open_roots(counted, (HIGH, HIGH), (HIGH - AT, HIGH - AT), TOLERANCE), HIGH
    )
    assert counted.calls == 0


@pytest.mark.parametrize("end", [0, 1])
def test_root_at_an_end_is_found(end: int) -> None:
    ends = [AT, AT]
    ends[1 - end] = AT + 3.0
    assert_allclose(root(FUNCTIONS["falling"], *ends), AT, rtol=0.0, atol=TOLERANCE)


def test_bracket_within_the_tolerance_is_not_searched() -> None:
    counted = Counted(FUNCTIONS["line"])
    ends = AT - 0.3 * TOLERANCE, AT + 0.6 * TOLERANCE
    values = FUNCTIONS["line"](ends[0]), FUNCTIONS["line"](ends[1])
    result = open_roots(counted, ends, values, TOLERANCE)
    assert counted.calls == 0
    assert np.array_equal(result, ends[0])


def test_rule_beyond_a_limit() -> None:
    """Of straight lines the first that is broken is the one that crosses zero first."""
    limit = np.array([[1.0, 2.0, 3.0], [3.5, 0.5, 2.0], [2.5, 3.0, 2.5 - 0.5 * TOLERANCE]])

    def margins(x: FloatArray, rows: IntArray) -> FloatArray:
        return np.asarray(limit[rows] - x[:, None])

    for ends in ((np.zeros(3), np.full(3, 4.0)), (np.full(3, 4.0), np.zeros(3))):
        every = np.arange(3)
        at_ends = margins(ends[0], every), margins(ends[1], every)
        found, rules = limits(margins, ends, at_ends, TOLERANCE)
        assert_allclose(found, limit.min(axis=1), rtol=0.0, atol=TOLERANCE)
        assert rules[:2].tolist() == [0, 1]
        # within the tolerance of each other the one that comes first in order may be named
        assert rules[2] in (0, 2)
