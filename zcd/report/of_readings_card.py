"""The expected readings, a row a reading: the most telling on one screen, all on one page."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence
from dataclasses import replace

from zcd.board.model import Board
from zcd.circuit.elements import Circuit, Phototransistor
from zcd.circuit.points import joint_text, leads_text, part_words
from zcd.diagnosis.case import ExpectedReadings
from zcd.diagnosis.expected_readings import ExpectedReading
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import OVERLOAD, Meter, diode_full_scale_v
from zcd.diagnosis.readings import AccessLevel, Reading, parts_between, parts_over, usual_power
from zcd.errors import plain
from zcd.report.cautions import LOCAL, SHORT_CAUTIONS
from zcd.report.document import Cautions, Document, Paragraph, Section
from zcd.report.of_board import no_sync_line, read_as_line, unread_line
from zcd.report.of_diagnosis import cautions_for, side_by_side, spread_text
from zcd.report.table import Table
from zcd.report.text import quantity_text, wrapped

MOST_TOLD = 2
MOST_ROWS = 8
"""Readings on one screen."""
WIDTH, USUAL_READ_AS = 80, 2
"""Columns of a screen, and lines of what was understood beside which so many rows have room."""
TOLD_WIDTH = 20
"""Columns of the faults told, so that each reading is one line."""
SHORT_STATES = {
    AccessLevel.DEAD: "unplugged",
    AccessLevel.BENCH: "bench",
    AccessLevel.ISOLATED: "powered",
    AccessLevel.MAINS: "MAINS",
}
"""Sides that the page shows; what takes a lifted part is in the full list."""
STATE_WORDS = {
    AccessLevel.BENCH: "bench: unplugged, logic supply from a bench supply.",
    AccessLevel.ISOLATED: "powered: plugged in, probes on the isolated side only.",
    AccessLevel.MAINS: "MAINS: plugged in, probes on LIVE parts.",
}


BENCH_BANDS = "good board: mains within 5 %, 15 to 35 °C."


BESIDE = " Wide ohms: other parts are in parallel; in doubt lift one end."


def _is_wide(line: ExpectedReading) -> bool:
    """Whether ohms of a good board tell little, as for a part with others beside it."""
    is_ohms = line.reading.function is Function.OHM
    return is_ohms and 2.0 * line.healthy.low < line.healthy.high < OVERLOAD


def card_screen_document(expected: ExpectedReadings) -> Document:
    """The most telling of the expected readings on one screen, with the cautions for them."""
    on_page = [line for line in expected.lines if line.access in SHORT_STATES]
    read_as = read_as_line(expected.board)
    new = _most_telling(
        on_page, MOST_ROWS - max(0, len(wrapped(read_as, WIDTH).splitlines()) - USUAL_READ_AS)
    )
    told = [line for line in on_page if line.reading in new]
    rows = tuple(
        (*row[:3], _fitting(row[3]))
        for row in (_row(line, expected.circuit, new[line.reading]) for line in told)
    )
    more = len(on_page) - len(told)
    columns = ("board", "red, black", "good board", "shows best")
    table = Table(title="", columns=columns, rows=rows, remark=f"{more} more: --full")
    sides = [side for side in SHORT_STATES if any(line.access is side for line in told)]
    # the cautions of the mains hold for the isolated side too
    due = [side for side in sides if side in (AccessLevel.DEAD, AccessLevel.MAINS)]
    cautions = [text for side in due or sides for text in SHORT_CAUTIONS[side]]
    words = (
        no_sync_line(expected.board),
        f"{_legend(expected.board, sides, rows)}{BESIDE if any(map(_is_wide, told)) else ''}",
        read_as,
        unread_line(expected.board),
        f"CAUTION: {' '.join(cautions)} {LOCAL}",
    )
    return Document(
        title=plain(expected.board.name),
        sections=(Section("", (table, *(Paragraph(text) for text in words if text)), answer=True),),
    )


def card_page_document(expected: ExpectedReadings) -> Document:
    """The expected readings on one page."""
    lines = [line for line in expected.lines if line.access in SHORT_STATES]
    rows = tuple(
        (*row[:3], ", ".join(row[3])) for row in (_row(line, expected.circuit) for line in lines)
    )
    table = Table(
        title="Expected readings",
        columns=("board", "red, black", "good board", "shows best"),
        rows=rows,
        remark=_legend(expected.board, list(SHORT_STATES), rows),
    )
    return Document(
        title=plain(expected.board.name), sections=(Section("", (table,), answer=True),)
    )


def _most_telling(lines: Sequence[ExpectedReading], most: int) -> dict[Reading, set[str]]:
    """So many readings, in their order, that tell most faults together, each with those that no
    reading chosen before it tells; the frequency of the pulses is among them.

    Powered ones are there only for what no dead one tells, live ones for what no other does; what
    room is left goes to readings that confirm the first.
    """
    lines = [line for line in lines if _takes_a_meter_only(line)]
    dead = [line for line in lines if line.access is AccessLevel.DEAD]
    safe = [line for line in lines if line.access is not AccessLevel.MAINS]
    every = {key for line in lines for key in line.faults}
    told: dict[Reading, set[str]] = {}
    counted = (line for line in safe if line.reading.function is Function.FREQUENCY)
    for line in [line for line in counted if line.faults][:1]:
        told[line.reading] = set(line.faults)
    left = set(every)
    for side, until in (dead, most - 2), (safe, most - 1), (lines, most), (safe, most):
        while len(told) < until:
            rest = [line for line in side if line.reading not in told]
            best = max(rest, key=lambda line: len(left & line.faults.keys()), default=None)
            if best is None or not left & best.faults.keys():
                break
            told[best.reading] = left & best.faults.keys()
            left -= best.faults.keys()
        if side is lines:
            left = set(every)
    return {line.reading: told[line.reading] for line in lines if line.reading in told}


def _takes_a_meter_only(line: ExpectedReading) -> bool:
    """Whether a reading takes no oscilloscope and no bench supply, and is not of the socket."""
    reading = line.reading
    of_socket = {reading.red, reading.black} == {
        "line",
        "neutral",
    } and not reading.function.row.dead
    return not (of_socket or reading.function.row.scope or line.access is AccessLevel.BENCH)


def _row(
    line: ExpectedReading, circuit: Circuit, new: Collection[str] = ()
) -> tuple[str, str, str, list[str]]:
    """State of the board, reading, good board, and what it tells best, `new` faults first."""
    return (
        SHORT_STATES[line.access],
        short_reading(line.reading, circuit),
        spread_text(line.reading.function, line.healthy),
        _best_told(line, circuit, new),
    )


def _fitting(names: Sequence[str]) -> str:
    """The first names that fit into a line; whole ones, the first in any case."""
    number = len(names)
    while number > 1 and len(", ".join(names[:number])) > TOLD_WIDTH:
        number -= 1
    return ", ".join(names[:number])


def _legend(board: Board, sides: Sequence[AccessLevel], rows: Sequence[Sequence[object]]) -> str:
    """What the words in the rows mean."""
    places = " ".join(str(row[1]) for row in rows)
    words = [BENCH_BANDS, *(STATE_WORDS[side] for side in sides if side in STATE_WORDS)]
    if board.relay is not None:
        words = [text.replace("plugged in", "plugged in, load relay on") for text in words]
    if joints := [word.strip(",") for word in places.split() if "/" in word]:
        first, _, second = joints[0].partition("/")
        words.append(f"{joints[0]}: where {first} and {second} meet.")
    if any(str(row[2]).endswith(" or 0") or str(row[2]).startswith("0, or") for row in rows):
        opto = board.optocoupler
        span = "the tolerances" if opto is None else f"the grade of {opto.ref}"
        words.append(f"or 0: at an end of {span} pulses may be too short to count.")
    if re.search(r"\bD\w* reversed", places):
        words.append("reversed: red probe on the banded end.")
    if "duty" in places:
        words.append("duty: share of time LOW; if your meter counts high, take it from 100 %.")
    if "feed" in places:
        words.append("feed: where the chain begins, behind the load relay's contact if it has one.")
    if bridge := re.search(r"(\w+)~1", places):
        words.append(f"{bridge[1]}~1: its ~ lead at the feed; {bridge[1]}~2: the other.")
    if "led+" in places or "led-" in places:
        words.append("led+, led-: the optocoupler's LED.")
    if "logic0" in places:
        words.append("logic0: the controller's ground.")
    return " ".join(words)


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
    red, black = (joint_text(node, circuit) for node in (reading.red, reading.black))
    if reading.function.row.dead and ", " in over:
        return f"{reading.function} {red}, {black} ({side_by_side(over.split(', '), circuit)})"
    simple = over not in circuit or not isinstance(circuit[over], Phototransistor)
    if reading.function.row.dead and reading.function.value == "ohm" and over and simple:
        names = " to ".join(part_words(ref) for ref in over.split(" to "))
        if leads := leads_text(over, reading.red, circuit):
            return f"ohm {leads[0]}, {leads[1]}"
        turned = " reversed" if over in circuit and circuit[over].nodes[0] != reading.red else ""
        return f"ohm {names}{turned}"
    usual = reading.power is usual_power(reading.function)
    return f"{reading.function} {red}, {black}{'' if usual else f' {reading.power}'}"


def _best_told(line: ExpectedReading, circuit: Circuit, new: Collection[str]) -> list[str]:
    """Faults that a reading tells: of parts between the probes, clearly, the commonest first."""
    row = parts_between(circuit, line.reading.red, line.reading.black)
    parts = {ref.replace(".led", " LED").replace(".", " ") for ref in row} | {
        *line.over.split(", ")
    }
    good = line.healthy

    def place(key: str) -> tuple[bool, bool, bool]:
        shown = line.faults[key]
        clear = shown.high < good.low or shown.low > good.high
        return key not in new, not clear, not key.startswith(tuple(parts - {""}))

    keys = [key for key in line.faults if not key.endswith("intermittent")]
    return sorted(keys, key=place)[:MOST_TOLD]
