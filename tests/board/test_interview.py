"""A board described by answering questions: each answer is judged, the file can be read."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from zcd.board.files import load_board, parse_board
from zcd.board.interview import ARRANGEMENTS, Interview, board_text
from zcd.board.model import Topology
from zcd.cli import main
from zcd.errors import InputError

START = {"name": "Kelbrook D7 seed drier (invented)", "mains": "230 V 50 Hz", "feed": "1"}
USUAL = {
    "resistors": "104, 104", "return_resistors": "", "rectifier": "M7", "clamp": "1N4148",
    "supply": "", "pull_up": "103", "size": "",
}  # fmt: skip


def interviewed(topology: Topology, **other: str) -> Interview:
    number = next(k for k, t in ARRANGEMENTS.items() if t is topology)
    coupler = "H11AA1" if topology is Topology.TWO_LED else "PC817B"
    answers = {**START, **USUAL, "arrangement": number, "optocoupler": coupler, **other}
    interview = Interview()
    while (question := interview.question) is not None:
        interview.answer(answers[question.key])
    return interview


@pytest.mark.parametrize("topology", Topology)
def test_every_circuit_can_be_described(topology: Topology) -> None:
    interview = interviewed(topology)
    board = parse_board(board_text(interview))
    assert board.topology is topology
    assert [r.resistance_ohm for r in board.chains[0]] == [100e3, 100e3]
    assert board.output.resistor.resistance_ohm == 10e3
    assert board.output.supply_v == 5.0
    assert (board.rectifier is None) is ("rectifier" not in interview.answers)
    assert (board.clamp is None) is ("clamp" not in interview.answers)


def test_both_legs_of_a_bridge_and_a_relay() -> None:
    answers = {"feed": "2", "coil_supply": "24 V", "return_resistors": "47k 47k"}
    board = interviewed(Topology.BRIDGE, **answers).board()
    assert board.relay is not None
    assert [r.resistance_ohm for r in board.return_chain] == [47e3, 47e3]


def test_the_neutral_leg_is_typed_from_the_neutral_end() -> None:
    """The picture runs from line to neutral, so the leg is the other way round in it."""
    interview = interviewed(Topology.BRIDGE, resistors="51k", return_resistors="47k 33k")
    assert [r.resistance_ohm for r in interview.board().return_chain] == [47e3, 33e3]
    bridge = "bridge M7 (LED of PC817B on its + and -)"
    assert f"R1 51k - {bridge} - R3 33k - R2 47k - mains" in interview.path()


def test_the_beeper_checks_the_circuit_that_was_chosen() -> None:
    for number, topology in ARRANGEMENTS.items():
        interview = Interview({**START, "resistors": "47k"})
        question = interview.question
        assert question is not None
        interview.answer(number)
        told = interview.beeper(question)
        assert ("~ pins" in told) is (topology is Topology.BRIDGE)
        assert ("ring" in told) is (topology not in (Topology.BRIDGE, Topology.TWO_LED))


def test_what_was_understood_is_said_and_written() -> None:
    interview = Interview()
    for text in ("", "230 V 50 Hz", "1"):
        interview.answer(text)
    assert interview.answer("104 ?") == "104 = 100 kΩ (chip code); ? = 100 kΩ, like its neighbour"
    assert interview.path() == "mains - R1 104 - R2 ?"
    assert "# 104 = 100 kΩ (chip code)" in board_text(interviewed(Topology.CLAMPED))


@pytest.mark.parametrize(
    ("typed", "ohms"),
    [
        ("2 x 47k 1/2W", [47e3, 47e3]), ("yellow violet orange gold", [47e3]),
        ("473 ? 473", [47e3] * 3), ("47k 1206, 56k 1206", [47e3, 56e3]), ("3x47k", [47e3] * 3),
    ],
)  # fmt: skip
def test_resistors_are_typed_as_in_a_board_file(typed: str, ohms: list[float]) -> None:
    board = interviewed(Topology.HALF_WAVE, resistors=typed).board()
    assert [part.resistance_ohm for part in board.chains[0]] == ohms


@pytest.mark.parametrize("line", ["817", "5 V 50 Hz", "400 V 50 Hz"])
def test_no_rating_plate_says_so(line: str) -> None:
    interview = Interview({"name": "Invented glue pot"})
    with pytest.raises(InputError, match="a mains voltage from 80 V to 300 V"):
        interview.answer(line)
    assert "mains" not in interview.answers


def test_a_chain_that_passes_too_much_is_pointed_out() -> None:
    interview = Interview(dict(START))
    interview.answer("1")
    assert "read its resistors and the mains voltage again" in " ".join(interview.doubts())
    interview.back()
    interview.answer("3x330k")
    assert interview.doubts() == ()


def test_resistors_are_typed_with_their_references() -> None:
    interview = Interview(dict(START))
    assert interview.answer("R12 333, R13 333") == "R12 33 kΩ (chip code); R13 33 kΩ (chip code)"
    assert interview.path() == "mains - R12 333 - R13 333"
    board = interviewed(Topology.HALF_WAVE, resistors="R12 333 R13=68k", pull_up="R9 153").board()
    assert [(r.ref, r.resistance_ohm) for r in board.chains[0]] == [("R12", 33e3), ("R13", 68e3)]
    assert board.output.resistor.ref == "R9"


@pytest.mark.parametrize(
    ("before", "text", "told"),
    [
        ((), "", ""),
        (("", "230 V"), "3", 'found "3"; type 1 or 2'),
        (("",), "", "found nothing; type what is printed"),
        (("",), "loud", "mains"),
        (("", "230 V", "1"), "100k oops", "resistors"),
        (("", "230 V", "1", "47k", "1", "", "M7"), "H11AA1", "one LED for topology half-wave"),
    ],
)
def test_a_wrong_answer_is_told_and_asked_again(
    before: tuple[str, ...], text: str, told: str
) -> None:
    interview = Interview()
    for each in before:
        interview.answer(each)
    asked = interview.question
    if not told:
        interview.answer(text)
        assert interview.question is not asked
        return
    with pytest.raises(InputError, match=told):
        interview.answer(text)
    assert interview.question is asked


def test_the_size_is_asked_unless_it_was_typed() -> None:
    """The limits of a resistor go with its size."""
    whole = interviewed(Topology.BRIDGE, size="0805", return_resistors="47k")
    assert {part.style for part in whole.board().chains[0]} == {"0805"}
    unknown = interviewed(Topology.HALF_WAVE)
    assert "style" not in board_text(unknown)
    assert "size" not in interviewed(Topology.HALF_WAVE, resistors="2 x 47k 1/2W").answers
    leaded = interviewed(Topology.HALF_WAVE, resistors="47k 47k", size="1/2 W").board()
    assert {part.style for part in leaded.chains[0]} == {"1/2 W"}
    asked = Interview({**START, "resistors": "104", "arrangement": "1"})
    assert asked.question is not None
    assert asked.question.key == "size"
    with pytest.raises(InputError, match="type a size such as"):
        asked.answer("big")


def test_a_pull_up_that_passes_too_much_is_pointed_out() -> None:
    assert "the pull-up of 10 Ω would pass 500 mA" in " ".join(
        interviewed(Topology.HALF_WAVE, pull_up="10").doubts()
    )
    assert interviewed(Topology.HALF_WAVE).doubts() == ()


def test_an_answer_is_taken_back() -> None:
    interview = Interview()
    with pytest.raises(InputError, match="no answer"):
        interview.back()
    interview.answer("")
    interview.answer("230 V")
    interview.back()
    assert list(interview.answers) == ["name"]


def test_at_the_prompt(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    typed = "\n230 V 50 Hz\n1\n104 104 x\n104 104\n1\n1206\n1N4004\nundo\nM7\nPC817B\n\n10k\n"
    monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
    assert main(["new", "dryer.toml", "--ask"]) == 0
    out, err = capsys.readouterr()
    assert "CAUTION: Unplug" in out
    assert " ".join(err.split()).startswith('Not taken: found "x"; allowed: a resist')
    assert max(map(len, out.splitlines())) <= 80
    board = load_board("dryer.toml")
    assert {part.style for part in board.chains[0]} == {"1206"}
    assert board.rectifier is not None
    assert board.rectifier.part == "M7"


TRACED = """feed - R7 823 - R8 82k - x
x - D1 1N4007 > led+
x - D1 1N4007 > - led+
y - R9 1k - z
undo
led+ - ZD1 5V1 < - led-

led- - neutral

"""


@pytest.mark.parametrize("first", ["traced", "104\n6"])
def test_a_circuit_as_it_was_traced(
    first: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A line that cannot be read is told at once, a loose end where the circuit should be whole."""
    monkeypatch.chdir(tmp_path)
    typed = f"\n230 V 50 Hz\n1\n{first}\n{TRACED}0805\nPC817B\n\n10k\n"
    monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
    assert main(["new", "dryer.toml", "--ask"]) == 0
    out, err = capsys.readouterr()
    assert "Read as: x - D1 1N4007, ring towards led+ - led+." in out
    assert "  led+: D1 cathode, ZD1 cathode, OC1.led anode\n" in out
    assert max(map(len, out.splitlines())) <= 80
    told = " ".join(err.split())
    assert 'found a line that ends at D1: "x - D1 1N4007 > led+"' in told
    assert "Not taken: found no way from feed through the LED to neutral" in told
    board = load_board("dryer.toml")
    assert {(r.ref, r.resistance_ohm, r.style) for r in board.chains[0]} == {
        ("R7", 82e3, "0805"), ("R8", 82e3, "0805"),
    }  # fmt: skip
    assert [part.ref for part in board.diodes] == ["D1", "ZD1"]
    assert "# R7 823 = 82 kΩ (chip code)" in Path("dryer.toml").read_text(encoding="utf-8")


def test_who_leaves_before_an_answer_leaves_no_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "stdin", io.StringIO("end\n"))
    assert main(["new", "dryer.toml", "--ask"]) == 0
    assert "no file was written" in capsys.readouterr().out
    assert list(tmp_path.iterdir()) == []


def test_who_leaves_half_way_goes_on_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for typed in ("\n230 V 50 Hz\n1\n", "104 104\n2\nundo\nend\n", "1\n1206\nM7\n817B\n\n103\n"):
        assert not Path("dryer.toml").exists()
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        assert main(["new", "dryer.toml", "--ask"]) == 0
    assert "Going on with 4 answers of dryer.toml.answers:" in capsys.readouterr().out
    board = load_board("dryer.toml")
    assert [r.resistance_ohm for r in board.chains[0]] == [100e3, 100e3]
    assert board.topology is Topology.HALF_WAVE
    assert [path.name for path in tmp_path.iterdir()] == ["dryer.toml"]


def test_a_file_that_is_there_is_refused_before_any_question(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "dryer.toml").write_text("mine", encoding="utf-8")
    assert main(["new", "dryer.toml", "--ask"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "zcd: dryer.toml exists already: choose another name, or edit it\n"
    assert (tmp_path / "dryer.toml").read_text(encoding="utf-8") == "mine"


def test_like_another_and_found_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "first.toml").write_text(board_text(interviewed(Topology.BRIDGE)), "utf-8")
    assert main(["new", "--like", "first.toml", "second.toml"]) == 0
    assert load_board("second.toml") == load_board("first.toml")
    monkeypatch.setattr(sys, "stdin", io.StringIO((tmp_path / "first.toml").read_text("utf-8")))
    assert main(["new", "--like", "-", "-"]) == 0
    out = capsys.readouterr().out
    assert out == (tmp_path / "first.toml").read_text("utf-8")
    monkeypatch.setattr(sys, "stdin", io.StringIO("mains = 3"))
    assert main(["new", "--like", "-", "-"]) == 2
    assert "standard input: " in capsys.readouterr().err
    (tmp_path / "job.toml").write_text('board = "first.toml"\n', encoding="utf-8")
    (tmp_path / "broken.toml").write_text('optocoupler = "817"\n', encoding="utf-8")
    capsys.readouterr()
    assert main(["boards"]) == 0
    out = capsys.readouterr().out
    assert "2 boards." in out
    assert "job.toml" not in out
    assert "broken.toml" in out
    assert " ".join(out.split()).count("cannot") == 1
    (tmp_path / "a-long-name-of-a-repaired-board.toml").write_text(
        board_text(interviewed(Topology.BRIDGE)), "utf-8"
    )
    (tmp_path / "quote.toml").write_text('mains = "230 V\n', encoding="utf-8")
    assert main(["boards"]) == 0
    assert "a-long-name-of-a-repaired-board.toml" in capsys.readouterr().out
    assert main(["jobs"]) == 0
    told = capsys.readouterr().out
    assert " job.toml " in told
    assert "quote.toml cannot be read: line 1, a quote that is not closed." in told
    (tmp_path / "a-long-name-of-a-repaired-board.toml").unlink()
    assert main(["boards", "--find", "kelbrook BRIDGE second"]) == 0
    assert "1 board." in capsys.readouterr().out
    assert main(["boards", "nowhere"]) == 2
    assert "found no folder; allowed: a folder of board files" in capsys.readouterr().err


def test_one_way_to_begin(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = str(tmp_path / "b.toml")
    assert main(["new", place, "--ask", "--topology", "bridge"]) == 2
    assert "give one of them" in capsys.readouterr().err
