"""Good files to begin with: boards of every topology and option, jobs, drawers."""

from __future__ import annotations

import tomllib
from typing import Any

from tests.board.boards import FULL, SMALLEST
from zcd.board.drawer_starter import STARTER
from zcd.board.model import Topology
from zcd.board.starter import starter_text

JOB = """
board = "board.toml"
note = "came in with the lid off"
flags = ["sync", "fan"]
meter = {dc_input = "10M", ac_input = "1M", ac_kind = "average", dc_accuracy = "0.5 %"}

[[readings]]
function = "dc"
red = "pin"
black = "logic0"
value = "4.98 V"

[[readings]]
function = "ohm"
over = "R2"
lifted = true
value = "OL"

[[readings]]
function = "ac"
red = "feed"
black = "neutral"
value = "190..260"

[[readings]]
function = "duty"
value = "skipped"
"""

CLOSED = """
board = "full.toml"
flags = ["none"]
found = "R11 drift"
kind = "resistor drift"
repair = "renewed"
closed = 2026-03-14
readings = [{function = "low time", value = "4.5 ms"}]
"""

DRAWER = """
resistors = ["100k", {values = ["47k", "82k"], style = "1206", tolerance = "1 %", count = 20},
             {series = "E12", style = "1/2 W"}]
optocouplers = ["817C", {family = "817", grade = "B", count = 2}]
diodes = ["1N4007", {part = "M7", count = 4}]
drive_parts = ["MOC3052M", {part = "BT136-600", kind = "triac", current = "4 A", voltage = "600 V"}]
"""

BOARDS: tuple[dict[str, Any], ...] = (
    tomllib.loads(SMALLEST),
    tomllib.loads(FULL),
    *(tomllib.loads(starter_text(topology)) for topology in Topology),
)
JOBS: tuple[dict[str, Any], ...] = (tomllib.loads(JOB), tomllib.loads(CLOSED))
DRAWERS: tuple[dict[str, Any], ...] = (tomllib.loads(DRAWER), tomllib.loads(STARTER))
