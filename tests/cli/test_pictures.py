"""Pictures: one by --plot, whose ending says which, several by --plots in either format."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import click
import pytest

from tests.sampled import some
from zcd.cli import commands, main

SVG = "{http://www.w3.org/2000/svg}svg"
PNG = b"\x89PNG\r\n\x1a\n"
"""PNG specification (ISO/IEC 15948), 5.2: the signature of a file."""
MAP = ["map", "board.toml", "--across", "frequency", "--up", "mains"]


@pytest.mark.parametrize("name", some(["a.png", "a.svg", "A.SVG"], "a.png", "A.SVG"))
def test_the_ending_says_which(name: str, board: Path) -> None:
    place = board.with_name(name)
    for _ in range(2):  # the second replaces the first
        assert main([*MAP, "--plot", name]) == 0
        if name.lower().endswith(".svg"):
            assert ElementTree.parse(place).getroot().tag == SVG
        else:
            assert place.read_bytes().startswith(PNG)


def test_a_picture_of_somebody_else_stays(board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = board.with_name("mine.svg")
    other.write_text("<svg/>", encoding="utf-8")
    assert main([*MAP, "--plot", "mine.svg"]) == 2
    assert "found a place that cannot be written" in capsys.readouterr().err
    assert other.read_text(encoding="utf-8") == "<svg/>"


@pytest.mark.parametrize(
    ("words", "names"),
    [
        pytest.param(
            ["check", "board.toml"],
            {"loss-map", "schematic", "waveforms"},
            marks=pytest.mark.slow,
        ),
        (
            ["story", "board.toml", "--cause", "R1 open", "--seconds", "5"],
            {"schematic", "story", "waveforms", "drive", "fan"},
        ),
    ],
)
def test_several_as_svg(words: list[str], names: set[str], board: Path) -> None:
    assert main([*words, "--plots", "p", "--format", "svg", "--json"]) == 0
    result = list((board.parent / "p").iterdir())
    assert {path.name for path in result} == {f"{name}.svg" for name in names}
    assert {ElementTree.parse(path).getroot().tag for path in result} == {SVG}


@pytest.mark.parametrize("words", [["check", "b.toml"], ["story", "b.toml", "--all"]])
def test_a_format_of_nothing_is_refused(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*words, "--format", "svg"]) == 2
    assert "give that too" in capsys.readouterr().err


def test_every_command_names_them_alike() -> None:
    """Whatever writes one picture has --plot FILE, whatever writes several --plots FOLDER."""
    named = {
        name: {option for param in command.params for option in param.opts}
        for name, command in commands.commands.items()
    }
    assert {name for name, options in named.items() if "--plot" in options} == {
        "map",
        "capture",
        "spice",
    }
    several = {name for name, options in named.items() if "--plots" in options}
    assert several == {"check", "story"}
    assert several == {name for name, options in named.items() if "--format" in options}
    metavars = {
        param.opts[0]: param.metavar
        for command in commands.commands.values()
        for param in command.params
        if isinstance(param, click.Option) and param.opts[0] in ("--plot", "--plots")
    }
    assert metavars == {"--plot": "FILE", "--plots": "FOLDER"}
