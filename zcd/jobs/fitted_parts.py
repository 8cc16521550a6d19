"""What was fitted, as somebody wrote it, beside what the board's file says of the same part."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from itertools import pairwise

from zcd.board.drawer import parse_drawer
from zcd.board.model import Board, Resistor
from zcd.board.optocouplers import optocoupler_name
from zcd.board.parts_library import all_resistors, is_chip
from zcd.diagnosis.retest_record import RetestRecord
from zcd.errors import InputError, plain
from zcd.margin.tolerances import grade_unread
from zcd.report.of_changes import rated_text

_POWER = re.compile(r"\d\s*m?W\b", re.IGNORECASE)
_SIZE = re.compile(r"\b\d{4}\b")
SAME_RATIO = 1e-6


def unlike_file_line(retests: Sequence[RetestRecord], board: Board) -> str:
    """That a resistor was fitted which the board's file does not have; empty where none was.

    Parameters
    ----------
    retests : sequence of RetestRecord
        The last one says what was fitted.
    board : Board
        After the repair, as its file has it.

    Returns
    -------
    line : str
    """
    parts = {part.ref.casefold(): part for part in all_resistors(board)}
    for text in retests[-1].replaced if retests else ():
        ref, _, marking = text.strip().partition(" ")
        part = parts.get(ref.casefold())
        if part is not None and not _may_be(part, marking):
            return (
                f"Fitted, as written: {plain(text)}; the board file has {plain(part.ref)} "
                f"{plain(rated_text(part))}. Describe what was fitted in a file of its own: zcd "
                f"new --like {plain(board.file)} repaired.toml."
            )
    return ""


def grade_fitted_line(written: Iterable[str], board: Board, file: str = "") -> str:
    """That an optocoupler was fitted whose grade the board's file does not say; else empty.

    Parameters
    ----------
    written : iterable of str
        What was replaced or done, such as ``PH1 renewed, PC814A``.
    board : Board
        After the repair, as its file has it.
    file : str
        Where the board is described; by default the file that it was read from, which may be a
        job's.

    Returns
    -------
    line : str
    """
    opto = board.optocoupler
    if opto is None or not grade_unread(board):
        return ""
    for text in written:
        words = re.split(r"[\s,;:]+", text.strip().rstrip("."))
        if opto.ref.casefold() not in map(str.casefold, words):
            continue
        for type_number in (*map(" ".join, pairwise(words)), *words):
            if _has_grade(type_number, opto.family):
                name = plain(type_number)
                return (
                    f"Fitted: {name}. The verdict is for the board as described, without a grade: "
                    f"write {name} into {plain(file or board.file)} and check again."
                )
    return ""


def _has_grade(type_number: str, family: str) -> bool:
    """Whether a text is an optocoupler of a family with its grade."""
    try:
        name, grade = optocoupler_name(type_number)
    except InputError:  # words, or another part
        return False
    return name == family and grade is not None


def _may_be(part: Resistor, marking: str) -> bool:
    """Whether a resistor is of the value, power and size that are written, as far as they are."""
    try:
        stock = parse_drawer(f"resistors = [{_quoted(marking)}]").resistors
    except InputError:  # words, or no marking at all
        return True
    written = stock[0].part if stock else part
    return all(
        (
            abs(written.resistance_ohm / part.resistance_ohm - 1.0) < SAME_RATIO,
            part.size_assumed
            or not _POWER.search(marking)
            or written.rated_power_w == part.rated_power_w,
            not (_SIZE.search(marking) and is_chip(written.style)) or written.style == part.style,
        )
    )


def _quoted(text: str) -> str:
    escaped = plain(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
