"""Boundaries of made-up planes, whose curves are known exactly."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from zcd.margin.lattice import ROOT_TOLERANCE, Curve, boundary, explore
from zcd.margin.roots import broken_rule

FloatArray = NDArray[np.float64]
Plane = Callable[[FloatArray, FloatArray], FloatArray]
FIRST = 0.31


class Counted:
    """A plane that counts how many points it was asked for."""

    def __init__(self, plane: Plane) -> None:
        self.plane = plane
        self.points = 0

    def __call__(self, across: FloatArray, up: FloatArray) -> FloatArray:
        self.points += across.size
        return self.plane(across, up)


def ring(across: FloatArray, up: FloatArray) -> FloatArray:
    """Holds between two circles: rule 0 is broken outside, rule 1 inside."""
    radius = np.hypot(across - 0.52, up - 0.47)
    return np.stack([0.3 - radius, radius - 0.11], axis=1)


def line(across: FloatArray, up: FloatArray) -> FloatArray:
    """Rule 0 is broken below a line, and no other."""
    return np.stack([up - FIRST - 0.4 * across, np.ones(up.shape)], axis=1)


def saddle(across: FloatArray, up: FloatArray) -> FloatArray:
    return ((across - 0.501) * (up - 0.497) + 1e-5)[:, None]


def curves(plane: Plane) -> tuple[Curve, ...]:
    return boundary(plane, explore(plane))


def test_ring_has_two_closed_curves_of_different_cause() -> None:
    outer, inner = curves(ring)
    for curve, radius, kind in ((outer, 0.3, 0), (inner, 0.11, 1)):
        assert curve.closed
        assert set(curve.kinds) == {kind}
        result = np.hypot(curve.across - 0.52, curve.up - 0.47)
        assert_allclose(result, radius, rtol=0.0, atol=2.0 * ROOT_TOLERANCE)


@pytest.mark.parametrize("plane", [ring, line])
def test_points_follow_each_other(plane: Plane) -> None:
    """No step is longer than the diagonal of a fine cell; ends are at the rim of the map."""
    pitch = 1.0 / (explore(plane).places.size - 1)
    for curve in curves(plane):
        points = np.stack([curve.across, curve.up])
        steps = np.diff(points, axis=1, append=points[:, :1] if curve.closed else points[:, -1:])
        assert np.hypot(*steps).max() <= np.sqrt(2.0) * pitch + 2.0 * ROOT_TOLERANCE
        if not curve.closed:
            for end in (points[:, 0], points[:, -1]):
                assert np.any(np.isclose(end, 0.0) | np.isclose(end, 1.0))


def test_line_is_straight_and_exact() -> None:
    (curve,) = curves(line)
    assert not curve.closed
    assert_allclose(curve.up, FIRST + 0.4 * curve.across, rtol=0.0, atol=ROOT_TOLERANCE)


def test_saddle_within_one_cell_is_not_joined_crosswise() -> None:
    """Two branches of a hyperbola, each on its own side of the centre."""
    first, second = curves(saddle)
    for curve in (first, second):
        assert np.ptp(np.sign(curve.across - 0.501 + (curve.up - 0.497) * -1.0)) == 0
        assert_allclose((curve.across - 0.501) * (curve.up - 0.497), -1e-5, atol=ROOT_TOLERANCE)


def test_nothing_to_find() -> None:
    for sign in (1.0, -1.0):
        assert curves(lambda x, _, s=sign: np.full((x.size, 2), s)) == ()  # type: ignore[misc]


def test_a_step_is_found_as_well_as_a_slope() -> None:
    """A rule that jumps from kept to broken."""
    (curve,) = curves(lambda x, y: np.where(y > 0.4 + 0.2 * x, 1.0, -1.0)[:, None])
    assert_allclose(curve.up, 0.4 + 0.2 * curve.across, rtol=0.0, atol=5.0 * ROOT_TOLERANCE)


def test_kinds_agree_with_every_point_solved() -> None:
    """What is interpolated is of the kind that it would have been solved to."""
    lattice = explore(ring)
    across, up = np.meshgrid(lattice.places, lattice.places)
    full = broken_rule(ring(across.ravel(), up.ravel())).reshape(across.shape)
    assert np.array_equal(broken_rule(lattice.margins), full)


def test_most_of_the_fine_lattice_is_never_solved() -> None:
    counted = Counted(ring)
    lattice = explore(counted)
    assert counted.points == np.count_nonzero(lattice.solved)
    assert counted.points < 0.25 * lattice.solved.size
    boundary(counted, lattice)
    assert counted.points < 0.6 * lattice.solved.size


def test_a_thin_finger_is_followed_beyond_the_coarse_lattice() -> None:
    """A strip narrower than a coarse cell, seen where it is wide, is traced to its end."""

    def finger(across: FloatArray, up: FloatArray) -> FloatArray:
        return (0.12 * (0.9 - across) - np.abs(up - 0.52))[:, None]

    (curve,) = curves(finger)
    assert curve.across.max() > 0.9 - 0.012 / 0.12
    tip = curve.across > 0.6
    assert np.all(0.24 * (0.9 - curve.across[tip]) < 2.0 / 24.0)
    assert_allclose(
        np.abs(curve.up - 0.52), 0.12 * (0.9 - curve.across), rtol=0.0, atol=2.0 * ROOT_TOLERANCE
    )
