"""A capture beside what a good board shows."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from zcd.circuit.elements import stack
from zcd.diagnosis.capture_measurements import Traces
from zcd.diagnosis.fault_dictionary import MORE_GOOD, SAMPLES
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.retest import RepeatedReading, beside_good
from zcd.diagnosis.samples import MORE_SEED, sample_circuits, sample_meter
from zcd.sync.lock import expected_pulses


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureVerdict:
    """What a capture says of a board.

    Parameters
    ----------
    readings : tuple of RepeatedReading
        Frequency, low time and edge delay, as far as the capture has them.
    expected_pulses : float
        In the length of the capture.
    good : bool
        Whether every reading is that of a good board, and no pulse is missing.
    """

    readings: tuple[RepeatedReading, ...]
    expected_pulses: float
    good: bool


@lru_cache(maxsize=1)
def judge_capture(traces: Traces) -> CaptureVerdict:
    """Compare a capture with a good board; the last one judged is remembered.

    Parameters
    ----------
    traces : Traces

    Returns
    -------
    CaptureVerdict
    """
    board, meter = traces.board, usual_meter()
    measured = traces.readings
    more = MORE_GOOD * SAMPLES
    rows = (
        sample_circuits(board, SAMPLES)[0],
        sample_circuits(board, more, MORE_SEED, with_ends=True)[0],
    )
    model = sample_meter(board, stack(rows), meter, SAMPLES, np.arange(SAMPLES), more)
    shown = model.read([m.reading for m in measured])
    readings = tuple(
        beside_good(m, column, meter) for m, column in zip(measured, shown.T, strict=True)
    )
    span = float(traces.capture.time_s[-1] - traces.capture.time_s[0])
    return CaptureVerdict(
        readings=readings,
        expected_pulses=span * board.mains.frequency_hz * expected_pulses(board),
        good=not traces.missing and all(each.good for each in readings),
    )
