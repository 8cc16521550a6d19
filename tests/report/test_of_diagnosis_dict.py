"""Diagnosis and bench card as JSON: valid, whole, units in the keys."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from math import isinf
from typing import Any

import pytest

from tests.jobs.demo_job import OPEN, SETTLED, card, case, dictionary
from tests.report.test_of_check_dict import numbers
from zcd.diagnosis.case import ExpectedReadings
from zcd.diagnosis.functions import Function
from zcd.refdata import UNITS
from zcd.report.of_diagnosis_dict import diagnosis_to_dict, expected_readings_to_dict
from zcd.serialize import to_dict

UNIT_BESIDE_IT = {"low", "middle", "high"}
"""In an amount, whose unit is a key of its own."""


def of_card() -> dict[str, Any]:
    return to_dict(
        expected_readings_to_dict(
            ExpectedReadings(
                board=dictionary().board,
                circuit=dictionary().circuit,
                meter=dictionary().meter,
                lines=card(),
            )
        )
    )


def of_case(texts: tuple[str, ...]) -> dict[str, Any]:
    result = case(texts)
    return to_dict(diagnosis_to_dict(result.job, result.circuit, result.diagnosis))


RECORDS: dict[str, Callable[[], dict[str, Any]]] = {
    "card": of_card,
    "nothing measured": lambda: of_case(()),
    "open": lambda: of_case(OPEN),
    "settled": lambda: of_case(SETTLED),
}


@pytest.mark.parametrize("name", list(RECORDS))
def test_record_is_json_without_nan(name: str) -> None:
    record = RECORDS[name]()
    assert json.loads(json.dumps(record, allow_nan=False)) == record


@pytest.mark.parametrize("name", list(RECORDS))
def test_the_unit_ends_every_key_of_a_number(name: str) -> None:
    result = list(numbers(RECORDS[name]()))
    assert result
    for key, _ in result:
        unit = key.rpartition("_")[2]
        assert unit in {*UNITS, "bits"} or key in UNIT_BESIDE_IT, key


def test_every_function_has_a_unit() -> None:
    assert {function.row.unit_ending for function in Function} <= set(UNITS)


def test_card_is_whole() -> None:
    record = of_card()
    assert set(record) == {"board", "readings", "assumptions", "read_as"}
    assert len(record["readings"]) == len(card())
    for line, result in zip(card(), record["readings"], strict=True):
        unit = line.reading.function.row.unit_ending
        assert (result["function"], result["red"], result["black"], result["side"]) == (
            line.reading.function, line.reading.red, line.reading.black, line.access,
        )  # fmt: skip
        assert set(result["faults"]) == set(line.faults)
        for shown, values in (
            (line.healthy, result["healthy"]),
            *((shown, result["faults"][key]) for key, shown in line.faults.items()),
        ):
            for place in ("low", "middle", "high"):
                value = getattr(shown, place)
                assert values[f"{place}_{unit}"] == (None if isinf(value) else value)


def test_overload_is_null() -> None:
    alone, result = (
        r for lifted in (True, False) for r in of_card()["readings"]
        if r["function"] == "ohm" and r["over"] == "R2" and r["lifted"] is lifted
    )  # fmt: skip
    assert alone["side"] == "dead, one end lifted"
    opened = result["faults"]["R2 open"]
    assert opened["low_ohm"] is None or opened["low_ohm"] > 1e6
    assert (opened["middle_ohm"], opened["high_ohm"]) == (None, None)
    assert of_case(SETTLED)["measured"][2] == {
        "function": "ohm",
        "red": "chain.1",
        "black": "chain.2",
        "over": "R2",
        "lifted": False,
        "power": "dead",
        "value_ohm": None,
        "low_ohm": None,
        "high_ohm": None,
        "about": False,
        "unstable": False,
    }


@pytest.mark.parametrize("texts", [(), OPEN, SETTLED])
def test_diagnosis_is_whole(texts: tuple[str, ...]) -> None:
    result, record = case(texts).diagnosis, of_case(texts)
    assert set(record) == {
        "board", "flags", "conclusion", "stopped", "alike", "alike_ratio", "measured", "suspects",
        "unseen", "ranked", "next_reading", "assumptions", "read_as", "codes",
    }  # fmt: skip
    assert record["board"] == "Ostrel D3 mushroom dryer, invented"
    assert record["flags"] == ["sync", "fan"]
    assert record["conclusion"] == result.conclusion
    assert not re.search(r"chain\.\d|coil[+-]", record["conclusion"])
    assert len(record["measured"]) == len(texts)
    assert [r["fault"] for r in record["ranked"]] == [r.key for r in result.ranked]
    assert sum(r["probability_ratio"] for r in record["ranked"]) == pytest.approx(1.0)
    assert len(record["assumptions"]) == len(dictionary().board.assumptions) > 0


def test_fault_has_its_part_mode_and_amount() -> None:
    ranked = {r["fault"]: r for r in of_case(())["ranked"]}
    drift = ranked["R2 drift"]
    assert (drift["part"], drift["mode"]) == ("R2", "drift")
    assert drift["amount"]["unit"] == "x"
    assert 1.0 < drift["amount"]["low"] <= drift["amount"]["middle"] <= drift["amount"]["high"]
    assert ranked["R2 wrong value x0.1"]["amount"] is None
    none = ranked["none of these"]
    assert (none["part"], none["mode"], none["amount"]) == (None, None, None)
    assert "take them again" in none["words"]


def test_next_reading_is_null_when_settled() -> None:
    assert of_case(SETTLED)["next_reading"] is None
    suggestion, result = case(OPEN).diagnosis.suggestion, of_case(OPEN)["next_reading"]
    assert suggestion is not None
    assert result["gain_bits"] == suggestion.gain_bits > 0.0
    assert result["side"] == str(suggestion.access)
    assert [o["fault"] for o in result["outcomes"]] == [o.key for o in suggestion.outcomes]
