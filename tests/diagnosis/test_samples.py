"""Good boards on a bench: what else hangs on the supply, where junctions break down."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import qmc

from tests.diagnosis.atlases import atlas_of
from tests.diagnosis.boards import board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Circuit, Junction, Resistance
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import ohm_full_scale_v, ohm_source_ohm, usual_meter
from zcd.diagnosis.rank import diagnose
from zcd.diagnosis.reading_syntax import parse_place, parse_reading
from zcd.diagnosis.samples import _hypercube, sample_circuits
from zcd.physics.diode import thermal_voltage_v

FloatArray = NDArray[np.float64]
SAMPLES = 16


def ohms(circuit: Circuit, ref: str) -> FloatArray:
    return np.asarray(circuit[ref].values()["resistance_ohm"])


def shown(text: str, name: str = "half-wave") -> tuple[Circuit, FloatArray]:
    """Healthy samples of a board, and what a meter shows on each."""
    circuit, _ = sample_circuits(board(name), SAMPLES)
    reading = parse_place(text, circuit)
    return circuit, MeterModel(board(name), circuit, usual_meter()).read([reading])[:, 0]


def test_a_dead_board_reads_pull_up_and_supply_in_series() -> None:
    """From pin to ground there is the way over the pull-up and what hangs on the supply (Ohm)."""
    circuit, result = shown("ohm pin logic0")
    up, down = 1.0 / ohms(circuit, "pin.up"), 1.0 / ohms(circuit, "pin.down")
    through = 1.0 / (1.0 / ohms(circuit, "pull-up") + up) + ohms(circuit, "rail")
    expected = 1.0 / (1.0 / through + down)
    low = expected < 600e3
    assert low.sum() > SAMPLES // 3
    # beside it the transistor's dark current: at most 100 nA of the 1.17 uA at full scale of 600 k
    assert np.all(result[low] < 1.001 * expected[low])
    assert np.all(result[low] > 0.914 * expected[low])
    assert expected[low].max() > 2.0 * expected[low].min()


def test_a_supply_that_hardly_anything_hangs_on_is_no_open_pull_up() -> None:
    """Nothing at the pin under power, overload on the dead board: the supply may be cut off."""
    dictionary = atlas_of("half-wave")
    measured = [
        parse_reading(x, dictionary.circuit) for x in ("dc pin logic0 0 V", "ohm pin logic0 OL")
    ]
    ranked = {r.key: r.probability for r in diagnose(dictionary, measured).ranked}
    assert ranked["pull-up open"] < 0.9
    assert ranked["supply missing"] > 0.05


def test_an_open_pull_up_reads_what_protects_the_pin() -> None:
    """Red at the pin: one diode to the supply. Black there: what hangs on the supply, then a diode.

    The law of the diode, solved apart.
    """
    result, saturation_a, rail_ohm = board("half-wave"), 1e-13, 5e3
    circuit = build_circuit(result).change("pull-up", resistance_ohm=np.inf)
    circuit = circuit.add(Resistance(ref="rail", a="logic+", b="logic0", resistance_ohm=rail_ohm))
    meter = usual_meter()
    meter_model = MeterModel(result, circuit, meter, pin_clamp_a=np.array([saturation_a]))
    taken = [parse_place(f"ohm {way}", circuit) for way in ("pin logic+", "logic+ pin")]
    open_v, unit_v = meter.ohms_open_v, float(thermal_voltage_v(25.0))

    def excess_v(amps: float, ohm: float) -> float:
        return float(unit_v * np.log1p(amps / saturation_a) + ohm * amps - open_v)

    for shows, series_ohm in zip(meter_model.read(taken)[0], (0.0, rail_ohm), strict=True):
        full_scale = min(r for r in meter.ohm_ranges_ohm if r >= shows)
        source_ohm = ohm_source_ohm(meter, full_scale, ohm_full_scale_v(meter))
        most_a = open_v / source_ohm
        amps = brentq(excess_v, 0.0, most_a, args=(series_ohm + source_ohm,), xtol=1e-18)
        assert_allclose(shows, open_v / amps - source_ohm, rtol=2e-3)


def test_a_pin_that_floats_is_no_leaky_one() -> None:
    """An input without its pull-up: some volts by its own leakage, some ohms past its diodes."""
    dictionary = atlas_of("half-wave")
    lines = ("dc pin logic0 0.17 V", "ohm logic+ pin 540k", "ohm pin logic0 545k")
    measured = [parse_reading(x, dictionary.circuit) for x in lines]
    ranked = {r.key: r.probability for r in diagnose(dictionary, measured).ranked}
    assert ranked["pull-up open"] > ranked["pin leaky"]


def test_what_hangs_on_the_supply_moves_nothing_under_power() -> None:
    """A regulated supply holds its voltage at any load (by definition)."""
    _, volts = shown("dc logic+ logic0")
    assert volts.min() > 4.8


@pytest.mark.parametrize("rail_ohm", [2.2e3, 4.7e3, 47e3])
def test_a_low_supply_is_not_taken_for_a_leak_at_the_pin(rail_ohm: float) -> None:
    """Pin at half its usual volts; on the dead board, pull-up and supply in series."""
    dictionary = atlas_of("half-wave")
    lines = ("dc pin logic0 1.4 V", f"ohm pin logic0 {(47e3 + rail_ohm) / 1e3:.4g}k")
    measured = [parse_reading(line, dictionary.circuit) for line in lines]
    ranked = {r.key: r.probability for r in diagnose(dictionary, measured).ranked}
    leaks = ranked.get("pin leaky", 0.0) + ranked.get("OC1 transistor leaky", 0.0)
    assert ranked["supply low"] > leaks


def test_junctions_break_down_at_their_rating_or_beyond() -> None:
    """A rating in reverse is the least that the maker promises (by definition)."""
    circuit, _ = sample_circuits(board("half-wave-clamped"), SAMPLES)
    rated = build_circuit(board("half-wave-clamped"))
    for junction in circuit.of(Junction):
        least = float(np.max(rated[junction.ref].values()["breakdown_v"]))
        volts = np.asarray(junction.breakdown_v)
        assert np.all(volts >= least)
        assert volts.max() > 1.5 * volts.min()


@pytest.mark.parametrize("forward_v", [1.042, 1.036, 1.004, 1.045, 1.110])
def test_a_led_reads_as_the_makers_draw_it(forward_v: float) -> None:
    """At 0.5 mA and 25 degC: PS2501, PC8171, SFH620A, EL817, TLP293 data sheets' figures."""
    _, volts = shown("diode led+ neutral")
    assert volts.min() < forward_v < volts.max()
    assert volts.max() - volts.min() < 0.3


def test_the_hypercube_is_that_of_scipy() -> None:
    """As `scipy.stats.qmc` draws it: every quantity has one sample in each of n equal cells."""
    ours = _hypercube(5, seed=3, samples=48)
    assert_allclose(ours, qmc.LatinHypercube(d=5, rng=3).random(48), rtol=1e-15)
    assert np.array_equal(
        np.sort((ours * 48).astype(int), axis=0), np.arange(48)[:, None] + [0] * 5
    )
