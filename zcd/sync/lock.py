"""Whether the controller locks to the sync pulses and, if not, the one rule that failed.

Each rule is a margin: 0 on the limit, positive when kept, and continuous in whatever is varied,
so that a limit can be found exactly by root finding on the smallest margin.

The pin must pass both thresholds, as often as it should: that is its function. On a worst board it
must pass the guaranteed levels, on a usual one those of a typical input; where the pin passes the
guaranteed ones, edges are told by these. What else a controller asks for (how long, how fast, how
late) is a limit where the board file states it; where nobody has read the controller it is no more
than an expectation, and losing it loses no lock.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.board.pins import switching_levels
from zcd.board.units import UNIT_ENDINGS
from zcd.circuit.batch import COMMON, Batch
from zcd.circuit.elements import Circuit, Value
from zcd.engine.solution import Solution, row_pieces
from zcd.engine.solve import EDGES, SolverOptions, solve
from zcd.sync.pulses import Pulses, find_pulses

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LockRule:
    """A rule of the lock, and how one speaks of it.

    Parameters
    ----------
    broken : str
        What is wrong where it is broken, a clause.
    short : str
        The least behind its name.
    key : str
        Of ``[controller]``, which states its limit; empty: it is the function of the input.
    words : str
        What is limited.
    unit : str
    at_least : bool
    spoken : str
        What is limited as one says it with its worst figure and its thresholds.
    meaning : str
        What it means that a controller may expect it, and does not get it.
    """

    broken: str
    short: str = ""
    key: str = ""
    words: str = ""
    unit: str = "s"
    at_least: bool = False
    spoken: str = ""
    meaning: str = ""

    @property
    def attribute(self) -> str:
        """Of the board's `Controller`, which holds the limit."""
        return f"{self.key}_{UNIT_ENDINGS[self.unit]}"


LOCK_RULES = {
    "pin never low": LockRule(broken="the pin is never pulled low"),
    "pin never high": LockRule(broken="the pin never goes high"),
    "pulse count": LockRule(broken="too few or too many pulses"),
    "low time": LockRule(
        broken="the pulse is too short",
        short="pulse too short",
        key="min_low_time",
        words="pulse width",
        at_least=True,
        spoken="pin below {low} for only {worst}",
        meaning="some controllers miss pulses this short",
    ),
    "high time": LockRule(
        broken="the time between pulses is too short",
        short="pause too short",
        key="min_high_time",
        words="time between pulses",
        at_least=True,
        spoken="pin above {high} for only {worst}",
        meaning="some controllers miss gaps this short",
    ),
    "transition": LockRule(
        broken="the edges are too slow",
        short="too slow",
        key="max_transition",
        words="time between the thresholds",
        spoken="edges of {most}",
        meaning="some controllers count such a slow edge twice",
    ),
    "edge offset": LockRule(
        broken="the edge is too far from the zero crossing",
        short="too far",
        key="max_offset",
        words="offset of the edge",
        spoken="edge {most} from the zero crossing",
        meaning="a triac timed by it may fire too late",
    ),
    "period": LockRule(
        broken="the pulses are uneven",
        short="too long or short",
        key="period_tolerance",
        words="unevenness of the pulses",
        unit="%",
        spoken="spacing of the pulses uneven by {most}",
        meaning="some controllers reject such pulses",
    ),
}
"""In the order in which a failure explains the later ones."""
RULES = tuple(LOCK_RULES)
FUNCTION = RULES[:3]
"""What a sync input is for; none of it needs a limit from the controller."""
LIMITS = {name: rule for name, rule in LOCK_RULES.items() if rule.key}
"""What a controller may ask for beyond that."""
NOT_BINDING = 1e3
"""Margin of an expectation where only what loses the lock counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Thresholds(Batch):
    """Where the sync pin reads low and high, one pair or a pair a row. [V]"""

    low_v: Value
    high_v: Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Lock(Batch):
    """What the controller makes of the pulses.

    Parameters
    ----------
    pulses : Pulses
    margins : ndarray, shape (n, len(RULES))
        Positive = kept; in units of the rule's own limit.
    binding : tuple of bool
        Which rules lose the lock when they are broken; the others are expectations.
    by_typical : ndarray of bool, shape (n,)
        Which pulses pass the levels of a typical input only.
    """

    pulses: Pulses
    margins: FloatArray
    by_typical: NDArray[np.bool_]
    binding: tuple[bool, ...] = field(default=(True,) * len(RULES), metadata=COMMON)

    @property
    def binding_margins(self) -> FloatArray:
        """The margins, those of expectations out of reach, shape (n, len(RULES))."""
        return np.where(self.binding, self.margins, NOT_BINDING)

    @property
    def locks(self) -> NDArray[np.bool_]:
        """Shape (n,)."""
        return np.all(self.binding_margins >= 0.0, axis=1)

    @property
    def margin(self) -> FloatArray:
        """The smallest binding margin of each row, shape (n,)."""
        return np.min(self.binding_margins, axis=1)

    def failed_rule(self, row: int) -> str | None:
        """The first rule in the order of `RULES` by which a row loses the lock."""
        broken = np.flatnonzero(self.binding_margins[row] < 0.0)
        return RULES[broken[0]] if broken.size else None

    def unmet_expectations(self, row: int) -> tuple[str, ...]:
        """What a controller may expect, and a row does not give."""
        unmet = (self.margins[row] < 0.0) & ~np.array(self.binding)
        return tuple(np.array(RULES)[unmet].tolist())

    def status(self, row: int) -> Literal["pass", "warning", "fail"]:
        """The verdict on a row, as the check's rules give it: an expectation only warns."""
        if self.failed_rule(row):
            return "fail"
        return "warning" if self.unmet_expectations(row) else "pass"


def expected_pulses(board: Board) -> int:
    """Low pulses a mains period that a healthy board of this topology gives."""
    return 2 if board.lit_twice else 1


def binding_rules(board: Board) -> tuple[bool, ...]:
    """Which of `RULES` lose the lock of a board when they are broken."""
    stated = board.controller.stated
    return tuple(rule in FUNCTION or LIMITS[rule].key in stated for rule in RULES)


def times_both_edges(board: Board) -> bool:
    """Whether the two edges of one pulse time the two halves of a period."""
    drive = board.appliance.drive if board.appliance else None
    both = board.controller.edges == "both" or bool(drive and drive.half_cycles == "edges")
    return both and expected_pulses(board) == 1


def thresholds_of(board: Board) -> Thresholds:
    """The thresholds that the board states."""
    rules = board.controller
    return Thresholds(low_v=rules.low_threshold_v, high_v=rules.high_threshold_v)


def judge(
    solution: Solution,
    board: Board,
    thresholds: Thresholds | None = None,
    *,
    worst: bool | NDArray[np.bool_] = False,
) -> Lock:
    """Apply a board's lock rules to a solution.

    Parameters
    ----------
    solution : Solution
        n rows.
    board : Board
        Gives the controller and its nominal mains frequency.
    thresholds : Thresholds, optional
        In place of those of the board, for every row its own.
    worst : bool or ndarray of bool, shape (n,)
        Which rows are worst boards: the guaranteed levels count, not those of a typical input.

    Returns
    -------
    lock : Lock
    """
    if thresholds is not None:
        return _judged(solution, board, thresholds)
    size = solution.phase_rad.shape[0]
    usual = np.flatnonzero(np.broadcast_to(~np.asarray(worst), size))
    if not usual.size:
        return _judged(solution, board, thresholds_of(board))
    # all rows by the guaranteed levels, then the usual ones by the typical levels
    rules, (low_v, high_v) = board.controller, switching_levels(board.controller).typical_v
    sizes = size, usual.size
    thresholds = Thresholds(
        low_v=np.repeat([rules.low_threshold_v, low_v], sizes),
        high_v=np.repeat([rules.high_threshold_v, high_v], sizes),
    )
    rows = np.concatenate([np.arange(size), usual])
    both = _judged(solution, board, thresholds, rows)
    by_levels = both.rows(slice(size))
    margins, short = by_levels.margins.copy(), by_levels.by_typical.copy()
    margins[usual] = both.margins[size:]
    short[usual] = np.any(by_levels.margins[usual, : len(FUNCTION)] < 0.0, axis=1)
    rows[usual[short[usual]]] = size + np.flatnonzero(short[usual])
    pulses = both.pulses.rows(rows[:size])
    return replace(by_levels, pulses=pulses, margins=margins, by_typical=short)


def _judged(
    solution: Solution,
    board: Board,
    thresholds: Thresholds,
    rows: NDArray[np.intp] | slice = slice(None),
) -> Lock:
    pulses = find_pulses(solution, thresholds.low_v, thresholds.high_v, rows)
    return Lock(
        pulses=pulses,
        margins=_margins(pulses, thresholds, board),
        by_typical=np.zeros(pulses.size, dtype=bool),
        binding=binding_rules(board),
    )


def lock_of(
    circuit: Circuit,
    board: Board,
    options: SolverOptions = EDGES,
    *,
    worst: bool | NDArray[np.bool_] = False,
) -> Lock:
    """Solve a batch and judge it; a large one in pieces, whose waveforms are not kept."""
    bad = np.broadcast_to(worst, circuit.size)
    pieces = row_pieces(circuit.size)
    if len(pieces) == 1:
        return judge(solve(circuit, options), board, worst=bad)
    return Lock.joined(
        [judge(solve(circuit.rows(p), options), board, worst=bad[p]) for p in pieces]
    )


def _margins(pulses: Pulses, thresholds: Thresholds, board: Board) -> FloatArray:
    """Margins of all rules, shape (n, len(RULES))."""
    rules, supply = board.controller, board.output.supply_v
    reaches_low = (thresholds.low_v - pulses.lowest_v) / thresholds.low_v
    reaches_high = (pulses.highest_v - thresholds.high_v) / (supply - thresholds.high_v)
    expected = expected_pulses(board)
    periods = [1.0 / (hz * expected) for hz in board.mains.nominal_hz]
    # without a pulse, rules about it count as failed by the distance the pin is short of one
    short = np.minimum(reaches_low, reaches_high)
    missing = np.minimum(-1.0, -1.0 + short)
    # what is surely low and surely high, whatever the input makes of the undefined band
    sure_low = pulses.low_time_s - pulses.rise_transition_s
    sure_high = (
        pulses.interval_s - pulses.low_time_s - _of_the_next(pulses.fall_transition_s, pulses)
    )
    offset = pulses.fall_offset_s if rules.edge == "falling" else pulses.rise_offset_s
    transition = np.maximum(_longest(pulses.fall_transition_s), _longest(pulses.rise_transition_s))
    with np.errstate(divide="ignore", invalid="ignore"):
        octaves = np.minimum.reduce([abs(np.log2(pulses.interval_s / p)) for p in periods])
    uneven = np.minimum.reduce([abs(pulses.interval_s / p - 1.0) for p in periods])
    # nearer to the right interval than to one of half or twice the length; without a pulse as far
    # off as the pin is from its threshold, so that nothing jumps where the first pulse comes
    counted = np.maximum(1.0 - 2.0 * _longest(octaves), -1.0)
    about_pulses = (
        _beyond(_shortest(sure_low), rules.min_low_time_s),
        _beyond(_shortest(sure_high), rules.min_high_time_s),
        1.0 - transition / rules.max_transition_s,
        1.0 - _longest(np.abs(offset)) / rules.max_offset_s,
        1.0 - _longest(uneven) / rules.period_tolerance_ratio,
    )
    there = pulses.count > 0
    columns = [
        reaches_low,
        reaches_high,
        np.where(there, counted, np.where(short < 0.0, short, -1.0)),
    ]
    # kept above -1, so that a pulse that is barely there is no worse than none at all
    columns += [np.where(there, np.maximum(margin, -1.0), missing) for margin in about_pulses]
    return np.stack(columns, axis=1)


def _beyond(time_s: FloatArray, least_s: float) -> FloatArray:
    """By how much of a least time another is longer; what asks for none is met by any."""
    if least_s == 0.0:
        return np.where(time_s >= 0.0, NOT_BINDING, -1.0)
    return np.asarray(time_s / least_s - 1.0)


def _of_the_next(values: FloatArray, pulses: Pulses) -> FloatArray:
    """A value of the pulse after each; after the last of a period comes its first."""
    last = np.arange(values.shape[1]) == pulses.count[:, None] - 1
    return np.where(last, values[:, :1], np.roll(values, -1, axis=1))


def _shortest(values: FloatArray) -> FloatArray:
    """Smallest of a row's pulses; nan where it has none."""
    return np.asarray(np.min(np.where(np.isnan(values), np.inf, values), axis=1))


def _longest(values: FloatArray) -> FloatArray:
    return np.asarray(np.max(np.where(np.isnan(values), -np.inf, values), axis=1))
