"""What a step of Newton's method leaves to do."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import wrightomega

from zcd.engine.kernel import left_of_junction

EMISSION_V = 0.04


@pytest.mark.parametrize("moved", [1e-3, 0.1, 3.0, 200.0, 9000.0])
@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_junction_never_leaves_more_than_it_says(moved: float, way: float) -> None:
    """Against the law itself, by scipy: from far below its knee to mains voltage above it."""
    before = np.concatenate([np.linspace(-60.0, 60.0, 4001), np.geomspace(60.0, 9000.0, 500)])
    omega = wrightomega(before)
    after = wrightomega(before + way * moved)
    missed = EMISSION_V * (after - omega - omega / (1.0 + omega) * way * moved)
    left = [left_of_junction(way * moved * EMISSION_V, EMISSION_V, bend) for bend in before]
    # the law's own rounding, a part in 1e15 of the state
    assert np.all(np.abs(missed) <= left + 1e-14 * EMISSION_V * (np.abs(before) + moved))
