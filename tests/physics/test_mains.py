"""The mains wave: worked examples of makers, and where harmonics move its crossings."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from zcd.errors import InputError
from zcd.physics.mains import crossing_shift_rad, mains_voltage_v


def voltage_at_v(time_s: float, rms_v: float, frequency_hz: float) -> float:
    return float(mains_voltage_v([[2 * np.pi * frequency_hz * time_s]], [rms_v])[0, 0])


@pytest.mark.law("AN521", where="text", atol=1e-6, why="printed to 1 us, as about")
def test_threshold_of_2_v_is_32_us_late(published: SimpleNamespace) -> None:
    """115 V 60 Hz reaches 2 V 32 us after its crossing."""
    found_s = brentq(lambda t: voltage_at_v(t, 115.0, 60.0) - 2.0, 0.0, 1e-3)
    assert_allclose(found_s, 32e-6, rtol=0.0, atol=published.atol)


@pytest.mark.law("AN521", where="text", atol=1e-6, why="printed to 1 uA")
def test_peak_through_5_mohm_is_32_ua(published: SimpleNamespace) -> None:
    peak_v = mains_voltage_v([[np.pi / 2]], [115.0])[0, 0]
    assert_allclose(peak_v / 5e6, 32e-6, rtol=0.0, atol=published.atol)


@pytest.mark.law("SBASAD0B", where="section 7.2.3", atol=0.5e-6, why="printed to 1 uA")
def test_peak_of_360_v_through_2_43_mohm_is_148_ua(published: SimpleNamespace) -> None:
    peak_v = mains_voltage_v([[np.pi / 2]], [360.0 / np.sqrt(2)])[0, 0]
    assert_allclose(peak_v / 2.43e6, 148e-6, rtol=0.0, atol=published.atol)


@pytest.mark.law("SBASAD0B", where="section 7.2.3", atol=0.5e3, why="printed to 1 mV/us")
def test_slope_at_the_crossing_is_113_mv_a_us(published: SimpleNamespace) -> None:
    """360 V peak, 50 Hz."""
    rms_v = 360.0 / np.sqrt(2)
    slope = (voltage_at_v(1e-6, rms_v, 50.0) - voltage_at_v(-1e-6, rms_v, 50.0)) / 2e-6
    assert_allclose(slope, 113e3, rtol=0.0, atol=published.atol)


def test_rms_is_of_the_fundamental_and_harmonics_add_to_it() -> None:
    phase = np.arange(4096)[None, :] * (2 * np.pi / 4096)
    plain = mains_voltage_v(phase, [230.0])
    bent = mains_voltage_v(phase, [230.0], (3, 5), (0.05, 0.06), (0.3, 2.0))
    assert_allclose(np.sqrt(np.mean(plain**2)), 230.0, rtol=1e-12)
    expected_v = 230.0 * np.sqrt(1 + 0.05**2 + 0.06**2)
    assert_allclose(np.sqrt(np.mean(bent**2)), expected_v, rtol=1e-12)
    fundamental = 2 * np.mean(bent * np.exp(-1j * phase))
    assert_allclose(fundamental, -1j * 230.0 * np.sqrt(2), rtol=1e-12, atol=1e-9)


def test_rows_have_their_own_rms() -> None:
    phase = np.full((2, 3), np.pi / 2)
    assert_allclose(
        mains_voltage_v(phase, [100.0, 230.0]), np.sqrt(2) * np.array([[100.0] * 3, [230.0] * 3])
    )


def test_no_harmonics_no_shift() -> None:
    assert_allclose(crossing_shift_rad(), 0.0, atol=0.0)


@pytest.mark.parametrize(("order", "ratio"), [(3, 0.05), (5, 0.06), (7, 0.05), (2, 0.02)])
def test_worst_shift_is_the_arc_sine_of_the_ratio(order: int, ratio: float) -> None:
    """sin x + a sin(hx + p) = 0 puts x at arcsin(a) at most, for the p that makes it so.

    Phases every half degree, so that the largest is missed by 1e-5 of it at the most. To first
    order in x the worst is a / sqrt(1 - (h a)^2), which is above by (h a)^2 / 2.
    """
    phases = np.linspace(0.0, 2 * np.pi, 721)
    shifts = crossing_shift_rad((order,), np.full((1, phases.size), ratio), phases[None, :])
    worst = np.max(np.abs(shifts), axis=1)
    assert_allclose(worst, np.arcsin(ratio), rtol=2e-5)
    assert_allclose(worst, ratio / np.sqrt(1 - (order * ratio) ** 2), rtol=(order * ratio) ** 2)


def test_five_per_cent_of_third_can_move_the_crossing_by_159_us() -> None:
    """At 50 Hz, arcsin(0.05) rad; to first order it would be 161 us."""
    phases = np.linspace(0, 2 * np.pi, 721)
    shifts, _ = crossing_shift_rad((3,), np.full((1, phases.size), 0.05), phases[None, :])
    assert_allclose(np.max(shifts) / (2 * np.pi * 50.0), 159.2e-6, rtol=0.0, atol=0.05e-6)


@pytest.mark.parametrize("phase_rad", [0.4, 1.7, -2.0])
def test_shift_is_where_the_wave_is_zero_and_late_is_positive(phase_rad: float) -> None:
    harmonics = ((3, 5), (0.05, 0.03), (phase_rad, 1.0))
    (rising,), (falling,) = crossing_shift_rad(*harmonics)
    near = np.array([[rising - 0.01, rising, rising + 0.01]])
    assert_allclose(mains_voltage_v(near, [1.0], *harmonics)[0, 1], 0.0, atol=1e-9)
    assert mains_voltage_v(near, [1.0], *harmonics)[0, 2] > 0
    later = np.pi + falling + np.array([[-0.01, 0.0, 0.01]])
    assert_allclose(mains_voltage_v(later, [1.0], *harmonics)[0, 1], 0.0, atol=1e-9)
    assert mains_voltage_v(later, [1.0], *harmonics)[0, 2] < 0


def test_odd_harmonics_shift_both_crossings_alike() -> None:
    rising, falling = crossing_shift_rad((3, 7), (0.05, 0.02), (1.0, -0.5))
    assert_allclose(rising, falling, rtol=1e-9)


def test_even_harmonic_shifts_the_crossings_apart() -> None:
    rising, falling = crossing_shift_rad((2,), (0.02,), (np.pi / 2,))
    assert rising < 0 < falling


def test_usual_rectifier_phase_leaves_the_crossing() -> None:
    """A flat top: third harmonic in phase with the fundamental."""
    assert_allclose(crossing_shift_rad((3,), (0.05,), (0.0,)), 0.0, atol=1e-9)


def test_rows_have_their_own_harmonics() -> None:
    rng = np.random.default_rng(5)
    ratios, phases = rng.uniform(0, 0.03, (2, 40)), rng.uniform(-np.pi, np.pi, (2, 40))
    batch = np.array(crossing_shift_rad((3, 8), ratios, phases))
    single = [crossing_shift_rad((3, 8), a, p) for a, p in zip(ratios.T, phases.T, strict=True)]
    assert_allclose(batch, np.array(single)[:, :, 0].T, atol=1e-12)
    rising = mains_voltage_v(batch[0][:, None], np.ones(40), (3, 8), ratios, phases)
    falling = mains_voltage_v(np.pi + batch[1][:, None], np.ones(40), (3, 8), ratios, phases)
    assert_allclose([rising, falling], 0.0, atol=1e-12)


def test_crossing_agrees_with_a_general_root_finder() -> None:
    """scipy's bracketing method, on the steepest mix that leaves one crossing."""
    harmonics = ((3, 5, 7), (0.05, 0.06, 0.05), (2.0, 2.5, 3.0))
    root = brentq(
        lambda x: float(mains_voltage_v([[x]], [1.0], *harmonics)[0, 0]), -0.5, 0.5, xtol=1e-14
    )
    assert_allclose(crossing_shift_rad(*harmonics)[0], root, atol=1e-12)


def test_harmonics_without_a_crossing_nearby_are_refused() -> None:
    with pytest.raises(InputError, match=r"mains.harmonics must be weak enough"):
        crossing_shift_rad((2,), (0.9,), (np.pi / 2,))
