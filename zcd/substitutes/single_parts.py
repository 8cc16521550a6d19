"""Which optocouplers and pull-ups of a drawer to try in place of the one on the board."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from math import isnan, log, nan

import numpy as np

from zcd.board import optocouplers
from zcd.board.drawer import StockOptocoupler, StockResistor
from zcd.board.model import Board, Optocoupler, Resistor, Transistor
from zcd.board.transistors import ANY, on_surface, transistor, transistor_parts
from zcd.circuit.build import build_circuit, coupler_refs
from zcd.circuit.elements import stack
from zcd.engine.solve import solve_together
from zcd.margin.check import LEVELS, level_conditions
from zcd.refdata import default, table
from zcd.substitutes.chain_parts import NEAR_TOTAL, is_printed, nearest_rating
from zcd.substitutes.proposals import Candidate, Closeness, in_order
from zcd.substitutes.series_string import condensed
from zcd.sync.lock import judge

UNKNOWN_ISOLATION_V = 5000.0
"""What takes the place of a part whose own is not known: the usual proof voltage of its body."""
SAME_PULSE_S = 10e-6
"""What the points in time leave undecided."""
_WEAK_STRONG = (LEVELS.index("weak"), LEVELS.index("strong"))


def optocoupler_candidates(
    board: Board, stock: Sequence[StockOptocoupler]
) -> tuple[Candidate, ...]:
    """Optocouplers to try, each as new.

    Parameters
    ----------
    board : Board
    stock : sequence of StockOptocoupler
        Those with another number of LEDs than the board needs are passed over.

    Returns
    -------
    candidates : tuple of Candidate
        The same family and grade first; then those whose pulses stay within the tolerance of the
        original's, that isolate as well and fit its holes or pads, the same family and the
        nearest CTR first.
    """
    now = board.optocoupler
    assert now is not None, "a board without an optocoupler needs none"
    counts: Counter[Optocoupler] = Counter()
    for item in stock:
        counts[replace(item.part, ref=now.ref)] += item.count
    parts = [
        part
        for part, count in counts.items()
        if has_its_leds(part, board) and (count > 1 or couplers_needed(board, part) == 1)
    ]
    boards = [replace(board, optocoupler=part) for part in parts]
    new = replace(board, optocoupler=optocouplers.as_new(now))
    (shortest_s, longest_s), *times = _low_times(new, boards)
    candidates = []
    for part, changed, (low_s, high_s) in zip(parts, boards, times, strict=True):
        within = shortest_s - SAME_PULSE_S <= low_s and high_s <= longest_s + SAME_PULSE_S
        of_grade = part.ctr_min_ratio < part.ctr_max_ratio
        if is_same_type(part, now) and (of_grade or within):
            closeness = Closeness.SAME
        elif within and isolates_as_well(part, now) and fits_its_holes(part, now):
            closeness = Closeness.LIKE
        else:
            closeness = Closeness.OTHER
        candidates.append(Candidate(parts=(part,), board=changed, closeness=closeness))
    return in_order(
        candidates,
        [
            (
                part.family != now.family,
                abs(log(part.ctr_min_ratio / now.ctr_min_ratio))
                + abs(log(part.ctr_max_ratio / now.ctr_max_ratio)),
            )
            for part in parts
        ],
    )


def transistor_candidates(board: Board, now: Transistor) -> tuple[Candidate, ...]:
    """Transistors of the tables to try in place of the one at the pin.

    The same type first; then those of the same body with a gain and a reverse voltage of the base
    no lower, the nearest gain first.
    """
    parts = [now, *(transistor(name, now.ref) for name in transistor_parts()[:-1])]
    parts = [part for n, part in enumerate(parts) if n == 0 or part.part != now.part]

    def closeness(part: Transistor) -> Closeness:
        if part is now:
            return Closeness.SAME
        enough = part.gain_min_ratio >= now.gain_min_ratio
        enough = enough and part.emitter_reverse_v >= now.emitter_reverse_v
        fits = now.part == ANY or on_surface(part.part) is on_surface(now.part)
        return Closeness.LIKE if enough and fits else Closeness.OTHER

    candidates = [
        Candidate(parts=(part,), board=board.with_transistor(part), closeness=closeness(part))
        for part in parts
    ]
    return in_order(candidates, [(abs(log(p.gain_ratio / now.gain_ratio)),) for p in parts])


def is_same_type(part: Optocoupler, now: Optocoupler | None) -> bool:
    """Whether an optocoupler has family and grade of another."""
    return now is not None and (part.family, part.grade) == (now.family, now.grade)


def couplers_needed(board: Board, part: Optocoupler) -> int:
    """How many of an optocoupler: two of another type where two share a pin, which are alike."""
    return 1 if is_same_type(part, board.optocoupler) else len(coupler_refs(board))


def has_its_leds(part: Optocoupler, board: Board) -> bool:
    """Whether an optocoupler has as many LEDs as a board needs."""
    return (part.family in optocouplers.TWO_LED_FAMILIES) == board.two_leds


def fits_its_holes(part: Optocoupler, now: Optocoupler) -> bool:
    """Whether an optocoupler is known to be made in the package of another, if that is known."""
    package = optocouplers.package_of(now.family)
    return part.family == now.family or package in ("", optocouplers.package_of(part.family))


def isolates_as_well(part: Optocoupler, now: Optocoupler) -> bool:
    """Whether an optocoupler is known to isolate as well as another."""
    volts = {str(row["family"]): float(row["isolation_v"]) for row in table("optocoupler_limits")}
    known = volts.get(now.family, nan)
    needed = UNKNOWN_ISOLATION_V if isnan(known) else known
    return part.family == now.family or volts.get(part.family, nan) >= needed


def _low_times(board: Board, boards: Sequence[Board]) -> list[tuple[float, float]]:
    """Shortest and longest low time of the pin: of the original, then with other parts.

    At the ends of the grade, low mains and hot or high mains. The original's chain may be off by
    its tolerance and by what the check lets it drift.
    """
    chain = [part for string in (*board.chains, board.return_chain) for part in string]
    tolerance = max(part.tolerance_ratio for part in chain)
    factor = (1.0 + tolerance) * (1.0 + default("margin.chain_drift").value)
    rows = []
    for one, off in ((board, factor), *((each, 1.0) for each in boards)):
        lean = condensed(one)
        weak, strong = (build_circuit(lean, level_conditions(lean)[k]) for k in _WEAK_STRONG)
        for part in chain:
            if part.ref in weak:
                weak = weak.scale(part.ref, "resistance_ohm", off)
                strong = strong.scale(part.ref, "resistance_ohm", 1.0 / off)
        rows.append(stack([weak, strong]))
    solved = solve_together(rows)
    times = (np.nan_to_num(judge(each, board).pulses.low_time_s[:, 0]) for each in solved)
    return [(float(low_s), float(high_s)) for low_s, high_s in times]


def every_optocoupler(family: str) -> tuple[StockOptocoupler, ...]:
    """All grades of the common families, and of a family that is fitted."""
    return tuple(
        StockOptocoupler(part=optocouplers.optocoupler(family, grade))
        for family in dict.fromkeys((*optocouplers.OFFERED_FAMILIES, family))
        for grade in optocouplers.grades(family)
    )


def pull_up_candidates(board: Board, stock: Sequence[StockResistor]) -> tuple[Candidate, ...]:
    """Resistors to try as pull-up (or pull-down).

    Parameters
    ----------
    board : Board
    stock : sequence of StockResistor

    Returns
    -------
    candidates : tuple of Candidate
        The printed value first, then those within 10 %, the nearest first; others within a factor.
    """
    now = board.output.resistor
    assert now is not None, "the output has a resistor"
    of_value: dict[float, Resistor] = {}

    def nearest(item: StockResistor) -> tuple[bool | float, ...]:
        return (not is_printed(item.part, now), *nearest_rating(item.part, now))

    for item in sorted(stock, key=nearest):
        of_value.setdefault(item.part.resistance_ohm, replace(item.part, ref=now.ref))
    candidates, keys = [], []
    for ohm, part in of_value.items():
        ratio = ohm / now.resistance_ohm
        if is_printed(part, now):
            closeness = Closeness.SAME
        elif abs(ratio - 1.0) <= NEAR_TOTAL:
            closeness = Closeness.LIKE
        else:
            closeness = Closeness.OTHER
        changed = replace(board, output=replace(board.output, resistor=part))
        candidates.append(Candidate(parts=(part,), board=changed, closeness=closeness))
        keys.append((abs(log(ratio)),))
    return in_order(candidates, keys)
