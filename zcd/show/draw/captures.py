"""The figure of a capture: every cycle that was seen, over what the model expects."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.traces import Traces
from zcd.engine.solve import solve
from zcd.show.draw.canvas import BLUE, GREY, LEFT, drawing, new_figure
from zcd.show.wording import plain, quantity_text
from zcd.sync.pulses import find_pulses

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

MS = 1e3
MOST_CYCLES = 40
"""Cycles that are drawn one over another."""


def capture_figure(board: Board, traces: Traces, name: str = "capture") -> Figure:
    """Every cycle of a capture, over the pin of a good board at nominal values.

    Parameters
    ----------
    board : Board
    traces : Traces
    name : str
        Goes before every id in the SVG.

    Returns
    -------
    figure : Figure
        Time counts from the falling edge, or from the mains crossing where that was captured.
    """
    period_s = 1.0 / (traces.mains_hz if traces.mains_v is not None else board.mains.frequency_hz)
    with drawing():
        figure = new_figure(name, 7.2, 3.6)
        axes = figure.subplots()
        _draw_cycles(axes, traces, period_s)
        _draw_model(axes, board, traces, period_s)
        for level, word, dashes in (
            (board.controller.low_threshold_v, "low", "-."),
            (board.controller.high_threshold_v, "high", "--"),
        ):
            axes.axhline(level, color="black", lw=1.0, ls=dashes)
            axes.annotate(
                f"{word}\n{quantity_text(level, 'V')}", xy=(1.0, level),
                xycoords=("axes fraction", "data"), xytext=(5.0, 0.0),
                textcoords="offset points", va="center", annotation_clip=False,
            )  # fmt: skip
        axes.set_xlim(0.0, period_s * MS)
        axes.set_ylabel("sync pin [V]")
        crossing = traces.mains_v is not None
        axes.set_xlabel(f"time after the {'mains crossing' if crossing else 'falling edge'} [ms]")
        axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2, frameon=False)
        title = f"{plain(board.name)}\n{_title(traces)}"
        figure.suptitle(title, weight="bold", **LEFT)
    return figure


def _title(traces: Traces) -> str:
    if not traces.falls_s.size:
        return "No sync pulse in the capture"
    low = quantity_text(traces.low_time_s, "s")
    missing = f", {traces.missing} missing" if traces.missing else ""
    return f"{traces.falls_s.size} sync pulses, low for {low}{missing}"


def _start_s(traces: Traces) -> float:
    """Where a cycle of the capture begins."""
    if np.isfinite(traces.crossing_s):
        return traces.crossing_s
    return float(traces.falls_s[0]) if traces.falls_s.size else float(traces.capture.time_s[0])


def _draw_cycles(axes: Axes, traces: Traces, period_s: float) -> None:
    time = traces.capture.time_s
    turn = np.floor((time - _start_s(traces)) / period_s)
    label = "captured, cycle over cycle"
    for number in np.unique(turn)[:MOST_CYCLES]:
        here = turn == number
        phase = time[here] - _start_s(traces) - number * period_s
        axes.plot(phase * MS, traces.pin_v[here], color=GREY, lw=0.8, label=label)
        label = ""


def _draw_model(axes: Axes, board: Board, traces: Traces, period_s: float) -> None:
    """The pin of a good board, from the same point of the cycle on."""
    solution = solve(build_circuit(board))
    rules = board.controller
    pulses = find_pulses(solution, rules.low_threshold_v, rules.high_threshold_v)
    start = 0.0
    if not np.isfinite(traces.crossing_s) and pulses.count[0]:
        start = float(pulses.fall_s[0, 0])
    elif np.isfinite(traces.crossing_s) and traces.falls_s.size and pulses.count[0]:
        # probes either way round: the half of the period that fits the pulses seen
        seen = (traces.falls_s[0] - traces.crossing_s) % period_s
        half = period_s / 2.0
        start = half * np.round((pulses.fall_s[0, 0] - seen) / half)
    phase = (solution.time_s[0] - start) % period_s
    order = np.argsort(phase)
    axes.plot(
        phase[order] * MS, solution.voltages_v["pin"][0][order], color=BLUE, ls="--", lw=1.8,
        label="model, good board at nominal values",
    )  # fmt: skip
