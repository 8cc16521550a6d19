"""A retest that a job file keeps, in words, as a table and as a JSON object."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from zcd.board.units import format_si
from zcd.diagnosis.retest_record import Retested
from zcd.report.table import Table
from zcd.report.text import plain, probability_text


def retested_line(kept: Retested) -> str:
    """A retest in one line, for lists.

    Examples
    --------
    >>> from datetime import date
    >>> from zcd.diagnosis.retest_record import Verdict
    >>> retested_line(Retested(taken=date(2026, 3, 14), verdict=Verdict.GOOD, good_ratio=0.97))
    'retested 2026-03-14: good (97 %)'
    """
    line = (
        f"retested {kept.taken.isoformat()}: {kept.verdict} ({probability_text(kept.good_ratio)})"
    )
    if not kept.headroom:
        return line
    if not kept.tells:
        return f"{line}, CTR headroom {_span(kept.headroom, tells=False)}"
    return f"{line}, CTR headroom {plain(kept.headroom[len(kept.headroom) // 2])}"


def retested_lines(kept: Retested) -> list[str]:
    """A retest in sentences: what was replaced by whom, the verdict, what is left of the CTR."""
    who = f" by {plain(kept.by)}" if kept.by else ""
    share = probability_text(kept.good_ratio)
    lines = [f"Retested on {kept.taken.isoformat()}{who}: {kept.verdict} ({share} good)."]
    if kept.replaced:
        lines.append(f"Replaced: {', '.join(map(plain, kept.replaced))}.")
    if kept.ctr_ratio is not None:
        ctr = [format_si(ratio, "%", digits=3) for ratio in kept.ctr_ratio]
        lines.append(f"CTR as measured: {_span(ctr, kept.tells)}.")
    for words, factors in (
        ("on the bench", kept.headroom),
        ("at low mains, hot", kept.headroom_weak),
    ):
        if factors:
            lines.append(f"CTR headroom {words}: {_span(factors, kept.tells)}.")
    return lines


def _span(texts: Sequence[str], tells: bool) -> str:
    """The three points of an estimate; of one that tells little the lower end alone."""
    low, middle, high = (plain(text) for text in (texts[0], texts[len(texts) // 2], texts[-1]))
    if low == high:
        return low
    return f"{low} to {high}, most likely {middle}" if tells else f"{low} or more"


def retested_sheet(kept: Retested) -> Table:
    """The readings after the repair, beside those of a good board."""
    rows = tuple(
        (
            plain(each.reading),
            plain(each.shown),
            plain(each.good_board),
            "DIFFERS" if each.differs else "as a good one",
        )
        for each in kept.readings
    )
    columns = ("reading", "shown", "good board", "")
    return Table(title="Readings after the repair", columns=columns, rows=rows)


def retested_record(kept: Retested) -> dict[str, Any]:
    """A retest of a job file, ready for `json.dumps`."""
    return {
        "taken": kept.taken.isoformat(),
        "by": kept.by or None,
        "replaced": list(kept.replaced),
        "board": kept.board or None,
        "verdict": str(kept.verdict),
        "good_ratio": kept.good_ratio,
        "ctr_ratio": None if kept.ctr_ratio is None else list(kept.ctr_ratio),
        "headroom": list(kept.headroom),
        "headroom_weak": list(kept.headroom_weak),
        "readings": [
            {
                "reading": each.reading,
                "shown": each.shown,
                "good_board": each.good_board or None,
                "differs": each.differs,
            }
            for each in kept.readings
        ],
    }
