"""Names that SPICE takes: legal, in lower case for nodes, unique, and still readable."""

from __future__ import annotations

import re
from collections.abc import Iterable

_SIGNS = {"+": "_plus", "-": "_minus"}
_RESERVED = frozenset({"0", "gnd", "time", "temper", "hertz"})
_ILLEGAL = re.compile(r"[^a-z0-9_.]")


def node_names(nodes: Iterable[str]) -> dict[str, str]:
    """What each node of a circuit is called in the netlist.

    Examples
    --------
    >>> node_names(["chain.1", "led+", "led-", "LED+"])
    {'chain.1': 'chain.1', 'led+': 'led_plus', 'led-': 'led_minus', 'LED+': 'led_plus_2'}
    """
    result: dict[str, str] = {}
    for node in nodes:
        text = node.lower()
        for sign, word in _SIGNS.items():
            text = text.replace(sign, word)
        text = _ILLEGAL.sub("_", text) or "node"
        result[node] = _unique(f"node_{text}" if text in _RESERVED else text, result.values())
    return result


def plain(ref: str) -> str:
    """A ref as part of the name of a model or of a node inside a part."""
    return _ILLEGAL.sub("_", ref.lower())


class PartNames:
    """Names of elements: SPICE tells their kind from the first letter.

    Examples
    --------
    >>> names = PartNames()
    >>> names.of("R", "R12"), names.of("R", "K1.contact"), names.of("R", "r12")
    ('R12', 'R.K1.contact', 'r12_2')
    """

    def __init__(self) -> None:
        self._taken: list[str] = []

    def of(self, letter: str, ref: str) -> str:
        """A new name for a part."""
        text = re.sub(r"[^A-Za-z0-9_.]", "_", ref)
        if text[:1].upper() != letter:
            text = f"{letter}.{text}"
        name = _unique(text, self._taken)
        self._taken.append(name.lower())
        return name


def _unique(text: str, taken: Iterable[str]) -> str:
    """The text itself, or with the first number that makes it differ from those taken."""
    used, number, name = set(taken), 1, text
    while name.lower() in used:
        number += 1
        name = f"{text}_{number}"
    return name
