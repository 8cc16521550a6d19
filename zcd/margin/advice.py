"""What to know beyond the verdict: single shorts and surges, each against its limit.

None of it fails a board: no standard was read that asks every part to stay inside its rating while
another one is shorted or a surge lasts. A technician wants to know which parts to replace
together, and which board would hold with one part more.
"""

from __future__ import annotations

from collections.abc import Iterator

from zcd.board.model import Board
from zcd.circuit.build import led_refs
from zcd.margin.check import Check, Rule
from zcd.margin.shorts import ShortStress
from zcd.margin.stress import HARMLESS_REVERSE_A, led_current_limit_a
from zcd.margin.surge import SurgeStress
from zcd.refdata import default


def advice(check: Check) -> tuple[Rule, ...]:
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


def _at_most(
    name: str, value: float, limit: float, unit: str, source: str, remark: str = ""
) -> Rule:
    return Rule(
        name=name,
        value=value,
        limit=limit,
        at_least=False,
        unit=unit,
        passes=value <= limit,
        source=source,
        remark=remark,
    )


def _of_short(short: ShortStress, board: Board) -> Iterator[Rule]:
    case = f"{short.ref} shorted"
    if (load := short.hottest()) is not None:
        yield _at_most(
            f"{case}: {load.resistor.ref} power", load.power_w, load.power_limit_w, "W",
            load.resistor.source,
        )  # fmt: skip
    if (load := short.most_stretched()) is not None:
        yield _at_most(
            f"{case}: {load.resistor.ref} voltage", load.judged_v, load.voltage_limit_v, "V",
            load.resistor.source,
        )  # fmt: skip
    if short.ref in led_refs(board):
        return
    limit, source = led_current_limit_a(board.optocoupler.family)
    name = f"{case}: {board.optocoupler.ref} LED"
    yield _at_most(f"{name} current", short.led_peak_a, limit, "A", source)
    if short.led_reverse_a > HARMLESS_REVERSE_A:
        yield _at_most(
            f"{name} reverse voltage",
            short.led_reverse_v,
            board.optocoupler.led.reverse_rating_v,
            "V",
            board.optocoupler.source,
            f"then {short.led_reverse_a * 1e3:.2g} mA flow through it backwards",
        )


def _of_surge(surge: SurgeStress, board: Board) -> Iterator[Rule]:
    level = default("surge.level").why
    for load in surge.loads:
        part = load.resistor
        yield _at_most(
            f"surge: {part.ref} voltage", load.peak_v, load.voltage_limit_v, "V",
            f"overload voltage (5 s) of {part.source}; level: {level}",
        )  # fmt: skip
        yield _at_most(
            f"surge: {part.ref} energy", load.energy_j, load.test_energy_j, "J",
            f"overload test of IEC 60115-1 as a maker quotes it (2.5 times the rated voltage, "
            f"5 s) [YAGEO-MFR], with the limits of "
            f"{part.source}; level: {level}",
        )  # fmt: skip
    leds = led_refs(board)
    for stress in surge.reverse:
        volts, amps = float(stress.reverse_v.max()), float(stress.reverse_a.max())
        over = volts > stress.limit_v
        yield _at_most(
            f"surge: {stress.ref} reverse voltage", volts, stress.limit_v, "V", stress.source,
            f"breaks down: {amps * 1e3:.2g} mA flow backwards" if over
            and (amps > HARMLESS_REVERSE_A or stress.ref not in leds) else "",
        )  # fmt: skip
    limit, source = led_current_limit_a(board.optocoupler.family)
    yield _at_most(
        f"surge: {board.optocoupler.ref} LED current", surge.led_peak_a, limit, "A", source,
        "the continuous limit: makers differ on how long a peak of 1 A may last, 1 to 100 µs",
    )  # fmt: skip
