"""What the drive delivers: limits, symmetry, and a plain time-stepping simulation."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from zcd.physics.phase_control import power_ratio
from zcd.simulation.gate import Delivered, Load, Switch, delivered

DEGREES = np.arange(5.0, 156.0, 10.0)
FIRING = np.radians(DEGREES)
ON_TIME = (0.0, 0.0)


def load(**changes: Any) -> Load:
    """A nearly resistive load with a gate pulse of 1 ms at 50 Hz."""
    return replace(Load(lag_rad=0.0, latching_ratio=1e-6, gate_rad=np.pi / 10.0), **changes)


def stepped(firing: float, late: tuple[float, float], what: Load) -> tuple[float, float, float]:
    """Rms and mean over the mains peak, and the fundamental, by small steps of time."""
    per_half, halves = 4_000, 8
    step = np.pi / per_half
    r, x = np.cos(what.lag_rad), np.sin(what.lag_rad)
    current, on, latched = 0.0, 0, False
    voltage = np.zeros(halves * per_half)
    starts = [k * np.pi + firing + late[k % 2] for k in range(-1, halves + 1)]
    for n in range(voltage.size):
        angle = (n + 0.5) * step
        gate = any(s <= angle < s + what.gate_rad for s in starts)
        mains = np.sin(angle)
        if on == 0 and gate:
            on, current, latched = (1 if mains > 0 else -1), 0.0, False
        if on:
            new = current + step * (mains - r * current) / x
            ended = new * on <= 0.0
            latched |= new * on >= what.latching_ratio
            if ended or (not gate and not latched):
                on, current = 0, 0.0
            else:
                voltage[n], current = mains, new
    last = voltage[-2 * per_half :]
    angles = (np.arange(2 * per_half) + 0.5) * step
    fundamental = np.abs(np.mean(2.0 * last * np.exp(-1j * angles)))
    return float(np.sqrt(2.0 * np.mean(last**2))), float(np.mean(last)), float(fundamental)


def row(found: Delivered, n: int = 0) -> tuple[float, float, float]:
    return (
        float(found.rms_ratio[n]),
        float(found.direct_ratio[n]),
        float(found.fundamental_ratio[n]),
    )


def test_resistive_load_gets_the_closed_form() -> None:
    result = delivered(FIRING, ON_TIME, load())
    assert_allclose(result.rms_ratio**2, power_ratio(FIRING), atol=2e-6)
    assert_allclose(result.direct_ratio, 0.0, atol=1e-12)
    assert np.all(result.fundamental_ratio <= result.rms_ratio + 1e-12)


@pytest.mark.parametrize(
    ("firing_deg", "late_deg", "changes"),
    [
        (100.0, (0.0, 0.0), {"lag_rad": 0.6}),
        (90.0, (12.0, -8.0), {"lag_rad": 0.3}),
        (20.0, (0.0, 0.0), {"lag_rad": 1.2}),
        (20.0, (0.0, 0.0), {"lag_rad": 1.2, "gate_rad": 1.5}),
        (170.0, (0.0, 0.0), {"lag_rad": 0.1}),
    ],
    ids=["inductive", "unequal", "half-waving", "held gate", "straddling"],
)
def test_against_small_steps(
    firing_deg: float, late_deg: tuple[float, float], changes: dict[str, float]
) -> None:
    what, late = load(**changes), (np.radians(late_deg[0]), np.radians(late_deg[1]))
    result = delivered(np.radians([firing_deg]), late, what)
    assert_allclose(row(result), stepped(np.radians(firing_deg), late, what), atol=2e-3)


def test_unequal_half_cycles_put_a_direct_voltage_into_the_winding() -> None:
    """Mean of two unequal pieces of sine; and the error in the other half turns its sign."""
    late = (0.03, -0.03)
    result = delivered(FIRING, late, load()).direct_ratio
    mean = (np.cos(FIRING + late[0]) - np.cos(FIRING + late[1])) / (2.0 * np.pi)
    assert_allclose(result, mean, atol=1e-5)
    assert_allclose(delivered(FIRING, late[::-1], load()).direct_ratio, -result, atol=1e-12)


def test_a_late_crossing_is_a_longer_delay() -> None:
    late = delivered(FIRING, (0.1, 0.1), load(lag_rad=0.4))
    asked = delivered(FIRING + 0.1, ON_TIME, load(lag_rad=0.4))
    assert_allclose(late.rms_ratio, asked.rms_ratio, atol=1e-9)


def test_short_pulse_before_the_lag_conducts_one_way_only() -> None:
    """The current still flows when the next pulse comes and goes; a held gate waits for it."""
    early, what = np.array([0.2]), load(lag_rad=1.2)
    short, held = (delivered(early, ON_TIME, replace(what, gate_rad=g)) for g in (0.3, 1.5))
    assert np.count_nonzero(short.conducts_rad[0]) == 1
    assert abs(short.direct_ratio[0]) > 0.1
    assert_allclose(held.conducts_rad[0], np.pi, atol=1e-3)
    assert_allclose(held.fundamental_ratio, 1.0, atol=1e-3)


def test_pulse_across_the_crossing_gives_a_whole_half_cycle() -> None:
    inside, across = (
        delivered(np.radians([deg]), ON_TIME, load(latching_ratio=0.01)) for deg in (160.0, 172.0)
    )
    assert inside.rms_ratio[0] < 0.1
    assert across.rms_ratio[0] > 0.99


def test_light_load_does_not_latch() -> None:
    result = delivered(FIRING, ON_TIME, load(latching_ratio=1.1))
    assert_allclose(result.rms_ratio, 0.0)


def test_zero_cross_part_cannot_be_fired_late() -> None:
    what = load(zero_cross_rad=0.06, latching_ratio=0.02)
    result = delivered(np.array([0.0, 0.5, 1.5, 2.5]), ON_TIME, what)
    assert_allclose(result.rms_ratio, [1.0, 0.0, 0.0, 0.0], atol=1e-3)


@pytest.mark.parametrize(("switch", "rms"), [(Switch.OPEN, 0.0), (Switch.SHORT, 1.0)])
def test_dead_triac_knows_no_angle(switch: Switch, rms: float) -> None:
    result = delivered(FIRING, ON_TIME, load(switch=switch))
    assert_allclose(result.rms_ratio, rms)
    assert_allclose(result.direct_ratio, 0.0)


def test_triac_that_fires_one_way_is_half_of_the_power() -> None:
    both = delivered(FIRING, ON_TIME, load())
    one = delivered(FIRING, ON_TIME, load(switch=Switch.ONE_HALF))
    assert_allclose(one.rms_ratio**2, 0.5 * both.rms_ratio**2, atol=1e-9)
    assert_allclose(one.direct_ratio, (1.0 + np.cos(FIRING)) / (2.0 * np.pi), atol=1e-6)
