"""A repaired board against the one it was: what a repair changed, and whether for the worse."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np

from zcd.board.model import Board
from zcd.board.optocouplers import UNRANKED, as_new
from zcd.board.parts_library import odd_values
from zcd.board.units import format_si, some_of
from zcd.circuit.build import led_refs
from zcd.errors import InputError
from zcd.margin.rules import SYNC, newly_failed
from zcd.margin.stress import chain_resistors
from zcd.margin.tolerances import grade_unread, grade_unwritten
from zcd.margin.wiring import parts_of, rewired, same_shape

if TYPE_CHECKING:
    from zcd.margin.check import Check, Level

Outcome = Literal["as good as new", "better", "worse"]

_WORD = re.compile(r"[^\W_]{2,}|[^\W\d_]")
SAME_RATIO = 0.1
"""A reserve or a load that differs by less is the same: tolerances are as wide."""
LOADED_RATIO = 0.8
"""Parts that carry less of their limit are not worse off for carrying more."""
AMPLE_RATIO = 4.0
"""More CTR reserve than this, twice what a maker asks for, is ample; less of it is not worse."""
LED_CURRENT = "LED current"
"""At the peak, at nominal mains: what another chain changes first, for better or worse."""
_EDGES = (("falling edge", "fall_offset_s"), ("rising edge", "rise_offset_s"))
SAME_EDGE_S = 200e-6
"""An edge that moves by less is the same: firmwares block the gate for 90 to 500 us after it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One figure before and after the repair.

    Parameters
    ----------
    name : str
        Such as ``CTR reserve`` or ``R2 power``.
    before, after : float
        In `unit`.
    unit : str
        Empty for a factor, ``%`` for a share of the limit.
    effect : {"better", "same", "worse"}
        What it is for the board.
    """

    name: str
    before: float
    after: float
    unit: str
    effect: Literal["better", "same", "worse"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """What a repair did to a board.

    Parameters
    ----------
    was : Board
        As it was built.
    changes : tuple of Change
        The figures that matter.
    inherited : tuple of str
        Rules that the original breaks as well, by at least as much: not the repair's doing.
    mended : bool
        The original does not pass, and the repaired board does.
    doubts : tuple of str
        Sentences on what else differs between the files, and on values of the original that are
        perhaps those of a fault.
    warned : bool
        A check warns of the repaired board, and does not of the original.
    """

    JSON_KEYS: ClassVar = ("was=was.name", "outcome", "changes", "inherited", "doubts")

    was: Board
    changes: tuple[Change, ...]
    inherited: tuple[str, ...]
    mended: bool = False
    doubts: tuple[str, ...] = ()
    warned: bool = False

    @property
    def worse(self) -> tuple[Change, ...]:
        """What the repair made worse."""
        return tuple(change for change in self.changes if change.effect == "worse")

    @property
    def led_current(self) -> Change | None:
        """The LED current before and now, where it differs."""
        found = (change for change in self.changes if change.name == LED_CURRENT)
        return next((c for c in found if abs(c.after / c.before - 1.0) > SAME_RATIO), None)

    @property
    def outcome(self) -> Outcome:
        """The repair in a word or four."""
        if self.worse and not self.mended:
            return "worse"
        better = any(change.effect == "better" for change in self.changes)
        return "better" if better or self.mended else "as good as new"


def with_original(check: Check, was: Check) -> Check:
    """A check with what the repair changed; what the original broke too only warns.

    Parameters
    ----------
    check : Check
        Of the repaired board.
    was : Check
        Of the board as it was built.

    Returns
    -------
    check : Check

    Raises
    ------
    InputError
        If the two are not the same kind of circuit on the same mains.
    """
    require_same_kind(check.board, was.board)
    new = newly_failed(check.every_rule, was.every_rule, SAME_RATIO)
    works = _nominal(was).locks  # else it was not built so
    failed = (r for r in check.every_rule if not r.passes and (works or r.subject != SYNC))
    inherited = tuple(rule.name for rule in failed if rule not in new)
    repair = Repair(
        was=was.board,
        changes=tuple(_changes(check, was)),
        inherited=inherited,
        mended=check.passes and not was.passes,
        warned=check.status == "warning" and was.status == "pass",
        doubts=tuple(_doubts(check.board, was)),
    )
    return replace(check, repair=repair)


def with_grade_of(was: Board, board: Board) -> Board:
    """The board as it was built, an optocoupler whose grade was not read of the grade it has now.

    Parameters
    ----------
    was : Board
    board : Board
        The same board after its repair.

    Returns
    -------
    was : Board
    """
    old, new = was.optocoupler, board.optocoupler
    if old is None or new is None:
        return was
    if not grade_unread(was) or new.family != old.family or new.grade == old.grade:
        return was
    return replace(was, optocoupler=replace(as_new(new), ref=old.ref))


def comparable(board: Board, was: Board) -> bool:
    """Whether one can be the other before its repair."""
    return not any(_differences(board, was))


def require_same_kind(
    board: Board,
    was: Board,
    key: str = "was",
    instead: str = "give the file of the same board before the repair",
) -> None:
    """Refuse a board that cannot be another one before its repair, in one line."""
    for what, now, before in _differences(board, was):
        raise InputError(
            f"{key}: {was.name} has another {what} ({before}) than {board.name} ({now}); {instead}"
        )


def _differences(board: Board, was: Board) -> Iterator[tuple[str, str, str]]:
    """What no repair changes, now and before."""
    names = _written_name(board), _written_name(was)
    words = [{n.casefold(), *_WORD.findall(n.casefold())} for n in names]
    if all(names) and not set.intersection(*words):
        yield "name", *names
    old = _kind(was)
    known = board.traced is None and was.traced is None
    yield from (
        (what, now, old[what])
        for what, now in _kind(board).items()
        if now != old[what] and (known or what != "circuit")
    )
    if not known and _is_other_circuit(board, was):
        parts = some_of(parts_of(board)), some_of(parts_of(was))
        otherwise = " between other points" if parts[0] == parts[1] else ""
        yield "circuit", f"{parts[0]}{otherwise}", parts[1]


def _is_other_circuit(board: Board, was: Board) -> bool:
    """Whether a traced circuit has other parts, or the same between other points."""
    one_is_known = board.traced is None or was.traced is None
    return rewired(board, was) is None and not (one_is_known and same_shape(board, was))


def _kind(board: Board) -> dict[str, str]:
    """What a repair leaves as it is, in words."""
    mains, output = board.mains, board.output
    return {
        "circuit": str(board.topology),
        "optocoupler": f"{len(led_refs(board))} LED{'s' if len(led_refs(board)) > 1 else ''}",
        "mains": f"{mains.rms_v:g} V {mains.frequency_hz:g} Hz",
        "feed": "direct" if board.relay is None else "through the load relay's contact",
        "output": f"{output.kind} on {output.supply_v:g} V",
    }


def _written_name(board: Board) -> str:
    """The name that the file gives; empty where it is that of the file itself."""
    written = {} if board.description is None else board.description.written
    return str(written.get("name", ""))


def _nominal(check: Check) -> Level:
    return next(level for level in check.levels if level.name == "nominal")


def _doubts(board: Board, original: Check) -> Iterator[str]:
    """What makes a comparison of a repair with the board as built doubtful."""
    was = original.board
    if not _nominal(original).locks:
        yield (
            f"As {was.name} is described, it never worked: a typical one has no sync at nominal "
            "mains. Check its values; --was takes the board as it was built, not with its fault."
        )
    others = ("mains", "relay", "controller", "service")
    differing = [name for name in others if getattr(board, name) != getattr(was, name)]
    if differing:
        yield (
            f"The files differ in more than parts: {', '.join(differing)}. That counts as a "
            "change of the repair too."
        )
    fewer = len(chain_resistors(board)), len(chain_resistors(was))
    if fewer[0] < fewer[1]:
        yield (
            f"The mains side had {fewer[1]} resistors and has {fewer[0]}: the voltage of each is "
            "higher, and one short takes more of the chain with it. Fit as many as there were."
        )
    yield from _coupler_doubts(was)
    for line in odd_values(was):
        yield f"{was.name}: {line} --was takes the board as it was built, not with its fault."


def _coupler_doubts(was: Board) -> Iterator[str]:
    """What was not known of the optocoupler as built."""
    opto = was.optocoupler
    if opto is None:
        return
    if opto.grade != UNRANKED and grade_unwritten(was):
        yield (
            f"The grade of {opto.ref} was not read before: the original is taken as "
            f"{opto.family} {opto.grade} too."
        )
    if opto.remaining_ratio < 1.0:
        left = format_si(opto.remaining_ratio, "%")
        yield (
            f"{was.name} has {opto.ref} with {left} of its CTR left: "
            "--was takes the board as it was built, so this counts as new."
        )


def _changes(check: Check, was: Check) -> Iterator[Change]:
    yield from _reserve(check, was)
    now, before = _nominal(check), _nominal(was)
    if now.locks and before.locks:
        yield from _pulse(check, was)
        yield Change(
            name=f"{was.board.input_name} current",
            before=before.led_peak_a, after=now.led_peak_a, unit="A", effect="same",
        )  # fmt: skip
    yield from _loads(check, was)


def _pulse(check: Check, was: Check) -> Iterator[Change]:
    """Worse where an edge is as on no board of the original's parts: a controller bears those."""
    now, before = _nominal(check), _nominal(was)
    yield Change(
        name="pulse width", before=before.low_time_s, after=now.low_time_s, unit="s", effect="same"
    )
    for name, attribute in _EDGES:
        ends = getattr(before, attribute), getattr(now, attribute)
        least_s, most_s = getattr(check.pulse, attribute)
        low_s, high_s = getattr(was.pulse, attribute)
        left_s = min(abs(ends[1] - ends[0]), max(low_s - least_s, most_s - high_s))
        yield Change(
            name=name, before=ends[0], after=ends[1], unit="s",
            effect="worse" if left_s > SAME_EDGE_S else "same",
        )  # fmt: skip


def _reserve(check: Check, was: Check) -> Iterator[Change]:
    before, after = was.weak_headrooms.get("ctr"), check.weak_headrooms.get("ctr")
    if before is None or after is None:
        return
    if not (before.locks and after.locks):
        if before.locks != after.locks:
            yield Change(
                name="lock at low mains, hot", before=float(before.locks),
                after=float(after.locks), unit="", effect="better" if after.locks else "worse",
            )  # fmt: skip
        return
    ratio = after.factor_ratio / before.factor_ratio
    yield Change(
        name="CTR reserve", before=before.factor_ratio, after=after.factor_ratio, unit="",
        effect="same" if min(before.factor_ratio, after.factor_ratio) > AMPLE_RATIO
        else _effect(ratio),
    )  # fmt: skip


def _effect(ratio: float) -> Literal["better", "same", "worse"]:
    """Of something of which more is better."""
    if not np.isfinite(ratio) or abs(ratio - 1.0) <= SAME_RATIO:
        return "same"
    return "better" if ratio > 1.0 else "worse"


def _loads(check: Check, was: Check) -> Iterator[Change]:
    """The part that carries most of its limit, before and after."""
    for what in ("power", "voltage"):
        share = attrgetter(f"{what}_ratio")
        now, before = (max(c.worst_resistors, key=share) for c in (check, was))
        ends = share(before), share(now)
        ref, old = now.resistor.ref, before.resistor.ref
        yield Change(
            name=f"{what} of {ref}" if ref == old else f"highest {what} ({old} before, {ref} now)",
            before=ends[0], after=ends[1], unit="%",
            effect=_effect(ends[0] / ends[1]) if max(ends) > LOADED_RATIO else "same",
        )  # fmt: skip
