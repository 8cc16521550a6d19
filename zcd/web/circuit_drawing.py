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
from zcd.drawing.nets import lines_at_probes
from zcd.drawing.schematic import schematic, zoomed
from zcd.drawing.sketch import Sketch, sketch_svg

PX_PER_POINT = 96.0 / 72.0
STEP_PX = 10
WIDTHS_PX = range(250, 1610, STEP_PX)
"""How much room a drawing may ask for."""
ROW_PX = 320.0
"""What a small phone has for a row of parts."""
LONG_PX = 900
"""A longer drawing is also sent as its two sides, each lying."""
LOW_PX, LOW_NEAR_PX = 370.0, 300.0
"""Height up to which a drawing is made larger where there is room; of what is at the probes."""
CLOSER, LARGER = 1.8, 1.3
"""How many times larger what is at the probes is drawn where there is room, and a whole circuit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitDrawing:
    """The same circuit in several layouts; letters are 12 px high in all, or higher.

    Parameters
    ----------
    layouts : tuple of (str, Markup)
        The widest first, each with its classes, which say how much room it needs.
    """

    layouts: tuple[tuple[str, Markup], ...]


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
    is_list = all(group.kind != "wire" for group in lying.groups)
    pieces = (lying,) if near is None or is_list else rows(lying, ROW_PX / PX_PER_POINT)
    if len(pieces) == 1:
        turned = drawn(True)
        pieces = (lines_at_probes(turned),) if near and is_list else sides(turned)
    _, top, _, bottom = lying.box
    is_low = bottom - top <= (LOW_PX if near is None else LOW_NEAR_PX) / PX_PER_POINT
    kinds = f"lying {_fit(lying)}{' list' * is_list}{' low' * is_low}"
    layouts: list[tuple[str, tuple[Sketch, ...]]] = [(kinds, (lying,))]
    if _needed_px(lying) > LONG_PX and len(split := sides(lying)) > 1:
        layouts.append((f"split {_fit(*split)}", split))
    layouts.append(("standing", pieces))
    return CircuitDrawing(
        layouts=tuple((kind, Markup("".join(map(sketch_svg, each)))) for kind, each in layouts)
    )


def _needed_px(sketch: Sketch) -> int:
    left, _, right, _ = sketch.box
    return ceil((right - left) * PX_PER_POINT / STEP_PX) * STEP_PX


def _fit(*sketches: Sketch) -> str:
    """The class that says how much room some drawings need under each other."""
    needed = max(map(_needed_px, sketches))
    return f"px{min(max(needed, WIDTHS_PX[0]), WIDTHS_PX[-1])}"


def fold_rules() -> str:
    """The style sheet that shows a drawing in the layout for which there is room."""
    folds = "\n".join(
        f"@container (width < {px}px) {{ .lying.px{px} {{ display: none; }}"
        f" .lying + .px{px}.px{px} {{ display: none; }} .px{px} + * {{ display: flex; }} }}"
        for px in WIDTHS_PX
    )
    sizes = "\n".join(
        f"{where} .low.px{px} svg {{ width: clamp({px}px, 100cqw, {times * px:g}px); }}"
        for where, times in ((".card:not(.bench)", CLOSER), (":is(#drawn, #shown)", LARGER))
        for px in WIDTHS_PX
    )
    return f"{folds}\n@media (min-width: 48rem), (min-height: 31rem) {{\n{sizes}\n}}\n"
