"""Inputs of controllers, and the pull-up inside: from the file to the circuit."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest
from numpy.testing import assert_allclose

from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.board.parts_library import odd_values
from zcd.board.pins import INTERNAL_PULL_UP, pin_input, pin_inputs
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import is_hidden
from zcd.diagnosis.faults import faults_of
from zcd.diagnosis.meter_model import MeterModel, unplugged
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.reading_syntax import parse_place
from zcd.diagnosis.readings import useful_readings
from zcd.drawing.schematic import schematic
from zcd.errors import InputError
from zcd.margin.check import nominal_check
from zcd.margin.tolerances import tolerances_of
from zcd.substitutes.search import replaceable_refs
from zcd.sync.lock import lock_of

TEXT = """mains = "120 V 60 Hz"
rectifier = "1N4007"
optocoupler = "817 B"
chain = {{resistors = ["51k", "47k"], style = "1/2 W"}}
output = {{{output}, supply = "5 V"}}
controller = {{{controller}}}"""


OF_5_V = ("RL78/G12 TTL", "TTL", "8051", "PIC16F TTL")


def board(output: str, controller: str = 'input = "ATmega328P"') -> Board:
    return parse_board(TEXT.format(output=output, controller=controller))


ALONE = board('internal_pull_up = "on"')
BESIDE = board('pull_up = "22k", internal_pull_up = "on"')


def value_ohm(whole: Board, ref: str = INTERNAL_PULL_UP) -> float:
    return float(np.asarray(build_circuit(whole)[ref].values()["resistance_ohm"]))


@pytest.mark.parametrize("whole", [ALONE, BESIDE], ids=["alone", "beside"])
def test_pull_up_of_the_named_input(whole: Board) -> None:
    """ATmega328P: 20 to 50 kohm; the resistor between them, and both ends as tolerance."""
    assert value_ohm(whole) == 35e3
    (span,) = (t for t in tolerances_of(whole) if t.name == INTERNAL_PULL_UP)
    assert_allclose([span.low * 35e3, span.high * 35e3], [20e3, 50e3])


def test_pull_up_of_a_controller_that_nobody_named() -> None:
    (span,) = (
        t for t in tolerances_of(board('internal_pull_up = "ON"', "")) if t.name == INTERNAL_PULL_UP
    )
    assert_allclose([span.low * 55e3, span.high * 55e3], [10e3, 100e3])


def test_written_pull_up_is_known() -> None:
    whole = board('internal_pull_up = "36k"')
    assert value_ohm(whole) == 36e3
    assert INTERNAL_PULL_UP not in {t.name for t in tolerances_of(whole)}


def test_beside_a_resistor_it_is_parallel() -> None:
    """22 kohm and 36 kohm pull as 13.655 kohm alone does: the same pulse."""
    both = board('pull_up = "22k", internal_pull_up = "36k"')
    one = board('pull_up = "13655.17"')
    times = [lock_of(build_circuit(b), b).pulses.low_time_s[0, 0] for b in (both, one)]
    assert_allclose(times[0], times[1], rtol=1e-6)


@pytest.mark.parametrize("whole", [ALONE, BESIDE], ids=["alone", "beside"])
def test_it_is_no_part_of_the_board(whole: Board) -> None:
    """No fault, no reading, no replacement, no rating, no marking; the diagram is drawn."""
    circuit = build_circuit(whole)
    assert is_hidden(circuit[INTERNAL_PULL_UP])
    assert not [fault for fault in faults_of(circuit) if fault.part == INTERNAL_PULL_UP]
    words = [reading.words for reading in useful_readings(whole, circuit)]
    assert not [text for text in words if INTERNAL_PULL_UP in text]
    assert INTERNAL_PULL_UP not in replaceable_refs(whole)
    rules = nominal_check(whole).rules
    assert not [rule.name for rule in rules if rule.name.startswith(INTERNAL_PULL_UP)]
    assert not [rule.name for rule in rules if inf in (rule.limit, rule.value)]
    assert odd_values(whole) == ()
    assert schematic(whole, circuit) is not None


def test_an_ohmmeter_does_not_see_it() -> None:
    circuit = build_circuit(BESIDE)
    reading = parse_place("ohm logic+ pin", circuit, "reading")
    shown = MeterModel(BESIDE, circuit, usual_meter()).read([reading])[0, 0]
    assert_allclose(shown, 22e3, rtol=1e-3)
    assert unplugged(circuit)[INTERNAL_PULL_UP].values()["resistance_ohm"] == inf


@pytest.mark.parametrize(
    ("name", "supply_v", "low_v", "high_v", "hysteresis_v"),
    [
        ("ATmega328P", 5.0, 1.5, 3.0, 0.0),
        ("stm8s", 5.0, 1.5, 3.5, 0.7),
        ("STM32F405 TTL", 3.3, 0.8, 2.0, 0.2),
        ("RL78/G12 TTL", 5.0, 0.8, 2.2, 0.0),
        ("MC9S08SC4", 5.0, 1.75, 3.25, 0.3),
    ],
)
def test_levels_at_a_supply(
    name: str, supply_v: float, low_v: float, high_v: float, hysteresis_v: float
) -> None:
    pin = pin_input(name, supply_v)
    assert_allclose([pin.low_v, pin.high_v, pin.hysteresis_v], [low_v, high_v, hysteresis_v])


def test_thresholds_go_from_guaranteed_to_half_the_hysteresis_from_the_middle() -> None:
    """STM8S on 5 V: guaranteed 1.5 and 3.5 V, 0.7 V between the levels at which it switches."""
    whole = board('pull_up = "22k"', 'input = "STM8S"')
    assert whole.controller.low_threshold_v == 1.5
    spans = {t.name: (t.low, t.high) for t in tolerances_of(whole) if "threshold" in t.name}
    assert_allclose(spans["low threshold"], (1.5, 2.15))
    assert_allclose(spans["high threshold"], (2.85, 3.5))


def test_written_threshold_goes_before_the_input() -> None:
    whole = board('pull_up = "22k"', 'input = "STM8S", low_threshold = "1.2 V"')
    assert (whole.controller.low_threshold_v, whole.controller.high_threshold_v) == (1.2, 3.5)


@pytest.mark.parametrize("name", pin_inputs())
def test_every_input_makes_a_board(name: str) -> None:
    text = TEXT.format(output='internal_pull_up = "on"', controller=f'input = "{name}"')
    supply_v = 5.0 if name in OF_5_V else 3.3
    whole = parse_board(text.replace("5 V", f"{supply_v} V"))
    assert 0.0 < whole.controller.low_threshold_v < whole.controller.high_threshold_v < supply_v


@pytest.mark.parametrize("name", OF_5_V)
def test_levels_of_a_5_v_sheet_are_none_at_3_3_v(name: str) -> None:
    """RL78/G12: 0.8 V is low from 4.0 V of supply up; below that the sheet says 0.5 V."""
    with pytest.raises(InputError, match=r'found ".* at 3.3 V"; allowed: low_threshold and high'):
        pin_input(name, 3.3)


@pytest.mark.parametrize(
    ("output", "controller", "message"),
    [
        ('internal_pull_up = "maybe"', "", r'output.internal_pull_up: found "maybe".*"on"'),
        ('pull_down = "4k7", internal_pull_up = "on"', "", 'output: found "both".*or a pull_down'),
        (
            'pull_up = "22k"',
            'min_low_time = "9 ms", min_high_time = "8 ms"',
            'controller.min_low_time: found "9 ms".*less than a period, 16.67 ms',
        ),
        ('pull_up = "22k"', 'input = "ATmega32"', 'controller.input.*did you mean "ATmega328P"'),
    ],
)
def test_what_cannot_be_used_is_refused(output: str, controller: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        board(output, controller)
