"""Circuit symbols after IEC 60617, as shapes; and the shapes that drawings are made of.

A symbol lies along x, its middle at the origin, y downwards; `place_shapes` turns and moves it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot, pi, sin

from zcd.circuit.elements import (
    Capacitance,
    Element,
    Junction,
    MainsSource,
    Phototransistor,
)

Point = tuple[float, float]
STROKE = 1.2
"""Width of a line that says no other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Straight pieces through points; `solid` fills the area, `dashes` (on, off, ...) break it."""

    points: tuple[Point, ...]
    closed: bool = False
    solid: bool = False
    dashes: tuple[float, ...] = ()
    width: float = STROKE


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A circle; `solid` fills it."""

    at: Point
    radius: float
    solid: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """One line of text, its baseline at a point; `align` is ``start``, ``middle`` or ``end``."""

    text: str
    at: Point
    align: str = "start"
    bold: bool = False


Shape = Line | Disc | Words


@dataclass(frozen=True, slots=True, kw_only=True)
class Symbol:
    """A symbol and what it needs.

    Parameters
    ----------
    shapes : tuple of Shape
    half_length : float
        Where its leads begin, left and right of the middle.
    across : tuple of float
        How far it reaches on both sides of its axis.
    words_dx, words_dy : float
        Where words beside it begin when it stands: right of, and below its middle.
    """

    shapes: tuple[Shape, ...]
    half_length: float
    across: tuple[float, float]
    words_dx: float
    words_dy: float = 0.0


def _line(*points: Point, closed: bool = False, solid: bool = False) -> Line:
    return Line(points=points, closed=closed, solid=solid)


def _arrow(start: Point, tip: Point) -> tuple[Shape, ...]:
    """A thin arrow with a solid head."""
    length = hypot(tip[0] - start[0], tip[1] - start[1])
    ux, uy = (tip[0] - start[0]) / length, (tip[1] - start[1]) / length
    back = (tip[0] - 5.0 * ux, tip[1] - 5.0 * uy)
    head = (
        tip,
        (back[0] - 2.0 * uy, back[1] + 2.0 * ux),
        (back[0] + 2.0 * uy, back[1] - 2.0 * ux),
    )
    return _line(start, back), _line(*head, closed=True, solid=True)


RESISTOR = Symbol(
    shapes=(_line((-13, -4.5), (13, -4.5), (13, 4.5), (-13, 4.5), closed=True),),
    half_length=13.0,
    across=(-4.5, 4.5),
    words_dx=9.0,
)
CAPACITOR = Symbol(
    shapes=(_line((-2.5, -9), (-2.5, 9)), _line((2.5, -9), (2.5, 9))),
    half_length=2.5,
    across=(-9.0, 9.0),
    words_dx=13.0,
)
_DIODE = (_line((-6, -7), (-6, 7), (6, 0), closed=True), _line((6, -7), (6, 7)))
DIODE = Symbol(shapes=_DIODE, half_length=6.0, across=(-7.0, 7.0), words_dx=11.0)
LED = Symbol(
    shapes=(*_DIODE, *_arrow((-4, -11), (-4, -25)), *_arrow((3, -11), (3, -25))),
    half_length=6.0,
    across=(-25.0, 7.0),
    words_dx=11.0,
    words_dy=17.0,
)
_TRANSISTOR = (
    _line((-9, 11), (9, 11)),
    _line((-13, 0), (-4, 11)),
    *_arrow((4, 11), (13, 0)),
)
PHOTOTRANSISTOR = Symbol(
    shapes=(*_TRANSISTOR, *_arrow((-4, 29), (-4, 15)), *_arrow((4, 29), (4, 15))),
    half_length=13.0,
    across=(-2.0, 29.0),
    words_dx=7.0,
)
DRIVER = Symbol(
    shapes=(*_TRANSISTOR, _line((0, 11), (0, 20)), Disc(at=(0, 22.5), radius=2.5)),
    half_length=13.0,
    across=(-2.0, 25.0),
    words_dx=7.0,
)
_TERMINALS = (Disc(at=(-9.5, 0), radius=1.5), Disc(at=(9.5, 0), radius=1.5))
CONTACT = Symbol(
    shapes=(*_TERMINALS, _line((-8.5, -1), (9, -10))),
    half_length=11.0,
    across=(-10.0, 0.0),
    words_dx=9.0,
)
CLOSED_CONTACT = replace(CONTACT, shapes=(*_TERMINALS, _line((-8.5, -1.2), (12, -2.6))))
COIL = Symbol(
    shapes=(_line((-7, -13), (7, -13), (7, 13), (-7, 13), closed=True),),
    half_length=7.0,
    across=(-13.0, 13.0),
    words_dx=17.0,
)
SOURCE = Symbol(
    shapes=(
        Disc(at=(0, 0), radius=13.0),
        _line(*((4.5 * sin(pi * k / 8.0), 8.0 - k) for k in range(17))),
    ),
    half_length=13.0,
    across=(-13.0, 13.0),
    words_dx=17.0,
)
BARRIER_DASHES = (7.0, 3.0, 1.5, 3.0)
LINK_DASHES = (3.0, 2.5)
"""Of a mechanical link, as between a coil and its contact."""
RELAY = {"K1.contact": CONTACT, "K1.coil": COIL, "K1.driver": DRIVER}


def symbol_of(element: Element, leds: set[str]) -> Symbol:
    """The symbol of an element; `leds` are the refs of the junctions that give light."""
    match element:
        case MainsSource():
            return SOURCE
        case Phototransistor():
            return PHOTOTRANSISTOR
        case Junction(ref=ref):
            return LED if ref in leds else DIODE
        case Capacitance():
            return CAPACITOR
        case _:
            return RELAY.get(element.ref, RESISTOR)


def place_shapes(
    shapes: tuple[Shape, ...], at: Point, along: Point, *, mirrored: bool = False
) -> tuple[Shape, ...]:
    """Shapes turned so that x runs `along` (of length 1), moved to `at`; `mirrored` swaps sides."""
    dx, dy = along
    side = -1.0 if mirrored else 1.0

    def move(point: Point) -> Point:
        x, y = point[0], side * point[1]
        return at[0] + x * dx - y * dy, at[1] + x * dy + y * dx

    def moved(shape: Shape) -> Shape:
        if isinstance(shape, Line):
            return replace(shape, points=tuple(move(p) for p in shape.points))
        return replace(shape, at=move(shape.at))

    return tuple(moved(shape) for shape in shapes)
