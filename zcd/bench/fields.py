"""The fields of the board sheet, and how they become a board file."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from zcd.board.files import board_from_dict
from zcd.board.library import diode_parts, styles
from zcd.board.model import Board, Topology
from zcd.errors import InputError

LONGEST_TEXT = 200
SHORT = {"rectifier": "part", "clamp": "part", "optocoupler": "family", "feed": "kind"}
"""Tables that a board file may give as one text, and the key that the text is for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field.

    Parameters
    ----------
    key : str
        Dotted key of the board file.
    label : str
    hint : str
        An example.
    choices : tuple of str
        What a list offers; empty: free text.
    many : bool
        Several values, with commas between them.
    """

    key: str
    label: str
    hint: str = ""
    choices: tuple[str, ...] = ()
    many: bool = False

    @property
    def id(self) -> str:
        """Its id on the page."""
        return "field-" + self.key.replace(".", "-")


def groups() -> dict[str, tuple[Field, ...]]:
    """The fields by heading, in the order in which a board is read."""
    diodes = ("", *diode_parts())
    return {
        "Mains": (
            Field(key="name", label="Name of the board", hint="as on its label"),
            Field(key="mains", label="Mains", hint="230 V 50 Hz"),
            Field(key="feed.kind", label="Feed", choices=("direct", "switched")),
        ),
        "Chain": (
            Field(key="chain.topology", label="Topology", choices=tuple(map(str, Topology))),
            Field(
                key="chain.resistors", label="Resistors from the feed", hint="120k, 4k7", many=True
            ),
            Field(
                key="chain.return_resistors",
                label="Resistors in the neutral leg (bridge)",
                hint="33k",
                many=True,
            ),
            Field(key="chain.style", label="Style of the resistors", choices=("", *styles())),
            Field(key="rectifier.part", label="Rectifier", choices=diodes),
            Field(key="clamp.part", label="Clamp diode across the LED", choices=diodes),
        ),
        "LED and optocoupler": (
            Field(key="optocoupler.family", label="Optocoupler", hint="817 C"),
            Field(key="optocoupler.remaining", label="CTR left by age", hint="100 %"),
            Field(key="led.resistor", label="Resistor across the LED", hint="10k"),
            Field(key="led.capacitor", label="Capacitor across the LED", hint="10 nF"),
        ),
        "Pin": (
            Field(key="output.pull_up", label="Pull-up", hint="10k"),
            Field(key="output.pull_down", label="Pull-down (emitter follower)", hint="4k7"),
            Field(key="output.supply", label="Supply", hint="5 V"),
            Field(key="output.pin_capacitor", label="Capacitor at the pin", hint="1 nF"),
        ),
    }


FIELDS: dict[str, Field] = {}


def all_fields() -> dict[str, Field]:
    """The fields by key."""
    if not FIELDS:
        FIELDS.update({f.key: f for fields in groups().values() for f in fields})
    return FIELDS


START = {
    "mains": "230 V 50 Hz",
    "feed": {"kind": "direct"},
    "chain": {"topology": "half-wave", "resistors": ["100k", "150k"]},
    "rectifier": {"part": "1N4007"},
    "optocoupler": {"family": "817 C"},
    "output": {"pull_up": "10k", "supply": "5 V"},
}
"""A board to begin with."""


def long_form(found: Mapping[str, Any]) -> dict[str, Any]:
    """A board file's keys with its short forms written out."""
    base = deepcopy(dict(found))
    for table, key in SHORT.items():
        if isinstance(base.get(table), str):
            base[table] = {key: base[table]}
    mains = base.get("mains")
    if isinstance(mains, dict) and mains.keys() <= {"voltage", "frequency"}:
        base["mains"] = " ".join(str(mains[k]) for k in ("voltage", "frequency") if k in mains)
    return base


def shown(base: Mapping[str, Any], field: Field) -> str | None:
    """What a field shows of a board file; None where the file says more than a field can."""
    value: Any = base
    steps = field.key.split(".")
    for step in steps:
        if not isinstance(value, Mapping):
            return None
        value = value.get(step, "" if step == steps[-1] else {})
    if field.many and isinstance(value, list):
        return (
            None if any(isinstance(v, dict | list) for v in value) else ", ".join(map(str, value))
        )
    return None if isinstance(value, dict | list) else str(value)


def merged(base: Mapping[str, Any], typed: Mapping[str, str]) -> dict[str, Any]:
    """A board file's keys with what was typed in its place; what no field shows stays."""
    whole = deepcopy(dict(base))
    for key, field in all_fields().items():
        if key not in typed or shown(base, field) is None:
            continue
        text = typed[key].strip()
        value = [part.strip() for part in text.split(",") if part.strip()] if field.many else text
        *tables, last = key.split(".")
        place = whole
        for table in tables:
            place = place.setdefault(table, {})
        if value:
            place[last] = value
        else:
            place.pop(last, None)
            if tables and not place:
                del whole[tables[0]]
    return whole


def read(base: Mapping[str, Any], typed: Mapping[str, str]) -> tuple[Board | None, dict[str, str]]:
    """The board that the fields describe.

    Parameters
    ----------
    base : mapping
        Keys of the board file that was opened, in long form.
    typed : mapping
        Key of a field -> what stands in it.

    Returns
    -------
    board : Board or None
    errors : dict
        Key of a field -> what is wrong with it, in words; under ``""``: of the whole.
    """
    long = [key for key, text in typed.items() if len(text) > LONGEST_TEXT]
    if long:
        words = f"found a text that is too long; allowed: {LONGEST_TEXT} letters"
        return None, dict.fromkeys(long, words)
    try:
        return board_from_dict(merged(base, typed), "board.toml"), {}
    except InputError as error:
        return None, _by_field(str(error).splitlines())


def _by_field(lines: list[str]) -> dict[str, str]:
    """Each problem beside the field that its key belongs to."""
    errors: dict[str, list[str]] = {}
    for line in lines:
        told = line.removeprefix("board.toml: ")
        key, _, rest = told.partition(": ")
        home = [k for k in all_fields() if key == k or key.startswith((f"{k}.", f"{k}["))]
        home = home or [k for k in all_fields() if k.split(".")[0] == key][:1]
        errors.setdefault(home[0] if home else "", []).append(rest if home else told)
    return {key: "; ".join(texts) for key, texts in errors.items()}
