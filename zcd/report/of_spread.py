"""What tolerances make of a board, as tables of words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from zcd.board.units import format_percent, format_si
from zcd.errors import plain
from zcd.margin.check import Check
from zcd.margin.corners import Corners
from zcd.margin.population import CONFIDENCE_RATIO, Population, Share
from zcd.margin.spread import AT_CORNER, Spread
from zcd.margin.tolerances import Tolerance
from zcd.report.table import STATUS, Cell, Quantity, Table
from zcd.report.text import quantity_text, rule_words
from zcd.sync.lock import RULES

PLACES = 5
"""Tolerances that are named at a corner, of the harmonics only the first."""
RARE = "rare"
"""An expectation that hardly any board misses: it counts as met, and is over its limit."""
TIGHTEST = 8
PULSE_RULES, NO_PULSE = RULES[3:], "no pulse"
DARK_RULES = {
    "pull-up": ("pin never high", "high time"),
    "emitter-follower": ("pin never low", "low time"),
}
"""What the time in which the LED is dark must suffice for."""
DARK_HINT = (
    " This LED is lit in both halves and dark for a moment only at each crossing: too short for "
    "the optocoupler to turn off. What helps: a resistor of some kΩ across the LED, which keeps it "
    "dark for longer; a smaller output resistor, with more LED current."
)
DOUBT = "it depends on what no data sheet states"
_HARMONIC = "harmonic"
_UNITS = {"degC": "°C"}
_TIMES_SHOWN = 10.0


def spread_tables(check: Check) -> tuple[Table, ...]:
    """All of these tables."""
    corners = corners_table(check.spread)
    return (
        replace(corners, remark=f"{corners.remark}{_dark_hint(check, check.spread)}"),
        population_table(check.spread.population),
        tolerances_table(check.spread),
    )


def _dark_hint(check: Check, spread: Spread) -> str:
    """What helps where the LED, lit in both halves, is dark for too short a time."""
    lit_twice = check.board.lit_twice
    dark = DARK_RULES.get(check.board.output.kind, ())
    missed = {
        rule.name.removeprefix(AT_CORNER)
        for rule in spread.rules
        if not rule.passes or rule.depends_on
    }
    return DARK_HINT if lit_twice and missed.intersection(dark) else ""


def corners_table(spread: Spread) -> Table:
    """Each rule at the corner that is worst for it, the tightest first."""
    corners = spread.corners
    none = _no_pulse(corners)
    # where there is no pulse, the pin's own rule says why
    order = [int(k) for k in np.argsort(corners.margins, kind="stable") if not none[k]]
    shown = [k for n, k in enumerate(order) if n < TIGHTEST or not spread.rules[k].passes]
    left = len(order) - len(shown)
    without = ", ".join(name for name, missing in zip(corners.names, none, strict=True) if missing)
    margins = corners.margins

    def verdict(k: int) -> str:
        rule = spread.rules[k]
        return RARE if rule.status == "pass" and margins[k] < 0.0 else STATUS[rule.status]

    rare = any(verdict(k) == RARE for k in shown)
    warned = any(spread.rules[k].status == "warning" for k in shown)
    quantities = (
        Quantity(
            "rule", "rule", lambda k: rule_words(spread.rules[k].name.removeprefix(AT_CORNER))
        ),
        Quantity("margin_ratio", "left", lambda k: margin_text(margins[k]), lambda k: margins[k]),
        Quantity("status", "verdict", verdict),
        Quantity("places", "where it is worst", lambda k: places_text(corners, k)),
    )
    return Table.of(
        shown,
        quantities,
        title="Worst case: every tolerance at its worse end, rule by rule",
        remark="left: how much of the limit is not used up; these rules are part of the verdict."
        + (f" {RARE}: fewer than one board in 1,000 misses this expectation." if rare else "")
        + (
            " warning: possible, but hardly a board is so; Population has the share."
            if warned
            else ""
        )
        + (f" There is no pulse at the worst corner, so no {without}." if without else "")
        + (f" The other {left} rules have more left." if left else ""),
    )


def _no_pulse(corners: Corners) -> NDArray[np.bool_]:
    """Rules about pulses that fail because there is none, shape (k,)."""
    of_pulses = np.array([name in PULSE_RULES for name in corners.names])
    return of_pulses & (corners.margins <= -1.0)


def places_text(corners: Corners, rule: int) -> str:
    """Where the tolerances sit at a corner, those that count most first."""
    result = corners.places(rule)
    harmonics = [p for p in result if p.tolerance.name.startswith(_HARMONIC)]
    named = [p for p in result if p not in harmonics[1:]][:PLACES]
    more = len(result) - len(named)
    words = ", ".join(f"{p.tolerance.name} {amount_text(p.tolerance, p.amount)}" for p in named)
    return plain(words + (f" and {more} more" if more else ""))


def margin_text(margin: float) -> str:
    """What is left of a limit.

    Examples
    --------
    >>> margin_text(0.187), margin_text(-0.2), margin_text(34.5), margin_text(-0.001)
    ('19 %', '-20 %', 'over 10x', '-0.1 %')
    """
    if margin >= _TIMES_SHOWN:
        return f"over {_TIMES_SHOWN:g}x"
    return format_percent(margin) if abs(margin) >= 0.01 else format_si(margin, "%", digits=1)


def amount_text(tolerance: Tolerance, amount: float) -> str:
    """An amount of a tolerance.

    Examples
    --------
    >>> from tests.boards import board
    >>> from zcd.margin.tolerances import tolerances_of
    >>> known = {t.name: t for t in tolerances_of(board())}
    >>> amount_text(known["R1"], 1.05), amount_text(known["harmonic 3 at the peak"], -0.05)
    ('x 1.05', '-5 %')
    >>> amount_text(known["temperature"], 60.0)
    '60 °C'
    """
    if tolerance.unit == "x":
        return f"x {amount:.3g}"
    if not tolerance.unit:
        return format_si(amount, "%", digits=3)
    return quantity_text(amount, _UNITS.get(tolerance.unit, tolerance.unit))


def population_line(population: Population) -> str:
    """What share of a population fails, in a few words."""
    return f"{population.size} boards, {failing_text(population)}".rstrip(".")


def population_table(population: Population) -> Table:
    """The share of a population that fails, what fails first, and how tight each lock rule is."""
    shown = [
        result
        for result in population.rules
        if result.rule in RULES or result.first_ratio or result.left_worst_ratio < 0.2
    ]
    quantities = (
        Quantity("rule", "rule", lambda result: plain(result.rule)),
        Quantity("first_ratio", "fails first in", lambda result: _share_text(result.first_ratio)),
        Quantity(
            "left_worst_ratio",
            "margin of the worst 1 %",
            lambda result: _left_text(result.rule, result.left_worst_ratio),
        ),
        Quantity(
            "left_middle_ratio",
            "margin of the median board",
            lambda result: _left_text(result.rule, result.left_middle_ratio),
        ),
    )
    return Table.of(
        shown,
        quantities,
        title=f"Population: {population.size} boards drawn at random",
        remark=f"{failing_text(population)} Sampled uniformly over the ranges below. fails "
        "first: a board that breaks several rules counts for the first of them in this order.",
    )


def _left_text(rule: str, margin: float) -> str:
    return NO_PULSE if rule in PULSE_RULES and margin <= -1.0 else margin_text(margin)


def _share_text(ratio: float) -> str:
    return _bound(ratio) if ratio else "none"


def failing_text(population: Population) -> str:
    """Which share of a population fails, how sure that is, and which share more may fail."""
    text = sure_text(population.failing, "fails", "fail")
    text = text[0].upper() + text[1:]
    if not population.doubtful_ratio:
        return text
    return f"{text} {_bound(population.doubtful_ratio)} more may: {DOUBT}."


def sure_text(share: Share, one: str, many: str) -> str:
    """Which share of boards does something, and how sure that is.

    Examples
    --------
    >>> sure_text(Share(ratio=0.0, low_ratio=0.0, high_ratio=0.0457), "fails", "fail")
    'none fails: 95 % sure that fewer than 4.6 % of such boards do.'
    >>> sure_text(Share(ratio=0.125, low_ratio=0.056, high_ratio=0.23), "fails", "fail")
    '12 % fail; 95 % sure that it is 5.6 % to 23 %.'
    """
    sure = f"{format_si(CONFIDENCE_RATIO, '%')} sure"
    if share.ratio == 0.0:
        return f"none {one}: {sure} that fewer than {_bound(share.high_ratio)} of such boards do."
    if share.ratio == 1.0:
        return f"all {many}: {sure} that more than {_bound(share.low_ratio)} of such boards do."
    low, high = _bound(share.low_ratio), _bound(share.high_ratio)
    if low == high:
        low, high = (format_si(end, "%", digits=3) for end in (share.low_ratio, share.high_ratio))
    return f"{_bound(share.ratio)} {many}; {sure} that it is {low} to {high}."


def _bound(ratio: float) -> str:
    # towards 100 % what matters is how much is missing
    return format_si(ratio, "%", digits=2 if ratio < 0.99 else 4)


def tolerances_table(spread: Spread) -> Table:
    """What was varied, from where to where, and where that comes from."""
    quantities = (
        Quantity("name", "", lambda t: plain(t.name)),
        Quantity("low", "from", lambda t: amount_text(t, t.low), right=True),
        Quantity("high", "to", lambda t: amount_text(t, t.high), right=True),
        Quantity("source", "source", lambda t: Cell(source=t.source)),
    )
    return Table.of(
        spread.corners.tolerances,
        quantities,
        title="What may differ from board to board and from day to day",
    )
