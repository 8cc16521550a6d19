"""The expected readings on one page: a row a reading."""

from __future__ import annotations

from collections.abc import Sequence

from zcd.circuit.elements import Circuit
from zcd.diagnosis.case import ExpectedReadings
from zcd.diagnosis.expected_readings import ExpectedReading
from zcd.diagnosis.readings import AccessLevel, Power, Reading, parts_between, parts_over
from zcd.report.cautions import LOCAL, UNPLUG
from zcd.report.document import Document, Paragraph, Section
from zcd.report.of_board import read_as_line, unread_line
from zcd.report.of_diagnosis import spread_text
from zcd.report.table import Table
from zcd.report.text import plain

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
        "supply; MAINS: live parts.",
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


def short_reading(reading: Reading, circuit: Circuit) -> str:
    """A reading in one line, such as ``ohm R1`` or ``dc pin, logic0``."""
    over = parts_over(circuit, reading.red, reading.black)
    if not over and reading.function.row.dead:
        row: Sequence[str] = parts_between(circuit, reading.red, reading.black)
        over = f"{row[0]} to {row[-1]}" if row else ""
    if reading.function.row.dead and reading.function.value == "ohm" and over:
        return f"ohm {over}"
    off = " relay off" if reading.power is Power.OFF else ""
    return f"{reading.function} {reading.red}, {reading.black}{off}"


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
