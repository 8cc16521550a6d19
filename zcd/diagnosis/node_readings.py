"""What a meter shows at every node of a board under power."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.elements import Circuit, stack
from zcd.diagnosis.functions import Function
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import Meter, ohm_full_scale_span_v
from zcd.diagnosis.readings import Measured, Reading
from zcd.engine.network import islands

FloatArray = NDArray[np.float64]

CONTROLLER = ("pin", "logic+", "coil+", "coil-")
ONE_VALUE = 1.02
"""Ends no further apart than that are one value."""


def node_readings(circuit: Circuit) -> tuple[Reading, ...]:
    """One reading for each node: against ``neutral`` on the mains side, at the controller and its
    relay against ``logic0``.

    Parameters
    ----------
    circuit : Circuit

    Returns
    -------
    readings : tuple of Reading
        None for the two references themselves.
    """
    result = []
    references = {"neutral", circuit.node("logic0")}
    for island in islands(circuit):
        for node in (n for n in circuit.nodes if n in island and n not in references):
            mains = "line" in island and node not in CONTROLLER
            function, black = (Function.AC, "neutral") if mains else (Function.DC, "logic0")
            result.append(Reading(function=function, red=node, black=black))
    return tuple(result)


def expected_at_nodes(board: Board, circuit: Circuit, meter: Meter) -> tuple[Measured, ...]:
    """What the meter would show at each node; parameters as for `expected_readings`."""
    return expected_readings(node_readings(circuit), board, circuit, meter)


def expected_readings(
    readings: Sequence[Reading], board: Board, circuit: Circuit, meter: Meter
) -> tuple[Measured, ...]:
    """What the meter would show for some readings.

    Parameters
    ----------
    readings : sequence of Reading
    board : Board
    circuit : Circuit
        One row, under power.
    meter : Meter

    Returns
    -------
    shown : tuple of Measured
        A range where it depends on what nobody knows of the meter.
    """
    (values,) = MeterModel(board=board, circuit=circuit, meter=meter).read(readings)
    result = [
        Measured(reading=reading, value=float(value))
        for reading, value in zip(readings, values, strict=True)
    ]
    return tuple(_of_any_meter(result, board, circuit, meter))


def _of_any_meter(
    measured: Sequence[Measured], board: Board, circuit: Circuit, meter: Meter
) -> list[Measured]:
    """Ohms as a range, where they depend on what the meter leaves at the probes."""
    ohms = [m.reading for m in measured if m.reading.function is Function.OHM]
    volts = np.array(ohm_full_scale_span_v(meter))
    rows = stack([circuit] * volts.size)
    ends = np.sort(MeterModel(board, rows, meter, full_scale_v=volts).read(ohms), axis=0)
    spans = dict(zip(ohms, ends.T, strict=True))
    return [_spanning(m, spans.get(m.reading)) for m in measured]


def _spanning(measured: Measured, ends: FloatArray | None) -> Measured:
    """A range in place of a value, if its ends differ by more than a meter does."""
    if ends is None or ends[0] == ends[1] or ends[1] < ONE_VALUE * ends[0]:
        return measured
    return Measured.between(measured.reading, float(ends[0]), float(ends[1]))
