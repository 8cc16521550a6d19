"""The tables and keys of a board file: one class per table, one line or two per key.

What `zcd.board.keys.key` declares beside a key's type is all that is said of it anywhere.
"""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, ClassVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StrictBool, StrictInt

from zcd import refdata
from zcd.board import quantity_kinds
from zcd.board.diode_names import diode_parts
from zcd.board.keys import NameReader, QuantityReader, count, key, table_key
from zcd.board.model import Link, Topology, Transistor
from zcd.board.parts_library import styles
from zcd.board.pins import pin_inputs
from zcd.board.units import QuantityKind, is_reference, parse_quantity
from zcd.errors import InputError, invalid_value

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


@dataclass(frozen=True, slots=True, kw_only=True)
class InternalPullUp:
    """The pull-up inside a controller: its resistance, or None for what the table of pins says."""

    resistance_ohm: float | None


def quantity(kind: QuantityKind) -> BeforeValidator:
    """Make a field reader for a quantity of this kind."""
    return BeforeValidator(QuantityReader(kind))


def short_form(key: str) -> BeforeValidator:
    """Let a plain value stand for a table with this one key."""
    return BeforeValidator(
        lambda result: {key: result} if isinstance(result, str | int | float) else result
    )


def _threshold(value: object) -> Threshold:
    of_supply = isinstance(value, str) and value.strip().endswith("%")
    kind = quantity_kinds.SUPPLY_SHARE if of_supply else quantity_kinds.THRESHOLD_VOLTAGE
    return Threshold(value=parse_quantity(value, kind), of_supply=of_supply)


def _internal_pull_up(value: object) -> InternalPullUp:
    if isinstance(value, str) and value.strip().lower() == "on":
        return InternalPullUp(resistance_ohm=None)
    try:
        return InternalPullUp(resistance_ohm=parse_quantity(value, quantity_kinds.RESISTANCE))
    except InputError:
        raise invalid_value(value, _INTERNAL) from None


def one_of(*names: str) -> NameReader:
    """Make a reader that accepts these names only, and suggests the nearest."""
    return NameReader(names)


def _ref(value: object) -> str:
    if isinstance(value, str) and is_reference(value):
        return value
    raise invalid_value(value, 'a reference such as "R11" or "OC1"')


def _text(value: object) -> str:
    if isinstance(value, str) and value.strip().isprintable() and value.strip():
        name = value.strip()
        if len(name) <= _LONGEST_NAME:
            return name
    raise invalid_value(value, f"a line of text, 1 to {_LONGEST_NAME} characters")


def code(example: str) -> BeforeValidator:
    """Read a part number; digits alone, such as 817, may stand without quotes."""

    def read(value: object) -> str:
        if isinstance(value, int) and not isinstance(value, bool) and abs(value) < 10**8:
            return str(value)
        if isinstance(value, str) and value.strip() and value.isprintable():
            return value.strip()
        raise invalid_value(value, f'text in quotes such as "{example}"')

    return BeforeValidator(read)


def _day(value: object) -> date:
    """Read a date, in quotes or without; no time of the day, and no number."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    if isinstance(value, str) and _DAY.fullmatch(value):
        with suppress(ValueError):  # no such day
            return date.fromisoformat(value)
    raise invalid_value(value, "a date such as 2026-03-14")


def bands() -> tuple[str, ...]:
    """Return the known mains bands."""
    return tuple(str(row["band"]) for row in refdata.table("mains_bands"))


def mains_table(value: object) -> object:
    """Read the short forms "230 V" and "230 V 50 Hz"."""
    if not isinstance(value, str):
        return {"voltage": value} if isinstance(value, int | float) else value
    shown = " ".join(value.split())
    match = re.fullmatch(r"(.*\d\s*[a-zA-Z~ ]*?)[\s,/]+(\S+\s*Hz)\s*", shown, re.IGNORECASE)
    return {"voltage": match[1], "frequency": match[2]} if match else {"voltage": value}


Day = Annotated[date, BeforeValidator(_day)]
Text = Annotated[str, BeforeValidator(_text)]
Style = Annotated[str, code("1206")]
DiodePart = Annotated[str, code("1N4007")]
OptocouplerFamily = Annotated[str, code("817C")]
Grade = Annotated[str, code("C")]
PinName = Annotated[str, code("ATmega328P")]
Ref = Annotated[str, BeforeValidator(_ref)]
Resistance = Annotated[float, quantity(quantity_kinds.RESISTANCE)]
SmallResistance = Annotated[float, quantity(quantity_kinds.SMALL_RESISTANCE)]
Capacitance = Annotated[float, quantity(quantity_kinds.CAPACITANCE)]
MainsVoltage = Annotated[float, quantity(quantity_kinds.MAINS_VOLTAGE)]
SupplyVoltage = Annotated[float, quantity(quantity_kinds.SUPPLY_VOLTAGE)]
WorkingVoltage = Annotated[float, quantity(quantity_kinds.WORKING_VOLTAGE)]
Frequency = Annotated[float, quantity(quantity_kinds.FREQUENCY)]
Tolerance = Annotated[float, quantity(quantity_kinds.TOLERANCE)]
Fraction = Annotated[float, quantity(quantity_kinds.FRACTION)]
Ctr = Annotated[float, quantity(quantity_kinds.CTR)]
Remaining = Annotated[float, quantity(quantity_kinds.REMAINING)]
Duration = Annotated[float, quantity(quantity_kinds.DURATION)]
LongestTime = Annotated[float, quantity(quantity_kinds.LONGEST_TIME)]
PeriodTolerance = Annotated[float, quantity(quantity_kinds.PERIOD_TOLERANCE)]
Angle = Annotated[float, quantity(quantity_kinds.ANGLE)]
Temperature = Annotated[float, quantity(quantity_kinds.TEMPERATURE)]
Power = Annotated[float, quantity(quantity_kinds.POWER)]
YearlyHours = Annotated[float, quantity(quantity_kinds.YEARLY_HOURS)]
InternalPullUpField = Annotated[InternalPullUp, BeforeValidator(_internal_pull_up)]
ThresholdField = Annotated[Threshold, BeforeValidator(_threshold)]
TopologyName = Annotated[str, BeforeValidator(one_of(*(str(name) for name in Topology)))]
FeedKind = Annotated[
    str,
    BeforeValidator(
        NameReader(("direct", "switched"), "direct, or switched (behind a relay's contact)")
    ),
]
StoryTime = Annotated[float, quantity(quantity_kinds.STORY_TIME)]
Speed = Annotated[float, quantity(quantity_kinds.SPEED)]
Inertia = Annotated[float, quantity(quantity_kinds.INERTIA)]
Current = Annotated[float, quantity(quantity_kinds.CURRENT)]
MotorPower = Annotated[float, quantity(quantity_kinds.MOTOR_POWER)]
Offset = Annotated[float, quantity(quantity_kinds.OFFSET)]
WithoutSync = Annotated[str, BeforeValidator(one_of("inhibit", "free-run"))]
DriveKind = Annotated[str, BeforeValidator(one_of("random-phase", "zero-cross"))]
HalfCycles = Annotated[str, BeforeValidator(one_of("timer", "edges"))]
EdgeName = Annotated[str, BeforeValidator(one_of("falling", "rising"))]
EdgesUsed = Annotated[str, BeforeValidator(one_of("one", "both"))]


_REFERENCE = 'a reference such as "R11"'
_STYLE = 'a resistor style such as "1206" or "1/4 W"'
_INTERNAL = '"on", or its resistance such as "36k"'
_DIODE = 'a diode such as "1N4007"'


class Table(BaseModel):
    """A table of the board file: no unknown keys, not changed after reading."""

    # deferred: only the schema of a whole file is ever built, when a file is read
    model_config = ConfigDict(
        extra="forbid", frozen=True, arbitrary_types_allowed=True, defer_build=True
    )
    TRACED: ClassVar[re.Pattern[str] | None] = None
    """Keys that people write for parts which only the circuit as it was traced has."""


class HarmonicTable(Table):
    """One item of ``mains.harmonics``."""

    order: StrictInt = key("Order", required=True, limits=count(2, 50))
    fraction: Fraction = key("Share of the fundamental", required=True)
    phase: Angle = key("Phase", default=0.0)


class MainsTable(Table):
    """``[mains]``."""

    TITLE: ClassVar = "Mains"
    voltage: MainsVoltage = key("Mains voltage", required=True, hint="230 V", folded=False)
    frequency: Frequency | None = key("Mains frequency", hint="that of the band", folded=False)
    second_frequency: Frequency | None = key("Second frequency of the rating plate", hint="60 Hz")
    low_voltage: MainsVoltage | None = key("Lowest voltage to check at", hint="100 V")
    high_voltage: MainsVoltage | None = key("Highest voltage to check at", hint="264 V")
    band: Text | None = key("Band of the supply", "the name of a mains band", choices=bands)
    tolerance: Tolerance | None = key("Tolerance, where no band is named", hint="10 %")
    frequency_tolerance: Tolerance | None = key("Tolerance of the frequency")
    harmonics: tuple[HarmonicTable, ...] = key(
        "Harmonics: order, share, phase",
        'a list such as [{order = 3, fraction = "5 %"}]',
        default=(),
        hint="3: 5 % 180 deg, 5: 2 %",
    )


class SuppressorTable(Table):
    """``feed.suppressor``."""

    resistance: Resistance = key("Resistor across the contact", required=True, hint="100")
    capacitance: Capacitance = key("Capacitor across the contact", required=True, hint="100 nF")


class FeedTable(Table):
    """``[feed]``."""

    TITLE: ClassVar = "Feed and load relay"
    kind: FeedKind | None = key("Where the chain is fed", usual="direct", folded=False)
    coil_supply: SupplyVoltage | None = key("Coil supply", default_row="relay.coil_supply")
    coil_resistance: Resistance | None = key("Coil resistance", default_row="relay.coil_resistance")
    driver_resistance: SmallResistance | None = key(
        "Resistance of the coil's driver", default_row="relay.driver_resistance"
    )
    contact_resistance: SmallResistance | None = key("Contact resistance")
    suppressor: SuppressorTable | None = key(
        allowed='a table such as {resistance = "100", capacitance = "100 nF"}'
    )


class ResistorTable(Table):
    """A resistor with more than its value."""

    value: Resistance = key("{of}: resistance", required=True, hint="120k, 4k7")
    ref: Ref | None = key("{of}: reference", _REFERENCE, hint="R11")
    tolerance: Tolerance | None = key("{of}: tolerance", hint="1 %")
    style: Style | None = key("{of}: style", _STYLE, choices=styles)
    power: Power | None = key("{of}: rated power", hint="0.25 W")
    working_voltage: WorkingVoltage | None = key("{of}: rated voltage", hint="200 V")


ResistorItem = Annotated[ResistorTable, short_form("value")]
_RESISTORS = 'a list of resistances such as ["120k", "120k"]'
_RESISTOR = 'a resistance such as "10k", or a table such as {value = "10k", tolerance = "1 %"}'


class JointCapacitorTable(Table):
    """``chain.joint_capacitor``."""

    after: StrictInt = key(
        "Capacitor from a joint to neutral: after which resistor",
        "a whole number: 1 = after the first resistor",
        required=True,
        limits={"ge": 1},
        hint="1",
    )
    capacitance: Capacitance = key(
        "Capacitor from a joint to neutral: value", required=True, hint="10 nF"
    )


Resistors = Annotated[tuple[ResistorItem, ...], Field(min_length=1, max_length=30)]
PerhapsNone = Annotated[tuple[ResistorItem, ...], Field(max_length=30)]


class ChainTable(Table):
    """``[chain]``."""

    TITLE: ClassVar = "Chain"
    TRACED: ClassVar = re.compile(
        r"(?:series_?|x2_?)?cap(?:acitor)?s?|bleeder\w*|zener\w*|diodes?", re.I
    )
    topology: TopologyName | None = key("Topology", usual=str(Topology.HALF_WAVE), folded=False)
    resistors: Resistors = key("from the feed", _RESISTORS, required=True, folded=False)
    style: Style | None = key("Style of its resistors", _STYLE, choices=styles, folded=False)
    tolerance: Tolerance | None = key(
        "Tolerance of its resistors", default_row="resistor.tolerance"
    )
    return_resistors: PerhapsNone | None = key("neutral leg", _RESISTORS)
    parallel: tuple[Resistors, ...] = key(
        "parallel string",
        'a list of lists such as [["470k", "470k"]]',
        default=(),
        limits={"max_length": 10},
    )
    rectifier_first: StrictBool | None = key("Rectifier before the resistors", "true or false")
    joint_capacitor: JointCapacitorTable | None = key(
        allowed='a table such as {after = 1, capacitance = "10 nF"}'
    )


CONTROLLER_POINTS = frozenset({"pin", "logic0", "logic+", "base", "collector", "emitter"})
"""The controller's pin, 0 V and supply, and a transistor there: no path of a board with an
optocoupler leads there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TracedFile:
    """``circuit``: the lines as `zcd.board.traced` reads them.

    Parameters
    ----------
    links : tuple of Link
        Without LEDs; a string of resistors is one.
    aliases : tuple of (str, str)
    strings : tuple of tuple of ResistorTable
    diodes : tuple of DiodeTable
        Of a bridge, one; its four links have its reference with a letter.
    capacitors : tuple of (str, float)
        Reference, capacitance. [F]
    blocking : frozenset of str
        Links that let current pass one way only: diodes, not zeners.
    transistor : Transistor or None
        Whose base a path leads into.
    """

    links: tuple[Link, ...]
    aliases: tuple[tuple[str, str], ...]
    strings: tuple[tuple[ResistorTable, ...], ...]
    diodes: tuple[DiodeTable, ...]
    capacitors: tuple[tuple[str, float], ...]
    blocking: frozenset[str]
    transistor: Transistor | None = None

    @property
    def is_direct(self) -> bool:
        """Whether it leads to the controller, without an optocoupler."""
        ends = {node for link in self.links for node in (link.a, link.b)}
        return not CONTROLLER_POINTS.isdisjoint(ends.union(*self.aliases))


CIRCUIT = 'a list of lines such as ["feed - R7 82k - D1 1N4007 > - led+", "led- - neutral"]'


class DiodeTable(Table):
    """``[rectifier]`` and ``[clamp]``."""

    part: DiodePart | None = key("{of}", _DIODE, choices=diode_parts, hint="1N4007", folded=False)
    ref: Ref | None = key("{of}: reference", 'a reference such as "D1"', hint="D1")
    reverse_voltage: WorkingVoltage | None = key("{of}: rated reverse voltage", hint="600 V")
    current: Current | None = key("{of}: rated current", hint="1 A")
    breakdown_voltage: WorkingVoltage | None = key(
        "{of}: breakdown voltage; of a zener its own", hint="1.2 kV"
    )


class OptocouplerTable(Table):
    """``[optocoupler]``."""

    TITLE: ClassVar = "LED and optocoupler"
    family: OptocouplerFamily | None = key(
        "Optocoupler",
        'an optocoupler such as "817C" or "817"',
        hint="817 C",
        folded=False,
    )
    grade: Grade | None = key("Grade, where not in its name", 'a grade such as "C"', hint="C")
    ctr: Ctr | None = key("CTR, where it was measured", hint="90 %")
    ctr_min: Ctr | None = key("Lowest CTR of its data sheet", hint="50 %")
    ctr_max: Ctr | None = key("Highest CTR of its data sheet", hint="600 %")
    test_current: Current | None = key("LED current of that CTR", hint="5 mA")
    led_current: Current | None = key("Highest continuous LED current", hint="50 mA")
    led_reverse_voltage: WorkingVoltage | None = key("Rated reverse voltage of the LED", hint="6 V")
    leds: StrictInt | None = key("Number of its LEDs", limits=count(1, 2))
    remaining: Remaining | None = key("CTR left by age", hint="100 %", usual="100 %", folded=False)
    ref: Ref | None = key("Reference of the optocoupler", 'a reference such as "OC1"', hint="OC1")


class LedTable(Table):
    """``[led]``: parts across the LED."""

    TITLE: ClassVar = OptocouplerTable.TITLE
    resistor: ResistorItem | None = key(
        "Resistor across the LED", _RESISTOR, hint="10k", folded=False
    )
    capacitor: Capacitance | None = key("Capacitor across the LED", hint="10 nF", folded=False)


class OutputTable(Table):
    """``[output]``."""

    TITLE: ClassVar = "Pin"
    pull_up: ResistorItem | None = key("Pull-up", _RESISTOR, hint="10k", folded=False)
    pull_down: ResistorItem | None = key(
        "Pull-down (emitter follower)", _RESISTOR, hint="4k7", folded=False
    )
    internal_pull_up: InternalPullUpField | None = key(
        "Pull-up inside the controller", _INTERNAL, hint="on"
    )
    supply: SupplyVoltage = key("Supply", required=True, hint="5 V", folded=False)
    pin_capacitor: Capacitance | None = key("Capacitor at the pin", hint="1 nF", folded=False)


class ControllerTable(Table):
    """``[controller]``."""

    TITLE: ClassVar = "Controller and its pulse"
    input: PinName | None = key(
        "Type of the controller's input",
        'an input such as "ATmega328P"',
        hint="ATmega328P",
        choices=pin_inputs,
    )
    low_threshold: ThresholdField | None = key(
        "Low threshold",
        quantity_kinds.THRESHOLD_VOLTAGE.allowed(),
        hint="{default} of the supply, or in volts",
        computed=True,
        default_row="controller.low_threshold_ratio",
    )
    high_threshold: ThresholdField | None = key(
        "High threshold",
        quantity_kinds.THRESHOLD_VOLTAGE.allowed(),
        hint="{default} of the supply, or in volts",
        computed=True,
        default_row="controller.high_threshold_ratio",
    )
    edge: EdgeName | None = key("Edge that it times from", usual="falling")
    edges: EdgesUsed | None = key("Edges of a pulse that it uses", usual="one")
    min_low_time: Duration | None = key("Least time low")
    min_high_time: Duration | None = key("Least time high")
    max_transition: LongestTime | None = key("Longest time between the thresholds")
    max_offset: LongestTime | None = key("Largest offset from the crossing")
    period_tolerance: PeriodTolerance | None = key("Tolerance of the period")


class ServiceTable(Table):
    """``[service]``."""

    TITLE: ClassVar = "Service"
    bench_temperature: Temperature | None = key(
        "Temperature on the bench", default_row="service.bench_degc", attribute="bench_degc"
    )
    hot_temperature: Temperature | None = key(
        "Temperature when hot", default_row="service.hot_degc", attribute="hot_degc"
    )
    hours_per_year: YearlyHours | None = key(
        "Hours a year with mains at the chain",
        default_row="service.hours_plugged_in",
        computed=True,
    )


class SupervisionTable(Table):
    """``[supervision]``."""

    TITLE: ClassVar = "Controller and its times"
    supply_wait: StoryTime | None = key("From supply to start")
    relay_delay: StoryTime | None = key("From start to load relay")
    lock_periods: StrictInt | None = key(
        "Good periods in a row that make lock", limits=count(1, 1000)
    )
    loss_periods: StrictInt | None = key("Bad periods in a row that end it", limits=count(1, 1000))
    run_up: StoryTime | None = key("Time for the fan to run up")
    target_speed: Speed | None = key("Target speed", hint="900 rpm")
    sync_flag_after: StoryTime | None = key("Sync flag after", attribute="sync_flag_s")
    fan_flag_after: StoryTime | None = key("Fan flag after", attribute="fan_flag_s")
    fan_flag_share: Fraction | None = key(
        "Fan flag below, of the target", attribute="fan_flag_ratio"
    )
    retries: StrictInt | None = key("Retries", limits=count(0, 100))
    retry_pause: StoryTime | None = key("Pause before a retry")
    without_sync: WithoutSync | None = key("Without sync", usual="inhibit")
    clock_error: Tolerance | None = key("Error of its own clock")


class DriveTable(Table):
    """``[drive]``."""

    TITLE: ClassVar = "Drive"
    kind: DriveKind | None = key("Kind of coupler", usual="random-phase")
    half_cycles: HalfCycles | None = key("Half cycles timed by", usual="timer")
    compensation: Offset | None = key("Taken off for the late edge", hint="300 us")
    earliest: Fraction | None = key("Earliest firing, of the half period")
    latest: Fraction | None = key("Latest firing, of the half period")
    gate_pulse: Duration | None = key("Gate pulse")
    latching_current: Current | None = key("Latching current", attribute="latching_a")
    inhibit_voltage: SupplyVoltage | None = key(
        "Inhibit voltage of a zero-cross part", attribute="inhibit_v"
    )


class FanTable(Table):
    """``[fan]``."""

    TITLE: ClassVar = "Fan"
    power: MotorPower | None = key("Power from its plate", attribute="input_w")
    full_speed: Speed | None = key("Full speed", hint="1350 rpm")
    poles: StrictInt | None = key("Poles", limits=count(2, 24))
    inertia: Inertia | None = key("Inertia")
    run_capacitor: Capacitance | None = key("Run capacitor", hint="1.8 uF")
    main_resistance: Resistance | None = key("Main winding", hint="310")
    start_resistance: Resistance | None = key("Start winding", hint="405")
    pulses_per_turn: StrictInt | None = key("Tacho pulses a turn", limits=count(1, 60))


class BoardFile(Table):
    """The whole file."""

    TRACED: ClassVar = re.compile(
        r"(?:series_?|x2_?)?cap(?:acitor)?s?|bleeder\w*|zener\w*|tvs|(?:second_?|series_?)diode|paths?"
        r"|parts|(?:net|wire)s?|netlist|wiring|traced?|transistors?",
        re.I,
    )
    name: Text | None = key(
        "Name of the board",
        "a line of text",
        hint="as on its label",
        group=MainsTable.TITLE,
        folded=False,
    )
    mains: Annotated[MainsTable, BeforeValidator(mains_table)] = key(
        allowed='a table, or a short form such as mains = "230 V 50 Hz"', required=True
    )
    feed: Annotated[FeedTable, short_form("kind")] = table_key(
        "a table, or one of direct, switched"
    )
    chain: ChainTable = key(allowed=f"a table with resistors = {_RESISTORS}", required=True)
    circuit: TracedFile | None = key(
        "Circuit as traced, in place of chain",
        CIRCUIT,
        instead_of="chain",
        lines=True,
        group=ChainTable.TITLE,
        hint="feed - R7 82k - D1 1N4007 > - led+; led- - neutral",
    )
    rectifier: Annotated[DiodeTable, short_form("part")] | None = key(
        "Rectifier", _DIODE, group=ChainTable.TITLE
    )
    clamp: Annotated[DiodeTable, short_form("part")] | None = key(
        "Clamp diode across the LED", _DIODE, group=ChainTable.TITLE
    )
    optocoupler: Annotated[OptocouplerTable, short_form("family")] = key(
        allowed='a table, or a short form such as optocoupler = "817C"', required=True
    )
    led: LedTable = table_key("a table with resistor, capacitor or both")
    output: OutputTable = key(
        allowed='a table with pull_up (or pull_down) and supply = "5 V"', required=True
    )
    controller: Annotated[ControllerTable, short_form("input")] = table_key(
        'a table such as one with low_threshold, or its input, such as "ATmega328P"'
    )
    service: ServiceTable = table_key("a table such as one with hot_temperature")
    supervision: SupervisionTable = table_key("a table such as one with sync_flag_after")
    drive: Annotated[DriveTable, short_form("kind")] = table_key(
        "a table, or one of random-phase, zero-cross"
    )
    fan: Annotated[FanTable, short_form("power")] = table_key(
        "a table such as one with power and full_speed"
    )


class TracedChainTable(ChainTable):
    """``[chain]`` beside `circuit`: what all its resistors share."""

    resistors: tuple[ResistorItem, ...] = ()


class TracedBoardFile(BoardFile):
    """A board file with `circuit`."""

    chain: TracedChainTable = table_key("a table with style, tolerance or both")
