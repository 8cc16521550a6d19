"""No words on words, on a curve or out of the picture, in any named figure.

Measured as drawn: the boxes of all texts, and the curves in pixels.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from itertools import combinations

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.path import Path
from matplotlib.text import Text
from matplotlib.transforms import Bbox

import zcd
from tests.boards import VARIANTS
from tests.drawing.test_loss_map import drawn
from tests.jobs.demo_job import DARK, lost_below, outlook, share_lost, solved
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.capture import Capture
from zcd.diagnosis.capture_measurements import find_traces
from zcd.drawing.canvas import WHITE
from zcd.drawing.captures import capture_figure
from zcd.drawing.figures import (
    loss_map_figure,
    outlook_figures,
    story_figures,
    timeline_figure,
    waveform_figure,
)
from zcd.drawing.overlay import overlay_figure
from zcd.engine.solve import solve
from zcd.simulation.timeline import Story
from zcd.sync.lock import judge

CLOUD = "cloud"
"""Dots all over an area; words may stand among them."""
FEW = ("half-wave", "two-led", "emitter follower", "joint capacitor")
Shown = list[tuple[Text, Bbox]]
TOUCH = 0.5
"""Pixels by which boxes may meet: hardly the half of a line."""


def shown(figure: Figure) -> Shown:
    """All texts that are drawn, with their boxes in pixels."""
    FigureCanvasAgg(figure).draw()
    ticks = {
        label
        for ax in figure.axes
        for axis, (low, high) in ((ax.xaxis, ax.get_xlim()), (ax.yaxis, ax.get_ylim()))
        for tick in axis.get_major_ticks()
        if not min(low, high) <= tick.get_loc() <= max(low, high)
        for label in (tick.label1, tick.label2)
    }
    texts: list[Text] = figure.findobj(Text)  # type: ignore[assignment]
    return [
        (text, text.get_window_extent())
        for text in texts
        if text.get_visible() and text.get_text().strip() and text not in ticks
    ]


def met(texts: Shown) -> list[tuple[str, str]]:
    """Pairs of texts that lie on one another."""
    return [
        (one.get_text(), other.get_text())
        for (one, a), (other, b) in combinations(texts, 2)
        if min(a.x1, b.x1) - max(a.x0, b.x0) > TOUCH and min(a.y1, b.y1) - max(a.y0, b.y0) > TOUCH
    ]


def struck(figure: Figure, texts: Shown) -> list[str]:
    """Texts that a line goes through, or that leave the figure; a white ground is no excuse."""
    width, height = figure.bbox.size
    out = [
        text.get_text()
        for text, box in texts
        if box.x0 < -TOUCH or box.y0 < -TOUCH or box.x1 > width + TOUCH or box.y1 > height + TOUCH
    ]
    low = np.array([[box.x0, box.y0] for _, box in texts]) + TOUCH
    high = np.array([[box.x1, box.y1] for _, box in texts]) - TOUCH
    for ax in figure.axes:
        for label, path in drawn_lines(ax):
            ink = ink_of(path, ax.bbox)[:, None]
            hit = np.any(np.all((ink > low) & (ink < high), axis=2), axis=0)
            out += [f"{texts[k][0].get_text()} on {label}" for k in np.flatnonzero(hit)]
    return out


def drawn_lines(ax: Axes) -> Iterator[tuple[str, Path]]:
    """What is drawn as a line, in pixels: curves, contours, arrows; outlines of lone markers."""
    for line in ax.lines:
        if line.get_linestyle() != "None":
            yield str(line.get_label()), line.get_path().transformed(line.get_transform())
        elif line.get_label() != CLOUD:
            radius = 0.5 * line.get_markersize() * ax.figure.dpi / 72.0
            for x, y in line.get_transform().transform(np.asarray(line.get_xydata(), dtype=float)):
                yield str(line.get_label()), Path.circle((x, y), radius)
    for area in ax.collections:
        if area.get_edgecolor().size and np.any(np.asarray(area.get_linewidth()) > 0.0):
            for path in area.get_paths():
                yield str(area.get_label()), path.transformed(area.get_transform())
    for word in ax.texts:
        arrow = getattr(word, "arrow_patch", None)
        if arrow is not None:
            yield str(word.get_label()), arrow.get_path().transformed(arrow.get_transform())


def ink_of(path: Path, inside: Bbox) -> np.ndarray:
    """Points of a line in pixels, a pixel or less apart, as far as they are in the axes."""
    pieces = [np.empty((0, 2))]
    for points in path.cleaned(remove_nans=True).to_polygons(closed_only=False):
        way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
        at = np.linspace(0.0, way[-1], int(way[-1]) + 2)
        pieces.append(np.stack([np.interp(at, way, side) for side in points.T], axis=1))
    ink = np.concatenate(pieces)
    within = (ink >= [inside.x0, inside.y0]) & (ink <= [inside.x1, inside.y1])
    return np.asarray(ink[np.all(within, axis=1)])


def waveforms(board: Board) -> Figure:
    solution = solve(build_circuit(board))
    return waveform_figure(board, solution, judge(solution, board))


@cache
def story(cause: str, without_sync: str) -> Story:
    board = zcd.loads(
        """name = "Ostrel D3 mushroom dryer, invented"
mains = "240 V 50 Hz"
feed = "switched"
optocoupler = "817 C"
rectifier = "1N4007"
chain = {style = "1206", resistors = ["56k", "56k", "56k"]}
output = {pull_up = "33k", supply = "5 V"}"""
    )
    return zcd.story(board.with_(without_sync=without_sync), cause, seconds=20.0)


def story_of(cause: str, without_sync: str = "inhibit") -> list[Figure]:
    told = story(cause, without_sync)
    return list(story_figures(told.board, told))


def narrow_story_of(cause: str, without_sync: str) -> Figure:
    told = story(cause, without_sync)
    return timeline_figure(told, told.board.name, narrow=True)


def map_of(limit: float) -> Figure:
    lost = lost_below(limit)
    return loss_map_figure(solved().board, lost, share_lost(lost))


def narrow_map_of(limit: float) -> Figure:
    lost = lost_below(limit)
    return loss_map_figure(solved().board, lost, share_lost(lost), width_in=3.4)


def captured() -> Figure:
    """A pin at 0.2 V for 9 ms of each 20 ms, at 5 V for the rest."""
    time = np.arange(0.0, 0.1, 1e-5)
    volts = np.where((time - 0.005) % 0.02 < 0.009, 0.2, 5.0)
    capture = Capture(name="c.csv", time_s=time, channels_v=volts[None, :])
    return capture_figure(solved().board, find_traces(capture, solved().board))


def checked_with_spice(fault: str) -> Figure:
    return overlay_figure(zcd.compare_spice(solved().board, fault=fault))


FIGURES: dict[str, Callable[[], list[Figure]]] = {
    "waveforms": lambda: [waveforms(VARIANTS[name]) for name in FEW],
    "waveforms of all": lambda: [waveforms(board) for board in VARIANTS.values()],
    "waveforms, LED dark": lambda: [waveforms(solved(DARK).board)],
    "map": lambda: [loss_map_figure(solved().board, lost_below(0.2))],
    "map with shares": lambda: [map_of(limit) for limit in (0.2, 0.5, 0.8)],
    "map for a phone": lambda: [narrow_map_of(0.2)],
    "map with narrow areas": lambda: [drawn()],
    "outlook": lambda: outlook_figures(solved().board, outlook()),
    "outlook for a phone": lambda: outlook_figures(solved().board, outlook(), narrow=True),
    "capture": lambda: [captured()],
    "story, healthy": lambda: story_of("healthy"),
    "story, contact open": lambda: story_of("K1 contact open"),
    "story for a phone": lambda: [
        narrow_story_of("K1 contact open", "inhibit"),
        narrow_story_of("R1 open", "free-run"),
    ],
    "story, shaken": lambda: story_of("R1 opens when shaken"),
    "story, own clock": lambda: story_of("R1 open", "free-run"),
    "two solvers": lambda: [checked_with_spice("healthy")],
    "two solvers, dark": lambda: [checked_with_spice("R1 open")],
}
SLOW = ("waveforms of all", "story, healthy", "story, own clock", "two solvers, dark")


@pytest.mark.parametrize(
    "name", [n if n not in SLOW else pytest.param(n, marks=pytest.mark.slow) for n in FIGURES]
)
def test_no_words_on_words_or_on_a_curve(name: str) -> None:
    for figure in FIGURES[name]():
        texts = shown(figure)
        assert not met(texts)
        assert not struck(figure, texts)


def test_words_on_words_and_on_a_curve_would_be_seen() -> None:
    figure = Figure()
    ax = figure.subplots()
    ax.plot([0.0, 1.0], [0.0, 1.0], label="curve")
    for words, ground in (("one", None), ("other", WHITE)):
        ax.text(0.5, 0.5, words, ha="center", va="center", bbox=ground)
    texts = shown(figure)
    assert met(texts) == [("one", "other")]
    assert struck(figure, texts) == ["one on curve", "other on curve"]


def test_words_on_contours_arrows_and_markers_would_be_seen() -> None:
    figure = Figure()
    ax = figure.subplots()
    ax.set(xlim=(0.0, 1.0), ylim=(0.0, 1.0))
    contour = ax.contour([[0.0, 0.0], [1.0, 1.0]], levels=[0.2], linestyles=":")
    contour.set_label("contour")
    ax.annotate("", (0.9, 0.5), (0.1, 0.5), arrowprops={"arrowstyle": "->"}, label="arrow")
    ax.plot(0.5, 0.8, marker="o", ms=4.0, ls="none", label="marker")
    for level in (0.2, 0.5, 0.8):
        ax.text(0.5, level, "words", ha="center", va="center", bbox=WHITE)
    assert struck(figure, shown(figure)) == [
        f"words on {label}" for label in ("marker", "contour", "arrow")
    ]
