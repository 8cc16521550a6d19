"""The circuit as it was traced: lines of a board file that follow the copper, and what they say.

A line such as ``feed - R7 82k - D1 1N4007 > - led+`` goes from a node to a node. What stands
between two separators is a node, or a part with its marking; the arrow of a diode points to its
cathode.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count, pairwise
from typing import Any

from zcd.board.as_printed import (
    INTO_PIN,
    Reader,
    capacitor_as_printed,
    diode_as_printed,
    resistor_as_printed,
    with_power,
)
from zcd.board.diode_names import (
    DIODE_IN_WORDS,
    ZENER,
    diode_by_words,
    leg_refs,
    table_part,
)
from zcd.board.keys import same_word
from zcd.board.model import Link, Transistor
from zcd.board.optocouplers import NO_COUPLER
from zcd.board.paths import SEPARATOR, Step, connect, joined_nodes, renamed
from zcd.board.quantity_kinds import CAPACITANCE
from zcd.board.schema import CIRCUIT, DiodeTable, ResistorTable, TracedFile
from zcd.board.strings import AUTOMATIC, in_strings
from zcd.board.toml_files import validate
from zcd.board.transistors import transistor
from zcd.board.units import format_si, is_reference, nearest, parse_quantity, some_of
from zcd.board.unknown_values import likely_ohm, nobody_knows, ohm_of
from zcd.errors import InputError, invalid_value

KEY = "circuit"
LEADS = ("base", "collector", "emitter")
_CONTROLLER = ("line", "neutral", "feed", "pin", "logic0", "logic+")
NODES = (
    "line", "neutral", "feed", "led+", "led-", "led2+", "led2-", "pin", "logic0", "logic+", *LEADS,
)  # fmt: skip
"""Nodes with a meaning; `led2+` and `led2-` are those of a second optocoupler's LED; the next three
the controller's, of a circuit without optocoupler, the last those of its transistor."""
_SPELT = {
    "l": "line", "live": "line", "phase": "line", "n": "neutral", "led +": "led+",
    "led -": "led-", "led1+": "led+", "led1-": "led-",
}  # fmt: skip
MAINS_POINTS = ("line", "neutral")
_COUPLER_PIN = re.compile(r"(?:oc|u|ic|opto)\d{1,3}[.:-](?:pin)?[1-6]")
_COUPLER_LED = re.compile(r"(?:(?:oc|pc|u|ic|opto)\d{1,3}[ .:-]*)?led ?([+-]|anode|cathode)")
_COUPLER_OUTPUT = re.compile(
    r"(?:oc|pc|u|ic|opto)\d{1,3}[ .:-]*(?:c|e|collector|emitter)|\+?\d{1,2}(?:[.,]\d)? ?v\d?"
)
_COUPLER_ON_PATH = re.compile(
    r"(?P<ref>PC\d\d?|(?:OC|U|IC|OPTO|OK|ISO)\d{1,3})[\s:=]+(?P<type>\S.*?)\s*(?P<arrow>[<>])", re.I
)
_CONTACT = re.compile(r"(?:(?:k|ry|rl|rel|relay)\d{0,2}[ .:-]*)?contacts?|(?:k|ry|rl)\d{1,2}|relay")
CONTROLLER_SIDE = (
    'what is at the controller in output = {pull_up = "R9 10k", supply = "5 V"}; the circuit ends '
    "at led+ and led-"
)
_KINDS = {
    **dict.fromkeys(("R",), "resistor"),
    **dict.fromkeys(("C", "CX", "CY"), "capacitor"),
    **dict.fromkeys(("D", "CR", "VD", "Z", "ZD", "DZ"), "diode"),
    **dict.fromkeys(("BR", "DB", "BD"), "bridge"),
}
_REFUSED = {
    **dict.fromkeys(("F", "FU", "FS", "J", "JP", "W"), "leave it out, it is a wire here"),
    **dict.fromkeys(("RV", "VR", "MOV", "VDR"), "leave it out, a varistor does not conduct at "
                    "mains voltage"),
    **dict.fromkeys(("L", "NTC", "TH"), "leave it out, beside the chain it is a wire"),
    **dict.fromkeys(("OC", "PC", "U", "IC"), "its LED is led+ and led-, its key optocoupler; or "
                    'like a diode, with the arrow to its cathode: "OC1 817C >"'),
}  # fmt: skip
_LEAD = re.compile(
    r"(?:((?:Q|TR?|VT)\d{1,3})[ .:-]*)?(base|collector|emitter)"
    r"(?: of | )?(?(1)|((?:Q|TR?|VT)\d{1,3})?)|"
    r"((?:Q|TR?|VT)\d{1,3})(?:[.:-]| +)([bce])",
    re.IGNORECASE,
)
_TRANSISTOR = re.compile(r"(?:(?:Q|TR?|VT)\d{1,3}|transistor)(?:\s*=\s*|\s+)(?=\S)", re.IGNORECASE)
_FED_BY_RELAY = {"kind": "switched"}
"""A feed that may be another point than the line."""
_LETTERS = {"resistor": "R", "capacitor": "C", "diode": "D"}
_ARROWS = {">": False, ">|": False, "->": False, "<": True, "|<": True, "<-": True}
_TERMINAL = re.compile(r"(BR|DB|BD)(\d+)\s*(\+|-|~\s*[12ab])", re.IGNORECASE)
_SIDES = {"1": "1", "2": "2", "a": "1", "b": "2"}
_FARADS = re.compile(r"\d*[.,]?\d+\s*[pnuµ]\d*F?\b.*", re.IGNORECASE)
_OHMS = re.compile(r"(?:\d|\?|about).*", re.IGNORECASE)
LONGEST_NODE = 16
MOST_PARTS, MOST_WITH_CAPACITOR = 16, 12
"""Of a circuit, and of one with capacitors: its readings and faults then take up to ten times as
long to calculate as those of four parts."""
_JOINT = re.compile(r"([A-Z]{1,3}\d{1,4})/([A-Z]{1,3}\d{1,4})", re.IGNORECASE)
"""Where two parts of one line meet, as readings name it."""
_NODE = re.compile(rf"[A-Za-z]\w{{0,{LONGEST_NODE - 1}}}", re.ASCII)


@dataclass(slots=True)
class _Parts:
    """What the lines say of each part, by reference."""

    kinds: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)
    points: dict[str, str] = field(default_factory=dict)
    """Point as it is written -> its name here."""
    transistor: str = ""
    """Its reference, where that was written."""
    transistor_words: str = ""

    def put(self, ref: str, kind: str, words: str) -> str:
        if ref in self.kinds:
            said = " and ".join(dict.fromkeys((self.words[ref], words)))
            raise invalid_value(f"{ref} twice, {said}", "each part once, between its two nodes")
        self.kinds[ref], self.words[ref] = kind, words
        return ref

    def of(self, *kinds: str) -> list[str]:
        """References of the parts of some kinds, in the order of the lines."""
        return [ref for ref, kind in self.kinds.items() if kind in kinds]

    def free(self, kind: str) -> str:
        """The next free reference."""
        refs = (f"{_LETTERS[kind]}{n}" for n in count(1))
        return next(ref for ref in refs if ref not in self.used and ref not in self.kinds)


def read_traced(reader: Reader) -> None:
    """Read the lines of a circuit, in place; what is wrong with them is kept by the reader."""
    given = reader.value.pop(KEY)
    lines = _lines(given)
    if not lines:
        if given in ([], ""):
            given = "no line"
        reader.refuse(KEY, given, CIRCUIT)
        return
    try:
        if any(map(names_base, lines)):
            reader.value.setdefault("optocoupler", {"family": NO_COUPLER})
        reader.value[KEY] = _read(reader, lines)
    except InputError as error:
        reader.problems.append(f"{KEY}: {error}")


def _lines(given: Any) -> list[str]:
    """The lines of a circuit, also of one text; none where it is none."""
    if isinstance(given, str):
        given = [given]
    if not isinstance(given, list) or not all(isinstance(line, str) for line in given):
        return []
    return [line for text in given for line in re.split(r"[\n;]", text) if line.strip()]


def couplers_apart(value: Mapping[str, Any]) -> Mapping[str, Any]:
    """A board file in which optocouplers written on a path, like diodes, have their own key.

    A circuit that leads to the controller's pin, or to a transistor's base, has none.

    Parameters
    ----------
    value : mapping
        Keys and values; a second optocoupler must be of the type of the first.

    Returns
    -------
    mapping

    Examples
    --------
    >>> couplers_apart({"circuit": ["feed - R1 82k - OC1 817C > - neutral"]})
    {'circuit': ['feed - R1 82k - led+', 'led- - neutral'], \
'optocoupler': {'family': '817C', 'ref': 'OC1'}}
    """
    lines: list[str] = []
    refs: list[str] = []
    types: list[Any] = []
    for line in _lines(value.get(KEY)):
        items = SEPARATOR.split(line.strip())
        for number, item in enumerate(items):
            if (match := _COUPLER_ON_PATH.fullmatch(item)) is None:
                continue
            refs.append(match["ref"].upper())
            types.append(match["type"])
            ends = "+-" if match["arrow"] == ">" else "-+"
            led = "led" if len(refs) == 1 else "led2"
            items[number] = f"{led}{ends[0]}\n{led}{ends[1]}"
        lines += " - ".join(items).split("\n")
    points = {item.lower() for line in lines for item in SEPARATOR.split(line.strip())}
    if not refs and "optocoupler" not in value and points & {"pin", "base"}:
        return {**value, "optocoupler": NO_COUPLER}
    types.append(value.get("optocoupler", *types[:1]))
    if not refs or len(refs) > 2 or refs[1:] == refs[:1] or types != types[:1] * len(types):
        return value
    return {**value, KEY: lines, "optocoupler": {"family": types[0], "ref": refs[0]}}


def with_marking(given: Any, ref: str, marking: str) -> list[str]:
    """The lines of a circuit with another marking on one part.

    Parameters
    ----------
    given : list of str or str
        As a board file has them.
    ref, marking : str

    Returns
    -------
    lines : list of str
        The arrow of a diode stays.

    Examples
    --------
    >>> with_marking(["feed - R7 82k - D1 1N4007 > - led+"], "D1", "M7")
    ['feed - R7 82k - D1 M7 > - led+']
    """

    def marked(item: str) -> str:
        words = item.split()
        if not words or words[0].upper() != ref.upper() or _LEAD.fullmatch(item):
            return item
        return " ".join([ref, marking, *(word for word in words[1:] if word in _ARROWS)])

    return [" - ".join(map(marked, SEPARATOR.split(line.strip()))) for line in _lines(given)]


def with_string(given: Any, refs: Sequence[str], items: Sequence[str]) -> list[str]:
    """The lines of a circuit with other resistors in the place of some that lie side by side.

    Parameters
    ----------
    given : list of str or str
        As a board file has them.
    refs : sequence of str
        Of those that go, from the feed on.
    items : sequence of str
        Those that come, with their markings.

    Returns
    -------
    lines : list of str

    Examples
    --------
    >>> with_string(["led- - R2 1k - R1 1k - feed"], ["R1", "R2"], ["R1 680", "R2 680", "R3 680"])
    ['led- - R3 680 - R2 680 - R1 680 - feed']
    """

    def put(line: str) -> str:
        steps = SEPARATOR.split(line.strip())
        at = [k for k, step in enumerate(steps) if step.split()[0].upper() in refs]
        if not at:
            return line
        backwards = steps[at[0]].split()[0].upper() != refs[0]
        new = items[::-1] if backwards else items
        return " - ".join([*steps[: at[0]], *new, *steps[at[-1] + 1 :]])

    return [put(line) for line in _lines(given)]


def _read(reader: Reader, lines: Sequence[str]) -> TracedFile:
    parts = _Parts(used=_references(lines))
    paths, wrong = [], []
    for line in lines:
        try:
            paths += [path] if (path := _path(line, parts)) else []
        except InputError as error:
            wrong.append(error)
    if wrong:
        reader.problems += [f"{KEY}: {error}" for error in wrong[:-1]]
        raise wrong[-1]
    paths = _at_joints(paths)
    most = MOST_WITH_CAPACITOR if parts.of("capacitor") else MOST_PARTS
    if len(parts.kinds) > most:
        raise InputError(
            f"found {len(parts.kinds)} parts; allowed: up to {most}: leave out what does not "
            "lead to a LED, and write resistors in series as one, with their sum"
        )
    _require_plain_letters(parts, paths, reader.value.get("feed"))
    for word, node in parts.points.items():
        if word in _SPELT and node in MAINS_POINTS:
            reader.note(KEY, word.upper() if len(word) == 1 else word, f"{node} of the mains")
    _require_one_input(paths, parts)
    links, aliases = connect([*paths, *_leads_not_traced(paths)])
    _require_sound(links, aliases, parts)
    links = (*links, *(renamed(leg, aliases) for leg in _legs(parts)))
    resistors = {ref for ref, kind in parts.kinds.items() if kind == "resistor"}
    if not resistors:
        raise InputError("found no resistor; allowed: one at least, which limits the current")
    strings, links = in_strings(links, resistors, [aliases.get(n, n) for n in ("feed", "line")])
    chain = reader.value.get("chain")
    style = chain.get("style") if isinstance(chain, Mapping) else None
    tables = _resistors(reader, parts, style)
    return TracedFile(
        links=links,
        aliases=tuple(aliases.items()),
        strings=tuple(tuple(tables[ref] for ref in string) for string in strings),
        diodes=tuple(_diode(reader, ref, parts) for ref in parts.of("diode", "bridge")),
        capacitors=tuple((ref, _capacitor(reader, ref, parts)) for ref in parts.of("capacitor")),
        blocking=frozenset(_blocking(parts)),
        transistor=_noted(reader, _transistor(parts), parts.transistor_words),
    )


def _noted(reader: Reader, part: Transistor | None, words: str) -> Transistor | None:
    """The transistor; said where more or other is printed on it than its name."""
    if part is not None and words and re.sub(r"[\s-]", "", words).upper() != part.part:
        reader.note(f"{KEY}.{part.ref}", words, part.part)
    return part


def _at_joints(paths: Sequence[Sequence[Step]]) -> list[list[Step]]:
    """Paths in which a point such as ``R1/R2`` has the name that the path through it gives it."""
    pairs = [(a, b) for path in paths for a, b in pairwise(path) if a.is_part and b.is_part]
    names = {f"{a.name}/{b.name}": f"{a.name}/{b.name}" for a, b in pairs}
    names |= {f"{b.name}/{a.name}": f"{a.name}/{b.name}" for a, b in pairs}
    for step in (step for path in paths for step in path if _JOINT.fullmatch(step.name)):
        if step.name not in names:
            allowed = "two parts that follow each other in one line"
            raise invalid_value(step.name, allowed)
    return [[replace(step, name=names.get(step.name, step.name)) for step in p] for p in paths]


def _require_one_input(paths: Sequence[Sequence[Step]], parts: _Parts) -> None:
    """Refuse a transistor beside a LED: on the mains side none is modelled."""
    names = {step.name for path in paths for step in path}
    if not names.isdisjoint(LEADS) and {"led+", "led-"} <= names:
        raise InputError(
            f"found {parts.transistor or 'a transistor'} on the mains side, beside the LED of an "
            "optocoupler; allowed: resistors, capacitors, diodes, zeners and bridges there. A "
            "transistor that switches the LED, or empties a capacitor into it, is not modelled: "
            "neither the pulse nor the faults of such a board can be calculated"
        )


def _leads_not_traced(paths: Sequence[Sequence[Step]]) -> list[list[Step]]:
    """Collector at the pin and emitter at the controller's 0 V, where no path leads from them."""
    names = [step.name for path in paths for step in path]
    if set(names).isdisjoint(LEADS):
        return []
    pairs = [{a.name, b.name} for path in paths for a, b in pairwise(path)]
    groups = joined_nodes(pair for pair in pairs if "base" not in pair)
    there = {lead: next((g for g in groups if lead in g), set()) for lead in LEADS}
    wanted = (("collector", "pin"), ("emitter", "logic0"))
    return [
        [Step(a), Step(b)] for a, b in wanted if b not in names or there[a].isdisjoint(_CONTROLLER)
    ]


def _transistor(parts: _Parts) -> Transistor | None:
    """The transistor that a path leads into the base of, if one does."""
    if not parts.transistor and parts.points.keys().isdisjoint(LEADS):
        return None
    return transistor(parts.transistor_words or "?", parts.transistor or "Q1")


def path_text(line: str, before: Sequence[str]) -> str:
    """What one line of a circuit says, part for part.

    Parameters
    ----------
    line : str
    before : sequence of str
        The lines typed before it.

    Raises
    ------
    InputError
        If it cannot be read, or names a part of a line before.

    Examples
    --------
    >>> path_text("feed - R7 823 - D1 M7 > - led+", [])
    'feed - R7 82 kΩ - D1 M7, ring towards led+ - led+'
    """
    parts = _Parts(used=_references([*before, line]))
    paths = [_path(earlier, parts) for earlier in before]
    known = set(parts.kinds)
    steps = _path(line, parts)
    _require_plain_letters(parts, [*paths, steps], _FED_BY_RELAY)
    new = _Parts(kinds={ref: kind for ref, kind in parts.kinds.items() if ref not in known})
    new.words = {ref: parts.words[ref] for ref in new.kinds}
    reader = Reader({})
    told = {
        ref: f"{ref} {format_si(table.value, 'Ω')}"
        for ref, table in _resistors(reader, new, None).items()
    }
    told |= {ref: f"{ref} {_diode(reader, ref, new).part}" for ref in new.of("diode", "bridge")}
    told |= {
        ref: f"{ref} {format_si(_capacitor(reader, ref, new), 'F')}" for ref in new.of("capacitor")
    }
    if reader.problems:
        raise InputError(reader.problems[0])
    if (part := _transistor(parts)) is not None and parts.transistor_words and not steps:
        return f"{part.ref} {part.part}, hFE {part.gain_min_ratio:g} to {part.gain_max_ratio:g}"
    words = []
    for k, step in enumerate(steps):
        ring = (
            steps[k - 1 if step.backwards else k + 1].name
            if parts.kinds.get(step.name) == ("diode")
            else ""
        )
        words.append(told.get(step.name, step.name) + f", ring towards {ring}" * bool(ring))
    return " - ".join(words or told.values())


def names_base(line: str) -> bool:
    """Whether a line names a lead of a transistor, or what it is."""
    items = SEPARATOR.split(line.strip())
    return any(_LEAD.fullmatch(item) for item in items) or bool(_TRANSISTOR.match(items[0]))


def _references(lines: Sequence[str]) -> set[str]:
    return set(re.findall(r"\b[A-Z]{1,3}\d{1,4}\b", " ".join(lines).upper()))


def _path(line: str, parts: _Parts) -> list[Step]:
    """The steps of a line; of one that only says what a bridge is, none."""
    items = [" ".join(item.split()) for item in SEPARATOR.split(line.strip())]
    if len(items) == 1 and re.match(r"(BR|DB|BD)\d+ \S", items[0], re.IGNORECASE):
        ref, words = items[0].split(" ", 1)
        parts.put(ref.upper(), "bridge", words)
        return []
    if len(items) == 1 and (match := _TRANSISTOR.match(items[0])):
        ref = match[0].rstrip(" =").upper()
        _one_transistor(parts, "" if ref == "TRANSISTOR" else ref)
        parts.transistor_words = items[0][match.end() :]
        return []
    if len(items) < 2:
        raise InputError(f'found "{line}"; allowed: nodes and parts with " - " between: {CIRCUIT}')
    steps = [_step(item, line, parts) for item in items]
    for item, step in zip(items, steps, strict=True):
        if not step.is_part:
            parts.points[item.lower()] = step.name
    for end, step in (("begins", steps[0]), ("ends", steps[-1])):
        if step.is_part:
            found = f'a line that {end} at {step.name}: "{line}"'
            nodes = f"{', '.join(NODES[:5])} or a name of your own"
            raise InputError(f"found {found}; allowed: a node at both ends, such as {nodes}")
    return steps


def _require_plain_letters(parts: _Parts, paths: Sequence[Sequence[Step]], feed: Any) -> None:
    """Refuse ``n`` and ``l`` for the mains where they may be names of the technician's own."""
    switched = isinstance(feed, Mapping) and same_word(feed.get("kind"), "switched")
    wires = [(a.name, b.name) for p in paths for a, b in pairwise(p) if not a.is_part | b.is_part]
    for letter, partner in (("n", "p"), ("l", "")):
        node = _SPELT[letter]
        if letter not in parts.points:
            continue
        others = [word for word, name in parts.points.items() if name == node and word != letter]
        if letter == "l" and not switched and "feed" in parts.points:
            others.append("feed")
        others += [word for word in (partner,) if word in parts.points]
        ends = (end for wire in wires if node in wire for end in wire)
        others += [end for end in ends if _TERMINAL.fullmatch(end) and end[-1] in "+-"]
        if others:
            raise InputError(
                f'found the points "{letter}" and "{others[0]}"; allowed: "{node}" in place of '
                f'"{letter}" if it is the {node} of the mains, or a longer name, such as '
                f'"{letter}1", if it is a point of your own'
            )


def _step(item: str, line: str, parts: _Parts) -> Step:
    """One item of a line."""
    lower = item.lower()
    if lower in NODES or lower in _SPELT:
        return Step(_SPELT.get(lower, lower))
    if match := _COUPLER_LED.fullmatch(lower):
        return Step("led-" if match[1] in ("-", "cathode") else "led+")
    _require_on_path(item)
    if match := _LEAD.fullmatch(item):
        _one_transistor(parts, (match[1] or match[3] or match[4] or "").upper())
        first = (match[2] or match[5])[0].lower()
        return Step(next(lead for lead in LEADS if lead[0] == first))
    if match := _TERMINAL.fullmatch(item):
        ref, side = f"{match[1].upper()}{match[2]}", match[3].replace(" ", "")
        return Step(f"{ref}~{_SIDES[side[1:].lower()]}" if side[0] == "~" else f"{ref}{side}")
    words = item.split()
    arrows = [word for word in words if word in _ARROWS]
    words = [word for word in words if word not in _ARROWS]
    ref = words[0].upper() if words and is_reference(words[0]) else ""
    letters = re.sub("[^A-Z].*", "", ref)
    _require_modelled(item, ref if len(words) > 1 or letters in ("Q", "TR", "VT") else "")
    kind = _KINDS.get(letters, "") if ref else ""
    marking = " ".join(words[1:] if kind else words)
    if not kind:
        if not arrows and (_NODE.fullmatch(item) or _JOINT.fullmatch(item)):
            return Step(item.upper() if "/" in item else item)
        kind = _kind_of(marking, bool(arrows))
        if not kind:
            known = (
                "R7 82k, C2 10n, D1 1N4007 >, ZD1 5V1 <, a bridge's terminal BR1~1 (what it is "
                'in a line of its own: "BR1 MB6S"), or a node\'s name'
            )
            near = nearest(item, NODES) if len(item) <= LONGEST_NODE else ""
            raise InputError(f'found "{item}" in "{line}"; allowed: such as {known}{near}')
        ref = parts.free(kind)
    elif kind == "bridge":
        raise InputError(
            f'found "{item}" in a path; allowed: its terminals {ref}~1, {ref}~2, {ref}+ and {ref}-,'
            f' and what it is in a line of its own: "{ref} DB107"'
        )
    if not marking:
        example = {"resistor": "82k", "capacitor": "10n", "diode": "1N4007"}[kind]
        raise InputError(
            f'found {ref} without a value; allowed: "{ref} {example}", or "?" for one that '
            f'nobody can read; a point needs a name unlike a part\'s, such as "x{ref[1:].lower()}"'
        )
    if kind == "diode" and len(arrows) != 1:
        raise InputError(
            f"found {ref} without a direction; allowed: > or < behind {marking}: the arrow points "
            "to its cathode, where the ring is"
        )
    if kind != "diode" and arrows:
        raise InputError(f"found {ref} with an arrow; allowed: > and < at diodes only")
    parts.put(ref, kind, marking)
    return Step(ref, is_part=True, backwards=bool(arrows) and _ARROWS[arrows[0]])


def _require_on_path(item: str) -> None:
    """Refuse what is another point of the board, with the word for it here."""
    lower = item.lower()
    if lower in ("led", "led1", "led2", "oc1.led") or _COUPLER_PIN.fullmatch(lower):
        led = "led2" if lower == "led2" else "led"
        raise InputError(
            f'found "{item}"; allowed: {led}+ (the anode, mostly pin 1) or {led}- (the cathode, '
            "mostly pin 2), at the end of one line and the start of another"
        )
    if _CONTACT.fullmatch(lower):
        raise InputError(
            f'found "{item}"; allowed: feed, the point behind it, where the line begins: '
            '"feed - R1 68k - ...", with feed = {kind = "switched"}'
        )
    if _COUPLER_OUTPUT.fullmatch(lower):
        raise InputError(f'found "{item}"; allowed: {CONTROLLER_SIDE}')
    if lower == "gpio":
        raise InputError(f"found a path to {item}; allowed: {INTO_PIN}")


def _require_modelled(item: str, ref: str) -> None:
    """Refuse a part on a path that is none, by its letters."""
    letters = re.sub("[^A-Z].*", "", ref)
    if letters in ("Q", "T", "TR", "VT"):
        raise InputError(
            f'found "{item}"; allowed: {ref}.b, {ref}.c and {ref}.e (base, collector, emitter) at '
            f'the ends of lines, and what it is in a line of its own: "{ref} BC847". Only a '
            "transistor between the chain and the controller's pin is modelled"
        )
    if _COUPLER_ON_PATH.fullmatch(item):
        raise InputError(
            f'found "{item}"; allowed: one optocoupler, or two of the same type with references of '
            "their own, and no key optocoupler beside them"
        )
    if letters in _REFUSED:
        allowed = "resistors, capacitors, diodes, zeners and bridges"
        raise InputError(f'found "{item}"; allowed: {allowed}; {_REFUSED[letters]}')


def _one_transistor(parts: _Parts, ref: str) -> None:
    """Keep the reference of the transistor; refuse a second one."""
    if ref and parts.transistor not in ("", ref):
        raise InputError(
            f"found two transistors, {parts.transistor} and {ref}; allowed: one, whose base the "
            "chain leads into and whose collector is the pin"
        )
    parts.transistor = ref or parts.transistor


def _kind_of(marking: str, arrow: bool) -> str:
    """What a part without a reference is; empty where that cannot be told."""
    if arrow:
        return "diode"
    if _FARADS.fullmatch(marking):
        return "capacitor"
    return "resistor" if _OHMS.fullmatch(marking) and not marking.isdecimal() else ""


def _require_sound(links: Sequence[Link], aliases: Mapping[str, str], parts: _Parts) -> None:
    """Refuse parts on themselves, nodes at one part only, bridges that are not described."""
    for link in links:
        if link.a == link.b:
            raise InputError(f"found {link.ref} with both ends at {link.a}; allowed: two nodes")
    ends = Counter(node for link in links for node in (link.a, link.b))
    wired = set(aliases.values())
    named = [node for node in ends if node not in NODES and AUTOMATIC not in node]
    for node in named:
        if match := _TERMINAL.fullmatch(node):
            ref = f"{match[1]}{match[2]}"
            if ref not in parts.kinds:
                raise InputError(f'found {node}; allowed: with a line "{ref} DB107" of its own')
        elif ends[node] < 2 and node not in wired:
            others = (*NODES, *(other for other in named if other != node))
            allowed = f"two parts or more at it{nearest(node, others)}"
            raise InputError(f"found one part only at node {node}; allowed: {allowed}")
    _require_mains(links, aliases, parts)


def _require_mains(links: Sequence[Link], aliases: Mapping[str, str], parts: _Parts) -> None:
    """Refuse parts that no path joins to the mains; LED, supply and transistor join their ends."""
    pairs = (("led+", "led-"), ("led2+", "led2-"), ("logic+", "logic0"), ("base", "emitter"))
    inside = [Link("", *ends) for ends in (*pairs, ("collector", "emitter"))]
    every = [*links, *_legs(parts), *inside]
    nodes = [{aliases.get(node, node) for node in (link.a, link.b)} for link in every]
    for group in joined_nodes(nodes):
        refs = [link.ref for link in links if aliases.get(link.a, link.a) in group]
        refs += [ref for ref in parts.of("bridge") if aliases.get(f"{ref}+", f"{ref}+") in group]
        if refs and group.isdisjoint(("feed", "line", "neutral")):
            raise InputError(
                f"found {some_of(refs)} joined to no mains point; allowed: a path from there to "
                "feed, line or neutral (leave out what is not on the mains side)"
            )


def _legs(parts: _Parts) -> Iterator[Link]:
    """The four diodes of each bridge."""
    for ref, kind in parts.kinds.items():
        if kind == "bridge":
            ends = (("~1", "+"), ("~2", "+"), ("-", "~1"), ("-", "~2"))
            for leg, (a, b) in zip(leg_refs(ref, ""), ends, strict=True):
                yield Link(leg, f"{ref}{a}", f"{ref}{b}")


def _blocking(parts: _Parts) -> Iterator[str]:
    """Links of diodes that are no zeners."""
    for ref in parts.of("diode", "bridge"):
        own = diode_by_words(parts.words[ref])
        if parts.kinds[ref] == "bridge":
            yield from leg_refs(ref, "")
        elif not (re.match("Z|DZ", ref) or (own is not None and own.kind == ZENER)):
            yield ref


def _resistors(reader: Reader, parts: _Parts, style: Any) -> dict[str, ResistorTable]:
    """What is printed on each resistor; one that nobody can read has a likely value."""
    read: dict[str, Any] = {}
    for ref in parts.of("resistor"):
        item = resistor_as_printed(reader, parts.words[ref], f"{KEY}.{ref}", style)
        read[ref] = item if isinstance(item, dict) else {"value": item}
        if reader.chain_power is not None:
            read[ref] = with_power(item, reader.chain_power)
        if reader.written_power is not None:
            read[ref] = {"power": reader.written_power, **read[ref]}
    unknown = [ref for ref in read if f"{KEY}.{ref}" in reader.unknown]
    for ref in unknown:
        key, order = f"{KEY}.{ref}", list(read)
        near = sorted(order, key=lambda other: abs(order.index(other) - order.index(ref)))
        known = [
            ohm
            for other in near
            if other not in unknown
            if (ohm := ohm_of(read[other]["value"])) is not None
        ]
        ohm, why, reader.unknown[key] = likely_ohm(
            reader.value, reader.unknown[key], known, len(unknown)
        )
        reader.note(key, parts.words[ref], why)
        read[ref] = {**read[ref], "value": ohm}
    return {ref: _valid(ResistorTable, {**item, "ref": ref}) for ref, item in read.items()}


def _valid(table: type[Any], item: Mapping[str, Any]) -> Any:
    """A table of a part; what is wrong with it is said with its reference."""
    result, lines = validate(table, item)
    if lines:
        _, _, found = lines[0].partition(": ")
        raise InputError(f"{item['ref']}: {found}")
    return result


def _diode(reader: Reader, ref: str, parts: _Parts) -> DiodeTable:
    """What a diode, a zener or a bridge is, by its marking."""
    words, as_zener = parts.words[ref], f"{parts.words[ref]} zener"
    if nobody_knows(words) and parts.kinds[ref] == "bridge":
        words = "bridge"
    elif re.match("Z|DZ", ref) and (diode_by_words(as_zener) or nobody_knows(words)):
        words = as_zener
    name = diode_as_printed(reader, words, f"{KEY}.{ref}")
    if name == as_zener and diode_by_words(name) is None:
        raise InputError(f'found "{ref} {parts.words[ref]}"; allowed: its voltage: "{ref} 5V1"')
    if table_part(name) is None and diode_by_words(name) is None:
        raise InputError(
            f'found "{ref} {parts.words[ref]}"; allowed: a known diode such as "1N4007", '
            f"{DIODE_IN_WORDS}"
        )
    return DiodeTable(part=name, ref=ref)


def _capacitor(reader: Reader, ref: str, parts: _Parts) -> float:
    """The capacitance that is printed on a capacitor. [F]"""
    given = capacitor_as_printed(reader, parts.words[ref], f"{KEY}.{ref}")
    try:
        return parse_quantity(given, CAPACITANCE)
    except InputError as error:
        raise InputError(f"{ref}: {error}") from None
