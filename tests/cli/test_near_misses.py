"""What is typed nearly right is told with what was probably meant, in one line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.jobs.demo_job import HOLDS, RESISTORS
from zcd.cli import main


@pytest.fixture
def marked(board: Path) -> Path:
    """A board whose parts have markings of their own."""
    assert RESISTORS in HOLDS
    own = '[{value = "30k", ref = "R11"}, {value = "43k", ref = "R12"}]'
    board.write_text(HOLDS.replace(RESISTORS, own), encoding="utf-8")
    return board


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["chek", "b.toml"], "Error: No such command 'chek'. Did you mean 'check'?"),
        (["xyzzy"], "Error: No such command 'xyzzy'."),
        (["check", "b.toml", "--outlok"], "Did you mean '--outlook'?"),
        (["new", "--topologie", "bridge", "b.toml"], "--topology"),
    ],
)
def test_commands_and_options(
    words: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert told in err.splitlines()[-1]


@pytest.mark.parametrize(
    ("words", "begins"),
    [
        (["substitute", "board.toml", "--for", "R7"], "zcd: --for R7: "),
        (["spice", "board.toml", "--fault", "R7 open"], "zcd: --fault R7: "),
        (["story", "board.toml", "--cause", "R7 open"], "zcd: --cause R7: "),
        (["close", "job.toml", "--found", "R7 open"], "zcd: --found R7: "),
        (["diagnose", "board.toml", "-r", "ohm R7 OL"], 'zcd: --reading "ohm R7 OL": R7: '),
        (["diagnose", "board.toml", "-r", "ohm R7 lifted 2M"], "zcd: --reading "),
        (["spice", "board.toml", "-r", "ac R7"], 'zcd: --reading "ac R7": R7: '),
    ],
)
def test_a_part_that_the_board_does_not_have(
    words: list[str], begins: str, marked: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    marked.with_name("job.toml").write_text('board = "board.toml"\n', encoding="utf-8")
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(begins)
    assert "R7: no such part; this board has " in err
    assert "R11, R12, " in err
    assert len(err.splitlines()) == 1


def test_the_nearest_part_is_named(marked: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["substitute", str(marked), "--for", "r12", "--json"]) == 0  # in either case
    assert '"R12"' in capsys.readouterr().out
    assert main(["substitute", str(marked), "--for", "R21"]) == 2
    assert capsys.readouterr().err.endswith('(did you mean "R12"?)\n')
