"""The command from the shell, beside an interpreter that only loads numpy."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.benchmarks.timing import Row, children_s, seconds
from tests.diagnosis.boards import TEXTS

BARE = (sys.executable, "-c", "import numpy")


def shell_rows(*, quick: bool = False) -> list[Row]:
    """The command's own start, and the check of a board file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "board.toml"
        path.write_text(TEXTS["half-wave"], encoding="utf-8")
        lines = {
            "`zcd --help` from the shell": [*_command(), "--help"],
            "`zcd check` from the shell": [*_command(), "check", str(path)],
        }
        bare_s = _seconds(BARE, quick=quick)
        return [
            Row(
                job=job,
                time_s=_seconds(line, quick=quick),
                beside="python that loads numpy",
                beside_s=bare_s,
            )
            for job, line in lines.items()
        ]


def _command() -> list[str]:
    """The installed command, or what it does."""
    command = shutil.which("zcd", path=str(Path(sys.executable).parent)) or shutil.which("zcd")
    start = "from zcd.cli import main; raise SystemExit(main())"
    return [command] if command else [sys.executable, "-c", start]


def _seconds(line: Sequence[str], *, quick: bool) -> float:
    """Processor time of a command, whatever it prints."""
    return seconds(
        lambda: subprocess.run(line, capture_output=True, check=True),
        quick=quick,
        clock=children_s,
    )
