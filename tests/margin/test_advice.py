"""What a check advises mends what it says it mends, by the engine."""

from __future__ import annotations

import re

import pytest

import zcd
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.engine.solve import solve
from zcd.margin.check import nominal_check
from zcd.margin.stress import (
    HARMLESS_REVERSE_A,
    ResistorStress,
    reverse_stress,
    worst_circuit,
    worst_of,
)
from zcd.report.of_check_answer import finding_lines

TEXT = """
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "{part}"
chain = {{resistors = [{chain}], style = "{style}"}}
output = {{pull_up = "{pull_up}", supply = "5 V"}}
"""


def written(
    part: str = "817 B", chain: str = '"82k", "82k"', style: str = "1/2 W", pull_up: str = "10k"
) -> Board:
    return zcd.loads(TEXT.format(part=part, chain=chain, style=style, pull_up=pull_up))


@pytest.mark.parametrize(
    ("part", "pull_up"), [("817 A", "8k2"), ("817 B", "4k7"), ("TLP785 GB", "5k6")]
)
def test_the_grade_that_is_advised_gives_the_reserve(part: str, pull_up: str) -> None:
    board = written(part, pull_up=pull_up)
    (line,) = (each for each in finding_lines(zcd.check(board)) if "reserve for ageing" in each)
    grade = line.partition("Fit grade ")[2].partition(" ")[0]
    mended = zcd.check(written(f"{part.split(maxsplit=1)[0]} {grade}", pull_up=pull_up))
    assert mended.passes
    assert not any("reserve for ageing" in each for each in finding_lines(mended))


def test_no_grade_is_advised_where_none_is_higher() -> None:
    """Nor where the type is made in one grade."""
    for part, pull_up in (("817 D", "3k3"), ("MCT2E", "47k")):
        found = finding_lines(zcd.check(written(part, pull_up=pull_up)))
        (line,) = (each for each in found if "reserve for ageing" in each)
        assert re.search(r"Fit one with a minimum CTR of \d+ % or more", line)


def test_a_diode_across_the_led_prevents_its_breakdown() -> None:
    board = written()
    remarks = [rule.remark for rule in nominal_check(board).rules if "OC1" in rule.name]
    assert any("a diode across the LED prevents it" in remark for remark in remarks)
    guarded = board.with_(**{"chain.topology": "half-wave-clamped", "clamp": "1N4148"})
    for each, over in ((board, True), (guarded, False)):
        stress = reverse_stress(solve(build_circuit(each)), each)
        led = next(s for s in stress if s.ref == "OC1.led")
        assert bool(led.reverse_v.max() > led.limit_v) is over
        assert led.reverse_a.max() < HARMLESS_REVERSE_A  # it passes


@pytest.mark.parametrize(("ohm", "style"), [(33e3, "1/4 W"), (150e3, "1206"), (62e3, "0805")])
def test_as_many_in_series_share_it_even_with_one_shorted(ohm: float, style: str) -> None:
    """Each bears its load, and one fewer would not."""

    def loads(count: int, *, shorted: int) -> list[ResistorStress]:
        each = ", ".join([f'"{ohm / count:.0f}"'] * count)
        board = written(chain=each, style=style)
        circuit = worst_circuit(board)
        found = worst_of(solve(circuit.short("R1") if shorted else circuit), board)
        return [one for one in found if one.resistor.ref[0] == "R"][shorted:]

    def bears(count: int, *, shorted: int) -> bool:
        return all(one.used_ratio() <= 1.0 for one in loads(count, shorted=shorted))

    (stress,) = loads(1, shorted=0)
    assert stress.used_ratio() > 1.0
    for shorted in (0, 1):
        count = stress.parts_in_series(shorted=shorted)
        assert bears(count, shorted=shorted)
        assert not bears(count - 1, shorted=shorted)
