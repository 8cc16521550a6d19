"""What lies ahead of a board, as tables and sentences."""

from __future__ import annotations

import numpy as np

from zcd.board.model import Board
from zcd.margin.check import Check
from zcd.margin.decides import Decides
from zcd.margin.years import YEARS, Ageing
from zcd.show.checked.sheets import Sheet
from zcd.show.wording import plain, quantity_text, years_text

VIEW_WORDS = {
    "design rule": "maker's design rule",
    "acceleration": "current and temperature",
}
SHOWN = 8
"""Tolerances that are named among those that decide."""
TEN_YEARS = 10.0


def outlook_sheets(check: Check) -> tuple[Sheet, ...]:
    """All of these tables, where they were asked for."""
    if check.outlook is None:
        return ()
    return decides_sheet(check.outlook.decides), years_sheet(check.outlook.ageing, check.board)


def decides_sentence(decides: Decides) -> str:
    """What makes most of the spread of the headroom.

    Examples
    --------
    >>> decides_sentence(Decides(names=("CTR of OC1", "R1"), first=np.array([0.7, 0.2]),
    ...     total=np.array([0.71, 0.22]), total_low=np.array([0.6, 0.1]),
    ...     total_high=np.array([0.8, 0.3]), headroom_low=2.0, headroom_middle=3.0,
    ...     headroom_high=5.0))
    'CTR of OC1 makes 71 % (60 to 80 %) of the spread of the CTR headroom'
    """
    low, high = 100.0 * max(decides.total_low[0], 0.0), decides.total_high[0]
    share = f"{_percent(decides.total[0])} ({low:.0f} to {_percent(high)})"
    return f"{plain(decides.names[0])} makes {share} of the spread of the CTR headroom"


def decides_sheet(decides: Decides) -> Sheet:
    """How much of the spread of the headroom each tolerance makes."""
    return Sheet(
        title="What decides the CTR headroom",
        columns=("", "share", "95 % sure", "by itself"),
        rows=tuple(
            (
                plain(name),
                _percent(decides.total[d]),
                f"{_percent(decides.total_low[d])} to {_percent(decides.total_high[d])}",
                _percent(decides.first[d]),
            )
            for d, name in enumerate(decides.names[:SHOWN])
        ),
        right=(1, 2, 3),
        remark=f"{decides_sentence(decides)} from board to board (variance of its logarithm): of "
        f"20 boards one has less than {quantity_text(decides.headroom_low, '')}, one more than "
        f"{quantity_text(decides.headroom_high, '')}. Share: alone and together with others.",
    )


def _percent(ratio: float) -> str:
    return f"{100.0 * max(ratio, 0.0):.0f} %"


def years_sheet(ageing: Ageing, board: Board) -> Sheet:
    """When the worst corner, the first percent and half of the boards lose sync."""
    courses = ageing.courses.values()
    hours = quantity_text(ageing.hours_per_year, "h")
    feed = "the feed is direct" if board.relay is None else "the feed is switched"
    drift = float(np.interp(TEN_YEARS, YEARS, ageing.drift))
    return Sheet(
        title="Years until sync is lost",
        columns=("", *(VIEW_WORDS[view] for view in ageing.courses)),
        rows=(
            ("worst corner", *(lost_text(c.corner_years) for c in courses)),
            ("first board in a hundred", *(lost_text(c.first_years) for c in courses)),
            ("half of the boards", *(lost_text(c.median_years) for c in courses)),
        ),
        right=(1, 2),
        remark=f"LED lit {hours} a year, as {feed}; chain up by {_percent(drift)} after ten years "
        "(load life, the harsher way). The design rule is the harsher view; the other one comes "
        "from a modern LED and is indicative only.",
    )


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
