"""Results as plain values and their JSON Schema, judged by a JSON Schema library."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Any, ClassVar

import jsonschema
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.jobs.demo_job import (
    DARK,
    FAILS,
    HOLDS,
    RESISTORS,
    lost_below,
    outlook,
    share_lost,
    solved,
)
from tests.test_api import results
from zcd.margin.check import Check
from zcd.report.schemas import SCHEMAS
from zcd.results import Result
from zcd.serialize import SCHEMA_VERSION, json_schema, to_dict

BRIDGE = HOLDS.replace("[chain]", '[chain]\ntopology = "bridge"').replace(
    RESISTORS, '["18k", "18k"]\nreturn_resistors = ["18k", "18k"]'
)
GUIDE = Path(__file__).parents[1] / "zcd" / "docs" / "json.md"


class Kind(StrEnum):
    """Which of two."""

    ONE = "one"
    OTHER = "other"


@dataclass(frozen=True)
class Part:
    """A part.

    Parameters
    ----------
    name : str
        Its name,
        on two lines.
    low, high : float
        Ends.
    """

    name: str
    low: float
    high: float


@dataclass(frozen=True)
class Whole:
    """A whole.

    Parameters
    ----------
    part : Part or None
        What is inside.
    """

    JSON_KEYS: ClassVar = ("name=part.name", "kind", "values", "parts", "twice", "by_name")

    part: Part | None
    kind: Kind
    values: NDArray[np.float64]
    by_name: dict[str, Part]

    @property
    def parts(self) -> tuple[Part, ...]:
        """The parts."""
        return () if self.part is None else (self.part,)

    @property
    def twice(self) -> float:
        """Two times as much.

        As everybody knows.
        """
        return 2.0 * float(self.values[0])


PART = Part("a", -np.inf, 2.0)


def test_keys_come_from_fields_properties_and_paths() -> None:
    whole = Whole(PART, Kind.OTHER, np.array([1.0, np.nan]), {"a": PART})
    plain = {"name": "a", "low": None, "high": 2.0}
    assert to_dict(whole) == {
        "name": "a",
        "kind": "other",
        "values": [1.0, None],
        "parts": [plain],
        "twice": 2.0,
        "by_name": {"a": plain},
    }
    assert to_dict(Whole(None, Kind.ONE, np.zeros(1), {}))["name"] is None


def test_schema_tells_types_and_texts() -> None:
    schema = json_schema(Whole, "a whole")
    keys = schema["properties"]
    assert keys["name"]["description"] == "Its name, on two lines."
    assert keys["name"]["anyOf"] == [{"type": "string"}, {"type": "null"}]
    assert keys["kind"] == {"description": "Which of two.", "enum": ["one", "other"]}
    assert keys["twice"]["description"] == "Two times as much."
    assert keys["by_name"]["additionalProperties"] == {"$ref": "#/$defs/Part"}
    assert schema["$defs"]["Part"]["properties"]["high"]["description"] == "Ends."
    jsonschema.Draft202012Validator.check_schema(schema)


def validator(name: str) -> jsonschema.Draft202012Validator:
    schema = SCHEMAS[name]()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def whole_check() -> Check:
    return replace(solved().check, outlook=outlook())


@pytest.mark.parametrize("text", [HOLDS, FAILS, DARK, BRIDGE])
def test_checks_agree_with_their_schema(text: str) -> None:
    validator("check").validate(solved(text).check.to_dict())


def test_maps_agree_with_their_schema() -> None:
    result = lost_below(0.2)
    bare = result.to_dict()
    assert bare["lost"]["ratio"] is bare["boards"] is bare["cloud"] is None
    whole = replace(result, share=share_lost(result)).to_dict()
    assert whole["lost"]["ratio"]
    for record in (bare, whole):
        validator("map").validate(record)
        assert list(record) == list(SCHEMAS["map"]()["properties"])[: len(record)]


def test_a_whole_check_agrees_with_its_schema() -> None:
    record = whole_check().to_dict()
    assert record["spread"]["corners"]
    assert record["outlook"]["sensitivity"]["tolerances"]
    validator("check").validate(record)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("schema",), SCHEMA_VERSION + 1),
        (("passes",), "yes"),
        (("levels", 0, "locks"), None),
        (("spread", "corners", 0, "places", 0, "amount"), "much"),
        (("outlook", "ageing", "views", "design rule", "first_years"), []),
    ],
)
def test_other_values_do_not_agree(path: tuple[Any, ...], value: Any) -> None:
    record = whole_check().to_dict()
    inner = record
    for step in path[:-1]:
        inner = inner[step]
    assert path[-1] in inner
    inner[path[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        validator("check").validate(record)


def described(schema: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every key of a schema of results, with what is said of it."""
    for each in (schema, *schema["$defs"].values()):
        yield from each["properties"].items()


@pytest.mark.parametrize("name", sorted(set(SCHEMAS) - {"board"}))
def test_every_key_has_words(name: str) -> None:
    """They say null of what is null there, not what Python has in its place."""
    for key, inner in described(SCHEMAS[name]()):
        assert inner.get("description"), key
        assert not re.search(r"\b(nan|inf|None)\b", inner["description"]), key


def test_every_key_is_there_and_no_other() -> None:
    """What the schema requires is what is printed: a schema leaves new keys open."""
    schema = SCHEMAS["check"]()
    record = whole_check().to_dict()
    assert list(record) == list(schema["properties"])
    for name, place in (
        ("Level", record["levels"][0]),
        ("WorstLoad", record["resistors"][0]),
        ("Headroom", record["headrooms"]["ctr"]),
        ("Corner", record["spread"]["corners"][0]),
        ("Population", record["spread"]["population"]),
        ("Ageing", record["outlook"]["ageing"]),
    ):
        assert list(place) == list(schema["$defs"][name]["properties"]), name


@pytest.mark.parametrize("name", sorted(set(SCHEMAS) - {"board"}))
def test_the_guide_names_the_keys_of_the_schema(name: str) -> None:
    """All keys at the top, and none that is not there."""
    (row,) = re.findall(rf"^\| `{name}` \| (.*) \|$", GUIDE.read_text("utf-8"), re.MULTILINE)
    named = set(re.findall(r"`(\w+)`", row))  # commands and options have more than a word
    schema = SCHEMAS[name]()
    assert set(schema["properties"]) - {"schema", "cautions"} <= named
    assert named <= {key for key, _ in described(schema)}


def test_every_result_begins_with_the_number() -> None:
    check: Result = solved().check
    assert next(iter(check.to_dict().items())) == ("schema", SCHEMA_VERSION)


NAMED = {"faults", "codes", "shows"}
"""What has names of faults, flags and sides for keys."""


def keys_in(value: Any, of: str = "") -> Iterator[str]:
    """All keys of a record, at any depth."""
    for key, inner in value.items() if isinstance(value, dict) else ():
        yield from () if of in NAMED else (key,)
        yield from keys_in(inner, key)
    for inner in value if isinstance(value, list) else ():
        yield from keys_in(inner, of)


@pytest.mark.parametrize(
    ("command", "kinds"),
    {
        "readings": ("readings",), "diagnose": ("diagnose",), "retest": ("retest",),
        "substitute": ("substitute",), "story": ("story", "causes"), "windings": ("windings",),
        "capture": ("capture",),
    }.items(),
)  # fmt: skip
def test_the_guide_has_every_key_that_is_printed(command: str, kinds: tuple[str, ...]) -> None:
    """Where its ending is a unit, as ``low_*``; what it refers to in another row, and what stands
    above the table, counts."""
    text = GUIDE.read_text(encoding="utf-8")
    rows = dict(re.findall(r"^\| `(\w+)` \| (.*) \|$", text, re.MULTILINE))
    asked, said = [command], [text.partition("\n| command ")[0]]
    for name in asked:
        said.append(rows[name])
        others = re.findall(r"of `(\w+)`", rows[name])
        asked += [other for other in others if other in rows and other not in asked]
    named = set(re.findall(r"`(\w+)\*?`", " ".join(said)))
    for kind in kinds:
        for key in set(keys_in(results()[kind].to_dict())):
            assert {key, f"{key.rpartition('_')[0]}_"} & named, key
