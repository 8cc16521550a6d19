"""True corners: for each rule, every tolerance at the end that is worse for it."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.margin.rule_margins import RuleMargins, evaluate_together
from zcd.margin.tolerances import Boards, Tolerance, draw
from zcd.sync.lock import RULES

FloatArray = NDArray[np.float64]

MIN_GAIN = 1e-3
"""A margin that moves by less has not moved: what the points in time leave undecided."""
MIN_SHARE = 1e-3
"""A tolerance with less than this share of the largest effect is left at its end."""
NAMED_SHARE = 0.02
"""And with less than this it is not named."""
MAX_PASSES = 5
ROOM_RATIO = 3.0
"""Together, tolerances seen to gain least from one another lower a margin by less than so many
times what each does alone: with more than that left, a rule surely keeps its sign."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where one tolerance sits at a corner.

    Parameters
    ----------
    tolerance : Tolerance
    amount : float
        In the unit of the tolerance.
    """

    JSON_KEYS: ClassVar = ("name=tolerance.name", "unit=tolerance.unit", "amount")

    tolerance: Tolerance
    amount: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Corners:
    """The worst corner of every rule.

    Parameters
    ----------
    tolerances : tuple of Tolerance
        d of them.
    names : tuple of str
        k rules, as in `RuleMargins`.
    margins : ndarray, shape (k,)
        Of each rule at its own corner.
    shares : ndarray, shape (k, d)
        Where each tolerance sits there, from 0 (low end) to 1.
    effects : ndarray, shape (k, d)
        How far each tolerance alone lowers the margin from the middle of all spans.
    """

    tolerances: tuple[Tolerance, ...]
    names: tuple[str, ...]
    margins: FloatArray
    shares: FloatArray
    effects: FloatArray

    def places(self, rule: int) -> tuple[Place, ...]:
        """Tolerances and amounts at the corner of a rule, those with the largest effect first.

        Those that hardly touch it are left out.
        """
        effects = self.effects[rule]
        order = np.argsort(-effects, kind="stable")
        return tuple(
            Place(self.tolerances[d], float(self.tolerances[d].amount(self.shares[rule, d])))
            for d in order
            if effects[d] > NAMED_SHARE * effects[order[0]] and self.shares[rule, d] != 0.5
        )

    def with_drawn(self, shares: FloatArray, margins: FloatArray) -> Corners:
        """The corners, but for rules that a board drawn at random breaks further.

        Parameters
        ----------
        shares : ndarray, shape (n, d)
            Of the boards drawn.
        margins : ndarray, shape (n, k)

        Returns
        -------
        corners : Corners
            Breakdown and harmonics may put the worst inside the spans, where no end is.
        """
        least, places = _lowest(margins, shares)
        further = least < self.margins
        return replace(
            self,
            margins=np.where(further, least, self.margins),
            shares=np.where(further[:, None], places, self.shares),
        )


def _lowest(margins: FloatArray, shares: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The lowest margin of each rule among some boards, shape (k,), and where; shape (k, d)."""
    row = np.argmin(margins, axis=0)
    return margins[row, np.arange(margins.shape[1])], shares[row]


def find_corners(board: Board, tolerances: Sequence[Tolerance]) -> Corners:
    """Find the worst corner of every rule.

    Parameters
    ----------
    board : Board
    tolerances : sequence of Tolerance
        At least one.

    Returns
    -------
    corners : Corners

    Notes
    -----
    The worse end of each tolerance is read off in the middle of all spans, one tolerance at a
    time. The opposite corner is tried too: an edge may be late in one and early in the other; and
    a corner found for one rule may be the worst for another. From the worst of them, each
    tolerance is tried at its other ends, and those that make the rule worse are put together,
    until none does; rules of stress are monotone but for harmonics. That no corner is worse is
    what the tests check, on boards small enough to try them all.
    """
    return find_all_corners([board], [tolerances])[0]


def find_all_corners(
    boards: Sequence[Board],
    tolerances: Sequence[Sequence[Tolerance]],
    *,
    room_ratio: float = np.inf,
) -> list[Corners]:
    """Find the worst corners of several boards, step by step together.

    Parameters
    ----------
    boards : sequence of Board
        All with the same controller.
    tolerances : sequence of sequences of Tolerance
        Of each board, at least one.
    room_ratio : float
        Rules with more left than so many times what lowered them last are let be: their sign is
        sure (`ROOM_RATIO`), their number not asked for.

    Returns
    -------
    corners : list of Corners
        Of each board, as `find_corners` finds them for it alone.
    """
    searches = [
        _Search(board, tuple(mine), room_ratio=room_ratio)
        for board, mine in zip(boards, tolerances, strict=True)
    ]
    return _searched(searches)


def _searched(searches: Sequence[_Search]) -> list[Corners]:
    """What several searches come to, each step of all of them judged together."""
    boards = [search.board for search in searches]
    steps = {number: search.steps() for number, search in enumerate(searches)}
    asked = {number: next(step) for number, step in steps.items()}
    while asked:
        numbers = list(asked)
        answers = evaluate_together([asked[k] for k in numbers], [boards[k] for k in numbers])
        asked = {}
        for number, answer in zip(numbers, answers, strict=True):
            try:
                asked[number] = steps[number].send(answer)
            except StopIteration:
                continue
    return [search.found() for search in searches]


_Steps = Generator[Boards, RuleMargins, None]
"""Asks for the verdict on boards, again and again."""


class _Search:
    """The lowest margin found so far for every rule, and where.

    The ends that may be tried: end e puts tolerance `which[e]` at share `share[e]`.
    """

    def __init__(
        self, board: Board, tolerances: tuple[Tolerance, ...], *, room_ratio: float
    ) -> None:
        self.board, self.tolerances, self.room_ratio = board, tolerances, room_ratio
        self.which = np.array([d for d, t in enumerate(tolerances) for _ in t.extremes])
        self.share = np.array([share for t in tolerances for share in t.extremes])
        self.names: tuple[str, ...]
        self.margins: FloatArray
        self.shares: FloatArray
        self.effects: FloatArray

    def steps(self) -> _Steps:
        """The whole search."""
        starts = yield from self.from_the_middle()
        yield from self.judge(np.concatenate([starts, 1.0 - starts[: len(RULES)]]))
        yield from self.improve()

    def found(self) -> Corners:
        """What the search has come to."""
        return Corners(
            tolerances=self.tolerances,
            names=self.names,
            margins=self.margins,
            shares=self.shares,
            effects=self.effects,
        )

    def judge(self, shares: FloatArray) -> Generator[Boards, RuleMargins, FloatArray]:
        """Margins of all rules, shape (n, k); a lower one than before is remembered."""
        rows, member = np.unique(shares, axis=0, return_inverse=True)
        result = (yield draw(self.board, self.tolerances, rows)).margins
        least, places = _lowest(result, rows)
        lower = least < self.margins
        self.shares[lower], self.margins[lower] = places[lower], least[lower]
        return result[member.ravel()]

    def from_the_middle(self) -> Generator[Boards, RuleMargins, FloatArray]:
        """The ends that are worse for each rule, each tolerance alone; shape (k, d)."""
        middle = np.full((1 + self.which.size, len(self.tolerances)), 0.5)
        middle[np.arange(self.which.size) + 1, self.which] = self.share
        result = yield draw(self.board, self.tolerances, middle)
        lowered = result.margins[0] - result.margins[1:]
        rules = np.arange(len(result.names))
        self.names, self.margins = result.names, np.full(rules.size, np.inf)
        self.shares, self.effects = np.full((2, rules.size, len(self.tolerances)), 0.5)
        starts = np.empty_like(self.shares)
        for d in range(len(self.tolerances)):
            ends = np.flatnonzero(self.which == d)
            worst = ends[np.argmax(lowered[ends], axis=0)]
            starts[:, d] = self.share[worst]
            self.effects[:, d] = lowered[worst, rules]
        return starts

    def improve(self) -> _Steps:
        """Try the other ends of each tolerance at the corners, until none is worse."""
        bends = np.array([len(t.extremes) > 2 for t in self.tolerances])
        size = np.abs(self.effects)
        tried = size > MIN_SHARE * size.max(axis=1, keepdims=True)
        tried[len(RULES) :] &= bends
        todo, base = np.flatnonzero(self.open(size.sum(axis=1))), self.shares.copy()
        for _ in range(MAX_PASSES):
            rule, end = np.nonzero(tried[todo][:, self.which])
            if not rule.size:
                break
            rule = todo[rule]
            moved = base[rule]
            moved[np.arange(rule.size), self.which[end]] = self.share[end]
            before = self.margins.copy()
            margins = yield from self.judge(np.concatenate([base[todo], moved]))
            own = before.copy()
            own[todo] = margins[np.arange(todo.size), todo]
            gains = np.minimum(before, own)[rule]
            gains -= margins[todo.size + np.arange(rule.size), rule]
            base = np.where((own > before)[:, None], self.shares, base)
            for k in np.argsort(gains):  # the largest gain has the last word
                if gains[k] > MIN_GAIN:
                    base[rule[k], self.which[end[k]]] = self.share[end[k]]
            gained = own - self.margins  # also where moves do worse together than alone
            todo = np.flatnonzero((gained > MIN_GAIN) & self.open(gained))

    def open(self, lowered: FloatArray) -> NDArray[np.bool_]:
        """Rules that may yet come lower than matters, by what lowered them last, shape (k,)."""
        return self.margins <= self.room_ratio * np.maximum(lowered, MIN_GAIN)
