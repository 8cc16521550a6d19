"""A batch is as good as its rows: in any order, in pieces of any size, and without growing."""

from __future__ import annotations

import tracemalloc
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.boards import VARIANTS
from tests.diagnosis.boards import SUPPRESSED_TEXT
from zcd.board.files import parse_board
from zcd.circuit.build import Conditions, build_circuit
from zcd.circuit.elements import Circuit
from zcd.engine import solution
from zcd.engine import solve as solver
from zcd.engine.solve import PULSES, WINDOW_CYCLES, solve
from zcd.margin.population import even_points
from zcd.margin.rule_margins import evaluate
from zcd.margin.tolerances import Boards, draw, tolerances_of
from zcd.sync.lock import lock_of

ATOL = 1e-11
"""Of a margin: each row is solved by itself, so that only sums differ, by rounding."""
BOARDS = 24
each_kind = pytest.mark.parametrize("name", ["half-wave", "bridge", "joint capacitor"])


def boards(name: str, size: int = BOARDS) -> Boards:
    """Boards of one design, each with its own tolerances, mains, harmonics and heat."""
    design = VARIANTS[name]
    tolerances = tolerances_of(design)
    shares = even_points(size, len(tolerances), np.random.default_rng(7))
    return draw(design, tolerances, shares)


def margins(name: str, drawn: Boards) -> NDArray[np.float64]:
    return evaluate(drawn, VARIANTS[name], PULSES).margins


@each_kind
def test_boards_alone_are_judged_as_together(name: str) -> None:
    drawn = boards(name)
    alone = [margins(name, drawn.rows(np.array([row]))) for row in range(BOARDS)]
    assert_allclose(np.concatenate(alone), margins(name, drawn), rtol=0.0, atol=ATOL)


@each_kind
def test_order_of_boards_is_free(name: str) -> None:
    drawn, order = boards(name), np.random.default_rng(3).permutation(BOARDS)
    assert_allclose(
        margins(name, drawn.rows(order)), margins(name, drawn)[order], rtol=0.0, atol=ATOL
    )


@each_kind
@pytest.mark.parametrize("rows", [1, 7, 16])
def test_size_of_pieces_is_free(name: str, rows: int, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = boards(name)
    whole = margins(name, drawn)
    monkeypatch.setattr(solution, "PIECE_ROWS", rows)
    assert_allclose(margins(name, drawn), whole, rtol=0.0, atol=ATOL)


def test_locks_of_pieces_are_joined_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    design = VARIANTS["half-wave"]
    circuit = build_circuit(design, Conditions(mains_rms_v=np.linspace(20.0, 260.0, 25)))
    whole = lock_of(circuit, design)
    monkeypatch.setattr(solution, "PIECE_ROWS", 4)
    parts = lock_of(circuit, design)
    assert 0 < whole.locks.sum() < 25
    assert_allclose(parts.margins, whole.margins, rtol=0.0, atol=ATOL)
    assert_allclose(parts.pulses.low_time_s, whole.pulses.low_time_s, rtol=0.0, atol=1e-8)


def peak_bytes(name: str, drawn: Boards) -> int:
    """Memory that judging takes at its highest, beyond what there was."""
    tracemalloc.start()
    margins(name, drawn)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak


def test_memory_does_not_grow_with_the_batch(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four times the boards, half as much again at the most: what is kept is a few numbers each."""
    monkeypatch.setattr(solution, "PIECE_ROWS", 64)
    few, many = (peak_bytes("half-wave", boards("half-wave", size)) for size in (256, 1024))
    assert many < 1.5 * few


def fading(size: int) -> Circuit:
    """Behind a suppressor whose contact is open: after 50 periods they still come to rest."""
    design = parse_board(SUPPRESSED_TEXT)
    circuit = build_circuit(design, Conditions(mains_rms_v=np.linspace(100.0, 250.0, size)))
    return circuit.change("K1.contact", resistance_ohm=np.inf)


def test_size_of_pieces_is_free_of_transients(monkeypatch: pytest.MonkeyPatch) -> None:
    circuit = fading(7)
    whole = solve(circuit)
    monkeypatch.setattr(solver, "TRANSIENT_ROWS", 3)
    parts = solve(circuit)
    assert not whole.settled.any()
    assert_allclose(parts.time_s, whole.time_s, rtol=0.0, atol=0.0)
    for waves, wanted in (
        (parts.voltages_v, whole.voltages_v),
        (parts.currents_a, whole.currents_a),
        (parts.cycle_peaks_a, whole.cycle_peaks_a),
    ):
        assert waves.keys() == wanted.keys()
        for name, wave in waves.items():
            assert_allclose(wave, wanted[name], rtol=0.0, atol=ATOL, err_msg=name)


@pytest.mark.parametrize("at_rest", [0, 3, 7])
def test_what_fades_is_not_refined(at_rest: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows that are replaced by their transients are the same, and cost no second grid."""
    circuit = fading(7)
    contact = np.where(np.arange(7) < at_rest, 0.0, np.inf)
    circuit = circuit.change("K1.contact", resistance_ohm=contact)
    refined: list[int] = []
    solve_on = solver._solve_on

    def counted(part: Circuit, phase: NDArray[np.float64], *rest: Any, **more: Any) -> Any:
        refined.append(phase.size if not more else 0)
        return solve_on(part, phase, *rest, **more)

    monkeypatch.setattr(solver, "_solve_on", counted)
    few, points = solve(circuit), sum(refined)
    refined.clear()
    monkeypatch.setattr(solver, "SURELY_RATIO", 1.0)
    all_rows = solve(circuit)
    assert points * 7 == sum(refined) * max(at_rest, 1)
    assert np.array_equal(few.settled, np.arange(7) < at_rest)
    assert np.array_equal(few.settled, all_rows.settled)
    for waves, wanted in (
        (few.voltages_v, all_rows.voltages_v),
        (few.currents_a, all_rows.currents_a),
        (few.cycle_peaks_a, all_rows.cycle_peaks_a),
        ({"": few.time_s}, {"": all_rows.time_s}),
    ):
        assert waves.keys() == wanted.keys()
        for name, wave in waves.items():
            assert_allclose(wave, wanted[name], rtol=0.0, atol=ATOL, err_msg=name)


def test_memory_grows_by_less_than_a_fifth_of_the_transients() -> None:
    """128 rows more are some periods of each more (coarse, fine, what drives them), not fifty."""

    def peak_bytes(size: int) -> int:
        tracemalloc.start()
        try:
            solve(fading(size))
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    few = solve(fading(1))
    each = 8 * few.time_s.shape[1] * (len(few.voltages_v) + len(few.currents_a))
    grown = peak_bytes(192) - peak_bytes(64)
    assert grown < 128 * each * WINDOW_CYCLES / 5
