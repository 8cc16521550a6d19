"""A drawer file to start from."""

from __future__ import annotations

STARTER = """\
# The parts in stock: what `zcd substitute BOARD --drawer THIS-FILE` may choose from.
# Every list may be left out; leave out count where there is plenty.
# CAUTION: for the mains side only flame-proof or fusible resistors where such were fitted.

name = "Example: drawer of an invented repair corner"

resistors = [
    "39k",                                    # 1/4 W, 5 % where nothing else is written
    {value = "68k", count = 2},
    {values = ["22k", "56k", "91k"], style = "1206", tolerance = "1 %", count = 20},
    {series = "E12", style = "1/2 W"},        # a kit, 1 kΩ to 10 MΩ: E6, E12 (10 %), E24 ...
    # a part's own sheet goes before the style's limits:
    {value = "180k", style = "1 W", power = "0.9 W", working_voltage = "350 V"},
]

optocouplers = [
    "817C",                                   # family with its grade
    {family = "817", ctr = "180 %", count = 1},   # measured at the sheet's test current
    {family = "814", grade = "A"},            # two LEDs
]

diodes = [
    "1N4007",
    {part = "M7", count = 4},                 # a bridge of single diodes needs four of a kind
    "5V1 zener 500 mW",
]

capacitors = [
    "1 nF",
    {value = "22 nF", safety_class = "X2", voltage = "275 V"},
]

drive_parts = [
    "MOC3052M",
    "S201DH1",
    {part = "BT136-800", count = 1},
    # a part that the tables do not know, by its sheet:
    {part = "X-600", kind = "triac", current = "4 A", voltage = "600 V", surge = "25 A"},
]
"""
"""Every part of it is invented or in the tables."""
