"""What a capture shows: tables on a terminal, and a JSON object."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np

from zcd.circuit.build import build_circuit
from zcd.diagnosis.capture_measurements import LONGEST_STEP_S
from zcd.diagnosis.capture_verdict import judge_capture
from zcd.diagnosis.functions import Function
from zcd.diagnosis.reading_syntax import show_measured, show_value
from zcd.diagnosis.readings import AccessLevel
from zcd.errors import plain
from zcd.report.cautions import PROBED, caution_lines
from zcd.report.document import Block, Document, Paragraph, Section
from zcd.report.of_board import allowed_line
from zcd.report.of_check_document import caution_sections
from zcd.report.of_diagnosis import spread_of
from zcd.report.of_diagnosis_dict import repeated_to_dict
from zcd.report.of_retest import close_mark, close_text
from zcd.report.table import Column, Table
from zcd.report.text import crossing_text, quantity_text
from zcd.sync.lock import expected_pulses

if TYPE_CHECKING:
    from zcd.diagnosis.capture_measurements import Traces
    from zcd.diagnosis.capture_verdict import CaptureVerdict
    from zcd.diagnosis.retest import RepeatedReading
    from zcd.serialize import Record

PROBE_FACTOR = 10.0
MIN_SWING = 0.5
EXPECTED = "Expected: a good board, mains within 5 %, 15 to 35 °C."
OVER_SUPPLY = 1.2
"""A pin that swings by so much of its supply, and no higher, seen through such a probe."""


def capture_document(traces: Traces) -> Document:
    """What a capture shows, beside a good board."""
    verdict = judge_capture(traces)
    lines = (step_line(traces), allowed_line(traces.board), next_line(traces, verdict))
    blocks: tuple[Block, ...] = (
        Paragraph(verdict_text(traces, verdict), "strong"),
        expected_table(traces, verdict),
        *(Paragraph(line) for line in lines if line),
    )
    table = Table(
        title=f"Capture {plain(traces.capture.name)}",
        columns=("what", "seen"),
        rows=_capture_rows(traces),
        right=(1,),
    )
    return Document(
        title=plain(traces.board.name),
        sections=(
            Section("", blocks, answer=True),
            Section("", (table,)),
            *caution_sections(*PROBED),
        ),
    )


def capture_answer(traces: Traces) -> Document:
    """The same on one screen, with the cautions of the next action."""
    document = capture_document(traces).answer
    side = AccessLevel.ISOLATED if traces.board.is_isolated else AccessLevel.MAINS
    cautions = Section("", tuple(map(Paragraph, caution_lines(side))), answer=True)
    return replace(document, sections=(*document.sections, cautions))


def verdict_text(traces: Traces, verdict: CaptureVerdict) -> str:
    """Good or bad, and by what."""
    if verdict.good:
        close = [
            f"{_name(e)} {close_text(e, traces.board)}" for e in verdict.readings if e.is_close
        ]
        if close:
            return f"GOOD, with a doubt: {' '.join(close)} The rest is as on a good board."
        return f"GOOD. {capture_line(traces)} All figures are those of a good board."
    differs = [each for each in verdict.readings if not each.good]
    if traces.jumps or not traces.falls_s.size or not differs:
        return f"BAD. {capture_line(traces)}"
    first = differs[0]
    shown, good = _shown_beside(first)
    return f"BAD. {_name(first).capitalize()}: {shown} (expected {good}). {capture_line(traces)}"


def _name(each: RepeatedReading) -> str:
    """What was read: all of it with an oscilloscope."""
    return each.measured.reading.name.removesuffix(" (scope)")


def next_line(traces: Traces, verdict: CaptureVerdict) -> str:
    """What to do about it."""
    if verdict.good:
        return ""
    return (
        f"Find the cause: zcd diagnose {plain(traces.board.file)} "
        f"--capture {plain(traces.capture.name)}"
    )


def step_line(traces: Traces) -> str:
    """What to do where samples are too far apart; empty where they are not."""
    if not traces.coarse:
        return ""
    step, longest = (quantity_text(value, "s") for value in (traces.step_s, LONGEST_STEP_S))
    return (
        f"The samples are {step} apart, so no edge is known better than that. Capture again "
        f"with {longest} or less."
    )


def expected_table(traces: Traces, verdict: CaptureVerdict) -> Table:
    """The figures of a capture, each beside that of a good board."""
    lost = "DIFFERS" if traces.missing or _is_few(traces) else "good"
    rows = [("complete low pulses", *_pulse_texts(traces), lost)]
    for each in verdict.readings:
        shown, good = _shown_beside(each)
        mark = "DIFFERS" if not each.good else close_mark(each)
        if each.measured.unstable:  # a meter says no more, a capture how far it jumps
            shown = _low_times_text(traces)
            inside = shown == show_value(Function.LOW_TIME, traces.low_time_s)
            mark = "" if inside and traces.missing else mark
        rows.append((_name(each), shown, good, mark))
    if not traces.coarse:  # else a line says so
        rows.append(("sample step", quantity_text(traces.step_s, "s"), _step_text(), "good"))
    columns = ("figure", "measured", "expected", Column("", "status"))
    return Table(title="", columns=columns, rows=tuple(rows), right=(1, 2), remark=EXPECTED)


def _pulse_texts(traces: Traces) -> tuple[str, str]:
    """How many pulses there are, beside how many there should be."""
    count, missing = traces.falls_s.size, traces.missing
    if _is_few(traces):
        return str(count), f"about {_due(traces):.0f}"
    return f"{count}, {missing or 'none'} missing", "none missing"


def _due(traces: Traces) -> float:
    """Pulses of a good board in the length of the capture."""
    span = float(traces.capture.time_s[-1] - traces.capture.time_s[0])
    return span * traces.board.mains.frequency_hz * expected_pulses(traces.board)


def _is_few(traces: Traces) -> bool:
    """Whether there are fewer than half of the pulses, though none between two others lacks."""
    count = traces.falls_s.size
    return not traces.missing and (not count or count < _due(traces) / 2.0 - 1.0)


def _step_text() -> str:
    return f"up to {quantity_text(LONGEST_STEP_S, 's')}"


def _shown_beside(each: RepeatedReading) -> tuple[str, str]:
    """What was measured, and what a good board shows: an oscilloscope misses no narrow gap, as some
    meters do that count."""
    function = each.measured.reading.function
    low = each.high if function is Function.FREQUENCY and each.low == 0.0 else each.low
    good = spread_of(function, low, each.high)
    return show_measured(each.measured), good


def _capture_rows(traces: Traces) -> tuple[tuple[str, str], ...]:
    """The figures of a capture."""
    count = traces.falls_s.size
    rows = [("complete low pulses", str(count)), ("missing pulses", str(traces.missing))]
    if count:
        rows += [
            ("low time (median)", quantity_text(traces.low_time_s, "s")),
            ("low time, least to most", _low_times_text(traces)),
            ("its jitter (rms)", quantity_text(traces.low_jitter_s, "s")),
            ("fall to fall (median)", quantity_text(traces.interval_s, "s")),
            ("its jitter (rms)", quantity_text(traces.interval_jitter_s, "s")),
        ]
    rows.append(("sample step", quantity_text(traces.step_s, "s")))
    if isfinite(traces.mains_hz):
        rows.append(("mains frequency", quantity_text(traces.mains_hz, "Hz")))
        if count:
            edge = f"{traces.board.controller.edge} edge"
            rows.append((edge, crossing_text(float(np.median(traces.offsets_s)))))
    return tuple(rows)


def _low_times_text(traces: Traces) -> str:
    """The shortest and the longest pulse."""
    low, high = traces.low_times_s.min(), traces.low_times_s.max()
    return spread_of(Function.LOW_TIME, float(low), float(high))


def capture_line(traces: Traces) -> str:
    """One sentence on what a capture shows."""
    count = traces.falls_s.size
    if not count:
        return _no_pulse_line(traces)
    if traces.missing:
        return f"Pulses are missing: {traces.missing} of {traces.missing + count}."
    if _is_few(traces):
        return f"Few pulses: {count}, expected about {_due(traces):.0f}."
    if traces.jumps:
        return (
            f"{count} pulses, none missing, but their low time jumps: "
            f"{quantity_text(traces.low_jitter_s, 's')} rms. Look for a loose joint."
        )
    return f"{count} pulses, none missing."


def _no_pulse_line(traces: Traces) -> str:
    """Where the pin stays, and whether the scope was told of its probe."""
    low, high = float(traces.pin_v.min()), float(traces.pin_v.max())
    controller = traces.board.controller
    ends = (low, high, controller.low_threshold_v, controller.high_threshold_v)
    shown = [quantity_text(volts, "V") for volts in ends]
    line = (
        f"No sync pulse: the pin stays between {shown[0]} and {shown[1]}; a pulse goes below "
        f"{shown[2]} and then above {shown[3]}."
    )
    swings = high - low > MIN_SWING * traces.board.output.supply_v / PROBE_FACTOR
    if swings and high < OVER_SUPPLY * traces.board.output.supply_v / PROBE_FACTOR:
        line += f" With a probe of {PROBE_FACTOR:g} to 1, tell the scope so and capture it again."
    return line


def capture_to_dict(traces: Traces) -> Record:
    """What a capture shows, ready for `json.dumps`."""
    there = isfinite(traces.mains_hz)
    circuit, verdict = build_circuit(traces.board), judge_capture(traces)
    return {
        "board": traces.board.name,
        "file": traces.capture.name,
        "good": verdict.good,
        "step_s": traces.step_s,
        "pulses": traces.falls_s.size,
        "missing_pulses": traces.missing,
        "low_times_s": traces.low_times_s,
        "offsets_s": traces.offsets_s if there else None,
        "interval_s": traces.interval_s,
        "low_jitter_s": traces.low_jitter_s,
        "interval_jitter_s": traces.interval_jitter_s,
        "mains_hz": traces.mains_hz,
        "readings": [repeated_to_dict(each, circuit) for each in verdict.readings],
    }
