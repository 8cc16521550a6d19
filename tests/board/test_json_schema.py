"""Editors are told the keys that the reader knows: judged by a JSON Schema library."""

from __future__ import annotations

import tomllib
from typing import Any

import jsonschema
import pytest

from zcd.board.json_schema import file_schema
from zcd.board.model import Topology
from zcd.board.schema import BoardFile, Table
from zcd.board.starter import starter_text

SCHEMA = file_schema(BoardFile, "board file")
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def changed(**tables: Any) -> dict[str, Any]:
    return {**tomllib.loads(starter_text(Topology.HALF_WAVE)), **tables}


def test_it_is_a_json_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("topology", Topology)
def test_starters_agree_with_it(topology: Topology) -> None:
    VALIDATOR.validate(tomllib.loads(starter_text(topology)))


@pytest.mark.parametrize(
    "tables",
    [
        {"mains": "120 V 60 Hz"},
        {"mains": {"voltage": 230, "harmonics": [{"order": 3, "fraction": "5 %"}]}},
        {"optocoupler": "817C"},
        {"rectifier": "1N4007"},
        {"chain": {"resistors": ["47k", {"value": 47000, "ref": "R7"}], "parallel": [["1M"]]}},
        {"fan": {"poles": 4}},
    ],
)
def test_what_the_reader_takes_is_valid(tables: dict[str, Any]) -> None:
    VALIDATOR.validate(changed(**tables))


@pytest.mark.parametrize(
    ("tables", "where"),
    [
        ({"manes": "230 V"}, "manes"),
        ({"chain": {}}, "resistors"),
        ({"chain": {"resistors": ["47k"], "topology": "full-wave"}}, "full-wave"),
        ({"fan": {"poles": "four"}}, "four"),
        ({"output": {"supply": ["5 V"]}}, "5 V"),
    ],
)
def test_mistakes_are_found(tables: dict[str, Any], where: str) -> None:
    with pytest.raises(jsonschema.ValidationError, match=where):
        VALIDATOR.validate(changed(**tables))


def keys_of(schema: dict[str, Any]) -> set[str]:
    if "anyOf" in schema:
        return keys_of(schema["anyOf"][1])
    if "items" in schema:
        return keys_of(schema["items"])
    own = schema.get("properties", {})
    return set(own) | {f"{k}.{name}" for k, inner in own.items() for name in keys_of(inner)}


def test_every_key_has_words() -> None:
    def walk(schema: dict[str, Any]) -> None:
        for name, inner in schema.get("properties", {}).items():
            assert inner["description"], name
            walk(inner)

    walk(SCHEMA)
    assert set(BoardFile.model_fields) <= keys_of(SCHEMA)
    assert {"mains.harmonics.order", "chain.parallel.ref", "rectifier.part"} <= keys_of(SCHEMA)
    assert issubclass(BoardFile, Table)
