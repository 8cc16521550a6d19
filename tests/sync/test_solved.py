"""What a solved board shows of its waveforms, a case or a batch of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose

import zcd
from tests.boards import VARIANTS, board, mains
from zcd.board.model import Harmonic


def test_current_through_a_resistor_is_its_voltage_over_it() -> None:
    """Ohm's law, and Kirchhoff's: half-wave, what flows in the chain flows in LED and leak."""
    one, both = zcd.solve(board()), zcd.solve(board(), mains=[200.0, 230.0])
    ends = one.circuit["R1"].nodes
    ohm = float(np.asarray(one.circuit["R1"].resistance_ohm))
    assert one.current("R1").shape == one.time_s.shape == (both.time_s.shape[1],)
    assert both.current("R1").shape == both.time_s.shape == (2, both.time_s.shape[1])
    assert_allclose(one.current("R1"), one.voltage(*ends) / ohm, rtol=1e-12)
    assert_allclose(both.current("R1"), both.voltage(*ends) / ohm, rtol=1e-12)
    assert_allclose(one.current("R1").max(), one.current("OC1").max(), rtol=1e-4)


def test_peak_is_that_of_both_leds_in_turn() -> None:
    solved = zcd.solve(VARIANTS["two-led"], mains=[200.0, 230.0])
    leds = [solved.solution.peak(solved.current(ref)) for ref in ("OC1.led", "OC1.led2")]
    assert np.all(leds[0] > 1e-3)
    assert_allclose(solved.led_peak_a, np.maximum(*leds), rtol=1e-6)


def test_edges_of_a_batch_are_those_of_its_first_case() -> None:
    """In order of time; offsets from crossings that an even harmonic has moved apart."""
    bent = replace(
        VARIANTS["bridge"],
        mains=replace(mains(), harmonics=(Harmonic(order=2, ratio=0.03, phase_rad=0.8),)),
    )
    one, both = zcd.solve(bent, mains=230.0), zcd.solve(bent, mains=[230.0, 180.0])
    assert [e.name for e in one.edges] == ["falling", "rising"] * 2
    assert_allclose([e.time_s for e in both.edges], [e.time_s for e in one.edges], atol=1e-7)
    assert_allclose([e.offset_s for e in both.edges], [e.offset_s for e in one.edges], atol=1e-7)
    assert np.all(np.diff([e.time_s for e in one.edges]) > 0.0)
