"""What is printed on resistors and capacitors: chip codes, EIA-96, colour bands, tolerance letters.

Codes and colours are those of IEC 60062; EIA-96 is its Annex A. A text that may mean two values
gives both, the likelier one first: `zcd.board.as_printed` decides where the part stands.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from itertools import groupby

from zcd.board.preferred import decade, is_preferred
from zcd.board.units import ALIKE

TOLERANCES = {
    "B": 0.001, "C": 0.0025, "D": 0.005, "F": 0.01, "G": 0.02, "H": 0.03, "J": 0.05, "K": 0.1,
    "M": 0.2,
}  # fmt: skip
"""Tolerance letters of IEC 60062; B, C and D of a capacitor below 10 pF are picofarads."""
COLOURS = {
    name: digit
    for digit, names in enumerate(
        ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet purple",
         "grey gray", "white")
    )
    for name in names.split()
}  # fmt: skip
_IN_SHORT = {
    "blk": "black", "brn": "brown", "org": "orange", "yel": "yellow", "grn": "green", "blu": "blue",
    "vio": "violet", "pur": "purple", "gry": "grey", "wht": "white", "gld": "gold",
    "slv": "silver", "sil": "silver",
}  # fmt: skip
MULTIPLIERS = {**{name: 10.0**digit for name, digit in COLOURS.items()}, "gold": 0.1}
MULTIPLIERS |= {"silver": 0.01, "pink": 1e-3}
BAND_TOLERANCES = {
    "brown": 0.01, "red": 0.02, "green": 0.005, "blue": 0.0025, "violet": 0.001, "purple": 0.001,
    "orange": 0.0005, "yellow": 0.0002, "grey": 0.0005, "gray": 0.0005, "gold": 0.05,
    "silver": 0.1,
}  # fmt: skip
"""Grey is 0.05 % in older tables and 0.01 % since 2016: the wider one counts."""
NO_BAND_TOLERANCE = 0.2
CHIP_CODES = ("chip code", "EIA-96 code")
"""Kinds of marking that only chips have."""
EIA_96 = {
    "Z": 1e-3, "Y": 1e-2, "R": 1e-2, "X": 0.1, "S": 0.1, "A": 1.0, "B": 10.0, "H": 10.0, "C": 1e2,
    "D": 1e3, "E": 1e4, "F": 1e5,
}  # fmt: skip
"""Multiplier letters of EIA-96; R is read as a decimal point first."""
VOLTAGE_LETTERS = {
    "A": 1.0, "C": 1.6, "D": 2.0, "E": 2.5, "F": 3.15, "G": 4.0, "H": 5.0, "J": 6.3, "K": 8.0,
    "P": 2.2, "Q": 1.1, "V": 3.5, "W": 4.5, "Z": 1.8,
}  # fmt: skip
"""Rated voltage on a film capacitor: a digit for the decade, then one of these."""

_SEPARATORS = re.compile(r"[\s,;/|+-]+")
_TOLERANCE_LETTER = re.compile(r"(?P<value>.*[\dRKMGkr].*?)\s*(?P<letter>[BCDFGJKM])", re.ASCII)
_CAPACITOR = re.compile(
    r"(?:(?P<rated>[0-3][ACDEFGHJKPQVWZ])\s*)?(?P<value>\d{2,3}|\d*R\d+|\d*[pnuPNU]\d*"
    r"|\d*\.\d+(?:\s*[uU][fF]?)?)(?P<letter>[BCDFGHJKMPZ])?",
    re.ASCII,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Marking:
    """One meaning of what is printed.

    Parameters
    ----------
    value : float
        In SI units.
    words : str
        What kind of marking it is.
    tolerance_ratio : float or None
        Where it is printed too.
    rated_v : float or None
        Rated direct voltage, of capacitors.
    plain : bool
        The figures are the value, not a code.
    """

    value: float
    words: str
    tolerance_ratio: float | None = None
    rated_v: float | None = None
    plain: bool = False


def resistor_markings(text: str) -> tuple[Marking, ...]:
    """Meanings of a resistor's marking, the likelier first; none where it is not a code.

    Parameters
    ----------
    text : str

    Returns
    -------
    tuple of Marking

    Examples
    --------
    >>> [m.value for m in resistor_markings("683")], [m.value for m in resistor_markings("220")]
    ([68000.0], [22.0, 220.0])
    >>> resistor_markings("brown black yellow gold")[0].tolerance_ratio
    0.05
    """
    shown = text.strip().translate(ALIKE)
    bands = tuple(_IN_SHORT.get(b, b) for b in _SEPARATORS.split(shown.lower()) if b)
    if len(bands) >= 3 and all(band in MULTIPLIERS for band in bands):
        return _bands(bands)
    if re.fullmatch(r"\d{3,4}", shown, re.ASCII):
        return _digits(shown)
    if re.fullmatch(r"\d{2}[A-Za-z]", shown, re.ASCII):
        return _eia_96(shown.upper())
    letter = re.fullmatch(r"(\d{2,3}\d)([FGJKM])", shown, re.ASCII)
    if letter and letter[2] not in "KM":
        ratio = TOLERANCES[letter[2]]
        return tuple(replace(m, tolerance_ratio=ratio) for m in _digits(letter[1]) if not m.plain)
    return ()


def capacitor_marking(text: str) -> tuple[Marking, ...]:
    """Meanings of a capacitor's marking; none where it is not a code.

    Parameters
    ----------
    text : str

    Returns
    -------
    tuple of Marking

    Examples
    --------
    >>> found = capacitor_marking("2A104J")[0]
    >>> round(found.value * 1e9, 6), found.tolerance_ratio, found.rated_v
    (100.0, 0.05, 100.0)
    """
    match = _CAPACITOR.fullmatch(text.strip().translate(ALIKE))
    if match is None:
        return ()
    figures, letter, rated = match["value"], match["letter"], match["rated"]
    if letter == "F" and not figures.isdecimal():
        return ()  # farads
    ratio = TOLERANCES.get(letter or "")
    rated_v = 10.0 ** int(rated[0]) * VOLTAGE_LETTERS[rated[1]] if rated else None
    meanings = [
        Marking(value=value, words=words, tolerance_ratio=ratio, rated_v=rated_v, plain=plain)
        for value, words, plain in _farads(figures, bool(letter or rated))
    ]
    return tuple(m for m in meanings if 1e-13 <= m.value <= 1e-2)


def with_letter(text: str) -> tuple[str, float] | None:
    """Value and tolerance of such as ``68KJ`` or ``4K7F``, where a letter follows the value."""
    shown = text.strip().translate(ALIKE)
    match = _TOLERANCE_LETTER.fullmatch(shown)
    if match is None or not re.fullmatch(r"(?=.*\d)\d*(?:\.\d+)?\s*[RKMGkr]\d*", match["value"]):
        return None
    return match["value"], TOLERANCES[match["letter"]]


def _digits(text: str) -> tuple[Marking, ...]:
    """Three or four figures: the last one counts the zeros, or they are the value."""
    value = _power_of_ten(text[:-1], int(text[-1]))
    code = Marking(value=value, words=CHIP_CODES[0])
    plain = Marking(value=float(text), words="in ohms", plain=True)
    if value == 0.0:
        return (code,)
    real = int(text[-1]) <= 6 and is_preferred(value) and text[0] != "0"
    if not is_preferred(plain.value):
        return (code,) if real else ()
    return (code, plain) if real else (plain,)


def _eia_96(text: str) -> tuple[Marking, ...]:
    number, letter = int(text[:2]), text[2]
    if letter not in EIA_96 or letter == "R" or not 1 <= number <= len(decade("E96")):
        return ()
    # decimal first, so that 10.0 k is exactly that
    value = round(100.0 * decade("E96")[number - 1]) * EIA_96[letter]
    return (Marking(value=value, words=CHIP_CODES[1], tolerance_ratio=0.01),)


def _bands(bands: tuple[str, ...]) -> tuple[Marking, ...]:
    """Three to six bands, from either end."""
    forward, backward = _from_end(bands), _from_end(bands[::-1])
    if backward is not None:
        backward = replace(backward, words="colour bands, read from the other end")
    found = [m for m in (forward, backward) if m is not None]
    preferred = [m for m in found if is_preferred(m.value)]
    different = [next(same) for _, same in groupby(preferred or found, key=lambda m: m.value)]
    return tuple(different)


def _from_end(bands: tuple[str, ...]) -> Marking | None:
    if not 3 <= len(bands) <= 6:
        return None
    count = 3 if len(bands) >= 5 else 2
    figures, multiplier, *rest = bands[:count], *bands[count:]
    if any(band not in COLOURS for band in figures) or COLOURS[figures[0]] == 0:
        return None
    if rest and rest[0] not in BAND_TOLERANCES:
        return None
    number = int("".join(str(COLOURS[band]) for band in figures))
    return Marking(
        value=_times(number, MULTIPLIERS[multiplier]),
        words="colour bands",
        tolerance_ratio=BAND_TOLERANCES[rest[0]] if rest else NO_BAND_TOLERANCE,
    )


def _times(number: int, multiplier: float) -> float:
    """A product that is exact where the decimals are: 47 x 0.1 = 4.7."""
    return number * multiplier if multiplier >= 1.0 else number / round(1.0 / multiplier)


def _farads(text: str, marked: bool) -> list[tuple[float, str, bool]]:
    """Values of a capacitor's figures; `marked`: with a letter of tolerance or voltage."""
    if re.fullmatch(r"\d{3}", text):
        tens = {8: -2, 9: -1}.get(int(text[2]), int(text[2]))
        code = (_power_of_ten(text[:2], tens - 12), "capacitor code in pF", False)
        both = text[2] == "0" and not marked
        return [code, (_power_of_ten(text, -12), "in pF", True)] if both else [code]
    if re.fullmatch(r"\d{2}", text):
        return [(_power_of_ten(text, -12), "in pF", True)]
    if "R" in text:
        return [(_power_of_ten(text.replace("R", "."), -12), "capacitor code in pF", False)]
    if "." in text:
        return [(_power_of_ten(text.rstrip("uUfF "), -6), "in µF", True)]
    unit = next(letter for letter in text if letter in "pnuPNU")
    figures = text.replace(unit, ".").strip(".")
    power = {"p": -12, "n": -9, "u": -6}[unit.lower()]
    return [(_power_of_ten(figures, power), "capacitor code", True)] if figures else []


def _power_of_ten(figures: str, power: int) -> float:
    """The nearest float to a decimal value."""
    return float(f"{figures}e{power}")
