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
    taken, changes = ([getattr(r, name) for r in results] for name in ("taken", "changes"))
    lines += [_row("all", results), ""]
    answers = share([r.answer <= 3 for r in results])
    lines.append(
        f"first three {share([r.place <= 3 for r in results])} of all, by answers {answers}"
    )
    passing = sum(r.passes for r in results)
    lines.append(f"called good with something wrong that no reading of the board shows: {passing}")
    lines.append(f"wrong and sure {sum(r.wrong_and_sure for r in results)} of {len(results)}")
    lines.append(f"readings {np.mean(taken):.2f} on average, {max(taken)} at most")
    often = share([c <= 1 for c in changes])
    lines.append(
        f"changes of state {np.mean(changes):.2f} on average, {max(changes)} at most; "
        f"at most one in {often}"
    )
    if both:
        ratio = sum(r.taken for r in both) / sum(r.fixed for r in both)
        lines.append(f"against the fixed order, {len(both)} cases: {ratio:.2f} of its readings")
    lines += ["", "at the end: said, statements, true, true with faults as often as expected"]
    lines += _lines(at_the_end(results))
    lines += ["", "after each reading", *_lines(on_the_way(results))]
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
    """Statements of about one probability: its mean, the share that was true, how many.

    Of faults put in as often as the tool expects them so much would have been true: `expected`.
    """

    said: float
    true: float
    size: int
    expected: float


def classes(said: Sequence[tuple[float, bool, float]]) -> list[Class]:
    """Statements by what was said; each with the weight of its case."""
    result = []
    for low, high in pairwise(EDGES):
        here = np.array([each for each in said if low < each[0] <= high], dtype=float)
        if len(here):
            mean, true, weight = here.mean(axis=0)
            expected = float(np.mean(here[:, 1] * here[:, 2]) / weight) if weight else np.nan
            result.append(
                Class(said=float(mean), true=float(true), size=len(here), expected=expected)
            )
    return result


def at_the_end(results: Sequence[Result]) -> list[Class]:
    """Where it stopped: what it named."""
    return classes([(r.said, r.named, r.expected) for r in results])


def on_the_way(results: Sequence[Result]) -> list[Class]:
    """After each reading: the first of the ranking."""
    return classes([(*each, r.expected) for r in results for each in r.on_the_way])


def _lines(found: Sequence[Class]) -> list[str]:
    return [f"| {c.said:.3f} | {c.size} | {c.true:.3f} | {c.expected:.3f} |" for c in found]
