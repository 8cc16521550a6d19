"""Rows of a batch, taken and joined: against numpy's own indexing and concatenation."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.testing import assert_array_equal
from numpy.typing import NDArray

from zcd.circuit.batch import COMMON, OF_WHOLE, Batch, split
from zcd.sync.lock import Thresholds

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Some(Batch):
    """A field of each kind."""

    name: str
    value: FloatArray
    waves: dict[str, FloatArray]
    levels: Thresholds
    shape: FloatArray = field(metadata=COMMON)
    state: FloatArray | None = field(default=None, metadata=OF_WHOLE)


def some(size: int, **waves: FloatArray) -> Some:
    return Some(
        name="x",
        value=np.arange(size, dtype=float),
        waves=waves,
        levels=Thresholds(low_v=1.0, high_v=np.full(size, float(size))),
        shape=np.arange(7.0),
        state=np.zeros(size),
    )


def test_rows_index_every_array_and_leave_the_rest() -> None:
    whole = some(4, a=np.arange(8.0).reshape(4, 2))
    index = np.array([3, 0, 0])
    part = whole.rows(index)
    assert (part.size, part.name, part.levels.low_v, part.state) == (3, "x", 1.0, None)
    assert_array_equal(part.value, whole.value[index])
    assert_array_equal(part.waves["a"], whole.waves["a"][index])
    assert_array_equal(part.levels.high_v, np.full(3, 4.0))
    assert_array_equal(part.shape, whole.shape)


def test_joined_rows_are_those_of_the_parts() -> None:
    """A number becomes a row each, an array that one part lacks is zero there."""
    parts = [some(2, a=np.ones((2, 3))), some(3, a=np.ones((3, 3)), b=np.ones((3, 3)))]
    whole = Some.joined(parts)
    assert_array_equal(whole.value, np.concatenate([part.value for part in parts]))
    assert_array_equal(whole.waves["b"], np.repeat([0.0, 1.0], [2, 3])[:, None] * np.ones(3))
    assert_array_equal(whole.levels.low_v, np.ones(5))
    assert_array_equal(whole.levels.high_v, [2.0, 2.0, 3.0, 3.0, 3.0])
    for part, rows in zip(parts, split([2, 3]), strict=True):
        assert_array_equal(whole.rows(rows).value, part.value)


def test_numbers_alone_are_one_row() -> None:
    one, two = Thresholds(low_v=1.0, high_v=2.0), Thresholds(low_v=3.0, high_v=4.0)
    assert one.size == 1
    assert_array_equal(Thresholds.joined([one, two]).high_v, [2.0, 4.0])


def test_three_batches_are_taken_apart_again() -> None:
    rows = split([2, 1, 3])
    assert [part.tolist() for part in rows] == [[0, 1], [2], [3, 4, 5]]


def test_what_is_common_is_that_of_the_first() -> None:
    first, second = some(2), replace(some(3), name="y", shape=np.zeros(7))
    whole = Some.joined([first, second])
    assert_array_equal(whole.shape, first.shape)
    assert Some.joined([first]) is first
