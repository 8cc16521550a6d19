"""The second opinion as a table on a terminal, and as a JSON object."""

from __future__ import annotations

from math import isfinite

from zcd.board.units import format_percent, format_si
from zcd.circuit.elements import Circuit
from zcd.diagnosis.functions import Function
from zcd.diagnosis.reading_syntax import show_value
from zcd.diagnosis.readings import access_level, parts_over, usual_power
from zcd.errors import plain
from zcd.report.cautions import Caution
from zcd.report.document import Document, Paragraph, Section
from zcd.report.of_board import taken_line
from zcd.report.of_check import board_line
from zcd.report.of_check_document import brief_cautions, caution_sections, end_sections
from zcd.report.of_diagnosis import cautions_for
from zcd.report.table import Quantity, Table
from zcd.report.text import NOTHING, quantity_text
from zcd.serialize import Record
from zcd.spice.compare import LEAST, SHARE, Comparison, Line
from zcd.spice.devices import device_of, family_of

DIFFERS = "DIFFERS"
_UNIT_KEYS = {"A": "a", "V": "v", "W": "w", "s": "s"}
SMALL = 20.0
"""Times the least difference that counts: below, a difference says more than a share."""
MIN_SHARE = 5e-5
"""A share that is not shown."""


def comparison_document(comparison: Comparison) -> Document:
    """A comparison, the verdict first."""
    lines = [Paragraph(verdict_line(comparison), "strong"), Paragraph(board_line(comparison.board))]
    if comparison.fault != "healthy":
        size = "" if comparison.severity is None else f", severity {comparison.severity:g}"
        lines.append(Paragraph(f"Fault put in: {comparison.fault}{size}."))
    if taken := taken_line(comparison.board):
        lines.append(Paragraph(taken))
    lines.append(Paragraph(_locks_text(comparison)))
    if not comparison.ours.settled[0]:
        lines.append(Paragraph("Not settled: this is a late cycle after switching on."))
    inside = [line for line in comparison.lines if line.reading is None]
    shown = [line for line in comparison.lines if line.reading is not None]
    tables = [_table("In the circuit", inside, comparison.circuit)]
    if shown:
        tables.append(_table("What the meter shows", shown, comparison.circuit))
    return Document(
        title=f"Second opinion: {plain(comparison.board.name)}",
        sections=(
            Section("", tuple(lines), answer=True),
            *_brief_cautions(comparison),
            Section("", (*tables, Paragraph(_columns_text(comparison)))),
            *end_sections(comparison.board)[:2],
            *caution_sections(*compared_cautions(comparison)),
        ),
    )


def _brief_cautions(comparison: Comparison) -> tuple[Section, ...]:
    """Those of the most dangerous reading that is compared; none where none is."""
    sides = [
        access_level(comparison.circuit, line.reading)
        for line in comparison.lines
        if line.reading is not None
    ]
    return (brief_cautions(*sides),) if sides else ()


def _columns_text(comparison: Comparison) -> str:
    """What stands in the columns."""
    if not family_of(comparison.board):
        return f"{_same_text()} transistor: the same again, as this board has none."
    device = device_of(family_of(comparison.board))
    if comparison.board.transistor is not None:
        return (
            f"{_same_text()} transistor: SPICE with the published model {device.model}, its gain "
            "set to this board's; its capacitances change with voltage."
        )
    return (
        f"{_same_text()} transistor: SPICE with the published model "
        f"{device.model} as the output, its CTR set to this board's at 5 V; it saturates and turns "
        "off in its own way, so that edges move."
    )


def _same_text() -> str:
    """What stands in the column of the same equations."""
    return (
        f"same: SPICE with the equations of zcd; {format_si(SHARE, '%')} is allowed, "
        f"{quantity_text(LEAST['s'], 's')} at edges, {quantity_text(LEAST['V'], 'V')} and "
        f"{quantity_text(LEAST['A'], 'A')} in any case."
    )


def verdict_line(comparison: Comparison) -> str:
    if comparison.agrees:
        return "zcd and ngspice agree on everything compared."
    count = sum(not line.agrees for line in comparison.lines)
    return f"zcd and ngspice disagree: {count} of {len(comparison.lines)} values differ."


def _locks_text(comparison: Comparison) -> str:
    ours, equations, device = ("yes" if lock else "no" for lock in comparison.locks)
    return f"Sync works: zcd {ours}; SPICE {equations}; SPICE with a transistor model {device}."


def _table(title: str, lines: list[Line], circuit: Circuit) -> Table:
    quantities = (
        Quantity("name", "", lambda line: _name(line, circuit)),
        _answer("ours", "zcd"),
        _answer("equations", "same"),
        _difference("equations"),
        _answer("device", "transistor"),
        _difference("device"),
        Quantity("agrees", "", lambda line: "" if line.agrees else DIFFERS),
    )
    return Table.of(lines, quantities, title)


def _answer(name: str, heading: str) -> Quantity:
    return Quantity(name, heading, lambda line: _value(line, getattr(line, name)), right=True)


def _difference(name: str) -> Quantity:
    """How far one of SPICE's answers is from ours, both in the unit of the row."""
    return Quantity(
        f"{name}_difference",
        "off by",
        lambda line: _off(line, getattr(line, name)),
        lambda line: getattr(line, name) - line.ours,
        right=True,
    )


def _name(line: Line, circuit: Circuit) -> str:
    reading = line.reading
    if reading is None:
        return line.name
    power = "" if reading.power is usual_power(reading.function) else f" {reading.power}"
    if reading.at_pin:
        return f"{reading.function}{power}"
    over = parts_over(circuit, reading.red, reading.black)
    if (
        over
        and reading.function is not Function.DIODE
        and "pin" not in (reading.red, reading.black)
    ):
        return f"{reading.function} {over}{power}"
    return f"{reading.function} {reading.red} {reading.black}{power}"


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
        least = MIN_SHARE * SMALL * LEAST[line.unit]
        return f"{sign}{quantity_text(abs(gap), line.unit)}" if abs(gap) > least else "0"
    share = gap / abs(line.ours)
    return format_percent(share, "+.2f") if abs(share) >= MIN_SHARE else "0"


def compared_cautions(comparison: Comparison) -> tuple[Caution, ...]:
    """The cautions due before one of the readings that were compared is taken."""
    readings = [line.reading for line in comparison.lines if line.reading is not None]
    return cautions_for(access_level(comparison.circuit, reading) for reading in readings)


def comparison_to_dict(comparison: Comparison) -> Record:
    """A comparison, ready for `json.dumps`."""
    board = comparison.board
    return {
        "board": board.name,
        "topology": board.topology,
        "fault": comparison.fault,
        "severity_ratio": comparison.severity,
        "agrees": comparison.agrees,
        "settled": bool(comparison.ours.settled[0]),
        "device": device_of(family_of(board)).model,
        "locks": dict(zip(("ours", "equations", "device"), comparison.locks, strict=True)),
        "quantities": [
            {"name": line.name, **_values(line, _UNIT_KEYS[line.unit])}
            for line in comparison.lines
            if line.reading is None
        ],
        "readings": [
            {
                "function": line.reading.function,
                "red": line.reading.red,
                "black": line.reading.black,
                **_values(line, line.reading.function.row.unit_ending),
            }
            for line in comparison.lines
            if line.reading is not None
        ],
        "assumptions": board.assumptions,
    }


def _values(line: Line, unit: str) -> Record:
    return {
        f"ours_{unit}": line.ours,
        f"equations_{unit}": line.equations,
        f"device_{unit}": line.device,
        f"allowed_{unit}": line.allowed,
        "agrees": line.agrees,
    }
