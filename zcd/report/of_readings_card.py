"""The expected readings, a row a reading: the most telling on one screen, all on one page."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from functools import partial
from math import inf
from typing import NamedTuple

import numpy as np

from zcd.board.model import Board, Topology
from zcd.circuit.elements import Circuit, DcSource, Junction, Phototransistor, Resistance
from zcd.circuit.points import (
    LED_ENDS,
    diode_of_bridge,
    leads_text,
    part_words,
    parts_at,
    probe_texts,
)
from zcd.diagnosis.case import ExpectedReadings
from zcd.diagnosis.expected_readings import ExpectedRange, ExpectedReading, good_board
from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.functions import Function, Method
from zcd.diagnosis.meters import OVERLOAD, Meter, diode_full_scale_v
from zcd.diagnosis.reading_syntax import place_text, show_span, show_value
from zcd.diagnosis.reading_words import probes_text, side_by_side
from zcd.diagnosis.readings import (
    AccessLevel,
    Measured,
    Reading,
    parts_between,
    parts_over,
    usual_power,
)
from zcd.errors import plain
from zcd.report.cautions import LOCAL, short_cautions
from zcd.report.document import Cautions, Document, Paragraph, Section
from zcd.report.of_board import no_sync_line, read_as_line, unread_line
from zcd.report.of_diagnosis import (
    ACCESS_TITLES,
    OR_NONE,
    cautions_for,
    may_miss,
    measured_table,
    spread_text,
)
from zcd.report.of_diagnosis_text import fault_words
from zcd.report.of_points import POINT_WORDS, joint_words, words_of_points
from zcd.report.table import Column, Quantity, Table
from zcd.report.terminal import longest_on_a_screen
from zcd.report.text import listed, quantity_text

MOST_TOLD = 2
MOST_ROWS, LEAST_ROWS = 8, 4
"""Readings on one screen."""
TOLD_WIDTH = 20
"""Columns of the faults told, so that most readings are one line."""
NODES = {node for names in POINT_WORDS for node in names}
NOTHING_RATIO = 0.02
"""Less than so much of what a good board shows is nothing: common practice, no source."""
COLUMNS = ("board", "red, black", "good board", "bad reading, e.g.")
SHORT_STATES = {
    AccessLevel.DEAD: "dead",
    AccessLevel.BENCH: "bench",
    AccessLevel.ISOLATED: "power",
    AccessLevel.MAINS: "LIVE",
}
"""Sides that the page shows; what takes a lifted part is in the full list."""
STATE_WORDS = {
    AccessLevel.BENCH: "bench: unplugged, logic supply from a bench supply.",
    AccessLevel.ISOLATED: "power: plugged in{relay}, probes on the controller's side only.",
    AccessLevel.MAINS: "LIVE: plugged in{relay}, probes on live parts.",
}


BENCH_BANDS = "good board: {mains} within 5 %, 15 to 35 °C."


WIDE_OHMS = "up to: parts in parallel let ohms read much lower; in doubt lift one end."
MISSED = "or 0: some meters do not count gaps this short; then go by DC volts or a scope."
NEAR_RATIO = 1.5
"""Where a fault's readings begin so little above a good board's, all that is higher tells it."""
WIDE_RATIO, LOPSIDED_RATIO, FAR_RATIO = 1.18, 1.4, 2.0
DUTY_WORDS = (
    "duty: share of time LOW as a meter counts it (the pulse of zcd check may be longer); if yours "
    "counts high, take it from 100 %."
)


def counts_high_line(reading: Reading, good: ExpectedRange) -> str:
    """What a meter shows of a good board's pulses that counts the time high; empty for any other
    reading than the share of time low."""
    if reading.function is not Function.DUTY or not reading.over_pin:
        return ""
    low = show_span(Function.DUTY, good.low, good.high)
    high = show_span(Function.DUTY, 1.0 - good.high, 1.0 - good.low)
    return (
        f"Duty is the share of time LOW: {low} on a good board. Most meters count the time HIGH "
        f'({high}; see its manual): then enter "duty ... % high".'
    )


def is_wide(function: Function, low: float, middle: float, high: float) -> bool:
    """Whether parts in parallel let ohms of a good board read low; tolerances alone go as far up
    as down."""
    lopsided = middle - low > LOPSIDED_RATIO * (high - middle)
    return function is Function.OHM and WIDE_RATIO * low < high < OVERLOAD and lopsided


def reads_far_down(function: Function, good: ExpectedRange) -> bool:
    """Whether parts in parallel let a good board read so low that no low reading tells anything."""
    wide = is_wide(function, good.low, good.middle, good.high)
    return wide and good.high > FAR_RATIO * good.low


def good_text(function: Function, good: ExpectedRange, unread: bool = False) -> str:
    """What a good board shows; where other parts are in parallel, how low that may be, unless the
    part itself could not be read."""
    if function is Function.FREQUENCY and may_miss(function, good.low, good.high):
        return f"{show_value(function, good.high)}, {OR_NONE}"
    if function.row.method is Method.JUNCTION and good.low < good.high == OVERLOAD:
        return f"{show_value(function, good.low)} or more, on many meters OL"
    if unread or not is_wide(function, good.low, good.middle, good.high):
        return spread_text(function, good)
    high = show_value(function, good.high)
    if reads_far_down(function, good):
        return f"up to {high}, or much lower through parts in parallel"
    return f"up to {high}, with parts in parallel down to {show_value(function, good.low)}"


def good_cell(function: Function, good: ExpectedRange, shown: float = inf) -> str:
    """What a good board shows, in a table: of ohms that parts in parallel may let read lower only
    the end that tells, unless what a meter showed is lower still; `cells_legend` explains it."""
    if reads_far_down(function, good) and shown >= good.low:
        return f"up to {show_value(function, good.high)}"
    return spread_text(function, good)


def cells_legend(good: Iterable[tuple[Function, ExpectedRange]]) -> str:
    """What to know of a table with such cells; empty where they say it all."""
    ranges = tuple(good)
    words = (
        WIDE_OHMS if any(reads_far_down(f, each) for f, each in ranges) else "",
        MISSED if any(may_miss(f, each.low, each.high) for f, each in ranges) else "",
    )
    return " ".join(filter(None, words))


def compared_table(measured: Sequence[Measured], dictionary: FaultDictionary) -> Table:
    """The readings taken, beside what the same meter shows on a good board."""
    taken = measured_table(measured, dictionary.circuit)
    good = [(m.reading.function, good_board(dictionary, m.reading)) for m in measured]
    cells = (good_cell(*each, m.value) for each, m in zip(good, measured, strict=True))
    return replace(
        taken,
        columns=(*taken.columns, Column("good board", "good_board")),
        rows=tuple((*row, cell) for row, cell in zip(taken.rows, cells, strict=True)),
        right=(*taken.right, 4),
        remark=cells_legend(good),
    )


def expected_readings_tables(
    lines: Sequence[ExpectedReading], circuit: Circuit
) -> list[tuple[AccessLevel, Table]]:
    """The bench card, a table for each side, safest first."""
    quantities = (
        Quantity("reading", "reading", lambda line: _placed_text(line.reading, circuit)),
        Quantity("healthy", "good board", lambda e: good_cell(e.reading.function, e.healthy)),
        Quantity("faults", "under a fault", _faults_text),
    )
    sheets = []
    for side in AccessLevel:
        # a board that is not isolated has no isolated side
        if of_side := [line for line in lines if line.access is side]:
            legend = cells_legend((line.reading.function, line.healthy) for line in of_side)
            sheets.append((side, Table.of(of_side, quantities, ACCESS_TITLES[side], legend)))
    return sheets


def _placed_text(reading: Reading, circuit: Circuit) -> str:
    return f"{reading.name}\n{probes_text(reading, circuit)}"


def _faults_text(line: ExpectedReading) -> str:
    """What the reading shows under each fault that it tells from a good board."""
    groups: dict[str, list[str]] = {}
    for key, shown in line.faults.items():
        groups.setdefault(spread_text(line.reading.function, shown), []).append(fault_words(key))
    return "\n".join(f"{value}: {', '.join(keys)}" for value, keys in groups.items())


def card_screen_document(expected: ExpectedReadings) -> Document:
    """The most telling of the expected readings on one screen, with the cautions for them."""
    make = partial(_screen, expected)
    return longest_on_a_screen(make, expected.board, MOST_ROWS, LEAST_ROWS)


def _screen(expected: ExpectedReadings, most: int) -> Document:
    """So many of the expected readings, the most telling ones."""
    on_page = [line for line in expected.lines if line.access in SHORT_STATES]
    new = most_telling(on_page, most)
    told = [line for line in on_page if line.reading in new]
    rows = tuple(
        (*row[:3], _fitting(row[3]))
        for row in (_row(line, expected.circuit, new[line.reading]) for line in told)
    )
    table = Table(title="", columns=COLUMNS, rows=rows, remark=_more_line(on_page, told))
    sides = _sides(told)
    wide = WIDE_OHMS in cells_legend((each.reading.function, each.healthy) for each in told)
    cautions = short_cautions(*sides)
    words = (
        no_sync_line(expected.board),
        f"{_legend(expected.board, told, expected.circuit)}{f' {WIDE_OHMS}' if wide else ''}",
        read_as_line(expected.board),
        unread_line(expected.board),
        f"CAUTION: {' '.join(cautions)} {LOCAL}",
    )
    return Document(
        title=plain(expected.board.name),
        sections=(Section("", (table, *(Paragraph(text) for text in words if text)), answer=True),),
    )


def _more_line(on_page: Sequence[ExpectedReading], told: Sequence[ExpectedReading]) -> str:
    """How many readings are left out, and how many of them are live."""
    left = [line for line in on_page if line not in told]
    live = sum(line.access is AccessLevel.MAINS for line in left)
    on_live = f", {live} of them on LIVE parts" if live else ""
    return f"{len(left)} more{on_live}: --full. What any value means: zcd diagnose"


def card_page_document(expected: ExpectedReadings) -> Document:
    """The expected readings on one page."""
    lines = [line for line in expected.lines if line.access in SHORT_STATES]
    rows = tuple(
        (*row[:3], ", ".join(row[3])) for row in (_row(line, expected.circuit) for line in lines)
    )
    table = Table(
        title="Expected readings",
        columns=COLUMNS,
        rows=rows,
        remark=_legend(expected.board, lines, expected.circuit),
    )
    return Document(
        title=plain(expected.board.name), sections=(Section("", (table,), answer=True),)
    )


def most_telling(lines: Sequence[ExpectedReading], most: int) -> dict[Reading, set[str]]:
    """So many readings, in their order, that tell most faults together, each with those that no
    reading chosen before it tells; the diode test of the LED and the frequency of the pulses are
    among them.

    Powered ones are there only for what no dead one tells, then for what confirms the first; live
    ones only on a board on which there are no others under power.
    """
    lines = [line for line in lines if _takes_a_meter_only(line)]
    dead = [line for line in lines if line.access is AccessLevel.DEAD]
    isolated = [line for line in lines if line.access is AccessLevel.ISOLATED]
    safe = [*dead, *isolated] if isolated else lines
    always = [next(filter(kind, safe), None) for kind in (_is_of_led, _is_counted)]
    told = {line.reading: set(line.faults) for line in always if line is not None}
    every = {key for line in lines for key in line.faults}
    of_led = {key for line in always[:1] if line is not None for key in line.faults}
    for stages in ((dead, most - 1), (safe, most)), ((safe, most),):
        left = every - of_led
        for side, until in stages:
            while len(told) < until:
                rest = [line for line in side if line.reading not in told]
                best = max(rest, key=lambda line: _weight(left & line.faults.keys()), default=None)
                if best is None or not left & best.faults.keys():
                    break
                told[best.reading] = left & best.faults.keys()
                left -= best.faults.keys()
    return {line.reading: told[line.reading] for line in lines if line.reading in told}


def _is_of_led(line: ExpectedReading) -> bool:
    """Whether it is the diode test of the optocoupler's LED, which shows the LED's own drop."""
    reading = line.reading
    return reading.function is Function.DIODE and (reading.red, reading.black) == LED_ENDS


def _is_counted(line: ExpectedReading) -> bool:
    return line.reading.function is Function.FREQUENCY and bool(line.faults)


def _weight(faults: Collection[str]) -> int:
    """Faults, those counted twice that most boards come in with."""
    return len(faults) + sum(key.endswith((" open", " short")) for key in faults)


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
        good_cell(line.reading.function, line.healthy),
        _best_told(line, circuit, new),
    )


def _fitting(names: Sequence[str]) -> str:
    """The first names that fit into a line; whole ones, the first in any case."""
    number = len(names)
    while number > 1 and len(", ".join(names[:number])) > TOLD_WIDTH:
        number -= 1
    return ", ".join(names[:number])


def _sides(lines: Sequence[ExpectedReading]) -> list[AccessLevel]:
    """The sides on which there is something to read, safest first."""
    return [side for side in SHORT_STATES if any(line.access is side for line in lines)]


def _legend(board: Board, lines: Sequence[ExpectedReading], circuit: Circuit) -> str:
    """What the words in the rows of these readings mean."""
    shorts = [_short(line.reading, circuit) for line in lines]
    points = [point for short in shorts for point in short.points]
    either = len(board.mains.nominal_hz) > 1
    mains = f"{quantity_text(board.mains.frequency_hz, 'Hz')}, mains" if either else "mains"
    on = ", load relay on (start a program; once off, no pulses is normal)"
    relay = "" if board.relay is None else on
    words = [BENCH_BANDS.format(mains=mains)]
    words += [STATE_WORDS[s].format(relay=relay) for s in _sides(lines) if s in STATE_WORDS]
    joints = dict.fromkeys(parts for point in points if (parts := parts_at(point, circuit)))
    with_lead = [parts for parts in joints if "~" in "".join(parts)]  # the harder to find
    words += [joint_words(parts) for parts in (with_lead or [*joints])[:1]]
    reds = [
        probe_texts(each.reading.red, each.reading.black, circuit)[0]
        for each in lines
        if each.reading.function is Function.DIODE
    ]
    if board.topology is Topology.BRIDGE and LED_ENDS[1] in reds:
        words.append("diode led-, led+: two diodes of the bridge, as the LED blocks.")
    if any(short.is_turned for short in shorts):
        words.append("reversed: red probe on the banded end.")
    if any(line.reading.function is Function.DUTY for line in lines):
        words.append(DUTY_WORDS)
    if bridge := next((point[:-2] for point in points if point[-2:] in ("~1", "~2")), ""):
        words.append(f"{bridge}~1, {bridge}~2: its ~ pins on the line and the neutral side.")
    if ends := next((short.ends for short in shorts if short.ends), ()):
        words.append(f"{' to '.join(ends)}: all in series.")
    if MISSED in cells_legend((each.reading.function, each.healthy) for each in lines):
        words.append(MISSED)
    words += words_of_points((point for point in points if point in NODES), circuit)
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


class Short(NamedTuple):
    """A reading in one line, and what of it a legend explains.

    Parameters
    ----------
    text : str
        Such as ``ohm R1`` or ``dc pin, logic0``.
    points : tuple of str
        Nodes, or leads of a bridge, that the text names.
    ends : tuple of str
        First and last of more than two parts in series.
    is_turned : bool
        Whether it is a diode, red on its cathode.
    """

    text: str
    points: tuple[str, ...] = ()
    ends: tuple[str, ...] = ()
    is_turned: bool = False


def typed_place(reading: Reading, circuit: Circuit) -> str:
    """A reading as a person types it before what it shows, ``ohm R2`` or ``ohm R2 lifted``."""
    if reading.lifted:
        return place_text(reading, circuit)
    return short_reading(reading, circuit).partition(" (")[0]  # which says what is parallel


def short_reading(reading: Reading, circuit: Circuit) -> str:
    """A reading in one line, such as ``ohm R1`` or ``dc pin, logic0``."""
    return _short(reading, circuit).text


def _short(reading: Reading, circuit: Circuit) -> Short:
    function, nodes = reading.function, (reading.red, reading.black)
    over = parts_over(circuit, *nodes)
    row = parts_between(circuit, *nodes) if function.row.dead and not over else ()
    ends = tuple(part_words(ref) for ref in (row[0], row[-1])) if row else ()
    red, black = probe_texts(*nodes, circuit)
    leads = leads_text(over, reading.red, circuit) if over in circuit else None
    if leads and function.row.dead:
        return Short(f"{function} {leads[0]}, {leads[1]}", leads)
    if {red, black} == set(LED_ENDS):
        return Short(f"{function} {red}, {black}", LED_ENDS)
    if function.row.dead and ", " in over:
        with_others = side_by_side(over.split(", "), circuit)
        return Short(f"{function} {red}, {black} ({with_others})", nodes)
    if function is Function.OHM and ends:
        return Short(f"ohm {' to '.join(ends)}", ends=ends if len(row) > 2 else ())
    if function is Function.OHM and over in circuit:
        part = circuit[over]
        if not isinstance(part, Phototransistor):
            turned = part.nodes[0] != reading.red
            words = f"ohm {part_words(over)}{' reversed' * turned}"
            return Short(words, is_turned=turned and isinstance(part, Junction))
    usual = reading.power is usual_power(function)
    return Short(f"{function} {red}, {black}{'' if usual else f' {reading.power}'}", nodes)


def _best_told(line: ExpectedReading, circuit: Circuit, new: Collection[str]) -> list[str]:
    """Faults that a reading tells, each behind what it then shows: of parts between the probes,
    clearly, the commonest first."""
    row = parts_between(circuit, line.reading.red, line.reading.black)
    parts = {ref.replace(".led", " LED").replace(".", " ") for ref in row} | {
        *line.over.split(", ")
    }
    good = line.healthy

    def place(key: str) -> tuple[bool, bool, bool]:
        shown = line.faults[key]
        clear = shown.high < good.low or shown.low > good.high
        return key not in new, not clear, not key.startswith(tuple(parts - {""}))

    # parts in parallel may let it read as low, so that no low reading tells much
    far = is_wide(line.reading.function, good.low, good.middle, good.high)
    keys = [
        key
        for key, shown in line.faults.items()
        if not key.endswith("intermittent")
        and (not far or shown.high > good.high)
        and not key.startswith("mains frequency")  # which no bench has
    ]
    best = sorted(keys, key=place)[:MOST_TOLD]
    told: dict[str, None] = {}
    for key in best:
        what = _of_row(line, key, row, circuit)
        if line.reading.function is Function.FREQUENCY and not line.faults[key].high:
            what = "no pulses"
        elif _is_never_low(line, key, circuit):
            what = f"{NO_PULSES}{what}"
        told[f"{_bad_text(line, key)}{what}"] = None
    return list(told)


NO_PULSES = "no pulses, e.g. "
AT_SUPPLY_RATIO = 0.9
"""From here on a pin reads its supply: common practice, no source."""


def _is_never_low(line: ExpectedReading, key: str, circuit: Circuit) -> bool:
    """Whether the pin reads its supply with a fault, as nothing pulls it down."""
    reading = line.reading
    supply_v = max((float(np.max(s.voltage_v)) for s in circuit.of(DcSource) if s.a == "logic+"),
                   default=inf)  # fmt: skip
    is_pin = reading.function is Function.DC and (reading.red, reading.black) == ("pin", "logic0")
    return is_pin and line.faults[key].low > max(AT_SUPPLY_RATIO * supply_v, line.healthy.high)


def _of_row(line: ExpectedReading, key: str, row: Sequence[str], circuit: Circuit) -> str:
    """A fault; of resistors in series that all show the same by it, that it is one of them."""
    ref = next((ref for ref in row if key.startswith(f"{ref} ")), "")
    alike = [
        f"{other}{key.removeprefix(ref)}" for other in row if isinstance(circuit[other], Resistance)
    ]
    if ref and len(alike) > 1 and key in alike and all(other in line.faults for other in alike):
        refs = [other.partition(" ")[0] for other in alike]
        return listed(refs, "or") if len(refs) < 3 else f"one of {refs[0]} to {refs[-1]}"
    return _fault_words(line, key, circuit)


def _fault_words(line: ExpectedReading, key: str, circuit: Circuit) -> str:
    """A fault; also the drift of a part that reads as high as when it is open."""
    for part in circuit.of(Junction):
        if key.startswith(f"{part.ref} "):
            bridge, is_leg = diode_of_bridge(part.ref)
            return f"{bridge} diode{key.removeprefix(part.ref)}" if is_leg else key
    if key.endswith(" leaky") and any(part.ref == key[:-6] for part in circuit.of(Resistance)):
        return f"dirt across {key[:-6]}"
    return f"{key}/high" if _drift_beside(line, key) else fault_words(key)


def _drift_beside(line: ExpectedReading, key: str) -> ExpectedRange | None:
    """What a part reads that has drifted, beside one that is open: both read high."""
    return line.faults.get(f"{key.removesuffix(' open')} drift") if key.endswith(" open") else None


def _apart_text(function: Function, good: ExpectedRange, shown: ExpectedRange) -> str:
    """What a reading shows, where that is all outside of what a good board shows; else empty."""
    text = ""
    if may_miss(function, good.low, good.high) and 0.0 < shown.high < good.high:
        text = show_value(function, shown.high)
    elif shown.low > good.high:
        low = show_value(function, shown.low, digits=2)
        text = low if shown.low == shown.high else f">{low}"
        if function.row.method is Method.VOLTS and shown.high < NEAR_RATIO * shown.low:
            text = f"about {show_value(function, shown.middle, digits=2)}"
        if function.row.method is Method.JUNCTION and shown.high == OVERLOAD:
            text = show_value(function, OVERLOAD)  # few meters show more than 2 V
    elif function.row.method is Method.VOLTS and _is_nothing(shown, good.low):
        text = show_value(function, 0.0)
    elif shown.high < good.low:
        high = show_value(function, shown.high, digits=2)
        text = high if shown.low == shown.high else f"<{high}"
    return text


def _is_nothing(shown: ExpectedRange, good: float) -> bool:
    return max(abs(shown.low), abs(shown.high)) < NOTHING_RATIO * abs(good)


def _bad_text(line: ExpectedReading, key: str) -> str:
    """What a reading shows with a fault, where that is apart from what a good board shows."""
    good, shown, function = line.healthy, line.faults[key], line.reading.function
    if drift := _drift_beside(line, key):
        shown = replace(shown, low=min(shown.low, drift.low))
        if drift.low < NEAR_RATIO * good.high:
            return "higher: "
    apart = _apart_text(function, good, shown)
    if apart:
        return f"{apart}: "
    if shown.low < good.low and shown.high <= good.high:
        return "lower: "
    return "higher: " if shown.high > good.high and shown.low >= good.low else ""
