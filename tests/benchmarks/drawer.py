"""Jobs of a drawer of 500 different resistors."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.diagnosis.boards import board
from zcd.board.drawer import StockResistor
from zcd.board.parts_library import resistor
from zcd.substitutes.chain_parts import chain_fits
from zcd.substitutes.series_string import series_string
from zcd.substitutes.subset_sum import Stock, Window, count

PARTS, QUICK_PARTS = 500, 20


def drawer_jobs(*, quick: bool = False) -> dict[str, Callable[[], object]]:
    """Jobs by name: the count alone, and (not quick) all of the search with verdicts."""
    parts = QUICK_PARTS if quick else PARTS
    ohm = np.geomspace(1e3, 1e6, parts)
    part = resistor(ref="", resistance_ohm=1.0, tolerance_ratio=0.05, style="1206")
    stock = [StockResistor(part=replace(part, resistance_ohm=float(value))) for value in ohm]
    sums = Stock(
        values=ohm,
        lows=0.95 * ohm,
        floors=1.3 * ohm,
        tiers=np.zeros(parts, dtype=np.intp),
        counts=np.full(parts, 9),
    )
    window = Window(lowest=np.array([1e5]), highest=np.array([4e5]))
    place = series_string(board())
    jobs: dict[str, Callable[[], object]] = {
        f"counting sums of four out of {parts}": lambda: count(sums, window, 4)
    }
    if quick:
        return jobs
    return {**jobs, f"chain out of a drawer of {parts}": lambda: chain_fits(place, stock)}
