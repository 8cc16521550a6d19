"""The command that prints schemas: of what a person writes, and of what the commands print."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest

from zcd.cli import main
from zcd.cli.schema import NAMES
from zcd.report.schemas import SCHEMAS
from zcd.serialize import SCHEMA_VERSION


def printed(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, object]:
    capsys.readouterr()
    assert main(list(words)) == 0
    result = json.loads(capsys.readouterr().out)
    assert isinstance(result, dict)
    return result


def test_names_are_those_that_there_are() -> None:
    assert sorted(NAMES) == sorted(SCHEMAS)


def test_a_board_file_agrees(board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    jsonschema.validate(tomllib.loads(board.read_text()), printed(capsys, "schema", "board"))


def test_a_check_agrees(board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    result = printed(capsys, "check", str(board), "--json")
    assert next(iter(result)) == "schema"
    jsonschema.validate(result, printed(capsys, "schema", "check"))


@pytest.mark.parametrize("words", [("settings",), ("jobs",), ("new", "-"), ("completion", "bash")])
@pytest.mark.usefixtures("work")
def test_every_object_begins_with_the_number(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    result = printed(capsys, *words, "--json")
    assert next(iter(result.items())) == ("schema", SCHEMA_VERSION)


def test_another_name_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema", "chek"]) == 2
    assert "'board', 'check', 'map'" in capsys.readouterr().err
