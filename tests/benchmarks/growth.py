"""How time and memory grow with the number of boards, each number in a process of its own.

``python -m tests.benchmarks.growth KIND SIZE`` is such a process. Boards are drawn and judged by
every rule in pieces, of which only the count of good boards is kept.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np

from tests.benchmarks.rows import KINDS
from tests.benchmarks.timing import Row, seconds
from tests.diagnosis.boards import board
from zcd.board.model import Board
from zcd.margin.population import even_points
from zcd.margin.rule_margins import evaluate
from zcd.margin.tolerances import draw, tolerances_of

SIZES = (1, 10, 100, 1_000, 10_000, 100_000)
QUICK_SIZES = (1,)
MILLION = 1_000_000
DRAWN_ROWS = 8192
"""Drawn at a time; the engine solves them in smaller pieces."""


def growth_rows(*, quick: bool = False, million: bool = False) -> list[Row]:
    """A board of a batch of each size beside one judged alone, by kind of board."""
    sizes = (*(QUICK_SIZES if quick else SIZES), *((MILLION,) if million else ()))
    rows = []
    for kind, name in KINDS.items():
        result = {size: measured_alone(name, size) for size in sizes}
        alone_s = result[1][0]
        rows += [
            Row(
                job=f"a board judged in a batch of {size}, {kind}",
                time_s=time_s / size,
                beside="one board judged alone",
                beside_s=alone_s,
                peak_bytes=peak,
            )
            for size, (time_s, peak) in result.items()
        ]
    return rows


def measured_alone(name: str, size: int) -> tuple[float, int]:
    """Seconds of a batch, and the peak memory of the process that did it alone."""
    line = [sys.executable, "-m", "tests.benchmarks.growth", name, str(size)]
    done = subprocess.run(line, capture_output=True, check=True, text=True)
    result = json.loads(done.stdout)
    return float(result["time_s"]), int(result["peak_bytes"])


def good_boards(found: Board, size: int) -> int:
    """How many of a population keep all rules."""
    tolerances, rng = tolerances_of(found), np.random.default_rng(1)
    good = 0
    for start in range(0, size, DRAWN_ROWS):
        shares = even_points(min(DRAWN_ROWS, size - start), len(tolerances), rng)
        good += int(np.count_nonzero(evaluate(draw(found, tolerances, shares), found).passes))
    return good


def peak_bytes() -> int:
    """Most memory that this process held; unlike `getrusage`'s, not that of who started it."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    line = next(line for line in status.splitlines() if line.startswith("VmHWM:"))
    return 1024 * int(line.split()[1])


def main() -> None:
    """Measure one batch in this process."""
    result, size = board(sys.argv[1]), int(sys.argv[2])
    good_boards(result, 1)  # first use of anything is not counted
    time_s = seconds(lambda: good_boards(result, size))
    print(json.dumps({"time_s": time_s, "peak_bytes": peak_bytes()}))


if __name__ == "__main__":
    main()
