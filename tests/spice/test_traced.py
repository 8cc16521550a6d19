"""Circuits that are none of the known topologies, each against a deck of its own in ngspice.

The mains side of each deck is written by hand here, not by the project: parts, nodes and models
are those on the board. What the light then does at the pin is compared with the project's own
deck of the same equations, as the battery of boards has it. The limits are the battery's: 0.5 %
in current and power (or 1 uA, 1 uW), 0.5 % or 5 mV in a reading, 10 us in an edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.sampled import some
from zcd.board.files import board_from_dict
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Resistance
from zcd.diagnosis.meters import usual_meter
from zcd.engine.solve import solve
from zcd.spice.compare import Engine, answer, lines_of
from zcd.spice.netlist import Level
from zcd.spice.simulator import Either
from zcd.spice.solve import Spice

MODELS = """\
.model rect D(IS=9e-11 N=1.4 RS=0.04)
.model small D(IS=2.52e-9 N=1.752 RS=0.568)
.model lamp D(IS=6.38e-16 N=1.4863 RS=2.345)
.model zener D(IS=2.52e-9 N=1.752 RS=0.568 BV=5.1 IBV=5m NBV=1.752)
.options temp=25 tnom=25 reltol=1e-5 abstol=1e-12 vntol=1e-7
"""
"""Of 1N4007, 1N4148 and the LED of the 817 class: the laws of the project's tables. The zener has
5.1 V at 5 mA, as small ones are specified (common practice, no source)."""
SETTLE_CYCLES, STEP_S = 30, 4e-6
LIGHT_A = 0.3e-3
"""LED current at which an edge of the light is looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """A board's lines, and the same mains side as a deck; the LED's current is that of `Vled`."""

    lines: tuple[str, ...]
    deck: str
    optocoupler: str = "817B"
    mains: str = "230 V 50 Hz"

    @property
    def rms_v(self) -> float:
        return float(self.mains.split()[0])

    @property
    def hertz(self) -> float:
        return float(self.mains.split()[2])


CIRCUITS = {
    "series capacitor, charge let back by a diode": Circuit(
        lines=(
            "feed - C1 22n - R1 1k - x", "x - D1 1N4007 < - neutral", "x - R2 1k - led+",
            "led- - neutral",
        ),
        deck="C1 line a 22n\nR1 a x 1k\nD1 0 x rect\nR2 x k 1k\nDled k m lamp\nVled m 0 0",
    ),
    "series capacitor before two LEDs": Circuit(
        lines=("feed - R1 1k - C1 15n - led+", "led+ - R2 10k - led-", "led- - neutral"),
        deck=(
            "R1 line a 1k\nC1 a k 15n\nR2 k 0 10k\nDled k m lamp\nVled m 0 0\nDled2 0 k lamp"
        ),
        optocoupler="814A", mains="240 V 60 Hz",
    ),
    "series capacitor before a bridge": Circuit(
        lines=(
            "feed - C1 33n - R1 470 - BR1~1", "BR1~2 - neutral", "BR1 M7", "BR1+ - led+",
            "BR1- - led-", "led+ - R2 2k2 - led-",
        ),
        deck=(
            "C1 line a 33n\nR1 a b 470\nDa b p rect\nDb 0 p rect\nDc q b rect\nDd q 0 rect\n"
            "R2 p q 2200\nDled p m lamp\nVled m q 0"
        ),
        mains="120 V 60 Hz",
    ),
    "chain in both legs without a bridge": Circuit(
        lines=(
            "feed - R1 47k - R2 47k - led+", "led- - R3 47k - R4 47k - neutral",
            "led+ - D1 1N4148 < - led-",
        ),
        deck=(
            "R1 line a 47k\nR2 a k 47k\nR3 q b 47k\nR4 b 0 47k\nD1 q k small\nDled k m lamp\n"
            "Vled m q 0"
        ),
    ),
    "clamp by a zener": Circuit(
        lines=(
            "feed - R1 33k - R2 33k - x", "x - ZD1 BZX55C5V1 < - neutral", "x - R3 1k - led+",
            "led- - neutral",
        ),
        deck=(
            "R1 line a 33k\nR2 a x 33k\nDz 0 x zener\nR3 x k 1k\nDled k m lamp\nVled m 0 0"
        ),
    ),
    "two optocouplers back to back": Circuit(
        lines=(
            "feed - R1 56k - R2 47k - led+", "led- - neutral", "led2+ - neutral", "led2- - led+",
        ),
        deck="R1 line a 56k\nR2 a k 47k\nDled k m lamp\nVled m 0 0\nDled2 0 k lamp",
    ),
    "two strings with a rectifier each": Circuit(
        lines=(
            "feed - R1 150k - R2 150k - D1 1N4007 > - led+", "feed - R3 220k - D2 1N4007 > - led+",
            "led+ - R4 4k7 - led-", "led- - neutral",
        ),
        deck=(
            "R1 line a 150k\nR2 a b 150k\nD1 b k rect\nR3 line c 220k\nD2 c k rect\nR4 k 0 4700\n"
            "Dled k m lamp\nVled m 0 0"
        ),
        mains="220 V 50 Hz",
    ),
    "rectifier, smoothing capacitor, resistor": Circuit(
        lines=(
            "feed - R1 47k - R2 47k - D1 1N4007 > - x", "x - C1 10n - neutral",
            "x - R3 10k - led+", "led- - neutral",
        ),
        deck=(
            "R1 line a 47k\nR2 a b 47k\nD1 b x rect\nC1 x 0 10n\nR3 x k 10k\nDled k m lamp\n"
            "Vled m 0 0"
        ),
    ),
    "divider, then a rectifier": Circuit(
        lines=(
            "feed - R1 68k - x", "x - R2 33k - neutral", "x - D1 1N4007 > - R3 10k - led+",
            "led- - neutral",
        ),
        deck="R1 line x 68k\nR2 x 0 33k\nD1 x b rect\nR3 b k 10k\nDled k m lamp\nVled m 0 0",
        mains="127 V 60 Hz",
    ),
    "rectifier in the neutral leg, LED fed from neutral": Circuit(
        lines=(
            "neutral - R1 33k - led+", "led- - D1 1N4007 > - R2 39k - feed",
            "led+ - C1 10n - led-", "led+ - R3 22k - led-",
        ),
        deck=(
            "R1 0 k 33k\nDled k m lamp\nVled m q 0\nD1 q b rect\nR2 b line 39k\nC1 k q 10n\n"
            "R3 k q 22k"
        ),
        mains="100 V 50 Hz",
    ),
    "two diodes in series, chain between them": Circuit(
        lines=(
            "feed - D1 1N4007 > - R1 82k - D2 1N4007 > - R2 68k - led+", "led- - neutral",
            "led+ - C1 4n7 - led-", "led+ - D3 1N4148 < - led-",
        ),
        deck=(
            "D1 line a rect\nR1 a b 82k\nD2 b c rect\nR2 c k 68k\nC1 k 0 4.7n\nD3 0 k small\n"
            "Dled k m lamp\nVled m 0 0"
        ),
        mains="264 V 50 Hz",
    ),
}  # fmt: skip


def waves(circuit: Circuit, names: set[str]) -> dict[str, NDArray[np.float64]]:
    """The last period of a deck on an even grid: time from 0, nodes and the LED's current."""
    period, points = 1.0 / circuit.hertz, 5000
    stop = SETTLE_CYCLES * period
    text = (
        f"by hand\nVmains line 0 SIN(0 {2.0**0.5 * circuit.rms_v!r} {circuit.hertz!r})\n"
        f"{circuit.deck}\n{MODELS}.tran {STEP_S!r} {stop!r} {stop - 1.2 * period!r} {STEP_S!r}\n"
        ".end\n"
    )
    vectors = Either().run(text, stop)
    time = stop - period + np.arange(points) * (period / points)
    found = {name: np.interp(time, vectors["time"], vectors[name]) for name in names if name != "0"}
    return {**found, "0": np.zeros(points), "phase": 2.0 * np.pi * np.arange(points) / points}


def resistors(deck: str) -> dict[str, tuple[str, str, float]]:
    """Nodes and resistance of each resistor of a deck."""
    scale = {"k": 1e3}
    found = {}
    for line in deck.splitlines():
        if line[0] == "R":
            ref, a, b, value = line.split()
            ohm = value if value.isdecimal() else value.replace("k", ".")
            found[ref] = a, b, float(ohm) * scale.get("k" if "k" in value else "", 1.0)
    return found


def crossing_rad(phase: NDArray[np.float64], wave: NDArray[np.float64]) -> NDArray[np.float64]:
    """Where the light begins and ends."""
    next_phase = np.append(phase[1:], 2.0 * np.pi)
    rest, after = wave - LIGHT_A, np.roll(wave, -1) - LIGHT_A
    at = np.flatnonzero(rest * after < 0.0)
    share = rest[at] / (rest[at] - after[at])
    return np.asarray(phase[at] + share * (next_phase - phase)[at])


@pytest.mark.parametrize("name", some(CIRCUITS, *list(CIRCUITS)[::2]))
def test_against_a_deck_by_hand(name: str) -> None:
    """LED current and its edges, power of each resistor."""
    circuit = CIRCUITS[name]
    nodes = {node for a, b, _ in resistors(circuit.deck).values() for node in (a, b)}
    spice = waves(circuit, nodes | {"vled#branch"})
    board = board_from_dict(
        {
            "mains": circuit.mains, "optocoupler": circuit.optocoupler,
            "output": {"pull_up": "10k", "supply": "5 V"}, "circuit": list(circuit.lines),
        }
    )  # fmt: skip
    solution = solve(build_circuit(board))
    led = solution.currents_a["OC1.led"]
    theirs = spice["vled#branch"]
    assert solution.peak(led)[0] == pytest.approx(theirs.max(), rel=5e-3, abs=1e-6)
    assert solution.mean(led)[0] == pytest.approx(theirs.mean(), rel=5e-3, abs=1e-6)
    for ref, (a, b, ohm) in resistors(circuit.deck).items():
        power_w = np.mean((spice[a] - spice[b]) ** 2) / ohm
        element = solution.circuit[ref]
        assert isinstance(element, Resistance)
        assert element.resistance_ohm == ohm
        assert solution.power_w(element)[0] == pytest.approx(power_w, rel=5e-3, abs=1e-6), ref
    ours_rad = crossing_rad(solution.phase_rad[0], led[0])
    theirs_rad = crossing_rad(spice["phase"], theirs)
    assert ours_rad.size == theirs_rad.size >= 2
    tolerance = 10e-6 * 2.0 * np.pi * circuit.hertz
    np.testing.assert_allclose(ours_rad, theirs_rad, atol=tolerance)


@pytest.mark.parametrize("name", CIRCUITS)
def test_against_the_deck_of_the_project(name: str) -> None:
    """All that the battery compares: pulses, pin, readings of the mains side too."""
    circuit = CIRCUITS[name]
    board = board_from_dict(
        {
            "mains": circuit.mains, "optocoupler": circuit.optocoupler,
            "output": {"pull_up": "10k", "supply": "5 V"}, "circuit": list(circuit.lines),
        }
    )  # fmt: skip
    ask = board, build_circuit(board), usual_meter(), ()
    ours = answer(*ask, Engine())
    spice = answer(
        *ask, Spice(level=Level.EQUATIONS), steady_state_only=bool(ours.solution.settled[0])
    )
    assert [line.name for line in lines_of(ours, spice) if not line.agrees] == []
