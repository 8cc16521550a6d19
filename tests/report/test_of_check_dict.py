"""The JSON record: valid, whole, units in its keys."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from tests.jobs.demo_job import DARK, FAILS, HOLDS, RESISTORS, solved
from zcd.margin.check import LEVELS
from zcd.refdata import UNITS
from zcd.serialize import to_dict

KEYS = {
    "board",
    "topology",
    "status",
    "passes",
    "levels",
    "pulse",
    "resistors",
    "reverse",
    "headrooms",
    "weak_headrooms",
    "life",
    "rules",
    "spread",
    "outlook",
    "remedies",
    "passing_values",
    "repair",
    "advice",
    "assumptions",
    "read_as",
    "odd_values",
}
UNIT_BESIDE_IT = {"value", "limit", "low", "high", "before", "after"}
"""In a rule, a remedy or a change, whose unit is a key of its own."""


def numbers(value: Any, key: str = "") -> Iterator[tuple[str, float]]:
    """Every number of a record under the key it belongs to."""
    if isinstance(value, dict):
        for name, item in value.items():
            yield from numbers(item, name)
    elif isinstance(value, list):
        for item in value:
            yield from numbers(item, key)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield key, value


@pytest.mark.parametrize("text", [HOLDS, FAILS, DARK])
def test_record_is_json_without_nan(text: str) -> None:
    record = to_dict(solved(text).check)
    assert json.loads(json.dumps(record, allow_nan=False)) == record


def test_keys_are_those_told() -> None:
    assert set(to_dict(solved().check)) == KEYS


def test_the_unit_ends_every_key_of_a_number() -> None:
    record = to_dict(solved().check)
    del record["spread"]  # in units of its own tolerances and rules
    for key, _ in numbers(record):
        unit = key.rpartition("_")[2]
        assert unit in {*UNITS, "years"} or key in UNIT_BESIDE_IT, key


def test_numbers_are_those_of_the_check_in_si() -> None:
    check = solved().check
    record = to_dict(check)
    assert [level["name"] for level in record["levels"]] == list(LEVELS)
    for name in ("led_peak_a", "led_mean_a", "led_rms_a"):
        assert record["levels"][1][name] == getattr(check.levels[1], name)
    assert record["resistors"][0]["resistance_ohm"] == 30e3
    assert len(record["resistors"][0]["power_w"]) == len(record["levels"])
    assert record["passes"] is True


def test_what_does_not_exist_is_null_and_says_why() -> None:
    record = to_dict(solved(DARK).check)
    assert record["passes"] is False
    assert record["levels"][0]["low_time_s"] is None
    assert record["levels"][0]["transition_s"] is None
    assert record["weak_headrooms"]["ctr"] == {
        "locks": False,
        "factor_ratio": None,
        "outcome": "never locks",
        "rule": None,
    }


def test_headroom_beyond_the_search_is_told_from_none() -> None:
    short = HOLDS.replace(RESISTORS, '["300k", "430k"]')
    record = to_dict(solved(short).check)
    assert record["weak_headrooms"]["ctr"]["locks"] is False
    assert record["weak_headrooms"]["ctr"]["outcome"] == "found"
    assert record["weak_headrooms"]["ctr"]["factor_ratio"] < 1.0
    strong = HOLDS.replace(RESISTORS, '["10k"]')
    record = to_dict(solved(strong).check)
    assert record["weak_headrooms"]["ctr"]["outcome"] == "beyond search"
    assert record["weak_headrooms"]["ctr"]["locks"] is True
    assert record["weak_headrooms"]["mains"]["outcome"] == "found"
