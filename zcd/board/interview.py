"""A board described by asking: one question after another, in the order in which one looks."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from zcd.board.as_printed import WITHOUT_COUPLER, is_resistor, resistors_in, with_references
from zcd.board.files import board_from_dict
from zcd.board.model import Board, ReadAs, Topology
from zcd.board.optocouplers import NO_COUPLER
from zcd.board.parts_library import odd_values
from zcd.board.paths import SEPARATOR
from zcd.board.starter import example_of
from zcd.board.traced import names_base, path_text
from zcd.errors import InputError, invalid_value

Answers = dict[str, str]

ARRANGEMENTS = {
    "1": Topology.HALF_WAVE,
    "2": Topology.BRIDGE,
    "3": Topology.CLAMPED,
    "4": Topology.HALF_WAVE_CLAMPED,
    "5": Topology.TWO_LED,
}
SIZE = "chain.style"
SIZES = "type a size such as 0805, 1206, 1/4 W or 1/2 W, or a maker's type"
"""The key of a board file for it."""
NOT_KNOWN = "not known"
_SERIES = (Topology.HALF_WAVE, Topology.HALF_WAVE_CLAMPED, Topology.BRIDGE)
_ACROSS = (Topology.CLAMPED, Topology.HALF_WAVE_CLAMPED)
SWITCHED = "2"
PLATE_V = (80.0, 300.0)
"""What rating plates of appliances say; anything else is another part's marking."""
TRACED = "traced"
"""Answered where the resistors or the arrangement are asked: the circuit follows path by path."""
BEEPERS = {
    Topology.HALF_WAVE: "Beeper: the cathode of the diode (its ring) leads to the LED's anode.",
    Topology.BRIDGE: "Beeper: + of the bridge to the LED's anode, - to its cathode; the resistors "
    "go to the ~ pins.",
    Topology.CLAMPED: "Beeper: the cathode of the diode (its ring) leads to the LED's anode, its "
    "anode to the LED's cathode.",
    Topology.HALF_WAVE_CLAMPED: "Beeper: the cathodes of both diodes (their rings) lead to the "
    "LED's anode.",
    Topology.TWO_LED: "Beeper: the resistors lead to one input pin of the optocoupler, the mains "
    "to the other.",
}
THIS = "this answer"
"""What messages call the file that is not written yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question.

    Parameters
    ----------
    key : str
        Of the answers.
    text : str
    choices : tuple of str
        Numbered lines to choose from; empty: any text.
    usual : str
        What Enter alone means; empty: an answer is needed.
    beeper : str
        What the meter's beeper confirms on the unplugged board.
    asked : callable
        Whether it is asked after the answers so far.
    """

    key: str
    text: str
    choices: tuple[str, ...] = ()
    usual: str = ""
    beeper: str = ""
    asked: Callable[[Answers], bool] = lambda answers: True
    lines: bool = False
    """Whether it is answered line by line, until an empty one."""


def _topology(answers: Mapping[str, str]) -> Topology | None:
    """The known topology; None: the circuit is traced."""
    if TRACED in (answers.get("resistors"), answers.get("arrangement")):
        return None
    return ARRANGEMENTS[answers.get("arrangement", "1")]


def _no_sizes(answers: Answers) -> bool:
    """Whether the resistors were typed without their size, with which their limits go."""
    board = Interview(dict(answers)).so_far()
    return any(each.key == SIZE for each in board.assumptions)


QUESTIONS = (
    Question(key="name", text="Name of the appliance and its board?", usual="Board without a name"),
    Question(key="mains", text='What does the rating plate say? (such as "230 V 50 Hz")'),
    Question(
        key="feed",
        text="Follow the first mains resistor back. Where does its other end go?",
        choices=("straight to the mains", "to the contact of the load relay"),
        beeper='Beep from there to the plug. Silent? A contact is between them: "undo", then 2.',
    ),
    Question(
        key="coil_supply", text="Supply of the relay's coil?", usual="12 V",
        asked=lambda answers: answers["feed"] == SWITCHED,
    ),
    Question(
        key="resistors",
        text="The resistors in series from there on, as printed, in order, on one line, such as "
        '"473 104", or with their references, "R12 473, R13 104"? (? where unreadable; "traced" if '
        "you followed the copper and would rather type paths)",
        beeper="Beeper: the end of each is the beginning of the next.",
    ),
    Question(
        key="arrangement",
        text="What else is between the mains and the optocoupler?",
        choices=(
            "one diode in series",
            "a bridge: four diodes, or a package with four pins",
            "one diode across the optocoupler's input, none in series",
            "one diode in series and one across the optocoupler's input",
            "no diode: the optocoupler has two LEDs",
            "none of these, or no optocoupler: I traced it, and type it path by path",
        ),
        asked=lambda answers: answers.get("resistors") != TRACED,
    ),
    Question(
        key="paths",
        text='One path a line, from point to point, such as "feed - R7 82k - D1 1N4007 > - led+" '
        "(> or < points to the ring; points: line, neutral, feed, led+, led-, names of your own; a "
        'bridge: "BR1 MB6S", then its leads BR1~1, BR1~2, BR1+, BR1-; without an optocoupler "feed '
        '- R7 1M - pin", "neutral - logic0", the controller\'s 0 V, or "feed - R7 220k - base", '
        '"Q1 BC847", "emitter - neutral"). An empty line ends.',
        asked=lambda answers: _topology(answers) is None,
        lines=True,
    ),
    Question(
        key="return_resistors",
        text="Resistors in the other leg of the bridge, as printed, starting at the plug?",
        usual="none",
        asked=lambda answers: _topology(answers) is Topology.BRIDGE,
    ),
    Question(
        key="size", text="Size of the resistors? (chips: 0805, 1206 ...; leaded: 1/4 W, 1/2 W ...)",
        usual=NOT_KNOWN, asked=_no_sizes,
    ),
    Question(
        key="rectifier",
        text="What is printed on the bridge, or on its diodes? (? where unreadable)",
        asked=lambda answers: _topology(answers) is Topology.BRIDGE,
    ),
    Question(
        key="rectifier",
        text="What is printed on the diode in series? (? where unreadable)",
        asked=lambda answers: _topology(answers) in _SERIES,
    ),
    Question(
        key="clamp",
        text="What is printed on the diode across the input? (? where unreadable)",
        asked=lambda answers: _topology(answers) in _ACROSS,
    ),
    Question(
        key="optocoupler", text="What is printed on the optocoupler? (? where unreadable)",
        asked=lambda answers: not (_into_pin(answers) or _into_base(answers)),
    ),
    Question(key="supply", text="Supply of the controller?", usual="5 V"),
    Question(
        key="pull_up",
        text="The resistor from the controller's supply to its sync pin, as printed?",
        beeper="Ohms, unplugged: from the pin to the supply you read about its value.",
        asked=lambda answers: not _into_pin(answers),
    ),
)  # fmt: skip


@dataclass(slots=True)
class Interview:
    """The answers so far, each judged when it is given.

    Parameters
    ----------
    answers : dict
        By key of the question.
    """

    answers: Answers = field(default_factory=dict)
    _read_as: tuple[ReadAs, ...] = ()
    _paths: tuple[str, ...] = ()

    @property
    def question(self) -> Question | None:
        """The next one; None: all are answered."""
        for question in QUESTIONS:
            if question.key not in self.answers and question.asked(self.answers):
                return question
        return None

    def answer(self, text: str) -> str:
        """Take the answer to the next question.

        Parameters
        ----------
        text : str
            Empty: the usual one.

        Returns
        -------
        understood : str
            What a marking was read as; empty where it was plain.

        Raises
        ------
        InputError
            If it cannot be used; the question then stays.
        """
        question = self.question
        assert question is not None
        given = " ".join(text.split()) or question.usual
        if question.lines and given:
            understood = path_text(given, self._paths)
            self._paths = (*self._paths, given)
            return understood
        given = given or "; ".join(self._paths)
        if question.choices:
            numbers = tuple(str(k) for k in range(1, len(question.choices) + 1))
            if given not in numbers:
                found = f'"{given}"' if given else "nothing"
                raise InputError(f"found {found}; type {' or '.join(numbers)}")
        if not given:
            raise InputError("found nothing; type what is printed, or ? where it cannot be read")
        if question.key == "arrangement" and given not in ARRANGEMENTS:
            given = TRACED
        tried = Interview({**self.answers, question.key: given})
        try:
            board = tried.so_far()
        except InputError:
            if question.key != "size":
                raise
            raise InputError(f'found "{given}"; {SIZES}, or Enter where it is not known') from None
        low, high = PLATE_V
        if question.key == "mains" and not low <= board.mains.rms_v <= high:
            allowed = f'a mains voltage from {low:g} V to {high:g} V, such as "230 V 50 Hz"'
            raise invalid_value(given, allowed)
        after = board.read_as
        new = [note for note in after if note not in self._read_as]
        self.answers, self._read_as = tried.answers, after
        if question.key == "mains" and not new:
            plate = f"{board.mains.rms_v:g} V {board.mains.frequency_hz:g} Hz"
            return "" if plate == given else plate
        return "; ".join(dict.fromkeys(_understood(note, _items(given)) for note in new))

    def back(self) -> None:
        """Take the last answer back."""
        if self._paths and "paths" not in self.answers:
            self._paths = self._paths[:-1]
            return
        if not self.answers:
            raise InputError("there is no answer to take back")
        self.answers.popitem()
        self._read_as = self.so_far().read_as if self.answers else ()

    def doubts(self) -> tuple[str, ...]:
        """Values that were perhaps misread, once there are some."""
        return odd_values(self.so_far()) if "resistors" in self.answers else ()

    def beeper(self, question: Question) -> str:
        """What the meter's beeper confirms of a question answered; empty where nothing."""
        topology = _topology(self.answers)
        if question.key == "arrangement":
            return "" if topology is None else BEEPERS[topology]
        if self.answers.get("feed") == SWITCHED and question.key == "feed":
            return (
                'Beep from there to the plug: silent while the relay is off. Else "undo", then 1.'
            )
        return question.beeper if topology is not None or question.key != "resistors" else ""

    def _resistors(self, key: str) -> list[str]:
        """Resistors as typed, with the references that they have."""
        if key not in self.answers:
            return []
        board = self.so_far()
        chain = board.chains[0] if key == "resistors" else board.return_chain
        items = _items(self.answers[key])
        return [
            item if item.startswith(part.ref) else f"{part.ref} {item}"
            for part, item in zip(chain, items, strict=True)
        ]

    def path(self) -> str:
        """The circuit as far as it is known, from the mains to the pin."""
        answers = self.answers
        topology = _topology(answers)
        if topology is None and "paths" not in answers:
            return "; ".join(self._paths)
        if topology is None:
            led = [f"LED of {answers['optocoupler']}"] if "optocoupler" in answers else []
            return "; ".join([*led, *self._pin()])
        parts = ["mains"]
        if answers.get("feed") == SWITCHED:
            parts.append("relay contact")
        parts += self._resistors("resistors")
        if "arrangement" not in answers:
            return " - ".join(parts)
        series = answers.get("rectifier", "diode" if topology in _SERIES else "")
        if series:
            parts.append(f"bridge {series}" if topology is Topology.BRIDGE else f"{series} >")
        coupler = answers.get("optocoupler", "optocoupler")
        across = f" with {answers.get('clamp', 'a diode')} across" if topology in _ACROSS else ""
        lit = f"LED of {coupler}{across}"
        if topology is Topology.BRIDGE:
            parts[-1] += f" ({lit} on its + and -)"
        else:
            parts.append(lit)
        parts += reversed(self._resistors("return_resistors"))
        return "; ".join([" - ".join([*parts, "mains"]), *self._pin()])

    def _pin(self) -> list[str]:
        """What is at the pin, where that is known."""
        answers = self.answers
        known = "pull_up" in answers
        return [f"pin: {answers['pull_up']} up to {answers['supply']}"] if known else []

    def keys(self) -> dict[str, Any]:
        """Keys and values of the board file, as answered."""
        answers = self.answers
        topology = _topology(answers)
        chain: dict[str, Any] = {} if topology is None else {"topology": str(topology)}
        if "resistors" in answers and topology is not None:
            chain["resistors"] = _items(answers["resistors"])
        if "return_resistors" in answers:
            chain["return_resistors"] = _items(answers["return_resistors"])
        if answers.get("size", NOT_KNOWN) != NOT_KNOWN:
            chain["style"] = answers["size"]
        result: dict[str, Any] = {key: answers[key] for key in ("name", "mains") if key in answers}
        if answers.get("feed") == SWITCHED:
            coil = answers.get("coil_supply", "12 V")
            result["feed"] = {"kind": "switched", "coil_supply": coil}
        if "paths" in answers:
            result["circuit"] = answers["paths"].split("; ")
        if _into_pin(answers) or _into_base(answers):
            result["optocoupler"] = NO_COUPLER
        if chain:
            result["chain"] = chain
        result |= {
            key: answers[key] for key in ("rectifier", "clamp", "optocoupler") if key in answers
        }
        output = {key: answers[key] for key in ("pull_up", "supply") if key in answers}
        return {**result, **({"output": output} if output else {})}

    def board(self) -> Board:
        """The board, once all is answered."""
        return board_from_dict(self.keys())

    def so_far(self) -> Board:
        """The board with what an example has in place of what is not answered yet."""
        keys = self.keys()
        example = example_of(_topology(self.answers) or Topology.HALF_WAVE)
        if "circuit" in keys:
            del example["chain"], example["rectifier"]
            example["chain"] = {}
        chain = {**example["chain"], **keys.pop("chain", {})}
        output = {**example["output"], **keys.pop("output", {})}
        if _into_pin(self.answers):
            del output["pull_up"]
        return board_from_dict({**example, **keys, "chain": chain, "output": output}, THIS)


def _into_pin(answers: Answers) -> bool:
    """Whether the paths lead into the controller's pin, without an optocoupler or transistor."""
    paths = answers.get("paths", "").split("; ")
    return any("pin" in SEPARATOR.split(path) for path in paths) and not _into_base(answers)


def _into_base(answers: Answers) -> bool:
    """Whether the paths lead into the base of a transistor at the pin."""
    return any(map(names_base, answers.get("paths", "").split("; ")))


def board_text(interview: Interview) -> str:
    """The board file: each answer as it was typed, what was understood beside it.

    Parameters
    ----------
    interview : Interview
        All answered.

    Returns
    -------
    text : str
        TOML that `zcd.board.files.parse_board` reads.
    """
    board = interview.board()
    meanings: dict[str, list[str]] = {}
    for note in board.read_as:
        meanings.setdefault(note.key.partition(".")[0].partition("[")[0], []).append(
            f"{note.printed} = {note.meaning}"
        )
    lines = ["# One board, described by answering questions. Change what differs."]
    if not board.is_isolated:
        lines.append(f"# CAUTION: {WITHOUT_COUPLER}.")
    for key, value in interview.keys().items():
        if key == "circuit":
            lines += ["circuit = [", *_path_lines(value, board.read_as), "]"]
            continue
        line = f"{key} = {_toml(value)}"
        told = "; ".join(dict.fromkeys(meanings.get(key, ())))
        lines.append(f"{line}  # {told}" if told else line)
    return "\n".join(lines) + "\n"


def _path_lines(paths: Sequence[str], notes: Sequence[ReadAs]) -> Iterator[str]:
    """Paths as lines of a list, what was understood beside each."""
    for path in paths:
        words = {word.upper() for word in path.split()}
        said = [
            f"{ref} {note.printed} = {note.meaning}"
            for note in notes
            if (ref := note.key.rpartition(".")[2]) in words
        ]
        told = f"  # {'; '.join(said)}" if said else ""
        yield f"    {_toml(path)},{told}"


def _understood(note: ReadAs, items: list[str]) -> str:
    """What a marking was read as, with the reference typed before it."""
    number = re.fullmatch(r"chain\.\w+\[(\d+)\]", note.key)
    item = items[int(number[1]) - 1] if number else note.printed
    ref = item.removesuffix(note.printed).rstrip(" :=")
    return f"{ref} {note.meaning}" if ref else f"{note.printed} = {note.meaning}"


def _items(text: str) -> list[str]:
    """Resistors as typed, each with its reference; where nothing else fits, one a word."""
    if text in ("", "none"):
        return []
    parts = resistors_in(text)
    if parts == [text] and not is_resistor(text):
        return with_references(text.replace(",", " ").split())
    return parts


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(each) for each in value) + "]"
    return json.dumps(value, ensure_ascii=False)
