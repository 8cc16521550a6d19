"""Published transistors against the engine's output stage; what `zcd check` carries covers them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.spice.spread import LIMITS, SIZE, Gap, collected, gaps
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.engine.solve import solve
from zcd.margin.tolerances import draw, tolerances_of
from zcd.refdata import table
from zcd.sync.pulses import find_pulses

SAMPLE = 6
SWITCHING = ("CTR of OC1", "turn-off of OC1", "saturation of OC1")
COVERED = 0.9
"""The 5th to 95th percentile is carried."""


def covered(board: Board, found: list[Gap]) -> list[bool]:
    """Whether edges and lowest voltage of each transistor lie within the carried corners."""
    carried = {t.name: t for t in tolerances_of(board)}
    wanted = [carried[name] for name in SWITCHING]
    corners = np.array(list(itertools.product((0.0, 1.0), repeat=len(wanted))))
    boards = draw(board, wanted, corners)
    solution = solve(boards.circuit)
    rules = board.controller
    pulses = find_pulses(solution, rules.low_threshold_v, rules.high_threshold_v)
    ours = find_pulses(solve(build_circuit(board)), rules.low_threshold_v, rules.high_threshold_v)
    spans = {
        "falling edge": pulses.fall_offset_s[:, 0] - ours.fall_offset_s[0, 0],
        "rising edge": pulses.rise_offset_s[:, 0] - ours.rise_offset_s[0, 0],
        "lowest pin voltage": pulses.lowest_v - ours.lowest_v[0],
    }
    return [
        bool(np.nanmin(span) <= gap.values[name] <= np.nanmax(span))
        for gap in found
        for name, span in spans.items()
    ]


def coverage(size: int) -> float:
    """Share of edges and voltages that are covered, over some boards."""
    result = [gaps(number) for number in range(size)]
    inside = [ok for each in result for ok in covered(each[0].board, each)]
    return float(np.mean(inside))


def test_carried_tolerance_covers_the_published_transistors() -> None:
    assert coverage(SAMPLE) >= COVERED


@pytest.mark.slow
def test_carried_tolerance_covers_them_over_all_boards() -> None:
    assert coverage(SIZE) >= COVERED


@pytest.mark.slow
def test_table_is_what_the_boards_give() -> None:
    """Own result, repeated: three digits are kept, and each percentile moves with the grid."""
    result = collected()
    for row in table("output_spread"):
        low, middle, high = np.percentile(result[str(row["what"])], LIMITS)
        span = high - low
        kept = [row["low_si"], row["middle_si"], row["high_si"]]
        assert_allclose(kept, [low, middle, high], rtol=0.01, atol=0.01 * span)
