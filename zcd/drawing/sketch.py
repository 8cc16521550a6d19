"""A drawing made of shapes, and its two ways out: SVG text at once, or a matplotlib figure.

The SVG is written directly: that takes a millisecond where matplotlib takes a hundred, its letters
stay letters, and every part is a group of its own with its words for those who cannot see it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from zcd.drawing.canvas import RED, drawing, new_figure
from zcd.drawing.symbols import STROKE, Disc, Line, Shape, Words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

LETTER = 9.0
"""Height of the letters, in points as everything here."""
WIDEST_LETTER = 0.66
"""Mean width of a letter of bold text over its height, on the wide side (DejaVu Sans)."""
MARGIN = 6.0
FONTS = "DejaVu Sans, Verdana, sans-serif"


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Shapes that belong together.

    Parameters
    ----------
    kind : str
        ``wire``, ``part``, ``node``, ``side``, ``link`` or ``mark``.
    ref : str
        Of the part or node; empty for wires.
    title : str
        What a reader who cannot see it is told; may be empty.
    shapes : tuple of Shape
    """

    kind: str
    ref: str = ""
    title: str = ""
    shapes: tuple[Shape, ...]


@dataclass(frozen=True, slots=True)
class Sketch:
    """A drawing: named groups of shapes, in the order in which they are painted.

    `view` is what is shown of it; None: all.
    """

    name: str
    groups: tuple[Group, ...]
    view: tuple[float, float, float, float] | None = None

    def shapes(self) -> Iterator[Shape]:
        """All shapes."""
        for group in self.groups:
            yield from group.shapes

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom of what is shown, with a margin."""
        if self.view is not None:
            return self.view
        left, top, right, bottom = reach(self.groups)
        return left - MARGIN, top - MARGIN, right + MARGIN, bottom + MARGIN


def reach(groups: Iterable[Group], *, words_only: bool = False) -> tuple[float, ...]:
    """Left, top, right, bottom of some groups, or of their words alone."""
    shapes = [s for g in groups for s in g.shapes if isinstance(s, Words) or not words_only]
    xs, ys = zip(*(corner for shape in shapes for corner in _corners(shape)), strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def _corners(shape: Shape) -> list[tuple[float, float]]:
    match shape:
        case Line(points=points):
            return list(points)
        case Disc(at=(x, y), radius=r):
            return [(x - r, y - r), (x + r, y + r)]
        case Words(text=text, at=(x, y), align=align):
            width = WIDEST_LETTER * LETTER * len(text)
            left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[align] * width
            return [(left, y - LETTER), (left + width, y + 0.3 * LETTER)]


def turning(points: FloatArray, off: float) -> FloatArray:
    """A line with only the points at which it turns.

    Parameters
    ----------
    points : array, shape (n, 2)
    off : float
        So far no point that is left out lies off the line that is drawn (Ramer, Douglas, Peucker).
    """
    at = points[:, 0] + 1j * points[:, 1]
    kept, pieces = {0, len(points) - 1}, [(0, len(points) - 1)]
    while pieces:
        start, end = pieces.pop()
        if end - start < 2:
            continue
        straight, away = complex(at[end] - at[start]), at[start + 1 : end] - at[start]
        far = np.abs((away * straight.conjugate()).imag if straight else away)
        turn = start + 1 + int(np.argmax(far))
        if far[turn - start - 1] > off * (abs(straight) or 1.0):
            kept.add(turn)
            pieces += [(start, turn), (turn, end)]
    return points[sorted(kept)]


def sketch_svg(sketch: Sketch) -> str:
    """SVG text that can stand inside HTML; ink is the colour of the text around it.

    Parameters
    ----------
    sketch : Sketch

    Returns
    -------
    str
        From ``<svg`` to ``</svg>``.
    """
    left, top, right, bottom = sketch.box
    width, height = right - left, bottom - top
    groups = "".join(group_svg(group) for group in sketch.groups)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{sketch.name}" '
        f'width="{width:.1f}pt" height="{height:.1f}pt" '
        f'viewBox="{left:.1f} {top:.1f} {width:.1f} {height:.1f}" fill="none" '
        f'stroke="currentColor" stroke-width="{STROKE:g}" '
        f'stroke-linejoin="round" stroke-linecap="round" '
        f'font-family="{FONTS}" font-size="{LETTER:g}">{groups}</svg>'
    )


def group_svg(group: Group) -> str:
    """A group as SVG text."""
    title = f"<title>{escape(group.title)}</title>" if group.title else ""
    ref = f' data-ref="{escape(group.ref)}"' if group.ref else ""
    ink = f' stroke="{RED}"' if group.kind == "mark" else ""
    shapes = "".join(_shape_svg(shape) for shape in group.shapes)
    return f'<g class="{group.kind}"{ref}{ink}>{title}{shapes}</g>'


def _tenth(at: float) -> str:
    """A place to a tenth of a point."""
    return f"{at:.1f}".removesuffix(".0")


def _shape_svg(shape: Shape) -> str:
    match shape:
        case Line():
            tag = "polygon" if shape.closed else "polyline"
            points = " ".join(f"{_tenth(x)},{_tenth(y)}" for x, y in shape.points)
            width = f' stroke-width="{shape.width:g}"' if shape.width != STROKE else ""
            fill = ' fill="currentColor"' if shape.solid else ""
            pattern = " ".join(f"{piece:g}" for piece in shape.dashes)
            dash = f' stroke-dasharray="{pattern}"' if pattern else ""
            return f'<{tag} points="{points}"{width}{fill}{dash}/>'
        case Disc(at=(x, y)):
            fill = ' fill="currentColor"' if shape.solid else ""
            return f'<circle cx="{_tenth(x)}" cy="{_tenth(y)}" r="{shape.radius:g}"{fill}/>'
        case Words(at=(x, y)):
            bold = ' font-weight="bold"' if shape.bold else ""
            anchor = f' text-anchor="{shape.align}"' if shape.align != "start" else ""
            return (
                f'<text x="{_tenth(x)}" y="{_tenth(y)}" fill="currentColor" stroke="none"'
                f"{anchor}{bold}>{escape(shape.text)}</text>"
            )


def sketch_figure(sketch: Sketch) -> Figure:
    """The drawing as a figure in its natural size, for PNG files and notebooks.

    Parameters
    ----------
    sketch : Sketch

    Returns
    -------
    figure : Figure
        One axes without scales, in points.
    """
    left, top, right, bottom = sketch.box
    with drawing():
        figure = new_figure(sketch.name, (right - left) / 72.0, (bottom - top) / 72.0)
        figure.set_layout_engine("none")
        ax = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        ax.set_xlim(left, right)
        ax.set_ylim(bottom, top)
        ax.set_axis_off()
        for group in sketch.groups:
            ink = RED if group.kind == "mark" else "black"
            for shape in group.shapes:
                _draw_shape(ax, shape, ink)
    return figure


def _dashes(line: Line) -> Any:
    """Dashes as matplotlib wants them, in widths of the line."""
    return (0, tuple(piece / line.width for piece in line.dashes)) if line.dashes else "-"


def _draw_shape(ax: Axes, shape: Shape, ink: str) -> None:
    from matplotlib.patches import Circle, Polygon

    match shape:
        case Line(points=points):
            line = Polygon(
                points,
                closed=shape.closed,
                fill=shape.solid,
                facecolor=ink,
                edgecolor=ink,
                lw=shape.width,
                ls=_dashes(shape),
                joinstyle="round",
                capstyle="round",
            )
            ax.add_patch(line)
        case Disc(at=at, radius=radius):
            inks = {"facecolor": ink, "edgecolor": ink}
            ax.add_patch(Circle(at, radius, fill=shape.solid, lw=STROKE, **inks))
        case Words(text=text, at=(x, y)):
            align = {"start": "left", "middle": "center", "end": "right"}[shape.align]
            weight = "bold" if shape.bold else "normal"
            ax.text(x, y, text, ha=align, va="baseline", size=LETTER, weight=weight, color="black")
