"""The story command as a person types it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.simulation.boards import TEXT
from zcd.cli import main
from zcd.diagnosis.expected_readings import ExpectedRange
from zcd.diagnosis.functions import Function
from zcd.report.of_diagnosis import spread_text


@pytest.fixture
def board_file(tmp_path: Path) -> str:
    path = tmp_path / "melter.toml"
    path.write_text(TEXT.format(feed='feed = "switched"', more=""), encoding="utf-8")
    return str(path)


def test_story_of_a_cause(board_file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        main(["story", board_file, "--cause", "k1 contact OPEN", "--seconds", "15", "--full"]) == 0
    )
    out = capsys.readouterr().out
    assert "SYNC FLAG" in out
    assert "The sync fault alone explains the fan flag" in " ".join(out.split())
    assert "fed ahead of the load relay" in " ".join(out.split())


def test_story_as_json_with_pictures(
    board_file: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "pictures"
    words = ["story", board_file, "--cause", "R1 drift", "--amount", "3", "--seconds", "9"]
    assert main([*words, "--json", "--plots", str(folder)]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["amount"] == pytest.approx(3.0, rel=1e-3)
    names = {path.name for path in folder.iterdir()}
    assert names == {"schematic.png", "story.png", "waveforms.png", "drive.png", "fan.png"}


def test_all_causes(board_file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["story", board_file, "--all", "--seconds", "5", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    flagged = {s["cause"] for s in result["stories"] if s["sync_flag_s"] is not None}
    assert "R1 open" in flagged
    assert "tacho lost" not in flagged


def test_flags_turned_round(board_file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["story", board_file, "--flags", "fan, sync", "--seconds", "12"]) == 0
    out = capsys.readouterr().out
    assert "First readings: board unplugged and discharged" in out
    assert "AC volts, red on feed, black on neutral" in " ".join(out.split())
    assert "CAT II" in out


def test_each_first_reading_has_what_a_good_board_shows(
    board_file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The range of what `zcd readings` lists for the same reading."""
    assert main(["story", board_file, "--flags", "sync", "--seconds", "12"]) == 0
    lines = re.sub(r"\n   +", " ", capsys.readouterr().out).splitlines()
    first = next(n for n, line in enumerate(lines) if line.startswith("First readings: "))
    readings = [line for line in lines[first + 1 : first + 4] if line.startswith(" - ")]
    assert len(readings) == 3
    shown = [re.search(r"\(good board .*\)$", line) for line in readings]
    assert all(shown)
    assert main(["readings", board_file, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["readings"]
    place = ("ohm", "feed", "chain.2")
    (whole,) = (r for r in rows if (r["function"], r["red"], r["black"]) == place)
    good = ExpectedRange(**{key[:-4]: ohm for key, ohm in whole["healthy"].items()})
    assert spread_text(Function.OHM, good) in lines[first + 1]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--all", "--cause", "R1 open"], "give one of --cause, --all and --flags"),
        (["--all", "--flags", "fan"], "give one of"),
        (["--all", "--amount", "2"], "--amount and --plots belong to --cause"),
        (["--cause", "R1 oopen"], 'did you mean "R1 open"'),
        (["--flags", "heat"], '--flags: found "heat"; allowed: sync, fan, or none alone'),
        (["--flags", "none,fan"], "--flags: found"),
        (["--flags", "sync=E1,sync=E2"], "one code for each flag"),
        (["--cause", "R1 open", "--amount", "2"], "R1 open has no size"),
        (["--cause", "R1 open", "--plots", "no/such/place"], "cannot be written"),
    ],
)
def test_refused(
    board_file: str, words: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["story", board_file, *words]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert message in err


def test_flags_given_one_by_one_are_all_of_them(
    board_file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    shown = []
    for words in (["-f", "sync,fan"], ["-f", "sync", "--flag", "fan"], ["-f", "sync=E1,fan=E2"]):
        assert main(["story", board_file, *words]) == 0
        shown.append(capsys.readouterr().out)
    assert shown[0] == shown[1] == shown[2]
    assert "sync + fan" in shown[0]
