"""The unit of comparison: the LED's current over one mains period by a general integrator."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from tests.boards import LED, NOMINAL_VT_V, RECTIFIER

PEAK_V = np.sqrt(2.0) * 230.0
OMEGA = 2.0 * np.pi * 50.0
CHAIN_OHM = 250e3
STRAY_F = 1e-12
"""Across each junction, so that their voltages have rates; too small to matter."""
PERIOD_S = 0.02
POINTS = 160


def integrate_led_current() -> NDArray[np.float64]:
    """LED current at `POINTS` times of a period, half-wave with 100 k + 150 k on 230 V 50 Hz."""
    led_v, diode_v = LED.emission_ratio * NOMINAL_VT_V, RECTIFIER.emission_ratio * NOMINAL_VT_V

    def led_a(volts: float) -> float:
        leak = volts / LED.leak_ohm
        return LED.saturation_current_a * float(np.expm1(min(volts / led_v, 60.0))) + leak

    def diode_a(volts: float) -> float:
        leak = volts / RECTIFIER.leak_ohm
        return RECTIFIER.saturation_current_a * float(np.expm1(min(volts / diode_v, 60.0))) + leak

    def rates(time_s: float, volts: NDArray[np.float64]) -> list[float]:
        diode, led = float(volts[0]), float(volts[1])
        chain_a = (PEAK_V * np.sin(OMEGA * time_s) - diode - led) / CHAIN_OHM
        return [(chain_a - diode_a(diode)) / STRAY_F, (chain_a - led_a(led)) / STRAY_F]

    times = np.linspace(0.0, PERIOD_S, POINTS, endpoint=False)
    found = solve_ivp(
        rates, (0.0, PERIOD_S), [0.0, 0.0], method="Radau", t_eval=times, rtol=1e-5, atol=1e-6
    )
    return np.array([led_a(float(v)) for v in found.y[1]])
