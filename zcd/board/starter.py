"""A board file to start from: what must be written is there, the rest stands as comments."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from zcd import refdata
from zcd.board.assumptions import default_text
from zcd.board.keys import NameReader, allowed_text, holds, key_of, reader_of
from zcd.board.model import Topology
from zcd.board.schema import BoardFile, Table
from zcd.board.toml_files import table_in

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

COLUMN = 32
"""Where the words beside a line begin."""
NOTE_COLUMNS = 96
SUCH_AS = " such as "
OTHER_WAYS = ("output.pull_down", "chain.return_resistors", "chain.rectifier_first")
"""Keys that belong to some boards only: where an example has them."""
OF_NO_NAME = ("reverse_voltage", "current", "breakdown_voltage")
"""Figures of a diode that its name has."""
DIODES = ("rectifier", "clamp")
"""Tables of which a topology has one, both or none."""
FEW = 3
"""Names that are listed beside a key."""

_HEAD = """\
# Sync circuit of one board: write what is printed on the parts.
# Lines with a # are optional; each shows what is taken when it is not written, or an example.
# Values: "120k", "4k7", "10 nF", "230 V", "5 %", "25 °C", or a plain number in SI units.
# CAUTION: the mains side is live up to and including the optocoupler's LED. Isolate, discharge
# and prove dead before you measure parts; local codes and licensed practice go first.
"""
_NOTES = {
    "feed": 'All but kind belongs to kind = "switched", behind the load relay\'s contact.',
    "chain": 'A resistor may say more: {value = "33k", ref = "R5", style = "1206", '
    'tolerance = "1 %", power = "0.25 W", working_voltage = "200 V"}. '
    'Any other circuit: circuit = ["feed - R7 82k - D1 1N4007 > - led+", "led- - neutral"] in the '
    "place of chain, rectifier, clamp and led; see zcd help board.",
    "output": "pull_down in place of pull_up: an emitter follower.",
    "supervision": "From here on: what is around the sync circuit, for zcd story.",
}
"""What to know about a table."""
_LED_BOTH_HALVES = (
    "Lit in both halves, the LED is dark for a moment only at each crossing. This resistor keeps "
    "it dark for longer: without it a strong and slow optocoupler never lets the pin go high."
)

_UNLIKE_LEDS = (
    "The two LEDs of one part may differ in CTR as 1 to 3, so every other pulse may begin later: "
    "the controller has to accept uneven pulses."
)

_AT_120_V = {"voltage": "120 V", "# frequency": "60 Hz", "# band": "120 service"}
_AT_230_V = {"voltage": "230 V", "# frequency": "50 Hz", "# band": "230 +-10 %"}
_DIRECT = {"kind": "direct"}
_LEADS = {"# rectifier_first": False}


def _chain(topology: Topology, *resistors: str, **more: Any) -> dict[str, Any]:
    return {"topology": str(topology), "resistors": list(resistors), "# style": "1/4 W", **more}


_EXAMPLES: dict[Topology, dict[str, Any]] = {
    Topology.HALF_WAVE: {
        "name": "Example: Brindlow S4 seed-tray heater (invented)",
        "mains": _AT_230_V,
        "chain": _chain(Topology.HALF_WAVE, "36k", "36k", "36k", **_LEADS),
        "rectifier": {"part": "1N4007"},
        "optocoupler": {"family": "817", "grade": "B"},
        "output": {"pull_up": "15k", "supply": "5 V"},
    },
    Topology.CLAMPED: {
        "name": "Example: Copperlow KV kiln vent (invented)",
        "mains": _AT_230_V,
        "chain": _chain(Topology.CLAMPED, "43k", "43k", "43k", "43k"),
        "clamp": {"part": "1N4148"},
        "optocoupler": {"family": "817", "grade": "B"},
        "output": {"pull_up": "27k", "supply": "5 V"},
    },
    Topology.HALF_WAVE_CLAMPED: {
        "name": "Example: Mossend P1 dough proofer (invented)",
        "mains": _AT_120_V,
        "chain": _chain(Topology.HALF_WAVE_CLAMPED, "24k", "24k", **_LEADS),
        "rectifier": {"part": "1N4007"},
        "clamp": {"part": "1N4148"},
        "optocoupler": {"family": "817", "grade": "B"},
        "output": {"pull_up": "8k2", "supply": "3.3 V"},
    },
    Topology.BRIDGE: {
        "name": "Example: Fennimore T2 towel rail (invented)",
        "mains": _AT_120_V,
        "chain": _chain(Topology.BRIDGE, "12k", "12k", return_resistors=["12k", "12k"]),
        "rectifier": {"part": "1N4007"},
        "optocoupler": {"family": "817", "grade": "C"},
        "led": {"resistor": "2k"},
        "output": {"pull_up": "9k1", "supply": "5 V"},
    },
    Topology.TWO_LED: {
        "name": "Example: Waxholt M3 candle-wax melter (invented)",
        "mains": _AT_230_V,
        "chain": {
            **_chain(Topology.TWO_LED, "13k", "13k", "13k", "13k"), "style": "1/2 W",
        },
        "optocoupler": {"family": "814", "grade": "A"},
        "led": {"resistor": "1k5"},
        "output": {"pull_up": "10k", "supply": "5 V"},
        "controller": {"period_tolerance": "10 %"},
    },
}  # fmt: skip
"""A board of its own for each topology; each keeps all rules at its worst corners."""


def example_of(topology: Topology) -> dict[str, Any]:
    """Keys and values of the invented board that a topology's board file begins with."""

    def given(value: Any) -> Any:
        if not isinstance(value, dict):
            return value
        return {key: given(each) for key, each in value.items() if not key.startswith("#")}

    return {"feed": dict(_DIRECT), **given(_EXAMPLES[topology])}


def starter_text(topology: Topology, mains: Mapping[str, Any] | None = None) -> str:
    """Board file of an invented board, for a person to change.

    Parameters
    ----------
    topology : Topology
    mains : mapping, optional
        Keys of ``[mains]`` in place of those of the example.

    Returns
    -------
    str
        TOML that `zcd.board.files.parse_board` reads; optional keys are comments.
    """
    example = {"feed": _DIRECT, **_EXAMPLES[topology]}
    if mains:
        example["mains"] = mains
    tables = [_HEAD, f'name = "{example["name"]}"\n']
    for name, info in BoardFile.model_fields.items():
        table = table_in(info.annotation)
        if table is not None and (
            name in example or (not info.is_required() and name not in DIODES)
        ):
            tables.append("\n".join(_table_lines(name, table, example.get(name))) + "\n")
    return "\n".join(tables)


def _table_lines(name: str, table: type[Table], values: Mapping[str, Any] | None) -> Iterator[str]:
    """A table: its note, its head, and a line for each key."""
    of_example = {"led": _LED_BOTH_HALVES, "controller": _UNLIKE_LEDS} if values else {}
    note = of_example.get(name) or _NOTES.get(name, "")
    yield from (f"# {line}" for line in _wrapped(note))
    yield f"[{name}]" if values else f"# [{name}]"
    for key, info in table.model_fields.items():
        yield from _key_lines(f"{name}.{key}", key, info, values or {})


def _key_lines(dotted: str, key: str, info: FieldInfo, values: Mapping[str, Any]) -> Iterator[str]:
    """The line of a key: as the example has it, or as a comment with what is taken."""
    words = _words(dotted, key, info)
    if key in values:
        yield _line(f"{key} = {_toml(values[key])}", words)
    elif f"# {key}" in values:
        yield _line(f"# {key} = {_toml(values[f'# {key}'])}", words)
    elif dotted not in OTHER_WAYS and not (key in OF_NO_NAME and "part" in values):
        usual, example = _usual(dotted, info), _example(info)
        if usual:
            yield _line(f"# {key} = {usual}", words)
        elif example:
            yield _line(f"# {key} = {example}", f"{words} (example)" if words else "example")


def _words(dotted: str, key: str, info: FieldInfo) -> str:
    """What a key is, where its name does not say it."""
    own, reader = key_of(info), reader_of(info)
    label = own.label.format(of=dotted.partition(".")[0].capitalize())
    if not label[1:2].isupper():
        label = label[:1].lower() + label[1:]
    if isinstance(reader, NameReader) and len(reader.names) <= FEW:
        return f"{label}: {' or '.join(reader.names)}"
    same = label.replace("-", " ") == key.replace("_", " ")
    return "" if same or label in dotted else label


def _usual(dotted: str, info: FieldInfo) -> str:
    """What is taken where nothing is written, as TOML; empty where that is not one value."""
    own = key_of(info)
    row = own.default_row or dotted
    if own.usual:
        return _toml(own.usual)
    if row in refdata.defaults():
        text = default_text(refdata.default(row))
        return text if holds(info.annotation, int) else _toml(text)
    return "false" if holds(info.annotation, bool) else ""


def _example(info: FieldInfo) -> str:
    """An example, as TOML: that of a list or table, or the hint."""
    shown = allowed_text(info).partition(SUCH_AS)[2]
    if shown[:1] in ("[", "{"):
        return shown
    hint = key_of(info).hint
    return _toml(hint) if hint else ""


def _toml(value: Any) -> str:
    """A value as TOML: the texts, numbers and lists here are written as in JSON."""
    if isinstance(value, Mapping):
        inner = ", ".join(f"{key} = {_toml(item)}" for key, item in value.items())
        return f"{{{inner}}}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_toml, value))}]"
    return json.dumps(value, ensure_ascii=False)


def _line(text: str, words: str) -> str:
    """A line with words beside it, in their column where there is room."""
    return f"{text:{COLUMN - 2}}  # {words}" if words else text


def _wrapped(text: str) -> list[str]:
    return wrap(text, NOTE_COLUMNS)
