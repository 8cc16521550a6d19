"""Paths of a circuit, one line each as a technician follows the copper: parts between nodes.

``feed - R1 - x - D1 > - led+`` names nodes and parts in turn. The known topologies are lists of
such lines, and so is what a board file gives as `circuit`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from zcd.board.model import Board, Link, Topology
from zcd.errors import InputError

SEPARATOR = re.compile(r"\s+[-–—]+\s+")
FIRST_NAMES = ("line", "neutral", "feed", "pin", "led+", "led-")
"""Of two names of one node, the one that comes first here is its own."""
END = ".end"
"""Behind the name of a string of resistors: the node behind its last one."""

Links = tuple[tuple[Link, ...], dict[str, str]]

_LED = ("led+ - led > - led-", "led+ - led_resistor - led-", "led+ - led_capacitor - led-")
_CLAMP = "led+ - clamp < - led-"
_RETURN = "led- - neutral"
_LEG = ("neutral - return - return.end", "led- - return.end")
"""In the place of `_RETURN` where resistors are in the neutral leg."""
_SERIES = "feed - chain - chain.end - rectifier > - led+"
_LEADING = "feed - rectifier > - rect - chain - led+"
"""In the place of `_SERIES` where the rectifier comes first."""
TOPOLOGIES: Mapping[Topology, tuple[str, ...]] = {
    Topology.HALF_WAVE: (_SERIES, *_LED, _RETURN),
    Topology.CLAMPED: ("feed - chain - led+", *_LED, _CLAMP, _RETURN),
    Topology.HALF_WAVE_CLAMPED: (_SERIES, *_LED, _CLAMP, _RETURN),
    Topology.BRIDGE: (
        "feed - chain - chain.end",
        "neutral - return - return.end",
        "chain.end - rectifier.a > - led+",
        "return.end - rectifier.b > - led+",
        "led- - rectifier.c > - chain.end",
        "led- - rectifier.d > - return.end",
        *_LED,
    ),
    Topology.TWO_LED: ("feed - chain - led+", _LED[0], "led- - led2 > - led+", *_LED[1:], _RETURN),
}
"""Paths of each topology. One along a part that a board lacks is left out."""


def _with(part: str) -> tuple[Topology, ...]:
    """Topologies that have a part in one of their paths."""
    return tuple(kind for kind, paths in TOPOLOGIES.items() if f" {part}" in " ".join(paths))


WITH_RECTIFIER, WITH_CLAMP = _with("rectifier"), _with("clamp")
RECTIFIER_MAY_LEAD = tuple(kind for kind, paths in TOPOLOGIES.items() if _SERIES in paths)
_OPTIONAL = ("led_resistor", "led_capacitor", "clamp", "return")
_PARTS = re.compile(r"chain|return|rectifier(\.[a-d])?|clamp|led2?|led_resistor|led_capacitor")


@dataclass(frozen=True, slots=True)
class Step:
    """A node or a part on a path; `backwards`: the arrow of a part points to where one came from.

    Parameters
    ----------
    name : str
    is_part, backwards : bool
    """

    name: str
    is_part: bool = False
    backwards: bool = False


def connect(paths: Iterable[Sequence[Step]]) -> Links:
    """Parts between nodes, and the second names of nodes, from paths.

    Parameters
    ----------
    paths : iterable of sequence of Step
        With nodes at both ends. Two nodes one after the other are one; between two parts is a
        node that is named after them, such as ``R1/R2``.

    Returns
    -------
    links : tuple of Link
    aliases : dict of str to str
        Second name of a node -> its own name.
    """
    laid = list(_laid(paths))
    own = _own_names([pair for pair in laid if isinstance(pair, tuple)])
    links = tuple(renamed(link, own) for link in laid if isinstance(link, Link))
    return links, {second: name for second, name in own.items() if second != name}


def renamed(link: Link, names: Mapping[str, str]) -> Link:
    return Link(ref=link.ref, a=names.get(link.a, link.a), b=names.get(link.b, link.b))


def _laid(paths: Iterable[Sequence[Step]]) -> Iterator[Link | tuple[str, str]]:
    """Each part as a link, each wire as a pair of nodes."""
    for path in paths:
        here = path[0].name
        for step, after in zip(path[1:], [*path[2:], None], strict=True):
            if step.is_part:
                assert after is not None
                there = f"{step.name}/{after.name}" if after.is_part else after.name
                ends = (there, here) if step.backwards else (here, there)
                yield Link(ref=step.name, a=ends[0], b=ends[1])
                here = there
            elif here != step.name:
                yield here, step.name
                here = step.name


def _own_names(wires: Sequence[tuple[str, str]]) -> dict[str, str]:
    """The own name of each node that a wire touches."""
    order = {name: place for place, name in enumerate(FIRST_NAMES)}
    own: dict[str, str] = {}
    for group in joined_nodes(wires):
        if "neutral" in group and group & {"line", "feed"}:
            raise InputError("found a wire from feed to neutral; allowed: parts between them")
        name = min(group, key=lambda node: (order.get(node, len(order)), node))
        own |= dict.fromkeys(group, name)
    return own


def joined_nodes(together: Iterable[Iterable[str]]) -> list[set[str]]:
    """Groups of nodes that are joined, from those that something joins; by first mention.

    Examples
    --------
    >>> [sorted(group) for group in joined_nodes([("a", "b"), ("c", "d"), ("b", "e")])]
    [['a', 'b', 'e'], ['c', 'd']]
    """
    groups: list[set[str]] = []
    for nodes in together:
        touching = [group for group in groups if not group.isdisjoint(nodes)]
        at = groups.index(touching[0]) if touching else len(groups)
        groups = [group for group in groups if group not in touching]
        groups.insert(at, set(nodes).union(*touching))
    return groups


def links_of(board: Board) -> Links:
    """Parts of the mains side of a board between nodes, and the second names of nodes.

    Parameters
    ----------
    board : Board

    Returns
    -------
    links : tuple of Link
        A string of resistors is one part, ``chain``, ``chain2``, ... or ``return``; a LED is
        ``led`` or ``led2``; the parts of a known topology have their names in `Board`, those of a
        traced circuit their references.
    aliases : dict of str to str
        Second name of a node -> its own name.
    """
    returns = len(board.return_chain)
    lengths = tuple(map(len, board.chains))
    if board.traced is not None:
        links, second = board.traced.links, dict(board.traced.aliases)
    else:
        absent = [name for name in _OPTIONAL if not getattr(board, _field(name))]
        links, known = _of_topology(
            Topology(board.topology), board.rectifier_first, len(lengths), tuple(absent)
        )
        second = dict(known)
        if board.joint_capacitor is not None:
            joint = Link(ref="joint_capacitor", a=f"chain.{board.joint}", b="neutral")
            links = (*links, joint)
    ends = {f"{string_name(k)}{END}": f"{string_name(k)}.{n}" for k, n in enumerate(lengths, 1)}
    ends[f"return{END}"] = f"return.{returns}" if returns else "neutral"
    if board.relay is None:
        ends["feed"] = second["feed"] = "line"
    links = tuple(renamed(link, ends) for link in links)
    behind = next(link.b for link in links if link.ref == "chain")
    last = f"chain.{lengths[0]}"
    if behind != last:
        second[last] = behind
    second = {name: second.get(own, own) for name, own in second.items()}
    return tuple(renamed(link, second) for link in links), second


def _field(name: str) -> str:
    return "return_chain" if name == "return" else name


def string_name(number: int) -> str:
    """Name of the first, second ... string of resistors."""
    return "chain" if number == 1 else f"chain{number}"


@lru_cache(maxsize=64)
def _of_topology(
    topology: Topology, rectifier_first: bool, chains: int, absent: tuple[str, ...]
) -> Links:
    """Links of a known topology with its options."""
    paths = [
        _LEADING if rectifier_first and line == _SERIES else line
        for written in TOPOLOGIES[topology]
        for line in (_LEG if written == _RETURN and "return" not in absent else (written,))
    ]
    laid = (list(map(_step, SEPARATOR.split(line))) for line in paths)
    links, second = connect(path for path in laid if not any(s.name in absent for s in path))
    at = next(place for place, link in enumerate(links, 1) if link.ref == "chain")
    first = links[at - 1]
    others = [Link(ref=string_name(k), a=first.a, b=first.b) for k in range(2, chains + 1)]
    return (*links[:at], *others, *links[at:]), second


def _step(item: str) -> Step:
    """A node or part of a known topology."""
    name, _, arrow = item.partition(" ")
    return Step(name, is_part=_PARTS.fullmatch(name) is not None, backwards=arrow == "<")
