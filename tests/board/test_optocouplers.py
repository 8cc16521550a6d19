"""Tests of zcd.board.optocouplers: grades and the LED's law."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.constants import Boltzmann, elementary_charge, zero_Celsius

from zcd import refdata
from zcd.board.model import Junction
from zcd.board.optocouplers import (
    LED_GAP_V,
    families,
    grades,
    optocoupler,
    optocoupler_name,
)
from zcd.errors import InputError

REFERENCE_K = 298.15


@pytest.mark.transcribed(
    "EL-817",
    where="CTR ranks at 5 mA: A 80-160, B 130-260, C 200-400, D 300-600, none 50-600 %",
    rtol=1e-12,
    why="printed values, exact",
)
@pytest.mark.parametrize(
    ("name", "low_ratio", "high_ratio"),
    [
        ("817A", 0.8, 1.6),
        ("817B", 1.3, 2.6),
        ("817C", 2.0, 4.0),
        ("817D", 3.0, 6.0),
        ("817", 0.5, 6.0),
    ],
)
def test_grades_of_the_817(
    name: str, low_ratio: float, high_ratio: float, published: SimpleNamespace
) -> None:
    part = optocoupler(name)
    assert part.ctr_min_ratio == pytest.approx(low_ratio, rel=published.rtol)
    assert part.ctr_max_ratio == pytest.approx(high_ratio, rel=published.rtol)
    assert part.test_current_a == pytest.approx(5e-3, rel=published.rtol)
    assert part.ctr_ratio**2 == pytest.approx(low_ratio * high_ratio, rel=1e-12)


@pytest.mark.transcribed(
    "FOD814",
    where="CTR at 1 mA: 20-300 %, grade A 50-150 %",
    rtol=1e-12,
    why="printed values, exact",
)
@pytest.mark.parametrize(
    ("name", "limits"), [("814", (0.2, 3.0)), ("814A", (0.5, 1.5))], ids=["any", "A"]
)
def test_grades_of_the_814(
    name: str, limits: tuple[float, float], published: SimpleNamespace
) -> None:
    part = optocoupler(name)
    assert (part.ctr_min_ratio, part.ctr_max_ratio) == pytest.approx(limits, rel=published.rtol)
    assert part.test_current_a == pytest.approx(1e-3, rel=published.rtol)


@pytest.mark.transcribed(
    "H11AA1", where="CTR at 10 mA: 20 % minimum", rtol=1e-12, why="printed value, exact"
)
def test_part_without_a_maximum(published: SimpleNamespace) -> None:
    part = optocoupler("H11AA1")
    assert part.ctr_min_ratio == pytest.approx(0.2, rel=published.rtol)
    assert part.ctr_max_ratio == pytest.approx(15 * 0.2)
    assert "no maximum" in part.source


@pytest.mark.parametrize(
    ("family", "grade", "expected"),
    [
        ("817C", None, ("817", "C")),
        ("817 c", None, ("817", "C")),
        ("817", "C", ("817", "C")),
        ("817C", "c", ("817", "C")),
        ("817", None, ("817", None)),
        ("817", "any", ("817", "any")),
        ("PC817C", None, ("817", "C")),
        ("EL817 (C)", None, ("817", "C")),
        ("LTV-817-B", None, ("817", "B")),
        ("TLP785(GRL)", None, ("785", "GRL")),
        ("SFH617A-2", None, ("617", "2")),
        ("SFH617A", None, ("617", None)),
        ("SFH620AGB", None, ("SFH620A", "AGB")),
        ("PS2501L-1", None, ("2501", None)),
        ("PS2501-1-L", None, ("2501", "L")),
        ("2501 K831", None, ("2501", "K")),
        ("2561 ML831", None, ("2561", "M")),
        ("HCPL-817-50AE", None, ("817", "A")),
        ("COSMO 1010 817C", None, ("817", "C")),
        ("TCET1103", None, ("K817P", "3")),
        ("LTV-847", None, ("817", None)),
        ("SFH615AGB", None, ("615", "AGB")),
        ("EL817X", None, ("817", "X")),
        ("h11aa1", None, ("H11AA1", None)),
        ("LTV-817S-C", None, ("817", "C")),
        ("LTV-817S-TA1-C", None, ("817", "C")),
        ("EL817(S)(C)(TU)-V", None, ("817", "C")),
        ("FOD817C3SD", None, ("817", "C")),
        ("FOD817SD", None, ("817", None)),
        ("HCPL-817-00CE", None, ("817", "C")),
        ("H11A817A.3S", None, ("817", "A")),
        ("PC81713", None, ("8171", "C")),
        ("EL3H7(C)(TA)-G", None, ("3H7", "C")),
        ("EL357N-C", None, ("357", "C")),
        ("P521", None, ("521", None)),
        ("TLP521-1GB", None, ("521", "GB")),
        ("TLP621(GR)", None, ("621", "GR")),
        ("SFH6156-3", None, ("615", "3")),
        ("4N25", None, ("4N25", None)),
        ("4N35-M", None, ("4N35", None)),
        ("MCT2E", None, ("MCT2E", None)),
    ],
)
def test_what_is_printed_on_the_part(
    family: str, grade: str | None, expected: tuple[str, str | None]
) -> None:
    assert optocoupler_name(family, grade) == expected


@pytest.mark.transcribed(
    "SHARP-817", where="line-up: X1 to X4 are A to D, X5 mixes A and B", rtol=1e-12, why="exact"
)
@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("PC817X1", 0.8, 1.6),
        ("PC817X2", 1.3, 2.6),
        ("PC817X3", 2, 4),
        ("PC817X5", 0.8, 2.6),
    ],
)
def test_sharp_digits(name: str, low: float, high: float, published: SimpleNamespace) -> None:
    """The sheet gives collector currents at 5 mA: 4 to 8, 6.5 to 13, 10 to 20, 4 to 13 mA."""
    part = optocoupler(name)
    assert (part.ctr_min_ratio, part.ctr_max_ratio) == pytest.approx((low, high), published.rtol)


@pytest.mark.transcribed(
    "TOSHIBA-TLP293",
    where="page 3 and 10: GL = GRL, 100 to 200 %; options D4, V4 before the rank, TP and E behind",
    rtol=1e-12,
    why="exact",
)
@pytest.mark.parametrize("name", ["TLP293(GRL", "TLP293(D4GRL,E", "TLP293(GRL-TPL,E", "TLP293 GL"])
def test_toshiba_order_names(name: str, published: SimpleNamespace) -> None:
    part = optocoupler(name)
    assert (part.ctr_min_ratio, part.ctr_max_ratio) == pytest.approx((1, 2), published.rtol)


@pytest.mark.transcribed(
    "VISHAY-K817P",
    where="TCMT1109: 200 to 400 % at 5 mA; K817P3: 100 to 200 %",
    rtol=0,
    why="exact",
)
def test_vishay_digits(published: SimpleNamespace) -> None:
    for name, limits in (("TCMT1109", (2, 4)), ("K817P3", (1, 2)), ("CNY17-3X006", (1, 2))):
        part = optocoupler(name)
        assert (part.ctr_min_ratio, part.ctr_max_ratio) == limits


def test_unknown_part_is_told_how_to_give_its_data() -> None:
    with pytest.raises(InputError, match=r'optocoupler = \{ctr = "50..600 % at 5 mA"\}'):
        optocoupler("QQ9000")


@pytest.mark.parametrize(
    ("family", "grade", "key", "allowed"),
    [
        ("817E", None, "opto.family", "a grade of 817: any, A, B, C, D"),
        ("817", "GB", "opto.grade", "a grade of 817: any, A, B, C, D"),
        ("817C", "D", "opto.grade", '"C", the grade in family'),
        ("871", None, "opto.family", 'did you mean "817"'),
        ("4N99", None, "opto.family", "six-pin coupler"),
        # The Sharp series name, not the grade X of another maker.
        ("PC817X", None, "opto.family", "such as PC817X3"),
        ("814B", None, "opto.family", "a grade of 814: any, A"),
        ("PS2811", None, "opto.family", "a known optocoupler"),
        ("PS2506-1", None, "opto.family", "this one has a Darlington output"),
    ],
)
def test_unknown_names_are_refused(family: str, grade: str | None, key: str, allowed: str) -> None:
    with pytest.raises(InputError) as caught:
        optocoupler(family, grade, key="opto")
    result = grade if key.endswith("grade") else family
    assert str(caught.value).startswith(f'{key}: found "{result}"; allowed: ')
    assert allowed in str(caught.value)


def test_measured_ctr_replaces_the_limits() -> None:
    part = optocoupler("817C", ctr_ratio=1.1, remaining_ratio=0.5)
    assert (part.ctr_min_ratio, part.ctr_ratio, part.ctr_max_ratio) == pytest.approx((1.1,) * 3)
    assert part.remaining_ratio == 0.5
    assert "as written" in part.source


@pytest.mark.transcribed(
    "FAIRCHILD-H11A817",
    where="LED reverse voltage 5 V, where Sharp and Everlight print 6 V",
    rtol=1e-12,
    why="printed value, exact",
)
def test_led_reverse_limit_is_the_lowest_of_the_makers(published: SimpleNamespace) -> None:
    for name in ("817C", "TLP281"):
        rating_v = optocoupler(name).led.reverse_rating_v
        assert rating_v == pytest.approx(5.0, rel=published.rtol)


@pytest.mark.transcribed(
    "EL-817",
    where="leakage 10 uA at 4 V, maximum",
    rtol=1e-12,
    why="printed values, exact",
)
def test_led_limits(published: SimpleNamespace) -> None:
    """10 uA at 4 V is 400 kohm; the nominal part leaks a hundredth."""
    led = optocoupler("817").led
    assert led.leak_ohm == pytest.approx(100 * 400e3, rel=published.rtol)


def test_every_part_is_usable() -> None:
    for family in families():
        for grade in grades(family):
            part = optocoupler(family, grade)
            assert 0 < part.ctr_min_ratio < part.ctr_ratio < part.ctr_max_ratio
            assert part.led.reverse_rating_v >= 5 or family == "TIL111"


def forward_v(
    led: Junction, current_a: np.ndarray, temperature_degc: float, gap_v: float
) -> np.ndarray:
    """Junction law of the model, written out; `gap_v` sets its fall with temperature."""
    kelvin = temperature_degc + zero_Celsius
    n_vt = led.emission_ratio * Boltzmann * kelvin / elementary_charge
    law_v = n_vt * np.log(current_a / led.saturation_current_a + 1) + led.series_ohm * current_a
    return np.asarray(law_v + gap_v * (1 - kelvin / REFERENCE_K))


@pytest.mark.fitted(
    "EL-817",
    where="fig. 1, forward voltage at 25, 110 and -55 degC, 0.1 to 20 mA",
    atol=0.02,
    why="read from a scan to about 2 % of an axis of 1 V",
)
@pytest.mark.parametrize("temperature_degc", [25.0, 110.0, -55.0])
def test_led_law_follows_the_published_curves(
    temperature_degc: float, published: SimpleNamespace
) -> None:
    led = optocoupler("817").led
    curve = refdata.columns("led_forward", curve="EL-817", temperature_degc=temperature_degc)
    used = curve["current_a"] <= 0.02
    law_v = forward_v(led, curve["current_a"][used], temperature_degc, led.gap_v)
    np.testing.assert_allclose(law_v, curve["forward_v"][used], rtol=0, atol=published.atol)


def test_led_gap_is_the_least_squares_fit() -> None:
    """Repeats the fit to the curves at 110 and -55 degC; rounded to 10 mV."""
    led = optocoupler("817").led
    slopes, rests = [], []
    for temperature_degc in (110.0, -55.0):
        curve = refdata.columns("led_forward", curve="EL-817", temperature_degc=temperature_degc)
        used = curve["current_a"] <= 0.02
        law_v = forward_v(led, curve["current_a"][used], temperature_degc, 0.0)
        rest_v = curve["forward_v"][used] - law_v
        slopes.append(np.full(rest_v.shape, 1 - (temperature_degc + zero_Celsius) / REFERENCE_K))
        rests.append(rest_v)
    slope, rest = np.concatenate(slopes), np.concatenate(rests)
    assert pytest.approx(float(slope @ rest / (slope @ slope)), abs=0.005) == LED_GAP_V
