"""The figures of what lies ahead: what decides the headroom, and margin against years."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.drawing.canvas import (
    BLUE,
    GREY,
    LEFT,
    LIGHT,
    NARROW_IN,
    NARROW_LETTERS,
    RED,
    TITLE_LETTERS,
    WIDTH_IN,
    drawing,
    new_figure,
    title_lines,
)
from zcd.errors import plain
from zcd.margin.ageing import YEARS, Ageing, Course
from zcd.margin.outlook import Outlook
from zcd.margin.sensitivity import Sensitivity
from zcd.report.of_outlook import SHOWN, VIEW_WORDS, decides_line, lost_text, share_text
from zcd.report.text import quantity_text
from zcd.sync.curves import smooth

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

LOWEST_PERCENT = -25.0
STYLES = (
    ("worst corner", "corner", RED, 1.6, (0, (5, 2)), "X"),
    ("worst 1 % of boards", "first percent", BLUE, 0.8, "-", "v"),
    ("median board", "middle", BLUE, 2.2, "-", "o"),
)
"""Of each course: name, label, colour, width, dashes, marker where sync is lost."""


def outlook_figures(board: Board, outlook: Outlook, *, narrow: bool = False) -> list[Figure]:
    """Both figures of an outlook; `narrow`: as wide as a phone."""
    return [
        sensitivity_figure(board, outlook.sensitivity, narrow=narrow),
        years_figure(board, outlook.ageing, narrow=narrow),
    ]


def sensitivity_figure(board: Board, decides: Sensitivity, *, narrow: bool = False) -> Figure:
    """What decides the CTR reserve, as bars.

    Parameters
    ----------
    board : Board
        Gives the name.
    decides : Sensitivity
    narrow : bool
        Whether it is as wide as a phone.

    Returns
    -------
    figure : Figure
        One axes; a bar for each tolerance (all it does, hatched) with a narrower, solid one in it
        (by itself), and the interval of the former.
    """
    count = min(len(decides.names), SHOWN)
    place = np.arange(count)[::-1]
    total, first = (100.0 * np.maximum(x[:count], 0.0) for x in (decides.total, decides.first))
    low, high = 100.0 * decides.total_low[:count], 100.0 * decides.total_high[:count]
    with drawing():
        height_in = (2.9 if narrow else 1.6) + 0.34 * count
        figure = new_figure("what-decides", NARROW_IN if narrow else WIDTH_IN, height_in)
        ax = figure.subplots()
        ax.barh(
            place, total, height=0.72, facecolor=LIGHT, edgecolor="0.4", hatch="///", lw=0.8,
            label="including interactions",
        )  # fmt: skip
        ax.barh(place, first, height=0.34, color=BLUE, lw=0.0, label="alone")
        reach = np.maximum([total - low, high - total], 0.0)
        ax.errorbar(
            total, place, xerr=reach, fmt="none", ecolor="black", elinewidth=1.0, capsize=3.0,
            label="95 % confidence",
        )  # fmt: skip
        for d, y in enumerate(place):
            ax.annotate(
                share_text(decides, d), (max(total[d], high[d]), y), xytext=(5.0, 0.0),
                textcoords="offset points", va="center",
            )  # fmt: skip
        ax.set_yticks(place, [plain(name) for name in decides.names[:count]])
        ax.set_xlim(0.0, 1.12 * max(100.0, float(high.max())))
        words = "share of the variance of the log CTR reserve [%]"
        ax.set_xlabel(title_lines(words, NARROW_LETTERS - 6) if narrow else words)
        if narrow:
            figure.legend(loc="outside lower center", frameon=False)
        else:
            ax.legend(loc="lower right", frameon=False)
        _set_title(figure, decides_line(decides), narrow)
        if not narrow:
            ax.set_title(plain(board.name), loc="left")
    return figure


def _set_title(figure: Figure, words: str, narrow: bool) -> None:
    letters = NARROW_LETTERS if narrow else TITLE_LETTERS
    figure.suptitle(title_lines(words, letters), weight="bold", **LEFT)


def years_figure(board: Board, ageing: Ageing, *, narrow: bool = False) -> Figure:
    """Margin against years, both views of ageing side by side.

    Parameters
    ----------
    board : Board
        Gives the name.
    ageing : Ageing
    narrow : bool
        Whether it is as wide as a phone, with one view under the other.

    Returns
    -------
    figure : Figure
        Two axes that share both scales; in each the band of the population (``band``), its middle
        (``middle``) and the worst corner (``corner``).
    """
    with drawing():
        shape, size_in = ((2, 1), (NARROW_IN, 8.4)) if narrow else ((1, 2), (WIDTH_IN, 4.8))
        figure = new_figure("years", *size_in)
        axes = figure.subplots(*shape, sharex=True, sharey=True)
        hours = quantity_text(ageing.hours_per_year, "h")
        for ax, (view, course) in zip(axes, ageing.courses.items(), strict=True):
            _draw_course(ax, course)
            ax.set_title(_course_text(view, course), loc="left")
            if not narrow or ax is axes[-1]:
                ax.set_xlabel("years in service")
            if narrow or ax is axes[0]:
                ax.set_ylabel("margin of the tightest lock rule [%]")
        axes[0].set_xlim(0.0, YEARS[-1])
        axes[0].set_ylim(LOWEST_PERCENT, 100.0)
        about = f"{plain(board.name)}; mains at the chain {hours} a year"
        _add_legend(figure, title_lines(about, NARROW_LETTERS) if narrow else about, narrow)
        _set_title(figure, _years_title(ageing), narrow)
    return figure


def _years_title(ageing: Ageing) -> str:
    corner, first = (
        lost_text(min(years))
        for years in zip(
            *((course.corner_years, course.first_years) for course in ageing.courses.values()),
            strict=True,
        )
    )
    return f"Sync lost, by the worse view: worst corner {corner}, worst 1 % of boards {first}"


def _course_text(view: str, course: Course) -> str:
    """When sync is lost by one view: over its axes, as beside the curves it would stand on them."""
    years = (course.corner_years, course.first_years, course.median_years)
    lines = [f"{style[0]}: {lost_text(year)}" for style, year in zip(STYLES, years, strict=True)]
    return "\n".join([f"{VIEW_WORDS[view]}, sync lost", *lines])


def _add_legend(figure: Figure, title: str, narrow: bool) -> None:
    """Below both axes: names beside falling lines would stand on one another."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    lines = [
        Line2D([], [], color=color, lw=width, ls=dashes, marker=marker, ms=6, label=name)
        for name, _, color, width, dashes, marker in STYLES
    ]
    band = Patch(facecolor=BLUE, alpha=0.25, label="1 % to 99 % of the boards")
    lost = Patch(facecolor=LIGHT, edgecolor="0.6", hatch="\\\\\\", label="sync lost")
    figure.legend(
        handles=[*lines, band, lost],
        title=title,
        loc="outside lower center",
        ncols=1 if narrow else 3,
        frameon=False,
    )


def _draw_course(ax: Axes, course: Course) -> None:
    at = course.points_years
    low, middle, high, corner = (
        100.0 * np.maximum(x, 10.0 * LOWEST_PERCENT / 100.0)
        for x in (course.low_ratio, course.middle_ratio, course.high_ratio, course.corner_ratio)
    )
    ax.axhspan(
        LOWEST_PERCENT, 0.0, facecolor=LIGHT, edgecolor="0.6", hatch="\\\\\\", lw=0.0, label="lost"
    )
    _draw_band(ax, at, low, high, course.first_years)
    ax.axhline(0.0, color="black", lw=1.0)
    courses = (
        (corner, course.corner_years),
        (low, course.first_years),
        (middle, course.median_years),
    )
    for style, (curve, years) in zip(STYLES, courses, strict=True):
        name, label, color, width, dashes, marker = style
        ax.plot(*_through(at, curve, years), color=color, lw=width, ls=dashes, label=label)
        for year in [years] if 0.0 < years <= YEARS[-1] else []:
            ax.plot(year, 0.0, marker=marker, ms=8, color=color, ls="none", label=f"{name} lost")
    ax.grid(axis="y", color=GREY, lw=0.3, alpha=0.5)


def _draw_band(
    ax: Axes, years: FloatArray, low: FloatArray, high: FloatArray, first_years: float
) -> None:
    """The boards between the lines of 1 % and 99 %."""
    at, lower = _through(years, low, first_years)
    upper = np.interp(at, *smooth(years, high))
    ax.fill_between(at, lower, upper, facecolor=BLUE, alpha=0.25, lw=0.0, label="band")


def _through(
    years: FloatArray, curve: FloatArray, lost_years: float
) -> tuple[FloatArray, FloatArray]:
    """A smooth curve through the margins, and through 0 in the year in which that is reached."""
    after = int(np.searchsorted(years, lost_years))
    on_it = 0 < after < years.size and curve[after - 1] >= 0.0 >= curve[after]
    if on_it:
        years, curve = np.insert(years, after, lost_years), np.insert(curve, after, 0.0)
    return smooth(years, curve)
