"""Drawers from which nothing can be made are answered in words, whatever is asked of them."""

from __future__ import annotations

from pathlib import Path

import pytest

import zcd

FOOT_BATH = """\
name = "Invented foot bath"
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817 B"
output = {pull_up = "15k", supply = "5 V"}
chain = {resistors = ["36k", "36k", "36k"], style = "1/2 W"@}
"""
JOINT = ', joint_capacitor = {after = 1, capacitance = "22 nF"}'
DRAWERS = {
    "small values only": 'resistors = ["1R", "2R2", "10R"]\n',
    "nothing left": """\
resistors = [{value = "36k", style = "1/2 W", count = 0}, {value = "15k", count = 0}]
optocouplers = [{family = "817", grade = "B", count = 0}]
diodes = [{part = "1N4007", count = 0}]
""",
}


@pytest.mark.parametrize("joint", ["", JOINT])
@pytest.mark.parametrize("name", DRAWERS)
def test_a_poor_drawer_is_no_fault(name: str, joint: str, tmp_path: Path) -> None:
    drawer = tmp_path / "drawer.toml"
    drawer.write_text(DRAWERS[name], encoding="utf-8")
    board = zcd.loads(FOOT_BATH.replace("@", joint))
    found = zcd.substitute(
        board, drawer=drawer, refs=("R1", board.output.resistor.ref), others=True
    )
    assert str(found)
