"""The bench card: what this meter reads on a good board and under each fault, safest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import copysign, inf

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.fault_dictionary import FaultDictionary, Progress
from zcd.diagnosis.functions import Function
from zcd.diagnosis.likelihood import error, scaled
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.readings import AccessLevel, Measured, Reading, access_level, parts_over

FloatArray = NDArray[np.float64]

APART = 3.0
"""Standard errors between two readings that a bench can tell apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedRange:
    """What a reading shows over all that is unknown: least, middle, most."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedReading:
    """One reading of the card.

    Parameters
    ----------
    reading : Reading
    access : AccessLevel
    over : str
        The part (or parts) that the probes are across; empty where there is none.
    healthy : ExpectedRange
    faults : dict of str to ExpectedRange
        By single fault; only those that this reading tells from a good board.
    """

    reading: Reading
    access: AccessLevel
    over: str
    healthy: ExpectedRange
    faults: dict[str, ExpectedRange]


def list_expected_readings(
    dictionary: FaultDictionary, progress: Progress | None = None
) -> tuple[ExpectedReading, ...]:
    """The card of a board.

    Parameters
    ----------
    dictionary : FaultDictionary
    progress : callable, optional

    Returns
    -------
    lines : tuple of ExpectedReading
        Dead tests, then the isolated side, then the mains side, then with one end lifted.
    """
    dictionary.prepare(dictionary.readings, progress)
    order = list(AccessLevel)
    lines = [_line(dictionary, reading) for reading in dictionary.readings]
    return tuple(sorted(lines, key=lambda line: order.index(line.access)))


def good_board(
    dictionary: FaultDictionary, reading: Reading, measured: Sequence[Measured] = ()
) -> ExpectedRange:
    """What a reading shows on a good board, over all that is unknown; a meter that counted the
    pulses of this board before counts them again."""
    shown = dictionary.good(reading)
    counts = any(m.reading.at_pin and not m.unstable and 0.0 < m.value < inf for m in measured)
    if counts and reading.at_pin and np.any(shown > 0.0):
        shown = shown[shown > 0.0]
    return good_range(reading.function, shown, dictionary.meter)


def good_range(function: Function, healthy: FloatArray, meter: Meter) -> ExpectedRange:
    """The same of what good boards show, as `good_spans`; the meter may be off by its accuracy."""
    shown, off = _spread(healthy), function.row.accuracy_ratio(meter)
    low = shown.low * (1.0 - copysign(off, shown.low))
    high = shown.high * (1.0 + copysign(off, shown.high))
    return replace(shown, low=low, high=high)


def _line(dictionary: FaultDictionary, reading: Reading) -> ExpectedReading:
    shown = dictionary.by_fault(dictionary.predictions(reading))
    limits = good_spans(reading.function, dictionary.good(reading), dictionary.meter)
    return ExpectedReading(
        reading=reading,
        access=access_level(dictionary.circuit, reading),
        over=parts_over(dictionary.circuit, reading.red, reading.black),
        healthy=good_board(dictionary, reading),
        faults={
            fault.key: _spread(row)
            for fault, row in zip(dictionary.faults, shown, strict=True)
            if not fault.members and row.size and _differs(reading, row, limits)
        },
    )


def _spread(values: FloatArray) -> ExpectedRange:
    # a rank that exists: between a number and an overload there is no middle
    low, middle, high = np.sort(values)[[0, values.size // 2, -1]]
    return ExpectedRange(low=float(low), middle=float(middle), high=float(high))


def good_spans(
    function: Function, healthy: FloatArray, meter: Meter
) -> tuple[tuple[float, float], ...]:
    """What a good board shows, errors included.

    Parameters
    ----------
    function : Function
    healthy : ndarray, shape (n,)
        By a good board, over all that a bench does not know of it.
    meter : Meter

    Returns
    -------
    spans : tuple of (float, float)
        Least and most on the reading's own scale; two spans where some meters count the pulses and
        others find none: half as many is neither.
    """
    none = (healthy == 0.0) & function.row.pulses
    spans = []
    for shown in (healthy[none], healthy[~none]):
        if shown.size:
            values = scaled(function, shown)
            off = APART * error(function, values, meter)
            spans.append((float(np.min(values - off)), float(np.max(values + off))))
    return tuple(spans)


def _differs(reading: Reading, shown: FloatArray, spans: Sequence[tuple[float, float]]) -> bool:
    """Whether most of what a fault shows lies outside what a good board shows."""
    values = scaled(reading.function, shown)
    inside = [(values >= low) & (values <= high) for low, high in spans]
    return bool(np.mean(np.any(inside, axis=0)) < 0.5)
