"""Tests of zcd.board.traced, paths and strings: a circuit in lines that follow the copper."""

from __future__ import annotations

import re

import pytest

import zcd
from tests.board.boards import edited
from zcd.board.files import board_from_dict
from zcd.board.model import TRACED, Board, Link
from zcd.board.parts_library import odd_values
from zcd.board.paths import Step, connect
from zcd.board.strings import in_strings, lit_half_waves
from zcd.board.traced import path_text
from zcd.circuit.build import build_circuit
from zcd.diagnosis.faults import faults_of
from zcd.engine.solve import solve
from zcd.errors import InputError

SIMPLE = ("feed - R7 82k - R8 91k - D1 1N4007 > - led+", "led- - neutral")
CLAMP = "led+ - D2 1N4148 < - led-"


def traced(*lines: str, **more: object) -> Board:
    value = {"mains": "230 V 50 Hz", "optocoupler": "817B"}
    value |= {"output": {"pull_up": "12k", "supply": "5 V"}}  # type: ignore[dict-item]
    return board_from_dict({**value, "circuit": list(lines), **more})


def test_parts_of_a_path() -> None:
    board = traced(*SIMPLE, CLAMP)
    assert board.topology == TRACED
    assert [(r.ref, r.resistance_ohm) for r in board.chains[0]] == [("R7", 82e3), ("R8", 91e3)]
    assert [(d.ref, d.part) for d in board.diodes] == [("D1", "1N4007"), ("D2", "1N4148")]
    assert board.traced is not None
    assert board.traced.links == (
        Link("chain", "feed", "chain.end"),
        Link("D1", "chain.end", "led+"),
        Link("D2", "neutral", "led+"),
        Link("led", "led+", "neutral"),
    )


def test_wires_make_one_node_of_several() -> None:
    paths = [[Step("a"), Step("led-"), Step("R1", is_part=True), Step("b")],
             [Step("b"), Step("neutral"), Step("led-")]]  # fmt: skip
    links, aliases = connect(paths)
    assert links == (Link("R1", "neutral", "neutral"),)
    assert aliases == {"a": "neutral", "led-": "neutral", "b": "neutral"}


def test_resistors_of_one_current_are_a_string_from_the_feed_on() -> None:
    links = [Link("R2", "x", "R2/R1"), Link("R1", "R2/R1", "feed"), Link("R3", "x", "neutral")]
    strings, found = in_strings(links, {"R1", "R2", "R3"}, ["feed"])
    assert strings == [["R1", "R2"], ["R3"]]
    assert found == (Link("chain", "feed", "x"), Link("chain2", "x", "neutral"))


def test_letters_of_the_mains_are_echoed() -> None:
    """A point named after a pole is one, and the output says so."""
    board = traced("L - R7 82k - R8 91k - D1 1N4007 > - led+", "led- - n")
    said = {(read.printed, read.meaning) for read in board.read_as}
    assert said == {("L", "line of the mains"), ("N", "neutral of the mains")}
    assert board.chains == traced(*SIMPLE).chains


def test_a_point_with_a_name_ends_a_string() -> None:
    board = traced("feed - R1 33k - tp1 - R2 33k - led+", "led- - neutral", CLAMP)
    assert [[r.ref for r in string] for string in board.chains] == [["R1"], ["R2"]]


@pytest.mark.parametrize(
    ("lines", "pulses"),
    [
        ((*SIMPLE,), 1),
        (("neutral - R1 82k - D1 1N4007 > - led+", "led- - feed"), 1),
        (("feed - R1 47k - led+", "led- - R2 47k - neutral", CLAMP), 1),
        (("feed - R1 47k - led+", "led- - neutral", "led2+ - neutral", "led2- - led+"), 2),
        (("feed - R1 47k - BR1~1", "BR1~2 - neutral", "BR1+ - led+", "BR1- - led-", "BR1 MB6S"), 2),
        (("feed - C1 22n - R1 1k - led+", "led- - neutral", CLAMP), 1),
        (("feed - R1 22k - ZD1 12V < - led+", "led- - neutral", CLAMP), 1),
    ],
)
def test_half_waves_in_which_a_led_is_lit(lines: tuple[str, ...], pulses: int) -> None:
    board = traced(*lines)
    assert board.traced is not None
    assert board.traced.pulses == pulses
    assert board.lit_twice == (pulses == 2)


def test_light_needs_a_way_without_a_node_twice() -> None:
    """A clamp diode across the LED leads current past it, not through it."""
    links = (
        Link("R", "feed", "led+"),
        Link("D", "neutral", "led+"),
        Link("led", "led+", "neutral"),
    )
    assert lit_half_waves(links, ["led"], ["D"], ("feed", "neutral")) == 1


def test_two_leds_of_one_part() -> None:
    board = traced("feed - R1 33k - R2 33k - led+", "led- - neutral", optocoupler="814A")
    assert board.two_leds
    assert board.lit_twice


def test_the_led_by_the_name_of_its_part() -> None:
    lines = ("feed - R7 82k - R8 91k - D1 1N4007 > - OC1 led+", "U1.LED cathode - neutral")
    assert traced(*lines).traced == traced(*SIMPLE).traced


def test_a_point_between_two_parts_by_their_names() -> None:
    own = traced("feed - C1 68n - x", "x - R1 22k - y", "feed - R2 1M - x",
                 "y - led+", "y - D1 M7 < - neutral", "led- - neutral")  # fmt: skip
    for joint in ("C1/R1", "r1/c1"):
        board = traced("feed - C1 68n - R1 22k - y", f"feed - R2 1M - {joint}",
                       "y - led+", "y - D1 M7 < - neutral", "led- - neutral")  # fmt: skip
        assert [len(string) for string in board.chains] == [1, 1]
        waves = [solve(build_circuit(each)).currents_a["OC1.led"].max() for each in (own, board)]
        assert waves[0] == pytest.approx(waves[1], rel=1e-9)
        assert odd_values(board) == ()
    with pytest.raises(InputError, match='found "R1/R9"; allowed: two parts that follow'):
        traced(*SIMPLE, "R1/R9 - R2 1k - led-")


def test_a_letter_with_two_meanings_is_asked_about_with_its_line() -> None:
    """Not once all lines are typed."""
    before = ["feed - R1 82k - x", "x - D1 1N4148 < - neutral"]
    with pytest.raises(InputError, match='points "n" and "neutral"'):
        path_text("led- - n", before)
    assert path_text("l - R2 1M - x", before) == "line - R2 1 MΩ - x"


def test_each_wrong_line_is_said() -> None:
    with pytest.raises(InputError, match=r"D1 without a direction.*\n.*R9 without a value"):
        traced("feed - R7 82k - D1 1N4007 - led+", "led+ - R9 - led-", "led- - neutral")


def test_markings_as_printed() -> None:
    board = traced(
        "feed - R1 104 SMD - R2 68k 1 % 1/2 W - D1 IN4007 > - x",
        "x - C1 103 - neutral",
        "x - 4k7 - led+",
        "led- - neutral",
        "ZD1 5V1 < - neutral".replace("ZD1", "x - ZD1"),
    )
    first, second = board.chains[0]
    assert (first.resistance_ohm, second.tolerance_ratio, second.style) == (100e3, 0.01, "1/2 W")
    assert board.capacitors[0].capacitance_f == pytest.approx(10e-9)
    assert board.diodes[0].part == "1N4007"
    assert (board.diodes[1].part, board.diodes[1].junction.is_zener) == ("zener 5.1 V", True)
    assert {(read.key, read.printed) for read in board.read_as} >= {("circuit.C1", "103")}
    assert board.chains[1][0].ref == "R3"


def test_a_part_that_nobody_can_read() -> None:
    board = traced("feed - R7 82k - R8 ? - D1 1N4007 > - led+", "led- - neutral")
    assert [unknown.ref for unknown in board.unknowns] == ["R8"]
    assert board.chains[0][1].resistance_ohm == 82e3


def test_style_and_tolerance_of_all() -> None:
    board = traced(*SIMPLE, chain={"style": "1206", "tolerance": "1 %"})
    assert {(r.style, r.tolerance_ratio) for r in board.chains[0]} == {("1206", 0.01)}


def test_parts_are_changed_in_their_lines() -> None:
    board = traced(*SIMPLE, CLAMP).with_(R8="100k", D1="M7")
    assert board.chains[0][1].resistance_ohm == 100e3
    assert board.diodes[0].part == "M7"


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (["feed - R1 82k"], "ends at R1.*a node at both ends"),
        (["R1 82k - led+"], "begins at R1"),
        (["feed - R1 82k - x", "led+ - x", "led- - neutral", "y - led+ - R2 1k - z"], "at node z"),
        (["feed - R1 82k - R1 91k - led+", "led- - neutral"], "R1 twice, 82k and 91k"),
        (["feed - R1 82k - neutral"], "no led\\+"),
        (["feed - R1 82k - led+", "led- - R2 1k - led+"], "no way from feed"),
        (["feed - R1 82k - led+", "led- - neutral", "led+ - led-"], "across the LED"),
        (["feed - R1 82k - led+", "led- - neutral - feed"], "wire from feed to neutral"),
        (["feed - R1 82k - led+", "led- - neutral", "led+ - R2 1k - led+"], "R2 with both ends"),
        (["feed - R1 82k - D1 1N4007 - led+", "led- - neutral"], "D1 without a direction"),
        (["feed - R1 82k > - led+", "led- - neutral"], "R1 with an arrow"),
        (["feed - D1 1N4007 > - D2 M7 < - R1 82k - led+", "led- - neutral"], "diodes that block"),
        (["feed - R1 82k - Q1 BC547 - led+", "led- - neutral"], "Only a transistor between"),
        (["feed - F1 1A - R1 82k - led+", "led- - neutral"], "leave it out"),
        (["feed - R1 82k - BR1 DB107 - led+", "led- - neutral"], "its terminals BR1~1"),
        (["feed - R1 82k - BR1~1", "BR1~2 - neutral", "BR1+ - led+", "BR1- - led-"], "BR1 DB107"),
        (["feed - R1 - led+", "led- - neutral"], "R1 without a value"),
        (["feed - R1 82q - led+", "led- - neutral"], 'R1: found "82q"'),
        (["feed - C1 82q - R1 1k - led+", "led- - neutral"], 'C1: found "82q"'),
        (["feed - R1 82k - D1 1N9999 > - led+", "led- - neutral"], "a known diode"),
        (["feed - R1 82k - lde+", "led- - neutral"], 'did you mean "led\\+"'),
        (["feed-R1 82k-led+"], 'with " - " between'),
        (["feed - C1 10n - led+", "led- - neutral"], "no resistor"),
        (["feed - R1 82k - led+", "led- - neutral", "led2+ - neutral - R2 1k - led+"], "led2-"),
        ([*SIMPLE, "a - R1 10k - b - R2 10k - a"], "found R1, R2 joined to no mains point"),
        ([*SIMPLE, "led2+ - R3 1k - led2-"], "found R3 joined to no mains point"),
        ([*SIMPLE, "BR1 DB107"], "found BR1 joined to no mains point"),
        (["feed - R1 82k - x", "n - R2 82k - y", "x - D1 M7 > - p", "y - D2 M7 > - p",
          "led- - D3 M7 > - x", "led- - D4 M7 > - y", "p - led+"], 'points "n" and "p"'),
        (["feed - R1 82k - led+", "led- - n", "n - R2 1k - neutral"], '"n" and "neutral"'),
        (["feed - R1 82k - l", "l - led+", "led- - neutral"], 'points "l" and "feed"'),
        (["feed - R1 82k - BR1~1", "BR1~2 - neutral", "BR1+ - led+", "BR1- - n", "led- - n",
          "BR1 DB107"], '"n" and "neutral"'),
        (["feed - R1 82k - BR1~1", "BR1+ - led+", "BR1- - n - led-", "BR1~2 - led-", "BR1 DB107"],
         'points "n" and "BR1-"'),
        ([*SIMPLE, "feed - R2 1k - line"], "R2 between feed and line"),
        (["feed - C1 22n - R1 47k - D1 1N4007 > - led+", "led- - neutral"], "no way back"),
        (["feed - C1 22n - R1 47k - x", "x - R2 1k - led+", "led- - C2 22n - neutral"],
         "found C1, C2 in series with the LED and no way back"),
        ([*SIMPLE, *(f"feed - R{n} 1M - neutral" for n in range(20, 34))],
         "found 17 parts; allowed: up to 16"),
        (["feed - C1 22n - x", "x - R1 1M - feed", "x - R2 82k - led+", "led- - neutral",
          *(f"feed - R{n} 1M - neutral" for n in range(20, 30))],
         "found 13 parts; allowed: up to 12"),
        (["feed - R1 82k - r1 91k - led+", "led- - neutral"], "R1 twice, 82k and 91k"),
        (["feed - R1 82k - led", "led- - neutral"],
         'found "led"; allowed: led\\+ .the anode, mostly pin 1. or'),
        (["feed - R1 82k - BR1~1 - R2 1k - BR1~a", "BR1~2 - neutral", "BR1 DB107"],
         "R2 with both ends at BR1~1"),
        ([*SIMPLE, "feed - C1 1u - Q1.c", "Q1.e - neutral", "feed - R9 1M - Q1.b", "Q1 2N3904"],
         "found Q1 on the mains side.*not modelled"),
        (["L - K1 contact - R1 82k - led+", "led- - N"], 'found "K1 contact"; allowed: feed'),
        ([*SIMPLE, "5V - R9 10k - pin"], 'found "5V"; allowed: what is at the contr'),
        ([*SIMPLE, "logic+ - R9 10k - pin"], "R9 joined to no mains point"),
        ([], 'found "no line"; allowed: a list of lines'),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_in_one_line(lines: list[str], words: str) -> None:
    with pytest.raises(InputError) as found:
        traced(*lines)
    assert str(found.value).startswith("board.toml: circuit: ")
    assert re.search(words, str(found.value)), found.value
    assert "\n" not in str(found.value)


@pytest.mark.parametrize("node", ["pin", "base"])
def test_without_optocoupler_it_says_that_nothing_is_isolated(node: str) -> None:
    with pytest.raises(InputError, match=r"CAUTION: without optocoupler nothing is isolated.*LIVE"):
        traced(f"feed - R1 2M2 - R2 2M2 - {node}", "led- - neutral")


def test_no_optocoupler_is_refused_with_the_caution() -> None:
    with pytest.raises(InputError, match=r"optocoupler: found \"none\".*nothing is isolated"):
        traced(*SIMPLE, optocoupler="none")


@pytest.mark.parametrize(
    "more",
    [
        {"rectifier": "1N4007"},
        {"clamp": "1N4148"},
        {"led": {"resistor": "10k"}},
        {"chain": {"resistors": ["10k"]}},
        {"chain": {"topology": "clamped"}},
    ],
)
def test_a_part_is_described_once(more: dict[str, object]) -> None:
    with pytest.raises(InputError, match="each part in a line of circuit"):
        traced(*SIMPLE, **more)


def test_another_problem_of_the_file_is_told_too() -> None:
    with pytest.raises(InputError, match=r"circuit: .*\n.*optocoupler"):
        traced("feed - R1 82k", optocoupler="nothing known")


def test_a_text_of_lines() -> None:
    lines = "\n".join(SIMPLE)
    board = zcd.loads(
        f'mains = "120 V 60 Hz"\noptocoupler = "817"\ncircuit = """\n{lines}\n"""\n'
        'output = {pull_up = "10k", supply = "5 V"}'
    )
    assert len(board.chains[0]) == 2


def test_a_line_break_within_a_line_begins_another() -> None:
    assert traced("\n".join(SIMPLE)).chains == traced(*SIMPLE).chains


def test_references_are_upper_case() -> None:
    """As printed; the same letters written small are the same part, also beside the circuit."""
    board = traced(*(line.replace("R7", "r7") for line in SIMPLE), CLAMP)
    assert [part.ref for part in board.chains[0]] == ["R7", "R8"]
    assert board.with_(R7="33k").chains[0][0].resistance_ohm == 33e3
    with pytest.raises(InputError, match="a reference not used before"):
        traced(*SIMPLE, output={"pull_up": {"value": "12k", "ref": "r7"}, "supply": "5 V"})


def test_two_optocouplers_in_series() -> None:
    board = traced("feed - R1 82k - led+", "led- - led2+", "led2- - neutral", CLAMP)
    assert board.traced is not None
    assert [link for link in board.traced.links if "led" in link.ref] == [
        Link("led", "led+", "led-"),
        Link("OC2.led", "led-", "neutral"),
    ]


def test_a_diode_of_a_bridge_is_replaced_with_the_bridge() -> None:
    circuit = build_circuit(
        traced("feed - 68k - BR1~1", "BR1~2 - neutral", "BR1+ - led+", "BR1- - led-", "BR1 DB107")
    )
    assert {f.repair for f in faults_of(circuit) if f.key == "BR1-~1 short"} == {"BR1"}


def test_chain_is_needed_where_there_is_no_circuit() -> None:
    value = edited()
    del value["chain"]
    with pytest.raises(InputError, match="chain: found nothing"):
        board_from_dict(value)


def test_the_power_of_all_resistors_is_written_into_the_chain() -> None:
    """As the check asks for it where makers rate one size differently."""
    text = """mains = "230 V 50 Hz"
    circuit = ["line - R3 120k 1206 - R4 120k 1206 - Q1.b", "neutral - logic0",
               "Q1.b - D2 1N4148 < - logic0", "Q1 BC847"]
    output = {pull_up = "10k", supply = "5 V"}
    """
    (chain,) = zcd.loads(f'{text}chain = {{power = "250 mW"}}').chains
    assert [(part.style, part.rated_power_w) for part in chain] == [("1206", 0.25)] * 2
    assert all(part.usual_power_w is None for part in chain)
