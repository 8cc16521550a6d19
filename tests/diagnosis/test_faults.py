"""Every fault leaves a circuit that can be solved, and is known to the priors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

import zcd
from tests.boards import element_list
from tests.diagnosis.atlases import atlas_of
from tests.diagnosis.boards import COIL_OHM, R2_OHM, RESISTORS, SUPPRESSED_TEXT, TEXTS, board
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.circuit.build import build_circuit
from zcd.circuit.elements import Resistance, stack
from zcd.diagnosis.circuit_edits import bridge_at_one
from zcd.diagnosis.fault_dictionary import BANDS, SAMPLES, make_fault_dictionary
from zcd.diagnosis.faults import HEALTHY, MAINS_RESISTOR, Fault, faults_of
from zcd.diagnosis.functions import Function
from zcd.diagnosis.likelihood import LOOSE_ENTRIES
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import usual_meter
from zcd.diagnosis.priors import (
    FITTED,
    HEALTHY_SHARE,
    LARGEST_CLASS_SHARE,
    MAINS_RESISTOR_SHARE,
    MISFIT_SHARE,
    MISFITS,
    UNMODELLED_SHARE,
    class_of,
    prior_shares,
)
from zcd.diagnosis.readings import Reading
from zcd.engine.solve import solve

FloatArray = NDArray[np.float64]


FEW = ("switched", "bridge", "across the LED", "joint capacitor")


def check_every_fault(found: Board) -> None:
    """All faults at both ends of their severity, solved in one batch with healthy ones."""
    circuit = build_circuit(found)
    faults = faults_of(circuit)
    severity = np.array([0.0, 0.5, 1.0])
    healthy = stack([circuit] * severity.size)
    solution = solve(stack([fault.edit(healthy, severity) for fault in faults]))
    for waves in (solution.voltages_v, solution.currents_a):
        for name, wave in waves.items():
            broken = sorted(
                {faults[row // 3].key for row in np.flatnonzero(~np.isfinite(wave).all(1))}
            )
            assert not broken, f"{name}: {broken}"


@pytest.mark.parametrize("name", list(TEXTS))
def test_every_fault_can_be_solved(name: str) -> None:
    check_every_fault(board(name))


@pytest.mark.slow
def test_every_fault_beside_a_suppressor_can_be_solved() -> None:
    """The open contact is a transient of tens of cycles there."""
    check_every_fault(parse_board(SUPPRESSED_TEXT))


@pytest.mark.parametrize("name", list(TEXTS))
def test_faults_are_told_apart_by_name(name: str) -> None:
    faults = faults_of(build_circuit(board(name)))
    assert faults[0] is HEALTHY
    assert len({fault.key for fault in faults}) == len(faults)
    for fault in faults:
        assert fault.words


@pytest.mark.parametrize(
    ("name", "samples"),
    [
        *((name, 2) for name in FEW),
        *(pytest.param(name, SAMPLES, marks=pytest.mark.slow) for name in TEXTS),
    ],
)
def test_no_prediction_is_nan(name: str, samples: int) -> None:
    dictionary = make_fault_dictionary(board(name), usual_meter(), samples=samples)
    dictionary.prepare(dictionary.readings)
    for reading in dictionary.readings:
        shown = dictionary.predictions(reading)
        assert shown.shape == (dictionary.simulated, samples)
        assert not np.any(np.isnan(shown)), reading.words


@pytest.mark.parametrize("name", ["switched", "bridge"])
def test_every_size_of_a_fault_is_tried(name: str) -> None:
    """A fault with an amount has its range in equal bands, one an entry; a loose joint the whole
    in each of its two."""
    samples = 4
    dictionary = make_fault_dictionary(board(name), usual_meter(), samples=samples)
    assert dictionary.severity.shape == (dictionary.member.size, samples)
    assert np.all((dictionary.severity >= 0.0) & (dictionary.severity <= 1.0))
    assert np.all(np.diff(dictionary.member) >= 0)
    for f, fault in enumerate(dictionary.faults):
        result = dictionary.severity[dictionary.member == f]
        assert len(result) == entries(fault), fault.key
        count = 1 if fault.states else len(result)
        bands = np.arange(len(result))[:, None] % count / count
        assert np.all((result >= bands) & (result < bands + 1.0 / count)), fault.key


def entries(fault: Fault) -> int:
    if fault.states:
        return LOOSE_ENTRIES
    return 1 if fault.amount is None else BANDS


def test_values_of_a_fault_are_those_of_all_its_entries() -> None:
    dictionary = make_fault_dictionary(board(), usual_meter(), samples=2)
    number = np.arange(dictionary.severity.size).reshape(dictionary.severity.shape)
    result = dictionary.by_fault(number.astype(float))
    assert len(result) == len(dictionary.faults)
    assert [row.size for row in result] == [2 * entries(fault) for fault in dictionary.faults]
    assert np.array_equal(np.concatenate(result), number.ravel())


def test_coil_is_as_uncertain_as_its_supply() -> None:
    """A good board's coil voltage covers an unregulated supply, its ohms the coil's tolerance."""
    dictionary = atlas_of("switched")
    volts, ohms = (
        dictionary.by_fault(
            dictionary.predictions(Reading(function=function, red="coil+", black="coil-"))
        )[0]
        for function in (Function.DC, Function.OHM)
    )
    typical = 24.0 * COIL_OHM / (COIL_OHM + 15.0)
    assert 0.85 * typical * 0.99 < volts.min() < 0.9 * typical
    assert 1.2 * typical < volts.max() < 1.25 * typical * 1.01
    assert 0.85 * COIL_OHM <= ohms.min() < 0.9 * COIL_OHM
    assert 1.1 * COIL_OHM < ohms.max() <= 1.15 * COIL_OHM


def test_unit_belongs_to_an_amount() -> None:
    """A fault of one size only has no unit."""
    faults = faults_of(build_circuit(board("switched")))
    assert [f.key for f in faults if (f.amount is None) != (f.unit == "")] == []


def test_a_wrong_part_is_a_decade_off() -> None:
    """Either way, at any severity, and without a size of its own."""
    circuit = build_circuit(board())
    faults = {fault.key: fault for fault in faults_of(circuit)}
    for way, ohm in (("x0.1", 13e3), ("x10", 1.3e6)):
        fault = faults[f"R2 wrong value {way}"]
        assert fault.amount is None
        edited = fault.edit(circuit, np.array([0.0, 1.0]))["R2"]
        assert isinstance(edited, Resistance)
        assert_allclose(edited.resistance_ohm, ohm)


def test_severity_is_what_the_amount_says() -> None:
    """A drifted resistor has its value times the amount."""
    circuit = build_circuit(board())
    drift = next(f for f in faults_of(circuit) if f.key == "R2 drift")
    severity = np.array([0.0, 0.3, 1.0])
    edited = drift.edit(circuit, severity)["R2"]
    assert isinstance(edited, Resistance)
    assert drift.amount is not None
    assert_allclose(edited.resistance_ohm, R2_OHM * drift.amount(severity))


@pytest.mark.parametrize("name", [*TEXTS, "many resistors"])
def test_priors_are_positive_and_capped(name: str) -> None:
    """They sum to 1 without `none of these`; no class swamps the rest."""
    text = TEXTS["half-wave"].replace(RESISTORS, "[" + ", ".join(['"22k"'] * 12) + "]")
    result = parse_board(text) if name == "many resistors" else board(name)
    faults = faults_of(build_circuit(result))
    shares = prior_shares(faults)
    assert np.all(shares > 0.0)
    assert_allclose(shares.sum(), 1.0 - UNMODELLED_SHARE)
    assert_allclose(shares[0], HEALTHY_SHARE)
    misfit = np.array([f.kind in FITTED and f.mode in MISFITS for f in faults])
    assert_allclose(shares[misfit].sum(), MISFIT_SHARE)
    shares = np.where(misfit, 0.0, shares)
    classes = np.array([class_of(f) for f in faults])
    for kind in set(classes[1:]):
        share = shares[classes == kind].sum()
        most = MAINS_RESISTOR_SHARE if kind == MAINS_RESISTOR else LARGEST_CLASS_SHARE
        assert share <= most * (1.0 - UNMODELLED_SHARE - HEALTHY_SHARE) + 1e-9


@pytest.mark.parametrize("name", TEXTS)
def test_mains_resistors_open_or_high_lead(name: str) -> None:
    """Returned boards and restorers (sources of the table): more than any other part's modes."""
    faults = faults_of(build_circuit(board(name)))
    shares = prior_shares(faults)
    total: dict[str, float] = {}
    for fault, share in zip(faults[1:], shares[1:], strict=True):
        key = f"{fault.row} high" if fault.mode in ("open", "drift") else f"{fault.row} other"
        total[key] = total.get(key, 0.0) + float(share)
    assert max(total, key=lambda key: total[key]) == f"{MAINS_RESISTOR} high"
    dirt = sum(s for f, s in zip(faults, shares, strict=True) if f.kind == "board")
    assert 3.0 * dirt < total[f"{MAINS_RESISTOR} high"]


def test_any_part_may_be_the_one_that_was_put_in_wrongly() -> None:
    """Of n parts each is as likely as another to be a misfit (symmetry), however often it fails."""
    faults = faults_of(build_circuit(board()))
    shares = prior_shares(faults)
    of_part: dict[str, float] = {}
    for fault, share in zip(faults, shares, strict=True):
        if fault.kind in FITTED and fault.mode in MISFITS:
            of_part[fault.part] = of_part.get(fault.part, 0.0) + float(share)
    assert {"R1", "R2", "pull-up", "D1", "OC1 LED"} <= set(of_part)
    assert_allclose(list(of_part.values()), MISFIT_SHARE / len(of_part))


def test_two_leds_back_to_back_cannot_be_turned_round() -> None:
    """The part turned round is the same circuit (by inspection), so it is no fault."""
    assert "OC1 reversed" in {f.key for f in faults_of(build_circuit(board()))}
    assert "OC1 reversed" not in {f.key for f in faults_of(build_circuit(board("two-led")))}


def two_leaks(found: Board, key: str) -> tuple[FloatArray, MeterModel]:
    """A leak of middle size in two rows, which differ in its place."""
    fault = next(f for f in faults_of(build_circuit(found)) if f.key == key)
    severity = np.array([0.5, 0.5])
    assert fault.amount is not None
    rows = fault.edit(stack([build_circuit(found)] * 2), severity)
    return fault.amount(severity), MeterModel(found, rows, usual_meter())


def test_leak_from_a_joint_to_the_other_pole() -> None:
    """Dead, from the first joint: the leak there; or R2 and the leak beyond it (Ohm's law).

    Half a volt drives next to nothing through the rectifier and the LED in series.
    """
    result = board("half-wave")
    leak_ohm, meter_model = two_leaks(result, "chain leaky to neutral")
    reading = Reading(function=Function.OHM, red="chain.1", black="neutral")
    shown = meter_model.read([reading])[:, 0]
    assert_allclose(shown, leak_ohm + np.array([0.0, R2_OHM]), rtol=0.01)


def test_leak_across_neighbours_reads_low_over_both() -> None:
    """Dead, over the middle resistor: beside it the leak in series with a neighbour."""
    text = TEXTS["half-wave"].replace(RESISTORS, '["110k", "130k", "82k"]')
    result = parse_board(text)
    leak_ohm, meter_model = two_leaks(result, "chain leaky in part")
    reading = Reading(function=Function.OHM, red="chain.1", black="chain.2")
    shown = meter_model.read([reading])[:, 0]
    beside_s = 1.0 / (leak_ohm + np.array([110e3, 82e3]))
    assert_allclose(shown, 1.0 / (1.0 / 130e3 + beside_s), rtol=0.01)


def test_two_resistors_have_no_neighbours_but_the_whole_chain() -> None:
    for name in ("half-wave", "two-led", "bridge", "rectifier first"):
        keys = {f.key for f in faults_of(build_circuit(board(name)))}
        assert "chain leaky" in keys
        assert "chain leaky in part" not in keys


def test_elements_grow_with_the_chain_not_with_its_square() -> None:
    """A leak lies over any neighbours, 434 places of 30 resistors: a sample has one of them."""

    def elements(count: int) -> int:
        text = TEXTS["half-wave"].replace(RESISTORS, f"{['4k7'] * count}")
        dictionary = make_fault_dictionary(parse_board(text), usual_meter())
        return len(dictionary._meter_model.circuit.elements)

    assert elements(30) - elements(20) <= 5 * 10


def test_leak_over_many_neighbours_is_tried_from_the_first_to_the_last() -> None:
    places = [(f"n{k}", f"n{k + 2}") for k in range(100)]
    circuit = bridge_at_one("dirt", places, lambda u: 1e5 * (1.0 + u))(
        element_list(), np.linspace(0.0, 1.0, 16)
    )
    ohms = np.array([e.resistance_ohm for e in circuit.of(Resistance)])
    assert_allclose(np.sum(np.isfinite(ohms), axis=0), 1)  # each sample at one place
    tried = [places.index((e.a, e.b)) for e in circuit.of(Resistance)]
    assert tried == sorted(set(tried))
    assert tried[0] == 0
    assert np.all(np.diff([*tried, 100]) <= 7)


def test_dirt_across_the_led_stays_when_the_led_is_lifted() -> None:
    """A leak within the part goes with it, one on the board does not (by inspection)."""
    result = board("half-wave")
    leak_ohm, meter_model = two_leaks(result, "OC1 LED leaky")
    there = Reading(function=Function.OHM, red="neutral", black="led+")
    in_circuit, lifted = meter_model.read([there, replace(there, lifted="OC1.led")]).T
    assert_allclose(in_circuit, leak_ohm, rtol=0.01)
    assert_allclose(lifted[0], leak_ohm[0], rtol=0.01)
    assert lifted[1] > 1e6


CANDLE_MELTER = """
name = "Invented candle melter"
mains = "230 V 50 Hz"
optocoupler = "817B"
circuit = [
    "feed - C1 47n - R1 15k - R2 15k - x",
    "x - D1 1N4007 < - neutral",
    "x - R3 820 - led+",
    "led- - neutral",
]
output = {pull_up = "12k", pin_capacitor = "33 nF", supply = "5 V"}
controller = {max_offset = "5 ms"}
"""
UNPLUGGED = ("diode x neutral 1.53 V", "ohm R1 to R2 30k", "ohm pull-up 11.8k")


def test_a_series_capacitor_that_has_lost_part_of_what_it_had() -> None:
    """Its reactance is all that limits the current: 1 / (2 pi f C) in quadrature with 30 k."""
    left_f = 9e-9
    amps = 230.0 / np.hypot(1.0 / (2.0 * np.pi * 50.0 * left_f), 30e3)
    found = zcd.diagnose(
        zcd.loads(CANDLE_MELTER), *UNPLUGGED, "dc pin logic0 2.8", "frequency pin logic0 50",
        f"ac R2 {amps * 15e3:.2f} V", f"ac R1 {amps * 15e3:.2f} V", "ac line neutral 230",
    ).diagnosis  # fmt: skip
    assert found.ranked[0].key == "C1 weak"
    assert found.ranked[0].amount is not None
    low, _, high = found.ranked[0].amount
    assert low < left_f / 47e-9 < high


def test_a_series_capacitor_that_is_open_lets_no_current_through() -> None:
    """By inspection: no volts across what is in series with it, and none at the LED."""
    found = zcd.diagnose(
        zcd.loads(CANDLE_MELTER), *UNPLUGGED, "dc pin logic0 5.0", "ac R2 0 V", "dc led+ led- 1 mV",
        "ac R1 0 V", "ac line C1/R1 230 V",
    ).diagnosis  # fmt: skip
    assert found.ranked[0].key == "C1 open"


PLATE_WARMER = """
name = "Invented plate warmer"
mains = "230 V 50 Hz"
rectifier = "DB107"
optocoupler = "817 C"
chain = {topology = "bridge", resistors = ["39k"], return_resistors = ["39k"], style = "1 W"}
output = {pull_up = "8k2", supply = "5 V"}
"""


def test_three_junctions_may_be_more_than_a_diode_test_shows() -> None:
    """Two diodes at 0.5 V and more and a LED at 1 V and more, at about 1 mA (the parts' sheets):
    a meter that holds its current shows OL above 2 V, one that has a resistor may show less."""
    meter = replace(usual_meter(), diode_open_v=2.6, diode_stop_v=2.0, diode_stated=True)
    known = make_fault_dictionary(parse_board(PLATE_WARMER), meter)
    through = next(
        r
        for r in known.readings
        if r.function is Function.DIODE and not {"led+", "led-"} & {r.red, r.black}
    )
    good = known.good(through)
    assert np.isinf(good).any()
    assert np.isfinite(good).any()
