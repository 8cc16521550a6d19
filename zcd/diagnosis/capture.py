"""Oscilloscope captures as CSV: whatever layout the scope writes, one or two channels.

Delimiter, decimal sign, header lines, units and the column of time are found out; what cannot be
told is refused, not guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from zcd.board.toml_files import read_bytes
from zcd.errors import InputError
from zcd.files import file_name

FloatArray = NDArray[np.float64]

MAX_BYTES = 100_000_000
WANTED = "an oscilloscope's CSV: a column of time, one or two of volts, up to 100 MB"
LAYOUTS = (("\t", "."), (";", "."), (";", ","), ("\t", ","), (",", "."), (None, "."), (None, ","))
"""Delimiter (None: blanks) and decimal sign, in the order in which they are tried."""
LOOKED_AT = 400
"""Lines from which the layout is told."""
FEWEST_SAMPLES = 100
MIN_FILLED = 0.98
TIME_UNITS_S = {"s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "us": 1e-6,
                "ns": 1e-9}  # fmt: skip
VOLT_UNITS_V = {"v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1e-3, "kv": 1e3}
LONGEST_S = 60.0
"""A time without a unit is taken as seconds up to this length."""
INDEX_STEP = 1.0
MIN_STEPS = 0.02
MOST = 1e12
"""No sample is so large; scopes write 9.9e37 where they have none."""
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_UNIT = re.compile(
    r"[(\[]\s*([a-zµμ]+)\s*[)\]]|\bin\s+([a-zµμ]+)|^\s*([a-zµμ]+)\s*$", re.IGNORECASE
)
_STEP_LABEL = re.compile(r"interval|increment", re.IGNORECASE)
_STEP = re.compile(r"[+-]?[\d.]+(?:e[+-]?\d+)?", re.IGNORECASE | re.ASCII)
LONGEST_LINE = 2_000
"""Characters; scopes write some ten columns."""
PIECE = 20_000
"""Lines that are read at once; only a piece with a torn line is read cell by cell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """What a scope has seen.

    Parameters
    ----------
    name : str
        Of the file.
    time_s : ndarray, shape (m,)
        Rising.
    channels_v : ndarray, shape (1 or 2, m)
    """

    name: str
    time_s: FloatArray
    channels_v: FloatArray


def load_capture(path: str | Path) -> Capture:
    """Read an oscilloscope's CSV.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Capture

    Raises
    ------
    InputError
        If it cannot be read, or does not say plainly what it holds.
    """
    path = Path(path)
    return read_capture(read_bytes(path, WANTED, MAX_BYTES), file_name(path))


def read_capture(data: bytes, name: str) -> Capture:
    """The same of a file's bytes.

    Parameters
    ----------
    data : bytes
    name : str
        What the file is called, for messages.
    """
    lines = _lines(data, name)
    delimiter, decimal = layout = _layout(lines, name)
    tail = [_cells(line, *layout) for line in lines[-LOOKED_AT:]]
    numeric = [
        k
        for k in range(max(map(len, tail)))
        if np.mean([len(r) > k and _is_number(r[k]) for r in tail]) >= MIN_FILLED
    ]
    whole = (n for n, line in enumerate(lines) if _is_whole(_cells(line, *layout), numeric))
    start = next(whole, len(lines))
    numbers = _numbers(lines[start:], layout, numeric, name)
    head = [_cells(line, delimiter, decimal) for line in lines[:start]]
    return _told(numbers, head, lines[:start], numeric, name)


def _refuse(name: str, value: str, allowed: str = WANTED) -> InputError:
    return InputError(f"{name}: found {value}; allowed: {allowed}")


def _lines(data: bytes, name: str) -> list[str]:
    """Lines that are not blank."""
    if b"\0" in data[:4096] and not data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _refuse(name, "bytes that are no text")
    utf16 = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    text = data.decode("utf-16" if utf16 else "utf-8-sig", errors="replace")
    result = [line for line in text.splitlines() if line.strip()]
    if len(result) < FEWEST_SAMPLES:
        raise _refuse(name, f"{len(result)} lines", f"{WANTED}, {FEWEST_SAMPLES} samples or more")
    longest = max(map(len, result))
    if longest > LONGEST_LINE:
        raise _refuse(name, f"a line of {longest} characters", f"lines up to {LONGEST_LINE}")
    return result


def _cells(line: str, delimiter: str | None, decimal: str) -> list[str]:
    cells = [cell.strip().strip('"').strip() for cell in line.split(delimiter)]
    return [cell.replace(",", ".") for cell in cells] if decimal == "," else cells


def _is_number(cell: str) -> bool:
    return _NUMBER.fullmatch(cell) is not None and abs(float(cell)) < MOST


def _layout(lines: list[str], name: str) -> tuple[str | None, str]:
    """Delimiter and decimal sign that make numbers of the most cells, two or more a line."""
    tail = lines[-LOOKED_AT:]

    def columns(layout: tuple[str | None, str]) -> int:
        counts = [sum(map(_is_number, _cells(line, *layout))) for line in tail]
        texts = [sum(1 for c in _cells(line, *layout) if c) for line in tail]
        even = np.mean(np.array(counts) == np.median(counts)) >= MIN_FILLED
        whole = np.mean(np.array(counts) == np.array(texts)) >= MIN_FILLED
        return int(np.median(counts)) if even and whole else 0

    best = max(LAYOUTS, key=columns)
    if columns(best) < 1:
        raise _refuse(name, "lines without columns of numbers")
    return best


def _is_whole(cells: list[str], columns: list[int]) -> bool:
    return all(len(cells) > k and _is_number(cells[k]) for k in columns)


def _numbers(
    lines: list[str], layout: tuple[str | None, str], columns: list[int], name: str
) -> FloatArray:
    """The columns of numbers, shape (columns, m); a torn last line is left out."""
    pieces = [lines[at : at + PIECE] for at in range(0, len(lines), PIECE)]
    read = [_at_once(piece, layout, columns) for piece in pieces]
    rows = [
        _one_by_one(piece, layout, columns) if numbers is None else numbers
        for piece, numbers in zip(pieces, read, strict=True)
    ]
    whole = sum(map(len, rows))
    if whole < FEWEST_SAMPLES or whole < MIN_FILLED * len(lines):
        torn = len(lines) - whole
        raise _refuse(name, f"{whole} lines of numbers and {torn} others among them")
    return np.ascontiguousarray(np.concatenate(rows).T)


def _at_once(
    lines: list[str], layout: tuple[str | None, str], columns: list[int]
) -> FloatArray | None:
    """Whole lines of plain numbers, shape (m, columns); None where one of them is not so."""
    delimiter, decimal = layout
    text = "\n".join(lines)
    if not text.isascii() or "_" in text:
        return None
    if decimal == ",":
        lines = text.replace(",", ".").split("\n")
    try:
        result = np.loadtxt(
            lines, delimiter=delimiter, usecols=columns, comments=None, quotechar='"', ndmin=2
        )
    except ValueError:
        return None
    sound = len(result) == len(lines) and bool(np.all(np.abs(result) < MOST))
    return np.asarray(result, dtype=float) if sound else None


def _one_by_one(lines: list[str], layout: tuple[str | None, str], columns: list[int]) -> FloatArray:
    rows = [cells for line in lines if _is_whole(cells := _cells(line, *layout), columns)]
    numbers = [[float(cells[k]) for k in columns] for cells in rows]
    return np.array(numbers, dtype=float).reshape(-1, len(columns))


def _told(
    data: FloatArray, head: list[list[str]], text: list[str], columns: list[int], name: str
) -> Capture:
    """Which column is the time, which are volts, in which units."""
    labels = [[r[k] for r in head if len(r) > k] for k in columns]
    rising = [k for k, column in enumerate(data) if _rises(column)]
    named = [k for k in rising if _unit_of(labels[k], TIME_UNITS_S) is not None]
    counted = [k for k in rising if np.allclose(np.diff(data[k]), INDEX_STEP)]
    times = named or [k for k in rising if k not in counted]
    if times:
        at = times[0]
        time_s = _even(data[at]) * _time_unit(data[at], labels[at], name)
    else:
        at, time_s = (counted[0] if counted else -1), _stepped(data.shape[1], head, text, name)
    volts = [k for k in range(len(data)) if k != at and k not in counted]
    if not 1 <= len(volts) <= 2:
        raise _refuse(name, f"{len(volts)} columns of volts beside that of time")
    units = [_unit_of(labels[k], VOLT_UNITS_V) or 1.0 for k in volts]
    channels = np.array([data[k] * unit for k, unit in zip(volts, units, strict=True)])
    return Capture(name=name, time_s=time_s, channels_v=channels)


def _rises(column: FloatArray) -> bool:
    """Whether a column is a time, perhaps one printed with too few digits."""
    step = np.diff(column)
    return bool(np.all(step >= 0.0) and np.mean(step > 0.0) > MIN_STEPS)


def _even(time: FloatArray) -> FloatArray:
    """Time as it was before too few digits were printed."""
    if np.all(np.diff(time) > 0.0):
        return time
    return np.linspace(time[0], time[-1], time.size)


def _unit_of(labels: list[str], units: dict[str, float]) -> float | None:
    """The unit that the header of a column gives, as a factor; the lowest line counts first."""
    for label in reversed(labels):
        for result in _UNIT.finditer(label):
            word = next(g for g in result.groups() if g).lower()
            word = word.replace("µ", "u").replace("μ", "u")
            if word in units:
                return units[word]
    return None


def _time_unit(time: FloatArray, labels: list[str], name: str) -> float:
    """Seconds, unless the header says otherwise."""
    unit = _unit_of(labels, TIME_UNITS_S)
    if unit is None and time[-1] - time[0] > LONGEST_S:
        raise _refuse(
            name,
            f"a time of {time[-1] - time[0]:.4g} without a unit",
            'a head such as "time (ms)", or seconds',
        )
    return 1.0 if unit is None else unit


def _stepped(samples: int, head: list[list[str]], text: list[str], name: str) -> FloatArray:
    """Time from a sample interval in the head: behind the word, or in the column under it."""
    for line in text:
        named = _STEP_LABEL.search(line)
        step = named and _STEP.search(line, named.end())
        if step and _is_number(step[0]) and float(step[0]) > 0.0:
            return np.asarray(np.arange(samples) * float(step[0]), dtype=float)
    for row, below in pairwise(head):
        for label, value in zip(row, below, strict=False):
            if _STEP_LABEL.search(label) and _is_number(value):
                return np.asarray(np.arange(samples) * float(value), dtype=float)
    raise _refuse(name, "no column of time and no sample interval")
