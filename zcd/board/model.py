"""The board as the tool understands it: complete, in SI units, with nothing left to guess.

`zcd.board.files` makes a `Board` from what a technician wrote; `zcd.circuit` reads it. A value
that nobody wrote down comes from `reference/` and leaves an `Assumption` behind.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from enum import StrEnum
from typing import Any, Final, Literal

from zcd.errors import plain


class Topology(StrEnum):
    """How LED, rectifier and chain are arranged on the mains side."""

    HALF_WAVE = "half-wave"
    CLAMPED = "clamped"
    HALF_WAVE_CLAMPED = "half-wave-clamped"
    BRIDGE = "bridge"
    TWO_LED = "two-led"


TRACED: Final = "traced"
"""In the place of a topology: the circuit as it was traced."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """A value that was not written in the board file.

    Parameters
    ----------
    key : str
        Dotted key in the board file that would have set it, such as ``controller.low_threshold``.
    value : str
        The value taken, as a person would write it.
    source : str
        Where it comes from, in words.
    """

    key: str
    value: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadAs:
    """What a marking in the board file was taken for.

    Parameters
    ----------
    key : str
        Dotted key in the board file.
    printed : str
        The marking as written there.
    meaning : str
        What it was read as, in words.
    on_chip : bool
        Only chips are marked so.
    """

    key: str
    printed: str
    meaning: str
    on_chip: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """A resistor that nobody could read: its board has a likely value in its place.

    Parameters
    ----------
    ref : str
        The part.
    low_ohm, high_ohm : float
        Within which it is known, or allowed for.
    """

    ref: str
    low_ohm: float
    high_ohm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Harmonic:
    """One harmonic of the mains: order (>= 2), amplitude ratio to the fundamental, phase [rad]."""

    order: int
    ratio: float
    phase_rad: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mains:
    """The supply: nominal rms and frequency with their bands, harmonics.

    `second_hz` is the other frequency of a rating plate such as 50/60 Hz; `low_hz` and `high_hz`
    then enclose both with their bands.
    """

    rms_v: float
    low_rms_v: float
    high_rms_v: float
    band: str
    frequency_hz: float
    low_hz: float
    high_hz: float
    second_hz: float | None = None
    harmonics: tuple[Harmonic, ...] = ()

    @property
    def nominal_hz(self) -> tuple[float, ...]:
        """The frequency, and the second one where there is one."""
        return (self.frequency_hz, *([] if self.second_hz is None else [self.second_hz]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Suppressor:
    """Resistor and capacitor in series, across the load contact."""

    resistance_ohm: float
    capacitance_f: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Relay:
    """The load relay: coil, its supply and driver, and the contact that makes the feed."""

    coil_supply_v: float
    coil_resistance_ohm: float
    driver_resistance_ohm: float
    contact_resistance_ohm: float
    suppressor: Suppressor | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Resistor:
    """A resistor with the limits that its style sets.

    Parameters
    ----------
    ref : str
        The part, as the board names it.
    resistance_ohm, tolerance_ratio : float
        As marked.
    style : str
        Its size or build.
    rated_power_w, working_v, overload_v : float
        Limits: at 70 °C, limiting element voltage, for 5 s.
    source : str
        Where the limits come from.
    size_assumed : bool
        Nobody wrote its size: the limits are those of a small part, not of this one.
    usual_power_w : float, optional
        What most makers rate its size for, where the least of them rates it lower: that least is
        `rated_power_w`, as nobody wrote the maker.
    """

    ref: str
    resistance_ohm: float
    tolerance_ratio: float
    style: str
    rated_power_w: float
    working_v: float
    overload_v: float
    source: str
    size_assumed: bool = False
    usual_power_w: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacitor:
    """A capacitor; its losses are not modelled.

    `rated_v` and `safety_class` (such as ``X2``) are known of those in stock only.
    """

    ref: str
    capacitance_f: float
    rated_v: float | None = None
    safety_class: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Junction:
    """Diode law V = n Vt ln(I/Is + 1) + Rs I at 25 degC, its gap, leakage and reverse rating.

    `gap_v` sets how the forward voltage falls with temperature (see `zcd.physics.diode`);
    `leak_ohm` is the reverse leakage as a resistance at 25 degC, which grows by the power
    `leak_rise_per_k` of e a degree; `reverse_rating_v` is the rated limit, taken as where
    breakdown begins. `capacitance_f` is the one that data sheets print: of a diode at 4 V
    reverse, of an LED at 0 V. `is_zener`: it is there to break down, and has no reverse rating.
    """

    saturation_current_a: float
    emission_ratio: float
    series_ohm: float
    gap_v: float
    leak_ohm: float
    reverse_rating_v: float
    leak_rise_per_k: float = 0.0
    capacitance_f: float = 0.0
    is_zener: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Diode:
    """A rectifier or clamp diode, or a zener.

    `rated_power_w` is what a zener may bear at 25 °C, `rated_current_a` the mean forward current of
    a rectifier; None: not known.
    """

    ref: str
    part: str
    junction: Junction
    source: str
    rated_power_w: float | None = None
    zero_power_degc: float = 175.0
    rated_current_a: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Optocoupler:
    """The optocoupler: its LED (or two), and a phototransistor described by its CTR.

    `ctr_ratio` is collector current / LED current at `test_current_a`, 25 degC, new; the minimum
    and maximum are those of the grade, or of a part of its kind where `ctr_max_published` is not.
    `remaining_ratio` is what age has left of it (1 = new). `led_current_max_a` is the LED's
    continuous limit where the board file gives it, or where only the class of the part is known;
    None: that of the family.
    """

    ref: str
    family: str
    grade: str
    ctr_ratio: float
    ctr_min_ratio: float
    ctr_max_ratio: float
    test_current_a: float
    remaining_ratio: float
    led: Junction
    source: str
    led_current_max_a: float | None = None
    ctr_max_published: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Transistor:
    """An NPN transistor whose base the chain leads into; its collector is the pin.

    `gain_ratio` is hFE; the minimum and maximum are those of its type. `model` names the row of
    ``reference/transistor_models.csv`` whose law it has; `emitter_reverse_v` is what its
    base-emitter junction stands backwards.
    """

    ref: str
    part: str
    gain_ratio: float
    gain_min_ratio: float
    gain_max_ratio: float
    emitter_reverse_v: float
    model: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """What is at the pin: ``pull-up`` (it is the collector), ``emitter-follower`` or ``direct``.

    `resistor` is None in ``direct``, where the circuit has what is at the pin. `internal` is the
    pull-up inside the controller, where it stands beside `resistor` or such a circuit; alone, it is
    `resistor`.
    """

    kind: str
    resistor: Resistor | None
    supply_v: float
    pin_capacitor: Capacitor | None = None
    internal: Resistor | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Controller:
    """What the controller's sync input needs in order to lock.

    `edge` is the edge that it takes its timing from: ``falling`` or ``rising``; `edges` tells
    whether it uses ``one`` of a pulse or ``both``. `stated` names the limits that the board file
    gives; the others are what is expected of a controller that nobody has read. `hysteresis_v` is
    what at least lies between the levels at which the input really switches; None where that is not
    known.
    """

    low_threshold_v: float
    high_threshold_v: float
    edge: str
    min_low_time_s: float
    min_high_time_s: float
    max_transition_s: float
    max_offset_s: float
    period_tolerance_ratio: float
    stated: frozenset[str] = frozenset()
    hysteresis_v: float | None = None
    edges: str = "one"


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """How the board is used: temperatures, and the hours a year with mains at the chain."""

    bench_degc: float
    hot_degc: float
    hours_per_year: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Supervision:
    """What the controller does over time, from switching on to its flags.

    Parameters
    ----------
    supply_wait_s, relay_delay_s : float
        From switching on until the controller acts; from closing the load relay until it looks
        for sync.
    lock_periods, loss_periods : int
        Good periods in a row that make lock; bad ones that end it.
    run_up_s : float
        In which the drive opens from its least to its most.
    target_rpm : float
        Of the closed loop.
    sync_flag_s, fan_flag_s : float
        Without lock, and below `fan_flag_ratio` of the target, after which a flag is raised.
    fan_flag_ratio : float
    retries : int
        Attempts after the first one, each after `retry_pause_s` with load and drive off; then
        the controller locks itself out.
    retry_pause_s : float
    without_sync : str
        ``inhibit``: the drive stays off; ``free-run``: after the sync flag it fires by the
        controller's own clock.
    clock_error_ratio : float
        Of that clock against the mains.
    """

    supply_wait_s: float
    relay_delay_s: float
    lock_periods: int
    loss_periods: int
    run_up_s: float
    target_rpm: float
    sync_flag_s: float
    fan_flag_s: float
    fan_flag_ratio: float
    retries: int
    retry_pause_s: float
    without_sync: str
    clock_error_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """What switches the fan, and how the controller times it.

    Parameters
    ----------
    kind : str
        ``random-phase`` or ``zero-cross``.
    half_cycles : str
        ``timer``: the second half cycle is taken half a period after the first; ``edges``: each
        edge of the pulse gives one.
    compensation_s : float or None
        Offset that the firmware takes the edge to have; None: that of the board as designed.
    earliest_ratio, latest_ratio : float
        Limits of the firing delay, as shares of the half period.
    gate_pulse_s, latching_a : float
        Length of the gate pulse; current that must flow when it ends.
    inhibit_v : float
        Of a zero-cross part: it fires only below this.
    """

    kind: str
    half_cycles: str
    compensation_s: float | None
    earliest_ratio: float
    latest_ratio: float
    gate_pulse_s: float
    latching_a: float
    inhibit_v: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fan:
    """A permanent-split-capacitor fan, by its plate; None: what suits the rest.

    Parameters
    ----------
    input_w, full_rpm : float
        Taken from the mains, and speed, at full voltage with its impeller.
    poles : int
    inertia_kg_m2 : float
    run_capacitor_f, main_ohm, start_ohm : float or None
    pulses_per_turn : int
        Of the tacho.
    """

    input_w: float
    full_rpm: float
    poles: int
    inertia_kg_m2: float
    run_capacitor_f: float | None
    main_ohm: float | None
    start_ohm: float | None
    pulses_per_turn: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Appliance:
    """What stands around the sync circuit, and what was assumed of it."""

    supervision: Supervision
    drive: Drive
    fan: Fan
    assumptions: tuple[Assumption, ...] = ()


@dataclass(frozen=True, slots=True)
class Link:
    """A part of the mains side between two nodes; of a diode, `a` is the anode."""

    ref: str
    a: str
    b: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Traced:
    """A circuit that is none of the known topologies: the mains side as it was traced.

    Its resistors are the board's `chains`: each of them is a string whose resistors carry the
    same current.

    Parameters
    ----------
    links : tuple of Link
        As of `zcd.board.paths.links_of`; a bridge has four, its reference with a letter.
    aliases : tuple of (str, str)
        Second name of a node, its own name.
    diodes, capacitors : tuple
    pulses : int
        Half-waves of a period in which the LED is lit: 1 or 2.
    second_coupler : str
        Reference of a second optocoupler of the same type, its transistor parallel to that of
        the first; empty: there is none.
    transistor : Transistor or None
        In the place of an optocoupler; None: there is one, or the chain leads into the pin.
    """

    links: tuple[Link, ...]
    aliases: tuple[tuple[str, str], ...] = ()
    diodes: tuple[Diode, ...] = ()
    capacitors: tuple[Capacitor, ...] = ()
    pulses: int = 1
    second_coupler: str = ""
    transistor: Transistor | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Description:
    """What a board was made from.

    Parameters
    ----------
    written : mapping
        Keys and values of the board file.
    places : mapping of str to str
        Reference of a part -> its key in the file.
    """

    written: Mapping[str, Any]
    places: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Board:
    """A sync circuit, complete.

    Parameters
    ----------
    name : str
        What the technician calls it.
    topology : Topology or "traced"
        How LED, rectifier and chain are arranged on the mains side.
    mains : Mains
    relay : Relay or None
        None: the feed is `direct`.
    chains : tuple of tuple of Resistor
        Strings in parallel from the feed, each in order from the feed.
    return_chain : tuple of Resistor
        Resistors in the neutral leg; may be empty.
    rectifier : Diode or None
        In series (`half-wave`, `half-wave-clamped`) or each of the four of a `bridge`.
    rectifier_first : bool
        True: before the chain.
    clamp : Diode or None
        Anti-parallel to the LED (`clamped`, `half-wave-clamped`).
    optocoupler : Optocoupler or None
        None: the traced circuit leads from the mains straight into the controller's pin.
    led_resistor, led_capacitor : Resistor or None, Capacitor or None
        Across the LED.
    joint_capacitor : Capacitor or None
        From the joint after resistor number `joint` (1 = after the first) of the first chain to
        neutral.
    joint : int
    traced : Traced or None
        The circuit where it is none of the known topologies.
    output : Output
    controller : Controller
    service : Service
    assumptions : tuple of Assumption
        All that was not written in the board file.
    read_as : tuple of ReadAs
        Codes and plates of the board file, and what they were taken for.
    unknowns : tuple of Unknown
        Resistors whose value is not known.
    appliance : Appliance or None
        Supervision, drive and fan, with assumptions of their own; None: nobody described them.
    description : Description or None
        What it was made from; None: it was put together by hand.
    file : str
        The word that stands for it in a command to be typed next.
    """

    name: str
    topology: Topology | Literal["traced"]
    mains: Mains
    relay: Relay | None
    chains: tuple[tuple[Resistor, ...], ...]
    return_chain: tuple[Resistor, ...] = ()
    rectifier: Diode | None = None
    rectifier_first: bool = False
    clamp: Diode | None = None
    optocoupler: Optocoupler | None
    led_resistor: Resistor | None = None
    led_capacitor: Capacitor | None = None
    joint_capacitor: Capacitor | None = None
    joint: int = 1
    traced: Traced | None = None
    output: Output
    controller: Controller
    service: Service
    assumptions: tuple[Assumption, ...] = ()
    read_as: tuple[ReadAs, ...] = field(default=(), compare=False)
    unknowns: tuple[Unknown, ...] = ()
    appliance: Appliance | None = None
    description: Description | None = field(default=None, compare=False, repr=False)
    file: str = field(default="BOARD", compare=False, repr=False)

    def __repr__(self) -> str:
        supply = f"{self.mains.rms_v:g} V {self.mains.frequency_hz:g} Hz"
        return f"<Board: {plain(self.name)}; {self.topology}, {supply}>"

    def _repr_html_(self) -> str:
        from zcd.renderings import board_html

        return board_html(self)

    @property
    def contents(self) -> str:
        """All that it is made of as text: the same of boards that are the same."""
        return repr([getattr(self, each.name) for each in fields(self) if each.repr])

    @property
    def diodes(self) -> tuple[Diode, ...]:
        """Rectifier and clamp, or those of a traced circuit."""
        traced = () if self.traced is None else self.traced.diodes
        return (*(d for d in (self.rectifier, self.clamp) if d is not None), *traced)

    @property
    def capacitors(self) -> tuple[Capacitor, ...]:
        """Those of the mains side, then that of the pin."""
        known = (self.joint_capacitor, self.led_capacitor)
        traced = () if self.traced is None else self.traced.capacitors
        every = (*known, *traced, self.output.pin_capacitor)
        return tuple(c for c in every if c is not None)

    @property
    def is_isolated(self) -> bool:
        """Whether nothing but light joins the controller to the mains.

        Where it is not, every point of the board is at mains potential while it is plugged in.
        """
        return self.optocoupler is not None

    @property
    def input_name(self) -> str:
        """What the current of the chain ends in: ``LED``, ``base`` or ``pin``."""
        if self.is_isolated:
            return "LED"
        return "pin" if self.transistor is None else "base"

    @property
    def transistor(self) -> Transistor | None:
        """The transistor in the place of an optocoupler, if there is one."""
        return None if self.traced is None else self.traced.transistor

    @property
    def two_leds(self) -> bool:
        """Whether the optocoupler has two LEDs."""
        if self.traced is not None:
            return any(link.ref == "led2" for link in self.traced.links)
        return self.topology is Topology.TWO_LED

    @property
    def lit_twice(self) -> bool:
        """Whether the LED, or one of two, is lit in both half-waves."""
        if self.traced is not None:
            return self.traced.pulses == 2
        return self.topology in (Topology.BRIDGE, Topology.TWO_LED)

    @property
    def tells_of_fan(self) -> bool:
        """Whether the file describes a fan or what drives it."""
        written = set() if self.description is None else set(self.description.written)
        return not written.isdisjoint({"fan", "drive"})

    def with_diode(self, now: Diode, part: Diode) -> Board:
        """The board with another diode in place of one of its own."""
        if self.traced is not None:
            diodes = tuple(part if diode is now else diode for diode in self.traced.diodes)
            return replace(self, traced=replace(self.traced, diodes=diodes))
        if now is self.rectifier:
            return replace(self, rectifier=part)
        return replace(self, clamp=part)

    def with_transistor(self, part: Transistor) -> Board:
        """The board with another transistor in place of its own."""
        assert self.traced is not None, "only a traced circuit has one"
        return replace(self, traced=replace(self.traced, transistor=part))

    def with_capacitor(self, now: Capacitor, part: Capacitor) -> Board:
        """The board with another capacitor in place of one of its own."""
        if now is self.output.pin_capacitor:
            return replace(self, output=replace(self.output, pin_capacitor=part))
        if self.traced is not None:
            capacitors = tuple(part if one is now else one for one in self.traced.capacitors)
            return replace(self, traced=replace(self.traced, capacitors=capacitors))
        if now is self.led_capacitor:
            return replace(self, led_capacitor=part)
        return replace(self, joint_capacitor=part)

    def with_(self, **changes: Any) -> Board:
        """The board with some of its keys or parts changed.

        Parameters
        ----------
        changes
            By reference of a part, or by key of the board file: a table (``mains``), a key that
            only one table has (``pull_up``), or a table with its key
            (``**{"output.supply": "3.3 V"}``). Values as in the file.

        Returns
        -------
        board : Board

        Raises
        ------
        InputError
            If there is no such part or key, or the changed board is none.

        Examples
        --------
        >>> import zcd
        >>> board = zcd.loads('''
        ... mains = "120 V 60 Hz"
        ... rectifier = "1N4007"
        ... optocoupler = "817B"
        ... chain.resistors = ["27k", "27k"]
        ... output = {pull_up = "22k", supply = "5 V"}
        ... ''')
        >>> other = board.with_(R2="33k", pull_up="10k", mains="127 V 60 Hz")
        >>> [part.resistance_ohm for part in other.chains[0]], other.mains.rms_v
        ([27000.0, 33000.0], 127.0)
        """
        from zcd.board.changes import with_changes

        return with_changes(self, changes)
