"""What to know beyond the verdict: single shorts and surges, each against its limit.

None of it fails a board: no standard was read that asks every part to stay inside its rating while
another one is shorted or a surge lasts. A technician wants to know which parts to replace
together, and which board would hold with one part more.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from zcd.board.model import Board
from zcd.circuit.build import input_refs, led_refs
from zcd.margin.check import Check
from zcd.margin.rules import Rule, limit_rule
from zcd.margin.shorts import ShortStress
from zcd.margin.stress import HARMLESS_REVERSE_A, input_limit
from zcd.margin.surge import SurgeStress
from zcd.refdata import default


def advice(check: Check) -> tuple[Rule[float], ...]:
    """Single shorts, then the surge, in the form of rules; no part of the verdict.

    Parameters
    ----------
    check : Check

    Returns
    -------
    rules : tuple of Rule
        Of a short: the resistor that bears most of its power, the one that bears most of its
        voltage, and the LED.
    """
    board = check.board
    shorts = (rule for short in check.shorts for rule in _of_short(short, board))
    return (*shorts, *_of_surge(check.surge, board))


def _of_short(short: ShortStress, board: Board) -> Iterator[Rule[float]]:
    case = f"{short.ref} shorted"
    for rule in (short.hottest(), short.most_stretched()):
        if rule is not None:
            yield replace(rule, name=f"{case}: {rule.name}")
    if short.ref in input_refs(board):
        return
    most = input_limit(board)
    name = f"{case}: {most.ref} {most.words}"
    yield limit_rule(name, short.led_peak_a, most.current_a, "A", most.source)
    if (opto := board.optocoupler) is not None and short.led_reverse_a > HARMLESS_REVERSE_A:
        yield limit_rule(
            f"{case}: {opto.ref} LED reverse voltage",
            short.led_reverse_v,
            opto.led.reverse_rating_v,
            "V",
            opto.source,
            remark=f"then {short.led_reverse_a * 1e3:.2g} mA flow through it backwards",
        )


def _of_surge(surge: SurgeStress, board: Board) -> Iterator[Rule[float]]:
    level = default("surge.level").why
    for load in surge.loads:
        part = load.resistor
        yield limit_rule(
            f"surge: {part.ref} voltage", load.peak_v, load.voltage_limit_v, "V",
            f"overload voltage (5 s) of {part.source}; level: {level}",
        )  # fmt: skip
        yield limit_rule(
            f"surge: {part.ref} energy", load.energy_j, load.test_energy_j, "J",
            f"overload test of IEC 60115-1 as a maker quotes it (2.5 times the rated voltage, "
            f"5 s) [YAGEO-MFR], with the limits of "
            f"{part.source}; level: {level}",
        )  # fmt: skip
    leds = led_refs(board)
    for stress in surge.reverse:
        volts, amps = float(stress.reverse_v.max()), float(stress.reverse_a.max())
        over = volts > stress.limit_v
        yield limit_rule(
            f"surge: {stress.ref} reverse voltage", volts, stress.limit_v, "V", stress.source,
            remark=f"breaks down: {amps * 1e3:.2g} mA flow backwards" if over
            and (amps > HARMLESS_REVERSE_A or stress.ref not in leds) else "",
        )  # fmt: skip
    most = input_limit(board)
    of_led = "makers differ on how long a peak of 1 A may last, 1 to 100 µs"
    yield limit_rule(
        f"surge: {most.ref} {most.words}", surge.led_peak_a, most.current_a, "A", most.source,
        remark=f"the continuous limit{f': {of_led}' if leds else ''}",
    )  # fmt: skip
