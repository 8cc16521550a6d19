"""The command line, called as a function: exit codes, streams, messages."""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.jobs.demo_job import FAILS, HOLDS, RESISTORS, outlook
from tests.jobs.test_job_sheet import LOADS, Page
from tests.sampled import some
from zcd import cli
from zcd.board.model import Topology
from zcd.board.starter import starter_text
from zcd.cli import commands, main
from zcd.cli.board import TOPOLOGIES
from zcd.errors import SolverError
from zcd.jobs.conversation import QUESTION


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
    assert (
        out.splitlines()[1]
        == "PASSES. Sync works from 114 to 126 V (the band checked); no part is overloaded."
    )
    assert len(out.splitlines()) <= 25
    assert not [line for line in out.splitlines() if line != line.rstrip() or len(line) > 80]
    assert err == ""


def test_a_board_that_does_not_pass(board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    board.write_text(FAILS, encoding="utf-8")
    assert main(["check", str(board)]) == 1
    assert "\nFAILS: " in capsys.readouterr().out


def test_outlook_is_shown_where_asked_for(
    board: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it holds is the matter of tests/margin; it takes seconds."""
    monkeypatch.setattr("zcd.margin.outlook.sensitivity_of", lambda *_: outlook().sensitivity)
    monkeypatch.setattr("zcd.margin.outlook.ageing_of", lambda *_: outlook().ageing)
    assert main(["check", str(board), "--full"]) == 0
    assert "What decides the CTR reserve" not in capsys.readouterr().out
    assert main(["check", str(board), "--outlook", "--full"]) == 0
    out = capsys.readouterr().out
    assert "What decides the CTR reserve" in out
    assert "Years until sync is lost" in out
    assert main(["check", str(board), "--outlook", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["outlook"]["ageing"]["use_h"] == 4000.0


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
    result = sorted(str(path.relative_to(work)) for path in work.rglob("*") if path.is_file())
    pictures = [f"pictures/{name}.png" for name in ("loss-map", "schematic", "waveforms")]
    assert result == [*pictures, "r.html"]


BAD = {
    "unknown key": (
        HOLDS.replace("pull_up", "pullup"),
        'output.pullup: "pullup" is not known; write "pull_up"',
    ),
    "missing key": (HOLDS.replace('supply = "5 V"', ""), "output.supply: found nothing; allowed"),
    "wrong unit": (HOLDS.replace('"39k"', '"39 V"'), 'output.pull_up: found "39 V"; allowed'),
    "negative": (HOLDS.replace('"39k"', "-39000.0"), "output.pull_up: found -39000.0; allowed"),
    "not a number": (HOLDS.replace('"39k"', "nan"), "output.pull_up: found nan; allowed"),
    "infinite": (HOLDS.replace('"39k"', "inf"), "output.pull_up: found inf; allowed"),
    "empty": ("", "found an empty file; allowed"),
    "no TOML": ("= 5", "found text that is no TOML"),
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
    board.write_text(HOLDS.replace('"39k"', '"39 V"').replace('"5 V"', '"5 A"'), encoding="utf-8")
    assert main(["check", str(board)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 2


@pytest.mark.parametrize("option", [["--report", "missing/r.html"], ["--plots", "missing/p"]])
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

    monkeypatch.setattr("zcd.margin.check.nominal_check", give_up)
    assert main(["check", str(board)]) == 3
    assert capsys.readouterr().err == "zcd: row 0 does not converge\n"


@pytest.mark.parametrize(
    "arguments",
    [
        ["chek"],
        ["check"],
        ["check", "a", "--nope"],
        ["new"],
        ["readings"],
        ["diagnose"],
        ["diagnose", "a", "--ask", "--json"],
        ["demo", "a", "b"],
    ],
)
def test_wrong_usage(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    assert "Usage: zcd" in capsys.readouterr().err


@pytest.mark.parametrize("command", [[], ["new"], ["check"], ["readings"], ["diagnose"], ["demo"]])
def test_help_has_an_example(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main([*command, "--help"]) == 0
    out = capsys.readouterr().out
    assert out.startswith(" ".join(["Usage: zcd", *command]))
    assert "Example" in out or not command
    assert max(map(len, out.splitlines())) <= 80
    if not command:
        assert len(out.splitlines()) <= 25
        assert all(re.search(rf"^  .*\b{name}\b", out, re.MULTILINE) for name in commands.commands)


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("zcd ")


def test_every_topology_has_its_name_on_the_command_line() -> None:
    assert tuple(map(str, Topology)) == TOPOLOGIES


@pytest.mark.parametrize(
    "topology",
    [t if t is Topology.TWO_LED else pytest.param(t, marks=pytest.mark.slow) for t in Topology],
)
def test_a_new_board_file_can_be_checked(
    topology: Topology, work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """That all of them pass is seen in `margin/test_starters.py`."""
    assert main(["new", "--topology", str(topology), "b.toml"]) == 0
    out, err = capsys.readouterr()
    assert out == ""
    assert "b.toml" in err
    assert main(["check", "b.toml", "--json"]) in {0, 1}
    assert json.loads(capsys.readouterr().out)["topology"] == str(topology)


def test_a_new_board_file_told_as_json(work: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", "--json", "--topology", "bridge", "b.toml"]) == 0
    out, err = capsys.readouterr()
    written = (work / "b.toml").read_text(encoding="utf-8")
    wanted = {"schema": 3, "file": "b.toml", "topology": "bridge", "text": written}
    assert json.loads(out) == wanted
    assert err == ""


def test_a_new_board_file_on_stdout(work: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", "-"]) == 0
    assert 'topology = "half-wave"' in capsys.readouterr().out
    assert list(work.iterdir()) == []


def test_an_existing_file_is_not_overwritten(
    board: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", str(board)]) == 2
    assert "exists already: choose another name, or edit it" in capsys.readouterr().err
    assert board.read_text(encoding="utf-8") == HOLDS


@dataclass(frozen=True, slots=True)
class Demo:
    """What ``zcd demo`` did in a directory where its usual folder is taken."""

    code: int
    out: str
    err: str
    place: Path


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    place = tmp_path_factory.mktemp("demo")
    (place / "zcd-demo").mkdir()
    (place / "zcd-demo" / "board.toml").write_text("mine", encoding="utf-8")
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.chdir(place),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        code = main(["demo"])
    return Demo(code, out.getvalue(), err.getvalue(), place)


@pytest.fixture
def job(demo: Demo) -> Path:
    """The demo's job file, with its board file beside it."""
    return demo.place / "zcd-demo-2" / "job.toml"


def narrow(text: str) -> bool:
    """80 columns, nothing blank at the end of a line."""
    return not [line for line in text.splitlines() if line != line.rstrip() or len(line) > 80]


def test_demo_takes_the_next_free_folder(demo: Demo) -> None:
    assert demo.code == 0
    assert demo.err == ""
    assert sorted(path.name for path in demo.place.iterdir()) == ["zcd-demo", "zcd-demo-2"]
    assert sorted(path.name for path in (demo.place / "zcd-demo-2").iterdir()) == [
        "board.toml",
        "job.toml",
        "repaired.toml",
        "report.html",
    ]
    assert [path.name for path in (demo.place / "zcd-demo").iterdir()] == ["board.toml"]
    assert (demo.place / "zcd-demo" / "board.toml").read_text(encoding="utf-8") == "mine"


def test_demo_finds_its_fault_and_its_repair_holds(demo: Demo) -> None:
    assert narrow(demo.out)
    words = (
        "THE FAULTY BOARD",
        "Replace OC1: second LED open",
        "THE REPAIRED BOARD",
        "PASSES.",
    )
    places = [demo.out.index(word) for word in words]
    assert places == sorted(places)
    assert "In zcd-demo-2: board.toml" in demo.out


def test_demo_report_stands_alone(demo: Demo) -> None:
    html = (demo.place / "zcd-demo-2" / "report.html").read_text(encoding="utf-8")
    page = Page(html)
    assert not {"script", "link", "iframe", "img", "object", "embed", "base"} & set(page.tags)
    assert all(value.startswith("#") for name, value in page.attributes if name in LOADS)
    assert page.tags.count("svg") == 2
    text = "".join(page.words)
    for words in ("Found (not confirmed): OC1 second LED open", "PASSES.", "fan does not"):
        assert words in text


@pytest.mark.usefixtures("undrawn")
def test_demo_as_json(work: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", "mine", "--json"]) == 0
    out, err = capsys.readouterr()
    result = json.loads(out)
    assert set(result) == {"schema", "folder", "diagnosis", "check", "cautions"}
    assert result["folder"] == "mine"
    assert result["diagnosis"]["ranked"][0]["fault"] == "OC1 second LED open"
    assert result["check"]["passes"] is True
    assert err == ""
    assert (work / "mine" / "report.html").is_file()


@pytest.mark.parametrize("option", [[], ["--json"]])
def test_demo_leaves_an_existing_folder_alone(
    option: list[str], work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (work / "mine").mkdir()
    (work / "mine" / "job.toml").write_text("mine", encoding="utf-8")
    assert main(["demo", "mine", *option]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "zcd: mine: found something of that name; allowed: a new folder\n"
    assert [str(path.relative_to(work)) for path in work.rglob("*")] == ["mine", "mine/job.toml"]
    assert (work / "mine" / "job.toml").read_text(encoding="utf-8") == "mine"


def test_bench_card_of_a_job_is_read_with_its_meter(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, text in (
        ("board.toml", (job.parent / "board.toml").read_text(encoding="utf-8")),
        ("job.toml", 'board = "board.toml"\n[meter]\ndc_input = "1M"\nac_kind = "average"\n'),
    ):
        (tmp_path / name).write_text(text, encoding="utf-8")
    assert main(["readings", str(tmp_path / "job.toml"), "--full"]) == 0
    out, err = capsys.readouterr()
    assert narrow(out)
    assert "Bench card: Ovarel B12 egg incubator, control board" in out
    assert "Read with 1 MΩ on DC and 5 MΩ on AC volts (average)" in out
    for word in ("CAUTION", "OL: R22 open", "K1 driver open"):
        assert word in out
    assert err == ""


def test_bench_card_as_json(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["readings", str(job.parent / "board.toml"), "--json"]) == 0
    out, err = capsys.readouterr()
    result = json.loads(out)
    assert set(result) == {"schema", "board", "readings", "assumptions", "read_as", "cautions"}
    assert result["readings"][0]["side"] == "dead"
    assert result["readings"][-1]["side"] == "dead, one end lifted"
    assert err == ""


def test_diagnosis_of_a_job(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["diagnose", str(job)]) == 0
    out, err = capsys.readouterr()
    lines = [line for line in out.splitlines() if line]
    assert lines[0] == "Ovarel B12 egg incubator, control board"
    assert lines[1].startswith("Replace OC1: second LED open")
    assert lines[2] == "Because:"
    assert len(lines) <= 25
    assert narrow(out)
    assert "CAUTION" in out
    assert err == ""


def test_readings_on_the_command_line_join_those_of_the_job(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    more = ["-r", "ohm pull-up 5.58k", "--reading", "dc logic+ logic0 5.02 V"]
    assert main(["diagnose", str(job), *more, "--json"]) == 0
    out, err = capsys.readouterr()
    result = json.loads(out)
    ohms = [m.get("value_ohm") for m in result["measured"]]
    assert ohms[2:] == [18.2e3, 17.8e3, None, None, 5.58e3, None]
    assert result["measured"][7]["value_v"] == 5.02
    assert result["ranked"][0]["fault"] == "OC1 second LED open"
    assert err == ""


def test_diagnosis_of_a_board_from_typed_readings(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Coil driven, switched terminal dead: the contact (common practice, no source)."""
    typed = ["-r", "dc K1.coil 23.6 V", "-r", "ac feed neutral 0 V"]
    assert main(["diagnose", str(job.parent / "board.toml"), *typed]) == 0
    out, err = capsys.readouterr()
    assert "Replace K1: contact open" in out
    assert "Not saved: add --ask" in out
    assert "Flags" not in out
    assert err == ""


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("dc pin logic0 4.98 V\nmuch\nskip\nend\nnever read\n", ['zcd: found "much"; allowed: ']),
        ("dc pin logic0 4.98 V\nskip\n", []),
    ],
    ids=["ended", "end of input"],
)
def test_readings_asked_for_one_by_one(
    typed: str,
    told: list[str],
    job: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """An unplugged reading first; a line that is no reading is asked for again."""
    monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
    assert main(["diagnose", str(job.parent / "board.toml"), "--ask"]) == 0
    out, err = capsys.readouterr()
    question = QUESTION.partition("} ")[2]
    assert out.count(question) == 3 + len(told)
    steps = out.split(question)
    assert "Next, board unplugged and discharged: ohms across " in steps[0]
    assert steps[1].startswith("\nMost likely: ")
    lines = [re.search(r"^(Next|To settle it), (.*?\.)$", step, re.M | re.S) for step in steps]
    asked = [line[2] for line in lines if line]
    assert len(asked) == 3
    assert asked[2] != asked[1]  # what was skipped is not asked again
    messages = [f"zcd: {text}" for text in err.split("zcd: ")[1:]]
    assert [text[: len(start)] for text, start in zip(messages, told, strict=True)] == told


def test_conversation_fits_80_columns(
    job: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    assert main(["diagnose", str(job), "--ask"]) == 0
    out, _ = capsys.readouterr()
    assert "Replace OC1: second LED open" in out
    assert max(map(len, out.splitlines())) <= 80


BAD_READINGS = {
    "no reading": ("foo", 'found "foo"; allowed: one of dc'),
    "no value": ("dc pin logic0", "red probe, black probe"),
    "bad value": ("dc pin logic0 much", 'found "much"; allowed: DC volts'),
    "unknown part": ("ohm R99 100k", "R99"),
    "no part of the board": ("ohm D1.leak 100k", "allowed: one of the points line, "),
    "bare duty": ("duty 0.5", "allowed: a share of time such as"),
    "across": ("dc pin line 3 V", "same side of the optocoupler"),
}


@pytest.mark.parametrize("case", BAD_READINGS)
def test_a_bad_reading_is_named_and_nothing_is_printed(
    case: str, job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text, message = BAD_READINGS[case]
    assert main(["diagnose", str(job), "-r", text]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    (line,) = err.splitlines()
    assert line.startswith("zcd: ")
    assert message in line


@pytest.mark.parametrize("command", ["readings", "diagnose"])
def test_a_bad_job_is_named(command: str, board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = board.with_name("job.toml")
    for text, lines in (
        ('board = "gone.toml"', ['job.toml: board: found "gone.toml"; allowed: a board file']),
        ('flags = ["sync"]', ["job.toml: board: found nothing; allowed: "]),
        (
            'board = "board.toml"\n[[readings]]\nfunction = "dc"\nvalue = "x"\n'
            '[[readings]]\nfunction = "amps"\nvalue = 1\n',
            ["job.toml: readings[1].value: ", "job.toml: readings[2].function: "],
        ),
    ):
        path.write_text(text, encoding="utf-8")
        assert main([command, str(path)]) == 2
        out, err = capsys.readouterr()
        assert out == ""
        for line, start in zip(err.splitlines(), lines, strict=True):
            assert line.startswith("zcd: ")
            assert start in line
    assert sorted(p.name for p in board.parent.iterdir()) == ["board.toml", "job.toml"]


def test_interrupted(board: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("zcd.board.files.load_board", interrupt)
    assert main(["check", str(board)]) == cli.INTERRUPTED


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (
            PermissionError(13, "Permission denied", "far/jam.csv"),
            "far/jam.csv: found a file that cannot be used (Permission denied)",
        ),
        (OSError(5, "Input/output error"), "input or output came to an end (Input/output error)"),
    ],
)
def test_a_file_that_fails_is_named(
    error: OSError,
    told: str,
    board: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Not the output, where it is not that."""

    def fail(_: object) -> None:
        raise error

    monkeypatch.setattr("zcd.board.files.load_board", fail)
    monkeypatch.setattr("zcd.cli.forget", lambda _: None)
    assert main(["check", str(board)]) == 2
    assert capsys.readouterr().err == f"zcd: {told}\n"


QUICK = ("windings", "a-b=100", "b-c=200", "a-c=300")
"""Prints its answer as every command does, and works out little."""


def test_no_room_for_the_output() -> None:
    with Path("/dev/full").open("wb") as full:  # a disk without room, on Linux
        done = subprocess.run(shell(*QUICK), stdout=full, stderr=subprocess.PIPE, check=False)
    assert done.returncode == 2
    assert done.stderr == b"zcd: the output cannot be written (No space left on device)\n"


def test_arguments_of_the_process_are_taken(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["zcd", "--version"])
    assert main() == 0
    assert capsys.readouterr().out.startswith("zcd ")


def shell(*arguments: str, code: str = "") -> list[str]:
    run = f"{code}import sys; from zcd.cli import main; sys.exit(main({list(arguments)!r}))"
    return [sys.executable, "-c", run]


def test_a_reader_that_leaves_early_is_no_failure() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as pipe:
        done = subprocess.run(shell(*QUICK), stdout=pipe, stderr=subprocess.PIPE, check=False)
    assert done.returncode == cli.BROKEN_PIPE
    assert done.stderr == b""


FEW_SAMPLES = (
    f"import sys; sys.path.insert(0, {str(Path(__file__).parents[1])!r}); "
    "import tests.few_samples_here; "
)
"""As the tests of this file do."""


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (0, ["diagnose", "../board.toml", "--ask", "--job", "job.toml"]),
        (1, ["new", "new.toml"]),
        (2, ["new", "new.toml"]),
    ],
)
def test_a_stream_that_is_closed(number: int, words: list[str], board: Path, work: Path) -> None:
    """Nothing is typed, or nobody is told; no file that is written gets its number."""
    done = subprocess.run(
        shell(*words, code=FEW_SAMPLES if words[0] == "diagnose" else ""),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
        preexec_fn=lambda: os.close(number),
    )
    assert done.returncode == 0
    assert b"Traceback" not in done.stderr
    for each in work.glob("new.toml"):
        assert each.read_text(encoding="utf-8") == starter_text(Topology.HALF_WAVE)


def test_nobody_can_be_told(board: Path) -> None:
    """What the exit code says holds all the same."""
    with Path("/dev/full").open("wb") as full:
        for words in (["check", str(board.with_name("no.toml"))], ["check"]):
            done = subprocess.run(shell(*words), stdout=full, stderr=full, check=False)
            assert done.returncode == 2


def test_an_ascii_terminal_of_no_width_is_served(board: Path) -> None:
    """Some tell a width of 0 or 1; nothing is left out there."""
    environment = {**os.environ, "COLUMNS": "0", "PYTHONIOENCODING": "ascii", "NO_COLOR": "1"}
    done = subprocess.run(
        shell("check", str(board), "--full"), capture_output=True, env=environment, check=False
    )
    assert done.returncode == 0
    assert "PASSES." in done.stdout.decode("ascii")
    assert b"30 kohm" in b" ".join(done.stdout.split())
    assert done.stdout.count(b"\n") > 50


INTERRUPT = """\
import os, signal, sys
from importlib.abc import MetaPathFinder

class Interrupt(MetaPathFinder):
    def find_spec(self, name, path, target=None):
        if name == MODULE:
            os.kill(os.getpid(), signal.SIGINT)

_, MODULE, board = sys.argv
sys.meta_path.insert(0, Interrupt())
from zcd.__main__ import run
sys.argv = ["zcd", "check", board]
raise SystemExit(run())
"""


@pytest.mark.parametrize("module", ["click", "zcd.cli.board", "numpy", "rich.console"])
def test_an_interrupt_while_it_loads(module: str, board: Path) -> None:
    """Without a word; a shell calls 130 what a signal ended (POSIX, XCU 2.8.2: above 128)."""
    line = [sys.executable, "-c", INTERRUPT, module, str(board)]
    done = subprocess.run(
        line,
        capture_output=True,
        check=False,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # as from a terminal
    )
    assert done.returncode in (cli.INTERRUPTED, -signal.SIGINT)
    assert (done.stdout, done.stderr) == (b"", b"")


def test_help_imports_nothing_heavy() -> None:
    heavy = ["numpy", "scipy", "matplotlib", "pydantic", "rich", "jinja2"]
    code = (
        "import atexit, sys; atexit.register(lambda: "
        f"print('heavy:', [m for m in {heavy!r} if m in sys.modules])); "
    )
    done = subprocess.run(shell("--help", code=code), capture_output=True, text=True, check=True)
    assert done.stdout.endswith("heavy: []\n")


@pytest.mark.parametrize(
    "command",
    some(["check", "check --json", "readings", "boards", "new"], "check", "readings", "new"),
)
def test_usual_commands_load_nothing_slow(board: Path, command: str) -> None:
    """Each of these modules takes longer to load than the board to judge."""
    code = (
        "import atexit, sys; atexit.register(lambda: print('heavy:', "
        "[m for m in sys.modules if m in ('matplotlib', 'jinja2') or "
        "m.startswith('scipy.') and m.count('.') == 1"
        " and m[6:] in ('special', 'linalg', 'sparse', 'stats', 'constants')], "
        "file=sys.stderr)); "
    )
    name, *options = command.split()
    arguments = {"boards": [str(board.parent)], "new": ["--topology", "bridge", "-"]}
    called = shell(name, *arguments.get(name, [str(board)]), *options, code=code)
    done = subprocess.run(called, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "heavy: []\n")


def test_substitute_proposes_parts(board: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["substitute", str(board), "--series", "E24", "--for", "R2"]
    assert main(asked) == 0
    told = capsys.readouterr().out
    assert "as printed, same rating" in told
    assert "CAUTION" in told
    assert len(told.splitlines()) <= 25
    assert max(map(len, told.splitlines())) <= 80
    assert main([*asked, "--full"]) == 0
    full = capsys.readouterr().out
    assert "Sources" in full
    assert max(map(len, full.splitlines())) <= 80
    assert main([*asked, "--any"]) == 0
    assert "Only with a change of pulse, rating or isolation (" in capsys.readouterr().out
    assert main([*asked, "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    (answer,) = record["answers"]
    assert answer["replaced"] == ["R2"]
    assert answer["proposals"][0]["closeness"] == "same"
    assert answer["proposals"][0]["passes"]
    assert answer["buy"] == []


def test_substitute_tells_what_it_cannot_use(
    board: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for arguments, told in (
        (["--for", "R9"], "--for R9: no such part; this board has R1, R2, OC1, pull-up, D1"),
        (["--series", "E13"], '--series: found "E13"; allowed: one of E6'),
        (["--style", "1207"], '--style: found "1207"'),
        (["--drawer", str(tmp_path / "none.toml")], "none.toml: found no such file"),
        (["--drawer", "x", "--series", "E6"], "--drawer says what there is"),
    ):
        assert main(["substitute", str(board), *arguments]) == 2
        assert told in capsys.readouterr().err


def test_map_in_words_as_a_picture_and_as_json(
    board: Path, work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    board.write_text(HOLDS + '\n[controller]\nperiod_tolerance = "6 %"\n', encoding="utf-8")
    asked = ["map", str(board), "--across", "frequency", "--up", "mains"]
    assert main([*asked, "--plot", "m.png"]) == 0
    out = capsys.readouterr().out
    assert "With the" not in out
    assert "63.8 Hz" in out
    assert max(map(len, out.splitlines())) <= 80
    assert (work / "m.png").read_bytes().startswith(b"\x89PNG")
    assert main([*asked, "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["reach"]["across"]["above"] == pytest.approx(60.0 / 0.94, rel=1e-4)
    assert {rule for curve in record["boundaries"] for rule in curve["rules"]} == {"period"}


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--across", "led-capacitor"], '--across: found "led-capacitor"; allowed: one of mains'),
        (["--up", "R77"], '--up: found "R77"; allowed: one of mains'),
        (["--up", "mains"], '--up: found "mains"; allowed: another quantity than across'),
        (["--plot", "m.jpg"], 'found "m.jpg"; allowed: a file name that ends in .png or .svg'),
        (["--plot", "none/m.png"], "allowed: a new file in an existing directory"),
    ],
)
def test_map_refuses_before_it_works(
    options: list[str], message: str, board: Path, work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["map", str(board), *options]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert message in err
    assert list(work.iterdir()) == []


def test_map_of_a_board_that_does_not_lock_ends_with_1(
    board: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    board.write_text(HOLDS.replace(RESISTORS, '["5M", "5M"]'), encoding="utf-8")
    assert main(["map", str(board), "--across", "chain", "--up", "frequency"]) == 1
    out = capsys.readouterr().out
    assert "No sync as described: " in out
    assert "Where sync would work" in out


@pytest.mark.usefixtures("undrawn")
def test_a_job_leaves_with_its_record(
    board: Path, work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = board.with_name("job.toml")
    job.write_text(
        f'board = "{board.name}"\nflags = ["sync", "fan"]\n'
        '[[readings]]\nfunction = "dc"\nover = "K1.coil"\nvalue = "23.7 V"\n'
        '[[readings]]\nfunction = "dc"\nvalue = "4.98 V"\n'
        '[[readings]]\nfunction = "ohm"\nover = "R2"\nvalue = "OL"\n'
    )
    assert main(["report", str(job), "--to", "r.html", "--to", "r.pdf", "--json"]) == 1
    result = json.loads(capsys.readouterr().out)
    assert result == {
        "schema": 3,
        "files": ["r.html", "r.pdf"],
        "conclusion": "Found (not confirmed): R2 open (over 99 % sure).",
        "passes": False,  # nothing says that it is repaired
    }
    assert (work / "r.html").read_text().startswith("<!DOCTYPE html>")
    assert "closed jobs" not in (work / "r.html").read_text()
    assert (work / "r.pdf").read_bytes().startswith(b"%PDF-")
    closed = f'board = "{board.name}"\nfound = "R2 open"\nkind = "resistor open"\n'
    board.with_name("old.toml").write_text(f"{closed}closed = 2026-03-14\n")
    for option, told in ((), True), (("--no-record",), False):
        assert main(["report", str(job), "--to", "again.html", *option]) == 1
        html = (work / "again.html").read_text()
        assert ("changed by 1 closed job in this folder" in html) is told


def test_a_report_is_html_or_pdf(
    board: Path, work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for command in (["report", str(board), "--to"], ["check", str(board), "--report"]):
        for name in ("r.doc", "r.png", "."):
            assert main([*command, name]) == 2
            out, err = capsys.readouterr()
            assert not out
            assert f'{command[-1]}: found "{name}"; allowed: a file name that ends in .html' in err
    assert not list(work.glob("r.*"))


def test_closed_jobs_are_listed_and_shift_the_priors(
    board: Path, work: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = board.with_name("one.toml"), board.with_name("two.toml")
    for path in (first, second):
        path.write_text(
            f'board = "{board.name}"\n[[readings]]\nfunction = "dc"\nvalue = "4.98 V"\n'
        )
    assert main(["diagnose", str(second), "--json"]) == 0
    before = json.loads(capsys.readouterr().out)
    assert before["closed_jobs"] == 0
    assert main(["close", str(first), "--found", "r2 open", "--repair", "renewed"]) == 0
    assert "closed: R2 open" in " ".join(capsys.readouterr().out.split())
    assert main(["jobs", str(board.parent), "--find", "renewed"]) == 0
    out = capsys.readouterr().out
    assert "R2 open" in out
    assert "1 of 2 jobs." in out
    assert main(["jobs", str(board.parent), "--open", "--json"]) == 0
    assert [job["file"] for job in json.loads(capsys.readouterr().out)["jobs"]] == ["two.toml"]
    assert main(["diagnose", str(second), "--json"]) == 0
    after = json.loads(capsys.readouterr().out)
    assert after["closed_jobs"] == 1

    def share(found: dict[str, list[dict[str, float]]]) -> float:
        return next(r["probability_ratio"] for r in found["ranked"] if r["fault"] == "R2 open")

    assert share(after) > share(before)
    assert main(["diagnose", str(second), "--no-record", "--json"]) == 0
    assert share(json.loads(capsys.readouterr().out)) == pytest.approx(share(before))
    assert main(["diagnose", str(second)]) == 0
    assert "changed by 1 closed job" in " ".join(capsys.readouterr().out.split())
