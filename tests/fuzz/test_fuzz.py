"""A sample of the fuzzing of every reader; ``python -m tests.fuzz 100000`` does it at length."""

from __future__ import annotations

import pytest

from tests.fuzz.__main__ import fuzz
from tests.fuzz.targets import TARGETS, Target

FEW, MANY = 250, 20_000
"""Inputs in all."""


@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.name)
def test_a_sample_of_inputs(target: Target) -> None:
    count = FEW * target.share // 1000
    assert fuzz(target, count).total() >= count


@pytest.mark.slow
@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.name)
def test_many_inputs(target: Target) -> None:
    assert fuzz(target, MANY * target.share // 1000, start=1)["read"]
