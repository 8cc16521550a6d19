"""Files nearly as people write them: good ones, with keys, values or bytes changed."""

from __future__ import annotations

import json
from collections.abc import Callable
from copy import deepcopy
from typing import Any

from hypothesis import strategies as st

from tests.fuzz.hostile import PLAUSIBLE, keys, values

Document = dict[str, Any]


def toml_text(document: Document) -> str:
    """A document as TOML, whatever is in it: inline tables, a line for each key."""
    return "".join(f"{_key(key)} = {_value(value)}\n" for key, value in document.items())


def _key(key: str) -> str:
    return json.dumps(key, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    match value:
        case bool():
            return str(value).lower()
        case str():
            return _key(value)
        case list():
            return f"[{', '.join(map(_value, value))}]"
        case dict():
            return f"{{{', '.join(f'{_key(k)} = {_value(v)}' for k, v in value.items())}}}"
        case int() | float():
            return _number(value)
        case _:
            return str(value.isoformat())


def _number(value: float) -> str:
    if isinstance(value, int) and abs(value) > 10**4000:
        return "9" * 4_400
    return repr(value)


def _places(value: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every key and every place of a list, however deep."""
    result: list[tuple[Any, ...]] = []
    if isinstance(value, dict | list):
        for step, inner in value.items() if isinstance(value, dict) else enumerate(value):
            result += [(*at, step), *_places(inner, (*at, step))]
    return result


def _parent(document: Document, place: tuple[Any, ...]) -> Any:
    holder: Any = document
    for step in place[:-1]:
        holder = holder[step]
    return holder


def _near(key: str, seed: int) -> str:
    """A key with one letter missing, doubled or in upper case."""
    at = seed % max(len(key), 1)
    return (
        key[:at] + key[at + 1 :],
        key[:at] + key[at : at + 1] + key[at:],
        key[:at] + key[at : at + 1].upper() + key[at + 1 :],
    )[seed % 3]


def _change(draw: st.DrawFn, document: Document) -> None:
    """One change of a document: a value, a key, or both."""
    places = _places(document)
    way = draw(st.sampled_from(("value", "other", "other", "other", "drop", "add", "near", "swap")))
    if not places or way == "add":
        tables = [document, *(_at(document, p) for p in places)]
        tables = [table for table in tables if isinstance(table, dict)]
        draw(st.sampled_from(tables))[draw(keys)] = draw(values)
        return
    place = draw(st.sampled_from(places))
    holder, step = _parent(document, place), place[-1]
    if way == "value":
        holder[step] = draw(values)
    elif way == "other":
        holder[step] = draw(st.sampled_from(PLAUSIBLE))
    elif way == "drop":
        del holder[step]
    elif way == "near" and isinstance(step, str):
        holder[_near(step, draw(st.integers(0, 99)))] = holder.pop(step)
    else:
        other = draw(st.sampled_from(places))
        holder[step] = deepcopy(_at(document, other))


def _at(document: Document, place: tuple[Any, ...]) -> Any:
    return _parent(document, place)[place[-1]]


@st.composite
def documents(draw: st.DrawFn, good: tuple[Document, ...]) -> Document:
    """A good document with up to four changes."""
    document = deepcopy(draw(st.sampled_from(good)))
    for _ in range(draw(st.sampled_from((0, 1, 1, 1, 2, 3)))):
        _change(draw, document)
    return document


def _utf8(text: str) -> bytes:
    return text.encode("utf-8", errors="surrogatepass")


WHOLE: dict[str, Callable[[str], bytes]] = {
    "as it is": _utf8,
    "byte order mark": lambda text: b"\xef\xbb\xbf" + _utf8(text),
    "Windows line ends": lambda text: _utf8(text).replace(b"\n", b"\r\n"),
    "old line ends": lambda text: _utf8(text).replace(b"\n", b"\r"),
    "UTF-16": lambda text: text.encode("utf-16", errors="surrogatepass"),
    "Latin-1": lambda text: text.encode("latin-1", errors="replace"),
    "twice": lambda text: _utf8(text) * 2,
    "empty": lambda text: b"",
    "blank": lambda text: b" \r\n\t\n",
    "huge": lambda text: _utf8(text) + b"# padding\n" * 110_000,
}
"""What may befall a whole file."""


@st.composite
def bytes_of(draw: st.DrawFn, text: str) -> bytes:
    """A text as bytes, as editors, memory sticks and accidents leave them."""
    data = WHOLE[draw(st.sampled_from(("as it is",) * 30 + tuple(WHOLE)))](text)
    if data and draw(st.integers(0, 9)) == 0:
        start, end = sorted(draw(st.tuples(*[st.integers(0, len(data))] * 2)))
        marks = st.sampled_from((b"\x00", b"\n", b'"', b"[", b"="))
        put = draw(st.one_of(marks, st.binary(max_size=9)))
        data = data[:start] + put + data[draw(st.sampled_from((start, start + 1, end))) :]
    return data


@st.composite
def toml_files(draw: st.DrawFn, good: tuple[Document, ...]) -> bytes:
    """A TOML file: changed keys and values, then changed bytes."""
    return draw(bytes_of(toml_text(draw(documents(good)))))
