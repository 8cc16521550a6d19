"""A board on standard input, "-", in place of a board file."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from tests.jobs.demo_job import HOLDS
from zcd.cli import main

NO_PLACE = "zcd: standard input: nothing can be kept beside a board without a file: "


def pipe(monkeypatch: pytest.MonkeyPatch, data: bytes | str) -> None:
    """Let this stand on standard input, as a pipe brings it."""
    data = data.encode("utf-8") if isinstance(data, str) else data
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(data), encoding="ascii"))


def test_a_board_is_checked_as_from_a_file(
    board: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(board), "--json"]) == 0
    from_file = json.loads(capsys.readouterr().out)
    pipe(monkeypatch, HOLDS)
    assert main(["check", "-", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == from_file


@pytest.mark.parametrize(
    "words",
    [
        ["readings", "-"],
        ["diagnose", "-", "-r", "ohm R2 OL"],
        ["retest", "-", "-r", "dc pin logic0 2.6 V"],
        ["story", "-", "--cause", "R1 open", "--seconds", "5"],
        ["substitute", "-", "--series", "E6", "--for", "R2"],
        ["spice", "-", "--netlist", "-"],
        ["report", "-", "--to", "r.html"],
        ["map", "-", "--across", "frequency", "--up", "mains"],
    ],
)
def test_wherever_a_board_is_taken(
    words: list[str],
    work: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    pipe(monkeypatch, HOLDS)
    assert main(words) in (0, 1)
    out, err = capsys.readouterr()
    assert out
    assert err == ""
    assert [path.name for path in work.iterdir()] == [w for w in words if w.endswith(".html")]


def test_a_board_without_a_name_is_called_after_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = [line for line in HOLDS.splitlines() if not line.startswith("name")]
    pipe(monkeypatch, "\n".join(lines))
    assert main(["check", "-", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["board"] == "standard input"


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (
            HOLDS.replace("pull_up", "pullup"),
            'output.pullup: "pullup" is not known; write "pull_up"',
        ),
        ("", "found an empty file; allowed: a board file"),
        ("= 5", "found text that is no TOML"),
        ('board = "board.toml"', "found a job file; allowed: a board file"),
        (b"\xff\xfe", "found bytes that are not UTF-8 text in line 1"),
        (b"#" * 1_000_001, "found more than 1000000 bytes; allowed: a board file"),
    ],
)
@pytest.mark.parametrize("command", [["check"], ["readings"], ["bench", "--no-browser"]])
def test_what_is_wrong_is_told_of_standard_input(
    command: list[str],
    data: str | bytes,
    told: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    pipe(monkeypatch, data)
    assert main([*command, "-"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert all(line.startswith("zcd: standard input: ") for line in err.splitlines())
    assert told in err


@pytest.mark.parametrize(
    ("words", "instead"),
    [
        (["diagnose", "-", "--ask"], "write it into one and give that"),
        (["retest", "-", "-r", "dc pin logic0 5 V", "--job", "job.toml"], "write it into one"),
        (["report", "-"], "say with --to where the report goes"),
    ],
)
def test_what_keeps_something_beside_the_board_says_what_to_do(
    words: list[str],
    instead: str,
    job: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    before = {path: path.read_bytes() for path in job.parent.iterdir()}
    pipe(monkeypatch, HOLDS)
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(NO_PLACE + instead)
    assert len(err.splitlines()) == 1
    assert {path: path.read_bytes() for path in job.parent.iterdir()} == before


def test_the_page_opens_with_it(
    work: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    desks = []
    monkeypatch.setattr("zcd.web.server.serve", lambda port, desk, ready: desks.append(desk))
    pipe(monkeypatch, HOLDS)
    assert main(["bench", "-", "--no-browser"]) == 0
    desk = desks[0]()  # made once the page's address is told
    assert (desk.board_file, desk.folder) == (None, Path())
    assert desk.base["output.supply"] == "5 V"
