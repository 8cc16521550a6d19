"""Derating of resistors."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from numpy.testing import assert_allclose

from zcd.physics.resistor import derated_power_w


@pytest.mark.published(
    "YAGEO-RC0402",
    where="figure 3: full power to 70 degC, a straight line to nothing at 155 degC",
    atol=0.0005,
    why="shares worked out from the line by hand to three figures",
)
@pytest.mark.parametrize(
    ("ambient_degc", "share"),
    [(-55, 1.0), (70, 1.0), (85, 0.824), (100, 0.647), (125, 0.353), (140, 0.176), (155, 0.0)],
)
def test_power_follows_the_derating_line(
    ambient_degc: float, share: float, published: SimpleNamespace
) -> None:
    assert_allclose(derated_power_w(1.0, ambient_degc), share, rtol=0.0, atol=published.atol)


def test_no_power_is_left_above_the_line() -> None:
    assert_allclose(derated_power_w(0.25, [155.0, 200.0]), 0.0)


def test_power_scales_with_the_rating() -> None:
    assert_allclose(derated_power_w([0.1, 0.25, 1.0], 70.0), [0.1, 0.25, 1.0])
