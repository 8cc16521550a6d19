"""Tests of zcd.board.starter: what it writes loads."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace

import pytest

from zcd.board.files import parse_board
from zcd.board.model import Topology
from zcd.board.parts_library import odd_values
from zcd.board.schema import BoardFile
from zcd.board.starter import starter_text

TOPOLOGIES = list(Topology)


@pytest.mark.parametrize("topology", TOPOLOGIES)
def test_starter_loads(topology: Topology) -> None:
    text = starter_text(topology)
    board = parse_board(text)
    assert board.topology is topology
    assert "invented" in board.name
    assert odd_values(board) == ()
    assert "CAUTION" in text


@pytest.mark.parametrize("topology", TOPOLOGIES)
def test_defaults_in_the_comments_are_those_taken(topology: Topology) -> None:
    """With every commented default made live, the board stays the same, without assumptions."""
    text = starter_text(topology)
    live = re.sub(r"^# (\[\w+\]|\w+ = (?!.*example).*)$", r"\1", text, flags=re.MULTILINE)
    # The relay's keys belong to a switched feed, and a style below the chain is one of many.
    live = re.sub(r"^(contact|coil|driver)_.*$", "", live, flags=re.MULTILINE)
    assert live != text
    plain, full = parse_board(text), parse_board(live)
    # what was expected of the controller is now stated
    assert replace(full.controller, stated=plain.controller.stated) == plain.controller
    assert full.service == plain.service
    assert full.mains == plain.mains
    # ... and the sizes that were assumed are written
    assert full.chains == tuple(
        tuple(replace(part, size_assumed=False) for part in chain) for chain in plain.chains
    )
    assert full.optocoupler == plain.optocoupler
    assert full.appliance is not None
    assert plain.appliance is not None
    assert replace(full.appliance, assumptions=()) == replace(plain.appliance, assumptions=())
    assert {note.key for note in full.appliance.assumptions} == {
        "supervision.target_speed",
        "drive.compensation",
        "fan.full_speed",
        "fan.run_capacitor",
        "fan.main_resistance",
        "fan.start_resistance",
    }
    left = {note.key for note in full.assumptions}
    assert left <= {
        f"{part}.{what}"
        for part in ("led.resistor", "output.pull_up")
        for what in ("style", "tolerance")
    }


@pytest.mark.parametrize("topology", TOPOLOGIES)
def test_switched_feed_of_the_comments_loads(topology: Topology) -> None:
    text = starter_text(topology).replace('kind = "direct"', 'kind = "switched"')
    live = re.sub(r"^# ((contact|coil|driver)_.*)$", r"\1", text, flags=re.MULTILINE)
    assert parse_board(live).relay == parse_board(text).relay is not None


@pytest.mark.parametrize("topology", TOPOLOGIES)
def test_examples_in_the_comments_load(topology: Topology) -> None:
    """Each commented line, made live alone, is understood."""
    lines = starter_text(topology).splitlines()
    tried = 0
    for index, line in enumerate(lines):
        if not re.match(r"# \w+ = ", line) or re.match(r"# (contact|coil|driver|supp)", line):
            continue
        if topology is Topology.BRIDGE and "parallel" in line:
            assert "return_resistors" in "".join(lines[:index])
        before = [re.sub(r"^# (\[\w+\])", r"\1", above) for above in lines[:index]]
        parse_board("\n".join([*before, line.removeprefix("# "), *lines[index + 1 :]]))
        tried += 1
    assert tried > 15


def test_starter_names_every_table() -> None:
    text = starter_text(Topology.HALF_WAVE_CLAMPED)
    for name in BoardFile.model_fields:
        assert re.search(rf"^(# .*)?(\[{name}\]|{name} = )", text, re.MULTILINE)
    assert set(tomllib.loads(text)) <= set(BoardFile.model_fields)
