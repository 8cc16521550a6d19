"""Drawings of matplotlib as the page shows them: without styles, short, their letters letters."""

from __future__ import annotations

import re

import numpy as np

from zcd.drawing.canvas import drawing, figure_svg, new_figure
from zcd.web.pictures import TURN_PT, page_picture


def test_a_picture_is_short_and_in_its_place() -> None:
    """An area under a sine: what is left out lies within a tenth and the tolerance."""
    with drawing():
        figure = new_figure("sine", 7.2, 4.0)
        ax = figure.subplots()
        x = np.linspace(0.0, 1.0, 500)
        ax.fill_between(x, np.sin(6.0 * x))
        ax.set_title("x & <y>, 2.345 V")
        plain = figure_svg(figure, letters=True)
    shown = str(page_picture(plain))
    assert "style" not in shown
    assert "x &amp; &lt;y&gt;, 2.345 V</text>" in shown
    assert 'font-size="9px"' in shown
    assert len(shown) < len(plain) / 3

    def outline(svg: str) -> np.ndarray:
        longest = max(re.findall(r' d="([^"]*)"', svg), key=len)
        return np.array(re.findall(r"[ML]\s*([\d.]+) ([\d.]+)", longest), dtype=float)

    before, after = outline(plain), outline(shown)
    for x0, y0 in before:
        a, b = after[:-1], after[1:]
        along = np.clip(((x0 - a[:, 0]) * (b - a)[:, 0] + (y0 - a[:, 1]) * (b - a)[:, 1])
                        / np.maximum(((b - a) ** 2).sum(1), 1e-12), 0.0, 1.0)  # fmt: skip
        near = a + along[:, None] * (b - a)
        assert np.hypot(*(near - (x0, y0)).T).min() < TURN_PT + 0.2
