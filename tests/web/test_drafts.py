"""What was typed is kept whole: by which window, in which order, and what becomes of it."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any
from unittest.mock import patch
from urllib.parse import urlencode

import pytest
from starlette.requests import Request
from starlette.responses import Response

from zcd.errors import InputError
from zcd.web import drafts
from zcd.web.drafts import LONGEST_DRAFT, Drafts
from zcd.web.job_store import ChangedMeanwhileError
from zcd.web.new_job import begin_job
from zcd.web.state import FIT, PageState
from zcd.web.ways import Ways

BOARD = """\
name = "Invented pasta dryer"
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 C"
chain = {resistors = ["82k", "82k"]}
output = {pull_up = "15k", supply = "5 V"}
"""


def typed(kept: Drafts, window: str, **texts: str) -> dict[str, str]:
    kept.change("a", window, lambda before: {k: t for k, t in {**before, **texts}.items() if t})
    return kept.read("a").texts


def test_a_window_writes_over_what_it_shows_and_over_itself(tmp_path: Path) -> None:
    kept = Drafts(tmp_path)
    one, other = kept.window("a"), kept.window("a")
    assert typed(kept, one, name="first") == {"name": "first"}
    assert typed(kept, one, at="90") == {"name": "first", "at": "90"}
    before = kept.path("a").read_bytes()
    with pytest.raises(ChangedMeanwhileError, match="another window"):
        typed(kept, other, name="other")
    with pytest.raises(ChangedMeanwhileError):
        typed(kept, "", name="nobody")
    assert kept.path("a").read_bytes() == before
    later = kept.window("a")
    assert typed(kept, later, name="third")["name"] == "third"
    with pytest.raises(ChangedMeanwhileError):
        typed(kept, one, name="late")
    # a server started anew knows the windows from the file
    assert typed(Drafts(tmp_path), later, name="fourth")["name"] == "fourth"


def test_a_key_that_comes_late_changes_nothing(tmp_path: Path) -> None:
    kept = Drafts(tmp_path)
    token = kept.window("a").rpartition(".")[0]
    typed(kept, f"{token}.7", name="whole")
    assert typed(kept, f"{token}.6", name="who") == {"name": "whole"}
    assert typed(kept, f"{token}.8", name="wholly") == {"name": "wholly"}


def test_what_says_nothing_is_no_file(tmp_path: Path) -> None:
    kept = Drafts(tmp_path)
    window = kept.window("a")
    typed(kept, window, name="x")
    shown = kept.window("a")
    assert typed(kept, shown, name="") == {}
    assert list(tmp_path.iterdir()) == []
    assert typed(kept, window, name="y") == {"name": "y"}  # there is nothing to write over


@pytest.mark.parametrize(
    "data", [b"", b"[]", b"{}", b"\xff", b'{"window": "", "turn": "x", "texts": {}}', b"[" * 10_000]
)
def test_a_file_that_is_no_draft_is_told_and_left_alone(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "a.draft").write_bytes(data)
    state = PageState(folder=tmp_path)
    unit = state.unit("a")
    assert unit.board is None
    assert "a.draft: found no draft" in unit.errors[""]
    assert "a.draft: found no draft" in state.edit("a", {"name": "x"}).unsaved
    assert (tmp_path / "a.draft").read_bytes() == data


def test_what_cannot_be_written_is_drawn_and_told(tmp_path: Path) -> None:
    """A full disk; more than a draft may hold."""
    state = PageState(folder=tmp_path)
    full = InputError("found a place that cannot be written (No space left on device)")
    with patch.object(drafts, "replace_whole", side_effect=full):
        unit = state.edit("a", {"output.pull_up": "33k"})
    assert "No space left" in unit.unsaved
    assert unit.board is not None
    assert unit.board.output.resistor.resistance_ohm == 33e3
    long = {f"take:{n}": "x" * 200 for n in range(LONGEST_DRAFT // 200)}
    assert state.edit("a", long).unsaved == "that is too long"
    assert list(tmp_path.iterdir()) == []


def test_a_job_begun_takes_its_draft_along(tmp_path: Path) -> None:
    """And other parts put on a board stand in for all that was typed of it."""
    state = PageState(folder=tmp_path)
    unit = state.edit("bench", {"output.pull_up": "33k"})
    assert unit.board is not None
    begin_job(state, state.jobs, unit, "pasta-job")
    assert {path.name for path in tmp_path.iterdir()} == {"pasta-job.toml", "pasta-board.toml"}
    assert state.unit("pasta-job").board == unit.board
    fit = urlencode({"output.pull_up": "47k"})
    state.edit("pasta-job", {"output.supply": "3.3 V", "by": "An inventor"})
    window = state.drafts.window("pasta-job")
    unit = state.edit("pasta-job", {FIT: fit, "window": window})
    assert unit.told == {"output.pull_up": "47k"}
    assert unit.beside == {"by": "An inventor"}


def earlier(state: PageState, path: str, **said: str) -> str:
    """Where an address of an earlier version leads."""
    scope: dict[str, Any] = {"type": "http", "method": "GET", "path": path, "headers": []}
    answer: Response = Ways(state).earlier(
        Request({**scope, "query_string": urlencode(said).encode()})
    )
    assert answer.status_code == 303
    return answer.headers["location"]


def test_earlier_addresses_open_once_more(tmp_path: Path) -> None:
    """Each as a draft; none in place of another, and the same again as the same."""
    file = tmp_path / "dryer.toml"
    file.write_text(BOARD, encoding="utf-8")
    (tmp_path / "dryer-job.toml").write_text('board = "dryer.toml"\n', encoding="utf-8")
    state = PageState(tomllib.loads(BOARD), file, tmp_path)
    assert earlier(state, "/") == "/job/dryer/board"
    assert list(tmp_path.glob("*.draft")) == []
    assert earlier(state, "/", **{"output.supply": "3.3 V"}) == "/job/dryer/board"
    assert state.drafts.read("dryer").texts == {"output.supply": "3.3 V"}
    other = {"output.supply": "12 V", "at": "70"}
    place = earlier(state, "/readings", **other)
    assert place == earlier(state, "/readings", **other) == "/job/bench/readings"
    assert state.unit("bench").beside == {"at": "70"}
    board = state.unit("bench").board
    assert board is not None
    assert (board.name, board.output.supply_v) == ("Invented pasta dryer", 12.0)
    assert state.drafts.read("dryer").texts == {"output.supply": "3.3 V"}
    said = {"job": "dryer-job", "part": "R1", "output.pull_up": "18k"}
    assert earlier(state, "/repair", **said) == "/job/dryer-job/repair"
    told = json.loads((tmp_path / "dryer-job.draft").read_bytes())["texts"]
    assert told == {"part": "R1", "output.pull_up": "18k"}
    earlier(state, "/repair", job="dryer-job", part="R2")
    assert state.drafts.read("dryer-job").texts == told


def test_a_folder_that_is_gone_is_one_line_everywhere(tmp_path: Path) -> None:
    folder = tmp_path / "bench"
    folder.mkdir()
    state = PageState(folder=folder)
    assert state.gone() == ""
    folder.rmdir()
    assert '"bench" is gone' in state.gone()
    assert state.edit("other", {"name": "Invented"}).unsaved == state.gone()
    assert state.unit("some-job").errors == {"": state.gone()}
    assert state.unit("some-job").board is None
