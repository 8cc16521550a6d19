"""The linear part of an island, against nodal analysis in exact fractions."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.boards import element_list, resistance
from zcd.circuit.elements import Circuit, DcSource
from zcd.engine.network import MIN_CONDUCTANCE_S
from zcd.engine.solution import Voltages
from zcd.engine.solve import solve_dead

SUPPLY_V = 5.0
MIXED_OHM = [1e-3, 1e12, 4.7e3, 1e-3, 2.2e5, 1e11, 1e-3, 3.3e4]
"""Shorts beside open parts: in a sum of conductances the one hides all digits of the other."""


def ladder(ohms: list[float], size: int = 1) -> Circuit:
    """Resistors from a supply to the reference, with two more that bridge some of their joints."""
    nodes = ["in", *(f"n{k}" for k in range(1, len(ohms))), "neutral"]
    chain = [
        resistance(f"R{k}", a, b, np.full(size, ohm))
        for k, ((a, b), ohm) in enumerate(zip(pairwise(nodes), ohms, strict=True))
    ]
    return element_list(
        DcSource(ref="supply", a="in", b="neutral", voltage_v=SUPPLY_V),
        *chain,
        resistance("R20", "n1", "n4", np.full(size, 1e12)),
        resistance("R21", "n3", "neutral", np.full(size, 6.8e4)),
    )


def exact_v(circuit: Circuit) -> dict[str, float]:
    """Kirchhoff's current law at every free node, by Gauss's elimination in fractions."""
    free = [n for n in circuit.nodes if n not in ("in", "neutral")]
    rows = [[Fraction(0)] * (len(free) + 1) for _ in free]
    parts = [(e.nodes, Fraction(1) / Fraction(float(e.values()["resistance_ohm"][0])))
             for e in circuit if e.ref.startswith("R")]  # fmt: skip
    for k, node in enumerate(free):
        rows[k][k] += Fraction(MIN_CONDUCTANCE_S)
        for (a, b), siemens in parts:
            if node in (a, b):
                other = b if node == a else a
                rows[k][k] += siemens
                if other in free:
                    rows[k][free.index(other)] -= siemens
                elif other == "in":
                    rows[k][-1] += siemens * Fraction(SUPPLY_V)
    for k in range(len(free)):
        rows[k] = [value / rows[k][k] for value in rows[k]]
        for j in range(len(free)):
            if j != k:
                rows[j] = [v - rows[j][k] * w for v, w in zip(rows[j], rows[k], strict=True)]
    return {node: float(rows[k][-1]) for k, node in enumerate(free)}


@pytest.mark.parametrize("turned", [False, True])
def test_shorts_beside_open_parts_cost_no_digits(turned: bool) -> None:
    circuit = ladder(MIXED_OHM[::-1] if turned else MIXED_OHM)
    found = solve_dead(circuit).voltages_v
    for node, volts in exact_v(circuit).items():
        assert_allclose(found[node], volts, rtol=1e-12, atol=0.0, err_msg=node)


def test_rows_of_what_is_not_worked_out_yet() -> None:
    circuit = ladder(MIXED_OHM, size=5).change("R2", resistance_ohm=np.geomspace(1.0, 1e6, 5))
    whole, order = solve_dead(circuit), np.array([3, 0, 3])
    some = whole.rows(order)
    for node in whole.voltages_v:
        assert_allclose(some.voltages_v[node], whole.voltages_v[node][order], rtol=0.0, atol=0.0)


def test_a_long_chain_holds_no_more_waveforms_than_a_short_one() -> None:
    def held(ohms: list[float]) -> int:
        volts = solve_dead(ladder(ohms)).voltages_v
        assert isinstance(volts, Voltages)
        return len(volts.waves)

    assert held([1e3] * 30) == held([1e3] * 5)


def test_a_node_that_is_not_there_is_no_key() -> None:
    volts = solve_dead(ladder(MIXED_OHM)).voltages_v
    assert "n99" not in volts
    with pytest.raises(KeyError):
        volts["n99"]
