"""The diode law against a published run, general-purpose root finding and LED data sheets."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import wrightomega

from tests.boards import RECTIFIER
from zcd.board.optocouplers import LED_GAP_V
from zcd.errors import InputError
from zcd.physics.diode import (
    current_behind_resistance_a,
    diode_omega,
    forward_voltage_v,
    reverse_charge_c,
    saturation_current_a,
    thermal_voltage_v,
    wright_omega,
)
from zcd.refdata import columns, table

VT_25_V = 1.380649e-23 * 298.15 / 1.602176634e-19
"""k T / q with the exact k and e of the BIPM SI brochure, 9th edition (2019), table 1."""

# saturation current, emission coefficient, series resistance: 1N4148 and two 1N4007 models
DIODES = {
    str(row["model"]): (
        float(row["saturation_current_a"]),
        float(row["emission_ratio"]),
        float(row["series_ohm"]),
    )
    for row in table("diode_models")
}


def current_by_root_finding_a(
    voltage_v: float, saturation_a: float, emission_v: float, resistance_ohm: float
) -> float:
    """The same circuit without Lambert's W: the current whose voltages add up."""

    def left_v(current_a: float) -> float:
        junction_v = emission_v * np.log1p(current_a / saturation_a)
        return float(resistance_ohm * current_a + junction_v - voltage_v)

    most_a = voltage_v / resistance_ohm
    return float(brentq(left_v, 0.0, most_a, xtol=1e-24, rtol=1e-14))


def led_forward_v(current_a: np.ndarray, celsius: float) -> np.ndarray:
    """The LED law that the board library gives to the 817 class."""
    row = next(row for row in table("led_fit") if row["name"] == "EL-817")
    emission = float(row["emission_ratio"])
    saturation = saturation_current_a(
        float(row["saturation_current_a"]), emission, LED_GAP_V, celsius
    )
    emission_v = emission * thermal_voltage_v(celsius)
    return forward_voltage_v(current_a, saturation, emission_v, float(row["series_ohm"]))


def test_thermal_voltage_follows_the_exact_constants() -> None:
    """25 and 27 degC, and 0.5 K; only rounding is left, as k and e are exact."""
    expected_v = np.array([1.0, 300.15 / 298.15, 0.5 / 298.15]) * VT_25_V
    assert_allclose(thermal_voltage_v([25.0, 27.0, -272.65]), expected_v, rtol=1e-12)


@pytest.mark.parametrize("bad", [-273.15, -300.0, np.nan, np.inf])
def test_thermal_voltage_refuses(bad: float) -> None:
    rule = r"temperature_degc must be finite and above -273\.15, got .* degC"
    with pytest.raises(InputError, match=rule):
        thermal_voltage_v([25.0, bad])


@pytest.mark.law(
    "BOOST-LAMBERTW", where="printed run", atol=0.5e-8, why="half of the last printed digit"
)
def test_current_agrees_with_the_published_run(published: SimpleNamespace) -> None:
    """0.9 V over 249.3 ohm and a diode of 25 fA: 1.08485 mA."""
    (row,) = table("diode_examples")
    found_a = current_behind_resistance_a(
        float(row["supply_v"]),
        float(row["saturation_current_a"]),
        float(row["emission_ratio"]) * float(row["thermal_v"]),
        float(row["resistance_ohm"]),
    )
    assert_allclose(found_a, 1.08485e-3, rtol=0.0, atol=published.atol)


@pytest.mark.parametrize("span", [(-39.9, -2), (-2, 2), (2, 399), (399, 401), (401, 1e6)])
def test_wright_omega_is_scipys(span: tuple[float, float]) -> None:
    z = np.linspace(*span, 99_991)
    assert_allclose(wright_omega(z), wrightomega(z), rtol=1e-10)


def test_wright_omega_is_nothing_far_below_the_knee() -> None:
    z = np.array([[-1e6, -41.0], [-np.inf, 0.0]])
    assert_allclose(wright_omega(z), wrightomega(z), rtol=1e-10, atol=1e-17)


@pytest.mark.law(
    "BOOST-LAMBERTW", where="comment on small arguments", atol=0.5e-8, why="last printed digit"
)
def test_omega_agrees_with_the_published_small_argument(published: SimpleNamespace) -> None:
    """W(0.01) = 0.00990147: with unit emission voltage, knee 0.01 V and the knee taken off."""
    assert_allclose(diode_omega(-0.01, 0.01, 1.0, 1.0), 0.00990147, rtol=0.0, atol=published.atol)


@pytest.mark.parametrize("name", ["1N4148", "1N4007-A", "1N4007-B"])
@pytest.mark.parametrize(
    ("voltage_v", "resistance_ohm"),
    [(325.27, 470e3), (325.27, 220e3), (169.7, 30e3), (12.0, 2.2e3), (5.0, 10e3), (0.3, 1e6)],
)
def test_current_agrees_with_root_finding(
    name: str, voltage_v: float, resistance_ohm: float
) -> None:
    saturation, emission, series = DIODES[name]
    total = resistance_ohm + series
    args = (voltage_v, saturation, emission * VT_25_V, total)
    assert_allclose(current_behind_resistance_a(*args), current_by_root_finding_a(*args), rtol=1e-9)


@pytest.mark.parametrize("voltage_v", [400.0, 1e3, 10e3])
@pytest.mark.parametrize("resistance_ohm", [1.0, 1e3, 1e6])
def test_current_does_not_overflow(voltage_v: float, resistance_ohm: float) -> None:
    """A plain exponential overflows above 18 V over this junction; warnings are errors here."""
    args = (voltage_v, 2.52e-9, VT_25_V, resistance_ohm)
    assert_allclose(current_behind_resistance_a(*args), current_by_root_finding_a(*args), rtol=1e-9)


def test_current_backwards_is_the_saturation_current() -> None:
    found_a = current_behind_resistance_a([-1.0, -400.0, -10e3], 1e-9, VT_25_V, 100e3)
    assert_allclose(found_a, -1e-9, rtol=1e-6)


def test_no_saturation_current_is_no_diode() -> None:
    assert_allclose(current_behind_resistance_a([-400.0, 0.0, 400.0], 0.0, VT_25_V, 1e3), 0.0)


def test_forward_voltage_and_current_behind_resistance_are_inverse() -> None:
    current_a = np.geomspace(1e-9, 50e-3, 30)
    voltage_v = forward_voltage_v(current_a, 90e-12, 1.4 * VT_25_V, 220e3)
    back_a = current_behind_resistance_a(voltage_v, 90e-12, 1.4 * VT_25_V, 220e3)
    assert_allclose(back_a, current_a, rtol=1e-9)


def test_shapes_broadcast() -> None:
    voltage_v = np.zeros((3, 4))
    resistance_ohm = np.full((3, 1), 1e3)
    assert current_behind_resistance_a(voltage_v, 1e-9, VT_25_V, resistance_ohm).shape == (3, 4)


def test_forward_voltage_is_a_line_in_temperature_that_meets_the_gap() -> None:
    """At a fixed current far above saturation, on to absolute zero."""
    celsius = np.array([-55.0, 25.0, 110.0])
    saturation = saturation_current_a(90e-12, 1.4, RECTIFIER.gap_v, celsius)
    forward_v = forward_voltage_v(1e-3, saturation, 1.4 * thermal_voltage_v(celsius))
    slope, at_zero = np.polyfit(celsius + 273.15, forward_v, 1)
    assert_allclose(at_zero, RECTIFIER.gap_v, rtol=1e-4)
    assert -3e-3 < slope < -1e-3


@pytest.mark.fitted(
    "EL-817",
    where="figure 1",
    atol=0.014,
    why="scan read to 2 % of the axis, on which the curves span 0.7 V at least",
)
@pytest.mark.parametrize("celsius", [25.0, 110.0, -55.0])
def test_led_agrees_with_el817(celsius: float, published: SimpleNamespace) -> None:
    """0.1 to 20 mA; one law for three temperatures."""
    rows = columns("led_forward", curve="EL-817")
    here = (rows["temperature_degc"] == celsius) & (rows["current_a"] <= 20e-3)
    assert np.count_nonzero(here) > 10
    found_v = led_forward_v(rows["current_a"][here], celsius)
    assert_allclose(found_v, rows["forward_v"][here], rtol=0.0, atol=published.atol)


@pytest.mark.fitted(
    "EL-817",
    where="electro-optical characteristics: typically 1.2 V, at most 1.4 V at 20 mA",
    atol=0.05,
    why="typical value printed to one decimal",
)
def test_led_agrees_with_the_printed_forward_voltage(published: SimpleNamespace) -> None:
    found_v = led_forward_v(np.array(20e-3), 25.0)
    assert_allclose(found_v, 1.2, rtol=0.0, atol=published.atol)
    assert found_v < 1.4


@pytest.mark.law(
    "SHARP-817",
    where="figure 7",
    atol=0.1,
    why="another maker's part: both sheets print 1.2 V typical and 1.4 V at most, so that parts "
    "may differ by half of that span from the typical one either way",
)
@pytest.mark.parametrize("celsius", [0.0, 25.0, 50.0, 75.0])
def test_led_is_near_another_makers(celsius: float, published: SimpleNamespace) -> None:
    """2 to 10 mA; this maker's falls twice as fast with temperature."""
    rows = columns("led_forward", curve="SHARP-817")
    here = (rows["temperature_degc"] == celsius) & (rows["current_a"] <= 10e-3)
    found_v = led_forward_v(rows["current_a"][here], celsius)
    assert_allclose(found_v, rows["forward_v"][here], rtol=0.0, atol=published.atol)


def test_charge_of_a_reversed_junction_is_the_integral_of_its_capacitance() -> None:
    """C0 / sqrt(1 + V / 0.7 V) [SPICE, abrupt junction], as printed at 4 V; scipy's quad."""
    printed_f = 8e-12

    def capacitance_f(volts: float) -> float:
        return float(printed_f * np.sqrt((1.0 + 4.0 / 0.7) / (1.0 + volts / 0.7)))

    for volts in (0.5, 4.0, 325.0):
        expected, _ = quad(capacitance_f, 0.0, volts)
        assert_allclose(reverse_charge_c(volts, printed_f), expected, rtol=1e-6)
    assert reverse_charge_c(-0.6, printed_f) == 0.0
