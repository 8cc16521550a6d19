"""A batch as large as anybody will ask for: every row has its answer, and memory is bounded.

``python -m tests.margin.test_large_batches KIND SIZE`` judges one in a process of its own and tells
how long that took, what the process held, and what is wrong with the rows.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from time import process_time

import numpy as np
import pytest

from tests.benchmarks.growth import peak_bytes
from tests.diagnosis.boards import board
from tests.sampled import some
from zcd.margin.population import even_points
from zcd.margin.rule_margins import evaluate
from zcd.margin.tolerances import draw, tolerances_of

SMALL, MILLION = 1_200, 1_000_000
ALONE = 24
"""So many rows, taken at random, are judged again, each alone."""
PIECE_BYTES = 100_000_000
"""For the waveforms of one piece, however many pieces there are."""


def judged_whole(kind: str, size: int) -> dict[str, float]:
    """Draw a batch, judge it in one call, and look at every row of the answer."""
    result, rng = board(kind), np.random.default_rng(1)
    tolerances = tolerances_of(result)
    drawn = draw(result, tolerances, even_points(size, len(tolerances), rng))
    evaluate(drawn.rows(np.arange(2)), result)  # first use of anything is not counted
    Path("/proc/self/clear_refs").write_text("5")  # what drawing took at its height is not counted
    before, began = peak_bytes(), process_time()
    margins = evaluate(drawn, result).margins
    took_s, peak = process_time() - began, peak_bytes()
    rows = rng.choice(size, ALONE, replace=False)
    alone = [evaluate(drawn.rows(np.array([row])), result).margins[0] for row in rows]
    return {
        "rows": margins.shape[0],
        "unknown": int(np.count_nonzero(~np.isfinite(margins))),
        "apart": float(np.max(np.abs(np.array(alone) - margins[rows]))),
        "took_s": took_s,
        "result_bytes": margins.nbytes,
        "peak_bytes": peak,
        "grown_bytes": peak - before,
    }


@pytest.mark.parametrize("kind", some(["half-wave", "joint capacitor"], "joint capacitor"))
@pytest.mark.parametrize("size", [SMALL, pytest.param(MILLION, marks=pytest.mark.slow)])
def test_every_row_is_answered_as_if_alone(kind: str, size: int) -> None:
    line = [sys.executable, "-m", "tests.margin.test_large_batches", kind, str(size)]
    done = subprocess.run(line, capture_output=True, check=True, text=True)
    result = json.loads(done.stdout)
    assert result["rows"] == size
    assert result["unknown"] == 0
    assert result["apart"] < 1e-12  # rounding: each row is solved by itself
    assert result["grown_bytes"] <= result["result_bytes"] + PIECE_BYTES


if __name__ == "__main__":
    print(json.dumps(judged_whole(sys.argv[1], int(sys.argv[2]))))
