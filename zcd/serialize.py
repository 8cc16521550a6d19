"""Results as plain values, and the JSON Schema of them, from the result classes themselves.

A result is a frozen dataclass. Its keys are its fields, and the text of a key is what the class's
docstring says of it: nothing is declared a second time for JSON. A class whose keys are not just
its fields lists them in ``JSON_KEYS``: fields and properties by name (a property's text is its own
docstring), and ``"key=attribute"`` or ``"key=attribute.attribute"`` for what lies deeper or has
another name there.
"""

from __future__ import annotations

import dataclasses
import re
import types
import typing
from collections.abc import Collection, Iterable, Mapping
from enum import Enum
from functools import cache
from inspect import cleandoc, getdoc
from math import isfinite
from typing import Any

Record = dict[str, Any]
"""A result as plain values, or as what `to_dict` makes them of."""
SCHEMA_VERSION = 3
"""Number of the JSON output; it rises when a key goes away or changes its meaning."""
DIALECT = "https://json-schema.org/draft/2020-12/schema"

_FIELDS = re.compile(r"^Parameters\n-+\n(.*?)(?=^\w+\n-+\n|\Z)", re.MULTILINE | re.DOTALL)
_FIELD = re.compile(r"^(\w+(?:, \w+)*)(?: : .*)?\n((?:(?: .*)?\n)*)", re.MULTILINE)
_NOT_THERE = re.compile(r"\b(?:nan|inf|None)\b")
"""Words of docstrings for what JSON has null for."""
_NUMBER = ["number", "null"]
_PLAIN: dict[Any, Any] = {
    bool: "boolean",
    int: "integer",
    float: _NUMBER,
    str: "string",
    type(None): "null",
}


def to_dict(value: Any) -> Any:
    """A result as JSON knows it: dictionaries, lists, text, numbers, true, false and null.

    Parameters
    ----------
    value : object
        A result (a dataclass), or anything that results hold.

    Returns
    -------
    plain : object
        Numbers that do not exist or are infinite are None.

    Examples
    --------
    >>> import numpy as np
    >>> to_dict({"a": np.array([1.0, np.nan]), "b": (np.bool_(True), float("inf"))})
    {'a': [1.0, None], 'b': [True, None]}
    """
    if hasattr(value, "tolist"):  # an array, or a number out of one
        value = value.tolist()
    elif isinstance(value, Enum):
        value = value.value
    elif dataclasses.is_dataclass(value) and not isinstance(value, type):
        value = {key: _at(value, path) for key, path in json_keys(type(value)).items()}
    if isinstance(value, Mapping):
        return {str(key): to_dict(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [to_dict(item) for item in value]
    if isinstance(value, float) and not isfinite(value):
        return None
    return value


def _at(value: Any, path: tuple[str, ...]) -> Any:
    """What attributes lead to; None if there is none on the way."""
    for name in path:
        value = None if value is None else getattr(value, name)
    return value


@cache
def json_keys(cls: type) -> dict[str, tuple[str, ...]]:
    """The keys of a result class in order, each with the attributes that lead to its value.

    Examples
    --------
    >>> from zcd.margin.lifetime import Life
    >>> json_keys(Life)
    {'design_rule_years': ('design_rule_years',), 'acceleration_years': ('acceleration_years',)}
    """
    own: Iterable[str] | None = getattr(cls, "JSON_KEYS", None)
    if own is None:
        own = [field.name for field in dataclasses.fields(cls)]
    named = (text.partition("=") for text in own)
    return {key: tuple((path or key).split(".")) for key, _, path in named}


def json_schema(cls: type, title: str, unimported: Iterable[type] = ()) -> dict[str, Any]:
    """The JSON Schema (2020-12) of what a command prints of a result.

    Parameters
    ----------
    cls : type
        Class of the result.
    title : str
    unimported : iterable of type
        Classes that type hints name, but that the module of the hint imports for checkers only.

    Returns
    -------
    schema : dict
    """
    writer = _Writer({each.__name__: each for each in unimported})
    body = writer.object(cls)
    about = {
        "schema": {"description": "Number of this form.", "const": SCHEMA_VERSION},
        **body["properties"],
        "cautions": {
            "description": "Those that are due: show them to whoever acts on this.",
            **writer.schema(tuple[str, ...]),
        },
    }
    return {
        "$schema": DIALECT,
        "title": title,
        "description": body["description"],
        "type": "object",
        "properties": about,
        "required": ["schema", *body["required"]],
        "$defs": writer.definitions,
    }


class _Writer:
    """Writes schemas of classes, each class once."""

    def __init__(self, names: dict[str, Any]) -> None:
        self.names = names
        self.definitions: dict[str, Any] = {}

    def object(self, cls: type) -> dict[str, Any]:
        """An object with the keys of a dataclass."""
        properties = {}
        for key, path in json_keys(cls).items():
            text, hint = self.found(cls, key, path)
            told = {"description": _NOT_THERE.sub("null", text)} if text else {}
            properties[key] = {**told, **self.schema(hint)}
        return {
            "description": _summary(cls),
            "type": "object",
            "properties": properties,
            "required": list(properties),
        }

    def found(self, cls: type, key: str, path: tuple[str, ...]) -> tuple[str, Any]:
        """Text and type of a key."""
        hint, text, optional = cls, "", False
        for name in path:
            told, member = field_texts(hint), getattr(hint, name, None)
            own = told.get(key) or told.get(name)
            if isinstance(member, property):
                own = own or _summary(member)
                hint = typing.get_type_hints(member.fget, None, self.names)["return"]
            else:
                hint = typing.get_type_hints(hint, None, self.names)[name]
            text = own or text
            if name != path[-1] and type(None) in typing.get_args(hint):
                optional = True
                (hint,) = (each for each in typing.get_args(hint) if each is not type(None))
        if not text and isinstance(hint, type) and hint not in _PLAIN:
            text = _summary(hint)
        return text, hint | None if optional else hint

    def schema(self, hint: Any) -> dict[str, Any]:
        """The schema of one type."""
        kind, inner = typing.get_origin(hint) or hint, typing.get_args(hint)
        if kind in _PLAIN:
            return {"type": _PLAIN[kind]}
        if kind in (typing.Union, types.UnionType):
            return {"anyOf": [self.schema(each) for each in inner]}
        if not isinstance(kind, type):
            return {"enum": list(inner)} if kind is typing.Literal else {}
        if dataclasses.is_dataclass(kind):
            if kind.__name__ not in self.definitions:
                self.definitions[kind.__name__] = {}
                self.definitions[kind.__name__] = self.object(kind)
            return {"$ref": f"#/$defs/{kind.__name__}"}
        return self.many(kind, inner)

    def many(self, kind: type, inner: tuple[Any, ...]) -> dict[str, Any]:
        """The schema of what holds many values, or is one of many."""
        if issubclass(kind, Enum):
            return {"enum": [each.value for each in kind]}
        if issubclass(kind, Mapping):
            return {"type": "object", "additionalProperties": self.schema(inner[1])}
        if kind.__name__ == "ndarray":  # of as many dimensions as it has
            return {"type": "array", "items": {"type": [*_NUMBER, "boolean", "array"]}}
        if issubclass(kind, Collection):
            return {"type": "array", "items": self.schema(inner[0])}
        raise TypeError(f"no JSON Schema of {kind.__name__}")


def _summary(documented: object) -> str:
    """The first paragraph of a docstring."""
    return " ".join((getdoc(documented) or "").partition("\n\n")[0].split())


@cache
def field_texts(cls: type) -> dict[str, str]:
    """What the numpydoc section Parameters of a class says of each field.

    Examples
    --------
    >>> from zcd.board.model import Assumption
    >>> field_texts(Assumption)["source"]
    'Where it comes from, in words.'
    """
    texts: dict[str, str] = {}
    for base in reversed(cls.__mro__):
        section = _FIELDS.search(cleandoc(base.__dict__.get("__doc__") or "") + "\n")
        for names, text in _FIELD.findall(section[1]) if section else []:
            texts.update(dict.fromkeys(names.split(", "), " ".join(text.split())))
    return texts
