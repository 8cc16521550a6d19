"""What a surge from line to neutral does to the parts of the mains side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board, Resistor
from zcd.circuit.build import Conditions, build_circuit, input_refs
from zcd.circuit.elements import Resistance, stack
from zcd.engine.solution import Solution
from zcd.engine.solve import SolverOptions, solve_at
from zcd.margin.stress import ReverseStress, chain_resistors, reverse_stress, unequal_sharing
from zcd.physics.surge import start_rad
from zcd.refdata import default

FloatArray = NDArray[np.float64]

FIRST_S, LAST_S = 2e-8, 5e-3
"""The surge is followed in ever longer steps, until capacitors behind it have settled too."""
STEPS = 200
EVEN_POINTS = 96
OVERLOAD_RATIO, OVERLOAD_S = 2.5, 5.0
"""The makers' overload test: so many times the rated voltage, for so long (IEC 60115-1)."""
MAINS_SIDE = SolverOptions(isolated=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class SurgeLoad:
    """What a surge does to one resistor, tolerances at their worse ends.

    Parameters
    ----------
    resistor : Resistor
    peak_v : float
        Highest voltage across it, either way round.
    voltage_limit_v : float
        Overload voltage.
    energy_j : float
        What the surge adds to its heat.
    test_energy_j : float
        What the makers' overload test puts into it.
    """

    resistor: Resistor
    peak_v: float
    voltage_limit_v: float
    energy_j: float
    test_energy_j: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SurgeStress:
    """What a surge does to a board.

    Parameters
    ----------
    level_v : float
        Its open-circuit peak, added to the peak of high mains.
    loads : tuple of SurgeLoad
        Resistors of the mains side in order of the signal.
    led_peak_a : float
    reverse : tuple of ReverseStress
        Junctions, at their worst.
    """

    level_v: float
    loads: tuple[SurgeLoad, ...]
    led_peak_a: float
    reverse: tuple[ReverseStress, ...]


def surge_stress(board: Board) -> SurgeStress:
    """Put the household surge on a board, of either polarity.

    Parameters
    ----------
    board : Board

    Returns
    -------
    stress : SurgeStress

    Notes
    -----
    The surge is a part of the mains source, and solved for like any mains voltage, with what
    capacitors there are. It comes on the peak of high mains that has its sign. The two ohms of the
    generator are nothing before a chain of kilohms; a varistor or filter on the board, which would
    take most of it, is not in the board file, hence left out.
    """
    level = default("surge.level").value
    resistors = chain_resistors(board)
    high = build_circuit(board, Conditions(mains_rms_v=board.mains.high_rms_v))
    shared = unequal_sharing(high, resistors)
    surges = (level, -level, 0.0, 0.0)
    # the last two: the same instants without a surge
    starts = np.repeat(start_rad([level, -level, level, -level]), shared.size)
    circuit = stack([shared.change("mains", surge_v=surge) for surge in surges])
    solution = solve_at(circuit, _phases_rad(starts, board.mains.frequency_hz), MAINS_SIDE)
    half = starts.size // 2
    leds = [solution.currents_a[led][:half] for led in input_refs(board)]
    return SurgeStress(
        level_v=level,
        loads=tuple(_load(r, k, solution, starts) for k, r in enumerate(resistors)),
        led_peak_a=float(max(led.max() for led in leds)),
        reverse=tuple(reverse_stress(solution, board)),
    )


def _phases_rad(starts_rad: FloatArray, frequency_hz: float) -> FloatArray:
    """Even phases of a period, and those at which a surge is followed, shape (n, m)."""
    omega = 2.0 * np.pi * frequency_hz
    after = omega * np.concatenate([[0.0], np.geomspace(FIRST_S, LAST_S, STEPS)])
    even = np.arange(EVEN_POINTS) * (2.0 * np.pi / EVEN_POINTS)
    return np.stack(
        [
            np.unique(np.concatenate([even, (start + after) % (2.0 * np.pi)]).round(12))
            for start in starts_rad
        ]
    )


def _load(resistor: Resistor, number: int, solution: Solution, starts_rad: FloatArray) -> SurgeLoad:
    """Load of one resistor: voltage where it is at its high end, energy at either."""
    element = solution.circuit[resistor.ref]
    assert isinstance(element, Resistance)
    ohm = np.broadcast_to(np.asarray(element.resistance_ohm), starts_rad.shape)
    across = solution.voltages_v[element.a] - solution.voltages_v[element.b]
    mean_w = solution.mean(across**2) / ohm
    with_surge, without = np.split(mean_w, 2)
    period_s = 2.0 * np.pi / (solution.phase_rad[0, 1] / solution.time_s[0, 1])
    own = np.arange(with_surge.size) % (with_surge.size // 2) // 2 == number
    rated_v = min(np.sqrt(resistor.rated_power_w * resistor.resistance_ohm), resistor.working_v)
    test_v = min(OVERLOAD_RATIO * rated_v, resistor.overload_v)
    return SurgeLoad(
        resistor=resistor,
        peak_v=float(np.abs(across[: own.size][own]).max()),
        voltage_limit_v=resistor.overload_v,
        energy_j=float((with_surge - without)[own].max() * period_s),
        test_energy_j=float(test_v**2 / resistor.resistance_ohm * OVERLOAD_S),
    )
