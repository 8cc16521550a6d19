"""Tests of zcd.board.markings: codes and colours as printed on parts.

The standard, IEC 60062, was not read itself: beside each list stands the text that quotes it.
"""

from __future__ import annotations

import pytest

from zcd.board.markings import capacitor_marking, resistor_markings, with_letter

# Chip codes: user manual of the GDS-200 gauge, page 178 (220 = 22 ohm); sheet of the RVC chip
# resistors (104 = 100 k); order codes of the Bourns CHV series (5 %: two figures and a count of
# zeros, 1 %: three and a count).
CHIP_CODES = [
    ("104", 100e3), ("683", 68e3), ("474", 470e3), ("823", 82e3), ("1004", 1e6), ("4703", 470e3),
    ("2203", 220e3), ("1002", 10e3),
]  # fmt: skip
# EIA-96, Annex A of IEC 60062, values as in the article on RKM codes that quotes it; ten public
# decoders agree on them.
EIA_96_CODES = [("01C", 10e3), ("01D", 100e3), ("66D", 475e3), ("68X", 49.9), ("30C", 20e3)]
# Colour code of IEC 60062 in the public table that lists its digits, multipliers and tolerances.
BANDS = [
    ("brown black yellow gold", 100e3, 0.05),
    ("Blue-Grey-Orange-Gold", 68e3, 0.05),
    ("yellow, violet, red, silver", 4.7e3, 0.1),
    ("red red green", 2.2e6, 0.2),
    ("brown black black red brown", 10e3, 0.01),
    ("yellow violet black gold green", 47.0, 0.005),
    ("brown green black orange red red", 150e3, 0.02),
    ("yellow purple silver gold", 0.47, 0.05),
]
# Capacitor codes, tolerance letters and voltage prefixes as the public lists of markings have
# them (electronics repair pages; 683 = 0.068 uF, 104 = 0.1 uF, 479 = 4.7 pF, 2A = 100 V).
CAPACITORS = [
    ("104", 100e-9, None, None),
    ("683", 68e-9, None, None),
    ("222", 2.2e-9, None, None),
    ("479", 4.7e-12, None, None),
    ("104K", 100e-9, 0.1, None),
    ("2A104J", 100e-9, 0.05, 100.0),
    ("1H103J", 10e-9, 0.05, 50.0),
    ("2J473K", 47e-9, 0.1, 630.0),
    ("2E4n7J", 4.7e-9, 0.05, 250.0),
    ("3R9", 3.9e-12, None, None),
    ("0.1", 100e-9, None, None),
    (".01", 10e-9, None, None),
]


@pytest.mark.parametrize(("text", "ohm"), CHIP_CODES)
def test_chip_codes(text: str, ohm: float) -> None:
    (found,) = resistor_markings(text)
    assert (found.value, found.plain) == (pytest.approx(ohm, rel=1e-12), False)


@pytest.mark.parametrize(("text", "ohm"), EIA_96_CODES)
def test_eia_96(text: str, ohm: float) -> None:
    (found,) = resistor_markings(text)
    assert found.value == pytest.approx(ohm, rel=1e-12)


def test_every_number_of_eia_96_is_that_of_the_series() -> None:
    """The code counts E96, which the formula of IEC 60063 gives to three figures."""
    for number in range(1, 97):
        (found,) = resistor_markings(f"{number:02d}A")
        assert found.value == pytest.approx(100 * round(10 ** ((number - 1) / 96), 2), rel=1e-12)


@pytest.mark.parametrize("text", ["00C", "97C", "01G", "01I", "01N", "12V", "1C", "101C"])
def test_what_is_no_eia_96(text: str) -> None:
    assert resistor_markings(text) == ()


@pytest.mark.parametrize(("text", "ohm", "tolerance"), BANDS)
def test_colour_bands(text: str, ohm: float, tolerance: float) -> None:
    found = resistor_markings(text)[0]
    assert found.value == pytest.approx(ohm, rel=1e-12)
    assert found.tolerance_ratio == tolerance


def test_bands_from_the_wrong_end() -> None:
    """Gold and silver are never first."""
    (found,) = resistor_markings("gold yellow black brown")
    assert found.value == 100e3
    assert "other end" in found.words
    forward, backward = resistor_markings("brown black black orange brown")
    assert (forward.value, backward.value) == (100e3, 130.0)


@pytest.mark.parametrize(
    "text", ["brown black", "brown black pink elephant", "black brown red gold", "red", ""]
)
def test_what_are_no_bands(text: str) -> None:
    assert resistor_markings(text) == ()


def test_figures_with_two_meanings() -> None:
    """Of the codes ab c, with ab in E24 and c up to 6, 50 are preferred values as figures too."""
    e24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75,
           82, 91)  # fmt: skip
    codes = [f"{ab}{c}" for ab in e24 for c in range(7)]
    both = [code for code in codes if len(resistor_markings(code)) == 2]
    assert len(codes) == 168
    assert len(both) == 50
    assert {"220", "154", "475", "681"} <= set(both)


@pytest.mark.parametrize(("text", "farad", "tolerance", "rated_v"), CAPACITORS)
def test_capacitors(
    text: str, farad: float, tolerance: float | None, rated_v: float | None
) -> None:
    (found,) = capacitor_marking(text)
    assert found.value == pytest.approx(farad, rel=1e-12)
    assert found.tolerance_ratio == tolerance
    assert found.rated_v == (None if rated_v is None else pytest.approx(rated_v))


def test_a_disc_marked_100_is_10_or_100_pf() -> None:
    assert [m.value for m in capacitor_marking("100")] == [10e-12, 100e-12]


@pytest.mark.parametrize("text", ["100nF", "10 nF", "4u7F", "1000", "", "K", "2X104J"])
def test_what_is_no_capacitor_code(text: str) -> None:
    assert capacitor_marking(text) == ()


# IEC 60062 tolerance letters, as the article on RKM codes quotes them: F 1 %, G 2 %, J 5 %,
# K 10 %, M 20 %.
@pytest.mark.parametrize(
    ("text", "value", "ratio"),
    [("68KJ", "68K", 0.05), ("4K7F", "4K7", 0.01), ("470RG", "470R", 0.02), ("1MK", "1M", 0.1)],
)
def test_tolerance_letters(text: str, value: str, ratio: float) -> None:
    assert with_letter(text) == (value, ratio)


@pytest.mark.parametrize("text", ["68K", "1M", "4K7", "104", "5M", "KJ"])
def test_a_value_is_no_tolerance_letter(text: str) -> None:
    assert with_letter(text) is None
