"""Tests of zcd.board.units and zcd.board.quantity_kinds: what people write, and what is refused."""

from __future__ import annotations

from datetime import date
from math import inf, nan, pi

import pytest

from zcd.board import quantity_kinds
from zcd.board.units import QuantityKind, find_name, format_si, nearest, parse_quantity
from zcd.errors import InputError, describe_value, invalid_value

# IEC 60062 codes with their values as printed in the documentation of the open-source package
# rkm_codes 1.0, "Resistance examples"; the standard itself was not read.
IEC_60062_EXAMPLES = [
    ("R47", 0.47),
    ("4R7", 4.7),
    ("470R", 470.0),
    ("4K7", 4.7e3),
    ("47K", 47e3),
    ("47K3", 47.3e3),
    ("470K", 470e3),
    ("4M7", 4.7e6),
]


@pytest.mark.parametrize(("code", "expected_ohm"), IEC_60062_EXAMPLES)
def test_codes_of_the_standard(code: str, expected_ohm: float) -> None:
    """The values are exact decimals; only the last bit of a float may differ."""
    assert parse_quantity(code, quantity_kinds.RESISTANCE) == pytest.approx(expected_ohm, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("120k", quantity_kinds.RESISTANCE, 120e3),
        ("2,2k", quantity_kinds.RESISTANCE, 2.2e3),
        ("0,125 W", quantity_kinds.POWER, 0.125),
        ("3,3 V", quantity_kinds.SUPPLY_VOLTAGE, 3.3),
        ("1/2 watt", quantity_kinds.POWER, 0.5),
        ("120 k", quantity_kinds.RESISTANCE, 120e3),
        ("120 K", quantity_kinds.RESISTANCE, 120e3),
        ("120 kΩ", quantity_kinds.RESISTANCE, 120e3),
        ("120 k\u2126", quantity_kinds.RESISTANCE, 120e3),
        ("120\u00a0kΩ", quantity_kinds.RESISTANCE, 120e3),
        ("120 kohm", quantity_kinds.RESISTANCE, 120e3),
        ("  120 kOhms ", quantity_kinds.RESISTANCE, 120e3),
        ("100R", quantity_kinds.RESISTANCE, 100.0),
        ("100 r", quantity_kinds.RESISTANCE, 100.0),
        ("4k7 Ω", quantity_kinds.RESISTANCE, 4.7e3),
        ("4k7 ohm", quantity_kinds.RESISTANCE, 4.7e3),
        ("0R22", quantity_kinds.RESISTANCE, 0.22),
        ("1M5", quantity_kinds.RESISTANCE, 1.5e6),
        ("1M", quantity_kinds.RESISTANCE, 1e6),
        ("1G", quantity_kinds.RESISTANCE, 1e9),
        ("1.2e5", quantity_kinds.RESISTANCE, 120e3),
        ("100", quantity_kinds.RESISTANCE, 100.0),
        (120_000, quantity_kinds.RESISTANCE, 120e3),
        (0.1, quantity_kinds.RESISTANCE, 0.1),
        ("100m", quantity_kinds.SMALL_RESISTANCE, 0.1),
        ("10n", quantity_kinds.CAPACITANCE, 10e-9),
        ("10 nF", quantity_kinds.CAPACITANCE, 10e-9),
        ("10NF", quantity_kinds.CAPACITANCE, 10e-9),
        ("4n7", quantity_kinds.CAPACITANCE, 4.7e-9),
        ("4n7 F", quantity_kinds.CAPACITANCE, 4.7e-9),
        ("4u7", quantity_kinds.CAPACITANCE, 4.7e-6),
        ("4µ7", quantity_kinds.CAPACITANCE, 4.7e-6),
        ("100 \u03bcF", quantity_kinds.CAPACITANCE, 100e-6),
        ("1p", quantity_kinds.CAPACITANCE, 1e-12),
        ("1 mF", quantity_kinds.CAPACITANCE, 1e-3),
        ("230 V", quantity_kinds.MAINS_VOLTAGE, 230.0),
        ("230v", quantity_kinds.MAINS_VOLTAGE, 230.0),
        ("230 VAC", quantity_kinds.MAINS_VOLTAGE, 230.0),
        ("3V3", quantity_kinds.SUPPLY_VOLTAGE, 3.3),
        ("3.3 V", quantity_kinds.SUPPLY_VOLTAGE, 3.3),
        ("1500 mV", quantity_kinds.SUPPLY_VOLTAGE, 1.5),
        ("1.6 kV", quantity_kinds.WORKING_VOLTAGE, 1600.0),
        ("50 Hz", quantity_kinds.FREQUENCY, 50.0),
        ("50hz", quantity_kinds.FREQUENCY, 50.0),
        (60, quantity_kinds.FREQUENCY, 60.0),
        ("5 %", quantity_kinds.TOLERANCE, 0.05),
        ("5%", quantity_kinds.TOLERANCE, 0.05),
        ("0.05", quantity_kinds.TOLERANCE, 0.05),
        (0.05, quantity_kinds.TOLERANCE, 0.05),
        ("50 %", quantity_kinds.TOLERANCE, 0.5),
        ("200 %", quantity_kinds.CTR, 2.0),
        (2.0, quantity_kinds.CTR, 2.0),
        ("0.1 %", quantity_kinds.CTR, 0.001),
        ("200 us", quantity_kinds.DURATION, 200e-6),
        ("200 µs", quantity_kinds.DURATION, 200e-6),
        ("0.2 ms", quantity_kinds.DURATION, 200e-6),
        (0.0002, quantity_kinds.DURATION, 200e-6),
        ("90 deg", quantity_kinds.ANGLE, pi / 2),
        ("-360°", quantity_kinds.ANGLE, -2 * pi),
        ("1.5 rad", quantity_kinds.ANGLE, 1.5),
        (0, quantity_kinds.ANGLE, 0.0),
        ("25 °C", quantity_kinds.TEMPERATURE, 25.0),
        ("25 \u2103", quantity_kinds.TEMPERATURE, 25.0),
        ("25 C", quantity_kinds.TEMPERATURE, 25.0),
        ("25 degC", quantity_kinds.TEMPERATURE, 25.0),
        ("\u221240 °C", quantity_kinds.TEMPERATURE, -40.0),
        ("0.25 W", quantity_kinds.POWER, 0.25),
        ("1/4 W", quantity_kinds.POWER, 0.25),
        ("1/2W", quantity_kinds.POWER, 0.5),
        ("250 mW", quantity_kinds.POWER, 0.25),
        ("4000 h", quantity_kinds.YEARLY_HOURS, 4000.0),
        ("1.5 mA", quantity_kinds.CURRENT, 1.5e-3),
    ],
)
def test_what_people_write(text: object, kind: QuantityKind, expected: float) -> None:
    assert parse_quantity(text, kind) == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(
    ("found", "kind", "shown"),
    [
        ("2,200k", quantity_kinds.RESISTANCE, '"2,200k"'),
        ("1,000", quantity_kinds.RESISTANCE, '"1,000"'),
        ("10 nF", quantity_kinds.RESISTANCE, '"10 nF"'),
        ("10n", quantity_kinds.RESISTANCE, '"10n"'),
        ("4m7", quantity_kinds.RESISTANCE, '"4m7"'),
        ("120 kV", quantity_kinds.RESISTANCE, '"120 kV"'),
        ("120 kk", quantity_kinds.RESISTANCE, '"120 kk"'),
        ("4k7k", quantity_kinds.RESISTANCE, '"4k7k"'),
        ("4k7 V", quantity_kinds.RESISTANCE, '"4k7 V"'),
        ("12k5.2", quantity_kinds.RESISTANCE, '"12k5.2"'),
        ("1.2.3k", quantity_kinds.RESISTANCE, '"1.2.3k"'),
        ("01C", quantity_kinds.RESISTANCE, '"01C"'),
        ("k", quantity_kinds.RESISTANCE, '"k"'),
        ("", quantity_kinds.RESISTANCE, '""'),
        ("   ", quantity_kinds.RESISTANCE, '"   "'),
        ("-", quantity_kinds.RESISTANCE, '"-"'),
        ("0x10", quantity_kinds.RESISTANCE, '"0x10"'),
        ("1_000", quantity_kinds.RESISTANCE, '"1_000"'),
        ("\uff14k7", quantity_kinds.RESISTANCE, '"\uff14k7"'),
        ("120q\n", quantity_kinds.RESISTANCE, '"120q?"'),
        ("nan", quantity_kinds.RESISTANCE, '"nan"'),
        ("inf", quantity_kinds.RESISTANCE, '"inf"'),
        ("1e999", quantity_kinds.RESISTANCE, '"1e999"'),
        (nan, quantity_kinds.RESISTANCE, "nan"),
        (inf, quantity_kinds.RESISTANCE, "inf"),
        (True, quantity_kinds.RESISTANCE, "true"),
        (None, quantity_kinds.RESISTANCE, "nothing"),
        ([], quantity_kinds.RESISTANCE, "a list"),
        ({}, quantity_kinds.RESISTANCE, "a table"),
        (date(2030, 1, 2), quantity_kinds.RESISTANCE, "2030-01-02"),
        (10**400, quantity_kinds.RESISTANCE, "a very large number"),
        ("4k7", quantity_kinds.CAPACITANCE, '"4k7"'),
        ("10 mH", quantity_kinds.CAPACITANCE, '"10 mH"'),
        ("230 W", quantity_kinds.MAINS_VOLTAGE, '"230 W"'),
        ("230 MV", quantity_kinds.MAINS_VOLTAGE, '"230 MV"'),
        ("298 K", quantity_kinds.TEMPERATURE, '"298 K"'),
        ("77 F", quantity_kinds.TEMPERATURE, '"77 F"'),
        ("1 min", quantity_kinds.DURATION, '"1 min"'),
        ("1/0 W", quantity_kinds.POWER, '"1/0 W"'),
        ("1/4", quantity_kinds.POWER, '"1/4"'),
        ("1/4 V", quantity_kinds.SUPPLY_VOLTAGE, '"1/4 V"'),
    ],
)
def test_wrong_spelling_is_refused(found: object, kind: QuantityKind, shown: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_quantity(found, kind, "table.key")
    message = str(caught.value)
    assert message.startswith(f"table.key: found {shown}; allowed: {kind.word} such as ")
    assert f'"{kind.examples[0]}"' in message
    assert "\n" not in message


def test_comma_is_pointed_out() -> None:
    """A decimal comma is read; a thousand may be meant by one with three digits behind it."""
    with pytest.raises(InputError, match="may be thousands: use a point, or no sign at all"):
        parse_quantity("2,200", quantity_kinds.RESISTANCE)
    with pytest.raises(InputError, match=r'found "6,8,0k".*\(one comma or point at most\)'):
        parse_quantity("6,8,0k", quantity_kinds.RESISTANCE)


@pytest.mark.parametrize("found", [90, 90.0, "90", " 90 "])
def test_angle_needs_its_unit(found: object) -> None:
    """A bare 90 could be degrees or, as a plain SI number, radians."""
    with pytest.raises(InputError, match=r'"90 deg".*\(write the unit\)$'):
        parse_quantity(found, quantity_kinds.ANGLE)


@pytest.mark.parametrize(
    ("found", "kind", "limits"),
    [
        (0, quantity_kinds.RESISTANCE, "from 100 mΩ to 1 GΩ"),
        ("-5k", quantity_kinds.RESISTANCE, "from 100 mΩ to 1 GΩ"),
        ("1.1G", quantity_kinds.RESISTANCE, "from 100 mΩ to 1 GΩ"),
        ("0.9 p", quantity_kinds.CAPACITANCE, "from 1 pF to 1 mF"),
        ("104", quantity_kinds.CAPACITANCE, "from 1 pF to 1 mF"),
        ("0.5 V", quantity_kinds.MAINS_VOLTAGE, "from 1 V to 1 kV"),
        ("1001 V", quantity_kinds.MAINS_VOLTAGE, "from 1 V to 1 kV"),
        ("51 V", quantity_kinds.SUPPLY_VOLTAGE, "from 1 V to 50 V"),
        ("9 Hz", quantity_kinds.FREQUENCY, "from 10 Hz to 1 kHz"),
        ("5 kHz", quantity_kinds.FREQUENCY, "from 10 Hz to 1 kHz"),
        ("5", quantity_kinds.TOLERANCE, "from 0 % to 50 %"),
        ("-1 %", quantity_kinds.TOLERANCE, "from 0 % to 50 %"),
        (250, quantity_kinds.CTR, "from 0.1 % to 2000 %"),
        ("101 %", quantity_kinds.REMAINING, "from 0.1 % to 100 %"),
        ("-1 us", quantity_kinds.DURATION, "from 0 s to 100 ms"),
        ("200", quantity_kinds.DURATION, "from 0 s to 100 ms"),
        ("-56", quantity_kinds.TEMPERATURE, "from -55 °C to 150 °C"),
        ("151 °C", quantity_kinds.TEMPERATURE, "from -55 °C to 150 °C"),
        ("361 deg", quantity_kinds.ANGLE, "from -6.283 rad to 6.283 rad"),
        (8785, quantity_kinds.YEARLY_HOURS, "from 0 h to 8784 h"),
    ],
)
def test_absurd_value_is_refused_with_the_range(
    found: object, kind: QuantityKind, limits: str
) -> None:
    with pytest.raises(InputError) as caught:
        parse_quantity(found, kind)
    assert f"allowed: {kind.word} {limits} such as " in str(caught.value)


def test_milli_for_mega_is_pointed_out() -> None:
    with pytest.raises(InputError, match=r"\(m is milli, M is mega: write .*\)$"):
        parse_quantity("1m", quantity_kinds.RESISTANCE)


@pytest.mark.parametrize("found", ["150m", "1m", "1.5 m"])
def test_milliohms_are_no_resistor_of_a_board(found: str) -> None:
    """150m is a megohm from a hurried hand, or a shunt, which no sync circuit has."""
    with pytest.raises(InputError, match=r"\(m is milli, M is mega: write .*\)$"):
        parse_quantity(found, quantity_kinds.RESISTANCE)
    assert parse_quantity("0R15", quantity_kinds.RESISTANCE) == 0.15
    assert parse_quantity("150 mΩ", quantity_kinds.RESISTANCE) == 0.15


@pytest.mark.parametrize("found", ["100.000", "1.500", "10.000 Ω", "1.000.000", "220.000 ohm"])
def test_a_point_before_three_digits_may_part_thousands(found: str) -> None:
    """A hundred thousand in some countries, a hundred in others."""
    with pytest.raises(InputError, match=r"\(three digits after a point may be thousands: "):
        parse_quantity(found, quantity_kinds.RESISTANCE)


@pytest.mark.parametrize(
    ("found", "expected_ohm"),
    [("0.150", 0.15), ("1.500k", 1500.0), ("100.00", 100.0)],
)
def test_plain_decimals_are_read(found: str, expected_ohm: float) -> None:
    assert parse_quantity(found, quantity_kinds.RESISTANCE) == expected_ohm


@pytest.mark.parametrize(
    "kind",
    [kind for kind in vars(quantity_kinds).values() if isinstance(kind, QuantityKind)],
    ids=lambda k: k.word,
)
def test_examples_and_ends_of_the_range_are_allowed(kind: QuantityKind) -> None:
    """Thresholds give an example of the other form; that is read by the schema."""
    own = [text for text in kind.examples if ("%" in text) == (kind.unit == "%") or "0." in text]
    assert own
    for text in own:
        assert kind.low <= parse_quantity(text, kind) <= kind.high
    if kind.bare:
        assert parse_quantity(kind.low, kind) == kind.low
        assert parse_quantity(kind.high, kind) == kind.high


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (1500.0, "Ω", "1.5 kΩ"),
        (120e3, "Ω", "120 kΩ"),
        (0.1, "Ω", "100 mΩ"),
        (10e-9, "F", "10 nF"),
        (200e-6, "s", "200 µs"),
        (2.5e-6, "A", "2.5 µA"),
        (230.0, "V", "230 V"),
        (999.96, "V", "1 kV"),
        (0.0, "V", "0 V"),
        (-3.3, "V", "-3.3 V"),
        (0.05, "%", "5 %"),
        (0.125, "%", "12.5 %"),
        (25.0, "°C", "25 °C"),
        (4000.0, "h", "4000 h"),
        (1.5707963, "rad", "1.571 rad"),
    ],
)
def test_format_si(value: float, unit: str, expected: str) -> None:
    assert format_si(value, unit) == expected


def test_format_si_digits() -> None:
    assert format_si(123456.0, "Ω", digits=2) == "120 kΩ"


@pytest.mark.parametrize("value", [0.1, 4.7, 999.0, 4.7e3, 123.4e3, 1e6, 1e9])
def test_format_and_parse_are_inverse(value: float) -> None:
    shown = format_si(value, "Ω")
    assert parse_quantity(shown, quantity_kinds.RESISTANCE) == pytest.approx(value, rel=1e-12)


def test_show_found_is_short_and_on_one_line() -> None:
    shown = describe_value("a\n\x1b[31m" + "b" * 100)
    assert shown == '"a??[31m' + "b" * 33 + '..."'
    assert describe_value((1, 2)) == "a list"
    assert describe_value(object()) == "object"


def test_refusal_without_key() -> None:
    assert str(invalid_value("x", "y")) == 'found "x"; allowed: y'


def test_names() -> None:
    assert nearest("suply", ("supply", "pull_up")) == ' (did you mean "supply"?)'
    assert nearest("zzz", ("supply", "pull_up")) == ""
    assert find_name(" 1/4w", ("1206", "1/4 W")) == "1/4 W"
    assert find_name("1/8 W", ("1206", "1/4 W")) is None
