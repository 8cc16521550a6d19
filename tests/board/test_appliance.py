"""Supervision, drive and fan in a board file: defaults, what is refused, and how."""

from __future__ import annotations

import pytest

from zcd.board.appliance import default_appliance
from zcd.board.files import parse_board
from zcd.errors import InputError

BOARD = """
mains = "{mains}"
rectifier = "1N4007"
optocoupler = "817C"
chain.resistors = ["120k", "120k"]
output = {{pull_up = "10k", supply = "5 V"}}
{more}
"""


def text(more: str = "", mains: str = "230 V") -> str:
    """A board file with some lines added."""
    return BOARD.format(mains=mains, more=more)


def test_nothing_written_takes_all_defaults() -> None:
    board = parse_board(text())
    assert board.appliance == default_appliance(50.0)
    assert not {note.key.partition(".")[0] for note in board.assumptions} & {
        "supervision",
        "drive",
        "fan",
    }


def test_speeds_follow_the_mains() -> None:
    """The band of 120 V brings 60 Hz, and with it 1800 rpm for four poles."""
    board = parse_board(text(mains="120 V"))
    assert board.appliance == default_appliance(60.0)
    assert board.appliance is not None
    assert board.appliance.fan.full_rpm == pytest.approx(1440.0)
    parse_board(text('fan.full_speed = "1700 rpm"', mains="120 V"))


def test_short_forms() -> None:
    appliance = parse_board(text('drive = "zero-cross"\nfan = "25 W"')).appliance
    assert appliance is not None
    assert (appliance.drive.kind, appliance.fan.input_w) == ("zero-cross", 25.0)


def test_what_is_written_leaves_no_assumption() -> None:
    appliance = parse_board(
        text('supervision = {retries = 0, without_sync = "free-run"}')
    ).appliance
    assert appliance is not None
    assert (appliance.supervision.retries, appliance.supervision.without_sync) == (0, "free-run")
    keys = {note.key for note in appliance.assumptions}
    assert not {"supervision.retries", "supervision.without_sync"} & keys


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ('drive = "zero-crossing"', 'drive: .*did you mean "zero-cross"'),
        ("supervision.retrys = 2", 'supervision.retrys: .*write "retries"'),
        ("supervision.lock_periods = 0", "supervision.lock_periods: found 0; .*from 1 to 1000"),
        ('supervision.run_up = "2 h"', "supervision.run_up: "),
        ("fan.poles = 3", "fan.poles: found 3; allowed: an even number"),
        ('fan.full_speed = "1500 rpm"', "fan.full_speed: .*below 1500 rpm, the synchronous speed"),
        ('supervision.target_speed = "1300 rpm"', "supervision.target_speed: .*not above"),
        ('drive.earliest = "90 %"', "drive.earliest: .*less than drive.latest"),
        ('drive.gate_pulse = "9.5 ms"', "drive.gate_pulse: .*less than drive.earliest leaves"),
    ],
)
def test_refused(more: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_board(text(more))


def test_unknown_band_is_named_once() -> None:
    with pytest.raises(InputError) as error:
        parse_board(
            text(mains="230 V").replace(
                'mains = "230 V"', 'mains = {voltage = "230 V", band = "moon"}'
            )
        )
    assert str(error.value).count("\n") == 0
