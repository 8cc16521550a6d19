"""Both solvers over a battery of boards, at the limits of the project's design.

A sample always runs; all of it is marked slow. Where the two differ by more, a finer grid of the
engine's own decides who is wrong; so far it was the engine's grid, in circuits with capacitors.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count as count_from
from itertools import islice

import numpy as np
import pytest

from tests.spice.battery import NEAR, SIZE, Agreement, agreement, case, excess, traced_case
from zcd.board.model import Topology
from zcd.diagnosis.functions import Function

STEP = 18
TRACED_SIZE, TRACED_STEP = 120, 20
JOINTS = 48
PULSE_WORDS = ("edge", "low time", "duty", "frequency")


def near_threshold(found: Agreement) -> bool:
    """Whether the pin turns round so near a threshold that a pulse may be there or not."""
    reaches = [answer.lock.margins[0, :2] for answer in (found.ours, found.equations)]
    return bool(np.min(np.abs(reaches)) < NEAR)


def excesses(battery: Sequence[Agreement]) -> dict[str, list[float]]:
    """Difference over what is allowed, by kind of quantity."""
    kinds: dict[str, list[float]] = {"current": [], "power": [], "reading": [], "edge": []}
    for result in battery:
        for line in result.lines:
            about_pulses = any(word in line.name for word in PULSE_WORDS)
            if about_pulses and near_threshold(result):
                continue
            kind = "reading" if line.reading is not None or line.unit == "V" else ""
            kind = kind or {"A": "current", "W": "power", "s": "edge"}[line.unit]
            kinds[kind].append(excess(line))
    return kinds


def assert_agreement(battery: Sequence[Agreement]) -> None:
    """Within 0.5 % (or 5 mV, 1 uA, 10 us) in every line; lock the same in every case."""
    for kind, values in excesses(battery).items():
        assert np.max(values, initial=0.0) <= 1.0, kind
    assert [result.case.number for result in battery if not result.locks_agree] == []


@pytest.mark.slow
def test_battery_holds_all_that_a_board_may_be() -> None:
    """Topologies, options, voltages, frequencies, faults and meters: all are drawn."""
    cases = [case(number) for number in range(SIZE)]
    assert {result.board.topology for result in cases} == set(Topology)
    assert len({result.fault for result in cases}) > 40
    rms = [result.board.mains.rms_v for result in cases]
    hertz = [result.board.mains.frequency_hz for result in cases]
    assert min(rms) < 105.0
    assert max(rms) > 259.0
    assert min(hertz) < 46.0
    assert max(hertz) > 64.0
    assert {reading.function for result in cases for reading in result.readings} == set(Function)
    for option in ("led_resistor", "led_capacitor", "joint_capacitor", "relay", "return_chain"):
        assert any(getattr(result.board, option) for result in cases)
    assert any(result.board.relay and result.board.relay.suppressor for result in cases)
    assert any(result.board.output.kind == "emitter-follower" for result in cases)
    assert any(result.board.output.pin_capacitor for result in cases)
    assert any(len(result.board.chains) > 1 for result in cases)
    assert any(result.board.rectifier_first for result in cases)
    assert any(result.board.mains.harmonics for result in cases)


def test_a_case_is_always_the_same() -> None:
    assert str(case(7)) == str(case(7))


def test_both_solvers_agree_over_a_sample() -> None:
    """Every eighteenth of the battery: all topologies."""
    sample = [case(number) for number in range(0, SIZE, STEP)]
    assert {each.board.topology for each in sample} == set(Topology)
    assert_agreement([agreement(each) for each in sample])


@pytest.mark.parametrize("number", [45, 63, 202, 220, 225, 247])
def test_both_solvers_agree_where_points_were_wanting(number: int) -> None:
    """A chain of 41 ohm; an LED whose voltage dips; what a suppressor lets through; next to no
    current; a charge that ends as the LED turns on; a suppressor before a capacitor over the
    LED."""
    assert_agreement([agreement(case(number))])


@pytest.mark.slow
def test_both_solvers_agree_over_the_battery() -> None:
    assert_agreement([agreement(case(number)) for number in range(SIZE)])


def behind_a_joint(count: int) -> list[Agreement]:
    """The first so many boards beyond the battery that have a capacitor at a joint."""
    cases = (case(number) for number in count_from(SIZE))
    return [
        agreement(each) for each in islice((c for c in cases if c.board.joint_capacitor), count)
    ]


def test_both_solvers_agree_behind_a_capacitor_at_a_joint() -> None:
    """Its charge flows through LED or clamp from one microsecond to the next."""
    assert_agreement(behind_a_joint(2 * JOINTS // STEP))


@pytest.mark.slow
def test_both_solvers_agree_behind_more_capacitors_at_a_joint() -> None:
    assert_agreement(behind_a_joint(JOINTS))


@pytest.mark.slow
def test_traced_circuits_hold_all_that_such_a_circuit_may_be() -> None:
    boards = [traced_case(number).board for number in range(TRACED_SIZE)]
    links = [board.traced.links for board in boards if board.traced is not None]
    assert len({tuple(link.ref for link in each) for each in links}) > 40
    assert {board.lit_twice for board in boards} == {False, True}
    assert any(board.relay for board in boards)
    assert len({traced_case(number).fault for number in range(TRACED_SIZE)}) > 30


def test_both_solvers_agree_over_a_sample_of_traced_circuits() -> None:
    """Circuits drawn part by part, with faults and meters as the other boards."""
    assert_agreement([agreement(traced_case(n)) for n in range(0, TRACED_SIZE, TRACED_STEP)])


@pytest.mark.slow
def test_both_solvers_agree_over_all_traced_circuits() -> None:
    assert_agreement([agreement(traced_case(number)) for number in range(TRACED_SIZE)])
