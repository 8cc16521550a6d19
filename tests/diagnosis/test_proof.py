"""Right on circuits that are not the engine's own: ngspice, with a transistor as output stage.

Goals: of the cases whose faults the readings taken can tell apart (no other fault of any size
shows the same, within one standard error, at each of them), 95 % in the first place and 99 % in
the first three; at least 40 % fewer readings than down the bench card.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.diagnosis.proof import figures, run
from zcd.spice.simulator import simulator

CASES, SEED = 1000, 2026


@pytest.fixture(scope="module", autouse=True)
def _ngspice() -> None:
    simulator()


def test_a_few_cases_from_transistor_level() -> None:
    """One fault on each of three boards: more is slow, and stands below."""
    results = list(run(6, 11, ("half-wave", "clamped", "bridge"), every=0))
    print(figures(results))
    apart = [r for r in results if r.told_apart]
    assert len(results) == 6
    assert sum(r.right for r in apart) >= len(apart) - 1, [r for r in apart if not r.right]


@pytest.mark.slow
def test_cases_from_transistor_level() -> None:
    results = list(run(CASES, SEED))
    print(figures(results))
    apart = [r for r in results if r.told_apart]
    both = [r for r in results if r.fixed]
    assert np.mean([r.right for r in apart]) >= 0.95, [r for r in apart if not r.right]
    assert np.mean([r.place <= 3 for r in apart]) >= 0.99
    assert sum(r.taken for r in both) <= 0.6 * sum(r.fixed for r in both)
