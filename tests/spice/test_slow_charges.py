"""Charges that hardly find a way back, against ngspice: a relay's contact open under a suppressor.

A direct voltage is left on what hangs behind it, held by what leaks: nanoamperes and less. The
steady state lies hundreds of periods away, and the last of it comes through a junction's
exponential, or hardly comes at all.
"""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose

from tests.boards import capacitance, element_list, mains_source, resistance
from zcd.circuit.elements import Circuit, Junction
from zcd.engine.solution import Solution
from zcd.engine.solve import READINGS, SolverOptions, solve
from zcd.spice.netlist import Level
from zcd.spice.solve import Effort, Spice

FINE = SolverOptions(points=864, steady_state_only=True)
EFFORT = Effort(steps=800, tolerance_ratio=1e-6, settled_ratio=1e-6)
AC_RTOL = 0.005
DC_RATIO = 2e-4
"""Of the mains, what a direct voltage may be off: ngspice finds no currents below 10 pA (its
ABSTOL), and moves by a tenth of this where it is told to find smaller ones."""


def rectifier(ref: str, a: str, b: str, leak_ohm: float) -> tuple[object, ...]:
    junction = Junction(
        ref=ref, a=a, b=b, saturation_a=9e-11, emission_v=0.035, series_ohm=0.04, breakdown_v=650.0
    )
    return junction, resistance(f"{ref}.leak", a, b, leak_ohm)


def led(a: str, b: str, leak_ohm: float) -> tuple[object, ...]:
    junction = Junction(
        ref="OC1.led", a=a, b=b, saturation_a=2e-16, emission_v=0.037, series_ohm=2.3,
        breakdown_v=11.0,
    )  # fmt: skip
    return junction, resistance("OC1.led.leak", a, b, leak_ohm)


def half_wave(
    r1_ohm: float, r2_ohm: float, r4_ohm: float, led_ohm: float, d1_ohm: float
) -> Circuit:
    """Two chains, a capacitor at a joint of the first; the LED leaks, so does its rectifier."""
    return element_list(
        mains_source(230.0),
        resistance("suppressor.r", "line", "suppressor", 57.0),
        capacitance("suppressor.c", "suppressor", "feed", 15e-9),
        resistance("R1", "feed", "joint", r1_ohm), resistance("R2", "joint", "rect", r2_ohm),
        resistance("R3", "feed", "second", 106e3), resistance("R4", "second", "rect", r4_ohm),
        capacitance("C2", "joint", "neutral", 19e-9),
        *rectifier("D1", "rect", "led+", d1_ohm), *led("led+", "neutral", led_ohm),
    )  # fmt: skip


def bridge() -> Circuit:
    """A bridged resistor before a rectifier bridge whose way back is open."""
    return element_list(
        mains_source(120.0),
        resistance("suppressor.r", "line", "suppressor", 62.0),
        capacitance("suppressor.c", "suppressor", "feed", 100e-9),
        resistance("R1", "feed", "x", 3e-3), resistance("R2", "neutral", "y", 39e9),
        *rectifier("D1a", "x", "led+", 3e9), *rectifier("D1b", "y", "led+", 3e9),
        *rectifier("D1c", "led-", "x", 3e9), *rectifier("D1d", "led-", "y", 3e9),
        *led("led+", "led-", 630e3), resistance("R3", "led+", "led-", 5.3e3),
        capacitance("C1", "led+", "led-", 18e-9),
    )  # fmt: skip


CHARGED = {
    "R1 and R4 open": half_wave(1e9, 77e3, 26e6, 197e6, 9.4e9),
    "R2 bridged by dirt": half_wave(72e3, 1.1e3, 187e3, 2.3e6, 50e9),
}


def direct_and_rms_v(solution: Solution, node: str) -> tuple[float, float]:
    """Direct voltage of a node, and the effective value of the rest."""
    wave = solution.voltages_v[node]
    direct = float(solution.mean(wave)[0])
    return direct, float(solution.rms(wave - direct)[0])


def assert_alike(ours: Solution, theirs: Solution, node: str, mains_v: float) -> None:
    (our_direct, our_rms), (direct, rms) = (direct_and_rms_v(s, node) for s in (ours, theirs))
    assert_allclose(our_direct, direct, rtol=0.0, atol=DC_RATIO * mains_v)
    assert_allclose(our_rms, rms, rtol=AC_RTOL, atol=DC_RATIO * mains_v)


@pytest.mark.parametrize("name", CHARGED)
def test_what_is_left_behind_a_suppressor_is_what_ngspice_finds(name: str) -> None:
    circuit = CHARGED[name]
    theirs = Spice(level=Level.EQUATIONS, effort=EFFORT).solve(circuit, FINE)
    for options in (FINE, READINGS):
        ours = solve(circuit, options)
        for node in ("feed", "joint"):
            assert_alike(ours, theirs, node, 230.0)


def test_next_to_nothing_of_a_charge_is_lost_in_a_period() -> None:
    """Through 39 Gohm, a few millionths: rounding errors of the conductances of a bridge of 3 mohm
    move the steady state by millivolts, which no round makes less."""
    theirs = Spice(level=Level.EQUATIONS, effort=EFFORT).solve(bridge(), FINE)
    assert_alike(solve(bridge(), READINGS), theirs, "feed", 120.0)
