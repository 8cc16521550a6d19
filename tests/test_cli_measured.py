"""Commands capture and retest, and a capture as readings of diagnose."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

from tests.diagnosis.boards import TEXTS
from zcd.cli import main
from zcd.diagnosis.readings import AccessLevel
from zcd.report.of_diagnosis import cautions_for


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a board and a capture of a pin that is low for 9.5 ms, mains beside it."""
    (tmp_path / "board.toml").write_text(TEXTS["half-wave"], encoding="utf-8")
    time = np.arange(0.0, 0.1, 20e-6)
    pin = np.where((time - 0.6e-3) % 0.02 < 9.5e-3, 0.1, 5.0)
    mains = 325.0 * np.sin(2.0 * np.pi * 50.0 * time)
    lines = [f"{t:.6f},{p:.2f},{m:.1f}" for t, p, m in zip(time, pin, mains, strict=True)]
    (tmp_path / "scope.csv").write_text("time (s),pin (V),mains (V)\n" + "\n".join(lines))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


def test_capture_is_read_and_drawn(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["capture", "scope.csv", "board.toml", "--plot", "scope.png"]) == 0
    out, err = capsys.readouterr()
    assert "GOOD. 5 pulses, none missing" in out
    assert re.search(r"5\d\d µs|60\d µs", out)
    assert max(map(len, out.splitlines())) <= 80
    assert err == ""
    assert (bench / "scope.png").read_bytes().startswith(b"\x89PNG")


def test_capture_answers_good_or_bad(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Low for 9.5 ms of 20 as on a good board; for 3 ms it is not: each beside what is expected."""
    assert main(["capture", "scope.csv", "board.toml"]) == 0
    assert "GOOD. 5 pulses, none missing." in capsys.readouterr().out
    time = np.arange(0.0, 0.1, 20e-6)
    pin = np.where((time - 0.6e-3) % 0.02 < 3e-3, 0.1, 5.0)
    text = "\n".join(f"{t:.6f},{p:.2f}" for t, p in zip(time, pin, strict=True))
    (bench / "short.csv").write_text("time (s),pin (V)\n" + text)
    assert main(["capture", "short.csv", "board.toml"]) == 1
    out = capsys.readouterr().out
    assert re.search(r"BAD\. Low time: 3 ms \(expected 9\.\d+ to 1?\d\.\d+ ms\)", out)
    assert main(["capture", "short.csv", "board.toml", "--json"]) == 1
    result = json.loads(capsys.readouterr().out)
    assert not result["good"]
    assert [each["good"] for each in result["readings"]] == [True, False]
    assert result["step_s"] == pytest.approx(20e-6)


def pulses_line(pin: np.ndarray, capsys: pytest.CaptureFixture[str]) -> str:
    """What the table says of the pulses of a pin, sampled each 20 us."""
    rows = (f"{20e-6 * k:.6f},{volts:.2f}" for k, volts in enumerate(pin))
    Path("pin.csv").write_text("time (s),pin (V)\n" + "\n".join(rows))
    main(["capture", "pin.csv", "board.toml"])
    (line,) = re.findall(r"complete low pulses +(.*?) *$", capsys.readouterr().out, re.MULTILINE)
    return re.sub(" +", " ", line)


def test_a_capture_says_whether_pulses_are_missing(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not how few of them would do: a pulse cut off at an end is not a missing one."""
    time = np.arange(0.0, 0.1, 20e-6)
    pin = np.where((time - 0.6e-3) % 0.02 < 9.5e-3, 0.1, 5.0)
    assert pulses_line(pin, capsys) == "5, none missing none missing good"
    assert pulses_line(pin[100:3000], capsys) == "2, none missing none missing good"
    third = np.where((time > 0.04) & (time < 0.06), 5.0, pin)
    assert pulses_line(third, capsys) == "4, 1 missing none missing DIFFERS"
    assert pulses_line(np.full(time.size, 5.0), capsys) == "0 about 5 DIFFERS"


def test_capture_says_for_what_its_limits_are(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["capture", "scope.csv", "board.toml"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "Expected: a good board, mains within 5 %, 15 to 35 °C." in told


def test_capture_knows_its_sample_step(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Samples 1 ms apart tell an edge within 1 ms: the low time is a range, and said so."""
    time = np.arange(0.0, 0.2, 1e-3)
    pin = np.where((time - 0.6e-3) % 0.02 < 9.5e-3, 0.1, 5.0)
    text = "\n".join(f"{t:.6f},{p:.2f}" for t, p in zip(time, pin, strict=True))
    (bench / "coarse.csv").write_text("time (s),pin (V)\n" + text)
    assert main(["capture", "coarse.csv", "board.toml", "--json"]) == 0
    (low_time,) = (
        each
        for each in json.loads(capsys.readouterr().out)["readings"]
        if each["function"] == "low time"
    )
    assert low_time["low_s"] <= 9.5e-3 <= low_time["high_s"]
    assert low_time["high_s"] - low_time["low_s"] == pytest.approx(2e-3)
    assert main(["capture", "coarse.csv", "board.toml"]) == 0
    assert "Capture again with 50 µs or less." in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(("step_us", "again"), [(50, False), (100, True)])
def test_the_longest_good_step_is_good(
    step_us: int, again: bool, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    time = np.arange(0.0, 0.2, step_us * 1e-6)
    pin = np.where((time - 0.6e-3) % 0.02 < 9.5e-3, 0.1, 5.0)
    text = "\n".join(f"{t:.6f},{p:.2f}" for t, p in zip(time, pin, strict=True))
    (bench / "step.csv").write_text("time (s),pin (V)\n" + text)
    assert main(["capture", "step.csv", "board.toml"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert ("Capture again with 50 µs or less." in told) is again


def test_capture_as_json(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["capture", "scope.csv", "board.toml", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert (result["pulses"], result["missing_pulses"]) == (5, 0)
    assert result["low_times_s"] == pytest.approx([9.5e-3] * 5, abs=25e-6)
    assert result["offsets_s"] == pytest.approx([0.6e-3] * 5, abs=25e-6)
    assert [r["function"] for r in result["readings"]] == ["frequency", "low time", "edge delay"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["capture", "gone.csv", "board.toml"], "gone.csv: found no such file"),
        (["capture", "board.toml", "board.toml"], "board.toml: found "),
        (["capture", "scope.csv", "board.toml", "--plot", "scope.txt"], "ends in .png or .svg"),
        (["retest", "board.toml"], "no reading since the repair"),
        (["retest", "board.toml", "-r", "ohm R2 130k", "--by", "Ada"], "give --job too"),
        (["retest", "board.toml", "-r", "ohm R2 130k", "--job", "board.toml"], "is a board file"),
        (["diagnose", "board.toml", "--job", "x.toml", "-r", "ohm R1 110k"], "--ask"),
    ],
)
def test_what_cannot_be_used_is_named(
    arguments: list[str], message: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert message in err


def test_good_readings_pass_and_bad_ones_do_not(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    good = ["-r", "ohm R1 110k", "-r", "ohm R2 130k", "-r", "dc pin logic0 2.65", "-c", "scope.csv"]
    code = main(["retest", "board.toml", *good, "--json"])
    result = json.loads(capsys.readouterr().out)
    assert code == (0 if result["good"] else 1)
    assert result["good_ratio"] > 0.85
    assert all(r["good"] for r in result["readings"])
    low, middle, high = result["remaining"]["ctr_ratio"]
    assert 0.0 < low <= middle <= high
    assert main(["retest", "board.toml", "-r", "ohm R2 520k"]) == 1
    out = capsys.readouterr().out
    assert "DIFFERS" in out
    assert re.search(r"Likeliest so far: R2 gone high \(\d+ %\)(; R2 has gone high|\.)", out)
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.usefixtures("undrawn")
def test_retests_are_kept_in_the_job(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A half-cured board first, then a good one; what was taken before is asked for again."""
    job = bench / "job.toml"
    job.write_text('board = "board.toml"\n[[readings]]\nfunction = "dc"\nvalue = "4.98 V"\n')
    about = ["--job", "job.toml", "--replaced", "R2 130k", "--by", "Ada"]
    assert main(["retest", "board.toml", "-r", "ohm R2 520k", *about]) == 1
    out = capsys.readouterr().out
    assert "DC volts, red on pin, black on logic0" in out
    assert out.rstrip().endswith("Kept in job.toml.")
    assert main(["report", "job.toml", "--to", "r.html"]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "Verdict: NOT READY. The last retest failed: ohms across R2 520 kΩ " in out
    assert "By calculation it passes as described" in out
    assert "NOT READY. The last retest failed" in Path("r.html").read_text(encoding="utf-8")
    good = ["-r", "ohm R1 110k", "-r", "ohm R2 130k", "-r", "dc pin logic0 2.65", "-c", "scope.csv"]
    good += ["-r", "diode D1 reversed OL", "-r", "dc logic+ logic0 5", "-r", "diode OC1 1.05"]
    assert main(["retest", "board.toml", *good, *about, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["job"] == "job.toml"
    assert main(["jobs", ".", "--json"]) == 0
    (told,) = json.loads(capsys.readouterr().out)["jobs"]
    assert told["retest"]["verdict"] == "good"
    assert told["retest"]["replaced"] == ["R2 130k"]
    assert job.read_text().count("[[retests]]") == 2


def test_a_job_is_its_own_board_after_the_repair(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the same parts; what was read before the repair does not count."""
    job = bench / "job.toml"
    job.write_text('board = "board.toml"\n[[readings]]\nfunction = "dc"\nvalue = "4.98 V"\n')
    assert main(["retest", "job.toml", "-r", "dc pin 2.65", "--json"]) == 1  # more are needed
    told = json.loads(capsys.readouterr().out)
    assert len(told["readings"]) == 1
    assert told["job"] == "job.toml"
    assert job.read_text().count("[[retests]]") == 1
    assert main(["retest", "job.toml"]) == 2
    assert "no reading since the repair" in capsys.readouterr().err
    assert main(["retest", "job.toml", "-r", "dc pin 2.65", "--job", "job.toml"]) == 2
    assert "is a job file" in capsys.readouterr().err


def test_conversation_keeps_a_job_and_goes_on_with_it(
    bench: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    import io

    monkeypatch.setattr("sys.stdin", io.StringIO("dc pin logic0 4.98\nflags sync fan\nquit\n"))
    assert main(["diagnose", "board.toml", "--ask"]) == 0
    first = (bench / "board-job.toml").read_text()
    monkeypatch.setattr("sys.stdin", io.StringIO("ohm R2 OL\nundo\nquit\n"))
    assert main(["diagnose", "board-job.toml", "--ask"]) == 0
    assert (bench / "board-job.toml").read_text() == first
    assert "go on with: zcd diagnose board-job.toml --ask" in capsys.readouterr().out
    found = "ohm R2 OL\nohm R1 110k\nohm R1 to R2 OL\nohm R2 OL\nquit\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(found))
    assert main(["diagnose", "board-job.toml", "--ask"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    for order in (
        "1. Find new R2 and R1: zcd substitute board.toml --for R2 --for R1 2. Fit them. ",
        'to measure: zcd retest board-job.toml --replaced R2 --replaced R1 -r "ohm R2 ..."',
        "zcd new --like board.toml repaired.toml",
        '4. Close the job: zcd close board-job.toml --found "R2 open"',
    ):
        assert order in out


@pytest.mark.parametrize("name", ["card.html", "card.pdf"])
def test_a_card_for_the_bench(name: str, bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every row of the page, with a place for what is measured; all cautions with it."""
    if name.endswith(".pdf"):
        pytest.importorskip("typst")
    assert main(["readings", "board.toml", "--card", name]) == 0
    assert capsys.readouterr().out == f"{name} written\n"
    if name.endswith(".pdf"):
        text = "".join(page.extract_text() for page in PdfReader(bench / name).pages)
    else:
        text = unescape((bench / name).read_text(encoding="utf-8"))
    letters = "".join(text.split())
    for words in ("Bench card", "measured", "ohm R1 to R2", "dc pin, logic0", "Meter: 10 MΩ"):
        assert "".join(words.split()) in letters
    for caution in cautions_for(AccessLevel):
        assert "".join(caution.text.split()) in letters


def test_a_card_of_another_kind_is_refused(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["readings", "board.toml", "--card", "card.txt"]) == 2
    assert "ends in .html or .pdf" in capsys.readouterr().err
