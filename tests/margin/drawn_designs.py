"""Board files drawn like designs: parts as boards have them, about half of which pass as built.

The current of the LED, the pull-up and the size of the resistors are drawn around what makes a
circuit work, as far to either side as repaired boards lie; one in ten has a value misread by a
decade. Own choices, no source: what counts is that both verdicts, every kind of circuit and every
option are there.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Any

import numpy as np

from zcd.board.preferred import decade
from zcd.board.units import format_si

MAINS = {"230 V 50 Hz": 230.0, "120 V 60 Hz": 120.0, "220-240V~ 50/60Hz": 230.0}
KINDS = {
    "half-wave": 'rectifier = "1N4007"',
    "clamped": 'clamp = "1N4148"',
    "half-wave-clamped": 'rectifier = "1N4007"\nclamp = "1N4148"',
    "bridge": 'rectifier = "MB6S"',
    "two-led": "",
    "series capacitor": "",
    "into the pin": "",
    "into a base": "",
}
COUPLERS = (
    *(f'"{name}"' for name in ("817 A", "817 B", "817 C", "817 D", "817", "4N35", "TLP785 GB")),
    '{family = "817", ctr = "110 %"}',
    '{ctr = "80..240 % at 5 mA", led_current = "50 mA"}',
    '{family = "817", grade = "C", remaining = "70 %"}',
)  # fmt: skip
TWO_LEDS = ('"814"', '"814 A"', '"H11AA1"', '"TLP620 GB"')
WATTS = {"1206": 0.25, "1/4 W": 0.25, "1/2 W": 0.5, "1 W": 1.0, "2 W": 2.0}
STATED = (
    'min_low_time = "500 us"', 'min_high_time = "1 ms"', 'max_transition = "1 ms"',
    'max_offset = "1 ms"', 'max_offset = "3 ms"', 'period_tolerance = "3 %"',
)  # fmt: skip
PINS = ('low_threshold = "20 %", high_threshold = "80 %"', 'input = "ATmega328P"')
SWITCHED = 'kind = "switched", coil_supply = "12 V", coil_resistance = "270"'
SUPPRESSOR = ', suppressor = {resistance = "100", capacitance = "47 nF"}'
MISREAD, SELDOM, OPTION = 0.1, 0.1, 0.15
"""How often a value is a decade off, a board is judged by all faces, an option is there."""


@dataclass(frozen=True)
class Design:
    """A board file, and whether the faces that take long are asked about it too."""

    text: str
    seldom: bool


def drawn_design(seed: int) -> Design:
    """The design of a seed, the same in every run."""
    draw = _Draw(np.random.default_rng(seed))
    return Design(text=draw.text(), seldom=draw.happens(SELDOM))


@dataclass
class _Draw:
    rng: np.random.Generator

    def happens(self, share: float = OPTION) -> bool:
        return bool(self.rng.random() < share)

    def one_of(self, choices: Any) -> Any:
        return choices[int(self.rng.integers(len(choices)))]

    def between(self, low: float, high: float) -> float:
        """Evenly in its logarithm."""
        return float(low * (high / low) ** self.rng.random())

    def ohms(self, wanted_ohm: float) -> str:
        """The nearest value of E12."""
        values = [factor * 10.0**power for power in range(1, 7) for factor in decade("E12")]
        return _written(min(values, key=lambda value: abs(np.log(value / wanted_ohm))))

    def text(self) -> str:
        mains, kind = self.one_of(list(MAINS)), self.one_of(list(KINDS))
        lines = [f'mains = "{mains}"', self.circuit(kind, MAINS[mains]), self.output(kind)]
        lines.append(self.controller())
        if self.happens():
            lines.append(f'service = {{hot_temperature = "{self.one_of((50, 70, 85))} °C"}}')
        if self.happens() and kind not in ("into the pin", "into a base"):
            lines.append(f"feed = {{{SWITCHED}{self.option(SUPPRESSOR)}}}")
        return "\n".join(line for line in lines if line) + "\n"

    def option(self, text: str) -> str:
        return text if self.happens() else ""

    def circuit(self, kind: str, mains_v: float) -> str:
        if kind in ("into the pin", "into a base"):
            return self.direct(kind, mains_v)
        led_a = self.between(0.8e-3, 4e-3)
        total_ohm = sqrt(2.0) * mains_v / led_a
        coupler = self.one_of(TWO_LEDS if kind == "two-led" else COUPLERS)
        head = f"optocoupler = {coupler}\n"
        if kind == "series capacitor":
            farad = 1.0 / (2.0 * np.pi * 55.0 * total_ohm)
            nearest = min((10e-9, 22e-9, 33e-9, 47e-9, 68e-9), key=lambda c: abs(c - farad))
            return head + (
                "circuit = [\n"
                f'  "feed - C1 {1e9 * nearest:.0f}n - R1 {self.ohms(0.1 * total_ohm)} - x",\n'
                '  "x - D1 1N4007 < - neutral",\n  "x - R3 1k - led+",\n  "led- - neutral",\n]'
            )
        half = 1.0 if kind in ("bridge", "two-led", "clamped") else 0.5
        return (
            head + self.chain(kind, mains_v, total_ohm, half) + "\n" + KINDS[kind] + self.led(kind)
        )

    def chain(self, kind: str, mains_v: float, total_ohm: float, half: float) -> str:
        count = self.one_of((1, 2, 2, 3))
        values = [self.ohms(total_ohm / count * self.between(0.8, 1.25)) for _ in range(count)]
        if self.happens(MISREAD):
            values[0] = self.ohms(total_ohm / count * self.one_of((0.1, 10.0)))
        load_w = half * mains_v**2 / total_ohm / count * self.between(1.0, 2.0)
        bears = [style for style, watts in WATTS.items() if watts >= load_w]
        style = self.one_of(bears[:2] or ["2 W"])
        if self.happens(0.2):
            style = ""
        legs = ""
        if kind == "bridge" and count > 1:
            values, back = values[:-1], values[-1]
            legs = f', return_resistors = ["{back}"]'
        elif kind == "bridge":
            legs = ", return_resistors = []"
        said = f', style = "{style}"' if style else ""
        joint = self.option(', joint_capacitor = {after = 1, capacitance = "4.7 nF"}')
        listed = ", ".join(f'"{value}"' for value in values)
        return f'chain = {{topology = "{kind}", resistors = [{listed}]{legs}{said}{joint}}}'

    def led(self, kind: str) -> str:
        often = 0.5 if kind in ("bridge", "two-led") else OPTION
        if self.happens(often):
            return f'\nled = {{resistor = "{self.ohms(self.between(1e3, 10e3))}"}}'
        return self.option('\nled = {capacitor = "10 nF"}')

    def direct(self, kind: str, mains_v: float) -> str:
        """A chain into the controller's pin, or into a base; with 0.1 to 0.5 mA."""
        ohm = sqrt(2.0) * mains_v / self.between(0.06e-3, 0.6e-3)
        first, second = self.ohms(0.5 * ohm), self.ohms(0.5 * ohm)
        if kind == "into the pin":
            lines = [f"feed - R1 {first} - R2 {second} - pin", "neutral - logic0"]
            lines += [self.option("pin - C1 1n - logic0")]
        else:
            lines = [f"feed - R1 {first} - R2 {second} - Q1.b", "Q1 BC847B", "emitter - neutral"]
            lines += ["base - R3 100k - emitter"]
            lines += [] if self.happens() else ["emitter - D1 1N4148 > - base"]
        listed = ", ".join(f'"{line}"' for line in lines if line)
        return f'optocoupler = "none"\ncircuit = [{listed}]\nchain = {{style = "1/2 W"}}'

    def output(self, kind: str) -> str:
        supply = self.one_of(("5 V", "3.3 V"))
        if kind == "into the pin":
            return f'output = {{supply = "{supply}"}}'
        follows = kind != "into a base" and self.happens(0.2)
        where = "pull_down" if follows else "pull_up"
        pull = self.ohms(self.between(4.7e3, 47e3) * (0.1 if self.happens(MISREAD) else 1.0))
        pin = self.option(f', pin_capacitor = "{self.one_of(("1 nF", "10 nF", "47 nF"))}"')
        return f'output = {{{where} = "{pull}", supply = "{supply}"{pin}}}'

    def controller(self) -> str:
        lines = [self.option(one) for one in STATED[:3]]
        lines += [self.option(self.one_of(STATED[3:5])), self.option(STATED[5])]
        lines += [self.option('edges = "both"'), self.one_of((PINS[0], PINS[0], PINS[1]))]
        return f"controller = {{{', '.join(line for line in lines if line)}}}"


def _written(ohm: float) -> str:
    """A value as a board file has it."""
    return format_si(ohm, "Ω", digits=2).replace(" ", "").replace("Ω", "")
