"""Tests of zcd.board.parts_library: styles, diodes, preferred values."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from tests.board.boards import edited
from zcd import refdata
from zcd.board.files import board_from_dict
from zcd.board.parts_library import (
    SILICON_GAP_V,
    all_resistors,
    diode,
    diode_parts,
    odd_values,
    resistor,
    resistor_limits,
    styles,
)
from zcd.errors import InputError
from zcd.refdata import default


@pytest.mark.transcribed(
    "YAGEO-RC",
    where="ratings by size, older sheet: 2010 and 2512 200 V working, 400 V overload",
    rtol=1e-12,
    why="printed values, exact",
)
@pytest.mark.parametrize("style", ["2010", "2512"])
def test_makers_disagree_and_the_lower_voltage_counts(
    style: str, published: SimpleNamespace
) -> None:
    """Another maker, VISHAY-CRCW, prints 400 V and 500 V for the same two sizes."""
    limits = resistor_limits(style)
    assert limits.working_v == pytest.approx(200.0, rel=published.rtol)
    assert limits.overload_v == pytest.approx(400.0, rel=published.rtol)
    assert "lowest of several data sheets" in limits.source
    assert "[YAGEO-RC]" in limits.source
    assert "[VISHAY-CRCW]" in limits.source


@pytest.mark.transcribed(
    "RND-CHIP", where="base grade, 1206: 1/8 W", rtol=1e-12, why="printed value, exact"
)
def test_unknown_1206_may_be_an_eighth_of_a_watt(published: SimpleNamespace) -> None:
    assert resistor_limits("1206").rated_power_w == pytest.approx(0.125, rel=published.rtol)


@pytest.mark.transcribed(
    "YAGEO-MFR",
    where="MFR-25: 1/4 W, 250 V, 500 V",
    rtol=1e-12,
    why="printed values, exact",
)
def test_one_maker(published: SimpleNamespace) -> None:
    limits = resistor_limits("mfr-25")
    result = (limits.rated_power_w, limits.working_v, limits.overload_v)
    assert result == pytest.approx((0.25, 250.0, 500.0), rel=published.rtol)
    assert "disagree" not in limits.source


@pytest.mark.transcribed(
    "VISHAY-HVR", where="HVR25: 1150 V rms", rtol=1e-12, why="printed value, exact"
)
def test_style_without_overload_voltage(published: SimpleNamespace) -> None:
    """Its overload voltage is not printed: twice the working voltage, and the source says so."""
    limits = resistor_limits("HVR25")
    assert limits.working_v == pytest.approx(1150.0, rel=published.rtol)
    assert limits.overload_v == 2 * limits.working_v
    assert "common practice, no source" in limits.source


@pytest.mark.parametrize("style", styles())
def test_every_style_is_usable(style: str) -> None:
    limits = resistor_limits(style)
    assert 0 < limits.rated_power_w <= 5
    assert 0 < limits.working_v <= limits.overload_v
    assert limits.source
    assert resistor_limits(style.replace(" ", "").lower()) == limits


def test_written_limits_replace_those_of_the_style() -> None:
    part = resistor(
        ref="R1",
        resistance_ohm=100e3,
        tolerance_ratio=0.01,
        style="1206",
        power_w=0.25,
        working_v=300.0,
    )
    assert (part.rated_power_w, part.working_v, part.overload_v) == (0.25, 300.0, 600.0)
    assert part.source.startswith("limits as written")


@pytest.mark.parametrize(
    ("look_up", "found", "known"),
    [
        (lambda: resistor_limits("1026", "chain.style"), '"1026"', 'did you mean "1206"'),
        (lambda: diode("1N4070", ref="D1", key="chain.style"), '"1N4070"', "1N4148"),
    ],
)
def test_unknown_part_lists_those_known(look_up: object, found: str, known: str) -> None:
    assert callable(look_up)
    with pytest.raises(InputError) as caught:
        look_up()
    message = str(caught.value)
    assert message.startswith(f"chain.style: found {found}; allowed: ")
    assert known in message


@pytest.mark.transcribed(
    "YANGJIE-1N4007",
    where="1N4007: 1000 V; 5 uA at the rated voltage, 25 degC",
    rtol=1e-12,
    why="printed values, exact",
)
def test_rectifier(published: SimpleNamespace) -> None:
    """A leakage of 5 uA at 1000 V is 200 Mohm; a typical part has a stated share of it."""
    part = diode("1n4007", ref="D7")
    assert (part.ref, part.part) == ("D7", "1N4007")
    assert part.junction.reverse_rating_v == pytest.approx(1000.0, rel=published.rtol)
    assert part.junction.leak_ohm * default("junction.typical_leak_ratio").value == pytest.approx(
        200e6, rel=published.rtol
    )
    assert "[YANGJIE-1N4007]" in part.source


@pytest.mark.transcribed(
    "MBS-SHEETS",
    where="MB6S 600 V, DB107 1000 V; 1N4004 400 V, 1N4005 and M5 600 V, S1J 600 V, ES1J 600 V",
    rtol=1e-12,
    why="printed values, exact",
)
@pytest.mark.parametrize(
    ("part", "reverse_v"),
    [
        ("1N4004", 400),
        ("1N4005", 600),
        ("M5", 600),
        ("S1J", 600),
        ("ES1J", 600),
        ("MB6S", 600),
        ("DB107", 1000),
        ("BAS21", 200),
    ],
)
def test_printed_voltage(part: str, reverse_v: float, published: SimpleNamespace) -> None:
    rating_v = diode(part, ref="D1").junction.reverse_rating_v
    assert rating_v == pytest.approx(reverse_v, rel=published.rtol)


def test_every_diode_is_usable() -> None:
    for part in diode_parts():
        junction = diode(part, ref="D1").junction
        schottky = part.startswith("BAT")
        assert 0 < junction.saturation_current_a < (1e-6 if schottky else 1e-7), part
        assert 1 <= junction.emission_ratio <= 2, part
        assert junction.gap_v == (0.74 if schottky else SILICON_GAP_V), part
        assert junction.leak_ohm > 1e6, part


@pytest.mark.transcribed(
    "IEC-60063",
    where="series E24 and E96, one decade",
    rtol=1e-6,
    why="preferred values are exact; only the float of a decade above may differ",
)
@pytest.mark.parametrize("series", ["E24", "E96"])
def test_preferred_values_are_not_odd(series: str, published: SimpleNamespace) -> None:
    values = refdata.columns("preferred_numbers", series=series)["value"]
    scale = 1e3 if series == "E96" else 1e4
    for value in values:
        board = board_from_dict(edited(chain={"resistors": [float(value) * scale] * 2}))
        assert board.chains[0][0].resistance_ohm == pytest.approx(value * scale, rel=published.rtol)
        assert odd_values(board) == ()


def test_odd_value_is_named() -> None:
    board = board_from_dict(edited(chain={"resistors": ["120k", "123k"]}))
    assert odd_values(board) == ("R2 = 123 kΩ is no standard value; read the part again.",)


def test_chip_marking_taken_for_a_value() -> None:
    """104 on a chip is 100 k; as a number it is in ohms, and makes a chain that would burn."""
    lines = odd_values(board_from_dict(edited(chain={"resistors": [104, 1003]})))
    assert "(a chip marked 104 is 100 kΩ)" in lines[0]
    assert "(a chip marked 1003 is 100 kΩ)" in lines[1]
    assert lines[2].startswith("the chain of 1.107 kΩ would pass 323.2 mA")


def test_all_resistors() -> None:
    keys = edited(
        chain={"topology": "bridge", "resistors": ["1k", "2k"], "parallel": [["3k"]]},
        led={"resistor": "5k"},
    )
    keys["chain"]["return_resistors"] = ["4k"]
    board = board_from_dict(keys)
    values = [part.resistance_ohm for part in all_resistors(board)]
    assert values == [1e3, 2e3, 3e3, 4e3, 5e3, 10e3]


def test_mains_that_are_none_are_doubted() -> None:
    lines = [odd_values(board_from_dict(edited(mains=volts))) for volts in ("23 V 50 Hz", "990 V")]
    assert [line.partition("?")[0].partition(" Read")[0] for (line, *_) in lines] == [
        "mains = 23 V is no public mains (100 V to 240 V), 230 V",
        "mains = 990 V is no public mains (100 V to 240 V).",
    ]
    assert odd_values(board_from_dict(edited(mains="277 V 60 Hz"))) == ()
