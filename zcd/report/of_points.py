"""Where to find the points that a screen names: each is said beside the readings that name it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

from zcd.circuit.elements import Circuit, Junction
from zcd.circuit.points import LED_ENDS, of_leads
from zcd.diagnosis.reading_words import probes_of
from zcd.diagnosis.readings import Reading, parts_read

COIL_ENDS = "coil+: the end of the relay's coil at its supply."
LED_PINS = "led+, led-: anode and cathode of the optocoupler's LED, mostly pins 1 and 2."
TWO_LED_PINS = "led+: the LED pin on the line side; led-: the one on the neutral side."
GROUND = "logic0: the controller's ground."
POINT_WORDS = {
    ("line", "neutral"): "line, neutral: the mains terminals.",
    ("feed",): "feed: where the chain begins, behind the load relay's contact if it has one.",
    LED_ENDS: LED_PINS,
    ("base", "emitter"): "base, emitter: leads of the transistor; its collector is the pin.",
    ("coil+", "coil-"): COIL_ENDS,
    ("logic+",): "logic+: the controller's supply.",
    ("logic0",): GROUND,
}
"""Points by what they are called, and where one finds them."""
FOUND_BY_NAME = {"line", "neutral"}
"""What needs no word beside a single reading."""
_LEAD = re.compile(r"(?P<bridge>.+)(?P<pin>~[12]|(?<=\d)[+-])")
_PINS = {
    "~1": "the ~ pin of {} on the line side",
    "~2": "the ~ pin of {} on the neutral side",
    "+": "the + pin of {}",
    "-": "the - pin of {}",
}


def lead_words(lead: str) -> str:
    """A lead of a part as a person finds it.

    Examples
    --------
    >>> lead_words("BR1~1"), lead_words("BR1-"), lead_words("R2")
    ('the ~ pin of BR1 on the line side', 'the - pin of BR1', 'R2')
    """
    match = _LEAD.fullmatch(lead)
    return _PINS[match["pin"]].format(match["bridge"]) if match else lead


def joint_words(parts: Sequence[str], own: str = "") -> str:
    """Where two parts meet; on which of them the probe goes, where one is said to be its own.

    Examples
    --------
    >>> joint_words(("R2", "BR1~1"))
    'R2/BR1~1: where R2 meets the ~ pin of BR1 on the line side.'
    >>> joint_words(("R2", "D1"), "D1")
    'R2/D1: the lead of D1 that meets R2.'
    """
    first, second = map(lead_words, parts)
    if own in (first, second):
        return (
            f"{'/'.join(parts)}: the lead of {own} that meets {second if own == first else first}."
        )
    return f"{'/'.join(parts)}: where {first} meets {second}."


def has_two_leds(circuit: Circuit) -> bool:
    """Whether its optocoupler has two LEDs back to back, which have no anode of their own."""
    return any(part.ref.endswith(".led2") for part in circuit.of(Junction))


def words_of_points(
    points: Iterable[str], circuit: Circuit, own: Mapping[str, str] | None = None
) -> Iterator[str]:
    """What each of some points is, as they are printed: joints, leads of a bridge, nodes.

    Parameters
    ----------
    points : iterable of str
        As `probes_of` has them.
    circuit : Circuit
    own : mapping of str to str, optional
        Of a joint the part on whose lead the probe goes: a cracked joint reads open from the other.
    """
    named = dict.fromkeys(points)
    for point in named:
        if "/" in point:
            yield joint_words(point.split("/"), (own or {}).get(point, ""))
        elif _LEAD.fullmatch(point) and point not in (*LED_ENDS, "coil+", "coil-", "logic+"):
            yield f"{point}: {lead_words(point)}."
    for names, words in POINT_WORDS.items():
        if {*names} & {*named}:
            yield TWO_LED_PINS if names == LED_ENDS and has_two_leds(circuit) else words


def points_line(readings: Iterable[Reading], circuit: Circuit, left: Iterable[str] = ()) -> str:
    """Where to find the points that some readings name, but for those `left` out.

    Examples
    --------
    >>> points_line((), Circuit(elements=()))
    ''
    """
    points = []
    own: dict[str, set[str]] = {}
    for reading in readings:
        probes = probes_of(reading, circuit)
        # volts across the coil name no point, but what is typed does
        typed = () if probes.red else {reading.red, reading.black} & {"coil+", "coil-"}
        points += [point for point in (probes.red, probes.black, *sorted(typed)) if point]
        read = {of_leads(ref) for ref in parts_read(circuit, reading)}
        for point in (probes.red, probes.black):
            own.setdefault(point, set()).update(read.intersection(point.split("/")) or {""})
    alone = {point: next(iter(parts)) for point, parts in own.items() if len(parts) == 1}
    known = FOUND_BY_NAME | {*left}
    named = (point for point in points if point not in known)
    return " ".join(words_of_points(named, circuit, alone))
