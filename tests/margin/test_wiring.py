"""Tests of zcd.margin.wiring: what a repair may change of a circuit, and what makes it another."""

from __future__ import annotations

import pytest

import zcd
from tests.board.test_traced import CLAMP, SIMPLE, traced
from zcd.board.model import Board
from zcd.errors import InputError
from zcd.margin.as_new import comparable, require_same_kind
from zcd.margin.wiring import rewired
from zcd.report.of_changes import changes

KILN = (
    'mains = "220-240V~ 50Hz"\nrectifier = "MB6S"\noptocoupler = "817C"\n'
    'output = {pull_up = "15k", supply = "5V"}\n[chain]\ntopology = "bridge"\nstyle = "1206"\n'
    "resistors = @\nreturn_resistors = %\n"
)
BUILT = (*SIMPLE, CLAMP)
BRIDGE = ("feed - R1 68k - BR1~1", "BR1~2 - neutral", "BR1+ - led+", "BR1- - led-", "BR1 MB6S")


def known(**chain: object) -> Board:
    """The circuit of `BUILT` as a topology."""
    parts = [{"value": "82k", "ref": "R7"}, {"value": "91k", "ref": "R8"}]
    value = {"topology": "half-wave-clamped", "resistors": parts, **chain}
    return zcd.loads(
        'mains = "230 V 50 Hz"\noptocoupler = "817B"\nrectifier = {part = "1N4007", ref = "D1"}\n'
        'clamp = {part = "1N4148", ref = "D2"}\noutput = {pull_up = "12k", supply = "5 V"}\n'
        'chain = {topology = "half-wave-clamped", resistors = ["82k", "91k"]}'
    ).with_(chain=value)


@pytest.mark.parametrize(
    ("line_leg", "return_leg", "said"),
    [
        (["33k", "22k", "22k"], ["33k", "33k"],
         "R2: 33 kΩ 5 % 1206 replaced by 2 x 22 kΩ 5 % 1206"),
        (["22k", "12k", "33k"], ["33k", "33k"],
         "R1: 33 kΩ 5 % 1206 replaced by 22 kΩ 5 % 1206 + 12 kΩ 5 % 1206"),
        (["33k", "33k"], ["33k", "22k", "22k"],
         "R4: 33 kΩ 5 % 1206 replaced by 2 x 22 kΩ 5 % 1206"),
        (["33k"], ["33k", "33k"], "R2: 33 kΩ 5 % 1206 taken out"),
        (["33k", "33k"], ["33k", "33k", "10"], "R5: 10 Ω 5 % 1206 new"),
    ],
)  # fmt: skip
def test_resistors_put_in_do_not_rename_those_that_stay(
    line_leg: list[str], return_leg: list[str], said: str
) -> None:
    """Two in the place of R2 move every reference behind them on by one."""

    def kiln(line: list[str], back: list[str]) -> Board:
        text = KILN.replace("@", str(line)).replace(" %\n", f" {back}\n")
        return zcd.loads(text.replace("'", '"'))

    two = ["33k", "33k"]
    assert changes(kiln(two, two), kiln(line_leg, return_leg)) == (said,)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (BUILT, ()),
        (("feed - R7 82k - tp - R8 91k - D1 1N4007 > - led+", "neutral - led-", CLAMP), ()),
        ((*SIMPLE, "led- - D2 1N4148 > - led+"), ()),
        ((*SIMPLE, "led+ - D2 1N4148 > - led-"), ("D2 is the other way round",)),
        (("neutral - D1 1N4007 < - a", "a - R7 82k - b - R8 91k - led-",
          "led+ - feed", CLAMP), None),
        (("feed - D1 1N4007 > - R7 82k - R8 91k - led+", "led- - neutral", CLAMP),
         ("D1 is between other points",)),
        (("feed - R7 82k - x", "feed - R8 91k - x", "x - D1 1N4007 > - led+",
          "led- - neutral", CLAMP), ("R7 and R8 were in series, now parallel",)),
        (("feed - R7 180k - D1 1N4007 > - led+", "led- - neutral", CLAMP), ()),
        (SIMPLE, ()),
        (("feed - R1 82k - R2 91k - D5 1N4007 > - led+", "led- - neutral", CLAMP), None),
        (("feed - R1 47k - R2 47k - led+", "led- - neutral", "led+ - D2 1N4148 < - led-"), None),
    ],
)  # fmt: skip
def test_what_lies_between_other_points(lines: tuple[str, ...], said: tuple[str, ...]) -> None:
    board, was = traced(*lines), traced(*BUILT)
    assert rewired(board, was) == said
    assert comparable(board, was) == (said is not None)


def test_a_bridge_turned_by_half_is_the_same() -> None:
    board = traced(*(line.replace("~1", "~3").replace("~2", "~1").replace("~3", "~2")
                     for line in BRIDGE))  # fmt: skip
    assert rewired(board, traced(*BRIDGE)) == ()


def test_wiring_is_a_change_though_no_part_is_another() -> None:
    repair = zcd.check(traced(*SIMPLE, "led+ - D2 1N4148 > - led-"), was=traced(*BUILT)).repair
    assert repair is not None
    assert repair.outcome == "worse"
    assert changes(repair.was, traced(*SIMPLE, "led+ - D2 1N4148 > - led-")) == (
        "D2 is the other way round",
    )


def test_a_topology_and_the_same_circuit_as_traced_are_the_same_board() -> None:
    """Whatever its parts are called."""
    assert changes(known(), traced(*BUILT)) == ()
    unnamed = known(resistors=["82k", "91k"])
    assert comparable(unnamed, traced(*BUILT))
    assert "the wiring differs" not in changes(unnamed, traced(*BUILT))
    assert not comparable(known(), traced(*BRIDGE))


def test_a_board_that_passes_where_the_original_failed_is_not_worse() -> None:
    was = traced("feed - R7 820k - R8 91k - D1 1N4007 > - led+", "led- - neutral", CLAMP)
    board = traced("feed - R7 82k - R8 91k - D1 1N4007 > - led+", "led- - neutral", CLAMP)
    check = zcd.check(board, was=was)
    assert not zcd.check(was).passes
    assert check.passes
    assert check.repair is not None
    assert check.repair.outcome == "better"
    assert "Better: the original does not pass" in str(check)
    assert "worse" not in str(check)


@pytest.mark.parametrize(
    ("lines", "more", "words"),
    [
        (BRIDGE, {}, r"circuit \(R1, BR1\) than .* \(R7, R8, D1, D2\)"),
        (BUILT, {"mains": "120 V 60 Hz"}, "mains"),
        (BUILT, {"optocoupler": "814A"}, r"optocoupler \(2 LEDs\)"),
    ],
)
def test_the_job_of_another_circuit_is_refused_in_one_line(
    lines: tuple[str, ...], more: dict[str, object], words: str
) -> None:
    with pytest.raises(InputError, match=f"--job: .* has another {words}") as caught:
        require_same_kind(traced(*BUILT), traced(*lines, **more), "--job", "give its job")
    assert "\n" not in str(caught.value)
