"""Whatever sends a hand to the board says the cautions that are due; a new command too."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path

import nbformat
import pytest
from pypdf import PdfReader

from tests.fuzz.commands import bench, call
from tests.fuzz.page import page_text
from zcd.board.files import parse_board
from zcd.board.model import Topology
from zcd.board.starter import starter_text
from zcd.circuit.build import build_circuit
from zcd.cli import commands
from zcd.diagnosis.readings import AccessLevel
from zcd.drawing.schematic import schematic
from zcd.drawing.sketch import sketch_svg
from zcd.report.cautions import (
    FITTED,
    GENERAL,
    LOCAL,
    PROBED,
    SHORT_CAUTIONS,
    TOUCHED,
    UNPLUGGED,
    Caution,
)
from zcd.report.of_diagnosis import cautions_for
from zcd.web.state import STEPS

DUE: dict[str, dict[str, tuple[Caution, ...]]] = {
    "check": {"board.toml --full": TOUCHED},
    "readings": {"board.toml --full": cautions_for(AccessLevel)},
    "diagnose": {"job.toml --full": TOUCHED, "board.toml -f sync --full": TOUCHED},
    "capture": {"scope.csv board.toml --full": PROBED},
    "retest": {
        "board.toml --full -r@dc pin logic0 2.6 V": cautions_for((AccessLevel.ISOLATED,)),
        "board.toml --full -r@ac line neutral 230 V": cautions_for((AccessLevel.MAINS,)),
        "board.toml --full -r@ohm R1 120k": TOUCHED,
    },
    "story": {"board.toml --all --full": UNPLUGGED, "board.toml --flags sync --full": TOUCHED,
              "board.toml --full --cause@R1 open": TOUCHED},
    "windings": {"a-b=100 b-c=200 a-c=300 --full": UNPLUGGED},
    "substitute": {"board.toml --for drive --full": FITTED},
    "spice": {"board.toml --full -r@ac R1": cautions_for((AccessLevel.MAINS,)),
              "board.toml --full -r@dc pin logic0": cautions_for((AccessLevel.ISOLATED,))},
}  # fmt: skip
"""Command lines that send a hand to the board, and what is due at the least. Words are parted by
blanks, a word with blanks in it stands behind @."""

IN_FILES = (
    "check board.toml --report {}/check.html",
    "check board.toml --report {}/check.pdf",
    pytest.param("report job.toml --to {}/record.pdf", marks=pytest.mark.slow),
    pytest.param("report job.toml --to {}/record.html", marks=pytest.mark.slow),
    pytest.param("demo {}/demo", marks=pytest.mark.slow),
)
"""Those that write a report, with all cautions."""

ELSEWHERE = {
    "new": "a file to start from, whose head says so",
    "map": "nothing but numbers",
    "close": "writes what was done",
    "jobs": "lists what was done",
    "boards": "lists what was described",
    "practice": "nothing is live there; its first lines say what a real board asks for",
    "completion": "a script for a shell",
    "schema": "what files and results look like",
    "settings": "what a person set once",
    "help": "guides to read; the one on cautions has all of them, tested with the command",
    "bench": "its sheets are asked below",
    "demo": "as check and diagnose, tested with its report",
    "report": "in its files",
}
"""The others, and why nothing is due on the terminal."""


def _flat(text: str) -> str:
    return " ".join(text.split())


def _line(words: str) -> list[str]:
    head, *rest = words.split("@")
    result = head.split()
    return [*result, *rest]


def test_every_command_is_known_here() -> None:
    """A new command stands in one of the lists, or this fails."""
    assert set(DUE) | set(ELSEWHERE) == set(commands.commands)


@pytest.mark.parametrize(
    ("command", "words", "as_json"),
    [
        pytest.param(command, words, as_json, marks=pytest.mark.slow if as_json and n else ())
        for as_json in (False, True)
        for command, lines in DUE.items()
        for n, words in enumerate(lines)
    ],
)
def test_cautions_are_there(command: str, words: str, as_json: bool) -> None:
    ran = call([command, *_line(words), *(["--json"] if as_json else [])])
    assert ran.code in (0, 1), ran.err
    told = ran.out
    if as_json:
        told = " ".join(json.loads(ran.out)["cautions"])
    for caution in DUE[command][words]:
        assert caution.text in _flat(told)


SHORT = {
    "check board.toml": AccessLevel.DEAD,
    "story board.toml --all": AccessLevel.DEAD,
    "story board.toml --flags sync": AccessLevel.DEAD,
    "diagnose job.toml": AccessLevel.DEAD,
    "readings board.toml": AccessLevel.DEAD,
    "capture scope.csv board.toml": AccessLevel.ISOLATED,
    "retest board.toml -r@ohm R1 120k": AccessLevel.ISOLATED,
    "spice board.toml -r@ac R1": AccessLevel.MAINS,
    "spice board.toml -r@dc pin logic0": AccessLevel.ISOLATED,
}
"""What an answer of one screen sends a hand to."""


@pytest.mark.parametrize("words", SHORT)
def test_one_screen_has_those_of_the_next_action(words: str) -> None:
    """At most three, the last of them with whom to defer to."""
    told = call(_line(words)).out
    for text in (*SHORT_CAUTIONS[SHORT[words]], LOCAL):
        assert text in _flat(told)
    assert 1 <= told.count("CAUTION: ") <= 3


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("words", IN_FILES)
def test_reports_have_them(words: str, tmp_path: Path) -> None:
    assert call(words.format(tmp_path).split()).code in (0, 1)
    reports = [each for each in tmp_path.rglob("*.*") if each.suffix in (".html", ".pdf")]
    assert reports
    for report in reports:
        shown = _shown(report)
        for caution in PROBED:
            assert _letters(caution.text) in shown


def _shown(report: Path) -> str:
    """The letters of a report, whose lines and words are broken by whoever sets it."""
    if report.suffix == ".html":
        return _letters(unescape(report.read_text(encoding="utf-8")))
    pages = PdfReader(report).pages
    return _letters("".join(page.extract_text() for page in pages))


def _letters(text: str) -> str:
    return "".join(c for c in text if c.isalnum())


NOTEBOOKS = sorted((Path(__file__).resolve().parents[2] / "notebooks").glob("*.ipynb"))
SAID = ("live", "dead tests", "local codes", "licensed practice go first")
"""In words of its own, as it is read before anything is measured."""


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebooks_begin_with_them(path: Path) -> None:
    first = nbformat.read(path, as_version=4).cells[0]
    assert first.cell_type == "markdown"
    for words in SAID:
        assert words in _flat(first.source).lower()


@pytest.mark.parametrize("topology", list(Topology))
def test_diagrams_say_which_side_is_live(topology: Topology) -> None:
    """Where the picture stands alone, in a folder or a report, as in its title for readers."""
    result = parse_board(starter_text(topology))
    drawn = sketch_svg(schematic(result, build_circuit(result)))
    assert "mains, LIVE" in drawn
    assert "mains side, live, on the left" in drawn


@pytest.mark.parametrize("as_json", [False, True])
def test_readings_still_to_take_have_them(as_json: bool, tmp_path: Path) -> None:
    """Mains side live, though what was taken again is on the isolated side."""
    for name in ("board.toml", "job.toml"):
        (tmp_path / name).write_bytes((bench() / name).read_bytes())
    places = [str(tmp_path / "board.toml"), "--job", str(tmp_path / "job.toml")]
    end = ["--json"] if as_json else ["--full"]
    told = call(["retest", *places, "-r", "dc pin logic0 2.6 V", *end]).out
    told = " ".join(json.loads(told)["cautions"]) if as_json else _flat(told)
    for caution in cautions_for((AccessLevel.MAINS,)):
        assert caution.text in told


@pytest.mark.parametrize("path", [f"/job/bench/{step}" for step in STEPS])
def test_sheets_of_the_page_have_them(path: str) -> None:
    shown = _flat(page_text(path)).replace("&#39;", "'")
    for caution in GENERAL:
        assert caution.text in shown


@pytest.mark.parametrize("drawer", [False, True])
def test_files_to_start_from_have_them(drawer: bool) -> None:
    told = call(["new", "-", *(["--drawer"] if drawer else [])]).out.lower()
    assert "live" in told or "caution" in told


def test_each_question_at_the_prompt_has_them(tmp_path: Path) -> None:
    """Three at most at the start, beside the action, with the place of the rest; those for live
    parts each time one is asked for."""
    words = ["diagnose", str(bench() / "board.toml"), "--ask", "--job", str(tmp_path / "job.toml")]
    ran = call(words, typed="skip\n" * 40 + "quit\n")
    start, *steps = ran.out.split("Nothing measured yet.")
    assert "zcd help cautions" in start
    first = start + steps[0]
    for text in SHORT_CAUTIONS[AccessLevel.DEAD]:
        assert text in _flat(first)
    assert 1 <= first.count("CAUTION") <= 3
    asked = [step for step in steps if re.search(r"board powered[^:]*: AC volts", _flat(step))]
    assert asked
    for step in asked:
        for text in SHORT_CAUTIONS[AccessLevel.MAINS]:
            assert text in _flat(step)
