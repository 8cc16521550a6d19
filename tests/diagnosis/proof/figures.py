"""The figures of a run: by kind, by topology, calibration, and its diagram."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tests.diagnosis.proof.cases import Result

EDGES = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0)
"""Ends of the classes of a reliability diagram."""


def figures(results: Sequence[Result]) -> str:
    """All that is printed."""
    both = [r for r in results if r.fixed]
    lines = ["| | cases | told apart | first | first three | named |", "|---|---|---|---|---|---|"]
    lines += _rows(results, lambda r: r.kind) + _rows(results, lambda r: r.topology)
    lines += [_row("all", results), "", f"readings {np.mean([r.taken for r in results]):.2f}"]
    if both:
        ratio = sum(r.taken for r in both) / sum(r.fixed for r in both)
        lines.append(f"against the fixed order, {len(both)} cases: {ratio:.2f} of its readings")
    lines += ["", "at the end", *_classes([(r.said, r.named) for r in results])]
    lines += ["", "after each reading", *_classes([each for r in results for each in r.on_the_way])]
    return "\n".join(lines)


def _rows(results: Sequence[Result], of: Callable[[Result], str]) -> list[str]:
    names = dict.fromkeys(sorted(of(r) for r in results))
    return [_row(name, [r for r in results if of(r) == name]) for name in names]


def _row(name: str, results: Sequence[Result]) -> str:
    apart = [r for r in results if r.apart]
    first, three = (share([r.place <= n for r in apart]) for n in (1, 3))
    named = share([r.named for r in results])
    return f"| {name} | {len(results)} | {len(apart)} | {first} | {three} | {named} |"


def share(of: Sequence[bool]) -> str:
    """In per cent."""
    return f"{100.0 * np.mean(of):.1f} %" if of else "-"


@dataclass(frozen=True, slots=True, kw_only=True)
class Class:
    """Statements of about one probability: its mean, the share that was true, how many."""

    said: float
    true: float
    size: int


def classes(said: Sequence[tuple[float, bool]]) -> list[Class]:
    """Statements by what was said."""
    found = []
    for low, high in pairwise(EDGES):
        here = [each for each in said if low < each[0] <= high]
        if here:
            mean, true = np.mean(np.array(here, dtype=float), axis=0)
            found.append(Class(said=float(mean), true=float(true), size=len(here)))
    return found


def _classes(said: Sequence[tuple[float, bool]]) -> list[str]:
    return [f"| {c.said:.3f} | {c.size} | {c.true:.3f} |" for c in classes(said)]
