"""Board files of the tests of margin and diagnosis: one invented board in several forms.

Nothing here is a real product.
"""

from __future__ import annotations

from functools import cache

from zcd.board.files import parse_board
from zcd.board.model import Board

HEAD = """\
name = "Invented dough proofer"
mains = "230 V 50 Hz"
feed = "direct"
optocoupler = "817C"
"""
R1_OHM, R2_OHM = 110e3, 130e3
CHAIN_OHM = R1_OHM + R2_OHM
RESISTORS = '["110k", "130k"]'
CHAIN = f"""\
[chain]
style = "1206"
resistors = {RESISTORS}
"""
OUTPUT = """\
[output]
pull_up = "47k"
supply = "5 V"
"""
# twice a period the pin must come up again within half a millisecond
FULL_WAVE_OUTPUT = OUTPUT.replace("47k", "15k")
RELAY = 'kind = "switched", coil_supply = "24 V", coil_resistance = "1k44"'
COIL_OHM = 1440.0
SWITCHED = HEAD.replace('"direct"', f"{{{RELAY}}}")
SUPPRESSED = HEAD.replace(
    '"direct"', f'{{{RELAY}, suppressor = {{resistance = "100", capacitance = "100 nF"}}}}'
)
RECTIFIER = 'rectifier = "1N4007"\n'
CLAMP = 'clamp = "1N4148"\n'


def joined(*parts: str) -> str:
    """Text of a board file; later parts are tables."""
    return "".join(parts)


TEXTS: dict[str, str] = {
    "half-wave": joined(HEAD, RECTIFIER, CHAIN, OUTPUT),
    "switched": joined(SWITCHED, RECTIFIER, CHAIN, OUTPUT),
    "rectifier first": joined(HEAD, RECTIFIER, CHAIN, "rectifier_first = true\n", OUTPUT),
    "clamped": joined(HEAD, CLAMP, CHAIN, 'topology = "clamped"\n', OUTPUT),
    "half-wave-clamped": joined(
        HEAD, RECTIFIER, CLAMP, CHAIN, 'topology = "half-wave-clamped"\n', OUTPUT
    ),
    "bridge": joined(HEAD, RECTIFIER, CHAIN, 'topology = "bridge"\n', FULL_WAVE_OUTPUT),
    "two-led": joined(
        HEAD.replace("817C", "814"), CHAIN, 'topology = "two-led"\n', FULL_WAVE_OUTPUT
    ),
    "parallel": joined(HEAD, RECTIFIER, CHAIN, 'parallel = [["330k", "220k"]]\n', OUTPUT),
    "across the LED": joined(
        HEAD, RECTIFIER, CHAIN, OUTPUT, '[led]\nresistor = "10k"\ncapacitor = "10 nF"\n'
    ),
    "joint capacitor": joined(
        HEAD, RECTIFIER, CHAIN, 'joint_capacitor = {after = 1, capacitance = "10 nF"}\n', OUTPUT
    ),
    "pin capacitor": joined(HEAD, RECTIFIER, CHAIN, OUTPUT, 'pin_capacitor = "1 nF"\n'),
    "emitter follower": joined(HEAD, RECTIFIER, CHAIN, OUTPUT.replace("pull_up", "pull_down")),
}
"""A board file for each topology and each option."""

SUPPRESSED_TEXT = joined(SUPPRESSED, RECTIFIER, CHAIN, OUTPUT)
"""A suppressor across the load contact: an open contact fades over tens of cycles."""


@cache
def board(name: str = "half-wave") -> Board:
    """One of `TEXTS` as a board."""
    return parse_board(TEXTS[name])


def edited(old: str, new: str, name: str = "half-wave") -> Board:
    """A board with one piece of its file replaced."""
    text = TEXTS[name]
    assert text.count(old) == 1, f"{old!r} must stand once in {text!r}"
    return parse_board(text.replace(old, new))


def controlled(keys: str, name: str = "half-wave") -> Board:
    """A board with keys of its controller added."""
    return parse_board(f"{TEXTS[name]}[controller]\n{keys}\n")


PROOFER = """
name = "Invented proofer"
mains = "115V 60Hz"
feed = {kind = "switched", coil_supply = "24V"}
chain = {topology = "half-wave", resistors = ["33k", "33k"], style = "1206"}
rectifier = "M7"
optocoupler = "PC817X2"
output = {pull_up = "22k", supply = "3.3V"}
"""
