"""What was changed on a board, part by part."""

from __future__ import annotations

from zcd.board.model import Board, Resistor
from zcd.board.parts_library import all_resistors
from zcd.board.units import format_si
from zcd.margin.wiring import rewired, same_shape
from zcd.report.text import plain


def changes(before: Board, after: Board) -> tuple[str, ...]:
    """What is different between two boards, part by part, in words."""
    old, new = part_texts(before), part_texts(after)
    lines = [f"{ref}: {plain(text)} taken out" for ref, text in old.items() if ref not in new]
    lines += [
        f"{ref}: {plain(old[ref])} replaced by {plain(text)}"
        if ref in old
        else f"{ref}: {text} new"
        for ref, text in new.items()
        if old.get(ref) != text
    ]
    known = before.traced is None and after.traced is None
    if not known or old.keys() == new.keys():
        moved = rewired(after, before)
        unknown = () if same_shape(after, before) else ("the wiring differs",)
        lines += unknown if moved is None else moved
    return tuple(lines)


def part_texts(board: Board) -> dict[str, str]:
    """The parts of the sync circuit by reference, in words."""
    opto = board.optocoupler
    left = opto.remaining_ratio
    return {
        **{r.ref: _resistor_text(r) for r in all_resistors(board)},
        **{c.ref: format_si(c.capacitance_f, "F") for c in board.capacitors},
        **{d.ref: d.part for d in board.diodes},
        opto.ref: f"{opto.family} {opto.grade}"
        + ("" if left == 1.0 else f", {format_si(left, '%')} of its CTR left"),
    }


def _resistor_text(part: Resistor) -> str:
    ohm, tolerance = format_si(part.resistance_ohm, "Ω"), format_si(part.tolerance_ratio, "%")
    return f"{ohm} {tolerance} {part.style}"
