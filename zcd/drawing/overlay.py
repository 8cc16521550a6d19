"""The figure of both answers laid over one another: LED current and pin."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.build import led_refs
from zcd.drawing.canvas import BLUE, GREY, LEFT, RED, drawing, label_beside, new_figure
from zcd.engine.solution import Solution
from zcd.report.text import plain, quantity_text
from zcd.spice.compare import Comparison
from zcd.spice.devices import device_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

MS = 1e3
MA = 1e3
MIN_MA = 0.01
"""Top of the axis of a LED that stays dark: nanoamperes are not to look like light."""


def overlay_figure(comparison: Comparison, name: str = "second-opinion") -> Figure:
    """LED current and pin over one period by all three ways.

    Parameters
    ----------
    comparison : Comparison
    name : str
        Goes before every id in the SVG.

    Returns
    -------
    figure : Figure
        Two axes that share time; the lines carry the labels ``zcd``, ``SPICE, same equations`` and
        ``SPICE, transistor``.
    """
    board = comparison.board
    low_v, high_v = board.controller.low_threshold_v, board.controller.high_threshold_v
    with drawing():
        figure = new_figure(name, 7.2, 5.6)
        axes = figure.subplots(2, 1, sharex=True, height_ratios=(1.0, 1.5))
        for solution, label, color, dashes, width in (
            (comparison.ours, "zcd", BLUE, "-", 3.0),
            (comparison.equations, "SPICE, same equations", "black", "--", 1.2),
            (comparison.device, "SPICE, transistor", RED, ":", 1.8),
        ):
            time = _closed(solution.time_s[0], solution, _period_s(solution)) * MS
            for ax, wave in ((axes[0], _led_ma(comparison, solution)), (axes[1], _pin_v(solution))):
                shown = _closed(wave, solution)
                ax.plot(time, shown, color=color, ls=dashes, lw=width, label=label)
        for word, level in (("low", low_v), ("high", high_v)):
            axes[1].axhline(level, color=GREY, lw=0.8, ls="-.", zorder=0)
            label_beside(axes[1], level, f"{word}\n{quantity_text(level, 'V')}")
        axes[0].set_ylabel("LED current [mA]")
        axes[1].set_ylabel("sync pin [V]")
        axes[1].set_xlabel("time [ms]")
        axes[1].set_xlim(0.0, _period_s(comparison.ours) * MS)
        axes[0].set_ylim(top=max(axes[0].get_ylim()[1], MIN_MA))
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
    return f"{text}; transistor: {device_of(comparison.board.optocoupler.family).model}"


def _period_s(solution: Solution) -> float:
    span = float(solution.phase_rad[0, -1] / (2.0 * np.pi))
    return float(solution.time_s[0, -1]) / span


def _led_ma(comparison: Comparison, solution: Solution) -> FloatArray:
    waves = (np.maximum(solution.currents_a[ref][0], 0.0) for ref in led_refs(comparison.board))
    return np.asarray(sum(waves)) * MA


def _pin_v(solution: Solution) -> FloatArray:
    return solution.voltages_v["pin"][0]


def _closed(wave: FloatArray, solution: Solution, step: float = 0.0) -> FloatArray:
    """A waveform with its first point again at the end, where it repeats."""
    return np.append(wave, wave[0] + step) if solution.settled[0] else wave
