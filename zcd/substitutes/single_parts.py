"""Another optocoupler, pull-up or diode in place of the one on the board."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from zcd.board import optocouplers, parts_library
from zcd.board.drawer import PLENTY, StockDiode, StockOptocoupler, StockResistor
from zcd.board.model import Board, Topology
from zcd.margin.roots import passing_ranges
from zcd.margin.rules import kept_ratio
from zcd.margin.spread import AT_CORNER
from zcd.margin.stress import chain_resistors, worst_circuit, worst_of
from zcd.substitutes.compare import Verdict, solved_apart, turning_margins, verdicts, with_corners
from zcd.substitutes.corner_ranges import corner_ranges

FloatArray = NDArray[np.float64]

PULL_UPS_OHM = np.geomspace(100.0, 10e6, 41)
"""Values at which a pull-up is looked for."""
EDGE_TOLERANCE = 1e-6
BEYOND_RATIO = 1.02
"""How far outside a range the verdict is asked what ends it."""
PULL_UPS_JUDGED = 8
BRIDGE_DIODES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """One part in place of another, and the verdict on the board with it.

    Parameters
    ----------
    name : str
        As the trade calls the part.
    fitted : bool
        Whether it is of the kind that is on the board now; then it stands for a new one.
    too_few : bool
        Whether the drawer holds fewer than the board needs.
    verdict : Verdict
    """

    name: str
    fitted: bool
    verdict: Verdict
    too_few: bool = False

    @property
    def fits(self) -> bool:
        """Whether all rules are kept and there are enough of it."""
        return self.verdict.passes and not self.too_few

    @property
    def margin_ratio(self) -> float:
        """How many times the tightest rule is kept but for those about resistors of the chain.

        These are as they were.
        """
        board = self.verdict.board
        refs = {part.ref for part in chain_resistors(board)}
        return min(
            kept_ratio(rule)
            for rule in self.verdict.every_rule
            if rule.name.removeprefix(AT_CORNER).rpartition(" ")[0] not in refs
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeEnd:
    """One end of a range, and the rule that fails just beyond it (None: not looked further)."""

    ohm: float
    beyond: Verdict | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PullUps:
    """Values of the pull-up (or pull-down) with which all rules are kept.

    Parameters
    ----------
    ranges : tuple of pairs of RangeEnd
        With the tolerance of the one on the board, at the worst corners too; but for the rules
        about resistors of the chain.
    swaps : tuple of Swap
        Resistors of the drawer nearest to the middle of a range, best margin first.
    nearest : Verdict or None
        Where there is no range: at the value that comes nearest to having one.
    """

    ranges: tuple[tuple[RangeEnd, RangeEnd], ...]
    swaps: tuple[Swap, ...]
    nearest: Verdict | None


def optocoupler_swaps(board: Board, stock: Sequence[StockOptocoupler]) -> tuple[Swap, ...]:
    """Judge every optocoupler of a drawer on a board, each as new.

    Parameters
    ----------
    board : Board
    stock : sequence of StockOptocoupler
        Those with another number of LEDs than the board needs are passed over.

    Returns
    -------
    swaps : tuple of Swap
        Those that fit first, best margin first.
    """
    now = board.optocoupler
    able = {
        (item.part.family, item.part.grade, item.part.ctr_ratio): item.part
        for item in stock
        if has_its_leds(item, board)
    }
    boards = [replace(board, optocoupler=replace(part, ref=now.ref)) for part in able.values()]
    swaps = [
        Swap(
            name=f"{part.family} {part.grade}",
            fitted=(part.family, part.grade) == (now.family, now.grade),
            verdict=verdict,
        )
        for part, verdict in zip(able.values(), _verdicts(boards), strict=True)
    ]
    return tuple(sorted(swaps, key=lambda s: (not s.fits, -s.margin_ratio)))


def has_its_leds(item: StockOptocoupler, board: Board) -> bool:
    """Whether an optocoupler has as many LEDs as a board needs."""
    two_leds = board.topology is Topology.TWO_LED
    return (item.part.family in optocouplers.TWO_LED_FAMILIES) == two_leds


def every_optocoupler(family: str) -> tuple[StockOptocoupler, ...]:
    """All grades of the common families, and of a family that is fitted."""
    return tuple(
        StockOptocoupler(part=optocouplers.optocoupler(family, grade))
        for family in dict.fromkeys((*optocouplers.OFFERED_FAMILIES, family))
        for grade in optocouplers.grades(family)
    )


def every_diode() -> tuple[StockDiode, ...]:
    """The common diodes."""
    return tuple(
        StockDiode(part=parts_library.diode(part, ref="")) for part in parts_library.OFFERED_DIODES
    )


def diode_swaps(board: Board, stock: Sequence[StockDiode], which: str) -> tuple[Swap, ...]:
    """Judge every diode of a drawer as rectifier or clamp.

    Parameters
    ----------
    board : Board
    stock : sequence of StockDiode
    which : str
        ``rectifier`` (all four of a bridge) or ``clamp``.

    Returns
    -------
    swaps : tuple of Swap
        Those that fit first, the widest reverse rating first.
    """
    now = board.rectifier if which == "rectifier" else board.clamp
    assert now is not None
    counts: dict[str, int] = {}
    for item in stock:
        counts[item.part.part] = min(counts.get(item.part.part, 0) + item.count, PLENTY)
    parts = {item.part.part: item.part for item in stock}
    new = [replace(part, ref=now.ref) for part in parts.values()]
    boards = [
        replace(board, rectifier=part) if which == "rectifier" else replace(board, clamp=part)
        for part in new
    ]
    needed = BRIDGE_DIODES if board.topology is Topology.BRIDGE else 1
    swaps = [
        Swap(
            name=name,
            fitted=name == now.part,
            verdict=verdict,
            too_few=counts[name] < needed,
        )
        for name, verdict in zip(parts, _verdicts(boards), strict=True)
    ]
    rating = {name: part.junction.reverse_rating_v for name, part in parts.items()}
    return tuple(sorted(swaps, key=lambda s: (not s.fits, -rating[s.name])))


def _verdicts(boards: Sequence[Board]) -> list[Verdict]:
    """The whole verdict, worst corners included."""
    return with_corners(verdicts(boards)) if boards else []


def pull_ups(board: Board, stock: Sequence[StockResistor]) -> PullUps:
    """Find the range of pull-ups, and resistors of a drawer in it.

    Parameters
    ----------
    board : Board
    stock : sequence of StockResistor

    Returns
    -------
    result : PullUps

    Notes
    -----
    Both ends matter: with less resistance a weak optocoupler cannot pull the pin low, with more
    it is slow to let it go.
    """
    now = board.output.resistor

    def margin(log_ohm: FloatArray) -> FloatArray:
        ohm = np.exp(log_ohm)
        boards = [_with_pull_up(board, float(value)) for value in ohm]
        solutions = solved_apart([worst_circuit(one) for one in boards])
        used = [worst_of(s, one)[-1].used_ratio() for s, one in zip(solutions, boards, strict=True)]
        return np.minimum(turning_margins(board, now.ref, ohm), 1.0 - np.array(used))

    steps = np.log(PULL_UPS_OHM)
    edges = np.exp(passing_ranges(margin, steps, EDGE_TOLERANCE))
    # in the middle of what fails at the corners only, or least far from locking
    nearest = np.exp(np.log(edges).mean() if edges.size else steps[np.argmax(margin(steps))])
    narrowed = corner_ranges(
        lambda ohm: _with_pull_up(board, ohm),
        now.ref,
        [(float(low), float(high)) for low, high in edges],
        exempt=frozenset(part.ref for part in chain_resistors(board)),
    )
    edges = np.concatenate([np.empty((0, 2)), *narrowed.ranges])
    ends = [float(end) for pair in edges for end in pair]
    outside = [end * BEYOND_RATIO ** (1 if k % 2 else -1) for k, end in enumerate(ends)]
    inside = [
        item.part
        for item in stock
        if any(low <= item.part.resistance_ohm <= high for low, high in edges)
    ]
    middle = float(np.exp(np.log(edges).mean())) if ends else 1.0
    inside.sort(key=lambda part: abs(np.log(part.resistance_ohm / middle)))
    chosen = inside[:PULL_UPS_JUDGED]
    new = [
        replace(board, output=replace(board.output, resistor=replace(part, ref=now.ref)))
        for part in chosen
    ]
    judged = _verdicts([*(_with_pull_up(board, ohm) for ohm in outside), *new])
    looked_at = [PULL_UPS_OHM[0] < end < PULL_UPS_OHM[-1] for end in ends]
    result = [
        RangeEnd(ohm=end, beyond=verdict if seen else None)
        for end, verdict, seen in zip(ends, judged, looked_at, strict=False)
    ]
    swaps = [
        Swap(
            name=part.style,
            fitted=part.resistance_ohm == now.resistance_ohm,
            verdict=verdict,
        )
        for part, verdict in zip(chosen, judged[len(ends) :], strict=True)
    ]
    (none,) = [None] if ends else _verdicts([_with_pull_up(board, float(nearest))])
    return PullUps(
        nearest=none,
        ranges=tuple(zip(result[0::2], result[1::2], strict=True)),
        swaps=tuple(sorted(swaps, key=lambda s: (not s.fits, -s.margin_ratio))),
    )


def _with_pull_up(board: Board, ohm: float) -> Board:
    resistor = replace(board.output.resistor, resistance_ohm=ohm)
    return replace(board, output=replace(board.output, resistor=resistor))


def reverse_ratio(swap: Swap, ref: str) -> float:
    """Reverse rating of a diode over the reverse voltage it bears; the worst of a bridge."""
    rules = [
        rule
        for rule in swap.verdict.rules
        if rule.name.endswith(" reverse voltage") and rule.name.split(" ")[0].rstrip("abcd") == ref
    ]
    return min((rule.limit / rule.value for rule in rules if rule.value > 0.0), default=np.inf)
