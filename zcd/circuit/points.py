"""Points of a circuit in plain words: ``chain.2`` is between R2 and R3."""

from __future__ import annotations

import re

from zcd.circuit.elements import Capacitance, Circuit, Junction, Resistance, is_hidden

_INNER = re.compile(r"(chain\d*|return)\.\d+|rect\d*")
"""Points that are named after their number in the circuit, not after what is there."""
PART_ENDINGS = {
    " second LED": ".led2",
    " LED": ".led",
    " transistor": "",
    " contact": ".contact",
    " coil": ".coil",
    " driver": ".driver",
}
"""How a fault names a piece of a part, and how the element list does."""


def point_text(node: str, circuit: Circuit) -> str:
    """A point as a person finds it, such as ``between R2 and R3 (chain.2)``."""
    parts = parts_at(node, circuit)
    return f"between {parts[0]} and {parts[1]} ({node})" if parts else node


def joint_text(node: str, circuit: Circuit) -> str:
    """A point in short, such as ``R2/R3``."""
    return "/".join(parts_at(node, circuit)) or node


def parts_at(node: str, circuit: Circuit) -> tuple[str, ...]:
    """The two parts that meet at a point of a chain; none where its name says where it is."""
    own = circuit.node(node)
    if not _INNER.fullmatch(own):
        return ()
    parts = [
        e.ref.split(".")[0]
        for e in circuit
        if isinstance(e, Resistance | Junction | Capacitance)
        and not is_hidden(e)
        and own in e.nodes
    ]
    refs = tuple(dict.fromkeys(parts))[:2]
    return refs if len(refs) == 2 else ()


def part_words(ref: str) -> str:
    """A piece of a part as a person names it, such as ``K1 coil``."""
    endings = ((ending, words) for words, ending in PART_ENDINGS.items() if ending)
    for ending, words in endings:
        if ref.endswith(ending):
            return ref.removesuffix(ending) + words
    return ref


def points_line(circuit: Circuit) -> str:
    """Which points of a chain are where; empty where there are none."""
    words = [
        f"{node} between {' and '.join(parts)}"
        for node in circuit.nodes
        if (parts := parts_at(node, circuit))
    ]
    return f"Points: {'; '.join(words)}." if words else ""
