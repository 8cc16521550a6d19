"""A circuit that the drawing has no place for: its points, and the parts that meet at each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit, Element, Junction, Phototransistor, TwoNode, is_hidden
from zcd.circuit.points import joint_text
from zcd.drawing.sketch import Group, Sketch
from zcd.drawing.symbols import Disc, Line, Point, Words
from zcd.engine.network import island_of
from zcd.errors import plain

ROW = 13.0
"""From one line to the next."""
COLUMNS = (0.0, 92.0)
"""Where the name of a point begins, and the parts at it."""
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

    Returns
    -------
    sketch : Sketch
    """
    live = island_of(circuit, "line")
    shown = [e for e in circuit if isinstance(e, TwoNode) and not is_hidden(e)]
    second = {own: f" ({alias})" for alias, own in circuit.aliases.items()}
    groups: list[Group] = []
    beside: list[Group] = []
    sides = [("mains side, LIVE", True), ("controller's side", False)]
    if "pin" in live:
        sides = [("NOT ISOLATED: all of it is LIVE", True)]
    for side, inside in sides:
        groups.append(Group(kind="side", shapes=(_words(side, 0, len(groups), bold=True),)))
        for node in circuit.nodes:
            if (node in live) is not inside:
                continue
            said = [f"{_end(e, node)} {values.get(e.ref, '')}".strip() for e in shown
                    if node in e.nodes]  # fmt: skip
            notes = [at_nodes.get(node, ""), failed.get(node, "")]
            row = len(groups)
            marks = [kind for kind, at in zip(PROBES, probes, strict=False) if at == node]
            shapes = [_words(f"{plain(joint_text(node, circuit))}{second.get(node, '')}", 0, row)]
            shapes += [_words(", ".join(dict.fromkeys(said)), 1, row)]
            words = " ".join(" ".join(notes).split())
            title = f"{joint_text(node, circuit)}: {', '.join(said)} {words}".strip()
            groups.append(Group(kind="node", ref=node, title=title, shapes=tuple(shapes)))
            groups += _notes(words, node, len(groups))
            beside += [
                probe_mark(kind, (BESIDE, ROW * row - BESIDE_UP), size=0.7) for kind in marks
            ]
    for ref, text in {**at_parts, **failed}.items():
        if ref in circuit and text:
            shapes = [_words(f"{ref}: {' '.join(text.split())}", 0, len(groups), bold=True)]
            groups.append(Group(kind="mark" if ref in failed else "part", ref=ref, title=text,
                                shapes=tuple(shapes)))  # fmt: skip
    return Sketch(name, (*groups, *beside))


def probe_mark(kind: str, at: Point, *, size: float = 1.0) -> Group:
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
    return Group(kind=kind, title=f"{kind} probe", shapes=(shape,))


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


def _notes(words: str, node: str, row: int) -> Iterator[Group]:
    """What is read at a point, in a line of its own."""
    if words:
        yield Group(kind="node", ref=node, shapes=(_words(words, 1, row, bold=True),))


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


def _words(text: str, column: int, row: int, *, bold: bool = False) -> Words:
    return Words(text=text, at=(COLUMNS[column], ROW * row), bold=bold)
