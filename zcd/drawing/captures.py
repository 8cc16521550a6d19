"""The figure of a capture: every cycle that was seen, over what the model expects."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.capture_measurements import Traces
from zcd.drawing.canvas import BLUE, GREY, LEFT, drawing, new_figure
from zcd.drawing.sketch import Group, Sketch
from zcd.drawing.symbols import BARRIER_DASHES, Line, Shape, Words
from zcd.engine.solve import solve
from zcd.errors import plain
from zcd.report.text import quantity_text
from zcd.sync.curves import period_curve
from zcd.sync.pulses import find_pulses

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

MS = 1e3
MAX_CYCLES = 40
"""Cycles that are drawn one over another."""
MAX_SKETCHED, MAX_POINTS = 10, 400
"""The same on a page, and points of each."""
PLOT_LEFT, PLOT_WIDTH, PLOT_HEIGHT = 60.0, 430.0, 150.0


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
    period_s = _period_s(board, traces)
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


def _period_s(board: Board, traces: Traces) -> float:
    return 1.0 / (traces.mains_hz if traces.mains_v is not None else board.mains.frequency_hz)


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


def captured_cycles(traces: Traces, period_s: float) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Time since its beginning and pin voltage of every cycle of a capture, within reason."""
    time, start = traces.capture.time_s, _start_s(traces)
    turn = np.floor((time - start) / period_s)
    for number in np.unique(turn)[:MAX_CYCLES]:
        here = turn == number
        yield time[here] - start - number * period_s, traces.pin_v[here]


def model_cycle(board: Board, traces: Traces, period_s: float) -> tuple[FloatArray, FloatArray]:
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
    time, volts = period_curve(solution, solution.pin_v)
    # without its last point, which is its first again
    phase = (time[:-1] - start) % period_s
    order = np.argsort(phase)
    return phase[order], volts[:-1][order]


def _draw_cycles(axes: Axes, traces: Traces, period_s: float) -> None:
    label = "captured, cycle over cycle"
    for phase, volts in captured_cycles(traces, period_s):
        axes.plot(phase * MS, volts, color=GREY, lw=0.8, label=label)
        label = ""


def _draw_model(axes: Axes, board: Board, traces: Traces, period_s: float) -> None:
    phase, volts = model_cycle(board, traces, period_s)
    axes.plot(
        phase * MS, volts, color=BLUE, ls="--", lw=1.8,
        label="model, good board at nominal values",
    )  # fmt: skip


def capture_sketch(board: Board, traces: Traces) -> Sketch:
    """The same for a page, as shapes: captured solid, model dashed.

    Parameters
    ----------
    board : Board
    traces : Traces

    Returns
    -------
    sketch : Sketch
    """
    period_s = _period_s(board, traces)
    phase, volts = model_cycle(board, traces, period_s)
    cycles = list(captured_cycles(traces, period_s))[:MAX_SKETCHED]
    seen = [values for _, values in cycles]
    low = min(0.0, *(float(v.min()) for v in seen))
    high = max(float(volts.max()), *(float(v.max()) for v in seen))

    def line(at: FloatArray, values: FloatArray, *, dashed: bool, width: float) -> Line:
        step = max(1, at.size // MAX_POINTS)
        x = PLOT_LEFT + PLOT_WIDTH * at[::step] / period_s
        y = PLOT_HEIGHT * (high - values[::step]) / (high - low)
        points = tuple((float(a), float(b)) for a, b in zip(x, y, strict=True))
        return Line(points=points, dashes=BARRIER_DASHES if dashed else (), width=width)

    across = np.array([0.0, period_s])
    rules = board.controller
    levels: list[Shape] = []
    for word, level in (("low", rules.low_threshold_v), ("high", rules.high_threshold_v)):
        levels.append(line(across, np.full(2, level), dashed=False, width=0.5))
        y = PLOT_HEIGHT * (high - level) / (high - low) + 3.0
        text = f"{word} {quantity_text(level, 'V')}"
        levels.append(Words(text=text, at=(PLOT_LEFT + PLOT_WIDTH + 5.0, y)))
    names = [Words(text="pin", at=(PLOT_LEFT - 8.0, 10.0), align="end", bold=True)]
    names.append(Words(text=quantity_text(high, "V"), at=(PLOT_LEFT - 8.0, 22.0), align="end"))
    names += [
        Words(text=f"{share * period_s * MS:.3g} ms", align="middle",
              at=(PLOT_LEFT + PLOT_WIDTH * share, PLOT_HEIGHT + 14.0))
        for share in (0.0, 0.25, 0.5, 0.75, 1.0)
    ]  # fmt: skip
    drawn = tuple(line(at, values, dashed=False, width=0.8) for at, values in cycles)
    model = (line(phase, volts, dashed=True, width=1.8),)
    return Sketch(
        "capture",
        (
            Group(kind="lane", ref="pin", title=_title(traces), shapes=tuple(names)),
            Group(kind="threshold", title="thresholds of the controller", shapes=tuple(levels)),
            Group(kind="captured", title="captured, cycle over cycle", shapes=drawn),
            Group(kind="model", title="model, good board at nominal values", shapes=model),
        ),
    )
