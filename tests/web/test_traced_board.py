"""A circuit as it was traced, in the page's fields."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from zcd.board.files import board_from_dict
from zcd.web.board_form import LONGEST_TEXT, file_of, read, texts_of
from zcd.web.replaced_parts import fitted
from zcd.web.state import PageState

FILE: dict[str, Any] = {
    "mains": "230 V 50 Hz",
    "optocoupler": "817B",
    "output": {"pull_up": "10k", "supply": "5 V"},
    "chain": {"style": "1/2 W"},
    "circuit": [
        "feed - R1 47k - R2 47k - led+",
        "led- - R3 47k - R4 47k - neutral",
        "led+ - D1 1N4148 < - led-",
        "led+ - C1 1n - led-",
        "led+ - R5 22k - led-",
        "feed - R6 220k - R7 220k - led+",
        "led- - R8 330k - R9 330k - neutral",
    ],
}

BENT = """\
mains = "230 V 50 Hz"
optocoupler = "817 B"
rectifier = "1N4007"
chain = {resistors = ["68k"]}
output = {pull_up = "47q", supply = "5 V"}
"""


def test_fields_of_a_circuit_are_its_board() -> None:
    texts = texts_of(FILE)
    assert texts["circuit"].startswith("feed - R1 47k - R2 47k - led+; led- - R3")
    assert len(texts["circuit"]) > LONGEST_TEXT
    board, errors = read(texts)
    assert errors == {}
    assert board is not None
    assert board.traced == board_from_dict(FILE).traced


def test_what_is_wrong_with_it_stands_beside_its_field() -> None:
    _, errors = read({**texts_of(FILE), "circuit": "feed - R1 47k"})
    assert "ends at R1" in errors["circuit"]
    _, errors = read({**texts_of(FILE), "circuit": "x" * 1501})
    assert errors["circuit"].endswith("allowed: 1500 letters")


def test_a_file_of_a_board_that_is_wrong_is_told_beside_its_field(tmp_path: Path) -> None:
    """What is in it stands in the fields; a key that has none is told of the whole."""
    (tmp_path / "bent.toml").write_text(BENT, encoding="utf-8")
    (tmp_path / "odd.toml").write_text("fins = 3\n" + BENT.replace("47q", "47k"), encoding="utf-8")
    state = PageState(folder=tmp_path)
    bent, odd = state.unit("bent"), state.unit("odd")
    assert bent.typed["output.pull_up"] == "47q"
    assert 'found "47q"' in bent.errors["output.pull_up"]
    assert "" not in bent.errors
    assert "fins" in odd.errors[""]


def test_parts_put_in_place_of_others_stand_in_its_lines() -> None:
    before = board_from_dict(FILE)
    first, second = before.chains[0]
    new = (
        replace(first, resistance_ohm=36e3),
        replace(second, resistance_ohm=36e3),
        replace(second, resistance_ohm=22e3, ref="R2b"),
    )
    after = replace(before, chains=(new, *before.chains[1:]))
    texts = fitted(texts_of(FILE), before, after)
    # references in the lines of a circuit are upper-case
    named = (*new[:-1], replace(new[-1], ref="R2B"))
    assert board_from_dict(file_of(texts)).chains == (named, *after.chains[1:])
