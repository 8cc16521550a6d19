"""A circuit diagram in pieces, for a page to put beside or under each other as there is room."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import ceil

import numpy as np

from zcd.drawing.nets import PROBES
from zcd.drawing.sketch import MARGIN, Group, Sketch, reach
from zcd.drawing.symbols import Line, Shape, Words

FLAT = 100.0
"""Height up to which a drawing is one line of parts."""
STUB = 12.0
"""Of the wire beyond a probe."""
SIDE_NAME = 8.0
"""From a side's drawing up to its name."""


def sides(sketch: Sketch) -> tuple[Sketch, ...]:
    """The mains side and the isolated side of a circuit diagram, each under its name.

    Parameters
    ----------
    sketch : Sketch
        As `schematic` draws it; what has no barrier stays whole.
    """
    barrier = next((g for g in sketch.groups if g.kind == "side"), None)
    if barrier is None or not isinstance(barrier.shapes[0], Line):
        return (sketch,)
    line, *names = barrier.shapes
    assert isinstance(line, Line)
    (x, y), (_, end_y) = line.points
    axis, at = (1, y) if y == end_y else (0, x)
    kept: tuple[list[Group], list[Group]] = ([], [])
    for group in sketch.groups:
        if group.kind == "wire":  # which are on both sides
            apart: tuple[list[Shape], list[Shape]] = ([], [])
            for wire in group.shapes:
                apart[_middle(replace(group, shapes=(wire,)))[axis] > at].append(wire)
            for side, wires in zip(kept, apart, strict=True):
                side.append(replace(group, shapes=tuple(wires)))
        elif group.kind not in ("side", "link"):
            kept[_middle(group)[axis] > at].append(group)
    pieces = []
    for name, groups in zip(names, kept, strict=True):
        left, top, right, _ = reach(groups)
        assert isinstance(name, Words)
        above = (0.5 * (left + right), top - SIDE_NAME)
        title = Group(kind="side", shapes=(replace(name, at=above, align="middle"),))
        pieces.append(Sketch(sketch.name, (title, *groups)))
    return tuple(pieces)


def rows(sketch: Sketch, width: float) -> tuple[Sketch, ...]:
    """A line of parts on as many rows as it needs; each begins at the point where one ended.

    What lies beyond the probes is left out then.

    Parameters
    ----------
    sketch : Sketch
        At the probes, as `zoomed` makes it.
    width : float
        Of a row, in points.

    Returns
    -------
    tuple of Sketch
        The drawing itself where it fits, or is more than a line.
    """
    left, top, right, bottom = sketch.box
    result: tuple[Sketch, ...] = (sketch,)
    marks = [_middle(g)[0] for g in sketch.groups if g.kind in PROBES]
    if bottom - top > FLAT or right - left <= width or not marks:
        return result
    left, right = min(marks) - STUB, max(marks) + STUB
    joints = {_middle(g)[0] for g in sketch.groups if g.kind == "node"}
    places = np.array(sorted(x for x in joints if left + STUB < x < right - STUB))
    for number in range(ceil((right - left) / width), places.size + 2):
        ideal = np.linspace(left, right, number + 1)[1:-1]
        cuts = sorted({float(places[np.argmin(np.abs(places - x))]) for x in ideal})
        result = tuple(_row(sketch, begin, end) for begin, end in pairwise([left, *cuts, right]))
        if all(row.box[2] - row.box[0] <= width for row in result):
            break
    return result


def _row(sketch: Sketch, begin: float, end: float) -> Sketch:
    """What lies between two points of a line, with the names of both."""
    kept = []
    for group in sketch.groups:
        a, _, c, _ = reach([group])
        is_wire = group.kind == "wire"
        if (a < end and c > begin) if is_wire else begin <= _middle(group)[0] <= end:
            kept.append(group)
    a, _, c, _ = reach(g for g in kept if g.kind != "wire")
    first, top, last, bottom = sketch.box
    view = (min(begin, max(a, first)) - MARGIN, top, max(end, min(c, last)) + MARGIN, bottom)
    return Sketch(sketch.name, tuple(kept), view)


def _middle(group: Group) -> tuple[float, float]:
    """Middle of a group."""
    left, top, right, bottom = reach([group])
    return 0.5 * (left + right), 0.5 * (top + bottom)
