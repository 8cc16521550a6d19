"""What `zcd substitute` says of parts that do not fit."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from tests.diagnosis.boards import board
from zcd.board.drawer import parse_drawer
from zcd.board.model import Board
from zcd.report.of_substitutes import optocouplers_table, passed_over_line, pull_up_lines
from zcd.substitutes.search import Substitutes, substitutes

DRAWER = parse_drawer('resistors = ["10k"]\noptocouplers = ["817A", "814A", "814A"]')


def starved() -> Board:
    """A chain of 2 Mohm: no current that any pull-up could work with."""
    whole = board()
    chain = tuple(replace(part, resistance_ohm=1e6) for part in whole.chains[0])
    return replace(whole, chains=(chain,))


@cache
def found() -> Substitutes:
    return substitutes(starved(), DRAWER, ("OC1", "pull-up"))


def test_optocouplers_with_other_leds_are_named() -> None:
    line = "Passed over: 814 A; this board needs an optocoupler with one LED."
    assert passed_over_line(found()) == line
    assert [row[0] for row in optocouplers_table(found()).rows] == ["817 A"]


def test_where_no_pull_up_helps_the_nearest_says_why() -> None:
    pull_ups = found().pull_ups
    assert pull_ups is not None
    assert pull_ups.ranges == () == pull_ups.swaps
    assert pull_ups.nearest is not None
    (line,) = pull_up_lines(pull_ups)
    assert line.startswith("No value of it would do; at ")
    assert pull_ups.nearest.tightest.name in line
