"""Drawer files: what a person lists, and what is told when it cannot be used."""

from __future__ import annotations

import csv
from collections import defaultdict

import pytest

from tests.conftest import REFERENCE
from zcd.board.drawer import PLENTY, parse_drawer, series_drawer, series_values
from zcd.board.drawer_starter import STARTER
from zcd.board.preferred import SERIES
from zcd.errors import InputError
from zcd.report.of_board import drawer_lines

MESSY = """
name = "Bench three, second from above"
resistors = [
    "100k",
    4700,
    {value = "4k7", count = 2},
    {values = ["82k", "0.1M"], style = "1206", tolerance = "1 %", count = 10},
    {value = "1M", style = "1/2 W", power = "0.4 W", working_voltage = "200 V", count = 0},
]
optocouplers = ["PC817C", 817, {family = "814", grade = "A", ctr = "90 %", count = 1}]
diodes = ["1n4007", {part = "M7", count = 3}]
drive_parts = [
    "MOC3052M",
    {part = "s201dh1", current = "1.2 A", count = 2},
    {part = "Z9", kind = "triac", current = "2 A", voltage = "700 V"},
    {part = "BT136-800", count = 0},
]
"""


# One text an item, as in the spreadsheet of a shop: marking, rating and count.
AS_PRINTED = """
resistors = ["473", "4 x 68k 1 % 1/2W", "brown black yellow gold", "100k metal film 1W", "82k, 91k",
    "10k 5 pcs"]
capacitors = ["100n X2 275V", "0.1uF X2", "103K 1kV", "2A104J", "4n7 Y2 x 3"]
diodes = ["4x 1N4007", "1N4733A", "BZX85C5V1", "MB6S", "IN4148 x 10"]
optocouplers = ["3 x PC817C", "PC817X2", "CNY 17-3"]
"""


def test_parts_as_they_are_printed() -> None:
    drawer = parse_drawer(AS_PRINTED)
    assert not drawer.left_out
    assert [(r.part.resistance_ohm, r.part.style, r.count) for r in drawer.resistors] == [
        (10e3, "1/4 W", 5), (47e3, "1206", PLENTY), (68e3, "1/2 W", 4), (82e3, "1/4 W", PLENTY),
        (91e3, "1/4 W", PLENTY), (100e3, "1/4 W", PLENTY), (100e3, "1 W", PLENTY),
    ]  # fmt: skip
    shown = [(c.part.capacitance_f, c.part.safety_class, c.part.rated_v) for c in drawer.capacitors]
    assert shown == [
        (pytest.approx(100e-9), "X2", 275.0), (pytest.approx(100e-9), "X2", None),
        (pytest.approx(10e-9), "", 1000.0), (pytest.approx(100e-9), "", 100.0),
        (pytest.approx(4.7e-9), "Y2", None),
    ]  # fmt: skip
    assert drawer.capacitors[-1].count == 3
    assert [(d.part.part, d.count) for d in drawer.diodes] == [
        ("1N4007", 4), ("zener 5.1 V 1 W", PLENTY), ("zener 5.1 V 1.3 W", PLENTY),
        ("MB6S", PLENTY), ("1N4148", 10),
    ]  # fmt: skip
    assert [(o.part.family, o.part.grade, o.count) for o in drawer.optocouplers] == [
        ("817", "C", 3), ("817", "B", PLENTY), ("CNY17", "3", PLENTY),
    ]  # fmt: skip
    assert "473" in [note.printed for note in drawer.read_as]


def test_what_cannot_be_used_is_left_out_and_said() -> None:
    text = """resistors = ["27k", "?", "82k", {value = "1k", style = "1207"}]
        diodes = ["1N4007", "XY12", "about"]
        optocouplers = ["4N33"]"""
    drawer = parse_drawer(text)
    assert [item.part.resistance_ohm for item in drawer.resistors] == [27e3, 82e3]
    assert [item.part.part for item in drawer.diodes] == ["1N4007"]
    assert [line.partition(": ")[0] for line in drawer.left_out] == [
        "resistors[2]", "resistors[4].style", "optocouplers[1].family", "diodes[2].part",
        "diodes[3].part",
    ]  # fmt: skip
    lines = drawer_lines(drawer, 3)
    assert lines[0] == 'Left out: resistors[2]: found "?".'
    assert lines[2].endswith('found "4N33". 2 more. What to write: --full.')
    assert all("; allowed: " in line for line in drawer_lines(drawer))
    with pytest.raises(InputError, match=r"resistors\[1\]: found"):
        parse_drawer('resistors = ["?"]')


def test_a_messy_drawer_is_read() -> None:
    drawer = parse_drawer(MESSY)
    result = [
        (item.part.resistance_ohm, item.part.style, item.part.tolerance_ratio, item.count)
        for item in drawer.resistors
    ]
    assert drawer.name == "Bench three, second from above"
    assert result == [
        (4700.0, "1/4 W", 0.05, PLENTY),
        (82e3, "1206", 0.01, 10),
        (100e3, "1/4 W", 0.05, PLENTY),
        (100e3, "1206", 0.01, 10),
    ]
    assert [(o.part.family, o.part.grade, o.count) for o in drawer.optocouplers] == [
        ("817", "C", PLENTY),
        ("817", "any", PLENTY),
        ("814", "A", 1),
    ]
    assert [(d.part.part, d.count) for d in drawer.diodes] == [("1N4007", PLENTY), ("M7", 3)]
    assert [(p.part, p.kind, p.mode, p.off_state_v) for p in drawer.drive_parts] == [
        ("MOC3052M", "driver", "random-phase", 600.0),
        ("S201DH1", "coupler", "random-phase", 600.0),
        ("Z9", "triac", "gate", 700.0),
    ]
    assert drawer.drive_parts[1].current_a == 1.2
    assert {a.key for a in drawer.assumptions} == {"drawer.style", "drawer.tolerance"}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('resistors = ["100kk"]', 'resistors[1]: found "100kk"; allowed: a resistance'),
        ("resistors = [{values = []}]", "resistors[1].values: found a list"),
        ('resistors = [{values = [{series = "E12"}, "82k"]}]', "resistors[1].values"),
        ('resistors = [{value = "1k", series = "E24"}]', 'found "value and series"'),
        ("resistors = [{count = 3}]", "resistors[1]: found nothing; allowed: exactly one of"),
        ('resistors = [{value = "1k", styl = "1206"}]', '"styl" is not known; write "style"'),
        ('resistors = [{value = "1k", style = "1207"}]', "resistors[1].style: found"),
        ('resistors = [{value = "1k", count = -1}]', "resistors[1].count: found -1"),
        ('resistors = [{value = "1k", count = "some"}]', 'resistors[1].count: found "some"'),
        ('capacitors = [" "]', "capacitors[1]"),
        ('resistors = [{series = "E25"}]', 'found "E25"; allowed: one of E6, E12'),
        ('resistors = "100k"', 'resistors: found "100k"; allowed: a list such as'),
        ('resistor = ["100k"]', '"resistor" is not known; write "resistors"'),
        ('optocouplers = ["917"]', "optocouplers[1].family: found"),
        ('diodes = ["1N4009"]', 'did you mean "1N4007"?'),
        ('drive_parts = ["MOC3053X"]', 'did you mean "MOC30'),
        ('drive_parts = [{part = "Z9", kind = "coupler"}]', "drive_parts[1].part: found"),
        ('drive_parts = [{part = "Z9", kind = "relay"}]', "allowed: one of coupler, driver"),
        (
            'drive_parts = [{part = "S201DH1", full_current_to = "40 C"}]',
            "allowed: both full_current_to and no_current_from",
        ),
        (
            'drive_parts = [{part = "S201DH1", full_current_to = "90 C", no_current_from = 80}]',
            "drive_parts[1].no_current_from: found",
        ),
        ('name = "nothing in it"', "allowed: at least one of resistors, optocouplers"),
        ('mains = "230 V"', "found a board or job file"),
        ("", "found an empty file"),
        ("resistors = [", "found a list that is not closed (begun in line 1)"),
        (
            f"resistors = [{{values = {[1000 + k for k in range(1001)]}}}]",
            'found "1001 values"; allowed: up to 1000 different ones',
        ),
    ],
)
def test_what_cannot_be_used_is_told(text: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_drawer(text, "stock.toml")
    assert all(line.startswith("stock.toml: ") for line in str(caught.value).splitlines())
    assert told in str(caught.value)


@pytest.mark.transcribed(
    "IEC-60063", where="lists of the preferred numbers", why="the values are exact", rtol=1e-12
)
def test_series_are_those_of_the_standard() -> None:
    decades: dict[str, list[float]] = defaultdict(list)
    text = (REFERENCE / "preferred_numbers.csv").read_text(encoding="utf-8").splitlines()
    for row in csv.DictReader(line for line in text if not line.startswith("#")):
        decades[row["series"]].append(float(row["value"]))
    assert {"E12", "E24", "E96"} <= decades.keys()
    for series, values in decades.items():
        wanted = [v / values[0] * 10.0**k for k in range(3, 7) for v in values] + [1e7]
        assert series_values(series) == pytest.approx(wanted, rel=1e-12)


def test_a_series_is_a_drawer_of_its_usual_tolerance() -> None:
    drawer = series_drawer("e12", "1/2 W")
    assert len(drawer.resistors) == 4 * 12 + 1
    assert {item.part.tolerance_ratio for item in drawer.resistors} == {SERIES["E12"]}
    assert {item.part.style for item in drawer.resistors} == {"1/2 W"}
    for wrong in (("E13", "1206"), ("E12", "1207")):
        with pytest.raises(InputError, match="allowed: one of"):
            series_drawer(*wrong)


def test_the_starter_is_a_drawer() -> None:
    drawer = parse_drawer(STARTER)
    assert len(drawer.resistors) > 50
    assert {o.part.family for o in drawer.optocouplers} == {"817", "814"}
    names = [p.part for p in drawer.drive_parts]
    assert names == ["MOC3052M", "S201DH1", "BT136-800", "X-600"]
