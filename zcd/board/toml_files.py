"""Read the files people write: small TOML texts, checked against a schema.

Every problem is one line that names the file, the key, what was found and what is allowed; the
items of a list are counted from 1, like the parts on a board.
"""

from __future__ import annotations

import errno
import os
import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, get_args

from zcd.board.units import LONGEST_TEXT, nearest_name, require_length
from zcd.errors import InputError, describe_value, invalid_value
from zcd.logs import logger

if TYPE_CHECKING:
    from pydantic import ValidationError
    from pydantic_core import ErrorDetails

    from zcd.board.schema import Table
from zcd.files import file_name

_LOG = logger(__name__)

LARGEST_FILE_BYTES = 1_000_000
LONGEST_REMARK = 10_000
REMARKS = ("note", "repair", "board", "drawer")
"""Keys whose texts may be longer: what people tell, and the places of files."""
OTHER_WORDS = {
    "diode": "rectifier", "bridge": "rectifier", "opto": "optocoupler", "coupler": "optocoupler",
    "photocoupler": "optocoupler", "isolator": "optocoupler", "plate": "mains",
    "vcc": "supply", "vdd": "supply", "voltage": "supply", "relay": "feed", "coil": "coil_supply",
    "mcu": "controller", "micro": "controller", "size": "style", "values": "resistors",
    "capacitor": "pin_capacitor", "watt": "style", "type": "family", "rank": "grade",
    "watts": "style", "wattage": "style", "rating": "style", "coil_voltage": "coil_supply",
    "coil_ohms": "coil_resistance", "neutral_resistors": "return_resistors",
    "series_resistors": "resistors", "resistor": "resistors", "dropper": "resistors",
    "led_resistor": "resistor", "diodes": "rectifier", "title": "name", "model": "name",
    "brand": "name", "appliance": "name",
    **dict.fromkeys(
        (f"{word}{join}diode" for word in ("antiparallel", "anti_parallel", "parallel", "reverse",
         "protection", "clamp", "led") for join in ("", "_")), "clamp"
    ),
}  # fmt: skip
"""What people call a key -> the key, where its table has it."""
LEFT_OUT = ("fuse", "varistor", "mov", "ntc", "inductor", "choke")
"""Parts that a board may have and no circuit here needs."""
NO_RELAY_NAME = ("ref", "reference", "relay", "name")
AS_TRACED = (
    'in place of chain, rectifier and clamp, one line a path: circuit = ["feed - C1 100n - R1 1k - '
    'x", "x - D1 1N4148 < - neutral", "x - led+", "led- - neutral"] (< and > point to a diode\'s '
    "ring; zcd help board)"
)
MOST_STEPS = 100
_STEP_OF_KEY = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+"""
_LONG_KEY = re.compile(rf"(?<![\w-])(?:{_STEP_OF_KEY}){{{MOST_STEPS}}}")
"""A key of so many parts that reading it would take minutes."""
_MAX_LINES = 20

Schema = TypeVar("Schema", bound="Table")


def read_text(path: Path, wanted: str) -> str:
    """Text of a small UTF-8 file."""
    return decoded(read_bytes(path, wanted), file_name(path), wanted)


def decoded(data: bytes, name: str, wanted: str) -> str:
    """Text of UTF-8 bytes; a byte order mark, which some editors write, is dropped."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        result = f"bytes that are not UTF-8 text in line {line}"
    raise InputError(f"{name}: found {result}; allowed: {wanted}")


def read_bytes(path: Path, wanted: str, most: int = LARGEST_FILE_BYTES) -> bytes:
    """Bytes of an ordinary file of a size that can be meant; nothing else is waited for."""
    _LOG.info("reading %s", path)
    try:
        if path.is_file():
            size = path.stat().st_size
            if size <= most:
                return _read_at_once(path)
            result = f"{size} bytes"
        elif path.is_dir():
            result = "a directory"
        else:
            result = _nothing_to_read(path)
    except OSError as error:
        result = f"a file that cannot be read ({error.strerror})"
    raise InputError(f"{file_name(path)}: found {result}; allowed: {wanted}")


def _nothing_to_read(path: Path) -> str:
    """What there is in place of an ordinary file."""
    if path.exists():
        return "no ordinary file"
    return "a link that leads nowhere" if path.is_symlink() else f"no such file{_near_file(path)}"


def _near_file(path: Path) -> str:
    """A file of nearly this name beside it."""
    folder = path.parent
    if not folder.is_dir():
        return ""
    suffix = path.suffix or ".toml"
    alike = (each.stem for each in folder.iterdir() if each.suffix == suffix)
    close = nearest_name(path.stem, tuple(stem for stem in alike if stem.isprintable()))
    return f' (did you mean "{close}{suffix}"?)' if close else ""


def _read_at_once(path: Path) -> bytes:
    """All of a file; some of the system's own, which look like one, would keep us waiting."""

    def not_waiting(name: str, flags: int) -> int:
        return os.open(name, flags | getattr(os, "O_NONBLOCK", 0))

    with open(path, "rb", buffering=0, opener=not_waiting) as file:
        data: bytes | None = file.readall()
    if data is None:
        raise BlockingIOError(errno.EAGAIN, os.strerror(errno.EAGAIN))
    return data


def parse_toml(text: str, name: str, wanted: str) -> dict[str, Any]:
    """Keys and values of a TOML text, which must not be empty."""
    if not text.strip():
        raise InputError(f"{name}: found an empty file; allowed: {wanted}")
    if (long := _LONG_KEY.search(text)) is not None:
        line = text.count("\n", 0, long.start()) + 1
        found = f"line {line}: found a key of {MOST_STEPS} parts or more"
        raise InputError(f"{name}: {found}; allowed: keys such as output.supply")
    try:
        result = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _no_toml(text, name, str(error)) from None
    except RecursionError:
        found = "lists or tables nested too deep"
    except ValueError:
        found = "a number with too many digits"
    else:
        require_lengths(result, name)
        return result
    raise InputError(f'{name}: found {found}; allowed: lines such as supply = "5 V"')


def require_lengths(document: Mapping[str, Any], name: str) -> None:
    """Refuse a text that is far too long, wherever it stands: patterns look at what is short."""
    places: list[tuple[str, str, Any]] = [("", "", document)]
    while places:
        dotted, key, value = places.pop()
        most = LONGEST_REMARK if key in REMARKS else LONGEST_TEXT
        require_length(value, f"{name}: {dotted}", most)
        if dotted.count(".") < MOST_STEPS and isinstance(value, Mapping):
            for step, inner in value.items():
                require_length(step, f"{name}: a key")
                places.append((f"{dotted}{_step(step)}".removeprefix("."), step, inner))
        elif isinstance(value, list | tuple):
            places += [(dotted, key, inner) for inner in value]


def _no_toml(text: str, name: str, error: str) -> InputError:
    """What a person did in a text that is no TOML, where that can be told."""
    from zcd.board.toml_advice import advice

    at = re.search(r"at line (\d+)", error)
    number = int(at[1]) if at else text.count("\n") + 1
    if twice := re.match("Cannot (?:overwrite|declare)", error):
        line = text.splitlines()[number - 1][:LONGEST_TEXT] if at else ""
        key = re.match(r"\s*\[*\s*[\"']?([\w.-]+)", line)
        if twice and key is not None:
            found = f"{key[1]} a second time"
            return InputError(f"{name}: line {number}: found {found}; allowed: each key once")
    if (said := advice(text, number)) is not None:
        found, allowed = said
        return InputError(f"{name}: line {number}: found {found}; allowed: {allowed}")
    found = f"text that is no TOML: {error}"
    return InputError(f'{name}: found {found}; allowed: lines such as supply = "5 V"')


def validate(
    schema: type[Schema], value: Mapping[str, Any], written: Mapping[str, Any] | None = None
) -> tuple[Schema | None, list[str]]:
    """Check keys and values against a schema: the file, or one line for each problem.

    Parameters
    ----------
    schema : type
    value : mapping
    written : mapping, optional
        As a person wrote it, where `value` says it in longer form: keys are named as there.

    Returns
    -------
    file : Table or None
    lines : list of str
    """
    from pydantic import ValidationError  # loads slowly: not for what only writes files

    try:
        return schema.model_validate(value), []
    except ValidationError as error:
        return None, _schema_lines(schema, error, value if written is None else written)


def refuse(name: str, lines: list[str]) -> InputError:
    """Make the error for a file with problems: one line each, within reason."""
    if len(lines) > _MAX_LINES:
        lines = [
            *lines[:_MAX_LINES],
            f"found {len(lines) - _MAX_LINES} more problems; allowed: none",
        ]
    return InputError("\n".join(f"{name}: {line}" for line in lines))


def _schema_lines(
    schema: type[Table], error: ValidationError, value: Mapping[str, Any]
) -> list[str]:
    """Problems with single keys; a list is not blamed for an item that is."""
    details = error.errors(include_url=False)
    meant = {name for detail in details for name in _meant(schema, detail)}
    details = [d for d in details if d["type"] != "missing" or d["loc"] not in meant]
    blamed = {detail["loc"][:depth] for detail in details for depth in range(len(detail["loc"]))}
    return [_line(schema, detail, value) for detail in details if detail["loc"] not in blamed]


def _meant(schema: type[Table], detail: ErrorDetails) -> Iterator[tuple[int | str, ...]]:
    """The key that an unknown one is a misspelling of, or the tables that it belongs to."""
    if detail["type"] != "extra_forbidden":
        return
    table, name = _table_at(schema, detail["loc"])
    if name in schema.model_fields:
        yield (name,)
    elif table.TRACED is not None and table.TRACED.fullmatch(name):
        yield ("chain",)
    elif close := _near_key(name, table):
        yield (*detail["loc"][:-1], close)
    else:
        yield from ((home,) for home in _tables_with(schema, name))


def _line(schema: type[Table], detail: ErrorDetails, given: Mapping[str, Any]) -> str:
    """One problem found by the schema, as key, what was found and what is allowed."""
    from zcd.board.keys import allowed_text

    key = _dotted(_written_location(detail["loc"], given))
    cause = detail.get("ctx", {}).get("error")
    if isinstance(cause, InputError):
        return f"{key}: {cause}"
    table, name = _table_at(schema, detail["loc"])
    if detail["type"] == "extra_forbidden":
        if name.casefold() == "transistor" and isinstance(detail["input"], str):
            return f"{key}: {describe_value(name)} is not known{_as_line(detail['input'])}"
        return _unknown_line(schema, table, name, key)
    if detail["type"] == "too_long":
        many, most = (detail["ctx"][part] for part in ("actual_length", "max_length"))
        return f"{key}: found a list of {many}; allowed: {most} at the most"
    value = None if detail["type"] == "missing" else detail["input"]
    return str(invalid_value(value, allowed_text(table.model_fields[name]) or detail["msg"], key))


def _as_line(transistor: str) -> str:
    """Where to write a transistor whose base the chain leads into."""
    from zcd.board.as_printed import WITHOUT_COUPLER

    return (
        f'; write it as a line of its own in circuit: "Q1 {transistor}"; its leads are the points '
        "base, collector and emitter there, in place of led+ and led-, as in circuit = "
        f'["feed - R1 220k - R2 220k - base", "emitter - neutral", "collector - pin", '
        f'"Q1 {transistor}"]. CAUTION: {WITHOUT_COUPLER}'
    )


def _unknown_line(schema: type[Table], table: type[Table], name: str, key: str) -> str:
    """A key that its table does not know, and what to write instead."""
    meant = OTHER_WORDS.get(name.casefold(), name)
    if name in schema.model_fields:
        instead = f" here; write {name} = ... at the top of the file, above the first table"
    elif table.TRACED is not None and table.TRACED.fullmatch(name):
        instead = f"; write the circuit as you trace it, {AS_TRACED}"
    elif close := _near_key(name, table):
        instead = f'; write "{close}"'
    elif name.casefold() in NO_RELAY_NAME and "coil_supply" in table.model_fields:
        instead = "; leave it out: the load relay is K1 here, whatever the board calls it"
    elif name.casefold() in LEFT_OUT:
        instead = "; leave it out, it changes nothing here"
    elif re.fullmatch(r"R\d{1,4}", name):
        instead = f' here; write chain = {{{name} = "68k"}}, or output = {{pull_up = "{name} 10k"}}'
    elif homes := _tables_with(schema, name) | _tables_with(schema, meant):
        ways = " or ".join(f"{home} = {{{own} = ...}}" for home, own in homes.items())
        instead = f" here; write {ways}"
    else:
        return str(invalid_value(name, ", ".join(table.model_fields), key))
    return f"{key}: {describe_value(name)} is not known{instead}"


def _tables_with(schema: type[Table], name: str) -> dict[str, str]:
    """Tables of the file that know a key which stands in the wrong place, and how they spell it."""
    from zcd.board.keys import same_word

    inside = {key: table_in(info.annotation) for key, info in schema.model_fields.items()}
    return {
        key: own
        for key, table in inside.items()
        for own in (table.model_fields if table else ())
        if same_word(name, own)
    }


def _near_key(name: str, table: type[Table]) -> str:
    """The key of a table that was meant by a misspelling, or by another word for it."""
    meant = OTHER_WORDS.get(name.casefold())
    if meant in table.model_fields:
        return str(meant)
    return nearest_name(name, tuple(table.model_fields))


def _written_location(location: tuple[int | str, ...], value: object) -> tuple[int | str, ...]:
    """Cut off what a short form does not show: mains.voltage is mains in mains = "230"."""
    for depth, step in enumerate(location):
        if isinstance(value, Mapping):
            value = value.get(str(step))
        elif isinstance(value, list) and isinstance(step, int):
            value = value[step]
        else:
            return location[:depth]
    return location


def _dotted(location: tuple[int | str, ...]) -> str:
    return "".join(map(_step, location)).removeprefix(".")


def _step(step: int | str) -> str:
    if isinstance(step, int):
        return f"[{step + 1}]"
    return f".{step}" if re.fullmatch(r"[\w-]{1,40}", step) else f".{describe_value(step)}"


def _table_at(schema: type[Table], location: tuple[int | str, ...]) -> tuple[type[Table], str]:
    """Table and key of a location; list positions belong to the key that holds the list."""
    names = [step for step in location if isinstance(step, str)]
    table = schema
    for name in names[:-1]:
        table = table_in(table.model_fields[name].annotation) or table
    return table, names[-1]


def table_in(annotation: Any) -> type[Table] | None:
    """Table that a key holds, or a list of which; None: it holds neither."""
    from zcd.board.schema import Table

    if isinstance(annotation, type) and issubclass(annotation, Table):
        return annotation
    inner = (table_in(argument) for argument in get_args(annotation))
    return next((table for table in inner if table is not None), None)
