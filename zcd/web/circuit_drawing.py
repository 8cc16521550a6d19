"""The circuit for a page: wide, and folded for where that does not fit; whole, or at the probes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from typing import Any

from markupsafe import Markup

from zcd.board.model import Board
from zcd.circuit.elements import Circuit
from zcd.drawing.folding import rows, sides
from zcd.drawing.schematic import schematic, zoomed
from zcd.drawing.sketch import Sketch, sketch_svg

PX_PER_POINT = 96.0 / 72.0
STEP_PX = 10
WIDTHS_PX = range(250, 1610, STEP_PX)
"""How much room a drawing may ask for."""
ROW_PX = 340.0
"""What a phone has for a row of parts."""
CLOSE = (1.35, 1.8)
"""How many times larger what is at the probes is drawn, where there is room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitDrawing:
    """The same circuit in two layouts; letters are 12 px high in both, or higher.

    Parameters
    ----------
    lying, standing : Markup
        Sides beside each other; in pieces that go beside or under each other.
    fit : str
        Class of the first: how much room it needs.
    """

    lying: Markup
    standing: Markup
    fit: str


def circuit_drawing(
    board: Board,
    circuit: Circuit,
    *,
    near: tuple[str, str] | None = None,
    probes: tuple[str, str] | None = None,
    **words: Mapping[str, str],
) -> CircuitDrawing:
    """Draw the circuit, or only what is near the probes.

    Parameters
    ----------
    board : Board
    circuit : Circuit
    near, probes : tuple of str, optional
        Nodes of the red and the black probe; `near`: nothing else is drawn.
    **words
        What stands in it, as for `schematic`.
    """

    def drawn(narrow: bool) -> Sketch:
        given: dict[str, Any] = dict(words)
        sketch = schematic(board, circuit, probes=near or probes, narrow=narrow, **given)
        return sketch if near is None else zoomed(sketch)

    lying = drawn(False)
    left, _, right, _ = lying.box
    needed = ceil((right - left) * PX_PER_POINT / STEP_PX) * STEP_PX
    pieces: tuple[Sketch, ...] = (lying,)
    if near is not None and any(group.kind == "wire" for group in lying.groups):  # and no list
        pieces = rows(lying, ROW_PX / PX_PER_POINT)
    if len(pieces) == 1:
        pieces = sides(drawn(True))
    return CircuitDrawing(
        lying=Markup(sketch_svg(lying)),
        standing=Markup("".join(map(sketch_svg, pieces))),
        fit=f"px{min(max(needed, WIDTHS_PX[0]), WIDTHS_PX[-1])}",
    )


def fold_rules() -> str:
    """The style sheet that shows a drawing in the layout for which there is room."""
    return "\n".join(
        f"@container (width < {px}px) {{ .px{px} {{ display: none; }}"
        f" .px{px} + .standing {{ display: flex; }} }}\n"
        + "".join(
            f"@container (width >= {ceil(close * px)}px)"
            f" {{ .card:not(.bench) .px{px} {{ zoom: {close}; }} }}\n"
            for close in CLOSE
        )
        for px in WIDTHS_PX
    )
