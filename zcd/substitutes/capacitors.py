"""What a capacitor of the board bears, and which of a drawer may take its place.

IEC 60384-14 (not read; as makers explain it) sorts capacitors for the mains: class X across it,
class Y from it to what a hand may touch.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations_with_replacement
from math import inf, log, sqrt

import numpy as np

from zcd.board.drawer import SAFETY_CLASSES, StockCapacitor
from zcd.board.model import Board, Capacitor
from zcd.circuit.elements import Capacitance
from zcd.engine.solution import Solution
from zcd.substitutes.chain_parts import NEAR_TOTAL, TRIED
from zcd.substitutes.proposals import Candidate, Closeness, in_order

SAME_VALUE, NEAR_FACTOR = 0.01, 2.2
"""How near a capacitance comes to the printed one: the same, and a single one that is tried."""
MAINS_V = 50.0
"""From this peak on a capacitor is one of the mains side that needs a class: extra-low voltage is
50 V at most."""
AC_RATINGS_V = (275.0, 310.0)
DC_RATINGS_V = (16.0, 25.0, 50.0, 100.0, 250.0, 400.0, 630.0)
SPARE = 2.0
"""Rated voltage over what a capacitor bears at the pin: common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CapacitorNeed:
    """What a capacitor in the place of another must be made for.

    Parameters
    ----------
    on_mains : bool
        It needs a class of `SAFETY_CLASSES`.
    rated_v : float
        Alternating where it is on the mains, else direct.
    """

    on_mains: bool
    rated_v: float


def capacitor_needs(solution: Solution, board: Board) -> Mapping[str, CapacitorNeed]:
    """What each capacitor of a board must be made for, by reference.

    Parameters
    ----------
    solution : Solution
        Of the board at high mains.
    board : Board
    """
    needs = {}
    for part in board.capacitors:
        element = solution.circuit[part.ref]
        assert isinstance(element, Capacitance)
        across = solution.voltages_v[element.a] - solution.voltages_v[element.b]
        peak_v = float(np.abs(across).max())
        at_pin = part is board.output.pin_capacitor
        on_mains = not at_pin and peak_v >= MAINS_V
        # with the LED or a zener open nothing keeps the mains' peak off one of the mains side
        peak_v = SPARE * peak_v if at_pin else sqrt(2.0) * board.mains.high_rms_v
        ratings, least = (
            (AC_RATINGS_V, board.mains.high_rms_v) if on_mains else (DC_RATINGS_V, peak_v)
        )
        rated_v = min((volts for volts in ratings if volts >= least), default=ratings[-1])
        needs[part.ref] = CapacitorNeed(on_mains=on_mains, rated_v=rated_v)
    return needs


def capacitor_candidates(
    board: Board, stock: Sequence[StockCapacitor], now: Capacitor, need: CapacitorNeed
) -> tuple[Candidate, ...]:
    """Capacitors that are made for their place: of the same value, class X2 and the least first;
    where there is none, two that make it up, each made for the place alone; then those of a value
    near it, which change the pulse."""
    counts: Counter[Capacitor] = Counter()
    for item in stock:
        part = replace(item.part, ref=now.ref)
        if _is_made_for(part, need):
            counts[part] += item.count
    near = 1.0 / NEAR_FACTOR, NEAR_FACTOR
    sets: list[tuple[Capacitor, ...]] = [
        (part,) for part in counts if near[0] <= part.capacitance_f / now.capacitance_f <= near[1]
    ]
    if not any(_off(each, now) <= SAME_VALUE for each in sets):
        pairs = combinations_with_replacement(counts, 2)
        sets += [
            (one, replace(other, ref=f"{now.ref}b"))
            for one, other in pairs
            if (one is not other or counts[one] > 1) and _off((one, other), now) <= NEAR_TOTAL
        ]
    candidates, keys = [], []
    for parts in sorted(sets, key=lambda each: _off(each, now))[:TRIED]:
        alike = _off(parts, now) <= SAME_VALUE
        whole = replace(now, capacitance_f=together_f(parts, now))
        changed = parts[0] if len(parts) == 1 else whole
        closeness = Closeness.SAME if len(parts) == 1 else Closeness.LIKE
        candidates.append(
            Candidate(
                parts=parts,
                board=board if alike else board.with_capacitor(now, changed),
                closeness=closeness if alike else Closeness.OTHER,
            )
        )
        known_v = [part.rated_v or inf for part in parts]
        off = 0.0 if alike else _off(parts, now)
        others = any(part.safety_class != "X2" for part in parts)
        keys.append((off, len(parts), others, max(known_v)))
    return in_order(candidates, keys)


def _is_made_for(part: Capacitor, need: CapacitorNeed) -> bool:
    able = part.safety_class in SAFETY_CLASSES or not need.on_mains
    return able and (part.rated_v is None or part.rated_v >= need.rated_v)


def are_parallel(parts: Sequence[Capacitor], now: Capacitor) -> bool:
    """Whether two capacitors take the place of another side by side, not one after the other."""
    total_f = sum(part.capacitance_f for part in parts)
    return abs(total_f / now.capacitance_f - 1.0) <= NEAR_TOTAL


def together_f(parts: Sequence[Capacitor], now: Capacitor) -> float:
    """Capacitance of one capacitor, or of two in the place of another."""
    if len(parts) == 1 or are_parallel(parts, now):
        return sum(part.capacitance_f for part in parts)
    return 1.0 / sum(1.0 / part.capacitance_f for part in parts)


def _off(parts: Sequence[Capacitor], now: Capacitor) -> float:
    """How far they are from the printed value, in logs."""
    return abs(log(together_f(parts, now) / now.capacitance_f))
