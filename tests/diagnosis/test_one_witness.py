"""Readings that hang on one unknown, and a chip that nobody knows, make no fault sure.

Each reading is worked out from the law of the parts named beside it, not from the tool.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from tests.diagnosis.atlases import atlas_of, atlas_read_with
from tests.diagnosis.boards import TEXTS
from zcd.board.files import parse_board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Junction
from zcd.diagnosis.expected_readings import good_board
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.rank import Diagnosis, diagnose
from zcd.diagnosis.reading_syntax import parse_place, parse_reading
from zcd.diagnosis.readings import Measured, Reading

PULL_UP_OHM = 47e3
RANGES_OHM = (600.0, 6e3, 60e3, 600e3, 6e6, 60e6)
VT_V = 25.7e-3
SURE = 0.9


def found(known: FaultDictionary, *lines: str) -> Diagnosis:
    return diagnose(known, [parse_reading(line, known.circuit) for line in lines])


def chance(result: Diagnosis, *keys: str) -> float:
    return sum(r.probability for r in result.ranked if r.key in keys)


def ohms_past_a_chip(open_v: float, rail_ohm: float, clamp_a: float) -> float:
    """From logic+ to pin: the pull-up, beside what hangs at the supply and the chip's diode from
    ground to pin (Shockley's law). The meter divides its open voltage by a resistor of a third of
    the range, as meters with a heavier current do (common practice, no source)."""
    for range_ohm in RANGES_OHM:
        source_ohm = range_ohm / 3.0

        def excess_a(volts: float, source_ohm: float = source_ohm) -> float:
            def drop_v(amps: float) -> float:
                return amps * rail_ohm + VT_V * np.log1p(amps / clamp_a) - volts

            past = brentq(drop_v, 0.0, volts / rail_ohm, xtol=1e-15)
            return volts / PULL_UP_OHM + past - (open_v - volts) / source_ohm

        volts = brentq(excess_a, 1e-6, open_v - 1e-9, xtol=1e-12)
        ohm = volts * source_ohm / (open_v - volts)
        if ohm <= range_ohm:
            return float(ohm)
    raise AssertionError("overload")


AGED = ("dc pin logic0 3.5 V", "frequency 50 Hz")
HALF_LOW = ("dc pin logic0 2.65 V", "frequency 50 Hz")
"""The mean of 5 V over what is left of a period by a pulse of 47 %, as with the LED lit through a
half wave; of an aged part less is low."""


@pytest.mark.parametrize("live", [AGED, HALF_LOW], ids=["aged", "good"])
@pytest.mark.parametrize("rail_ohm", [4e3, 12e3])
@pytest.mark.parametrize(("open_v", "stated"), [(1.5, False), (2.5, False), (3.0, True)])
def test_ohms_through_a_chip_are_no_leak(
    open_v: float, stated: bool, rail_ohm: float, live: tuple[str, ...]
) -> None:
    """A good pull-up, lifted too, whatever the meter drives through the dead controller; shown
    twice, which is no second witness."""
    ohm = ohms_past_a_chip(open_v, rail_ohm, 1e-14)
    assert ohm < 0.8 * PULL_UP_OHM
    meter = replace(usual_meter(), ohms_open_v=open_v) if stated else usual_meter()
    across = f"ohm logic+ pin {ohm:.0f} ohm"
    result = found(
        atlas_read_with(meter, "half-wave"), "ohm R1 110k", "ohm R2 130k", across,
        "ohm pull-up lifted 47k", across, "diode chain.2 neutral 1.6 V", *live,
    )  # fmt: skip
    assert result.stopped != "sure"
    assert chance(result, "pin leaky to supply", "pin stuck high") < 0.6


def test_a_leak_at_the_pin_is_still_found() -> None:
    """Ohm's law: 12 k to ground beside what 4.7 k at the supply and the pull-up are; under power
    5 V x 12 / (12 + 47) V between pulses."""
    lines = ("dc logic+ logic0 5 V", "ohm pin logic0 9.74k", "dc pin logic0 0.5 V")
    result = found(atlas_of("half-wave"), *lines)
    assert chance(result, "pin leaky", "OC1 transistor leaky") > SURE


@pytest.mark.parametrize(("saturation_a", "emission"), [(7e-9, 1.8), (4e-9, 1.9)])
def test_four_diodes_of_one_make_are_one_witness(saturation_a: float, emission: float) -> None:
    """Reverse ohms of a bridge at next to no volts are n VT / IS of each diode (Shockley's law;
    constants of rectifiers, from memory), here all of one reel and some per cent apart: within
    the good board's range, they raise no leak."""
    known = atlas_of("bridge")
    four = [j for j in build_circuit(known.board).of(Junction) if j.ref.startswith("D1")]
    assert len(four) == 4
    taken = [as_good(known, line) for line in GOOD_BRIDGE]
    before = leaks(diagnose(known, taken, flags=["sync"]))
    for diode, off in zip(four, (1.0, 1.05, 0.97, 1.02), strict=True):
        reading = Reading(function=Function.OHM, red=diode.b, black=diode.a)
        ohm = off * emission * VT_V / saturation_a
        shown = good_board(known, reading)
        assert shown.low < ohm < shown.high
        taken.append(Measured(reading=reading, value=ohm))
    assert leaks(diagnose(known, taken, flags=["sync"])) < 2.0 * before


GOOD_BRIDGE = (
    "ohm R1", "ohm R2", "dc pin logic0", "frequency", "dc logic+ logic0", "ohm pull-up",
    "diode led+ led-",
)  # fmt: skip


def as_good(known: FaultDictionary, line: str) -> Measured:
    """What is not in question: as the middle of good boards shows it."""
    reading = parse_place(line, known.circuit)
    return Measured(reading=reading, value=float(np.median(known.good(reading))))


def leaks(result: Diagnosis) -> float:
    return sum(r.probability for r in result.ranked if r.fault is not None and r.fault.is_leak)


@pytest.mark.parametrize(("leak_ohm", "source_ohm"), [(250.0, 2.2e3), (150.0, 7.1e3)])
def test_a_part_that_reads_good_lifted_is_not_blamed(leak_ohm: float, source_ohm: float) -> None:
    """A film across LED and resistor, by Ohm's law, on two diode tests: both ways round, which is
    one witness; they are not held against the resistor that was lifted."""
    board = parse_board(TEXTS["two-led"] + '[led]\nresistor = "2k2"\n')
    assert board.led_resistor is not None
    ref = board.led_resistor.ref
    known = make_fault_dictionary(board, usual_meter())
    both_ohm = 1.0 / (1.0 / 2.2e3 + 1.0 / leak_ohm)
    volts = usual_meter().diode_open_v * both_ohm / (both_ohm + source_ohm)
    result = found(
        known, f"diode led+ neutral {volts:.3f} V", f"ohm led+ neutral {both_ohm:.0f} ohm",
        f"ohm {ref} lifted 2.2k", f"diode neutral led+ {volts:.3f} V",
    )  # fmt: skip
    named = {r.fault.part for r in result.indistinguishable if r.fault}
    assert ref not in named
    assert result.ranked[0].key.startswith("OC1")
