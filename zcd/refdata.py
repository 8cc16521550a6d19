"""Published values from `reference/`: tables, their sources, and the defaults.

The folder ships inside the package; in a checkout it lies beside it.
"""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

    from numpy.typing import NDArray

UNITS = (
    "v",
    "a",
    "ohm",
    "f",
    "h",
    "w",
    "s",
    "hz",
    "k",
    "degc",
    "ratio",
    "rad",
    "fit",
    "si",
    "counts",
)
REFERENCE_DEGC = 25.0
"""Temperature at which the tables give what changes with it. [°C]"""
PLAIN_NUMBERS = ("value", "order")

Row = dict[str, str | float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Default:
    """A value taken when nobody wrote one.

    Parameters
    ----------
    key : str
        Dotted name, such as ``controller.min_low_time``.
    value : float
        In SI units, temperatures in degC.
    unit : str
        Unit of `value`; empty for a ratio.
    why : str
        Where it comes from, in words.
    """

    key: str
    value: float
    unit: str
    why: str


def is_number(column: str) -> bool:
    """Say whether a column of this name holds numbers: its name ends in a unit.

    Examples
    --------
    >>> is_number("rated_power_w"), is_number("family"), is_number("value")
    (True, False, True)
    """
    stem, _, unit = column.rpartition("_")
    return column in PLAIN_NUMBERS or bool(stem and unit in UNITS)


@cache
def table(name: str) -> tuple[Row, ...]:
    """Return the rows of ``reference/<name>.csv``.

    Parameters
    ----------
    name : str
        File name without its ending.

    Returns
    -------
    tuple of dict
        One dict a row; number columns are float (an empty cell is nan), the others str.
        The rows are shared: do not change them.

    Raises
    ------
    KeyError
        No such table; the message lists those that exist.

    Examples
    --------
    >>> table("ctr_grades")[1]["max_ctr_ratio"]
    1.6
    """
    file = _folder() / f"{name}.csv"
    if not file.is_file():
        known = sorted(f.name[:-4] for f in _folder().iterdir() if f.name.endswith(".csv"))
        raise KeyError(f"no reference table {name!r}; there are {', '.join(known)}")
    lines = file.read_text(encoding="utf-8").splitlines()
    reader = csv.DictReader(line for line in lines if line and not line.startswith("#"))
    return tuple({key: _cell(key, text) for key, text in row.items()} for row in reader)


def columns(name: str, **where: str | float) -> dict[str, NDArray[np.float64]]:
    """Return the number columns of a table as arrays.

    Parameters
    ----------
    name : str
        Table name.
    **where : str or float
        Keep only the rows whose column has this value.

    Returns
    -------
    dict of ndarray, shape (rows,)
        In the order of the file.

    Raises
    ------
    KeyError
        No such table or column, or no row is left.

    Examples
    --------
    >>> columns("ctr_shape", curve="SHARP-817")["current_a"][:2]
    array([0.0001 , 0.00015])
    """
    rows = table(name)
    for column, value in where.items():
        if column not in rows[0]:
            raise KeyError(f"{name} has no column {column!r}; it has {', '.join(rows[0])}")
        known = sorted({str(row[column]) for row in rows})
        rows = tuple(row for row in rows if row[column] == value)
        if not rows:
            raise KeyError(f"{name} has no {column} {value!r}; there are {', '.join(known)}")
    return {
        column: np.array([row[column] for row in rows], dtype=np.float64)
        for column in rows[0]
        if is_number(column)
    }


@cache
def sources() -> dict[str, dict[str, Any]]:
    """Return ``reference/sources.toml``: for each key its title, by, year, where and confidence."""
    return tomllib.loads((_folder() / "sources.toml").read_text(encoding="utf-8"))


def cite(key: str) -> str:
    """Return one line that names a source: title, by, year, where.

    Raises
    ------
    KeyError
        No such source.

    Examples
    --------
    >>> cite("OMRON-G5LE").startswith("G5LE")
    True
    """
    if key not in sources():
        raise KeyError(f"no source {key!r} in reference/sources.toml")
    source = sources()[key]
    parts = (source.get(field, "") for field in ("title", "by", "year", "where"))
    return ", ".join(str(part) for part in parts if part)


@cache
def defaults() -> dict[str, Row]:
    """Return the rows of `default`, by key."""
    return {str(row["key"]): row for row in table("defaults")}


@cache
def default(key: str) -> Default:
    """Return the value that stands in for one that nobody wrote.

    Raises
    ------
    KeyError
        No such default; the message lists those that exist.

    Examples
    --------
    >>> default("mains.frequency").value
    50.0
    """
    rows = defaults()
    if key not in rows:
        raise KeyError(f"no default {key!r}; there are {', '.join(rows)}")
    row = rows[key]
    return Default(key=key, value=float(row["value"]), unit=str(row["unit"]), why=str(row["why"]))


@cache
def contents() -> tuple[bytes, ...]:
    """Bytes of every file of the folder, in the order of their names."""
    files = sorted(_folder().iterdir(), key=lambda file: file.name)
    return tuple(file.read_bytes() for file in files if file.is_file())


@cache
def _folder() -> Traversable:
    shipped = resources.files("zcd") / "reference"
    return shipped if shipped.is_dir() else Path(__file__).resolve().parents[1] / "reference"


def _cell(column: str, text: str) -> str | float:
    if not is_number(column):
        return text
    return float(text) if text else float("nan")
