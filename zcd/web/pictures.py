"""Drawings of matplotlib for the page: no style within them, and a fifth of their length."""

from __future__ import annotations

import re
from itertools import pairwise
from math import hypot

from markupsafe import Markup

from zcd.drawing.sketch import FONTS

TURN_PT = 0.15
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
    points = [tuple(map(float, pair.split())) for pair in re.split("[MLz]", line) if pair.strip()]
    kept = points[:1]
    for (x, y), (u, v) in pairwise(points[1:]):
        a, b = kept[-1]
        if abs((x - a) * (v - b) - (y - b) * (u - a)) > TURN_PT * hypot(u - a, v - b):
            kept.append((x, y))
    ends = "L".join(f"{x:g} {y:g}" for x, y in (*kept, *points[1:][-1:]))
    return f"M{ends}{'z' if 'z' in line else ''}"
