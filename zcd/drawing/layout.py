"""Where the parts of an element list stand on the drawing: the mains side left, the pin right.

Coordinates are printer's points, y downwards. The way from ``line`` to ``led+`` runs along the
top, ``neutral`` along the bottom; strings of parts that leave that way and come back stand above
it, what goes down to a rail hangs in columns below it. Only nodes have names here; which parts
there are, and how many, comes from the list.

On a narrow page the mains side is turned: its way runs down the left, the rails down the right, and
the isolated side stands below it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from zcd.board.pins import INTERNAL_PULL_UP
from zcd.circuit.elements import (
    Circuit,
    DcSource,
    Element,
    MainsSource,
    Phototransistor,
    TwoNode,
    is_hidden,
)
from zcd.engine.network import islands
from zcd.errors import InputError

Point = tuple[float, float]

CELL = 62.0
"""Room for a part that lies."""
COLUMN = 74.0
"""Room for a part that stands, with its words on the right."""
HEIGHT = 150.0
"""From the top to the bottom rail."""
RAIL = 60.0
"""From the bottom up to the LED's own rail, where it has one."""
TAP = 12.0
"""How far left of a leg its tap goes down."""
OVER = 74.0
"""From one row of strings above the top to the next."""
LED_WORDS = 80.0
"""Room for the LED's name before the barrier."""
LIGHT = 44.0
"""Room for the light behind the barrier."""
LABEL = 76.0
"""Room for the words at a node on the right."""
NARROW_CELL = 54.0
"""Room for a part of a chain that runs down the page."""
AFTER_COLUMN = 44.0
"""More of it below a part that lies, with its words under it."""
LYING_WORDS = 20.0
"""More than a cell between two parts that lie on it, each with its words."""
RAISED = 36.0
"""More of it before a name that stands above what lies at its node."""
LED_SHARE = 0.64
"""Where on its way to the rail a lying LED is."""
STEP_DOWN = 50.0
"""From the mains side down to the barrier, and on to the isolated side."""
INWARDS = 18.0
"""How far the name at the upper right corner is from it."""
PIN_STEP = 36.0
"""From the last column to the pin, where room is short."""
NARROW_LEFT = -36.0
"""Where the isolated side begins under the mains side."""


class NoPlaceError(InputError):
    """A circuit that cannot be drawn."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A part on the drawing: its two ends and the middle of its body, on one line.

    `flipped` turns its sides round, so that an LED shines down.
    """

    element: TwoNode
    start: Point
    end: Point
    centre: Point
    flipped: bool = False


@dataclass(frozen=True, slots=True)
class Name:
    """Where a node is labelled: `above`, `below`, `right`, `left`, or `raised` beside a wire."""

    at: Point
    where: str


@dataclass(frozen=True, slots=True)
class String:
    """Parts in series, and the nodes they run through, one more than the parts."""

    elements: tuple[TwoNode, ...]
    nodes: tuple[str, ...]

    @property
    def ends(self) -> frozenset[str]:
        """Both ends."""
        return frozenset((self.nodes[0], self.nodes[-1]))

    def since(self, node: str) -> String:
        """The same string, told from one of its ends."""
        if self.nodes[0] == node:
            return self
        return String(self.elements[::-1], self.nodes[::-1])


@dataclass(slots=True)
class Plan:
    """A drawing's geometry.

    Parameters
    ----------
    spots : list of Spot
    wires : list of pair of Point
        Between the ends of parts; they meet only at their ends.
    names : dict
        Node -> where its label stands.
    supplies : list of (DcSource, Point)
        Supplies, drawn as terminals at their positive node.
    ground : Point
        Of the isolated side.
    pin : Point
        Terminal of the controller's pin.
    barrier_x : float
        Between the mains side (left) and the isolated side.
    barrier_y : float or None
        The same where the mains side stands over the isolated side.
    left, top, right, bottom : float
        Reach of the geometry; words reach further.
    """

    spots: list[Spot] = field(default_factory=list)
    wires: list[tuple[Point, Point]] = field(default_factory=list)
    names: dict[str, Name] = field(default_factory=dict)
    supplies: list[tuple[DcSource, Point]] = field(default_factory=list)
    ground: Point = (0.0, 0.0)
    pin: Point = (0.0, 0.0)
    barrier_x: float = 0.0
    barrier_y: float | None = None
    left: float = 0.0
    top: float = 0.0
    right: float = 0.0
    bottom: float = HEIGHT

    def wire(self, *points: Point) -> None:
        """A wire through points; pieces of no length are left out."""
        self.wires += [(a, b) for a, b in pairwise(points) if a != b]

    def turn(self) -> None:
        """Swap right and down, for all there is so far."""

        def turned(point: Point) -> Point:
            return point[1], point[0]

        self.spots = [
            replace(s, start=turned(s.start), end=turned(s.end), centre=turned(s.centre))
            for s in self.spots
        ]
        self.wires = [(turned(a), turned(b)) for a, b in self.wires]
        places = {"above": "right", "right": "above"}
        self.names = {
            node: Name(turned(name.at), places.get(name.where, name.where))
            for node, name in self.names.items()
        }
        self.left, self.top, self.right, self.bottom = self.top, self.left, self.bottom, self.right

    def add_below(self, other: Plan, down: float) -> None:
        """Take in the isolated side, so far down."""

        def moved(point: Point) -> Point:
            return point[0], point[1] + down

        self.spots += [
            replace(s, start=moved(s.start), end=moved(s.end), centre=moved(s.centre))
            for s in other.spots
        ]
        self.wires += [(moved(a), moved(b)) for a, b in other.wires]
        self.names |= {k: Name(moved(name.at), name.where) for k, name in other.names.items()}
        self.supplies += [(source, moved(at)) for source, at in other.supplies]
        self.ground, self.pin = moved(other.ground), moved(other.pin)
        self.right, self.bottom = max(self.right, other.right), other.bottom + down

    def lay(self, string: String, begin: Point, end: Point, joints: str) -> None:
        """Parts one after another between two points; joints are labelled `above` or `right`."""
        number = len(string.elements)

        def at(share: float) -> Point:
            return tuple(p + (q - p) * share for p, q in zip(begin, end, strict=True))  # type: ignore[return-value]

        for k, element in enumerate(string.elements):
            ends = (at(k / number), at((k + 1) / number))
            start, stop = ends if element.a == string.nodes[k] else ends[::-1]
            self.spots.append(Spot(element, start, stop, at((k + 0.5) / number)))
            if k:
                self.names[string.nodes[k]] = Name(ends[0], joints)


def _is_drawn(element: Element) -> bool:
    """Parts with a marking, and the pull-up inside the controller: it feeds the pin."""
    return not is_hidden(element) or element.ref == INTERNAL_PULL_UP


def place(
    circuit: Circuit,
    cell: float = CELL,
    label: float = LABEL,
    led: float = LED_WORDS,
    *,
    narrow: bool = False,
) -> Plan:
    """Place all parts of a circuit.

    Parameters
    ----------
    circuit : Circuit
        As `zcd.circuit.build` makes it, with or without faults.
    cell : float
        Room for a part that lies; more where the words at its nodes are long.
    label, led : float
        Room for the words right of the pin, and right of the last LED.
    narrow : bool
        Whether the mains side runs down the page, over the isolated side.

    Returns
    -------
    plan : Plan

    Raises
    ------
    NoPlaceError
        If a part stands between nodes for which there is no place.
    """
    shown = [e for e in circuit if isinstance(e, TwoNode) and _is_drawn(e)]
    live = next(island for island in islands(circuit) if "line" in island)
    mains = [e for e in shown if e.a in live]
    rest = [e for e in shown if e.a not in live]
    leds = {ref for e in rest if isinstance(e, Phototransistor) for ref in e.leds}
    plan = Plan()
    columns = _isolated_columns(rest)
    light_y = _light_y(columns)
    side = _MainsSide(plan, mains, leds, light_y, cell, narrow=narrow)
    side.draw()
    if narrow:
        _put_below(plan, side, rest, columns, label)
    else:
        plan.barrier_x = plan.right + led
        _draw_isolated(plan, rest, columns, plan.barrier_x + LIGHT, label)
    missing = [e.ref for e in shown if e.ref not in _placed_refs(plan)]
    if missing:
        raise NoPlaceError(f"the drawing must have a place for every part, got none for {missing}")
    return plan


def _put_below(
    plan: Plan, side: _MainsSide, rest: list[TwoNode], columns: Columns, label: float
) -> None:
    """The mains side turned, its LEDs shining down, and the isolated side under it."""
    plan.turn()
    plan.spots = [
        replace(s, flipped=s.element.ref in {*side.leds, "mains"} and s.start[1] == s.end[1])
        for s in plan.spots
    ]
    spans = [sorted(side.x[n] for n in string.ends) for string in side.over]
    for node in side.way.nodes:
        left = not any(a <= side.x[node] <= b for a, b in spans)
        if side.hangs(node):
            plan.names[node] = Name(plan.names[node].at, "left" if left else "raised")
    x, y = plan.names["neutral"].at
    plan.names["neutral"] = Name((x - INWARDS, y), "above")
    if "led-" in plan.names:
        plan.names["led-"] = Name(plan.names["led-"].at, "raised")
    plan.barrier_y = plan.bottom + STEP_DOWN
    isolated = Plan()
    _draw_isolated(isolated, rest, columns, NARROW_LEFT, label, PIN_STEP)
    plan.add_below(isolated, plan.barrier_y + STEP_DOWN)


def _placed_refs(plan: Plan) -> set[str]:
    return {s.element.ref for s in plan.spots} | {source.ref for source, _ in plan.supplies}


def _strings(elements: Iterable[TwoNode], anchors: Collection[str]) -> list[String]:
    """Parts in series joined to strings; a string ends at anchors and where ways part."""
    left = list(elements)
    touching: dict[str, int] = {}
    for element in left:
        for node in element.nodes:
            touching[node] = touching.get(node, 0) + 1
    result = []
    while left:
        first = left.pop(0)
        string = String((first,), first.nodes)
        for _ in range(2):  # on from its far end, then from its near one
            end = string.nodes[-1]
            while end not in anchors and touching[end] == 2:
                more = next((e for e in left if end in e.nodes), None)
                if more is None:
                    break
                left.remove(more)
                far = more.b if more.a == end else more.a
                string = String((*string.elements, more), (*string.nodes, far))
                end = far
            string = string.since(string.nodes[-1])
        result.append(string)
    return result


def _first_way(elements: Sequence[TwoNode], start: str, goal: str, rails: set[str]) -> String:
    """The way from `start` to `goal` that takes the first part listed at each node."""

    def on(way: String) -> String | None:
        here = way.nodes[-1]
        if here == goal:
            return way
        for element in elements:
            if here not in element.nodes or element in way.elements:
                continue
            far = element.b if element.a == here else element.a
            if far in way.nodes or far in rails:
                continue
            result = on(String((*way.elements, element), (*way.nodes, far)))
            if result is not None:
                return result
        return None

    result = on(String((), (start,)))
    if result is None:
        raise NoPlaceError(f"a drawing needs a way from {start!r} to {goal!r}, got none")
    return result


class _MainsSide:
    """The mains side: the way along the top, strings above it, columns below it."""

    def __init__(
        self,
        plan: Plan,
        elements: list[TwoNode],
        leds: set[str],
        light_y: float,
        cell: float,
        *,
        narrow: bool = False,
    ) -> None:
        self.plan, self.leds, self.light_y, self.cell = plan, leds, light_y, cell
        self.narrow = narrow
        self.column = max(COLUMN, cell + LYING_WORDS) if narrow else COLUMN
        rails = {"neutral", "led-"} & {n for e in elements for n in e.nodes}
        self.rail_y = {"neutral": HEIGHT}
        if "led-" in rails:
            self.rail_y["led-"] = HEIGHT - RAIL
        self.reach: dict[str, list[float]] = {rail: [] for rail in self.rail_y}
        self.sources = [e for e in elements if isinstance(e, MainsSource)]
        passive = [e for e in elements if not isinstance(e, MainsSource)]
        self.way = _first_way(passive, "line", "led+", rails)
        strings = _strings(
            [e for e in passive if e not in self.way.elements], {*self.way.nodes, *rails}
        )
        on_way = set(self.way.nodes)
        self.over = [s for s in strings if s.ends <= on_way]
        self.legs = _legs(strings) if "led-" in rails else []
        rest = [s for s in strings if s not in self.over and not any(s in leg for leg in self.legs)]
        self.back = [s for s in rest if not s.ends & on_way]
        self.hanging = [s for s in rest if s.ends & on_way]
        self.hanging.sort(key=lambda s: s.elements[0].ref in leds)
        self.x: dict[str, float] = {}

    def draw(self) -> None:
        """Put everything into the plan."""
        self._spread()
        self._draw_way()
        self._draw_over()
        for node in self.way.nodes[:-1]:
            self._hang(node, self.x[node])
        last = self.way.nodes[-1]
        for leg in self.legs:
            self._draw_leg(*leg)
        self._hang(last, self.x[last] + self.column * len(self.legs))
        self._draw_back()
        self._draw_rails()

    def _below(self, node: str) -> list[String]:
        return [s for s in self.hanging if node in s.ends]

    def hangs(self, node: str) -> bool:
        """Whether something goes from a node on the way to a rail."""
        legs = bool(self.legs) and node == self.way.nodes[-1]
        return bool(self._below(node)) or legs or node == self.way.nodes[0]

    def _more_room(self, before: str, node: str) -> float:
        """What a part of a way down the page needs more, for words beside what lies there."""
        if not self.narrow:
            return 0.0
        return AFTER_COLUMN * bool(self._below(before)) + RAISED * self.hangs(node)

    def _spread(self) -> None:
        """Places of the nodes along the top."""
        nodes, x = self.way.nodes, 0.0
        self.x[nodes[0]] = x
        for before, node in pairwise(nodes):
            x += self.cell + self.column * max(len(self._below(before)) - 1, 0)
            x += self._more_room(before, node)
            for string in self.over:
                (start, *_) = sorted(string.ends & self.x.keys() or [node])
                if node in string.ends and start != node:
                    x = max(x, self.x[start] + self.cell * len(string.elements))
            self.x[node] = x
        if self.legs:
            begin = max((self.x[n] for n in nodes[:-1] if self._below(n)), default=0.0)
            least = (
                begin + self.cell * max((len(s.elements) for s in self.back), default=0) + 2.0 * TAP
            )
            self.x[nodes[-1]] = max(x + 2.0 * TAP, least)

    def _draw_way(self) -> None:
        nodes = self.way.nodes
        for element, a, b in zip(self.way.elements, nodes, nodes[1:], strict=False):
            begin = self.x[a] + self.column * max(len(self._below(a)) - 1, 0)
            self.plan.lay(String((element,), (a, b)), (begin, 0.0), (self.x[b], 0.0), "above")
        for node in nodes:
            self.plan.names[node] = Name((self.x[node], 0.0), "above")
        for source in self.sources:
            self.plan.lay(String((source,), source.nodes), (0.0, 0.0), (0.0, HEIGHT), "right")
        self.reach["neutral"].append(0.0)

    def _draw_over(self) -> None:
        """Strings above the way, each in the lowest row where there is room."""
        rows: list[list[tuple[float, float]]] = []
        for string in sorted(self.over, key=lambda s: len(s.elements)):
            told = string.since(min(string.ends, key=lambda n: self.x[n]))
            begin, end = self.x[told.nodes[0]], self.x[told.nodes[-1]]
            row = next(
                (
                    k
                    for k, taken in enumerate(rows)
                    if all(end <= a or begin >= b for a, b in taken)
                ),
                len(rows),
            )
            if row == len(rows):
                rows.append([])
            rows[row].append((begin, end))
            y = -OVER * (row + 1)
            for x in (begin, end):
                self.plan.wire((x, 0.0), (x, y))
            self.plan.lay(told, (begin, y), (end, y), "above")
        self.plan.top = -OVER * len(rows)

    def _draw_leg(self, tap: str, up: String, down: String) -> None:
        """Both halves of a leg, and the wire from its tap down to where the tap comes from."""
        x, low = self.x["led+"], self.rail_y["led-"]
        down_x = x - TAP
        self.plan.lay(up.since("led+"), (x, 0.0), (x, low / 2.0), "right")
        self.plan.lay(down.since(tap), (x, low / 2.0), (x, low), "right")
        self.plan.wire((x, low / 2.0), (down_x, low / 2.0), (down_x, HEIGHT))
        self.reach["led-"].append(x)
        if tap in self.rail_y:
            self.reach[tap].append(down_x)
        else:
            self.plan.names[tap] = Name((down_x, HEIGHT), "right")
        begin = (max(self.reach["neutral"]), HEIGHT)
        for string in self.back:
            self.plan.lay(string.since("neutral"), begin, (down_x, HEIGHT), "above")

    def _hang(self, node: str, x: float) -> None:
        """Columns from a node on the way down to a rail, the first at `x`."""
        before = self.x[node]
        for string in self._below(node):
            (rail,) = string.ends - {node}
            low = self.rail_y[rail]
            self.plan.wire((before, 0.0), (x, 0.0))
            self.plan.lay(string.since(node), (x, 0.0), (x, low), "right")
            self.reach[rail].append(x)
            if string.elements[0].ref in self.leds:
                y = min(max(self.light_y, 34.0), low - 28.0)
                if self.narrow and len(string.elements) == 1:
                    y = LED_SHARE * low
                self.plan.spots[-1] = replace(self.plan.spots[-1], centre=(x, y))
            before, x = x, x + self.column
        self.plan.right = max(self.plan.right, before)

    @property
    def _goes_back(self) -> bool:
        return not self.legs and len(self.back) == 1 and self.back[0].ends == {"led-", "neutral"}

    def _draw_back(self) -> None:
        """A leg from the LED to neutral, where there is no bridge: along the bottom."""
        if not self._goes_back:
            return
        begin, end = max(self.reach["neutral"]), max(self.reach["led-"])
        self.plan.lay(self.back[0].since("neutral"), (begin, HEIGHT), (end, HEIGHT), "above")
        self.plan.wire((end, HEIGHT), (end, self.rail_y["led-"]))

    def _draw_rails(self) -> None:
        for rail, reach in self.reach.items():
            y = self.rail_y[rail]
            xs = sorted(set(reach))
            self.plan.wire(*((x, y) for x in xs))
            at, where = (xs[0], "above") if rail == "neutral" else (xs[-1], "below")
            if rail == "led-" and self._goes_back:  # a wire goes down from its right end
                at, where = xs[0], "below" if len(xs) > 1 else "left"
            self.plan.names[rail] = Name((at, y), where)


def _legs(strings: Sequence[String]) -> list[tuple[str, String, String]]:
    """Two strings on end, from ``led+`` to ``led-``, with the node in their middle."""
    result = []
    for up in strings:
        for tap in up.ends - {"led-"} if "led+" in up.ends else ():
            result += [
                (tap, up, down) for down in strings if down.ends == {tap, "led-"} and tap != "led+"
            ]
    return result


Columns = tuple[list[String], list[String], list[String]]


def _isolated_columns(elements: list[TwoNode]) -> Columns:
    """Strings from a supply to the pin, from the pin to ground, and from a supply to ground."""
    passive = [e for e in elements if not isinstance(e, DcSource)]
    tops = {e.a for e in elements if isinstance(e, DcSource)}
    strings = _strings(passive, {*tops, "pin", "logic0"})
    strings.sort(key=lambda s: not isinstance(s.elements[0], Phototransistor))
    upper = [s for s in strings if "pin" in s.ends and s.ends & tops]
    lower = [s for s in strings if s.ends == {"pin", "logic0"}]
    whole = [s for s in strings if "logic0" in s.ends and s.ends & tops]
    return upper, lower, whole


def _light_y(columns: Columns) -> float:
    """Height of the phototransistor's middle."""
    above = columns[0] and isinstance(columns[0][0].elements[0], Phototransistor)
    return HEIGHT / 4.0 if above else 3.0 * HEIGHT / 4.0


def _draw_isolated(
    plan: Plan,
    elements: list[TwoNode],
    columns: Columns,
    x: float,
    label: float,
    pin_step: float = COLUMN,
) -> None:
    """Supplies on top, ground at the bottom, the pin between them to the right."""
    upper, lower, whole = columns
    x0 = x
    plan.ground = (x, HEIGHT)
    middle = HEIGHT / 2.0
    tops: dict[str, list[float]] = {}
    bottom = [x]
    last = max(len(upper), len(lower)) - 1
    for k in range(last + 1):
        if k < len(upper):
            (top,) = upper[k].ends - {"pin"}
            told = upper[k].since(top)
            plan.lay(told, (x, 0.0), (x, middle), "right")
            tops.setdefault(top, []).append(x)
        if k < len(lower):
            told = lower[k].since("pin")
            plan.lay(told, (x, middle), (x, HEIGHT), "right")
            bottom.append(x)
        step = pin_step if k == last else COLUMN
        plan.wire((x, middle), (x + step, middle))
        x += step
    plan.pin = (x, middle)
    plan.names["pin"] = Name((x, middle), "right")
    x += label
    for string in whole:
        (top,) = string.ends - {"logic0"}
        told = string.since(top)
        plan.lay(told, (x, 0.0), (x, HEIGHT), "right")
        tops.setdefault(top, []).append(x)
        bottom.append(x)
        x += COLUMN
    for node, xs in tops.items():
        plan.wire(*((at, 0.0) for at in sorted(xs)))
        plan.names[node] = Name((min(xs), -15.0), "above")
    plan.wire(*((at, HEIGHT) for at in sorted(set(bottom))))
    plan.names["logic0"] = Name((x0, HEIGHT + 14.0), "below")
    for source in (e for e in elements if isinstance(e, DcSource)):
        plan.supplies.append((source, (min(tops[source.a]), 0.0)))
    plan.right = x
