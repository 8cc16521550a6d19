"""Boards without an optocoupler: no face of the tool calls any of their points isolated.

Every point of such a board is live while it is plugged in. Each command and sheet is asked about
some of them; each must say so, and nothing must speak of an isolated or low-voltage side.
"""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Iterator
from contextlib import redirect_stdout
from dataclasses import replace
from html import unescape
from io import StringIO
from itertools import product
from pathlib import Path
from unittest.mock import patch

import pytest
from pypdf import PdfReader

from tests.fuzz.commands import SCOPE, call
from tests.fuzz.page import PORT, SECRETS, answer
from tests.sampled import some, square
from zcd.board.files import parse_board
from zcd.board.model import Board, Topology
from zcd.board.starter import starter_text
from zcd.circuit.build import build_circuit
from zcd.cli.interview import describe
from zcd.diagnosis.reading_syntax import parse_place, parse_reading
from zcd.diagnosis.readings import AccessLevel, Power, access_level, useful_readings
from zcd.drawing.schematic import schematic
from zcd.drawing.sketch import sketch_svg
from zcd.engine.network import island_of
from zcd.errors import InputError
from zcd.practice.session import reading_text
from zcd.report.cautions import BENCH, FITTED, ISOLATED, NOT_ISOLATED, SHORT_CAUTIONS, cautions_on
from zcd.report.terminal import SCREEN_LINES
from zcd.web.app import make_app
from zcd.web.state import PageState

DIRECT = """
name = "Kelmar oven clock (invented)"
mains = "230 V 50 Hz"
optocoupler = "none"
circuit = ["feed - R1 1M - R2 1M - pin", "neutral - logic0"]
output = {supply = "5 V"}
"""
SWITCHED = """
name = "Olmsby airing cupboard (invented)"
mains = "120 V 60 Hz"
optocoupler = "none"
circuit = [
    "feed - R1 470k - R2 470k - x", "x - R3 47k - pin", "x - C1 1n - logic0",
    "pin - D1 1N4148 > - logic+", "pin - D2 1N4148 < - logic0", "neutral - logic0",
]
feed = {kind = "switched", coil_supply = "12 V"}
output = {supply = "3.3 V"}
"""
SUPPLY_ON_LINE = """
name = "Fenbrook milk warmer (invented)"
mains = "230 V 50 Hz"
optocoupler = "none"
circuit = ["neutral - R1 1M - R2 1M - pin", "pin - R3 10M - logic0", "line - logic+"]
output = {supply = "5 V", pin_capacitor = "100 pF"}
"""
TRANSISTOR = """
name = "Tarn foot warmer (invented)"
mains = "230 V 50 Hz"
optocoupler = "none"
circuit = [
    "feed - R1 220k - R2 220k - Q1.b", "base - R3 100k - emitter",
    "emitter - D1 1N4148 > - base", "Q1 BC847B", "neutral - emitter",
]
output = {pull_up = "10k", supply = "5 V"}
"""
BOARDS = {
    "direct": DIRECT, "transistor": TRANSISTOR, "switched": SWITCHED,
    "supply on line": SUPPLY_ON_LINE,
}  # fmt: skip
REPORTED = (("direct", "html"), ("transistor", "pdf"))
"""In every run."""
each_board = pytest.mark.parametrize("folder", some(BOARDS, "direct"), indirect=True)
JOB = """
board = "live.toml"
flags = ["sync"]
[[readings]]
function = "dc"
value = "0.1 V"
[[readings]]
function = "ohm"
over = "R1"
value = "OL"
"""

ALLOWED = re.compile(
    "NOT ISOLATED|none: NOT isolated|nothing is isolated|isolating transformer|"
    "(?:instrument with|probe or) isolated inputs|Isolate: pull the plug|does not isolate|"
    "pulse, rating or isolation|none: NOT .{0,15}isolated|"
    "Isolate the metal tab of a triac from the heat sink|package, isolation"
)
"""Where a text may say the word: that the board is not, how to work on it, what a plug is for."""


OF_COUPLERS = re.compile(
    r"\bLEDs?\b(?! current, of a triac)|\bCTR\b|\bOC\d|phototransistor|"
    r"(?<!no )(?<!without )(?<!an )optocoupler(?! =)"
)
"""Of what such a board does not have."""


def require_live(text: str) -> None:
    """Said that the board is not isolated, and nothing else of the kind."""
    flat = " ".join(text.split())
    assert re.search("NOT ISOLATED|none: NOT", flat), flat[:600]
    rest = ALLOWED.sub("", flat)
    found = re.search(r".{60}(isolat|low-voltage side|earthed scope is).{40}", rest, re.IGNORECASE)
    assert found is None, found and found[0]


@pytest.fixture(scope="module")
def folder(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a board, a job about it and a capture."""
    result = tmp_path_factory.mktemp("live")
    (result / "live.toml").write_text(BOARDS[request.param], encoding="utf-8")
    (result / "job.toml").write_text(JOB, encoding="utf-8")
    (result / "scope.csv").write_text(SCOPE, encoding="utf-8")
    return result


LINES = (
    "check live.toml", "check live.toml --full", "readings live.toml", "readings live.toml --full",
    "diagnose live.toml -f sync", "diagnose job.toml --full", "capture scope.csv live.toml",
    "capture scope.csv live.toml --full", "retest live.toml -r@dc pin logic0 2.5 V",
    "retest live.toml --full -r@ohm R1 1M", "story live.toml --all", "substitute live.toml --any",
    "story live.toml --full --cause@R1 open", "substitute live.toml",
    "story live.toml --flags sync",  # of the same board as --all, whose stories it needs
    "substitute live.toml --for drive --full", "map live.toml --up chain",
    "spice live.toml -r@dc pin logic0", "spice live.toml --netlist -", "boards .",
)  # fmt: skip
"""Words are parted by blanks; a word with blanks in it stands behind @."""


def _said(folder: Path, line: str, *more: str) -> str:
    head, *rest = line.split("@")
    words = [str(folder / w) if w in NAMED else w for w in head.split()]
    ran = call([*words, *rest, *more])
    assert ran.code in (0, 1), ran.err
    return ran.out


NAMED = ("live.toml", "job.toml", "scope.csv", ".")


@pytest.mark.parametrize(("folder", "line"), square(BOARDS, LINES), indirect=["folder"])
def test_each_command_says_so_and_calls_nothing_isolated(folder: Path, line: str) -> None:
    said = _said(folder, line)
    require_live(said)
    if not {"--full", "--netlist", "--all", "--any"} & {*line.split()}:
        assert len(said.splitlines()) <= SCREEN_LINES
    assert OF_COUPLERS.search(" ".join(said.split())) is None


AS_JSON = [
    line for line in LINES if not line.startswith(("boards", "map")) and "netlist" not in line
]


@pytest.mark.parametrize(("folder", "line"), square(BOARDS, AS_JSON), indirect=["folder"])
def test_json_has_the_cautions(folder: Path, line: str) -> None:
    due = json.loads(_said(folder, line, "--json"))["cautions"]
    assert due[: len(NOT_ISOLATED)] == [caution.text for caution in NOT_ISOLATED]
    require_live(" ".join(due))


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(
    ("folder", "ending"),
    [
        pytest.param(*each, marks=() if each in REPORTED else pytest.mark.slow)
        for each in product(BOARDS, ["html", "pdf"])
    ],
    indirect=["folder"],
)
def test_reports_say_so(folder: Path, ending: str, tmp_path: Path) -> None:
    for line in ("check live.toml --report {}", "report job.toml --to {}"):
        place = tmp_path / f"{line.split()[0]}.{ending}"
        _said(folder, line.format(place))
        text = place.read_bytes()
        if ending == "pdf":
            letters = _letters("".join(page.extract_text() for page in PdfReader(place).pages))
            assert _letters(NOT_ISOLATED[0].text) in letters
            for caution in (*ISOLATED, *BENCH):
                assert _letters(caution.text) not in letters
        else:
            require_live(unescape(re.sub("<[^>]*>", " ", text.decode("utf-8"))))


def _letters(text: str) -> str:
    return "".join(c for c in text if c.isalnum())


@pytest.mark.parametrize(
    ("folder", "step"), square(BOARDS, ["board", "readings", "repair"]), indirect=["folder"]
)
def test_sheets_of_the_page_say_so(folder: Path, step: str) -> None:
    app = make_app(PORT, PageState(folder=folder), SECRETS)
    for name in ("live", "job"):
        status, body = asyncio.run(answer(app, f"/job/{name}/{step}", b""))
        assert status in (200, 404)
        if status == 200 and (name == "job" or step == "board"):
            require_live(unescape(re.sub("<[^>]*>", " ", body.decode("utf-8"))))


@each_board
def test_each_question_at_the_prompt_says_so(folder: Path, tmp_path: Path) -> None:
    words = ["diagnose", str(folder / "live.toml"), "--ask", "--job", str(tmp_path / "new.toml")]
    ran = call(words, typed="skip\n" * 8 + "quit\n")
    assert ran.out.count("CAUTION: NOT ISOLATED") >= 8
    require_live(ran.out)


@each_board
def test_practice_says_so_before_and_after(folder: Path) -> None:
    typed = "points\nplug in\ndc pin\ngive up\n"
    ran = call(["practice", str(folder / "live.toml"), "--seed", "1", "--full"], typed=typed)
    assert ran.code == 0
    require_live(ran.out)
    assert ran.out.count("NOT ISOLATED") == 2


def test_the_practice_sheet_says_so_and_offers_no_bench_supply(tmp_path: Path) -> None:
    (tmp_path / "live.toml").write_text(DIRECT, encoding="utf-8")
    app = make_app(PORT, PageState(folder=tmp_path), SECRETS)
    form = ("application/x-www-form-urlencoded", b"board=live&level=1&seed=1")
    status, _ = asyncio.run(answer(app, "/practice/begin", b"", *form))
    assert status == 303
    status, body = asyncio.run(answer(app, "/practice", b""))
    text = unescape(re.sub("<[^>]*>", " ", body.decode("utf-8")))
    assert status == 200
    assert "Exercise 1-1" in text
    assert "on bench supply" not in text
    require_live(text)


ANSWERS = """Kelmar oven clock
230 V 50 Hz
1
traced
feed - R1 1M - R2 1M - pin
neutral - logic0


5 V
"""


def test_questions_say_so_as_soon_as_the_pin_is_reached(tmp_path: Path) -> None:
    told = StringIO()
    file = tmp_path / "asked.toml"
    with patch("sys.stdin", StringIO(ANSWERS)), redirect_stdout(told):
        describe(str(file))
    flat = " ".join(told.getvalue().split())
    assert flat.count("CAUTION: NOT ISOLATED") == 2
    text = file.read_text(encoding="utf-8")
    assert "LIVE at mains" in text
    assert not parse_board(text).is_isolated


# ------------------------------------------------------------------ one place that answers


def _every_board() -> Iterator[Board]:
    yield from map(parse_board, BOARDS.values())
    yield from (parse_board(starter_text(topology)) for topology in Topology)


def test_board_and_circuit_agree_on_what_is_isolated() -> None:
    """Between pin and mains of a board that is isolated there is no path but light."""
    for board in _every_board():
        circuit = build_circuit(board)
        assert board.is_isolated is ("line" not in island_of(circuit, "pin"))


REFUSED = (
    (
        'optocoupler = "none"',
        'optocoupler = "817C"',
        "CAUTION: without optocoupler nothing is",
    ),
    (
        '"neutral - logic0"',
        '"neutral - R3 1k - logic0"',
        "found no wire between the controller",
    ),
    ("- R1 1M - R2 1M - pin", "- D1 1N4007 > - pin", "found no resistor"),
    ("feed - R1 1M", "neutral - R1 1M", "found no way from the mains to pin"),
    ("supply =", 'pull_up = "10k", supply =', "a line of circuit, such as"),
)


@pytest.mark.parametrize(("now", "other", "words"), REFUSED)
def test_what_is_no_such_board_is_refused(now: str, other: str, words: str) -> None:
    with pytest.raises(InputError, match=re.escape(words)):
        parse_board(DIRECT.replace(now, other, 1))


@pytest.mark.parametrize("tie", ["neutral - logic0", "line - logic+"])
def test_optocoupler_whose_controller_is_on_the_mains_is_refused(tie: str) -> None:
    """Its light would isolate nothing; it is not taken for a board that is isolated."""
    lines = ["feed - R1 47k - D1 1N4007 > - led+", "led- - neutral", tie]
    text = f'mains = "230 V"\noptocoupler = "817C"\ncircuit = {json.dumps(lines)}\n'
    with pytest.raises(InputError, match="CAUTION: without optocoupler nothing is isolated"):
        parse_board(text + 'output = {pull_up = "10k", supply = "5 V"}\n')


@pytest.mark.parametrize("text", [DIRECT, SWITCHED, SUPPLY_ON_LINE])
def test_a_pin_alone_is_read_against_its_own_ground(text: str) -> None:
    circuit = build_circuit(parse_board(text))
    short, whole = (
        parse_reading(line, circuit).reading for line in ("dc pin 2 V", "dc pin logic0 2 V")
    )
    assert short == whole


@pytest.mark.parametrize("text", [DIRECT, SWITCHED, SUPPLY_ON_LINE])
def test_a_reading_as_practice_prints_it_is_read_back(text: str) -> None:
    """Also where one point has two names, as neutral and the controller's ground."""
    board = parse_board(text)
    circuit = build_circuit(board)
    for reading in useful_readings(board, circuit):
        again = parse_place(reading_text(reading, circuit), circuit)
        for one in ("red", "black"):
            assert circuit.node(getattr(again, one)) == circuit.node(getattr(reading, one))
        assert replace(again, red=reading.red, black=reading.black) == reading


def test_every_reading_under_power_is_one_of_live_parts() -> None:
    for board in map(parse_board, BOARDS.values()):
        circuit = build_circuit(board)
        readings = useful_readings(board, circuit)
        assert any(r.at_pin for r in readings)
        for reading in readings:
            assert reading.power is not Power.BENCH
            level = access_level(circuit, reading)
            assert (level is AccessLevel.MAINS) is (reading.power in (Power.LIVE, Power.OFF))


def test_only_cautions_that_assume_an_isolated_side_are_left_out() -> None:
    board = parse_board(DIRECT)
    due = cautions_on(board, (*FITTED, *ISOLATED, *BENCH))
    left_out = [each for each in (*FITTED, *ISOLATED, *BENCH) if each not in due]
    assert {*ISOLATED, *BENCH} < set(left_out)
    for caution in left_out:
        assert re.search("isolated|low-voltage|optocoupler|[Ss]upply", caution.text)


@each_board
def test_at_the_pin_the_cautions_are_those_of_live_mains(folder: Path) -> None:
    told = " ".join(_said(folder, "retest live.toml -r@low time pin logic0 10 ms").split())
    for text in SHORT_CAUTIONS[AccessLevel.MAINS]:
        assert text in told or "UNPLUG" in told.upper()


def test_picture_says_that_all_of_it_is_live() -> None:
    for board in map(parse_board, BOARDS.values()):
        drawn = sketch_svg(schematic(board, build_circuit(board)))
        assert "NOT ISOLATED: all of it is LIVE" in drawn
        require_live(drawn)
