"""Readings to take again after a repair, each beside what the repaired board should show."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass

from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.diagnosis.node_readings import expected_readings
from zcd.diagnosis.reading_syntax import parse_place, place_text, show_measured
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import Reading, access_level
from zcd.errors import InputError
from zcd.report.cautions import DANGER
from zcd.web.readings_view import Safety, safety_of
from zcd.web.repair_request import RepairRequest
from zcd.web.state import TAKEN

USUAL = ("dc pin logic0",)
"""Shows that the pulses are back; common practice, no source."""


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
    places = (*(place_text(m.reading, circuit) for m in job.measured), *USUAL)
    return _fields(repair_request, _readings_at(places, circuit), circuit)


def to_add(repair_request: RepairRequest, missing: Sequence[Reading]) -> tuple[ToRepeat, ...]:
    """What else makes a retest sure, and what was read of that.

    Parameters
    ----------
    repair_request : RepairRequest
    missing : sequence of Reading
        As the retest says.
    """
    assert repair_request.board is not None
    circuit = build_circuit(repair_request.board)
    places = (*repair_request.taken, *(_name(reading, circuit) for reading in missing))
    own = {each.name for each in to_repeat(repair_request)}
    others = (name.removeprefix(TAKEN) for name in places if name not in own)
    return _fields(repair_request, _readings_at(others, circuit), circuit)


def _readings_at(places: Iterable[str], circuit: Circuit) -> tuple[Reading, ...]:
    """The readings at some places, but for those at a part that is no longer there."""
    readings: dict[Reading, None] = {}
    for place in places:
        with suppress(InputError):
            readings[parse_place(place, circuit)] = None
    return tuple(readings)


def _name(reading: Reading, circuit: Circuit) -> str:
    return f"{TAKEN}{place_text(reading, circuit)}"


def _with_range(nominal: str, good: str) -> str:
    return f"{nominal} ({good})" if good and nominal not in good else nominal


def _fields(
    repair_request: RepairRequest, readings: Sequence[Reading], circuit: Circuit
) -> tuple[ToRepeat, ...]:
    assert repair_request.board is not None
    ordered = sorted(readings, key=lambda r: DANGER.index(access_level(circuit, r)))
    good = expected_readings(ordered, repair_request.board, circuit, repair_request.meter)
    return tuple(
        ToRepeat(
            name=(name := _name(reading, circuit)),
            words=reading_text(reading, circuit),
            good=_with_range(show_measured(expected), repair_request.good.get(reading, "")),
            shown=repair_request.taken.get(name, ""),
            safety=safety_of(reading, circuit),
        )
        for reading, expected in zip(ordered, good, strict=True)
    )
