"""Resistors that nobody can read: burnt, or known roughly; a likely value stands in their place.

The likeliest value is that of a neighbour, as the resistors of a chain are mostly alike; else the
preferred number for the usual current. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from math import inf, isclose, log, sqrt
from typing import Any

from zcd.board.markings import COLOURS, resistor_markings
from zcd.board.preferred import decade, is_preferred
from zcd.board.quantity_kinds import RESISTANCE
from zcd.board.units import ALIKE, format_si, parse_quantity
from zcd.errors import InputError

ROUGHLY_RATIO = 0.3
"""What "about" leaves open either way."""
OPEN_FACTOR = 3.0
"""How far a value that nobody read may be from the likely one, either way."""
HIGHEST_OHM = 1e7
"""Of any resistor of such a circuit: common practice, no source."""
USUAL_PEAK_A = 2e-3
"""LED current at the peak of the mains for which such chains are made."""
USUAL_OHM = {"output.pull_up": 10e3, "output.pull_down": 4.7e3, "led.resistor": 10e3}

_NOBODY_KNOWS = re.compile(
    r"\?+|unknown|burnt(?: out)?|burned(?: out)?|charred|illegible|unreadable|not readable|open|OL",
    re.IGNORECASE,
)
_SAYS_SO = re.compile(
    r"do(?:n.?t| not) know|not known|unknown|unreadable|illegible|no marking|no longer readable"
    r"|marking\b.*\b(?:gone|worn|lost|missing)|(?:can.?t|cannot) (?:be )?read|sanded|burn(?:t|ed)",
    re.IGNORECASE,
)
_ABOUT = re.compile(
    r"(?:(?:burnt|burned|unreadable)[\s,]+)?(?:maybe|perhaps|probably|about|approx\.?|approximately|ca\.?|circa|roughly|[~≈])\s*(\S.*)|(\S.*?)\s*\?",
    re.IGNORECASE,
)
_RANGE = re.compile(
    r"(?:between\s+)?(\d[^\s]*?)\s*(?:\.\.\.?|…|-|–|\bto\b|\band\b)\s*(\d\S*(?:\s*\S{1,5})?)",
    re.IGNORECASE,
)
_CHAIN_ITEM = re.compile(r"(chain\.\w+(?:\[\d+\])?)\[(\d+)\]")

Limits = tuple[float, float]


def nobody_knows(text: str) -> bool:
    """Whether a text says that a marking cannot be read."""
    return _NOBODY_KNOWS.fullmatch(text.strip()) is not None


def says_unknown(text: str) -> bool:
    """Whether a sentence in place of a part's name says that it cannot be read.

    Examples
    --------
    >>> says_unknown("black SMD diode, no marking left"), says_unknown("1N4007")
    (True, False)
    """
    return _SAYS_SO.search(text) is not None


def unknown_limits(text: str) -> Limits | None:
    """Limits of a resistance that is known roughly or not at all; None: it is a plain value.

    Parameters
    ----------
    text : str

    Returns
    -------
    low, high : float
        [Ω]; 0 and infinity where nothing is known.

    Examples
    --------
    >>> unknown_limits("?"), unknown_limits("47k..100k"), unknown_limits("68k")
    ((0.0, inf), (47000.0, 100000.0), None)
    """
    shown = text.strip().translate(ALIKE)
    if _NOBODY_KNOWS.fullmatch(shown):
        return 0.0, inf
    if match := _ABOUT.fullmatch(shown):
        ohm = ohm_of(match[1] or match[2])
        return None if ohm is None else (ohm * (1 - ROUGHLY_RATIO), ohm * (1 + ROUGHLY_RATIO))
    if (limits := _some_bands(shown)) is not None:
        return limits
    match = _RANGE.fullmatch(shown)
    if match is None:
        return None
    low, high = match[1], match[2]
    unit = re.search("[kKM]", high)
    ends = [
        ohm_of(low if re.search("[kKMRr]", low) or unit is None else low + unit[0]),
        ohm_of(high),
    ]
    if None in ends or ends[0] == ends[1]:
        return None
    return min(filter(None, ends)), max(filter(None, ends))


def _some_bands(text: str) -> Limits | None:
    """Limits of colour bands of which one cannot be read: ``brown ? orange gold``."""
    bands = re.split(r"[\s,-]+", text.lower())
    if bands.count("?") != 1:
        return None
    tried = (resistor_markings(" ".join(bands).replace("?", colour)) for colour in COLOURS)
    found = [marking.value for markings in tried for marking in markings]
    ohms = [ohm for ohm in found if is_preferred(ohm) and ohm <= HIGHEST_OHM]
    return (min(ohms), max(ohms)) if len(ohms) > 1 else None


def fill_unknown(
    value: dict[str, Any],
    unknown: dict[str, Limits],
    note: Callable[[str, object, str], None],
) -> None:
    """Put likely values in the place of those that nobody could read.

    Parameters
    ----------
    value : dict
        The board file; changed in place.
    unknown : dict
        Key of a resistor -> its limits; those that are not known are filled in.
    note : callable
        Told what was taken, and why.
    """
    chosen = {}
    for key, limits in unknown.items():
        others = sum(1 for each in unknown if each.startswith(("chain.resistors", "chain.return")))
        near = _neighbours(value, unknown, key)
        chosen[key] = likely_ohm(value, limits, near, others, USUAL_OHM.get(key))
    for key, (ohm, why, unknown[key]) in chosen.items():
        holder, place = _place(value, key)
        item = holder[place]
        printed = item["value"] if isinstance(item, dict) else item
        holder[place] = {**item, "value": ohm} if isinstance(item, dict) else ohm
        note(key, printed, why)


def likely_ohm(
    value: Mapping[str, Any],
    limits: Limits,
    neighbours: Iterable[float],
    others: int,
    usual_ohm: float | None = None,
) -> tuple[float, str, Limits]:
    """The likeliest value within limits, in words with the reason, and limits that are known.

    Parameters
    ----------
    value : mapping
        The board file.
    limits : tuple of float
    neighbours : iterable of float
        Values near it, the nearest first.
    others : int
        Resistors of the chain that nobody could read.
    usual_ohm : float, optional
        Of a resistor in its place.
    """
    ohm, why = _likely(value, limits, neighbours, others, usual_ohm)
    if limits[1] == inf:
        limits = ohm / OPEN_FACTOR, ohm * OPEN_FACTOR
    return ohm, f"{format_si(ohm, 'Ω')}, {why}", limits


def _likely(
    value: Mapping[str, Any],
    limits: Limits,
    neighbours: Iterable[float],
    others: int,
    usual_ohm: float | None,
) -> tuple[float, str]:
    """The likeliest value within limits, and why."""
    low, high = limits
    middle = (low + high) / 2.0
    roughly = high < inf and isclose(high * (1 - ROUGHLY_RATIO), low * (1 + ROUGHLY_RATIO))
    if roughly and is_preferred(middle):
        return middle, "as read, not for sure"
    for ohm in neighbours:
        if low <= ohm <= high:
            return ohm, "like its neighbour"
    if high < inf:
        return _nearest_preferred(middle), "the preferred number in the middle"
    if usual_ohm is not None:
        return usual_ohm, "the usual value"
    mains = value.get("mains")
    printed = mains.get("voltage") if isinstance(mains, Mapping) else None
    volts = re.match(r"[\d.]+", str(printed))
    total = sqrt(2.0) * (float(volts[0]) if volts else 230.0) / USUAL_PEAK_A
    return (
        _nearest_preferred(total / max(others, 1)),
        f"for the usual LED current of {format_si(USUAL_PEAK_A, 'A')} at the peak",
    )


def _neighbours(
    value: Mapping[str, Any], unknown: Mapping[str, Limits], key: str
) -> Iterator[float]:
    """Values of the other resistors of a string, the nearest first; then those of the chain."""
    match = _CHAIN_ITEM.fullmatch(key)
    if match is None:
        return
    for string in dict.fromkeys((match[1], "chain.resistors")):
        items = _string(value, string)
        numbers = sorted(range(len(items)), key=lambda n: abs(n + 1 - int(match[2])))
        for number in numbers:
            where = f"{string}[{number + 1}]"
            item = items[number]
            ohm = ohm_of(item.get("value") if isinstance(item, Mapping) else item)
            if where not in unknown and ohm is not None:
                yield ohm


def _string(value: Mapping[str, Any], key: str) -> Sequence[Any]:
    """The list of resistors at a key such as ``chain.parallel[2]``."""
    match = re.fullmatch(r"chain\.(\w+)(?:\[(\d+)\])?", key)
    found: Any = value["chain"].get(match[1], []) if match else []
    if match and match[2] and isinstance(found, list):
        found = found[int(match[2]) - 1]
    return found if isinstance(found, list) else []


def _place(value: dict[str, Any], key: str) -> tuple[Any, Any]:
    """What holds the resistor at a key, and its place there."""
    match = _CHAIN_ITEM.fullmatch(key)
    if match:
        return _string(value, match[1]), int(match[2]) - 1
    table, _, name = key.partition(".")
    return value[table], name


def ohm_of(given: Any) -> float | None:
    if isinstance(given, str) and (found := resistor_markings(given)):
        return found[0].value
    try:
        return parse_quantity(given, RESISTANCE)
    except InputError:
        return None


def _nearest_preferred(ohm: float) -> float:
    """The number of E24 nearest to a resistance, in logs."""
    power = 10.0 ** int(f"{ohm:e}".partition("e")[2])
    figures = [*decade("E24"), 10.0]
    return round(min(figures, key=lambda figure: abs(log(figure * power / ohm))) * power, 6)
