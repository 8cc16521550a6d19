"""The command line, called as a function: exit codes, streams, messages."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.show.demo import FAILS, HOLDS
from zcd import cli
from zcd.board.model import Topology
from zcd.cli import main
from zcd.errors import SolverError


@pytest.fixture
def board(tmp_path: Path) -> Path:
    path = tmp_path / "board.toml"
    path.write_text(HOLDS, encoding="utf-8")
    return path


@pytest.fixture
def work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty working directory."""
    place = tmp_path / "work"
    place.mkdir()
    monkeypatch.chdir(place)
    return place


def test_a_board_that_holds(board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(board)]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines()[1] == "The board holds: all 16 rules are kept."
    assert not [line for line in out.splitlines() if line != line.rstrip() or len(line) > 80]
    assert err == ""


def test_a_board_that_does_not_pass(board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    board.write_text(FAILS, encoding="utf-8")
    assert main(["check", str(board)]) == 1
    assert "does not pass" in capsys.readouterr().out


def test_json_is_one_object_and_nothing_else(
    board: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(board), "--json"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["passes"] is True
    assert err == ""


def test_report_and_plots(board: Path, work: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["check", str(board), "--json", "--report", "r.html", "--plots", "pictures"]
    assert main(arguments) == 0
    assert json.loads(capsys.readouterr().out)
    found = sorted(str(path.relative_to(work)) for path in work.rglob("*") if path.is_file())
    assert found == ["pictures/loss-map.png", "pictures/waveforms.png", "r.html"]


BAD = {
    "unknown key": (HOLDS.replace("pull_up", "pullup"), 'output.pullup: found "pullup"; allowed'),
    "missing key": (HOLDS.replace('supply = "5 V"', ""), "output.supply: found nothing; allowed"),
    "wrong unit": (HOLDS.replace('"47k"', '"47 V"'), 'output.pull_up: found "47 V"; allowed'),
    "negative": (HOLDS.replace('"47k"', "-47000.0"), "output.pull_up: found -47000.0; allowed"),
    "not a number": (HOLDS.replace('"47k"', "nan"), "output.pull_up: found nan; allowed"),
    "infinite": (HOLDS.replace('"47k"', "inf"), "output.pull_up: found inf; allowed"),
    "empty": ("", "found an empty file; allowed"),
    "no TOML": ("chain = [", "found text that is no TOML"),
    "unknown part": (HOLDS.replace("1N4007", "1N9999"), "rectifier"),
}


@pytest.mark.parametrize("case", BAD)
@pytest.mark.parametrize("extra", [[], ["--json"], ["--report", "r.html", "--plots", "p"]])
def test_bad_input_is_named_and_nothing_is_written(
    case: str, extra: list[str], board: Path, work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text, message = BAD[case]
    board.write_text(text, encoding="utf-8")
    assert main(["check", str(board), *extra]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert all(line.startswith("zcd: board.toml: ") for line in err.splitlines())
    assert message in err
    assert list(work.iterdir()) == []


def test_a_binary_file(board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    board.write_bytes(b"\xff\xfe\x00\x01")
    assert main(["check", str(board)]) == 2
    assert "not UTF-8" in capsys.readouterr().err


@pytest.mark.parametrize(("name", "found"), [("", "a directory"), ("none.toml", "no such file")])
def test_no_file(tmp_path: Path, name: str, found: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(tmp_path / name)]) == 2
    assert f"found {found}; allowed: a board file" in capsys.readouterr().err


def test_every_problem_has_a_line(board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    board.write_text(HOLDS.replace('"47k"', '"47 V"').replace('"5 V"', '"5 A"'), encoding="utf-8")
    assert main(["check", str(board)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 2


@pytest.mark.parametrize(
    "option", [["--report", "missing/r.html"], ["--report", "."], ["--plots", "missing/p"]]
)
def test_a_bad_place_for_output_is_refused_first(
    option: list[str], board: Path, work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(board), *option]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"zcd: {option[1]}: found a place that cannot be written")
    assert list(work.iterdir()) == []


def test_a_solver_that_gives_up(
    board: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def give_up(_: object) -> None:
        raise SolverError("row 0 does not converge")

    monkeypatch.setattr("zcd.margin.check.check", give_up)
    assert main(["check", str(board)]) == 3
    assert capsys.readouterr().err == "zcd: row 0 does not converge\n"


@pytest.mark.parametrize("arguments", [["chek"], ["check"], ["check", "a", "--nope"], ["new"]])
def test_wrong_usage(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    assert "Usage: zcd" in capsys.readouterr().err


@pytest.mark.parametrize("command", [[], ["new"], ["check"]])
def test_help_has_an_example(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*command, "--help"]) == 0
    out = capsys.readouterr().out
    assert out.startswith(" ".join(["Usage: zcd", *command]))
    assert "Example" in out
    assert max(map(len, out.splitlines())) <= 80


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("zcd ")


@pytest.mark.parametrize("topology", Topology)
def test_a_new_board_file_can_be_checked(
    topology: Topology, work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", "--topology", str(topology), "b.toml"]) == 0
    out, err = capsys.readouterr()
    assert out == ""
    assert "b.toml" in err
    assert main(["check", "b.toml", "--json"]) in {0, 1}
    assert json.loads(capsys.readouterr().out)["topology"] == str(topology)


def test_a_new_board_file_on_stdout(work: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", "-"]) == 0
    assert 'topology = "half-wave"' in capsys.readouterr().out
    assert list(work.iterdir()) == []


def test_an_existing_file_is_not_overwritten(
    board: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", str(board)]) == 2
    assert "found an existing file; allowed: a new file" in capsys.readouterr().err
    assert board.read_text(encoding="utf-8") == HOLDS


def test_interrupted(board: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("zcd.board.files.load_board", interrupt)
    assert main(["check", str(board)]) == cli.INTERRUPTED


def test_arguments_of_the_process_are_taken(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["zcd", "--version"])
    assert main() == 0
    assert capsys.readouterr().out.startswith("zcd ")


def shell(*arguments: str, code: str = "") -> list[str]:
    run = f"{code}import sys; from zcd.cli import main; sys.exit(main({list(arguments)!r}))"
    return [sys.executable, "-c", run]


def test_a_reader_that_leaves_early_is_no_failure(board: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as pipe:
        done = subprocess.run(
            shell("check", str(board)), stdout=pipe, stderr=subprocess.PIPE, check=False
        )
    assert done.returncode == cli.BROKEN_PIPE
    assert done.stderr == b""


def test_an_ascii_terminal_is_served(board: Path) -> None:
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "NO_COLOR": "1"}
    done = subprocess.run(
        shell("check", str(board)), capture_output=True, env=environment, check=False
    )
    assert done.returncode == 0
    assert b"100 kohm" in done.stdout.decode("ascii").encode()


def test_help_imports_nothing_heavy() -> None:
    heavy = ["numpy", "scipy", "matplotlib", "pydantic", "rich", "jinja2"]
    code = (
        "import atexit, sys; atexit.register(lambda: "
        f"print('heavy:', [m for m in {heavy!r} if m in sys.modules])); "
    )
    done = subprocess.run(shell("--help", code=code), capture_output=True, text=True, check=True)
    assert done.stdout.endswith("heavy: []\n")


def test_tables_and_json_do_without_matplotlib_and_jinja(board: Path) -> None:
    code = (
        "import atexit, sys; atexit.register(lambda: print('heavy:', "
        "[m for m in ['matplotlib', 'jinja2'] if m in sys.modules], file=sys.stderr)); "
    )
    for extra in ([], ["--json"]):
        arguments = shell("check", str(board), *extra, code=code)
        done = subprocess.run(arguments, capture_output=True, text=True, check=True)
        assert done.stderr == "heavy: []\n"
