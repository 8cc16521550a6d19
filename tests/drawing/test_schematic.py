"""The diagram: read back, it is the element list again; no word lies on a line or another word."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import combinations, pairwise
from xml.etree import ElementTree

import numpy as np
import pytest

from tests.boards import VARIANTS, board, diode, optocoupler, pull_up, relay, resistor
from tests.sampled import square
from zcd.board.files import board_from_dict
from zcd.board.model import Board, Capacitor, Suppressor, Topology
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit, DcSource, Resistance, TwoNode, is_hidden
from zcd.circuit.points import part_words
from zcd.drawing.layout import Plan, place
from zcd.drawing.schematic import schematic, zoomed
from zcd.drawing.sketch import Sketch, reach, sketch_figure, sketch_svg
from zcd.drawing.symbols import Line, Words
from zcd.errors import InputError

EXTRAS = {
    "led_resistor": resistor("R8", 91e3),
    "led_capacitor": Capacitor(ref="C1", capacitance_f=10e-9),
    "joint_capacitor": Capacitor(ref="C2", capacitance_f=10e-9),
    "relay": relay(Suppressor(resistance_ohm=100.0, capacitance_f=100e-9)),
    "output": pull_up(pin_capacitor=Capacitor(ref="C4", capacitance_f=1e-9)),
}
TRACED = {
    "mains": "230 V 50 Hz",
    "optocoupler": "817 B",
    "output": {"pull_up": "22k", "supply": "5 V"},
}
BACK = ["feed - R1 47k - R2 47k - D1 1N4007 > - led+", "led- - R3 47k - neutral"]
BOARDS: dict[str, Board] = {
    **VARIANTS,
    "everything": board(
        topology=Topology.HALF_WAVE_CLAMPED,
        clamp=diode("D2"),
        chains=(
            (resistor("R1", 1e5), resistor("R2", 1e5), resistor("R4", 47e3)),
            (resistor("R11", 330e3), resistor("R12", 220e3)),
            (resistor("R21", 680e3),),
        ),
        **EXTRAS,
    ),
    "everything on a bridge": board(
        topology=Topology.BRIDGE,
        return_chain=(resistor("R9", 82e3), resistor("R10", 47e3)),
        **EXTRAS,
    ),
    "a leg back": board_from_dict({**TRACED, "circuit": BACK}),
    "a leg back and a clamp": board_from_dict(
        {**TRACED, "circuit": [*BACK, "led+ - D2 1N4148 < - led-"]}
    ),
    "two LEDs and more": board(topology=Topology.TWO_LED, rectifier=None, **EXTRAS),
}
READINGS = {
    "led+": "DC 1.12 V",
    "led-": "AC 41.3 V",
    "feed": "AC 230 V",
    "pin": "DC 2.31 V\nread 4.98 V",
}
AT_PARTS = {"R1": "ohm OL", "R2": "AC 92 V", "K1.coil": "DC 23.6 V"}
FAILED = {"R1": "open", "OC1": "aged", "OC1.led": "leaky", "pin": "stuck low", "supply": "low"}

each_board = pytest.mark.parametrize("name", BOARDS)
narrow_too = pytest.mark.parametrize("narrow", [False, True], ids=["", "narrow"])


def shown_parts(circuit: Circuit) -> list[TwoNode]:
    return [e for e in circuit if isinstance(e, TwoNode) and not is_hidden(e)]


class Nets:
    """Points that the drawing joins: by wires, and where an end lies on a wire."""

    def __init__(self, plan: Plan) -> None:
        self.home: dict[object, object] = {}
        ends = [p for wire in plan.wires for p in wire]
        ends += [p for spot in plan.spots for p in (spot.start, spot.end)]
        ends += [at for _, at in plan.supplies] + [plan.ground, plan.pin]
        for (ax, ay), (bx, by) in plan.wires:
            self.join((ax, ay), (bx, by))
            for x, y in ends:
                across = (x - ax) * (by - ay) - (y - ay) * (bx - ax)
                within = min(ax, bx) <= x <= max(ax, bx) and min(ay, by) <= y <= max(ay, by)
                if across == 0.0 and within:
                    self.join((ax, ay), (x, y))

    def of(self, point: object) -> object:
        while (up := self.home.get(point, point)) != point:
            point = up
        return point

    def join(self, a: object, b: object) -> None:
        self.home[self.of(a)] = self.of(b)


@narrow_too
@each_board
def test_read_back_the_drawing_is_the_element_list(name: str, narrow: bool) -> None:
    """Every part between the nodes of the list, and no two nodes joined."""
    circuit = build_circuit(BOARDS[name])
    plan = place(circuit, narrow=narrow)
    nets = Nets(plan)
    ends = [(spot.element.a, nets.of(spot.start)) for spot in plan.spots]
    ends += [(spot.element.b, nets.of(spot.end)) for spot in plan.spots]
    ends += [(source.a, nets.of(at)) for source, at in plan.supplies]
    ends += [("logic0", nets.of(plan.ground)), ("pin", nets.of(plan.pin))]
    pairs = set(ends)
    assert len(pairs) == len({node for node, _ in pairs}) == len({net for _, net in pairs})
    drawn = [s.element.ref for s in plan.spots] + [source.ref for source, _ in plan.supplies]
    assert sorted(drawn) == sorted(e.ref for e in shown_parts(circuit))


@each_board
def test_every_part_and_node_is_named(name: str) -> None:
    circuit = build_circuit(BOARDS[name])
    sketch = schematic(BOARDS[name])
    parts = {group.ref: group.title for group in sketch.groups if group.kind == "part"}
    assert parts.keys() == {e.ref for e in shown_parts(circuit)}
    names = {ref: part_words(ref).replace(" second", ", second") for ref in parts}
    assert all(title.startswith(names[ref]) for ref, title in parts.items())
    nodes = {group.ref for group in sketch.groups if group.kind == "node"}
    assert nodes == {n for e in shown_parts(circuit) for n in e.nodes}


def test_values_as_printed_on_the_parts() -> None:
    titles = {g.ref: g.title for g in schematic(VARIANTS["across the LED"]).groups}
    assert titles["R2"] == "R2, 180 kΩ"
    assert titles["C1"] == "C1, 10 nF"
    assert titles["OC1"] == "OC1, 817 B"
    assert titles["mains"] == "mains, 230 V, 50 Hz"
    assert titles["D1"] == "D1, invented"
    assert titles["supply"] == "supply 5 V"


def test_all_four_diodes_of_a_bridge_bear_their_marking() -> None:
    titles = {g.title for g in schematic(VARIANTS["bridge"]).groups if g.ref.startswith("D1")}
    assert titles == {f"D1{leg}, invented" for leg in "abcd"}


def _ink(sketch: Sketch) -> np.ndarray:
    """Points close to each other on all lines, shape (n, 2)."""
    pieces = []
    for shape in sketch.shapes():
        if isinstance(shape, Line):
            points = [*shape.points, *(shape.points[:1] if shape.closed else ())]
            for a, b in pairwise(points):
                steps = 2 * int(np.hypot(b[0] - a[0], b[1] - a[1])) + 2
                pieces.append(np.linspace(a, b, steps))
    return np.concatenate(pieces)


def text_boxes(sketch: Sketch) -> dict[str, tuple[float, float, float, float]]:
    """Reach of each word as it is really drawn, in the drawing's coordinates."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure = sketch_figure(sketch)
    renderer = FigureCanvasAgg(figure).get_renderer()
    (ax,) = figure.axes
    boxes = {}
    for number, text in enumerate(ax.texts):
        extent = text.get_window_extent(renderer)
        (left, low), (right, high) = ax.transData.inverted().transform(extent.get_points())
        boxes[f"{number} {text.get_text()}"] = (left, min(low, high), right, max(low, high))
    return boxes


@pytest.mark.parametrize(("name", "narrow", "failed"), square(BOARDS, [False, True], [{}, FAILED]))
def test_no_word_lies_on_a_line_or_on_another_word(
    name: str, narrow: bool, failed: Mapping[str, str]
) -> None:
    sketch = schematic(
        BOARDS[name], at_nodes=READINGS, at_parts=AT_PARTS, failed=failed, narrow=narrow
    )
    boxes = text_boxes(sketch)
    met = [
        (one, other)
        for (one, a), (other, b) in combinations(boxes.items(), 2)
        if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] - 0.5 and b[1] < a[3] - 0.5
    ]
    assert not met
    ink = _ink(sketch)
    struck = [
        word
        for word, (left, top, right, bottom) in boxes.items()
        if np.any(np.all((ink > (left, top)) & (ink < (right, bottom)), axis=1))
    ]
    assert not struck
    left, top, right, bottom = sketch.box
    assert all(
        left < b[0] and b[2] < right and top < b[1] and b[3] < bottom for b in boxes.values()
    )


@each_board
def test_long_readings_of_neighbours_leave_room_for_each_other(name: str) -> None:
    readings = dict.fromkeys(("R1", "R2", "R4", "R9", "R10", "R11", "R12"), "ohm 18.25 kΩ")
    boxes = text_boxes(schematic(BOARDS[name], at_parts=readings))
    read = [box for word, box in boxes.items() if word.endswith("ohm 18.25 kΩ")]
    assert read
    for a, b in combinations(read, 2):
        assert a[2] < b[0] or b[2] < a[0] or a[3] < b[1] or b[3] < a[1]


def test_light_goes_from_the_led_towards_the_transistor() -> None:
    """Both LEDs shine to the right, however they stand; the barrier is between."""
    plan = place(build_circuit(VARIANTS["two-led"]))
    spots = {spot.element.ref: spot for spot in plan.spots}
    assert spots["OC1.led"].start[1] < spots["OC1.led"].end[1]
    assert spots["OC1.led2"].start[1] > spots["OC1.led2"].end[1]
    groups = {g.ref: g for g in schematic(VARIANTS["two-led"]).groups if g.kind == "part"}
    for ref in ("OC1.led", "OC1.led2"):
        x = spots[ref].centre[0]
        reach = [p[0] for s in groups[ref].shapes if isinstance(s, Line) for p in s.points]
        assert max(reach) - x > 20.0 > x - min(reach)
        assert max(reach) < plan.barrier_x < spots["OC1"].centre[0]


def test_what_failed_is_boxed_and_named() -> None:
    marked = schematic(VARIANTS["half-wave"], failed={"R2": "open", "led+": "odd"})
    assert sum(g.kind == "mark" for g in marked.groups) == 2
    titles = {g.ref: g.title for g in marked.groups}
    assert titles["R2"] == "R2, 180 kΩ, open"
    assert titles["led+"] == "led+, odd"
    assert not any(g.kind == "mark" for g in schematic(VARIANTS["half-wave"]).groups)


def test_readings_stand_at_their_nodes_also_under_a_second_name() -> None:
    titles = {g.ref: g.title for g in schematic(board(), at_nodes={"led-": "0 V"}).groups}
    assert titles["neutral"] == "neutral (led-), 0 V"


def test_an_unknown_node_is_refused() -> None:
    with pytest.raises(InputError, match="one of the points line"):
        schematic(board(), at_nodes={"heater": "0 V"})


def test_probes_are_marked_beside_their_points_in_a_list() -> None:
    """As a circuit without a barrier is drawn; all of it is shown at the probes."""
    keys = {"mains": "230 V 50 Hz", "optocoupler": "none", "output": {"supply": "5 V"}}
    lines = ["feed - R1 1M - R2 1M - pin", "neutral - logic0"]
    listed = schematic(board_from_dict({**keys, "circuit": lines}), probes=("chain.1", "pin"))
    assert zoomed(listed) == listed
    tops = {g.ref: reach([g], words_only=True) for g in listed.groups if g.kind == "node"}
    for kind, node in (("red", "chain.1"), ("black", "pin")):
        (mark,) = (g for g in listed.groups if g.kind == kind)
        left, top, right, bottom = reach([mark])
        assert right < tops[node][0]
        assert tops[node][1] - 2.0 < (top + bottom) / 2.0 < tops[node][3]
        assert bottom - top < 13.0  # from one line to the next
        assert left > -40.0


def test_a_part_without_a_place_is_refused() -> None:
    """Not left out in silence."""
    circuit = build_circuit(board())
    lost = Resistance(ref="R99", a="pin", b="elsewhere", resistance_ohm=1e3)
    with pytest.raises(InputError, match=r"place for every part, got none for \['R99'\]"):
        place(circuit.add(lost))


def test_a_fault_is_drawn_as_the_part_it_adds() -> None:
    circuit = build_circuit(board())
    bridge = Resistance(ref="leak", a="pin", b="logic0", resistance_ohm=4.7e3)
    titles = {g.ref: g.title for g in schematic(board(), circuit.add(bridge)).groups}
    assert titles["leak"] == "leak, 4.7 kΩ"


def test_svg_escapes_what_a_person_typed() -> None:
    hostile = '<script>alert("1")</script>'
    named = replace(resistor("R1", 1e5), ref=hostile)
    text = sketch_svg(
        schematic(
            board(chains=((named,),), optocoupler=optocoupler(grade=hostile)),
            at_nodes={"pin": hostile},
        )
    )
    root = ElementTree.fromstring(text)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert {e.tag.rpartition("}")[2] for e in root.iter()} <= {
        "svg", "g", "title", "polyline", "polygon", "circle", "text",
    }  # fmt: skip
    assert "<script" not in text


def test_svg_and_figure_show_the_same_words() -> None:
    sketch = schematic(VARIANTS["bridge"], at_nodes=READINGS, failed=FAILED)
    words = [shape.text for shape in sketch.shapes() if isinstance(shape, Words)]
    root = ElementTree.fromstring(sketch_svg(sketch))
    assert [e.text for e in root.iter() if e.tag.endswith("text")] == words
    assert [text.get_text() for text in sketch_figure(sketch).axes[0].texts] == words


def test_supplies_are_drawn_as_terminals() -> None:
    circuit = build_circuit(VARIANTS["contact closed"])
    plan = place(circuit)
    assert {s.ref for s, _ in plan.supplies} == {e.ref for e in circuit.of(DcSource)}


def drawn_contact(failed: Mapping[str, str]) -> list[Line]:
    sketch = schematic(BOARDS["contact closed"], failed=failed)
    (group,) = (g for g in sketch.groups if g.ref == "K1.contact" and g.kind == "part")
    return [shape for shape in group.shapes if isinstance(shape, Line)]


@pytest.mark.parametrize("failed", [{"K1.contact": "open"}, {"K1.coil": "open"}])
def test_a_closed_contact_is_drawn_closed_and_an_open_one_open(failed: Mapping[str, str]) -> None:
    """The blade of a closed one reaches the other terminal, that of an open one keeps off it."""
    closed, opened = (
        min(y for _, y in lines[0].points) for lines in (drawn_contact({}), drawn_contact(failed))
    )
    assert -4.0 < closed < 0.0
    assert opened < -8.0


def test_coil_and_contact_are_linked() -> None:
    (link,) = (g for g in schematic(BOARDS["contact closed"]).groups if g.kind == "link")
    spots = {s.element.ref: s for s in place(build_circuit(BOARDS["contact closed"])).spots}
    points = [p for shape in link.shapes if isinstance(shape, Line) for p in shape.points]
    assert points[0][0] == spots["K1.contact"].centre[0]
    assert points[-1][1] == spots["K1.coil"].centre[1]
    assert not any(g.kind == "link" for g in schematic(VARIANTS["half-wave"]).groups)


@each_board
def test_a_narrow_drawing_fits_a_phone(name: str) -> None:
    """390 px less the margins of a page, at 12 px a letter; but for strings beside the chain."""
    left, _, right, _ = schematic(BOARDS[name], narrow=True).box
    beside = {"everything", "everything on a bridge", "two LEDs and more", "contact closed"}
    beside |= {"two chains", "bridge"}
    assert (right - left) * 96.0 / 72.0 <= (610.0 if name in beside else 374.0)


def test_in_a_narrow_drawing_light_goes_down_to_the_transistor() -> None:
    plan = place(build_circuit(VARIANTS["two-led"]), narrow=True)
    lights = {s.element.ref: s for s in plan.spots if s.element.ref.startswith("OC1")}
    assert plan.barrier_y is not None
    assert all(lights[led].flipped for led in ("OC1.led", "OC1.led2"))
    assert all(lights[led].centre[1] < plan.barrier_y for led in ("OC1.led", "OC1.led2"))
    assert lights["OC1"].centre[1] > plan.barrier_y


@narrow_too
def test_at_the_probes_all_that_is_near_is_shown_whole(narrow: bool) -> None:
    """Red at one end of R2, black at the other; the controller's side is left out."""
    sketch = zoomed(schematic(VARIANTS["half-wave"], probes=("chain.1", "chain.2"), narrow=narrow))
    marks = {g.kind: g.shapes[0] for g in sketch.groups if g.kind in ("red", "black")}
    assert marks.keys() == {"red", "black"}
    parts = {g.ref for g in sketch.groups if g.kind == "part"}
    assert "R2" in parts
    assert parts.isdisjoint({"OC1", "R3", "supply"})
    left, top, right, bottom = sketch.box
    a, b, c, d = reach(
        [g for g in sketch.groups if g.kind in ("part", "node", *marks)], words_only=True
    )
    assert left < a < c < right
    assert top < b < d < bottom
