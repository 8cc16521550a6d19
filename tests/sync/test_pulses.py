"""Pulses found on waveforms made by hand, whose edges are known."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

from tests.boards import pin_wave
from zcd.circuit.build import mains_harmonic
from zcd.circuit.elements import Phototransistor
from zcd.physics.mains import crossing_shift_rad
from zcd.sync.pulses import MAX_PULSES, Pulses, find_pulses

FloatArray = NDArray[np.float64]

PERIOD_S = 0.02
LOW_V, HIGH_V, SUPPLY_V = 1.0, 4.0, 5.0
RAMP_S = 200e-6
"""Of every edge, from supply to nothing: 40 us a volt."""
TIME_S = np.arange(4000) * (PERIOD_S / 4000)
US = 1e-6


def trapezoids(
    *pulses_s: tuple[float, float], bottom_v: float = 0.0, ramp_s: float = RAMP_S
) -> FloatArray:
    """The pin at 5 V with low pulses; each pair is the middle of the falling and rising ramp."""
    pin = np.full(TIME_S.shape, SUPPLY_V)
    for fall, rise in pulses_s:
        for turn in (-PERIOD_S, 0.0, PERIOD_S):
            down = np.clip((TIME_S - turn - fall) / ramp_s + 0.5, 0.0, 1.0)
            up = np.clip((TIME_S - turn - rise) / ramp_s + 0.5, 0.0, 1.0)
            pin = pin - (SUPPLY_V - bottom_v) * (down - up)
    return pin


def found(*pins: FloatArray, **source: Any) -> Pulses:
    return find_pulses(pin_wave(TIME_S, np.array(pins), **source), LOW_V, HIGH_V)


# 5 V in 200 us: from the ramp's middle at 2.5 V, 1 V and 4 V are 60 us away
FALL_LATE_S = RISE_LATE_S = 60 * US
BAND_S = 120 * US


def test_one_pulse() -> None:
    """Falls through 1 V 60 us after the middle of its ramp, rises through 4 V 60 us after."""
    pulses = found(trapezoids((0.001, 0.009)))
    assert pulses.count.tolist() == [1]
    assert_allclose(pulses.fall_s[0, 0], 0.001 + FALL_LATE_S, atol=1e-9)
    assert_allclose(pulses.rise_s[0, 0], 0.009 + RISE_LATE_S, atol=1e-9)
    assert_allclose(pulses.low_time_s[0, 0], 0.008, atol=1e-9)
    assert_allclose(pulses.fall_transition_s[0, 0], BAND_S, atol=1e-9)
    assert_allclose(pulses.rise_transition_s[0, 0], BAND_S, atol=1e-9)
    assert_allclose(pulses.period_s, PERIOD_S)
    assert_allclose([pulses.lowest_v[0], pulses.highest_v[0]], [0.0, SUPPLY_V], atol=1e-9)


def test_late_is_positive_and_early_is_negative() -> None:
    """Falls 1 ms after the crossing at 0 and rises 1 ms before the one at 10 ms."""
    pulses = found(trapezoids((0.001, 0.009)))
    assert_allclose(pulses.fall_offset_s[0, 0], 1e-3 + FALL_LATE_S, atol=1e-9)
    assert_allclose(pulses.rise_offset_s[0, 0], -1e-3 + RISE_LATE_S, atol=1e-9)


def test_early_fall_before_the_period_begins_is_negative() -> None:
    """Falls 0.5 ms before the crossing, which is the next period's for the point in time."""
    pulses = found(trapezoids((0.0195, 0.0295)))
    assert_allclose(pulses.fall_s[0, 0], 0.0195 + FALL_LATE_S, atol=1e-9)
    assert_allclose(pulses.rise_s[0, 0], 0.0295 + RISE_LATE_S, atol=1e-9)
    assert_allclose(pulses.low_time_s[0, 0], 0.010, atol=1e-9)
    assert_allclose(pulses.fall_offset_s[0, 0], -0.5e-3 + FALL_LATE_S, atol=1e-9)
    assert_allclose(pulses.rise_offset_s[0, 0], -0.5e-3 + RISE_LATE_S, atol=1e-9)


@pytest.mark.parametrize("fall_s", [0.0199, 0.01994, 0.01999, 0.0, 0.00005])
def test_edge_at_the_seam_of_the_period(fall_s: float) -> None:
    """The ramp itself lies across the seam."""
    pulses = found(trapezoids((fall_s, fall_s + 0.008)))
    assert pulses.count.tolist() == [1]
    expected = (fall_s + FALL_LATE_S) % PERIOD_S
    assert_allclose(pulses.fall_s[0, 0], expected, atol=1e-9)
    assert_allclose(pulses.low_time_s[0, 0], 0.008, atol=1e-9)
    assert_allclose(pulses.fall_transition_s[0, 0], BAND_S, atol=1e-9)


def test_two_pulses_are_in_order_of_time() -> None:
    pulses = found(trapezoids((0.011, 0.019), (0.0015, 0.0095)))
    assert pulses.count.tolist() == [2]
    assert_allclose(pulses.fall_s[0, :2], np.array([0.0015, 0.011]) + FALL_LATE_S, atol=1e-9)
    assert_allclose(pulses.rise_s[0, :2], np.array([0.0095, 0.019]) + RISE_LATE_S, atol=1e-9)
    assert_allclose(pulses.low_time_s[0, :2], 0.008, atol=1e-9)
    assert_allclose(pulses.fall_offset_s[0, :2], np.array([1.5e-3, 1e-3]) + FALL_LATE_S, atol=1e-9)
    assert_allclose(pulses.period_s, PERIOD_S / 2)


def test_two_pulses_of_which_one_wraps_around() -> None:
    """The pin is low where the period begins."""
    pulses = found(trapezoids((0.009, 0.0105), (0.0188, 0.0203)))
    assert pulses.count.tolist() == [2]
    assert_allclose(pulses.fall_s[0, :2], np.array([0.009, 0.0188]) + FALL_LATE_S, atol=1e-9)
    assert_allclose(pulses.rise_s[0, :2], np.array([0.0105, 0.0203]) + RISE_LATE_S, atol=1e-9)
    assert_allclose(pulses.low_time_s[0, :2], 0.0015, atol=1e-9)


def test_rows_with_different_numbers_of_pulses() -> None:
    pulses = found(
        trapezoids((0.001, 0.009)),
        np.full(TIME_S.shape, SUPPLY_V),
        trapezoids((0.001, 0.004), (0.011, 0.014)),
    )
    assert pulses.count.tolist() == [1, 0, 2]


def every_array(pulses: Pulses) -> dict[str, FloatArray]:
    offsets = ("fall_offset_s", "rise_offset_s")
    bands = ("fall_transition_s", "rise_transition_s")
    names = ("fall_s", "rise_s", "low_time_s", *offsets, *bands)
    return {name: getattr(pulses, name) for name in names}


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_there_is_nan_where_there_is_no_pulse(count: int) -> None:
    pulses = found(trapezoids(*((0.001 + 0.005 * k, 0.003 + 0.005 * k) for k in range(count))))
    assert pulses.count.tolist() == [count]
    for name, values in every_array(pulses).items():
        assert values.shape == (1, MAX_PULSES), name
        assert np.all(np.isfinite(values[0, :count])), name
        assert np.all(np.isnan(values[0, count:])), name


def test_pin_that_never_goes_low() -> None:
    """It dips to 1.5 V, into the undefined band."""
    pulses = found(trapezoids((0.001, 0.009), bottom_v=1.5))
    assert pulses.count.tolist() == [0]
    assert np.isnan(pulses.period_s[0])
    assert_allclose(pulses.lowest_v, 1.5)


def test_pin_that_never_goes_high() -> None:
    pulses = found(0.7 * trapezoids((0.001, 0.009)))
    assert pulses.count.tolist() == [0]
    assert_allclose(pulses.highest_v, 3.5)


@pytest.mark.parametrize("pin_v", [0.0, 2.5, 5.0])
def test_pin_that_does_not_move(pin_v: float) -> None:
    assert found(np.full(TIME_S.shape, pin_v)).count.tolist() == [0]


def test_dip_into_the_band_ends_no_pulse() -> None:
    """Within the pulse the pin comes up to 3 V and goes back: still one pulse."""
    pin = trapezoids((0.001, 0.009)) + 3.0 * ((TIME_S > 0.004) & (TIME_S < 0.005))
    assert found(pin).count.tolist() == [1]


def test_transition_counts_from_the_last_time_the_pin_was_high() -> None:
    """A step on the way down, at 2.5 V for 1 ms."""
    pin = np.minimum(trapezoids((0.002, 0.009)), SUPPLY_V - 2.5 * (TIME_S > 0.001))
    pin[TIME_S > 0.0091] = SUPPLY_V
    pulses = found(pin)
    assert_allclose(pulses.fall_transition_s[0, 0], 0.001 + FALL_LATE_S, atol=10 * US)


@pytest.mark.parametrize("first_s", [0.0, 0.0015])
def test_chatter_keeps_the_first_pulses_whole(first_s: float) -> None:
    """Six pulses of 1 ms; of those kept, each ends with its own rising edge."""
    starts = (first_s + 0.003 * np.arange(6)) % PERIOD_S
    pulses = found(trapezoids(*((s, s + 0.001) for s in starts)))
    assert pulses.count.tolist() == [MAX_PULSES]
    assert_allclose(pulses.low_time_s[0], 0.001, atol=1e-9)


def test_chatter_that_is_low_where_the_period_begins() -> None:
    """The first rising edge belongs to a pulse of the period before."""
    starts = (0.0195 + 0.003 * np.arange(6)) % PERIOD_S
    pulses = found(trapezoids(*((s, s + 0.001) for s in starts)))
    assert_allclose(pulses.low_time_s[0], 0.001, atol=1e-9)


def test_offset_is_from_the_true_crossing() -> None:
    """5 % of third harmonic in quadrature: the true crossings are 159 us early."""
    phase_rad = np.pi / 2 + 0.15
    rising_rad, falling_rad = crossing_shift_rad((3,), (0.05,), (phase_rad,))
    shift_s = np.array([rising_rad[0], falling_rad[0]]) * PERIOD_S / (2 * np.pi)
    assert_allclose(shift_s, -159 * US, atol=1 * US)
    harmonic = mains_harmonic(3, ratio=0.05, phase_rad=phase_rad)
    pulses = found(trapezoids((0.001, 0.009)), harmonics=[harmonic])
    plain = found(trapezoids((0.001, 0.009)))
    assert_allclose(pulses.fall_offset_s[0, 0] - plain.fall_offset_s[0, 0], -shift_s[0], atol=1e-9)
    assert_allclose(pulses.rise_offset_s[0, 0] - plain.rise_offset_s[0, 0], -shift_s[1], atol=1e-9)


def test_even_harmonic_moves_the_two_crossings_apart() -> None:
    harmonic = mains_harmonic(2, ratio=0.02, phase_rad=np.pi / 2)
    pulses = found(trapezoids((0.001, 0.009)), harmonics=[harmonic])
    plain = found(trapezoids((0.001, 0.009)))
    shift_s = 0.02 * PERIOD_S / (2 * np.pi)
    assert_allclose(
        [
            pulses.fall_offset_s[0, 0] - plain.fall_offset_s[0, 0],
            pulses.rise_offset_s[0, 0] - plain.rise_offset_s[0, 0],
        ],
        [shift_s, -shift_s],
        rtol=0.01,
    )


def test_other_frequency_stretches_the_period() -> None:
    pin = trapezoids((0.001, 0.009))
    solution = pin_wave(TIME_S * 50.0 / 60.0, pin, 60.0)
    pulses = find_pulses(solution, LOW_V, HIGH_V)
    assert_allclose(pulses.period_s, 1 / 60.0)
    assert_allclose(pulses.low_time_s[0, 0], 0.008 * 50.0 / 60.0, atol=1e-9)


def test_thresholds_may_differ_from_row_to_row() -> None:
    pin = np.array([trapezoids((0.001, 0.009))] * 2)
    pulses = find_pulses(pin_wave(TIME_S, pin), np.array([1.0, 2.0]), np.array([4.0, 3.0]))
    assert_allclose(pulses.fall_transition_s[:, 0], [BAND_S, 40 * US], atol=1e-9)


def test_one_threshold_for_both_edges() -> None:
    pulses = find_pulses(pin_wave(TIME_S, trapezoids((0.001, 0.009))), 2.5, 2.5)
    assert_allclose(pulses.low_time_s[0, 0], 0.008, atol=1e-9)
    assert_allclose(pulses.fall_transition_s[0, 0], 0.0, atol=1e-9)


# ------------------------------------------------------------------ which crossing an edge has


def lit(pin: FloatArray, first_half: bool, follower: bool = False) -> Pulses:
    """Pulses of a detector whose LED conducts in one half of the period only."""
    transistor = Phototransistor(
        ref="Q",
        a="logic+" if follower else "pin",
        b="pin" if follower else "logic0",
        leds=("L",),
        ctr_ratio=1.0,
        remaining_ratio=1.0,
        shape_weight=0.0,
        temperature_degc=25.0,
        dark_a=0.0,
        knee_v=0.027,
        knee_ratio=141.0,
        early_v=22.0,
        storage_s=1e-5,
    )
    light = np.maximum(np.sin(2 * np.pi * TIME_S / PERIOD_S) * (1 if first_half else -1), 0.0)
    bare = pin_wave(TIME_S, pin)
    solution = replace(
        bare, circuit=bare.circuit.add(transistor), currents_a={"L": 1e-3 * light[None]}
    )
    return find_pulses(solution, LOW_V, HIGH_V)


def test_edge_past_the_peak_is_still_late_for_its_own_half() -> None:
    """Falls 6 ms after the crossing that lit the LED, 4 ms before the next."""
    pulses = lit(trapezoids((0.006, 0.009)), first_half=True)
    assert_allclose(pulses.fall_offset_s[0, 0], 6e-3 + FALL_LATE_S, atol=1e-9)
    assert_allclose(pulses.rise_offset_s[0, 0], -1e-3 + RISE_LATE_S, atol=1e-9)


def test_second_half_is_counted_from_its_own_crossings() -> None:
    """Lit from 10 to 20 ms; the rising edge comes when the next period has begun."""
    pulses = lit(trapezoids((0.016, 0.0203)), first_half=False)
    assert_allclose(pulses.fall_offset_s[0, 0], 6e-3 + FALL_LATE_S, atol=1e-9)
    assert_allclose(pulses.rise_offset_s[0, 0], 0.3e-3 + RISE_LATE_S, atol=1e-9)


def test_emitter_follower_falls_when_the_light_ends() -> None:
    """Lit from 0 to 10 ms: high from 6 to 9 ms."""
    pulses = lit(trapezoids((0.009, 0.026)), first_half=True, follower=True)
    assert_allclose(pulses.fall_offset_s[0, 0], -1e-3 + FALL_LATE_S, atol=1e-9)
    assert_allclose(pulses.rise_offset_s[0, 0], 6e-3 + RISE_LATE_S, atol=1e-9)


def test_edge_before_the_periods_end_belongs_to_the_next_rising_crossing() -> None:
    """A second harmonic moves rising and falling crossings apart."""
    harmonic = mains_harmonic(2, ratio=0.05, phase_rad=1.0)
    bent = found(trapezoids((0.0195, 0.0295)), harmonics=[harmonic])
    (rising,), (falling,) = crossing_shift_rad(
        np.array([2.0]), np.array([[0.05]]), np.array([[1.0]])
    )
    turn_s = PERIOD_S / (2 * np.pi)
    assert abs(rising - falling) * turn_s > 50 * US
    due = -0.5e-3 + FALL_LATE_S - rising * turn_s
    assert_allclose(bent.fall_offset_s[0, 0], due, atol=1e-9)
    assert_allclose(bent.rise_offset_s[0, 0], -0.5e-3 + RISE_LATE_S - falling * turn_s, atol=1e-9)


def test_edge_between_uneven_points_lies_on_the_curve() -> None:
    """An exponential rise, its points further and further apart; straight lines are far off."""
    lag_s, begins_s = 300 * US, 0.009
    steps = np.concatenate([np.linspace(0.0, begins_s, 200, endpoint=False),
                            begins_s + 40 * US * (1.35 ** np.arange(14) - 1.0)])  # fmt: skip
    rise = SUPPLY_V * -np.expm1(-np.maximum(steps - begins_s, 0.0) / lag_s)
    pin = np.where(steps < 0.001, SUPPLY_V, rise)
    (late_s,) = -lag_s * np.log1p(-np.array([HIGH_V]) / SUPPLY_V)
    pulses = find_pulses(pin_wave(steps, pin), LOW_V, HIGH_V)
    exact = begins_s + late_s
    straight = np.interp(HIGH_V, rise[200:], steps[200:])
    assert abs(straight - exact) > 5 * US
    assert abs(pulses.rise_s[0, 0] - exact) < 0.25 * abs(straight - exact)


@pytest.mark.parametrize(
    "ripple_v", [0.0, 0.3, -0.3], ids=["smooth", "peaks beside the edge", "peaks at the edge"]
)
def test_edges_lie_on_the_monotone_cubic_of_scipy(ripple_v: float) -> None:
    """Fritsch and Butland's slopes [scipy PchipInterpolator], on points at uneven distances."""
    rng = np.random.default_rng(5)
    time_s = np.sort(rng.uniform(0.0, PERIOD_S, 60))
    pin = 2.5 + 2.4 * np.cos(2.0 * np.pi * time_s / PERIOD_S - 1.0)
    if ripple_v:
        pin = np.where(pin > 2.5, 4.7, 0.3) + ripple_v * np.tile([0.6, -0.6], 30)
    cubic = PchipInterpolator(
        np.concatenate([time_s - PERIOD_S, time_s, time_s + PERIOD_S]), np.tile(pin, 3)
    )
    result = find_pulses(pin_wave(time_s, pin), LOW_V, HIGH_V)
    (fall_s,) = result.fall_s[0, :1]
    fine_s = np.linspace(0.0, PERIOD_S, 200_001)
    below = np.flatnonzero((cubic(fine_s[1:]) <= LOW_V) & (cubic(fine_s[:-1]) > LOW_V))
    expected_s = brentq(lambda t: cubic(t) - LOW_V, fine_s[below[0]], fine_s[below[0] + 1])
    assert_allclose(fall_s, expected_s, atol=1e-8)
    into = np.flatnonzero((cubic(fine_s[1:]) < HIGH_V) & (cubic(fine_s[:-1]) >= HIGH_V))
    entered_s = brentq(lambda t: cubic(t) - HIGH_V, fine_s[into[0]], fine_s[into[0] + 1])
    assert_allclose(result.fall_transition_s[0, 0], expected_s - entered_s, atol=2e-8)
