"""Drawings of matplotlib for the page: no style within them, and a fifth of their length."""

from __future__ import annotations

import re

import numpy as np
from markupsafe import Markup

from zcd.drawing.sketch import FONTS, turning

TURN_PT = 0.2
"""So far a point lies off the straight line between two others, or it is left out."""


def page_picture(svg: str) -> Markup:
    """A drawing of our own for the page, which allows no style within it: attributes instead."""
    svg = re.sub(r"<style.*?</style>", "", svg[svg.index("<svg") :], flags=re.DOTALL)
    whole = f'<svg class="picture" stroke-linejoin="round" font-family="{FONTS}" '
    svg = svg.replace("<svg ", whole, 1)
    svg = re.sub(r' style="([^"]*)"', _attributes, re.sub(r">\s+<", "><", svg))
    return Markup(re.sub(r' (d|x|y|transform)="([^"]*)"', _places, svg))


def _attributes(style: re.Match[str]) -> str:
    """What stood in a style, as attributes of the same names."""
    pairs = (part.partition(":") for part in style[1].split(";") if part.strip())
    named = ((name.strip(), value.strip()) for name, _, value in pairs)
    return "".join(f' {name}="{value}"' for name, value in named if name != "font-family")


def _places(attribute: re.Match[str]) -> str:
    """Places to a tenth of a point, and no point on the straight line between two others."""
    name, text = attribute[1], re.sub(r"(\d+\.\d)\d+", r"\1", attribute[2])
    if name == "d" and re.fullmatch(r"[MLz\d\s.-]*", text):
        text = "".join(map(_straightened, re.findall(r"M[^M]*", text)))
    return f' {name}="{text}"'


def _straightened(line: str) -> str:
    """A line of a path with only the points at which it turns."""
    pairs = (pair.split() for pair in re.split("[MLz]", line) if pair.strip())
    points = turning(np.array(list(pairs), dtype=float), TURN_PT)
    ends = "L".join(f"{x:g} {y:g}" for x, y in points)
    return f"M{ends}{'z' if 'z' in line else ''}"
