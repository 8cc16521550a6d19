"""The boundary of a map is where the controller loses lock, whatever the two quantities."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

import zcd
from tests.boards import stated
from tests.diagnosis.boards import CHAIN_OHM, controlled, edited
from tests.diagnosis.boards import board as unread
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.errors import InputError
from zcd.margin.headroom import headrooms
from zcd.margin.lattice import ROOT_TOLERANCE
from zcd.margin.loss_map import LossMap, loss_map
from zcd.physics.diode import thermal_voltage_v
from zcd.sync.lock import Lock, lock_of

FloatArray = NDArray[np.float64]
BESIDE = 5e-4
"""Of the range of an axis: so far to either side the lock must have changed."""


def board(name: str = "half-wave") -> Board:
    """A board whose controller has been read: every rule may lose the lock."""
    return stated(unread(name))


@cache
def mapped(name: str, across: str = "mains", up: str = "ctr") -> LossMap:
    return loss_map(board(name), across, up)


def lock_at(found: Board, chart: LossMap, across: FloatArray, up: FloatArray) -> Lock:
    """Lock at places given as shares of the ranges."""
    circuit = chart.across.put(build_circuit(found), found, chart.across.value(across))
    return lock_of(chart.up.put(circuit, found, chart.up.value(up)), found)


CASES = [
    ("half-wave", "mains", "ctr"),
    ("half-wave", "R1", "pull-up"),
    ("bridge", "temperature", "pull-up"),
    ("emitter follower", "chain", "pull-down"),
    ("across the LED", "led-capacitor", "mains"),
]


@pytest.mark.parametrize(("name", "across", "up"), CASES)
def test_lock_flips_across_the_boundary(name: str, across: str, up: str) -> None:
    """A step to either side, at right angles to the curve, finds lock and no lock; by the rule."""
    result, chart = board(name), mapped(name, across, up)
    assert chart.boundaries
    for curve in chart.boundaries:
        inner = np.arange(1, curve.up.size - 1)[::7]
        x, y = chart.across.share(curve.across), chart.up.share(curve.up)
        way = np.stack([x[inner + 1] - x[inner - 1], y[inner + 1] - y[inner - 1]])
        side = np.stack([-way[1], way[0]]) / np.hypot(*way) * BESIDE
        left, right = (
            lock_at(result, chart, x[inner] + s * side[0], y[inner] + s * side[1])
            for s in (1.0, -1.0)
        )
        assert np.all(left.locks != right.locks)
        for row, point in enumerate(inner):
            lost = right if left.locks[row] else left
            if curve.rules[point - 1] == curve.rules[point + 1]:
                assert lost.failed_rule(row) == curve.rules[point]


@pytest.mark.parametrize(("name", "across", "up"), CASES)
def test_the_lattice_tells_lock_from_loss(name: str, across: str, up: str) -> None:
    """Points drawn at random, at lines that were solved or not, all agree with the lock there."""
    result, chart = board(name), mapped(name, across, up)
    rng = np.random.default_rng(5)
    row, column = rng.integers(0, chart.lattice.places.size, size=(2, 60))
    places = chart.lattice.places
    lock = lock_at(result, chart, places[column], places[row])
    rules = chart.rules()
    for k, (r, c) in enumerate(zip(row, column, strict=True)):
        assert rules[r][c] == lock.failed_rule(k)


def test_more_mains_needs_less_ctr() -> None:
    (curve,) = mapped("half-wave").boundaries
    order = np.argsort(curve.across)
    assert np.all(np.diff(curve.up[order]) < 1e-12)


def test_axes_swapped_give_the_same_curve() -> None:
    (one,) = mapped("half-wave").boundaries
    (other,) = loss_map(board(), "ctr", "mains").boundaries
    order = np.argsort(other.up)
    logs = np.interp(one.across, other.up[order], np.log(other.across[order]))
    # between points 1/96 of the range apart a straight line is that good
    assert_allclose(logs, np.log(one.up), atol=2e-3)


def test_reach_is_the_headroom() -> None:
    """CTR reserve by the one way and the other; mains too, where the map goes far enough."""
    known = headrooms(board(), [Conditions()])[0]
    chart = mapped("half-wave")
    assert chart.up.here / chart.reach_up.below == pytest.approx(
        known["ctr"].factor_ratio, rel=3e-4
    )
    assert chart.reach_up.rule_below == known["ctr"].rule
    assert np.isnan(chart.reach_across.below)
    assert known["mains"].factor_ratio > 230.0 / chart.across.low
    chain = mapped("emitter follower", "chain", "pull-down")
    known = headrooms(board("emitter follower"), [Conditions()])[0]
    assert chain.reach_across.above == pytest.approx(known["chain"].factor_ratio, rel=3e-4)
    assert chain.reach_across.rule_above == known["chain"].rule


def test_reach_of_a_board_without_lock_is_where_it_begins() -> None:
    result = edited('"817C"', '{family = "817", grade = "C", remaining = "2 %"}')
    chart = loss_map(result)
    known = headrooms(result, [Conditions()])[0]["ctr"]
    assert chart.failed_rule == "pin never low"
    assert chart.reach_up.above == pytest.approx(0.02 / known.factor_ratio, rel=3e-4)
    assert chart.reach_up.rule_above == known.rule


def test_period_rule_bounds_the_frequency_in_closed_form() -> None:
    """|f0 / f - 1| = 6 %: two straight branches, whatever the mains voltage."""
    chart = mapped("half-wave", "frequency", "mains")
    assert len(chart.boundaries) == 2
    limits = sorted(float(np.mean(curve.across)) for curve in chart.boundaries)
    assert_allclose(limits, [50.0 / 1.06, 50.0 / 0.94], rtol=1e-4)
    for curve in chart.boundaries:
        assert set(curve.rules) == {"period"}
        assert np.ptp(curve.across) < 1e-3
    assert chart.reach_across.below == pytest.approx(50.0 / 1.06, rel=1e-4)
    assert chart.reach_across.above == pytest.approx(50.0 / 0.94, rel=1e-4)


def test_no_edge_limit_is_one_led_current() -> None:
    """With only a low pin asked for, the limit is one peak current in the LED.

    sqrt(2) V = drops at I + I R k all along the boundary, the drops by the diode law. Storage and
    turn-off leave the top of a sine as it is, nearly.
    """
    result = controlled(
        'min_low_time = "1 us"\nmin_high_time = "1 us"\nmax_transition = "19 ms"\n'
        'max_offset = "9.9 ms"\nlow_threshold = "2.45 V"\nhigh_threshold = "2.5 V"'
    )
    (curve,) = loss_map(result, "mains", "chain").boundaries
    assert set(curve.rules) <= {"pin never low", "low time"}
    assert result.rectifier is not None
    peak_v, ohm = np.sqrt(2.0) * curve.across, CHAIN_OHM * curve.up
    amps = peak_v / ohm
    for _ in range(3):
        drop_v = sum(
            j.emission_ratio * thermal_voltage_v(25.0) * np.log1p(amps / j.saturation_current_a)
            for j in (result.rectifier.junction, result.optocoupler.led)
        )
        amps = (peak_v - drop_v) / ohm
    assert_allclose(amps, amps.mean(), rtol=1e-3)
    # without the drops it would not be one current
    assert np.ptp(peak_v / ohm) > 8e-3 * amps.mean()


def test_too_strong_a_part_has_a_boundary_of_its_own() -> None:
    """A pull-up too large for twice a period: lost when too weak, and when too strong."""
    chart = loss_map(stated(edited('"15k"', '"68k"', "bridge")))
    rules = {rule for curve in chart.boundaries for rule in curve.rules}
    assert {"edge offset", "high time"} <= rules
    assert np.isfinite(chart.reach_up.below) or chart.failed_rule == "high time"


def test_capacitor_board_is_solved_along_its_borders_only() -> None:
    """Of 97 by 97 points one in six or fewer; the roots are as many again at most."""
    lattice = mapped("across the LED", "led-capacitor", "mains").lattice
    assert np.count_nonzero(lattice.solved) < lattice.solved.size / 6


def test_the_same_quantity_twice_is_refused() -> None:
    with pytest.raises(InputError, match="another quantity than across"):
        loss_map(board(), "mains", "Mains")


def test_root_tolerance_is_that_of_headroom_or_better() -> None:
    """In logs of the CTR, whose range is the widest: 2e-5 of ln 184."""
    chart = mapped("half-wave")
    assert ROOT_TOLERANCE * np.log(chart.up.high / chart.up.low) < 1.1e-4


def test_a_board_without_an_optocoupler_has_its_chain_upwards() -> None:
    board = zcd.loads("""
    mains = "230 V 50 Hz"
    circuit = ["line - R3 150k 1206 - R4 150k 1206 - Q1.b", "neutral - logic0",
               "Q1.b - D2 1N4148 < - logic0", "Q1 BC847"]
    output = {pull_up = "10k", supply = "5 V"}
    """)
    assert zcd.loss_map(board).up.key == "chain"
