"""Two resistors typed where one belongs: the error says what goes between them."""

from __future__ import annotations

from typing import Any

import pytest

from tests.board.boards import edited
from zcd.board.files import board_from_dict
from zcd.errors import InputError


@pytest.mark.parametrize(
    "resistors",
    ["R12 47 k R13 47 k", ["R12 47k R13"], ["R12 47k - R13 47k"], ["R12,R13 47k"]],
)
def test_in_a_list_a_comma(resistors: Any) -> None:
    with pytest.raises(InputError) as caught:
        board_from_dict(edited(chain={"resistors": resistors}))
    (line,) = str(caught.value).splitlines()
    assert line.endswith("(a comma belongs between two parts)")


@pytest.mark.parametrize("both", ["R1 47k R2 47k", "R1 47k, R2 47k"])
def test_in_a_circuit_a_dash(both: str) -> None:
    circuit = [f"feed - {both} - led+", "led- - D1 1N4007 > - neutral"]
    with pytest.raises(InputError) as caught:
        board_from_dict(edited(chain=None, rectifier=None, circuit=circuit))
    (line,) = str(caught.value).splitlines()
    assert line.endswith('(" - " belongs between two parts)')


def test_references_that_can_only_be_two_parts_are_two() -> None:
    board = board_from_dict(edited(chain={"resistors": "R12 47k R13 56k"}))
    assert [(part.ref, part.resistance_ohm) for part in board.chains[0]] == [
        ("R12", 47e3),
        ("R13", 56e3),
    ]
