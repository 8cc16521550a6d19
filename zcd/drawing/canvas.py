"""The sheet that figures are drawn on, and how they leave it: SVG text or a file."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any
from zlib import crc32

from zcd.files import PICTURE_ENDINGS, SVG_END, require_ending, write_whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.backend_bases import FigureCanvasBase
    from matplotlib.figure import Figure

BLUE, RED, GREY, LIGHT = "#0072B2", "#D55E00", "0.45", "0.9"
"""Told apart by colour-blind eyes and, by their lightness, in black and white."""

WHITE: dict[str, Any] = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
"""Ground for a label that stands on hatching or a line."""
LEFT: dict[str, Any] = {"x": 0.01, "ha": "left"}
"""Place of a figure's title."""
TITLE_LETTERS, NARROW_LETTERS = 72, 36
"""So many fit into a line of it; and where it is narrow."""
WIDTH_IN, NARROW_IN = 7.2, 3.4
"""Width of a figure; and of one that a phone shows whole, with letters of 12 px."""

STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.titlesize": 9.0,
    "axes.labelsize": 9.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "hatch.linewidth": 0.5,
    "lines.linewidth": 1.6,
    "text.parse_math": False,
    "text.usetex": False,
    "figure.autolayout": False,
    "figure.constrained_layout.use": False,
    "svg.hashsalt": "zcd",
}
PNG_DPI, SVG_DPI = 200, 72
# All that a drawing would otherwise say about when and by what it was made.
_NO_METADATA = dict.fromkeys(("Creator", "Date", "Format", "Type"))
_UNIT = re.compile(r"(?<=\d) (?=\S)")
_ID = re.compile(r'(\bid="|href="#|url\(#)')


def title_lines(words: str, letters: int = TITLE_LETTERS) -> str:
    """A title or caption in lines that fit; a number and its unit stay together."""
    held = "\N{NO-BREAK SPACE}"
    return fill(_UNIT.sub(held, words), letters).replace(held, " ")


@contextmanager
def drawing() -> Iterator[None]:
    """Style for drawing; afterwards matplotlib's own settings are as before."""
    import matplotlib

    with matplotlib.rc_context(STYLE), warnings.catch_warnings():
        # A board's name may hold letters that the font lacks; they are drawn as boxes.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        yield


def new_figure(name: str, width_in: float, height_in: float) -> Figure:
    """An empty figure without a window; `name` goes before every id in its SVG."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    figure.set_gid(name)
    return figure


@contextmanager
def _laid_out(fig: Figure, canvas: type[FigureCanvasBase], dpi: float) -> Iterator[None]:
    """Its layout is that of the file it goes to: `savefig` draws all of it once more for that."""
    engine, own_canvas, own_dpi = fig.get_layout_engine(), fig.canvas, fig.dpi
    if engine is None or not fig.axes:
        yield
        return
    canvas(fig)
    fig.dpi = dpi
    engine.execute(fig)
    fig.set_layout_engine(None)
    fig.dpi = own_dpi
    try:
        yield
    finally:
        fig.set_layout_engine(engine)
        fig.set_canvas(own_canvas)


def figure_svg(fig: Figure, *, letters: bool = False) -> str:
    """SVG text that can stand inside HTML.

    Parameters
    ----------
    fig : Figure
        Its gid keeps the ids of several figures on one page apart.
    letters : bool
        Whether letters stay letters; else outlines, which look alike everywhere, and are long.

    Returns
    -------
    str
        From ``<svg`` to ``</svg>``; the same figure always gives the same text.
    """
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    buffer = BytesIO()
    kind: dict[Any, Any] = {"svg.fonttype": "none" if letters else "path"}
    with drawing(), matplotlib.rc_context(kind), _laid_out(fig, FigureCanvasSVG, SVG_DPI):
        fig.savefig(buffer, format="svg", metadata=_NO_METADATA)
    text = buffer.getvalue().decode("utf-8")
    name = fig.get_gid() or "figure"
    return _ID.sub(rf"\g<1>{name}-", text[text.index("<svg") :])


def own_svg(fig: Figure) -> str:
    """The same with ids that no other figure on the page has, whatever its gid."""
    svg = figure_svg(fig)
    mark = f"{crc32(svg.encode()):08x}"
    return _ID.sub(rf"\g<1>{mark}-", svg)


def save_figure(fig: Figure, path: str | Path) -> Path:
    """Write a figure whole or not at all.

    Parameters
    ----------
    fig : Figure
    path : str or Path
        Ends in ``.png`` or ``.svg``; an existing file is replaced.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If its name has another ending, or it cannot be written.
    """
    require_ending(path, PICTURE_ENDINGS)
    path = Path(path)
    if path.suffix.lower() == ".svg":
        return write_whole(path, figure_svg(fig).rstrip("\n").encode("utf-8") + b"\n" + SVG_END)
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    buffer = BytesIO()
    with drawing(), _laid_out(fig, FigureCanvasAgg, PNG_DPI):
        fig.savefig(buffer, format="png", dpi=PNG_DPI, metadata={"Software": "zcd"})
    return write_whole(path, buffer.getvalue())


def label_beside(ax: Axes, level: float, text: str) -> None:
    """A label in the right margin, at a level of the axes."""
    ax.annotate(
        text,
        xy=(1.0, level),
        xycoords=("axes fraction", "data"),
        xytext=(5.0, 0.0),
        textcoords="offset points",
        va="center",
        annotation_clip=False,
    )
