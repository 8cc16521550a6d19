"""Other parts put into a board: the fields then describe just that board."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from tests.substitutes.places import section
from zcd.board import optocouplers, parts_library
from zcd.board.files import board_from_dict
from zcd.board.model import Board, Resistor
from zcd.board.transistors import transistor
from zcd.report.of_changes import changes
from zcd.substitutes.series_string import with_parts
from zcd.web.board_form import read, texts_of
from zcd.web.replaced_parts import fitted

HALF: dict[str, Any] = {
    "mains": "230 V 50 Hz",
    "rectifier": "1N4007",
    "optocoupler": {"family": "817 C", "remaining": "40 %", "ref": "OC4"},
    "chain": {
        "resistors": ["47k", {"value": "47k", "tolerance": "1 %"}, {"value": "47k", "ref": "R9"}],
        "joint_capacitor": {"after": 3, "capacitance": "2.2 nF"},
    },
    "output": {"pull_up": {"value": "22k", "tolerance": "1 %"}, "supply": "5 V"},
}
BRIDGE: dict[str, Any] = {
    "mains": "120 V 60 Hz",
    "rectifier": "1N4007",
    "optocoupler": "817 B",
    "chain": {"topology": "bridge", "resistors": ["22k", "22k", "27k", "27k"], "style": "1206"},
    "output": {"pull_up": "15k", "supply": "3.3 V"},
}
TWO_LED: dict[str, Any] = {
    "mains": "230 V 50 Hz",
    "optocoupler": "814 A",
    "chain": {"topology": "two-led", "resistors": ["33k"], "parallel": [["33k", "10k"]]},
    "output": {"pull_down": "4k7", "supply": "5 V"},
}


def resistor(ohm: float, style: str = "1206", watt: float | None = None) -> Resistor:
    return parts_library.resistor(
        ref="", resistance_ohm=ohm, tolerance_ratio=0.01, style=style, power_w=watt
    )


def through_the_fields(file: Mapping[str, Any], after: Board) -> Board:
    """The board that the fields describe after the change; what was assumed may differ."""
    before = board_from_dict(file)
    result, errors = read(fitted(texts_of(file), before, after))
    assert errors == {}
    assert result is not None
    return replace(result, assumptions=after.assumptions)


@pytest.mark.parametrize(
    ("file", "refs", "parts"),
    [
        (HALF, ["R9"], [resistor(51e3)]),
        (HALF, ["R1"], [resistor(33e3), resistor(15e3, "1/2 W", 0.4)]),
        (HALF, ["R1", "R2", "R9"], [resistor(150e3, "1/2 W")]),
        (BRIDGE, ["R1", "R3"], [resistor(24e3), resistor(24e3)]),
        (BRIDGE, ["R4"], [resistor(18e3), resistor(9.1e3), resistor(1e2)]),
        (TWO_LED, ["R2"], [resistor(30e3)]),
    ],
)
def test_resistors_of_the_chain(
    file: Mapping[str, Any], refs: list[str], parts: list[Resistor]
) -> None:
    before = board_from_dict(file)
    after = with_parts(section(before, *refs), parts)
    assert through_the_fields(file, after) == after
    assert changes(before, after)


def test_optocoupler_diode_and_pull_up() -> None:
    before = board_from_dict(HALF)
    assert before.rectifier is not None
    for after in (
        replace(before, optocoupler=optocouplers.optocoupler("617", "3", ref="OC4")),
        replace(before, optocoupler=optocouplers.optocoupler("817C", ref="OC4", ctr_ratio=2.34)),
        replace(before, rectifier=parts_library.diode("M7", ref=before.rectifier.ref)),
        replace(before, output=replace(before.output, resistor=replace(
            resistor(33e3), ref=before.output.resistor.ref))),
    ):  # fmt: skip
        assert through_the_fields(HALF, after) == after


def test_changes_are_told_part_by_part() -> None:
    before = board_from_dict(HALF)
    after = with_parts(section(before, "R1"), [resistor(24e3), resistor(22e3)])
    assert changes(before, after) == ("R1: 47 kΩ 5 % replaced by 24 kΩ 1 % 1206 + 22 kΩ 1 % 1206",)
    new = replace(before, optocoupler=optocouplers.optocoupler("817C", ref="OC4"))
    assert changes(before, new) == ("OC4: 817 C, 40 % of its CTR left replaced by 817 C",)
    assert changes(before, before) == ()


@pytest.mark.parametrize("said", ["Q7 BC547B", "transistor BC547B", ""])
def test_the_transistor_of_a_traced_circuit(said: str) -> None:
    lines = ["feed - R1 220k - R2 220k - Q7.b", "emitter - neutral", *filter(None, [said])]
    file = {
        "mains": "230 V 50 Hz", "optocoupler": "none", "circuit": lines,
        "output": {"pull_up": "10k", "supply": "5 V"},
    }  # fmt: skip
    after = board_from_dict(file).with_transistor(transistor("2N3904", "Q7"))
    fitted_board = through_the_fields(file, after)
    assert fitted_board.transistor == after.transistor
