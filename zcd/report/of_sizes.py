"""Resistors whose size nobody wrote: what they have to bear, and which size does."""

from __future__ import annotations

from dataclasses import dataclass

from zcd.board.parts_library import size_that_bears
from zcd.margin.check import Check
from zcd.margin.rules import Rule
from zcd.margin.stress import judged_resistors
from zcd.report.text import listed, plain, quantity_text


def of_size(rule: Rule[float]) -> bool:
    """Whether a larger part would keep a rule, and may well be there."""
    return rule.kind == "expectation" and rule.name.endswith((" power", " voltage"))


@dataclass(frozen=True, slots=True)
class Sizes:
    """Resistors whose size nobody wrote, and that a small one would not bear."""

    refs: list[str]
    loads: str
    small: str
    enough: str | None

    @property
    def condition(self) -> str:
        """What has to be seen on the board."""
        are = "is" if len(self.refs) == 1 else "are"
        if self.enough:
            return f"{listed(self.refs)} {are} {self.enough} or larger"
        return f"{listed(self.refs)} {are} made for {self.loads}"

    @property
    def warning(self) -> str:
        """What to look at, and what to write then."""
        bears = "it bears" if len(self.refs) == 1 else "each bears"
        does = "" if self.enough is None else f", {self.enough} is enough"
        return (
            f"look at the size of {listed(self.refs)}: {bears} {self.loads}, too much for "
            f'{self.small}{does}; then write it, such as style = "{self.enough or "1 W"}"'
        )


def sizes_of(check: Check, failed: set[str]) -> Sizes | None:
    """What hangs on the size of resistors, but for those that fail at any; or None."""
    rules = [
        rule
        for rule in check.every_rule
        if rule.status == "warning" and of_size(rule) and rule.subject not in failed
    ]
    if not rules:
        return None
    parts = [
        part for part in judged_resistors(check.board) if part.ref in {r.subject for r in rules}
    ]
    first = parts[0]
    worst = {
        unit: max((r for r in rules if r.unit == unit), key=lambda r: r.value / r.limit)
        for unit in sorted({rule.unit for rule in rules}, reverse=True)
    }
    shares = {unit: rule.value / rule.limit for unit, rule in worst.items()}
    limits = f"{quantity_text(first.rated_power_w, 'W')}, {quantity_text(first.working_v, 'V')}"
    return Sizes(
        refs=[plain(part.ref) for part in parts],
        loads=" and ".join(quantity_text(rule.value, unit) for unit, rule in worst.items()),
        small=f"{first.style} ({limits})",
        enough=size_that_bears(first.style, shares.get("W", 1.0), shares.get("V", 1.0)),
    )
