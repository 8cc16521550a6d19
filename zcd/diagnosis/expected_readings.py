"""The bench card: what this meter reads on a good board and under each fault, safest first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.fault_dictionary import Atlas, Progress
from zcd.diagnosis.likelihood import error, scaled
from zcd.diagnosis.readings import Reading, Side, parts_over, side_of

FloatArray = NDArray[np.float64]

APART = 3.0
"""Standard errors between two readings that a bench can tell apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What a reading shows over all that is unknown: least, middle, most."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLine:
    """One reading of the card.

    Parameters
    ----------
    reading : Reading
    side : Side
    over : str
        The part (or parts) that the probes are across; empty where there is none.
    healthy : Shown
    faults : dict of str to Shown
        By single fault; only those that this reading tells from a good board.
    """

    reading: Reading
    side: Side
    over: str
    healthy: Shown
    faults: dict[str, Shown]


def bench_card(atlas: Atlas, progress: Progress | None = None) -> tuple[CardLine, ...]:
    """The card of a board.

    Parameters
    ----------
    atlas : Atlas
    progress : callable, optional

    Returns
    -------
    lines : tuple of CardLine
        Dead tests, then the isolated side, then the mains side, then with one end lifted.
    """
    atlas.prepare(atlas.readings, progress)
    order = list(Side)
    lines = [_line(atlas, reading) for reading in atlas.readings]
    return tuple(sorted(lines, key=lambda line: order.index(line.side)))


def _line(atlas: Atlas, reading: Reading) -> CardLine:
    shown = atlas.by_fault(atlas.shown(reading))
    limits = _healthy_limits(atlas, reading, shown[0])
    return CardLine(
        reading=reading,
        side=side_of(atlas.circuit, reading),
        over=parts_over(atlas.circuit, reading.a, reading.b),
        healthy=_spread(shown[0]),
        faults={
            fault.key: _spread(row)
            for fault, row in zip(atlas.faults, shown, strict=True)
            if not fault.members and row.size and _differs(reading, row, limits)
        },
    )


def _spread(values: FloatArray) -> Shown:
    # a rank that exists: between a number and an overload there is no middle
    low, middle, high = np.sort(values)[[0, values.size // 2, -1]]
    return Shown(low=float(low), middle=float(middle), high=float(high))


def _healthy_limits(atlas: Atlas, reading: Reading, healthy: FloatArray) -> tuple[float, float]:
    """What a good board shows, errors included, on the reading's own scale."""
    values = scaled(reading.function, healthy)
    margin = APART * error(reading.function, values, atlas.meter)
    return float(np.min(values - margin)), float(np.max(values + margin))


def _differs(reading: Reading, shown: FloatArray, limits: tuple[float, float]) -> bool:
    """Whether most of what a fault shows lies outside what a good board shows."""
    values = scaled(reading.function, shown)
    return bool(np.mean((values < limits[0]) | (values > limits[1])) > 0.5)
