"""Job files: the board, the meter, the readings and flags observed, in the order taken."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from pydantic import AliasChoices, BeforeValidator, Field, StrictBool, StrictInt

from zcd.board import quantity_kinds
from zcd.board.files import load_board
from zcd.board.keys import attribute_of, count, key
from zcd.board.model import Board
from zcd.board.schema import BoardFile, Day, Table, one_of, quantity
from zcd.board.toml_files import parse_toml, read_text, refuse, validate
from zcd.board.units import QuantityKind, nearest
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit, is_hidden
from zcd.diagnosis.flag_evidence import FLAGS, LONGEST_CODE, NO_FLAG
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import OPEN_SHARE, AcKind, Meter, usual_meter
from zcd.diagnosis.reading_syntax import (
    find_part,
    joint,
    make_reading,
    parse_function,
    parse_place,
    parse_power,
    parse_shown,
)
from zcd.diagnosis.readings import Measured, Power, Reading, parts_over
from zcd.diagnosis.retest_record import RetestRecord, RetestTable, read_retest
from zcd.errors import InputError, invalid_value, plain
from zcd.files import file_name

_ACCURACY = quantity_kinds.TOLERANCE

WANTED = "a job or board file, TOML in UTF-8, up to 1 MB (zcd new makes a board file)"

_INPUT = QuantityKind(
    word="an input resistance", unit="Ω", low=100.0, high=1e12, examples=("10M", "3k"),
    spellings={"ω": 1.0, "ohm": 1.0}, prefixes="kKMG",
)  # fmt: skip

_RANGE = QuantityKind(
    word="the full scale of the highest ohms range", unit="Ω", low=100e3, high=1e10,
    examples=("20M", "2M"), spellings={"ω": 1.0, "ohm": 1.0}, prefixes="kKMG",
)  # fmt: skip

_OPEN = QuantityKind(
    word="an open-circuit voltage", unit="V", low=0.2, high=10.0, examples=("2.7 V", "1.5 V"),
    spellings={"v": 1.0}, prefixes="m",
)  # fmt: skip
VERSION = 1
"""Of job files; a file that does not say is of the first."""
Log = tuple[Measured | Reading, ...]
SKIPPED = "skipped"
"""Value of a reading that the bench cannot take, and that is not to be asked for again."""


class MeterTable(Table):
    """``[meter]`` of a job file."""

    ac_kind: Annotated[str | None, BeforeValidator(one_of(*map(str, AcKind)))] = key("AC volts")
    scope: Annotated[str | None, BeforeValidator(one_of("yes", "no"))] = key(
        "Oscilloscope at hand", "yes or no", attribute="has_scope"
    )
    dc_input: Annotated[float | None, quantity(_INPUT)] = key("Input resistance, DC volts")
    ac_input: Annotated[float | None, quantity(_INPUT)] = key("Input resistance, AC volts")
    low_impedance: Annotated[float | None, quantity(_INPUT)] = key(
        "Input resistance, low impedance"
    )
    dc_accuracy: Annotated[float | None, quantity(_ACCURACY)] = key("Accuracy, DC volts")
    ac_accuracy: Annotated[float | None, quantity(_ACCURACY)] = key("Accuracy, AC volts")
    ohm_accuracy: Annotated[float | None, quantity(_ACCURACY)] = key("Accuracy, ohms")
    ohm_range: Annotated[float | None, quantity(_RANGE)] = key("Highest range, ohms")
    counts: StrictInt | None = key("Counts of the display", limits=count(1000, 1_000_000))
    ohms_open: Annotated[float | None, quantity(_OPEN)] = key(
        "Open-circuit volts, ohms", usual="not known (often {})"
    )
    diode_open: Annotated[float | None, quantity(_OPEN)] = key("Open-circuit volts, diode test")
    diode_stop: Annotated[float | None, quantity(_OPEN)] = key("Diode test shows OL above")


class ReadingTable(Table):
    """One ``[[readings]]`` of a job file."""

    function: str = Field(description='the meter\'s function such as "dc"')
    over: str | None = Field(
        default=None, description='a part such as "R2", or a stretch such as "R1 to R2"'
    )
    red: str | None = Field(default=None, description='a node such as "pin"')
    black: str | None = Field(default=None, description='a node such as "logic0"')
    reversed: StrictBool = Field(
        default=False, description="true (probes the other way round) or false"
    )
    lifted: StrictBool = Field(
        default=False, description="true (one end of the part is lifted) or false"
    )
    power: object = Field(default=None, description=f"one of {', '.join(Power)}")
    value: object = Field(description='what the meter showed, such as "4.98 V"')


def _flag_names(value: object) -> object:
    """The flags of a table of codes; a list as it is."""
    if not isinstance(value, dict):
        return value
    check_codes(value)
    return tuple(value)


def check_codes(codes: Mapping[str, object]) -> None:
    """Refuse what no appliance shows for a flag."""
    for flag, code in codes.items():
        if flag.lower() == NO_FLAG:
            raise invalid_value(f"{flag}={code}", f"{NO_FLAG} without a code", "flags")
        if not isinstance(code, str) or not code.strip().isprintable() or not code.strip():
            raise invalid_value(
                code, 'what the appliance shows, such as "F3"', f"flags.{plain(flag)}"
            )
        if len(code) > LONGEST_CODE:
            raise invalid_value(code, f"up to {LONGEST_CODE} characters", f"flags.{plain(flag)}")


def flag_codes(value: object) -> dict[str, str]:
    """What the appliance shows for each flag, of ``flags`` as a job file has it."""
    return {k: v.strip() for k, v in value.items()} if isinstance(value, dict) else {}


class JobFile(Table):
    """A job file."""

    version: StrictInt = Field(
        default=VERSION, ge=1, le=VERSION, description=f"{VERSION}, of job files as they are now"
    )
    board: str = Field(description='the board file\'s name such as "board.toml"')
    appliance: str = Field(default="", description="what came in, a line of text")
    note: str = Field(
        default="",
        validation_alias=AliasChoices("note", "complaint"),
        description="the complaint, a line of text",
    )
    flags: Annotated[
        tuple[Annotated[str, BeforeValidator(one_of(*FLAGS))], ...], BeforeValidator(_flag_names)
    ] = Field(
        default=(),
        description=f"a list of {', '.join(FLAGS)}, or the codes that the appliance shows: "
        'flags = {sync = "F3", fan = "F5"}',
    )
    meter: MeterTable = Field(default_factory=MeterTable, description="a table")
    readings: tuple[ReadingTable, ...] = Field(
        default=(), description="a list of tables [[readings]]"
    )
    found: str = Field(default="", description='the fault it was, such as "R7 drift"')
    kind: str = Field(default="", description='its kind, such as "resistor drift"')
    repair: str = Field(default="", description="what was done, a line of text")
    closed: Day | None = Field(default=None, description="a date such as 2026-03-14")
    retests: tuple[RetestTable, ...] = Field(default=(), description="a list of tables [[retests]]")


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Job:
    """A job: what was observed on a board.

    Parameters
    ----------
    board : Board
    meter : Meter
        By default a usual handheld one.
    log : tuple of Measured or Reading
        In the order taken; a reading without a value is one that the bench cannot take.
    flags : tuple of str
        What the controller reported: ``sync``, ``fan``, or ``none`` for no flag.
    codes : dict
        What the appliance shows for each flag, where that was written.
    appliance, note : str
        What came in, and why.
    found, repair : str
        What the fault turned out to be, and what was done; empty while the job is open.
    closed : date or None
    retests : tuple of RetestRecord
        How the board read after a repair, in the order taken: the last one counts.
    board_file : Path or None
        Where the board was read from.
    file : Path or None
        The job file; None: there is only a board yet.
    """

    board: Board
    meter: Meter = field(default_factory=Meter)
    log: Log = ()
    flags: tuple[str, ...] = ()
    codes: Mapping[str, str] = field(default_factory=dict, hash=False)
    appliance: str = ""
    note: str = ""
    found: str = ""
    repair: str = ""
    closed: date | None = None
    retests: tuple[RetestRecord, ...] = ()
    board_file: Path | None = None
    file: Path | None = None

    def __post_init__(self) -> None:
        for name, kind in (("board", Board), ("meter", Meter)):
            if not isinstance(getattr(self, name), kind):
                raise invalid_value(getattr(self, name), f"a zcd.{kind.__name__}", name)

    def __repr__(self) -> str:
        taken = len(self.measured)
        readings = "1 reading" if taken == 1 else f"{taken} readings"
        return f"<Job: {plain(self.board.name)}; {', '.join((readings, *self.flags))}>"

    @classmethod
    def load(cls, path: str | Path, meter: Meter | None = None) -> Job:
        """Read a job file, and the board file that it names.

        Parameters
        ----------
        path : str or Path
            A job file; or a board file, which makes a job without readings.
        meter : Meter, optional
            Where the job says nothing of its own; the usual one if not given.

        Returns
        -------
        job : Job

        Raises
        ------
        InputError
            If either file cannot be used; one line for each problem.
        """
        return load_job(path, meter)

    @property
    def measured(self) -> tuple[Measured, ...]:
        """The readings taken, in order."""
        return tuple(each for each in self.log if isinstance(each, Measured))

    @property
    def skipped(self) -> tuple[Reading, ...]:
        """What the bench cannot take."""
        return tuple(each for each in self.log if isinstance(each, Reading))


def load_job(path: str | Path, meter: Meter | None = None) -> Job:
    """Read a job file, and the board file it names (relative to it).

    Parameters
    ----------
    path : str or Path
        A job file; or a board file, which makes a job without readings.
    meter : Meter, optional
        Where the job says nothing of its own; the usual one if not given.

    Returns
    -------
    Job

    Raises
    ------
    InputError
        If either file cannot be used; one line for each problem.
    """
    path = Path(path)
    result = parse_toml(read_text(path, WANTED), file_name(path), WANTED)
    of_job = [key for key in result if key in JobFile.model_fields]
    if not of_job:
        return Job(board=load_board(path), meter=meter or usual_meter(), board_file=path)
    if "board" not in result and BoardFile.model_fields.keys() & result.keys():
        name = file_name(path)
        instead = f'is of a job, but this file describes a board: a job file has board = "{name}"'
        raise refuse(name, [f"{key}: {instead}" for key in of_job])
    file, lines = job_file_of(result)
    if file is None:
        raise refuse(file_name(path), lines)
    board_file = board_file_of(path, file.board)
    board = load_board(board_file)
    return Job(
        board=board,
        meter=meter_of(file.meter) if meter is None or "meter" in result else meter,
        log=log_of(file.readings, build_circuit(board), file_name(path)),
        flags=_flags(file.flags, file_name(path)),
        codes=flag_codes(result.get("flags")),
        appliance=file.appliance,
        note=file.note,
        found=file.found,
        repair=file.repair,
        closed=file.closed,
        retests=tuple(map(read_retest, file.retests)),
        board_file=board_file,
        file=path,
    )


def job_file_of(value: Mapping[str, Any]) -> tuple[JobFile | None, list[str]]:
    """Check keys and values of a job file: the file, or one line for each problem.

    What a later version may hold is not known here, and not complained of.
    """
    version = value.get("version", VERSION)
    if isinstance(version, int) and version > VERSION:
        allowed = f"{VERSION} (a newer zcd wrote this file: read it with that one)"
        return None, [str(invalid_value(version, allowed, "version"))]
    return validate(JobFile, value)


def board_file_of(path: Path, name: str) -> Path:
    """The board file that a job names, which may have been moved since."""
    try:
        there = os.path.lexists(path.parent / name)
    except ValueError:  # no file has such a name
        there = False
    if there:
        return path.parent / name
    where = "beside this job file, or at a path from there (moved? put it back, or name its place)"
    raise refuse(file_name(path), [str(invalid_value(name, f"a board file {where}", "board"))])


def _flags(flags: tuple[str, ...], name: str) -> tuple[str, ...]:
    """Flags, of which `none` stands alone."""
    if NO_FLAG in flags and len(flags) > 1:
        raise refuse(
            name, [str(invalid_value(list(flags), f"{NO_FLAG!r} alone, or flags", "flags"))]
        )
    return flags


def meter_of(table: MeterTable) -> Meter:
    """The usual meter with what the file says of it."""
    known = {
        attribute_of(name, info): value
        for name, info in MeterTable.model_fields.items()
        if (value := getattr(table, name)) is not None
    }
    if table.diode_stop is not None and table.diode_open is None:
        # what is shown lies below what the meter has when nothing is connected
        known["diode_open_v"] = max(usual_meter().diode_open_v, table.diode_stop / OPEN_SHARE)
    known["has_scope"] = table.scope != "no"
    return Meter(**known, diode_stated=not (table.diode_open is table.diode_stop is None))


def log_of(tables: Sequence[ReadingTable], circuit: Circuit, name: str) -> Log:
    """The readings taken and those skipped, every problem collected.

    Parameters
    ----------
    tables : sequence of ReadingTable
    circuit : Circuit
        Of the board that they were taken on.
    name : str
        Of the file that they stand in.

    Raises
    ------
    InputError
        If any of them cannot be used; one line for each problem.
    """
    result: list[Measured | Reading] = []
    lines = []
    for number, table in enumerate(tables, start=1):
        key = f"readings[{number}]"
        try:
            reading = _reading(table, circuit, key)
            if table.value == SKIPPED:
                result.append(reading)
            else:
                result.append(parse_shown(table.value, reading, f"{key}.value", circuit))
        except InputError as error:
            lines.append(str(error))
    if lines:
        raise refuse(name, lines)
    return tuple(result)


def _reading(table: ReadingTable, circuit: Circuit, key: str) -> Reading:
    """Where the probes were: over a part, at two nodes, or (as a default) at the pin."""
    function = parse_function(table.function, f"{key}.function")
    power = None if table.power is None else parse_power(table.power, f"{key}.power")
    if table.over is None:
        if table.lifted:
            raise invalid_value(True, "`lifted` only together with `over`", f"{key}.lifted")
        if (table.red is None) != (table.black is None):
            given = table.red or table.black
            raise invalid_value(given, "both `red` and `black`, or neither (the pin)", key)
        ends = table.red or "pin", table.black or "logic0"
        a, b = _turned(ends, table.reversed)
        return make_reading(function, a, b, circuit, key, power=power)
    if table.red is not None or table.black is not None:
        return _at_both(table, function, power, circuit, key)
    part = find_part(table.over, circuit, function)
    if part is None and " " in table.over.strip() and not table.lifted:
        stretch = parse_place(f"{function} {table.over}", circuit, f"{key}.over")
        a, b = _turned((stretch.red, stretch.black), table.reversed)
        return make_reading(function, a, b, circuit, key, power=power)
    if part is None:
        parts = tuple(e.ref for e in circuit if not is_hidden(e))
        allowed = f"one of {', '.join(parts)}{nearest(table.over, parts)}"
        raise invalid_value(table.over, allowed, f"{key}.over")
    a, b = _turned((part.a, part.b), table.reversed)
    lifted = part.ref if table.lifted else ""
    return make_reading(function, a, b, circuit, key, lifted, power)


def _at_both(
    table: ReadingTable, function: Function, power: Power | None, circuit: Circuit, key: str
) -> Reading:
    """Probes and what lies between them, as the output names a reading: they must agree."""
    if table.red is not None and table.black is not None:
        red, black = (joint(point, circuit) for point in (table.red, table.black))
        ends = circuit.node(red), circuit.node(black)
        between = parts_over(circuit, *ends)
        if table.over == between or (table.lifted and table.over in between.split(", ")):
            lifted = table.over if table.lifted else ""
            a, b = _turned(ends, table.reversed)
            return make_reading(function, a, b, circuit, key, lifted, power)
    allowed = "either `over`, or `red` and `black`, or all three where they agree"
    raise invalid_value(table.over, allowed, f"{key}.over")


def _turned(ends: tuple[str, str], turned: bool) -> tuple[str, str]:
    return (ends[1], ends[0]) if turned else ends
