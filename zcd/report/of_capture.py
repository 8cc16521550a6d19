"""What a capture shows: tables on a terminal, and a JSON object."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

import numpy as np

from zcd.circuit.build import build_circuit
from zcd.diagnosis.capture_measurements import readings_of
from zcd.report.cautions import PROBED
from zcd.report.document import Document, Paragraph, Section
from zcd.report.of_diagnosis_dict import measured_to_dict
from zcd.report.of_diagnosis_document import caution_sections
from zcd.report.table import Table
from zcd.report.text import offset_text, plain, quantity_text
from zcd.sync.lock import expected_pulses

if TYPE_CHECKING:
    from zcd.diagnosis.capture_measurements import Traces
    from zcd.serialize import Record

PROBE_FACTOR = 10.0
MIN_SWING = 0.5
OVER_SUPPLY = 1.2
"""A pin that swings by so much of its supply, and no higher, seen through such a probe."""


def capture_document(traces: Traces) -> Document:
    """What a capture shows."""
    title = f"Capture {plain(traces.capture.name)}"
    table = Table(title=title, columns=("what", "seen"), rows=_capture_rows(traces), right=(1,))
    return Document(
        title=plain(traces.board.name),
        sections=(
            Section("", (Paragraph(capture_line(traces), "strong"), table), answer=True),
            *caution_sections(*PROBED),
        ),
    )


def _capture_rows(traces: Traces) -> tuple[tuple[str, str], ...]:
    """The figures of a capture."""
    count = traces.falls_s.size
    rows = [("complete low pulses", str(count)), ("pulse count", str(traces.missing))]
    if count:
        times = traces.low_times_s
        rows += [
            ("low time, usual", quantity_text(traces.low_time_s, "s")),
            (
                "low time, least to most",
                f"{quantity_text(times.min(), 's')} to {quantity_text(times.max(), 's')}",
            ),
            ("jitter of the low time, rms", quantity_text(traces.low_jitter_s, "s")),
            ("from fall to fall, usual", quantity_text(traces.interval_s, "s")),
            ("jitter of that, rms", quantity_text(traces.interval_jitter_s, "s")),
        ]
    if isfinite(traces.mains_hz):
        rows.append(("mains frequency", quantity_text(traces.mains_hz, "Hz")))
        if count:
            edge = f"{traces.board.controller.edge} edge against the mains crossing"
            rows.append((edge, offset_text(float(np.median(traces.offsets_s)))))
    return tuple(rows)


def capture_line(traces: Traces) -> str:
    """One sentence on what a capture shows."""
    count = traces.falls_s.size
    if not count:
        return _no_pulse_line(traces)
    span = traces.capture.time_s[-1] - traces.capture.time_s[0]
    expected = span * traces.board.mains.frequency_hz * expected_pulses(traces.board)
    if traces.missing:
        return f"Pulses are missing: {traces.missing} beside {count} that came."
    if count < expected / 2.0 - 1.0:
        return f"Few pulses: {count} where about {expected:.0f} are due."
    if traces.jumps:
        return (
            f"{count} pulses, none missing, but their low time jumps: "
            f"{quantity_text(traces.low_jitter_s, 's')} rms. Look for a loose joint."
        )
    return f"{count} pulses, none missing."


def _no_pulse_line(traces: Traces) -> str:
    """Where the pin stays, and whether the scope was told of its probe."""
    low, high = float(traces.pin_v.min()), float(traces.pin_v.max())
    line = (
        "No sync pulse: the pin never goes below its low threshold and up again; it stays between "
        f"{quantity_text(low, 'V')} and {quantity_text(high, 'V')}."
    )
    swings = high - low > MIN_SWING * traces.board.output.supply_v / PROBE_FACTOR
    if swings and high < OVER_SUPPLY * traces.board.output.supply_v / PROBE_FACTOR:
        line += f" With a probe of {PROBE_FACTOR:g} to 1, tell the scope so and capture it again."
    return line


def capture_to_dict(traces: Traces) -> Record:
    """What a capture shows, ready for `json.dumps`.

    Parameters
    ----------
    traces : Traces

    Returns
    -------
    record : dict
        ``board``, ``file``, ``pulses``, ``missing_pulses``, ``low_times_s``, ``offsets_s`` (null
        without the mains), ``interval_s``, ``low_jitter_s``, ``interval_jitter_s``, ``mains_hz``;
        ``readings`` as ``measured`` of a diagnosis.
    """
    there = isfinite(traces.mains_hz)
    circuit = build_circuit(traces.board)
    return {
        "board": traces.board.name,
        "file": traces.capture.name,
        "pulses": traces.falls_s.size,
        "missing_pulses": traces.missing,
        "low_times_s": traces.low_times_s,
        "offsets_s": traces.offsets_s if there else None,
        "interval_s": traces.interval_s,
        "low_jitter_s": traces.low_jitter_s,
        "interval_jitter_s": traces.interval_jitter_s,
        "mains_hz": traces.mains_hz,
        "readings": [measured_to_dict(m, circuit) for m in readings_of(traces)],
    }
