"""What a command prints by default: one screen, in the words of the trade."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from tests.diagnosis.boards import TEXTS
from zcd.cli import main

LINES, COLUMNS = 25, 80
BANNED = (
    "asked yes", "found none", "beware", "the board holds", "harsher", "as they come", "believed",
    "left of its limit", "nobody looked", "stands", "deaf", "let go", "none gives lock",
    "nothing speaks against", "for every day", "1 jobs", "1 readings",
)  # fmt: skip
"""Metaphors and turns of phrase in whose place the trade has a word."""
COMMANDS = (
    "check board.toml", "story board.toml --flags sync,fan", "story board.toml --all",
    "story board.toml --cause@K1 contact open", "map board.toml", "substitute board.toml",
    "substitute board.toml --for R1", "readings board.toml", "diagnose board.toml -r@ohm R1 OL",
    "retest board.toml -r@low time 9.4 ms -r@dc pin 1.8 V",
    "retest board.toml -r@ohm R1 OL -r@dc pin 0.2 V -r@frequency 50 Hz -r@ac line neutral 230",
    "capture scope.csv board.toml",
    "jobs .", "windings a-b=100 b-c=200 a-c=300", "settings",
)  # fmt: skip
QUICK = ("switched",)


def fits(text: str) -> bool:
    """Whether it is no longer and no wider than a screen."""
    lines = text.splitlines()
    return len(lines) <= LINES and max(map(len, lines)) <= COLUMNS


def words_of(command: str) -> list[str]:
    """The words of a command; what stands behind @, up to the next option, is one word."""
    head, *rest = command.split("@")
    words = head.split()
    for each in rest:
        value, *options = each.split(" -")
        words += [value, *(f"-{option}" for option in options)]
    return words


def write_capture(path: Path) -> None:
    """A pin that is low for 9.5 ms of each period of 50 Hz."""
    time = np.arange(0.0, 0.1, 50e-6)
    pin = np.where((time - 0.6e-3) % 0.02 < 9.5e-3, 0.1, 5.0)
    rows = [f"{t:.6f},{v:.2f}" for t, v in zip(time, pin, strict=True)]
    path.write_text("time (s),pin (V)\n" + "\n".join(rows), encoding="utf-8")


UNREAD = """name = "Invented bread proofer"
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817"
chain = {resistors = ["33k", "?", "33k"], style = "1/4 W"}
output = {pull_up = "4k7", supply = "5 V"}
"""
"""A value and a grade that nobody read: much to say."""


HANGS_ON_A_VALUE = (
    "check board.toml", "substitute board.toml --for R2", "readings board.toml", "map board.toml",
    "story board.toml --flags sync", "story board.toml --cause@R1 open", "story board.toml --all",
    "diagnose board.toml -f sync", "retest board.toml -r@dc pin 0.9 V",
    "capture scope.csv board.toml",
)  # fmt: skip


@pytest.mark.parametrize("command", HANGS_ON_A_VALUE)
def test_what_could_not_be_read_is_said_on_each_screen(
    command: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """And what stands in its place, where figures hang on it."""
    monkeypatch.chdir(tmp_path)
    Path("board.toml").write_text(UNREAD, encoding="utf-8")
    write_capture(Path("scope.csv"))
    assert main(words_of(command)) in (0, 1)
    out = capsys.readouterr().out
    assert fits(out), out
    assert re.search(r"R2 is unknown: taken |value of R2 \(33 kΩ\) is a guess", out)


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize(
    "name", [n if n in QUICK else pytest.param(n, marks=pytest.mark.slow) for n in TEXTS]
)
def test_one_screen(
    name: str,
    command: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("board.toml").write_text(TEXTS[name], encoding="utf-8")
    write_capture(Path("scope.csv"))
    words = words_of(command)
    if "K1 contact open" in words and name != "switched":  # a board without the relay
        words[-1] = "R1 open"
    assert main(words) in (0, 1), capsys.readouterr().err
    out = capsys.readouterr().out
    assert fits(out), out
    said = " ".join(out.splitlines()).lower()
    assert [phrase for phrase in BANNED if re.search(rf"\b{re.escape(phrase)}\b", said)] == []
