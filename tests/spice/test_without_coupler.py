"""Boards whose chain leads into the controller's pin, against application notes and ngspice.

The decks are written by hand here: parts, nodes and models are those on the board. The pin's own
diodes have the law of a 1N4148, of which Microchip's AVR182 says 0.5 V, and the pin the 5 pF of
Microchip's AN521. The limits are those of the battery of boards: 0.5 % in current and power, 10 us
in an edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

import zcd
from tests.sampled import some
from zcd.board.files import board_from_dict
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import PIN_INPUT, Circuit, Resistance
from zcd.diagnosis.faults import with_fault
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.readings import Measured, Reading
from zcd.engine.solve import solve
from zcd.spice.compare import Engine, answer, lines_of, reading_value
from zcd.spice.netlist import Level
from zcd.spice.simulator import Either
from zcd.spice.solve import Spice
from zcd.sync.lock import judge

MODELS = """\
.model clamp D(IS=2.52e-9 N=1.752 RS=0.568)
.options temp=25 tnom=25 reltol=1e-5 abstol=1e-13 vntol=1e-7
"""
SETTLE_CYCLES, STEP_S = 30, 2e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Direct:
    """A board's lines, and the same as a deck: node `pin` against node `com`."""

    lines: tuple[str, ...]
    deck: str
    mains: str = "230 V 50 Hz"
    supply: str = "5 V"

    @property
    def board(self) -> Board:
        return board_from_dict(
            {
                "mains": self.mains, "optocoupler": "none", "circuit": list(self.lines),
                "output": {"supply": self.supply},
            }
        )  # fmt: skip


PIN = "Dhigh pin vcc clamp\nDlow com pin clamp\nCpin pin com 5p\nVcc vcc com {}\n"
CIRCUITS = {
    "two resistors, 0 V is neutral": Direct(
        lines=("feed - R1 1M - R2 1M - pin", "neutral - logic0"),
        deck=PIN.format(5.0) + "Vtie com 0 0\nR1 line a 1e6\nR2 a pin 1e6",
    ),
    "0 V is the line": Direct(
        lines=("neutral - R1 1M - R2 1M - pin", "line - logic0"),
        deck=PIN.format(5.0) + "Vtie com line 0\nR1 0 a 1e6\nR2 a pin 1e6",
        mains="120 V 60 Hz",
    ),
    "supply is the line, pull-down": Direct(
        lines=("neutral - R1 680k - R2 680k - pin", "line - logic+", "pin - R3 4M7 - logic0"),
        deck=PIN.format(3.3) + "Vtie vcc line 0\nR1 0 a 680e3\nR2 a pin 680e3\nR3 pin com 4.7e6",
        supply="3.3 V",
    ),
    "divider with a filter and diodes of its own": Direct(
        lines=(
            "feed - R1 470k - R2 470k - x", "x - C1 1n - logic0", "x - R3 47k - pin",
            "pin - D1 1N4148 > - logic+", "pin - D2 1N4148 < - logic0", "neutral - logic0",
        ),
        deck=PIN.format(5.0) + "Vtie com 0 0\nR1 line a 470e3\nR2 a x 470e3\nC1 x com 1n\n"
        "R3 x pin 47e3\nD1 pin vcc clamp\nD2 com pin clamp",
    ),
}  # fmt: skip


def last_period(direct: Direct, names: set[str]) -> dict[str, NDArray[np.float64]]:
    """The last period of a deck on an even grid, from the rising crossing."""
    rms_v, hertz = (float(direct.mains.split()[k]) for k in (0, 2))
    period, points = 1.0 / hertz, 20_000
    stop = SETTLE_CYCLES * period
    text = (
        f"by hand\nVmains line 0 SIN(0 {2.0**0.5 * rms_v!r} {hertz!r})\n{direct.deck}\n{MODELS}"
        f".tran {STEP_S!r} {stop!r} {stop - 1.2 * period!r} {STEP_S!r}\n.end\n"
    )
    vectors = Either().run(text, stop)
    time = stop - period + np.arange(points) * (period / points)
    return {
        "0": np.zeros(points), "time": np.arange(points) * (period / points),
        **{name: np.interp(time, vectors["time"], vectors[name]) for name in names - {"0"}},
    }  # fmt: skip


def passes_s(time: NDArray[np.float64], wave: NDArray[np.float64], level: float, up: bool) -> float:
    """Where a wave passes a level the given way."""
    ahead = np.roll(wave, -1)
    at = (wave < level) & (ahead >= level) if up else (wave > level) & (ahead <= level)
    (k,) = np.flatnonzero(at)
    step = time[1] - time[0]
    return float(time[k] + step * (level - wave[k]) / (ahead[k] - wave[k]))


@pytest.mark.parametrize("name", some(CIRCUITS, *list(CIRCUITS)[::2]))
def test_against_a_deck_by_hand(name: str) -> None:
    """Edges at the pin, its extremes, and the power of each resistor."""
    direct, board = CIRCUITS[name], CIRCUITS[name].board
    ends = {
        words[0]: (words[1], words[2], float(words[3]))
        for words in map(str.split, direct.deck.splitlines())
        if words[0][0] == "R"
    }
    nodes = {node for a, b, _ in ends.values() for node in (a, b)}
    theirs = last_period(direct, {*nodes, "pin", "com"})
    solution = solve(build_circuit(board))
    pulses = judge(solution, board).pulses
    pin_v = theirs["pin"] - theirs["com"]
    low, high = board.controller.low_threshold_v, board.controller.high_threshold_v
    fall_s = passes_s(theirs["time"], pin_v, low, up=False)
    rise_s = passes_s(theirs["time"], pin_v, high, up=True)
    period_s = 1.0 / board.mains.frequency_hz
    assert pulses.count[0] == 1
    for ours, expected in ((pulses.fall_s[0, 0], fall_s), (pulses.rise_s[0, 0], rise_s)):
        apart_s = (ours - expected + period_s / 2.0) % period_s - period_s / 2.0
        assert abs(apart_s) < 10e-6, name
    assert_allclose(
        [solution.pin_v.min(), solution.pin_v.max()], [pin_v.min(), pin_v.max()], atol=5e-3
    )
    for ref, (a, b, ohm) in ends.items():
        element = solution.circuit[ref]
        assert isinstance(element, Resistance)
        assert element.resistance_ohm == pytest.approx(ohm)
        power_w = float(np.mean((theirs[a] - theirs[b]) ** 2)) / ohm
        assert solution.power_w(element)[0] == pytest.approx(power_w, rel=5e-3, abs=1e-6), ref


@pytest.mark.parametrize("name", CIRCUITS)
def test_against_the_deck_of_the_project(name: str) -> None:
    """All that the battery compares: pin, currents, powers."""
    board = CIRCUITS[name].board
    ask = board, build_circuit(board), usual_meter(), ()
    lines = lines_of(answer(*ask, Engine()), answer(*ask, Spice(level=Level.EQUATIONS)))
    assert [line.name for line in lines if not line.agrees] == []


# ------------------------------------------------------------------ published circuits

NOTE = Direct(
    lines=("feed - R1 5M - pin", "neutral - logic0"), deck="", mains="115 V 60 Hz"
).board.with_(low_threshold="1.9 V", high_threshold="2 V")
"""Figure 2 of AN521: one resistor of 5 Mohm from 115 V, 60 Hz, to a pin that switches at 2 V."""


@pytest.mark.published("AN521", where="5 Mohm on 115 V: 32 uA", atol=1e-6, why="two figures")
def test_current_into_the_pin(published: SimpleNamespace) -> None:
    """Into it and out of it; far below the 500 uA that the note allows continuously."""
    peaks_a = [wave.max() for wave in solve(build_circuit(NOTE)).currents_a.values()]
    for peak_a in sorted(peaks_a)[-2:]:
        assert_allclose(peak_a, 32e-6, rtol=0.0, atol=published.atol)
    (rule,) = (rule for rule in zcd.check(NOTE).rules if rule.name == "pin current")
    assert (rule.limit, rule.status) == (500e-6, "pass")


@pytest.mark.published("AN521", where="0 to 2 V in 32 us", atol=1e-6, why="two figures")
def test_edge_is_late_by_the_threshold(published: SimpleNamespace) -> None:
    """Without the capacitance of the pin, of which the note speaks apart."""
    solution = solve(build_circuit(NOTE).without(PIN_INPUT))
    late_s = judge(solution, NOTE).pulses.rise_offset_s[0, 0]
    assert_allclose(late_s, 32e-6, rtol=0.0, atol=published.atol)


@pytest.mark.published("AN521", where="5 pF, t = RC", atol=3e-6, why="a lag on a slope, nearly RC")
def test_capacitance_of_the_pin_makes_it_later(published: SimpleNamespace) -> None:
    """By R C, which is why the note wants 6 Mohm or less."""
    late_s = [
        judge(solve(circuit), NOTE).pulses.rise_offset_s[0, 0]
        for circuit in (build_circuit(NOTE).without(PIN_INPUT), build_circuit(NOTE))
    ]
    assert_allclose(late_s[1] - late_s[0], 5e6 * 5e-12, rtol=0.0, atol=published.atol)


@pytest.mark.published("AVR182", where="hardware: VCC + 0.5 V, GND - 0.5 V", atol=0.05, why="0.5")
def test_clamped_pin_of_the_other_note(published: SimpleNamespace) -> None:
    """1 Mohm from the mains: within 0.5 V of the rails; rising late, falling early, a little."""
    board = Direct(lines=("feed - R1 1M - pin", "neutral - logic0"), deck="").board
    solution = solve(build_circuit(board))
    assert_allclose(
        [solution.pin_v.min(), solution.pin_v.max()], [-0.5, 5.5], rtol=0.0, atol=published.atol
    )
    half_way = board.with_(low_threshold="2.4 V", high_threshold="2.6 V")
    pulses = judge(solve(build_circuit(half_way)), half_way).pulses
    assert 0.0 < pulses.rise_offset_s[0, 0] < 50e-6
    assert -50e-6 < pulses.fall_offset_s[0, 0] < 0.0


# ------------------------------------------------------------------ faults, as ngspice reads them

FOUND = {
    "R1 open": "R1", "R2 drift": "R2", "R2 short": "R2 short", "pin stuck low": "pin leaky",
    "pin stuck high": "pin leaky to supply",
}  # fmt: skip
"""A fault, and what its repair is called."""


@pytest.mark.parametrize("key", FOUND)
def test_readings_of_the_simulator_lead_to_the_fault(key: str) -> None:
    """The readings asked for, one after another, each as ngspice has it with the meter on it."""
    board = CIRCUITS["two resistors, 0 V is neutral"].board
    _, faulty = with_fault(build_circuit(board), key, 0.5)
    case = zcd.diagnose(board, flags=["sync"])
    for _ in range(10):
        suggestion = case.diagnosis.suggestion
        if suggestion is None:
            break
        shown = _read(faulty, board, suggestion.reading)
        case = case.add(Measured(reading=suggestion.reading, value=shown))
    first = case.diagnosis.ranked[0].fault
    assert first is not None
    assert first.repair == FOUND[key]


def _read(circuit: Circuit, board: Board, reading: Reading) -> float:
    return reading_value(circuit, reading, board, usual_meter(), Level.EQUATIONS)


def test_a_dead_board_whose_supply_only_a_transistor_names() -> None:
    """The diode test at the base solves the board without its supply: no node of it is left."""
    board = zcd.loads("""
    mains = "120 V 60 Hz"
    optocoupler = "none"
    circuit = ["feed - R1 1.2M - R2 1.2M - Q1.b", "Q1 BC847B", "emitter - neutral",
               "base - R3 100k - emitter", "emitter - D1 1N4148 > - base"]
    chain = {style = "1/2 W"}
    output = {pull_up = "3.9k", supply = "5 V"}
    """)
    assert zcd.compare_spice(board).agrees
