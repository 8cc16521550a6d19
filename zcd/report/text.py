"""How numbers and verdicts are put into words, the same in every table, picture and report."""

from __future__ import annotations

import math
import re
from importlib import metadata
from math import isinf, isnan
from textwrap import fill

from zcd import refdata
from zcd.board.units import format_percent, format_si, format_si_beside, format_si_span
from zcd.circuit.points import part_words
from zcd.errors import plain
from zcd.margin.headroom import LARGEST_FACTOR, Headroom
from zcd.margin.rules import Rule
from zcd.sync.lock import LOCK_RULES

DIGITS = 3
NOTHING = "-"
CENTURY_YEARS = 100.0
MIN_SHOWN = 1e-12
AT_CROSSING_S = 0.5e-6
_JOINT = "\ue000"
"""In place of a blank at which no line may end."""


COUNTED = {0: "no", 1: "one", 2: "two", 3: "three", 4: "four"}

_SOURCE_KEY = re.compile(r"\[([A-Z0-9][A-Z0-9-]+)\]")
_UNIT = re.compile(r"(?<=\d) (?=[mµunpkMG]?(?:V|A|W|Ω|F|s|Hz|%|°C|ohm|years)\b|%)")
_ASCII = {"√": "sqrt ", "µ": "u", "Ω": "ohm", "°": "deg", "–": "-", "±": "+-", "²": "2"}


def rule_words(name: str) -> str:
    """A rule, or a part of it, as a person names it.

    Examples
    --------
    >>> rule_words("OC1.led reverse current"), rule_words("R1 power")
    ('OC1 LED reverse current', 'R1 power')
    """
    ref, _, what = plain(name).partition(" ")
    return f"{part_words(ref)} {what}".rstrip()


def broken_text(rule: str, pulses: int, due: int) -> str:
    """What is wrong where a lock rule is broken, with the pulses a mains cycle that there are.

    Examples
    --------
    >>> broken_text("pulse count", 1, 2), broken_text("pulse count", 2, 1)
    ('one pulse a mains cycle instead of two', 'two pulses a mains cycle instead of one')
    >>> broken_text("pulse count", 2, 2), broken_text("low time", 1, 2)
    ('too few or too many pulses', 'the pulse is too short')
    """
    if rule != "pulse count" or pulses == due:  # as many, but not one after the other
        return LOCK_RULES[rule].broken
    number = COUNTED.get(pulses, str(pulses))
    return f"{number} pulse{'' if pulses == 1 else 's'} a mains cycle instead of {COUNTED[due]}"


def wrapped(text: str, width: int) -> str:
    """A sentence in lines of a width: a word, or a figure and its unit, stays whole.

    Examples
    --------
    >>> print(wrapped("no part is over 120 mW", 18))
    no part is over
    120 mW
    """
    joined = _UNIT.sub(_JOINT, text)
    lines = (
        fill(line, width, break_on_hyphens=False, break_long_words=False)
        for line in joined.split("\n")
    )
    return "\n".join(lines).replace(_JOINT, " ")


def to_ascii(text: str) -> str:
    """Text for an output that knows only ASCII.

    Examples
    --------
    >>> to_ascii("4.7 kΩ, 620 µs, 60 °C")
    '4.7 kohm, 620 us, 60 degC'
    """
    for sign, spelling in _ASCII.items():
        text = text.replace(sign, spelling)
    return text.encode("ascii", "replace").decode("ascii")


def version_text() -> str:
    """Version of the installed package; says so where it is not installed."""
    try:
        return metadata.version("zcd")
    except metadata.PackageNotFoundError:
        return "(version unknown: not installed)"


def quantity_text(value: float, unit: str) -> str:
    """A value with its unit; a dash where there is none.

    Examples
    --------
    >>> quantity_text(6.2e-4, "s"), quantity_text(float("nan"), "s"), quantity_text(1.0815, "")
    ('620 µs', '-', '1.08')
    """
    if isnan(value) or isinf(value):
        return NOTHING
    if abs(value) < MIN_SHOWN:
        value = 0.0
    # hours a year and temperatures have no prefix to take a fourth figure
    digits = DIGITS + 1 if unit in {"h", "°C"} else DIGITS
    return format_si(value, unit, digits=digits) if unit else f"{value:.{DIGITS}g}"


def quantity_span_text(low: float, high: float, unit: str) -> str:
    """Two values as a span, the unit once where it is the same.

    Examples
    --------
    >>> quantity_span_text(7.88e-3, 9.74e-3, "s"), quantity_span_text(6e-5, 1.6e-3, "s")
    ('7.88 to 9.74 ms', '60 µs to 1.6 ms')
    """
    return format_si_span(low, high, unit, digits=DIGITS)


def count_text(number: int, noun: str) -> str:
    """A number of things.

    Examples
    --------
    >>> count_text(1, "hint"), count_text(2, "hint")
    ('1 hint', '2 hints')
    """
    return f"{number} {noun}{'' if number == 1 else 's'}"


def share_text(value: float, limit: float) -> str:
    """A value as a share of its limit; a dash where nothing is allowed.

    Examples
    --------
    >>> share_text(0.0506, 0.125), share_text(2.4e-4, 0.25), share_text(3.0, 2.0)
    ('40 %', '< 1 %', '150 %')
    """
    if not limit > 0.0:
        return NOTHING
    return percent_text(value / limit) if value / limit >= 0.01 else "< 1 %"


def percent_text(ratio: float) -> str:
    """A share in whole per cent; one that is estimated below nothing is none.

    Examples
    --------
    >>> percent_text(0.187), percent_text(-0.02)
    ('19 %', '0 %')
    """
    return format_percent(max(ratio, 0.0))


def percent_span_text(low: float, high: float) -> str:
    """From one share to another, likewise.

    Examples
    --------
    >>> percent_span_text(0.69, 0.74), percent_span_text(-0.001, 0.02)
    ('69 to 74 %', '0 to 2 %')
    """
    return f"{percent_text(low).removesuffix(' %')} to {percent_text(high)}"


def probability_text(probability: float) -> str:
    """A probability in whole per cent, never rounded to certainty.

    Examples
    --------
    >>> probability_text(0.9987), probability_text(0.42), probability_text(0.004)
    ('over 99 %', '42 %', 'under 1 %')
    """
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else percent_text(probability)


def short_of(probability: float) -> str:
    """A probability that is not enough, in whole per cent, never rounded up to what is asked.

    Examples
    --------
    >>> short_of(0.9499), short_of(0.004)
    ('94 %', 'under 1 %')
    """
    return probability_text(math.floor(100.0 * probability) / 100.0)


def offset_text(offset_s: float) -> str:
    """When an edge comes, seen from the zero crossing; for columns and pictures that say so.

    Examples
    --------
    >>> offset_text(6.2e-4), offset_text(-9e-5), offset_text(1e-8), offset_text(float("nan"))
    ('620 µs after', '90 µs before', 'at crossing', '-')
    """
    if isnan(offset_s):
        return NOTHING
    if abs(offset_s) < AT_CROSSING_S:
        return "at crossing"
    return f"{quantity_text(abs(offset_s), 's')} {'after' if offset_s > 0 else 'before'}"


def offset_span_text(first_s: float, last_s: float) -> str:
    """From when to when an edge comes, the side of the crossing once where it is the same.

    Examples
    --------
    >>> offset_span_text(2e-4, 1.7e-3), offset_span_text(-9e-5, 6e-5)
    ('0.2 to 1.7 ms after', '90 µs before to 60 µs after')
    """
    if abs(first_s) < AT_CROSSING_S or abs(last_s) < AT_CROSSING_S or first_s * last_s < 0.0:
        ends = dict.fromkeys(map(offset_text, (first_s, last_s)))
        return " to ".join(ends)
    span = quantity_span_text(abs(first_s), abs(last_s), "s")
    return f"{span} {'after' if first_s > 0 else 'before'}"


def crossing_text(offset_s: float, beside_s: float = 0.0) -> str:
    """The same with the words of a sentence, in the unit of another offset that stands beside it.

    Examples
    --------
    >>> crossing_text(6.2e-4), crossing_text(1e-8), crossing_text(6.2e-4, 1.2e-3)
    ('620 µs after the zero crossing', 'at the zero crossing', '0.62 ms after the zero crossing')
    """
    if isnan(offset_s):
        return NOTHING
    if abs(offset_s) < AT_CROSSING_S:
        return "at the zero crossing"
    shown = format_si_beside(abs(offset_s), max(abs(beside_s), abs(offset_s)), "s", digits=DIGITS)
    return f"{shown} {'after' if offset_s > 0 else 'before'} the zero crossing"


def rule_text(rule: str) -> str:
    """A rule of the controller that fails, with what that means.

    Examples
    --------
    >>> rule_text("transition"), rule_text("pin never low")
    ('transition (too slow)', 'pin never low')
    """
    short = LOCK_RULES[rule].short
    return f"{rule} ({short})" if short else rule


def factor_text(headroom: Headroom) -> str:
    """A headroom in words.

    Examples
    --------
    >>> factor_text(Headroom(locks=True, factor_ratio=2.345, rule="low time"))
    '2.35'
    >>> factor_text(Headroom(locks=False, factor_ratio=0.5, rule="low time"))
    '0.5 (short)'
    >>> factor_text(Headroom(locks=False, factor_ratio=3.0, rule="high time"))
    '3 (too strong)'
    """
    if isnan(headroom.factor_ratio):
        return "none; no sync"
    if isinf(headroom.factor_ratio):
        return f"over {LARGEST_FACTOR:g}"
    remark = ""
    if not headroom.locks:
        remark = " (short)" if headroom.factor_ratio < 1.0 else " (too strong)"
    return f"{headroom.factor_ratio:.{DIGITS}g}{remark}"


def years_text(years: float) -> str:
    """A life in words; the models say nothing sure about more than a century.

    Examples
    --------
    >>> years_text(24.43), years_text(1.02), years_text(0.58), years_text(1e6), years_text(0.0)
    ('24 years', '1 year', '7 months', 'over a century', 'none')
    """
    if years > CENTURY_YEARS:
        return "over a century"
    if years <= 0.0:
        return "none"
    if (months := max(round(12.0 * years), 1)) < 12:
        return f"{months} month{'s' if months > 1 else ''}"
    number = f"{years:.2g}"
    return f"{number} year{'s' if float(number) != 1.0 else ''}"


def rule_value_text(rule: Rule[float]) -> str:
    """What a rule found."""
    if isnan(rule.limit):
        return "yes" if rule.passes else "no"
    if isinf(rule.value):
        return f"over {LARGEST_FACTOR:g}"
    if isnan(rule.value):
        return "none"
    return quantity_text(rule.value, rule.unit)


def limit_text(rule: Rule[float]) -> str:
    """What a rule asks for."""
    if isnan(rule.limit):
        return "yes"
    return f"{'min' if rule.at_least else 'max'} {quantity_text(rule.limit, rule.unit)}"


class SourceNotes:
    """Notes under a table: a letter for each origin, a number for each published source in it.

    An origin is a sentence such as ``limits [EL-817]``; the keys in it are those of
    `zcd.refdata.sources`.

    Examples
    --------
    >>> notes = SourceNotes()
    >>> notes.letter("CTR limits [EL-817]"), notes.letter("CTR limits [EL-817]")
    ('a', 'a')
    >>> notes.origins
    (('a', 'CTR limits [1]'),)
    """

    def __init__(self) -> None:
        self._letters: dict[str, str] = {}
        self._texts: list[str] = []
        self._numbers: dict[str, int] = {}

    def letter(self, origin: str) -> str:
        """The letter of an origin, a new one at first mention."""
        if origin not in self._letters:
            self._letters[origin] = _letters(len(self._letters))
            self._texts.append(_SOURCE_KEY.sub(self._number, origin))
        return self._letters[origin]

    @property
    def origins(self) -> tuple[tuple[str, str], ...]:
        """Letter and sentence of each origin, in order of mention."""
        return tuple(zip(self._letters.values(), self._texts, strict=True))

    @property
    def sources(self) -> tuple[tuple[str, str], ...]:
        """Number and citation of each published source, in order of mention."""
        return tuple((str(n), refdata.cite(key)) for key, n in self._numbers.items())

    def _number(self, match: re.Match[str]) -> str:
        key = match[1]
        if key not in refdata.sources():
            return match[0]
        return f"[{self._numbers.setdefault(key, len(self._numbers) + 1)}]"


def _letters(index: int) -> str:
    """a to z, then aa, ab and so on."""
    more, last = divmod(index, 26)
    return (_letters(more - 1) if more else "") + chr(ord("a") + last)


def listed(words: list[str], before_last: str = "and") -> str:
    """Words as a list in a sentence: ``R1, R2 and R3``.

    Examples
    --------
    >>> listed(["R1", "R2"]), listed(["R1", "R2", "R3"], "or")
    ('R1 and R2', 'R1, R2 or R3')
    """
    *most, last = words
    return f"{', '.join(most)} {before_last} {last}" if most else last
