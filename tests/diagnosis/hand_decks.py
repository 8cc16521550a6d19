"""Three invented boards as decks written by hand, with faults, read as a handheld meter reads.

Nothing of the decks comes from the tool but its runner of ngspice: parts, models and the meter are
written here. Models of diodes and LED are from memory, rounded; they are no oracle for a figure,
only a board that the tool has not seen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.diagnosis.functions import Function
from zcd.diagnosis.readings import Measured, Power, Reading
from zcd.spice.simulator import simulator

FloatArray = NDArray[np.float64]

OPEN_OHM = 500e6
SHORT_OHM = 2.0
CYCLES, KEPT_CYCLES = 14, 4
STEPS_A_CYCLE = 1000
AC_INPUT_OHM, DC_INPUT_OHM, LOW_Z_OHM = 10e6, 10e6, 3e3
OHM_RANGES = (600.0, 6e3, 60e3, 600e3, 6e6, 40e6)
OHM_OPEN_V, OHM_FULL_V = 2.6, 0.6
DIODE_OPEN_V, DIODE_SOURCE_OHM, DIODE_END_V = 2.9, 2.9e3, 2.0
COUNTED_PIN_V, COUNTED_V = 0.4, 2.0
ERROR_RATIO = 0.005
MODELS = """\
.model rect d(is=7n rs=0.03 n=1.8 bv=1200 cjo=10p)
.model small d(is=4n rs=0.6 n=1.9 bv=110 cjo=1p)
.model light d(is=5e-14 rs=3 n=1.8 bv=9)
.model turned d(is=1e-18 n=500)
.model silicon npn(is=1e-14 bf=300 br=5 vaf=60 cjc=15p cje=10p tf=1n)
"""
ISOLATED_SIDE = """\
rbase base logicm 1e9
qout pin base logicm silicon
rpull-up logicp pin {pullup}
rpin pin logicm {pin}
"""
ALONE = {
    "D1": ("dd1 ", "rd1x "),
    "OC1.led": ("dled ", "rledx ", "vled "),
    "OC1.led2": ("dled2 ", "vled2 "),
}
"""Elements of a part by itself, where that is more than one resistor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What is wrong with one board.

    Parameters
    ----------
    name : str
    parts : tuple of str
        How a true answer may begin.
    values : dict
        What is other than on the good board.
    """

    name: str
    parts: tuple[str, ...]
    values: Mapping[str, object]


@dataclass(frozen=True, kw_only=True)
class HandBoard:
    """A board as its owner writes it for the tool, and as a deck.

    Parameters
    ----------
    text : str
        Board file.
    good : dict
        Values of the deck.
    mains_side : str
        Elements between line and neutral, with the LED's current in ``vled``.
    trials : tuple of Trial
    """

    text: str
    good: Mapping[str, object]
    mains_side: str
    trials: tuple[Trial, ...]

    @cached_property
    def board(self) -> Board:
        """The same, read."""
        return parse_board(self.text)


@dataclass(kw_only=True)
class HandBench:
    """One of them on the bench, with a meter.

    Parameters
    ----------
    made : HandBoard
    trial : Trial
    seed : int
        Of the errors of the meter.
    """

    made: HandBoard
    trial: Trial
    seed: int
    shown: dict[Reading, Measured] = field(default_factory=dict)

    def take(self, reading: Reading) -> Measured | None:
        """What the meter shows; None where it takes a scope."""
        if reading.function.row.scope:
            return None
        if reading not in self.shown:
            self.shown[reading] = Measured(reading=reading, value=self._display(reading))
        return self.shown[reading]

    def _display(self, reading: Reading) -> float:
        """Three digits of what is there, and the meter's error."""
        exact = self._exact(reading)
        if not np.isfinite(exact):
            return float("inf")
        rng = np.random.default_rng([self.seed, len(self.shown)])
        shown = exact * (1.0 + ERROR_RATIO * rng.standard_normal())
        return float(f"{shown:.3g}")

    def _exact(self, reading: Reading) -> float:
        match reading.function:
            case Function.OHM:
                return self._ohms(reading)
            case Function.DIODE:
                volts = self._dead(reading, DIODE_OPEN_V, DIODE_SOURCE_OHM)
                return volts if volts < DIODE_END_V else float("inf")
            case Function.DC:
                wave, _ = self._wave(reading, DC_INPUT_OHM)
                return float(wave.mean())
            case Function.AC:
                wave, _ = self._wave(reading, AC_INPUT_OHM)
                return float(wave.std())
            case Function.LOW_Z:
                wave, _ = self._wave(reading, LOW_Z_OHM)
                return float(np.sqrt(np.mean(wave**2)))
            case _:
                return self._counted(reading)

    def _counted(self, reading: Reading) -> float:
        """Pulses a second, or the share of time that the pin is low."""
        wave, span_s = self._wave(reading, AC_INPUT_OHM)
        moved = wave - wave.mean()
        least = COUNTED_PIN_V if reading.red == "pin" else COUNTED_V
        if moved.std() < least:
            return 0.0
        if reading.function is Function.DUTY:
            return float(np.mean(moved < 0.0) if reading.red == "pin" else np.mean(moved > 0.0))
        return float(np.sum((moved[:-1] <= 0.0) & (moved[1:] > 0.0)) / span_s)

    def _ohms(self, reading: Reading) -> float:
        for full in OHM_RANGES:
            source = full * (OHM_OPEN_V / OHM_FULL_V - 1.0)
            volts = self._dead(reading, OHM_OPEN_V, source)
            ohms = source * volts / max(OHM_OPEN_V - volts, 1e-9)
            if ohms <= full:
                return float(ohms)
        return float("inf")

    def _dead(self, reading: Reading, open_v: float, source_ohm: float) -> float:
        """Volts at the probes of a source on the board, or on one part of it."""
        a, b = _node(reading.red), _node(reading.black)
        lines = self._lines(Power.DEAD)
        if reading.lifted:
            names = ALONE.get(reading.lifted, (f"r{reading.lifted.lower()} ",))
            lines = "".join(f"{x}\n" for x in lines.splitlines() if x.startswith(names))
        deck = (
            f"dead\n{lines}{MODELS}vm vm {b} {open_v}\nrm vm {a} {source_ohm}\n"
            f"rg {b} 0 1e9\nrh {a} 0 1e12\n.op\n.end\n"
        )
        shown = simulator().run(deck, None)
        return float(_of(shown, a)[-1] - _of(shown, b)[-1])

    def _wave(self, reading: Reading, meter_ohm: float) -> tuple[FloatArray, float]:
        """Voltage between the probes over some periods, evenly in time, and how long that is."""
        a, b = _node(reading.red), _node(reading.black)
        hertz = float(str(self._values["hertz"]))
        stop_s, span_s = CYCLES / hertz, KEPT_CYCLES / hertz
        step_s = 1.0 / hertz / STEPS_A_CYCLE
        deck = (
            f"under power\n{self._lines(reading.power)}{MODELS}rm {a} {b} {meter_ohm}\n"
            f".options reltol=1e-4 gmin=1e-11\n.tran {step_s} {stop_s} 0 {step_s}\n.end\n"
        )
        shown = simulator().run(deck, stop_s)
        time = np.linspace(stop_s - span_s, stop_s, KEPT_CYCLES * STEPS_A_CYCLE, endpoint=False)
        wave = np.interp(time, _of(shown, "time"), _of(shown, a) - _of(shown, b))
        return wave, span_s

    @property
    def _values(self) -> dict[str, object]:
        result = {**self.made.good, **self.trial.values}
        return {**result, "gain": float(str(result["ctr"])) / 300.0}

    def _lines(self, power: Power) -> str:
        """The board in one state: sources, relay, mains side, isolated side."""
        v = self._values
        plugged = power in (Power.LIVE, Power.OFF)
        mains, driven = plugged and bool(v["mains_ok"]), power is Power.LIVE
        lines = ["rgnd neutral 0 1e6", "rlog logicm 0 1m", f"rrail logicp logicm {v['rail']}"]
        if mains:
            peak_v = float(str(v["volts"])) * 2.0**0.5
            lines.append(f"vmains line neutral sin(0 {peak_v} {v['hertz']})")
        elif plugged:
            lines.append("rmains line neutral 1m")
        if power is not Power.DEAD:
            volts = v["supply"] if mains else 0.0 if plugged else v["good_supply"]
            lines.append(f"vdd logicp logicm {volts}")
        if "coil" in v:
            closed = mains and driven and v["closes"]
            lines += [
                f"rcontact line feed {v['contact'] if closed else 1e9}",
                f"rcoil coilp coilm {v['coil']}", "rnear coilp logicm 1e8",
            ]  # fmt: skip
            if plugged:
                lines.append(f"vcoil coilp logicm {v['coil_v'] if mains else 0.0}")
                lines.append(f"rdriver coilm logicm {v['driver'] if mains and driven else 1e9}")
        return "\n".join(lines) + "\n" + (self.made.mains_side + ISOLATED_SIDE).format(**v)


def _node(name: str) -> str:
    return name.replace("+", "p").replace("-", "m").replace(".", "_").replace("logic0", "logicm")


def _of(shown: Mapping[str, FloatArray], name: str) -> FloatArray:
    """A voltage, or the time."""
    if name == "time":
        return shown["time"]
    return shown.get(name, shown.get(f"v({name})", np.zeros(1)))


def _trial(name: str, *parts: str, **values: object) -> Trial:
    return Trial(name=name, parts=parts or (name.partition(" ")[0],), values=values)


COMMON: dict[str, object] = {"mains_ok": True, "rail": 4.7e3, "pin": 50e6, "ledleak": 1e9}

TUMBLER = HandBoard(
    text="""\
name = "Invented seed tumbler"
mains = "120 V 60 Hz"
feed = {kind = "switched", coil_supply = "12 V", coil_resistance = "330"}
rectifier = "1N4007"
optocoupler = "817B"
chain = {resistors = ["36k", "51k"], style = "1 W"}
output = {pull_up = "36k", supply = "5 V"}
""",
    good={
        **COMMON, "volts": 121.5, "hertz": 60, "contact": 0.05, "closes": True, "coil": 341,
        "coil_v": 12.6, "driver": 4.0, "r1": 36.4e3, "r2": 50.6e3, "d1": "rect", "d1leak": 2e9,
        "anode": "chain_2", "cathode": "ledp", "led": "light", "ctr": 1.7, "pullup": 35.7e3,
        "supply": 5.03, "good_supply": 5.0,
    },
    mains_side="""\
rr1 feed chain_1 {r1}
rr2 chain_1 chain_2 {r2}
dd1 {anode} {cathode} {d1}
rd1x chain_2 ledp {d1leak}
dled ledp ledx {led}
rledx ledp ledx {ledleak}
vled ledx neutral 0
fled logicm base vled {gain}
""",
    trials=(
        _trial("R1 open", r1=OPEN_OHM),
        _trial("R2 open, barely", "R2", r2=30e6),
        _trial("R1 high", r1=410e3),
        _trial("R2 a tenth", r2=5.1e3),
        _trial("D1 open", d1="turned"),
        _trial("D1 short", d1leak=0.5),
        _trial("D1 reversed", anode="ledp", cathode="chain_2"),
        _trial("OC1 LED open", "OC1 LED", led="turned"),
        _trial("OC1 LED short", "OC1 LED", ledleak=SHORT_OHM),
        _trial("OC1 aged", ctr=0.12),
        _trial("OC1 transistor open", "OC1", ctr=0.0),
        _trial("OC1 transistor short", "OC1 transistor", "pin", pin=SHORT_OHM),
        _trial("K1 contact open", "K1 contact", closes=False),
        _trial("K1 coil open", "K1 co", coil=OPEN_OHM, closes=False),
        _trial("K1 driver open", "K1 driver", driver=OPEN_OHM, closes=False),
        _trial("coil supply missing", "coil supply", coil_v=0.0, closes=False),
        _trial("pull-up open", pullup=OPEN_OHM),
        _trial("supply missing", supply=0.0),
    ),
)  # fmt: skip

DRYER = HandBoard(
    text="""\
name = "Invented herb dryer"
mains = "230 V 50 Hz"
feed = "direct"
clamp = "1N4148"
optocoupler = "817C"
chain = {resistors = ["56k", "56k", "56k"], style = "1206", topology = "clamped"}
output = {pull_up = "62k", supply = "3.3 V"}
""",
    good={
        **COMMON, "volts": 226.0, "hertz": 50, "r1": 56.3e3, "r2": 55.2e3, "r3": 56.1e3,
        "d1": "small", "d1leak": 2e9, "anode": "neutral", "cathode": "ledp", "led": "light",
        "ctr": 2.6, "pullup": 61.2e3, "supply": 3.31, "good_supply": 3.3,
    },
    mains_side="""\
rr1 line chain_1 {r1}
rr2 chain_1 chain_2 {r2}
rr3 chain_2 ledp {r3}
dd1 {anode} {cathode} {d1}
rd1x neutral ledp {d1leak}
dled ledp ledx {led}
rledx ledp ledx {ledleak}
vled ledx neutral 0
fled logicm base vled {gain}
""",
    trials=(
        _trial("R2 open", r2=OPEN_OHM),
        _trial("R3 high", r3=290e3),
        _trial("D1 short", "D1", "OC1 LED", d1leak=SHORT_OHM),
        _trial("D1 open", d1="turned"),
        _trial("D1 reversed", anode="ledp", cathode="neutral"),
        _trial("OC1 LED open", "OC1 LED", led="turned"),
        _trial("leak across the LED", "OC1 LED", "D1", ledleak=1.2e3),
        _trial("OC1 aged", ctr=0.1),
        _trial("leak at the pin", "pin", "OC1 transistor", pin=9e3),
        _trial("mains low", volts=150.0),
        _trial("pull-up a tenth", pullup=6.2e3),
    ),
)  # fmt: skip

SIEVE = HandBoard(
    text="""\
name = "Invented flour sieve"
mains = "230 V 50 Hz"
feed = {kind = "switched", coil_supply = "24 V", coil_resistance = "1k5"}
optocoupler = "814A"
chain = {resistors = ["43k", "47k"], style = "1 W", topology = "two-led"}
output = {pull_up = "7k5", supply = "5 V"}
""",
    good={
        **COMMON, "volts": 233.0, "hertz": 50, "contact": 0.05, "closes": True, "coil": 1.46e3,
        "coil_v": 24.8, "driver": 3.0, "r1": 42.7e3, "r2": 47.4e3, "led": "light",
        "led2": "light", "ctr": 1.0, "pullup": 7.58e3, "supply": 4.97, "good_supply": 5.0,
    },
    mains_side="""\
rr1 feed chain_1 {r1}
rr2 chain_1 ledp {r2}
dled ledp ledx {led}
vled ledx neutral 0
rledx ledp neutral {ledleak}
dled2 neutral ledy {led2}
vled2 ledy ledp 0
fled logicm base vled {gain}
fled2 logicm base vled2 {gain}
""",
    trials=(
        _trial("R1 open", r1=OPEN_OHM),
        _trial("R2 ten times", "R2", r2=470e3),
        _trial("one LED open", "OC1 LED", "OC1 second", led="turned"),
        _trial("both LEDs open", "OC1 LEDs", led="turned", led2="turned"),
        _trial("LED short", "OC1 LED", "OC1 second", ledleak=SHORT_OHM),
        _trial("transistor short", "OC1 transistor", "pin", pin=SHORT_OHM),
        _trial("K1 contact burnt", "K1 contact", contact=300e3),
        _trial("K1 contact open", "K1 contact", closes=False),
        _trial("mains missing", mains_ok=False),
        _trial("supply low", supply=3.1),
        _trial("OC1 aged", ctr=0.05),
    ),
)  # fmt: skip

BOARDS = (TUMBLER, DRYER, SIEVE)
