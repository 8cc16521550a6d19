"""Points of a circuit in plain words: ``R2/R3`` is where these meet."""

from __future__ import annotations

import re

from zcd.circuit.elements import Capacitance, Circuit, Junction, Resistance, is_hidden

_INNER = re.compile(r"(chain\d*|return)\.\d+|rect\d*")
"""Points that are named after their number in the circuit, not after what is there."""
_LEG = re.compile(r"(?P<bridge>.+?)(?P<at>~[12]|-)(?P<to>(?<=\d)\+|(?<=-)~[12])")
"""One diode of a bridge in one piece, by its leads."""
LED_ENDS = ("led+", "led-")
PART_ENDINGS = {
    " second LED": ".led2",
    " LED": ".led",
    " transistor": "",
    " base-emitter": ".be",
    " contact": ".contact",
    " coil": ".coil",
    " driver": ".driver",
}
"""How a fault names a piece of a part, and how the element list does."""


def point_text(node: str, circuit: Circuit) -> str:
    """A point as a person finds it, such as ``between R2 and R3``."""
    parts = parts_at(node, circuit)
    return f"between {parts[0]} and {parts[1]}" if parts else node


def joint_text(node: str, circuit: Circuit) -> str:
    """A point in short, such as ``R2/R3``."""
    return "/".join(parts_at(node, circuit)) or node


def probe_texts(red: str, black: str, circuit: Circuit) -> tuple[str, str]:
    """Two points in short; the ends of the LED by their own names, whatever else is there."""
    ends = {circuit.aliases.get(name, name): name for name in LED_ENDS}
    if set(ends) == {red, black}:
        return ends[red], ends[black]
    return joint_text(red, circuit), joint_text(black, circuit)


def parts_at(node: str, circuit: Circuit) -> tuple[str, ...]:
    """The two parts that meet at a point of a chain; none where its name says where it is."""
    own = circuit.node(node)
    if not _INNER.fullmatch(own):
        return ()
    parts = [
        end_text(e.ref, e.nodes.index(own))
        for e in circuit
        if isinstance(e, Resistance | Junction | Capacitance)
        and not is_hidden(e)
        and own in e.nodes
    ]
    refs = tuple(dict.fromkeys(parts))[:2]
    return refs if len(refs) == 2 else ()


def part_words(ref: str) -> str:
    """A piece of a part as a person names it, such as ``K1 coil``."""
    endings = ((ending, words) for words, ending in PART_ENDINGS.items() if ending)
    for ending, words in endings:
        if ref.endswith(ending):
            return ref.removesuffix(ending) + words
    return ref


def end_text(ref: str, end: int) -> str:
    """A part at one of its two ends: of a bridge in one piece the lead there.

    Examples
    --------
    >>> end_text("BR1~2+", 0), end_text("BR1-~1", 0), end_text("R1", 1)
    ('BR1~2', 'BR1-', 'R1')
    """
    if leg := _LEG.fullmatch(ref):
        return f"{leg['bridge']}{leg['to' if end else 'at']}"
    return ref.split(".", maxsplit=1)[0]


def leads_text(ref: str, red: str, circuit: Circuit) -> tuple[str, str] | None:
    """Leads at which red and black are across one diode of a bridge in one piece."""
    if not _LEG.fullmatch(ref):
        return None
    first = circuit[ref].nodes.index(red)
    return end_text(ref, first), end_text(ref, 1 - first)


def of_leads(ref: str) -> str:
    """A part by its leads: two LEDs back to back share theirs.

    Examples
    --------
    >>> of_leads("OC1.led2"), of_leads("R2")
    ('OC1.led', 'R2')
    """
    return ref.removesuffix("2") if ".led" in ref else ref


def piece_of(name: str) -> str:
    """The part in one piece that an element, or what is said of one, is of.

    Examples
    --------
    >>> piece_of("OC1.led2"), piece_of("BR1-~2"), piece_of("K1 contact")
    ('OC1', 'BR1', 'K1')
    """
    return diode_of_bridge(re.split(r"[ .]", name, maxsplit=1)[0])[0]


def diode_of_bridge(ref: str) -> tuple[str, str]:
    """The bridge in one piece that a diode is in, and its leads there, such as ``~1+``."""
    leg = _LEG.fullmatch(ref)
    return (leg["bridge"], f"{leg['at']}{leg['to']}") if leg else (ref, "")
