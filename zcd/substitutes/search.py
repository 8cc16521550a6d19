"""What to fit in place of parts of a board: one question, an answer for each part."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from zcd.board.drawer import Drawer, StockResistor, series_drawer
from zcd.board.model import Board, Resistor
from zcd.board.parts_library import (
    UNKNOWN_STYLE,
    resistor,
    size_that_bears,
    styles,
    usual_sizes,
)
from zcd.board.pins import INTERNAL_PULL_UP
from zcd.board.units import no_such_part
from zcd.circuit.build import coupler_refs
from zcd.engine.solve import solve
from zcd.logs import logger
from zcd.margin.stress import ResistorStress, worst_circuit, worst_of
from zcd.substitutes.capacitors import CapacitorNeed, capacitor_candidates, capacitor_needs
from zcd.substitutes.chain_parts import chain_candidates, sharing_of
from zcd.substitutes.compare import Verdict
from zcd.substitutes.diodes import diode_candidates, every_diode, replaceable_diodes
from zcd.substitutes.proposals import Answer, Candidate, Closeness, Part, Question, answers
from zcd.substitutes.series_string import SeriesString, series_strings
from zcd.substitutes.single_parts import (
    every_optocoupler,
    optocoupler_candidates,
    pull_up_candidates,
    transistor_candidates,
)

_LOG = logger(__name__)

DRIVE = "drive"
"""What switches the fan, which has no reference; `zcd.simulation.drive_parts` answers it."""
CAPACITOR, TRANSISTOR = "capacitor", "transistor"
CONTACT = "contact"
"""The load relay, which has none either."""


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Substitutes:
    """What to fit in place of parts of a board.

    Parameters
    ----------
    original : Verdict
        On the board as it was, which every proposal is held against.
    drawer : Drawer
    answers : tuple of Answer
        One for each part or section of the chain that was asked for.
    others : bool
        Whether parts that change something were looked for too.
    needs : mapping of str to CapacitorNeed
        What the place of each capacitor asks for, by reference.
    """

    original: Verdict
    drawer: Drawer
    answers: tuple[Answer, ...]
    others: bool
    needs: Mapping[str, CapacitorNeed]

    def __repr__(self) -> str:
        count = sum(len(answer.proposals) for answer in self.answers)
        return (
            f"<Substitutes: {len(self.answers)} parts from {self.drawer.name}; {count} proposals>"
        )

    @property
    def board(self) -> Board:
        """As it was."""
        return self.original.board

    @property
    def all_found(self) -> bool:
        """Whether there is a proposal for each part that a drawer may hold."""
        return all(
            answer.proposals or answer.others for answer in self.answers if self.holds(answer.kind)
        )

    def has_stock(self, kind: str) -> bool:
        """Whether parts of a kind that all drawers have are in it, and not those of the tables."""
        listed = {"optocoupler": bool(self.drawer.optocouplers), TRANSISTOR: False}
        listed |= dict.fromkeys(("rectifier", "clamp", "bridge", "zener"), bool(self.drawer.diodes))
        return self.drawer.is_series or listed.get(kind, True)

    def holds(self, kind: str) -> bool:
        """Whether a drawer may hold parts of a kind: no relays or transistors, and capacitors where
        it says so."""
        if kind == CAPACITOR:
            return bool(self.drawer.capacitors)
        return kind not in (CONTACT, TRANSISTOR)


def replaceable_refs(board: Board) -> tuple[str, ...]:
    """References of the parts that may be replaced, `CONTACT` where there is one, and `DRIVE`."""
    chain = (part.ref for group in series_strings(board) for part in group)
    diodes = (diode.ref for _, diode in replaceable_diodes(board))
    capacitors = (part.ref for part in board.capacitors)
    contact = () if board.relay is None else (CONTACT,)
    outputs = [] if (part := board.output.resistor) is None else [part.ref]
    pull_up = (ref for ref in outputs if ref != INTERNAL_PULL_UP)
    actives = coupler_refs(board) or (() if board.transistor is None else (board.transistor.ref,))
    return (*chain, *actives, *pull_up, *diodes, *capacitors, *contact, DRIVE)


def substitutes(
    board: Board, drawer: Drawer, refs: Sequence[str] = (), *, others: bool = False
) -> Substitutes:
    """Search a drawer for parts to fit in place of others.

    Parameters
    ----------
    board : Board
    drawer : Drawer
        Optocouplers and diodes are taken from the tables where it lists none.
    refs : sequence of str
        Of the parts to be replaced (`DRIVE` is passed over); none: every part in turn, the
        resistors that carry the same current together.
    others : bool
        Also propose parts with which the pulse, a rating or the isolation changes.

    Returns
    -------
    Substitutes

    Raises
    ------
    InputError
        If a part is unknown.
    """
    known = replaceable_refs(board)
    named = {ref.casefold(): ref for ref in known}
    if CONTACT in known:
        named["k1"] = CONTACT
    refs = tuple(named.get(ref.casefold(), ref) for ref in refs)
    for ref in refs:
        if ref not in known:
            raise no_such_part(ref, known, "refs ")
    _LOG.info("looking for parts in %s", drawer.name)
    worst = solve(worst_circuit(board))
    needs = capacitor_needs(worst, board)
    questions = list(
        _questions(board, drawer, refs or known, others, worst_of(worst, board), needs)
    )
    original, found = answers(board, questions)
    return Substitutes(
        original=original, drawer=drawer, answers=tuple(found), others=others, needs=needs
    )


def usual_drawer(board: Board, series: str = "E24") -> Drawer:
    """What may be had for a board: a series in the size of its chain, and its own values.

    Parameters
    ----------
    board : Board
    series : str

    Returns
    -------
    drawer : Drawer
        Of a size that nobody wrote the one that bears the load; values that are over their
        rating in a larger size.
    """
    stresses = worst_of(solve(worst_circuit(board)), board)
    own = []
    for stress in stresses:
        part = replace(stress.resistor, ref="", size_assumed=False)
        own.append(_larger(part, stress) if stress.is_over else part)
    # a size that nobody wrote may be too small at the worst corner alone
    sizes_up = [_next_size(each) for each, stress in zip(own, stresses, strict=True)
                if stress.resistor.size_assumed]  # fmt: skip
    chain = {part.ref for group in series_strings(board) for part in group}
    needed = [each.style for each, stress in zip(own, stresses, strict=True)
              if stress.resistor.ref in chain]  # fmt: skip
    first = board.chains[0][0]
    sizes, style = usual_sizes(first.style), first.style
    if first.size_assumed:
        style = max((each if each in sizes else sizes[-1] for each in needed), key=sizes.index)
    drawer = series_drawer(series, style)
    stock = dict.fromkeys((*map(_in_stock, [*own, *sizes_up]), *drawer.resistors))
    return replace(drawer, resistors=tuple(stock))


def _next_size(part: Resistor) -> Resistor:
    """A resistor of the same value in the next usual size."""
    sizes = usual_sizes(part.style)
    at = sizes.index(part.style) + 1 if part.style in sizes else len(sizes)
    return _resized(part, sizes[min(at, len(sizes) - 1)])


def _in_stock(part: Resistor) -> StockResistor:
    return StockResistor(part=part)


def _questions(
    board: Board,
    drawer: Drawer,
    refs: Sequence[str],
    others: bool,
    stresses: Sequence[ResistorStress],
    needs: Mapping[str, CapacitorNeed],
) -> Iterator[Question]:
    """One for each part, the resistors of a chain that carry the same current in one."""
    for group in series_strings(board):
        replaced = tuple(part for part in group if part.ref in refs)
        if replaced:
            kept = tuple(part for part in group if part.ref not in refs)
            place = SeriesString(board=board, replaced=replaced, kept=kept)
            sharing = sharing_of(place, stresses)
            candidates = chain_candidates(place, drawer.resistors, sharing, others=others)
            yield Question(kind="chain", replaced=replaced, kept=kept, candidates=candidates)
    couplers, opto = [ref for ref in coupler_refs(board) if ref in refs], board.optocoupler
    if couplers and opto is not None:
        stock = drawer.optocouplers or every_optocoupler(opto.family)
        candidates = optocoupler_candidates(board, stock)
        parts = [replace(opto, ref=ref) for ref in couplers]
        yield _question("optocoupler", parts, candidates, others)
    if (fitted := board.transistor) is not None and fitted.ref in refs:
        candidates = transistor_candidates(board, fitted)
        yield _question(TRANSISTOR, [fitted], candidates, others)
    pull_up = board.output.resistor
    if pull_up is not None and pull_up.ref in refs:
        candidates = pull_up_candidates(board, drawer.resistors)
        yield _question(board.output.kind, [pull_up], candidates, others)
    for which, diode in replaceable_diodes(board):
        if diode.ref in refs:
            candidates = diode_candidates(board, drawer.diodes or every_diode(diode), diode)
            yield _question(which, [diode], candidates, others)
    for part in board.capacitors:
        if part.ref in refs:
            candidates = capacitor_candidates(board, drawer.capacitors, part, needs[part.ref])
            yield _question(CAPACITOR, [part], candidates, others)
    if board.relay is not None and CONTACT in refs:
        yield Question(kind=CONTACT, replaced=(), candidates=())


def _question(
    kind: str, parts: Sequence[Part], candidates: Sequence[Candidate], others: bool
) -> Question:
    able = tuple(c for c in candidates if others or c.closeness is not Closeness.OTHER)
    left_out = tuple(part for c in candidates if c not in able for part in c.parts)
    return Question(kind=kind, replaced=tuple(parts), candidates=able, left_out=left_out)


def to_buy(original: Verdict, answer: Answer) -> tuple[Part, ...]:
    """Parts as they were; a resistor beyond its limits in the smallest style that bears its load.

    Parameters
    ----------
    original : Verdict
    answer : Answer

    Returns
    -------
    parts : tuple of Part
    """
    stresses = {stress.resistor.ref: stress for stress in original.resistors}
    return tuple(
        _larger(part, stresses[part.ref])
        if isinstance(part, Resistor) and stresses[part.ref].is_over
        else part
        for part in answer.replaced
    )


def _larger(part: Resistor, stress: ResistorStress) -> Resistor:
    """A resistor of the same value that bears the load: of its make, or leaded, or of any style."""
    power_w = part.rated_power_w * stress.power_ratio
    working_v = part.working_v * stress.voltage_ratio
    for make in (part.style, UNKNOWN_STYLE):
        if (size := size_that_bears(make, power_w, working_v)) is not None:
            return _resized(part, size)
    able = [
        sized
        for style in styles()
        if (sized := _resized(part, style)).working_v >= working_v
        and sized.rated_power_w >= power_w
    ]
    return min(able, key=lambda sized: sized.rated_power_w, default=part)


def _resized(part: Resistor, style: str) -> Resistor:
    """A resistor of the same value in another style."""
    return resistor(
        ref=part.ref,
        resistance_ohm=part.resistance_ohm,
        tolerance_ratio=part.tolerance_ratio,
        style=style,
    )
