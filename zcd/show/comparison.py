"""The second opinion as a table on a terminal, and as a JSON object."""

from __future__ import annotations

from math import isfinite
from typing import Any

from rich.console import Console

from zcd.circuit.elements import Circuit
from zcd.diagnosis.readings import Function, parts_over, side_of, usual_power
from zcd.diagnosis.words import show_value
from zcd.show.cautions import Caution
from zcd.show.checked.records import plain_values
from zcd.show.checked.sheets import Sheet, board_line
from zcd.show.found.findings import cautions_for
from zcd.show.found.records import KEYS
from zcd.show.found.tables import print_assumptions
from zcd.show.tables import print_cautions, print_heading, print_line, print_sheet
from zcd.show.wording import NOTHING, plain, quantity_text
from zcd.spice.compare import LEAST, SHARE, Comparison, Line
from zcd.spice.devices import device_of

DIFFERS = "DIFFERS"
_UNIT_KEYS = {"A": "a", "V": "v", "W": "w", "s": "s"}
SMALL = 20.0
"""Times the least difference that counts: below, a difference says more than a share."""
LEAST_SHARE = 5e-5
"""A share that is not shown."""

COLUMNS = ("", "zcd", "same", "off by", "transistor", "off by", "")


def print_compared(found: Comparison, circuit: Circuit, console: Console) -> None:
    """Print a comparison, the verdict first.

    Parameters
    ----------
    found : Comparison
    circuit : Circuit
        For the parts between nodes.
    console : Console
    """
    print_heading(f"Second opinion: {plain(found.board.name)}", console)
    print_line(verdict_line(found), console, bold=True)
    print_line(board_line(found.board), console)
    if found.fault != "healthy":
        size = "" if found.severity is None else f", severity {found.severity:g}"
        print_line(f"Fault put in: {found.fault}{size}.", console)
    print_line(_locks_text(found), console)
    if not found.ours.settled[0]:
        print_line("Not settled: this is a late cycle after switching on.", console)
    inside = [line for line in found.lines if line.reading is None]
    shown = [line for line in found.lines if line.reading is not None]
    print_sheet(_sheet("In the circuit", inside, circuit), console)
    if shown:
        print_sheet(_sheet("What the meter shows", shown, circuit), console)
    device = device_of(found.board.optocoupler.family)
    print_line(
        f"same: SPICE with the equations of zcd; {100.0 * SHARE:g} % is allowed, "
        f"{quantity_text(LEAST['s'], 's')} at edges, {quantity_text(LEAST['V'], 'V')} and "
        f"{quantity_text(LEAST['A'], 'A')} in any case. transistor: SPICE with the published model "
        f"{device.model} as the output, its CTR set to this board's at 5 V; it saturates and turns "
        "off in its own way, so that edges move.",
        console,
    )
    print_assumptions(found.board, console)
    print_cautions(compared_cautions(found, circuit), console)


def verdict_line(found: Comparison) -> str:
    if found.agrees:
        return "Engine and simulator agree in everything compared."
    count = sum(not line.agrees for line in found.lines)
    return f"Engine and simulator do not agree: {count} of {len(found.lines)} lines differ."


def _locks_text(found: Comparison) -> str:
    ours, equations, device = ("locks" if lock else "does not lock" for lock in found.locks)
    return f"The controller {ours}; with SPICE it {equations}, with the transistor it {device}."


def _sheet(title: str, lines: list[Line], circuit: Circuit) -> Sheet:
    rows = tuple(
        (
            _name(line, circuit),
            _value(line, line.ours),
            _value(line, line.equations),
            _off(line, line.equations),
            _value(line, line.device),
            _off(line, line.device),
            "" if line.agrees else DIFFERS,
        )
        for line in lines
    )
    return Sheet(title=title, columns=COLUMNS, rows=rows, right=(1, 2, 3, 4, 5))


def _name(line: Line, circuit: Circuit) -> str:
    reading = line.reading
    if reading is None:
        return line.name
    power = "" if reading.power is usual_power(reading.function) else f" {reading.power}"
    if reading.at_pin:
        return f"{reading.function}{power}"
    over = parts_over(circuit, reading.a, reading.b)
    if over and reading.function is not Function.DIODE and "pin" not in (reading.a, reading.b):
        return f"{reading.function} {over}{power}"
    return f"{reading.function} {reading.a} {reading.b}{power}"


def _value(line: Line, value: float) -> str:
    if line.reading is not None:
        return show_value(line.reading.function, value)
    return quantity_text(value, line.unit)


def _off(line: Line, other: float) -> str:
    """How far another answer is from ours."""
    if not (isfinite(line.ours) and isfinite(other)):
        same = repr(line.ours) == repr(other)
        return NOTHING if same else "other"
    gap = other - line.ours
    if line.share == 0.0 or abs(line.ours) < SMALL * LEAST[line.unit]:
        sign = "-" if gap < 0.0 else "+"
        least = LEAST_SHARE * SMALL * LEAST[line.unit]
        return f"{sign}{quantity_text(abs(gap), line.unit)}" if abs(gap) > least else "0"
    share = gap / abs(line.ours)
    return f"{100.0 * share:+.2f} %" if abs(share) >= LEAST_SHARE else "0"


def compared_cautions(found: Comparison, circuit: Circuit) -> tuple[Caution, ...]:
    """The cautions due before one of the readings that were compared is taken."""
    readings = [line.reading for line in found.lines if line.reading is not None]
    return cautions_for(side_of(circuit, reading) for reading in readings)


def comparison_record(found: Comparison) -> dict[str, Any]:
    """A comparison, ready for `json.dumps`.

    Parameters
    ----------
    found : Comparison

    Returns
    -------
    record : dict
        ``board``, ``topology``, ``fault``, ``severity_ratio``, ``agrees``, ``settled``;
        ``device``: the published transistor; ``locks``: ``ours``, ``equations``, ``device``;
        ``quantities`` and ``readings``: list of name (or function, red, black), ``agrees`` and
        ``ours_*``, ``equations_*``, ``device_*``, ``allowed_*``, the unit ending the key, null for
        what does not exist and for an overload; ``assumptions``.
    """
    board = found.board
    record: dict[str, Any] = plain_values(
        {
            "board": board.name,
            "topology": str(board.topology),
            "fault": found.fault,
            "severity_ratio": found.severity,
            "agrees": found.agrees,
            "settled": bool(found.ours.settled[0]),
            "device": device_of(board.optocoupler.family).model,
            "locks": dict(zip(("ours", "equations", "device"), found.locks, strict=True)),
            "quantities": [
                {"name": line.name, **_values(line, _UNIT_KEYS[line.unit])}
                for line in found.lines
                if line.reading is None
            ],
            "readings": [
                {
                    "function": str(line.reading.function),
                    "red": line.reading.a,
                    "black": line.reading.b,
                    **_values(line, KEYS[line.reading.function]),
                }
                for line in found.lines
                if line.reading is not None
            ],
            "assumptions": [
                {"key": a.key, "value": a.value, "source": a.source} for a in board.assumptions
            ],
        }
    )
    return record


def _values(line: Line, unit: str) -> dict[str, Any]:
    return {
        f"ours_{unit}": line.ours,
        f"equations_{unit}": line.equations,
        f"device_{unit}": line.device,
        f"allowed_{unit}": line.allowed,
        "agrees": line.agrees,
    }
