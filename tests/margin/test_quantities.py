"""Each quantity is one edit: the same as building the board so, and nothing else moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import TEXTS, board, edited
from zcd.circuit.build import Conditions, at_temperature, build_circuit
from zcd.circuit.elements import Circuit
from zcd.errors import InputError
from zcd.margin.quantities import quantities, quantity_of
from zcd.margin.tolerances import tolerances_of

SEVERAL = np.array([0.5, 1.0, 1.7])


def numbers(circuit: Circuit) -> dict[str, np.ndarray]:
    return {
        f"{element.ref}.{name}": np.broadcast_to(value, (circuit.size,))
        for element in circuit
        for name, value in element.values().items()
    }


def assert_same(first: Circuit, second: Circuit) -> None:
    one, other = numbers(first), numbers(second)
    assert list(one) == list(other)
    for name, value in one.items():
        assert_allclose(value, other[name], rtol=1e-12, err_msg=name)


@pytest.mark.parametrize("name", TEXTS)
def test_put_where_it_is_changes_nothing(name: str) -> None:
    result = board(name)
    whole = build_circuit(result)
    for quantity in quantities(result).values():
        assert_same(quantity.put(whole, result, np.array([quantity.here])), whole)
        assert quantity.low < quantity.here < quantity.high


@pytest.mark.parametrize(
    ("key", "condition", "base"),
    [
        ("mains", "mains_rms_v", 230.0),
        ("frequency", "frequency_hz", 50.0),
        ("temperature", "temperature_degc", 30.0),
        ("ctr", "remaining_ratio", 0.5),
    ],
)
def test_put_is_the_board_built_under_that_condition(key: str, condition: str, base: float) -> None:
    result = board()
    built = build_circuit(result, Conditions(**{condition: SEVERAL * base}))  # type: ignore[arg-type]
    assert_same(quantities(result)[key].put(build_circuit(result), result, SEVERAL * base), built)


@pytest.mark.parametrize("name", ["half-wave", "bridge", "two-led", "clamped"])
def test_temperature_keeps_other_edits(name: str) -> None:
    """CTR, age and resistors stay as they were set; junctions and transistor are those of 60 °C."""
    result = board(name)
    opto = result.optocoupler.ref
    edit = (
        build_circuit(result).change(opto, remaining_ratio=0.3).scale("R1", "resistance_ohm", 2.0)
    )
    warm = at_temperature(edit, result, 60.0)
    expected = build_circuit(result, Conditions(temperature_degc=60.0, remaining_ratio=0.3))
    assert_same(warm, expected.scale("R1", "resistance_ohm", 2.0))


def test_resistors_and_capacitors_by_their_value() -> None:
    result = board("across the LED")
    known = quantities(result)
    whole = build_circuit(result)
    for key, ref, name in (
        ("R1", "R1", "resistance_ohm"),
        ("led-resistor", "R3", "resistance_ohm"),
        ("led-capacitor", "C1", "capacitance_f"),
        ("pull-up", "pull-up", "resistance_ohm"),
    ):
        moved = known[key].put(whole, result, SEVERAL * known[key].here)
        assert_same(moved, whole.scale(ref, name, SEVERAL))
    chain = known["chain"].put(whole, result, SEVERAL)
    scaled = whole.scale("R1", "resistance_ohm", SEVERAL).scale("R2", "resistance_ohm", SEVERAL)
    assert_same(chain, scaled)


def test_scale_goes_on_from_what_is_there() -> None:
    result = board()
    aged = build_circuit(result, Conditions(remaining_ratio=0.4))
    halved = quantities(result)["ctr"].scale(aged, np.array([0.5]))
    assert halved[result.optocoupler.ref].values()["remaining_ratio"] == pytest.approx(0.2)


@pytest.mark.parametrize("name", TEXTS)
def test_shares_go_from_end_to_end_and_back(name: str) -> None:
    share = np.linspace(0.0, 1.0, 7)
    for quantity in quantities(board(name)).values():
        values = quantity.value(share)
        assert values[[0, -1]] == pytest.approx([quantity.low, quantity.high])
        assert_allclose(quantity.share(values), share, atol=1e-12)


@pytest.mark.parametrize("name", TEXTS)
def test_spreads_are_tolerances_of_the_board(name: str) -> None:
    """Each by its name, and with all of them in the middle the quantity is where the board is."""
    result = board(name)
    known = {t.name: t for t in tolerances_of(result)}
    for quantity in quantities(result).values():
        assert {s.tolerance for s in quantity.tolerances} <= set(known)
        middle = {s.tolerance: np.array([s.nominal]) for s in quantity.tolerances}
        assert quantity.within(middle, 1) == pytest.approx([quantity.here])


def test_spread_of_a_chain_weighs_its_resistors() -> None:
    """110 k at +5 % and 130 k as it is: 5.5 k of 240 k more."""
    spread = quantities(board())["chain"].within({"R1": np.array([1.05])}, 1)
    assert spread == pytest.approx([245.5 / 240.0])


def test_spread_of_the_ctr_goes_with_what_age_has_left() -> None:
    result = board()
    aged = replace(result, optocoupler=replace(result.optocoupler, remaining_ratio=0.5))
    most = np.array([result.optocoupler.ctr_max_ratio])
    spread = quantities(aged)["ctr"].within({f"CTR of {result.optocoupler.ref}": most}, 1)
    assert spread == pytest.approx(0.5 * most / result.optocoupler.ctr_ratio)


def test_a_quantity_that_the_board_lacks_is_refused_with_those_it_has() -> None:
    with pytest.raises(InputError, match=r"one of mains, ctr, .*no capacitor across the LED"):
        quantity_of(board(), "led-capacitor")
    with pytest.raises(InputError, match=r'across: found "R7"; allowed: one of mains'):
        quantity_of(board(), "R7", "across")
    assert quantity_of(edited('"230 V 50 Hz"', '"120 V 60 Hz"'), "MAINS").here == 120.0
