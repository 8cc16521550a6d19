"""Jobs of the maps of lost sync, and of stress."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.diagnosis.boards import board
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.margin.loss_map import LossMap, loss_map
from zcd.margin.loss_share import loss_share
from zcd.margin.shorts import short_stress
from zcd.margin.surge import surge_stress
from zcd.sync.lock import Lock, lock_of

POINTS = 100
"""Along either axis of a map without a boundary."""


def map_jobs(*, quick: bool = False) -> dict[str, Callable[[], object]]:
    """Jobs by name; a map is as fine as 97 by 97 points. Quick: the short ones."""
    plain, capacitor = board("half-wave"), board("across the LED")
    jobs: dict[str, Callable[[], object]] = {
        "map of lost sync": lambda: loss_map(plain),
        "all single shorts of one board": lambda: short_stress(plain),
        "surge on one board": lambda: surge_stress(plain),
    }
    if quick:
        return jobs
    result = loss_map(plain)
    return {
        **jobs,
        "map of a board with an LED capacitor": lambda: loss_map(
            capacitor, "led-capacitor", "mains"
        ),
        "share of 64 boards lost on a map": lambda: loss_share(plain, result),
        "map of 100 x 100 points, each one solved": lambda: every_point(plain, result),
    }


def every_point(plain: Board, found: LossMap) -> Lock:
    """Even points of a map's plane in one batch, no boundary looked for."""
    places = np.linspace(0.0, 1.0, POINTS)
    across, up = (each.ravel() for each in np.meshgrid(places, places))
    circuit = found.across.put(build_circuit(plain), plain, found.across.value(across))
    return lock_of(found.up.put(circuit, plain, found.up.value(up)), plain)
