"""A transistor in the place of an optocoupler, as a technician writes it."""

from __future__ import annotations

import re

import pytest

import zcd
from zcd.board.files import board_from_dict
from zcd.board.model import Board
from zcd.board.transistors import transistor
from zcd.circuit.build import build_circuit
from zcd.engine.solve import solve
from zcd.errors import InputError
from zcd.sync.lock import judge

CHAIN = "feed - R1 220k - R2 220k - {}"
WAYS = {
    "leads by letter": [CHAIN.format("Q1.b"), "Q1.e - neutral", "Q1.c - pin", "Q1 BC847B"],
    "leads by name": [CHAIN.format("base"), "emitter - neutral", "collector - pin", "Q1 BC847B"],
    "both": [CHAIN.format("Q1 base"), "Q1.E - N", "Q1 = BC847B"],
    "0 V named, emitter not": [CHAIN.format("Q1.B"), "neutral - logic0", "Q1 BC847-B"],
    "as said": [CHAIN.format("base of Q1"), "neutral - emitter of Q1", "Q1 BC847B"],
    "without its reference": [CHAIN.format("base"), "emitter - neutral", "transistor BC847B"],
    "backwards": ["base - R2 220k - R1 220k - feed", "neutral - emitter", "Q1 BC847B"],
    "pull-up traced": [
        CHAIN.format("Q1.b"), "Q1.e - neutral", "logic+ - R9 10k - Q1.c", "Q1 BC847B",
    ],
}  # fmt: skip


def board(lines: list[str], **keys: object) -> Board:
    traced = any("logic+ -" in line for line in lines)
    output = {"supply": "5 V"} if traced else {"pull_up": "10k", "supply": "5 V"}
    return board_from_dict({"mains": "230 V 50 Hz", "circuit": lines, "output": output, **keys})


@pytest.mark.parametrize("way", WAYS)
def test_each_way_is_the_same_board(way: str) -> None:
    found = board(WAYS[way])
    assert found.transistor is not None
    assert (found.transistor.ref, found.transistor.part) == ("Q1", "BC847B")
    assert not found.is_isolated
    assert judge(solve(build_circuit(found)), found).pulses.count.tolist() == [1]


@pytest.mark.parametrize(
    ("printed", "part", "gains"),
    [
        ("BC547", "BC547", (110, 800)),
        ("BC 547 C", "BC547C", (420, 800)),
        ("C1815 Y", "2SC1815-Y", (120, 240)),
        ("2SC1815GR", "2SC1815-GR", (200, 400)),
        ("MMBT3904LT1", "MMBT3904", (40, 300)),
        ("S8050 J3Y", "MMBT8050", (45, 400)),
        ("S8050-D", "S8050", (45, 400)),
        ("BC847C 1G", "BC847C", (420, 800)),
        ("?", "NPN", (40, 800)),
        ("NPN hFE 100..300", "NPN", (100, 300)),
        ("BC547 hFE 290", "BC547", (290, 290)),
    ],
)
def test_markings(printed: str, part: str, gains: tuple[float, float]) -> None:
    """Gains of the data sheets that reference/transistors.csv names."""
    found = transistor(printed, "Q1")
    assert (found.part, found.gain_min_ratio, found.gain_max_ratio) == (part, *gains)


REFUSED = (
    ([CHAIN.format("Q1.b"), "Q1.e - neutral", "Q1 BC857"], "a PNP one is not modelled"),
    ([CHAIN.format("Q1.b"), "Q1.e - neutral", "Q1 XY99"], 'or "NPN hFE 100..300"'),
    ([CHAIN.format("Q1 BC847"), "Q1.e - neutral"], "Q1.b, Q1.c and Q1.e"),
    ([CHAIN.format("Q1.b"), "Q2.e - neutral"], "found two transistors, Q1 and Q2"),
    ([CHAIN.format("Q1.b"), "Q1.e - R5 100 - neutral", "neutral - logic0"], "emitter apart from"),
    ([CHAIN.format("Q1.b"), "Q1.e - neutral", "Q1.c - R5 1k - pin"], "collector apart from pin"),
    ([CHAIN.format("Q1.b"), "Q1.e - neutral", "Q1.b - R5 1M - Q1.c"], "from base to collector"),
    (["feed - D1 1N4007 > - Q1.b", "Q1.e - neutral", "x - R1 1k - x"], "both ends at x"),
    (["feed - R1 1M - x", "x - D1 1N4007 < - base", "emitter - neutral"], "in both half-waves"),
)


@pytest.mark.parametrize(("lines", "words"), REFUSED)
def test_what_is_not_modelled_is_said(lines: list[str], words: str) -> None:
    with pytest.raises(InputError, match=re.escape(words)):
        board(lines)


def test_without_a_pull_up_it_is_asked_for() -> None:
    with pytest.raises(InputError, match=r"output\.pull_up: found nothing"):
        board(WAYS["both"], output={"supply": "5 V"})


def test_another_type_takes_its_place() -> None:
    other = board(WAYS["both"]).with_(Q1="2N3904")
    assert other.transistor is not None
    assert other.transistor.part == "2N3904"


FAULTS = (
    (("Q1",), ["dc pin 5 V", "diode base emitter OL", "diode base pin OL"]),
    (("Q1", "pin leaky"), ["dc pin 0.01 V", "ohm pin logic0 0.3", "diode pin logic0 0.001 V"]),
    (("R1",), ["dc pin 5 V", "ohm R1 OL", "ohm R2 220k"]),
)


@pytest.mark.parametrize(("repairs", "readings"), FAULTS)
def test_faults_are_found(repairs: tuple[str, ...], readings: list[str]) -> None:
    """Textbook: a transistor tests as two diodes from its base, and not at all between the rest."""
    diagnosis = zcd.diagnose(board(WAYS["both"]), *readings, flags=["sync"])
    assert diagnosis.ranked[0].fault.repair in repairs
