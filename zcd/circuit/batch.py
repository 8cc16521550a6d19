"""Batches: taking some of their rows, and joining them one after another.

What describes n circuits at once is a dataclass whose arrays have a row for each on their first
axis; what is no array is the same in all rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from functools import cache
from typing import Any, Self, cast

import numpy as np
from numpy.typing import NDArray

COMMON = {"rows": "common"}
"""Metadata of a field that is the same in all rows, whatever it holds."""
OF_WHOLE = {"rows": "of the whole"}
"""Metadata of a field that only the whole batch has; some of its rows have the default."""


class Batch:
    """Base of dataclasses with rows.

    A field may hold an array, another batch, a mapping to arrays or a tuple of batches; anything
    else is common to all rows, as are fields marked `COMMON`.
    """

    __slots__ = ()

    def rows(self, index: NDArray[Any] | slice) -> Self:
        """Some of the rows, in any order, repeated or not."""
        kind: Any = type(self)
        batched, common = _fields_of(kind)
        values = {name: _rows(getattr(self, name), index) for name in batched}
        values |= {name: getattr(self, name) for name in common}
        return cast("Self", kind(**values))

    @property
    def size(self) -> int:
        """Number of rows; 1 where nothing is an array."""
        kind: Any = type(self)
        batched, _ = _fields_of(kind)
        return max((_size(getattr(self, name)) for name in batched), default=1)

    @classmethod
    def joined(cls, parts: Sequence[Self], sizes: Sequence[int] | None = None) -> Self:
        """Batches one after another.

        Parameters
        ----------
        parts : sequence of Self
            What is common to all rows is taken from the first; an array that some mappings lack
            is zero in their rows.
        sizes : sequence of int, optional
            Rows of each, where parts may hold numbers in place of arrays.
        """
        if len(parts) == 1:
            return parts[0]
        sizes = sizes or [part.size for part in parts]
        kind: Any = cls
        batched, common = _fields_of(kind)
        values = {n: _joined([getattr(part, n) for part in parts], sizes) for n in batched}
        values |= {name: getattr(parts[0], name) for name in common}
        return cls(**values)


def split(sizes: Sequence[int]) -> list[NDArray[np.intp]]:
    """Row numbers of each of several batches in what they are joined to."""
    ends = np.cumsum(sizes)
    return np.split(np.arange(ends[-1]), ends[:-1])


@cache
def _fields_of(kind: type[Any]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of the fields that may have rows, and of those that have none."""
    known = [f for f in fields(kind) if f.metadata.get("rows") != "of the whole"]
    batched = tuple(f.name for f in known if "rows" not in f.metadata)
    return batched, tuple(f.name for f in known if "rows" in f.metadata)


def _rows(value: Any, index: NDArray[Any] | slice) -> Any:
    if isinstance(value, np.ndarray):
        return value[index] if value.ndim else value
    if isinstance(value, (float, str)):
        return value
    if isinstance(value, Batch):
        return value.rows(index)
    if isinstance(value, Mapping):
        return {name: _rows(item, index) for name, item in value.items()}
    if isinstance(value, tuple):
        return tuple(item.rows(index) if isinstance(item, Batch) else item for item in value)
    return value


def _size(value: Any) -> int:
    if isinstance(value, np.ndarray):
        return len(value) if value.ndim else 1
    if isinstance(value, Batch):
        return value.size
    if isinstance(value, Mapping):
        return max(map(_size, value.values()), default=1)
    return 1


def _joined(values: Sequence[Any], sizes: Sequence[int]) -> Any:
    first = values[0]
    if isinstance(first, Batch):
        return type(first).joined(values, sizes)
    if isinstance(first, Mapping):
        shapes = {name: wave.shape[1:] for value in values for name, wave in value.items()}
        return {
            name: np.concatenate(
                [
                    value[name] if name in value else np.zeros((size, *shape))
                    for value, size in zip(values, sizes, strict=True)
                ]
            )
            for name, shape in shapes.items()
        }
    if isinstance(first, (float, np.ndarray)):
        pairs = zip(values, sizes, strict=True)
        return np.concatenate([v if np.ndim(v) else np.full(size, v) for v, size in pairs])
    return first
