"""The quantities of a board that may move, each defined once, as an edit on the circuit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board, Capacitor, Optocoupler, Resistor
from zcd.board.units import find_name, nearest
from zcd.circuit.build import at_temperature, coupler_refs
from zcd.circuit.elements import Circuit
from zcd.errors import invalid_value

FloatArray = NDArray[np.float64]
PLAIN_UNITS = {"%": "", "°C": "degC", "Ω": "ohm"}

Span = tuple[float, float]

MAINS_SPAN: Span = (0.3, 1.25)
FREQUENCY_SPAN: Span = (0.85, 1.15)
RESISTOR_SPAN: Span = (0.1, 20.0)
CAPACITOR_SPAN: Span = (0.05, 50.0)
"""Ranges worth looking at, as factors on the board's own value."""
TEMPERATURE_SPAN_DEGC: Span = (-20.0, 100.0)
MIN_CTR_RATIO = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """One number of one element, and what it is where the quantity is 1."""

    ref: str
    name: str
    unit_value: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TolerancePart:
    """A tolerance that a quantity has, by its name in `zcd.margin.tolerances`.

    The quantity moves by `weight` for each unit by which the tolerance's amount differs from
    `nominal`.
    """

    tolerance: str
    nominal: float = 1.0
    weight: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """Something of a board that may move.

    Parameters
    ----------
    key : str
        As a person names it: ``mains``, ``ctr``, ``R7``.
    words : str
        What it is.
    unit : str
        Of its values; empty for a factor.
    here : float
        What it is on the board.
    low, high : float
        The range worth looking at.
    logarithmic : bool
        Whether equal factors count as equal steps.
    targets : tuple of Target
        What moves with it, in proportion; none for the temperature, which moves many laws.
    tolerances : tuple of TolerancePart
        Tolerances that the quantity stands for.
    """

    JSON_KEYS: ClassVar = (
        "key",
        "words",
        "unit=plain_unit",
        "here",
        "low",
        "high",
        "logarithmic",
    )

    key: str
    words: str
    unit: str
    here: float
    low: float
    high: float
    logarithmic: bool
    targets: tuple[Target, ...] = ()
    tolerances: tuple[TolerancePart, ...] = ()

    @property
    def plain_unit(self) -> str:
        """Of its values, in ASCII; empty for a factor."""
        return PLAIN_UNITS.get(self.unit, self.unit)

    def put(self, circuit: Circuit, board: Board, value: FloatArray) -> Circuit:
        """The circuit with the quantity at a value in each row, whatever it was before."""
        if not self.targets:
            return at_temperature(circuit, board, value)
        for target in self.targets:
            circuit = circuit.change(target.ref, **{target.name: target.unit_value * value})
        return circuit

    def scale(self, circuit: Circuit, factor: FloatArray) -> Circuit:
        """The circuit with the quantity multiplied, from whatever it is."""
        for target in self.targets:
            circuit = circuit.scale(target.ref, target.name, factor)
        return circuit

    def within(self, amounts: Mapping[str, FloatArray], size: int) -> FloatArray:
        """Values of boards within tolerance, shape (size,), from the amounts of tolerances."""
        values = np.full(size, self.here)
        for part in self.tolerances:
            if part.tolerance in amounts:
                values += part.weight * (amounts[part.tolerance] - part.nominal)
        return values

    def share(self, value: FloatArray | float) -> FloatArray:
        """Where values stand between the ends of the range: 0 low, 1 high."""
        if self.logarithmic:
            return np.asarray(np.log(value / self.low) / np.log(self.high / self.low))
        return np.asarray((value - self.low) / (self.high - self.low))

    def value(self, share: FloatArray) -> FloatArray:
        """The value at a place of the range."""
        if self.logarithmic:
            return np.asarray(self.low * (self.high / self.low) ** share)
        return np.asarray(self.low + (self.high - self.low) * share)


def quantities(board: Board) -> dict[str, Quantity]:
    """All quantities of a board by key, those of every board first.

    Parameters
    ----------
    board : Board

    Returns
    -------
    quantities : dict of str to Quantity
        Mains, CTR, chain, temperature, frequency; then every resistor and capacitor there is.
    """
    chains = [r for chain in (*board.chains, board.return_chain) for r in chain]
    opto, output = board.optocoupler, board.output
    result = [_mains(board), *([] if opto is None else [_ctr(board, opto)])]
    result += [_chain(chains), _temperature(board), _frequency(board)]
    result += [_resistor(r.ref, r.ref, r) for r in chains]
    if board.led_resistor is not None:
        result.append(_resistor("led-resistor", "LED resistor", board.led_resistor))
    if output.resistor is not None:
        name = "pull-up" if output.kind == "pull-up" else "pull-down"
        result.append(_resistor(name, name, output.resistor))
    traced = () if board.traced is None else board.traced.capacitors
    capacitors = (
        ("led-capacitor", "LED capacitor", board.led_capacitor),
        ("joint-capacitor", "joint capacitor", board.joint_capacitor),
        *((c.ref, c.ref, c) for c in traced),
        ("pin-capacitor", "pin capacitor", output.pin_capacitor),
    )
    result += [_capacitor(key, words, part) for key, words, part in capacitors if part is not None]
    return {quantity.key: quantity for quantity in result}


def quantity_of(board: Board, key: str, option: str = "") -> Quantity:
    """One quantity of a board, by its key.

    Raises
    ------
    InputError
        If the board has no such quantity; the message lists those it has.
    """
    known = quantities(board)
    name = find_name(key, tuple(known))
    if name is None:
        among = f"one of {', '.join(known)}{nearest(key, tuple(known))}"
        lacking = f" (this board has no {OPTIONAL[key]})" if key in OPTIONAL else ""
        raise invalid_value(key, among + lacking, option)
    return known[name]


def usual_up(board: Board) -> str:
    """What a map goes up with where nothing is said: what ages."""
    return "chain" if board.optocoupler is None else "ctr"


OPTIONAL = {
    "led-resistor": "resistor across the LED",
    "led-capacitor": "capacitor across the LED",
    "joint-capacitor": "capacitor at a joint of the chain",
    "pin-capacitor": "capacitor at the pin",
    "ctr": "optocoupler",
    "pull-up": "pull-up",
}
"""Quantities that not every board has."""


def _mains(board: Board) -> Quantity:
    rms, (low, high) = board.mains.rms_v, MAINS_SPAN
    return Quantity(
        key="mains", words="mains voltage", unit="V", here=rms, low=low * rms, high=high * rms,
        logarithmic=False, targets=(Target(ref="mains", name="rms_v"),),
        tolerances=(TolerancePart(tolerance="mains voltage", nominal=rms),),
    )  # fmt: skip


def _ctr(board: Board, opto: Optocoupler) -> Quantity:
    """What is left of the typical CTR; a part at the top of its grade has more than all of it."""
    return Quantity(
        key="ctr",
        words="CTR",
        unit="%",
        here=opto.remaining_ratio,
        low=min(MIN_CTR_RATIO, opto.remaining_ratio / 2.0),
        high=1.3 * max(1.0, opto.ctr_max_ratio / opto.ctr_ratio),
        logarithmic=True,
        targets=tuple(Target(ref=ref, name="remaining_ratio") for ref in coupler_refs(board)),
        tolerances=(
            TolerancePart(
                tolerance=f"CTR of {opto.ref}",
                nominal=opto.ctr_ratio,
                weight=opto.remaining_ratio / opto.ctr_ratio,
            ),
        ),
    )


def _chain(chain: list[Resistor]) -> Quantity:
    """All resistors of the chain at once."""
    low, high = RESISTOR_SPAN
    total = sum(r.resistance_ohm for r in chain)
    return Quantity(
        key="chain", words="chain", unit="", here=1.0, low=low, high=high,
        logarithmic=True,
        targets=tuple(
            Target(ref=r.ref, name="resistance_ohm", unit_value=r.resistance_ohm) for r in chain
        ),
        tolerances=tuple(
            TolerancePart(tolerance=r.ref, weight=r.resistance_ohm / total) for r in chain
        ),
    )  # fmt: skip


def _temperature(board: Board) -> Quantity:
    low, high = TEMPERATURE_SPAN_DEGC
    return Quantity(
        key="temperature", words="temperature", unit="°C", here=board.service.bench_degc,
        low=low, high=high, logarithmic=False,
        tolerances=(TolerancePart(tolerance="temperature", nominal=board.service.bench_degc),),
    )  # fmt: skip


def _frequency(board: Board) -> Quantity:
    hz, (low, high) = board.mains.frequency_hz, FREQUENCY_SPAN
    return Quantity(
        key="frequency", words="mains frequency", unit="Hz", here=hz, low=low * hz, high=high * hz,
        logarithmic=False, targets=(Target(ref="mains", name="frequency_hz"),),
        tolerances=(TolerancePart(tolerance="mains frequency", nominal=hz),),
    )  # fmt: skip


def _resistor(key: str, words: str, resistor: Resistor) -> Quantity:
    ohm, (low, high) = resistor.resistance_ohm, RESISTOR_SPAN
    return Quantity(
        key=key, words=words, unit="Ω", here=ohm, low=low * ohm, high=high * ohm, logarithmic=True,
        targets=(Target(ref=resistor.ref, name="resistance_ohm"),),
        tolerances=(TolerancePart(tolerance=resistor.ref, weight=ohm),),
    )  # fmt: skip


def _capacitor(key: str, words: str, capacitor: Capacitor) -> Quantity:
    farad, (low, high) = capacitor.capacitance_f, CAPACITOR_SPAN
    return Quantity(
        key=key, words=words, unit="F", here=farad, low=low * farad, high=high * farad,
        logarithmic=True, targets=(Target(ref=capacitor.ref, name="capacitance_f"),),
        tolerances=(TolerancePart(tolerance=capacitor.ref, weight=farad),),
    )  # fmt: skip
