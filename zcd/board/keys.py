"""What is declared of a key of a file: once, beside its name and type in the schema.

The page's fields, the text of a file to start from, the values taken where nothing is written, the
JSON Schema for editors and the *allowed* part of an error all come from these declarations.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, get_args, get_origin

from pydantic import BeforeValidator, Field

from zcd.board.units import UNIT_ENDINGS, QuantityKind, nearest, parse_quantity
from zcd.errors import invalid_value

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """What a person is told of a key, and what is taken where it is not written.

    Parameters
    ----------
    label : str
        Of its field; ``{of}`` stands for the label of the table that it is in.
    hint : str
        An example, or in words what is taken; empty: the default, or an example of its kind.
    default_row : str
        Row of ``reference/defaults.csv`` where its name is another than the dotted key's.
    usual : str
        What is taken where nothing is written, as a person would write it.
    choices : callable, optional
        Names that a list offers, where they are those of a table.
    group : str
        Heading of the page under which it stands; empty: that of its table.
    folded : bool
        Folded away on the page while it is empty.
    attribute : str
        Of the board's model; empty: the key with its unit at the end.
    computed : bool
        The value taken where nothing is written depends on other keys.
    instead_of : str
        A key that need not be there where this one is.
    lines : bool
        It is a list of texts.
    """

    label: str
    hint: str = ""
    default_row: str = ""
    usual: str = ""
    choices: Callable[[], tuple[str, ...]] | None = None
    group: str = ""
    folded: bool = True
    attribute: str = ""
    computed: bool = False
    instead_of: str = ""
    lines: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class QuantityReader:
    """Reads a quantity of a kind."""

    kind: QuantityKind

    def __call__(self, value: object) -> float:
        return parse_quantity(value, self.kind)


@dataclass(frozen=True, slots=True)
class NameReader:
    """Accepts some names only, in any case and however joined, and suggests the nearest."""

    names: tuple[str, ...]
    words: str = ""
    """What they mean, where that is to be said."""

    def __call__(self, value: object) -> str:
        for name in self.names:
            if same_word(value, name):
                return name
        raise invalid_value(value, f"{self.allowed()}{nearest(value, self.names)}")

    def allowed(self) -> str:
        """Describe what may be written."""
        return self.words or f"one of {', '.join(self.names)}"


def same_word(value: object, name: str) -> bool:
    """Whether a value is a word of the file, whatever its case, blanks, hyphens, underscores.

    Examples
    --------
    >>> same_word("Half_Wave", "half-wave"), same_word("half", "half-wave")
    (True, False)
    """
    return isinstance(value, str) and _letters(value) == _letters(name)


def _letters(text: str) -> str:
    return re.sub(r"[\s_-]", "", text).casefold()


def key(
    label: str = "",
    allowed: str = "",
    *,
    required: bool = False,
    default: Any = None,
    limits: Mapping[str, Any] = {},
    **said: Any,
) -> Any:
    """Declare a key.

    Parameters
    ----------
    label : str
    allowed : str
        What may be written, as an error says it; empty: as its type says.
    required : bool
    default : object
        What the schema itself holds where nothing is written.
    limits : mapping
        Of pydantic's `Field`, such as ``ge``.
    said : object
        More of `Key`.
    """
    own = Key(label=label, **said)
    extra = {"json_schema_extra": {"key": own}, "description": allowed or None, **limits}
    return Field(**extra) if required else Field(default=default, **extra)


def table_key(allowed: str, **said: Any) -> Any:
    """Declare a table all of whose keys may be left out, and itself too."""
    return key("", allowed, default={}, limits={"validate_default": True}, **said)


def count(low: int, high: int) -> dict[str, Any]:
    """Limits of a whole number, for `key`."""
    return {"ge": low, "le": high}


def key_of(info: FieldInfo) -> Key:
    """What is declared of a field of a schema."""
    extra = info.json_schema_extra
    return extra["key"] if isinstance(extra, dict) else Key(label="")  # type: ignore[return-value]


def reader_of(info: FieldInfo) -> QuantityReader | NameReader | None:
    """What reads a field, where that is a quantity or a name."""
    return next(_readers(info.metadata, info.annotation), None)


def _readers(metadata: list[Any], annotation: Any) -> Iterator[QuantityReader | NameReader]:
    for item in metadata:
        if isinstance(item, BeforeValidator) and isinstance(item.func, QuantityReader | NameReader):
            yield item.func
    for argument in get_args(annotation):
        if hasattr(argument, "__metadata__"):
            yield from _readers(list(argument.__metadata__), None)
        elif get_origin(annotation) is not tuple:
            yield from _readers([], argument)


def attribute_of(name: str, info: FieldInfo) -> str:
    """Attribute of the board's model that a key fills: its own name, its unit at the end."""
    own, reader = key_of(info), reader_of(info)
    if own.attribute or not isinstance(reader, QuantityReader):
        return own.attribute or name
    return f"{name}_{UNIT_ENDINGS[reader.kind.unit]}"


def holds(annotation: object, kind: type) -> bool:
    """Whether a type is, or may be, this one."""
    return annotation is kind or any(holds(each, kind) for each in get_args(annotation))


def allowed_text(info: FieldInfo) -> str:
    """What may be written for a field."""
    if info.description:
        return info.description
    reader = reader_of(info)
    if isinstance(reader, QuantityReader):
        return reader.kind.allowed()
    if reader is not None:
        return reader.allowed()
    limits = {name: value for item in info.metadata for name, value in _limits(item)}
    return f"a whole number from {limits['ge']} to {limits['le']}" if "ge" in limits else ""


def _limits(item: Any) -> Iterator[tuple[str, Any]]:
    for name in ("ge", "le"):
        if (value := getattr(item, name, None)) is not None:
            yield name, value
