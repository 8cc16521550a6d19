"""The circuit for a page: wide, and folded for where that does not fit; whole, or at the probes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from typing import Any

from markupsafe import Markup

from zcd.board.model import Board
from zcd.circuit.elements import Circuit
from zcd.drawing.schematic import schematic, zoomed
from zcd.drawing.sketch import Sketch, sketch_svg

PX_PER_POINT = 96.0 / 72.0
STEP_PX = 50.0
"""The style sheet knows widths in such steps."""
MOST_PX = 1600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitDrawing:
    """The same circuit in two layouts; letters are 12 px high in both, or higher.

    Parameters
    ----------
    lying, standing : Markup
        Sides beside each other; the mains side over the isolated side.
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
    needed = min((right - left) * PX_PER_POINT, MOST_PX)
    return CircuitDrawing(
        lying=Markup(sketch_svg(lying)),
        standing=Markup(sketch_svg(drawn(True))),
        fit=f"px{ceil(needed / STEP_PX) * int(STEP_PX)}",
    )
