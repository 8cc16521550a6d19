"""Tests of boards with a capacitor in series with the LED: verdict, remedies, duty."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

import zcd


@pytest.fixture(scope="module")
def text() -> str:
    """The board of the guide."""
    guide = files("zcd").joinpath("docs/board.md").read_text(encoding="utf-8")
    return next(block for block in re.findall(r"```toml\n(.*?)```", guide, re.S) if "C1 " in block)


def test_the_board_of_the_guide_passes_and_says_where_its_edges_lie(text: str) -> None:
    check = zcd.check(zcd.loads(text))
    assert check.passes
    nominal = next(level for level in check.levels if level.name == "nominal")
    assert -5e-3 < nominal.fall_offset_s < -2e-3
    assert "The series capacitor shifts the pulse" in str(check)


def test_the_capacitor_is_the_remedy_where_it_is_wrong(text: str) -> None:
    first = zcd.check(zcd.loads(text).with_(C1="3n3")).remedies[0]
    assert first.ref == "C1"
    assert first.low <= 33e-9 <= first.high < 2.3e-6


@pytest.mark.slow
def test_no_resistor_is_blamed_that_would_make_another_circuit(text: str) -> None:
    """With 1 kΩ harmonics double the pulses; 82 kΩ would be a chain of resistors, no remedy."""
    check = zcd.check(zcd.loads(text.replace("R1 22k - R2 22k", "R1 1k")))
    assert not check.passes
    assert all(remedy.distance_decades <= 1.0 for remedy in check.remedies)
    assert not any(remedy.low <= remedy.value <= remedy.high for remedy in check.remedies)
