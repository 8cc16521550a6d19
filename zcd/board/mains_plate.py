"""What a rating plate says of the mains: ranges, two frequencies, signs of alternating current."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from zcd.board.units import ALIKE, format_si
from zcd.errors import invalid_value

SUPPLY_RATIO = 0.1
"""How far a supply is below and above each end of a range: common practice, no source."""
USUAL_V = (230.0, 120.0)

Note = Callable[[str, object, str], None]

LONGEST = 200
"""Letters of a plate; what is longer is left to the schema."""

_DASH = r"\s*(?:-|–|—|\.\.\.?|…|to)\s*"
_NUMBER = r"\d+(?:[.,]\d+)?"
_VOLTS = re.compile(
    rf"(?P<low>{_NUMBER})\s*(?:V(?:olts?)?)?(?:\s*~)?(?:{_DASH}(?P<high>{_NUMBER}))?\s*"
    r"(?:V(?:olts?|ac|rms)?)?\s*(?:~|ac|a\.c\.|rms)?",
    re.IGNORECASE,
)
_HERTZ = re.compile(
    rf"(?P<one>{_NUMBER})\s*(?:Hz)?(?:(?:\s*/\s*|{_DASH})(?P<two>{_NUMBER}))?\s*Hz", re.IGNORECASE
)
_WITH_HERTZ = re.compile(
    rf"(?P<volts>.*?)(?:[\s,/]|(?<=[Vc~])\s*[-–])*(?P<hertz>{_NUMBER}\s*(?:Hz)?(?:(?:\s*/\s*|{_DASH}){_NUMBER})?\s*Hz)"
    r"(?P<rest>.*)",
    re.IGNORECASE,
)
_BEFORE = re.compile(
    r"^(?:1\s*/?\s*N(?:\s*/\s*PE)?\s*(?=[~\s])|L\s*/\s*N\b|(?:1|single)?\s*[~∿∼]|a\.?c\.?|mains"
    r"|input|rated)[\s:]*",
    re.IGNORECASE,
)
_IN_WORDS = (
    (
        r"\b(?:(?:rated|nominal|supply|input) )*(?:voltage|frequency|power(?: supply)?)\b ?[:=]?",
        " ",
    ),
    (r"\bvolts?\b", "V"),
    (r"\b(?:hertz|cycles)\b", "Hz"),
)
_NO_HERTZ = re.compile(r"(?<=\d)\s*V?(?:\s*AC)?[\s/,~]+([56]0)$", re.IGNORECASE)
_AFTER = re.compile(
    rf"[\s,;/]+(?:{_NUMBER}\s*(?:W|kW|VA|A|mA|watts?)|class\s*\S+|IP\s*\w+)\s*$", re.IGNORECASE
)
_WITHIN = re.compile(r"(.*\S)\s*(?:±|\+\s*/?\s*-)\s*(\d+(?:[.,]\d+)?\s*%)(.*)")
_PLATE = ("voltage", "frequency")
_HERTZ_FIRST = re.compile(
    rf"({_NUMBER}\s*(?:/|{_DASH})?\s*(?:{_NUMBER})?\s*Hz)[\s,/;]+"
    rf"(?!{_NUMBER}\s*(?:k?W|VA|m?A|watts?)\b)(.*\d.*)",
    re.IGNORECASE,
)
_TWO = re.compile(rf"({_NUMBER})\s*V?\s*/\s*({_NUMBER})\s*V?\s*~?", re.IGNORECASE)
_MIDDLE = re.compile(rf"(?<=\d)\s*V?\s*[-–—]\s*{_NUMBER}(?=\s*V?\s*[-–—]\s*\d)")
"""The second of three voltages, such as 220-230-240 V."""
ONE_SUPPLY_RATIO = 1.12
"""Up to which 220/240 V is one supply; 110/220 V are two. Common practice, no source."""


def mains_as_printed(value: dict[str, Any], note: Note) -> None:
    """Read the plate in a board file's ``mains``.

    Parameters
    ----------
    value : dict
        The board file; its mains is changed in place.
    note : callable
        Told what was understood.

    Raises
    ------
    InputError
        If it names two supplies, such as 110/220 V.
    """
    given = value["mains"]
    voltage = given.get("voltage") if isinstance(given, dict) else given
    if isinstance(voltage, str) and len(voltage) > LONGEST:
        return
    short = isinstance(given, str)
    table = _table(given) if short else given
    if not isinstance(table, dict):
        return
    table = dict(table)
    said = [_voltage(table, "mains" if short else "mains.voltage"), _frequency(table)]
    if any(said):
        printed = given if short else " ".join(str(given[k]) for k in _PLATE if k in given)
        note("mains", printed, ", ".join(filter(None, said)))
    value["mains"] = table


def _table(text: str) -> dict[str, Any]:
    """Voltage, frequency and tolerance of a plate's line."""
    text = " ".join(text.translate(ALIKE).split())
    for words, unit in _IN_WORDS:
        text = re.sub(words, unit, text, flags=re.IGNORECASE)
    text = " ".join(text.split())
    text = _HERTZ_FIRST.sub(r"\2 \1", text)
    text = _NO_HERTZ.sub(r" V \1 Hz", text)
    within = _WITHIN.fullmatch(text)
    shown = _trimmed(text if within is None else within[1] + within[3])
    match = _WITH_HERTZ.fullmatch(shown)
    table = {"voltage": shown}
    if match is not None:
        table = {"voltage": match["volts"], "frequency": match["hertz"]}
    return table if within is None else {**table, "tolerance": within[2]}


def _trimmed(text: str) -> str:
    """A plate's line without power, current and the sign of alternating current around it."""
    shown = re.sub("[∼∿]", "~", " ".join(text.translate(ALIKE).split()))
    while _AFTER.search(shown):
        shown = _AFTER.sub("", shown)
    while _BEFORE.search(shown):
        shown = _BEFORE.sub("", shown, count=1)
    return shown.strip(" ,;")


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _voltage(table: dict[str, Any], key: str) -> str:
    """Turn a range into a nominal voltage and its limits; say so."""
    text = table.get("voltage")
    if not isinstance(text, str):
        return ""
    shown = _MIDDLE.sub("", _trimmed(text), count=1)
    if two := _TWO.fullmatch(shown):
        ends = sorted(map(_number, two.groups()))
        if ends[1] > ONE_SUPPLY_RATIO * ends[0]:
            ways = " or ".join(f'"{end:g} V"' for end in map(_number, two.groups()))
            raise invalid_value(text, f"the voltage that the board is set to: {ways}", key)
        shown = f"{ends[0]:g}-{ends[1]:g} V"
    match = _VOLTS.fullmatch(shown)
    if match is None:
        return ""
    if match["high"] is None:
        table["voltage"] = f"{_number(match['low']):g} V"
        return ""
    low, high = sorted((_number(match["low"]), _number(match["high"])))
    inside = [usual for usual in USUAL_V if low <= usual <= high]
    nominal = inside[0] if inside else (low + high) / 2.0
    table["voltage"] = f"{nominal:g} V"
    if {"band", "tolerance", "low_voltage", "high_voltage"} & table.keys():
        return f"{format_si(nominal, 'V')} nominal"
    least, most = low * (1 - SUPPLY_RATIO), high * (1 + SUPPLY_RATIO)
    table["low_voltage"], table["high_voltage"] = f"{least:.4g} V", f"{most:.4g} V"
    return (
        f"{format_si(nominal, 'V')} nominal, checked from {format_si(least, 'V')} to "
        f"{format_si(most, 'V')} ({format_si(SUPPLY_RATIO, '%')} beyond the range)"
    )


def _frequency(table: dict[str, Any]) -> str:
    """Turn two frequencies into the one of the bench and the other."""
    text = table.get("frequency")
    match = _HERTZ.fullmatch(text.strip()) if isinstance(text, str) else None
    if match is None or match["two"] is None:
        return ""
    one, two = sorted((_number(match["one"]), _number(match["two"])))
    volts = re.match(r"[\d.]+", str(table.get("voltage", "")))
    here, other = (one, two) if volts is None or float(volts[0]) > 150.0 else (two, one)
    table["frequency"], table["second_frequency"] = f"{here:g} Hz", f"{other:g} Hz"
    return f"{here:g} Hz, checked at {other:g} Hz too"
