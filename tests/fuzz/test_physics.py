"""Laws that hold on every board, tried on random ones."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from tests.boards import LED
from tests.engine.test_solve import across_v, current_from, mains_side, scaled
from tests.fuzz.random_boards import boards, is_symmetric, same_again
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit, led_refs
from zcd.circuit.elements import Circuit, Junction, MainsSource, Resistance, stack
from zcd.engine import solution as solutions
from zcd.engine.solve import SolverOptions, solve
from zcd.sync.lock import lock_of

FINE = SolverOptions(points=400)
EVEN = SolverOptions(points=144, refine=False)
FINE = replace(EVEN, points=1152)
"""For a capacitor at a joint, whose current is over sooner than the steps of the usual grid."""
SHARE = np.geomspace(0.5, 2.0, 7)

few = settings(same_again, max_examples=8, phases=(Phase.generate, Phase.shrink))
"""The usual run; with the mark `slow` the same laws are tried on many boards."""
many = settings(few, max_examples=150, derandomize=False)


def led_mean_a(circuit: Circuit, board: Board, options: SolverOptions = EVEN) -> Any:
    """Mean current of the LED, or of both, shape (n,)."""
    result = solve(circuit, options)
    return sum(result.mean(result.currents_a[ref]) for ref in led_refs(board))


def more_chain_never_raises_the_led_current(board: Board) -> None:
    """Whichever resistor of the chain it is.

    With a capacitor at its joint it does raise it where a second string can discharge that.
    """
    if len(board.chains) > 1:
        board = replace(board, joint_capacitor=None)
    circuit = build_circuit(board)
    for part in board.chains[0]:
        sweep = circuit.change(part.ref, resistance_ohm=SHARE * part.resistance_ohm)
        mean = led_mean_a(sweep, board, FINE if board.joint_capacitor else EVEN)
        assert np.all(np.diff(mean) <= 1e-6 * mean[:-1] + 1e-12), part.ref


def more_ctr_never_shortens_the_low_time(board: Board) -> None:
    """At one shape of CTR over current; a microsecond is what edges are found to."""
    if board.output.kind != "pull-up":
        board = replace(board, output=replace(board.output, kind="pull-up"))
    at = Conditions(ctr_ratio=SHARE * board.optocoupler.ctr_ratio, shape_weight=0.5)
    low = lock_of(build_circuit(board, at), board).pulses.low_time_s[:, 0]
    there = np.isfinite(low)
    assert np.all(np.diff(low[there]) > -2e-6)


def the_source_gives_what_the_parts_take(board: Board) -> None:
    """Over a settled period, to 0.1 %; what capacitors take they give back."""
    part = replace(board.optocoupler, led=replace(LED, reverse_rating_v=1e6))
    result = solve(build_circuit(replace(board, optocoupler=part)), FINE)
    if not result.settled[0]:
        return  # a transient: its capacitors keep some of it
    source = result.circuit.of(MainsSource)[0]
    given_w = result.mean(across_v(result, source) * current_from(result, "line"))
    taken_w = np.zeros(1)
    for element in mains_side(result.circuit):
        if isinstance(element, Resistance):
            taken_w += result.power_w(element)
        elif isinstance(element, Junction):
            taken_w += result.mean(across_v(result, element) * result.currents_a[element.ref])
    assert_allclose(taken_w, given_w, rtol=1e-3)


def both_half_cycles_are_alike(board: Board) -> None:
    """Two LEDs and bridges: half a period later all currents are those of the other direction."""
    if not is_symmetric(board) or board.joint_capacitor is not None:
        return
    result = solve(build_circuit(replace(board, relay=None)), EVEN)
    pin = result.voltages_v["pin"]
    half = pin.shape[1] // 2
    assert_allclose(np.roll(pin, half, axis=1), pin, atol=1e-3 * board.output.supply_v)


def impedances_scale(board: Board) -> None:
    """All of the mains side times k, capacitances and saturation currents over k.

    Then voltages are the same and currents over k, exactly in the equations; what is left is
    the least conductance that holds loose nodes.
    """
    circuit = build_circuit(board)
    led = led_refs(board)[0]
    one, other = (solve(c, SolverOptions(points=144, refine=False, isolated=False))
                  for c in (circuit, scaled(circuit, 4.0)))  # fmt: skip
    if not (one.settled[0] and other.settled[0]):
        return
    largest = np.max(one.currents_a[led])
    assert_allclose(
        other.currents_a[led] * 4.0, one.currents_a[led], rtol=1e-3, atol=2e-4 * largest
    )


def mains_and_thermal_voltage_scale(board: Board) -> None:
    """All voltages of the mains side times k, emission voltages too: all currents times k.

    Saturation currents times k, resistances as they are; breakdown times k.
    """
    k = 1.7
    circuit = build_circuit(board)
    other = circuit
    for element in circuit.elements:
        if isinstance(element, Junction):
            other = other.scale(element.ref, "saturation_a", k)
            other = other.scale(element.ref, "emission_v", k)
            other = other.scale(element.ref, "breakdown_v", k)
        elif isinstance(element, MainsSource):
            other = other.scale(element.ref, "rms_v", k)
    options = SolverOptions(points=144, refine=False, isolated=False)
    led = led_refs(board)[0]
    first, second = solve(circuit, options), solve(other, options)
    largest = np.max(first.currents_a[led])
    assert_allclose(
        second.currents_a[led], k * first.currents_a[led], rtol=1e-4, atol=1e-4 * largest
    )


def a_batch_is_its_rows(board: Board) -> None:
    """In any order, in pieces of any size, together or alone: to what Newton leaves."""
    share = np.array([0.7, 1.0, 1.15, 0.9, 1.3])
    order = np.array([3, 0, 4, 1, 2])
    volts = share * board.mains.rms_v
    whole = solve(build_circuit(board, Conditions(mains_rms_v=volts)))
    turned = solve(build_circuit(board, Conditions(mains_rms_v=volts[order])))
    supply = board.output.supply_v
    assert_allclose(turned.voltages_v["pin"], whole.voltages_v["pin"][order], atol=2e-4 * supply)
    for row in (0, 4):
        alone = solve(build_circuit(board, Conditions(mains_rms_v=volts[row])))
        assert_allclose(
            alone.voltages_v["pin"][0], whole.voltages_v["pin"][row], atol=2e-4 * supply
        )


LAWS = (
    more_chain_never_raises_the_led_current,
    more_ctr_never_shortens_the_low_time,
    the_source_gives_what_the_parts_take,
    both_half_cycles_are_alike,
    impedances_scale,
    mains_and_thermal_voltage_scale,
    a_batch_is_its_rows,
)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.__name__.replace("_", " "))
def test_law(law: Any) -> None:
    few(given(boards())(law))()


@pytest.mark.slow
@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.__name__.replace("_", " "))
def test_law_on_many_boards(law: Any) -> None:
    many(given(boards())(law))()


@given(boards(), st.integers(1, 7))
@settings(few, max_examples=3)
def test_size_of_pieces_is_free(board: Board, rows: int) -> None:
    volts = np.linspace(0.8, 1.2, 9) * board.mains.rms_v
    circuit = build_circuit(board, Conditions(mains_rms_v=volts))
    whole = lock_of(circuit, board)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(solutions, "PIECE_ROWS", rows)
        pieces = lock_of(circuit, board)
    assert_allclose(pieces.margins, whole.margins, atol=2e-3)
    assert stack([circuit, circuit]).size == 18
