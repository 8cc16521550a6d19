"""What readings there are, and what they show on a board."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import COIL_OHM, TEXTS, board
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import INFINITE_OHM, Circuit
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meter_model import MeterModel, unplugged
from zcd.diagnosis.meters import OVERLOAD, AcKind, Meter, usual_meter
from zcd.diagnosis.readings import (
    AccessLevel,
    Reading,
    access_level,
    check_reading,
    useful_readings,
)
from zcd.engine.network import islands
from zcd.errors import InputError
from zcd.sync.lock import lock_of

PIN_S = 50e-6
"""What a low time is said to be known to (the floor of its error)."""


def take(found: Board, function: Function, a: str, b: str, circuit: Circuit | None = None,
         meter: Meter | None = None) -> float:  # fmt: skip
    meter_model = MeterModel(found, circuit or build_circuit(found), meter or usual_meter())
    return float(meter_model.read([Reading(function=function, red=a, black=b)])[0, 0])


@pytest.mark.parametrize("name", list(TEXTS))
def test_useful_readings_can_be_taken(name: str) -> None:
    """Each once, dead first and live last, none across the optocoupler."""
    circuit = build_circuit(board(name))
    readings = useful_readings(board(name), circuit)
    assert len(readings) == len(set(readings))
    order = [list(AccessLevel).index(access_level(circuit, r)) for r in readings]
    assert order == sorted(order)
    for reading in readings:
        check_reading(circuit, reading)
        assert any({reading.red, reading.black} <= island for island in islands(circuit))
    shown = MeterModel(board(name), circuit, usual_meter()).read(readings)
    assert not np.any(np.isnan(shown))


@pytest.mark.parametrize(
    ("function", "a", "b", "match"),
    [
        (Function.DC, "pin", "pin", "two different points"),
        (Function.DC, "pin", "line", "same side"),
        (Function.LOW_TIME, "line", "neutral", "allowed: pin and logic0"),
        (Function.DC, "pin", "feed2", "one of the points"),
    ],
)
def test_impossible_readings_are_refused(function: Function, a: str, b: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        check_reading(build_circuit(board()), Reading(function=function, red=a, black=b))


def test_two_names_of_one_node_are_named_as_given() -> None:
    with pytest.raises(InputError, match=r"led-.*neutral"):
        check_reading(
            build_circuit(board()), Reading(function=Function.DC, red="led-", black="neutral")
        )


def test_good_board_reads_as_a_good_board() -> None:
    """Common practice, no source: nearly half the supply at the pin, mains frequency, half duty."""
    result = board("switched")
    assert_allclose(take(result, Function.DC, "logic+", "logic0"), 5.0, rtol=1e-4)
    assert 0.4 < take(result, Function.DC, "pin", "logic0") / 5.0 < 0.6
    assert take(result, Function.FREQUENCY, "pin", "logic0") == pytest.approx(50.0)
    assert 0.4 < take(result, Function.DUTY, "pin", "logic0") < 0.5
    assert_allclose(take(result, Function.AC, "line", "neutral"), 230.0, rtol=1e-4)
    assert_allclose(take(result, Function.AC, "feed", "neutral"), 230.0, rtol=1e-4)


def test_driven_coil_of_a_usual_relay() -> None:
    """11.5 V over a 12 V coil (common practice, no source), where the file leaves the coil open."""
    usual = parse_board(TEXTS["half-wave"].replace('"direct"', '"switched"'))
    assert_allclose(take(usual, Function.DC, "coil+", "coil-"), 11.5, atol=0.05)


@pytest.mark.parametrize("name", ["half-wave", "bridge", "two-led"])
def test_low_time_is_that_of_the_sync_pulses(name: str) -> None:
    """The scope and the controller look at the same pin."""
    result = board(name)
    pulses = lock_of(build_circuit(result), result).pulses
    shown = take(result, Function.LOW_TIME, "pin", "logic0")
    assert_allclose(shown, pulses.low_time_s[0, 0], rtol=0.0, atol=PIN_S)


@pytest.mark.parametrize("name", ["half-wave", "bridge", "two-led"])
def test_frequency_counts_every_pulse(name: str) -> None:
    """Once a period, twice where both half waves light the LED."""
    hertz = take(board(name), Function.FREQUENCY, "pin", "logic0")
    assert hertz == pytest.approx(50.0 if name == "half-wave" else 100.0)


def test_open_chain_resistor_takes_the_whole_half_wave() -> None:
    """The meter completes the circuit: half-wave of the mains over 5 Mohm, AC-coupled.

    sqrt(1/4 - 1/pi^2) of the peak, 125.5 V, less the chain's share of 5.1 Mohm and the drops.
    """
    result = board()
    circuit = build_circuit(result).change("R2", resistance_ohm=INFINITE_OHM)
    shown = take(result, Function.AC, "chain.1", "chain.2", circuit)
    peak = np.sqrt(2.0) * 230.0
    assert_allclose(shown, peak * np.sqrt(0.25 - 1.0 / np.pi**2) * 5.0 / 5.1, rtol=0.01)
    bare = replace(usual_meter(), ac_kind=AcKind.TRUE_RMS_DC)
    shown = take(result, Function.AC, "chain.1", "chain.2", circuit, bare)
    assert_allclose(shown, peak / 2.0 * 5.0 / 5.1, rtol=0.01)


def test_average_meter_reads_the_half_wave_as_printed() -> None:
    """0.55 for a peak of 1.414 (Kusam-Meco KM-2777, table 2, two digits right)."""
    result = board()
    circuit = build_circuit(result).change("R2", resistance_ohm=INFINITE_OHM)
    meter = replace(usual_meter(), ac_kind=AcKind.AVERAGE)
    shown = take(result, Function.AC, "chain.1", "chain.2", circuit, meter)
    assert_allclose(shown / (230.0 * 5.0 / 5.1), 0.55, rtol=0.012)


def test_dead_board_has_no_sources_and_its_relay_is_off() -> None:
    result = board("switched")
    circuit = build_circuit(result)
    dead = unplugged(circuit)
    assert {"mains", "supply", "coil supply"}.isdisjoint(e.ref for e in dead)
    assert take(result, Function.OHM, "line", "feed") == OVERLOAD
    assert_allclose(take(result, Function.OHM, "coil+", "coil-"), COIL_OHM, rtol=1e-3)


def test_pin_that_never_moves() -> None:
    """A meter counts nothing where nothing moves: no frequency, no duty, whatever the level."""
    result = board()
    circuit = build_circuit(result)
    high = circuit.change("R1", resistance_ohm=INFINITE_OHM)
    low = circuit.change("pull-up", resistance_ohm=INFINITE_OHM)
    for stuck in (high, low):
        assert take(result, Function.DUTY, "pin", "logic0", stuck) == 0.0
        assert take(result, Function.FREQUENCY, "pin", "logic0", stuck) == 0.0
        assert take(result, Function.LOW_TIME, "pin", "logic0", stuck) == 0.0
