"""The lanes of the page: scaled to all rows, with the words of the pulse."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from tests.drawing.test_schematic import text_boxes
from tests.jobs.demo_job import DARK, HOLDS
from zcd.board.files import parse_board
from zcd.circuit.build import Conditions, build_circuit
from zcd.drawing.sketch import Sketch, turning
from zcd.drawing.symbols import Line, Words
from zcd.drawing.waveform_strip import LEFT, WIDTH, pulse_text, waveform_strip
from zcd.engine.solve import solve
from zcd.report.text import quantity_text
from zcd.sync.lock import Lock, judge


def drawn(text: str, *mains_v: float) -> tuple[list[Sketch], Lock]:
    board = parse_board(text)
    solution = solve(build_circuit(board, Conditions(mains_rms_v=np.array(mains_v))))
    lock = judge(solution, board)
    return [waveform_strip(board, solution, lock, row) for row in range(len(mains_v))], lock


def wave(sketch: Sketch, lane: str) -> np.ndarray:
    (group,) = [g for g in sketch.groups if g.kind == "lane" and g.ref == lane]
    return np.array(next(s.points for s in group.shapes if isinstance(s, Line) and s.width > 1.0))


def test_what_fades_is_seen_to_fade() -> None:
    """Half the mains is drawn half as high: 60 V beside 120 V."""
    (half, whole), _ = drawn(HOLDS, 60.0, 120.0)
    heights = [np.ptp(wave(sketch, "mains")[:, 1]) for sketch in (half, whole)]
    assert heights[0] / heights[1] == pytest.approx(0.5, rel=0.01)
    led = [np.ptp(wave(sketch, "LED current")[:, 1]) for sketch in (half, whole)]
    assert led[0] / led[1] == pytest.approx(0.5, rel=0.03)


def test_what_is_left_out_of_a_line_lies_on_it() -> None:
    """A sine, read off between the points that are drawn (numpy.interp)."""
    x = np.linspace(0.0, 500.0, 649)
    y = 20.0 * np.sin(2.0 * np.pi * x / 500.0)
    drawn_x, drawn_y = turning(np.column_stack([x, y]), 0.05).T
    assert drawn_x.size < x.size / 5
    assert (drawn_x[0], drawn_x[-1]) == (x[0], x[-1])
    assert np.max(np.abs(np.interp(x, drawn_x, drawn_y) - y)) < 0.06
    ring = turning(np.array([[0.0, 0.0], [4.0, 0.0], [8.0, 0.0], [8.0, 6.0], [0.0, 0.0]]), 0.05)
    assert ring.tolist() == [[0.0, 0.0], [8.0, 0.0], [8.0, 6.0], [0.0, 0.0]]


def test_each_lane_tells_its_own_peak() -> None:
    """The crest of a sine is the square root of two above its RMS value, on any scale."""
    (half, _), _ = drawn(HOLDS, 60.0, 120.0)
    (mains,) = [g for g in half.groups if g.ref == "mains"]
    words = [s.text for s in mains.shapes if isinstance(s, Words)]
    assert words == ["mains", f"peak {quantity_text(60.0 * 2.0**0.5, 'V')}"]


def test_time_runs_once_over_the_width() -> None:
    (sketch,), _ = drawn(HOLDS, 120.0)
    x = wave(sketch, "pin")[:, 0]
    assert np.all(np.diff(x) >= 0.0)
    assert x[0] == pytest.approx(LEFT, abs=0.03 * WIDTH)
    assert x[-1] == pytest.approx(LEFT + WIDTH, abs=0.03 * WIDTH)


def test_the_pulse_in_words() -> None:
    _, lock = drawn(HOLDS, 120.0)
    low = quantity_text(float(lock.pulses.low_time_s[0, 0]), "s")
    assert f"low for {low}" in pulse_text(lock)


def test_no_pulse_is_said() -> None:
    _, lock = drawn(DARK, 120.0)
    assert pulse_text(lock) == "no sync pulse"


def test_the_window_of_the_edge_is_shaded_around_the_crossing() -> None:
    """The edge is in it as long as its rule passes; without a pulse there is none."""
    (none, whole), lock = drawn(HOLDS, 1.0, 120.0)
    board = parse_board(HOLDS)
    (window,) = [g for g in whole.groups if g.kind == "window"]
    spans = [[x for x, _ in s.points] for s in window.shapes if isinstance(s, Line)]
    period = 1.0 / 60.0
    wide = sum(max(xs) - min(xs) for xs in spans)
    assert wide == pytest.approx(WIDTH * 2.0 * board.controller.max_offset_s / period, rel=1e-3)
    fall = LEFT + WIDTH * (float(lock.pulses.fall_s[1, 0]) % period) / period
    assert any(min(xs) <= fall <= max(xs) for xs in spans)
    assert not any(g.shapes for g in none.groups if g.kind == "window")


@pytest.mark.parametrize("text", [HOLDS, DARK])
def test_no_word_lies_on_another(text: str) -> None:
    for sketch in drawn(text, 207.0, 230.0)[0]:
        for (one, a), (other, b) in combinations(text_boxes(sketch).items(), 2):
            apart = a[2] < b[0] or b[2] < a[0] or a[3] < b[1] + 0.5 or b[3] < a[1] + 0.5
            assert apart, (one, other)
