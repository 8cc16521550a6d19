"""Readings of a solved waveform on points at uneven distances."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.boards import pin_wave

PERIOD_S = 0.02


@pytest.mark.parametrize("top_s", [0.0001, 0.0063, 0.0199])
def test_peak_of_a_parabola_is_its_own(top_s: float) -> None:
    """Through three points there is one parabola; near the seam the period goes on."""
    time_s = np.sort(np.random.default_rng(7).uniform(0.0, PERIOD_S, 50))
    away_s = (time_s - top_s + PERIOD_S / 2) % PERIOD_S - PERIOD_S / 2
    wave = 3.0 - (away_s / 0.004) ** 2
    solution = pin_wave(time_s, wave)
    assert_allclose(solution.peak(np.atleast_2d(wave)), 3.0, rtol=1e-9)


def test_the_highest_crest_need_not_have_the_highest_point() -> None:
    """Of two parabolas one has a point at its top, the higher one half way between two points."""
    time_s = np.linspace(0.0, PERIOD_S, 40, endpoint=False)
    tops_s = time_s[10], 0.5 * (time_s[30] + time_s[31])
    one, other = (
        top - ((time_s - at) / 0.001) ** 2 for top, at in zip((2.97, 3.0), tops_s, strict=True)
    )
    wave = np.maximum(one, other)
    assert wave.max() == one[10]
    assert_allclose(pin_wave(time_s, wave).peak(np.atleast_2d(wave)), 3.0, rtol=1e-9)


def test_what_springs_up_and_stays_has_no_peak_above_its_points() -> None:
    """A parabola through the corner would rise an eighth of the spring above it."""
    time_s = np.linspace(0.0, PERIOD_S, 40, endpoint=False)
    wave = np.where(time_s < time_s[10], 0.0, 1.0 - 1e-3 * (time_s - time_s[10]) / PERIOD_S)
    assert_allclose(pin_wave(time_s, wave).peak(np.atleast_2d(wave)), 1.0, rtol=1e-4)


@pytest.mark.parametrize("level_v", [0.0, 0.3, -0.8])
def test_share_above_a_level_is_not_counted_in_points(level_v: float) -> None:
    """Of a sine, 1/2 - asin(level)/pi of the period, on uneven points, each row by itself."""
    part = np.random.default_rng(8).uniform(0.0, 0.9, 400)
    time_s = (np.arange(400) + part) * PERIOD_S / 400
    sine = np.sin(2.0 * np.pi * time_s / PERIOD_S)
    waves = np.stack([sine - level_v, sine + 2.0, -np.ones(400)])
    share = pin_wave(time_s, waves).share_above_zero(waves)
    assert_allclose(share, [0.5 - np.arcsin(level_v) / np.pi, 1.0, 0.0], rtol=0.0, atol=5e-5)
