"""The rules of stress: what each part has to bear in every row, against what it may."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.board.parts_library import resistor_limits, usual_sizes
from zcd.board.units import format_si
from zcd.circuit.build import input_refs, led_refs
from zcd.circuit.elements import Value
from zcd.engine.solution import Solution
from zcd.margin.rules import Rule, kind_of_part_limit, limit_rule
from zcd.margin.stress import (
    HARMLESS_REVERSE_A,
    SMALL_ZENER_W,
    ResistorStress,
    ReverseStress,
    ZenerStress,
    input_limit,
    resistor_stress,
    reverse_stress,
    zener_limit_w,
    zener_stress,
)
from zcd.physics.resistor import derated_power_w

FloatArray = NDArray[np.float64]

LED_REVERSE = "reverse current"
AT_ANY_SIZE = " at any size"
"""End of the name of a rule that no usual size keeps once it is broken."""
OF_MOST_MAKERS = " of most makers"
"""End of the name of a rule that hardly any make of that size keeps once it is broken."""


def stress_rules(solution: Solution, board: Board) -> list[Rule[FloatArray]]:
    """Every rule of stress of a board, in every row of a solution.

    Parameters
    ----------
    solution : Solution
        n rows; power limits are derated for the temperature of each.
    board : Board

    Returns
    -------
    rules : list of Rule
        Power and voltage of each resistor, power of each zener, reverse voltage of each other
        diode, LED current both ways.
    """
    celsius = solution.circuit.temperature_degc
    stresses = resistor_stress(solution, board, board.service.hot_degc)
    peaks = [solution.peak(solution.currents_a[ref]) for ref in input_refs(board)]
    return [
        *(rule for s in stresses for rule in resistor_rules(s, celsius)),
        *(zener_rule(s, celsius) for s in zener_stress(solution, board)),
        *junction_rules(board, reverse_stress(solution, board), np.max(peaks, axis=0)),
    ]


def resistor_rules(
    stress: ResistorStress, ambient_degc: Value | None = None
) -> list[Rule[FloatArray]]:
    """Power and voltage of one resistor.

    Parameters
    ----------
    stress : ResistorStress
    ambient_degc : Value, optional
        Of each row, in place of the one that the stress was worked out for. [°C]

    Returns
    -------
    rules : list of Rule
        A part whose size nobody wrote is held to the largest usual one of its make; to the limits
        of the small one that is assumed it is expected to keep. Where makers rate a size
        differently, it is held to what most of them do, and expected to keep to the least.
    """
    part, watts = stress.resistor, np.asarray(stress.power_limit_w)
    if ambient_degc is not None:
        watts = derated_power_w(part.rated_power_w, ambient_degc)
    rules = [
        _at_most(part.ref, "power", stress.power_w, watts, "W", part.source),
        _at_most(
            part.ref, "voltage", stress.working_stress_v, stress.voltage_limit_v, "V", part.source
        ),
    ]
    if part.usual_power_w is not None:
        power, voltage = rules
        most_w = watts * (part.usual_power_w / part.rated_power_w)
        name = f"power{OF_MOST_MAKERS}"
        by_most = _at_most(part.ref, name, stress.power_w, most_w, "W", part.source)
        return [replace(power, kind="expectation"), voltage, by_most]
    if not part.size_assumed:
        return rules
    small = [replace(rule, kind="expectation", source_kind="assumed") for rule in rules]
    large = resistor_limits(usual_sizes(part.style)[-1])
    watts = watts * (large.rated_power_w / part.rated_power_w)
    source = f"no size is written; the largest usual one, {large.style}: {large.source}"
    any_size = [
        _at_most(part.ref, f"power{AT_ANY_SIZE}", stress.power_w, watts, "W", source),
        _at_most(
            part.ref, f"voltage{AT_ANY_SIZE}", stress.working_stress_v, large.working_v, "V", source
        ),
    ]
    return [*small, *(replace(rule, source_kind="assumed") for rule in any_size)]


def zener_rule(stress: ZenerStress, ambient_degc: Value) -> Rule[FloatArray]:
    """Power of one zener; one whose power nobody wrote is expected to bear that of a small one."""
    part = stress.part
    known = part.rated_power_w is not None
    watts = format_si(SMALL_ZENER_W, "W")
    source = part.source if known else f"no power is written; {watts}: common practice, no source"
    limit_w = zener_limit_w(part, ambient_degc)
    rule = _at_most(part.ref, "power", stress.power_w, limit_w, "W", source)
    return rule if known else replace(rule, kind="expectation", source_kind="assumed")


def junction_rules(
    board: Board, stresses: Sequence[ReverseStress], peak_a: FloatArray
) -> list[Rule[FloatArray]]:
    """Reverse voltage of each diode, and the current through the LED, or else into the pin.

    Parameters
    ----------
    board : Board
    stresses : sequence of ReverseStress
    peak_a : ndarray, shape (n,)
        Of `zcd.circuit.build.input_refs`. [A]

    Returns
    -------
    rules : list of Rule
        An LED is judged by the current backwards: it may break down into a harmless leakage.
    """
    limit = input_limit(board)
    current = _at_most(limit.ref, limit.words, peak_a, limit.current_a, "A", limit.source)
    if not board.is_isolated:
        current = replace(current, kind="expectation", source_kind="assumed")
    leds = led_refs(board)
    return [*(_reverse_rule(stress, stress.ref in leds) for stress in stresses), current]


def _reverse_rule(stress: ReverseStress, is_led: bool) -> Rule[FloatArray]:
    if is_led:
        allowed = f"leakage that data sheets allow at the rated reverse voltage; {stress.source}"
        amps = HARMLESS_REVERSE_A
        return _at_most(stress.ref, LED_REVERSE, stress.reverse_a, amps, "A", allowed)
    return _at_most(
        stress.ref, "reverse voltage", stress.reverse_v, stress.limit_v, "V", stress.source
    )


def _at_most(
    ref: str, what: str, value: FloatArray, limit: FloatArray | float, unit: str, source: str
) -> Rule[FloatArray]:
    most = np.broadcast_to(np.asarray(limit, dtype=float), value.shape)
    return limit_rule(
        f"{ref} {what}", value, most, unit, source,
        source_kind=kind_of_part_limit(source), subject=ref,
    )  # fmt: skip
