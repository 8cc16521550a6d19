"""Of a battery a part in every run, which has each value of each axis; all of it is `slow`."""

from __future__ import annotations

from collections.abc import Collection
from itertools import product
from typing import Any

import pytest


def some(values: Collection[Any], *often: Any) -> list[Any]:
    """All values, of which those outside `often` are slow."""
    return [v if v in often else pytest.param(v, marks=pytest.mark.slow) for v in values]


def square(*axes: Collection[Any]) -> list[Any]:
    """All combinations; in every run as many as the longest axis has values, all slow but those."""
    values = [tuple(axis) for axis in axes]
    count, turns, run = max(map(len, values)), [], 1
    for axis in values:  # the shorter ones in turn, each as slowly as those before it need
        slow = 1 if len(axis) == count else run
        turns.append([k // slow % len(axis) for k in range(count)])
        run *= len(axis) if len(axis) < count else 1
    often = set(zip(*turns, strict=True))
    return [
        pytest.param(
            *(axis[k] for axis, k in zip(values, at, strict=True)),
            marks=() if at in often else pytest.mark.slow,
        )
        for at in product(*(range(len(axis)) for axis in values))
    ]
