"""The tables and keys of a board file, and which of them exclude each other.

One class per table. A field's description is the *allowed* part of the message when the key is
missing or of the wrong type, so it is written as one.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StrictBool, StrictInt

from zcd.board import kinds
from zcd.board.model import Topology
from zcd.board.units import Kind, is_reference, nearest, parse_quantity, refusal

_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_LONGEST_NAME = 80


@dataclass(frozen=True, slots=True, kw_only=True)
class Threshold:
    """A threshold in volts, or as a share of the controller's supply."""

    value: float
    of_supply: bool

    def volts(self, supply_v: float) -> float:
        """Threshold for this supply [V]."""
        return self.value * supply_v if self.of_supply else self.value


def quantity(kind: Kind) -> BeforeValidator:
    """Make a field reader for a quantity of this kind."""
    return BeforeValidator(lambda found: parse_quantity(found, kind))


def short_form(key: str) -> BeforeValidator:
    """Let a plain value stand for a table with this one key."""
    return BeforeValidator(
        lambda found: {key: found} if isinstance(found, str | int | float) else found
    )


def _threshold(found: object) -> Threshold:
    of_supply = isinstance(found, str) and found.strip().endswith("%")
    kind = kinds.SUPPLY_SHARE if of_supply else kinds.THRESHOLD_VOLTAGE
    return Threshold(value=parse_quantity(found, kind), of_supply=of_supply)


def one_of(*names: str) -> Callable[[object], str]:
    """Make a reader that accepts these names only, and suggests the nearest."""

    def read(found: object) -> str:
        if isinstance(found, str) and found.strip().lower() in names:
            return found.strip().lower()
        raise refusal(found, f"one of {', '.join(names)}{nearest(found, names)}")

    return read


def _ref(found: object) -> str:
    if isinstance(found, str) and is_reference(found):
        return found
    raise refusal(found, 'a reference such as "R11" or "OC1"')


def _text(found: object) -> str:
    if isinstance(found, str) and found.strip().isprintable() and found.strip():
        name = found.strip()
        if len(name) <= _LONGEST_NAME:
            return name
    raise refusal(found, f"a line of text, 1 to {_LONGEST_NAME} characters")


def code(example: str) -> BeforeValidator:
    """Read a part number; digits alone, such as 817, may stand without quotes."""

    def read(found: object) -> str:
        if isinstance(found, int) and not isinstance(found, bool) and abs(found) < 10**8:
            return str(found)
        if isinstance(found, str) and found.strip() and found.isprintable():
            return found.strip()
        raise refusal(found, f'text in quotes such as "{example}"')

    return BeforeValidator(read)


def _day(found: object) -> date:
    """Read a date, in quotes or without; no time of the day, and no number."""
    if isinstance(found, date) and not isinstance(found, datetime):
        return found
    if isinstance(found, str) and _DAY.fullmatch(found):
        with suppress(ValueError):  # no such day
            return date.fromisoformat(found)
    raise refusal(found, "a date such as 2026-03-14")


def mains_table(found: object) -> object:
    """Read the short forms "230 V" and "230 V 50 Hz"."""
    if not isinstance(found, str):
        return {"voltage": found} if isinstance(found, int | float) else found
    match = re.fullmatch(r"(.*\d\s*[a-zA-Z~ ]*?)[\s,/]+(\S+\s*Hz)\s*", found, re.IGNORECASE)
    return {"voltage": match[1], "frequency": match[2]} if match else {"voltage": found}


Day = Annotated[date, BeforeValidator(_day)]
Text = Annotated[str, BeforeValidator(_text)]
Style = Annotated[str, code("1206")]
DiodePart = Annotated[str, code("1N4007")]
OptocouplerFamily = Annotated[str, code("817C")]
Grade = Annotated[str, code("C")]
Ref = Annotated[str, BeforeValidator(_ref)]
Resistance = Annotated[float, quantity(kinds.RESISTANCE)]
SmallResistance = Annotated[float, quantity(kinds.SMALL_RESISTANCE)]
Capacitance = Annotated[float, quantity(kinds.CAPACITANCE)]
MainsVoltage = Annotated[float, quantity(kinds.MAINS_VOLTAGE)]
SupplyVoltage = Annotated[float, quantity(kinds.SUPPLY_VOLTAGE)]
WorkingVoltage = Annotated[float, quantity(kinds.WORKING_VOLTAGE)]
Frequency = Annotated[float, quantity(kinds.FREQUENCY)]
Tolerance = Annotated[float, quantity(kinds.TOLERANCE)]
Fraction = Annotated[float, quantity(kinds.FRACTION)]
Ctr = Annotated[float, quantity(kinds.CTR)]
Remaining = Annotated[float, quantity(kinds.REMAINING)]
Duration = Annotated[float, quantity(kinds.DURATION)]
Angle = Annotated[float, quantity(kinds.ANGLE)]
Temperature = Annotated[float, quantity(kinds.TEMPERATURE)]
Power = Annotated[float, quantity(kinds.POWER)]
YearlyHours = Annotated[float, quantity(kinds.YEARLY_HOURS)]
ThresholdField = Annotated[Threshold, BeforeValidator(_threshold)]
TopologyName = Annotated[str, BeforeValidator(one_of(*(str(name) for name in Topology)))]
FeedKind = Annotated[str, BeforeValidator(one_of("direct", "switched"))]
StoryTime = Annotated[float, quantity(kinds.STORY_TIME)]
Speed = Annotated[float, quantity(kinds.SPEED)]
Inertia = Annotated[float, quantity(kinds.INERTIA)]
MotorPower = Annotated[float, quantity(kinds.MOTOR_POWER)]
Offset = Annotated[float, quantity(kinds.OFFSET)]
WithoutSync = Annotated[str, BeforeValidator(one_of("inhibit", "free-run"))]
DriveKind = Annotated[str, BeforeValidator(one_of("random-phase", "zero-cross"))]
HalfCycles = Annotated[str, BeforeValidator(one_of("timer", "edges"))]
EdgeName = Annotated[str, BeforeValidator(one_of("falling", "rising"))]


def _optional(allowed: str) -> Any:
    return Field(default=None, description=allowed)


def _left_out(allowed: str) -> Any:
    """Make a field for a table all of whose keys may be left out, and itself too."""
    return Field(default={}, validate_default=True, description=allowed)


def quantity_or_none(kind: Kind) -> Any:
    """Make an optional field of this kind."""
    return Field(default=None, description=kind.allowed())


class Table(BaseModel):
    """A table of the board file: no unknown keys, not changed after reading."""

    # deferred: only the schema of a whole file is ever built, when a file is read
    model_config = ConfigDict(
        extra="forbid", frozen=True, arbitrary_types_allowed=True, defer_build=True
    )


class HarmonicTable(Table):
    """One item of ``mains.harmonics``."""

    order: StrictInt = Field(ge=2, le=50, description="a whole number from 2 to 50")
    fraction: Fraction = Field(description=kinds.FRACTION.allowed())
    phase: Angle = Field(default=0.0, description=kinds.ANGLE.allowed())


class MainsTable(Table):
    """``[mains]``."""

    voltage: MainsVoltage = Field(description=kinds.MAINS_VOLTAGE.allowed())
    frequency: Frequency | None = quantity_or_none(kinds.FREQUENCY)
    frequency_tolerance: Tolerance | None = quantity_or_none(kinds.TOLERANCE)
    band: Text | None = _optional("the name of a mains band")
    tolerance: Tolerance | None = quantity_or_none(kinds.TOLERANCE)
    harmonics: tuple[HarmonicTable, ...] = Field(
        default=(), description='a list such as [{order = 3, fraction = "5 %"}]'
    )


class SuppressorTable(Table):
    """``feed.suppressor``."""

    resistance: Resistance = Field(description=kinds.RESISTANCE.allowed())
    capacitance: Capacitance = Field(description=kinds.CAPACITANCE.allowed())


class FeedTable(Table):
    """``[feed]``."""

    kind: FeedKind | None = _optional("one of direct, switched")
    contact_resistance: SmallResistance | None = quantity_or_none(kinds.SMALL_RESISTANCE)
    coil_supply: SupplyVoltage | None = quantity_or_none(kinds.SUPPLY_VOLTAGE)
    coil_resistance: Resistance | None = quantity_or_none(kinds.RESISTANCE)
    driver_resistance: SmallResistance | None = quantity_or_none(kinds.SMALL_RESISTANCE)
    suppressor: SuppressorTable | None = _optional(
        'a table such as {resistance = "100", capacitance = "100 nF"}'
    )


class ResistorTable(Table):
    """A resistor with more than its value."""

    value: Resistance = Field(description=kinds.RESISTANCE.allowed())
    ref: Ref | None = _optional('a reference such as "R11"')
    tolerance: Tolerance | None = quantity_or_none(kinds.TOLERANCE)
    style: Style | None = _optional('a resistor style such as "1206" or "1/4 W"')
    power: Power | None = quantity_or_none(kinds.POWER)
    working_voltage: WorkingVoltage | None = quantity_or_none(kinds.WORKING_VOLTAGE)


ResistorItem = Annotated[ResistorTable, short_form("value")]
_RESISTORS = 'a list of resistances such as ["120k", "120k"]'
_RESISTOR = 'a resistance such as "10k", or a table such as {value = "10k", tolerance = "1 %"}'


class JointCapacitorTable(Table):
    """``chain.joint_capacitor``."""

    after: StrictInt = Field(ge=1, description="a whole number: 1 = after the first resistor")
    capacitance: Capacitance = Field(description=kinds.CAPACITANCE.allowed())


Resistors = Annotated[tuple[ResistorItem, ...], Field(min_length=1, max_length=30)]


class ChainTable(Table):
    """``[chain]``."""

    topology: TopologyName | None = _optional(f"one of {', '.join(Topology)}")
    resistors: Resistors = Field(description=_RESISTORS)
    style: Style | None = _optional('a resistor style such as "1206" or "1/4 W"')
    tolerance: Tolerance | None = quantity_or_none(kinds.TOLERANCE)
    return_resistors: Resistors | None = _optional(_RESISTORS)
    parallel: tuple[Resistors, ...] = Field(
        default=(), max_length=10, description='a list of lists such as [["470k", "470k"]]'
    )
    rectifier_first: StrictBool | None = _optional("true or false")
    joint_capacitor: JointCapacitorTable | None = _optional(
        'a table such as {after = 1, capacitance = "10 nF"}'
    )


class DiodeTable(Table):
    """``[rectifier]`` and ``[clamp]``."""

    part: DiodePart = Field(description='a diode such as "1N4007"')
    ref: Ref | None = _optional('a reference such as "D1"')


class OptocouplerTable(Table):
    """``[optocoupler]``."""

    family: OptocouplerFamily = Field(description='an optocoupler such as "817C" or "817"')
    grade: Grade | None = _optional('a grade such as "C"')
    ctr: Ctr | None = quantity_or_none(kinds.CTR)
    remaining: Remaining | None = quantity_or_none(kinds.REMAINING)
    ref: Ref | None = _optional('a reference such as "OC1"')


class LedTable(Table):
    """``[led]``: parts across the LED."""

    resistor: ResistorItem | None = _optional(_RESISTOR)
    capacitor: Capacitance | None = quantity_or_none(kinds.CAPACITANCE)


class OutputTable(Table):
    """``[output]``."""

    pull_up: ResistorItem | None = _optional(_RESISTOR)
    pull_down: ResistorItem | None = _optional(_RESISTOR)
    supply: SupplyVoltage = Field(description=kinds.SUPPLY_VOLTAGE.allowed())
    pin_capacitor: Capacitance | None = quantity_or_none(kinds.CAPACITANCE)


class ControllerTable(Table):
    """``[controller]``."""

    low_threshold: ThresholdField | None = quantity_or_none(kinds.THRESHOLD_VOLTAGE)
    high_threshold: ThresholdField | None = quantity_or_none(kinds.THRESHOLD_VOLTAGE)
    edge: EdgeName | None = _optional("one of falling, rising")
    min_low_time: Duration | None = quantity_or_none(kinds.DURATION)
    min_high_time: Duration | None = quantity_or_none(kinds.DURATION)
    max_transition: Duration | None = quantity_or_none(kinds.DURATION)
    max_offset: Duration | None = quantity_or_none(kinds.DURATION)
    period_tolerance: Tolerance | None = quantity_or_none(kinds.TOLERANCE)


def _count(low: int, high: int) -> Any:
    """Make an optional field for a whole number."""
    words = f"a whole number from {low} to {high}"
    return Field(default=None, ge=low, le=high, description=words)


class SupervisionTable(Table):
    """``[supervision]``."""

    supply_wait: StoryTime | None = quantity_or_none(kinds.STORY_TIME)
    relay_delay: StoryTime | None = quantity_or_none(kinds.STORY_TIME)
    lock_periods: StrictInt | None = _count(1, 1000)
    loss_periods: StrictInt | None = _count(1, 1000)
    run_up: StoryTime | None = quantity_or_none(kinds.STORY_TIME)
    target_speed: Speed | None = quantity_or_none(kinds.SPEED)
    sync_flag_after: StoryTime | None = quantity_or_none(kinds.STORY_TIME)
    fan_flag_after: StoryTime | None = quantity_or_none(kinds.STORY_TIME)
    fan_flag_share: Fraction | None = quantity_or_none(kinds.FRACTION)
    retries: StrictInt | None = _count(0, 100)
    retry_pause: StoryTime | None = quantity_or_none(kinds.STORY_TIME)
    without_sync: WithoutSync | None = _optional("one of inhibit, free-run")
    clock_error: Tolerance | None = quantity_or_none(kinds.TOLERANCE)


class DriveTable(Table):
    """``[drive]``."""

    kind: DriveKind | None = _optional("one of random-phase, zero-cross")
    half_cycles: HalfCycles | None = _optional("one of timer, edges")
    compensation: Offset | None = quantity_or_none(kinds.OFFSET)
    earliest: Fraction | None = quantity_or_none(kinds.FRACTION)
    latest: Fraction | None = quantity_or_none(kinds.FRACTION)
    gate_pulse: Duration | None = quantity_or_none(kinds.DURATION)
    latching_current: Annotated[float, quantity(kinds.CURRENT)] | None = quantity_or_none(
        kinds.CURRENT
    )
    inhibit_voltage: SupplyVoltage | None = quantity_or_none(kinds.SUPPLY_VOLTAGE)


class FanTable(Table):
    """``[fan]``."""

    power: MotorPower | None = quantity_or_none(kinds.MOTOR_POWER)
    full_speed: Speed | None = quantity_or_none(kinds.SPEED)
    poles: StrictInt | None = _count(2, 24)
    inertia: Inertia | None = quantity_or_none(kinds.INERTIA)
    run_capacitor: Capacitance | None = quantity_or_none(kinds.CAPACITANCE)
    main_resistance: Resistance | None = quantity_or_none(kinds.RESISTANCE)
    start_resistance: Resistance | None = quantity_or_none(kinds.RESISTANCE)
    pulses_per_turn: StrictInt | None = _count(1, 60)


class ServiceTable(Table):
    """``[service]``."""

    bench_temperature: Temperature | None = quantity_or_none(kinds.TEMPERATURE)
    hot_temperature: Temperature | None = quantity_or_none(kinds.TEMPERATURE)
    hours_per_year: YearlyHours | None = quantity_or_none(kinds.YEARLY_HOURS)


_DIODE = 'a diode such as "1N4007"'


class BoardFile(Table):
    """The whole file."""

    name: Text | None = _optional("a line of text")
    mains: Annotated[MainsTable, BeforeValidator(mains_table)] = Field(
        description='a table, or a short form such as mains = "230 V 50 Hz"'
    )
    feed: Annotated[FeedTable, short_form("kind")] = _left_out(
        "a table, or one of direct, switched"
    )
    chain: ChainTable = Field(description=f"a table with resistors = {_RESISTORS}")
    rectifier: Annotated[DiodeTable, short_form("part")] | None = _optional(_DIODE)
    clamp: Annotated[DiodeTable, short_form("part")] | None = _optional(_DIODE)
    optocoupler: Annotated[OptocouplerTable, short_form("family")] = Field(
        description='a table, or a short form such as optocoupler = "817C"'
    )
    led: LedTable = _left_out("a table with resistor, capacitor or both")
    output: OutputTable = Field(
        description='a table with pull_up (or pull_down) and supply = "5 V"'
    )
    controller: ControllerTable = _left_out("a table such as one with low_threshold")
    service: ServiceTable = _left_out("a table such as one with hot_temperature")
    supervision: SupervisionTable = _left_out("a table such as one with sync_flag_after")
    drive: Annotated[DriveTable, short_form("kind")] = _left_out(
        "a table, or one of random-phase, zero-cross"
    )
    fan: Annotated[FanTable, short_form("power")] = _left_out(
        "a table such as one with power and full_speed"
    )
