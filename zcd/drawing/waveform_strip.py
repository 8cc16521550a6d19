"""One mains period drawn for a page: mains, LED current and pin, quick enough to follow a hand.

All words stand over or under the curves, so that a narrow page may squeeze the time and keep them;
what the pulse does and what the marks mean stands beside the drawing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import input_refs
from zcd.drawing.sketch import Group, Sketch, group_svg, turning
from zcd.drawing.symbols import BARRIER_DASHES, Line, Shape, Words
from zcd.drawing.waveforms import crossing_times_s, waveform_title
from zcd.engine.solution import Solution
from zcd.report.text import offset_text, quantity_text
from zcd.sync.curves import period_curve
from zcd.sync.lock import Lock

FloatArray = NDArray[np.float64]

WIDTH, LEFT = 528.0, 0.0
HEIGHTS = (30.0, 30.0, 124.0)
GAP = 17.0
BOTTOM = sum(HEIGHTS) + GAP * (len(HEIGHTS) - 1)
ROOM = 1.15
"""Height of the pin's lane over its supply."""
COLUMNS = 216
"""Points of a curve that a browser draws: two of its width apart."""
MIN_TOP_A = 1e-4
TURN_PT = 0.05
"""A point that lies less off the straight way is not drawn."""
MS = 1e3
CROSSINGS = "dash-dot: true zero crossings"
ASIDE = 3.0
"""From a crossing to the words beside it."""


@dataclass(frozen=True, slots=True)
class _Lane:
    """A quantity, its scale and its place."""

    name: str
    unit: str
    values: FloatArray
    peaks: FloatArray
    low: float
    high: float
    top: float
    height: float

    def height_of(self, values: FloatArray) -> FloatArray:
        """Where values stand, downwards."""
        share = (np.clip(values, self.low, self.high) - self.low) / (self.high - self.low)
        return self.top + self.height * (1.0 - share)

    def peak_text(self, row: int) -> str:
        """The highest of its values."""
        return f"peak {quantity_text(float(self.peaks[row]), self.unit)}"


def waveform_strip(board: Board, solution: Solution, lock: Lock, row: int = 0) -> Sketch:
    """Draw mains, LED current and pin over a mains period.

    Parameters
    ----------
    board : Board
    solution : Solution
        Mains and LED current are scaled to the largest of all its rows.
    lock : Lock
        Of the same solution.
    row : int

    Returns
    -------
    sketch : Sketch
    """
    period = float(solution.period_s[row])
    groups = [_window(board, lock, row, period)]
    for lane in _lanes(board, solution):
        groups.append(_lane(lane, row, period_curve(solution, lane.values, row), period))
    bottom = BOTTOM
    marks: list[Shape] = [
        Line(
            points=((_x(at, period), 0.0), (_x(at, period), bottom)),
            dashes=BARRIER_DASHES,
            width=0.7,
        )
        for at in crossing_times_s(solution, row, period)
    ]
    marks += [
        Words(text=_ms_text(at), at=(_x(at, period), bottom + 13.0), align=align)
        for at, align in (
            (0.0, "start"), (period / 4.0, "middle"), (period / 2.0, "middle"),
            (0.75 * period, "middle"), (period, "end"),
        )
    ]  # fmt: skip
    groups.append(Group(kind="crossing", title=CROSSINGS, shapes=tuple(marks)))
    groups.append(_thresholds(board, bottom, ROOM * board.output.supply_v))
    groups.append(_edges(lock, row, period, bottom))
    return Sketch("lanes", tuple(groups))


def legend_text(board: Board) -> str:
    """What the marks of a strip mean, in one line."""
    rules = board.controller
    allowed = f"{rules.edge} edge allowed, {quantity_text(rules.max_offset_s, 's')} either way"
    return f"shaded: {allowed}; {CROSSINGS}"


def pulse_text(lock: Lock, row: int = 0) -> str:
    """When the pin falls and rises, in one line; pulses that are alike are told once."""
    pulses = lock.pulses
    told = (x[row] for x in (pulses.fall_offset_s, pulses.rise_offset_s, pulses.low_time_s))
    lines = [
        f"falls {offset_text(float(fall))}, rises {offset_text(float(rise))}, "
        f"low for {quantity_text(float(low), 's')}"
        for fall, rise, low in zip(*told, strict=True)
        if np.isfinite(low)
    ]
    return "; ".join(dict.fromkeys(lines)) or "no sync pulse"


def waveform_strip_title(board: Board, solution: Solution, lock: Lock, row: int = 0) -> str:
    """What the lanes show, in one line."""
    return waveform_title(board, solution, lock, row)


def _ms_text(time_s: float) -> str:
    """A time of the axis, plain: quarters of 60 Hz are no round numbers."""
    return f"{round(time_s * MS, 2):g} ms"


def _x(time_s: float, period: float) -> float:
    return LEFT + WIDTH * time_s / period


def _lanes(board: Board, solution: Solution) -> tuple[_Lane, ...]:
    """The quantities, each with its scale, in their places."""
    led = np.asarray(sum(solution.currents_a[ref] for ref in input_refs(board)))
    pin, what = solution.pin_v, board.input_name
    mains = solution.between_v("line", "neutral")
    peak = float(np.max(np.abs(mains)))
    top_a = max(float(np.max(led)), MIN_TOP_A)
    tops = [sum(HEIGHTS[:k]) + GAP * k for k in range(len(HEIGHTS))]
    return tuple(
        _Lane(name, unit, values, solution.peak(values), low, high, top, height)
        for (name, unit, values, low, high), top, height in zip(
            (
                ("mains", "V", mains, -peak, peak),
                (f"{what} current", "A", led, 0.0, top_a),
                ("pin", "V", pin, 0.0, ROOM * board.output.supply_v),
            ),
            tops,
            HEIGHTS,
            strict=True,
        )
    )


def _lane(lane: _Lane, row: int, wave: tuple[FloatArray, FloatArray], period: float) -> Group:
    """One quantity over time, with its name and its own peak."""
    time, values = wave
    xs = LEFT + WIDTH * time / period
    line = turning(np.column_stack([xs, lane.height_of(values)]), TURN_PT)
    points = tuple((float(x), float(y)) for x, y in line)
    zero = float(lane.height_of(np.zeros(1))[0])
    y = lane.top
    shapes: tuple[Shape, ...] = (
        Line(points=((LEFT, zero), (LEFT + WIDTH, zero)), width=0.5),
        Line(points=points, width=1.8),
        Words(text=lane.name, at=(LEFT + ASIDE, y - 4.0), bold=True),
        Words(text=lane.peak_text(row), at=(LEFT + WIDTH - ASIDE, y - 4.0), align="end"),
    )
    return Group(kind="lane", ref=lane.name, title=lane.name, shapes=shapes)


def strip_steps(board: Board, solution: Solution, lock: Lock) -> dict[str, Any]:
    """What differs from row to row of a strip, for a browser that draws it.

    Parameters
    ----------
    board, solution, lock
        As for `waveform_strip`.

    Returns
    -------
    steps : dict
        ``x``: of the points of all curves. ``lanes``: by name, for each of these and each row by
        how much it is lower than in the row before, in tenths of a point, which packs well; and
        for each row the words of the peak. ``groups``: by kind, for each row its SVG. ``pulse``:
        for each row when the pin falls and rises.
    """
    rows, period = range(solution.settled.size), float(solution.period_s[0])
    grid = np.linspace(0.0, period, COLUMNS)
    lanes = {}
    for lane in _lanes(board, solution):
        curves = [period_curve(solution, lane.values, row) for row in rows]
        heights = lane.height_of(np.array([np.interp(grid, *curve) for curve in curves]))
        tenths = np.round(10.0 * heights).astype(int)
        lanes[lane.name] = {
            "lower": np.diff(tenths, axis=0, prepend=0).T.tolist(),
            "peak": [lane.peak_text(row) for row in rows],
        }
    return {
        "x": np.round(LEFT + WIDTH * grid / period, 1).tolist(),
        "lanes": lanes,
        "groups": {
            "window": [group_svg(_window(board, lock, row, period)) for row in rows],
            "edge": [group_svg(_edges(lock, row, period, BOTTOM)) for row in rows],
        },
        "pulse": [pulse_text(lock, row) for row in rows],
    }


def _thresholds(board: Board, bottom: float, high_v: float) -> Group:
    """The controller's two thresholds across the pin's lane."""
    shapes: list[Shape] = []
    rules = board.controller
    for word, volts in (("high", rules.high_threshold_v), ("low", rules.low_threshold_v)):
        y = bottom - HEIGHTS[2] * volts / high_v
        shapes.append(Line(points=((LEFT, y), (LEFT + WIDTH, y)), width=0.6))
        text = f"{word} {quantity_text(volts, 'V')}"
        shapes.append(Words(text=text, at=(LEFT + 0.97 * WIDTH, y - 3.0), align="end"))
    return Group(kind="threshold", title="thresholds of the controller", shapes=tuple(shapes))


def _window(board: Board, lock: Lock, row: int, period: float) -> Group:
    """Where the controller lets its edge come, over the pin's lane; nothing without a pulse."""
    rules, pulses = board.controller, lock.pulses
    falling = rules.edge == "falling"
    late = (pulses.fall_offset_s if falling else pulses.rise_offset_s)[row]
    edge = pulses.fall_s[row] + (0.0 if falling else pulses.low_time_s[row])
    crossings = (edge - late)[np.isfinite(late)] % period
    bottom = BOTTOM
    top, widest = bottom - HEIGHTS[-1], rules.max_offset_s
    # a window at either end of the period is seen at both
    starts = [float(t) + shift - widest for t in crossings for shift in (-period, 0.0, period)]
    spans = [(max(t, 0.0), min(t + 2.0 * widest, period)) for t in starts]
    shapes: list[Shape] = [
        Line(
            points=tuple(
                (_x(t, period), y) for t, y in ((a, top), (b, top), (b, bottom), (a, bottom))
            ),
            closed=True,
            solid=True,
            width=0.0,
        )
        for a, b in spans
        if a < b
    ]
    title = "where the edge may come" if shapes else ""
    return Group(kind="window", title=title, shapes=tuple(shapes))


def _edges(lock: Lock, row: int, period: float, bottom: float) -> Group:
    """Where the pin falls and rises."""
    pulses = lock.pulses
    shapes: list[Shape] = []
    for k in np.flatnonzero(np.isfinite(pulses.low_time_s[row])):
        fall, low = float(pulses.fall_s[row, k]), float(pulses.low_time_s[row, k])
        for at in (fall, (fall + low) % period):
            x = _x(at, period)
            shapes.append(Line(points=((x, bottom - HEIGHTS[2]), (x, bottom)), width=1.0))
    return Group(kind="edge", shapes=tuple(shapes))
