"""Which diodes of a drawer to try in place of one: each kind by its own kind only."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import log

from zcd.board import parts_library
from zcd.board.diode_names import BRIDGE, ZENER
from zcd.board.drawer import PLENTY, StockDiode
from zcd.board.model import Board, Diode, Topology
from zcd.board.parts_library import kind_of_diode, zener_v
from zcd.circuit.build import base_refs
from zcd.margin.stress import SMALL_ZENER_W
from zcd.substitutes.proposals import Candidate, Closeness, in_order

BRIDGE_DIODES = 4
SAME_VOLTAGE, NEAR_VOLTAGE = 0.02, 0.10
"""How near a zener's voltage comes to the printed one: the same, and one that is tried at all."""


def every_diode(now: Diode) -> tuple[StockDiode, ...]:
    """One like that on the board, and the common ones."""
    common = (parts_library.diode(part, ref="") for part in parts_library.OFFERED_DIODES)
    return tuple(StockDiode(part=part) for part in dict.fromkeys((replace(now, ref=""), *common)))


def replaceable_diodes(board: Board) -> Iterator[tuple[str, Diode]]:
    """Each diode, and what it is there for: ``rectifier``, ``clamp``, ``bridge`` or ``zener``."""
    links = {} if board.traced is None else {x.ref: {x.a, x.b} for x in board.traced.links}
    for diode in board.diodes:
        ends = links.get(diode.ref, set())
        inputs = [links.get(ref) for ref in ("led", *base_refs(board))]
        clamps = diode is board.clamp or (bool(ends) and ends in inputs)
        clamps = clamps or (not board.is_isolated and "pin" in ends)
        if kind_of_diode(diode) is ZENER:
            kind = ZENER
        elif board.traced is not None and diode.ref not in links:
            kind = BRIDGE
        else:
            kind = "clamp" if clamps else "rectifier"
        yield kind, diode


def diodes_needed(board: Board, now: Diode) -> int:
    """How many parts take the place of one of the board's: four of a bridge of single diodes."""
    single = kind_of_diode(now) is not BRIDGE
    return BRIDGE_DIODES if single and _rectifies_full_wave(board, now) else 1


def _rectifies_full_wave(board: Board, now: Diode) -> bool:
    return now is board.rectifier and board.topology is Topology.BRIDGE


def diode_candidates(
    board: Board, stock: Sequence[StockDiode], now: Diode
) -> tuple[Candidate, ...]:
    """Diodes to try in place of one.

    Parameters
    ----------
    board : Board
    stock : sequence of StockDiode
        Those of another kind are passed over, and those of which there are too few.
    now : Diode
        Of the board; all four of a bridge.

    Returns
    -------
    candidates : tuple of Candidate
        The same part first; then those with a reverse rating as high, those for less current
        last and the lowest first. Of
        zeners those of the same voltage, with a power as high; a voltage near it, or less power,
        changes something.
    """
    counts: dict[Diode, int] = {}
    for item in stock:
        part = replace(item.part, ref=now.ref)
        counts[part] = min(counts.get(part, 0) + item.count, PLENTY)
    kind, needed = kind_of_diode(now), diodes_needed(board, now)
    fit = [p for p, count in counts.items() if kind_of_diode(p) is kind and count >= needed]
    if kind is ZENER:
        fit = [p for p in fit if abs(zener_v(p) / zener_v(now) - 1.0) <= NEAR_VOLTAGE]
    order = _zener_order if kind is ZENER else _rectifier_order
    candidates, keys = [], []
    for part in fit:
        closeness, key = order(part, now)
        changed = board.with_diode(now, part)
        candidates.append(Candidate(parts=(part,), board=changed, closeness=closeness))
        keys.append(key)
    return in_order(candidates, keys)


def _rectifier_order(part: Diode, now: Diode) -> tuple[Closeness, tuple[float, ...]]:
    ratio = part.junction.reverse_rating_v / now.junction.reverse_rating_v
    if part.part == now.part:
        closeness = Closeness.SAME
    else:
        closeness = Closeness.LIKE if ratio >= 1.0 else Closeness.OTHER
    return closeness, (is_weaker(part, now), abs(log(ratio)))


def is_weaker(part: Diode, now: Diode) -> bool:
    """Whether a diode is known to be made for less current than another, which no sync input
    asks of it."""
    made_for_a, was_a = part.rated_current_a, now.rated_current_a
    return made_for_a is not None and was_a is not None and made_for_a < was_a


def _zener_order(part: Diode, now: Diode) -> tuple[Closeness, tuple[float, ...]]:
    off = abs(zener_v(part) / zener_v(now) - 1.0)
    power_w = part.rated_power_w or SMALL_ZENER_W
    weaker = power_w < (now.rated_power_w or SMALL_ZENER_W)
    same = off <= SAME_VOLTAGE and not weaker
    closeness = Closeness.SAME if same else Closeness.OTHER
    return closeness, (off > SAME_VOLTAGE, weaker, off, power_w)
