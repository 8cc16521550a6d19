"""The fields of the board sheet: every key of a board file, with a label and an example."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from zcd import refdata
from zcd.board.library import diode_parts, styles
from zcd.board.model import Topology
from zcd.board.units import format_si

DETAILS = ("ref", "tolerance", "style", "power", "working_voltage")
"""What a board file may say of a resistor beside its value."""
SINGLES = ("output.pull_up", "output.pull_down", "led.resistor")
"""Resistors that stand alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field.

    Parameters
    ----------
    key : str
        Dotted key of the board file; of a resistor in a string with its row's number.
    label : str
    hint : str
        An example, or what is taken where it stays empty.
    choices : tuple of str
        What a list offers; empty: free text.
    kind : str
        ``text``, ``whole`` (a number without a unit) or ``truth`` (true or false).
    """

    key: str
    label: str
    hint: str = ""
    choices: tuple[str, ...] = ()
    kind: str = "text"

    @property
    def id(self) -> str:
        """Its id on the page."""
        return "field-" + self.key.replace(".", "-")


@dataclass(frozen=True, slots=True, kw_only=True)
class String:
    """Resistors in series: rows of a table.

    Parameters
    ----------
    key : str
        Of the list in the board file, the strings of a parallel list numbered from 1.
    label : str
    """

    key: str
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Fields under a heading; `more` and `more_strings` are folded away while they are empty."""

    title: str
    fields: tuple[Field, ...] = ()
    strings: tuple[String, ...] = ()
    more: tuple[Field, ...] = ()
    more_strings: tuple[String, ...] = ()

    @property
    def id(self) -> str:
        """Its id on the page."""
        return "group-" + self.title.lower().replace(" ", "-")


def row_fields(row: str, words: str) -> tuple[Field, tuple[Field, ...]]:
    """Fields of one resistor: its value, and what else may be said of it.

    Parameters
    ----------
    row : str
        Its key.
    words : str
        What it is called in the labels.
    """
    return (
        Field(key=row, label=f"{words}: resistance", hint="120k, 4k7"),
        (
            Field(key=f"{row}.ref", label=f"{words}: reference", hint="R11"),
            Field(key=f"{row}.tolerance", label=f"{words}: tolerance", hint="1 %"),
            Field(key=f"{row}.style", label=f"{words}: style", choices=("", *styles())),
            Field(key=f"{row}.power", label=f"{words}: rated power", hint="0.25 W"),
            Field(key=f"{row}.working_voltage", label=f"{words}: rated voltage", hint="200 V"),
        ),
    )


def _usual(key: str, unit: str) -> str:
    """What is taken where nothing is written."""
    return format_si(refdata.default(key).value, unit)


def _count(key: str) -> str:
    return f"{refdata.default(key).value:.0f}"


@cache
def groups() -> tuple[Group, ...]:
    """The fields by heading, in the order in which a board is read."""
    return (
        _mains(), _feed(), _chain(), _led(), _pin(), _controller(), _service(),
        _supervision(), _drive(), _fan(),
    )  # fmt: skip


@cache
def single_fields() -> Mapping[str, Field]:
    """All fields but those of strings, by key."""
    return {f.key: f for group in groups() for f in (*group.fields, *group.more)}


def _mains() -> Group:
    bands = tuple(str(row["band"]) for row in refdata.table("mains_bands"))
    return Group(
        title="Mains",
        fields=(
            Field(key="name", label="Name of the board", hint="as on its label"),
            Field(key="mains.voltage", label="Mains voltage", hint="230 V"),
            Field(key="mains.frequency", label="Mains frequency", hint="that of the band"),
        ),
        more=(
            Field(key="mains.band", label="Band of the supply", choices=("", *bands)),
            Field(key="mains.tolerance", label="Tolerance, where no band is named", hint="10 %"),
            Field(
                key="mains.frequency_tolerance",
                label="Tolerance of the frequency",
                hint=_usual("mains.frequency_tolerance", "%"),
            ),
            Field(
                key="mains.harmonics",
                label="Harmonics: order, share, phase",
                hint="3: 5 % 180 deg, 5: 2 %",
            ),
        ),
    )


def _feed() -> Group:
    return Group(
        title="Feed and load relay",
        fields=(
            Field(
                key="feed.kind", label="Where the chain is fed", choices=("", "direct", "switched")
            ),
        ),
        more=(
            Field(
                key="feed.coil_supply",
                label="Coil supply",
                hint=_usual("relay.coil_supply", "V"),
            ),
            Field(
                key="feed.coil_resistance",
                label="Coil resistance",
                hint=_usual("relay.coil_resistance", "Ω"),
            ),
            Field(
                key="feed.driver_resistance",
                label="Resistance of the coil's driver",
                hint=_usual("relay.driver_resistance", "Ω"),
            ),
            Field(
                key="feed.contact_resistance",
                label="Contact resistance",
                hint=_usual("feed.contact_resistance", "Ω"),
            ),
            Field(
                key="feed.suppressor.resistance", label="Resistor across the contact", hint="100"
            ),
            Field(
                key="feed.suppressor.capacitance",
                label="Capacitor across the contact",
                hint="100 nF",
            ),
        ),
    )


def _chain() -> Group:
    diodes = ("", *diode_parts())
    return Group(
        title="Chain",
        fields=(
            Field(key="chain.topology", label="Topology", choices=("", *map(str, Topology))),
            Field(key="chain.style", label="Style of its resistors", choices=("", *styles())),
            Field(key="rectifier.part", label="Rectifier", choices=diodes),
            Field(key="clamp.part", label="Clamp diode across the LED", choices=diodes),
        ),
        strings=(String(key="chain.resistors", label="from the feed"),),
        more=(
            Field(
                key="chain.tolerance",
                label="Tolerance of its resistors",
                hint=_usual("resistor.tolerance", "%"),
            ),
            Field(
                key="chain.rectifier_first",
                label="Rectifier before the resistors",
                choices=("", "false", "true"),
                kind="truth",
            ),
            Field(
                key="chain.joint_capacitor.after",
                label="Capacitor from a joint to neutral: after which resistor",
                hint="1",
                kind="whole",
            ),
            Field(
                key="chain.joint_capacitor.capacitance",
                label="Capacitor from a joint to neutral: value",
                hint="10 nF",
            ),
            Field(key="rectifier.ref", label="Reference of the rectifier", hint="D1"),
            Field(key="clamp.ref", label="Reference of the clamp", hint="D2"),
        ),
        more_strings=(String(key="chain.return_resistors", label="neutral leg of a bridge"),),
    )


def _led() -> Group:
    return Group(
        title="LED and optocoupler",
        fields=(
            Field(key="optocoupler.family", label="Optocoupler", hint="817 C"),
            Field(key="optocoupler.remaining", label="CTR left by age", hint="100 %"),
            Field(key="led.resistor", label="Resistor across the LED", hint="10k"),
            Field(key="led.capacitor", label="Capacitor across the LED", hint="10 nF"),
        ),
        more=(
            Field(key="optocoupler.grade", label="Grade, where not in its name", hint="C"),
            Field(key="optocoupler.ctr", label="CTR, where it was measured", hint="250 %"),
            Field(key="optocoupler.ref", label="Reference of the optocoupler", hint="OC1"),
            *row_fields("led.resistor", "Resistor across the LED")[1],
        ),
    )


def _pin() -> Group:
    return Group(
        title="Pin",
        fields=(
            Field(key="output.pull_up", label="Pull-up", hint="10k"),
            Field(key="output.pull_down", label="Pull-down (emitter follower)", hint="4k7"),
            Field(key="output.supply", label="Supply", hint="5 V"),
            Field(key="output.pin_capacitor", label="Capacitor at the pin", hint="1 nF"),
        ),
        more=(
            *row_fields("output.pull_up", "Pull-up")[1],
            *row_fields("output.pull_down", "Pull-down")[1],
        ),
    )


def _controller() -> Group:
    return Group(
        title="Controller and its pulse",
        more=(
            Field(
                key="controller.low_threshold",
                label="Low threshold",
                hint=f"{_usual('controller.low_threshold_ratio', '%')} of the supply, or in volts",
            ),
            Field(
                key="controller.high_threshold",
                label="High threshold",
                hint=f"{_usual('controller.high_threshold_ratio', '%')} of the supply, or in volts",
            ),
            Field(
                key="controller.edge",
                label="Edge that it times from",
                choices=("", "falling", "rising"),
            ),
            *(
                Field(key=f"controller.{name}", label=label, hint=_usual(f"controller.{name}", "s"))
                for name, label in (
                    ("min_low_time", "Least time low"),
                    ("min_high_time", "Least time high"),
                    ("max_transition", "Longest time between the thresholds"),
                    ("max_offset", "Largest offset from the crossing"),
                )
            ),
            Field(
                key="controller.period_tolerance",
                label="Tolerance of the period",
                hint=_usual("controller.period_tolerance", "%"),
            ),
        ),
    )


def _service() -> Group:
    return Group(
        title="Service",
        more=(
            Field(
                key="service.bench_temperature",
                label="Temperature on the bench",
                hint=_usual("service.bench_degc", "°C"),
            ),
            Field(
                key="service.hot_temperature",
                label="Temperature when hot",
                hint=_usual("service.hot_degc", "°C"),
            ),
            Field(
                key="service.hours_per_year",
                label="Hours a year with mains at the chain",
                hint=_usual("service.hours_plugged_in", "h"),
            ),
        ),
    )


def _supervision() -> Group:
    def time(name: str, label: str) -> Field:
        return Field(
            key=f"supervision.{name}", label=label, hint=_usual(f"supervision.{name}", "s")
        )

    def count(name: str, label: str) -> Field:
        key = f"supervision.{name}"
        return Field(key=key, label=label, hint=_count(key), kind="whole")

    return Group(
        title="Controller and its times",
        more=(
            time("supply_wait", "From supply to start"),
            time("relay_delay", "From start to load relay"),
            count("lock_periods", "Good periods in a row that make lock"),
            count("loss_periods", "Bad periods in a row that end it"),
            time("run_up", "Time for the fan to run up"),
            Field(key="supervision.target_speed", label="Target speed", hint="900 rpm"),
            time("sync_flag_after", "Sync flag after"),
            time("fan_flag_after", "Fan flag after"),
            Field(
                key="supervision.fan_flag_share",
                label="Fan flag below, of the target",
                hint=_usual("supervision.fan_flag_share", "%"),
            ),
            count("retries", "Retries"),
            time("retry_pause", "Pause before a retry"),
            Field(
                key="supervision.without_sync",
                label="Without sync",
                choices=("", "inhibit", "free-run"),
            ),
            Field(
                key="supervision.clock_error",
                label="Error of its own clock",
                hint=_usual("supervision.clock_error", "%"),
            ),
        ),
    )


def _drive() -> Group:
    return Group(
        title="Drive",
        more=(
            Field(
                key="drive.kind",
                label="Kind of coupler",
                choices=("", "random-phase", "zero-cross"),
            ),
            Field(
                key="drive.half_cycles",
                label="Half cycles timed by",
                choices=("", "timer", "edges"),
            ),
            Field(key="drive.compensation", label="Taken off for the late edge", hint="300 us"),
            Field(
                key="drive.earliest",
                label="Earliest firing, of the half period",
                hint=_usual("drive.earliest", "%"),
            ),
            Field(
                key="drive.latest",
                label="Latest firing, of the half period",
                hint=_usual("drive.latest", "%"),
            ),
            Field(key="drive.gate_pulse", label="Gate pulse", hint=_usual("drive.gate_pulse", "s")),
            Field(
                key="drive.latching_current",
                label="Latching current",
                hint=_usual("drive.latching_current", "A"),
            ),
            Field(
                key="drive.inhibit_voltage",
                label="Inhibit voltage of a zero-cross part",
                hint=_usual("drive.inhibit_voltage", "V"),
            ),
        ),
    )


def _fan() -> Group:
    def count(name: str, label: str) -> Field:
        key = f"fan.{name}"
        return Field(key=key, label=label, hint=_count(key), kind="whole")

    return Group(
        title="Fan",
        more=(
            Field(key="fan.power", label="Power from its plate", hint=_usual("fan.power", "W")),
            Field(key="fan.full_speed", label="Full speed", hint="1200 rpm"),
            count("poles", "Poles"),
            Field(key="fan.inertia", label="Inertia", hint=_usual("fan.inertia", "kg m²")),
            Field(key="fan.run_capacitor", label="Run capacitor", hint="1.2 uF"),
            Field(key="fan.main_resistance", label="Main winding", hint="480"),
            Field(key="fan.start_resistance", label="Start winding", hint="720"),
            count("pulses_per_turn", "Tacho pulses a turn"),
        ),
    )
