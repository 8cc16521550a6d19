"""Resistors whose size nobody wrote: what they have to bear, and which size does."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from zcd.board.model import Board, Resistor
from zcd.board.parts_library import resistor_limits, size_that_bears, usual_sizes
from zcd.errors import plain
from zcd.margin.check import Check
from zcd.margin.rules import Rule
from zcd.margin.spread import AT_CORNER
from zcd.margin.stress import ResistorStress, chain_resistors, judged_resistors
from zcd.report.text import listed, quantity_text


def of_size(rule: Rule[float]) -> bool:
    """Whether a larger part would keep a rule, and may well be there."""
    return rule.kind == "expectation" and rule.name.endswith((" power", " voltage"))


@dataclass(frozen=True, slots=True)
class SmallChain:
    """Resistors of a chain that are over a limit, and the size that would do.

    `used_ratio`: the largest share of a limit among them.
    """

    refs: tuple[str, ...]
    size: str
    enough: str
    used_ratio: float

    @property
    def cause(self) -> str:
        """What is wrong, without a full stop."""
        are = {1: "is", 2: "are both"}.get(len(self.refs), "are all")
        return f"{listed(list(self.refs))} {are} too small for this chain{self.size}"

    @property
    def remedy(self) -> str:
        """What to look at, and what to fit."""
        if len(self.refs) == 1:
            return f"Read its size and value again. If they are right, fit {self.enough}"
        return f"Read their sizes and values again. If they are right, fit {self.enough}"

    def command(self, file: str) -> str:
        """What proposes others in place of all of them."""
        return f"zcd substitute {plain(file)} {' '.join(f'--for {ref}' for ref in self.refs)}"


def small_chain(
    board: Board, failed: Iterable[str], stresses: Iterable[ResistorStress]
) -> SmallChain | None:
    """One cause for all that fails: resistors of a chain are too small.

    Parameters
    ----------
    board : Board
    failed : iterable of str
        Subjects of the rules that fail.
    stresses : iterable of ResistorStress
        At the worse ends of tolerance.

    Returns
    -------
    chain : SmallChain or None
        None: nothing fails, or anything else too.
    """
    wrong = set(failed)
    if not wrong or not wrong <= {part.ref for part in chain_resistors(board)}:
        return None
    found = [stress for stress in stresses if stress.resistor.ref in wrong]
    styles = {stress.resistor.style for stress in found}
    size, enough = "", "larger ones" if len(found) > 1 else "a larger one"
    if len(styles) == 1:
        first = found[0].resistor
        watts = first.usual_power_w or first.rated_power_w
        size = f" ({first.style} taken as {_limits_text(watts, first.working_v)})"
        power_w = max(each.resistor.rated_power_w * each.power_ratio for each in found)
        working_v = max(each.resistor.working_v * each.voltage_ratio for each in found)
        if style := size_that_bears(first.style, power_w, working_v):
            able = resistor_limits(style)
            limits = _limits_text(able.rated_power_w, able.working_v)
            enough = f"{style} ({limits}) or larger"
    return SmallChain(
        refs=tuple(plain(stress.resistor.ref) for stress in found),
        size=size,
        enough=enough,
        used_ratio=max(stress.used_ratio() for stress in found),
    )


def _limits_text(power_w: float, working_v: float) -> str:
    return f"{quantity_text(power_w, 'W')}, {quantity_text(working_v, 'V')}"


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
        gets = "it gets" if len(self.refs) == 1 else "each gets"
        write = "" if self.enough is None else f', such as style = "{self.enough}"'
        return (
            f"look at the size of {listed(self.refs)}: {gets} {self.loads}, too much for "
            f"{self.small}; then write it{write}"
        )


@dataclass(frozen=True, slots=True)
class Makes:
    """Resistors of one size that some makers rate for less than their load, and most do not."""

    refs: list[str]
    load: str
    style: str
    least: str
    usual: str
    traced: bool
    too_small: bool = True

    @property
    def condition(self) -> str:
        """What has to be known of the part."""
        return (
            f"{listed(self.refs)}: overloaded if rated {self.least}, as some {self.style} are; "
            f"fine if rated {self.usual}, as most are"
        )

    @property
    def warning(self) -> str:
        """What to look up, and what to write then."""
        gets = "it gets" if len(self.refs) == 1 else "each gets"
        power = f'power = "{self.usual}"'
        write = f"chain = {{{power}}} into" if self.traced else f"{power} into the chain of"
        return (
            f"look up the rating of {listed(self.refs)}: {gets} up to {self.load}. If it is "
            f"{self.usual}, write {write} the board file; if less or not to be found, fit larger "
            "ones"
        )


def makes_of(check: Check, failed: set[str]) -> list[Makes]:
    """What hangs on the maker of resistors, but for those that fail with any."""
    groups: dict[str, list[tuple[Resistor, float]]] = {}
    for part in judged_resistors(check.board):
        if part.usual_power_w is None or part.ref in failed:
            continue
        rules = [rule for rule in check.every_rule if rule.subject == part.ref and of_size(rule)]
        over = [rule for rule in rules if rule.status != "pass"]
        if worst := [rule for rule in over if not rule.name.startswith(AT_CORNER)] or over:
            groups.setdefault(part.style, []).append((part, max(rule.value for rule in worst)))
    traced = check.board.traced is not None
    return [_makes(found, traced) for found in groups.values()]


def _makes(found: Sequence[tuple[Resistor, float]], traced: bool) -> Makes:
    first = found[0][0]
    assert first.usual_power_w is not None
    return Makes(
        refs=[plain(part.ref) for part, _ in found],
        load=quantity_text(max(load_w for _, load_w in found), "W"),
        style=first.style,
        least=quantity_text(first.rated_power_w, "W"),
        usual=quantity_text(first.usual_power_w, "W"),
        traced=traced,
    )


def sizes_of(check: Check, failed: set[str]) -> list[Sizes | Makes]:
    """What hangs on the size or the maker of resistors, but for those that fail at any.

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
    by_size = ((found, enough, small) for (_, enough, small), found in groups.items())
    return [*(_sizes(*each) for each in by_size), *makes_of(check, failed)]


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
    limits = _limits_text(first.rated_power_w, first.working_v)
    return Sizes(
        refs=[plain(part.ref) for part, _ in found],
        loads=" and ".join(quantity_text(rule.value, rule.unit) for rule in told),
        small=f"{first.style} ({limits})",
        enough=enough,
        too_small=too_small,
    )
