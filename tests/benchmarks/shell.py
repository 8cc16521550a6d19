"""The command from the shell, beside an interpreter that only loads numpy."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

from tests.benchmarks.timing import Row, children_s, seconds
from tests.diagnosis.boards import TEXTS


def shell_rows(*, quick: bool = False) -> list[Row]:
    """The command's own start, and the check of a board file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "board.toml"
        path.write_text(TEXTS["half-wave"], encoding="utf-8")
        lines = {
            "`zcd --help` from the shell": ["--help"],
            "`zcd check` from the shell": ["check", str(path)],
        }
        bare_s = _bare_s(quick=quick)
        return [
            Row(
                job=job,
                time_s=_zcd_s(words, quick=quick),
                beside="python that loads numpy",
                beside_s=bare_s,
            )
            for job, words in lines.items()
        ]


def _command() -> list[str]:
    """The installed command, or what it does."""
    command = shutil.which("zcd", path=str(Path(sys.executable).parent)) or shutil.which("zcd")
    start = "from zcd.cli import main; raise SystemExit(main())"
    return [command] if command else [sys.executable, "-c", start]


def _bare_s(*, quick: bool) -> float:
    """Processor time of an interpreter that only loads numpy."""
    line = [sys.executable, "-c", "import numpy"]
    return _seconds(lambda: subprocess.run(line, capture_output=True, check=True), quick=quick)


def _zcd_s(words: Sequence[str], *, quick: bool) -> float:
    """Processor time of the command, whatever it prints."""
    line = [*_command(), *words]
    return _seconds(lambda: subprocess.run(line, capture_output=True, check=True), quick=quick)


def _seconds(work: Callable[[], object], *, quick: bool) -> float:
    return seconds(work, quick=quick, clock=children_s)
