"""A board, a job and an empty working directory for the tests of the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.jobs.demo_job import HOLDS

JOB = """\
board = "board.toml"

[[readings]]
function = "dc"
value = "4.98 V"

[[readings]]
function = "ohm"
over = "R2"
value = "OL"
"""


@pytest.fixture
def work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty working directory."""
    place = tmp_path / "work"
    place.mkdir()
    monkeypatch.chdir(place)
    return place


@pytest.fixture
def board(work: Path) -> Path:
    """A board file that passes, in the working directory."""
    path = work / "board.toml"
    path.write_text(HOLDS, encoding="utf-8")
    return path


@pytest.fixture
def job(board: Path) -> Path:
    """A job about it."""
    path = board.with_name("job.toml")
    path.write_text(JOB, encoding="utf-8")
    return path
