"""One board, one verdict: check, JSON, page, population, story, substitute, retest, ngspice."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings

from tests.boards import VARIANTS
from tests.fuzz.random_boards import same_again
from tests.margin.one_verdict import any_board, disagreements
from zcd.board.model import Board

few = settings(same_again, max_examples=2)
many = settings(few, max_examples=300, derandomize=False)


@few
@given(any_board(capacitors=False))
def test_every_face_says_the_same_of_a_board(board: Board) -> None:
    assert disagreements(board) == []


@pytest.mark.slow
@pytest.mark.parametrize("name", ["half-wave", "two-led"])
def test_what_is_fitted_and_read_again_says_the_same(name: str) -> None:
    board = VARIANTS[name]
    unread = replace(board, controller=replace(board.controller, stated=frozenset()))
    assert disagreements(unread, deep=True, slow=True) == []


@pytest.mark.slow
@many
@given(any_board())
def test_every_face_says_the_same_of_many_boards(board: Board) -> None:
    seldom = hash(board.chains[0][0].resistance_ohm) % 10 == 0
    assert disagreements(board, deep=True, slow=seldom) == []
