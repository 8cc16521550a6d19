"""What the markings of a board file were taken for, as a sentence."""

from __future__ import annotations

from functools import lru_cache

from zcd.board.drawer import Drawer
from zcd.board.model import Board, ReadAs
from zcd.board.parts_library import all_resistors
from zcd.errors import plain
from zcd.report.text import broken_text, quantity_span_text, quantity_text


def read_as_line(board: Board) -> str:
    """Codes and plates with what they were read as; empty where there are none."""
    refs: dict[str, list[str]] = {}
    for note in board.read_as:
        refs.setdefault(_said(note), []).append(_place(board, note.key))
    parts = (f"{', '.join(dict.fromkeys(names))} {said}" for said, names in refs.items())
    return plain(f"Read as: {'; '.join(parts)}.") if refs else ""


def drawer_lines(drawer: Drawer, most: int | None = None) -> list[str]:
    """What markings in a drawer were read as, and the items that were left out.

    Parameters
    ----------
    drawer : Drawer
    most : int, optional
        Items of each that are named; the others are counted.
    """
    read = list(dict.fromkeys(map(_said, drawer.read_as)))
    more = f" and {len(read) - most} more" if most is not None and len(read) > most else ""
    lines = [plain(f"Read as: {'; '.join(read[:most])}{more}.")] if read else []
    if most is None:
        return lines + [plain(f"Left out: {line}") for line in drawer.left_out]
    found = [line.partition("; allowed")[0] for line in drawer.left_out]
    lines += [plain(f"Left out: {line}.") for line in found[:most]]
    if found:
        more = f"{len(found) - most} more. " if len(found) > most else ""
        lines[-1] += f" {more}What to write: --full."
    return lines


def _said(note: ReadAs) -> str:
    return f'"{note.printed}" = {note.meaning}'


READ_AGAIN = "read the marking again under a magnifier, or ask for the maker's parts list"
BEARS = "the range says what works, not what was there"
"""What to do about a value that is not known, or not right, before one from a range is fitted."""


def years_from(board: Board) -> str:
    """From when on the years of a board are counted; empty without an optocoupler."""
    part = board.optocoupler
    if part is None:
        return ""
    return f"for {'a new ' if part.remaining_ratio == 1.0 else ''}{plain(part.ref)}"


def served_line(board: Board) -> str:
    """That the years of a new optocoupler are not those of one that has served."""
    part = board.optocoupler
    if part is None or part.remaining_ratio != 1.0:
        return ""
    return f"Counted {years_from(board)}; one that has served N years has less."


def unread_parts(board: Board) -> list[str]:
    """Of each resistor that could not be read, the value that stands in its place."""
    taken = {part.ref: part.resistance_ohm for part in all_resistors(board)}
    return [
        plain(f"{each.ref} is unknown: taken as {quantity_text(taken[each.ref], 'Ω')}")
        for each in board.unknowns
    ]


def taken_line(board: Board) -> str:
    """That figures are for the value that stands in the place of one that could not be read."""
    parts = unread_parts(board)
    which = "that value" if len(parts) == 1 else "these values"
    return f"{'; '.join(parts)}; these figures are for {which}." if parts else ""


def allowed_line(board: Board) -> str:
    """What readings allow for where a resistor could not be read; empty where all could."""
    spans = [
        f"{plain(each.ref)} is unknown: taken to be "
        f"{quantity_span_text(each.low_ohm, each.high_ohm, 'Ω')}; any other reads as a fault"
        for each in board.unknowns
    ]
    return f"{'; '.join(spans)}." if spans else ""


def unread_line(board: Board) -> str:
    """The same, and where more is said of it."""
    line = allowed_line(board)
    ask = f"With which values the board passes: zcd check {plain(board.file)}"
    return line and f"{line} {ask}"


def no_sync_line(board: Board) -> str:
    """That a board has no sync even when every part is as described; empty where it has."""
    broken = _broken_text(board)
    if not broken:
        return ""
    return (
        f"As described, this board has no sync even with every part good ({broken}"
        f"): check its values first. zcd check {plain(board.file)} says more."
    )


@lru_cache(maxsize=8)
def _broken_text(board: Board) -> str:
    """How a typical board fails to give sync at nominal mains; empty where it gives it."""
    from zcd.circuit.build import build_circuit
    from zcd.sync.lock import expected_pulses, lock_of

    lock = lock_of(build_circuit(board), board)
    rule, pulses = lock.failed_rule(0), int(lock.pulses.count[0])
    return broken_text(rule, pulses, expected_pulses(board)) if rule else ""


def _place(board: Board, key: str) -> str:
    """The part at a key, or the key in words."""
    places = {} if board.description is None else board.description.places
    parts = {where: ref for ref, where in places.items()}
    return parts.get(key) or parts.get(key.rpartition(".")[0]) or key.replace("_", " ")
