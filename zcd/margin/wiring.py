"""How the mains sides of two boards are wired: alike, a part moved or turned, or not alike."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import combinations, product
from typing import NamedTuple

from zcd.board.diode_names import leg_refs
from zcd.board.model import Board
from zcd.board.paths import joined_nodes
from zcd.board.units import is_reference
from zcd.circuit.build import build_circuit, led_refs
from zcd.circuit.elements import Junction, MainsSource, TwoNode
from zcd.engine.network import island_of

SHARED_RATIO = 0.5
"""A repair leaves at least so many of the parts of both boards where they were."""
MOST_OTHERS = 6
"""Parts that only one of two boards has; more are no repair."""


class Terminal(NamedTuple):
    """An end of a part: its reference, which end where they differ, what it is, where it lies."""

    ref: str
    side: str
    kind: str
    node: str


_OTHER_END = {"a": "k", "k": "a", "+": "-", "-": "+"}
Nets = frozenset[tuple[frozenset[tuple[str, str]], int]]


def rewired(board: Board, was: Board) -> tuple[str, ...] | None:
    """What lies between other points than before.

    Parameters
    ----------
    board, was : Board
        Now and before.

    Returns
    -------
    lines : tuple of str or None
        In words; none where only parts were added or taken out. None: it is another circuit.
    """
    now, before = _terminals(board), _terminals(was)
    refs = set(parts_of(board)), set(parts_of(was))
    shared, others = refs[0] & refs[1], refs[0] ^ refs[1]
    if len(others) > MOST_OTHERS or len(shared) < SHARED_RATIO * len(shared | others):
        return None
    if _alike(now, before, others):
        return ()
    polar = sorted({end.ref for end in now if end.side in _OTHER_END and end.ref != "mains"})
    for some in (*combinations(polar, 1), *combinations(polar, 2)):
        if _alike(_turned(now, some), before, others):
            return tuple(f"{ref} is the other way round" for ref in some)
    moved = [ref for ref in sorted(shared) if _alike(now, before, others | {ref})]
    for first, second in combinations(moved, 2):
        ends = [_relation(each, first, second) for each in (before, now)]
        if "" not in ends and ends[0] != ends[1]:
            return (f"{first} and {second} were {ends[0]}, now {ends[1]}",)
    return (f"{moved[0]} is between other points",) if moved else None


def same_shape(board: Board, other: Board) -> bool:
    """Whether two boards are the same circuit, whatever their parts are called."""
    return _colours(_terminals(board)) == _colours(_terminals(other))


def parts_of(board: Board) -> tuple[str, ...]:
    """References of the parts of the mains side, a bridge being one."""
    refs = (end.ref for end in _terminals(board) if is_reference(end.ref))
    return tuple(dict.fromkeys(refs))


def _terminals(board: Board) -> list[Terminal]:
    """The ends of all parts of the mains side."""
    circuit = build_circuit(board)
    side = island_of(circuit, "neutral")
    legs = {
        name: (part.ref, leg)
        for part in board.diodes
        for leg, name in zip("abcd", leg_refs(part.ref, part.part), strict=True)
    }
    leds = led_refs(board)
    found = []
    for element in circuit:
        if not isinstance(element, TwoNode) or element.a not in side:
            continue
        if element.ref.endswith(".leak"):
            continue
        ref, sides = element.ref, ("", "")
        if ref in legs:
            ref, leg = legs[ref]
            sides = ("~", "+") if leg in "ab" else ("-", "~")
        elif ref in leds:
            number = leds.index(ref)
            name, _, _ = ref.partition(".")
            ref = f"the LED of {name}" if number == 0 else "the other LED"
            sides = ("", "") if board.two_leds else ("a", "k")
        elif isinstance(element, Junction | MainsSource):
            sides = ("a", "k")
        kind = "LED" if element.ref in leds else type(element).__name__
        found += [
            Terminal(ref, side, kind, node)
            for side, node in zip(sides, (element.a, element.b), strict=True)
        ]
    return found


def _turned(ends: Iterable[Terminal], refs: Collection[str]) -> list[Terminal]:
    """The same ends with some parts the other way round."""
    return [
        end._replace(side=_OTHER_END.get(end.side, end.side)) if end.ref in refs else end
        for end in ends
    ]


def _alike(now: Sequence[Terminal], before: Sequence[Terminal], but: Collection[str]) -> bool:
    """Whether two boards are wired alike but for some parts, each a wire or open in their place."""
    known = set(_without(before, but))
    return any(nets in known for nets in _without(now, but))


def _without(ends: Sequence[Terminal], refs: Collection[str]) -> Iterator[Nets]:
    """What hangs on each point without some parts: each of them a wire, or open."""
    gone = sorted({end.ref for end in ends}.intersection(refs))
    left = [end for end in ends if end.ref not in refs]
    for wires in product((False, True), repeat=len(gone)):
        bridged = {ref for ref, wire in zip(gone, wires, strict=True) if wire}
        nodes = [[end.node for end in ends if end.ref == ref] for ref in bridged]
        own = {node: min(group) for group in joined_nodes(nodes) for node in group}
        nets: dict[str, set[tuple[str, str]]] = {}
        for end in left:
            nets.setdefault(own.get(end.node, end.node), set()).add((end.ref, end.side))
        yield frozenset(Counter(map(frozenset, nets.values())).items())


def _relation(ends: Sequence[Terminal], first: str, second: str) -> str:
    """How two parts lie to each other, in words; empty where neither."""
    nodes = [{end.node for end in ends if end.ref == ref} for ref in (first, second)]
    if nodes[0] == nodes[1]:
        return "parallel"
    between = nodes[0] & nodes[1]
    return "in series" if any(sum(e.node == node for e in ends) == 2 for node in between) else ""


def _colours(ends: Sequence[Terminal]) -> Counter[int]:
    """Points by what hangs on them, and what hangs behind that, and so on."""
    pairs = [
        (from_.node, to.node, (from_.kind, k if from_.side else 0))
        for k, (first, second) in product((0, 1), zip(ends[::2], ends[1::2], strict=True))
        for from_, to in [(second, first) if k else (first, second)]
    ]
    colours = dict.fromkeys((end.node for end in ends), 0)
    for _ in colours:
        colours = {
            node: hash(tuple(sorted((*what, colours[b]) for a, b, what in pairs if a == node)))
            for node in colours
        }
    return Counter(colours.values())
