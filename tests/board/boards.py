"""Board files for the tests of this folder: one invented board, and edits of it."""

from __future__ import annotations

from typing import Any

SMALLEST = """\
mains = "230 V 50 Hz"
rectifier = "1N4007"
optocoupler = "817C"

[chain]
resistors = ["120k", "120k"]

[output]
pull_up = "10k"
supply = "5 V"
"""

FULL = """\
name = "Invented seed-tray heater"

[mains]
voltage = "230 V"
frequency = "50 Hz"
frequency_tolerance = "2 %"
band = "EN 50160"
harmonics = [{order = 3, fraction = "5 %", phase = "90 deg"}, {order = 5, fraction = 0.02}]

[feed]
kind = "switched"
contact_resistance = "0R1"
coil_supply = "24 V"
coil_resistance = "1k44"
driver_resistance = "10 ohm"
suppressor = {resistance = "100", capacitance = "100 nF"}

[chain]
topology = "half-wave-clamped"
resistors = [
    "91k",
    {ref = "R11", value = "160k", tolerance = "1 %", style = "1206", power = "1/4 W"},
]
style = "0805"
tolerance = "2 %"
parallel = [["470k", {value = "470k", working_voltage = "300 V"}]]
rectifier_first = true
joint_capacitor = {after = 1, capacitance = "10 nF"}

[rectifier]
part = "M7"
ref = "D5"

[clamp]
part = "1N4148"

[optocoupler]
family = "817"
grade = "C"
ctr = "250 %"
remaining = "60 %"
ref = "U2"

[led]
resistor = {value = "10k", tolerance = "5 %", style = "0603"}
capacitor = "4n7"

[output]
pull_down = {value = "4k7", tolerance = "1 %", style = "0603"}
supply = "3V3"
pin_capacitor = "1 nF"

[controller]
low_threshold = "0.8 V"
high_threshold = "60 %"
edge = "rising"
edges = "both"
min_low_time = "300 us"
min_high_time = 0.0004
max_transition = "0.5 ms"
max_offset = "1 ms"
period_tolerance = "3 %"

[service]
bench_temperature = "20 °C"
hot_temperature = "70 degC"
hours_per_year = "8760 h"
"""


def edited(**tables: Any) -> dict[str, Any]:
    """Keys of the smallest board with some replaced; a table is merged, None takes a key out."""
    board: dict[str, Any] = {
        "mains": "230 V 50 Hz",
        "rectifier": "1N4007",
        "optocoupler": "817C",
        "chain": {"resistors": ["120k", "120k"]},
        "output": {"pull_up": "10k", "supply": "5 V"},
    }
    for key, value in tables.items():
        old = board.get(key)
        if isinstance(old, dict) and isinstance(value, dict):
            board[key] = {k: v for k, v in {**old, **value}.items() if v is not None}
        else:
            board[key] = value
    return {key: value for key, value in board.items() if value is not None}
