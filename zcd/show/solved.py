"""A board solved, in words and as a dictionary."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from zcd.circuit.build import led_refs
from zcd.show.checked.records import plain_values
from zcd.show.checked.sheets import Sheet, board_line
from zcd.show.draw.axes import plot_solved
from zcd.show.tables import print_line, print_sheet
from zcd.show.wording import offset_text, plain, quantity_text

if TYPE_CHECKING:
    from rich.console import Console

    from zcd.sync.solved import Solved

__all__ = ["plot_solved", "print_solved", "solved_line", "solved_record"]


def solved_line(solved: Solved) -> str:
    """How many cases lock."""
    if solved.size > 1:
        return f"{int(np.sum(solved.locks))} of {solved.size} cases lock"
    failed = solved.lock.failed_rule(0)
    return f"{plain(solved.board.name)} locks" if failed is None else f"does not lock: {failed}"


def print_solved(solved: Solved, console: Console) -> None:
    """Print LED current, edges and lock of each case."""
    print_line(plain(solved.board.name), console, bold=True)
    print_line(board_line(solved.board), console)
    pulses, peaks = solved.lock.pulses, _led_peak_a(solved)
    print_sheet(
        Sheet(
            title="Solved",
            columns=("case", "LED peak", "low time", "falls", "rises", "lock"),
            rows=tuple(
                (
                    str(row + 1),
                    quantity_text(float(peaks[row]), "A"),
                    quantity_text(float(pulses.low_time_s[row, 0]), "s"),
                    offset_text(float(pulses.fall_offset_s[row, 0])),
                    offset_text(float(pulses.rise_offset_s[row, 0])),
                    solved.lock.failed_rule(row) or "yes",
                )
                for row in range(solved.size)
            ),
            right=(1, 2, 3, 4),
        ),
        console,
    )


def solved_record(solved: Solved) -> dict[str, Any]:
    """LED current, edges and lock of each case; edges of the first."""
    pulses = solved.lock.pulses
    record: dict[str, Any] = plain_values(
        {
            "board": solved.board.name,
            "locks": solved.locks,
            "failed_rules": [solved.lock.failed_rule(row) for row in range(solved.size)],
            "led_peak_a": _led_peak_a(solved),
            "low_time_s": pulses.low_time_s[:, 0],
            "period_s": pulses.period_s,
            "edges": [asdict(edge) for edge in solved.edges],
        }
    )
    return record


def _led_peak_a(solved: Solved) -> Any:
    """Peak of the current through the LED, or through both, shape (n,)."""
    waves = [solved.solution.currents_a[ref] for ref in led_refs(solved.board)]
    return solved.solution.peak(np.asarray(sum(waves)))
