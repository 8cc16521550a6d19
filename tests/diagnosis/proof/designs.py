"""Boards of no particular make: every topology and option, values anywhere, and a meter each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator, default_rng

from zcd.board.files import parse_board
from zcd.board.model import Board, Topology
from zcd.circuit.build import Conditions, build_circuit
from zcd.diagnosis.meters import AcKind, Meter, ohm_full_scale_span_v
from zcd.engine.solve import PULSES, solve
from zcd.errors import InputError
from zcd.sync.lock import judge

TOPOLOGIES = tuple(Topology)
MAINS = (("230 V", "50 Hz", 0.5), ("120 V", "60 Hz", 0.25), ("240 V", "50 Hz", 0.1),
         ("220 V", "60 Hz", 0.1), ("100 V", "50 Hz", 0.05))  # fmt: skip
ONE_LED = ("817A", "817B", "817C", "817D", "817", "785GR", "785BL", "291GB", "615AGR", "817X")
TWO_LEDS = ("814", "814A", "214", "180GR", "180")
LED_PEAK_A = (0.4e-3, 3e-3)
MOST_TRIES = 200
SERIES = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75,
          82, 91)  # fmt: skip
"""E24."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """A board and the meter that it is read with.

    Parameters
    ----------
    seed, number : int
        They make it.
    text : str
        Of the board file.
    board : Board
    meter : Meter
    """

    seed: int
    number: int
    text: str
    board: Board
    meter: Meter

    @property
    def full_scale_v(self) -> float:
        """What the ohms ranges of this very meter leave at the probes at full scale: no manual
        says it, and the diagnosis is not told."""
        rng = default_rng([self.seed, self.number, 1])
        return float(rng.uniform(*ohm_full_scale_span_v(self.meter)))


def design(seed: int, number: int) -> Design:
    """One design, whose good boards lock whatever the CTR within its grade."""
    rng = default_rng([seed, number])
    topology = TOPOLOGIES[number % len(TOPOLOGIES)]
    for _ in range(MOST_TRIES):
        text = _text(rng, topology)
        try:
            board = parse_board(text)
        except InputError:
            continue  # a combination that a board file refuses
        if _locks(board):
            return Design(seed=seed, number=number, text=text, board=board, meter=_meter(rng))
    raise AssertionError(f"no design of seed {seed}, number {number} locks")


def between(rng: Generator, low: float, high: float) -> float:
    """Evenly in logs."""
    return float(low * (high / low) ** rng.random())


def _locks(board: Board) -> bool:
    opto = board.optocoupler
    ctr = np.array([opto.ctr_min_ratio, opto.ctr_ratio, opto.ctr_max_ratio])
    circuit = build_circuit(board, Conditions(ctr_ratio=ctr))
    return bool(np.all(judge(solve(circuit, PULSES), board).margin > 0.0))


def _text(rng: Generator, topology: Topology) -> str:
    """A board file."""
    shares = np.array([share for *_, share in MAINS])
    volts, hertz, _ = MAINS[rng.choice(len(MAINS), p=shares / shares.sum())]
    total = np.sqrt(2.0) * float(volts.split()[0]) / between(rng, *LED_PEAK_A)
    opto = str(rng.choice(TWO_LEDS if topology is Topology.TWO_LED else ONE_LED))
    rectified = topology in (Topology.HALF_WAVE, Topology.HALF_WAVE_CLAMPED, Topology.BRIDGE)
    clamped = topology in (Topology.CLAMPED, Topology.HALF_WAVE_CLAMPED)
    lines = ['name = "Invented proofing cabinet"', f'optocoupler = "{opto}"']
    if rectified:
        lines.append(f'rectifier = "{rng.choice(("1N4007", "1N4004"))}"')
    if clamped:
        lines.append(f'clamp = "{rng.choice(("1N4148", "1N4007"))}"')
    lines += ["[mains]", f'voltage = "{volts}"', f'frequency = "{hertz}"', 'tolerance = "10 %"']
    lines += _feed(rng) + _chain(rng, topology, total) + _options(rng, total, volts)
    return "\n".join(lines) + "\n"


def _feed(rng: Generator) -> list[str]:
    if rng.random() < 0.5:
        return ["[feed]", 'kind = "direct"']
    coil = str(rng.choice(("5 V", "12 V", "24 V")))
    ohm = {"5 V": "70", "12 V": "360", "24 V": "1k5"}[coil]
    lines = ["[feed]", 'kind = "switched"', f'coil_supply = "{coil}"', f'coil_resistance = "{ohm}"']
    if rng.random() < 0.4:
        farad = between(rng, 10e-9, 220e-9)
        lines.append(
            f'suppressor = {{resistance = "{between(rng, 47, 470):.0f}", '
            f'capacitance = "{farad * 1e9:.1f} nF"}}'
        )
    return lines


def _chain(rng: Generator, topology: Topology, total: float) -> list[str]:
    """Unequal resistors, between one and five, and what the topology adds."""
    style = str(rng.choice(("1206", "1206", "0805", "0.25 W", "1 W")))
    lines = ["[chain]", f'topology = "{topology.value}"', f'style = "{style}"']
    back = topology is Topology.BRIDGE and rng.random() < 0.5
    first = _values(rng, total * (0.5 if back else 1.0), int(rng.integers(1, 6)))
    if back:
        lines.append(f"return_resistors = {_quoted(_values(rng, 0.5 * total, len(first)))}")
    lines.append(f"resistors = {_quoted(first)}")
    if not back and rng.random() < 0.12:
        lines.append(f"parallel = [{_quoted(_values(rng, 2.0 * total, 2))}]")
    if topology in (Topology.HALF_WAVE, Topology.HALF_WAVE_CLAMPED) and rng.random() < 0.4:
        lines.append("rectifier_first = true")
    if len(first) > 1 and rng.random() < 0.12:
        farad = between(rng, 1e-9, 33e-9)
        lines.append(f'joint_capacitor = {{after = 1, capacitance = "{farad * 1e9:.2f} nF"}}')
    return lines


def _options(rng: Generator, total: float, volts: str) -> list[str]:
    """What stands across the LED, and the output."""
    peak = np.sqrt(2.0) * float(volts.split(maxsplit=1)[0]) / total
    lines = []
    if rng.random() < 0.3:
        lines.append("[led]")
        # at the LED's drop it takes no more than a third of the current
        lines.append(f'resistor = "{_value(between(rng, 3.5 / peak, 100.0 / peak))}"')
        if rng.random() < 0.4:
            lines.append(f'capacitor = "{between(rng, 1e-9, 33e-9) * 1e9:.2f} nF"')
    supply = str(rng.choice(("5 V", "3.3 V")))
    ohm = float(supply.split(maxsplit=1)[0]) / peak * between(rng, 2.0, 40.0)
    kind = "pull_down" if rng.random() < 0.12 else "pull_up"
    lines += ["[output]", f'{kind} = "{_value(float(np.clip(ohm, 2.2e3, 150e3)))}"']
    lines.append(f'supply = "{supply}"')
    if rng.random() < 0.2:
        lines.append(f'pin_capacitor = "{between(rng, 0.1, 3.0):.2f} nF"')
    return lines


def _values(rng: Generator, total: float, count: int) -> list[str]:
    shares = rng.uniform(0.3, 1.0, count)
    if rng.random() < 0.5:
        shares = np.ones(count)
    return [_value(total * share) for share in shares / shares.sum()]


def _value(ohm: float) -> str:
    """The nearest of a series."""
    decade = 10.0 ** np.floor(np.log10(ohm) - 1.0)
    near = min((*SERIES, 100), key=lambda each: abs(np.log(each * decade / ohm)))
    return f"{near * decade:.6g}"


def _quoted(values: list[str]) -> str:
    return "[" + ", ".join(f'"{value}"' for value in values) + "]"


def _meter(rng: Generator) -> Meter:
    return Meter(
        dc_input_ohm=float(rng.choice((10e6, 10e6, 1e6))),
        ac_input_ohm=float(rng.choice((10e6, 5e6, 1e6))),
        low_impedance_ohm=float(rng.choice((3e3, 300e3))),
        ac_kind=AcKind(rng.choice((AcKind.TRUE_RMS, AcKind.TRUE_RMS, AcKind.AVERAGE))),
        dc_accuracy_ratio=float(rng.choice((0.005, 0.01))),
        ac_accuracy_ratio=float(rng.choice((0.01, 0.02))),
        ohm_accuracy_ratio=float(rng.choice((0.008, 0.015))),
        ohms_open_v=float(rng.choice((1.2, 2.7))),
        diode_open_v=float(rng.choice((2.7, 3.2))),
        ohm_range_ohm=float(rng.choice((20e6, 40e6, 60e6))),
        counts=float(rng.choice((2000.0, 6000.0))),
    )
