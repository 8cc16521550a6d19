"""Curves between solved points are those of scipy's monotone interpolation.

Source: F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise cubic
interpolants", SIAM J. Sci. Stat. Comput. 5 (1984), as scipy's PchipInterpolator implements it.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import PchipInterpolator

from tests.boards import VARIANTS
from zcd.circuit.build import build_circuit
from zcd.drawing.curves import period_curve, smooth
from zcd.drawing.waveforms import mains_period_s
from zcd.engine.solve import solve


def test_between_points_as_scipy() -> None:
    rng = np.random.default_rng(5)
    at = np.cumsum(rng.uniform(0.2, 2.0, 40))
    values = np.round(rng.normal(size=40), 1)  # with peaks and equal neighbours
    fine, drawn = smooth(at, values)
    # the slopes at both ends are choices of their own
    inner = (fine >= at[1]) & (fine <= at[-2])
    assert_allclose(drawn[inner], PchipInterpolator(at, values)(fine[inner]), atol=1e-12)


def test_equal_instants_count_once() -> None:
    fine, drawn = smooth(np.array([0.0, 1.0, 1.0, 2.0]), np.array([0.0, 3.0, 3.0, 3.0]))
    assert np.all(np.diff(fine) > 0.0)
    assert drawn[-1] == 3.0


@pytest.mark.parametrize("name", VARIANTS)
def test_one_period_of_the_mains_is_its_sine(name: str) -> None:
    """A source without harmonics: sqrt(2) times RMS, drawn within two thousandths of its peak."""
    board = VARIANTS[name]
    solution = solve(build_circuit(board))
    period_s = mains_period_s(solution, 0)
    time, volts = period_curve(solution, solution.between_v("line", "neutral"), period_s)
    assert (time[0], time[-1]) == (0.0, period_s)
    peak = 2.0**0.5 * board.mains.rms_v
    assert_allclose(volts, peak * np.sin(2.0 * np.pi * time / period_s), atol=2e-3 * peak)
