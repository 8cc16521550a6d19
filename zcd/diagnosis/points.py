"""What a meter shows at every node of a board under power."""

from __future__ import annotations

from collections.abc import Sequence

from zcd.board.model import Board
from zcd.circuit.elements import Circuit
from zcd.diagnosis.bench import Bench
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.readings import Function, Measured, Reading
from zcd.engine.network import islands


def node_readings(circuit: Circuit) -> tuple[Reading, ...]:
    """One reading for each node: against ``neutral`` on the mains side, ``logic0`` on the other.

    Parameters
    ----------
    circuit : Circuit

    Returns
    -------
    readings : tuple of Reading
        None for the two references themselves.
    """
    found = []
    for island in islands(circuit):
        mains = "line" in island
        function, black = (Function.AC, "neutral") if mains else (Function.DC, "logic0")
        nodes = [n for n in circuit.nodes if n in island and n != black]
        found += [Reading(function=function, a=node, b=black) for node in nodes]
    return tuple(found)


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
    """
    (values,) = Bench(board=board, circuit=circuit, meter=meter).take(readings)
    return tuple(
        Measured(reading=reading, value=float(value))
        for reading, value in zip(readings, values, strict=True)
    )
