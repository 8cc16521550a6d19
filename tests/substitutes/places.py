"""What tests of substitutes ask: a section of a chain, or the answer for one part."""

from __future__ import annotations

from zcd.board.drawer import Drawer
from zcd.board.model import Board
from zcd.substitutes.proposals import Answer
from zcd.substitutes.search import substitutes
from zcd.substitutes.series_string import SeriesString, series_strings


def section(board: Board, *refs: str) -> SeriesString:
    """The section that these resistors belong to; without any, the first one as a whole."""
    group = next(g for g in series_strings(board) if not refs or {p.ref for p in g} >= set(refs))
    wanted = refs or tuple(part.ref for part in group)
    return SeriesString(
        board=board,
        replaced=tuple(part for part in group if part.ref in wanted),
        kept=tuple(part for part in group if part.ref not in wanted),
    )


EMPTY = Drawer(name="empty")


def answer(of: Board, ref: str, drawer: Drawer = EMPTY, *, others: bool = False) -> Answer:
    """What is proposed in place of one part."""
    (only,) = substitutes(of, drawer, [ref], others=others).answers
    return only
