"""-v: what is being worked out, on standard error; a library that nobody listens to is silent."""

from __future__ import annotations

import logging
import subprocess
import sys
from pathlib import Path

import pytest

from zcd.cli import commands, main


@pytest.mark.parametrize("option", ["-v", "--verbose"])
def test_a_check_says_its_steps(
    option: str, board: Path, anew: None, capsys: pytest.CaptureFixture[str]
) -> None:
    del anew
    assert main(["check", str(board), "--json", option]) == 0
    out, err = capsys.readouterr()
    assert main(["check", str(board), "--json"]) == 0
    assert capsys.readouterr() == (out, "")
    steps = ("reading ", "solving ", "headrooms", "worst corners", "boards drawn")
    places = [err.index(step) for step in steps]
    assert places == sorted(places)
    seconds = [float(line.split(" s ")[0]) for line in err.splitlines()]
    assert seconds == sorted(seconds)


def test_what_is_written_is_said(
    board: Path, work: Path, anew: None, capsys: pytest.CaptureFixture[str]
) -> None:
    del anew
    words = ["map", str(board), "--across", "frequency", "--up", "mains", "--plot", "m.png", "-v"]
    assert main(words) == 0
    err = capsys.readouterr().err
    assert "searching where sync is lost" in err
    assert "writing m.png" in err


def test_a_name_cannot_move_the_cursor(
    work: Path, board: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    odd = work / "a\x1b[2J\n.toml"
    odd.write_bytes(board.read_bytes())
    assert main(["check", str(odd), "-v"]) == 0
    err = capsys.readouterr().err
    assert "\x1b" not in err
    assert "reading " in err.splitlines()[0]


def test_nothing_stays_behind(board: Path) -> None:
    log = logging.getLogger("zcd")
    before = (log.level, list(log.handlers))
    assert main(["check", str(board), "-v", "--json"]) == 0
    assert main(["check", "none.toml", "-v"]) == 2
    assert (log.level, log.handlers) == before


def test_every_command_has_it() -> None:
    for name, command in commands.commands.items():
        assert [p for p in command.params if "-v" in p.opts], name


def test_the_library_adds_a_null_handler_only() -> None:
    """Logging HOWTO of Python, "Configuring Logging for a Library"."""
    code = (
        "import logging, zcd.board.files; log = logging.getLogger('zcd'); "
        "print([type(h).__name__ for h in log.handlers], log.level, log.propagate, "
        "logging.getLogger().handlers)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "['NullHandler'] 0 True []\n"
