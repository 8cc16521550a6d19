"""An exercise as a conversation: a line is typed, lines are answered."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from zcd.board.units import format_si, nearest, require_length
from zcd.circuit.elements import Circuit, Element, is_hidden
from zcd.circuit.points import LED_ENDS, joint_text, part_words
from zcd.diagnosis.faults import Fault, faults_of
from zcd.diagnosis.functions import Function
from zcd.diagnosis.reading_syntax import parse_place, place_text, show_measured
from zcd.diagnosis.readings import Power, Reading, check_reading, parts_over, usual_power
from zcd.engine.network import REFERENCES, island_of
from zcd.errors import InputError, invalid_value, plain
from zcd.practice.bench import HINT_S, WRONG_S, Bench, Danger, Taken
from zcd.practice.exercise import Exercise, may_be_part_of
from zcd.practice.review import Expert, Review, is_meant, review
from zcd.practice.trade_words import FUNCTION_WORDS, TRADE_WORDS, bare_name, order_of

HELP = (
    'Type a reading: "ohm R1", "ohm R1 lifted", "diode D1", "dc pin gnd", "ac line neutral", '
    '"frequency pin"; "tap dc pin" taps the board meanwhile. "unplug", "prove dead", "plug in" '
    'change the board. "points" lists points and parts, "so far" what you measured. "found R1" or '
    '"R1 open" names the fault. "hint" costs five minutes, "give up" ends it. OL: no current flows.'
)
_TAPPED = re.compile(r"^(tap|shake) | (tapped|shaken)$", re.IGNORECASE)
"""How one says that the board is tapped during a reading."""
_MEASURE = re.compile(r"^(measure|check|test)\s+(the\s+)?", re.IGNORECASE)
_USUAL = (
    'a reading ("ohm R1", "dc pin"), "found R1", "points", "so far", "plug in", "unplug", '
    '"prove dead", "hint", "give up"'
)
PRINTED = {"resistance_ohm": "Ω", "rms_v": "V", "voltage_v": "V"}
"""Values that a person reads on parts and rating plate, and their units."""
_WHY = {
    Danger.OHMS_LIVE: "DANGER: the board is under power. Ohms on live parts destroys the meter "
    "and can injure you. Unplug, discharge, prove dead.",
    Danger.LIFTED_LIVE: "DANGER: the board is under power. No iron, no fingers. Unplug, discharge, "
    "prove dead.",
    Danger.PLUGGED_TWICE: "DANGER: the board is under power. A bench supply goes on with the plug "
    "pulled.",
    Danger.NOT_PROVED: "DANGER noted: you touched a board that was not proved dead. A charged "
    "capacitor bites.",
}
_ALL_GOOD = (
    "the sync circuit reads as a good one. So it is what comes after it, or a joint that opens now "
    'and then: take a reading under power again and tap the board meanwhile, "tap dc pin".'
)
_STANDS = 'The board is unplugged: nothing to read under power. "plug in" first.'


@dataclass(slots=True)
class Session:
    """What was said and done in an exercise.

    Parameters
    ----------
    exercise : Exercise
    expert : callable
        Makes the expert when a hint or the end asks for one.
    """

    exercise: Exercise
    expert: Callable[[], Expert]
    bench: Bench = field(init=False)
    named: list[str] = field(default_factory=list)
    wrong: int = 0
    hints: int = 0
    found: bool = False
    over: bool = False
    _hinted: tuple[tuple[int, int] | None, str] = (None, "")
    _left: set[str] = field(default_factory=set)
    _faults: tuple[Fault, ...] = ()
    _known: Expert | None = None

    def __post_init__(self) -> None:
        self.bench = Bench(self.exercise)
        self._faults = faults_of(self.bench.circuit)
        self._left = set(self.exercise.fault.members) or {self.exercise.fault.key}

    def say(self, line: str) -> list[str]:
        """Do what a line says.

        Parameters
        ----------
        line : str

        Returns
        -------
        answer : list of str

        Raises
        ------
        InputError
            If it cannot be used; nothing has changed then.
        """
        require_length(line)
        text = " ".join(line.split())
        word = order_of(text)
        if word in ("", "help"):
            return [HELP]
        if word == "give up":
            self.over = True
            return []
        simple: dict[str, Callable[[], list[str]]] = {
            "unplug": self._unplug,
            "plug in": self._plug_in,
            "prove dead": self._prove,
            "hint": self._hint,
            "so far": self._so_far,
            "points": self._points,
        }
        if word in simple:
            return simple[word]()
        first, _, rest = text.partition(" ")
        if first.lower() == "found":
            return self._name(rest)
        if any(text.casefold() == name.casefold() for f in self._faults for name in _names_of(f)):
            return self._name(text)
        return self._measure(text)

    def review(self) -> Review:
        """Look back, once it is over."""
        return review(
            self.bench,
            self._who_knows(),
            found=self.found,
            named=self.named,
            wrong=self.wrong,
            hints=self.hints,
        )

    def _who_knows(self) -> Expert:
        if self._known is None:
            self._known = self.expert()
        return self._known

    def _unplug(self) -> list[str]:
        self.bench.unplug()
        return ["Unplugged, capacitors discharged. Not proved dead yet."]

    def _plug_in(self) -> list[str]:
        self.bench.plug_in()
        relay = " The load relay is on." if "K1.contact" in self.bench.circuit else ""
        live = "Mains side" if self.exercise.board.is_isolated else "All of it"
        return [f"The board is together and under power.{relay} {live}: live."]

    def _prove(self) -> list[str]:
        if self.bench.prove_dead():
            return ["Meter tested on a known source, no voltage on the board, meter tested again."]
        return ["There is mains on it. Unplug first."]

    def _measure(self, text: str) -> list[str]:
        said = _MEASURE.sub("", text)
        place = _TAPPED.sub("", said)
        try:
            reading = parse_place(place, self.bench.circuit)
        except InputError:
            first = place.split()[0].lower() if place else ""
            if first in FUNCTION_WORDS or first in self.bench.circuit.nodes:
                raise
            raise invalid_value(text, _USUAL) from None
        check_reading(self.bench.circuit, reading)
        before = len(self.bench.dangers)
        measured = self.bench.take(reading, tapped=place != said)
        told = [_WHY[danger] for danger in self.bench.dangers[before:]]
        if measured is None:
            return told or [_STANDS]
        return [*told, self._line_of(self.bench.taken[-1])]

    def _hint(self) -> list[str]:
        """The reading that an expert would take; asked for again, it costs nothing more."""
        now = len(self.bench.taken), len(self.named)
        if self._hinted[0] != now:
            self._hinted = now, self._advice()
            self.hints += 1
            self.bench.seconds += HINT_S
        return [f"Hint: {self._hinted[1]}"]

    def _advice(self) -> str:
        diagnosis = self._who_knows().diagnosis(self.bench.measured)
        suggestion, first = diagnosis.suggestion, diagnosis.ranked[0].fault
        if suggestion is None and first is not None and (first.states or first.reports):
            return _ALL_GOOD
        if suggestion is None:
            now = [each for each in self.bench.taken if each.repairs == self.bench.repairs]
            steps = self._who_knows().steps(now)
            told_most = max(steps, key=lambda step: len(step.ruled_out)).taken.measured.reading
            words = reading_text(told_most, self.bench.circuit)
            return f"you have measured enough. {words} told most: what explains it?"
        reading = suggestion.reading
        state = _state_words(reading)
        words = reading_text(reading, self.bench.circuit)
        if reading.lifted:
            words = f"{words.replace(' lifted', '', 1)}, one end lifted"
        return f"{state[:1].lower()}{state[1:]}, measure {words}."

    def _so_far(self) -> list[str]:
        now = (each for each in self.bench.taken if each.repairs == self.bench.repairs)
        return [self._line_of(each) for each in now] or ["Nothing measured yet."]

    def _line_of(self, taken: Taken) -> str:
        """A reading, and what the meter showed."""
        measured, tapped = taken.measured, " tapped" if taken.tapped else ""
        place = reading_text(measured.reading, self.bench.circuit)
        return f"{place}{tapped}: {show_measured(measured, 4)}"

    @property
    def parts(self) -> tuple[str, ...]:
        """What may have failed, as one names it: parts, then places and supplies."""
        level = self.exercise.level
        may = (fault for fault in self._faults[1:] if may_be_part_of(level, fault))
        names = dict.fromkeys(map(_name_of, may))
        return tuple(sorted(names, key=lambda name: not (name[:1].isupper() or name == "pull-up")))

    def _points(self) -> list[str]:
        """The circuit in words: its points by side, what lies between them, what may fail."""
        circuit = self.bench.circuit
        names: dict[str, list[str]] = {node: [joint_text(node, circuit)] for node in circuit.nodes}
        for alias, node in circuit.aliases.items():
            if (alias.isidentifier() or alias in LED_ENDS) and alias != "relay":
                names[node].append(alias)
        of_pin = island_of(circuit, "pin")
        mains, low = "Points of the mains side", "Points of the isolated side"
        if not self.exercise.board.is_isolated:
            mains, low = "", "Points, all live when the plug is in"
        sides = [
            f"{side}: {', '.join(name for node in nodes for name in names[node])}."
            for side, nodes in (
                (mains, [n for n in circuit.nodes if n not in of_pin]),
                (low, [n for n in circuit.nodes if n in of_pin]),
            )
            if side
        ]
        lie = [
            f"{element.ref}{_printed(element)} "
            f"({' to '.join(joint_text(node, circuit) for node in element.nodes)})"
            for element in circuit
            if not is_hidden(element)
        ]
        return [
            *sides,
            f"What lies between: {', '.join(lie)}.",
            f"May have failed: {', '.join(self.parts)}.",
        ]

    def _name(self, text: str) -> list[str]:
        meant = self._meant(text)
        if text in self.named:
            return [f"You have named {text} before."]
        self.named.append(text)
        hits = sorted(key for key in self._left if self._is(meant, key))
        if not hits:
            self.wrong += 1
            self.bench.seconds += WRONG_S
            self.bench.unplug()
            self.bench.proved = False
            return [
                f"No, not {text}: ten minutes of work, and the error is still there. The board is "
                "unplugged, not proved dead."
            ]
        self._left.difference_update(hits)
        if self._left:
            left = [fault for fault in self._faults if fault.key in self._left]
            self.bench.repair(self.exercise.left_with(left))
            return [
                f"Yes, {hits[0]}: mended. That is not all: there is another fault. The board is "
                "unplugged, not proved dead."
            ]
        self.found = self.over = True
        return []

    def _is(self, meant: Sequence[Fault], key: str) -> bool:
        hidden = next((f for f in self._faults if f.key == key), self.exercise.fault)
        return is_meant(meant, hidden)

    def _meant(self, text: str) -> list[Fault]:
        """Faults that a name may stand for: its key, its part, or a word of the trade for these."""
        faults = self._faults[1:]
        names = tuple(dict.fromkeys(name for f in faults for name in (f.key, f.part)))
        for said in (" ".join(text.split()), bare_name(text)):
            wanted = said.casefold()
            exact = [f for f in faults if wanted in map(str.casefold, _names_of(f))]
            of_part = [f for f in faults if wanted in (f.part.casefold(), _name_of(f).casefold())]
            of_trade = [f for f in faults if f.kind in TRADE_WORDS.get(wanted, ())]
            if len({_name_of(fault) for fault in of_trade}) == 1:
                return of_trade
            if exact or of_part:
                return exact or of_part
            if of_trade:
                named = dict.fromkeys(map(_name_of, of_trade))
                raise invalid_value(said, " or ".join(f'"found {name}"' for name in named))
        raise InputError(
            f'"{plain(text)}": no part or fault here; allowed: one at a time, such as '
            f'"found R1 open"{nearest(text, names)}'
        )


def _printed(element: Element) -> str:
    """The value of a part or a supply, as print and rating plate have it; empty: none."""
    values = element.values()
    at = next((name for name in PRINTED if name in values), None)
    if at is None or element.ref in ("K1.contact", "K1.driver"):
        return ""
    return f" {format_si(float(np.max(values[at])), PRINTED[at], digits=3)}"


def _names_of(fault: Fault) -> tuple[str, ...]:
    """A fault as it is typed: its key, also as a sentence and without the part's reference."""
    short = fault.key.partition(" ")[2]
    is_piece = fault.part != _name_of(fault)
    return (fault.key, f"{fault.part} is {fault.mode}", *((short,) if is_piece else ()))


def _name_of(fault: Fault) -> str:
    """A part by its reference; the driver of a relay is another part than the relay."""
    is_ref = fault.part[:1].isupper() and fault.kind != "driver"
    return fault.part.partition(" ")[0] if is_ref else fault.part


def reading_text(reading: Reading, circuit: Circuit) -> str:
    """A reading as one says it: over a part where there is one, else between two points."""
    if reading.lifted:
        return place_text(reading, circuit)
    part = parts_over(circuit, reading.red, reading.black)
    red, black = (joint_text(node, circuit) for node in (reading.red, reading.black))
    points = place_text(replace(reading, red=red, black=black), circuit)
    if "," in part and reading.function.row.dead:
        return f"{points} ({', '.join(map(part_words, part.split(', ')))})"
    if (
        not part
        or "," in part
        or (not reading.function.row.dead and circuit.node(reading.black) in REFERENCES)
        or reading.power is not usual_power(reading.function)
    ):
        return points
    turned = circuit[part].nodes[0] != circuit.node(reading.red)
    # but for a diode test, an optocoupler's name alone means its transistor
    name = part.removesuffix(".led") if reading.function is Function.DIODE else part
    return f"{reading.function} {name}{' reversed' if turned else ''}"


def _state_words(reading: Reading) -> str:
    return {
        Power.DEAD: "Unplugged and proved dead",
        Power.BENCH: "Unplugged, on a bench supply",
        Power.OFF: "Under power, relay off",
        Power.LIVE: "Under power",
    }[reading.power]
