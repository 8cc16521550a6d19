"""One mains period drawn for a page: mains, LED current and pin, quick enough to follow a hand."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import led_refs
from zcd.drawing.curves import period_curve
from zcd.drawing.sketch import Group, Sketch
from zcd.drawing.symbols import BARRIER_DASHES, Line, Shape, Words
from zcd.drawing.waveforms import crossing_times_s, mains_period_s, waveform_title
from zcd.engine.solution import Solution
from zcd.report.text import crossing_text, offset_text, quantity_text
from zcd.sync.lock import Lock

FloatArray = NDArray[np.float64]

WIDTH, LEFT = 430.0, 88.0
HEIGHTS = (40.0, 40.0, 140.0)
GAP = 12.0
MIN_TOP_A = 1e-4
FINER = 3
"""Drawn pieces between two solved points: enough for its size, and quick."""
MS = 1e3
CROSSINGS = "dash-dot: true zero crossings"


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
    period = mains_period_s(solution, row)
    refs = led_refs(board)
    led = np.asarray(sum(solution.currents_a[ref] for ref in refs))
    supply = board.output.supply_v
    mains = solution.between_v("line", "neutral")
    peak = float(np.max(np.abs(mains)))
    top_a = max(float(np.max(led)), MIN_TOP_A)
    lanes = (
        ("mains", "V", mains, -peak, peak),
        ("LED current", "A", led, 0.0, top_a),
        ("pin", "V", solution.voltages_v["pin"], 0.0, 1.15 * supply),
    )
    groups = [_window(board, lock, row, period)]
    y = 0.0
    for (name, unit, values, low, high), height in zip(lanes, HEIGHTS, strict=True):
        groups.append(
            _lane(
                name,
                unit,
                period_curve(solution, values, period, row, FINER),
                (low, high),
                (y, height),
                period,
            )
        )
        y += height + GAP
    bottom = y - GAP
    marks: list[Shape] = [
        Line(
            points=((_x(at, period), 0.0), (_x(at, period), bottom)),
            dashes=BARRIER_DASHES,
            width=0.7,
        )
        for at in crossing_times_s(solution, row, period)
    ]
    marks += [
        Words(text=_ms_text(at), at=(_x(at, period), bottom + 13.0), align="middle")
        for at in (0.0, period / 4.0, period / 2.0, 0.75 * period, period)
    ]
    marks.append(Words(text=CROSSINGS, at=(LEFT + WIDTH, bottom + 29.0), align="end"))
    groups.append(Group(kind="crossing", title=CROSSINGS, shapes=tuple(marks)))
    groups.append(_thresholds(board, bottom, 1.15 * supply))
    groups.append(_edges(lock, row, period, bottom))
    return Sketch("lanes", tuple(groups))


def waveform_strip_title(board: Board, solution: Solution, lock: Lock, row: int = 0) -> str:
    """What the lanes show, in one line."""
    return waveform_title(board, solution, lock, row)


def _ms_text(time_s: float) -> str:
    """A time of the axis, plain: quarters of 60 Hz are no round numbers."""
    return f"{round(time_s * MS, 2):g} ms"


def _x(time_s: float, period: float) -> float:
    return LEFT + WIDTH * time_s / period


def _lane(
    name: str,
    unit: str,
    wave: tuple[FloatArray, FloatArray],
    ends: tuple[float, float],
    place: tuple[float, float],
    period: float,
) -> Group:
    """One quantity over time, with its name and its own peak."""
    (time, values), (low, high), (y, height) = wave, ends, place
    peak = float(np.max(values))
    xs = LEFT + WIDTH * time / period
    ys = y + height * (1.0 - (np.clip(values, low, high) - low) / (high - low))
    points = tuple((float(a), float(b)) for a, b in zip(xs, ys, strict=True))
    zero = y + height * high / (high - low)
    shapes: tuple[Shape, ...] = (
        Line(points=((LEFT, zero), (LEFT + WIDTH, zero)), width=0.5),
        Line(points=points, width=1.8),
        Words(text=name, at=(LEFT - 8.0, y + 10.0), align="end", bold=True),
        Words(text=f"peak {quantity_text(peak, unit)}", at=(LEFT - 8.0, y + 22.0), align="end"),
    )
    return Group(kind="lane", ref=name, title=name, shapes=shapes)


def _thresholds(board: Board, bottom: float, high_v: float) -> Group:
    """The controller's two thresholds across the pin's lane."""
    shapes: list[Shape] = []
    rules = board.controller
    for word, volts in (("high", rules.high_threshold_v), ("low", rules.low_threshold_v)):
        y = bottom - HEIGHTS[2] * volts / high_v
        shapes.append(Line(points=((LEFT, y), (LEFT + WIDTH, y)), width=0.6))
        text = f"{word} {quantity_text(volts, 'V')}"
        shapes.append(Words(text=text, at=(LEFT + WIDTH + 5.0, y + 3.0)))
    return Group(kind="threshold", title="thresholds of the controller", shapes=tuple(shapes))


def _window(board: Board, lock: Lock, row: int, period: float) -> Group:
    """Where the controller lets its edge come, over the pin's lane; nothing without a pulse."""
    rules, pulses = board.controller, lock.pulses
    falling = rules.edge == "falling"
    late = (pulses.fall_offset_s if falling else pulses.rise_offset_s)[row]
    edge = pulses.fall_s[row] + (0.0 if falling else pulses.low_time_s[row])
    crossings = (edge - late)[np.isfinite(late)] % period
    bottom = sum(HEIGHTS) + GAP * (len(HEIGHTS) - 1)
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
    title = f"shaded: where the {rules.edge} edge may come, {quantity_text(widest, 's')} either way"
    if shapes:
        y = bottom + 29.0 + 12.0 * np.count_nonzero(np.isfinite(late))
        shapes.append(Words(text=title, at=(LEFT + WIDTH, float(y)), align="end"))
    return Group(kind="window", title=title if shapes else "", shapes=tuple(shapes))


def _edges(lock: Lock, row: int, period: float, bottom: float) -> Group:
    """Where the pin falls and rises, in words below."""
    pulses = lock.pulses
    shapes: list[Shape] = []
    lines = []
    for k in np.flatnonzero(np.isfinite(pulses.low_time_s[row])):
        fall, low = float(pulses.fall_s[row, k]), float(pulses.low_time_s[row, k])
        for at in (fall, (fall + low) % period):
            x = _x(at, period)
            shapes.append(Line(points=((x, bottom - HEIGHTS[2]), (x, bottom)), width=1.0))
        falls, rises = (float(o[row, k]) for o in (pulses.fall_offset_s, pulses.rise_offset_s))
        lines.append(
            f"falls {offset_text(falls)}, rises {crossing_text(rises)}, "
            f"low for {quantity_text(low, 's')}"
        )
    lines = lines or ["no sync pulse"]
    shapes += [
        Words(text=line, at=(LEFT, bottom + 29.0 + 12.0 * n), bold=True)
        for n, line in enumerate(lines)
    ]
    return Group(kind="edge", title="; ".join(lines), shapes=tuple(shapes))
