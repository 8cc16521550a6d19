"""Guides at the terminal."""

from __future__ import annotations

import inspect
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import cast

import pytest

from zcd.cli import commands, main
from zcd.cli.help import guide, topics
from zcd.report import cautions
from zcd.report.cautions import Caution
from zcd.serialize import SCHEMA_VERSION

DOCS = Path(__file__).resolve().parents[2] / "zcd" / "docs"


def printed(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """What a call prints."""
    assert main(words) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def test_the_list_names_every_guide_with_its_title(capsys: pytest.CaptureFixture[str]) -> None:
    lines = printed(["help"], capsys).splitlines()
    assert [line.split()[0] for line in lines[2:]] == topics()
    titles = [path.read_text("utf-8").splitlines()[0][2:] for path in sorted(DOCS.glob("*.md"))]
    assert titles
    assert all(any(line.endswith(title) for line in lines) for title in titles)
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 25


@pytest.mark.parametrize("name", sorted(commands.commands))
def test_the_exit_codes_of_a_command_are_those_that_it_can_give(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    callback = inspect.unwrap(cast("Callable[..., object]", commands.commands[name].callback))
    source = inspect.getsource(callback)
    told = printed([name, "--help"], capsys).partition("Exit codes")[2]
    codes = re.findall(r"^    (\d)  ", told, re.MULTILINE)
    assert ("1" in codes) is (" else 1" in source or "return record_job(" in source)
    assert codes[0] == "0"
    assert "2" in codes
    assert ("simulator" in told) is (name == "spice")


@pytest.mark.parametrize("topic", topics())
def test_a_guide_is_printed_whole(topic: str, capsys: pytest.CaptureFixture[str]) -> None:
    record = json.loads(printed(["help", topic, "--json"], capsys))
    assert record == {"schema": SCHEMA_VERSION, "topic": topic, "text": guide(topic)}
    if topic != "cautions":
        assert record["text"] == (DOCS / f"{topic}.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("topic", topics())
def test_a_guide_is_laid_out_for_the_terminal(
    topic: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Title, headings and code in their places; tables within the width; no marks of Markdown."""
    lines = printed(["help", topic], capsys).splitlines()
    text = guide(topic)
    headings = re.findall(r"^#+ (.*)$", text, re.MULTILINE)
    assert [line.strip() for line in lines if line.strip() in headings] == headings
    code = "".join(re.findall(r"^```\w*\n(.*?)^```$", text, re.MULTILINE | re.DOTALL))
    missing = {line.strip() for line in code.splitlines()} - {line.strip() for line in lines}
    assert missing <= {""}
    assert max(map(len, lines)) <= 80
    assert not any(mark in "\n".join(lines) for mark in ("```", "**", "](", "|--"))


def test_without_a_topic_the_list_is_the_text(capsys: pytest.CaptureFixture[str]) -> None:
    text = printed(["help"], capsys)
    wanted = {"schema": SCHEMA_VERSION, "topic": None, "text": text}
    assert json.loads(printed(["help", "--json"], capsys)) == wanted


def test_every_caution_is_printed_with_its_source(capsys: pytest.CaptureFixture[str]) -> None:
    words = " ".join(printed(["help", "cautions"], capsys).split())
    groups = [value for value in vars(cautions).values() if isinstance(value, tuple)]
    every = {each for group in groups for each in group if isinstance(each, Caution)}
    assert len(every) > 20
    for caution in every:
        assert f"• {caution.text} ({caution.source})" in words


def test_the_help_of_a_command_is_found_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert printed(["help", "map"], capsys) == printed(["map", "--help"], capsys)


@pytest.mark.parametrize(
    ("topic", "told"),
    [
        ("bord", 'no guide on "bord". Did you mean board? "zcd help" lists the guides.'),
        ("xyzzy", 'no guide on "xyzzy". "zcd help" lists the guides.'),
        ("zener", 'no guide on "zener". The word is in: board, substitutes. "zcd help" lists the '
         'guides.'),
        ("../api", 'no guide on "../api". "zcd help" lists the guides.'),
    ],
)  # fmt: skip
def test_a_topic_that_does_not_exist(
    topic: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["help", topic]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == f"zcd: {told}\n"
