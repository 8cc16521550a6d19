"""The expected readings on one page: a row a reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from zcd.circuit.elements import Circuit
from zcd.diagnosis.case import ExpectedReadings
from zcd.diagnosis.expected_readings import ExpectedReading
from zcd.diagnosis.meters import Meter, diode_full_scale_v
from zcd.diagnosis.readings import AccessLevel, Power, Reading, parts_between, parts_over
from zcd.report.cautions import LOCAL, UNPLUG
from zcd.report.document import Cautions, Document, Paragraph, Section
from zcd.report.of_board import read_as_line, unread_line
from zcd.report.of_diagnosis import cautions_for, part_words, spread_text
from zcd.report.points import joint_text
from zcd.report.table import Table
from zcd.report.text import plain, quantity_text

MOST_TOLD = 2
SHORT_STATES = {
    AccessLevel.DEAD: "unplugged",
    AccessLevel.BENCH: "bench",
    AccessLevel.ISOLATED: "powered",
    AccessLevel.MAINS: "MAINS",
}
"""Sides that the page shows; what takes a lifted part is in the full list."""


def card_page_document(expected: ExpectedReadings) -> Document:
    """The expected readings on one page."""
    rows = tuple(
        (
            SHORT_STATES[line.access],
            short_reading(line.reading, expected.circuit),
            spread_text(line.reading.function, line.healthy),
            ", ".join(_best_told(line, expected.circuit)),
        )
        for line in expected.lines
        if line.access in SHORT_STATES
    )
    table = Table(
        title="Expected readings",
        columns=("board", "red, black", "good board", "tells best"),
        rows=rows,
        remark="Board: unplugged and discharged; bench: unplugged, logic supply from a bench "
        "supply; MAINS: live parts. R1/R2: where R1 and R2 meet. led+, led-: anode and cathode "
        "of the optocoupler's LED. logic0: the controller's ground.",
    )
    words = tuple(
        filter(
            None,
            (
                read_as_line(expected.board),
                unread_line(expected.board),
                f"CAUTION: {UNPLUG} {LOCAL}",
            ),
        )
    )
    return Document(
        title=plain(expected.board.name),
        sections=(
            Section("", (table,), answer=True),
            Section("", tuple(map(Paragraph, words)), answer=True),
        ),
    )


def bench_card_document(expected: ExpectedReadings) -> Document:
    """The same for paper: a place for each reading taken, and all cautions."""
    page = card_page_document(expected)
    (table,) = page.tables()
    rows = tuple((*map(str, row[:3]), "", str(row[3])) for row in table.rows)
    columns = (*table.columns[:3], "measured", table.columns[3])
    card = replace(table, title="", columns=columns, rows=rows)
    meter = f"Meter: {meter_text(expected.meter)}. Date, name:"
    return Document(
        title=f"Bench card: {page.title}",
        sections=(
            Section("Expected readings", (Paragraph(meter), card), answer=True),
            Section("Cautions", (Cautions((("", cautions_for(AccessLevel)),)),)),
        ),
    )


def meter_text(meter: Meter) -> str:
    """What the readings were worked out for."""
    return (
        f"{quantity_text(meter.dc_input_ohm, 'Ω')} on DC volts, {meter.ac_kind} AC, diode test "
        f"up to {quantity_text(diode_full_scale_v(meter), 'V')}, ohms up to "
        f"{quantity_text(meter.ohm_range_ohm, 'Ω')}"
    )


def short_reading(reading: Reading, circuit: Circuit) -> str:
    """A reading in one line, such as ``ohm R1`` or ``dc pin, logic0``."""
    over = parts_over(circuit, reading.red, reading.black)
    if not over and reading.function.row.dead:
        row: Sequence[str] = parts_between(circuit, reading.red, reading.black)
        over = f"{row[0]} to {row[-1]}" if row else ""
    if reading.function.row.dead and reading.function.value == "ohm" and over:
        return f"ohm {' to '.join(part_words(ref) for ref in over.split(' to '))}"
    off = " relay off" if reading.power is Power.OFF else ""
    red, black = (joint_text(node, circuit) for node in (reading.red, reading.black))
    return f"{reading.function} {red}, {black}{off}"


def _best_told(line: ExpectedReading, circuit: Circuit) -> list[str]:
    """Faults that a reading tells: of parts between the probes, clearly, the commonest first."""
    row = parts_between(circuit, line.reading.red, line.reading.black)
    parts = {ref.replace(".led", " LED").replace(".", " ") for ref in row} | {
        *line.over.split(", ")
    }
    good = line.healthy

    def place(key: str) -> tuple[bool, bool]:
        shown = line.faults[key]
        clear = shown.high < good.low or shown.low > good.high
        return not clear, not key.startswith(tuple(parts - {""}))

    keys = [key for key in line.faults if not key.endswith("intermittent")]
    return sorted(keys, key=place)[:MOST_TOLD]
