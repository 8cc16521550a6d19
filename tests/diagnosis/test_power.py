"""The state of the board in a reading: dead, on a bench supply, relay off, live."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import SUPPRESSED_TEXT, TEXTS, board
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.faults import with_fault
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.reading_syntax import parse_place
from zcd.diagnosis.readings import Power, Reading, check_reading
from zcd.errors import InputError


def shown(found: Board, text: str, circuit: Circuit | None = None) -> float:
    """What the usual meter shows at a reading."""
    whole = build_circuit(found)
    reading = parse_place(text, whole)
    return float(MeterModel(found, circuit or whole, usual_meter()).read([reading])[0, 0])


def test_usual_states() -> None:
    """A reading of which nothing is said is dead on ohms and diode test, live on all others."""
    for function in Function:
        usual = Power.DEAD if function in (Function.OHM, Function.DIODE) else Power.LIVE
        assert Reading(function=function, red="pin", black="logic0").power is usual


@pytest.mark.parametrize(
    ("text", "power"),
    [
        ("dc pin logic0 relay off", Power.OFF),
        ("dc relay-off pin logic0", Power.OFF),
        ("dc pin logic0 on a bench supply", Power.BENCH),
        ("dc pin logic0 relay on", Power.LIVE),
        ("ohm R2 unplugged", Power.DEAD),
        ("low time relay off", Power.OFF),
    ],
)
def test_states_as_a_person_says_them(text: str, power: Power) -> None:
    assert parse_place(text, build_circuit(board("switched"))).power is power


@pytest.mark.parametrize(
    ("name", "text", "match"),
    [
        ("switched", "ohm R2 live", "allowed: a dead board"),
        ("switched", "dc pin logic0 dead", "a board under power"),
        ("half-wave", "dc pin logic0 relay off", "a board with a load relay"),
        ("switched", "ac line neutral bench supply", "the isolated side only"),
        ("switched", "frequency bench supply", "under mains only"),
        ("switched", "dc pin logic0 relay off live", "one state of the board"),
    ],
)
def test_impossible_states_are_refused(name: str, text: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        parse_place(text, build_circuit(board(name)))


def test_words_of_a_reading_name_an_unusual_state_only() -> None:
    """They name what is kept of earlier runs, so no two readings may have the same."""
    readings = [Reading(function=Function.DC, red="pin", black="logic0", power=p) for p in Power]
    assert len({r.words for r in readings}) == len(readings)
    assert readings[-1].words == "DC volts, pin to logic0"


def test_relay_off_is_the_board_with_its_coil_not_driven() -> None:
    """A second way to the same circuit: the condition under which boards are built."""
    result = board("switched")
    off = build_circuit(result, Conditions(coil_driven=False))
    for text in ("dc pin logic0", "dc coil+ coil-", "ac line feed", "ac R2"):
        assert_allclose(shown(result, f"{text} relay off"), shown(result, text, off), atol=1e-6)
    assert shown(result, "ac feed neutral relay off") < 0.1
    assert shown(result, "dc pin logic0 relay off") > 4.9
    assert shown(result, "frequency relay off") == 0.0


def test_a_welded_contact_shows_with_the_relay_off() -> None:
    result = board("switched")
    _, welded = with_fault(build_circuit(result), "K1 contact welded", 0.5)
    assert_allclose(shown(result, "ac feed neutral relay off", welded), 230.0, rtol=1e-3)
    assert shown(result, "frequency relay off", welded) == pytest.approx(50.0)


def test_a_suppressor_feeds_a_meter_with_the_relay_off() -> None:
    """100 nF at 50 Hz is 31.8 kohm beside a meter of 5 Mohm: the ghost is nearly the mains.

    The chain loads it in one half wave only. In the low-impedance mode the divider is that of
    100 nF and 3 kohm: 230 V times 3 / sqrt(3.1^2 + 31.8^2).
    """
    result = parse_board(SUPPRESSED_TEXT)
    assert shown(result, "ac feed neutral relay off") > 150.0
    x_ohm = 1.0 / (2.0 * np.pi * 50.0 * 100e-9)
    loaded = 230.0 * 3e3 / np.hypot(3.1e3, x_ohm)
    assert_allclose(shown(result, "low z feed neutral relay off"), loaded, rtol=0.02)


@pytest.mark.parametrize(
    ("fault", "severity", "expected_v"),
    [
        # pull-up of 47 kohm against the meter's 10 Mohm
        ("healthy", 0.5, 5.0 * 10e6 / (10e6 + 47e3)),
        ("pin stuck low", 0.5, 0.0),
        ("OC1 transistor short", 0.5, 0.0),
        # a leak of 5.48 kohm, in the middle of 0.1 to 300 kohm in logs
        ("pin leaky", 0.5, 5.0 / (1.0 + 47e3 * (1 / 5.477e3 + 1 / 10e6))),
        # an open one still conducts: 2.17 Gohm, in the middle of 4.7 Mohm to 1 Tohm in logs
        ("pull-up open", 0.5, 5.0 * 10e6 / (2.168e9 + 10e6)),
        # the bench supply stands in for what is missing
        ("supply missing", 0.5, 5.0 * 10e6 / (10e6 + 47e3)),
        ("mains missing", 0.5, 5.0 * 10e6 / (10e6 + 47e3)),
    ],
)
def test_pin_on_a_bench_supply(fault: str, severity: float, expected_v: float) -> None:
    """Ohm's law; the transistor's dark current at 25 °C stays below 10 mV at the pull-up."""
    result = board("switched")
    _, circuit = with_fault(build_circuit(result), fault, severity)
    assert_allclose(shown(result, "dc pin logic0 bench supply", circuit), expected_v, atol=0.01)


@pytest.mark.parametrize("name", list(TEXTS))
def test_frequency_of_the_mains_where_it_is(name: str) -> None:
    result = board(name)
    assert shown(result, "frequency line neutral") == pytest.approx(50.0)
    assert shown(result, "frequency led+ led-") == 0.0
    assert shown(result, "duty line neutral") == pytest.approx(0.5, abs=0.01)


def test_half_a_sine_is_above_its_mean_for_so_long() -> None:
    """The mean of half a sine is peak / pi: it is above for 1/2 - asin(1/pi) / pi of the time."""
    expected = 0.5 - np.arcsin(1.0 / np.pi) / np.pi
    assert shown(board(), "frequency R2") == pytest.approx(50.0)
    assert shown(board(), "duty R2") == pytest.approx(expected, abs=0.01)


def test_states_agree_with_a_circuit_simulator() -> None:
    """The same readings with ngspice as the solver."""
    from zcd.spice.solve import Spice

    result = parse_board(SUPPRESSED_TEXT)
    circuit, spice = build_circuit(result), Spice()
    texts = ("dc pin logic0 bench supply", "ac feed neutral relay off", "frequency line neutral")
    readings = [parse_place(text, circuit) for text in texts]
    ours = MeterModel(result, circuit, usual_meter()).read(readings)
    theirs = MeterModel(result, circuit, usual_meter(), spice.solve, spice.solve_dead).read(
        readings
    )
    assert_allclose(ours, theirs, rtol=5e-3)


def test_every_state_is_checked_against_the_board() -> None:
    circuit = build_circuit(board())
    off = Reading(function=Function.DC, red="pin", black="logic0", power=Power.OFF)
    with pytest.raises(InputError, match="direct feed"):
        check_reading(circuit, off)
