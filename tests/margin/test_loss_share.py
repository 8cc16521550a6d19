"""The share of boards that lose sync, against boards judged one place at a time."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import board
from zcd.engine.solve import PULSES, solve
from zcd.margin.loss_map import LossMap, loss_map
from zcd.margin.loss_share import HALVINGS, LINES, SEED, LossShare, loss_share
from zcd.margin.population import even_points
from zcd.margin.roots import broken_rule
from zcd.margin.tolerances import draw, tolerances_of
from zcd.sync.lock import judge

BOARDS = 16


@cache
def chart() -> LossMap:
    return loss_map(board())


@cache
def share() -> LossShare:
    return loss_share(board(), chart(), BOARDS)


def drawn_lost(row: int, column: int, size: int = 256) -> float:
    """Share lost of boards drawn at random, mains and CTR put to one place of the map."""
    result, places = board(), chart().lattice.places
    others = [t for t in tolerances_of(result) if t.name not in ("mains voltage", "CTR of OC1")]
    shares = np.random.default_rng(8).random((size, len(others)))
    boards = draw(result, others, shares)
    circuit = boards.circuit
    for quantity, place in ((chart().across, places[column]), (chart().up, places[row])):
        circuit = quantity.put(circuit, result, np.full(size, float(quantity.value(place))))
    return float(np.mean(~judge(solve(circuit), result, boards.thresholds).locks))


@pytest.mark.parametrize("column", [8, 72])
def test_share_agrees_with_boards_drawn_at_random(column: int) -> None:
    """At places where boards were solved: within four standard errors of both draws."""
    column_share = share().lost_ratio[:: 2**HALVINGS, column]
    uncertain = np.flatnonzero((column_share > 0.05) & (column_share < 0.95))
    assert uncertain.size
    for row in uncertain * 2**HALVINGS:
        wide = 4.0 * np.sqrt(0.25 / BOARDS + 0.25 / 256)
        assert_allclose(share().lost_ratio[row, column], drawn_lost(row, column), atol=wide)


def test_far_from_the_boundary_all_do_as_the_typical_board() -> None:
    lost = broken_rule(chart().lattice.margins) >= 0
    assert share().lost_ratio[-1, -1] == 0.0
    assert share().lost_ratio[0, 0] == 1.0
    whole = share().points * BOARDS
    assert 0 < whole < lost[:: 2**HALVINGS, :: 2**HALVINGS].size * BOARDS


def test_less_ctr_loses_no_fewer_boards() -> None:
    """Of the same boards at every place, down every column of solved lines."""
    solved = share().lost_ratio[:: 2**HALVINGS, :: 2**HALVINGS]
    assert np.all(np.diff(solved, axis=0) <= 1e-12)


@pytest.mark.parametrize("number", range(len(LINES)))
def test_lines_part_where_more_boards_are_lost_from_where_fewer_are(number: int) -> None:
    lost, margins = share().lost_ratio, share().line_margins[number]
    assert np.all(margins[lost > LINES[number] + 1.0 / BOARDS] < 0.0)
    assert np.all(margins[lost < LINES[number] - 1.0 / BOARDS] >= 0.0)


@pytest.mark.parametrize("number", range(len(LINES)))
def test_lines_are_no_stairs(number: int) -> None:
    """From one line across to the next, the height goes on as it went, to half a line."""
    margins = share().line_margins[number]
    first = np.argmax(margins >= 0.0, axis=0)
    columns = np.flatnonzero(first > 0)
    below, above = margins[first - 1, range(first.size)], margins[first, range(first.size)]
    height = (first - above / (above - below))[columns]
    assert columns.size > 20
    assert np.abs(np.diff(height, 2)).max() < 0.5


def test_cloud_fills_the_tolerances_and_nothing_more() -> None:
    result = board()
    across, up = share().cloud_across, share().cloud_up
    opto = result.optocoupler
    assert result.mains.low_rms_v <= across.min() < across.max() <= result.mains.high_rms_v
    assert opto.ctr_min_ratio / opto.ctr_ratio <= up.min() < 0.8
    assert 1.3 < up.max() <= opto.ctr_max_ratio / opto.ctr_ratio


def test_same_draw_twice_is_the_same() -> None:
    again = loss_share(board(), chart(), BOARDS)
    assert np.array_equal(again.lost_ratio, share().lost_ratio)


def test_share_at_a_place_is_that_of_the_nearest_line() -> None:
    assert share().at(1.0, 1.0).ratio == share().lost_ratio[-1, -1]
    assert share().at(0.5001, 0.25).ratio == share().lost_ratio[24, 48]


def test_boards_are_lost_where_a_typical_one_is_thought_safe() -> None:
    """Without a boundary to start from, the places looked at anyway lead to all that are lost."""
    lattice = chart().lattice
    safe = replace(chart(), lattice=replace(lattice, margins=np.abs(lattice.margins)))
    result = loss_share(board(), safe, BOARDS).lost_ratio
    assert result[0, 0] == 1.0
    assert result[-1, -1] == 0.0
    lines = np.s_[:: 2**HALVINGS, :: 2**HALVINGS]
    assert_allclose(result[lines], share().lost_ratio[lines], atol=1e-12)


def test_every_board_followed_by_itself_is_every_board_everywhere() -> None:
    """At all coarse places of a map, all boards solved: the same are lost."""
    whole, few = board(), 6
    result = loss_share(whole, chart(), few)
    others = [t for t in tolerances_of(whole) if t.name not in ("mains voltage", "CTR of OC1")]
    drawn = draw(whole, others, even_points(few, len(others), np.random.default_rng(SEED)))
    places = chart().lattice.places[:: 2**HALVINGS]
    up, across, which = (
        x.ravel() for x in np.meshgrid(places, places, np.arange(few), indexing="ij")
    )
    boards = drawn.rows(which)
    circuit = chart().across.put(boards.circuit, whole, chart().across.value(across))
    circuit = chart().up.put(circuit, whole, chart().up.value(up))
    lost = judge(solve(circuit, PULSES), whole, boards.thresholds).margin < 0.0
    lines = result.lost_ratio[:: 2**HALVINGS, :: 2**HALVINGS]
    assert_allclose(lines, lost.reshape(places.size, places.size, few).mean(axis=2), atol=1e-12)
