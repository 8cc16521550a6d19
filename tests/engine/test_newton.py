"""What a step of Newton's method leaves to do, and what it starts from on a finer grid."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import wrightomega

from zcd.engine.branches import _left_of_junction
from zcd.engine.grid import even_phases_rad, resample

EMISSION_V = 0.04


@pytest.mark.parametrize("moved", [1e-3, 0.1, 3.0, 200.0, 9000.0])
@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_junction_never_leaves_more_than_it_says(moved: float, way: float) -> None:
    """Against the law itself, by scipy: from far below its knee to mains voltage above it."""
    before = np.concatenate([np.linspace(-60.0, 60.0, 4001), np.geomspace(60.0, 9000.0, 500)])
    omega = wrightomega(before)
    after = wrightomega(before + way * moved)
    missed = EMISSION_V * (after - omega - omega / (1.0 + omega) * way * moved)
    left = _left_of_junction(np.full(before.shape, way * moved * EMISSION_V),
                             np.full(before.shape, EMISSION_V), before)  # fmt: skip
    # the law's own rounding, a part in 1e15 of the state
    assert np.all(np.abs(missed) <= left + 1e-14 * EMISSION_V * (np.abs(before) + moved))


def test_resampled_sine_is_a_sine() -> None:
    """Cubics through four points err by 3/128 of the fourth power of the spacing, in a sine."""
    phase = even_phases_rad(2, 40)
    finer = np.sort(np.random.default_rng(5).uniform(0.0, 2.0 * np.pi, (2, 80)), axis=1)
    result = resample(phase, {"sine": np.sin(phase)}, finer)["sine"]
    assert_allclose(result, np.sin(finer), rtol=0.0, atol=3.0 / 128.0 * (2.0 * np.pi / 40.0) ** 4)
    again = resample(phase, {"sine": np.sin(phase)}, phase)["sine"]
    assert_allclose(again, np.sin(phase), rtol=0.0, atol=1e-12)
    flat = resample(phase, {"flat": np.full(phase.shape, 2.0)}, finer)["flat"]
    assert_allclose(flat, 2.0, rtol=1e-14)
