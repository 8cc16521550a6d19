"""When a loose contact or joint is open: by its own heat, by shaking, or after closing."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from random import Random

SEED = 7
WARM_UP_S = 20.0
"""Time in which a loaded joint takes on 63 % of its warmth: common practice, no source."""
OPENS_AT, CLOSES_AT = 0.6, 0.35
"""Shares of the final warmth."""
SHAKEN_SOUND_S, SHAKEN_OPEN_S = 3.0, 0.25
"""Mean times that a shaken joint is sound, and open: common practice, no source."""
BOUNCE_S = 2.0
"""How long a worn contact bounces."""
BOUNCE_STEP_S = 0.04

Opens = Callable[[float, bool], bool]
"""From the length of a step and whether the part is in use, whether it is open."""


class Pattern(StrEnum):
    """When it opens."""

    HEAT = "opens when warm"
    SHAKE = "opens when shaken"
    BOUNCE = "bounces"


def opens(pattern: Pattern) -> Opens:
    """A loose part to be followed step by step; the same every time it is made.

    Parameters
    ----------
    pattern : Pattern

    Returns
    -------
    opens : callable
    """
    match pattern:
        case Pattern.HEAT:
            return _Heat().step
        case Pattern.SHAKE:
            return _Shake().step
        case Pattern.BOUNCE:
            return _Bounce().step


class _Heat:
    """Warms while it carries current, opens warm, closes cool."""

    def __init__(self) -> None:
        self.warmth, self.is_open = 0.0, False

    def step(self, step_s: float, in_use: bool) -> bool:
        load = float(in_use and not self.is_open)
        self.warmth += (load - self.warmth) * step_s / WARM_UP_S
        if self.warmth > OPENS_AT:
            self.is_open = True
        elif self.warmth < CLOSES_AT:
            self.is_open = False
        return self.is_open


class _Shake:
    """Alternately sound and open, for random times."""

    def __init__(self) -> None:
        self.random, self.is_open = Random(SEED), False
        self.left_s = self.random.expovariate(1.0 / SHAKEN_SOUND_S)

    def step(self, step_s: float, in_use: bool) -> bool:
        del in_use
        self.left_s -= step_s
        if self.left_s <= 0.0:
            self.is_open = not self.is_open
            mean_s = SHAKEN_OPEN_S if self.is_open else SHAKEN_SOUND_S
            self.left_s = self.random.expovariate(1.0 / mean_s)
        return self.is_open


class _Bounce:
    """Opens again and again for some time after each closing."""

    def __init__(self) -> None:
        self.random, self.closed_s, self.left_s, self.is_open = Random(SEED), 0.0, 0.0, False

    def step(self, step_s: float, in_use: bool) -> bool:
        self.closed_s = self.closed_s + step_s if in_use else 0.0
        self.left_s -= step_s
        if self.left_s <= 0.0:
            bouncing = 0.0 < self.closed_s < BOUNCE_S
            self.is_open = bouncing and not self.is_open
            self.left_s = self.random.expovariate(1.0 / BOUNCE_STEP_S)
        return self.is_open
