"""The settings of the bench: found, checked, and which goes before which."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.jobs.demo_job import HOLDS
from zcd.board.files import parse_board
from zcd.board.model import Topology
from zcd.board.starter import starter_text
from zcd.cli import main
from zcd.settings import VARIABLE, load_settings, settings_path

METER = '[meter]\ndc_input = "1M"\nac_input = "1M"\nac_kind = "average"\n'


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A place for a settings file, which the variable names."""
    path = tmp_path / "bench" / "mine.toml"
    path.parent.mkdir()
    monkeypatch.setenv(VARIABLE, str(path))
    return path


def test_the_platform_says_where(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """XDG Base Directory Specification: below XDG_CONFIG_HOME, where that is set."""
    monkeypatch.delenv(VARIABLE)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    if sys.platform.startswith("linux"):
        assert settings_path() == tmp_path / "zcd" / "settings.toml"
    place = settings_path()
    assert place is not None
    assert load_settings().file is None
    if place.is_relative_to(tmp_path):
        place.parent.mkdir()
        place.write_text('paper = "letter"', encoding="utf-8")
        assert load_settings().paper == "letter"


@pytest.mark.parametrize("named", ["", None])
def test_none_are_needed(
    named: str | None, tmp_path: Path, board: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if named is None:
        monkeypatch.delenv(VARIABLE)
        monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "nowhere"))
    else:
        monkeypatch.setenv(VARIABLE, named)
    assert main(["check", str(board), "--json"]) == 0


BAD = {
    "unknown key": (
        'papier = "a4"',
        'papier: "papier" is not known; write "paper"',
    ),
    "paper": ('paper = "a5"', 'paper: found "a5"; allowed: one of a4, letter'),
    "mains": ('mains = "12 A"', 'mains: found "12 A"; allowed: '),
    "band": ('mains = {voltage = "230 V", band = "moon"}', 'mains.band: found "moon"'),
    "meter": ('[meter]\ndc_input = "10 V"', 'meter.dc_input: found "10 V"; allowed: '),
    "meter's key": (
        '[meter]\ndc_inpt = "10M"',
        'meter.dc_inpt: "dc_inpt" is not known; write "dc_input"',
    ),
    "drawer": ("drawer = 3", "drawer: found 3; allowed: the name of a drawer file"),
    "no TOML": ("= 5", "found text that is no TOML"),
}


@pytest.mark.parametrize("case", BAD)
@pytest.mark.parametrize("command", [["check"], ["new"], ["jobs"]])
def test_what_is_wrong_is_told_with_the_file(
    case: str,
    command: list[str],
    settings: Path,
    board: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    text, told = BAD[case]
    settings.write_text(text, encoding="utf-8")
    assert main([*command, str(board)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"zcd: {settings}: ")
    assert told in err


def test_a_named_file_must_be_there(
    settings: Path, board: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(board)]) == 2
    wanted = "a settings file, TOML in UTF-8, up to 1 MB"
    assert capsys.readouterr().err == f"zcd: {settings}: found no such file; allowed: {wanted}\n"


@pytest.mark.parametrize("words", [["--help"], ["check", "--help"], ["--version"], ["settings"]])
def test_help_needs_none(
    words: list[str], settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings.write_text('paper = "a5"', encoding="utf-8")
    assert main(words) == 0
    assert capsys.readouterr().err == ""


def test_a_file_of_comments_sets_nothing(settings: Path, board: Path) -> None:
    for text in ("", "\n", '# paper = "letter"\n'):
        settings.write_text(text, encoding="utf-8")
        assert load_settings().paper == "a4"
        assert load_settings().file == settings


@pytest.mark.parametrize("topology", Topology)
@pytest.mark.parametrize(
    "mains",
    [
        '"120 V 60 Hz"',
        '{voltage = "120 V", frequency = "60 Hz", band = "120 service"}',
        '{voltage = 120, frequency = 60, tolerance = "8 %"}',
        '{voltage = "120 V", frequency = "60 Hz", harmonics = [{order = 3, fraction = "4 %"}]}',
    ],
)
def test_new_boards_begin_with_the_mains(
    topology: Topology, mains: str, settings: Path, work: Path
) -> None:
    settings.write_text(f"mains = {mains}", encoding="utf-8")
    assert main(["new", "--topology", str(topology), "b.toml"]) == 0
    text = (work / "b.toml").read_text(encoding="utf-8")
    wanted = parse_board(re.sub("mains = .*", f"mains = {mains}", HOLDS)).mains
    assert parse_board(text).mains == wanted
    theirs, ours = text.partition("[feed]")[2], starter_text(topology).partition("[feed]")[2]
    assert theirs == ours


def test_other_files_have_their_own_mains(
    settings: Path, board: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    board.write_text(re.sub("mains = .*\n", "", HOLDS), encoding="utf-8")
    settings.write_text('mains = "230 V"', encoding="utf-8")
    assert main(["check", str(board)]) == 2
    assert "mains: found nothing; allowed" in capsys.readouterr().err


def test_the_drawer(settings: Path, board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Beside the settings file; an option goes before it."""
    settings.write_text('drawer = "stock.toml"', encoding="utf-8")
    asked = ["substitute", str(board), "--for", "R2", "--json"]
    assert main(asked) == 2
    assert "stock.toml: found no such file" in capsys.readouterr().err
    (settings.parent / "stock.toml").write_text('resistors = ["150k"]', encoding="utf-8")
    (board.parent / "other.toml").write_text('resistors = ["150k"]', encoding="utf-8")
    for option, name in (
        ([], "stock"),
        (["--drawer", "other.toml"], "other"),
        (["--series", "E6"], "the E6 series, 1206"),
    ):
        assert main([*asked, *option]) in (0, 1)
        assert json.loads(capsys.readouterr().out)["drawer"] == name


def test_the_meter_where_a_job_says_none(
    settings: Path, board: Path, job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def told(file: Path) -> str:
        assert main(["readings", str(file), "--full"]) == 0
        return capsys.readouterr().out

    settings.write_text(METER, encoding="utf-8")
    assert "Read with 1 MΩ on DC and 1 MΩ on AC volts (average)" in told(board)
    assert "Read with 1 MΩ on DC and 1 MΩ on AC volts (average)" in told(job)
    job.write_text(f'{job.read_text()}[meter]\ndc_input = "3M"\n', encoding="utf-8")
    assert "Read with 3 MΩ on DC and 5 MΩ on AC volts (true-rms)" in told(job)


def test_a_new_job_says_which_meter_it_was(
    settings: Path, board: Path, work: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that its readings mean the same on another machine."""
    settings.write_text(METER, encoding="utf-8")
    answers = iter(["ohm R2 OL\n", "end\n"])
    monkeypatch.setattr("sys.stdin.readline", lambda: next(answers, ""))
    assert main(["diagnose", str(board), "--ask"]) == 0
    text = (work / "board-job.toml").read_text(encoding="utf-8")
    assert METER in text
    monkeypatch.setenv(VARIABLE, "")
    from zcd.diagnosis.job import load_job

    kept = load_job(work / "board-job.toml")
    assert kept.meter.dc_input_ohm == 1e6
    assert len(kept.log) == 1


@pytest.mark.usefixtures("undrawn")
def test_the_paper(settings: Path, job: Path) -> None:
    settings.write_text('paper = "letter"', encoding="utf-8")
    for option, size in (([], "us-letter"), (["--paper", "a4"], "a4")):
        assert main(["report", str(job), "--to", "r.html", *option]) == 1  # nothing repaired yet
        html = (job.parent / "r.html").read_text(encoding="utf-8")
        assert f"size: {'letter' if size == 'us-letter' else size}" in html.lower()


def test_what_holds_is_shown(settings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settings.write_text(f'mains = "120 V 60 Hz"\ndrawer = "s.toml"\n{METER}', encoding="utf-8")
    assert main(["settings"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines == [
        f"Settings: {settings}",
        "  mains   voltage = 120 V, frequency = 60 Hz",
        "  meter   dc_input = 1M, ac_input = 1M, ac_kind = average",
        "  paper   a4",
        f"  drawer  {settings.parent / 's.toml'}",
    ]
    assert main(["settings", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["file"] == str(settings)
    assert result["exists"] is True
    assert result["problems"] == []
    assert result["mains"] == {"voltage": "120 V", "frequency": "60 Hz"}


def test_what_is_wrong_with_them_is_shown(
    settings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings.write_text('paper = "a5"', encoding="utf-8")
    assert main(["settings"]) == 0
    assert f'{settings}: paper: found "a5"' in capsys.readouterr().out
    settings.unlink()
    assert main(["settings"]) == 0
    assert "there is no such file" in capsys.readouterr().out


def test_settings_are_not_read_for_help() -> None:
    """The fast way stays fast."""
    code = (
        "import sys; sys.argv = ['zcd', '--help']; from zcd.cli import main; main(); "
        "print([m for m in ('platformdirs', 'pathlib', 'logging', 'tomllib') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
