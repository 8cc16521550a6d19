"""The surge against divider arithmetic, the closed-form energy and an independent ODE solver."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad, solve_ivp

from tests.diagnosis.boards import CHAIN_OHM, R1_OHM, R2_OHM, TEXTS, board
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.margin.surge import SurgeStress, surge_stress
from zcd.physics.surge import surge_ratio

HIGH_PEAK_V = np.sqrt(2.0) * 253.0
LEVEL_V = 1000.0


def exact(found: Board) -> Board:
    """A board whose resistors have no tolerance."""
    *chains, back = (
        tuple(replace(r, tolerance_ratio=0.0) for r in c)
        for c in (*found.chains, found.return_chain)
    )
    return replace(found, chains=tuple(chains), return_chain=back)


def peaks(found: SurgeStress) -> dict[str, float]:
    return {load.resistor.ref: load.peak_v for load in found.loads}


@pytest.mark.parametrize("name", ["half-wave", "clamped", "bridge", "two-led"])
def test_chain_divides_mains_and_surge(name: str) -> None:
    """Drops of diode and LED are 2 V of 1358."""
    result = peaks(surge_stress(exact(board(name))))
    assert_allclose(result["R1"], (HIGH_PEAK_V + LEVEL_V) * R1_OHM / CHAIN_OHM, rtol=3e-3)
    assert_allclose(result["R2"], (HIGH_PEAK_V + LEVEL_V) * R2_OHM / CHAIN_OHM, rtol=3e-3)


def test_tolerance_shifts_the_share() -> None:
    """R (1 + t) of R (1 + t) + S (1 - t), 5 %."""
    result = peaks(surge_stress(board("clamped")))
    for ref, own, other in (("R1", R1_OHM, R2_OHM), ("R2", R2_OHM, R1_OHM)):
        share = own * 1.05 / (own * 1.05 + other * 0.95)
        assert_allclose(result[ref], (HIGH_PEAK_V + LEVEL_V) * share, rtol=3e-3)


def test_energy_in_closed_form() -> None:
    """What the surge adds: the integral of (m + s)^2 - m^2 over R, drops left out."""
    result = {load.resistor.ref: load for load in surge_stress(exact(board("clamped"))).loads}

    def added(t: float) -> float:
        surge = LEVEL_V * float(surge_ratio(t))
        return surge**2 + 2.0 * surge * HIGH_PEAK_V * np.cos(2.0 * np.pi * 50.0 * t)

    whole = sum(quad(added, a, b, epsrel=1e-9)[0] for a, b in ((0.0, 5e-6), (5e-6, 2e-3)))
    for ref, ohm in (("R1", R1_OHM), ("R2", R2_OHM)):
        assert_allclose(result[ref].energy_j, whole * ohm / CHAIN_OHM**2, rtol=5e-3)


def test_joint_capacitor_holds_its_node() -> None:
    """The resistor before it takes the surge nearly alone; scipy steps through the same."""
    text = TEXTS["clamped"].replace(
        "[output]", 'joint_capacitor = {after = 1, capacitance = "10 nF"}\n[output]'
    )
    stress = peaks(surge_stress(exact(parse_board(text))))
    first, second, farad, omega = R1_OHM, R2_OHM, 10e-9, 2.0 * np.pi * 50.0

    def supply(t: float) -> float:
        return float(HIGH_PEAK_V * np.cos(omega * t) + LEVEL_V * surge_ratio(t))

    def rate(t: float, v: np.ndarray) -> np.ndarray:
        return ((supply(t) - v) / first - v / second) / farad

    # three periods of mains before it, so that the capacitor is where it would be
    solved = solve_ivp(rate, (-0.06, -1e-9), [0.0], rtol=1e-8, atol=1e-6)
    after = solve_ivp(
        rate, (0.0, 5e-4), solved.y[:, -1], rtol=1e-9, atol=1e-6, max_step=1e-6, dense_output=True
    )
    t = np.geomspace(1e-8, 5e-4, 4000)
    node = after.sol(t)[0]
    mains = np.array([supply(x) for x in t])
    assert_allclose(stress["R1"], np.abs(mains - node).max(), rtol=5e-3)
    assert_allclose(stress["R2"], np.abs(node).max(), rtol=1e-2)
    assert stress["R1"] > 4.0 * stress["R2"]


def test_rectifier_breaks_down_into_the_led() -> None:
    """Beyond its 1000 V the rest drives the chain's current backwards through the LED."""
    result = surge_stress(exact(board("half-wave")))
    reverse = {s.ref: s for s in result.reverse}
    amps = (HIGH_PEAK_V + LEVEL_V - 1000.0 - 6.0) / CHAIN_OHM
    assert_allclose(reverse["OC1.led"].reverse_a.max(), amps, rtol=0.02)
    assert reverse["D1"].reverse_v.max() > 1000.0
    assert_allclose(result.led_peak_a, (HIGH_PEAK_V + LEVEL_V) / CHAIN_OHM, rtol=5e-3)


def test_overload_test_puts_in_far_more_energy_than_a_surge() -> None:
    """1206, 110 kohm: 2.5 times 117.3 V (sqrt of 0.125 W times 110 kohm) for 5 s: 3.9 J."""
    load = surge_stress(board("half-wave")).loads[0]
    assert_allclose(load.test_energy_j, (2.5**2 * 0.125) * 5.0, rtol=1e-12)
    assert load.energy_j < 1e-3 * load.test_energy_j
