"""What the answers to the next reading would mean."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from zcd.diagnosis.expected_readings import ExpectedRange
from zcd.diagnosis.faults import HEALTHY
from zcd.diagnosis.next_reading import Answer
from zcd.report.of_answers import Meaning, apart

GOOD = ExpectedRange(low=90e3, middle=94e3, high=98e3)


def answer(low: float, high: float, *keys: str) -> Answer:
    return Answer(low=low, high=high, keys=keys)


def ranges(*answers: Answer) -> list[tuple[float, float, tuple[str, ...]]]:
    return [(each.low, each.high, each.keys) for each in apart(answers, GOOD)]


def test_what_a_good_board_shows_too_has_its_range() -> None:
    """93 to 96 k lies within 90 to 98 k; what goes beyond that begins where it ends."""
    assert ranges(answer(93e3, 96e3, "K1 contact open"), answer(95e3, 2e6, "R1 drift")) == [
        (90e3, 98e3, ("K1 contact open",)),
        (98e3, 2e6, ("R1 drift",)),
    ]


def test_an_answer_on_both_sides_of_a_good_board_is_two() -> None:
    shown = ranges(answer(90e3, 98e3, HEALTHY.key), answer(50e3, 200e3, "R1 drift"))
    assert shown == [
        (90e3, 98e3, (HEALTHY.key,)),
        (50e3, 90e3, ("R1 drift",)),
        (98e3, 200e3, ("R1 drift",)),
    ]


def test_two_that_overlap_meet_in_the_middle_and_one_within_the_other_goes_with_it() -> None:
    """1 to 4 and 2.25 to 9: the geometric mean of 2.25 and 4 is 3; 5 to 6 lies within the last."""
    shown = ranges(answer(1.0, 4.0, "a"), answer(2.25, 9.0, "b"), answer(5.0, 6.0, "c"))
    assert shown == [(1.0, 3.0, ("a",)), (3.0, 9.0, ("b", "c"))]


def test_a_short_and_an_open_part_are_two_answers() -> None:
    """Nothing but 0 shows the one, nothing below 2.7 V the other."""
    assert ranges(answer(0.0, 0.0, "LED short"), answer(2.7, np.inf, "LED open")) == [
        (0.0, 0.0, ("LED short",)),
        (2.7, np.inf, ("LED open",)),
    ]


@pytest.mark.parametrize("seed", range(40))
def test_ranges_never_overlap_and_no_fault_is_lost(seed: int) -> None:
    """Intervals drawn at random, some to overload."""
    random = np.random.default_rng(seed)
    given = []
    for number in range(random.integers(1, 9)):
        low, high = np.sort(10.0 ** random.uniform(3.0, 7.0, 2))
        high = np.inf if random.random() < 0.2 else high
        given.append(answer(float(low), float(high), f"fault {number}"))
    shown = ranges(*given)
    for (_, high, _), (low, _, _) in pairwise(sorted(shown)):
        assert high <= low
    assert {key for _, _, keys in shown for key in keys} == {k for a in given for k in a.keys}


def test_parts_of_which_the_same_is_said_share_an_answer() -> None:
    row = ("R1 open", "R2 open", "BR1~1+ short", "BR1-~2 short", "R1 drift + R2 drift")
    assert Meaning("OL", row).text(4) == "OL: R1 or R2 open, a diode of BR1 short and 1 more"
    good = Meaning("110 kΩ", ("K1 contact open", "R1 drift", "R2 drift"), as_good=True)
    assert good.text(1).endswith("still possible: K1 contact open or 2 more")
