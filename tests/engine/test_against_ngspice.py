"""The mains side against ngspice: the same equations, written as decks by hand.

Junctions are SPICE diodes with the same saturation current, emission coefficient and series
resistance, without capacitance, at 25 degC; reverse leakage is a resistor. 0.5 % in currents and
powers is what two solvers of the same equations may differ by.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.boards import (
    LED,
    RECTIFIER,
    capacitance,
    element_list,
    junction,
    mains_source,
    resistance,
)
from zcd.circuit.elements import Circuit
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.spice.simulator import simulator

FloatArray = NDArray[np.float64]

RTOL = 0.005
PERIOD_S = 0.02
LEAK_OHM = 200e6

MODELS = f"""\
.model lamp D(IS={LED.saturation_current_a!r} N={LED.emission_ratio!r} RS={LED.series_ohm!r})
.model valve D(IS={RECTIFIER.saturation_current_a!r} N={RECTIFIER.emission_ratio!r} \
RS={RECTIFIER.series_ohm!r})
.options temp=25 tnom=25 reltol=1e-5 abstol=1e-13
"""


def simulated(lines: str, cycles: int) -> dict[str, FloatArray]:
    """Waveforms of a deck over the last of some cycles, at even times; ``time`` among them."""
    stop_s = cycles * PERIOD_S
    deck = f"* sync circuit\nV1 line 0 SIN(0 {float(np.sqrt(2) * 230.0)!r} 50)\n{lines}\n{MODELS}"
    deck += f".tran 10u {stop_s!r} 0 20u\n.end\n"
    waves = simulator().run(deck, stop_s)
    even = stop_s - PERIOD_S + np.arange(4000) * (PERIOD_S / 4000)
    return {name: np.interp(even, waves["time"], wave) for name, wave in waves.items()}


def assert_same_power(
    solution: Solution, ref: str, waves: dict[str, FloatArray], ends: tuple[str, str]
) -> None:
    """Mean power in a resistance, between the deck's nodes `ends` (0: reference)."""
    element: Any = solution.circuit[ref]
    a, b = (waves[n] if n != "0" else 0.0 for n in ends)
    expected_w = np.mean((a - b) ** 2) / float(element.resistance_ohm)
    assert_allclose(solution.power_w(element), expected_w, rtol=RTOL)


def assert_same_current(
    solution: Solution, ref: str, measured_a: FloatArray, waves: dict[str, FloatArray]
) -> None:
    """Mean, peak and conduction of a junction's current."""
    result = solution.currents_a[ref]
    assert_allclose(solution.mean(result), np.mean(measured_a), rtol=RTOL)
    assert_allclose(result.max(), measured_a.max(), rtol=RTOL)
    level_a = 0.25 * measured_a.max()
    assert_allclose(crossing_s(solution, result[0], level_a), first(waves, measured_a, level_a),
                    rtol=0.0, atol=10e-6)  # fmt: skip


def crossing_s(solution: Solution, wave: FloatArray, level: float) -> float:
    """First time at which a waveform rises through a level."""
    return _first(solution.time_s[0], wave, level)


def first(waves: dict[str, FloatArray], wave: FloatArray, level: float) -> float:
    """The same in a simulated cycle."""
    return _first(waves["time"] - waves["time"][0], wave, level)


def _first(time_s: FloatArray, wave: FloatArray, level: float) -> float:
    at = int(np.flatnonzero((wave[:-1] < level) & (wave[1:] >= level))[0])
    share = (level - wave[at]) / (wave[at + 1] - wave[at])
    return float(time_s[at] + share * (time_s[at + 1] - time_s[at]))


def leaking(ref: str, a: str, b: str, data: Any) -> tuple[Any, ...]:
    """A junction with a leak beside it, as the decks have it."""
    return junction(ref, a, b, data), resistance(f"{ref}.leak", a, b, LEAK_OHM)


def half_wave(*extra: Any) -> Circuit:
    return element_list(
        mains_source(),
        resistance("R1", "line", "j", 82e3),
        resistance("R2", "j", "a", 180e3),
        *leaking("D", "a", "led+", RECTIFIER),
        *leaking("L", "led+", "neutral", LED),
        resistance("bleed", "led+", "neutral", 47e3),
        *extra,
    )


HALF_WAVE_DECK = f"""\
R1 line j 82k
R2 j a 180k
D1 a p valve
R3 a p {LEAK_OHM!r}
D2 p q lamp
VM q 0 0
R4 p 0 {LEAK_OHM!r}
R5 p 0 47k
"""


def test_half_wave() -> None:
    waves = simulated(HALF_WAVE_DECK, 2)
    solution = solve(half_wave())
    assert_same_current(solution, "L", waves["vm#branch"], waves)
    assert_same_power(solution, "R1", waves, ("line", "j"))
    assert_same_power(solution, "R2", waves, ("j", "a"))
    assert_same_power(solution, "bleed", waves, ("p", "0"))


def test_half_wave_with_capacitors() -> None:
    """One at the joint, one across the LED."""
    waves = simulated(HALF_WAVE_DECK + "C1 j 0 10n\nC2 p 0 4.7n\n", 4)
    solution = solve(
        half_wave(
            capacitance("C1", "j", "neutral", 10e-9), capacitance("C2", "led+", "neutral", 4.7e-9)
        )
    )
    assert_same_current(solution, "L", waves["vm#branch"], waves)
    assert_same_power(solution, "R1", waves, ("line", "j"))
    assert_same_power(solution, "R2", waves, ("j", "a"))


def test_clamped() -> None:
    deck = "R1 line p 220k\nD2 p q lamp\nVM q 0 0\nD3 0 p valve\n"
    waves = simulated(deck, 2)
    solution = solve(
        element_list(
            mains_source(),
            resistance("R1", "line", "led+", 220e3),
            junction("L", "led+", "neutral", LED),
            junction("D", "neutral", "led+", RECTIFIER),
        )
    )
    assert_same_current(solution, "L", waves["vm#branch"], waves)
    assert_same_power(solution, "R1", waves, ("line", "p"))
    assert_allclose(solution.voltages_v["led+"].min(), waves["p"].min(), atol=2e-3)
    assert_allclose(solution.voltages_v["led+"].max(), waves["p"].max(), atol=2e-3)


def test_bridge() -> None:
    """Unequal legs, leaky diodes."""
    leaks = "".join(
        f"RL{k} {a} {b} {LEAK_OHM!r}\n"
        for k, (a, b) in enumerate([("f", "p"), ("g", "p"), ("n", "f"), ("n", "g")])
    )
    deck = (
        "R1 line f 100k\nR2 0 g 47k\nD1 f p valve\nD2 g p valve\nD3 n f valve\nD4 n g valve\n"
        f"D5 p q lamp\nVM q n 0\n{leaks}"
    )
    waves = simulated(deck, 2)
    solution = solve(
        element_list(
            mains_source(),
            resistance("R1", "line", "f", 100e3),
            resistance("R2", "neutral", "g", 47e3),
            *leaking("Da", "f", "p", RECTIFIER),
            *leaking("Db", "g", "p", RECTIFIER),
            *leaking("Dc", "n", "f", RECTIFIER),
            *leaking("Dd", "n", "g", RECTIFIER),
            junction("L", "p", "n", LED),
        )
    )
    assert_same_current(solution, "L", waves["vm#branch"], waves)
    assert_same_power(solution, "R1", waves, ("line", "f"))
    assert_same_power(solution, "R2", waves, ("0", "g"))


def test_open_contact_with_suppressor_and_clamp() -> None:
    """The chain conducts both ways, so that the state repeats at once: pulses come early."""
    deck = "RS line s 100\nCS s f 100n\nR1 f p 130k\nD2 p q lamp\nVM q 0 0\nD3 0 p valve\n"
    waves = simulated(deck, 12)
    solution = solve(
        element_list(
            mains_source(),
            resistance("RS", "line", "s", 100.0),
            capacitance("CS", "s", "feed", 100e-9),
            resistance("R1", "feed", "led+", 130e3),
            junction("L", "led+", "neutral", LED),
            junction("D", "neutral", "led+", RECTIFIER),
        )
    )
    assert solution.settled.all()
    result, measured = solution.currents_a["L"][0], waves["vm#branch"]
    assert_allclose(solution.mean(result[None]), np.mean(measured), rtol=RTOL)
    assert_allclose(result.max(), measured.max(), rtol=RTOL)
    assert_same_power(solution, "R1", waves, ("f", "p"))
    falls_s = crossing_s(solution, -result, -1e-4) - first(waves, -measured, -1e-4)
    assert abs(falls_s) < 10e-6


def test_rectified_output_with_capacitor() -> None:
    """A plain diode into a resistor and a capacitor that holds its charge: mean and ripple."""
    waves = simulated("R1 line a 1k\nD1 a p valve\nC1 p 0 1u\nR2 p 0 100k\n", 8)
    solution = solve(
        element_list(
            mains_source(),
            resistance("R1", "line", "a", 1e3),
            junction("D", "a", "p", RECTIFIER),
            capacitance("C1", "p", "neutral", 1e-6),
            resistance("R2", "p", "neutral", 100e3),
        )
    )
    p = solution.voltages_v["p"]
    assert_allclose(solution.mean(p), np.mean(waves["p"]), rtol=RTOL)
    assert_allclose(np.ptp(p), np.ptp(waves["p"]), rtol=2 * RTOL)
    assert_same_power(solution, "R2", waves, ("p", "0"))
