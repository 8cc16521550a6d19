"""What `zcd new` writes is a sound design, and what makes it one."""

from __future__ import annotations

import re

import pytest

from zcd.board.files import parse_board
from zcd.board.model import Topology
from zcd.board.starter import starter_text
from zcd.margin.corners import find_corners
from zcd.margin.tolerances import tolerances_of
from zcd.substitutes.compare import verdicts
from zcd.sync.lock import RULES

BOTH_HALVES = [Topology.BRIDGE, Topology.TWO_LED]


@pytest.mark.parametrize("topology", list(Topology))
def test_starter_keeps_all_rules_at_its_worst_corners(topology: Topology) -> None:
    board = parse_board(starter_text(topology))
    assert verdicts([board])[0].passes
    assert find_corners(board, tolerances_of(board)).margins.min() >= 0.0


@pytest.mark.parametrize("topology", BOTH_HALVES)
def test_the_resistor_across_the_led_gives_the_pin_time(topology: Topology) -> None:
    """Without it the time at the high level is too short at the worst corner."""
    text = re.sub(r"^\[led\]|^resistor = .*$", "", starter_text(topology), flags=re.MULTILINE)
    board = parse_board(text)
    result = find_corners(board, tolerances_of(board))
    assert result.margins[RULES.index("high time")] < 0.0
