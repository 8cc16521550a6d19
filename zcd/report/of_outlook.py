"""What lies ahead of a board, as tables and sentences."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from zcd.board.model import Board
from zcd.errors import plain
from zcd.margin.ageing import YEARS, Ageing, Course
from zcd.margin.check import Check
from zcd.margin.sensitivity import LADDER, Sensitivity
from zcd.report.of_board import served_line
from zcd.report.of_spread import DOUBT
from zcd.report.table import Quantity, Table
from zcd.report.text import percent_span_text, percent_text, quantity_text, years_text

VIEW_WORDS = {
    "design rule": "maker's design rule",
    "acceleration": "current and temperature",
}
SHOWN = 8
"""Tolerances that are named among those that decide."""
WIDEST_RATIO = 0.1
"""A share whose interval is wider is told by its interval alone."""
TEN_YEARS = 10.0


def outlook_tables(check: Check) -> tuple[Table, ...]:
    """All of these tables, where they were asked for."""
    if check.outlook is None:
        return ()
    years = years_table(check.outlook.ageing, check.board)
    if any(rule.depends_on for rule in check.every_rule):
        remark = f"Boards that lose sync from the beginning may still work: {DOUBT}."
        years = replace(years, remark=f"{years.remark} {remark}")
    return sensitivity_table(check.outlook.sensitivity), years


def decides_line(decides: Sensitivity) -> str:
    """What makes most of the spread of the headroom, no surer than it is.

    Examples
    --------
    >>> from dataclasses import replace
    >>> found = Sensitivity(names=("CTR of OC1", "R1"), first=np.array([0.7, 0.2]),
    ...     total=np.array([0.71, 0.22]), total_low=np.array([0.69, 0.1]),
    ...     total_high=np.array([0.74, 0.3]), unexplained_ratio=0.01, headroom_low_ratio=2.0,
    ...     headroom_middle_ratio=3.0, headroom_high_ratio=5.0)
    >>> decides_line(found)
    'CTR of OC1 makes 71 % (69 to 74 %) of the spread of the CTR reserve'
    >>> decides_line(replace(found, total_low=np.array([0.4, 0.1])))
    'CTR of OC1 makes 40 to 74 % of the spread of the CTR reserve'
    >>> decides_line(replace(found, total_high=np.array([0.74, 0.71])))
    'CTR of OC1 (69 to 74 %) or R1 (10 to 71 %) makes most of the spread of the CTR reserve'
    """
    names = [plain(name) for name in decides.names]
    spread = "of the spread of the CTR reserve"
    low, high = decides.total_low, decides.total_high
    if not high.size or not high[0] > 0.0:
        return "Nothing that may differ moves the CTR reserve"
    if high.size > 1 and high[1] > low[0]:
        either = (f"{names[d]} ({span_text(decides, d)})" for d in (0, 1))
        return f"{' or '.join(either)} makes most {spread}"
    share = span_text(decides, 0)
    if share != share_text(decides, 0):
        share = f"{share_text(decides, 0)} ({share})"
    return f"{names[0]} makes {share} {spread}"


def sensitivity_table(decides: Sensitivity) -> Table:
    """How much of the spread of the headroom each tolerance makes."""
    title, total, first = "What decides the CTR reserve", decides.total, decides.first
    if not np.any(decides.total_high > 0.0):
        return Table(
            title=title,
            columns=(),
            rows=(),
            remark=f"{decides_line(decides)}: no board is better than another.",
        )
    not_known = ""
    if decides.unexplained_ratio >= 0.01:
        not_known = f"; of {percent_text(decides.unexplained_ratio)} it is not known what makes it"
    quantities = (
        Quantity("name", "", lambda d: plain(decides.names[d])),
        Quantity("total_ratio", "share", lambda d: share_text(decides, d), total.__getitem__),
        Quantity("interval", "95 % sure", lambda d: span_text(decides, d), right=True),
        Quantity("first_ratio", "by itself", lambda d: percent_text(first[d]), first.__getitem__),
    )
    return Table.of(
        range(min(len(decides.names), SHOWN)),
        quantities,
        title=title,
        remark=f"{decides_line(decides)} from board to board (variance of its logarithm): of "
        f"20 boards one {_least_text(decides)}, one has more than "
        f"{quantity_text(decides.headroom_high_ratio, '')}. Share: alone and together with "
        f"others{not_known}.",
    )


def _least_text(decides: Sensitivity) -> str:
    """What one board in twenty has less of."""
    if decides.headroom_low_ratio <= np.exp(LADDER[0]):
        return "gets no lock at any CTR"
    return f"has less than {quantity_text(decides.headroom_low_ratio, '')}"


def share_text(decides: Sensitivity, number: int) -> str:
    """A share; its interval alone where that is wide."""
    wide = decides.total_high[number] - decides.total_low[number] > WIDEST_RATIO
    return span_text(decides, number) if wide else percent_text(decides.total[number])


def span_text(decides: Sensitivity, number: int) -> str:
    """The interval of a share."""
    return percent_span_text(decides.total_low[number], decides.total_high[number])


def years_table(ageing: Ageing, board: Board) -> Table:
    """When the worst corner, the first percent and half of the boards lose sync."""
    hours = quantity_text(ageing.hours_per_year, "h")
    feed = "the feed is direct" if board.relay is None else "the feed is switched"
    drift = float(np.interp(TEN_YEARS, YEARS, ageing.drift_ratio))
    quantities = (
        _lost("corner_years", "worst corner of all tolerances"),
        _lost("first_years", "worst 1 % of boards"),
        _lost("median_years", "median board"),
    )
    return Table.across(
        tuple(ageing.courses.items()),
        quantities,
        lambda view: VIEW_WORDS[view[0]],
        title="Years until sync is lost, tolerances and drift of the chain counted",
        remark=f"Mains at the chain for {hours} a year, as {feed}; chain up by "
        f"{percent_text(drift)} after ten years (load life, the stricter way). The design rule is "
        "the stricter view; the other one comes from a modern LED and is indicative only. "
        f"{served_line(board)}".rstrip(),
    )


def _lost(name: str, heading: str) -> Quantity:
    """When a course (of a pair, the second) is lost."""

    def years(view: tuple[str, Course]) -> float:
        lost: float = getattr(view[1], name)
        return lost

    return Quantity(name, heading, lambda view: lost_text(years(view)), years)


def lost_text(years: float) -> str:
    """When sync is lost.

    Examples
    --------
    >>> lost_text(7.512), lost_text(0.0), lost_text(float("inf"))
    ('7.5 years', 'from the beginning', 'not in 40 years')
    """
    if years == 0.0:
        return "from the beginning"
    return years_text(years) if years <= YEARS[-1] else f"not in {YEARS[-1]:g} years"
