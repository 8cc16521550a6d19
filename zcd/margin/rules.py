"""The one shape of a rule: a value, its limit, and how far the limit is from being reached."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import nan
from typing import Any, ClassVar, Generic, Literal, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Number = TypeVar("Number", bound=float | FloatArray)
Status = Literal["pass", "warning", "fail"]
Kind = Literal["limit", "function", "expectation"]
SourceKind = Literal["data sheet", "board file", "assumed"]

SYNC, RESERVE, DUTY = "sync", "reserve", "duty"
"""What rules are about that are about no part."""
RARE_RATIO = 1e-3
"""A corner that fewer boards reach weighs one step less."""
WEIGHTS: tuple[Status, ...] = ("pass", "warning", "fail")
_BREAKDOWN = " reverse voltage"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule(Generic[Number]):
    """One rule, on one board (`Rule[float]`) or on every row of a batch (`Rule[FloatArray]`).

    Parameters
    ----------
    name : str
        What is judged, in words: ``R2 power``.
    value, limit : float or ndarray, shape (n,)
        In `unit`. For a rule without a number both are nan.
    at_least : bool
        True: the value must reach the limit; False: it must not exceed it.
    unit : str
        Of value and limit; empty for a factor.
    margin : float or ndarray, shape (n,)
        0 on the limit, positive where the rule is kept: what is left, in units of the limit, or
        more where going over does no harm. Infinite, of either sign, for a rule that can only be
        kept or not.
    source : str
        Where the limit comes from.
    source_kind : {"data sheet", "board file", "assumed"} or None
        What kind of origin that is; None: not known apart.
    kind : {"limit", "function", "expectation"}
        ``limit``: of a data sheet, a standard or the board file; ``function``: what a sync input
        is for; both fail a board. ``expectation``: of a controller that nobody has read, or
        reserve that is good to have; it warns.
    share_ratio : float or None
        Share of the boards of this kind that break the rule, where boards were drawn.
    depends_on : str
        Of a rule that is broken, but kept with another transistor of the same type: what makes
        the difference, which no data sheet states. It weighs one step less.
    remark : str
        What else to know.
    subject : str
        What it is about: the reference of a part, ``sync``, ``reserve``, or an expectation.
    """

    JSON_KEYS: ClassVar = (
        "name", "value", "limit", "at_least", "unit", "kind", "status", "passes", "depends_on",
        "source", "remark",
    )  # fmt: skip

    name: str
    value: Number
    limit: Number
    at_least: bool
    unit: str
    margin: Number
    source: str
    source_kind: SourceKind | None = None
    kind: Kind = "limit"
    share_ratio: float | None = None
    depends_on: str = ""
    remark: str = ""
    subject: str = ""

    @property
    def status(self) -> Status:
        """How the rule is kept in the row with the least margin."""
        if np.all(self.margin >= 0.0):
            return "pass"
        less = self.is_rare or bool(self.depends_on)
        return WEIGHTS[(1 if self.kind == "expectation" else 2) - less]

    @property
    def passes(self) -> bool:
        """Whether the rule is kept in every row, be it with a warning."""
        return self.status != "fail"

    @property
    def is_rare(self) -> bool:
        """Whether it is broken, but by fewer of the boards drawn than weighs in full."""
        few = self.share_ratio is not None and self.share_ratio < RARE_RATIO
        return few and not np.all(self.margin >= 0.0)

    def at(self, row: int) -> Rule[float]:
        """The rule of one row."""
        numbers: dict[str, Any] = {
            name: float(getattr(self, name)[row]) for name in ("value", "limit", "margin")
        }
        return cast("Rule[float]", replace(self, **numbers))

    def worst(self) -> Rule[float]:
        """The rule of the row with the least margin."""
        return self.at(int(np.argmin(self.margin)))

    @property
    def limited_by_breakdown(self) -> bool:
        """Whether the value tells no part from another: breakdown holds it where it is."""
        return self.name.endswith(_BREAKDOWN)


def limit_rule(
    name: str,
    value: Number,
    limit: Number,
    unit: str,
    source: str,
    *,
    at_least: bool = False,
    source_kind: SourceKind | None = None,
    kind: Kind = "limit",
    remark: str = "",
    subject: str = "",
) -> Rule[Number]:
    """A rule whose value must not exceed its limit or, with `at_least`, must reach it."""
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.divide(value, limit)
    margin = cast("Number", ratio - 1.0 if at_least else 1.0 - ratio)
    return Rule(
        name=name, value=value, limit=limit, at_least=at_least, unit=unit, margin=margin,
        source=source, source_kind=source_kind, kind=kind, remark=remark,
        subject=subject,
    )  # fmt: skip


def without_number(
    name: str,
    margin: float,
    source: str,
    remark: str = "",
    *,
    kind: Kind = "limit",
    share_ratio: float | None = None,
    depends_on: str = "",
    subject: str = "",
) -> Rule[float]:
    """A rule that is kept or not, without a value to hold against a limit."""
    return Rule(
        name=name, value=nan, limit=nan, at_least=True, unit="", margin=margin, source=source,
        kind=kind, share_ratio=share_ratio, depends_on=depends_on, remark=remark, subject=subject,
    )  # fmt: skip


def worst_status(rules: Iterable[Rule[Any]]) -> Status:
    """The status of a board: that of its worst rule."""
    return max((rule.status for rule in rules), key=WEIGHTS.index, default="pass")


def newly_failed(
    rules: Iterable[Rule[float]], before: Iterable[Rule[float]], room: float
) -> tuple[Rule[float], ...]:
    """Rules that fail and did not before, or not so far.

    Parameters
    ----------
    rules, before : iterable of Rule
        Of the changed board and of the original; what that does not have counts as passed there.
    room : float
        A margin that is worse by no more than this is as it was.
    """
    known = {rule.name: rule.margin for rule in before if not rule.passes}
    return tuple(
        rule
        for rule in rules
        if not rule.passes and (rule.name not in known or rule.margin < known[rule.name] - room)
    )


def kind_of_part_limit(source: str) -> SourceKind:
    """What kind of origin the limits of a part have: read off what its source says."""
    if "as written in the board file" in source:
        return "board file"
    return "data sheet" if "[" in source else "assumed"
