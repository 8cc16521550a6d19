"""A board solved, in words and as a picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.points import joint_text
from zcd.errors import plain
from zcd.report.document import Document, Paragraph, Section
from zcd.report.of_check import board_line
from zcd.report.table import Quantity, Table
from zcd.report.text import offset_text

if TYPE_CHECKING:
    from zcd.sync.solved import Solved


def solved_line(solved: Solved) -> str:
    """How many cases lock."""
    if solved.size > 1:
        return f"{int(np.sum(solved.locks))} of {solved.size} cases lock"
    failed = solved.lock.failed_rule(0)
    return f"{plain(solved.board.name)} locks" if failed is None else f"does not lock: {failed}"


def solved_document(solved: Solved) -> Document:
    """The board, and each case."""
    return Document(
        title=plain(solved.board.name),
        sections=(
            Section("", (Paragraph(board_line(solved.board)),), answer=True),
            Section("", (solved_table(solved),), answer=True),
        ),
    )


AGAINST = (
    "falls, rises: after or before the zero crossing of the mains. Low time and edges are those of "
    "typical parts; zcd check gives their range."
)


def solved_table(solved: Solved) -> Table:
    """LED current, edges and lock of each case."""
    pulses, peaks, failed = solved.lock.pulses, solved.led_peak_a, solved.failed_rules
    quantities = (
        Quantity("case", "case", lambda row: str(row + 1)),
        Quantity(
            "led_peak_a", f"{solved.board.input_name} peak", value=lambda row: float(peaks[row])
        ),
        Quantity("low_time_s", "low time", value=lambda row: float(pulses.low_time_s[row, 0])),
        _offset("fall_offset_s", "falls", pulses.fall_offset_s),
        _offset("rise_offset_s", "rises", pulses.rise_offset_s),
        Quantity("locks", "lock", lambda row: failed[row] or "yes", lambda row: not failed[row]),
    )
    return Table.of(range(solved.size), quantities, title="Solved", remark=AGAINST)


def _offset(name: str, heading: str, offsets_s: NDArray[np.float64]) -> Quantity:
    """When the first edge of each case comes, seen from the zero crossing."""
    first = offsets_s[:, 0]
    return Quantity(name, heading, lambda row: offset_text(first[row]), first.__getitem__)


def elements_table(solved: Solved) -> Table:
    """The elements that were solved, between points as the diagram names them."""
    circuit = solved.circuit
    quantities = (
        Quantity("ref", "element", lambda element: element.ref),
        Quantity("kind", "kind", lambda element: type(element).__name__),
        Quantity(
            "nodes", "between", lambda e: " and ".join(joint_text(n, circuit) for n in e.nodes)
        ),
    )
    return Table.of(tuple(circuit), quantities, title="Elements")
