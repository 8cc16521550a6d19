"""Links of a traced circuit put in order: resistors in strings, nodes named, where LEDs are lit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from zcd.board.model import Link
from zcd.board.paths import END, renamed, string_name
from zcd.errors import InputError

if TYPE_CHECKING:
    from zcd.board.schema import TracedFile

AUTOMATIC = "/"
"""In the name of a node that nobody named."""


def in_strings(
    links: Sequence[Link], resistors: Collection[str], feeds: Sequence[str]
) -> tuple[list[list[str]], tuple[Link, ...]]:
    """Join resistors that carry the same current to strings, and name the nodes nobody named.

    Parameters
    ----------
    links : sequence of Link
        One for each part.
    resistors : collection of str
        Which of them are resistors.
    feeds : sequence of str
        Nodes on the live side of the mains.

    Returns
    -------
    strings : list of list of str
        References, from the feed on; a string at the feed comes first.
    links : tuple of Link
        With one for each string: ``chain``, ``chain2``, ...
    """
    far = _steps_from(feeds, links)
    ends = Counter(node for link in links for node in (link.a, link.b))
    strings: list[tuple[list[str], list[str]]] = []
    left = [link for link in links if link.ref in resistors]
    while left:
        first = left.pop(0)
        refs, nodes = [first.ref], [first.a, first.b]
        for _ in range(2):  # on from its far end, then from its near one
            while AUTOMATIC in nodes[-1] and ends[nodes[-1]] == 2:
                more = next((link for link in left if nodes[-1] in (link.a, link.b)), None)
                if more is None:
                    break
                left.remove(more)
                refs.append(more.ref)
                nodes.append(more.b if more.a == nodes[-1] else more.a)
            refs.reverse()
            nodes.reverse()
        if far.get(nodes[0], 0) > far.get(nodes[-1], 0):
            refs.reverse()
            nodes.reverse()
        strings.append((refs, nodes))
    strings.sort(key=lambda string: string[1][0] not in feeds)
    names = _node_names(links, [nodes for _, nodes in strings])
    first_refs = {min(refs, key=[link.ref for link in links].index): k
                  for k, (refs, _) in enumerate(strings)}  # fmt: skip
    result = []
    for link in links:
        if link.ref in first_refs:
            number = first_refs[link.ref]
            nodes = strings[number][1]
            one = Link(string_name(number + 1), nodes[0], nodes[-1])
        elif link.ref in resistors:
            continue
        else:
            one = link
        result.append(renamed(one, names))
    return [refs for refs, _ in strings], tuple(result)


def _steps_from(starts: Sequence[str], links: Iterable[Link]) -> dict[str, int]:
    """How many parts each node is away from the nearest of some."""
    steps = dict.fromkeys(starts, 0)
    reached = list(steps)
    for node in reached:
        for link in links:
            if node in (link.a, link.b):
                other = link.b if link.a == node else link.a
                if other not in steps:
                    steps[other] = steps[node] + 1
                    reached.append(other)
    return steps


def _node_names(links: Iterable[Link], strings: Sequence[Sequence[str]]) -> dict[str, str]:
    """Names of nodes that nobody named: the end of a string, or ``rect``."""
    names: dict[str, str] = {}
    for number, nodes in enumerate(strings, 1):
        if AUTOMATIC in nodes[-1]:
            names.setdefault(nodes[-1], f"{string_name(number)}{END}")
    others = 0
    for node in (node for link in links for node in (link.a, link.b)):
        inside = any(node in nodes[1:-1] for nodes in strings)
        if AUTOMATIC in node and node not in names and not inside:
            others += 1
            names[node] = "rect" if others == 1 else f"rect{others}"
    return names


def with_leds(
    circuit: TracedFile, *, two_leds: bool, second: str, switched: bool
) -> tuple[tuple[Link, ...], int, str]:
    """Links of a traced circuit with those of its LEDs.

    Parameters
    ----------
    circuit : TracedFile
    two_leds : bool
        The optocoupler has two LEDs, back to back.
    second : str
        Reference of a second optocoupler, if the circuit has one.
    switched : bool
        The feed is behind a contact.

    Returns
    -------
    links : tuple of Link
    pulses : int
        Half-waves in which a LED is lit.
    second : str
        Empty where there is no second optocoupler.

    Raises
    ------
    InputError
        If no current can pass through a LED.
    """
    own = dict(circuit.aliases)
    nodes = {node for link in circuit.links for node in (link.a, link.b)}
    nodes |= {name for names in own.items() for name in names}
    lacking = [node for node in ("led+", "led-") if node not in nodes]
    if lacking:
        raise InputError(f"found no {lacking[0]}; allowed: the LED's two ends, led+ and led-")
    anode, cathode = own.get("led+", "led+"), own.get("led-", "led-")
    if anode == cathode:
        raise InputError("found a wire across the LED; allowed: led+ and led- apart")
    leds = [Link("led", anode, cathode)]
    if two_leds:
        leds.append(Link("led2", cathode, anode))
    other = [own.get(f"led2{sign}", f"led2{sign}") for sign in "+-"]
    if not nodes & {"led2+", "led2-"}:
        second = ""
    elif nodes >= {"led2+", "led2-"} and other[0] != other[1]:
        leds.append(Link(f"{second}.led", *other))
    else:
        raise InputError("found one end of a second LED; allowed: both, led2+ and led2-")
    live = "feed" if switched else own.get("feed", "line")
    one_pole = dict.fromkeys(("feed", "line"), live)
    links = [renamed(link, one_pole) for link in (*circuit.links, *leds)]
    names = {string_name(k): string[0].ref for k, string in enumerate(circuit.strings, 1)}
    if short := next((link.ref for link in links if link.a == link.b), None):
        raise InputError(
            f"found {names.get(short, short)} between feed and line, which are one point without a "
            'relay contact; allowed: two other points, or feed = {kind = "switched"}'
        )
    refs = {led.ref for led in leds}
    poles = live, own.get("neutral", "neutral")
    pulses = lit_half_waves(links, refs, circuit.blocking, poles)
    if not pulses and lit_half_waves(links, refs, (), poles):
        raise InputError(
            "found diodes that block the LED in both half-waves; allowed: arrows with a way from "
            "feed to led+ and from led- to neutral, or from neutral to led+ and led- to feed"
        )
    if not pulses:
        raise InputError(
            "found no way from feed through the LED to neutral; allowed: lines that lead there"
        )
    held = {ref for ref, _ in circuit.capacitors}
    if held and not any(
        _has_return(led, links, refs | circuit.blocking, held, poles) for led in leds
    ):
        raise InputError(
            f"found {', '.join(sorted(held))} in series with the LED and no way back: a capacitor "
            "charges once, then no current flows; allowed: a diode or LED the other way behind "
            'the capacitor, such as "x - D9 1N4007 < - neutral"'
        )
    return (*circuit.links, *leds), pulses, second


CONTROLLER = ("logic0", "logic+")
"""The controller's 0 V and its supply."""


def into_pin(circuit: TracedFile, *, switched: bool) -> tuple[tuple[Link, ...], int]:
    """Links of a circuit that leads from the mains into the controller's pin, or into the base of
    the transistor there.

    Parameters
    ----------
    circuit : TracedFile
    switched : bool
        The feed is behind a contact.

    Returns
    -------
    links : tuple of Link
        With the base-emitter junction of a transistor.
    pulses : int
        Half-waves of a period in which the pin is pulled.

    Raises
    ------
    InputError
        If it has a LED, if no mains wire is the controller's 0 V or supply, or if the mains gets
        to the pin through no resistor or not at all.
    """
    own = dict(circuit.aliases)
    named = {node for link in circuit.links for node in (link.a, link.b)}.union(own)
    if leds := sorted(node for node in named if node.startswith("led")):
        raise InputError(
            f"found {leds[0]} and pin; allowed: a path into the pin without an optocoupler; with "
            'one, what is at the pin in output = {pull_up = "R9 10k", supply = "5 V"}'
        )
    live = "feed" if switched else own.get("feed", "line")
    at = {name: own.get(name, name) for name in (*CONTROLLER, "pin", "neutral")}
    tied = {"feed": live, "line": "line" if switched else live, "neutral": at["neutral"]}
    mains = {*tied.values()} - ({live} if switched else set())
    ground = next((at[name] for name in CONTROLLER if at[name] in mains), "")
    if not ground:
        raise InputError(
            "found no wire between the controller and the mains; allowed: a line that says which "
            'mains wire its 0 V or its supply is, such as "neutral - logic0" or "line - logic+"'
        )
    links = [renamed(link, {"line": tied["line"], "feed": live}) for link in circuit.links]
    sources = [pole for pole in tied.values() if pole != ground]
    closed = {ground, at["logic0"], at["logic+"]}
    bare = [link for link in links if not link.ref.startswith(string_name(1))]
    goal = "pin" if circuit.transistor is None else "base"
    end = own.get(goal, goal)
    if end in sources or _reached(sources, bare, closed, end):
        raise InputError(
            f"found a way from the mains to {goal} without a resistor; allowed: one at least, "
            "which limits the current"
        )
    if not _reached(sources, links, closed, end):
        raise InputError(
            f"found no way from the mains to {goal}; allowed: a line from the mains wire that is "
            f'not the controller\'s 0 V or supply, such as "feed - R1 1M - {goal}"'
        )
    if circuit.transistor is None:
        return circuit.links, 1
    part = circuit.transistor
    for lead, wired in (("collector", "pin"), ("emitter", "logic0")):
        if own.get(lead, lead) != at[wired]:
            raise InputError(
                f"found {part.ref}'s {lead} apart from {wired}; allowed: a wire between them "
                f'("{lead} - {wired}"), as a part there is not modelled'
            )
    fixed = {*tied.values(), at["logic0"], at["logic+"]}
    if _reached([end], links, fixed, at["pin"]):
        raise InputError(
            f"found a part from base to collector of {part.ref}; allowed: none, as feedback there "
            "is not modelled"
        )
    junction = Link(f"{part.ref}.be", end, at["logic0"])
    pulses = lit_half_waves(
        [*links, renamed(junction, {"line": tied["line"]})],
        {junction.ref}, circuit.blocking, (sources[0], ground),
    )  # fmt: skip
    if not pulses:
        raise InputError(
            f"found diodes that block the base of {part.ref} in both half-waves; allowed: arrows "
            "with a way from the mains into the base"
        )
    return (*circuit.links, junction), pulses


def _reached(
    starts: Iterable[str], links: Iterable[Link], closed: Collection[str], goal: str
) -> bool:
    """Whether links lead from some nodes to another one, past none that is closed."""
    ways = _ways(links, ())
    return any(next(ways_between(ways, one, goal, closed), None) is not None for one in starts)


def lit_half_waves(
    links: Sequence[Link], leds: Collection[str], one_way: Collection[str], poles: tuple[str, str]
) -> int:
    """In how many of the two half-waves a LED is lit.

    Parameters
    ----------
    links : sequence of Link
    leds, one_way : collection of str
        Which of them are LEDs, and diodes that block.
    poles : tuple of str
        Nodes of the live side and of neutral.

    Returns
    -------
    count : int
        0 to 2.
    """
    ways = _ways(links, {*leds, *one_way})
    lamps = [link for link in links if link.ref in leds]
    return sum(any(_is_lit(lamp, ways, *ends) for lamp in lamps) for ends in (poles, poles[::-1]))


def _ways(links: Iterable[Link], one_way: Collection[str]) -> dict[str, list[str]]:
    """To which nodes current gets from each; through some parts one way only."""
    ways: dict[str, list[str]] = {}
    for link in links:
        ways.setdefault(link.a, []).append(link.b)
        if link.ref not in one_way:
            ways.setdefault(link.b, []).append(link.a)
    return ways


def _has_return(
    led: Link,
    links: Iterable[Link],
    one_way: Collection[str],
    capacitors: Collection[str],
    poles: tuple[str, str],
) -> bool:
    """Whether a LED's mean current has a way back to its anode: through the mains, no capacitor."""
    through = [link for link in links if link.ref not in capacitors]
    ways = _ways([*through, Link("mains", *poles)], one_way)
    reached = [led.b]
    for node in reached:
        reached += [other for other in dict.fromkeys(ways.get(node, ())) if other not in reached]
    return led.a in reached


def _is_lit(led: Link, ways: Mapping[str, Sequence[str]], source: str, sink: str) -> bool:
    """Whether current finds a way from a pole through a LED to the other without a node twice."""
    to_led = ways_between(ways, source, led.a, {led.b, sink} - {led.a})
    return source != led.b and any(
        next(ways_between(ways, led.b, sink, set(way)), None) is not None for way in to_led
    )


def ways_between(
    ways: Mapping[str, Iterable[str]], start: str, goal: str, closed: Collection[str]
) -> Iterator[tuple[str, ...]]:
    """Ways from one node to another that keep out of some nodes, and pass none twice.

    Parameters
    ----------
    ways : mapping of str to iterable of str
        To which nodes one gets from each.
    start, goal : str
    closed : collection of str

    Returns
    -------
    ways : iterator of tuple of str
        The nodes, `start` first.
    """
    if start in closed:
        return
    if start == goal:
        yield (start,)
        return
    for node in dict.fromkeys(ways.get(start, ())):
        for rest in ways_between(ways, node, goal, {*closed, start}):
            yield (start, *rest)
