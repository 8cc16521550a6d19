"""Short jobs of this tree beside those of another: ``python -m tests.benchmarks.before FOLDER``.

Both run at the same time, twice, so that both see the same machine. Each runs the jobs as its own
tree has them; those that only one of the two has are left out.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from tests.benchmarks.timing import Row, markdown

TREE = Path(__file__).resolve().parents[2]
ROUNDS = 2
LEAST_S = 2e-3
"""A job that takes less says nothing when it is done once."""


def rows_beside(other: Path) -> list[Row]:
    """Each short job of both trees, the least time of each; none if the other has no such jobs."""
    now: dict[str, float] = {}
    before: dict[str, float] = {}
    for _ in range(ROUNDS):
        started = [(times, _started(tree)) for times, tree in ((now, TREE), (before, other))]
        for times, process in started:
            for job, time_s in _told(process).items():
                times[job] = min(time_s, times.get(job, time_s))
        if not before:
            break
    return [
        Row(job=job, time_s=now[job], beside="the tree before", beside_s=before[job])
        for job in now
        if job in before and now[job] > LEAST_S
    ]


def _started(tree: Path) -> subprocess.Popen[str]:
    """The short jobs of a tree, on their way."""
    line = [sys.executable, "-m", "tests.benchmarks.run", "--quick", "--jobs", "--json"]
    return subprocess.Popen(
        line,
        cwd=tree,
        env=os.environ | {"PYTHONPATH": str(tree)},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )


def _told(process: subprocess.Popen[str]) -> dict[str, float]:
    """Seconds by job, once it has ended; none if it failed."""
    said, _ = process.communicate()
    return {} if process.returncode else {row["job"]: row["time_s"] for row in json.loads(said)}


def main() -> int:
    """Print the table."""
    rows = rows_beside(Path(sys.argv[1]).resolve())
    print(markdown(rows) if rows else "The tree before has no such jobs.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
