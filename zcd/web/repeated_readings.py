"""Readings to take again after a repair, each beside what the repaired board should show."""

from __future__ import annotations

from dataclasses import dataclass

from zcd.circuit.build import build_circuit
from zcd.diagnosis.node_readings import expected_readings
from zcd.diagnosis.reading_syntax import parse_place, place_text, show_measured
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import Reading, access_level
from zcd.errors import InputError
from zcd.report.cautions import DANGER
from zcd.web.readings_view import Safety, safety_of
from zcd.web.repair_request import RepairRequest
from zcd.web.state import TAKEN


@dataclass(frozen=True, slots=True, kw_only=True)
class ToRepeat:
    """One of them.

    Parameters
    ----------
    name : str
        Of its field.
    words : str
        What is read where, as a retest keeps it.
    good : str
        What the repaired board should show.
    shown : str
        What was read; empty: nothing yet.
    safety : Safety
        How the board must be for it.
    """

    name: str
    words: str
    good: str
    shown: str
    safety: Safety


def to_repeat(repair_request: RepairRequest) -> tuple[ToRepeat, ...]:
    """The readings of a job that its repaired board still has, and the pin, the safest first.

    Parameters
    ----------
    repair_request : RepairRequest
    """
    board, job = repair_request.board, repair_request.job
    if board is None or job is None or not job.measured:
        return ()
    circuit = build_circuit(board)
    readings: dict[Reading, None] = {}
    for place in (*(place_text(m.reading, circuit) for m in job.measured), *USUAL):
        try:
            readings[parse_place(place, circuit)] = None
        except InputError:
            continue  # a part that is no longer there
    ordered = sorted(readings, key=lambda r: DANGER.index(access_level(circuit, r)))
    good = expected_readings(ordered, board, circuit, repair_request.meter)
    named = [(f"{TAKEN}{place_text(r, circuit)}", r) for r in ordered]
    return tuple(
        ToRepeat(
            name=name,
            words=reading_text(reading, circuit),
            good=show_measured(expected),
            shown=repair_request.taken.get(name, ""),
            safety=safety_of(reading, circuit),
        )
        for (name, reading), expected in zip(named, good, strict=True)
    )


USUAL = ("dc pin logic0",)
"""Shows that the pulses are back; common practice, no source."""
