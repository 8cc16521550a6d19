"""Edits of the element list: changed values, added and absent elements, rows of a batch."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.boards import LED, capacitance, element_list, junction, mains_source, resistance
from zcd.circuit.elements import (
    SHORT_OHM,
    Circuit,
    Junction,
    MainsSource,
    Phototransistor,
    Resistance,
    Value,
    stack,
)
from zcd.circuit.elements import TestSource as Probe
from zcd.errors import InputError


def small() -> Circuit:
    return element_list(
        mains_source(),
        resistance("R1", "line", "led+", 100e3),
        junction("L", "led+", "neutral", LED),
    )


def ohm(circuit: Circuit, ref: str) -> Value:
    return circuit[ref].values()["resistance_ohm"]


def test_elements_are_found_by_ref() -> None:
    circuit = small()
    assert circuit["R1"].nodes == ("line", "led+")
    assert "R1" in circuit
    assert "R9" not in circuit
    with pytest.raises(InputError, match="part must be one of mains, R1, L, got 'R9'"):
        circuit["R9"]


def test_elements_are_found_by_kind() -> None:
    assert [e.ref for e in small().of(Resistance)] == ["R1"]
    assert [e.ref for e in small().of(MainsSource)] == ["mains"]


def test_nodes_are_in_order_of_the_signal() -> None:
    assert small().nodes == ("line", "neutral", "led+")


def test_values_are_the_numbers_and_nothing_else() -> None:
    assert set(small()["L"].values()) == {
        "saturation_a",
        "emission_v",
        "series_ohm",
        "breakdown_v",
        "temperature_degc",
    }
    assert set(small()["mains"].values()) == {"rms_v", "frequency_hz", "surge_v"}


def test_edits_leave_the_original_alone() -> None:
    circuit = small()
    assert ohm(circuit.change("R1", resistance_ohm=1.0), "R1") == 1.0
    assert ohm(circuit.scale("R1", "resistance_ohm", 1.05), "R1") == pytest.approx(105e3)
    assert "R2" in circuit.add(resistance("R2", "line", "led+", 1e6))
    assert "R1" not in circuit.without("R1", "L")
    assert ohm(circuit, "R1") == 100e3
    assert len(circuit.elements) == 3


def test_edit_of_an_unknown_part_is_refused() -> None:
    with pytest.raises(InputError, match="got 'R7'"):
        small().change("R7", resistance_ohm=1.0)


def test_size_is_that_of_the_arrays() -> None:
    circuit = small()
    assert circuit.size == 1
    assert circuit.change("R1", resistance_ohm=np.ones(5)).size == 5


def test_rows_of_a_batch() -> None:
    """Arrays are picked from, numbers stay."""
    batch = small().change("R1", resistance_ohm=np.arange(5.0))
    picked = batch.rows(np.array([3, 1]))
    assert_allclose(ohm(picked, "R1"), [3.0, 1.0])
    assert picked["mains"].values()["rms_v"] == 230.0
    assert picked.size == 2


def test_stack_joins_row_after_row() -> None:
    one, two = small(), small().change("R1", resistance_ohm=np.array([1e3, 2e3]))
    joined = stack([one, two])
    assert joined.size == 3
    assert_allclose(ohm(joined, "R1"), [100e3, 1e3, 2e3])
    assert_allclose(joined["mains"].values()["rms_v"], 230.0)


def test_what_a_row_lacks_is_absent_there() -> None:
    extra = [
        resistance("R2", "line", "led+", 1e6),
        capacitance("C", "led+", "neutral", 1e-9),
        junction("D", "neutral", "led+", LED, breakdown_v=6.0),
        Probe(ref="meter", a="led+", b="neutral", open_v=3.0, resistance_ohm=1e3),
    ]
    for joined, there, gone in (
        (stack([small(), small().add(*extra)]), 1, 0),
        (stack([small().add(*extra), small()]), 0, 1),
    ):
        assert np.asarray(ohm(joined, "R2"))[there] == 1e6
        assert np.isinf(np.asarray(ohm(joined, "R2"))[gone])
        values = joined["D"].values()
        assert np.asarray(values["saturation_a"])[gone] == 0.0
        assert np.asarray(values["breakdown_v"])[gone] > 1e6
        assert np.asarray(values["breakdown_v"])[there] == 6.0
        assert np.asarray(joined["C"].values()["capacitance_f"])[gone] == 0.0
        assert np.isinf(np.asarray(ohm(joined, "meter"))[gone])


def test_stack_of_one_is_itself() -> None:
    joined = stack([small()])
    assert joined.size == 1
    assert [e.ref for e in joined] == [e.ref for e in small()]


def transistor(*leds: str) -> Phototransistor:
    return Phototransistor(
        ref="Q",
        a="pin",
        b="logic0",
        leds=leds,
        ctr_ratio=1.0,
        remaining_ratio=1.0,
        shape_weight=0.0,
        temperature_degc=25.0,
        dark_a=1e-9,
        knee_v=0.027,
        knee_ratio=141.0,
        early_v=22.0,
        storage_s=1e-5,
    )


def test_stacked_transistor_is_lit_by_the_leds_of_all() -> None:
    joined = stack([element_list(transistor("L1")), element_list(transistor("L1", "L2"))])
    (result,) = joined.of(Phototransistor)
    assert result.leds == ("L1", "L2")


def test_row_without_a_transistor_conducts_nothing() -> None:
    joined = stack([element_list(transistor("L1")), small()])
    (result,) = joined.of(Phototransistor)
    assert_allclose(result.ctr_ratio, [1.0, 0.0])
    assert_allclose(result.dark_a, [1e-9, 0.0])


def test_stack_refuses_one_ref_in_two_places() -> None:
    """The same part between other nodes is another circuit, not another row."""
    moved = element_list(
        mains_source(),
        resistance("R1", "line", "x", 100e3),
        junction("L", "x", "neutral", LED),
    )
    with pytest.raises(InputError, match="R1"):
        stack([small(), moved])


def test_absent_values_are_values_of_the_element() -> None:
    for kind in (Resistance, Junction, Phototransistor, Probe):
        assert kind.absent
        assert set(kind.absent) <= set(kind.__dataclass_fields__)


def test_short_bridges_a_part_and_leaves_the_rest() -> None:
    """A resistor takes the value of a short, a diode's leakage does, a capacitor gets a bridge."""
    whole = small().add(
        resistance("L.leak", "led+", "neutral", 1e9), capacitance("C1", "led+", "neutral", 1e-8)
    )
    assert whole.short("R1")["R1"].values()["resistance_ohm"] == SHORT_OHM
    assert whole.short("L")["L.leak"].values()["resistance_ohm"] == SHORT_OHM
    assert whole.short("L")["L"] is whole["L"]
    bridge = whole.short("C1")["C1.short"]
    assert bridge.nodes == whole["C1"].nodes
    assert bridge.values() == {"resistance_ohm": SHORT_OHM}
