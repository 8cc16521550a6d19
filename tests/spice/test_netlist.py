"""The netlist: every element, every number, and names that SPICE takes."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.boards import LED, RECTIFIER, VARIANTS, element_list, junction, mains_source, resistance
from zcd.circuit.build import Conditions, build_circuit, mains_harmonic
from zcd.circuit.elements import (
    INFINITE_OHM,
    Capacitance,
    DcSource,
    Element,
    Phototransistor,
    TestSource,
)
from zcd.diagnosis.faults import faults_of
from zcd.engine.network import compile_island, input_voltages_v
from zcd.errors import InputError
from zcd.physics.diode import forward_voltage_v
from zcd.physics.optocoupler import ctr_shape_ratio
from zcd.spice.netlist import Level, netlist_of
from zcd.spice.simulator import simulator
from zcd.spice.solve import Spice

each_variant = pytest.mark.parametrize("name", VARIANTS)


def op(*elements: Element) -> dict[str, np.ndarray]:
    """Operating point of some elements, between 0 V and what a source says."""
    way = Spice()
    return simulator().run(way.deck(way.netlist(element_list(*elements)), ".op"), None)


@each_variant
@pytest.mark.parametrize("level", Level)
def test_every_part_has_a_line_with_its_own_name(name: str, level: Level) -> None:
    circuit = build_circuit(VARIANTS[name])
    text = "\n".join(netlist_of(circuit, level).lines)
    for element in circuit:
        assert element.ref.lower().replace(" ", "_") in text.lower()
    assert text.isascii()
    assert "{" not in text
    assert ".param" not in text


@each_variant
def test_numbers_are_written_without_prefixes(name: str) -> None:
    for line in netlist_of(build_circuit(VARIANTS[name])).lines:
        code = line.partition(";")[0]
        if not line.startswith("*"):
            assert not re.search(r"(?<![\w.])\d+(\.\d+)?[a-zA-Zµ]+", re.sub(r"e[-+]?\d+", "", code))


def test_a_resistor_reads_as_on_the_board() -> None:
    lines = netlist_of(build_circuit(VARIANTS["half-wave"])).lines
    assert "R2 chain.1 chain.2 180000.0 ; 180 kohm" in lines


def test_names_that_differ_only_in_case_stay_apart() -> None:
    result = op(
        DcSource(ref="supply", a="A", b="logic0", voltage_v=3.0),
        resistance("r1", "A", "a", 1e3),
        resistance("R1", "a", "logic0", 2e3),
    )
    assert_allclose(result["a_2"], 2.0, rtol=1e-6)


def test_a_whole_batch_is_refused() -> None:
    circuit = build_circuit(VARIANTS["half-wave"], Conditions(mains_rms_v=np.array([200.0, 230.0])))
    with pytest.raises(InputError, match="one row of a batch, got 2"):
        netlist_of(circuit)


def test_an_unknown_kind_of_element_is_refused() -> None:
    class Odd(Element):
        @property
        def nodes(self) -> tuple[str, ...]:
            return ("neutral",)

    with pytest.raises(InputError, match="odd must be of a kind"):
        netlist_of(element_list(mains_source(), Odd(ref="odd")))


def test_junction_follows_its_law_forwards() -> None:
    """0.1 mA through a known resistor; the law is V = n Vt ln(I/Is + 1) + Rs I."""
    diode = junction("D", "k", "logic0", LED)
    result = op(
        DcSource(ref="supply", a="a", b="logic0", voltage_v=100.0),
        resistance("R", "a", "k", 100e3),
        diode,
    )
    (volts,) = result["k"]
    current = (100.0 - volts) / 100e3
    law = forward_voltage_v(current, diode.saturation_a, diode.emission_v, diode.series_ohm)
    assert_allclose(volts, law, atol=20e-6)


def test_junction_breaks_down_where_it_should() -> None:
    """Backwards beyond its breakdown voltage it is the same diode again."""
    diode = junction("D", "logic0", "k", RECTIFIER, breakdown_v=50.0)
    result = op(
        DcSource(ref="supply", a="a", b="logic0", voltage_v=100.0),
        resistance("R", "a", "k", 100e3),
        diode,
    )
    (volts,) = result["k"]
    current = (100.0 - volts) / 100e3
    law = forward_voltage_v(current, diode.saturation_a, diode.emission_v, diode.series_ohm)
    assert_allclose(volts, 50.0 + law, atol=1e-3)


def test_open_junction_and_absent_capacitance_carry_nothing() -> None:
    result = op(
        DcSource(ref="supply", a="a", b="logic0", voltage_v=5.0),
        resistance("R", "a", "k", 1e3),
        junction("D", "k", "logic0", LED, saturation_a=0.0),
        Capacitance(ref="C", a="k", b="logic0", capacitance_f=0.0),
    )
    assert_allclose(result["k"], 5.0, rtol=1e-6)


def test_a_node_behind_an_open_resistance_is_there() -> None:
    result = op(
        DcSource(ref="supply", a="a", b="logic0", voltage_v=5.0),
        resistance("R", "a", "k", INFINITE_OHM),
    )
    assert abs(result["k"][0]) < 0.01


def test_test_source_is_a_voltage_behind_a_resistance() -> None:
    result = op(
        resistance("R", "x", "logic0", 3e3),
        TestSource(ref="meter", a="x", b="logic0", open_v=3.0, resistance_ohm=1e3),
    )
    assert_allclose(result["x"], 2.25, rtol=1e-6)


def test_harmonics_and_surge_stand_in_series() -> None:
    """One after another from line to neutral; their sum is what the engine takes."""
    circuit = element_list(
        mains_source(surge_v=1000.0),
        mains_harmonic(3, ratio=0.05, phase_rad=np.pi),
        mains_harmonic(5, ratio=0.02, phase_rad=np.pi / 2.0),
        resistance("R", "line", "neutral", 1e3),
    )
    lines = netlist_of(circuit).lines
    waves = [line for line in lines if "SIN" in line or "PWL" in line]
    assert [line.split()[1:3] for line in waves] == [
        ["line", "line.mains.h3"],
        ["line.mains.h3", "line.mains.h5"],
        ["line.mains.h5", "line.mains.surge"],
        ["line.mains.surge", "neutral"],
    ]
    solution = Spice().solve(circuit)
    network = compile_island(circuit, frozenset({"line", "neutral"}), dynamic=False)
    (ours,) = input_voltages_v(network, solution.phase_rad)
    assert_allclose(solution.voltages_v["line"], ours, atol=10.0)  # 1 % of the surge
    assert ours.max() > 1300.0


@pytest.mark.parametrize("level", Level)
def test_ctr_at_five_volts_is_that_of_the_board(level: Level) -> None:
    """Both levels: collector current at VCE = 5 V over LED current, over the whole curve."""
    nominal = build_circuit(VARIANTS["half-wave"])
    opto = nominal["OC1"]
    assert isinstance(opto, Phototransistor)
    for led_a in (0.1e-3, 0.3e-3, 1e-3, 5e-3):
        circuit = element_list(
            DcSource(ref="drive", a="x", b="neutral", voltage_v=led_a * 1e6 + 1.1),
            resistance("R", "x", "led+", 1e6),
            nominal["OC1.led"],
            DcSource(ref="supply", a="pin", b="logic0", voltage_v=5.0),
            replace(opto, dark_a=0.0),
        )
        way = Spice(level=level)
        result = simulator().run(way.deck(way.netlist(circuit), ".op"), None)
        (led,), (collector,) = result["v.oc1.led#branch"], -result["v.supply#branch"]
        wanted = opto.ctr_ratio * led * ctr_shape_ratio(led, opto.shape_weight)
        assert_allclose(collector, wanted, rtol=2e-3)


@pytest.mark.parametrize("name", ["half-wave", "two-led", "bridge"])
def test_every_fault_can_be_written_and_run(name: str) -> None:
    circuit = build_circuit(VARIANTS[name])
    way = Spice()
    for fault in faults_of(circuit):
        sick = fault.edit(circuit, np.array([0.5]))
        netlist = way.netlist(sick)
        assert simulator().run(way.deck(netlist, ".op"), None)["pin"].shape == (1,)
