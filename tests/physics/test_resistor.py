"""Derating and drift of resistors."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from numpy.testing import assert_allclose

from zcd.physics.resistor import derated_power_w, drift_ratio
from zcd.refdata import table


@pytest.mark.transcribed(
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


@pytest.mark.fitted(
    "VISHAY-TNPW",
    where="load life at 1000, 8000 and 225 000 h; also CRCW and CRCW-HP at 1000 and 8000 h",
    rtol=0.02,
    why="printed to one or two digits: 0.05, 0.10 and 0.30 %",
)
def test_limits_of_longer_tests_lie_on_the_cube_root(published: SimpleNamespace) -> None:
    rows = [row for row in table("resistor_drift") if row["test"] == "load life"]
    first = {row["kind"]: row["drift_ratio"] for row in rows if row["time_h"] == 1000.0}
    later = [row for row in rows if row["time_h"] > 1000.0]
    assert len(later) == 4
    for row in later:
        result = drift_ratio(row["time_h"], first[row["kind"]])
        assert_allclose(result, row["drift_ratio"], rtol=published.rtol)


def test_nothing_drifts_without_hours() -> None:
    assert_allclose(drift_ratio([0.0, 1000.0], 0.03), [0.0, 0.03])
