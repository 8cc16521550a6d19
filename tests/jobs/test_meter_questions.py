"""The meter is asked once, with what is usual shown, and kept."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from tests.diagnosis.boards import TEXTS, board
from zcd.cli import main
from zcd.diagnosis.fault_dictionary import make_fault_dictionary
from zcd.diagnosis.job import load_job
from zcd.diagnosis.meters import AcKind, usual_meter
from zcd.jobs.meter_questions import QUESTIONS, START, ask_meter, meter_from

BOARD = TEXTS["half-wave"]


def answered(*lines: str) -> tuple[dict[str, str], list[str], list[str]]:
    asked: list[str] = []
    told: list[str] = []
    left = iter(lines)

    def ask(question: str) -> str:
        asked.append(question)
        return next(left)

    return ask_meter(ask, told.append), asked, told


def test_enter_takes_what_is_usual() -> None:
    texts, asked, told = answered("", "", "", "", "")
    assert told == []
    assert all(
        f"[{q.usual or 'not known'}]" in line for q, line in zip(QUESTIONS, asked, strict=True)
    )
    meter = meter_from(texts)
    assert (meter.diode_stop_v, meter.ohm_range_ohm, meter.ac_kind) == (2.0, 20e6, AcKind.TRUE_RMS)
    assert not meter.has_scope
    assert meter.diode_stated


def test_what_cannot_be_used_is_asked_again() -> None:
    texts, asked, told = answered("much", "1.5 V", "0.6 V", "2M", "average", "yes")
    assert len(asked) == len(QUESTIONS) + 1
    assert len(told) == 1
    assert 'found "much"' in told[0]
    meter = meter_from(texts)
    assert (meter.diode_stop_v, meter.ohms_open_v, meter.ohm_range_ohm) == (1.5, 0.6, 2e6)
    assert meter.ac_kind is AcKind.AVERAGE
    assert meter.has_scope


def test_a_question_mark_explains_and_a_person_may_leave() -> None:
    _, asked, told = answered("?", "", "", "", "", "")
    assert told == [f"{QUESTIONS[0].help} Press Enter if you do not know."]
    assert asked[0] == asked[1]
    with pytest.raises(EOFError):
        answered("", "quit")


def test_an_answer_is_taken_back_and_a_bare_figure_is_asked_about() -> None:
    """No diode test that lights an LED ends at 1 V: the figure answers another question."""
    texts, asked, told = answered("1", "2 V", "undo", "undo", "1.6 V", "", "", "", "")
    assert [line for line in told if "allowed" in line] == told != []
    assert texts["diode_stop"] == "1.6 V"
    assert asked[0] == asked[1] == asked[3] == asked[4]


def run(
    words: list[str],
    typed: str,
    terminal: bool,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> str:
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    monkeypatch.setattr("zcd.cli.output.on_terminal", lambda: terminal)
    assert main(words) == 0
    return capsys.readouterr().out


def test_a_terminal_is_asked_once_and_a_pipe_never(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("board.toml").write_text(BOARD, encoding="utf-8")
    words = ["diagnose", "board.toml", "--ask", "--job", "job.toml"]
    out = run(words, "1.5 V\n\n\n\n\nohm R1 110k\nend\n", True, monkeypatch, capsys)
    assert out.startswith(START)
    meter = load_job("job.toml").meter
    assert meter.diode_stop_v == 1.5
    assert meter != usual_meter()
    again = run(["diagnose", "job.toml", "--ask"], "end\n", True, monkeypatch, capsys)
    assert START not in again
    piped = run(
        ["diagnose", "board.toml", "--ask", "--job", "two.toml"], "ohm R1 110k\nend\n", False,
        monkeypatch, capsys,
    )  # fmt: skip
    assert START not in piped
    assert load_job("two.toml").meter == usual_meter()


def test_without_an_oscilloscope_no_reading_takes_one() -> None:
    without = meter_from({"scope": "no"})
    some = make_fault_dictionary(board("switched"), without).readings
    every = make_fault_dictionary(board("switched"), usual_meter()).readings
    assert set(some) == {reading for reading in every if not reading.function.row.scope}
    assert len(some) < len(every)
