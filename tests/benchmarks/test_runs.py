"""The benchmark runs, and its unit of comparison answers the same question as the engine."""

from __future__ import annotations

import json

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.benchmarks.reference import POINTS, integrate_led_current
from tests.benchmarks.run import UNIT, main, ratios
from tests.diagnosis.boards import board
from zcd.circuit.build import build_circuit
from zcd.engine.solve import Grid, solve


def test_quick_run(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--quick", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["seconds"].keys() == found["ratio"].keys()
    assert found["ratio"][UNIT] == 1.0
    assert all(time > 0.0 for time in found["seconds"].values())


def test_ratios_are_of_one_run() -> None:
    assert ratios({UNIT: 2.0, "other": 1.0}) == {UNIT: 1.0, "other": 0.5}


def test_unit_of_comparison_asks_the_same_question() -> None:
    """Peak within 0.1 %, the whole wave within 0.2 % of it."""
    by_integrator = integrate_led_current()
    solution = solve(build_circuit(board()), Grid(points=POINTS, refine=False))
    by_engine = solution.currents_a["OC1.led"][0]
    assert_allclose(by_integrator.max(), by_engine.max(), rtol=1e-3)
    assert np.max(np.abs(by_integrator - by_engine)) < 2e-3 * by_engine.max()
