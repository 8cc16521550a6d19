"""Single shorts against the arithmetic of voltage dividers and half waves."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import CHAIN_OHM, R1_OHM, R2_OHM, RESISTORS, TEXTS, board, edited
from zcd.api import check
from zcd.circuit.build import led_refs
from zcd.margin.advice import advice
from zcd.margin.check import nominal_check
from zcd.margin.shorts import ShortStress, short_stress

HIGH_V = 253.0


def shorts(name: str) -> dict[str, ShortStress]:
    return {short.ref: short for short in short_stress(board(name))}


def borne(short: ShortStress) -> tuple[dict[str, float], dict[str, float]]:
    """Power and voltage of the other resistors, by reference."""
    power = {rule.name.removesuffix(" power"): rule.value for rule in short.power}
    voltage = {rule.name.removesuffix(" voltage"): rule.value for rule in short.voltage}
    return power, voltage


def test_shorted_rectifier_doubles_the_power() -> None:
    """Full sine against half wave; the drops of diode and LED are 1 % of the mains."""
    result = shorts("half-wave")
    power, voltage = borne(result["D1"])
    healthy = {s.resistor.ref: s for s in nominal_check(board("half-wave")).resistors}
    for ref, ohm in (("R1", R1_OHM), ("R2", R2_OHM)):
        assert_allclose(power[ref], 2.0 * healthy[ref].power_w[2], rtol=0.03)
        assert_allclose(power[ref], (HIGH_V / CHAIN_OHM) ** 2 * ohm, rtol=0.03)
        assert_allclose(voltage[ref], HIGH_V * ohm / CHAIN_OHM, rtol=0.01)


def test_shorted_rectifier_turns_the_mains_on_the_led() -> None:
    result = shorts("half-wave")["D1"]
    expected = (np.sqrt(2.0) * HIGH_V - 6.0) / CHAIN_OHM
    assert_allclose(result.led_reverse_a, expected, rtol=0.02)
    assert 6.0 < result.led_reverse_v < 8.0
    assert shorts("half-wave-clamped")["D1"].led_reverse_v < 1.0


@pytest.mark.parametrize("name", ["clamped", "two-led", "bridge", "half-wave"])
def test_shorted_resistor_leaves_its_voltage_to_the_other(name: str) -> None:
    """The whole mains over what is left; half the power behind a rectifier."""
    half = 0.5 if name == "half-wave" else 1.0
    for ref, other_ohm in (("R1", R2_OHM), ("R2", R1_OHM)):
        short = shorts(name)[ref]
        (power,), (voltage,) = short.power, short.voltage
        assert_allclose(voltage.value, HIGH_V, rtol=0.01)
        assert_allclose(power.value, half * HIGH_V**2 / other_ohm, rtol=0.03)


def test_shorted_joint_capacitor_puts_full_sine_on_the_resistor_before_it() -> None:
    """With the rectifier behind it, R1 alone carries both half waves; R2 none.

    The mean is a trapezoid over 160 uneven points.
    """
    result = shorts("joint capacitor")["C1"]
    power, _ = borne(result)
    assert_allclose(power["R1"], HIGH_V**2 / R1_OHM, rtol=2e-3)
    assert power["R2"] < 1e-9
    assert result.led_peak_a < 1e-9


def test_shorted_led_is_dark_and_the_chain_hardly_notices() -> None:
    short = shorts("half-wave")["OC1.led"]
    assert short.led_peak_a < 1e-9
    assert short.led_reverse_a < 1e-9
    healthy = {s.resistor.ref: s for s in nominal_check(board("half-wave")).resistors}
    for ref, watts in borne(short)[0].items():
        assert_allclose(watts, healthy[ref].power_w[2], rtol=0.02)


@pytest.mark.parametrize("name", TEXTS)
def test_every_part_of_the_mains_side_is_shorted_once(name: str) -> None:
    result = board(name)
    parts = [r.ref for chain in (*result.chains, result.return_chain) for r in chain]
    parts += [p.ref for p in (result.led_resistor, result.led_capacitor) if p is not None]
    parts += [result.joint_capacitor.ref] if result.joint_capacitor else []
    shorted = [short.ref for short in short_stress(result)]
    assert len(set(shorted)) == len(shorted)
    assert set(parts) <= set(shorted)
    rest = set(shorted) - set(parts) - set(led_refs(result))
    diodes = {d.ref for d in (result.rectifier, result.clamp) if d is not None}
    assert {ref.rstrip("abcd") for ref in rest} == diodes
    assert set(led_refs(result)) <= set(shorted)


def test_lone_resistor_shorted_puts_the_mains_on_the_led() -> None:
    short = {s.ref: s for s in short_stress(edited(RESISTORS, '["220k"]'))}["R1"]
    assert short.power == short.voltage == ()
    assert short.hottest() is None
    assert short.led_peak_a > 1.0


def test_shorts_are_advice_and_fail_no_board() -> None:
    result = check(edited(RESISTORS, '["120k", "120k"]'))
    over = [r for r in advice(result) if not r.passes and r.name == "R1 shorted: R2 voltage"]
    assert over
    assert result.keeps_nominal_rules
