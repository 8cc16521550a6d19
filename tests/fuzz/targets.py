"""The readers that are tried, each with what it is given."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from tests.board.boards import FULL, SMALLEST
from tests.fuzz import captures, documents, forms, hostile, page
from tests.fuzz.commands import command_lines, run_command
from tests.fuzz.good import BOARDS, DRAWERS, JOBS
from tests.fuzz.judge import LONGEST_S
from zcd.board import quantity_kinds
from zcd.board.drawer import load_drawer
from zcd.board.files import load_board, parse_board
from zcd.board.units import QuantityKind, parse_quantity
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.capture import load_capture
from zcd.diagnosis.capture_measurements import find_traces
from zcd.diagnosis.job import load_job
from zcd.diagnosis.job_history import read_job_history
from zcd.diagnosis.reading_syntax import parse_place, parse_reading

KINDS = tuple(each for each in vars(quantity_kinds).values() if isinstance(each, QuantityKind))


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """One reader.

    Parameters
    ----------
    name : str
    inputs : SearchStrategy
    run : callable
        Reads one input.
    share : int
        Of a thousand inputs.
    longest_s : float
        An answer takes no longer.
    """

    name: str
    inputs: st.SearchStrategy[Any]
    run: Callable[[Any], Any]
    share: int
    longest_s: float = LONGEST_S


@cache
def folder() -> Path:
    """A place for the files of this process, with the boards that jobs name."""
    kept = tempfile.TemporaryDirectory(prefix="zcd-fuzz-")
    _KEPT.append(kept)
    path = Path(kept.name)
    (path / "board.toml").write_text(SMALLEST, encoding="utf-8")
    (path / "full.toml").write_text(FULL, encoding="utf-8")
    return path


_KEPT: list[tempfile.TemporaryDirectory[str]] = []


def _file(data: bytes, name: str) -> Path:
    path = folder() / name
    path.write_bytes(data)
    return path


@cache
def _circuit() -> Circuit:
    return build_circuit(parse_board(FULL))


def read_quantity(given: tuple[object, QuantityKind]) -> float:
    """A quantity of some kind."""
    return parse_quantity(*given, "key")


def read_board(data: bytes) -> Any:
    """A board file, and the circuit that it becomes."""
    board = load_board(_file(data, "given.toml"))
    return board, build_circuit(board).elements


def read_job(data: bytes) -> Any:
    """A job file, and the folder that it lies in."""
    path = _file(data, "given.toml")
    record = read_job_history(folder())
    return record, load_job(path)


def read_drawer(data: bytes) -> Any:
    """A drawer file."""
    return load_drawer(_file(data, "drawer.toml"))


def read_capture(data: bytes) -> Any:
    """A capture, and what it shows."""
    capture = load_capture(_file(data, "scope.csv"))
    result = find_traces(capture, parse_board(SMALLEST))
    return capture, result.low_times_s, result.readings


def read_reading(given: tuple[str, bool]) -> Any:
    """A reading, with its value or without."""
    text, whole = given
    return (parse_reading if whole else parse_place)(text, _circuit(), "--reading")


FUNCTIONS = ("dc", "ac", "ohm", "low z", "diode", "duty", "frequency", "low time", "vdc", "edge")
POINTS = ("pin logic0", "line neutral", "R11", "OC1", "U2", "led+ led-", "R1 lifted", "C1", "",
          "pin", "coil+ coil-", "feed feed", "nowhere pin")  # fmt: skip
SHOWN = ("4.98 V", "OL", "about 230", "190..260", "< 5 V", "over 1M", "nothing", "unstable", "0",
         "-310 mV", "1 to 2 k", "nan", "1e400 V", "48 %", "9.5 ms", "50 Hz", "..", "")  # fmt: skip


@st.composite
def readings(draw: st.DrawFn) -> tuple[str, bool]:
    """A reading nearly as a person writes it."""
    parts = [draw(st.sampled_from(each)) for each in (FUNCTIONS, POINTS, SHOWN)]
    if draw(st.booleans()):
        parts.insert(draw(st.integers(0, 3)), draw(st.text(max_size=8)))
    return " ".join(parts), draw(st.booleans())


TARGETS = (
    Target(
        name="quantities",
        inputs=st.tuples(hostile.quantities(), st.sampled_from(KINDS)),
        run=read_quantity,
        share=400,
    ),
    Target(name="board files", inputs=documents.toml_files(BOARDS), run=read_board, share=200),
    Target(name="job files", inputs=documents.toml_files(JOBS), run=read_job, share=120),
    Target(name="drawer files", inputs=documents.toml_files(DRAWERS), run=read_drawer, share=120),
    Target(name="captures", inputs=captures.capture_files(), run=read_capture, share=40),
    Target(name="readings", inputs=readings(), run=read_reading, share=60),
    Target(name="addresses of the page", inputs=page.addresses, run=page.ask, share=30),
    Target(name="forms of the page", inputs=forms.forms(), run=forms.post, share=20),
    Target(
        name="command lines", inputs=command_lines(), run=run_command, share=10, longest_s=120.0
    ),
)
