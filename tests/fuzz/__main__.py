"""Fuzzing by hand: ``python -m tests.fuzz 100000``, or fewer, of all readers or of one.

Prints how many inputs each reader was given, and how many of them it read or refused.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from typing import Any

from hypothesis import HealthCheck, Phase, given, seed, settings

from tests.fuzz.judge import outcome
from tests.fuzz.targets import TARGETS, Target


def fuzz(target: Target, count: int, start: int = 0) -> Counter[str]:
    """Give a reader a number of inputs; the first failure is shrunk and raised."""
    told: Counter[str] = Counter()

    @seed(start)
    @settings(
        max_examples=count,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
        phases=(Phase.generate, Phase.shrink),
    )
    @given(target.inputs)
    def tried(value: Any) -> None:
        told[outcome(target.run, value, target.longest_s)] += 1

    tried()
    return told


def main(words: list[str]) -> None:
    """Fuzz all readers, or those whose names begin with a word."""
    total = int(words[0]) if words else 1_000
    start = int(words[2]) if len(words) > 2 else 0
    print(f"{'reader':<22}{'inputs':>9}{'read':>9}{'refused':>9}{'s of CPU':>10}")
    for target in TARGETS:
        if len(words) > 1 and not target.name.startswith(words[1]):
            continue
        began = time.process_time()
        told = fuzz(target, max(total * target.share // 1000, 1), start)
        spent = time.process_time() - began
        counts = f"{told.total():>9}{told['read']:>9}{told['refused']:>9}"
        print(f"{target.name:<22}{counts}{spent:>10.1f}", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
