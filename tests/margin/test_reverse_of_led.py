"""The LED behind a rectifier in series: what the junctions' capacitances drive through it.

ngspice has the capacitances, which the engine leaves out: decks by hand, with the law that SPICE
has for a junction's charge.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.integrate import quad

import zcd
from tests.boards import LED, RECTIFIER, board, diode, optocoupler, resistor
from tests.diagnosis.boards import TEXTS
from tests.diagnosis.boards import board as of_text
from zcd.board.model import Board, Capacitor, Topology
from zcd.board.units import format_si
from zcd.circuit.build import build_circuit
from zcd.engine.solve import solve
from zcd.margin.check import nominal_check
from zcd.margin.stress import ReverseStress, reverse_stress
from zcd.physics.diode import reverse_charge_c
from zcd.renderings import document_of
from zcd.report.terminal import document_text
from zcd.spice.simulator import simulator

FloatArray = NDArray[np.float64]

LED_F, RECTIFIER_F = 30e-12, 15e-12
"""As printed: SHARP-8171 (30 pF typically, 0 V) and YANGJIE-1N4007 (15 pF, 4 V)."""
AT_ZERO_F = RECTIFIER_F * np.sqrt(1.0 + 4.0 / 0.7)
CHAIN_OHM, PERIOD_S = 262e3, 0.02


def half_wave(**changes: object) -> Board:
    """230 V, 82 kohm and 180 kohm, rectifier and LED with the printed capacitances."""
    return board(
        rectifier=diode("D1", replace(RECTIFIER, leak_ohm=20e9, capacitance_f=RECTIFIER_F)),
        optocoupler=optocoupler(led=replace(LED, capacitance_f=LED_F)),
        **changes,
    )


def led_of(whole: Board) -> ReverseStress:
    stress = reverse_stress(solve(build_circuit(whole)), whole)
    return next(s for s in stress if s.ref == "OC1.led")


def simulated(across: str, breakdown_v: float) -> tuple[float, float]:
    """Reverse voltage of the LED, and current backwards through it, by ngspice."""
    lamp = f"IS={LED.saturation_current_a!r} N={LED.emission_ratio!r} RS={LED.series_ohm!r}"
    valve = f"IS={RECTIFIER.saturation_current_a!r} N={RECTIFIER.emission_ratio!r}"
    deck = f"""* an LED behind a rectifier, with junction capacitances
V1 line 0 SIN(0 {float(np.sqrt(2.0)) * 230.0!r} 50)
R1 line a {CHAIN_OHM!r}
D1 a p valve
R2 a p 20g
D2 p q lamp
VM q 0 0
R3 p 0 {LED.leak_ohm!r}
{across}
.model lamp D({lamp} BV={breakdown_v!r} IBV=1e-7)
CL p q {LED_F!r}
.model valve D({valve} CJO={float(AT_ZERO_F)!r} VJ=0.7 M=0.5)
.options temp=25 tnom=25 reltol=1e-5 abstol=1e-14 chgtol=1e-17
.tran 2u {2 * PERIOD_S!r} 0 4u
.end
"""
    waves = simulator().run(deck, 2 * PERIOD_S)
    late = waves["time"] > PERIOD_S
    return float(-waves["p"][late].min()), float(-waves["vm#branch"][late].min())


def test_charge_is_the_integral_of_the_capacitance() -> None:
    for volts in (0.3, 4.0, 325.0):
        expected, _ = quad(lambda v: 1e12 * AT_ZERO_F / np.sqrt(1.0 + v / 0.7), 0.0, volts)
        assert_allclose(1e12 * reverse_charge_c(volts, RECTIFIER_F), expected, rtol=1e-6)
    assert reverse_charge_c(-5.0, RECTIFIER_F) == 0.0


def test_capacitance_breaks_down_an_led_that_leakage_does_not() -> None:
    """Leakage alone leaves 0.65 V: 325 V over 20 Gohm and 40 Mohm. The simulator says breakdown.

    The current is an upper bound, that of the steepest moment: the simulator's, which loses the
    first charge to the LED's own capacitance, is below it, by no more than three times.
    """
    volts, amps = simulated("", LED.reverse_rating_v)
    assert volts > LED.reverse_rating_v
    led = led_of(half_wave())
    assert LED.reverse_rating_v < led.reverse_v[0] < LED.reverse_rating_v + 1.0
    assert amps < led.reverse_a[0] < 3.0 * amps


def test_an_led_that_never_breaks_down_would_be_driven_far_beyond_its_rating() -> None:
    volts, _ = simulated("", 1e3)
    assert volts > 1.5 * LED.reverse_rating_v


@pytest.mark.parametrize(
    ("changes", "across"),
    [
        ({"led_resistor": resistor("R8", 91e3)}, "R8 p 0 91k"),
        ({"led_capacitor": Capacitor(ref="C1", capacitance_f=1e-9)}, "C1 p 0 1n"),
    ],
)
def test_what_is_across_the_led_takes_the_charge(changes: dict[str, object], across: str) -> None:
    """A resistor or a capacitor there protects it: no less than the simulator's, and far from 6 V.

    The bound adds leakage and charge as if both peaked at once, at the steepest moment.
    """
    volts, _ = simulated(across, LED.reverse_rating_v)
    result = led_of(half_wave(**changes)).reverse_v[0]
    assert volts - 0.02 < result < max(2.0 * volts, 1.2)


def test_an_led_is_judged_by_the_current_backwards_and_the_true_voltage_is_told() -> None:
    """Figure, limit and status agree: a few microamperes, of the 10 uA that data sheets allow."""
    whole = half_wave()
    rules = {r.name: r for r in nominal_check(whole).rules}
    rule, led = rules["OC1.led reverse current"], led_of(whole)
    assert led.reverse_v[0] > led.limit_v
    assert rule.status == "pass"
    assert 0.0 < rule.value < rule.limit == 10e-6
    assert rule.margin == pytest.approx(1.0 - rule.value / rule.limit)
    assert rule.remark.startswith("not protected: 6.")
    assert "rated 6 V" in rule.remark


def test_the_default_screen_says_that_the_led_is_not_protected() -> None:
    """With the voltage and the current of the simulator's decks above; a clamp leaves it out."""
    text = """mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 C"
chain = {resistors = ["68k", "68k"], style = "1 W"}
output = {pull_up = "10k", supply = "5 V"}"""
    bare, clamped = (zcd.check(zcd.loads(each)) for each in (text, f'{text}\nclamp = "BAV99"'))
    (stress,) = (s for s in bare.reverse if s.ref == "OC1.led")
    assert stress.is_over
    volts, amps = (format_si(float(v.max()), u, digits=3) for v, u in
                   ((stress.reverse_v, "V"), (stress.reverse_a, "A")))  # fmt: skip
    said = " ".join(document_text(document_of(bare).answer).split())
    assert f"in reverse it sees {volts} (rated 5 V), but only {amps} through D1: harmless" in said
    assert "in reverse" not in document_text(document_of(clamped).answer)


@pytest.mark.parametrize("name", TEXTS)
def test_no_rule_that_passes_is_over_its_limit(name: str) -> None:
    for rule in nominal_check(of_text(name)).rules:
        if np.isfinite(rule.value):
            kept = rule.value >= rule.limit if rule.at_least else rule.value <= rule.limit
            assert kept is (rule.margin >= 0.0) or rule.margin == pytest.approx(0.0, abs=1e-9)


def test_a_clamp_keeps_the_led_from_it() -> None:
    clamped = half_wave(topology=Topology.HALF_WAVE_CLAMPED, clamp=diode("D2"))
    assert led_of(clamped).reverse_v[0] < 1.0
