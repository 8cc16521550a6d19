"""Inputs of controllers from the table of pins: levels, hysteresis, and the pull-up inside."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isnan

from zcd import refdata
from zcd.board.model import Controller, Resistor
from zcd.board.units import find_name, nearest
from zcd.errors import invalid_value

INTERNAL_PULL_UP = "internal pull-up"
"""Ref of the controller's own pull-up. On a dead board there is none: it is a transistor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PinInput:
    """What a data sheet guarantees of an input.

    Parameters
    ----------
    name : str
    low_v, high_v : float
        At or below the first it reads low, at or above the second high.
    hysteresis_v : float
        What at least lies between the levels at which it really switches; 0 where none is known.
    pull_up_ohm : tuple of float, or None
        Least and largest of the pull-up inside.
    source : str
    """

    name: str
    low_v: float
    high_v: float
    hysteresis_v: float
    pull_up_ohm: tuple[float, float] | None
    source: str


def pin_inputs() -> tuple[str, ...]:
    """Names of the known inputs."""
    return tuple(str(row["controller"]) for row in refdata.table("pin_thresholds"))


def pin_input(name: str, supply_v: float, key: str = "") -> PinInput:
    """Return the input of this name, at a supply.

    Parameters
    ----------
    name : str
        Upper or lower case.
    supply_v : float
        Of the controller. [V]
    key : str, optional
        Where the name stood, for the message.

    Raises
    ------
    InputError
        If there is none, or its sheet guarantees nothing at this supply.
    """
    found = find_name(name, pin_inputs())
    if found is None:
        known = pin_inputs()
        raise invalid_value(name, f"one of {', '.join(known)}{nearest(name, known)}", key)
    row = next(r for r in refdata.table("pin_thresholds") if r["controller"] == found)
    least_v, most_v = float(row["supply_min_v"]), float(row["supply_max_v"])
    if supply_v < least_v or supply_v > most_v:  # never where the sheet names no supply
        allowed = f"its sheet's levels hold from {least_v:g} to {most_v:g} V of supply"
        instead = "low_threshold and high_threshold from your controller's sheet"
        raise invalid_value(f"{name} at {supply_v:g} V", f"{instead} ({allowed})", key)
    low, high, hysteresis = (
        _level_v(row, name, supply_v) for name in ("low_max", "high_min", "hysteresis")
    )
    least, most = float(row["pull_up_min_ohm"]), float(row["pull_up_max_ohm"])
    return PinInput(
        name=found,
        low_v=low,
        high_v=high,
        hysteresis_v=0.0 if isnan(hysteresis) else hysteresis,
        pull_up_ohm=None if isnan(least) else (least, most),
        source=refdata.cite(str(row["source"])),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchingLevels:
    """Between which voltages an input may really switch, and why.

    `low_v`: from the guaranteed low level up; `high_v`: up to the guaranteed high level.
    """

    low_v: tuple[float, float]
    high_v: tuple[float, float]
    source: str

    @property
    def typical_v(self) -> tuple[float, float]:
        """Where a typical input switches: in the middle of both spans."""
        return sum(self.low_v) / 2.0, sum(self.high_v) / 2.0


def switching_levels(controller: Controller) -> SwitchingLevels:
    """Where an input may switch: as near to the middle of its band as its hysteresis lets it."""
    low, high = controller.low_threshold_v, controller.high_threshold_v
    share, least_v = refdata.default("spread.threshold"), controller.hysteresis_v
    inward, source = share.value * (high - low), share.why
    if least_v is not None:
        inward = (high - low - min(least_v, high - low)) / 2.0
        source = "from the guaranteed level to half of the input's hysteresis from the middle"
    return SwitchingLevels(low_v=(low, low + inward), high_v=(high - inward, high), source=source)


def _level_v(row: refdata.Row, name: str, supply_v: float) -> float:
    """A level in volts, or as a share of the supply; nan where it was not read."""
    volts = float(row[f"{name}_v"])
    return float(row[f"{name}_ratio"]) * supply_v if isnan(volts) else volts


def internal_pull_up(span_ohm: tuple[float, float], source: str) -> Resistor:
    """The pull-up inside a controller as a resistor: anywhere between its ends, without limits."""
    low, high = span_ohm
    return Resistor(
        ref=INTERNAL_PULL_UP,
        resistance_ohm=(low + high) / 2.0,
        tolerance_ratio=(high - low) / (high + low),
        style="in the controller",
        rated_power_w=inf,
        working_v=inf,
        overload_v=inf,
        source=source,
    )
