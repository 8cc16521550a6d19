"""The usual circuits to begin with, each as a small drawing without words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from urllib.parse import urlencode

from markupsafe import Markup

from zcd.board.traced import KEY as CIRCUIT
from zcd.circuit.build import build_circuit
from zcd.drawing.folding import sides
from zcd.drawing.schematic import schematic
from zcd.drawing.sketch import Sketch, sketch_svg
from zcd.drawing.symbols import Words
from zcd.web.board_form import START, differing, read
from zcd.web.resistor_rows import ROW, Texts
from zcd.web.state import CHOSEN

CLAMP = {"clamp.part": "1N4148"}
CIRCUITS: dict[str, Texts] = {
    "a diode in series": {},
    "a diode across the LED": {"chain.topology": "clamped", "rectifier.part": "", **CLAMP},
    "both diodes": {"chain.topology": "half-wave-clamped", **CLAMP},
    "a bridge": {"chain.topology": "bridge", "chain.return_resistors.1": "62k"},
    "two LEDs": {
        "chain.topology": "two-led", "rectifier.part": "", "optocoupler.family": "814 A",
    },
    "traced by myself": {
        "chain.topology": "", "rectifier.part": "",
        **dict.fromkeys((key for key in START if ROW.fullmatch(key)), ""),
        CIRCUIT: "feed - R1 51k - R2 62k - R3 51k - D1 1N4007 > - led+; led- - neutral",
    },
}  # fmt: skip
"""Name -> what its fields say besides those of the board to begin with."""
LINES = '<code aria-hidden="true">feed - R1 -\n  D1 &gt; - led+\nled- - R2 -\n  neutral</code>'
"""Stands for a drawing of a circuit that somebody has traced."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownCircuit:
    """One of them, and the address of a board with it; one that was traced may be any."""

    name: str
    query: str
    picture: Markup


@cache
def circuits() -> tuple[KnownCircuit, ...]:
    """All of them."""
    return tuple(_known(name, {**START, **said}) for name, said in CIRCUITS.items())


def _known(name: str, texts: Texts) -> KnownCircuit:
    board, errors = read(texts)
    assert board is not None, errors
    sketch = schematic(board, build_circuit(board), name="small")
    groups = (
        replace(g, title="", shapes=tuple(s for s in g.shapes if not isinstance(s, Words)))
        for g in sides(sketch)[0].groups
    )
    bare = Sketch(sketch.name, tuple(g for g in groups if g.shapes))
    picture = Markup(LINES if CIRCUIT in texts else sketch_svg(bare))
    query = urlencode({**differing(START, texts), CHOSEN: name})
    return KnownCircuit(name=name, query=query, picture=picture)
