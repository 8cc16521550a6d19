"""Job files: the board, the meter, the readings and flags observed, in the order taken."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated

from pydantic import BeforeValidator, Field

from zcd.board import kinds
from zcd.board.documents import parse_toml, read_text, refuse, validate
from zcd.board.files import load_board
from zcd.board.model import Board
from zcd.board.schema import Table, one_of, quantity, quantity_or_none
from zcd.board.units import Kind, nearest, refusal
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit, is_hidden
from zcd.diagnosis.meters import AcKind, Meter, usual_meter
from zcd.diagnosis.readings import Function, Measured
from zcd.diagnosis.words import make_reading, parse_function, parse_value, part_nodes
from zcd.errors import InputError

_ACCURACY = kinds.TOLERANCE

WANTED = "a job or board file, TOML in UTF-8, up to 1 MB"
FLAGS = ("sync", "fan")

_INPUT = Kind(
    word="an input resistance", unit="Ω", low=100.0, high=1e12, examples=("10M", "3k"),
    spellings={"ω": 1.0, "ohm": 1.0}, prefixes="kKMG",
)  # fmt: skip


class MeterTable(Table):
    """``[meter]`` of a job file."""

    dc_input: Annotated[float | None, quantity(_INPUT)] = quantity_or_none(_INPUT)
    ac_input: Annotated[float | None, quantity(_INPUT)] = quantity_or_none(_INPUT)
    ac_kind: Annotated[str | None, BeforeValidator(one_of(*(str(k) for k in AcKind)))] = Field(
        default=None, description=f"one of {', '.join(AcKind)}"
    )
    dc_accuracy: Annotated[float | None, quantity(_ACCURACY)] = quantity_or_none(kinds.TOLERANCE)
    ac_accuracy: Annotated[float | None, quantity(_ACCURACY)] = quantity_or_none(kinds.TOLERANCE)
    ohm_accuracy: Annotated[float | None, quantity(_ACCURACY)] = quantity_or_none(kinds.TOLERANCE)


class ReadingTable(Table):
    """One ``[[readings]]`` of a job file."""

    function: str = Field(description='the meter\'s function such as "dc"')
    over: str | None = Field(default=None, description='a part such as "R2"')
    red: str | None = Field(default=None, description='a node such as "pin"')
    black: str | None = Field(default=None, description='a node such as "logic0"')
    value: object = Field(description='what the meter showed, such as "4.98 V"')


class JobFile(Table):
    """A job file."""

    board: str = Field(description='the board file\'s name such as "board.toml"')
    note: str = Field(default="", description="a line of text")
    flags: tuple[Annotated[str, BeforeValidator(one_of(*FLAGS))], ...] = Field(
        default=(), description=f"a list of {', '.join(FLAGS)}"
    )
    meter: MeterTable = Field(default_factory=MeterTable, description="a table")
    readings: tuple[ReadingTable, ...] = Field(
        default=(), description="a list of tables [[readings]]"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A job: what was observed on a board.

    Parameters
    ----------
    board : Board
    meter : Meter
    measured : tuple of Measured
        In the order taken.
    flags : tuple of str
        What the controller reported: ``sync``, ``fan``.
    note : str
    """

    board: Board
    meter: Meter
    measured: tuple[Measured, ...] = ()
    flags: tuple[str, ...] = ()
    note: str = ""


def load_job(path: str | Path) -> Job:
    """Read a job file, and the board file it names (relative to it).

    Parameters
    ----------
    path : str or Path
        A job file; or a board file, which makes a job without readings.

    Returns
    -------
    Job

    Raises
    ------
    InputError
        If either file cannot be used; one line for each problem.
    """
    path = Path(path)
    found = parse_toml(read_text(path, WANTED), path.name, WANTED)
    if not JobFile.model_fields.keys() & found.keys():
        return Job(board=load_board(path), meter=usual_meter())
    file, lines = validate(JobFile, found)
    if file is None:
        raise refuse(path.name, lines)
    board = load_board(path.parent / file.board)
    return Job(
        board=board,
        meter=_meter(file.meter),
        measured=_measured(file.readings, board, path.name),
        flags=file.flags,
        note=file.note,
    )


def _meter(table: MeterTable) -> Meter:
    """The usual meter with what the file says of it."""
    names = {
        "dc_input": "dc_input_ohm",
        "ac_input": "ac_input_ohm",
        "dc_accuracy": "dc_accuracy_ratio",
        "ac_accuracy": "ac_accuracy_ratio",
        "ohm_accuracy": "ohm_accuracy_ratio",
    }
    written = {names[k]: v for k, v in table if k in names and v is not None}
    meter = replace(usual_meter(), **written)
    return replace(meter, ac_kind=AcKind(table.ac_kind)) if table.ac_kind else meter


def _measured(tables: tuple[ReadingTable, ...], board: Board, name: str) -> tuple[Measured, ...]:
    """The readings, every problem collected."""
    circuit = build_circuit(board)
    found, lines = [], []
    for number, table in enumerate(tables, start=1):
        key = f"readings[{number}]"
        try:
            function = parse_function(table.function, f"{key}.function")
            a, b = _probes(table, function, circuit, key)
            reading = make_reading(function, a, b, circuit, key)
            value = parse_value(table.value, function, f"{key}.value")
            found.append(Measured(reading=reading, value=value))
        except InputError as error:
            lines.append(str(error))
    if lines:
        raise refuse(name, lines)
    return tuple(found)


def _probes(table: ReadingTable, function: Function, circuit: Circuit, key: str) -> tuple[str, str]:
    """Where the probes were: over a part, at two nodes, or (as a default) at the pin."""
    if table.over is not None:
        if table.red is not None or table.black is not None:
            raise refusal(table.over, "either `over`, or `red` and `black`", f"{key}.over")
        nodes = part_nodes(table.over, circuit, function)
        if nodes is None:
            parts = tuple(e.ref for e in circuit if not is_hidden(e))
            allowed = f"one of {', '.join(parts)}{nearest(table.over, parts)}"
            raise refusal(table.over, allowed, f"{key}.over")
        return nodes[0], nodes[1]
    if (table.red is None) != (table.black is None):
        given = table.red or table.black
        raise refusal(given, "both `red` and `black`, or neither (the pin)", key)
    return table.red or "pin", table.black or "logic0"
