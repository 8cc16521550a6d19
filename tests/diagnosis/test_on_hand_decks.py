"""Faults on decks written by hand: told by the readings that the tool asks for, one by one.

Forty faults on three invented boards; the bench has a handheld meter and no scope. An answer is
right if what is named, or one of what is named together, is at the part that is wrong.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.diagnosis.hand_decks import BOARDS, TUMBLER, HandBench, HandBoard, Trial
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.rank import Diagnosis, diagnose
from zcd.diagnosis.readings import Measured, Reading
from zcd.spice.simulator import simulator

LEAST_RIGHT, MOST_READINGS, MEAN_READINGS = 0.95, 15, 6.0
FEW = ("R1 open", "D1 short", "K1 driver open")


@pytest.fixture(scope="module", autouse=True)
def _ngspice() -> None:
    simulator()


def _followed(
    dictionary: FaultDictionary, made: HandBoard, trial: Trial, seed: int
) -> tuple[Diagnosis, int]:
    """Take what is asked until nothing is; what takes a scope is skipped."""
    bench = HandBench(made=made, trial=trial, seed=seed)
    taken: list[Measured] = []
    skipped: list[Reading] = []
    while True:
        result = diagnose(dictionary, taken, skipped)
        if result.suggestion is None:
            return result, len(taken)
        shown = bench.take(result.suggestion.reading)
        if shown is None:
            skipped.append(result.suggestion.reading)
        else:
            taken.append(shown)


def _is_right(result: Diagnosis, trial: Trial) -> bool:
    return any(r.key.startswith(trial.parts) for r in result.indistinguishable)


@cache
def _of_tumbler() -> FaultDictionary:
    return make_fault_dictionary(TUMBLER.board, usual_meter())


@pytest.mark.parametrize("name", FEW)
def test_a_few_of_one_board(name: str) -> None:
    trial = next(t for t in TUMBLER.trials if t.name == name)
    result, taken = _followed(_of_tumbler(), TUMBLER, trial, 1)
    assert _is_right(result, trial), result.conclusion
    assert taken <= MOST_READINGS


@pytest.mark.slow
def test_forty_faults() -> None:
    """Right in 19 of 20, never wrong and sure; readings few, on average and at most."""
    rows, number = [], 0
    for made in BOARDS:
        dictionary = make_fault_dictionary(made.board, usual_meter())
        for trial in made.trials:
            result, taken = _followed(dictionary, made, trial, number)
            rows.append((_is_right(result, trial), result.stopped == "sure", taken))
            print(made.board.name, trial.name, *rows[-1], result.conclusion, sep="; ")
            number += 1
    right, sure, taken = (np.array(column) for column in zip(*rows, strict=True))
    assert len(rows) == 40
    assert right.mean() >= LEAST_RIGHT
    assert not np.any(sure & ~right)
    assert taken.max() <= MOST_READINGS
    assert taken.mean() <= MEAN_READINGS
