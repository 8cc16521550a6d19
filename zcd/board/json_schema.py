"""The JSON Schema of a board file, so that editors complete its keys and check its values."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, get_args, get_origin

from zcd.board.keys import NameReader, QuantityReader, allowed_text, holds, key_of, reader_of
from zcd.board.toml_files import table_in
from zcd.serialize import DIALECT

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

    from zcd.board.schema import Table

SHORT_FORMS = {"type": ["string", "number"]}
"""What may stand for a table that has a short form."""


def file_schema(table: type[Table], title: str) -> dict[str, Any]:
    """The JSON Schema (2020-12) of a file of this schema.

    Parameters
    ----------
    table : type
        A class of `zcd.board.schema`.
    title : str

    Returns
    -------
    schema : dict

    Notes
    -----
    It says which keys there are and of which type; whether a quantity makes sense, or keys
    contradict one another, only reading the file tells.
    """
    return {"$schema": DIALECT, "title": title, **_table(table, "")}


def _table(table: type[Table], of: str) -> dict[str, Any]:
    fields = table.model_fields
    required = [name for name, info in fields.items() if info.is_required()]
    result = {
        "type": "object",
        "additionalProperties": False,
        "properties": {name: _key(info, of) for name, info in fields.items()},
        "required": required,
    }
    for name, info in fields.items():
        if other := key_of(info).instead_of:
            result |= _either(result, other, name)
    return result


def _either(table: dict[str, Any], name: str, other: str) -> dict[str, Any]:
    """What takes the place of a key that must be there, and all in it that must: one of two."""
    required = [key for key in table["required"] if key != name]
    inner = table["properties"][name]
    needed = {"required": [name], "properties": {name: {"required": inner.pop("required")}}}
    return {"required": required, "if": {"required": [other]}, "else": needed}


def _key(info: FieldInfo, of: str) -> dict[str, Any]:
    """One key: its type, with its label and what may be written."""
    label = key_of(info).label.format(of=of)
    words = ": ".join(text for text in (label, allowed_text(info)) if text)
    return {"description": words, **_type(info, label)}


def _type(info: FieldInfo, label: str) -> dict[str, Any]:
    own, reader, inner = key_of(info), reader_of(info), table_in(info.annotation)
    if inner is not None:
        table = _table(inner, label)
        if _short(info):
            table = {"anyOf": [SHORT_FORMS, table]}
        for _ in range(_depth(info.annotation)):
            table = {"type": "array", "items": table}
        return table
    if isinstance(reader, QuantityReader):
        return {"type": ["string", "number"], "examples": list(reader.kind.examples)}
    if isinstance(reader, NameReader):
        return {"enum": list(reader.names)}
    if own.lines or own.choices is not None:
        text = {"type": "string"}
        lines = {"type": "array", "items": text}
        return lines if own.choices is None else {**text, "examples": list(own.choices())}
    for kind, name in ((bool, "boolean"), (int, "integer")):
        if holds(info.annotation, kind):
            return {"type": name}
    return {"type": ["string", "number"]}


def _short(info: FieldInfo) -> bool:
    """Whether a plain value may stand for the table."""
    result = [*info.metadata, *_metadata(info.annotation)]
    return any(type(item).__name__ == "BeforeValidator" for item in result)


def _metadata(annotation: object) -> list[object]:
    own = list(getattr(annotation, "__metadata__", ()))
    return own + [item for each in get_args(annotation) for item in _metadata(each)]


def _depth(annotation: object) -> int:
    """How many lists are around the table."""
    inner = [_depth(each) for each in get_args(annotation)]
    return (get_origin(annotation) is tuple) + max(inner, default=0)
