"""All jobs in one table: ``python -m tests.benchmarks.run``.

A ratio of two times of the same run says more than either: machines differ, and so does one
machine from hour to hour. Times are those of the processor. Nothing here is asserted.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Sequence

from tests.benchmarks.diagnosis import diagnosis_jobs
from tests.benchmarks.drawer import drawer_jobs
from tests.benchmarks.growth import growth_rows
from tests.benchmarks.integrator import integrator_rows
from tests.benchmarks.maps import map_jobs
from tests.benchmarks.page import page_jobs
from tests.benchmarks.rows import judged_rows
from tests.benchmarks.shell import shell_rows
from tests.benchmarks.spread import spread_jobs
from tests.benchmarks.stories import story_jobs
from tests.benchmarks.timing import Row, markdown, seconds
from tests.diagnosis.boards import board
from zcd.api import check
from zcd.circuit.build import Conditions, build_circuit
from zcd.margin.check import nominal_check
from zcd.margin.headroom import headrooms, weak_conditions
from zcd.sync.lock import lock_of


def job_rows(*, quick: bool = False) -> list[Row]:
    """Whole jobs: nothing else answers their questions."""
    return [
        Row(job=name, time_s=seconds(job, quick=quick)) for name, job in _jobs(quick=quick).items()
    ]


def _jobs(*, quick: bool) -> dict[str, Callable[[], object]]:
    result = board("switched")
    return {
        "one board solved and judged": lambda: lock_of(build_circuit(result), result),
        "check of one board": lambda: nominal_check(result),
        "whole check of one board": lambda: check(result),
        "reserves, three cases": lambda: headrooms(
            result, [Conditions(), weak_conditions(result), Conditions(temperature_degc=60.0)]
        ),
        **diagnosis_jobs(quick=quick),
        **map_jobs(quick=quick),
        **drawer_jobs(quick=quick),
        **spread_jobs(quick=quick),
        **story_jobs(quick=quick),
        **page_jobs(),
    }


def all_rows(*, quick: bool = False, million: bool = False) -> list[Row]:
    """The whole table: batches beside others' solvers, growth, shell, jobs."""
    return [
        *judged_rows(quick=quick),
        *integrator_rows(quick=quick),
        *growth_rows(quick=quick, million=million),
        *shell_rows(quick=quick),
        *job_rows(quick=quick),
    ]


def as_json(rows: Sequence[Row]) -> str:
    """The rows with SI units."""
    kept = ("job", "time_s", "beside", "beside_s", "ratio", "peak_bytes")
    return json.dumps([{key: getattr(row, key) for key in kept} for row in rows], indent=2)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.run", description=__doc__)
    parser.add_argument("--json", action="store_true", help="machine-readable")
    parser.add_argument("--quick", action="store_true", help="once each, small batches")
    parser.add_argument("--jobs", action="store_true", help="whole jobs only")
    parser.add_argument("--million", action="store_true", help="also a million boards of each kind")
    options = parser.parse_args(arguments)
    if options.jobs:
        rows = job_rows(quick=options.quick)
    else:
        rows = all_rows(quick=options.quick, million=options.million)
    print(as_json(rows) if options.json else markdown(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
