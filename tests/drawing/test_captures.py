"""A capture drawn as shapes: each cycle, the model, the thresholds, on one scale."""

from __future__ import annotations

import numpy as np
import pytest

from tests.diagnosis.boards import board
from zcd.diagnosis.capture import Capture
from zcd.diagnosis.capture_measurements import find_traces
from zcd.drawing.captures import PLOT_HEIGHT, PLOT_LEFT, PLOT_WIDTH, capture_sketch
from zcd.drawing.sketch import Group
from zcd.drawing.symbols import Line


def line(group: Group, number: int = 0) -> np.ndarray:
    shape = group.shapes[number]
    assert isinstance(shape, Line)
    return np.array(shape.points)


def test_cycles_stand_over_the_model() -> None:
    """A pin at 0.2 V for 9 ms of each 20 ms, at 5 V for the rest, five times."""
    time = np.arange(0.0, 0.1, 1e-5)
    volts = np.where((time - 0.005) % 0.02 < 0.009, 0.2, 5.0)
    capture = Capture(name="c.csv", time_s=time, channels_v=volts[None, :])
    sketch = capture_sketch(board(), find_traces(capture, board()))
    groups = {group.kind: group for group in sketch.groups}
    cycles = groups["captured"].shapes
    assert 4 <= len(cycles) <= 6
    x, y = line(groups["captured"], 1).T
    low = y > 0.9 * PLOT_HEIGHT
    # time counts from the falling edge
    assert np.ptp(x[low]) / PLOT_WIDTH * 20.0 == pytest.approx(9.0, abs=0.1)
    assert x.min() >= PLOT_LEFT
    assert x.max() <= PLOT_LEFT + PLOT_WIDTH
    (model,) = groups["model"].shapes
    assert isinstance(model, Line)
    assert model.dashes
    assert not any(isinstance(s, Line) and s.dashes for s in cycles)
    high, low = (line(groups["threshold"], k)[0, 1] for k in (2, 0))
    rules = board().controller
    step = (rules.high_threshold_v - rules.low_threshold_v) / 5.0
    # 5 V from bottom to top, but for what the model's pin lacks of its supply
    assert (low - high) / PLOT_HEIGHT == pytest.approx(step, rel=0.02)
