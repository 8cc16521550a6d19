"""A board file to start from: what must be written is there, the rest stands as comments."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from zcd import refdata
from zcd.board.model import Topology
from zcd.board.units import format_si

_HEAD = """\
# Sync circuit of one board: write what is printed on the parts.
# Lines with a # are optional; each shows what is taken when it is not written, or an example.
# Values: "120k", "4k7", "10 nF", "230 V", "5 %", "25 °C", or a plain number in SI units.
# CAUTION: the mains side is live up to and including the optocoupler's LED. Isolate, discharge
# and prove dead before you measure parts; local codes and licensed practice go first.

name = "Example: BOARD_NAME (invented)"

[mains]
voltage = "MAINS_V"
# frequency = "MAINS_HZ"
# frequency_tolerance = "FREQUENCY_TOLERANCE"
# band = "BAND"        # or tolerance = "10 %"
# harmonics = [{order = 3, fraction = "5 %", phase = "0 deg"}]       # example

[feed]
kind = "direct"               # always live; or "switched", behind the load relay's contact
# These belong to kind = "switched":
# contact_resistance = "CONTACT"
# coil_supply = "COIL_SUPPLY"
# coil_resistance = "COIL_RESISTANCE"
# driver_resistance = "DRIVER"
# suppressor = {resistance = "100", capacitance = "100 nF"}          # example
"""

_CHAIN = {
    Topology.HALF_WAVE: """\
[chain]
topology = "half-wave"        # a rectifier in series with the LED
resistors = ["36k", "36k", "36k"]   # in order from the feed
# rectifier_first = false     # true: the rectifier comes before the chain

[rectifier]
part = "1N4007"
# ref = "D1"
""",
    Topology.CLAMPED: """\
[chain]
topology = "clamped"          # a diode across the LED, the other way round
resistors = ["43k", "43k", "43k", "43k"]   # in order from the feed

[clamp]
part = "1N4148"
# ref = "D1"
""",
    Topology.HALF_WAVE_CLAMPED: """\
[chain]
topology = "half-wave-clamped"   # a rectifier in series, and a diode across the LED
resistors = ["24k", "24k"]    # in order from the feed
# rectifier_first = false     # true: the rectifier comes before the chain

[rectifier]
part = "1N4007"
# ref = "D1"

[clamp]
part = "1N4148"
# ref = "D2"
""",
    Topology.BRIDGE: """\
[chain]
topology = "bridge"           # four diodes around the LED
resistors = ["12k", "12k"]    # in the line leg, in order from the feed
return_resistors = ["12k", "12k"]   # in the neutral leg

[rectifier]
part = "1N4007"               # each of the four
# ref = "D1"
""",
    Topology.TWO_LED: """\
[chain]
topology = "two-led"          # an AC-input optocoupler, two LEDs back to back
resistors = ["16k", "16k", "16k", "16k"]   # in order from the feed
""",
}

_CHAIN_OPTIONS = """\
# style = "1/4 W"             # of all in the chain: "1206", "MFR-25", ...
# tolerance = "TOLERANCE"
# A resistor may say more: {value = "33k", ref = "R5", style = "1206", tolerance = "1 %",
#   power = "0.25 W", working_voltage = "200 V"}
# parallel = [["33k", "33k"]]                                        # example
# joint_capacitor = {after = 1, capacitance = "10 nF"}               # example
"""

_REST = """\
[optocoupler]
family = "FAMILY"
grade = "GRADE"                   # as printed, or unranked if not written
# ctr = "150 %"               # example: measured, in place of the grade's limits
# remaining = "100 %"         # what age has left of it
# ref = "OC1"

# [led]                       # parts across the LED
# resistor = "10k"                                                   # example
# capacitor = "10 nF"                                                # example

[output]
pull_up = "PULL_UP"               # or pull_down, for an emitter follower
supply = "LOGIC_V"
# pin_capacitor = "1 nF"                                             # example

# [controller]
# low_threshold = "LOW"      # of the supply, or in volts
# high_threshold = "HIGH"
# edge = "falling"            # or "rising": the edge that it takes its timing from
# min_low_time = "MIN_LOW"
# min_high_time = "MIN_HIGH"
# max_transition = "MAX_TRANSITION"
# max_offset = "MAX_OFFSET"
# period_tolerance = "PERIOD"

# [service]
# bench_temperature = "BENCH"
# hot_temperature = "HOT"
# hours_per_year = "HOURS"     # with mains at the chain: all of them where the feed is direct

# What stands around the sync circuit, for: zcd story

# what the controller does over time
# [supervision]
# supply_wait = "SUPPLY_WAIT"
# relay_delay = "RELAY_DELAY"
# lock_periods = LOCK_PERIODS           # good ones in a row that make lock
# loss_periods = LOSS_PERIODS            # bad ones that end it
# run_up = "RUN_UP"
# target_speed = "900 rpm"                                           # example
# sync_flag_after = "SYNC_FLAG"
# fan_flag_after = "FAN_FLAG"
# fan_flag_share = "FAN_SHARE"      # of the target
# retries = RETRIES
# retry_pause = "PAUSE"
# without_sync = "inhibit"    # or "free-run": fires by its own clock, the fan runs rough
# clock_error = "CLOCK"

# [drive]
# kind = "random-phase"       # or "zero-cross", which no phase control can use
# half_cycles = "timer"       # or "edges": each edge of the pulse times one half cycle
# compensation = "300 us"                                            # example
# earliest = "EARLIEST"           # of the half period
# latest = "LATEST"
# gate_pulse = "GATE"
# latching_current = "LATCHING"
# inhibit_voltage = "INHIBIT"   # of a zero-cross part

# [fan]
# power = "POWER"              # taken from the mains at full voltage
# full_speed = "1350 rpm"                                            # example
# poles = POLES
# inertia = "INERTIA"
# run_capacitor = "1.8 uF"                                           # example
# main_resistance = "310"                                            # example
# start_resistance = "405"                                           # example
# pulses_per_turn = PULSES
"""

_LED = """\
# [led]                       # parts across the LED
# resistor = "10k"                                                   # example
"""
_LED_BOTH_HALVES = """\
[led]                         # parts across the LED
# Lit in both halves, the LED is dark for a moment only at each crossing. This resistor keeps it
# dark for longer: without it a strong and slow optocoupler never lets the pin go high.
resistor = "LED_RESISTOR"
"""

_DEFAULTS = {
    "FREQUENCY_TOLERANCE": ("mains.frequency_tolerance", "%"),
    "CONTACT": ("feed.contact_resistance", "Ω"),
    "COIL_SUPPLY": ("relay.coil_supply", "V"),
    "COIL_RESISTANCE": ("relay.coil_resistance", "Ω"),
    "DRIVER": ("relay.driver_resistance", "Ω"),
    "TOLERANCE": ("resistor.tolerance", "%"),
    "LOW": ("controller.low_threshold_ratio", "%"),
    "HIGH": ("controller.high_threshold_ratio", "%"),
    "MIN_LOW": ("controller.min_low_time", "s"),
    "MIN_HIGH": ("controller.min_high_time", "s"),
    "MAX_TRANSITION": ("controller.max_transition", "s"),
    "MAX_OFFSET": ("controller.max_offset", "s"),
    "PERIOD": ("controller.period_tolerance", "%"),
    "BENCH": ("service.bench_degc", "°C"),
    "HOT": ("service.hot_degc", "°C"),
    "HOURS": ("service.hours_plugged_in", "h"),
    "SUPPLY_WAIT": ("supervision.supply_wait", "s"),
    "RELAY_DELAY": ("supervision.relay_delay", "s"),
    "RUN_UP": ("supervision.run_up", "s"),
    "SYNC_FLAG": ("supervision.sync_flag_after", "s"),
    "FAN_FLAG": ("supervision.fan_flag_after", "s"),
    "FAN_SHARE": ("supervision.fan_flag_share", "%"),
    "PAUSE": ("supervision.retry_pause", "s"),
    "CLOCK": ("supervision.clock_error", "%"),
    "EARLIEST": ("drive.earliest", "%"),
    "LATEST": ("drive.latest", "%"),
    "GATE": ("drive.gate_pulse", "s"),
    "LATCHING": ("drive.latching_current", "A"),
    "INHIBIT": ("drive.inhibit_voltage", "V"),
    "POWER": ("fan.power", "W"),
    "INERTIA": ("fan.inertia", "kg m²"),
}
_COUNTS = {
    "LOCK_PERIODS": "supervision.lock_periods",
    "LOSS_PERIODS": "supervision.loss_periods",
    "RETRIES": "supervision.retries",
    "POLES": "fan.poles",
    "PULSES": "fan.pulses_per_turn",
}


_AT_120_V = {"MAINS_V": "120 V", "MAINS_HZ": "60 Hz", "BAND": "120 service"}
_AT_230_V = {"MAINS_V": "230 V", "MAINS_HZ": "50 Hz", "BAND": "230 +-10 %"}
_VALUES = {
    Topology.HALF_WAVE: {
        **_AT_230_V, "BOARD_NAME": "Brindlow S4 seed-tray heater",
        "FAMILY": "817", "GRADE": "B", "PULL_UP": "15k", "LOGIC_V": "5 V",
    },
    Topology.CLAMPED: {
        **_AT_230_V, "BOARD_NAME": "Copperlow KV kiln vent",
        "FAMILY": "817", "GRADE": "B", "PULL_UP": "27k", "LOGIC_V": "5 V",
    },
    Topology.HALF_WAVE_CLAMPED: {
        **_AT_120_V, "BOARD_NAME": "Mossend P1 dough proofer",
        "FAMILY": "817", "GRADE": "B", "PULL_UP": "8k2", "LOGIC_V": "3.3 V",
    },
    Topology.BRIDGE: {
        **_AT_120_V, "BOARD_NAME": "Fennimore T2 towel rail",
        "FAMILY": "817", "GRADE": "C", "PULL_UP": "9k1", "LOGIC_V": "5 V",
        _LED: _LED_BOTH_HALVES, "LED_RESISTOR": "2k",
    },
    Topology.TWO_LED: {
        **_AT_230_V, "BOARD_NAME": "Waxholt M3 candle-wax melter",
        "FAMILY": "814", "GRADE": "A", "PULL_UP": "10k", "LOGIC_V": "5 V",
        _LED: _LED_BOTH_HALVES, "LED_RESISTOR": "2k2",
        '# style = "1/4 W"  ': 'style = "1/2 W"    ',
    },
}  # fmt: skip
"""A board of its own for each topology; each keeps all rules at its worst corners."""


def starter_text(topology: Topology, mains: Mapping[str, Any] | None = None) -> str:
    """Board file of an invented board, for a person to change.

    Parameters
    ----------
    topology : Topology
    mains : mapping, optional
        Keys of ``[mains]`` in place of those of the example.

    Returns
    -------
    str
        TOML that `zcd.board.files.parse_board` reads; optional keys are comments.
    """
    chain, blank, diodes = _CHAIN[topology].partition("\n\n")
    parts = [_HEAD, chain.rstrip() + "\n" + _CHAIN_OPTIONS, diodes if blank else "", _REST]
    text = "\n".join(part for part in parts if part)
    for old, new in _VALUES[topology].items():
        text = text.replace(old, new)
    for word, (key, unit) in _DEFAULTS.items():
        text = text.replace(f'"{word}"', f'"{format_si(refdata.default(key).value, unit)}"')
    for word, key in _COUNTS.items():
        text = text.replace(f"= {word}", f"= {refdata.default(key).value:.0f}")
    return _with_mains(text, mains) if mains else text


def _with_mains(text: str, mains: Mapping[str, Any]) -> str:
    """A starter for other mains: each key in its own line, which may be a comment before."""
    import tomlkit

    before, head, rest = text.partition("[mains]\n")
    table, blank, after = rest.partition("\n\n")
    for key, value in mains.items():
        pair = tomlkit.inline_table()
        pair[key] = value
        line = pair.as_string()[1:-1]
        old = re.compile(rf"^(# )?{key} = .*$", re.MULTILINE)
        there = old.search(table)
        start, end = there.span() if there else (len(table), len(table))
        table = table[:start] + (line if there else f"\n{line}") + table[end:]
    return before + head + table + blank + after
