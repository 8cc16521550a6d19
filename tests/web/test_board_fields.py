"""Fields become a board file, and each problem stands beside its field."""

from __future__ import annotations

from typing import Any, get_args

import pytest

from zcd.board.files import board_from_dict
from zcd.board.schema import BoardFile, ResistorTable, Table
from zcd.substitutes.compare import verdicts
from zcd.web.board_fields import SAID, single_fields
from zcd.web.board_form import (
    START,
    differing,
    fields_of,
    file_of,
    notes_of,
    read,
    texts_of,
    typed_over,
)
from zcd.web.resistor_rows import added, removed

FILE: dict[str, Any] = {
    "name": "Invented proofing cabinet",
    "mains": {
        "voltage": "120 V",
        "frequency": "60 Hz",
        "frequency_tolerance": "1 %",
        "tolerance": "8 %",
        "harmonics": [
            {"order": 3, "fraction": "5 %", "phase": "180 deg"},
            {"order": 5, "fraction": 0.02},
        ],
    },
    "feed": {
        "kind": "switched",
        "contact_resistance": "50m",
        "coil_supply": "24 V",
        "coil_resistance": "1k1",
        "driver_resistance": "2",
        "suppressor": {"resistance": "100", "capacitance": "100 nF"},
    },
    "rectifier": {"part": "1N4007", "ref": "D7"},
    "clamp": {"part": "1N4148", "ref": "D8"},
    "optocoupler": {"family": 817, "grade": "B", "remaining": "80 %", "ref": "OC3"},
    "chain": {
        "topology": "half-wave-clamped",
        "resistors": [
            "47k",
            {"value": "33k", "tolerance": "1 %", "style": "1206"},
            {"value": "22k", "tolerance": "1 %", "style": "1206"},
            {"value": "47k", "ref": "R77", "power": "0.5 W", "working_voltage": "350 V"},
        ],
        "parallel": [["330k", "330k"], ["1M"]],
        "style": "1/4 W",
        "tolerance": "2 %",
        "rectifier_first": True,
        "joint_capacitor": {"after": 2, "capacitance": "10 nF"},
    },
    "led": {"resistor": {"value": "10k", "tolerance": "1 %"}, "capacitor": "10 nF"},
    "output": {"pull_up": {"value": "10k", "ref": "R5"}, "supply": 5, "pin_capacitor": "1 nF"},
    "controller": {
        "low_threshold": "0.8 V",
        "high_threshold": "60 %",
        "edge": "rising",
        "min_low_time": "250 us",
    },
    "service": {
        "bench_temperature": "21 °C",
        "hot_temperature": "70 °C",
        "hours_per_year": "900 h",
    },
    "supervision": {"lock_periods": 4, "without_sync": "free-run", "target_speed": "900 rpm"},
    "drive": {"kind": "random-phase", "compensation": "300 us"},
    "fan": {"power": "25 W", "poles": 4, "pulses_per_turn": 2},
}


def test_what_to_begin_with_is_a_board() -> None:
    board, errors = read(START)
    assert errors == {}
    assert board is not None
    assert [r.resistance_ohm for r in board.chains[0]] == [51e3, 62e3, 51e3]
    assert verdicts([board])[0].passes


def leaves(table: type[Table], before: str = "") -> set[str]:
    """Keys of a board file that hold a value, by the schema."""
    keys = set()
    for name, field in table.model_fields.items():
        inner = [t for t in _inside(field.annotation) if t is not ResistorTable]
        lists = "harmonics" in name
        keys |= leaves(inner[0], f"{before}{name}.") if inner and not lists else {before + name}
    return keys


def _inside(annotation: Any) -> list[type[Table]]:
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return [annotation]
    return [table for part in get_args(annotation) for table in _inside(part)]


def test_every_key_of_a_board_file_has_a_field() -> None:
    strings = {"chain.resistors", "chain.return_resistors", "chain.parallel"}
    details = {name for name in ResistorTable.model_fields if name != "value"}
    singles = {"output.pull_up", "output.pull_down", "led.resistor"}
    assert leaves(BoardFile) - strings == {
        key for key in single_fields() if key.rpartition(".")[0] not in singles
    }
    assert {key for key in single_fields() if key.rpartition(".")[0] in singles} == {
        f"{single}.{name}" for single in singles for name in details
    }
    shown = fields_of(START)
    assert {f"chain.resistors.1.{name}" for name in details} < shown.keys()
    assert "chain.return_resistors.1" in shown


def test_a_file_goes_through_the_fields_and_back() -> None:
    """The same board, down to the last part, with nothing assumed that the file says."""
    texts = texts_of(FILE)
    assert texts.keys() <= fields_of(texts).keys()
    assert board_from_dict(file_of(texts)) == board_from_dict(FILE)
    assert texts_of(file_of(texts)) == texts


@pytest.mark.parametrize("mains", ["230 V", 230, "120 V 60 Hz", {"voltage": "230 V"}])
def test_short_forms_go_through_too(mains: object) -> None:
    file = {
        "mains": mains,
        "feed": "switched",
        "rectifier": "1N4007",
        "optocoupler": "817 C",
        "chain": {"resistors": ["91k", "160k"]},
        "output": {"pull_up": "10k", "supply": "5 V"},
        "fan": "30 W",
        "drive": "zero-cross",
    }
    assert board_from_dict(file_of(texts_of(file))) == board_from_dict(file)


def test_each_resistor_of_a_file_has_a_row() -> None:
    texts = texts_of(FILE)
    assert texts["chain.resistors.1"] == "47k"
    assert (texts["chain.resistors.2"], texts["chain.resistors.3"]) == ("33k", "22k")
    assert texts["chain.resistors.2.style"] == texts["chain.resistors.3.style"] == "1206"
    assert texts["chain.resistors.4.ref"] == "R77"
    assert (texts["chain.parallel.1.1"], texts["chain.parallel.1.2"]) == ("330k", "330k")


def test_resistors_of_a_row_may_stand_close() -> None:
    close, spaced = (
        read({**START, "chain.resistors.1": t})[0] for t in ("47k,4k7,330R", "47k , 4k7,  330")
    )
    assert close == spaced is not None


def test_rows_come_and_go() -> None:
    texts = removed(texts_of(FILE), "chain.resistors.1")
    board, errors = read(texts)
    assert errors == {}
    assert board is not None
    assert [r.resistance_ohm for r in board.chains[0]] == [33e3, 22e3, 47e3]
    assert board.chains[0][2].ref == "R77"
    texts = added(texts, "chain.resistors")
    assert texts["chain.resistors.4"] == ""
    assert read(texts)[0] == board  # an empty row is none
    without = texts
    for row in ("chain.parallel.2.1", "chain.parallel.1.2", "chain.parallel.1.1"):
        assert row in without
        without = removed(without, row)
    assert not any(key.startswith("chain.parallel") for key in without)
    assert "chain.parallel.3.1" in added(texts, "chain.parallel")
    assert added(texts, "elsewhere") == texts == removed(texts, "elsewhere")


def test_rows_that_were_typed_stand_for_those_of_the_file() -> None:
    typed = typed_over(texts_of(FILE), {"chain.resistors.1": "56k", "judged": "x", "feed.kind": ""})
    assert typed["chain.resistors.1"] == "56k"
    assert "chain.resistors.2" not in typed
    assert "chain.parallel.1.1" not in typed
    assert "judged" not in typed
    assert typed["feed.kind"] == ""
    assert typed["clamp.ref"] == "D8"
    told = differing(texts_of(FILE), typed)
    assert told == {"chain.resistors.1": "56k", "feed.kind": ""}
    assert typed_over(texts_of(FILE), told) == typed
    assert differing(typed, typed) == {}


@pytest.mark.parametrize(
    ("key", "text", "words"),
    [
        ("chain.resistors.1", "110k, heavy", "heavy"),
        ("chain.resistors.1", "110k, 4,700", "may be thousands"),
        ("chain.resistors.1.tolerance", "some", "some"),
        ("chain.resistors.1.ref", "R1 R2", "a reference"),
        ("chain.joint_capacitor.capacitance", "", "capacitance"),
        ("chain.rectifier_first", "perhaps", "true or false"),
        ("mains.voltage", "lots", "lots"),
        ("mains.harmonics", "3: much", "much"),
        ("mains.harmonics", "third: 5 %", "whole number"),
        ("feed.coil_supply", "12 V", "switched"),
        ("output.supply", "", "a voltage"),
        ("output.pull_up.tolerance", "90 %", "tolerance"),
        ("optocoupler.family", "996", "996"),
        ("clamp.part", "1N4148", "clamp"),
        ("controller.low_threshold", "90 %", "below the high threshold"),
        ("supervision.retries", "many", "whole number"),
        ("fan.poles", "3000000000", "whole number"),
        ("output.pull_up", "x" * 201, "too long"),
    ],
)
def test_a_problem_stands_beside_its_field(key: str, text: str, words: str) -> None:
    joint = {"chain.joint_capacitor.after": "1", "chain.joint_capacitor.capacitance": "10 nF"}
    board, errors = read({**START, **joint, key: text})
    assert board is None
    home = "feed.kind" if key == "feed.coil_supply" else key
    assert list(errors) == [home]
    assert words in errors[home]


def test_a_chain_without_resistors_is_told_in_its_first_row() -> None:
    none = dict.fromkeys((key for key in START if key.startswith("chain.resistors")), "")
    errors = read({**START, **none})[1]
    assert list(errors) == ["chain.resistors.1"]
    assert "a list of resistances" in errors["chain.resistors.1"]


def test_a_problem_in_the_second_row_stands_there() -> None:
    typed = {**START, "chain.resistors.2": "4k7, 1x", "chain.parallel.4.1": "470k, y"}
    assert list(read(typed)[1]) == ["chain.resistors.2", "chain.parallel.4.1"]
    assert list(read({**START, "chain.resistors.1": "3x0"})[1]) == ["chain.resistors.1"]


def test_all_that_is_wrong_is_told_at_once() -> None:
    """No number, one out of its range, and names that no library has, in a table and alone."""
    wrong = {
        "mains.voltage": "abc",
        "mains.band": "of brass",
        "optocoupler.family": "zzz",
        "output.supply": "-5 V",
        "clamp.part": "1N0",
        "chain.style": "round",
    }
    assert read({**START, **wrong})[1].keys() == wrong.keys()
    assert read({**START, "optocoupler.family": "", "optocoupler.grade": "Q9"})[1].keys() == {
        "optocoupler.family"
    }


@pytest.mark.parametrize("now", [{"chain.resistors.1": ""}, {}])
def test_rows_that_were_emptied_stay_empty(now: dict[str, str]) -> None:
    """Not those of the file come back, of which nothing is said any more."""
    others = {key: text for key, text in START.items() if not key.startswith("chain.resistors")}
    told = differing(START, others | now)
    assert typed_over(START, told) == others | {"chain.resistors.1": ""}


def test_what_is_assumed_stands_beside_each_empty_field() -> None:
    """As the check lists it; not where something was written."""
    texts = {**START, "optocoupler.remaining": "80 %"}
    board, errors = read(texts)
    assert board is not None, errors
    notes = notes_of(board, texts)
    told = [each for each in board.assumptions if each.key in fields_of(texts)]
    assert len(told) > 10
    said = {each.key: SAID.get(each.value, each.value) for each in told}
    assert "no" in said.values()
    assert all(notes[key] == f"assumed: {words}" for key, words in said.items())
    assert "optocoupler.remaining" not in notes


def test_an_optocoupler_given_as_a_part_stands_in_its_field() -> None:
    """A table with ``part`` is read as one with ``family``; the field shows either."""
    texts = texts_of({"mains": "230 V 50 Hz", "optocoupler": {"part": "PC817C", "ref": "OC4"}})
    assert texts["optocoupler.family"] == "PC817C"
    assert texts["optocoupler.ref"] == "OC4"
