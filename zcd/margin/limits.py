"""The rules of stress: what each part has to bear in every row, against what it may."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import led_refs
from zcd.circuit.elements import Phototransistor, Value
from zcd.engine.solution import Solution
from zcd.margin.stress import (
    HARMLESS_REVERSE_A,
    ResistorStress,
    ReverseStress,
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
    (opto,) = solution.circuit.of(Phototransistor)
    stresses = resistor_stress(solution, board, board.service.hot_degc)
    leds = [solution.peak(solution.currents_a[led]) for led in led_refs(board)]
    return [
        *(limit for s in stresses for limit in resistor_limits(s, opto.temperature_degc)),
        *junction_limits(board, reverse_stress(solution, board), np.max(leds, axis=0)),
    ]


def resistor_limits(stress: ResistorStress, ambient_degc: Value | None = None) -> list[Limit]:
    """Power and voltage of one resistor.

    Parameters
    ----------
    stress : ResistorStress
    ambient_degc : Value, optional
        Of each row, in place of the one that the stress was worked out for. [°C]

    Returns
    -------
    limits : list of Limit
    """
    part, watts = stress.resistor, np.asarray(stress.power_limit_w)
    if ambient_degc is not None:
        watts = derated_power_w(part.rated_power_w, ambient_degc)
    return [
        _limit(f"{part.ref} power", stress.power_w, watts, "W", part.source),
        _limit(f"{part.ref} voltage", stress.judged_v, stress.voltage_limit_v, "V", part.source),
    ]


def junction_limits(
    board: Board, stresses: Sequence[ReverseStress], led_peak_a: FloatArray
) -> list[Limit]:
    """Reverse voltage of each junction, and the LED's peak current.

    Parameters
    ----------
    board : Board
    stresses : sequence of ReverseStress
    led_peak_a : ndarray, shape (n,)
        [A]

    Returns
    -------
    limits : list of Limit
        An LED may break down into a harmless leakage.
    """
    leds = led_refs(board)
    found = [
        _limit(
            f"{stress.ref} reverse voltage", stress.reverse_v, stress.limit_v, "V", stress.source,
            1.0 - stress.reverse_a / HARMLESS_REVERSE_A if stress.ref in leds else None,
        )
        for stress in stresses
    ]  # fmt: skip
    limit_a, source = led_current_limit_a(board.optocoupler.family)
    return [
        *found,
        _limit(f"{board.optocoupler.ref} LED current", led_peak_a, limit_a, "A", source),
    ]


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
