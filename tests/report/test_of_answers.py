"""What the answers to the next reading would mean."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from tests.diagnosis.boards import board
from zcd.circuit.build import build_circuit
from zcd.diagnosis.expected_readings import ExpectedRange
from zcd.diagnosis.faults import HEALTHY
from zcd.diagnosis.functions import Function
from zcd.diagnosis.next_reading import Answer, Suggestion
from zcd.diagnosis.readings import AccessLevel, Measured, Reading
from zcd.report.of_answers import Meaning, apart, meanings_of, suggestion_lines

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


ROW = ("R1", "R2")


def step(*answers: Answer, good: ExpectedRange = GOOD) -> Suggestion:
    return Suggestion(
        reading=Reading(function=Function.OHM, red="feed", black="chain.2"),
        access=AccessLevel.DEAD,
        gain_bits=1.0,
        open_bits=2.0,
        outcomes=(),
        good=good,
        answers=answers,
    )


def lines(suggestion: Suggestion, **more: Any) -> list[str]:
    return [meaning.text(4) for meaning in meanings_of(suggestion, row=ROW, **more)]


GOOD_ONE = answer(90e3, 98e3, HEALTHY.key)


def test_each_value_of_a_row_has_an_answer() -> None:
    """1 and 9 MOhm meet at 3, their geometric mean; what is over a good board's is one of the row,
    as parts in parallel only lower ohms."""
    drift, opened = answer(200e3, 1e6, "R1 drift"), answer(9e6, np.inf, "R1 open", "R2 open")
    assert lines(step(GOOD_ONE, drift, opened)) == [
        "90 to 98 kΩ, as on a good board",
        "98 kΩ to 3 MΩ: R1 gone high",
        "3 MΩ to OL: R1 or R2 open",
    ]
    assert lines(step(GOOD_ONE, opened))[1] == "98 kΩ to OL: R1 or R2 open or gone high"
    assert lines(step(GOOD_ONE, opened), most=2)[1] == "98 kΩ to OL: R1 or R2 open or gone high"


def test_a_row_says_what_a_high_reading_means_though_nothing_is_likely() -> None:
    assert lines(step(GOOD_ONE)) == [
        "90 to 98 kΩ, as on a good board",
        "98 kΩ to OL: R1 or R2 open or gone high",
    ]


def test_a_size_that_is_known_is_told_beside_the_range() -> None:
    about = answer(205e3, 215e3, "R1 drift")
    told = lines(step(GOOD_ONE, about))[1]
    assert told == "over 98 kΩ (about 210 kΩ if it alone is bad): R1 gone high"


def test_more_answers_than_there_is_room_for_are_one() -> None:
    drift, opened = answer(200e3, 1e6, "R1 drift"), answer(9e6, np.inf, "R1 open")
    short = answer(0.0, 0.0, "LED short")
    assert lines(step(GOOD_ONE, drift, opened, short), most=3) == [
        "90 to 98 kΩ, as on a good board",
        "98 kΩ to OL: R1 gone high or open",
        "0 Ω: LED short",
    ]


def test_what_a_good_reading_leaves_begins_with_what_the_headline_names() -> None:
    suggestion = step(answer(90e3, 98e3, "R2 leaky", "OC1 aged"), answer(9e6, np.inf, "R1 open"))
    left = lines(suggestion, headline={"OC1 aged"})[0]
    assert left.endswith("still possible: OC1 aged, R2 leaky")


def test_a_misfit_is_told_in_words() -> None:
    misfit = Meaning("4.7 kΩ", ("R1 wrong value x0.1", "R1 low"))
    assert misfit.text(4) == "4.7 kΩ: R1 a tenth of its value fitted or gone low"


def test_a_drift_and_a_wrong_value_of_one_part_are_one_answer() -> None:
    """470 k in place of 47 k is ten times its value, or drifted: no meter parts the two."""
    misfit, drift = answer(239e3, 480e3, "R1 wrong value x10"), answer(320e3, 655e3, "R1 drift")
    good = answer(90e3, 98e3, HEALTHY.key)
    told = [each.keys for each in apart((good, misfit, drift), GOOD)]
    assert told == [(HEALTHY.key,), ("R1 wrong value x10", "R1 drift")]


def test_a_lone_reading_that_is_taken_again_contradicts_nothing() -> None:
    reading = Reading(function=Function.OHM, red="feed", black="chain.2")
    again = replace(step(GOOD_ONE), again=Measured(reading=reading, value=470e3))
    circuit = build_circuit(board())
    assert suggestion_lines(again, circuit, doubted=False)[0].endswith(" Again: it showed 470 kΩ.")
