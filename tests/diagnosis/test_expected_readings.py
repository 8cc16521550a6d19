"""The bench card: safest readings first, each with what tells a fault from a good board."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.diagnosis.atlases import atlas_of
from tests.diagnosis.boards import board
from tests.sampled import some
from zcd.board.files import parse_board
from zcd.diagnosis.expected_readings import ExpectedReading, good_board, list_expected_readings
from zcd.diagnosis.fault_dictionary import make_fault_dictionary
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import AcKind, usual_meter
from zcd.diagnosis.reading_syntax import parse_place
from zcd.diagnosis.readings import AccessLevel, parts_over
from zcd.diagnosis.samples import bench_tolerances, sample_meter
from zcd.margin.tolerances import draw


@cache
def card(name: str = "switched") -> tuple[ExpectedReading, ...]:
    return list_expected_readings(atlas_of(name))


def line(function: Function, a: str, b: str) -> ExpectedReading:
    return next(
        item for item in card()
        if (item.reading.function, item.reading.red, item.reading.black) == (function, a, b)
    )  # fmt: skip


def test_dead_first_live_last() -> None:
    order = [list(AccessLevel).index(item.access) for item in card()]
    assert order == sorted(order)
    assert card()[0].access is AccessLevel.DEAD
    assert card()[-1].access is AccessLevel.LIFTED


def test_an_open_led_of_two_is_told_by_half_the_pulses() -> None:
    (item,) = (
        each
        for each in card("two-led")
        if each.reading.function is Function.FREQUENCY and each.reading.red == "pin"
    )
    assert item.healthy.high == 100.0
    assert {item.faults[f"OC1 {led} open"].high for led in ("LED", "second LED")} == {50.0}


def test_ohms_over_a_resistor_tells_its_own_faults_only() -> None:
    item = line(Function.OHM, "chain.1", "chain.2")
    assert item.over == "R2"
    modes = ("open", "drift", "low", "leaky", "short", "wrong value x0.1", "wrong value x10")
    assert set(item.faults) == {f"R2 {mode}" for mode in modes} | {"chain leaky"}
    assert item.healthy.low < 130e3 < item.healthy.high
    assert item.faults["R2 open"].low > item.faults["R2 drift"].high
    assert np.isinf(item.faults["R2 open"].middle)


def test_wrong_part_is_told_by_ohms() -> None:
    """A value a decade off, either way, reads as that value and not as a good board."""
    item = line(Function.OHM, "chain.1", "chain.2")
    low, high = (item.faults[f"R2 wrong value {way}"] for way in ("x0.1", "x10"))
    assert low.low < 13e3 < low.high < item.healthy.low
    assert item.healthy.high < high.low < 1.3e6 < high.high


def test_a_good_chain_may_have_all_its_resistors_at_one_end_of_their_tolerance() -> None:
    """As parts of one reel: the ends of a sum are the sums of the ends, with the meter's error."""
    whole = line(Function.OHM, "feed", "chain.2").healthy
    single = [
        line(Function.OHM, *ends).healthy for ends in (("feed", "chain.1"), ("chain.1", "chain.2"))
    ]
    assert whole.low == pytest.approx(sum(each.low for each in single), rel=2e-3)
    assert whole.high == pytest.approx(sum(each.high for each in single), rel=2e-3)


def test_a_known_resistor_has_no_range_of_one_that_nobody_could_read() -> None:
    """Both 30 k as far as the file goes; within 5 % and the meter's error only the one that was
    read (E24 series, IEC 60063)."""
    made = make_fault_dictionary(
        parse_board(
            'mains = "110-120V 60Hz"\nrectifier = "M7"\noptocoupler = "817C"\n'
            'chain = {resistors = ["?", "30k"], style = "1206"}\n'
            'output = {pull_up = "47k", supply = "3.3 V"}\n'
        ),
        usual_meter(),
    )
    unread, known = (
        good_board(made, parse_place(f"ohm {ref}", made.circuit)) for ref in ("R1", "R2")
    )
    assert unread.high > 2.0 * 30e3
    assert 28e3 < known.low < 30e3 < known.high < 33e3


def test_driven_coil_tells_its_driver() -> None:
    item = line(Function.DC, "coil+", "coil-")
    assert "K1 driver open" in item.faults
    assert "K1 contact open" not in item.faults


def test_healthy_is_in_order() -> None:
    for item in card():
        assert item.healthy.low <= item.healthy.middle <= item.healthy.high
        assert "healthy" not in item.faults


CHEAP = replace(usual_meter(), dc_input_ohm=1e6, ac_input_ohm=1e6, ac_kind=AcKind.AVERAGE)
BOARDS, LEAST_INSIDE = 500, 0.97


@pytest.mark.parametrize("name", some(["switched", "bridge", "half-wave-clamped"], "bridge"))
def test_a_good_board_reads_within_what_is_said_of_one(name: str) -> None:
    """Boards drawn apart from the samples, each with all that is unknown of board and meter
    anywhere in its span, and the meter off by anything up to its accuracy."""
    dictionary, rng = make_fault_dictionary(board(name), CHEAP), np.random.default_rng(7)
    unknown = bench_tolerances(board(name))
    drawn = draw(board(name), unknown, rng.uniform(size=(BOARDS, len(unknown)))).circuit
    meter = sample_meter(board(name), drawn, CHEAP, BOARDS, rng.permutation(BOARDS))
    dictionary.prepare(dictionary.readings)
    for reading in dictionary.readings:
        row = reading.function.row
        off = row.accuracy_ratio(CHEAP) * rng.uniform(-1.0, 1.0, BOARDS)
        shown, good = meter.read([reading])[:, 0] * (1.0 + off), good_board(dictionary, reading)
        last_digit = 0.0 if row.decades else row.floor
        inside = (shown >= good.low - last_digit) & (shown <= good.high + last_digit)
        assert inside.mean() >= LEAST_INSIDE, reading.words


def test_parts_over_leaves_out_what_is_no_part() -> None:
    dictionary = make_fault_dictionary(board("half-wave-clamped"), usual_meter(), samples=2)
    assert parts_over(dictionary.circuit, "led+", "neutral") == "OC1.led, D2"
