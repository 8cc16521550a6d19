"""Sections of a chain, by the references of the resistors that are replaced."""

from __future__ import annotations

from zcd.board.model import Board
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
