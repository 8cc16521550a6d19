"""A chain into the base of a transistor, against ngspice with published Gummel-Poon models.

The decks are written by hand: parts, nodes, and the models of 2N3904 and BC546A as simulators'
libraries quote them, with all their capacitances, knees and leakages, of which the board's law has
few. The board's gain is the model's own, at 5 V and where the pin crosses. The limits are those of
the battery of boards: 0.5 % in current and power, 10 us in an edge; 5 mV in a level.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.sampled import square
from zcd.board.files import board_from_dict
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Resistance
from zcd.diagnosis.faults import with_fault
from zcd.diagnosis.meter_model import ONE_BOARD, MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.reading_syntax import parse_place
from zcd.engine.solve import solve
from zcd.spice.compare import Engine, answer, lines_of
from zcd.spice.netlist import Level
from zcd.spice.simulator import Either
from zcd.spice.solve import Spice
from zcd.sync.lock import judge

MODELS = {
    "2N3904": "IS=6.734f XTI=3 EG=1.11 VAF=74.03 BF=416.4 NE=1.259 ISE=6.734f IKF=66.78m XTB=1.5 "
    "BR=.7371 NC=2 ISC=0 IKR=0 RC=1 CJC=3.638p MJC=.3085 VJC=.75 FC=.5 CJE=4.493p MJE=.2593 "
    "VJE=.75 TR=239.5n TF=301.2p ITF=.4 VTF=4 XTF=2 RB=10",
    "BC546A": "IS=7.049f XTI=3 EG=1.11 VAF=127.9 BF=253 ISE=96.26f NE=1.556 IKF=77.05m XTB=1.5 "
    "BR=1 ISC=130.8f NC=1.602 IKR=3.321 RC=.8766 CJC=5.25p MJC=.3147 VJC=.5697 FC=.5 CJE=11.5p "
    "MJE=.6715 VJE=.5 TR=10n TF=409.5p ITF=1.994 XTF=40.12 VTF=10",
}
PARTS = {"2N3904": "2N3904", "BC546A": "BC547"}
BREAKDOWN_V = 6.0
SETTLE_CYCLES, POINTS = 4, 40_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """Chain, what is from base to emitter, and the pull-up."""

    chain_ohm: float = 440e3
    base_ohm: float | None = 100e3
    clamped: bool = True
    base_f: float | None = None
    pull_up_ohm: float = 10e3
    supply_v: float = 5.0
    mains: tuple[float, float] = (230.0, 50.0)
    celsius: float = 25.0

    def board(self, model: str) -> Board:
        gain = gain_of(model, 0.7 * self.supply_v / self.pull_up_ohm, self.celsius)
        cold = gain / ((self.celsius + 273.15) / 298.15) ** 1.5
        half = f"{self.chain_ohm / 2.0:g}"
        lines = [f"feed - R1 {half} - R2 {half} - base", f"Q1 {PARTS[model]} hFE {cold:.0f}"]
        lines += ["neutral - emitter"]
        lines += [] if self.base_ohm is None else [f"base - R3 {self.base_ohm:g} - emitter"]
        lines += ["emitter - D1 1N4148 > - base"] * self.clamped
        lines += [] if self.base_f is None else [f"base - C1 {self.base_f * 1e9:g}n - emitter"]
        rms_v, hertz = self.mains
        return board_from_dict(
            {
                "mains": f"{rms_v:g} V {hertz:g} Hz", "circuit": lines,
                "output": {"pull_up": f"{self.pull_up_ohm:g}", "supply": f"{self.supply_v} V"},
                "service": {
                    "bench_temperature": f"{self.celsius:g} °C", "hot_temperature": "70 °C",
                },
            }
        )  # fmt: skip

    def deck(self, model: str) -> str:
        rms_v, hertz = self.mains
        lines = [
            f"V1 line 0 SIN(0 {2.0**0.5 * rms_v!r} {hertz!r})",
            f"R1 line j {self.chain_ohm / 2.0!r}", f"R2 j b {self.chain_ohm / 2.0!r}",
            "Vb b bb 0", "Q1 pin bb 0 law", "Dbreak bb 0 breaks",
            f"Rp vcc pin {self.pull_up_ohm!r}", f"Vcc vcc 0 {self.supply_v!r}",
            f".model law NPN({MODELS[model]})",
            f".model breaks D(IS=1e-30 BV={BREAKDOWN_V + 0.5!r} IBV=1m)",
            ".model small D(IS=2.52e-9 N=1.752 RS=0.568)",
            f".options temp={self.celsius} tnom=25 reltol=1e-5 abstol=1e-13 vntol=1e-7",
        ]  # fmt: skip
        lines += [] if self.base_ohm is None else [f"R3 b 0 {self.base_ohm!r}"]
        lines += ["D1 0 b small"] * self.clamped
        lines += [] if self.base_f is None else [f"C1 b 0 {self.base_f!r}"]
        return "\n".join(lines)


STAGES = {
    "no resistor at the base": Stage(base_ohm=None),
    "100 kohm at the base": Stage(),
    "10 kohm at the base": Stage(base_ohm=10e3),
    "4.7 kohm, no diode: it breaks down": Stage(
        chain_ohm=200e3, base_ohm=4.7e3, clamped=False, pull_up_ohm=4.7e3
    ),
    "large resistors, 3.3 V": Stage(chain_ohm=2e6, pull_up_ohm=47e3, supply_v=3.3),
    "120 V 60 Hz": Stage(mains=(120.0, 60.0)),
    "1 nF at the base": Stage(base_ohm=47e3, base_f=1e-9),
    "10 nF at the base": Stage(base_ohm=47e3, base_f=10e-9),
    "hot": Stage(celsius=60.0),
}


@cache
def gain_of(model: str, collector_a: float, celsius: float) -> float:
    """Gain of a published model at VCE = 5 V."""
    text = (
        f"gain\nI1 0 b PWL(0 0 1 {collector_a / 20.0!r})\nVc c 0 5\nQ1 c b 0 law\n"
        f".model law NPN({MODELS[model]})\n.options temp={celsius} tnom=25\n.tran 1m 1 0 1m\n.end\n"
    )
    vectors = Either().run(text, 1.0)
    base_a = np.maximum(vectors["time"], 1e-6) * collector_a / 20.0
    flows_a = -vectors["vc#branch"]
    return float(np.interp(collector_a, flows_a, flows_a / base_a))


def last_period(stage: Stage, model: str) -> dict[str, NDArray[np.float64]]:
    """The last period of a deck on an even grid, from the rising crossing."""
    period = 1.0 / stage.mains[1]
    stop = SETTLE_CYCLES * period
    text = f"by hand\n{stage.deck(model)}\n.tran 1u {stop!r} {stop - 1.2 * period!r} 1u\n.end\n"
    vectors = Either().run(text, stop)
    time = stop - period + np.arange(POINTS) * (period / POINTS)
    even = {name: np.interp(time, vectors["time"], wave) for name, wave in vectors.items()}
    return {**even, "0": np.zeros(POINTS), "time": time - time[0]}


def passes_s(waves: dict[str, NDArray[np.float64]], level: float, *, up: bool) -> float:
    """Where the pin passes a level the given way."""
    wave, ahead = waves["pin"], np.roll(waves["pin"], -1)
    at = (wave < level) & (ahead >= level) if up else (wave > level) & (ahead <= level)
    (k,) = np.flatnonzero(at)
    step_s = waves["time"][1] - waves["time"][0]
    return float(waves["time"][k] + step_s * (level - wave[k]) / (ahead[k] - wave[k]))


@pytest.mark.parametrize(("name", "model"), square(STAGES, MODELS))
def test_against_a_published_model(name: str, model: str) -> None:
    """Edges and levels at the pin, base current and voltage, power of each resistor."""
    stage = STAGES[name]
    board, theirs = stage.board(model), last_period(stage, model)
    solution = solve(build_circuit(board))
    pulses, period_s = judge(solution, board).pulses, 1.0 / stage.mains[1]
    low, high = board.controller.low_threshold_v, board.controller.high_threshold_v
    for ours, level, up in (
        (pulses.fall_s[0, 0], low, False),
        (pulses.rise_s[0, 0], high, True),
    ):
        apart_s = ours - passes_s(theirs, level, up=up)
        assert abs((apart_s + period_s / 2.0) % period_s - period_s / 2.0) < 10e-6, (name, level)
    assert_allclose(
        [solution.pin_v.min(), solution.pin_v.max()],
        [theirs["pin"].min(), theirs["pin"].max()], rtol=0.0, atol=5e-3,
    )  # fmt: skip
    base_a = solution.currents_a["Q1.be"]
    assert_allclose(base_a.max(), theirs["vb#branch"].max(), rtol=5e-3)
    if stage.clamped:
        base_v = solution.mean(solution.between_v("base", "logic0"))[0]
        assert_allclose(base_v, theirs["b"].mean(), rtol=0.0, atol=5e-3)
    for ref, a, b in (("R1", "line", "j"), ("R2", "j", "b")):
        element = solution.circuit[ref]
        assert isinstance(element, Resistance)
        power_w = float(np.mean((theirs[a] - theirs[b]) ** 2)) / float(element.resistance_ohm)
        assert solution.power_w(element)[0] == pytest.approx(power_w, rel=5e-3)


SWITCHED = {
    "mains": "120 V 60 Hz",
    "feed": {"kind": "switched", "coil_supply": "12 V"},
    "circuit": [
        "feed - R1 220k - R2 220k - Q3.b", "base - R4 47k - emitter", "base - C1 1n - emitter",
        "Q3 C1815 GR", "neutral - logic0",
    ],
    "output": {"pull_up": "22k", "supply": "3.3 V", "pin_capacitor": "100 pF"},
}  # fmt: skip


@pytest.mark.parametrize("fault", ["", "Q3 low gain", "Q3 base-emitter leaky", "R2 drift"])
def test_against_the_deck_of_the_project(fault: str) -> None:
    """All that the battery compares, and what a meter reads; the deck has a transistor of SPICE's,
    with a capacitance between collector and base."""
    board = board_from_dict(SWITCHED)
    circuit = build_circuit(board)
    readings = [parse_place(text, circuit) for text in ("dc pin", "dc base emitter", "ac R2")]
    if fault:
        _, circuit = with_fault(circuit, fault, 0.5)
    ask = board, circuit, usual_meter(), readings
    lines = lines_of(answer(*ask, Engine()), answer(*ask, Spice(level=Level.EQUATIONS)))
    assert [(x.name, x.ours, x.equations) for x in lines if not x.agrees] == []


def random_board(rng: np.random.Generator) -> Board:
    """Chain, base, collector and pin as such boards may have them."""

    def between(low: float, high: float) -> str:
        return f"{np.exp(rng.uniform(np.log(low), np.log(high))):.3g}"

    count = int(rng.integers(1, 4))
    each = f"{float(between(2e5, 2e6)) / count:.3g}"
    chain = " - ".join(f"R{k} {each}" for k in range(1, count + 1))
    part = rng.choice(["BC547B", "BC847", "2N3904", "C1815 Y", "NPN"])
    lines = [f"feed - {chain} - base", "emitter - neutral", f"Q1 {part}"]
    lines += [f"base - R8 {between(4.7e3, 220e3)} - emitter"] * (rng.random() < 0.7)
    lines += ["emitter - D1 1N4148 > - base"] * (rng.random() < 0.7)
    lines += [f"base - C1 {between(0.1, 22.0)}n - emitter"] * (rng.random() < 0.3)
    output = {"pull_up": between(2.2e3, 47e3), "supply": str(rng.choice(["5 V", "3.3 V"]))}
    if rng.random() < 0.3:
        output["pin_capacitor"] = f"{between(0.1, 10.0)} nF"
    mains = str(rng.choice(["230 V 50 Hz", "120 V 60 Hz"]))
    return board_from_dict({"mains": mains, "circuit": lines, "output": output})


def differing(count: int) -> dict[str, float]:
    """Boards on which anything differs by more than the battery allows, and by how much."""
    rng, result = np.random.default_rng(5), {}
    for _ in range(count):
        board = random_board(rng)
        circuit = build_circuit(board)
        readings = [parse_place(text, circuit) for text in ("dc pin", "dc base emitter")]
        ask = board, circuit, usual_meter(), readings
        lines = lines_of(answer(*ask, Engine()), answer(*ask, Spice(level=Level.EQUATIONS)))
        off = [abs(x.ours - x.equations) for x in lines if not x.agrees]
        if off:
            assert board.description is not None
            result[str(board.description.written["circuit"])] = max(off)
    return result


def test_random_boards_are_within_the_limits_of_the_battery() -> None:
    assert differing(12) == {}


@pytest.mark.slow
def test_many_random_boards() -> None:
    """What is left: a rising edge 20 us early behind nanofarads at the pin without a diode at the
    base, which no law with a fixed capacitance at the collector has; a base that hardly turns on.
    """
    result = differing(100)
    assert len(result) <= 5, result
    assert max(result.values(), default=0.0) < 50e-6


def test_dead_junctions_read_as_a_transistor_does() -> None:
    """Between 0.6 and 0.7 V from base to emitter and to collector, the other way round nothing.

    Both from ngspice, 1 mA into the base of a 2N3904 with the third lead open; a diode test is
    somewhat less.
    """
    board = STAGES["100 kohm at the base"].board("2N3904")
    model = MeterModel(
        board=board, circuit=build_circuit(board), meter=usual_meter(), grids=ONE_BOARD
    )
    for text, nodes in (("base emitter", "c b 0"), ("base pin", "0 b e")):
        deck = (
            f"open\nI1 0 b 1m\nQ1 {nodes} law\nRc c 0 1e12\nRe e 0 1e12\n"
            f".model law NPN({MODELS['2N3904']})\n.options temp=25 tnom=25\n.op\n.end\n"
        )
        theirs_v = float(Either().run(deck, None)["b"][0])
        shown_v = model.read([parse_place(f"diode {text}", model.circuit)])[0, 0]
        assert shown_v == pytest.approx(theirs_v, abs=0.03), text
        back = " ".join(reversed(text.split()))
        assert model.read([parse_place(f"diode {back}", model.circuit)])[0, 0] > 0.4
