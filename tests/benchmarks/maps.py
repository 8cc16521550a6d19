"""Jobs of the maps of lost sync, and of stress."""

from __future__ import annotations

from collections.abc import Callable

from tests.diagnosis.boards import board
from zcd.margin.loss_share import loss_share
from zcd.margin.maps import loss_map
from zcd.margin.shorts import short_stress
from zcd.margin.surge import surge_stress


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
    found = loss_map(plain)
    return {
        **jobs,
        "map of a board with an LED capacitor": lambda: loss_map(
            capacitor, "led-capacitor", "mains"
        ),
        "share of 64 boards lost on a map": lambda: loss_share(plain, found),
    }
