"""Single shorts against the arithmetic of voltage dividers and half waves."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import CHAIN_OHM, R1_OHM, R2_OHM, RESISTORS, TEXTS, board, edited
from zcd.circuit.build import led_refs
from zcd.margin.advice import advice
from zcd.margin.check import nominal_check
from zcd.margin.shorts import ShortStress, short_stress

HIGH_V = 253.0


def shorts(name: str) -> dict[str, ShortStress]:
    return {short.ref: short for short in short_stress(board(name))}


def test_shorted_rectifier_doubles_the_power() -> None:
    """Full sine against half wave; the drops of diode and LED are 1 % of the mains."""
    found = shorts("half-wave")
    shorted = {load.resistor.ref: load for load in found["D1"].loads}
    healthy = {s.resistor.ref: s for s in nominal_check(board("half-wave")).resistors}
    for ref, ohm in (("R1", R1_OHM), ("R2", R2_OHM)):
        assert_allclose(shorted[ref].power_w, 2.0 * healthy[ref].power_w[2], rtol=0.03)
        assert_allclose(shorted[ref].power_w, (HIGH_V / CHAIN_OHM) ** 2 * ohm, rtol=0.03)
        assert_allclose(shorted[ref].judged_v, HIGH_V * ohm / CHAIN_OHM, rtol=0.01)


def test_shorted_rectifier_turns_the_mains_on_the_led() -> None:
    found = shorts("half-wave")["D1"]
    expected = (np.sqrt(2.0) * HIGH_V - 6.0) / CHAIN_OHM
    assert_allclose(found.led_reverse_a, expected, rtol=0.02)
    assert 6.0 < found.led_reverse_v < 8.0
    assert shorts("half-wave-clamped")["D1"].led_reverse_v < 1.0


@pytest.mark.parametrize("name", ["clamped", "two-led", "bridge", "half-wave"])
def test_shorted_resistor_leaves_its_voltage_to_the_other(name: str) -> None:
    """The whole mains over what is left; half the power behind a rectifier."""
    half = 0.5 if name == "half-wave" else 1.0
    for ref, other_ohm in (("R1", R2_OHM), ("R2", R1_OHM)):
        (load,) = shorts(name)[ref].loads
        assert_allclose(load.judged_v, HIGH_V, rtol=0.01)
        assert_allclose(load.power_w, half * HIGH_V**2 / other_ohm, rtol=0.03)


def test_shorted_joint_capacitor_puts_full_sine_on_the_resistor_before_it() -> None:
    """With the rectifier behind it, R1 alone carries both half waves; R2 none.

    The mean is a trapezoid over 160 uneven points.
    """
    found = shorts("joint capacitor")["C1"]
    loads = {load.resistor.ref: load for load in found.loads}
    assert_allclose(loads["R1"].power_w, HIGH_V**2 / R1_OHM, rtol=2e-3)
    assert loads["R2"].power_w < 1e-9
    assert found.led_peak_a < 1e-9


def test_shorted_led_is_dark_and_the_chain_hardly_notices() -> None:
    short = shorts("half-wave")["OC1.led"]
    assert short.led_peak_a < 1e-9
    assert short.led_reverse_a < 1e-9
    healthy = {s.resistor.ref: s for s in nominal_check(board("half-wave")).resistors}
    for load in short.loads:
        assert_allclose(load.power_w, healthy[load.resistor.ref].power_w[2], rtol=0.02)


@pytest.mark.parametrize("name", TEXTS)
def test_every_part_of_the_mains_side_is_shorted_once(name: str) -> None:
    found = board(name)
    parts = [r.ref for chain in (*found.chains, found.return_chain) for r in chain]
    parts += [p.ref for p in (found.led_resistor, found.led_capacitor) if p is not None]
    parts += [found.joint_capacitor.ref] if found.joint_capacitor else []
    shorted = [short.ref for short in short_stress(found)]
    assert len(set(shorted)) == len(shorted)
    assert set(parts) <= set(shorted)
    rest = set(shorted) - set(parts) - set(led_refs(found))
    diodes = {d.ref for d in (found.rectifier, found.clamp) if d is not None}
    assert {ref.rstrip("abcd") for ref in rest} == diodes
    assert set(led_refs(found)) <= set(shorted)


def test_lone_resistor_shorted_puts_the_mains_on_the_led() -> None:
    short = {s.ref: s for s in short_stress(edited(RESISTORS, '["220k"]'))}["R1"]
    assert short.loads == ()
    assert short.hottest() is None
    assert short.led_peak_a > 1.0


def test_shorts_are_advice_and_fail_no_board() -> None:
    found = nominal_check(edited(RESISTORS, '["120k", "120k"]'))
    over = [r for r in advice(found) if not r.passes and r.name == "R1 shorted: R2 voltage"]
    assert over
    assert found.passes
