"""The figure of both answers laid over one another: LED current and pin."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.build import input_refs
from zcd.drawing.canvas import BLUE, GREY, LEFT, RED, drawing, label_beside, new_figure
from zcd.drawing.waveforms import LEAST_LED_MA
from zcd.engine.solution import Solution
from zcd.errors import plain
from zcd.report.text import quantity_text
from zcd.spice.compare import Comparison
from zcd.spice.devices import device_of, family_of
from zcd.sync.curves import period_curve

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

MS = 1e3
MA = 1e3
MV = 1e3
LEAST_MV = 5.0
"""Reach of the axis of differences: what a bench can hardly see is not to look large."""


def overlay_figure(comparison: Comparison, name: str = "second-opinion") -> Figure:
    """LED current and pin over one period by all three ways, and how far they are apart.

    Parameters
    ----------
    comparison : Comparison
    name : str
        Goes before every id in the SVG.

    Returns
    -------
    figure : Figure
        Three axes that share time; the lines carry the labels ``zcd``, ``SPICE, same equations``
        and ``SPICE, transistor``. In the last one zcd is the zero line.
    """
    board = comparison.board
    low_v, high_v = board.controller.low_threshold_v, board.controller.high_threshold_v
    with drawing():
        figure = new_figure(name, 7.2, 7.0)
        axes = figure.subplots(3, 1, sharex=True, height_ratios=(1.0, 1.5, 0.9))
        ours = _pin(comparison.ours)
        for solution, label, color, dashes, width in (
            (comparison.ours, "zcd", BLUE, "-", 3.0),
            (comparison.equations, "SPICE, same equations", "black", "--", 1.2),
            (comparison.device, "SPICE, transistor", RED, ":", 1.8),
        ):
            pin = _pin(solution)
            apart = pin[0], (pin[1] - np.interp(pin[0], *ours)) * MV
            for ax, (time, shown) in zip(
                axes, (_led(comparison, solution), pin, apart), strict=True
            ):
                ax.plot(time * MS, shown, color=color, ls=dashes, lw=width, label=label)
        for word, level in (("low", low_v), ("high", high_v)):
            axes[1].axhline(level, color=GREY, lw=0.8, ls="-.", zorder=0)
            label_beside(axes[1], level, f"{word}\n{quantity_text(level, 'V')}")
        axes[0].set_ylabel("LED current [mA]")
        axes[1].set_ylabel("sync pin [V]")
        axes[2].set_ylabel("pin minus\nzcd [mV]")
        axes[2].set_ylim(*_at_least(axes[2].get_ylim(), LEAST_MV))
        axes[2].set_xlabel("time [ms]")
        axes[2].set_xlim(0.0, comparison.ours.period_s[0] * MS)
        axes[0].set_ylim(top=max(axes[0].get_ylim()[1], LEAST_LED_MA))
        axes[1].set_ylim(min(axes[1].get_ylim()[0], 0.0), axes[1].get_ylim()[1])
        key = axes[0].get_legend_handles_labels()
        figure.legend(*key, loc="outside lower center", ncols=3, frameon=False)
        axes[0].set_title(_subtitle(comparison), loc="left")
        figure.suptitle(_title(comparison), weight="bold", **LEFT)
    return figure


def _title(comparison: Comparison) -> str:
    verb = "agree" if comparison.agrees else "do not agree"
    return f"Engine and circuit simulator {verb} on the same equations"


def _subtitle(comparison: Comparison) -> str:
    text = plain(comparison.board.name)
    if comparison.fault != "healthy":
        text += f", {comparison.fault}"
    return f"{text}; transistor: {device_of(family_of(comparison.board)).model}"


def _led(comparison: Comparison, solution: Solution) -> tuple[FloatArray, FloatArray]:
    waves = (np.maximum(solution.currents_a[ref], 0.0) for ref in input_refs(comparison.board))
    return _curve(solution, np.asarray(sum(waves)) * MA)


def _pin(solution: Solution) -> tuple[FloatArray, FloatArray]:
    return _curve(solution, solution.pin_v)


def _curve(solution: Solution, wave: FloatArray) -> tuple[FloatArray, FloatArray]:
    return period_curve(solution, wave)


def _at_least(ends: tuple[float, float], reach: float) -> tuple[float, float]:
    """Ends of an axis, not nearer to zero than a reach."""
    return min(ends[0], -reach), max(ends[1], reach)
