"""Quantities as people write them, to SI numbers and back.

`"120k"`, `"4k7"` (IEC 60062), `"10 nF"`, `"230 V"`, `"5 %"`, `"25 °C"` or a plain SI number.
A decimal comma is a point. Nothing is guessed: what is not plainly the expected quantity is refused
with an example of the right spelling.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cache, lru_cache
from math import isfinite, log10
from typing import TYPE_CHECKING, Any

from zcd.errors import InputError, invalid_value, plain

if TYPE_CHECKING:
    from quantiphy import Quantity

UNIT_ENDINGS = {
    "Ω": "ohm", "F": "f", "V": "v", "A": "a", "W": "w", "s": "s", "Hz": "hz", "rpm": "rpm",
    "%": "ratio", "°C": "degc", "kg m²": "kg_m2",
}  # fmt: skip
"""How a unit ends the name of an attribute."""
LONGEST_TEXT = 400
"""Characters of a value, a name or a line of a prompt: no patterns look at longer ones."""
MOST_NAMED = 4
"""Of many parts, so many are named."""
_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_REFERENCE = re.compile(r"[A-Za-z]{1,4}\d{1,5}[A-Za-z]?", re.ASCII)
_PLAIN = re.compile(rf"(?P<number>{_NUMBER})\s*(?P<suffix>\D*)", re.ASCII)
_CODE = re.compile(r"(?P<code>\d*[A-Za-zΩ]\d+)(?:\s*(?P<unit>[A-Za-zΩ]+))?", re.ASCII)

ALIKE = str.maketrans(
    {"\u2126": "Ω", "\u00b5": "u", "\u03bc": "u", "\u2212": "-", "\u2103": "°C"}
    | {"\u00bd": "1/2", "\u00bc": "1/4", "\u215b": "1/8"}
    | dict.fromkeys("\u00a0\u2009\u202f\u2007", " ")
)
"""One spelling for signs that look alike: ohm, micro, spaces, minus, degree Celsius, fractions."""
_COMMA = re.compile(r"([+-]?(?:0,\d+|\d+,(?:\d{1,2}|\d{4,})))(?!\d)(.*)", re.ASCII)
_COMMA_IN_NUMBER, _COMMAS = re.compile(r"\d,\d"), re.compile(r"\d,\d+,\d")
_THOUSANDS = "three digits after a comma may be thousands"


@dataclass(frozen=True, slots=True, kw_only=True)
class QuantityKind:
    """What a field expects: the quantity's name, unit, allowed range and examples.

    Parameters
    ----------
    word : str
        Name with its article, such as ``a resistance``.
    unit : str
        Unit in which people read it.
    low, high : float
        Allowed range, inclusive, in SI units.
    examples : tuple of str
        Right spellings.
    spellings : mapping of str to float
        Unit as written, in lower case -> factor to SI.
    prefixes : str
        SI prefixes that make sense with it.
    bare : bool
        Whether a number without a unit is clear enough.
    hint : str
        Added to the message where the value lies outside the range.
    unclear : tuple of (compiled pattern, str)
        Spellings that one hand means so and another otherwise, each with what to write: refused.
    """

    word: str
    unit: str
    low: float
    high: float
    examples: tuple[str, ...]
    spellings: Mapping[str, float] = field(default_factory=dict)
    prefixes: str = ""
    bare: bool = True
    hint: str = ""
    unclear: tuple[tuple[re.Pattern[str], str], ...] = ()

    def allowed(self, *, with_range: bool = False) -> str:
        """Describe what may be written, with examples."""
        limits = (
            f" from {format_si(self.low, self.unit)} to {format_si(self.high, self.unit)}"
            if with_range
            else ""
        )
        quoted = [f'"{example}"' for example in self.examples]
        listed = " or ".join(filter(None, [", ".join(quoted[:-1]), quoted[-1]]))
        return f"{self.word}{limits} such as {listed}"


def nearest(value: object, names: tuple[str, ...]) -> str:
    """Suggest the nearest of `names`, or nothing."""
    close = nearest_name(value, names)
    return f' (did you mean "{close}"?)' if close else ""


def nearest_name(value: object, names: tuple[str, ...]) -> str:
    """The nearest of `names`; empty where none is near."""
    spelt = {name.lower(): name for name in names}
    close = get_close_matches(str(value)[:LONGEST_TEXT].lower(), spelt, n=1)
    return spelt[close[0]] if close else ""


def find_name(text: str, names: tuple[str, ...]) -> str | None:
    """Find a name whatever its spaces and case; None where there is none."""
    return _by_spelling(names).get(_spelling(text))


@lru_cache(maxsize=64)
def _by_spelling(names: tuple[str, ...]) -> dict[str, str]:
    """Of names that are spelt alike, the first."""
    return {_spelling(name): name for name in reversed(names)}


def _spelling(text: str) -> str:
    return re.sub(r"\s", "", text).casefold()


def require_length(value: object, key: str = "", most: int = LONGEST_TEXT) -> None:
    """Refuse a text that is longer than anything a person would write there.

    Parameters
    ----------
    value : object
        Anything but text is let through.
    key : str, optional
        Where it stood, for the message.
    most : int

    Raises
    ------
    InputError
        Tells its length, and what is allowed.
    """
    if isinstance(value, str) and len(value) > most:
        found = f"found a text of {len(value)} characters"
        raise InputError(f"{key}{': ' if key else ''}{found}; allowed: up to {most}")


def is_reference(text: str) -> bool:
    """Whether a text looks like a marking on a board, such as R11 or OC1."""
    return _REFERENCE.fullmatch(text) is not None


def some_of(refs: Sequence[str]) -> str:
    """The first of some parts by name, and how many more there are.

    Examples
    --------
    >>> some_of(["R1", "R2"]), some_of(["R1", "R2", "R3", "R4", "R5", "R6"])
    ('R1, R2', 'R1, R2, R3, R4 and 2 more')
    """
    more = len(refs) - MOST_NAMED
    return f"{', '.join(refs[:MOST_NAMED])}{f' and {more} more' if more > 0 else ''}"


def require_part(text: str, names: Iterable[str], key: str = "") -> None:
    """Refuse a text whose first word looks like the marking of a part that there is not.

    Parameters
    ----------
    text : str
        Such as ``R7`` or ``R7 open``.
    names : iterable of str
        Of parts, of something in a part (``OC1.led``), of its faults (``R11 open``).
    key : str, optional
        Where it stood, for the message.

    Raises
    ------
    InputError
        Names the parts that there are.
    """
    first = (text.split() or [""])[0]
    marked = [re.split(r"[. ]", name, maxsplit=1)[0] for name in names]
    marked = [ref for ref in marked if is_reference(ref)]
    if is_reference(first) and first.casefold() not in map(str.casefold, marked):
        raise no_such_part(first, marked, key)


def no_such_part(ref: str, known: Iterable[str], key: str = "") -> InputError:
    """Make the error for a part that a board does not have; it tells those it has.

    Examples
    --------
    >>> print(no_such_part("R7", ["R11", "R12", "OC1"]))
    R7: no such part; this board has R11, R12, OC1
    """
    shown = plain(ref[:40]) or '""'
    there = tuple(dict.fromkeys(known))
    return InputError(
        f"{key}{shown}: no such part; this board has {', '.join(there)}{nearest(ref, there)}"
    )


def parse_quantity(given: object, kind: QuantityKind, key: str = "") -> float:
    """Read a quantity as a person wrote it.

    Parameters
    ----------
    given : object
        Text with a unit, SI prefix or IEC 60062 code, or a plain int or float in SI units.
    kind : QuantityKind
        What is expected.
    key : str, optional
        Where it stood, for the message.

    Returns
    -------
    float
        The value in SI units (temperature in °C, angle in rad).

    Raises
    ------
    InputError
        If it is not such a quantity, or outside the range of `kind`.

    Examples
    --------
    >>> from zcd.board.quantity_kinds import RESISTANCE, TOLERANCE
    >>> parse_quantity("4k7", RESISTANCE), parse_quantity("5 %", TOLERANCE)
    (4700.0, 0.05)
    """
    require_length(given, key)
    unclear = _unclear(given, kind)
    value = None if unclear else _read(given, kind)
    if value is None:
        note = ""
        if isinstance(given, str) and _COMMAS.search(given):
            note = " (one comma or point at most)"
        elif isinstance(given, str) and _COMMA_IN_NUMBER.search(given):
            note = f" ({_THOUSANDS}: use a point, or no sign at all)"
        elif not kind.bare and _is_bare(given):
            note = " (write the unit)"
        elif unclear:
            note = f" ({unclear})"
        raise invalid_value(given, kind.allowed() + note, key)
    if not kind.low <= value <= kind.high:
        note = f" ({kind.hint})" if kind.hint else ""
        raise invalid_value(given, kind.allowed(with_range=True) + note, key)
    return value


def format_si(value: float, unit: str, *, digits: int = 4) -> str:
    """Write an SI value for people.

    Parameters
    ----------
    value : float
    unit : str
        ``%`` takes a ratio; ``°C``, ``h``, ``rad``, ``rpm`` and ``kg m²`` are written without an
        SI prefix.
    digits : int, default 4
        Significant digits, at least 1.

    Returns
    -------
    str

    Examples
    --------
    >>> format_si(1500.0, "Ω"), format_si(2e-4, "s"), format_si(0.05, "%")
    ('1.5 kΩ', '200 µs', '5 %')
    """
    if unit == "%":
        return format_percent(value, f".{max(digits, len(f'{abs(value) * 100:.0f}'))}g")
    if unit in {"°C", "h", "rad", "rpm", "kg m²"}:
        return f"{value:.{digits}g} {unit}"
    return _with_prefix(float(value) + 0.0, unit, digits)  # no -0, of which 0 is the same key


def format_percent(ratio: float, spec: str = ".0f") -> str:
    """Write a ratio in per cent, by default in whole ones.

    Examples
    --------
    >>> format_percent(0.187), format_percent(-0.0213, "+.1f")
    ('19 %', '-2.1 %')
    """
    return f"{100.0 * ratio:{spec}} %"


@lru_cache(maxsize=1024)
def _with_prefix(value: float, unit: str, digits: int) -> str:
    quantity = _quantity_class()(value, unit)
    return str(quantity.render(prec=digits - 1)).replace("u" + unit, "µ" + unit)


def format_si_span(low: float, high: float, unit: str, *, digits: int = 4) -> str:
    """Write two SI values as a span, one where they look alike; the unit once if it is the same.

    Parameters
    ----------
    low, high : float
    unit : str
    digits : int, default 4
        As of `format_si`.

    Returns
    -------
    str

    Examples
    --------
    >>> format_si_span(1.45e5, 1.55e5, "Ω"), format_si_span(0.88, 1.1, "V")
    ('145 to 155 kΩ', '0.88 to 1.1 V')
    """
    last = format_si(high, unit, digits=digits)
    first = format_si_beside(low, high, unit, digits=digits)
    if first == last:
        return last
    (number, _, prefixed), (_, _, own) = first.rpartition(" "), last.rpartition(" ")
    return f"{number if number and prefixed == own else first} to {last}"


def format_si_beside(low: float, high: float, unit: str, *, digits: int = 4) -> str:
    """Write an SI value in the unit of a larger one, unless that is far from it.

    Parameters
    ----------
    low, high : float
    unit : str
    digits : int, default 4
        As of `format_si`.

    Returns
    -------
    str

    Examples
    --------
    >>> format_si_beside(4.38e-4, 1.05e-3, "s"), format_si_beside(6e-5, 1.6e-3, "s")
    ('0.438 ms', '60 µs')
    """
    first, last = (format_si(end, unit, digits=digits) for end in (low, high))
    (_, _, prefixed), (shown, _, own) = first.rpartition(" "), last.rpartition(" ")
    if low == 0.0 and own:
        return f"0 {own}"
    if prefixed != own and SAME_UNIT_RATIO * abs(high) <= abs(low) < abs(high):
        prefix = 10.0 ** round(log10(high / float(shown)))
        return f"{low / prefix:.{digits}g} {own}"
    return first


SAME_UNIT_RATIO = 0.1
"""An end of a span that is no smaller than so much of the other is written in its unit."""


def _is_bare(value: object) -> bool:
    return isinstance(value, int | float) or (
        isinstance(value, str) and re.fullmatch(_NUMBER, value.strip()) is not None
    )


def _unclear(value: object, kind: QuantityKind) -> str:
    """What to write in place of a spelling with two meanings; empty where there is one."""
    if not isinstance(value, str):
        return ""
    text = _with_point(value.strip().translate(ALIKE))
    return next((advice for pattern, advice in kind.unclear if pattern.fullmatch(text)), "")


def _read(value: object, kind: QuantityKind) -> float | None:
    """Value in SI units; None where `value` is not a spelling of this kind."""
    if isinstance(value, bool):
        return None
    if isinstance(value, int | float):
        return _finite(value) if kind.bare or value == 0 else None
    if not isinstance(value, str):
        return None
    text = _with_point(value.strip().translate(ALIKE))
    code = _CODE.fullmatch(text)
    if code and not re.fullmatch(_NUMBER, text):
        return _read_code(code["code"], code["unit"], kind)
    plain = _PLAIN.fullmatch(text)
    if plain:
        return _read_plain(plain["number"], plain["suffix"].strip(), kind)
    return _read_fraction(text, kind)


def _with_point(text: str) -> str:
    """A decimal comma as a point; three digits after one stay, as they may be thousands."""
    match = _COMMA.fullmatch(text)
    return f"{match[1].replace(',', '.')}{match[2]}" if match else text


def _finite(number: float) -> float | None:
    try:
        value = float(number)
    except OverflowError:
        return None
    return value if isfinite(value) else None


def _read_plain(number: str, suffix: str, kind: QuantityKind) -> float | None:
    if not suffix:
        return _finite(float(number)) if kind.bare or float(number) == 0 else None
    factor = kind.spellings.get(suffix.lower())
    if factor is not None:
        # Multiplying by 0.01 or dividing by 100 is not the same in the last digit.
        value = float(number)
        return _finite(value / 100 if suffix == "%" else value * factor)
    prefix, unit = suffix[0], suffix[1:].strip().lower()
    # People write 10NF and 100U; there is no other prefix that these could mean.
    prefix = prefix.lower() if prefix in "NUP" else prefix
    if prefix not in kind.prefixes or (unit and unit not in kind.spellings):
        return None
    return _finite(float(_quantity_class()(f"{number}{prefix}")))


def _read_code(code: str, unit: str | None, kind: QuantityKind) -> float | None:
    """Read an IEC 60062 code, where the letter stands for the decimal point."""
    if unit and unit.lower() not in kind.spellings:
        return None
    quantity = _rkm().from_rkm(code)
    # The code alone tells ohms from farads: 4m7 is millifarads and no resistance.
    return _finite(float(quantity)) if quantity and quantity.units == kind.unit else None


def _read_fraction(text: str, kind: QuantityKind) -> float | None:
    """Read 1/4 W, the trade's way to write a power rating."""
    match = re.fullmatch(r"(\d{1,2})/(\d{1,2})\s*(?:w|watts?)", text, re.ASCII | re.IGNORECASE)
    if kind.unit != "W" or not match or int(match[2]) == 0:
        return None
    return int(match[1]) / int(match[2])


@cache
def _quantity_class() -> type[Quantity]:
    """The quantity class, imported late and with only the prefixes that occur here."""
    from quantiphy import Quantity

    class Plain(Quantity):
        """A quantity whose letters are only those a technician uses."""

    Plain.set_prefs(input_sf="GMKkmunp", output_sf="GMkmunp")
    return Plain


@cache
def _rkm() -> Any:
    """The IEC 60062 reader, imported late; V is added because supplies are written 3V3."""
    import rkm_codes  # type: ignore[import-untyped]

    volts = {"V": ("", "V"), "v": ("", "V")}
    rkm_codes.set_prefs(rkm_maps={**rkm_codes.IEC60062_MAPS, **volts})
    return rkm_codes
