"""What each part has to bear, against what it may."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board, Diode, Optocoupler, Resistor
from zcd.board.pins import INTERNAL_PULL_UP
from zcd.circuit.batch import Batch
from zcd.circuit.build import Conditions, base_refs, build_circuit, junction_refs, led_refs
from zcd.circuit.elements import (
    PIN_CLAMPS,
    Capacitance,
    Circuit,
    Junction,
    MainsSource,
    Resistance,
    Value,
)
from zcd.engine.network import MIN_CONDUCTANCE_S
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.physics.diode import capacitance_at_zero_f, reverse_charge_c
from zcd.physics.resistor import derated_power_w
from zcd.refdata import REFERENCE_DEGC, cite, default, table

FloatArray = NDArray[np.float64]

PART_KEYS = ("ref", "style", "resistance_ohm", "tolerance_ratio")
"""What is told of a resistor."""
_LEAST_SATURATION_A = 1e-30  # of an LED that is open
_LEAST_F = 1e-18  # of an LED whose capacitance is not known
SMALL_ZENER_W = 0.5
"""What a zener of unknown power is taken to bear: common practice, no source."""
NO_SINE = 0.02
"""Peak / √2 is so much above the rms voltage where the wave is no sine any more."""
HARMLESS_REVERSE_A = 10e-6
"""LED reverse current that its data sheet allows as leakage (maximum, at 4 V; 817 class)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ResistorStress(Batch):
    """Load of one resistor in every row of a solution.

    Parameters
    ----------
    resistor : Resistor
    power_w, rms_v, peak_v : ndarray, shape (n,)
        Mean power, and voltage across it.
    power_limit_w : float
        Rating, derated for the ambient temperature.
    voltage_limit_v : float
        Limiting element voltage, DC or AC rms.
    """

    resistor: Resistor
    power_w: FloatArray
    rms_v: FloatArray
    peak_v: FloatArray
    power_limit_w: float
    voltage_limit_v: float

    @property
    def working_stress_v(self) -> FloatArray:
        """Voltage to compare with the limit: rms, or peak / √2 if that is higher.

        Half-wave current heats half as much, but the film sees the whole peak.
        """
        return np.maximum(self.rms_v, self.peak_v / np.sqrt(2.0))

    @property
    def by_peak(self) -> bool:
        """Whether its peak decides: that of a wave that is no sine, such as half of one."""
        return float(self.working_stress_v.max()) > (1.0 + NO_SINE) * float(self.rms_v.max())

    @property
    def power_ratio(self) -> float:
        """The largest share of its power limit that it bears."""
        return float(self.power_w.max()) / self.power_limit_w

    @property
    def voltage_ratio(self) -> float:
        """The largest share of its voltage limit that it bears."""
        return float(self.working_stress_v.max()) / self.voltage_limit_v

    def used_ratio(self) -> float:
        """The larger share of its limits that it bears."""
        return max(self.power_ratio, self.voltage_ratio)

    @property
    def is_over(self) -> bool:
        """Whether it bears more than its voltage, or the power that most makers rate it for."""
        part = self.resistor
        usual = (part.usual_power_w or part.rated_power_w) / part.rated_power_w
        return max(self.power_ratio / usual, self.voltage_ratio) > 1.0

    def parts_in_series(self, shorted: int = 0) -> int:
        """How many equal parts of this style, in series in its place, would bear it.

        Parameters
        ----------
        shorted : int
            How many of them may be shorted; the others then bear their voltage, and more current.

        Notes
        -----
        One of them is off by its tolerance either way, the others are low.
        """
        off = self.resistor.tolerance_ratio
        own = np.array([1.0 - off, 1.0 + off])
        left = 1
        while True:
            share = own / (own + (left - 1) * (1.0 - off))
            power = self.power_ratio * (left + shorted) * share**2 * (1.0 - off) / own
            if max(self.voltage_ratio * share.max(), power.max()) <= 1.0:
                return left + shorted
            left += 1


@dataclass(frozen=True, slots=True, kw_only=True)
class WorstLoad:
    """What one resistor has to bear: at the levels, and at its worst.

    Parameters
    ----------
    stress : ResistorStress
        At the levels, with nominal resistors.
    worst : ResistorStress
        At high mains, with tolerances at their worse ends.
    """

    JSON_KEYS: ClassVar = (
        *(f"{key}=stress.resistor.{key}" for key in PART_KEYS),
        *(f"{key}=stress.{key}" for key in ("power_w", "rms_v", "peak_v", "working_stress_v")),
        "worst_power_w",
        "worst_working_stress_v",
        "power_limit_w=stress.power_limit_w",
        "voltage_limit_v=stress.voltage_limit_v",
    )

    stress: ResistorStress
    worst: ResistorStress

    @property
    def worst_power_w(self) -> float:
        """At high mains, with tolerances at their worse ends."""
        return float(self.worst.power_w.max())

    @property
    def worst_working_stress_v(self) -> float:
        """At high mains, with tolerances at their worse ends."""
        return float(self.worst.working_stress_v.max())


def chain_resistors(board: Board) -> list[Resistor]:
    """All resistors on the mains side, in the order of the signal."""
    across = [board.led_resistor] if board.led_resistor else []
    return [r for chain in (*board.chains, board.return_chain, across) for r in chain]


def judged_resistors(board: Board) -> list[Resistor]:
    """Those of the mains side, then the pull-up's or pull-down's, unless the controller has it."""
    output = board.output.resistor
    if output is None or output.ref == INTERNAL_PULL_UP:
        return chain_resistors(board)
    return [*chain_resistors(board), output]


def resistor_stress(solution: Solution, board: Board, ambient_degc: float) -> list[ResistorStress]:
    """Power and voltage of every resistor of a board.

    Parameters
    ----------
    solution : Solution
    board : Board
    ambient_degc : float
        For the derating. [°C]

    Returns
    -------
    stress : list of ResistorStress
        Mains side in order of the signal, then the pull-up or pull-down.
    """
    result = []
    for resistor in judged_resistors(board):
        element = solution.circuit[resistor.ref]
        assert isinstance(element, Resistance)
        across = solution.voltages_v[element.a] - solution.voltages_v[element.b]
        result.append(
            ResistorStress(
                resistor=resistor,
                power_w=solution.power_w(element),
                rms_v=solution.rms(across),
                peak_v=solution.peak(np.abs(across)),
                power_limit_w=float(derated_power_w(resistor.rated_power_w, ambient_degc)),
                voltage_limit_v=resistor.working_v,
            )
        )
    return result


def unequal_sharing(circuit: Circuit, resistors: Sequence[Resistor]) -> Circuit:
    """One resistor after another against its tolerance, the others at their low end.

    Parameters
    ----------
    circuit : Circuit
        One row.
    resistors : sequence of Resistor
        r of them.

    Returns
    -------
    circuit : Circuit
        2 r rows: in row 2 k resistor k is at its high end, where it bears the most voltage; in
        row 2 k + 1 it is low too, where it bears the most power if it is the larger part.
    """
    rows = np.arange(2 * len(resistors))
    for number, resistor in enumerate(resistors):
        factor = 1.0 + np.where(rows == 2 * number, 1.0, -1.0) * resistor.tolerance_ratio
        circuit = circuit.scale(resistor.ref, "resistance_ohm", factor)
    return circuit


def worst_stress(board: Board) -> list[ResistorStress]:
    """Power and voltage of every resistor at high mains, shared as unequally as tolerances allow.

    Parameters
    ----------
    board : Board

    Returns
    -------
    stress : list of ResistorStress
        As from `resistor_stress`; of each resistor its own two rows of `unequal_sharing`.

    Notes
    -----
    In a chain the share of the voltage, R / (R + S), rises with the own resistance R and falls
    with that of the others, S; so does power, V^2 R / (R + S)^2, with S, while in R it is highest
    at the end nearer to S. The optocoupler is the strongest of its grade: its transistor then
    loads the pull-up most.
    """
    return worst_of(solve(worst_circuit(board)), board)


def worst_circuit(board: Board) -> Circuit:
    """The rows that `worst_stress` looks at: two for each resistor."""
    resistors = judged_resistors(board)
    return unequal_sharing(build_circuit(board, strong_conditions(board)), resistors)


def strong_conditions(board: Board) -> Conditions:
    """High mains, the optocoupler the best of its grade, or the transistor of its type."""
    opto, part = board.optocoupler, board.transistor
    ctr_ratio = None if opto is None else opto.ctr_max_ratio
    if part is not None:
        ctr_ratio = part.gain_max_ratio
    return Conditions(mains_rms_v=board.mains.high_rms_v, ctr_ratio=ctr_ratio)


def worst_of(solution: Solution, board: Board) -> list[ResistorStress]:
    """What `worst_stress` gives, from the solution of `worst_circuit`."""
    result = resistor_stress(solution, board, board.service.hot_degc)
    return [stress.rows(slice(2 * k, 2 * k + 2)) for k, stress in enumerate(result)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReverseStress:
    """Reverse voltage of one junction, and the current it then passes, in every row.

    Parameters
    ----------
    ref : str
        The part.
    reverse_v, reverse_a : ndarray, shape (n,)
        What is across it, and what then flows.
    limit_v : float
        Reverse voltage that its data sheet allows.
    source : str
        Where the limit comes from.
    """

    ref: str
    reverse_v: FloatArray
    reverse_a: FloatArray
    limit_v: float
    source: str

    @property
    def is_over(self) -> bool:
        """Whether the reverse voltage is above what the data sheet allows, in any row."""
        return float(self.reverse_v.max()) > self.limit_v


def reverse_stress(solution: Solution, board: Board) -> list[ReverseStress]:
    """Reverse voltage of rectifier, clamp and LED, in the order of the element list.

    Parameters
    ----------
    solution : Solution
    board : Board

    Returns
    -------
    stress : list of ReverseStress
        Without zeners, which are there to break down. Of an LED that only a rectifier in series
        protects, with what the rectifier's capacitance
        drives through it, of which the solution knows nothing.
    """
    sources: dict[str, str] = {}
    limits: dict[str, float] = {}
    if (opto := board.optocoupler) is not None:
        sources = dict.fromkeys(led_refs(board), opto.source)
        limits = dict.fromkeys(led_refs(board), opto.led.reverse_rating_v)
    if (part := board.transistor) is not None:
        sources |= dict.fromkeys(base_refs(board), part.source)
        limits |= dict.fromkeys(base_refs(board), part.emitter_reverse_v)
    unlimited = [*PIN_CLAMPS]  # each of which the other protects
    for diode in board.diodes:
        refs = junction_refs(diode, solution.circuit)
        unlimited += refs if diode.junction.is_zener else []
        sources |= dict.fromkeys(refs, diode.source)
        limits |= dict.fromkeys(refs, diode.junction.reverse_rating_v)
    result = []
    for junction in solution.circuit.of(Junction):
        if junction.ref in unlimited:
            continue
        across = solution.voltages_v[junction.a] - solution.voltages_v[junction.b]
        leak = solution.circuit[f"{junction.ref}.leak"]
        assert isinstance(leak, Resistance)
        reverse = np.maximum(solution.peak(-across), 0.0)
        broken = solution.currents_a.get(junction.ref + "~")
        over = np.zeros(reverse.shape) if broken is None else broken.max(axis=1)
        current = reverse / np.asarray(leak.resistance_ohm) + over
        if junction.ref in led_refs(board) and (lone := _lone_rectifier(solution, board)):
            reverse, current = _with_displacement(
                solution, board, lone, junction, (reverse, current)
            )
        result.append(
            ReverseStress(
                ref=junction.ref,
                reverse_v=reverse,
                reverse_a=current,
                limit_v=limits[junction.ref],
                source=sources[junction.ref],
            )
        )
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class ZenerStress:
    """Mean power of one zener in every row, shape (n,)."""

    part: Diode
    power_w: FloatArray


def zener_stress(solution: Solution, board: Board) -> list[ZenerStress]:
    """Power of each zener of a board."""
    result = []
    for diode in board.diodes:
        if diode.junction.is_zener:
            for ref in junction_refs(diode, solution.circuit):
                junction = solution.circuit[ref]
                assert isinstance(junction, Junction)
                across = solution.voltages_v[junction.a] - solution.voltages_v[junction.b]
                current = solution.currents_a[ref] - solution.currents_a.get(f"{ref}~", 0.0)
                result.append(ZenerStress(part=diode, power_w=solution.mean(across * current)))
    return result


def zener_limit_w(part: Diode, ambient_degc: Value) -> FloatArray:
    """Power that a zener may bear: in full up to 25 degC, then a straight line to nothing."""
    rated_w = SMALL_ZENER_W if part.rated_power_w is None else part.rated_power_w
    zero = part.zero_power_degc
    share = (zero - np.asarray(ambient_degc, dtype=float)) / (zero - REFERENCE_DEGC)
    return rated_w * np.clip(share, 0.0, 1.0)


def _lone_rectifier(solution: Solution, board: Board) -> Diode | None:
    """The diode in series with a LED that nothing else protects; None: there is none such."""
    junctions = solution.circuit.of(Junction)
    if len(junctions) != 2 or len(board.diodes) != 1 or not board.is_isolated:
        return None
    led, diode = sorted(junctions, key=lambda j: j.ref == board.diodes[0].ref)
    return None if set(led.nodes) == set(diode.nodes) else board.diodes[0]


def _with_displacement(
    solution: Solution,
    board: Board,
    diode: Diode,
    led: Junction,
    at_rest: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray]:
    """Reverse voltage and current of an LED behind a rectifier, with the rectifier's capacitance.

    `at_rest` is what leakage makes of them. What reverses the rectifier flows through the LED: it
    charges the LED's own capacitance and whatever is across it, until the LED breaks down. What a
    surge adds lasts a microsecond and is left out.
    """
    reverse_v, reverse_a = at_rest
    surge = any(np.any(source.surge_v) for source in solution.circuit.of(MainsSource))
    if surge or not diode.junction.capacitance_f:
        return at_rest
    rectifier = solution.circuit[diode.ref]
    assert isinstance(rectifier, Junction)
    across_v = solution.voltages_v[rectifier.b] - solution.voltages_v[rectifier.a]
    printed_f = diode.junction.capacitance_f
    charge_c = reverse_charge_c(across_v.max(axis=1), printed_f)
    steepest = np.max(np.diff(across_v, axis=1) / np.diff(solution.time_s, axis=1), axis=1)
    driven_a = capacitance_at_zero_f(printed_f) * np.maximum(steepest, 0.0)
    held_f: Value = 0.0 if board.optocoupler is None else board.optocoupler.led.capacitance_f
    siemens: Value = MIN_CONDUCTANCE_S
    for element in solution.circuit:
        if set(element.nodes) == set(led.nodes):
            if isinstance(element, Capacitance):
                held_f = held_f + np.asarray(element.capacitance_f)
            elif isinstance(element, Resistance):
                siemens = siemens + 1.0 / np.asarray(element.resistance_ohm)
    driven_v = reverse_v + np.minimum(charge_c / np.maximum(held_f, _LEAST_F), driven_a / siemens)
    breaks = driven_v > led.breakdown_v
    limit_v = led.breakdown_v + led.emission_v * np.log1p(
        driven_a / np.maximum(led.saturation_a, _LEAST_SATURATION_A)
    )
    return (
        np.maximum(reverse_v, np.where(breaks, np.minimum(driven_v, limit_v), driven_v)),
        np.maximum(reverse_a, np.where(breaks, driven_a, 0.0)),
    )


@dataclass(frozen=True, slots=True)
class InputLimit:
    """What may flow through an optocoupler's LED, or without one into the controller's pin.

    Parameters
    ----------
    ref : str
        The part.
    words : str
        Which current.
    current_a : float
    source : str
    """

    ref: str
    words: str
    current_a: float
    source: str


def input_limit(board: Board) -> InputLimit:
    """Limit of the current that the chain lets through; of a pin, one maker's for its own."""
    if (opto := board.optocoupler) is not None:
        return InputLimit(opto.ref, "LED current", *led_current_limit_a(opto))
    if (part := board.transistor) is not None:
        most = default("margin.base_current")
        return InputLimit(part.ref, "base current", most.value, most.why)
    most = default("margin.pin_current")
    return InputLimit("pin", "current", most.value, most.why)


def led_current_limit_a(opto: Optocoupler) -> tuple[float, str]:
    """Largest continuous LED current of an optocoupler, and its source."""
    if opto.led_current_max_a is not None:
        return opto.led_current_max_a, opto.source
    rows = {str(row["family"]): row for row in table("optocoupler_limits")}
    row = rows.get(opto.family, rows["817"])
    if not np.isfinite(float(row["led_current_max_a"])):
        row = rows["817"]
    return float(row["led_current_max_a"]), cite(str(row["source"]))
