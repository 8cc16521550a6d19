"""One board, one verdict: check, JSON, page, population, story, substitute, retest, ngspice."""

from __future__ import annotations

import pytest

from tests.margin.drawn_designs import drawn_design
from tests.margin.one_verdict import design_disagreements, disagreements
from zcd import loads

MANY = 300
FEW = (3, 7, 8)
"""A half-wave chain that passes with a warning, a series capacitor, a clamp that passes."""


@pytest.mark.parametrize("seed", FEW)
def test_every_face_says_the_same_of_a_board(seed: int) -> None:
    board = loads(drawn_design(seed).text)
    assert disagreements(board, retested=False, replaced=False)[1] == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(MANY))
def test_every_face_says_the_same_of_many_boards(seed: int) -> None:
    assert design_disagreements(seed)[1] == []
