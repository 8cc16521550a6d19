"""Where the package that sets PDF files is missing: one line says so, the rest works."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from zcd.cli import main

TOLD = "a PDF needs the package typst, which is not installed; install it with: pip install"


@pytest.fixture(autouse=True)
def _no_typst(monkeypatch: pytest.MonkeyPatch) -> None:
    """As Python does it for a module that cannot be imported (docs: sys.modules)."""
    monkeypatch.setitem(sys.modules, "typst", None)


@pytest.mark.parametrize(
    "words",
    [
        ["report", "job.toml", "--to", "r.pdf"],
        ["report", "job.toml", "--to", "r.html", "--to", "R.PDF"],
        ["check", "board.toml", "--report", "r.pdf"],
    ],
)
def test_a_pdf_asked_for_is_refused_in_one_line(
    words: list[str], job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(job.parent.iterdir())
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"zcd: {words[-1]}: {TOLD}")
    assert len(err.splitlines()) == 1
    assert sorted(job.parent.iterdir()) == before


@pytest.mark.usefixtures("undrawn")
def test_a_report_is_then_html_alone_and_says_why(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", "job.toml", "--json"]) == 1  # written; nothing is repaired yet
    out, err = capsys.readouterr()
    assert json.loads(out)["files"] == ["job-report.html"]
    assert err.startswith(f"No PDF is written: {TOLD}")
    assert (job.parent / "job-report.html").is_file()
    assert not (job.parent / "job-report.pdf").exists()
