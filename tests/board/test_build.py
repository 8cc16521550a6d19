"""Tests of zcd.board.build: nothing is left to guess, and what was guessed is listed."""

from __future__ import annotations

from math import pi
from types import SimpleNamespace

import pytest
from numpy.testing import assert_allclose

from tests.board.boards import FULL, SMALLEST, edited
from zcd import refdata
from zcd.board.files import board_from_dict, parse_board
from zcd.board.model import Board, Harmonic, Suppressor, Topology
from zcd.board.paths import links_of
from zcd.board.units import format_si
from zcd.circuit.build import build_circuit
from zcd.engine.solve import solve


def assumed(board: Board) -> dict[str, str]:
    keys = [note.key for note in board.assumptions]
    assert len(keys) == len(set(keys))
    assert all(note.value and note.source for note in board.assumptions)
    return {note.key: note.value for note in board.assumptions}


def test_smallest_board_lists_every_value_taken() -> None:
    board = parse_board(SMALLEST, "lamp.toml")
    assert board.name == "lamp"
    values = assumed(board)
    from_reference = {
        "controller.min_low_time": "s",
        "controller.min_high_time": "s",
        "controller.max_transition": "s",
        "controller.max_offset": "s",
        "controller.period_tolerance": "%",
    }
    for key, unit in from_reference.items():
        assert values.pop(key) == format_si(refdata.default(key).value, unit)
    assert values == {
        "mains.band": "230 +-10 %",
        "mains.frequency_tolerance": "1 %",
        "feed.kind": "direct",
        "chain.topology": "half-wave",
        "chain.style": "1/4 W",
        "chain.tolerance": "5 %",
        "chain.rectifier_first": "false",
        "output.pull_up.style": "1/4 W",
        "output.pull_up.tolerance": "5 %",
        "optocoupler.remaining": "100 %",
        "controller.low_threshold": "1 V (20 % of the supply)",
        "controller.high_threshold": "4 V (80 % of the supply)",
        "controller.edge": "falling",
        "controller.edges": "one",
        "service.bench_temperature": "25 °C",
        "service.hot_temperature": "60 °C",
        "service.hours_per_year": "8760 h",
    }


def test_values_taken_are_those_of_the_reference() -> None:
    board = parse_board(SMALLEST)
    controller = board.controller
    assert controller.low_threshold_v == pytest.approx(1.0)
    assert controller.high_threshold_v == pytest.approx(4.0)
    assert controller.min_low_time_s == refdata.default("controller.min_low_time").value
    assert board.service.hours_per_year == 365 * 24
    switched = board_from_dict(edited(feed="switched"))
    assert switched.service.hours_per_year == refdata.default("service.hours_per_year").value
    sources = {note.key: note.source for note in board.assumptions}
    assert sources["controller.low_threshold"].startswith("Microchip")
    assert sources["service.hot_temperature"] == "common practice, no source"


def test_full_board_takes_every_value_written() -> None:
    board = parse_board(FULL)
    assert board.name == "Invented seed-tray heater"
    assert board.topology is Topology.HALF_WAVE_CLAMPED
    assert board.assumptions == ()
    assert board.mains.harmonics == (
        Harmonic(order=3, ratio=0.05, phase_rad=pi / 2),
        Harmonic(order=5, ratio=0.02, phase_rad=0.0),
    )
    assert (board.mains.low_hz, board.mains.high_hz) == (49.0, 51.0)
    assert board.relay is not None
    assert board.relay.coil_resistance_ohm == 1440.0
    assert board.relay.suppressor == Suppressor(resistance_ohm=100.0, capacitance_f=100e-9)
    (first, second) = board.chains
    assert [part.ref for part in first] == ["R1", "R11"]
    assert [part.ref for part in second] == ["R2", "R3"]
    assert (first[0].style, first[0].tolerance_ratio) == ("0805", 0.02)
    assert (first[1].style, first[1].tolerance_ratio) == ("1206", 0.01)
    assert first[1].rated_power_w == 0.25
    assert second[1].working_v == 300.0
    assert board.rectifier_first
    assert board.rectifier is not None
    assert (board.rectifier.ref, board.rectifier.part) == ("D5", "M7")
    assert board.clamp is not None
    assert (board.clamp.ref, board.clamp.part) == ("D1", "1N4148")
    assert board.optocoupler.ref == "U2"
    assert board.optocoupler.ctr_ratio == pytest.approx(2.5)
    assert board.optocoupler.remaining_ratio == 0.6
    assert board.led_resistor is not None
    assert board.led_capacitor is not None
    assert board.joint_capacitor is not None
    assert board.joint_capacitor.capacitance_f == pytest.approx(10e-9)
    assert board.joint == 1
    assert board.output.kind == "emitter-follower"
    assert board.output.pin_capacitor is not None
    assert board.controller.high_threshold_v == pytest.approx(0.6 * 3.3)
    assert (board.controller.edge, board.controller.edges) == ("rising", "both")
    assert board.service.hot_degc == 70.0


def test_style_and_tolerance_of_the_chain_are_for_the_chain_only() -> None:
    board = board_from_dict(
        edited(chain={"style": "1206", "tolerance": "1 %"}, led={"resistor": "10k"})
    )
    assert {(part.style, part.tolerance_ratio) for part in board.chains[0]} == {("1206", 0.01)}
    assert board.led_resistor is not None
    for part in (board.output.resistor, board.led_resistor):
        assert (part.style, part.tolerance_ratio) == ("1/4 W", 0.05)
    assert {"output.pull_up.style", "led.resistor.style"} <= set(assumed(board))
    assert not {"chain.style", "chain.tolerance"} & set(assumed(board))


@pytest.mark.transcribed(
    "IEC-60038-SUMMARY",
    where="230 V +-10 %: 207 to 253 V",
    rtol=1e-12,
    why="printed values, exact",
)
def test_band_of_230_v(published: SimpleNamespace) -> None:
    mains = parse_board(SMALLEST).mains
    assert (mains.low_rms_v, mains.high_rms_v) == pytest.approx((207.0, 253.0), rel=published.rtol)


@pytest.mark.transcribed(
    "COMAR-20-50-07",
    where="120 V service: 114 to 126 V",
    rtol=1e-12,
    why="printed values, exact",
)
def test_band_of_120_v(published: SimpleNamespace) -> None:
    board = board_from_dict(edited(mains="120 V"))
    mains = board.mains
    assert (mains.low_rms_v, mains.high_rms_v) == pytest.approx((114.0, 126.0), rel=published.rtol)
    assert mains.frequency_hz == 60.0
    assert assumed(board)["mains.frequency"] == "60 Hz"


def test_band_of_another_voltage_is_assumed() -> None:
    board = board_from_dict(edited(mains=110))
    assert (board.mains.low_rms_v, board.mains.high_rms_v) == pytest.approx((99.0, 121.0))
    assert board.mains.frequency_hz == 60.0
    notes = {note.key: note for note in board.assumptions}
    assert notes["mains.tolerance"].value == "10 %"
    assert notes["mains.tolerance"].source == "common practice, no source"


def test_a_generators_class_brings_its_frequency_band() -> None:
    board = board_from_dict(edited(mains={"voltage": "120 V", "band": "120 generator G1"}))
    assert_allclose([board.mains.low_rms_v, board.mains.high_rms_v], [114.0, 126.0])
    assert_allclose([board.mains.low_hz, board.mains.high_hz], [54.45, 60.75])
    assert "mains.frequency_tolerance" not in assumed(board)


def test_tolerance_written_replaces_the_band() -> None:
    board = board_from_dict(edited(mains={"voltage": "230 V", "tolerance": "20 %"}))
    assert (board.mains.low_rms_v, board.mains.high_rms_v) == pytest.approx((184.0, 276.0))
    assert not {"mains.band", "mains.tolerance"} & set(assumed(board))


@pytest.mark.parametrize("text", ["230 V 50 Hz", "230V 50Hz", "230 V, 50 Hz", "230 V / 50 Hz"])
def test_mains_on_one_line(text: str) -> None:
    mains = board_from_dict(edited(mains=text)).mains
    assert (mains.rms_v, mains.frequency_hz) == (230.0, 50.0)


def test_switched_feed_takes_the_relay_of_the_reference() -> None:
    board = board_from_dict(edited(feed="switched"))
    assert board.relay is not None
    assert board.relay.coil_supply_v == 12.0
    assert board.relay.suppressor is None
    values = assumed(board)
    assert values["feed.coil_resistance"] == "360 Ω"
    assert values["feed.contact_resistance"] == "100 mΩ"


def test_resistors_of_a_bridge_are_where_they_are_written() -> None:
    board = board_from_dict(edited(chain={"topology": "bridge", "resistors": ["1k"] * 5}))
    assert [part.ref for part in board.chains[0]] == ["R1", "R2", "R3", "R4", "R5"]
    assert board.return_chain == ()
    assert assumed(board)["chain.return_resistors"] == "no resistors"


def test_any_topology_may_have_resistors_in_the_neutral_leg() -> None:
    """In series with the same LED it is the same circuit, whichever leg they are in."""
    chain = {"resistors": ["47k"], "return_resistors": ["33k", "22k"]}
    board = board_from_dict(edited(chain=chain))
    links, _ = links_of(board)
    assert next(link for link in links if link.ref == "return").a == "neutral"
    circuit = build_circuit(board)
    assert circuit["R3"].nodes == ("return.1", circuit.node("led-"))
    whole = solve(build_circuit(board_from_dict(edited(chain={"resistors": ["102k"]}))))
    assert circuit["R1"].nodes[0] == "line"
    mine = solve(circuit).currents_a["OC1.led"]
    assert_allclose(mine.max(), whole.currents_a["OC1.led"].max(), rtol=1e-6)


def test_bridge_with_a_written_neutral_leg() -> None:
    chain = {"topology": "bridge", "resistors": ["1k", "2k"], "return_resistors": ["3k"]}
    board = board_from_dict(edited(chain=chain))
    assert [part.ref for part in (*board.chains[0], *board.return_chain)] == ["R1", "R2", "R3"]
    assert "chain.return_resistors" not in assumed(board)


def test_unranked_optocoupler_is_listed() -> None:
    values = assumed(board_from_dict(edited(optocoupler=817)))
    assert values["optocoupler.grade"] == "any (50 % to 600 %)"
    measured = board_from_dict(edited(optocoupler={"family": "817", "ctr": "90 %"}))
    assert assumed(measured)["optocoupler.grade"] == "any"


def test_free_references_step_around_written_ones() -> None:
    chain = {"resistors": ["1k", {"ref": "R1", "value": "2k"}, "3k"]}
    board = board_from_dict(edited(chain=chain, led={"resistor": "10k", "capacitor": "1n"}))
    assert [part.ref for part in board.chains[0]] == ["R2", "R1", "R3"]
    assert board.output.resistor.ref == "pull-up"
    assert board.led_resistor is not None
    assert board.led_capacitor is not None
    assert (board.led_resistor.ref, board.led_capacitor.ref) == ("R4", "C1")


def test_two_led_board() -> None:
    board = board_from_dict(
        edited(rectifier=None, optocoupler="814A", chain={"topology": "two-led"})
    )
    assert board.rectifier is None
    assert board.clamp is None
    assert board.optocoupler.family == "814"
    assert "chain.rectifier_first" not in assumed(board)
