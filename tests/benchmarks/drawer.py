"""Jobs of a drawer of 500 different resistors."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.diagnosis.boards import board
from zcd.board.drawer import Drawer, StockResistor
from zcd.board.parts_library import resistor
from zcd.substitutes.search import substitutes

PARTS, QUICK_PARTS = 500, 20


def drawer_jobs(*, quick: bool = False) -> dict[str, Callable[[], object]]:
    """Jobs by name: one failed resistor, and every part in turn."""
    parts = QUICK_PARTS if quick else PARTS
    part = resistor(ref="", resistance_ohm=1.0, tolerance_ratio=0.05, style="1206")
    drawer = Drawer(
        name="benchmark",
        resistors=tuple(
            StockResistor(part=replace(part, resistance_ohm=float(ohm)))
            for ohm in np.geomspace(1e3, 1e6, parts)
        ),
    )
    return {
        f"one resistor out of a drawer of {parts}": lambda: substitutes(board(), drawer, ["R2"]),
        f"every part, a drawer of {parts}": lambda: substitutes(board(), drawer),
    }
