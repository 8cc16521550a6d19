"""The benchmark runs, and its unit of comparison answers the same question as the engine."""

from __future__ import annotations

import json

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.benchmarks.growth import good_boards, measured_alone
from tests.benchmarks.integrator import EVEN, OURS_FINE, error_ratio, our_current_a
from tests.benchmarks.reference import integrate_led_current
from tests.benchmarks.run import as_json, main
from tests.benchmarks.timing import Row, markdown
from tests.diagnosis.boards import board
from zcd.margin.population import draw_population
from zcd.margin.tolerances import tolerances_of


@pytest.mark.slow
def test_quick_run(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--quick"]) == 0
    head, rule, *lines = capsys.readouterr().out.splitlines()
    columns = head.count("|")
    assert rule.count("|") == columns
    assert len(lines) > 20
    for line in lines:
        assert line.count("|") == columns
        _, _, time, beside, ratio, *_ = line.split("|")
        assert float(time) > 0.0
        if beside.strip():
            assert float(ratio) > 0.0
        else:
            assert not ratio.strip()


def test_ratio_is_how_often_the_job_fits_into_what_stands_beside_it() -> None:
    row = Row(job="a", time_s=0.5e-3, beside="b", beside_s=1.0, peak_bytes=64_000_000)
    assert row.ratio == 2000.0
    assert markdown([row]).splitlines()[-1] == "| a | 0.500 | b | 2000 | 64 |"
    assert json.loads(as_json([row]))[0]["ratio"] == 2000.0


def test_pieces_count_the_good_boards_of_a_population(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.benchmarks.growth.DRAWN_ROWS", 32)
    result = board()
    whole = draw_population(result, tolerances_of(result), per_run=32, runs=3, seed=1)
    assert good_boards(result, 96) == np.count_nonzero(whole.rule_margins.passes)


def test_memory_is_that_of_the_process_that_did_it_alone() -> None:
    held = np.ones(50_000_000)  # 400 MB of ours must not be counted as the other's
    assert measured_alone("half-wave", 1)[1] < held.nbytes


@pytest.mark.parametrize("name", ["half-wave", "joint capacitor"])
def test_integrator_asks_the_same_question(name: str) -> None:
    """Peak within 0.1 %, the whole wave within 0.2 % of it."""
    by_integrator = integrate_led_current(points=EVEN, capacitor=name == "joint capacitor")
    by_engine = our_current_a(board(name), OURS_FINE)
    assert_allclose(by_integrator.max(), by_engine.max(), rtol=1e-3)
    assert error_ratio(by_integrator, by_engine) < 2e-3
