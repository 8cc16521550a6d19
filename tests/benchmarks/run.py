"""Times of the main jobs, and their ratios in one run: ``python -m tests.benchmarks.run``.

A ratio of two times of the same run says more than either: machines differ, and so does one
machine from hour to hour. Nothing here is asserted.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from time import perf_counter, process_time

import numpy as np

from tests.benchmarks.diagnosis import diagnosis_jobs
from tests.benchmarks.drawer import drawer_jobs
from tests.benchmarks.maps import map_jobs
from tests.benchmarks.page import page_jobs
from tests.benchmarks.reference import integrate_led_current
from tests.benchmarks.rows import row_times, show_rows
from tests.benchmarks.spread import spread_jobs
from tests.benchmarks.stories import story_jobs
from tests.diagnosis.boards import TEXTS, board
from zcd.circuit.build import Conditions, build_circuit
from zcd.diagnosis.atlas import make_atlas
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.rank import diagnose
from zcd.diagnosis.readings import Function, Measured, Reading
from zcd.margin.check import check
from zcd.margin.headroom import headrooms, weak_conditions
from zcd.sync.lock import lock_of

UNIT = "solve_ivp: LED current of one board"
BATCHES = (1, 10, 100, 1000)
QUICK_BATCHES = (1, 10)


def seconds(
    job: Callable[[], object], repeats: int, clock: Callable[[], float] = perf_counter
) -> float:
    """Least time of several runs, after one that is not counted; of a single run, its time."""
    if repeats > 1:
        job()
    times = []
    for _ in range(repeats):
        start = clock()
        job()
        times.append(clock() - start)
    return min(times)


def run(*, quick: bool = False) -> dict[str, float]:
    """Seconds of each job, by name; quick: once each, small batches."""
    repeats = 1 if quick else 5
    found, meter = board("switched"), usual_meter()
    atlas = make_atlas(found, meter)
    taken = [Measured(reading=Reading(function=Function.DC, a="pin", b="logic0"), value=4.98)]
    jobs: dict[str, Callable[[], object]] = {
        UNIT: integrate_led_current,
        "one board solved and judged": lambda: lock_of(build_circuit(found), found),
        "check of one board": lambda: check(found),
        "headrooms, three cases": lambda: headrooms(
            found, [Conditions(), weak_conditions(found), Conditions(temperature_degc=60.0)]
        ),
        **diagnosis_jobs(quick=quick),
        **map_jobs(quick=quick),
        **drawer_jobs(quick=quick),
        **spread_jobs(quick=quick),
        **story_jobs(quick=quick),
        **page_jobs(),
        "ranking with next reading, fresh atlas": lambda: diagnose(make_atlas(found, meter), taken),
        "ranking again, one more reading": lambda: diagnose(atlas, taken),
    }
    times = {name: seconds(job, repeats) for name, job in jobs.items()}
    for size in QUICK_BATCHES if quick else BATCHES:
        mains = Conditions(mains_rms_v=np.linspace(200.0, 260.0, size))
        rows = build_circuit(found, mains)
        times[f"a row of a batch of {size}"] = (
            seconds(lambda rows=rows: lock_of(rows, found), repeats) / size  # type: ignore[misc]
        )
    times |= row_times(lambda job: seconds(job, 1 if quick else 3, process_time), quick=quick)
    shell = seconds_in_shell(1 if quick else 3)
    if shell is not None:
        times["zcd check from the shell"] = shell
    return times


def seconds_in_shell(repeats: int) -> float | None:
    """Time of the command on a board file; None where the command is not there."""
    command = shutil.which("zcd", path=str(Path(sys.executable).parent)) or shutil.which("zcd")
    start = [command] if command else [sys.executable, "-c", "from zcd.cli import main; main()"]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "board.toml"
        path.write_text(TEXTS["half-wave"], encoding="utf-8")
        line = [*start, "check", str(path)]

        def once() -> bool:
            done = subprocess.run(line, capture_output=True, check=False)
            return done.returncode == 0 and bool(done.stdout)

        if not once():
            return None
        return seconds(once, repeats)


def ratios(times: dict[str, float]) -> dict[str, float]:
    """Each time over that of the integrator in the same run."""
    return {name: time / times[UNIT] for name, time in times.items()}


def show(times: dict[str, float]) -> str:
    """A table: job, milliseconds, ratio."""
    lines = [f"{'job':60s} {'ms':>10s} {'ratio':>9s}"]
    lines += [
        f"{name:60s} {times[name] * 1e3:10.2f} {ratio:9.3f}"
        for name, ratio in ratios(times).items()
    ]
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.run", description=__doc__)
    parser.add_argument("--json", action="store_true", help="machine-readable")
    parser.add_argument("--quick", action="store_true", help="once each, small batches")
    options = parser.parse_args(arguments)
    times = run(quick=options.quick)
    if options.json:
        print(json.dumps({"seconds": times, "ratio": ratios(times)}, indent=2))
    else:
        print(show(times), show_rows(times), sep="\n\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
