"""Drawer files: the parts in stock, as a person lists them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, StrictInt

from zcd import refdata
from zcd.board import optocouplers, parts_library, quantity_kinds
from zcd.board.as_printed import Reader
from zcd.board.drawer_as_printed import drawer_as_printed
from zcd.board.drive_parts import KINDS, MODES, DrivePart, drive_part
from zcd.board.keys import key
from zcd.board.model import Assumption, Capacitor, Diode, Optocoupler, ReadAs, Resistor
from zcd.board.preferred import SERIES, decade
from zcd.board.schema import (
    Capacitance,
    Ctr,
    DiodePart,
    Grade,
    OptocouplerFamily,
    Power,
    Resistance,
    Style,
    Table,
    Temperature,
    Text,
    Tolerance,
    WorkingVoltage,
    code,
    one_of,
    quantity,
    short_form,
)
from zcd.board.toml_files import parse_toml, read_text, refuse, validate
from zcd.board.units import find_name, format_si, nearest
from zcd.errors import InputError, invalid_value
from zcd.files import file_name

SERIES_MOST_OHM = 10e6
"""How far a series goes."""
PLENTY = 10**6
"""Taken where no count is written."""
MAX_RESISTORS = 1000
SAFETY_CLASSES = ("X1", "X2", "Y1", "Y2")
"""Of capacitors for the mains [IEC 60384-14, not read]."""
WANTED = "a drawer file, TOML in UTF-8, up to 1 MB"

_PRACTICE = "common practice, no source"
_COUNT = "a whole number from 0 to 100000"
_VALUES = 'a list of resistances such as ["27k", "82k"]'
_LISTS = ("resistors", "optocouplers", "diodes", "capacitors", "drive_parts")
_FORMS = 'exactly one of value = "27k", values = ["27k", "82k"] and series = "E24"'


def series_name(value: object, key: str = "") -> str:
    """Read the name of a series of preferred numbers."""
    name = find_name(value, tuple(SERIES)) if isinstance(value, str) else None
    if name is None:
        raise invalid_value(
            value, f"one of {', '.join(SERIES)}{nearest(value, tuple(SERIES))}", key
        )
    return name


DrivePartName = Annotated[str, code("MOC3052M")]
DriveKind = Annotated[str, BeforeValidator(one_of(*KINDS))]
Switching = Annotated[str, BeforeValidator(one_of(*MODES[:2]))]
SafetyClass = Annotated[str, BeforeValidator(one_of(*SAFETY_CLASSES))]
Current = Annotated[float, quantity(quantity_kinds.CURRENT)]
Count = Annotated[StrictInt, Field(ge=0, le=100_000)]
SeriesName = Annotated[str, BeforeValidator(series_name)]


class StockResistorTable(Table):
    """One item of ``resistors``: a value, several, or a whole series."""

    value: Resistance | None = key()
    values: tuple[Resistance, ...] | None = Field(default=None, min_length=1, description=_VALUES)
    series: SeriesName | None = Field(default=None, description=f"one of {', '.join(SERIES)}")
    style: Style | None = Field(default=None, description='a resistor style such as "1/4 W"')
    tolerance: Tolerance | None = key()
    power: Power | None = key()
    working_voltage: WorkingVoltage | None = key()
    count: Count | None = Field(default=None, description=_COUNT)


class StockOptocouplerTable(Table):
    """One item of ``optocouplers``."""

    family: OptocouplerFamily = Field(description='an optocoupler such as "817C" or "817"')
    grade: Grade | None = Field(default=None, description='a grade such as "C"')
    ctr: Ctr | None = key()
    count: Count | None = Field(default=None, description=_COUNT)


class StockDiodeTable(Table):
    """One item of ``diodes``."""

    part: DiodePart = Field(description='a diode such as "1N4007"')
    count: Count | None = Field(default=None, description=_COUNT)


class StockCapacitorTable(Table):
    """One item of ``capacitors``."""

    value: Capacitance = key()
    safety_class: SafetyClass | None = Field(
        default=None, description=f"one of {', '.join(SAFETY_CLASSES)}"
    )
    voltage: WorkingVoltage | None = key()
    count: Count | None = Field(default=None, description=_COUNT)


class StockDrivePartTable(Table):
    """One item of ``drive_parts``; figures stand in place of those of the table."""

    part: DrivePartName = Field(description='a coupler or triac such as "MOC3052M"')
    kind: DriveKind | None = Field(default=None, description=f"one of {', '.join(KINDS)}")
    switching: Switching | None = Field(default=None, description=f"one of {', '.join(MODES[:2])}")
    current: Current | None = key()
    voltage: WorkingVoltage | None = key()
    surge: Current | None = key()
    full_current_to: Temperature | None = key()
    no_current_from: Temperature | None = key()
    count: Count | None = Field(default=None, description=_COUNT)


class DrawerFile(Table):
    """The whole file."""

    name: Text | None = Field(default=None, description="a line of text")
    resistors: tuple[Annotated[StockResistorTable, short_form("value")], ...] = Field(
        default=(), description='a list such as ["27k", {values = ["82k"], style = "1/2 W"}]'
    )
    optocouplers: tuple[Annotated[StockOptocouplerTable, short_form("family")], ...] = Field(
        default=(), description='a list such as ["817C", {family = "817", grade = "B"}]'
    )
    diodes: tuple[Annotated[StockDiodeTable, short_form("part")], ...] = Field(
        default=(), description='a list such as ["1N4007", {part = "M7", count = 4}]'
    )
    capacitors: tuple[Annotated[StockCapacitorTable, short_form("value")], ...] = Field(
        default=(), description='a list such as ["1 nF", {value = "22 nF", safety_class = "X2"}]'
    )
    drive_parts: tuple[Annotated[StockDrivePartTable, short_form("part")], ...] = Field(
        default=(), description='a list such as ["MOC3052M", {part = "BT136-800", count = 2}]'
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class StockResistor:
    """A resistor in stock; its part has no reference yet."""

    part: Resistor
    count: int = PLENTY


@dataclass(frozen=True, slots=True, kw_only=True)
class StockOptocoupler:
    """An optocoupler in stock, and its name as written; empty: nobody wrote one."""

    part: Optocoupler
    count: int = PLENTY
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockDiode:
    """A diode in stock."""

    part: Diode
    count: int = PLENTY


@dataclass(frozen=True, slots=True, kw_only=True)
class StockCapacitor:
    """A capacitor in stock."""

    part: Capacitor
    count: int = PLENTY


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawer:
    """The parts in stock.

    Parameters
    ----------
    name : str
    resistors : tuple of StockResistor
        Different ones, in order of value.
    optocouplers : tuple of StockOptocoupler
    diodes : tuple of StockDiode
    capacitors : tuple of StockCapacitor
    drive_parts : tuple of DrivePart
    assumptions : tuple of Assumption
        What the file does not say.
    read_as : tuple of ReadAs
        What markings were taken for.
    left_out : tuple of str
        A line for each item that cannot be used.
    is_series : bool
        Whether nobody listed it: all values of a series, and nothing else.
    """

    name: str
    resistors: tuple[StockResistor, ...] = ()
    optocouplers: tuple[StockOptocoupler, ...] = ()
    diodes: tuple[StockDiode, ...] = ()
    capacitors: tuple[StockCapacitor, ...] = ()
    drive_parts: tuple[DrivePart, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    read_as: tuple[ReadAs, ...] = ()
    left_out: tuple[str, ...] = ()
    is_series: bool = False


def load_drawer(path: str | Path) -> Drawer:
    """Read a drawer file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Drawer

    Raises
    ------
    InputError
        If it cannot be used; one line for each problem.
    """
    path = Path(path)
    return parse_drawer(read_text(path, WANTED), file_name(path))


def parse_drawer(text: str, name: str = "drawer.toml") -> Drawer:
    """Read a drawer from the text of a drawer file.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        The file's name, for messages.

    Returns
    -------
    Drawer
        Items that cannot be used are left out, and said.

    Raises
    ------
    InputError
        If it does not describe a drawer, or nothing in it can be used; one line for each problem.

    Examples
    --------
    >>> drawer = parse_drawer('resistors = ["82k", {values = ["27k", "82k"], count = 2}]')
    >>> [(item.part.resistance_ohm, item.count) for item in drawer.resistors]
    [(27000.0, 2), (82000.0, 1000000)]
    """
    result = parse_toml(text, name, WANTED)
    if {"mains", "readings", "board"} & result.keys():
        raise InputError(f"{name}: found a board or job file; allowed: {WANTED}")
    reader = drawer_as_printed(result)
    left_out = _left_out(reader, result)
    file, lines = validate(DrawerFile, reader.value)
    if file is not None:
        lines = [str(error) for error in _problems(file)]
        if not lines:
            drawer = _drawer(file, Path(name).stem)
            return replace(drawer, read_as=tuple(reader.notes), left_out=tuple(left_out))
    raise refuse(name, left_out or lines)


def _left_out(reader: Reader, written: dict[str, Any]) -> list[str]:
    """Take the items out that cannot be used; a line for each."""
    lines = []
    for kind in _LISTS:
        if not isinstance(items := reader.value.get(kind), list):
            continue
        good = []
        for number, item in enumerate(items, start=1):
            key = f"{kind}[{number}]"
            told = [line for line in reader.problems if line.startswith(key)]
            if not told:
                file, told = validate(
                    DrawerFile, {kind: [item]}, {kind: [written[kind][number - 1]]}
                )
                told += [] if file is None else [str(error) for error in _problems(file)]
            if told:
                lines.append(told[0].replace(f"{kind}[1]", key, 1))
            else:
                good.append(item)
        reader.value[kind] = good
    return lines


def series_drawer(series: str, style: str) -> Drawer:
    """A drawer with every value of a series in one style.

    Parameters
    ----------
    series : str
        One of `SERIES`.
    style : str

    Returns
    -------
    Drawer

    Raises
    ------
    InputError
        If series or style is unknown.
    """
    known = parts_library.resistor_limits(style, "style").style
    item = StockResistorTable(series=series_name(series, "series"), style=known)
    notes: dict[str, Assumption] = {}
    return Drawer(
        name=f"the {item.series} series, {known}",
        resistors=tuple(StockResistor(part=part) for part in _resistors(item, notes)),
        assumptions=tuple(notes.values()),
        is_series=True,
    )


def series_values(series: str) -> tuple[float, ...]:
    """Values of a series of preferred numbers from 1 kΩ to 10 MΩ.

    Examples
    --------
    >>> values = series_values("E6")
    >>> len(values), values[0], values[1], values[-1]
    (25, 1000.0, 1500.0, 10000000.0)
    """
    thousands = [1e3, 1e4, 1e5, 1e6]
    return (
        *(float(round(scale * value, 6)) for scale in thousands for value in decade(series)),
        SERIES_MOST_OHM,
    )


def _values(item: StockResistorTable) -> tuple[float, ...]:
    """Resistances that an item stands for."""
    if item.series is not None:
        return series_values(item.series)
    return item.values or (() if item.value is None else (item.value,))


def _problems(file: DrawerFile) -> Iterator[InputError]:
    """What contradicts itself or is not in the library."""
    for number, item in enumerate(file.resistors, start=1):
        key = f"resistors[{number}]"
        forms = [n for n in ("value", "values", "series") if getattr(item, n) is not None]
        if len(forms) != 1:
            yield invalid_value(" and ".join(forms) if forms else None, _FORMS, key)
        if item.style is not None:
            yield from _refused(partial(parts_library.resistor_limits, item.style, f"{key}.style"))
    for number, opto in enumerate(file.optocouplers, start=1):
        key = f"optocouplers[{number}]"
        yield from _refused(
            partial(optocouplers.optocoupler, opto.family, opto.grade, ctr_ratio=opto.ctr, key=key)
        )
    for number, diode in enumerate(file.diodes, start=1):
        yield from _refused(
            partial(parts_library.diode, diode.part, ref="", key=f"diodes[{number}].part")
        )
    for number, part in enumerate(file.drive_parts, start=1):
        key = f"drive_parts[{number}]"
        yield from _refused(partial(_drive_part, part, key))
        if (part.full_current_to is None) != (part.no_current_from is None):
            yield invalid_value(None, "both full_current_to and no_current_from, or neither", key)
        elif (part.full_current_to or 0.0) >= (part.no_current_from or 1.0):
            shown = format_si(part.no_current_from or 0.0, "°C")
            yield invalid_value(shown, "above full_current_to", f"{key}.no_current_from")
    different = len({value for item in file.resistors for value in _values(item)})
    if different > MAX_RESISTORS:
        yield invalid_value(
            f"{different} values", f"up to {MAX_RESISTORS} different ones", "resistors"
        )
    if not any(getattr(file, kind) for kind in _LISTS):
        allowed = f"at least one of {', '.join(_LISTS)}"
        yield invalid_value(None, allowed, "drawer")


def _refused(look_up: Callable[[], object]) -> Iterator[InputError]:
    try:
        look_up()
    except InputError as error:
        yield error


def _drawer(file: DrawerFile, name: str) -> Drawer:
    notes: dict[str, Assumption] = {}
    stock: dict[Resistor, int] = {}
    for item in file.resistors:
        for part in _resistors(item, notes):
            stock[part] = min(stock.get(part, 0) + _or_plenty(item.count), PLENTY)
    return Drawer(
        name=file.name or name,
        resistors=tuple(
            StockResistor(part=part, count=count)
            for part, count in sorted(stock.items(), key=lambda item: item[0].resistance_ohm)
            if count
        ),
        optocouplers=tuple(
            StockOptocoupler(
                part=optocouplers.optocoupler(item.family, item.grade, ctr_ratio=item.ctr),
                count=_or_plenty(item.count),
                name=" ".join(filter(None, (item.family, item.grade))),
            )
            for item in file.optocouplers
            if item.count != 0
        ),
        diodes=tuple(
            StockDiode(part=parts_library.diode(item.part, ref=""), count=_or_plenty(item.count))
            for item in file.diodes
            if item.count != 0
        ),
        capacitors=tuple(
            StockCapacitor(
                part=Capacitor(
                    ref="",
                    capacitance_f=item.value,
                    rated_v=item.voltage,
                    safety_class=item.safety_class or "",
                ),
                count=_or_plenty(item.count),
            )
            for item in file.capacitors
            if item.count != 0
        ),
        drive_parts=tuple(_drive_part(item, "") for item in file.drive_parts if item.count != 0),
        assumptions=tuple(notes.values()),
    )


def _drive_part(item: StockDrivePartTable, key: str) -> DrivePart:
    return drive_part(
        item.part,
        kind=item.kind,
        mode=item.switching,
        key=key,
        current_a=item.current,
        off_state_v=item.voltage,
        surge_a=item.surge,
        full_degc=item.full_current_to,
        zero_degc=item.no_current_from,
    )


def _or_plenty(count: int | None) -> int:
    return PLENTY if count is None else count


def _resistors(item: StockResistorTable, notes: dict[str, Assumption]) -> Iterator[Resistor]:
    """The resistors of one item; what it does not say is noted."""
    style, tolerance = item.style, item.tolerance
    if style is None:
        style = parts_library.UNKNOWN_STYLE
        source = parts_library.resistor_limits(style).source
        _note(notes, "drawer.style", style, f"{_PRACTICE}, its limits: {source}")
    if tolerance is None and item.series is not None:
        tolerance = SERIES[item.series]
        source = "what IEC 60063 made the series for"
        _note(notes, f"drawer.tolerance of {item.series}", format_si(tolerance, "%"), source)
    if tolerance is None:
        taken = refdata.default("resistor.tolerance")
        tolerance = taken.value
        _note(notes, "drawer.tolerance", format_si(tolerance, "%"), taken.why)
    part = parts_library.resistor(
        ref="",
        resistance_ohm=1.0,
        tolerance_ratio=tolerance,
        style=style,
        power_w=item.power,
        working_v=item.working_voltage,
    )
    for value in _values(item):
        yield replace(part, resistance_ohm=value)


def _note(notes: dict[str, Assumption], key: str, value: str, source: str) -> None:
    notes.setdefault(key, Assumption(key=key, value=value, source=source))
