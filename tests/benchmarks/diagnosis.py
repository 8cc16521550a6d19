"""Jobs of the diagnosis: a fault dictionary made from nothing, and an answer more to one that is
there."""

from __future__ import annotations

from collections.abc import Callable

from tests.diagnosis.boards import SUPPRESSED_TEXT, board
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.rank import diagnose
from zcd.diagnosis.reading_syntax import parse_reading

LINES = ("dc pin logic0 4.98 V", "ohm R2 131k", "ohm R1 110k")


def diagnosis_jobs(*, quick: bool) -> dict[str, Callable[[], object]]:
    """Jobs by name; quick: the short ones."""
    result, meter = board("switched"), usual_meter()
    known = make_fault_dictionary(result, meter) if quick else _whole(result)
    taken = [parse_reading(line, known.circuit) for line in LINES]
    jobs: dict[str, Callable[[], object]] = {
        "atlas of a board, all readings": lambda: _whole(result),
        "ranking again after a third reading": lambda: diagnose(known, taken),
    }
    if quick:
        return jobs
    return {
        **jobs,
        "ranking and next reading, fresh atlas": lambda: diagnose(
            make_fault_dictionary(result, meter), taken[:1]
        ),
        "atlas with a suppressor, all readings": lambda: _whole(parse_board(SUPPRESSED_TEXT)),
    }


def _whole(found: Board) -> FaultDictionary:
    """A fault dictionary with every reading predicted."""
    dictionary = make_fault_dictionary(found, usual_meter())
    dictionary.prepare(dictionary.readings)
    return dictionary
