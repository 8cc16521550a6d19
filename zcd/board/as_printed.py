"""From what is printed on plates and parts to the values that the schema reads.

A board file may hold markings as they stand on the parts (``104``, ``220-240V~ 50/60Hz``). Here
each becomes a plain value of its key, with a note of what was understood. What has two meanings is
decided by the part's style and by which of them such a circuit can have, or refused with both.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import starmap
from typing import Any, TypeGuard

from zcd import refdata
from zcd.board.diode_names import (
    PAIRS,
    diode_by_words,
    figures_beside,
    said_by_name,
    says_four,
    table_part,
)
from zcd.board.keys import same_word
from zcd.board.mains_plate import mains_as_printed
from zcd.board.markings import (
    CHIP_CODES,
    Marking,
    capacitor_marking,
    resistor_markings,
    with_letter,
)
from zcd.board.model import ReadAs
from zcd.board.optocouplers import (
    AC_INPUT,
    CLASSES,
    FOUR_PIN,
    NO_COUPLER,
    SIX_PIN,
    in_no_table,
    optocoupler_name,
)
from zcd.board.units import ALIKE, format_si, is_reference
from zcd.board.unknown_values import (
    HIGHEST_OHM,
    fill_unknown,
    nobody_knows,
    ohm_of,
    says_unknown,
    unknown_limits,
)
from zcd.errors import InputError, invalid_value

PLAUSIBLE_OHM = (1e3, 1e7)
"""What chain, LED resistor and pull-up of a mains detector have: common practice, no source."""

_MOST_PARTS = 30
_STRONG = re.compile(r"\s*[;+&]\s*|\s*,\s+|\s+and\s+")
_ONE_VALUE = re.compile(r"\d*\.?\d*\s*[kKMRrΩ]\d*\s*(?:Ω|ohms?)?", re.ASCII)
_WORD_OF_LIST = re.compile(
    rf"(?:[A-Z]{{1,3}}\d{{1,4}}[:=])?(?:(?=\d){_ONE_VALUE.pattern}|\d{{3,4}}|\d\d[A-F]|\?)",
    re.ASCII,
)
_TIMES = re.compile(r"([1-9]\d?)\s*[x×*]\s*(\S.*)|(\S.*?)\s*[x×*]\s*([1-9]\d?)", re.IGNORECASE)
_TOLERANCE = re.compile(r"(.*[^\s±+/-])(?:\s+(?:±|\+/?-)?|(?:±|\+/?-))\s*(\d+(?:[.,]\d+)?\s*%)")
_POWER = re.compile(r"(.*\S)\s+((?:\d{1,2}/\d{1,2}|\d*[.,]?\d+)\s*m?(?:W|watts?))", re.IGNORECASE)
_SLASH_POWER = re.compile(r"(\d\S*[kKMRΩ]\S*)\s*/\s*(\d*[.,]?\d+\s*m?W)")
_SIZES = "0402|0603|0805|1206|1210|2010|2512"
_SIZE = re.compile(rf"(.*\S)\s+(?:size\s+)?({_SIZES})", re.ASCII)
_STYLES = (_POWER, _SLASH_POWER, _SIZE)
_WATTS = r"[\d/.,]+\s*m?W(?:atts?)?"
_SIZE_AND_RATING = re.compile(
    rf"({_SIZES})[\s,(/]+({_WATTS})\)?|({_WATTS})[\s,(/]+({_SIZES})\)?", re.IGNORECASE
)
"""A chip's size with its rating, as data sheets print it."""
_STYLE_FIRST = re.compile(
    rf"^({_SIZES}|(?:1/[248]|\d*[.,]?\d+)\s*m?W(?:atts?)?)[\s,]+(\d.*)", re.IGNORECASE
)
_MADE = (
    r"(?:metal(?:[\s-]oxide)?|carbon|thick)[\s-]film|metal[\s-]oxide|carbon|m\.?o\.?f|mfr?|cfr?"
    r"|fusible|flame-?proof|wire-?wound"
)
_BESIDE = re.compile(
    rf"[\s,]+(?:{_MADE}|axial|leaded|tht|through[\s-]hole|pull-?(?:up|down)"
    r"|resistors?|ceramic|film|electrolytic|elko|capacitor|in series|each)\b",
    re.IGNORECASE,
)
"""What people write beside a value, which changes nothing here."""
_MADE_OF = re.compile(rf"^(?:{_MADE})(?:\s+|$)", re.IGNORECASE)
_SPELT_OUT = (
    (re.compile(r"(?<=[\d\s])kil(?:o-?)?ohms?\b", re.IGNORECASE), "k"),
    (re.compile(r"(?<=[\d\s])meg(?:a?-?ohms?)?\b", re.IGNORECASE), "M"),
    (re.compile(r"\b(\d{1,3}) (?=000\b)"), r"\1"),
    (re.compile(r"(?<=\d)\s*MFD\b", re.IGNORECASE), " uF"),
)
_RATING = re.compile(r"[\d/.,]+\s*(?:m?W\w*|%)", re.IGNORECASE)
_NEXT_PART = re.compile(r"[\s,;-]R\d+", re.ASCII)
"""A reference behind a resistance: two parts where one belongs."""
_BARE_REFERENCE = re.compile(r"R\d{1,4}", re.IGNORECASE)
"""A reference without a value. As a marking it is below 1 Ω, which no part of this circuit has."""
_NAMED = re.compile(r"([A-Z]{1,3}\d{1,4})\s*(?:[:=]|\s)\s*(\S.*)", re.ASCII)
_NAMED_BEHIND = re.compile(r"(.*\S)\s*\((?!X)([A-Z]{1,3}\d{1,4})\)", re.ASCII)
NAMED_CAPACITOR = re.compile(r"^(C[XY]?\d{1,4})[\s:=]+")
_REFERENCE = re.compile(r"(?!M\d)[A-Z]{1,3}\d{1,4}[:=]?", re.ASCII)
_WRITTEN_AFTER = re.compile(r"[\d.?]")
_REMARK = re.compile(r"(.*[^\s(])\s*\(([^()]*)\)")
_CHIP_WORD = re.compile(r"(?:SMD|chip)\s+(\S.*)|(.*\S)\s+(?:SMD|chip)", re.IGNORECASE)
_CHIP_STYLE = re.compile(_SIZES)
_METRIC = {"1608": "0603", "2012": "0805", "3216": "1206", "3225": "1210", "6332": "2512"}
"""Millimetres of a chip -> the size by which it goes; those that are no such size themselves."""
_WATT_WORDS = {"quarter": "1/4", "half": "1/2", "eighth": "1/8", "one": "1", "two": "2"}
_NO_SIZE = re.compile(r"through[\s-]?hole|tht|axial|leaded|smd|chip|smt|not known", re.IGNORECASE)
_CAPACITOR_TAIL = re.compile(
    r"(.*[^\s/±+-])(?:\s*/\s*|\s+)(?:X[12]|Y[12]|MK[TPCS]|K[PTS]|[A-Z]\d[A-Z]|NP0|C0G"
    rf"|[\d.]+\s*k?V\S*|{_SIZES}|[FGJKM])",
    re.IGNORECASE,
)
_CAPACITOR_HEAD = re.compile(
    r"^(?:(?:(?:class\s+)?[XY][1-4]|MK[TPCS]|K[PTS]|film|ceramic|safety|suppression)\b[\s,:/-]*"
    r"|\d+\s*V(?:AC|~)?[\s,:/]+)+(?=[\d.])",
    re.IGNORECASE,
)
"""Class, make and voltage printed before the value: X2 0.1uF."""
_FILM = re.compile(r"(\d*[.,]?\d*[pnu]\d*)[FGJKM](?:\d{2,4}V?)?", re.ASCII)
"""A film capacitor with its tolerance and volts behind the value, such as 100nK63."""
_SUPPLY_NAME = re.compile(r"^(?:V[CD]{2}\b[\s=:]*|DC)?\s*\+?\s*(?=\d)", re.IGNORECASE)
_ROUGHLY = re.compile(
    r"^(?:about|approx\.?|approximately|ca\.?|circa|roughly|[~≈])\s*", re.IGNORECASE
)
_FEEDS = {
    "switched": re.compile(r"^switched\W.*|\brelay\b|\bcontact\b", re.IGNORECASE),
    "direct": re.compile(r"^(?:line|live|mains|always(?: live)?|plug|unswitched)$", re.IGNORECASE),
}
"""Words for where the chain is fed."""
USUAL_SUPPLY = "5 V"
"""Of a controller: common practice, no source."""
_CTR = re.compile(
    r"(?:CTR\s*)?(?P<low>\d+(?:[.,]\d+)?)\s*%?(?:\s*(?:\.\.\.?|…|-|–|to)\s*"
    r"(?P<high>\d+(?:[.,]\d+)?))?\s*%(?:\s*(?:at|@)\s*(?:IF\s*=?\s*)?(?P<test>[\d.,]+\s*[mu]?A))?",
    re.IGNORECASE,
)
_LEAST_CTR = re.compile(r"(?:min\.?|minimum|at least|>=?|≥)\s*(\d+(?:[.,]\d+)?)\s*%", re.IGNORECASE)
_SINGLE_RESISTORS = (("led", "resistor"), ("output", "pull_up"), ("output", "pull_down"))
_CAPACITORS = (
    *(("feed", "suppressor", "capacitance"), ("chain", "joint_capacitor", "capacitance")),
    *(("led", "capacitor"), ("output", "pin_capacitor"), ("fan", "run_capacitor")),
)
_IN_WORDS = re.compile(r"zener|rectifier|bridge|diode|unknown|\d\s*A\b|^\?$", re.IGNORECASE)
_SIX_PINS = re.compile(r"(?:\b6|\bsix)[\s-]?pin|DIP-?6", re.IGNORECASE)
_NONE = (NO_COUPLER, "no", "without")
WITHOUT_COUPLER = (
    "without optocoupler nothing is isolated, the controller and all that touches it are LIVE at "
    "mains"
)


def straight_into_pin(chain: str = "R1 1M") -> str:
    """What to write for a board without optocoupler, with the resistors of its chain."""
    return (
        f'circuit = ["feed - {chain} - pin", "neutral - logic0"] (logic0: its 0 V, logic+: its '
        'supply), or into the base of a transistor there: "feed - R1 220k - R2 220k - base", '
        f'"Q1 BC847". CAUTION: {WITHOUT_COUPLER}'
    )


INTO_PIN = (
    "a path through the LED of an optocoupler, from led+ to led-; or, without one, resistors from "
    f"the mains into the controller's pin: {straight_into_pin()}"
)
_WATT_STYLES = {
    0.125: "1/8 W", 1 / 6: "1/6 W", 0.25: "1/4 W", 0.5: "1/2 W", 1.0: "1 W", 2.0: "2 W", 3.0: "3 W",
    5.0: "5 W",
}  # fmt: skip
"""A part rated between two of them has the voltage of the smaller one, and its own power."""


@dataclass(slots=True)
class Reader:
    """A board file on its way: keys and values, what was understood, what was not.

    Parameters
    ----------
    value : dict
        Keys and values; changed in place.
    notes : list of ReadAs
    problems : list of str
        A line for each, with its key.
    unknown : dict
        Key of a resistor that nobody could read -> limits of its resistance. [Ω]
    references : dict
        Key of a capacitor -> reference written before its value.
    written_power : object
        What ``chain.power`` says of all resistors of a circuit.
    chain_power : object
        Rated power that the chain's style says, where that is between two styles.
    """

    value: dict[str, Any]
    notes: list[ReadAs] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    unknown: dict[str, tuple[float, float]] = field(default_factory=dict)
    references: dict[str, str] = field(default_factory=dict)
    chain_power: Any = None
    written_power: Any = None

    def note(self, key: str, printed: object, meaning: str, *, on_chip: bool = False) -> None:
        """Say what a text was taken for."""
        self.notes.append(ReadAs(key=key, printed=str(printed), meaning=meaning, on_chip=on_chip))

    def refuse(self, key: str, found: object, allowed: str) -> None:
        """Say what a text may mean, and what to write instead."""
        self.problems.append(str(invalid_value(found, allowed, key)))


LONGEST = 200
"""Letters of a text that may be a marking; a longer one is left to the schema."""


def _is_marking(text: Any) -> TypeGuard[str]:
    return isinstance(text, str) and len(text) <= LONGEST


def spread(value: Mapping[str, Any]) -> dict[str, Any]:
    """A board file with one item for each part: ``"2 x 68k"`` and ``"68k, 68k"`` are two.

    Parameters
    ----------
    value : mapping
        Keys and values as written.

    Returns
    -------
    dict
        Resistor lists as lists, also where they are the whole `chain`; ``"68k 1 % 1/4 W"`` as a
        table. Values stay as they are printed.
    """
    result = {k: dict(v) if isinstance(v, Mapping) else v for k, v in value.items()}
    for key in ("rectifier", "clamp", "optocoupler"):
        if key in result:
            result[key] = _referenced(result[key], key)
    for table, name in _SINGLE_RESISTORS:
        holder = result.get(table)
        if isinstance(holder, dict) and name in holder:
            holder[name] = _named_alone(holder[name])
    chain = result.get("chain")
    if isinstance(chain, dict) and "resistors" not in chain and any(map(is_reference, chain)):
        named = {ref: value for ref, value in chain.items() if is_reference(ref)}
        rest = {key: value for key, value in chain.items() if key not in named}
        resistors = list(starmap(_with_ref, named.items()))
        chain = result["chain"] = {"resistors": resistors, **rest}
    if isinstance(chain, list) or (_is_marking(chain) and (_is_list(chain) or is_resistor(chain))):
        chain = result["chain"] = {"resistors": chain if isinstance(chain, list) else [chain]}
    if not isinstance(chain, dict):
        return result
    for key in ("resistors", "return_resistors"):
        if key in chain:
            chain[key] = _items(chain[key])
    if isinstance(chain.get("parallel"), list):
        strings = chain["parallel"]
        chain["parallel"] = [
            _items(s) if isinstance(s, list) or (isinstance(s, str) and _is_list(s)) else s
            for s in strings
        ]
    return result


def _referenced(item: Any, key: str) -> Any:
    """``"D5 1N4007"`` as a table; a type that is no reference and another type as it is."""
    if not _is_marking(item):
        return item
    before, behind = _NAMED.fullmatch(item.strip()), _NAMED_BEHIND.fullmatch(item.strip())
    ref, part = behind.group(2, 1) if behind else before.groups() if before else ("", "")
    if not _is_part(part, key) or (before and _is_part(item, key)):
        return item
    return {"family" if key == "optocoupler" else "part": part, "ref": ref}


def _is_part(text: str, key: str) -> bool:
    """Whether a text is the marking of a diode or an optocoupler."""
    if nobody_knows(text):
        return True
    if key != "optocoupler":
        return table_part(text) is not None or diode_by_words(text) is not None
    try:
        optocoupler_name(text)
    except InputError:
        return False
    return True


def as_printed(value: Mapping[str, Any]) -> Reader:
    """Read the markings of a board file.

    Parameters
    ----------
    value : mapping
        Keys and values, after `spread`.

    Returns
    -------
    Reader
        Its `value` is what the schema reads.
    """
    reader = Reader({k: _copied(v) for k, v in value.items()})
    if "mains" in reader.value:
        with_problem(reader, lambda: mains_as_printed(reader.value, reader.note))
    _resistors(reader)
    fill_unknown(reader.value, reader.unknown, reader.note)
    _coupler(reader)
    _diodes(reader)
    for path in _CAPACITORS:
        _capacitor(reader, path)
    _supplies(reader)
    return reader


def _supplies(reader: Reader) -> None:
    """Supplies as their points are called, and what is known of a relay's coil."""
    for table, name in (("output", "supply"), ("feed", "coil_supply")):
        holder = reader.value.get(table)
        if isinstance(holder, dict) and _is_marking(text := holder.get(name)):
            holder[name] = _SUPPLY_NAME.sub("", text.strip())
            if name == "supply" and nobody_knows(text):
                holder[name] = USUAL_SUPPLY
                reader.note("output.supply", text, f"{USUAL_SUPPLY}, the usual one; measure it")
    feed = reader.value.get("feed")
    kind = feed.get("kind") if isinstance(feed, dict) else feed
    meant = [word for word, how in _FEEDS.items() if _is_marking(kind) and how.search(kind)]
    if meant:
        reader.note("feed", kind, meant[0])
        feed = {**feed, "kind": meant[0]} if isinstance(feed, dict) else {"kind": meant[0]}
        reader.value["feed"] = feed
    for name in ("coil_supply", "coil_resistance"):
        if isinstance(feed, dict) and _is_marking(text := feed.get(name)) and nobody_knows(text):
            del feed[name]
            usual = refdata.default(f"relay.{name}")
            shown = format_si(usual.value, "V" if name == "coil_supply" else "Ω")
            reader.note(f"feed.{name}", text, f"{shown}, the usual one; measure it")
    if isinstance(feed, dict) and _is_marking(coil := feed.get("coil_resistance")):
        match = _TOLERANCE.fullmatch(coil.strip())
        feed["coil_resistance"] = _ROUGHLY.sub("", match[1] if match else coil)


def with_problem(reader: Reader, read: Callable[[], None]) -> None:
    """Do a piece of reading; what it refuses is kept."""
    try:
        read()
    except InputError as error:
        reader.problems.append(str(error))


def _copied(value: Any, depth: int = 5) -> Any:
    """Tables and lists as deep as a board file has them; what lies deeper is not changed here."""
    if depth and isinstance(value, Mapping):
        return {key: _copied(item, depth - 1) for key, item in value.items()}
    if depth and isinstance(value, list):
        return [_copied(item, depth - 1) for item in value]
    return value


def is_resistor(text: str) -> bool:
    """Whether a text is the marking of one resistor, or says that nobody can read it."""
    item = _tabled(text)
    value = item["value"] if isinstance(item, dict) else item
    return ohm_of(value) is not None or unknown_limits(value) is not None


def _is_list(text: str) -> bool:
    return len(resistors_in(text)) > 1 or resistors_in(text) != [text]


def _items(value: Any) -> Any:
    """Resistors of a list, one item a part."""
    if isinstance(value, str) and not _is_list(value):
        return value if not _parts(value) else [_tabled(value)]
    if isinstance(value, str):
        return [_tabled(part) for part in resistors_in(value)]
    if isinstance(value, Mapping) and value and all(map(is_reference, value)):
        value = list(starmap(_with_ref, value.items()))
    if not isinstance(value, list):
        return value
    value = list(map(_named_alone, value))
    return [
        _tabled(part)
        for item in with_references(value)
        for part in (resistors_in(item) if isinstance(item, str) else [item])
    ]


def _named_alone(item: Any) -> Any:
    """A part in a table of its own, of which the reference is the key; anything else as it is."""
    if isinstance(item, Mapping) and len(item) == 1 and all(map(is_reference, item)):
        return _with_ref(*next(iter(item.items())))
    return item


def _with_ref(ref: str, marking: Any) -> Any:
    """A part of which the reference is a key: ``{R12 = "68k"}``."""
    return f"{ref} {marking}" if isinstance(marking, str) else {"ref": ref, "value": marking}


def with_references(items: Sequence[Any]) -> list[Any]:
    """Items of a list, each reference joined to the value written after it.

    Examples
    --------
    >>> with_references(["R12", "333", "R47", "R13:", "68k"])
    ['R12 333', 'R47', 'R13: 68k']
    """
    result: list[Any] = []
    for item in items:
        before = result[-1] if result else None
        named = isinstance(before, str) and _REFERENCE.fullmatch(before.strip())
        if named and isinstance(item, str) and _WRITTEN_AFTER.match(item.strip()):
            result[-1] = f"{before} {item}"
        else:
            result.append(item)
    return result


def resistors_in(text: str) -> list[str]:
    """The resistors in a text, each as it is written: ``"3 x 68k"`` are three; else the text."""
    if not _is_marking(text):
        return [text]
    shown = plain_words(text)
    common = _POWER.fullmatch(shown) or _SIZE.fullmatch(shown)
    if common and len(parts := resistors_in(common[1])) > 1 and not any(map(_styled, parts)):
        return [f"{part} {common[2]}" for part in parts]
    times = _TIMES.fullmatch(shown)
    if times:
        count, one = int(times[1] or times[4]), times[2] or times[3]
        return [one] * count if count <= _MOST_PARTS and _parts(one) else [text]
    if _is_bands(shown):
        return [" ".join(re.split(r"[\s,;/|+-]+", shown))]
    return _apart(shown) or [text]


def _apart(shown: str) -> list[str]:
    """Values with signs or blanks between; none where that is not plain."""
    words = re.split(r"[\s,;]+", shown)
    named = with_references(words)
    if len(words) == 2 * len(named):
        return named
    for parts in (_STRONG.split(shown), shown.split(",")):
        weak = len(parts) > 1 and "," in shown and not _STRONG.search(shown)
        whole = all(_ONE_VALUE.fullmatch(p) if weak else _parts(p) for p in parts)
        if len(parts) > 1 and whole:
            return parts
    plain = (
        len(words) > 1
        and not _styled(shown)
        and all(_WORD_OF_LIST.fullmatch(word) for word in words)
    )
    return words if plain else []


def _styled(text: str) -> bool:
    return any(each.fullmatch(text) for each in _STYLES)


def _parts(text: str) -> bool:
    """Whether a text looks like one resistor."""
    named = _NAMED.fullmatch(text.strip())
    shown = named[2] if named else text.strip()
    if _RATING.fullmatch(shown):
        return False
    return re.match(r"[\d.?~]|about", shown) is not None or _is_bands(shown)


def _is_bands(text: str) -> bool:
    return re.search(r"\d", text) is None and len(resistor_markings(text)) > 0


def plain_words(text: str) -> str:
    """A value as it is printed, without the words that people write beside it."""
    shown = _BESIDE.sub("", text.strip().translate(ALIKE))
    for pattern, sign in _SPELT_OUT:
        shown = pattern.sub(sign, shown)
    return _STYLE_FIRST.sub(r"\2 \1", shown)


def _tabled(item: Any) -> Any:
    """``"68k 1 % 1/4 W"`` as a table; anything else as it is."""
    if not _is_marking(item):
        return item
    text, more = plain_words(item), {}
    if match := _NAMED.fullmatch(text):
        more["ref"], text = match[1], match[2]
    if match := _REMARK.fullmatch(text):
        beside = f"{match[1]} {match[2]}"
        text = beside if _styled(beside) or _TOLERANCE.fullmatch(beside) else match[1]
    if (word := _CHIP_WORD.fullmatch(text)) and _styled(word[1] or word[2]):
        text = word[1] or word[2]
    for _ in range(3):
        if match := _TOLERANCE.fullmatch(text):
            more["tolerance"] = match[2]
        elif match := next(filter(None, (each.fullmatch(text) for each in _STYLES)), None):
            more["style"] = f"{match[2]} {more.get('style', '')}".strip()
        else:
            break
        text = match[1].rstrip(" ,")
    return {"value": text, **more} if more or text != item.strip() else item


def _resistors(reader: Reader) -> None:
    """Every resistor of the file, and the styles."""
    chain = reader.value.get("chain")
    chain_style = None
    if isinstance(chain, dict):
        if "circuit" in reader.value:  # whose resistors are not in the chain's lists
            reader.written_power = chain.pop("power", None)
        written = chain.pop("power", None)
        if written is not None and "style" not in chain:
            chain["style"], written = written, None
        _style(reader, chain, "chain.style")
        chain_style = chain.get("style")
        power = reader.chain_power = chain.pop("power", written)
        for key, items in _lists(chain):
            for number, item in enumerate(items):
                read = resistor_as_printed(reader, item, f"{key}[{number + 1}]", chain_style)
                items[number] = read if power is None else with_power(read, power)
    for table, name in _SINGLE_RESISTORS:
        holder = reader.value.get(table)
        if not isinstance(holder, dict) or name not in holder:
            continue
        if str(holder[name]).strip().lower() in _NONE:
            del holder[name]
        else:
            holder[name] = resistor_as_printed(reader, holder[name], f"{table}.{name}", None)


def with_power(item: Any, power: Any) -> Any:
    """A resistor without a style of its own, with the power that all of the chain have."""
    table = item if isinstance(item, dict) else {"value": item}
    return item if "style" in table else {"power": power, **table}


def _lists(chain: dict[str, Any]) -> Iterator[tuple[str, list[Any]]]:
    """Each list of resistors with its key."""
    for key in ("resistors", "return_resistors"):
        if isinstance(chain.get(key), list):
            yield f"chain.{key}", chain[key]
    if isinstance(chain.get("parallel"), list):
        for number, string in enumerate(chain["parallel"], 1):
            if isinstance(string, list):
                yield f"chain.parallel[{number}]", string


def _style(reader: Reader, table: dict[str, Any], key: str) -> None:
    """A style written as a power or with words; one that nobody knows is not written."""
    text = table.get("style")
    if not _is_marking(text):
        return
    shown = re.sub(r"^(?:SMD|chip|size|DIN)\s+|\s+(?:SMD|chip)$", "", text.strip(), flags=re.I)
    shown = _BESIDE.sub("", _METRIC.get(shown, shown).translate(ALIKE))
    shown = re.sub(r"^1/[2468]$", r"\g<0> W", _MADE_OF.sub("", shown))
    first, _, rest = shown.partition(" ")
    style, watt = shown, _watt(f"{_WATT_WORDS.get(first.casefold(), first)} {rest}")
    if (sized := _SIZE_AND_RATING.fullmatch(shown)) and (of_chip := _watt(sized[2] or sized[3])):
        style, watt = sized[1] or sized[4], None
        table.setdefault("power", format_si(of_chip, "W"))
    if watt is not None and watt >= min(_WATT_STYLES):
        nearest = max(each for each in _WATT_STYLES if each <= watt)
        style = _WATT_STYLES[nearest]
        if watt > nearest:
            table.setdefault("power", format_si(watt, "W"))
    if not shown or nobody_knows(shown) or _NO_SIZE.fullmatch(shown):
        del table["style"]
    elif style != text:
        table["style"] = style


def _watt(text: str) -> float | None:
    match = re.fullmatch(
        r"(?:(\d{1,2})/([1-9]\d?)|(\d*[.,]?\d+))\s*(m?)(?:W|watts?)", text.strip(), re.IGNORECASE
    )
    if match is None:
        return None
    watt = int(match[1]) / int(match[2]) if match[1] else float(match[3].replace(",", "."))
    return watt / 1e3 if match[4] else watt


def resistor_as_printed(reader: Reader, item: Any, key: str, chain_style: Any) -> Any:
    """One resistor: its item with a plain value."""
    item = _tabled(item)
    table = item if isinstance(item, dict) else {"value": item}
    _style(reader, table, f"{key}.style")
    text, given = table.get("value"), table.get("value")
    if not _is_marking(text):
        return item
    style = table.get("style") or chain_style
    chip = isinstance(style, str) and _CHIP_STYLE.fullmatch(style.strip()) is not None
    text = plain_words(text)
    if word := _CHIP_WORD.fullmatch(text):
        text, chip = word[1] or word[2], True
    if (limits := unknown_limits(text)) is not None:
        reader.unknown[key] = limits
        return item
    if text.strip().lower() == "internal":
        reader.refuse(key, text, 'internal_pull_up = "on" in place of it')
        return item
    if _BARE_REFERENCE.fullmatch(text.strip()):
        reader.refuse(key, text, f'its value too: "{text} 47k", or "{text} ?" if unreadable')
        return item
    value, tolerance = _ohms(reader, text, key, chip)
    if value is None:
        if _NEXT_PART.search(text):
            _refuse_two(reader, text, key, in_table=isinstance(item, dict))
        return {**table, "value": text} if text != given else item
    extra = {} if tolerance is None or "tolerance" in table else {"tolerance": tolerance}
    return {**table, "value": value, **extra}


def _refuse_two(reader: Reader, text: str, key: str, *, in_table: bool) -> None:
    """Say what belongs between two resistors, under the key that the schema refuses."""
    allowed = 'a resistance such as "47k" ({} belongs between two parts)'
    if key.startswith("circuit."):  # whoever reads the circuit puts that before it
        raise invalid_value(text, allowed.format('" - "'), key.removeprefix("circuit."))
    reader.refuse(f"{key}{'.value' * in_table}", text, allowed.format("a comma"))


def _ohms(reader: Reader, text: str, key: str, chip: bool) -> tuple[Any, float | None]:
    """Value and tolerance that a marking stands for; None where it is none."""
    if lettered := with_letter(text):
        value, ratio = lettered
        reader.note(key, text, f"{value} ±{format_si(ratio, '%')}")
        return value, ratio
    found = resistor_markings(text)
    if not found:
        return None, None
    if found[0].value == 0.0:
        reader.refuse(key, text, "a resistance; a chip marked so is a jumper, 0 Ω: leave it out")
        return None, None
    chosen = _chosen(found, chip)
    if chosen is None:
        reader.refuse(key, text, _both(text, found))
        return None, None
    others = [m for m in found if m is not chosen and m.value <= HIGHEST_OHM]
    words = _meaning(chosen).removesuffix(")")
    for other in others:
        words += f"; if it is {format_si(other.value, 'Ω')}, write {ohm_text(other.value)}"
    words += ")"
    reader.note(key, text, words, on_chip=chosen.words in CHIP_CODES)
    return chosen.value, chosen.tolerance_ratio


def _chosen(found: tuple[Marking, ...], chip: bool) -> Marking | None:
    """The meaning that such a circuit can have; where none or both can, as the body is marked."""
    if len(found) == 1:
        return found[0]
    low, high = PLAUSIBLE_OHM
    possible = [m for m in found if low <= m.value <= high]
    if len(possible) == 1:
        return possible[0]
    plain = [m for m in found if m.plain]
    if not plain:
        return found[0]
    return None if chip else plain[0]


def _both(text: str, found: tuple[Marking, ...]) -> str:
    """What to write for each of two meanings."""
    ways = [f'"{ohm_text(m.value)}" for {_meaning(m)}' for m in found]
    return f"one meaning: {' or '.join(ways)}"


def ohm_text(ohm: float) -> str:
    """A resistance as a board file may have it.

    Examples
    --------
    >>> ohm_text(47.0), ohm_text(4700.0), ohm_text(2.2e6)
    ('47R', '4.7k', '2.2M')
    """
    if ohm >= 1e6:
        return f"{ohm / 1e6:g}M"
    return f"{ohm:g}R" if ohm < 1e3 else f"{ohm / 1e3:g}k"


def _meaning(marking: Marking, unit: str = "Ω") -> str:
    value = format_si(marking.value, unit)
    more = [marking.words]
    if marking.tolerance_ratio is not None:
        more.append(f"±{format_si(marking.tolerance_ratio, '%')}")
    if marking.rated_v is not None:
        more.append(f"rated {format_si(marking.rated_v, 'V')} d.c.")
    return f"{value} ({', '.join(more)})"


_OF_A_PART = {"part", "type"}
"""Words for a part's marking: that of a diode is its `part`."""


def _coupler(reader: Reader) -> None:
    """The optocoupler: its name, its CTR as data sheets print it, and what nobody can read."""
    given, chain = reader.value.get("optocoupler"), reader.value.get("chain")
    if isinstance(given, dict) and "family" not in given and (other := _OF_A_PART & given.keys()):
        given = {**given, "family": given[min(other)]}
        reader.value["optocoupler"] = given = {k: v for k, v in given.items() if k not in other}
    table: dict[str, Any] = given if isinstance(given, dict) else {"family": given}
    printed = table.get("family")
    if _is_marking(printed) and printed.strip().lower() in _NONE:
        reader.value["optocoupler"] = {**table, "family": NO_COUPLER}
    elif _is_marking(printed) and (nobody_knows(printed) or _not_read(printed)):
        two = isinstance(chain, dict) and same_word(chain.get("topology"), "two-led")
        of_body = SIX_PIN if _SIX_PINS.search(printed) else FOUR_PIN
        table = {**table, "family": AC_INPUT if two else of_body}
        reader.value["optocoupler"] = table
        reader.note("optocoupler", printed, f"any {table['family']}")
    elif _is_marking(printed) and "grade" not in table and _own_data_of(printed, table):
        table = {name: value for name, value in table.items() if name != "family"}
        reader.value["optocoupler"] = table
        reader.note("optocoupler", printed, "a part in no table, by its own data")
    elif _is_marking(printed):
        _coupler_name(reader, printed, table.get("grade"))
    ctr = table.get("ctr")
    match = _CTR.fullmatch(ctr.strip().translate(ALIKE)) if _is_marking(ctr) else None
    least = _LEAST_CTR.fullmatch(ctr.strip()) if _is_marking(ctr) else None
    if least is not None:
        rest = {name: value for name, value in table.items() if name != "ctr"}
        reader.value["optocoupler"] = {**rest, "ctr_min": f"{least[1]} %"}
    if match is None or not (match["high"] or match["test"]):
        return
    rest = {name: value for name, value in table.items() if name != "ctr"}
    low, high = match["low"], match["high"]
    limits = {"ctr_min": f"{low} %", "ctr_max": f"{high} %"} if high else {"ctr": f"{low} %"}
    test = {"test_current": match["test"]} if match["test"] else {}
    if twice := next((name for name in {**limits, **test} if name in rest), None):
        said = f'nothing beside ctr = "{ctr}", which says it too'
        raise invalid_value(rest[twice], said, f"optocoupler.{twice}")
    reader.value["optocoupler"] = {**rest, **limits, **test}


def _not_read(printed: str) -> bool:
    """Whether a sentence in place of an optocoupler's name says that it cannot be read."""
    return says_unknown(printed) and in_no_table(printed)


def _own_data_of(printed: str, table: Mapping[str, Any]) -> bool:
    """Whether a table gives the CTR of an optocoupler of which only that is known."""
    return not table.keys().isdisjoint(("ctr", "ctr_min")) and in_no_table(printed)


def _coupler_name(reader: Reader, printed: str, grade: Any) -> None:
    """Say what a maker's name was taken for; an unknown one is refused elsewhere."""
    try:
        family, rank = optocoupler_name(printed)
    except InputError:
        return
    plain = re.sub(r"[\s-]", "", printed).upper()
    if plain not in (family.upper(), f"{family}{rank or ''}".upper()) and family not in CLASSES:
        meaning = f"{family} grade {rank}" if rank else f"{family}, no grade read"
        reader.note("optocoupler", printed, meaning if rank or not grade else family)


def _diodes(reader: Reader) -> None:
    """Rectifier and clamp: what a marking stands for where it is not the part's name."""
    for key in ("rectifier", "clamp"):
        given = reader.value.get(key)
        if isinstance(given, dict) and "part" not in given and "type" in given:
            given = {("part" if name == "type" else name): each for name, each in given.items()}
            reader.value[key] = given
        table: dict[str, Any] = given if isinstance(given, dict) else {"part": given}
        printed = table.get("part")
        if not _is_marking(printed):
            continue
        if printed.strip().lower() in _NONE:
            del reader.value[key]
            continue
        if (name := diode_as_printed(reader, printed, key)) != printed:
            reader.value[key] = {**table, "part": name}
        chain = reader.value.get("chain")
        if key == "rectifier" and says_four(printed) and isinstance(chain, dict):
            reader.value["chain"] = {"topology": "bridge", **chain}


def diode_as_printed(reader: Reader, printed: str, key: str) -> str:
    """The diode that a marking stands for; the marking itself where it is in no table."""
    sentence = says_unknown(printed) and not (table_part(printed) or diode_by_words(printed))
    if nobody_knows(printed) or sentence:
        reader.note(key, printed, "rectifier, its rating not known")
        return "rectifier"
    said = said_by_name(printed)
    if said and (wrong := said.contradiction(figures_beside(printed))):
        _, found, by_name = wrong
        reader.refuse(key, printed, f"the name or {found}, not both: by its name it has {by_name}")
    name = table_part(printed)
    meaning = f"four {name}, a bridge" if key == "rectifier" and says_four(printed) else str(name)
    if name is None and key != "clamp" and printed.strip().upper() == "A7":
        name = "M7"
        meaning = "M7, 1 A 1000 V (two pins; with three it is no rectifier)"
    if name is None and (own := diode_by_words(printed)) and not _IN_WORDS.search(printed):
        reader.note(key, printed, own.label)
    if name in PAIRS:
        meaning = f"one diode of a {name}"
    elif name is None or name.casefold() == re.sub(r"[\s-]", "", printed).casefold():
        return printed
    reader.note(key, printed, meaning)
    return name


def _capacitor(reader: Reader, path: tuple[str, ...]) -> None:
    """The capacitor at a path of keys."""
    *tables, name = path
    holder: Any = reader.value
    for table in tables:
        holder = holder.get(table) if isinstance(holder, dict) else None
    given = holder.get(name) if isinstance(holder, dict) else None
    if isinstance(given, int) and not isinstance(given, bool) and given >= 10:
        given = str(given)  # no such capacitor in farads
    if _is_marking(given):
        key = ".".join(path)
        if named := NAMED_CAPACITOR.match(given.strip()):
            reader.references[key] = named[1]
        holder[name] = capacitor_as_printed(reader, given, key)


def capacitor_as_printed(reader: Reader, given: str, key: str) -> Any:
    """The capacitance that a marking stands for; the marking where that is no code."""
    given = NAMED_CAPACITOR.sub("", given.strip())
    text = _CAPACITOR_HEAD.sub("", plain_words(given))
    if match := _TOLERANCE.fullmatch(text):
        text = match[1]
    while match := _CAPACITOR_TAIL.fullmatch(text) or _FILM.fullmatch(text):
        text = match[1]
    found = capacitor_marking(text.replace(",", "."))
    if len(found) > 1:
        ways = [f'"{m.value * 1e12:g}p" for {_meaning(m, "F")}' for m in found]
        reader.refuse(key, given, f"one meaning: {' or '.join(ways)}")
    elif found and (found[0].tolerance_ratio or not re.search("[pnuPNU]", text)):
        reader.note(key, given, _meaning(found[0], "F"))
        return found[0].value
    return text if len(found) <= 1 else given
