"""A circuit that the drawing has no place for: its points, and the parts that meet at each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from textwrap import wrap

import numpy as np

from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit, Element, Junction, Phototransistor, TwoNode, is_hidden
from zcd.circuit.points import joint_text
from zcd.drawing.sketch import Group, Sketch
from zcd.drawing.symbols import Disc, Line, Point, Shape, Words
from zcd.engine.network import island_of
from zcd.errors import plain

ROW = 13.0
"""From one line to the next."""
COLUMNS, NARROW_COLUMNS = (0.0, 92.0), (0.0, 12.0)
"""Where the name of a point begins, and the parts at it; where these stand below it."""
NARROW_LETTERS = 38
"""Of a line below a name."""
HARD_SPACE = "\xa0"
"""Within what stays on a line."""
PROBES = ("red", "black")
"""Kinds of the groups that mark them."""
BESIDE, BESIDE_UP = -11.0, 4.0
"""Where the mark of a probe is: left of the name of its point, and over the foot of its line."""


def net_list(
    circuit: Circuit,
    values: Mapping[str, str],
    at_nodes: Mapping[str, str],
    at_parts: Mapping[str, str],
    failed: Mapping[str, str],
    name: str,
    probes: Sequence[str] = (),
    *,
    narrow: bool = False,
) -> Sketch:
    """The circuit as a list: a line for each point.

    Parameters
    ----------
    circuit : Circuit
        One row.
    values : mapping of str to str
        Ref of a part -> what is printed on it.
    at_nodes, at_parts, failed : mapping of str to str
        As of `zcd.drawing.schematic.schematic`; by the own names of nodes.
    name : str
        Of the drawing.
    probes : sequence of str
        Nodes of the red and the black probe; empty: none is marked.
    narrow : bool
        The parts at a point stand below its name.

    Returns
    -------
    sketch : Sketch
    """
    live = island_of(circuit, "line")
    shown = [e for e in circuit if isinstance(e, TwoNode) and not is_hidden(e)]
    second = {own: f" ({alias})" for alias, own in circuit.aliases.items()}
    columns = NARROW_COLUMNS if narrow else COLUMNS
    groups: list[Group] = []
    beside: list[Group] = []
    row = 0

    def words(text: str, column: int, *, bold: bool = False) -> Words:
        return Words(text=text, at=(columns[column], ROW * row), bold=bold)

    sides = [("mains side, LIVE", True), ("controller's side", False)]
    if "pin" in live:
        sides = [("NOT ISOLATED: all of it is LIVE", True)]
    for side, inside in sides:
        groups.append(Group(kind="side", shapes=(words(side, 0, bold=True),)))
        row += 1
        for node in circuit.nodes:
            if (node in live) is not inside:
                continue
            said = [f"{_end(e, node)} {values.get(e.ref, '')}".strip() for e in shown
                    if node in e.nodes]  # fmt: skip
            notes = [at_nodes.get(node, ""), failed.get(node, "")]
            beside += [
                probe_mark(kind, (BESIDE, ROW * row - BESIDE_UP), node, size=0.7)
                for kind, at in zip(PROBES, probes, strict=False)
                if at == node
            ]
            shapes = [words(f"{plain(joint_text(node, circuit))}{second.get(node, '')}", 0)]
            row += narrow
            parts = ", ".join(dict.fromkeys(said))
            whole = [part.replace(" ", HARD_SPACE) for part in dict.fromkeys(said)]
            for line in wrap(", ".join(whole), NARROW_LETTERS) if narrow else [parts]:
                shapes.append(words(line.replace(HARD_SPACE, " "), 1))
                row += 1
            note = " ".join(" ".join(notes).split())
            title = f"{joint_text(node, circuit)}: {', '.join(said)} {note}".strip()
            groups.append(Group(kind="node", ref=node, title=title, shapes=tuple(shapes)))
            if note:  # what is read there, in a line of its own
                shapes = [words(note, 1, bold=True)]
                groups.append(Group(kind="node", ref=node, shapes=tuple(shapes)))
                row += 1
    for ref, text in {**at_parts, **failed}.items():
        if ref in circuit and text:
            shapes = [words(f"{ref}: {' '.join(text.split())}", 0, bold=True)]
            groups.append(Group(kind="mark" if ref in failed else "part", ref=ref, title=text,
                                shapes=tuple(shapes)))  # fmt: skip
            row += 1
    return Sketch(name, (*groups, *beside))


def probe_mark(kind: str, at: Point, node: str, *, size: float = 1.0) -> Group:
    """A disc at the red probe, a square at the black one."""
    x, y = at
    half = 5.5 * size
    square = tuple((x + half * i, y + half * j) for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1)))
    red = kind == PROBES[0]
    shape = (
        Disc(at=at, radius=6.0 * size, solid=True)
        if red
        else Line(points=square, closed=True, solid=True)
    )
    return Group(kind=kind, ref=node, title=f"{kind} probe", shapes=(shape,))


def lines_at_probes(listed: Sketch) -> Sketch:
    """Of a list, its first line and those of the points at which the probes are."""
    at = {group.ref for group in listed.groups if group.kind in PROBES} | {""}
    kept = [group for group in listed.groups if group.ref in at]
    rows = sorted({_row(shape) for group in kept for shape in group.shapes})

    def moved(shape: Shape) -> Shape:
        up = ROW * (_row(shape) - rows.index(_row(shape)))
        if isinstance(shape, Line):
            return replace(shape, points=tuple((x, y - up) for x, y in shape.points))
        return replace(shape, at=(shape.at[0], shape.at[1] - up))

    groups = tuple(replace(group, shapes=tuple(map(moved, group.shapes))) for group in kept)
    return Sketch(listed.name, groups)


def _row(shape: Shape) -> int:
    """Of a shape in a list."""
    y = float(np.mean([y for _, y in shape.points])) if isinstance(shape, Line) else shape.at[1]
    return round((y + BESIDE_UP) / ROW)


def net_lines(board: Board) -> list[str]:
    """The points of the mains side, and the parts that meet at each, a line each."""
    circuit = build_circuit(board)
    live = island_of(circuit, "line")
    lines = ["Each of these points is one piece of copper; the beeper confirms it:"]
    for node in circuit.nodes:
        ends = [
            _end(e, node)
            for e in circuit
            if isinstance(e, TwoNode) and not is_hidden(e) and node in e.nodes and e.ref != "mains"
        ]
        if node in live:
            lines.append(f"  {joint_text(node, circuit)}: {', '.join(dict.fromkeys(ends))}")
    return lines


def _end(element: Element, node: str) -> str:
    """A part, and which of its ends is at a node where that matters."""
    end = element.nodes.index(node)
    if element.ref.endswith(".be"):
        return f"{element.ref.removesuffix('.be')} {('base', 'emitter')[end]}"
    if isinstance(element, Phototransistor):
        return f"{element.ref} {('collector', 'emitter')[end]}"
    if isinstance(element, Junction):
        return f"{element.ref} {('anode', 'cathode')[end]}"
    return element.ref
