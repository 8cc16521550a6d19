"""The kinds of quantity in the files people write: unit, range, right spellings."""

from __future__ import annotations

import re
from dataclasses import replace
from math import pi

from zcd.board.units import QuantityKind

_OHM = {"ω": 1.0, "ohm": 1.0, "ohms": 1.0, "r": 1.0}
_VOLT = {"v": 1.0, "vac": 1.0, "v ac": 1.0, "vdc": 1.0, "v dc": 1.0, "vrms": 1.0, "v rms": 1.0}
_VOLT |= {"volt": 1.0, "volts": 1.0, "v=": 1.0}
_WATT = {"w": 1.0, "watt": 1.0, "watts": 1.0}
_FARAD = {"f": 1.0}
_PERCENT = {"%": 0.01}
_DEGREE_CELSIUS = {"°c": 1.0, "c": 1.0, "degc": 1.0, "deg c": 1.0}
_ANGLE = {"deg": pi / 180, "°": pi / 180, "rad": 1.0}
_HOUR = {"h": 1.0, "hours": 1.0, "h/year": 1.0}
_MILLI_MEGA = "m is milli, M is mega"


# Nobody fits 330 milliohms to a chain, but many a hand writes 1m for a megohm; and a hundred
# thousand is 100.000 in some countries.
_UNCLEAR_OHMS = (
    (re.compile(r"[\d.]+\s*m", re.ASCII), f"{_MILLI_MEGA}: write 0R33, or 330M"),
    (
        re.compile(r"[1-9]\d{0,2}(\.\d{3})+\s*(Ω|ohms?|r)?", re.ASCII | re.IGNORECASE),
        "three digits after a point may be thousands: write 220k, or 220",
    ),
)


def _ohms(
    low: float,
    high: float,
    *examples: str,
    unclear: tuple[tuple[re.Pattern[str], str], ...] = (),
) -> QuantityKind:
    return QuantityKind(
        word="a resistance",
        unit="Ω",
        low=low,
        high=high,
        examples=examples,
        spellings=_OHM,
        prefixes="mkKMG",
        hint=_MILLI_MEGA,
        unclear=unclear,
    )


def _volts(low: float, high: float, *examples: str) -> QuantityKind:
    return QuantityKind(
        word="a voltage",
        unit="V",
        low=low,
        high=high,
        examples=examples,
        spellings=_VOLT,
        prefixes="mk",
    )


def _share(word: str, low: float, high: float, *examples: str) -> QuantityKind:
    return QuantityKind(
        word=word, unit="%", low=low, high=high, examples=examples, spellings=_PERCENT
    )


RESISTANCE = _ohms(0.1, 1e9, "120k", "4k7", "120 kΩ", unclear=_UNCLEAR_OHMS)
SMALL_RESISTANCE = _ohms(1e-4, 1e5, "0R1", "15", "15 Ω")
CAPACITANCE = QuantityKind(
    word="a capacitance",
    unit="F",
    low=1e-12,
    high=1e-3,
    examples=("10n", "4n7", "10 nF"),
    spellings=_FARAD,
    prefixes="pnum",
)
MAINS_VOLTAGE = QuantityKind(
    word="an AC voltage",
    unit="V",
    low=1.0,
    high=1000.0,
    examples=("230 V", "120 V"),
    spellings={
        **{"v": 1.0, "vac": 1.0, "v ac": 1.0, "vrms": 1.0, "v rms": 1.0},
        **{"v~": 1.0, "v ~": 1.0, "volt": 1.0, "volts": 1.0},
    },
    prefixes="mk",
)
SUPPLY_VOLTAGE = _volts(1.0, 50.0, "5 V", "3V3")
WORKING_VOLTAGE = _volts(1.0, 20e3, "200 V", "1.6 kV")
THRESHOLD_VOLTAGE = _volts(0.0, 50.0, "1 V", "20 %")
FREQUENCY = QuantityKind(
    word="a frequency",
    unit="Hz",
    low=10.0,
    high=1000.0,
    examples=("50 Hz", "60 Hz"),
    spellings={"hz": 1.0, "hertz": 1.0, "c/s": 1.0},
    prefixes="k",
)
TOLERANCE = _share("a tolerance", 0.0, 0.5, "5 %", "1 %")
PERIOD_TOLERANCE = _share("a tolerance", 0.0001, 0.5, "5 %", "1 %")
"""No train of pulses is even to nothing at all."""
FRACTION = _share("a fraction", 0.0, 1.0, "5 %", "0.05")
REMAINING = _share("what is left of the CTR,", 0.001, 1.0, "100 %", "60 %")
CTR = _share("a current transfer ratio", 0.001, 20.0, "250 %", "80 %")
SUPPLY_SHARE = _share("a share of the supply", 0.0, 1.0, "20 %", "1 V")
DURATION = QuantityKind(
    word="a time",
    unit="s",
    low=0.0,
    high=0.1,
    examples=("200 us", "1 ms"),
    spellings={"s": 1.0},
    prefixes="num",
)
LONGEST_TIME = replace(DURATION, low=1e-6)
"""What something may take at most: nothing takes no time at all."""
ANGLE = QuantityKind(
    word="an angle",
    unit="rad",
    low=-2 * pi,
    high=2 * pi,
    examples=("90 deg", "1.57 rad"),
    spellings=_ANGLE,
    bare=False,
)
TEMPERATURE = QuantityKind(
    word="a temperature",
    unit="°C",
    low=-55.0,
    high=150.0,
    examples=("25 °C", "60 C"),
    spellings=_DEGREE_CELSIUS,
)
POWER = QuantityKind(
    word="a power",
    unit="W",
    low=0.01,
    high=100.0,
    examples=("0.25 W", "1/4 W"),
    spellings=_WATT,
    prefixes="m",
)
YEARLY_HOURS = QuantityKind(
    word="hours in a year",
    unit="h",
    low=0.0,
    high=8784.0,
    examples=("4000 h", "8760 h"),
    spellings=_HOUR,
)
CURRENT = QuantityKind(
    word="a current",
    unit="A",
    low=0.0,
    high=1000.0,
    examples=("1.5 mA", "20 uA"),
    spellings={"a": 1.0},
    prefixes="pnum",
)
STORY_TIME = QuantityKind(
    word="a time",
    unit="s",
    low=0.0,
    high=3600.0,
    examples=("500 ms", "3 s"),
    spellings={"s": 1.0},
    prefixes="um",
)
SPEED = QuantityKind(
    word="a speed",
    unit="rpm",
    low=10.0,
    high=40e3,
    examples=("1200 rpm", "900"),
    spellings={"rpm": 1.0, "1/min": 1.0, "r/min": 1.0},
)
INERTIA = QuantityKind(
    word="a moment of inertia",
    unit="kg m²",
    low=1e-7,
    high=10.0,
    examples=("2e-3 kg m²", "0.002"),
    spellings={"kg m²": 1.0, "kgm²": 1.0},
)
MOTOR_POWER = QuantityKind(
    word="a power",
    unit="W",
    low=1.0,
    high=2000.0,
    examples=("40 W", "25"),
    spellings=_WATT,
    prefixes="k",
)
OFFSET = QuantityKind(
    word="a time",
    unit="s",
    low=-0.1,
    high=0.1,
    examples=("600 us", "-1 ms"),
    spellings={"s": 1.0},
    prefixes="num",
)
