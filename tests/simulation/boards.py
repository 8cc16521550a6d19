"""Boards whose stories the tests tell."""

from __future__ import annotations

from zcd.board.files import parse_board
from zcd.board.model import Board

TEXT = """
name = "Invented wax-melter board"
mains = "230 V 50 Hz"
{feed}
rectifier = "1N4007"
optocoupler = "817 C"
chain = {{resistors = ["91k", "120k"], style = "1206"}}
output = {{pull_up = "47k", supply = "3.3 V"}}
{more}
"""
SUPPRESSED = 'feed = {kind = "switched", suppressor = {resistance = "100", capacitance = "100 nF"}}'


def board(more: str = "", feed: str = 'feed = "switched"') -> Board:
    """A half-wave board behind the load contact, with some lines added."""
    return parse_board(TEXT.format(feed=feed, more=more))
