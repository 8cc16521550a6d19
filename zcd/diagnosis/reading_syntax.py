"""A reading as a person writes it: ``dc pin logic0 4.98 V``, ``ohm R2 lifted over 1M``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from math import inf, log

import numpy as np

from zcd.board.units import (
    format_si,
    format_si_span,
    nearest,
    parse_quantity,
    require_length,
    require_part,
)
from zcd.circuit.elements import (
    Circuit,
    Junction,
    Phototransistor,
    Resistance,
    Transistor,
    TwoNode,
    is_hidden,
)
from zcd.circuit.points import PART_ENDINGS
from zcd.diagnosis.functions import FUNCTIONS, NAMES, OVERLOAD_WORDS, Function
from zcd.diagnosis.reading_words import LIFTED_ENDS
from zcd.diagnosis.readings import (
    Measured,
    Power,
    Reading,
    check_reading,
    check_shown,
    parts_between,
    usual_power,
    with_own_names,
)
from zcd.engine.network import islands
from zcd.errors import InputError, invalid_value, plain

NOTHING_WORDS = ("nothing", "none", "no reading", "nil")
UNSTABLE_WORDS = ("unstable", "unsteady", "jumps", "jumping", "jumps about", "flickers")
_DECIMAL_COMMA = re.compile(r"(?<=\d),(?=\d{1,2}(?!\d)|\d{4,})")
"""A comma between digits, unless it may part thousands."""
ZERO_V = 0.05
"""How far below zero a display without a sign may stand; common practice, no source."""
_ABOUT = re.compile(r"(?:(?:about|around|approx\.?|ca\.?)\s+|~\s*)(?P<value>.+)")
_BOUNDS = (
    (re.compile(r"(?:<=?\s*|(?:under|below|less than)\s+)(?P<value>.+)"), True),
    (re.compile(r"(?:>=?\s*|(?:over|above|more than)\s+)(?P<value>.+)"), False),
    (re.compile(r"(?:ol|overload)\s+(?:on|at|in)\s+(?:the\s+)?(?P<value>.+?)(?:\s+range)?"), False),
)
_RANGE = re.compile(r"(?P<low>.+?)\s*(?:\.\.+|…|–|\bto\b|\s-\s)\s*(?P<high>.+)")

GROUND = "logic0"
"""What a lone point on the controller's side is measured against."""
_SERIES = re.compile(
    r"(?P<first>\S+?)(?:\s+(?:to|and)\s+|\s*(?:-|–|\+|\.\.+|…)\s*)(?P<last>\S+)(?:\s+(?P<rest>.*))?",
    re.IGNORECASE,
)
_NODE_SYNONYMS = {
    "gnd": "logic0", "ground": "logic0", "0v": "logic0", "vcc": "logic+",
    "l": "line", "phase": "line", "n": "neutral",
}  # fmt: skip
_LONE_PIECES = {
    "(?:relay )?coil": ".coil",
    "(?:relay )?contact": ".contact",
    "(?:opto )?LED": ".led",
}
"""Pieces that are named without their part, where the board has one of them."""
_STATES = {
    "on a bench supply": Power.BENCH, "bench supply": Power.BENCH, "on bench": Power.BENCH,
    "relay off": Power.OFF, "relay on": Power.LIVE, "live": Power.LIVE,
    "unplugged": Power.DEAD, "dead": Power.DEAD,
}  # fmt: skip
_STATE = re.compile(
    rf"(?<=\s)({'|'.join(_STATES)})(?=\s|$)".replace(" ", "[ -]"),
    re.IGNORECASE,
)
"""State of the board in a line: words that are in no value and no node."""

_REMARK = re.compile(r"\([^()]*\)")
_FUNCTION_WORDS = {
    _REMARK.sub("", words).strip().lower(): function
    for function, row in FUNCTIONS.items()
    for words in (str(function), row.words, row.words_off_pin)
    if " " in words
}
"""Functions in several words, as people write them and as the output names them."""
_FUNCTION = re.compile(
    rf"\A\s*({'|'.join(sorted(_FUNCTION_WORDS, key=len, reverse=True))})(?=[\s,:]|$)", re.IGNORECASE
)
_ANY_VALUE = "0"
RANGE_RATIO = 2.0
"""Within so much of a part's value, bare ohms are taken for those of a range left out."""
FAR_BELOW_RATIO = 1e-2
MOST_SHORT_OHM = 10.0
"""Bare ohms below this share of what is measured need their unit, but those of a short:
common practice, no source."""
_BARE = re.compile(r"\d+(\.\d+)?")
_LONE_ONE = re.compile(r"1 ?\.?")
_SHARE_HIGH = re.compile(r"(?P<value>.*\S) high")
_RED_BLACK = re.compile(
    r"(?P<over>.*)\bred (on )?(?P<red>\S+) black (on )?(?P<black>\S+)(?P<rest>.*)"
)


def parse_shown(
    value: object, reading: Reading, key: str = "", circuit: Circuit | None = None
) -> Measured:
    """Read what a meter showed at a reading, as a person says it.

    Parameters
    ----------
    value : object
        A value (``4.98 V``, ``OL``), a rough one (``about 230 V``), a range (``190 to 260 V``,
        ``190..260``), a bound (``< 5 V``, ``over 1M``, ``OL on 2M``), ``nothing`` or
        ``unstable``.
    reading : Reading
    key : str, optional
        Where it stood, for the message.
    circuit : Circuit, optional
        To refuse what cannot be there, such as a pulse longer than the mains period.

    Returns
    -------
    Measured

    Raises
    ------
    InputError
        If it is nothing of these.

    Examples
    --------
    >>> pin = Reading(function=Function.DC, red="pin", black="logic0")
    >>> value = parse_shown("2.5..3 V", pin)
    >>> value.low, value.high
    (2.5, 3.0)
    """
    require_length(value, key)
    measured = _shown(value, reading, key)
    if circuit is not None:
        check_shown(circuit, measured, key)
        _check_prefix(value, measured, circuit, key)
    return measured


def _check_prefix(value: object, measured: Measured, circuit: Circuit, key: str) -> None:
    """Refuse bare ohms far below what is measured: a k or M was probably left out."""
    number, reading = str(value).strip(), measured.reading
    if reading.function is not Function.OHM or not _BARE.fullmatch(number):
        return
    parts = [circuit[ref] for ref in parts_between(circuit, reading.red, reading.black)]
    row = [part.resistance_ohm for part in parts if isinstance(part, Resistance)]
    total_ohm = float(np.max(np.sum(np.broadcast_arrays(*row), axis=0))) if row else 0.0
    if len(row) < len(parts) or not 0.0 < measured.value < FAR_BELOW_RATIO * total_ohm:
        return
    away = {p: abs(log(measured.value * f / total_ohm)) for p, f in (("k", 1e3), ("M", 1e6))}
    prefix = min(away, key=lambda p: away[p])
    if measured.value >= MOST_SHORT_OHM or away[prefix] < log(RANGE_RATIO):
        raise invalid_value(value, f'"{number}{prefix}", or "{number} ohm" if it shows that', key)


def _shown(given: object, reading: Reading, key: str) -> Measured:
    text = given.strip().lower() if isinstance(given, str) else ""
    if reading.function.row.overload_words and _LONE_ONE.fullmatch(text):
        raise invalid_value(
            given, 'OL for a lone 1 on the left of the display (over range), or "1 ohm"', key
        )
    if text in UNSTABLE_WORDS:
        return Measured(reading=reading, value=0.0, unstable=True)
    if text in NOTHING_WORDS:
        return _nothing(given, reading, key)
    for pattern, ends in _BOUNDS:
        if bound := pattern.fullmatch(text):
            value = parse_value(_as_written(given, bound), reading.function, key)
            return Measured.between(reading, *((-inf, value) if ends else (value, inf)))
    if rough := _ABOUT.fullmatch(text):
        value = parse_value(_as_written(given, rough), reading.function, key)
        return Measured(reading=reading, value=value, about=True)
    if two := _RANGE.fullmatch(str(given).strip()) if text else None:
        return _range(two["low"], two["high"], reading, key)
    if reading.function is Function.DUTY and (high := _SHARE_HIGH.fullmatch(text)):
        value = 1.0 - parse_value(_as_written(given, high), reading.function, key)
    else:
        value = parse_value(given, reading.function, key)
    return Measured(reading=reading, value=value)


def _as_written(value: object, match: re.Match[str]) -> str:
    """The value behind a word, in the case in which it was written."""
    return str(value).strip()[slice(*match.span("value"))]


def _nothing(value: object, reading: Reading, key: str) -> Measured:
    """The meter shows nothing."""
    row = reading.function.row
    if row.nothing is None:
        raise invalid_value(value, f"what the display shows: {row.kind.allowed()}", key)
    if isinstance(row.nothing, tuple):
        return Measured.between(reading, *row.nothing)
    return Measured(reading=reading, value=row.nothing)


def _range(low: str, high: str, reading: Reading, key: str) -> Measured:
    """Two ends; a unit or prefix that only the second has goes for both."""
    if re.fullmatch(r"[-+]?[\d.]+", low) and (unit := re.search(r"[^\d.+-]+$", high)):
        low += unit[0]
    ends = sorted(parse_value(end, reading.function, key) for end in (low, high))
    return Measured.between(reading, ends[0], ends[1])


def parse_value(value: object, function: Function, key: str = "") -> float:
    """Read one value, SI; ``OL`` on ohms and diode test is beyond the range.

    Parameters
    ----------
    value : object
        Text or plain number.
    function : Function
    key : str, optional
        Where it stood, for the message.

    Returns
    -------
    float

    Raises
    ------
    InputError
        If it is not such a value.
    """
    require_length(value, key)
    if isinstance(value, str) and value.count(",") == 1:  # more are none of decimals
        value = _DECIMAL_COMMA.sub(".", value)
    text = value.strip().lower() if isinstance(value, str) else ""
    row = function.row
    if text in row.overload_words:
        return inf
    if text in OVERLOAD_WORDS:
        ranged = ', or with its range: "OL on 60 V"' if row.volts else ""
        raise invalid_value(value, f"{row.kind.allowed()}{ranged}", key)
    if row.unsigned:
        with suppress(InputError):
            return max(parse_quantity(value, replace(row.kind, low=-ZERO_V), key), 0.0)
    return parse_quantity(value, row.kind, key)


def parse_function(value: object, key: str = "") -> Function:
    """Read a function's name; ``low-time`` and ``low time`` are the same, ``vdc`` is ``dc``."""
    text = " ".join(str(value).lower().replace("-", " ").replace("_", " ").split())
    if text not in NAMES:
        names = tuple(str(f) for f in Function)
        raise invalid_value(value, f"one of {', '.join(names)}{nearest(text, names)}", key)
    return NAMES[text]


def make_reading(
    function: Function,
    red: str,
    black: str,
    circuit: Circuit,
    key: str = "",
    lifted: str = "",
    power: Power | None = None,
) -> Reading:
    """A reading at nodes that the board has, under the names they have in its element list."""
    power = usual_power(function) if power is None else power
    red, black = joint(red, circuit), joint(black, circuit)
    try:
        check_reading(
            circuit, Reading(function=function, red=red, black=black, lifted=lifted, power=power)
        )
    except InputError as error:
        raise InputError(f"{key}{': ' if key else ''}{error}") from None
    red, black = circuit.node(red), circuit.node(black)
    reading = Reading(function=function, red=red, black=black, lifted=lifted, power=power)
    return with_own_names(reading, circuit)


def find_part(ref: str, circuit: Circuit, function: Function | None = None) -> TwoNode | None:
    """A part by its marking, so that ``ohm R2 82k`` needs no node names; None if there is none.

    A diode test over an optocoupler is one of its LED.
    """
    wanted = ref.casefold()
    if function is Function.DIODE and any(e.ref.casefold() == f"{wanted}.led" for e in circuit):
        wanted = f"{wanted}.led"
    transistors = [e.ref.casefold() for e in circuit.of(Transistor)]
    if function is Function.DIODE and wanted in transistors:
        allowed = '"diode base emitter", "diode base pin", or both the other way round'
        raise invalid_value(f"diode {ref}", allowed)
    parts = (e for e in circuit if isinstance(e, TwoNode) and not is_hidden(e))
    return next((e for e in parts if e.ref.casefold() == wanted), None)


def parse_reading(text: str, circuit: Circuit, key: str = "") -> Measured:
    """Read one line of a prompt: function, probes, value.

    Parameters
    ----------
    text : str
        Red and black probe as nodes, ``dc pin logic0 4.98 V``, or over a part, ``ohm R2 82k``,
        or over parts in series, ``ohm R1 to R3 OL``; ``R1/R2`` is the point where two parts meet;
        with ``reversed`` for probes the other way round and ``lifted`` where one end of it is
        lifted; a point of the controller's side alone is measured against its ground, ``dc pin
        4.98 V``; readings of pulses at the pin may leave the probes out, ``frequency 50 Hz``; the
        state of the board where it is not the usual one, ``dc pin logic0 relay off 0.1 V``.
    circuit : Circuit
        Says which nodes and parts there are.
    key : str, optional
        Where it stood, for the message.

    Returns
    -------
    Measured

    Raises
    ------
    InputError
        One line: what was found, what is allowed.
    """
    reading, rest = _place(text, circuit, key)
    if reading is None or not rest:
        raise invalid_value(
            text, 'function, red probe, black probe (or a part), value: "dc pin logic0 4.98 V"', key
        )
    return parse_shown(rest, reading, key, circuit)


def as_measured(taken: Sequence[str | Measured], circuit: Circuit) -> tuple[Measured, ...]:
    """Readings, those that are text read.

    Raises
    ------
    InputError
        If one of them is neither.
    """
    for each in taken:
        if not isinstance(each, str | Measured):
            raise invalid_value(
                each, 'readings one by one: "dc pin 4.98 V", "ohm R2 OL"', "reading"
            )
    return tuple(
        parse_reading(each, circuit, f'reading "{each[:60]}"') if isinstance(each, str) else each
        for each in taken
    )


def parse_places(texts: Sequence[str], circuit: Circuit) -> tuple[Reading, ...]:
    """What to measure where, each as `parse_place` reads it."""
    return tuple(parse_place(text, circuit, f'reading "{text[:60]}"') for text in texts)


def parse_place(text: str, circuit: Circuit, key: str = "") -> Reading:
    """Read what to measure where, without a value: ``dc pin logic0``, ``dc pin``, ``ohm R2``.

    Parameters
    ----------
    text : str
    circuit : Circuit
        Says which nodes and parts there are.
    key : str, optional
        Where it stood, for the message.

    Returns
    -------
    Reading

    Raises
    ------
    InputError
        One line: what was found, what is allowed.
    """
    reading, rest = _place(text, circuit, key)
    if reading is None:  # of a point alone, as where a value is behind it
        reading, rest = _place(f"{text} {_ANY_VALUE}", circuit, key)
        rest = rest.removesuffix(_ANY_VALUE)
    if reading is None or rest:
        raise invalid_value(
            text, 'a function and a place, without a value: "dc pin logic0", "ohm R1"', key
        )
    return reading


def place_text(reading: Reading, circuit: Circuit) -> str:
    """What to measure where, as a person writes it; `parse_place` reads it back.

    Examples
    --------
    >>> from zcd.circuit.elements import Circuit
    >>> pin = Reading(function=Function.LOW_Z, red="feed", black="neutral")
    >>> place_text(pin, Circuit(elements=()))
    'low z feed neutral'
    """
    words = [str(reading.function)]
    if reading.lifted:
        turned = circuit[reading.lifted].nodes[0] != circuit.node(reading.red)
        words += [reading.lifted, "reversed" if turned else "", "lifted"]
    else:
        words += [reading.red, reading.black]
    if reading.power is not usual_power(reading.function):
        words.append(str(reading.power))
    return " ".join(word for word in words if word)


def _place(text: str, circuit: Circuit, key: str) -> tuple[Reading | None, str]:
    """The reading that a line begins with, None where it ends early; and what is left of it."""
    require_length(text, key)
    line, power = _without_state(_joined(text), text, key)
    words = [_NODE_SYNONYMS.get(word.lower(), word) for word in line.split()]
    words = _with_function(_pieces(words, circuit), circuit)
    words = _as_typed([joint(word, circuit) for word in words], circuit)
    if not words:
        raise invalid_value(text, 'a reading such as "dc pin logic0 4.98 V"', key)
    if words[0].lower() not in NAMES:
        require_part(words[0], (e.ref for e in circuit), f"{key}: " if key else "")
        _refuse_without_function(words, circuit, key)
    function = parse_function(words[0], key)
    nodes, rest, lifted = _probes(function, words[1:], circuit, key)
    if len(nodes) < 2:
        return None, ""
    reading = make_reading(function, nodes[0], nodes[1], circuit, key, lifted, power)
    return reading, " ".join(rest)


def _refuse_without_function(words: list[str], circuit: Circuit, key: str) -> None:
    """Say what is missing where a line begins with its points, or with its value."""
    line = plain(" ".join(words))
    where = f"{key}: " if key else ""
    if _begins_at_a_node(words, circuit):
        ends = {
            circuit.node(each) for each in words[:2] if each in (*circuit.nodes, *circuit.aliases)
        }
        lit = any({*part.nodes} == ends for part in circuit.of(Junction))
        usual = ("dc", "frequency") if words[0] == "pin" else ("diode" if lit else "ac", "dc")
        either = " or ".join(f'"{function} {line}"' for function in usual)
        raise InputError(f"{where}which function? Write {either}")
    if words[0][0].isdigit() or words[0].lower() in OVERLOAD_WORDS:
        raise InputError(f'{where}measured where? Write "dc pin logic0 4.98 V" or "ohm R1 OL"')


def _pieces(words: list[str], circuit: Circuit) -> list[str]:
    """Pieces of parts as the output names them, ``K1 coil``, by their references or points."""
    line = " ".join(words)
    for element in circuit:
        for ending, suffix in PART_ENDINGS.items():
            if element.ref.endswith(suffix) if suffix else isinstance(element, Phototransistor):
                name = element.ref.removesuffix(suffix) + ending
                place = element.ref if suffix else " ".join(element.nodes)
                line = re.sub(rf"(?i)(?<!\S){re.escape(name)}(?!\S)", place, line)
    for word, suffix in _LONE_PIECES.items():
        own = [e.ref for e in circuit if e.ref.endswith(suffix)]
        if len(own) == 1:
            line = re.sub(rf"(?i)(?<!\S)(?:the\s+)?{word}(?!\S)", own[0], line)
    return line.split()


def _as_typed(words: list[str], circuit: Circuit) -> list[str]:
    """A line as the output prints it (``ohms across R2``, ``red on feed, black on R1/R2``) in the
    order in which readings are typed."""
    line = " ".join(words[1:]).replace("one end lifted", "lifted")
    for end in LIFTED_ENDS:
        line = line.replace(end, end.replace(" ", "_"))
    if probes := _RED_BLACK.fullmatch(line):
        red, black, over = probes["red"], probes["black"], probes["over"].split()
        line = f"{red} {black} {probes['rest']}"
        if "lifted" in over and (part := find_part(over[-2], circuit)) is not None:
            plain_end, ring_end = (end.replace(" ", "_") for end in LIFTED_ENDS)
            at = {plain_end: part.nodes[0], ring_end: part.nodes[1]}.get(red) or circuit.node(red)
            turned = "" if at == part.nodes[0] else "reversed"
            line = f"{part.ref} {turned} lifted {probes['rest']}"
    rest = line.split()
    over = len(rest) > 1 and rest[0].lower() in ("over", "across")
    if over and (_named_part(rest[1], circuit) or _begins_at_a_node(rest[1:], circuit)):
        rest = rest[1:]
    return words[:1] + rest


def joint(word: str, circuit: Circuit) -> str:
    """The point where two parts meet, written ``R1/R2``; other words as they are."""
    first, slash, second = word.partition("/")
    if not slash or (a := find_part(first, circuit)) is None:
        return word
    b = find_part(second, circuit)
    if b is None and circuit.aliases.get(second) in a.nodes:
        return second
    common = [] if b is None else [node for node in a.nodes if node in b.nodes]
    return common[0] if len(common) == 1 else word


def _with_function(words: list[str], circuit: Circuit) -> list[str]:
    """A line that begins with a part: ohms over a resistor, a diode test over a junction; volts
    at the pin are DC, hertz a frequency."""
    if not words or words[0].lower() in NAMES:
        return words
    part = _named_part(words[0], circuit)
    if part is None:
        unit = re.search(r"[\d\s](m?V|k?Hz)$", " ".join(words))
        if words[0].lower() != "pin" or unit is None:
            return words
        function = Function.DC if unit[1].endswith("V") else Function.FREQUENCY
        return [function.value, *words]
    function = Function.OHM if isinstance(part, Resistance) else Function.DIODE
    return [function.value, *words]


def _named_part(word: str, circuit: Circuit) -> TwoNode | None:
    """The part that a word begins with: ``R1``, ``R1-R3``, ``pull-up``."""
    for name in (word, re.split(r"[-–+…]|\.\.", word)[0]):
        part = find_part(name, circuit) or find_part(name, circuit, Function.DIODE)
        if part is not None:
            return part
    return None


def _without_state(line: str, text: str, key: str) -> tuple[str, Power | None]:
    """A line without the words on the state of the board, and that state."""
    result = {_STATES[each.lower().replace("-", " ")] for each in _STATE.findall(line)}
    if len(result) > 1:
        raise invalid_value(text, "one state of the board", key)
    return _STATE.sub(" ", line), result.pop() if result else None


def parse_power(value: object, key: str = "") -> Power:
    """Read a state of the board: ``dead``, ``bench supply``, ``relay off``, ``live``."""
    text = " ".join(str(value).lower().replace("-", " ").replace("_", " ").split())
    if text not in _STATES:
        names = tuple(str(p) for p in Power)
        raise invalid_value(value, f"one of {', '.join(names)}{nearest(text, names)}", key)
    return _STATES[text]


def _probes(
    function: Function, words: list[str], circuit: Circuit, key: str
) -> tuple[list[str], list[str], str]:
    """Both nodes (fewer where the words end early), the words left, the lifted part."""
    if stretch := _stretch(words, circuit, key):
        return stretch
    part = find_part(words[0], circuit, function) if words else None
    rest, nodes, lifted = words, ["pin", GROUND], ""
    if part is None and words:
        require_part(words[0], (e.ref for e in circuit), f"{key}: " if key else "")
    if part is not None:
        said = {word.lower() for word in rest}
        nodes = list(part.nodes)[:: -1 if "reversed" in said else 1]
        lifted = part.ref if "lifted" in said else ""
        rest = [word for word in rest[1:] if word.lower() not in ("reversed", "lifted")]
        if rest and find_part(rest[0], circuit) is not None:
            both = f"{part.ref} {rest[0]}"
            raise invalid_value(both, f'"{part.ref} to {rest[0]}" for both in series', key)
    elif _lone(function, words, circuit):
        nodes, rest = [words[0], _reference(words[0], function, circuit, key)], words[1:]
    elif not function.row.pulses or _begins_at_a_node(rest, circuit):
        if len(rest) > 2 and rest[1].lower() in ("to", "and"):
            rest = [rest[0], *rest[2:]]
        nodes, rest = rest[:2], rest[2:]
        if rest and rest[0].lower() == "reversed":
            nodes, rest = nodes[::-1], rest[1:]
        if len(nodes) == 2 and function.row.pulses and _BARE.fullmatch(nodes[1]):
            raise invalid_value(nodes[1], function.row.kind.allowed(), key)
    return nodes, rest, lifted


def _stretch(
    words: list[str], circuit: Circuit, key: str
) -> tuple[list[str], list[str], str] | None:
    """Probes at the outer ends of parts in series, ``R1 to R3``; None where no two are named."""
    line = _SERIES.fullmatch(" ".join(words))
    if line is None:
        return None
    first, last = (find_part(line[name], circuit) for name in ("first", "last"))
    if first is None or last is None:
        return None
    ways = [(a, b) for a in first.nodes for b in last.nodes]
    rows = {way: parts_between(circuit, *way) for way in ways}
    ends = next(
        (way for way, row in rows.items() if row[:1] == (first.ref,) and row[-1:] == (last.ref,)),
        None,
    )
    if first is last or ends is None:
        given = f"{line['first']} to {line['last']}"
        raise invalid_value(
            given, f'two parts in series, one part ("{first.ref}"), or two points', key
        )
    rest = (line["rest"] or "").split()
    turned = "reversed" in map(str.lower, rest)
    return list(ends)[:: -1 if turned else 1], [w for w in rest if w.lower() != "reversed"], ""


def _lone(function: Function, words: list[str], circuit: Circuit) -> bool:
    """Whether one point stands alone: what is behind it is a value."""
    if len(words) < 2 or not _begins_at_a_node(words, circuit):
        return False
    if _begins_at_a_node(words[1:], circuit):
        return False
    anywhere = Reading(function=function, red="pin", black=GROUND)
    with suppress(InputError):
        _shown(" ".join(words[1:]), anywhere, "")
        return True
    return False


def _reference(node: str, function: Function, circuit: Circuit, key: str) -> str:
    """What a lone point is measured against: the controller's ground, on its side."""
    own = circuit.node(node)
    if node == "pin" or (
        own != GROUND and any({own, GROUND} <= island for island in islands(circuit))
    ):
        return GROUND
    other = "pin" if own == GROUND else "neutral"
    if own == circuit.node(other):
        other = "line"
    raise invalid_value(node, f'a second point too: "{function} {node} {other} ..."', key)


def _begins_at_a_node(words: list[str], circuit: Circuit) -> bool:
    """Whether the next word is a node, so that a value cannot be meant."""
    return bool(words) and words[0] in (*circuit.nodes, *circuit.aliases)


def _joined(text: str) -> str:
    """The line with a function of several words as one, without remarks and commas for the eye."""
    line = _FUNCTION.sub(
        lambda name: _FUNCTION_WORDS[name[1].lower()].replace(" ", "-"), _REMARK.sub(" ", text), 1
    )
    line = re.sub(r"^(\s*(?:\w+\s+)?[\w+.-]+)\s*=\s*(?=[\w.])", r"\1 ", line)
    line = re.sub(r"(?i)\bpull[ _]?(up|down)\b", r"pull-\1", line)
    return re.sub(r"[,:](?=\s)", " ", line)


def show_value(function: Function, value: float, digits: int = 3) -> str:
    """A reading's value as a meter shows it."""
    row = function.row
    if value == inf:
        return row.overload
    if abs(value) < row.least_shown:
        value = 0.0
    return format_si(value, row.unit, digits=digits)


def show_span(function: Function, low: float, high: float) -> str:
    """From one value to another as a meter shows them, or one where they look alike."""
    least = function.row.least_shown
    first_end, last_end = (0.0 if abs(end) < least else end for end in (low, high))
    if inf not in (low, high):
        return format_si_span(first_end, last_end, function.row.unit, digits=3)
    first, last = (show_value(function, end) for end in (low, high))
    return first if first == last else f"{first} to {last}"


def show_measured(measured: Measured, digits: int = 3) -> str:
    """What was read, as a person would say it; `parse_shown` reads it back."""
    function = measured.reading.function
    if measured.unstable:
        return UNSTABLE_WORDS[0]
    if measured.low is None or measured.high is None:
        shown = show_value(function, measured.value, digits)
        return f"about {shown}" if measured.about else shown
    if (measured.low, measured.high) == function.row.nothing:
        return NOTHING_WORDS[0]
    low, high = (show_value(function, end, digits) for end in (measured.low, measured.high))
    if measured.low == -inf:
        return f"under {high}"
    return f"over {low}" if measured.high == inf else f"{low} to {high}"
