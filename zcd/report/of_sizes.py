"""Resistors whose size nobody wrote: what they have to bear, and which size does."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from zcd.board.model import Resistor
from zcd.board.parts_library import size_that_bears, usual_sizes
from zcd.margin.check import Check
from zcd.margin.rules import Rule
from zcd.margin.stress import judged_resistors
from zcd.report.text import listed, plain, quantity_text


def of_size(rule: Rule[float]) -> bool:
    """Whether a larger part would keep a rule, and may well be there."""
    return rule.kind == "expectation" and rule.name.endswith((" power", " voltage"))


@dataclass(frozen=True, slots=True)
class Sizes:
    """Resistors of one make whose size nobody wrote, and the size that bears the load.

    `too_small`: that which is assumed does not.
    """

    refs: list[str]
    loads: str
    small: str
    enough: str | None
    too_small: bool

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
        write = "" if self.enough is None else f', such as style = "{self.enough}"'
        return (
            f"look at the size of {listed(self.refs)}: {bears} {self.loads}, too much for "
            f"{self.small}; then write it{write}"
        )


def sizes_of(check: Check, failed: set[str]) -> list[Sizes]:
    """What hangs on the size of resistors, but for those that fail at any.

    A size that nobody wrote matters once a usual one that is smaller would not bear the load.
    """
    groups: dict[tuple[str, str | None, bool], list[tuple[Resistor, dict[str, Rule[float]]]]] = {}
    for part in judged_resistors(check.board):
        if not part.size_assumed or part.ref in failed:
            continue
        rules = [rule for rule in check.every_rule if rule.subject == part.ref and of_size(rule)]
        worst = _worst(rules)
        enough = size_that_bears(part.style, worst["W"].value / worst["W"].limit
                                 * part.rated_power_w, worst["V"].value)  # fmt: skip
        too_small = any(rule.status != "pass" for rule in rules)
        sizes = usual_sizes(part.style)
        if too_small or enough is None or sizes.index(enough) >= sizes.index(part.style):
            groups.setdefault((part.style, enough, too_small), []).append((part, worst))
    return [_sizes(found, enough, too_small) for (_, enough, too_small), found in groups.items()]


def _worst(rules: Iterable[Rule[float]]) -> dict[str, Rule[float]]:
    """Of power and of voltage the rule that comes nearest to its limit, by unit."""
    ranked = sorted(rules, key=lambda rule: rule.value / rule.limit)
    return {unit: next(r for r in reversed(ranked) if r.unit == unit) for unit in ("W", "V")}


def _sizes(
    found: Sequence[tuple[Resistor, dict[str, Rule[float]]]], enough: str | None, too_small: bool
) -> Sizes:
    first = found[0][0]
    worst = _worst(rule for _, rules in found for rule in rules.values())
    told = [rule for rule in worst.values() if rule.status != "pass" or not too_small]
    limits = f"{quantity_text(first.rated_power_w, 'W')}, {quantity_text(first.working_v, 'V')}"
    return Sizes(
        refs=[plain(part.ref) for part, _ in found],
        loads=" and ".join(quantity_text(rule.value, rule.unit) for rule in told),
        small=f"{first.style} ({limits})",
        enough=enough,
        too_small=too_small,
    )
