"""What one shorted part does to all the others."""

from __future__ import annotations

from dataclasses import dataclass

from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit, input_refs
from zcd.circuit.elements import Capacitance, Junction, is_hidden, stack
from zcd.engine.network import island_of
from zcd.engine.solve import EDGES, solve
from zcd.margin.rules import Rule
from zcd.margin.stress import chain_resistors, resistor_stress, reverse_stress
from zcd.margin.stress_rules import resistor_rules


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortStress:
    """What the parts bear at high mains while one of them is shorted.

    Parameters
    ----------
    ref : str
        The shorted part.
    power, voltage : tuple of Rule
        Of every other resistor on the mains side.
    led_peak_a : float
        LED current.
    led_reverse_v, led_reverse_a : float
        Of the LED that has it worst.
    """

    ref: str
    power: tuple[Rule[float], ...]
    voltage: tuple[Rule[float], ...]
    led_peak_a: float
    led_reverse_v: float
    led_reverse_a: float

    def hottest(self) -> Rule[float] | None:
        """Of the resistor with the highest share of its power limit."""
        return max(self.power, key=_share, default=None)

    def most_stretched(self) -> Rule[float] | None:
        """Of the resistor with the highest share of its voltage limit."""
        return max(self.voltage, key=_share, default=None)


def _share(rule: Rule[float]) -> float:
    return rule.value / rule.limit


def short_stress(board: Board) -> tuple[ShortStress, ...]:
    """Short every part of the mains side in turn: resistors, diodes, capacitors, LED.

    Parameters
    ----------
    board : Board

    Returns
    -------
    stress : tuple of ShortStress
        In the order of the signal, at high mains, with nominal values otherwise.

    Notes
    -----
    Two faults at once are not tried. A resistor is shorted by solder or a carbonised track: it
    fails open or high far more often.
    """
    whole = build_circuit(board, Conditions(mains_rms_v=board.mains.high_rms_v))
    side = island_of(whole, "neutral")
    resistors = {r.ref for r in chain_resistors(board)}
    refs = [
        e.ref
        for e in whole
        if e.ref in resistors
        or (isinstance(e, Junction | Capacitance) and side.issuperset(e.nodes))
    ]
    refs = [r for r in refs if not (r.startswith("suppressor") or is_hidden(whole[r]))]
    solution = solve(stack([whole.short(ref) for ref in refs]), EDGES)
    rules = {
        s.resistor.ref: resistor_rules(s)[:2]
        for s in resistor_stress(solution, board, board.service.hot_degc)
        if s.resistor.ref in resistors
    }
    leds = input_refs(board)
    peaks = [solution.peak(solution.currents_a[led]) for led in leds]
    reverse = [s for s in reverse_stress(solution, board) if s.ref in leds]
    return tuple(
        ShortStress(
            ref=ref,
            power=tuple(power.at(row) for other, (power, _) in rules.items() if other != ref),
            voltage=tuple(volts.at(row) for other, (_, volts) in rules.items() if other != ref),
            led_peak_a=max(float(peak[row]) for peak in peaks),
            led_reverse_v=max((float(s.reverse_v[row]) for s in reverse), default=0.0),
            led_reverse_a=max(
                (float(s.reverse_a[row]) for s in reverse if s.ref != ref), default=0.0
            ),
        )
        for row, ref in enumerate(refs)
    )
