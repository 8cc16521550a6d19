"""How far published transistors lie from the engine's output stage, over boards of many kinds.

``python -m tests.spice.spread`` prints the distribution, and the rows of
``reference/output_spread.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import default_rng
from numpy.typing import NDArray

from tests.boards import board, controller, optocoupler, pull_up, resistor
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.spice.devices import devices
from zcd.spice.netlist import Level
from zcd.spice.solve import Spice
from zcd.sync.pulses import Pulses, find_pulses

FloatArray = NDArray[np.float64]

SEED = 5
SIZE = 60
FACTORS = np.geomspace(0.1, 20.0, 41)
"""At which the engine is asked which of its constants would do as the transistor does."""
GRADE_RATIO = 2.0**0.5
"""Makers' grades go from one CTR to twice that."""
LIMITS = (5.0, 50.0, 95.0)
"""Percentiles of the table."""
UNITS = {
    "falling edge": "s",
    "rising edge": "s",
    "lowest pin voltage": "V",
    "turn-off capacitance": "x",
    "saturation knee": "x",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """One board with one published transistor, against the engine.

    Edges and voltage are differences, transistor minus engine; the others are the factors on the
    engine's own constants that would give the transistor's rising edge and lowest voltage.
    """

    model: str
    board: Board
    values: dict[str, float]


def gaps(number: int) -> list[Gap]:
    """One board of the battery with each published transistor."""
    rng = default_rng([SEED, number])
    peak_a = 0.5e-3 * 8.0 ** rng.random()
    supply = float(rng.choice([3.3, 5.0]))
    ratio = float(0.8 * 5.0 ** rng.random())
    # enough current that the pin is pulled well down at the peak
    least_ohm = 4.0 * supply / (ratio * peak_a * min(1.0, peak_a / 1e-3) ** 0.8)
    ohm = float(np.clip(least_ohm * 8.0 ** rng.random(), 4.7e3, 150e3))
    result = board(
        chains=((resistor("R1", float(np.sqrt(2.0) * 230.0 / peak_a)),),),
        optocoupler=optocoupler(
            ctr_ratio=ratio, ctr_min_ratio=ratio / GRADE_RATIO, ctr_max_ratio=ratio * GRADE_RATIO
        ),
        output=pull_up(ohm, supply_v=supply),
        controller=controller(low_threshold_v=0.2 * supply, high_threshold_v=0.8 * supply),
    )
    circuit = build_circuit(result)
    ours = solve(circuit)
    lags = circuit.scale("OC1.miller", "capacitance_f", FACTORS)
    knees = circuit.scale("OC1", "knee_ratio", FACTORS)
    return [
        Gap(model=name, board=result, values=_values(result, circuit, ours, lags, knees, name))
        for name in devices()
    ]


def _values(
    found: Board, circuit: Circuit, ours: Solution, lags: Circuit, knees: Circuit, model: str
) -> dict[str, float]:
    way = Spice(level=Level.DEVICE, device=devices()[model])
    theirs = way.solve(circuit)
    a, b = _pulses(found, ours), _pulses(found, theirs)
    rises = _pulses(found, solve(lags)).rise_offset_s[:, 0]
    lows = solve(knees).voltages_v["pin"].min(axis=1)
    lowest = float(theirs.voltages_v["pin"].min())
    return {
        "falling edge": float(b.fall_offset_s[0, 0] - a.fall_offset_s[0, 0]),
        "rising edge": float(b.rise_offset_s[0, 0] - a.rise_offset_s[0, 0]),
        "lowest pin voltage": lowest - float(ours.voltages_v["pin"].min()),
        "turn-off capacitance": _factor(rises, float(b.rise_offset_s[0, 0])),
        "saturation knee": _factor(lows, lowest),
    }


def _pulses(found: Board, solution: Solution) -> Pulses:
    rules = found.controller
    return find_pulses(solution, rules.low_threshold_v, rules.high_threshold_v)


def _factor(answers: FloatArray, wanted: float) -> float:
    """The factor whose answer is the one wanted; answers rise with it, while they exist."""
    # a pulse that has grown into the next one is none any more
    rising = np.isfinite(answers) & (np.diff(answers, prepend=-np.inf) > 0.0)
    count = int(np.argmin(np.append(rising, False)))
    return float(np.exp(np.interp(wanted, answers[:count], np.log(FACTORS[:count]))))


def collected(size: int = SIZE) -> dict[str, FloatArray]:
    """All boards with all transistors, by quantity."""
    result = [gap for number in range(size) for gap in gaps(number)]
    return {name: np.array([gap.values[name] for gap in result]) for name in UNITS}


def main() -> None:
    """Print percentiles and the rows of the table."""
    for name, values in collected().items():
        good = values[np.isfinite(values)]
        low, middle, high = np.percentile(good, LIMITS)
        print(f"{name},{UNITS[name]},{low:.3g},{middle:.3g},{high:.3g}  ({good.size})")


if __name__ == "__main__":
    main()
