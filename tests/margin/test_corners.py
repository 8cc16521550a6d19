"""Worst corners against all corners, tried one by one."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from tests.diagnosis.boards import TEXTS, board
from zcd.board.files import parse_board
from zcd.board.model import Board, Resistor
from zcd.engine import solution as solution_module
from zcd.engine.solve import solve
from zcd.margin.corners import MIN_GAIN, ROOM_RATIO, find_all_corners, find_corners
from zcd.margin.rule_margins import RuleMargins, evaluate
from zcd.margin.stress import resistor_stress
from zcd.margin.tolerances import Tolerance, draw, tolerances_of
from zcd.sync.lock import FUNCTION, RULES, lock_of

FloatArray = NDArray[np.float64]


def some(whole: Board, *words: str) -> list[Tolerance]:
    """Tolerances of a board whose names begin with one of these words."""
    return [t for t in tolerances_of(whole) if t.name.startswith(words)]


def all_corners(whole: Board, tolerances: list[Tolerance]) -> tuple[FloatArray, RuleMargins]:
    """Every combination of ends, judged."""
    shares = np.array(list(product(*(t.extremes for t in tolerances))))
    return shares, evaluate(draw(whole, tolerances, shares), whole)


PARTS = ("mains voltage", "temperature", "R1", "CTR of", "low threshold", "turn-off")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("half-wave", PARTS),
        ("clamped", (*PARTS, "forward drop of OC1")),
        ("bridge", PARTS),
        ("two-led", ("mains", "R", "CTR", "high threshold")),
        ("half-wave", ("harmonic 3", "harmonic 5", "CTR of", "mains voltage")),
        ("rectifier first", ("leakage", "dark current", "CTR of", "temperature", "logic supply")),
        ("across the LED", ("C1", "R1", "CTR", "forward drop of OC1", "mains frequency")),
        ("emitter follower", ("mains", "CTR", "pull", "saturation", "temperature")),
    ],
)
def test_no_corner_is_worse(name: str, words: tuple[str, ...]) -> None:
    """For every rule of lock and stress, the smallest margin of all combinations of ends."""
    whole = board(name)
    tolerances = some(whole, *words)
    assert 4 <= len(tolerances) <= 8
    result = find_corners(whole, tolerances)
    shares, every = all_corners(whole, tolerances)
    # in another batch a board is solved on other points: edges move by a microsecond or so
    assert_allclose(result.margins, every.margins.min(axis=0), rtol=5e-3, atol=2e-3)
    for rule, corner in enumerate(result.shares):
        (same,) = np.flatnonzero(np.all(shares == corner, axis=1))
        assert_allclose(every.margins[same, rule], result.margins[rule], rtol=5e-3, atol=2e-3)


def test_an_edge_has_its_worst_corner_late_or_early() -> None:
    """The rising edge of this board comes late with a strong part and early with a weak one:
    between the two ends of the CTR lies the best, not the worst."""
    whole = parse_board(TEXTS["half-wave"] + '[controller]\nedge = "rising"\n')
    (ctr,) = some(whole, "CTR of")
    three = evaluate(draw(whole, [ctr], np.array([[0.0], [0.5], [1.0]])), whole)
    weak, middle, strong = three.margins[:, RULES.index("edge offset")]
    assert middle > max(weak, strong)
    tolerances = some(whole, "CTR of", "temperature", "mains voltage", "turn-off")
    result = find_corners(whole, tolerances)
    _, every = all_corners(whole, tolerances)
    assert_allclose(result.margins, every.margins.min(axis=0), rtol=5e-3, atol=2e-3)


def test_places_name_what_moves_the_rule_and_where_it_sits() -> None:
    """Weak part, low mains, hot and guaranteed thresholds make the edge late; leakage does not."""
    whole = board()
    result = find_corners(whole, tolerances_of(whole))
    places = {p.tolerance.name: p.amount for p in result.places(RULES.index("edge offset"))}
    assert next(iter(places)) == "CTR of OC1"
    assert_allclose(places["CTR of OC1"], whole.optocoupler.ctr_min_ratio)
    assert_allclose(places["mains voltage"], whole.mains.low_rms_v)
    assert_allclose(places["temperature"], whole.service.hot_degc)
    assert_allclose(places["low threshold"], whole.controller.low_threshold_v)
    assert "leakage of D1" not in places


def test_resistor_power_at_its_corner_in_exact_arithmetic() -> None:
    """110 k and 130 k of 5 % at 253 V: V^2 R1 / (R1 + R2)^2 / 2, R1 high and R2 low."""
    whole = board()
    result = find_corners(whole, some(whole, "mains voltage", "R", "temperature"))
    power = result.margins[result.names.index("R1 power")]
    watts = 253.0**2 * 115.5e3 / (115.5e3 + 123.5e3) ** 2 / 2.0
    # the drops of rectifier and LED, about 2 V of 358 V, take 1 % or so
    assert_allclose(1.0 - power, watts / 0.125, rtol=0.02)


# ------------------------------------------------------------------ the judge


def test_judged_is_lock_and_stress_of_each_board() -> None:
    whole = board()
    tolerances = tolerances_of(whole)
    shares = np.random.default_rng(8).random((40, len(tolerances)))
    boards = draw(whole, tolerances, shares)
    result = evaluate(boards, whole)
    assert result.names[: len(RULES)] == RULES
    row = 7
    alone = draw(whole, tolerances, shares[row : row + 1])
    solution = solve(alone.circuit)
    (first, *_) = resistor_stress(solution, whole, whole.service.hot_degc)
    share = first.power_w[0] / first.power_limit_w
    assert_allclose(1.0 - result.margins[row, result.names.index("R1 power")], share, rtol=1e-3)
    assert result.lock_margin[row] == result.margins[row, : len(FUNCTION)].min()


def test_nominal_board_has_the_margins_of_its_lock() -> None:
    whole = board()
    nominal = draw(whole, [], np.empty((1, 0)))
    result = evaluate(nominal, whole)
    guaranteed = lock_of(nominal.circuit, whole, worst=True)
    assert_allclose(result.margins[:, : len(RULES)], guaranteed.margins, rtol=0.02)


def test_pieces_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = board()
    tolerances = tolerances_of(whole)
    boards = draw(whole, tolerances, np.random.default_rng(9).random((50, len(tolerances))))
    together = evaluate(boards, whole)
    monkeypatch.setattr(solution_module, "PIECE_ROWS", 7)
    assert_allclose(evaluate(boards, whole).margins, together.margins, rtol=0.0, atol=2e-5)


def test_first_failed_is_the_first_rule_in_order() -> None:
    names = ("a", "b", "c")
    margins = np.array([[1, -1, -2], [1, 1, 1], [-0.1, -5, 1.0]])
    result = RuleMargins(
        names=names,
        margins=margins,
        binding=(True, True, True),
        pulse_s=np.zeros((len(margins), 2)),
    )
    assert result.first_failed.tolist() == [1, -1, 0]
    assert result.passes.tolist() == [False, True, False]
    milder = replace(result, binding=(True, False, True))
    assert milder.first_failed.tolist() == [2, -1, 0]
    assert milder.broken_ratio == result.broken_ratio == {"a": 1 / 3, "b": 2 / 3, "c": 1 / 3}


@pytest.mark.parametrize(
    "name",
    ["two-led", *(pytest.param(n, marks=pytest.mark.slow) for n in TEXTS if n != "two-led")],
)
def test_rules_with_room_left_keep_their_sign(name: str) -> None:
    """A search that lets them be comes to the same verdict on every rule."""
    boards = [rescaled(board(name), factor) for factor in (0.4, 1.0, 1.6)]
    tolerances = [tolerances_of(one) for one in boards]
    hasty = find_all_corners(boards, tolerances, room_ratio=ROOM_RATIO)
    for whole, quick in zip(find_all_corners(boards, tolerances), hasty, strict=True):
        near = np.abs(whole.margins) < MIN_GAIN
        assert np.array_equal((whole.margins < 0.0) | near, (quick.margins < 0.0) | near)


def rescaled(found: Board, factor: float) -> Board:
    """The board with all resistors of its chain times a factor."""

    def scaled(chain: tuple[Resistor, ...]) -> tuple[Resistor, ...]:
        return tuple(replace(r, resistance_ohm=factor * r.resistance_ohm) for r in chain)

    return replace(
        found,
        chains=tuple(scaled(chain) for chain in found.chains),
        return_chain=scaled(found.return_chain),
    )
