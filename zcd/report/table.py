"""Quantities and tables: what a result shows, whoever lays it out.

Neither numpy nor anything that lays tables out is loaded here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING, Any, Self

from zcd.board.units import UNIT_ENDINGS

if TYPE_CHECKING:
    from zcd.report.document import Document

PASS, WARNING, FAIL = "pass", "warning", "FAIL"
STATUS = {"pass": PASS, "warning": WARNING, "fail": FAIL}
"""A row with this cell does not pass: it is shown in bold."""
Value = str | float | int | bool | None

UNITS = {ending: unit for unit, ending in UNIT_ENDINGS.items() if unit != "%"}
UNITS |= {"years": "years", "h": "h", "bits": "bit"}
"""Unit that the ending of a name stands for."""


def unit_of(name: str) -> str:
    """Unit of a quantity by the ending of its name; empty where it has none.

    Examples
    --------
    >>> unit_of("led_peak_a"), unit_of("resistance_ohm"), unit_of("locks")
    ('A', 'Ω', '')
    """
    return UNITS.get(name.rpartition("_")[2], "")


class _Fixed(str):
    """Text with more to it, none of which changes."""

    __slots__ = ()

    def __setattr__(self, name: str, value: object) -> None:
        raise AttributeError(f"{name} of a {type(self).__name__} does not change")

    def __getstate__(self) -> None:  # __new__ is given all of it
        return None


class Cell(_Fixed):
    """Text of a cell that remembers the value behind it, or where it comes from.

    Parameters
    ----------
    text : str
        A line break begins a remark on the line above.
    value : str, float, int, bool or None
        In the unit of the column.
    source : str
        Such as ``limits [EL-817]``: shown is the letter that the document gives to it.
    """

    __slots__ = ("source", "value")
    value: Value
    source: str

    def __new__(cls, text: str = "", value: Value = None, source: str = "") -> Self:
        cell = super().__new__(cls, text)
        object.__setattr__(cell, "value", value)
        object.__setattr__(cell, "source", source)
        return cell

    def __getnewargs__(self) -> tuple[str, Value, str]:  # type: ignore[override]
        return str(self), self.value, self.source


class Column(_Fixed):
    """Heading of a column, with the name and unit of what stands below for programs."""

    __slots__ = ("name", "unit")
    name: str
    unit: str

    def __new__(cls, heading: str, name: str = "", unit: str = "") -> Self:
        column = super().__new__(cls, heading)
        object.__setattr__(column, "name", name or heading)
        object.__setattr__(column, "unit", unit)
        return column

    def __getnewargs__(self) -> tuple[str, str, str]:  # type: ignore[override]
        return str(self), self.name, self.unit


@dataclass(frozen=True, slots=True)
class Quantity:
    """One column of a table: a name, and how it is shown.

    Parameters
    ----------
    name : str
        Attribute of a row, or what programs call the column; its ending is the unit.
    heading : str
    text : callable, optional
        Text of a row; by default the attribute with its unit.
    value : callable, optional
        The plain value of a row; by default the attribute, where the row has it.
    right : bool, optional
        Whether it stands flush right; by default where it has a unit, or is a ratio.
    """

    name: str
    heading: str
    text: Callable[[Any], str] | None = None
    value: Callable[[Any], Any] | None = None
    right: bool | None = None

    @property
    def unit(self) -> str:
        """Unit by the ending of the name."""
        return unit_of(self.name)

    @property
    def flush_right(self) -> bool:
        """Whether the column stands flush right."""
        figure = bool(self.unit) or self.name.endswith("_ratio")
        return figure if self.right is None else self.right

    def cell(self, row: Any) -> Cell:
        """The cell of one row."""
        value = plain_value(self.value(row) if self.value else getattr(row, self.name, None))
        text = self.text(row) if self.text else _shown(value, self.unit)
        return text if isinstance(text, Cell) else Cell(text, value)


def _shown(value: Value, unit: str) -> str:
    from zcd.report.text import quantity_text

    if isinstance(value, float):
        return quantity_text(value, unit)
    return "-" if value is None else str(value)


def plain_value(value: Any) -> Value:
    """A scalar without numpy; text for anything else, None for a number that does not exist.

    Examples
    --------
    >>> plain_value(3), plain_value("a"), plain_value(float("inf"))
    (3, 'a', None)
    """
    value = value.item() if hasattr(value, "item") else value
    if isinstance(value, float):
        return value if isfinite(value) else None
    return value if value is None or isinstance(value, str | int | bool) else str(value)


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Table:
    """A table of texts.

    ``repr`` is one line, ``str`` the whole table; a notebook shows it.

    Parameters
    ----------
    title : str
    columns : tuple of str
        Headings; one that is empty, or that another column has too, is a `Column` with a name.
    rows : tuple of tuple of str
        Cells.
    right : tuple of int
        Columns that stand flush right, counted from 0.
    remark : str
        What to know about the whole table.
    unbroken : tuple of int
        Columns that a terminal does not break, such as file names.
    """

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    remark: str = ""
    unbroken: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        if len({"", *self.names}) <= len(self.columns):
            raise ValueError(f"{self.title}: columns need names of their own, not {self.names}")

    @property
    def names(self) -> tuple[str, ...]:
        """What programs call the columns."""
        return tuple(c.name if isinstance(c, Column) else c for c in self.columns)

    @classmethod
    def of(
        cls, items: Iterable[Any], quantities: Sequence[Quantity], title: str, remark: str = ""
    ) -> Table:
        """Compose a table: a row for each item, a column for each quantity."""
        return cls(
            title=title,
            columns=tuple(Column(q.heading, q.name, q.unit) for q in quantities),
            rows=tuple(tuple(q.cell(item) for q in quantities) for item in items),
            right=tuple(k for k, q in enumerate(quantities) if q.flush_right),
            remark=remark,
        )

    @classmethod
    def across(
        cls,
        items: Sequence[Any],
        quantities: Sequence[Quantity],
        heading: Callable[[Any], str],
        title: str,
        remark: str = "",
    ) -> Table:
        """Compose a table: a row for each quantity, a column for each item."""
        return cls(
            title=title,
            columns=(Column("", "quantity"), *(heading(item) for item in items)),
            rows=tuple((Cell(q.heading, q.name), *map(q.cell, items)) for q in quantities),
            right=tuple(range(1, len(items) + 1)),
            remark=remark,
        )

    def __repr__(self) -> str:
        return f"<Table: {self.title}; {len(self.rows)} x {len(self.columns)}>"

    def __str__(self) -> str:
        from zcd.report.terminal import document_text

        return document_text(self._document())

    def _repr_html_(self) -> str:
        from zcd.report.html import fragment_html

        return fragment_html(self._document())

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text(repr(self) if cycle else str(self))

    def _document(self) -> Document:
        """The table with the sources that its letters stand for."""
        from zcd.report.document import Document, Notes, Section

        return Document(title="", sections=(Section("", (self, Notes())),))

    def to_dicts(self) -> list[dict[str, Value]]:
        """The plain values, one dictionary a row, by the names of the columns."""
        return [
            {name: value_of(cell) for name, cell in zip(self.names, row, strict=True)}
            for row in self.rows
        ]

    def to_pandas(self) -> Any:
        """The plain values as a pandas data frame.

        Raises
        ------
        ImportError
            If pandas is not installed: it is no dependency.
        """
        import pandas as pd  # type: ignore[import-untyped, unused-ignore]

        return pd.DataFrame(self.to_dicts())


def value_of(cell: str) -> Value:
    """The value behind a cell; its text where there is none, or what it comes from."""
    value = cell.value if isinstance(cell, Cell) else None
    return (str(cell) or getattr(cell, "source", "")) if value is None else value
