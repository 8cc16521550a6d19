"""What an advice claims happens in the simulation, in every topology.

Each sentence of `CLAIMS` is looked for in the words of every fault of every board; where it is
said, the engine has to show it, and each is said somewhere.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache, partial
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from tests.boards import VARIANTS
from tests.diagnosis.boards import TEXTS
from tests.substitutes.test_diodes import CIRCUITS, traced
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.circuit.build import build_circuit, input_refs
from zcd.circuit.elements import Circuit, Junction, Resistance
from zcd.diagnosis.circuit_edits import contact_open
from zcd.diagnosis.faults import SMALL_DIODE_V, Fault, faults_of
from zcd.diagnosis.rank import Diagnosis
from zcd.diagnosis.reading_syntax import parse_reading
from zcd.engine.solution import Solution
from zcd.engine.solve import solve
from zcd.margin.shorts import short_stress
from zcd.margin.stress import HARMLESS_REVERSE_A
from zcd.report.of_diagnosis import BLOCKED_BY, BLOCKING, unseen_parts
from zcd.substitutes.compare import solved_alike

AT_BASE = """mains = "230 V 50 Hz"
optocoupler = "none"
circuit = [{}"Q1.e - neutral", "Q1.c - pin", "Q1 BC847B", "{}"]
output = {{pull_up = "10k", supply = "5 V"}}
"""
BOARDS: dict[str, Callable[[], Board]] = {
    **{name: partial(VARIANTS.__getitem__, name) for name in VARIANTS},
    **{f"written, {name}": partial(parse_board, text) for name, text in TEXTS.items()},
    **{f"traced, {name}": partial(traced, name) for name in CIRCUITS},
    "base, bare": lambda: at_base("", "feed - R1 220k - R2 220k - Q1.b"),
    "base, diode across": lambda: at_base(
        '"Q1.b - D2 1N4148 < - Q1.e", ', "feed - R1 220k - R2 220k - Q1.b"
    ),
    "base, rectifier": lambda: at_base("", "feed - R1 220k - R2 220k - D1 1N4007 > - Q1.b"),
}


def at_base(more: str, chain: str) -> Board:
    return parse_board(AT_BASE.format(more, chain))


@cache
def good(name: str) -> tuple[Board, Circuit, Solution]:
    board = BOARDS[name]()
    circuit = build_circuit(board)
    return board, circuit, solve(circuit)


def with_one(circuit: Circuit, key: str) -> Circuit:
    fault = next(each for each in faults_of(circuit) if each.key == key)
    return fault.edit(circuit, np.array([0.5]))


def peaks_v(solution: Solution, circuit: Circuit) -> dict[str, float]:
    """Highest voltage across each resistor."""
    return {
        each.ref: float(np.abs(solution.between_v(each.a, each.b)).max())
        for each in circuit.of(Resistance)
    }


def reverse_a(circuit: Circuit, ref: str) -> float:
    """Current backwards in breakdown."""
    return float(np.max(solve(circuit).currents_a.get(f"{ref}~", 0.0)))


def others_take_its_voltage(name: str, fault: Fault) -> bool:
    _, circuit, solution = good(name)
    changed = fault.edit(circuit, np.array([0.5]))
    before, after = peaks_v(solution, circuit), peaks_v(solve(changed), changed)
    rise = max(after[ref] - before[ref] for ref in before if ref in after and ref != fault.part)
    return rise > 0.5 * before[fault.part]


def neighbours_share_it(name: str, fault: Fault) -> bool:
    _, circuit, solution = good(name)
    volts = peaks_v(solution, circuit)
    # one of a third of the ohms is the least that counts
    return all(volts[ref] > 0.3 * volts[fault.part] for ref in fault.neighbours)


def guard_exposes_the_led(name: str, fault: Fault) -> bool:
    board, circuit, _ = good(name)
    guard = fault.words.partition("(surge, ")[2].partition(")")[0].replace("shorted", "short")
    (led,) = input_refs(board)
    return reverse_a(with_one(circuit, guard), led) > HARMLESS_REVERSE_A


def mains_flows_backwards(name: str, fault: Fault) -> bool:
    _, circuit, _ = good(name)
    return reverse_a(fault.edit(circuit, np.array([0.5])), fault.part) > HARMLESS_REVERSE_A


def base_breaks_down(name: str, fault: Fault) -> bool:
    _, circuit, _ = good(name)
    return reverse_a(circuit, f"{fault.part.split()[0]}.be") > HARMLESS_REVERSE_A


def pulses_with_the_relay_off(name: str, fault: Fault) -> bool:
    board, circuit, _ = good(name)
    released = contact_open(circuit, np.array([0.5]))
    (led,) = input_refs(board)
    usual, off, welded = (
        float(solve(each).currents_a[led].mean())
        for each in (circuit, released, fault.edit(released, np.array([0.5])))
    )
    return off < 0.1 * usual and welded > 0.9 * usual


CLAIMS: dict[str, Callable[[str, Fault], bool]] = {
    "its neighbours carried its voltage": others_take_its_voltage,
    "too (same type, same age)": neighbours_share_it,
    "look for why (surge, D": guard_exposes_the_led,
    "no diode across it": base_breaks_down,
    "cannot block mains": mains_flows_backwards,
    "the load cannot be switched off": pulses_with_the_relay_off,
}


@pytest.mark.parametrize("claim", CLAIMS)
def test_what_the_words_of_a_fault_claim_happens(claim: str) -> None:
    said = [
        (name, fault)
        for name in BOARDS
        for fault in faults_of(good(name)[1])
        if claim in fault.words and not fault.states
    ]
    assert said
    assert [(name, f.key) for name, f in said if not CLAIMS[claim](name, f)] == []


@pytest.mark.parametrize("name", BOARDS)
def test_a_small_diode_is_wrong_only_where_one_has_to_block_mains(name: str) -> None:
    """In a bridge and across the LED it has a volt or two; a zener is no rectifier."""
    _, circuit, solution = good(name)
    blocking = {
        each.ref
        for each in circuit.of(Junction)
        if "." not in each.ref
        and np.max(each.breakdown_v) > SMALL_DIODE_V
        and float(solution.between_v(each.b, each.a).max()) > SMALL_DIODE_V
    }
    assert blocking == {f.part for f in faults_of(circuit) if f.mode == "wrong part"}


@pytest.mark.parametrize("name", VARIANTS)
def test_a_shorted_diode_exposes_the_led_where_it_is_said_to(name: str) -> None:
    """The reverse current through the LED with the diode shorted, by the engine."""
    board, circuit, _ = good(name)
    words = {fault.key: fault.words for fault in faults_of(circuit)}
    for stress in short_stress(board):
        text = words.get(f"{stress.ref} short", "")
        said = "took the reverse voltage" in text
        # a resistor or LED that is shorted promises nothing about it
        if said or stress.ref.startswith(("D", "BR")):
            assert said == (stress.led_reverse_a > HARMLESS_REVERSE_A), stress.ref


METER = Resistance(ref="meter", a="pin", b="logic0", resistance_ohm=10e6)
"""What a usual one has on DC volts."""
SAME_V = 0.1
FEW = ("half-wave", "bridge", "emitter follower", "traced, two couplers", "base, rectifier")


def pin_of(solution: Solution) -> tuple[float, bool]:
    """What a meter on DC volts shows at the pin, and whether that moves."""
    pin = solution.voltages_v["pin"][0]
    moves = float(np.ptp(pin)) > 0.5 * float(solution.voltages_v["logic+"].max())
    return float(solution.mean(solution.voltages_v["pin"])[0]), moves


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=() if name in FEW else pytest.mark.slow) for name in BOARDS],
)
def test_of_what_is_not_yet_tested_the_pin_says_nothing(name: str) -> None:
    """A second part that is open shows nothing at the pin; where pulses are seen, none is named."""
    _, circuit, _ = good(name)
    faults = {fault.key: fault for fault in faults_of(circuit) if not fault.states}
    half = np.array([0.5])
    for fault in faults.values():
        if fault.kind not in BLOCKED_BY or fault.mode not in BLOCKING:
            continue
        alone = replace(circuit, elements=(*fault.edit(circuit, half), METER))
        level_v, moves = pin_of(solve(alone))
        texts = [f"dc pin {level_v:.3f} V", "frequency 50 Hz"]
        found = SimpleNamespace(
            stopped="sure",
            measured=[parse_reading(text, circuit) for text in texts[: 1 + moves]],
            indistinguishable=[SimpleNamespace(fault=fault)],
        )
        unseen = unseen_parts(cast("Diagnosis", found), circuit)
        assert not (moves and unseen)
        seconds = [key for key in (f"{ref} open" for ref in unseen) if key in faults]
        others = solved_alike([faults[key].edit(alone, half) for key in seconds])
        changed = [
            key
            for key, (other_v, other_moves) in zip(seconds, map(pin_of, others), strict=True)
            if other_moves or abs(other_v - level_v) > SAME_V
        ]
        assert changed == [], fault.key
