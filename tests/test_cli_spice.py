"""The command `spice`: exit codes, streams, files, and life without a simulator."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.diagnosis.boards import TEXTS
from zcd.cli import main
from zcd.errors import NoSimulatorError, SimulationError
from zcd.spice import simulator, solve

PIN = ("--reading", "dc pin logic0")


@pytest.fixture
def board(tmp_path: Path) -> str:
    path = tmp_path / "board.toml"
    path.write_text(TEXTS["switched"], encoding="utf-8")
    return str(path)


def test_a_board_on_which_both_agree(board: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["spice", board, *PIN, "--reading", "ohm R2"]) == 0
    out, err = capsys.readouterr()
    assert "agree on everything compared" in out
    assert not [line for line in out.splitlines() if line != line.rstrip() or len(line) > 80]
    assert err == ""


def test_a_fault_as_json(board: str, capsys: pytest.CaptureFixture[str]) -> None:
    line = ["spice", board, "--fault", "r2 DRIFT", "--severity", "0.3", "-r", "ac R2", "--json"]
    assert main(line) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["fault"] == "R2 drift"
    assert record["severity_ratio"] == 0.3
    assert record["agrees"] is True
    assert [reading["function"] for reading in record["readings"]] == ["ac"]


def test_exit_code_says_when_they_do_not_agree(
    board: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("zcd.spice.compare.LEAST", dict.fromkeys("AVWΩs%", 0.0) | {"Hz": 0.0})
    monkeypatch.setattr("zcd.spice.compare.Line.allowed", 0.0)
    assert main(["spice", board, *PIN, "--full"]) == 1
    assert "DIFFERS" in capsys.readouterr().out


def test_netlist_needs_no_simulator(
    board: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def none() -> None:
        raise NoSimulatorError(simulator.INSTALL)

    monkeypatch.setattr(solve, "simulator", none)
    path = tmp_path / "board.cir"
    for _ in range(2):  # the second time over the first
        assert main(["spice", board, "--level", "device", "--netlist", str(path)]) == 0
    assert "ngspice -b" in capsys.readouterr().err
    assert "NPN(" in path.read_text(encoding="ascii")
    assert main(["spice", board, *PIN]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert err.splitlines() == [f"zcd: {simulator.INSTALL}"]


def test_a_run_that_fails_is_one_line(
    board: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    class Failing:
        def run(self, deck: str, stop_s: float | None) -> None:
            raise SimulationError("ngspice stopped at 1.7e-05 s: Timestep too small", deck)

    monkeypatch.setattr(solve, "simulator", Failing)
    assert main(["spice", board, *PIN]) == 3
    assert capsys.readouterr().err == "zcd: ngspice stopped at 1.7e-05 s: Timestep too small\n"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--fault", "R2 opn"), '"R2 opn".*did you mean "R2 open"'),
        (("--reading", "dc"), "a function and a place"),
        (("--reading", "dc pin logic0 5 V"), "without a value"),
        (("--reading", "dc pin line"), "same side of the optocoupler"),
        (("--severity", "2"), "0<=x<=1"),
        (("--netlist", "nowhere/x.cir"), "cannot be written"),
        (("--netlist", "board.toml"), "cannot be written"),
    ],
)
def test_what_cannot_be_used_is_refused(
    board: str,
    words: tuple[str, ...],
    message: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(Path(board).parent)
    assert main(["spice", board, *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert re.search(message, err)


def test_pictures(board: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["spice", board, *PIN, "--plot", str(tmp_path / "both.png")]) == 0
    assert (tmp_path / "both.png").stat().st_size > 10_000
    assert "agree" in capsys.readouterr().out
