"""Fault dictionaries that several files ask, each made once: their predictions are most of the
work."""

from __future__ import annotations

from functools import cache

from tests.diagnosis.boards import SUPPRESSED_TEXT, board
from zcd.board.files import parse_board
from zcd.diagnosis.fault_dictionary import SAMPLES, FaultDictionary, make_fault_dictionary
from zcd.diagnosis.meters import Meter, usual_meter


@cache
def atlas_read_with(meter: Meter, name: str) -> FaultDictionary:
    """The fault dictionary of one of the boards."""
    return make_fault_dictionary(board(name), meter, SAMPLES)


def atlas_of(name: str = "switched") -> FaultDictionary:
    """The same, read with the usual meter."""
    return atlas_read_with(usual_meter(), name)


@cache
def suppressed_atlas() -> FaultDictionary:
    """Of the board with a suppressor: its open contact fades over tens of cycles."""
    return make_fault_dictionary(parse_board(SUPPRESSED_TEXT), usual_meter(), SAMPLES)
