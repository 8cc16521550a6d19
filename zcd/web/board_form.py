"""What stands in the fields, and the board file that it is: each made from the other."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from zcd.board.as_printed import spread
from zcd.board.files import board_from_dict
from zcd.board.model import Board
from zcd.board.schema import mains_table
from zcd.board.traced import KEY as CIRCUIT
from zcd.board.traced import couplers_apart
from zcd.errors import InputError
from zcd.web.board_fields import (
    DETAILS,
    FIRST,
    FIRST_TRACED,
    PARALLEL,
    SAID,
    SINGLES,
    Field,
    String,
    groups,
    row_fields,
    single_fields,
)
from zcd.web.resistor_rows import LISTS, ROW, Texts, parallel_of, row_words, rows_of, strings_of

LONGEST_TEXT, LONGEST_CIRCUIT = 200, 1500
SHORT = {
    "rectifier": "part",
    "clamp": "part",
    "optocoupler": "family",
    "feed": "kind",
    "drive": "kind",
    "fan": "power",
}
"""Tables that a board file may give as one text, and the key that the text is for."""
VALUE = re.compile(r"\s*(?:\d+,(?=\d))?[^,]+")
"""One of the resistors of a row: ``4,7k`` is not two of them, but refused as elsewhere."""
FILE = "board.toml"
HARMONICS = "mains.harmonics"
START = {
    "mains.voltage": "230 V",
    "feed.kind": "direct",
    "chain.topology": "half-wave",
    "chain.resistors.1": "51k",
    "chain.resistors.2": "62k",
    "chain.resistors.3": "51k",
    "rectifier.part": "1N4007",
    "optocoupler.family": "817 B",
    "output.pull_up": "22k",
    "output.supply": "5 V",
}
"""A board to begin with."""


def texts_of(value: Mapping[str, Any]) -> Texts:
    """What stands in the fields for a board file.

    Parameters
    ----------
    value : mapping
        Keys and values of a board file that is good.

    Returns
    -------
    texts : dict
        Key of a field -> its text; only what the file says.
    """
    return dict(_texts(_long_form(couplers_apart(spread(value))), ""))


def _long_form(value: Mapping[str, Any]) -> dict[str, Any]:
    """A board file's keys with the short forms of its tables written out."""
    whole = {
        key: value if isinstance(value, Mapping) else {SHORT[key]: value}
        for key, value in value.items()
        if key in SHORT
    }
    if "part" in (coupler := whole.get("optocoupler", {})) and "family" not in coupler:
        # both are read, and one has the field
        whole["optocoupler"] = {"family" if k == "part" else k: v for k, v in coupler.items()}
    return {**value, **whole, "mains": mains_table(value.get("mains", {}))}


def _texts(given: Mapping[str, Any], before: str) -> Iterator[tuple[str, str]]:
    for name, value in given.items():
        key = before + name
        if key in LISTS:
            yield from _rows_texts(value, key)
        elif key == PARALLEL:
            for number, string in enumerate(value, 1):
                yield from _rows_texts(string, f"{key}.{number}")
        elif key == CIRCUIT:
            yield key, value if isinstance(value, str) else "; ".join(map(str, value))
        elif key == HARMONICS:
            yield key, ", ".join(_harmonic_text(item) for item in value)
        elif key in SINGLES and isinstance(value, Mapping):
            yield from _row_texts(key, value)
        elif isinstance(value, Mapping):
            yield from _texts(value, f"{key}.")
        else:
            yield key, str(value).lower() if isinstance(value, bool) else str(value)


def _harmonic_text(item: Mapping[str, Any]) -> str:
    return f"{item['order']}: {item['fraction']} {item.get('phase', '')}".strip()


def _rows_texts(items: Sequence[Any], string: str) -> Iterator[tuple[str, str]]:
    for number, item in enumerate(items, 1):
        table = item if isinstance(item, Mapping) else {"value": item}
        yield from _row_texts(f"{string}.{number}", table)


def _row_texts(key: str, item: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    yield key, str(item["value"])
    for name in DETAILS:
        if name in item:
            yield f"{key}.{name}", str(item[name])


def known(key: str) -> bool:
    """Whether there is, or may be, a field of this key."""
    row = ROW.fullmatch(key)
    return key in single_fields() or (row is not None and row[3] in (None, *DETAILS))


def typed_over(base: Mapping[str, str], typed: Mapping[str, str]) -> Texts:
    """What stands in the fields: as typed, else as in the file; rows are all of one or the other.

    Parameters
    ----------
    base : mapping
        Texts of the file.
    typed : mapping
        Anything that was sent; what is no field is left out.
    """
    typed = {
        key: "; ".join(text.splitlines()) if key == CIRCUIT else text
        for key, text in typed.items()
        if known(key)
    }
    rows = any(ROW.fullmatch(key) for key in typed)
    kept = {key: text for key, text in base.items() if not (rows and ROW.fullmatch(key))}
    return {**kept, **typed}


def differing(base: Mapping[str, str], typed: Mapping[str, str]) -> Texts:
    """What must be told beside the file, so that `typed_over` gives the same again."""
    rows = [{k: t for k, t in side.items() if ROW.fullmatch(k)} for side in (base, typed)]
    before, now = map(_said, rows)
    told = {k: t for k, t in typed.items() if k not in rows[1] and t != base.get(k, "")}
    if before != now:
        told |= now or {f"{LISTS[0]}.1": ""}
    return told


def _said(texts: Mapping[str, str]) -> Texts:
    return {key: text for key, text in texts.items() if text.strip()}


def fields_of(texts: Mapping[str, str]) -> dict[str, Field]:
    """All fields that the page shows for these texts, by key, in the order of the page."""
    result: dict[str, Field] = {}
    for group in groups():
        strings = (*group.strings, *group.more_strings)
        if group.more_strings:
            strings += parallel_of(texts)
        rows = [f for s in strings for f in _string_fields(s, texts)]
        result |= {f.key: f for f in (*group.fields, *rows, *group.more)}
    return result


def _string_fields(string: String, texts: Mapping[str, str]) -> Iterator[Field]:
    for number in range(1, len(rows_of(texts, string.key)) + 1):
        value, more = row_fields(f"{string.key}.{number}", row_words(number))
        yield from (value, *more)


def file_of(texts: Mapping[str, str]) -> dict[str, Any]:
    """The board file that stands in the fields; empty ones are left out."""
    said = {key: text.strip() for key, text in _said(texts).items()}
    whole: dict[str, Any] = {}
    for table in ("mains", "chain", "optocoupler", "output"):
        whole[table] = {}  # so that what they lack is told key by key
    details = {f"{key}.{name}": key for key in SINGLES for name in DETAILS}
    if "mains.frequency" not in said:  # as on a plate: 230 V 50 Hz
        said |= {f"mains.{k}": t for k, t in _long_mains(said.get("mains.voltage", "")).items()}
    for key, text in said.items():
        if key in details:
            _put(whole, f"{details[key]}.value", said.get(details[key]))
        if not ROW.fullmatch(key):
            alone = key not in SINGLES or not any(f"{key}.{name}" in said for name in DETAILS)
            _put(whole, key if alone else f"{key}.value", _value(key, text))
    for list_key in LISTS:
        if items := [item for item, _ in _items(texts, list_key)]:
            _put(whole, list_key, items)
    if strings := [[item for item, _ in _items(texts, key)] for key in _parallel(texts)]:
        _put(whole, PARALLEL, strings)
    return whole


def _long_mains(text: str) -> dict[str, str]:
    """Voltage and frequency of a text that has both; empty for any other."""
    table = mains_table(text)
    return table if isinstance(table, dict) and "frequency" in table else {}


def _put(whole: dict[str, Any], key: str, value: Any) -> None:
    if value is None:
        return
    *tables, last = key.split(".")
    for table in tables:
        whole = whole.setdefault(table, {})
    whole[last] = value


def _value(key: str, text: str) -> Any:
    """A text as the file has it: a whole number, true or false, harmonics, or the text."""
    kind = single_fields()[key].kind if key in single_fields() else "text"
    if kind == "lines":
        return [line.strip() for line in text.split(";") if line.strip()]
    if key == HARMONICS:
        return [_harmonic(part) for part in text.split(",")]
    if kind == "truth":
        return {"true": True, "false": False}.get(text.lower(), text)
    return int(text) if kind == "whole" and re.fullmatch(r"[+-]?\d{1,9}", text) else text


def _harmonic(text: str) -> dict[str, Any]:
    """One harmonic, such as ``3: 5 % 180 deg``."""
    order, _, rest = (part.strip() for part in text.partition(":"))
    share, percent, phase = (part.strip() for part in rest.partition("%"))
    if not percent:
        share, _, phase = (part.strip() for part in rest.partition(" "))
    item: dict[str, Any] = {"order": int(order) if re.fullmatch(r"\d{1,4}", order) else order}
    if share:
        item["fraction"] = share + (" %" if percent else "")
    return {**item, "phase": phase} if phase else item


def _parallel(texts: Mapping[str, str]) -> list[str]:
    """Keys of the parallel strings in which something stands."""
    keys = [s.key for s in parallel_of(texts)]
    return [key for key in keys if any(True for _ in _items(texts, key))]


def _items(texts: Mapping[str, str], string: str) -> Iterator[tuple[Any, int]]:
    """The resistors of a string, each with the number of its row."""
    for number, row in enumerate(rows_of(texts, string), 1):
        said = {name: text.strip() for name, text in row.items() if text.strip()}
        values = [part.strip() for part in VALUE.findall(said.pop("", "")) if part.strip()]
        refs = [part.strip() for part in said.pop("ref", "").split(",") if part.strip()]
        if refs and len(refs) != len(values):
            refs = [", ".join(refs)] * max(len(values), 1)  # which is no reference, and refused
        if said or refs:
            tables = [{"value": value} for value in values] or [{}]
            for table, ref in zip(tables, refs or [""] * len(tables), strict=True):
                yield {**table, **({"ref": ref} if ref else {}), **said}, number
        else:
            yield from ((value, number) for value in values)


def read(texts: Mapping[str, str]) -> tuple[Board | None, dict[str, str]]:
    """The board that the fields describe.

    Parameters
    ----------
    texts : mapping
        Key of a field -> what stands in it.

    Returns
    -------
    board : Board or None
    errors : dict
        Key of a field -> what is wrong with it, in words; under ``""``: of the whole.
    """
    longest = {CIRCUIT: LONGEST_CIRCUIT}
    long = [key for key, text in texts.items() if len(text) > longest.get(key, LONGEST_TEXT)]
    if long:
        words = "found a text that is too long; allowed: {} letters"
        return None, {key: words.format(longest.get(key, LONGEST_TEXT)) for key in long}
    try:
        return board_from_dict(file_of(texts), FILE), {}
    except InputError as error:
        return None, _by_field(str(error).splitlines(), texts)


def _by_field(lines: Sequence[str], texts: Mapping[str, str]) -> dict[str, str]:
    """Each problem beside the field that its key belongs to."""
    fields = fields_of(texts)
    errors: dict[str, list[str]] = {}
    for line in lines:
        told = line.removeprefix(f"{FILE}: ")
        key, _, rest = told.partition(": ")
        home = _home(key, texts, fields)
        errors.setdefault(home, []).append(rest if home else told)
    return {key: "; ".join(dict.fromkeys(words)) for key, words in errors.items()}


def _home(key: str, texts: Mapping[str, str], fields: Mapping[str, Field]) -> str:
    """The field that a key of the board file stands in; empty: none."""
    key = _with_row(key, texts).removesuffix(".value")
    if key in fields:
        return key
    inside = [k for k in fields if k.startswith(f"{key}.")]
    around = sorted((k for k in fields if key.startswith((f"{k}.", f"{k}["))), key=len)
    beside = [k for k in fields if k.split(".")[0] == key.split(".")[0].split("[")[0]]
    return next(iter((*inside, *around[::-1], *beside)), "")


def _with_row(key: str, texts: Mapping[str, str]) -> str:
    """A resistor's key with its row in place of its number in the list."""
    match = re.fullmatch(r"(chain\.\w+)(?:\[(\d+)\])?(?:\[(\d+)\])?(\..*)?", key)
    if match is None or match[2] is None or match[1] not in (*LISTS, PARALLEL):
        return key
    string, number = match[1], match[2]
    if string == PARALLEL:
        string, number = _parallel(texts)[int(match[2]) - 1], match[3] or "1"
    rows = _rows_by_part(texts, string)
    return f"{string}.{rows[min(int(number), len(rows)) - 1]}{match[4] or ''}"


def _rows_by_part(texts: Mapping[str, str], string: str) -> list[int]:
    """The number of the row that each resistor of a string stands in: ``3x68k`` is three."""
    return [
        row
        for item, row in _items(texts, string)
        for _ in spread({"chain": {"resistors": [item]}})["chain"]["resistors"]
    ]


def notes_of(board: Board, texts: Mapping[str, str]) -> dict[str, str]:
    """What was understood of codes and plates, beside the field in which each stands; what is
    assumed, beside those that are empty.

    Parameters
    ----------
    board : Board
    texts : mapping
        Key of a field -> what stands in it.
    """
    fields = fields_of(texts)
    told = () if board.appliance is None else board.appliance.assumptions
    notes = {
        each.key: [f"assumed: {SAID.get(each.value, each.value)}"]
        for each in (*board.assumptions, *told)
        if each.key in fields and not texts.get(each.key, "").strip()
    }
    for note in board.read_as:
        home = _home(note.key, texts, fields)
        notes.setdefault(home, []).append(f"{note.printed} = {note.meaning}")
    return {key: "; ".join(dict.fromkeys(lines)) for key, lines in notes.items()}


def part_fields(board: Board, texts: Mapping[str, str]) -> dict[str, str]:
    """Ref of a part or source on the diagram -> the id of the field that says its value.

    Parameters
    ----------
    board : Board
    texts : mapping
        Key of a field -> what stands in it.
    """
    keys = {
        "mains": "mains.voltage",
        "supply": "output.supply",
        **dict.fromkeys(("K1.contact", "K1.coil", "K1.driver"), "feed.kind"),
    }
    for key, part in (
        ("rectifier.part", board.rectifier), ("clamp.part", board.clamp),
        ("optocoupler.family", board.optocoupler), ("output.pull_up", board.output.resistor),
    ):  # fmt: skip
        if part is not None:
            keys[part.ref] = key
    if board.traced is not None:
        parts = [part.ref for string in board.chains for part in string]
        keys |= dict.fromkeys((*parts, *(diode.ref for diode in board.diodes)), CIRCUIT)
    for part, number in zip(board.chains[0], _rows_by_part(texts, LISTS[0]), strict=False):
        keys[part.ref] = f"{LISTS[0]}.{number}"
    fields = fields_of(texts)
    return {ref: fields[key].id for ref, key in keys.items() if key in fields}


@dataclass(frozen=True, slots=True)
class StringRows:
    """A string on the page: its rows, each with a key and its cells; what is folded away."""

    rows: tuple[tuple[str, tuple[Field, ...]], ...]
    more: tuple[Field, ...]


def _string_rows(string: String, texts: Mapping[str, str]) -> StringRows:
    """In a row stand reference, value and style; as an example what is taken where it says none."""
    rows: list[tuple[str, tuple[Field, ...]]] = []
    folded: list[Field] = []
    for number in range(1, len(rows_of(texts, string.key)) + 1):
        key = f"{string.key}.{number}"
        value, more = row_fields(key, row_words(number))
        said = {field.key.rpartition(".")[2]: field for field in more}
        ref = replace(said.pop("ref"), hint=f"R{number}" if string.key == LISTS[0] else "")
        style = replace(said.pop("style"), hint=texts.get("chain.style", ""))
        rows.append((key, (ref, value, style)))
        folded += said.values()
    return StringRows(tuple(rows), tuple(folded))


def form_words(texts: Mapping[str, str], errors: Mapping[str, str]) -> dict[str, Any]:
    """What the page's form shows, for its template.

    Parameters
    ----------
    texts : mapping
        Key of a field -> what stands in it.
    errors : mapping
        Key of a field -> what is wrong with it.

    Returns
    -------
    words : dict
        ``groups``; ``rows``: string -> its `StringRows`;
        ``parallel``: strings; ``fields``: all of them by key; ``said``: keys of the fields that
        must not be folded away; ``unfolded``: whether those strings must not.
    """
    strings = strings_of(texts)
    rows = {s.key: _string_rows(s, texts) for s in strings}
    fields = fields_of(texts)
    said = [key for key in fields if texts.get(key, "").strip() or key in errors]
    first = FIRST_TRACED if texts.get(CIRCUIT, "").strip() else FIRST
    rest = [key for key in said if not key.startswith(first)]
    return {
        "groups": groups(),
        "rows": rows,
        "parallel": parallel_of(texts),
        "fields": fields,
        "first_keys": first,
        "strings": {s.key: s for s in strings},
        "rest_said": len(rest),
        "rest_errors": [key for key in rest if key in errors],
        "said": said,
        "unfolded": len(strings) > len(LISTS)
        or len(rows[LISTS[1]].rows) > 1
        or any(key.startswith(LISTS[1]) for key in said),
        "typed": texts,
        "said_as": SAID,
        "errors": errors,
    }
