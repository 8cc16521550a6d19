"""What is taken where nobody wrote a value, and the note that this leaves behind."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from itertools import count
from typing import TYPE_CHECKING, Any

from zcd import refdata
from zcd.board.keys import Key, NameReader, attribute_of, holds, key_of, reader_of
from zcd.board.model import Assumption
from zcd.board.units import format_si

if TYPE_CHECKING:
    from zcd.board.schema import Table

PRACTICE = "common practice, no source"
COUNTS = "counts"
_DISPLAY_UNITS = {"ohm": "Ω", "degC": "°C", "": "%"}


@dataclass(slots=True)
class Notes:
    """Assumptions made so far, references already used, and where each part stands in the file."""

    used: set[str]
    chips: frozenset[str] = frozenset()
    references: Mapping[str, str] = field(default_factory=dict)
    assumptions: list[Assumption] = field(default_factory=list)
    places: dict[str, str] = field(default_factory=dict)

    def assume(self, key: str, value: str, source: str) -> None:
        note = Assumption(key=key, value=value, source=source)
        if note not in self.assumptions:
            self.assumptions.append(note)

    def default(self, written: float | None, key: str, name: str = "") -> float:
        """Take the value written, or the reference default of this name (the key itself)."""
        if written is not None:
            return written
        taken = refdata.default(name or key)
        self.assume(key, default_text(taken), taken.why)
        return taken.value

    def choice(self, written: str | None, key: str, value: str, source: str = PRACTICE) -> str:
        """Take the name written, or this one."""
        if written is None:
            self.assume(key, value, source)
        return written or value

    def filled(self, table: Table, name: str) -> dict[str, Any]:
        """Take each key of a table as written, or what is declared for it, where that is known.

        Parameters
        ----------
        table : Table
        name : str
            Of the table in the board file.

        Returns
        -------
        values : dict
            By attribute of the model; without those keys for which nothing is declared, or more
            than one value.
        """
        values: dict[str, Any] = {}
        for key, attribute, own, is_name, is_whole in _declared(type(table)):
            dotted, written = f"{name}.{key}", getattr(table, key)
            row = own.default_row or dotted
            if is_name and own.usual:
                values[attribute] = self.choice(written, dotted, own.usual)
            elif row in refdata.defaults():
                taken = self.default(written, dotted, row)
                values[attribute] = int(taken) if is_whole else taken
        return values

    def ref(self, written: str | None, letters: str, key: str) -> str:
        """Take the reference written, or the next free one with these letters, for this key."""
        free = (f"{letters}{n}" for n in count(1))
        named = self.references.get(key)
        written = written or (named if named not in self.used else None)
        ref = written or next(name for name in free if name not in self.used)
        self.used.add(ref)
        self.places[ref] = key
        return ref


@cache
def _declared(table: type[Table]) -> list[tuple[str, str, Key, bool, bool]]:
    """The keys of a table that may be filled: attribute, what is declared of it, whether it is a
    name, or a whole number."""
    return [
        (
            key,
            attribute_of(key, info),
            key_of(info),
            isinstance(reader_of(info), NameReader),
            holds(info.annotation, int),
        )
        for key, info in table.model_fields.items()
        if not key_of(info).computed
    ]


@cache
def default_text(taken: refdata.Default) -> str:
    """A default with its unit."""
    if taken.unit == COUNTS:
        return f"{taken.value:.0f}"
    return format_si(taken.value, _DISPLAY_UNITS.get(taken.unit, taken.unit))
