"""A battery of boards for both solvers: drawn with a fixed seed over all that a board may be.

Topologies, options, 100 to 264 V, 45 to 65 Hz, harmonics, temperature, CTR, faults at any severity,
meters of any input resistance. Everything is invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator, default_rng

from tests.boards import (
    board,
    controller,
    diode,
    mains,
    optocoupler,
    pull_up,
    relay,
    resistor,
)
from zcd.board.files import board_from_dict
from zcd.board.model import Board, Capacitor, Harmonic, Resistor, Suppressor, Topology
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.faults import faults_of
from zcd.diagnosis.meters import AcKind, Meter, usual_meter
from zcd.diagnosis.readings import Reading, useful_readings
from zcd.spice.compare import Answer, Engine, Line, answer, lines_of
from zcd.spice.netlist import Level
from zcd.spice.solve import Spice

SEED = 1
SIZE = 320
READINGS = 3
LEDS_PEAK_A = (0.3e-3, 3e-3)
NEAR = 0.02
"""A margin of lock smaller than this may fall either way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One board of the battery, its fault put in, and what to read on it with which meter."""

    number: int
    board: Board
    circuit: Circuit
    fault: str
    meter: Meter
    readings: tuple[Reading, ...]


def case(number: int) -> Case:
    """One case; the same number always gives the same."""
    rng = default_rng([SEED, number])
    return _case(rng, number, _board(rng, list(Topology)[number % len(Topology)]))


def traced_case(number: int) -> Case:
    """The same of a circuit that is none of the known topologies."""
    rng = default_rng([SEED, 1, number])
    return _case(rng, number, _traced_board(rng))


def _case(rng: Generator, number: int, result: Board) -> Case:
    nominal = build_circuit(
        result, Conditions(temperature_degc=rng.uniform(5.0, 70.0), coil_driven=rng.random() < 0.8)
    )
    faults = faults_of(nominal)
    fault = faults[rng.integers(len(faults))] if rng.random() < 0.7 else faults[0]
    circuit = fault.edit(nominal, np.array([rng.random()]))
    useful = useful_readings(result, nominal)
    chosen = rng.choice(len(useful), size=min(READINGS, len(useful)), replace=False)
    return Case(
        number=number,
        board=result,
        circuit=circuit,
        fault=fault.key,
        meter=_meter(rng),
        readings=tuple(useful[k] for k in chosen),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """What both solvers say of one case, on the same equations."""

    case: Case
    ours: Answer
    equations: Answer
    lines: tuple[Line, ...]

    @property
    def worst(self) -> Line:
        """The line that differs most, against what it may."""
        return max(self.lines, key=excess)

    @property
    def locks_agree(self) -> bool:
        """Whether both lock, or neither; or it is a near thing."""
        margins = [float(result.lock.margin[0]) for result in (self.ours, self.equations)]
        return min(map(abs, margins)) < NEAR or margins[0] * margins[1] > 0.0


def excess(line: Line) -> float:
    """Difference over what is allowed."""
    if line.agrees and not np.isfinite(line.difference):
        return 0.0
    return abs(line.difference) / line.allowed if np.isfinite(line.difference) else np.inf


def agreement(this: Case) -> Agreement:
    """Solve one case both ways."""
    ask = (this.board, this.circuit, this.meter, this.readings)
    ours = answer(*ask, Engine())
    patient = bool(ours.solution.settled[0])
    equations = answer(*ask, Spice(level=Level.EQUATIONS), steady_state_only=patient)
    return Agreement(case=this, ours=ours, equations=equations, lines=lines_of(ours, equations))


def _between(rng: Generator, low: float, high: float) -> float:
    """Evenly in logs."""
    return float(low * (high / low) ** rng.random())


def _board(rng: Generator, topology: Topology) -> Board:
    hertz, rms_v = rng.uniform(45.0, 65.0), rng.uniform(100.0, 264.0)
    total_ohm = np.sqrt(2.0) * rms_v / _between(rng, *LEDS_PEAK_A)
    count = int(rng.integers(1, 4))
    chain = _chain(rng, total_ohm, count, "R1")
    full = topology in (Topology.BRIDGE, Topology.TWO_LED)
    series = topology in (Topology.HALF_WAVE, Topology.HALF_WAVE_CLAMPED)
    clamped = topology in (Topology.CLAMPED, Topology.HALF_WAVE_CLAMPED)

    def maybe(share: float) -> bool:
        return bool(rng.random() < share)

    ratio = _between(rng, 0.6, 5.0)
    follower = maybe(0.15)
    ohm = _between(rng, 4.7e3, 22e3 if full else 100e3)
    output = pull_up(ohm, supply_v=float(rng.choice([3.3, 5.0])))
    if follower:
        output = replace(output, kind="emitter-follower")
    if maybe(0.25):
        farad = _between(rng, 100e-12, 0.3e-3 / ohm)
        output = replace(output, pin_capacitor=Capacitor(ref="C4", capacitance_f=farad))
    supply = output.supply_v
    return board(
        topology=topology,
        mains=mains(rms_v, hertz, harmonics=_harmonics(rng)),
        relay=_relay(rng),
        chains=(chain, _chain(rng, 2.0 * total_ohm, 2, "R2")) if maybe(0.15) else (chain,),
        return_chain=_chain(rng, 0.5 * total_ohm, int(rng.integers(1, 3)), "R9")
        if topology is Topology.BRIDGE and maybe(0.5)
        else (),
        rectifier=diode("D1") if series or topology is Topology.BRIDGE else None,
        rectifier_first=series and maybe(0.4),
        clamp=diode("D2") if clamped else None,
        optocoupler=optocoupler(
            ctr_ratio=ratio,
            ctr_min_ratio=0.7 * ratio,
            ctr_max_ratio=1.4 * ratio,
            remaining_ratio=rng.uniform(0.5, 1.0),
        ),
        led_resistor=resistor("R8", _between(rng, 3e3, 300e3)) if maybe(0.3) else None,
        led_capacitor=Capacitor(ref="C1", capacitance_f=_between(rng, 1e-9, 100e-9))
        if maybe(0.25)
        else None,
        joint_capacitor=Capacitor(ref="C2", capacitance_f=_between(rng, 1e-9, 47e-9))
        if maybe(0.25)
        else None,
        output=output,
        controller=controller(low_threshold_v=0.2 * supply, high_threshold_v=0.8 * supply),
    )


def _traced_board(rng: Generator) -> Board:
    """A board whose circuit is drawn part by part, and given in lines."""
    rms_v, total_ohm = rng.uniform(100.0, 264.0), 0.0

    def maybe(share: float) -> bool:
        return bool(rng.random() < share)

    peak_a = _between(rng, *LEDS_PEAK_A)
    total_ohm = np.sqrt(2.0) * rms_v / peak_a
    two_leds, capacitive = maybe(0.2), maybe(0.35)
    shares = rng.dirichlet(np.ones(3))
    ohms = [max(float(total_ohm * share), 100.0) for share in shares]
    lines = []
    if capacitive:
        farad = peak_a / (np.sqrt(2.0) * rms_v * 2.0 * np.pi * 50.0)
        steps = ["feed", f"C1 {1e9 * farad:.4g}n", f"R1 {_between(rng, 470.0, 4700.0):.4g}", "x"]
        steps += [f"R2 {_between(rng, 100.0, 2200.0):.4g}", "led+"]
        if not two_leds:
            lines.append("x - D1 1N4007 < - neutral")
    else:
        first, last = [f"R1 {ohms[0]:.5g}", "x"], [f"R2 {ohms[1]:.5g}"]
        rectifier = [] if two_leds else ["D1 1N4007 >"]
        steps = ["feed", *rectifier, *first, *last, "led+"]
        if maybe(0.5):
            steps = ["feed", *first, *rectifier, *last, "led+"]
        if maybe(0.4):
            lines.append(f"x - C2 {_between(rng, 1.0, 22.0):.4g}n - neutral")
        if maybe(0.3):
            lines.append(f"x - R5 {_between(rng, 0.5, 3.0) * total_ohm:.5g} - neutral")
        if maybe(0.3):
            lines.append(f"feed - R6 {_between(rng, 1.0, 4.0) * ohms[0]:.5g} - x")
    both_legs = maybe(0.4) and not capacitive
    lines = [" - ".join(steps), *lines, f"led- - R3 {ohms[2]:.5g} - neutral" if both_legs
             else "led- - neutral"]  # fmt: skip
    if maybe(0.4) and not two_leds:
        lines.append("led+ - D2 1N4148 < - led-")
    if maybe(0.3):
        lines.append(f"led+ - R7 {_between(rng, 3e3, 1e5):.4g} - led-")
    if maybe(0.25):
        lines.append(f"led+ - C3 {_between(rng, 1.0, 47.0):.4g}n - led-")
    return board_from_dict(
        {
            "mains": {
                "voltage": f"{rms_v:.4g} V",
                "frequency": f"{rng.uniform(45.0, 65.0):.4g} Hz",
            },
            "optocoupler": "814A" if two_leds else "817B",
            "feed": "switched" if maybe(0.3) else "direct",
            "circuit": lines,
            "output": {"pull_up": f"{_between(rng, 4.7e3, 33e3):.4g}", "supply": "5 V"},
        }
    )


def _chain(rng: Generator, total_ohm: float, count: int, prefix: str) -> tuple[Resistor, ...]:
    """Unequal resistors in series."""
    shares = rng.uniform(0.3, 1.0, size=count)
    values = total_ohm * shares / shares.sum()
    return tuple(resistor(f"{prefix}{k}", float(v)) for k, v in enumerate(values, start=1))


def _harmonics(rng: Generator) -> tuple[Harmonic, ...]:
    if rng.random() < 0.7:
        return ()
    return tuple(
        Harmonic(order=order, ratio=rng.uniform(0.0, 0.05), phase_rad=rng.uniform(0.0, 2.0 * np.pi))
        for order in (3, 5)
    )


def _relay(rng: Generator):  # type: ignore[no-untyped-def]
    if rng.random() < 0.5:
        return None
    suppressor = None
    if rng.random() < 0.5:
        farad = _between(rng, 10e-9, 220e-9)
        suppressor = Suppressor(resistance_ohm=_between(rng, 47.0, 470.0), capacitance_f=farad)
    return relay(suppressor)


def _meter(rng: Generator) -> Meter:
    return replace(
        usual_meter(),
        dc_input_ohm=float(rng.choice([10e6, 1e6, 200e3])),
        ac_input_ohm=float(rng.choice([10e6, 1e6, 3e3])),
        ac_kind=AcKind(rng.choice(list(AcKind))),
    )
