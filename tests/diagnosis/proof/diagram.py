"""The reliability diagram: what was said against how often it was true."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from scipy.special import betaincinv

from tests.diagnosis.proof.cases import Result
from tests.diagnosis.proof.figures import Class, at_the_end, on_the_way
from zcd.drawing.canvas import BLUE, GREY, LEFT, RED, drawing, new_figure, save_figure

CONFIDENCE_RATIO = 0.9


def draw_diagram(results: Sequence[Result], path: Path) -> Path:
    """Draw it and write it to a file."""
    ends, ways = at_the_end(results), on_the_way(results)
    with drawing():
        figure = new_figure("reliability", 5.2, 4.2)
        axes = figure.subplots()
        axes.plot([0.0, 1.0], [0.0, 1.0], color=GREY, linewidth=0.8)
        axes.annotate("said as often as true", (0.62, 0.6), color=GREY, rotation=38.0)
        for result, style, colour, name in (
            (ways, "o--", BLUE, "after each reading"),
            (ends, "s-", RED, "where it stopped"),
        ):
            said, true = (np.array([getattr(c, what) for c in result]) for what in ("said", "true"))
            spans = np.abs(np.array([_span(c) for c in result]).T - true)
            axes.errorbar(
                said, true, yerr=spans, fmt=style, color=colour, markersize=4.0, linewidth=1.0,
                capsize=2.0, elinewidth=0.8, label=f"{name} ({sum(c.size for c in result)})",
            )  # fmt: skip
        axes.plot(
            [c.said for c in ways], [c.expected for c in ways], ":", color=BLUE, linewidth=1.2,
            label="the same, faults as often as expected",
        )  # fmt: skip
        axes.set(
            xlabel="probability said [1]", ylabel="share that was true [1]",
            xlim=(0.0, 1.02), ylim=(0.0, 1.02),
        )  # fmt: skip
        axes.legend(loc="upper left", frameon=False)
        figure.suptitle("Where it says 90 %, is it right in 90 %?", fontsize=9.0, **LEFT)
    return save_figure(figure, path)


def _span(found: Class) -> tuple[float, float]:
    """Ends of the exact binomial interval of a share."""
    true, size = round(found.true * found.size), found.size
    tail = (1.0 - CONFIDENCE_RATIO) / 2.0
    low = float(betaincinv(true, size - true + 1, tail)) if true else 0.0
    high = float(betaincinv(true + 1, size - true, 1.0 - tail)) if true < size else 1.0
    return low, high
