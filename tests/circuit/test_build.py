"""The element list of every topology: who stands between which nodes."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.boards import LED, RECTIFIER, VARIANTS, board, mains, optocoupler, pull_up, relay
from zcd.board.model import Board, Capacitor, Harmonic, Suppressor, Topology
from zcd.board.parts_library import diode
from zcd.circuit.build import NOMINAL, Conditions, build_circuit, led_refs
from zcd.circuit.elements import (
    INFINITE_OHM,
    Capacitance,
    Circuit,
    Junction,
    MainsHarmonic,
    MainsSource,
    Phototransistor,
    Resistance,
)
from zcd.errors import InputError
from zcd.physics.diode import forward_voltage_v
from zcd.physics.optocoupler import ctr_shape_ratio, dark_current_a, shape_weight_ratio

each_variant = pytest.mark.parametrize("name", VARIANTS)


def places(circuit: Circuit) -> dict[str, tuple[str, ...]]:
    return {element.ref: element.nodes for element in circuit}


def built(name: str) -> dict[str, tuple[str, ...]]:
    return places(build_circuit(VARIANTS[name]))


def test_half_wave() -> None:
    """Line, chain, rectifier, LED, neutral; each junction with its leak beside it."""
    assert built("half-wave") == {
        "mains": ("line", "neutral"),
        "R1": ("line", "chain.1"),
        "R2": ("chain.1", "chain.2"),
        "D1": ("chain.2", "led+"),
        "D1.leak": ("chain.2", "led+"),
        "OC1.led": ("led+", "neutral"),
        "OC1.led.leak": ("led+", "neutral"),
        "supply": ("logic+", "logic0"),
        "R3": ("logic+", "pin"),
        "OC1": ("pin", "logic0"),
        "OC1.miller": ("pin", "logic0"),
    }


def test_rectifier_first() -> None:
    result = built("rectifier first")
    assert result["D1"] == ("line", "rect")
    assert result["R1"] == ("rect", "chain.1")
    assert result["R2"] == ("chain.1", "led+")


def test_clamped() -> None:
    result = built("clamped")
    assert result["R2"] == ("chain.1", "led+")
    assert result["D2"] == ("neutral", "led+")
    assert "D1" not in result


def test_half_wave_clamped() -> None:
    result = built("half-wave-clamped")
    assert result["D1"] == ("chain.2", "led+")
    assert result["D2"] == ("neutral", "led+")


def test_bridge() -> None:
    """Two diodes up to led+, two up from led-; the neutral leg has its own resistor."""
    result = built("bridge")
    assert result["R9"] == ("neutral", "return.1")
    assert result["D1a"] == ("chain.2", "led+")
    assert result["D1b"] == ("return.1", "led+")
    assert result["D1c"] == ("led-", "chain.2")
    assert result["D1d"] == ("led-", "return.1")
    assert result["OC1.led"] == ("led+", "led-")
    assert built("bridge, no return chain")["D1b"] == ("neutral", "led+")


def test_two_led() -> None:
    result = built("two-led")
    assert result["OC1.led"] == ("led+", "neutral")
    assert result["OC1.led2"] == ("neutral", "led+")
    assert led_refs(VARIANTS["two-led"]) == ("OC1.led", "OC1.led2")
    (transistor,) = build_circuit(VARIANTS["two-led"]).of(Phototransistor)
    assert transistor.leds == ("OC1.led", "OC1.led2")


def test_second_chain_runs_from_end_to_end_beside_the_first() -> None:
    result = built("two chains")
    assert result["R11"] == ("line", "chain2.1")
    assert result["R12"] == ("chain2.1", "chain2.2")
    assert result["R13"] == ("chain2.2", "chain.2")


def test_parts_across_the_led_and_at_the_pin() -> None:
    result = built("across the LED")
    assert result["R8"] == result["C1"] == ("led+", "neutral")
    assert built("pin capacitor")["C4"] == ("pin", "logic0")


@pytest.mark.parametrize(
    ("topology", "joint", "node"),
    [
        (Topology.HALF_WAVE, 1, "chain.1"),
        (Topology.HALF_WAVE, 2, "chain.2"),
        (Topology.CLAMPED, 2, "led+"),
        (Topology.BRIDGE, 2, "chain.2"),
    ],
)
def test_joint_capacitor(topology: Topology, joint: int, node: str) -> None:
    whole = board(
        topology=topology, joint_capacitor=Capacitor(ref="C2", capacitance_f=10e-9), joint=joint
    )
    assert places(build_circuit(whole))["C2"] == (node, "neutral")


def test_emitter_follower() -> None:
    result = built("emitter follower")
    assert result["OC1"] == result["OC1.miller"] == ("logic+", "pin")
    assert result["R3"] == ("pin", "logic0")


SWITCHED = board(relay=relay(Suppressor(resistance_ohm=100.0, capacitance_f=100e-9)))


def test_relay() -> None:
    result = places(build_circuit(SWITCHED))
    assert result["K1.contact"] == ("line", "feed")
    assert result["suppressor.r"] == ("line", "suppressor")
    assert result["suppressor.c"] == ("suppressor", "feed")
    assert result["R1"] == ("feed", "chain.1")
    assert result["K1.coil"] == ("coil+", "coil-")
    assert result["K1.driver"] == ("coil-", "logic0")


def test_coil_that_is_not_driven_opens_the_contact() -> None:
    driven, idle = (build_circuit(SWITCHED, Conditions(coil_driven=on)) for on in (True, False))
    for ref, ohm in (("K1.contact", 0.1), ("K1.driver", 22.0)):
        assert driven[ref].values()["resistance_ohm"] == ohm
        assert idle[ref].values()["resistance_ohm"] == INFINITE_OHM


@each_variant
def test_refs_are_unique(name: str) -> None:
    refs = [element.ref for element in build_circuit(VARIANTS[name])]
    assert len(set(refs)) == len(refs)


@each_variant
def test_nodes_of_the_trade_exist(name: str) -> None:
    """Under their own name or another."""
    circuit = build_circuit(VARIANTS[name])
    last = f"chain.{len(VARIANTS[name].chains[0])}"
    for node in ("line", "neutral", "feed", "chain.1", last, "led+", "led-", "pin", "logic0"):
        assert circuit.node(node) in circuit.nodes


def test_node_that_a_topology_lacks_does_not_exist() -> None:
    with pytest.raises(InputError, match=r'found "rect"; allowed: one of the points '):
        build_circuit(VARIANTS["half-wave"]).node("rect")
    with pytest.raises(InputError, match=r'found "coil-"; allowed: one of the points '):
        build_circuit(VARIANTS["half-wave"]).node("coil-")


def test_second_names() -> None:
    assert build_circuit(VARIANTS["half-wave"]).node("feed") == "line"
    assert build_circuit(SWITCHED).node("feed") == "feed"
    assert build_circuit(VARIANTS["half-wave"]).node("led-") == "neutral"
    assert build_circuit(VARIANTS["bridge"]).node("led-") == "led-"
    assert build_circuit(VARIANTS["clamped"]).node("chain.2") == "led+"


# ------------------------------------------------------------------ values


def test_nominal_values() -> None:
    whole = board(mains=replace(mains(), harmonics=(Harmonic(order=3, ratio=0.05, phase_rad=0.2),)))
    circuit = build_circuit(whole)
    (source,) = circuit.of(MainsSource)
    assert (source.rms_v, source.frequency_hz) == (230.0, 50.0)
    (third,) = circuit.of(MainsHarmonic)
    assert (third.order, third.ratio, third.phase_rad) == (3, 0.05, 0.2)
    assert circuit.size == 1
    assert [r.resistance_ohm for r in circuit.of(Resistance) if r.ref in ("R1", "R2", "R3")] == [
        82e3,
        180e3,
        10e3,
    ]
    assert [r.resistance_ohm for r in circuit.of(Resistance) if r.ref.endswith("leak")] == [
        200e6,
        40e6,
    ]


def test_junctions_at_25_degc_have_the_data_of_the_parts() -> None:
    circuit = build_circuit(board())
    led, rectifier = (circuit[ref] for ref in ("OC1.led", "D1"))
    assert isinstance(led, Junction)
    assert isinstance(rectifier, Junction)
    assert_allclose(led.saturation_a, LED.saturation_current_a)
    assert_allclose(led.emission_v, 1.485 * 0.025692579, rtol=1e-6)
    assert led.breakdown_v == 6.0
    assert_allclose(rectifier.saturation_a, RECTIFIER.saturation_current_a)
    assert rectifier.series_ohm == 0.04


def test_led_drops_less_when_hot() -> None:
    """About -1.5 mV/K at 1 mA, the slope of the LED's data sheet, through its gap."""
    circuit = build_circuit(board(), Conditions(temperature_degc=np.array([25.0, 85.0])))
    led = circuit["OC1.led"]
    assert isinstance(led, Junction)
    forward = forward_voltage_v(1e-3, led.saturation_a, led.emission_v, led.series_ohm)
    assert_allclose((forward[1] - forward[0]) / 60.0, -1.5e-3, rtol=0.1)


def transistor_of(whole: Board, conditions: Conditions = NOMINAL) -> Phototransistor:
    (transistor,) = build_circuit(whole, conditions).of(Phototransistor)
    assert isinstance(transistor, Phototransistor)
    return transistor


@pytest.mark.parametrize("test_current_a", [1e-3, 5e-3, 10e-3])
def test_ctr_is_kept_at_its_test_current(test_current_a: float) -> None:
    """Whatever current a data sheet states it at, the part conducts that much there."""
    transistor = transistor_of(
        board(optocoupler=optocoupler(ctr_ratio=1.5, test_current_a=test_current_a))
    )
    there = transistor.ctr_ratio * ctr_shape_ratio(test_current_a, transistor.shape_weight)
    assert_allclose(there, 1.5)


def test_conditions_reach_the_transistor() -> None:
    transistor = transistor_of(
        board(), Conditions(ctr_ratio=2.4, remaining_ratio=0.7, temperature_degc=60.0)
    )
    assert_allclose(transistor.shape_weight, shape_weight_ratio(2.4, 5e-3))
    assert transistor.remaining_ratio == 0.7
    assert transistor.temperature_degc == 60.0
    assert_allclose(transistor.dark_a, dark_current_a(60.0))


def test_shape_may_be_set_apart_from_the_ctr() -> None:
    assert transistor_of(board(), Conditions(ctr_ratio=4.0, shape_weight=0.0)).shape_weight == 0.0


def test_age_of_the_board_is_taken_where_none_is_given() -> None:
    aged = board(optocoupler=optocoupler(remaining_ratio=0.6))
    assert transistor_of(aged).remaining_ratio == 0.6


def test_conditions_make_the_batch() -> None:
    rms = np.linspace(200.0, 260.0, 7)
    assert build_circuit(board(), Conditions(mains_rms_v=rms)).size == 7


def test_families_differ_in_speed() -> None:
    speeds = {
        family: build_circuit(board(optocoupler=optocoupler(family=family))).of(Capacitance)[0]
        for family in ("817", "H11AA1")
    }
    assert speeds["817"].capacitance_f < speeds["H11AA1"].capacitance_f


def test_supply_of_the_output() -> None:
    circuit = build_circuit(board(output=pull_up(4.7e3, 3.3)))
    assert circuit["supply"].values()["voltage_v"] == 3.3


@pytest.mark.transcribed(
    "YANGJIE-1N4007",
    where="1N4007: 5 uA at 25 degC, 50 uA at 125 degC, 1000 V",
    rtol=1e-9,
    why="printed values, exact",
)
def test_rectifier_leaks_more_when_hot(published: SimpleNamespace) -> None:
    """Ten times as much at 125 degC, straight in logs between."""
    whole = board(rectifier=diode("1N4007", ref="D1"))
    ohm = [
        build_circuit(whole, Conditions(temperature_degc=celsius))["D1.leak"].values()[
            "resistance_ohm"
        ]
        for celsius in (25.0, 75.0, 125.0)
    ]
    assert_allclose(ohm[0] / np.array(ohm), [1.0, 10.0**0.5, 10.0], rtol=published.rtol)
