"""What is proposed in place of a part: candidates in the order of a colleague, then judged."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from zcd.board.diode_names import leg_refs
from zcd.board.model import Board, Capacitor, Diode, Optocoupler, Resistor, Transistor
from zcd.substitutes.compare import Verdict, verdicts, with_corners

Part = Resistor | Optocoupler | Diode | Capacitor | Transistor

SHOWN = 3
"""Proposals for each part."""
MANY, SHOWN_OF_MANY = 4, 2
"""From so many parts on, so many proposals for each."""
ROUNDS = 3
"""How often the next candidates are judged where too few of those before passed."""
SHOWN_OF_SLOW = 1
"""So many for each of many parts, without those that change something, where a capacitor on the
mains side makes each try take ten times as long; of one part there is one round."""


class Closeness(StrEnum):
    """How near a proposal comes to the original, nearest first."""

    SAME = "same"
    """The printed value or part, rated as high or higher."""
    LIKE = "like"
    """Nothing works harder than before, and there is no more than one part more."""
    NEAR = "near"
    """A total within 10 %; a part may work somewhat harder, or there are more of them."""
    OTHER = "other"
    """The pulse, a rating or the isolation changes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """Parts in place of others, not judged yet.

    Parameters
    ----------
    parts : tuple of Part
        The new ones, with the references they get.
    board : Board
        With them.
    closeness : Closeness
    """

    parts: tuple[Part, ...]
    board: Board
    closeness: Closeness


def in_order(
    candidates: Sequence[Candidate], keys: Sequence[tuple[float, ...]]
) -> tuple[Candidate, ...]:
    """The nearest candidates first, then by keys of their own."""
    pairs = zip(candidates, keys, strict=True)
    order = list(Closeness)
    ranked = sorted(pairs, key=lambda pair: (order.index(pair[0].closeness), pair[1]))
    return tuple(candidate for candidate, _ in ranked)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal(Candidate):
    """A candidate that does as well as the original, and the verdict on the board with it."""

    verdict: Verdict

    @property
    def overloaded(self) -> bool:
        """Whether a new resistor is over a limit, as one of the printed value may be."""
        mine = {part.ref for part in self.parts}
        return any(s.is_over for s in self.verdict.resistors if s.resistor.ref in mine)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A part to be replaced, and what may be tried.

    Parameters
    ----------
    kind : str
        ``chain``, ``optocoupler``, ``pull-up``, ``rectifier``, ``clamp``, ``bridge``, ``zener``,
        ``capacitor`` or ``contact``.
    replaced : tuple of Part
    candidates : tuple of Candidate
        In the order in which they are proposed.
    kept : tuple of Resistor
        Those that carry the same current and stay.
    left_out : tuple of Part
        With which something would change, where that was not asked for.
    """

    kind: str
    replaced: tuple[Part, ...]
    candidates: tuple[Candidate, ...]
    kept: tuple[Resistor, ...] = ()
    left_out: tuple[Part, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What is proposed in place of a part.

    Parameters
    ----------
    kind : str
    replaced, kept, left_out : tuple
        As of the `Question`.
    proposals : tuple of Proposal
        Best first.
    others : tuple of Proposal
        Those with which something changes; empty unless asked for.
    """

    kind: str
    replaced: tuple[Part, ...]
    kept: tuple[Resistor, ...]
    left_out: tuple[Part, ...]
    proposals: tuple[Proposal, ...]
    others: tuple[Proposal, ...]


@dataclass(slots=True)
class _Judging:
    """The candidates of one question, and what is left of them."""

    left: list[Candidate]
    wanted: int
    good: list[Proposal] = field(default_factory=list)

    @property
    def done(self) -> bool:
        """Whether there are enough, or no more."""
        able = sum(not proposal.overloaded for proposal in self.good)
        return able >= self.wanted or not self.left

    def next(self) -> list[Candidate]:
        """Those to be judged next; none once there are enough."""
        count = 0 if self.done else self.wanted
        batch, self.left = self.left[:count], self.left[count:]
        return batch


def answers(board: Board, questions: Sequence[Question]) -> tuple[Verdict, list[Answer]]:
    """Judge the candidates of several questions together, in their order, until there are enough.

    Parameters
    ----------
    board : Board
        As it was.
    questions : sequence of Question

    Returns
    -------
    original : Verdict
        On the board as it was.
    answers : list of Answer
        Proposals fail no rule that the original kept, and those that change something none at all.
    """
    few = few_tried(board, len(questions))
    wanted = SHOWN if len(questions) < MANY else SHOWN_OF_SLOW if few else SHOWN_OF_MANY
    rounds = 1 if few_tried(board) else ROUNDS
    judging = [
        _Judging(
            [c for c in question.candidates if (c.closeness is Closeness.OTHER) is other],
            0 if few and other else wanted,
        )
        for question in questions
        for other in (False, True)
    ]
    known: dict[int, Verdict] = {}
    bare: Verdict | None = None
    for _ in range(rounds):
        batches = [each.next() for each in judging]
        tried = {id(c.board): c for batch in batches for c in batch if c.board != board}
        boards = [c.board for c in tried.values()]
        first = verdicts(boards if bare else [board, *boards])
        bare = bare or first.pop(0)
        # the worst corners only add rules: of what fails without them they need not be found
        able = [one for one in first if _will_do(tried[id(one.board)], one, bare)]
        whole = with_corners(able if known else [bare, *able])
        known |= {id(one.board): one for one in (*first, *whole)}
        original = known[id(board)]
        for each, batch in zip(judging, batches, strict=True):
            for candidate in batch:
                verdict = original if candidate.board == board else known[id(candidate.board)]
                if _will_do(candidate, verdict, original):
                    each.good.append(_proposal(candidate, verdict))
        if all(each.done for each in judging):
            break
    found = [tuple(_shown(each.good)[:wanted]) for each in judging]
    return original, [
        Answer(
            kind=question.kind,
            replaced=question.replaced,
            kept=question.kept,
            left_out=question.left_out,
            proposals=near,
            others=other,
        )
        for question, near, other in zip(questions, found[0::2], found[1::2], strict=True)
    ]


def _shown(good: Sequence[Proposal]) -> list[Proposal]:
    """Those within their limits first; none that only adds to the printed part."""
    printed = [p for p in good if p.closeness is Closeness.SAME and not p.overloaded]
    shown = [p for p in good if not any(_adds_to(p, one) for one in printed)]
    return sorted(shown, key=lambda p: p.overloaded)


def _adds_to(proposal: Proposal, printed: Proposal) -> bool:
    new, old = (
        Counter(part.resistance_ohm for part in each.parts if isinstance(part, Resistor))
        for each in (proposal, printed)
    )
    return old < new


def few_tried(board: Board, questions: int = MANY) -> bool:
    """Whether only the nearest candidate of so many parts is judged: see `SHOWN_OF_SLOW`."""
    slow = any(part is not board.output.pin_capacitor for part in board.capacitors)
    return slow and questions >= MANY


def _will_do(candidate: Candidate, verdict: Verdict, original: Verdict) -> bool:
    """Whether a candidate is proposed; never a diode beyond its rating."""
    diodes = tuple(
        f"{ref} "
        for part in candidate.parts
        if isinstance(part, Diode)
        for ref in (part.ref, *leg_refs(part.ref, part.part))
    )
    if any(
        (rule.limited_by_breakdown or rule.unit == "W") and rule.name.startswith(diodes)
        for rule in verdict.failed
    ):
        return False
    if candidate.closeness is Closeness.OTHER:
        return verdict.passes and not verdict.loses_lock(original, mends=True)
    if candidate.closeness is not Closeness.SAME and verdict.loses_lock(original):
        return False
    return not verdict.newly_failed(original)


def _proposal(candidate: Candidate, verdict: Verdict) -> Proposal:
    return Proposal(
        parts=candidate.parts,
        board=candidate.board,
        closeness=candidate.closeness,
        verdict=verdict,
    )
