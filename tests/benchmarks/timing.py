"""How jobs are timed, and the one table in which all of them stand."""

from __future__ import annotations

import resource
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from time import process_time

REPEATS = 5
LONGEST_S = 3.0
"""Once the runs of a job have taken so long, no other follows."""

HEAD = ("job", "ms each", "beside", "times as fast", "peak MB")


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One job, and what answers the same question in the same run, where anything does.

    Parameters
    ----------
    job : str
    time_s : float
        Processor time of one: of the job, or of one board of its batch.
    beside : str, optional
        What it is compared with.
    beside_s : float, optional
        Processor time of one of these.
    peak_bytes : int, optional
        Most memory that the job's own process held, the interpreter's included.
    """

    job: str
    time_s: float
    beside: str | None = None
    beside_s: float | None = None
    peak_bytes: int | None = None

    @property
    def ratio(self) -> float | None:
        """How often the job could be done in the time of what stands beside it."""
        return None if self.beside_s is None else self.beside_s / self.time_s


def seconds(
    job: Callable[[], object],
    *,
    quick: bool = False,
    clock: Callable[[], float] = process_time,
) -> float:
    """Least processor time of several runs, so that the first one's loading does not count.

    Quick, and for a job that takes long: the time of one run.
    """
    times: list[float] = []
    while not times or (not quick and len(times) < REPEATS and sum(times) < LONGEST_S):
        start = clock()
        job()
        times.append(clock() - start)
    return min(times)


def children_s() -> float:
    """Processor time of all processes that were started and have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def markdown(rows: Sequence[Row]) -> str:
    """The table."""
    cells = [HEAD, *(_cells(row) for row in rows)]
    lines = ["| " + " | ".join(line) + " |" for line in cells]
    return "\n".join([lines[0], "|---|--:|---|--:|--:|", *lines[1:]])


def _cells(row: Row) -> tuple[str, ...]:
    peak = "" if row.peak_bytes is None else f"{row.peak_bytes / 1e6:.0f}"
    ratio = "" if row.ratio is None else _digits(row.ratio)
    return row.job, _digits(1e3 * row.time_s), row.beside or "", ratio, peak


def _digits(value: float) -> str:
    """Three digits, never as a power of ten."""
    return f"{value:.0f}" if value >= 100.0 else f"{value:#.3g}".rstrip(".")
