"""The rules of stress: what each part has to bear in every row, against what it may."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import led_refs
from zcd.circuit.elements import Phototransistor
from zcd.engine.solution import Solution
from zcd.margin.stress import (
    HARMLESS_REVERSE_A,
    led_current_limit_a,
    resistor_stress,
    reverse_stress,
)
from zcd.physics.resistor import derated_power_w

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One rule of stress in every row.

    Parameters
    ----------
    name : str
        Part and quantity: ``R2 power``.
    value, limit : ndarray, shape (n,)
        In `unit`; the value must not exceed the limit.
    unit : str
    source : str
        Where the limit comes from.
    margin : ndarray, shape (n,)
        1 - value / limit, or more where going over does no harm.
    """

    name: str
    value: FloatArray
    limit: FloatArray
    unit: str
    source: str
    margin: FloatArray


def limits_of(solution: Solution, board: Board) -> list[Limit]:
    """Every rule of stress of a board, in every row of a solution.

    Parameters
    ----------
    solution : Solution
        n rows; power limits are derated for the temperature of each.
    board : Board

    Returns
    -------
    limits : list of Limit
        Power and voltage of each resistor, reverse voltage of each junction, LED current.
    """
    return [*_of_resistors(solution, board), *_of_junctions(solution, board)]


def _limit(
    name: str,
    value: FloatArray,
    limit: FloatArray | float,
    unit: str,
    source: str,
    harmless: FloatArray | None = None,
) -> Limit:
    most = np.broadcast_to(np.asarray(limit, dtype=float), value.shape)
    with np.errstate(divide="ignore"):
        margin = 1.0 - value / most
    if harmless is not None:
        margin = np.maximum(margin, harmless)
    return Limit(name=name, value=value, limit=most, unit=unit, source=source, margin=margin)


def _of_resistors(solution: Solution, board: Board) -> list[Limit]:
    (opto,) = solution.circuit.of(Phototransistor)
    found = []
    for stress in resistor_stress(solution, board, board.service.hot_degc):
        part = stress.resistor
        watts = derated_power_w(part.rated_power_w, opto.temperature_degc)
        found += [
            _limit(f"{part.ref} power", stress.power_w, watts, "W", part.source),
            _limit(f"{part.ref} voltage", stress.film_v, stress.voltage_limit_v, "V", part.source),
        ]
    return found


def _of_junctions(solution: Solution, board: Board) -> list[Limit]:
    """Reverse voltage of each junction; an LED may break down into a harmless leakage."""
    leds = led_refs(board)
    found = [
        _limit(
            f"{stress.ref} reverse voltage", stress.reverse_v, stress.limit_v, "V", stress.source,
            1.0 - stress.reverse_a / HARMLESS_REVERSE_A if stress.ref in leds else None,
        )
        for stress in reverse_stress(solution, board)
    ]  # fmt: skip
    limit_a, source = led_current_limit_a(board.optocoupler.family)
    peak = np.max([solution.peak(solution.currents_a[led]) for led in leds], axis=0)
    name = f"{board.optocoupler.ref} LED current"
    return [*found, _limit(name, peak, limit_a, "A", source)]
