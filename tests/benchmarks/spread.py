"""Jobs of corners, population and outlook."""

from __future__ import annotations

from collections.abc import Callable

from tests.diagnosis.boards import board
from zcd.margin.ageing import ageing_of
from zcd.margin.corners import find_corners
from zcd.margin.population import draw_population
from zcd.margin.sensitivity import sensitivity_of
from zcd.margin.tolerances import tolerances_of


def spread_jobs(*, quick: bool = False) -> dict[str, Callable[[], object]]:
    """Jobs by name; quick: the short ones."""
    plain = board("half-wave")
    every = tolerances_of(plain)
    jobs: dict[str, Callable[[], object]] = {
        "worst corners of one board": lambda: find_corners(plain, every),
        "1024 boards drawn and fully judged": lambda: draw_population(plain, every),
    }
    if quick:
        return jobs
    corners = find_corners(plain, every)
    return {
        **jobs,
        "what decides the reserve": lambda: sensitivity_of(plain, every),
        "margin over the years": lambda: ageing_of(plain, every, corners),
    }
