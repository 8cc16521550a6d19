"""A small invented board, its variants, and element lists made by hand, for the tests.

Nothing here is a real product. Values of junctions are those of the board library where the
tests depend on them; everything else is round numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import (
    Board,
    Capacitor,
    Controller,
    Diode,
    Junction,
    Mains,
    Optocoupler,
    Output,
    Relay,
    Resistor,
    Service,
    Suppressor,
    Topology,
)
from zcd.circuit.elements import Capacitance, Circuit, MainsHarmonic, MainsSource, Resistance
from zcd.circuit.elements import Junction as JunctionElement
from zcd.engine.solution import Solution
from zcd.sync.lock import LIMITS

FloatArray = NDArray[np.float64]

NAME = "Invented seed-tray heater"
CHAIN_OHM = (82e3, 180e3)
"""Of R1, next to the line, and of R2."""

LED = Junction(
    saturation_current_a=6.25e-16,
    emission_ratio=1.485,
    series_ohm=2.34,
    gap_v=1.53,
    leak_ohm=40e6,
    reverse_rating_v=6.0,
)
RECTIFIER = Junction(
    saturation_current_a=90e-12,
    emission_ratio=1.4,
    series_ohm=0.04,
    gap_v=1.19,
    leak_ohm=200e6,
    reverse_rating_v=1000.0,
)

NOMINAL_VT_V = 0.025692579
"""Thermal voltage at 25 degC, for element lists made by hand."""


def resistor(ref: str, resistance_ohm: float) -> Resistor:
    """A resistor whose limits no test depends on."""
    return Resistor(
        ref=ref,
        resistance_ohm=resistance_ohm,
        tolerance_ratio=0.05,
        style="1206",
        rated_power_w=0.25,
        working_v=200.0,
        overload_v=400.0,
        source="invented",
    )


def diode(ref: str, junction: Junction = RECTIFIER) -> Diode:
    """A diode with a given law."""
    return Diode(ref=ref, part="invented", junction=junction, source="invented")


def optocoupler(**changes: Any) -> Optocoupler:
    """A mid-grade part of the 817 class, new."""
    part = Optocoupler(
        ref="OC1",
        family="817",
        grade="B",
        ctr_ratio=1.8,
        ctr_min_ratio=1.3,
        ctr_max_ratio=2.6,
        test_current_a=5e-3,
        remaining_ratio=1.0,
        led=LED,
        source="invented",
    )
    return replace(part, **changes)


def mains(rms_v: float = 230.0, frequency_hz: float = 50.0, **changes: Any) -> Mains:
    """A supply with a band of 10 % both ways, of its frequency 1 %."""
    supply = Mains(
        rms_v=rms_v,
        low_rms_v=0.9 * rms_v,
        high_rms_v=1.1 * rms_v,
        band="",
        frequency_hz=frequency_hz,
        low_hz=0.99 * frequency_hz,
        high_hz=1.01 * frequency_hz,
    )
    return replace(supply, **changes)


def pull_up(resistance_ohm: float = 10e3, supply_v: float = 5.0, **changes: Any) -> Output:
    """An output stage with the pin at the collector."""
    stage = Output(kind="pull-up", resistor=resistor("R3", resistance_ohm), supply_v=supply_v)
    return replace(stage, **changes)


def controller(**changes: Any) -> Controller:
    """A controller with a wide Schmitt input on a 5 V supply."""
    rules = Controller(
        low_threshold_v=1.0,
        high_threshold_v=4.0,
        edge="falling",
        min_low_time_s=200e-6,
        min_high_time_s=200e-6,
        max_transition_s=1e-3,
        max_offset_s=2e-3,
        period_tolerance_ratio=0.06,
        stated=frozenset(limit.key for limit in LIMITS.values()),
    )
    return replace(rules, **changes)


def relay(suppressor: Suppressor | None = None) -> Relay:
    """A 24 V load relay."""
    return Relay(
        coil_supply_v=24.0,
        coil_resistance_ohm=1440.0,
        driver_resistance_ohm=22.0,
        contact_resistance_ohm=0.1,
        suppressor=suppressor,
    )


def chain(*ohms: float) -> tuple[Resistor, ...]:
    """Resistors in series, R1 next to the line."""
    return tuple(resistor(f"R{k}", ohm) for k, ohm in enumerate(ohms, start=1))


def board(**changes: Any) -> Board:
    """A half-wave board on 230 V 50 Hz, two resistors in the chain, with some keys replaced."""
    whole = Board(
        name=NAME,
        topology=Topology.HALF_WAVE,
        mains=mains(),
        relay=None,
        chains=(chain(*CHAIN_OHM),),
        rectifier=diode("D1"),
        optocoupler=optocoupler(),
        output=pull_up(),
        controller=controller(),
        service=Service(bench_degc=25.0, hot_degc=60.0, hours_per_year=4000.0),
    )
    return replace(whole, **changes)


def _clamp() -> Diode:
    return diode("D2")


def _low_supply() -> dict[str, Any]:
    """Output and controller on 3.3 V."""
    return {
        "output": pull_up(15e3, supply_v=3.3),
        "controller": controller(low_threshold_v=0.7, high_threshold_v=2.6),
    }


VARIANTS: dict[str, Board] = {
    "half-wave": board(),
    "rectifier first": board(
        rectifier_first=True, mains=mains(120.0, 60.0), chains=(chain(47e3, 68e3),)
    ),
    "clamped": board(topology=Topology.CLAMPED, rectifier=None, clamp=_clamp()),
    "half-wave-clamped": board(
        topology=Topology.HALF_WAVE_CLAMPED, clamp=_clamp(), **_low_supply()
    ),
    "bridge": board(
        topology=Topology.BRIDGE,
        chains=(chain(75e3, 110e3),),
        return_chain=(resistor("R9", 62e3),),
    ),
    "bridge, no return chain": board(
        topology=Topology.BRIDGE, mains=mains(120.0, 60.0), chains=(chain(56e3, 91e3),)
    ),
    "two-led": board(topology=Topology.TWO_LED, rectifier=None, chains=(chain(110e3, 130e3),)),
    "two chains": board(
        chains=(
            chain(*CHAIN_OHM),
            (resistor("R11", 330e3), resistor("R12", 220e3), resistor("R13", 47e3)),
        )
    ),
    "across the LED": board(
        led_resistor=resistor("R8", 91e3), led_capacitor=Capacitor(ref="C1", capacitance_f=10e-9)
    ),
    "joint capacitor": board(joint_capacitor=Capacitor(ref="C2", capacitance_f=10e-9)),
    "contact closed": board(relay=relay(Suppressor(resistance_ohm=100.0, capacitance_f=100e-9))),
    "pin capacitor": board(output=pull_up(pin_capacitor=Capacitor(ref="C4", capacitance_f=1e-9))),
    "emitter follower": board(output=pull_up(4.7e3, kind="emitter-follower")),
}
"""One board for each topology and each option, by what it shows; mains and supplies differ."""

BOTH_HALVES = ("bridge", "bridge, no return chain", "two-led")
"""Those whose LEDs are lit in both half cycles."""


def mains_source(rms_v: Any = 230.0, frequency_hz: Any = 50.0, **changes: Any) -> MainsSource:
    """The mains between ``line`` and ``neutral``."""
    source = MainsSource(ref="mains", a="line", b="neutral", rms_v=rms_v, frequency_hz=frequency_hz)
    return replace(source, **changes)


def resistance(ref: str, a: str, b: str, resistance_ohm: Any) -> Resistance:
    """A resistance between two nodes."""
    return Resistance(ref=ref, a=a, b=b, resistance_ohm=resistance_ohm)


def capacitance(ref: str, a: str, b: str, capacitance_f: Any) -> Capacitance:
    """A capacitance between two nodes."""
    return Capacitance(ref=ref, a=a, b=b, capacitance_f=capacitance_f)


def junction(ref: str, a: str, b: str, data: Junction, **changes: Any) -> JunctionElement:
    """A junction at 25 degC, without leakage, that never breaks down unless told to."""
    element = JunctionElement(
        ref=ref,
        a=a,
        b=b,
        saturation_a=data.saturation_current_a,
        emission_v=data.emission_ratio * NOMINAL_VT_V,
        series_ohm=data.series_ohm,
        breakdown_v=1e9,
    )
    return replace(element, **changes)


def element_list(*elements: Any) -> Circuit:
    """An element list made by hand."""
    return Circuit(elements=elements)


def pin_wave(
    time_s: NDArray[np.floating],
    pin_v: NDArray[np.floating],
    frequency_hz: float = 50.0,
    harmonics: Sequence[MainsHarmonic] = (),
) -> Solution:
    """A solution made by hand: only the mains and a waveform at the pin, shape (n, m)."""
    pin = np.atleast_2d(np.asarray(pin_v, dtype=float))
    time = np.broadcast_to(np.asarray(time_s, dtype=float), pin.shape)
    phase = 2.0 * np.pi * frequency_hz * time
    return Solution(
        circuit=element_list(mains_source(frequency_hz=frequency_hz), *harmonics),
        phase_rad=phase,
        time_s=time,
        weight=np.full(pin.shape, 1.0 / pin.shape[1]),
        voltages_v={"pin": pin},
        currents_a={},
        settled=np.ones(pin.shape[0], dtype=bool),
    )


def stated(whole: Board) -> Board:
    """The board with every limit of its controller stated: breaking one loses the lock."""
    rules = replace(whole.controller, stated=frozenset(limit.key for limit in LIMITS.values()))
    return replace(whole, controller=rules)
