"""A general integrator on the LED's current, with the equations written anew.

The chain of the tests' board on 230 V 50 Hz, half-wave, plain or with a capacitor at its joint.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from tests.boards import LED, NOMINAL_VT_V, RECTIFIER
from tests.diagnosis.boards import R1_OHM, R2_OHM

FloatArray = NDArray[np.float64]

PEAK_V = np.sqrt(2.0) * 230.0
OMEGA = 2.0 * np.pi * 50.0
NEAR_OHM, FAR_OHM = R1_OHM, R2_OHM
"""Of the chain, before and behind its joint."""
JOINT_F = 10e-9
STRAY_F = 1e-12
"""Across each junction, so that their voltages have rates; too small to matter."""
PERIOD_S = 0.02
POINTS = 160
TOLERANCE_RATIO = 1e-5
LED_V, DIODE_V = LED.emission_ratio * NOMINAL_VT_V, RECTIFIER.emission_ratio * NOMINAL_VT_V


def led_a(volts: float) -> float:
    """The LED's law; the exponent is limited where no solution can be."""
    leak = volts / LED.leak_ohm
    return LED.saturation_current_a * float(np.expm1(min(volts / LED_V, 60.0))) + leak


def diode_a(volts: float) -> float:
    """The rectifier's."""
    leak = volts / RECTIFIER.leak_ohm
    return RECTIFIER.saturation_current_a * float(np.expm1(min(volts / DIODE_V, 60.0))) + leak


def plain_rates(time_s: float, volts: FloatArray) -> list[float]:
    """Of the voltages of rectifier and LED."""
    diode, led = float(volts[0]), float(volts[1])
    chain_a = (PEAK_V * np.sin(OMEGA * time_s) - diode - led) / (NEAR_OHM + FAR_OHM)
    return [(chain_a - diode_a(diode)) / STRAY_F, (chain_a - led_a(led)) / STRAY_F]


def joint_rates(time_s: float, volts: FloatArray) -> list[float]:
    """Of the voltages of rectifier, LED and capacitor."""
    diode, led, joint = (float(v) for v in volts)
    near_a = (PEAK_V * np.sin(OMEGA * time_s) - joint) / NEAR_OHM
    far_a = (joint - diode - led) / FAR_OHM
    return [
        (far_a - diode_a(diode)) / STRAY_F,
        (far_a - led_a(led)) / STRAY_F,
        (near_a - far_a) / JOINT_F,
    ]


def integrate_led_current(
    tolerance_ratio: float = TOLERANCE_RATIO, points: int = POINTS, *, capacitor: bool = False
) -> FloatArray:
    """LED current at even times of a period; with the capacitor, of the second one from rest.

    Parameters
    ----------
    tolerance_ratio : float
        The integrator's own.
    points : int
    capacitor : bool
        One period is ten of its time constants: the second one is the steady state.

    Returns
    -------
    current_a : ndarray, shape (points,)
    """
    rates, size, cycles = (joint_rates, 3, 2) if capacitor else (plain_rates, 2, 1)
    result = solve_ivp(
        rates,
        (0.0, cycles * PERIOD_S),
        np.zeros(size),
        method="Radau",
        t_eval=(cycles - 1 + np.arange(points) / points) * PERIOD_S,
        rtol=tolerance_ratio,
        atol=0.1 * tolerance_ratio,
    )
    return np.array([led_a(float(v)) for v in result.y[1]])
