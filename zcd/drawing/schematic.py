"""The board as a circuit diagram: parts with their values, nodes with what is read there.

It reads the element list. A part that failed is boxed, crossed and named in words, so that no
colour is needed to see it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from math import cos, hypot, pi, sin

import numpy as np

from zcd.board.model import Board
from zcd.circuit.build import build_circuit, led_refs
from zcd.circuit.elements import (
    Capacitance,
    Circuit,
    DcSource,
    Element,
    MainsSource,
    Resistance,
)
from zcd.circuit.points import joint_text, part_words
from zcd.drawing.layout import (
    CELL,
    LABEL,
    LED_WORDS,
    NARROW_CELL,
    Name,
    NoPlaceError,
    Plan,
    Point,
    Spot,
    place,
)
from zcd.drawing.nets import PROBES, net_list, probe_mark
from zcd.drawing.sketch import LETTER, MARGIN, WIDEST_LETTER, Group, Sketch, reach
from zcd.drawing.symbols import (
    BARRIER_DASHES,
    CLOSED_CONTACT,
    LINK_DASHES,
    RELAY,
    Disc,
    Line,
    Shape,
    Symbol,
    Words,
    place_shapes,
    symbol_of,
)
from zcd.engine.network import island_of
from zcd.errors import plain
from zcd.report.text import quantity_text

LINE = 11.0
"""From one line of words to the next."""
HOP = 4.0
"""Radius of the bow with which one wire passes over another."""
UNDER = 19.0
"""From a lying part down to its first line of words."""
ABOVE = 13.0
"""From a node up to its last line of words."""
OVER_CONTACT = 5.0
"""More of it where a contact is boxed, which reaches higher than other parts."""
PAD = 3.5
"""Between a symbol and the box that marks it."""
BESIDE, NEXT = 24.0, 18.0
"""Free around the words at the pin or an LED, and between those at two nodes of a chain."""
BETWEEN = 18.0
"""Free between the words below two parts that lie side by side, or beside one that stands."""
LONGEST = 12
"""Letters of a marking."""
TITLE = 60.0
"""From the top wire up to the titles of both sides."""
LINK = 80.0
"""From the top wire up to the link of coil and contact: over all words."""
BESIDE_COIL = 40.0
"""From a coil to the link that comes down to it."""
NEAR = (24.0, 26.0)
"""Beside and above the probes: what is nearer is shown with them."""
FAR = 90.0
"""From a probe to the name of its point, at most, where it is shown with it."""
NAMES = 40.0
"""Left of a way down the page, for the names of its nodes."""
OPENS_CONTACT = ("K1.contact", "K1.coil", "K1.driver", "coil supply")
"""What, failed open or missing, leaves the contact open."""

NOTHING: Mapping[str, str] = {}


def schematic(
    board: Board,
    circuit: Circuit | None = None,
    *,
    at_nodes: Mapping[str, str] = NOTHING,
    at_parts: Mapping[str, str] = NOTHING,
    failed: Mapping[str, str] = NOTHING,
    probes: tuple[str, str] | None = None,
    name: str = "schematic",
    narrow: bool = False,
) -> Sketch:
    """Draw the sync circuit of a board; one that has no place on a drawing as a list of its points.

    Parameters
    ----------
    board : Board
        Gives the markings of diodes and optocoupler.
    circuit : Circuit, optional
        One row; that of the board if not given.
    at_nodes, at_parts : mapping of str to str
        Node, or ref of a part -> words that stand there, such as a reading; lines are kept.
    failed : mapping of str to str
        Ref of a part, or a node -> what is wrong with it, such as ``open``.
    probes : tuple of str, optional
        Nodes at which the red and the black probe are marked.
    name : str
        Of the drawing; a class in its SVG.
    narrow : bool
        For a narrow page: the chain runs down it, the mains side stands over the isolated side.

    Returns
    -------
    sketch : Sketch
    """
    circuit = build_circuit(board) if circuit is None else circuit
    notes = {circuit.node(node): text for node, text in at_nodes.items()}
    live = island_of(circuit, "line")
    at_live = [text for node, text in notes.items() if node in live]
    widest = sorted(_width([text]) for text in at_live)[-2:]  # at both ends of a part, at most
    cell = max(CELL, sum(widest) / 2.0 + NEXT, _width(at_parts.values()) + BETWEEN)
    if narrow:
        said = sum(map(_height, (at_live, at_parts.values(), failed.values())))
        cell = max(NARROW_CELL, LINE * (3.6 + said))  # a gap shows what belongs together
    label = max(LABEL, _width([notes.get("pin", "")]) + BESIDE)
    leds = set(led_refs(board))
    led = max(LED_WORDS, _width(at_parts.get(ref, "") for ref in leds) + BESIDE)
    wrong = {_home(circuit, key): text for key, text in failed.items()}
    try:
        if not board.is_isolated:  # a drawing has a barrier
            raise NoPlaceError
        plan = place(circuit, cell, label, led, narrow=narrow)
    except NoPlaceError:
        values = {e.ref: " ".join(_value_lines(board, e)) for e in circuit}
        ends = [] if probes is None else list(map(circuit.node, probes))
        return net_list(circuit, values, notes, at_parts, wrong, name, ends, narrow=narrow)
    second = {
        home: f" ({alias})"
        for alias, home in circuit.aliases.items()
        if not alias.startswith("chain.")
    }
    lift = LINE * max(_height(notes.values()) - 1, 0)
    groups = [_side_titles(plan, lift), _wires(plan)]
    for spot in plan.spots:
        ref = spot.element.ref
        symbol = symbol_of(spot.element, leds)
        if ref == "K1.contact" and _is_closed(spot.element, wrong):
            symbol = CLOSED_CONTACT
        lines = [_brief(line) for line in (*_name_lines(ref), *_value_lines(board, spot.element))]
        groups.append(_part(spot, symbol, lines, at_parts.get(ref, ""), wrong.get(ref, "")))
        if ref in wrong:
            groups.append(_mark(_outline(spot, symbol)))
    for source, at in plan.supplies:
        groups.append(_supply(source, at, wrong.get(source.ref, "")))
        if source.ref in wrong:
            groups.append(_mark(_around((at[0], at[1] - 12.5))))
    above = ABOVE + OVER_CONTACT * ("K1.contact" in wrong)
    for node, place_of_name in plan.names.items():
        text = plain(joint_text(node, circuit)) + second.get(node, "")
        there = notes.get(node, ""), wrong.get(node, "")
        groups.append(_node(node, place_of_name, plan, text, *there, above=above))
        if node in wrong:
            groups.append(_mark(_around(plan.pin if node == "pin" else place_of_name.at)))
    if not narrow and "K1.contact" in {spot.element.ref for spot in plan.spots}:
        groups.append(_relay_link(plan, notes, lift))
    if probes is not None:
        groups += _probe_marks(plan, *map(circuit.node, probes))
    return Sketch(name, tuple(groups))


def zoomed(sketch: Sketch) -> Sketch:
    """The part of a drawing in which the probes are, with the words there whole; all of it where
    it shows none.

    Parameters
    ----------
    sketch : Sketch
        Drawn with `probes`.
    """
    marks = [group for group in sketch.groups if group.kind in PROBES]
    if not marks or all(group.kind != "wire" for group in sketch.groups):  # a list of nets
        return sketch
    left, top, right, bottom = reach([*marks, *_names_beside(sketch, marks)])
    core = (left - NEAR[0], top - NEAR[1], right + NEAR[0], bottom + NEAR[1])

    def is_near(group: Group) -> bool:
        a, b, c, d = reach([group], words_only=group.kind in ("part", "node"))
        return a < core[2] and c > core[0] and b < core[3] and d > core[1]

    kept = [g for g in sketch.groups if g.kind == "wire" or g in marks or is_near(g)]
    named = [g for g in kept if g.kind in ("part", "node")]
    a, b, c, d = reach(named, words_only=True)
    view = (
        min(core[0], a) - MARGIN, min(top, b) - MARGIN,
        max(core[2], c) + MARGIN, max(bottom, d) + MARGIN,
    )  # fmt: skip
    return Sketch(
        f"{sketch.name} zoom", tuple(g for g in kept if g.kind not in ("side", "link")), view
    )


def _names_beside(sketch: Sketch, marks: Sequence[Group]) -> list[Group]:
    """The names of the points at which the probes are, where they are not far away."""
    result = []
    for mark in marks:
        a, b, c, d = reach([mark])
        for group in sketch.groups:
            if group.kind == "node" and group.ref == mark.ref:
                left, top, right, bottom = reach([group])
                away = max(a - right, left - c, b - bottom, top - d)
                result += [group] * (away < FAR)
    return result


def _probe_marks(plan: Plan, red: str, black: str) -> list[Group]:
    """A disc at the red probe, a square at the black one, where their nodes are nearest."""
    ends = [(s.element.a, s.start) for s in plan.spots] + [(s.element.b, s.end) for s in plan.spots]
    ends += [("pin", plan.pin), ("logic0", plan.ground), *((s.a, at) for s, at in plan.supplies)]
    pairs = [(p, q) for a, p in ends if a == red for b, q in ends if b == black]
    if not pairs:
        return []
    (x, y), (u, v) = min(pairs, key=lambda pair: hypot(*np.subtract(*pair)))
    return [probe_mark("red", (x, y), red), probe_mark("black", (u, v), black)]


def _width(texts: Iterable[str]) -> float:
    """Room that the longest line of some words takes."""
    lines = [line for text in texts for line in text.splitlines()]
    return WIDEST_LETTER * LETTER * max(map(len, lines), default=0)


def _height(texts: Iterable[str]) -> int:
    """Lines of the highest of some words."""
    return max((len(text.splitlines()) for text in texts), default=0)


def _brief(text: str) -> str:
    """A marking that fits beside its part."""
    text = plain(text)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"


def _home(circuit: Circuit, key: str) -> str:
    """A part's ref as it is, a node by the name it has in the elements."""
    return key if key in circuit else circuit.node(key)


def _name_lines(ref: str) -> list[str]:
    """A part's name; that of the second LED is too long for a line."""
    return part_words(ref).replace(" second", "\nsecond").split("\n")


def _value_lines(board: Board, element: Element) -> list[str]:
    """What is printed on a part, as far as it is known."""
    match element:
        case Resistance(ref=ref) if ref not in RELAY or ref == "K1.coil":
            numbers = [(element.resistance_ohm, "Ω")]
        case Capacitance():
            numbers = [(element.capacitance_f, "F")]
        case MainsSource():
            numbers = [(element.rms_v, "V"), (element.frequency_hz, "Hz")]
        case _:
            return _marking(board, element.ref)
    return [quantity_text(float(np.max(value)), unit) for value, unit in numbers]


def _marking(board: Board, ref: str) -> list[str]:
    """The marking of a diode or of the optocoupler; nothing for other parts."""
    if (opto := board.optocoupler) is not None and ref == opto.ref:
        return [f"{opto.family} {opto.grade}"]
    return [d.part for d in board.diodes if ref == d.ref or ref[:-1] == d.ref][:1]


def _side_titles(plan: Plan, lift: float) -> Group:
    """The isolation barrier, and what stands on either side of it; higher over higher words."""
    if plan.barrier_y is None:
        x, y, align = plan.barrier_x, plan.top - TITLE - lift, "end"
        ends = (x, y - 10.0), (x, plan.bottom + 34.0)
        above, below = (x - 9.0, y), (x + 9.0, y)
        where = "mains side, live, on the left; controller's side on the right"
    else:
        x, y, align = plan.left - NAMES, plan.barrier_y, "start"
        ends = (x, y), (plan.right, y)
        above, below = (x, y - 6.0), (plan.pin[0] + 6.0, y + LINE + 2.0)
        where = "mains side, live, above; controller's side below"
    return Group(
        kind="side",
        title=f"isolation barrier: {where}",
        shapes=(
            Line(points=ends, dashes=BARRIER_DASHES, width=1.0),
            Words(text="mains, LIVE", at=above, align=align, bold=True),
            Words(text="controller", at=below, bold=True),
        ),
    )


def _wires(plan: Plan) -> Group:
    """Wires with bows where they cross, and dots where they join."""
    shapes: list[Shape] = []
    for wire in plan.wires:
        shapes.append(Line(points=_with_bows(wire, plan)))
    segments = [*plan.wires, *((s.start, s.end) for s in plan.spots)]
    meeting = Counter(point for segment in segments for point in segment)
    for point in meeting:
        meeting[point] += 2 * sum(_inside(point, wire) for wire in plan.wires)
    shapes += [Disc(at=p, radius=1.9, solid=True) for p, n in meeting.items() if n > 2]
    x, y = plan.ground
    shapes.append(Line(points=((x, y), (x, y + 7.0))))
    shapes += [
        Line(points=((x - half, y + down), (x + half, y + down)))
        for half, down in ((8.0, 7.0), (5.0, 10.0), (2.0, 13.0))
    ]
    shapes.append(Disc(at=(plan.pin[0] + 2.5, plan.pin[1]), radius=2.5))
    return Group(kind="wire", shapes=tuple(shapes))


def _inside(point: Point, wire: tuple[Point, Point]) -> bool:
    """Whether a point lies on a wire, away from its ends."""
    (ax, ay), (bx, by) = wire
    x, y = point
    return (ax == bx == x and min(ay, by) < y < max(ay, by)) or (
        ay == by == y and min(ax, bx) < x < max(ax, bx)
    )


def _with_bows(wire: tuple[Point, Point], plan: Plan) -> tuple[Point, ...]:
    """A standing wire with a bow over each lying one that it crosses."""
    (x, begin), (end_x, end) = wire
    if x != end_x:
        return wire
    lying = {a[1] for a, b in plan.wires if a[1] == b[1] and _inside((x, a[1]), (a, b))}
    crossed = sorted(y for y in lying if min(begin, end) < y < max(begin, end))
    points = [(x, min(begin, end))]
    for y in crossed:
        turns = [pi * k / 8.0 for k in range(9)]
        points += [(x - HOP * sin(turn), y - HOP * cos(turn)) for turn in turns]
    return (*points, (x, max(begin, end)))


def _is_closed(contact: Element, wrong: Mapping[str, str]) -> bool:
    """Whether the load contact is drawn closed: its coil is driven, and nothing keeps it open."""
    assert isinstance(contact, Resistance)
    kept_open = any(wrong.get(ref, "").startswith(("open", "missing")) for ref in OPENS_CONTACT)
    return bool(np.all(np.isfinite(contact.resistance_ohm))) and not kept_open


def _relay_link(plan: Plan, notes: Mapping[str, str], lift: float) -> Group:
    """A dashed line from the load contact to the coil that moves it, over everything else."""
    spots = {spot.element.ref: spot for spot in plan.spots}
    (x, y), (coil_x, coil_y) = spots["K1.contact"].centre, spots["K1.coil"].centre
    high, down_x = plan.top - LINK - lift, coil_x - BESIDE_COIL
    low = y - 6.0
    pieces: list[tuple[Point, ...]] = []
    # not through the words at a node over the contact
    over = {label.at[1]: node for node, label in plan.names.items() if label.at[0] == x}
    for node_y in sorted(over, reverse=True):
        words = 1 + len(notes.get(over[node_y], "").splitlines())
        pieces.append(((x, low), (x, node_y - 4.0)))
        low = node_y - ABOVE - LINE * words - 2.0
    pieces.append(((x, low), (x, high), (down_x, high), (down_x, coil_y), (coil_x - 13.0, coil_y)))
    return Group(
        kind="link",
        title="the coil of K1 closes its contact",
        shapes=tuple(Line(points=points, dashes=LINK_DASHES, width=0.8) for points in pieces),
    )


def _along(spot: Spot) -> Point:
    """Direction from a part's first node to its second."""
    dx, dy = spot.end[0] - spot.start[0], spot.end[1] - spot.start[1]
    length = hypot(dx, dy)
    return dx / length, dy / length


def _mirrored(spot: Spot) -> bool:
    """Whether sides are swapped, so that light leaves upwards or to the right, or else down."""
    return (min(_along(spot)) < 0.0) is not spot.flipped


Box = tuple[Point, Point]


def _outline(spot: Spot, symbol: Symbol) -> Box:
    """Upper left and lower right corner of a symbol where it stands."""
    corners = Line(points=tuple((x, y) for x in (-1.0, 1.0) for y in symbol.across))
    scaled = replace(corners, points=tuple((x * symbol.half_length, y) for x, y in corners.points))
    (placed,) = place_shapes((scaled,), spot.centre, _along(spot), mirrored=_mirrored(spot))
    assert isinstance(placed, Line)
    xs, ys = zip(*placed.points, strict=True)
    return (min(xs), min(ys)), (max(xs), max(ys))


def _around(point: Point) -> Box:
    """A small box about a point."""
    return (point[0] - 5.0, point[1] - 5.0), (point[0] + 5.0, point[1] + 5.0)


def _part(spot: Spot, symbol: Symbol, lines: list[str], note: str, wrong: str) -> Group:
    """A symbol with its leads and its words."""
    along, (x, y) = _along(spot), spot.centre
    shapes = [*place_shapes(symbol.shapes, spot.centre, along, mirrored=_mirrored(spot))]
    for end, sign in ((spot.start, -1.0), (spot.end, 1.0)):
        step = sign * symbol.half_length
        body = (x + step * along[0], y + step * along[1])
        shapes.append(Line(points=(end, body)))
    words = [(line, False) for line in lines] + [(line, True) for line in note.splitlines()]
    words += [(line, True) for line in wrong.splitlines()]
    away = 6.0 * bool(wrong)
    if along[0]:
        under = max(UNDER, symbol.across[1] + 10.0)
        over = max(UNDER - 5.0, 4.0 + min(map(abs, symbol.across)))
        high = -over - LINE * (len(words) - 1) - away if spot.flipped else under + away
        first, side, align = (x, y + high), 0.0, "middle"
    else:
        up = 0.5 * LINE * (len(words) - 1) - 0.35 * LINE
        first, side, align = (x, y + symbol.words_dy - up), symbol.words_dx + away, "start"
        if symbol.words_dy:
            first = (x, y + symbol.words_dy + away)
    shapes += [
        Words(text=text, at=(first[0] + side, first[1] + k * LINE), align=align, bold=bold)
        for k, (text, bold) in enumerate(words)
    ]
    title = ", ".join(text for text, _ in words)
    return Group(kind="part", ref=spot.element.ref, title=title, shapes=tuple(shapes))


def _mark(box: Box) -> Group:
    """A heavy box around what has failed, with a cross on its lower left corner."""
    (left, top), (right, bottom) = box
    left, top, right, bottom = left - PAD, top - PAD, right + PAD, bottom + PAD
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    cross = [
        Line(points=((left - 3.5, bottom - s * 3.5), (left + 3.5, bottom + s * 3.5)), width=2.2)
        for s in (-1.0, 1.0)
    ]
    return Group(kind="mark", shapes=(Line(points=corners, closed=True, width=2.2), *cross))


def _supply(source: DcSource, at: Point, wrong: str) -> Group:
    """A supply as a terminal above its node."""
    x, y = at
    text = f"{plain(source.ref)} {quantity_text(float(np.max(source.voltage_v)), 'V')}"
    shapes: list[Shape] = [
        Line(points=((x, y), (x, y - 10.0))),
        Disc(at=(x, y - 12.5), radius=2.5),
        Words(text=text, at=(x + 7.0 + 6.0 * bool(wrong), y - 9.5)),
    ]
    if wrong:
        shapes.append(Words(text=wrong, at=(x + 13.0, y - 9.5 + LINE), bold=True))
    return Group(kind="part", ref=source.ref, title=f"{text} {wrong}".strip(), shapes=tuple(shapes))


def _node(
    node: str, label: Name, plan: Plan, text: str, note: str, wrong: str, *, above: float
) -> Group:
    """A node's name and the words there."""
    lines = [(text, False), *((line, True) for line in (*note.splitlines(), *wrong.splitlines()))]
    (x, y), align = label.at, "middle"
    match label.where:
        case "above":
            y -= above + LINE * (len(lines) - 1)
            if _goes_up(label.at, plan):
                x, align = x + 4.0, "start"
        case "below":
            y += LINE + 4.0
        case "raised":
            x, y, align = x + 7.0, y - 5.0 - LINE * (len(lines) - 1), "start"
        case "left":
            x, align = x - 9.0 - 4.0 * bool(wrong), "end"
            y += 0.35 * LINE - 0.5 * LINE * (len(lines) - 1)
        case _:
            x, align = x + 9.0 + 4.0 * bool(wrong), "start"
            y += 0.35 * LINE - 0.5 * LINE * (len(lines) - 1)
    words = tuple(
        Words(text=line, at=(x, y + k * LINE), align=align, bold=bold)
        for k, (line, bold) in enumerate(lines)
    )
    return Group(kind="node", ref=node, title=", ".join(t for t, _ in lines), shapes=words)


def _goes_up(point: Point, plan: Plan) -> bool:
    """Whether something goes up from a point."""
    segments = [*plan.wires, *((s.start, s.end) for s in plan.spots)]
    return any(
        point in segment and any(x == point[0] and y < point[1] for x, y in segment)
        for segment in segments
    )
