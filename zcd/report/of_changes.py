"""What was changed on a board, part by part."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import takewhile, zip_longest

from zcd.board.model import Board, Capacitor, Diode, Optocoupler, Resistor
from zcd.board.optocouplers import UNRANKED, grades, package_of
from zcd.board.parts_library import all_resistors
from zcd.board.units import format_si
from zcd.errors import plain
from zcd.margin.wiring import rewired, same_shape
from zcd.report.text import listed

RATINGS = {"rated_power_w": "W", "working_v": "V", "rated_v": "V"}
"""Ratings that make a part another type, though its value and style are the same."""


def changes(before: Board, after: Board) -> tuple[str, ...]:
    """What is different between two boards, part by part, in words."""
    old, new = part_texts(before), part_texts(after)
    for ref, texts in _rated_otherwise(before, after).items():
        old[ref], new[ref] = (f"{old[ref]} {text}" for text in texts)
    rebuilt = _rebuilt_strings(before, after)
    for ref in {part.ref for part in _in_strings(before)} if rebuilt else ():
        del old[ref]
    for ref in {part.ref for part in _in_strings(after)} if rebuilt else ():
        del new[ref]
    lines = list(rebuilt)
    lines += [f"{ref}: {plain(text)} taken out" for ref, text in old.items() if ref not in new]
    alike: dict[str, list[str]] = {}
    for ref, text in new.items():
        if old.get(ref) != text:
            alike.setdefault(_change_text(old.get(ref), text), []).append(plain(ref))
    other = _other_pins(before, after)
    lines += [f"{listed(refs)}: {how}{other.get(refs[0], '')}" for how, refs in alike.items()]
    known = before.traced is None and after.traced is None
    if not known or (old.keys() == new.keys() and not rebuilt):
        moved = rewired(after, before)
        unknown = () if same_shape(after, before) else ("the wiring differs",)
        lines += unknown if moved is None else moved
    return tuple(lines)


def _rated_otherwise(before: Board, after: Board) -> dict[str, tuple[str, str]]:
    """Ratings then and now, by reference, of parts that are alike in all else."""
    old, new = part_texts(before), part_texts(after)
    was, now = _rated_parts(before), _rated_parts(after)
    result = {}
    for ref in was.keys() & now.keys():
        names = [
            name
            for name in (*RATINGS, "safety_class")
            if getattr(was[ref], name, None) != getattr(now[ref], name, None)
        ]
        if names and old.get(ref) == new.get(ref):
            result[ref] = (_ratings_text(was[ref], names), _ratings_text(now[ref], names))
    return result


def _rated_parts(board: Board) -> dict[str, Resistor | Capacitor | Diode]:
    rated: tuple[Resistor | Capacitor | Diode, ...] = (
        *all_resistors(board), *board.capacitors, *board.diodes
    )  # fmt: skip
    return {part.ref: part for part in rated}


def rated_text(part: Resistor) -> str:
    """A resistor with the power that it is for."""
    return f"{_resistor_text(part)} {_ratings_text(part, ['rated_power_w'])}"


def _ratings_text(part: Resistor | Capacitor | Diode, names: Sequence[str]) -> str:
    """Ratings in brackets; a power that nobody wrote is what the lowest of the makers gives."""
    texts = []
    for name in names:
        value = getattr(part, name)
        unwritten = name == "rated_power_w" and getattr(part, "usual_power_w", None) is not None
        text = format_si(value, RATINGS[name]) if isinstance(value, float) else value
        texts.append(f"{'taken as ' if unwritten else ''}{text or 'rating not given'}")
    return f"({', '.join(texts)})"


def _change_text(old: str | None, new: str) -> str:
    """What became of a part."""
    return f"{new} new" if old is None else f"{plain(old)} replaced by {plain(new)}"


def _other_pins(before: Board, after: Board) -> dict[str, str]:
    """How the pin-out of another optocoupler compares, by its reference."""
    old, new = before.optocoupler, after.optocoupler
    if old is None or new is None or old.family == new.family:
        return {}
    return {plain(new.ref): f" ({pins_text(new, old)})"}


def _rebuilt_strings(before: Board, after: Board) -> tuple[str, ...]:
    """Changes of strings that have more or fewer resistors now; none where their numbers are as
    before.

    References count on from the parts put in, so that those that stay are known by their values
    from both ends of a string.
    """
    was, now = ((*board.chains, board.return_chain) for board in (before, after))
    if before.traced or after.traced or [*map(len, was)] == [*map(len, now)]:
        return ()
    lines = []
    for old, new in zip_longest(was, now, fillvalue=()):
        head = _alike(old, new)
        tail = _alike(old[head:][::-1], new[head:][::-1])
        gone, put = old[head : len(old) - tail], new[head : len(new) - tail]
        if gone and put:
            lines.append(f"{_refs_text(gone)}: {_sum_text(gone)} replaced by {_sum_text(put)}")
        elif gone:
            lines.append(f"{_refs_text(gone)}: {_sum_text(gone)} taken out")
        elif put:
            lines.append(f"{_refs_text(put)}: {_sum_text(put)} new")
    return tuple(lines)


def _in_strings(board: Board) -> tuple[Resistor, ...]:
    return tuple(part for string in (*board.chains, board.return_chain) for part in string)


def _alike(old: tuple[Resistor, ...], new: tuple[Resistor, ...]) -> int:
    """How many resistors of two strings are alike from their first on."""
    pairs = zip(old, new, strict=False)
    same = (_resistor_text(one) == _resistor_text(other) for one, other in pairs)
    return sum(takewhile(bool, same))


def _refs_text(parts: tuple[Resistor, ...]) -> str:
    return " and ".join(plain(part.ref) for part in parts)


def _sum_text(parts: tuple[Resistor, ...]) -> str:
    """Resistors in series, equal ones counted."""
    counts = Counter(map(_resistor_text, parts))
    return " + ".join(f"{n} x {text}" if n > 1 else text for text, n in counts.items())


def part_texts(board: Board) -> dict[str, str]:
    """The parts of the sync circuit by reference, in words."""
    return {
        **{r.ref: _resistor_text(r) for r in all_resistors(board)},
        **{c.ref: format_si(c.capacitance_f, "F") for c in board.capacitors},
        **{d.ref: d.part for d in board.diodes},
        **({} if board.transistor is None else {board.transistor.ref: board.transistor.part}),
        **({} if board.optocoupler is None else _coupler_text(board.optocoupler)),
    }


def _coupler_text(opto: Optocoupler) -> dict[str, str]:
    left = opto.remaining_ratio
    aged = "" if left == 1.0 else f", {format_si(left, '%')} of its CTR left"
    unread = ", grade not read" if len(grades(opto.family)) > 1 else ""
    # "SFH620A-2", "817 B"
    printed = f"{'-' if opto.grade.isdigit() else ' '}{opto.grade}"
    grade = unread if opto.grade == UNRANKED else printed
    return {opto.ref: f"{opto.family}{grade}{aged}"}


def pins_text(new: Optocoupler, old: Optocoupler) -> str:
    """How the pin-outs of two optocouplers compare."""
    if new.family == old.family:
        return "same pins"
    now, before = package_of(new.family), package_of(old.family)
    if not now:
        return "package and pins: see its data sheet"
    if not before:
        return f"{now}, compare body and pins"
    if now != before:
        return f"{now}, not {before}: other pins"
    return f"{now}, compare pin-outs"


def _resistor_text(part: Resistor) -> str:
    """A resistor by value, tolerance, and its size where that was written."""
    ohm, tolerance = format_si(part.resistance_ohm, "Ω"), format_si(part.tolerance_ratio, "%")
    return f"{ohm} {tolerance}{'' if part.size_assumed else f' {part.style}'}"
