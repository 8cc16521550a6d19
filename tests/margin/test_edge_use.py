"""What a controller that uses both edges of a pulse may ask for, and one that uses one does not."""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose

import zcd
from zcd.margin.check import DUTY, NominalCheck, nominal_check
from zcd.margin.rules import Rule
from zcd.report.of_check_answer import finding_lines

HALF_WAVE = """
name = "Quillon P7 paint shaker, invented"
mains = "{mains}"
rectifier = "1N4007"
optocoupler = "817C"
chain = {{resistors = ["56k", "56k"], style = "1 W"}}
output = {{pull_up = "{pull_up}", supply = "5 V"}}
controller = {{edges = "{edges}"}}
"""


def check_of(
    edges: str = "both", mains: str = "230 V 50 Hz", pull_up: str = "10k"
) -> tuple[zcd.Board, NominalCheck]:
    board = zcd.loads(HALF_WAVE.format(edges=edges, mains=mains, pull_up=pull_up))
    return board, nominal_check(board)


def duty_of(check: NominalCheck) -> Rule[float] | None:
    return next((rule for rule in check.rules if rule.subject == DUTY), None)


@pytest.mark.parametrize(
    ("mains", "least", "most"),
    [("230 V 50 Hz", 0.444, 0.556), ("120 V 60 Hz", 0.462, 0.538)],
)
def test_both_halves_must_pass_as_half_periods(mains: str, least: float, most: float) -> None:
    """Espressif, esp-iot-solution, zero_detection: high time and low time, doubled, 45 to 65 Hz."""
    for pull_up in ("2k2", "10k", "100k"):
        _, check = check_of(mains=mains, pull_up=pull_up)
        rule = duty_of(check)
        assert rule is not None
        limit = least if rule.value < 0.5 else most
        assert_allclose(rule.limit, limit, atol=5e-4)
        assert rule.at_least is (rule.value < 0.5)
        assert (rule.status == "pass") is (least < rule.value < most)


def test_it_is_the_worst_level_that_counts() -> None:
    _, check = check_of(pull_up="2k2")
    rule = duty_of(check)
    assert rule is not None
    shares = [level.low_time_s / level.period_s for level in check.levels if level.period_s > 0.0]
    assert_allclose(rule.value, max(shares, key=lambda share: abs(share - 0.5)))


def test_one_edge_expects_nothing_of_the_duty() -> None:
    _, check = check_of(edges="one")
    assert duty_of(check) is None


def test_two_pulses_a_period_have_no_halves() -> None:
    """The crossing is in the middle of each pulse then, however long it is."""
    text = HALF_WAVE.format(edges="both", mains="230 V 50 Hz", pull_up="4k7")
    bridge = text.replace("chain = {", 'chain = {topology = "bridge", ').replace("1N4007", "MB6S")
    assert duty_of(nominal_check(zcd.loads(bridge))) is None


def test_half_cycles_timed_by_edges_use_both() -> None:
    text = HALF_WAVE.format(edges="one", mains="230 V 50 Hz", pull_up="10k")
    drive = text + 'drive = {half_cycles = "edges"}\n'
    assert duty_of(nominal_check(zcd.loads(drive))) is not None


def test_a_weak_pulse_warns_and_says_why() -> None:
    """As an expectation: nobody has read this controller."""
    board, half = check_of(pull_up="1k5")
    rule = duty_of(half)
    assert rule is not None
    assert rule.status == "warning"
    lines = [line for line in finding_lines(zcd.check(board)) if "share of the period" in line]
    assert len(lines) == 1
    assert lines[0].startswith("warning: share of the period that the pin is low ")
    assert "(at least 44.4 % wanted): some controllers that use both edges" in lines[0]
