"""Leads named from three resistances; against networks solved by the engine as a meter would."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, permutations
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from zcd.circuit.elements import Circuit, Element, Resistance, TestSource
from zcd.engine.solve import solve_dead
from zcd.simulation.windings import ROLES_OF_PINS, Measured, Pair, Role, name_leads

LEADS = ("black", "red", "white")
SOURCE_OHM = 1000.0


def read(elements: list[Element]) -> dict[Pair, float]:
    """What an ohmmeter shows between each two leads of a network."""
    result = {}
    for a, b in combinations(LEADS, 2):
        meter = TestSource(ref="meter", a=a, b=b, open_v=1.0, resistance_ohm=SOURCE_OHM)
        solution = solve_dead(Circuit(elements=(*elements, meter)))
        volts = float((solution.voltages_v[a] - solution.voltages_v[b])[0, 0])
        result[frozenset((a, b))] = SOURCE_OHM * volts / (1.0 - volts)
    return result


def motor(common: str, run: str, start: str, main: float, other: float) -> list[Element]:
    """Two windings that meet at the common lead."""
    return [
        Resistance(ref="main", a=common, b=run, resistance_ohm=main),
        Resistance(ref="start", a=common, b=start, resistance_ohm=other),
    ]


def measured(ohm: dict[Pair, float], **changes: Any) -> Measured:
    """Readings of everything else as they should be."""
    whole = Measured(
        resistance_ohm=ohm,
        frame_ohm=dict.fromkeys(LEADS, np.inf),
        accuracy_ratio=0.015,
        pins={"black": "1", "red": "2", "white": "3"},
        board={"1": Role.COMMON, "2": Role.RUN, "3": Role.START},
        capacitor_f=1.75e-6,
        marking_f=1.8e-6,
    )
    return replace(whole, **changes)


def ohms(ab: float, bc: float, ac: float) -> dict[Pair, float]:
    """Readings between black, red and white."""
    a, b, c = LEADS
    return {frozenset((a, b)): ab, frozenset((b, c)): bc, frozenset((a, c)): ac}


@pytest.mark.parametrize("order", list(permutations(LEADS)), ids="-".join)
def test_leads_are_named_whichever_they_are(order: tuple[str, str, str]) -> None:
    common, run, start = order
    verdict = name_leads(measured(read(motor(*order, 164.0, 287.0)), pins={}, board={}))
    assert verdict.roles == {common: Role.COMMON, run: Role.RUN, start: Role.START}
    assert_allclose([verdict.main_ohm, verdict.start_ohm], [164.0, 287.0], rtol=1e-6)
    assert_allclose(verdict.residual_ohm, 0.0, atol=1e-6)


def test_all_that_fits_is_safe() -> None:
    verdict = name_leads(measured(read(motor("black", "red", "white", 164.0, 287.0))))
    assert verdict.safe
    assert verdict.problems == verdict.unchecked == ()


def test_meter_error_alone_does_not_speak_against_it() -> None:
    """The worst case of a 1.5 % meter still passes, a little more does not."""
    low, high = 1.0 - 0.0149, 1.0 + 0.0149
    assert name_leads(measured(ohms(164.0 * low, 451.0 * high, 287.0 * low))).safe
    assert not name_leads(measured(ohms(164.0 * 0.97, 451.0 * 1.03, 287.0 * 0.97))).safe


@pytest.mark.parametrize(
    ("elements", "words"),
    [
        (
            [
                Resistance(ref="own", a="black", b="star", resistance_ohm=60.0),
                Resistance(ref="main", a="star", b="red", resistance_ohm=164.0),
                Resistance(ref="start", a="star", b="white", resistance_ohm=287.0),
            ],
            "common lead has a resistance of its own",
        ),
        (
            [Resistance(ref=x, a=x, b="star", resistance_ohm=100.0) for x in LEADS],
            "three-phase or brushless",
        ),
        (
            [
                *motor("black", "red", "white", 164.0, 287.0),
                Resistance(ref="bridge", a="red", b="white", resistance_ohm=900.0),
            ],
            "something else is still connected",
        ),
        (motor("black", "red", "white", 0.2, 287.0), "shorted winding"),
        (motor("black", "red", "white", 250.0, 252.0), "cannot tell run from start"),
    ],
    ids=["tapped", "three-phase", "connected", "shorted", "equal"],
)
def test_networks_that_are_no_winding_pair(elements: list[Element], words: str) -> None:
    verdict = name_leads(measured(read(elements)))
    assert not verdict.safe
    assert Role.RUN not in verdict.roles.values()
    assert any(words in problem for problem in verdict.problems)
    assert any("not judged" in problem for problem in verdict.problems)


def test_no_network_reads_more_than_the_sum() -> None:
    """Resistance between points obeys the triangle: such readings were taken wrong."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        star = [
            Resistance(ref=f"s{x}", a=x, b="star", resistance_ohm=float(rng.uniform(1.0, 500.0)))
            for x in LEADS
        ]
        mesh = [
            Resistance(ref=f"{a}{b}", a=a, b=b, resistance_ohm=float(rng.uniform(1.0, 500.0)))
            for a, b in combinations(LEADS, 2)
        ]
        least, middle, most = sorted(read([*star, *mesh]).values())
        assert most <= least + middle + 1e-6
    verdict = name_leads(measured(ohms(164.0, 287.0, 589.0)))
    assert any("no motor reads so; take them again" in p for p in verdict.problems)


@pytest.mark.parametrize(
    ("ohm", "words"),
    [
        (ohms(np.inf, np.inf, np.inf), "thermal cut-out"),
        (ohms(164.0, np.inf, np.inf), "lead white has no path"),
        (ohms(164.0, np.inf, 287.0), "red to white reads OL although"),
    ],
)
def test_open_windings(ohm: dict[Pair, float], words: str) -> None:
    verdict = name_leads(measured(ohm))
    assert not verdict.roles
    assert any(words in problem for problem in verdict.problems)


def test_swapped_pins_are_refused() -> None:
    ohm = read(motor("black", "red", "white", 164.0, 287.0))
    verdict = name_leads(measured(ohm, pins={"black": "2", "red": "1", "white": "3"}))
    assert (
        "pin 2 of the board is for run, but the lead in it, black, is common" in verdict.problems[0]
    )
    assert len(verdict.problems) == 2
    twice = name_leads(measured(ohm, pins={"black": "1", "red": "2", "white": "2"}))
    assert any("pin 2 has more than one lead" in problem for problem in twice.problems)


def test_windings_join_what_the_leads_read_to_the_frame() -> None:
    """2 Mohm from one lead is 2 Mohm and a few ohms from the others: none can read overload."""
    ohm = read(motor("black", "red", "white", 110.0, 160.0))
    frame = {"black": np.inf, "red": 2e6, "white": np.inf}
    verdict = name_leads(measured(ohm, frame_ohm=frame))
    (problem,) = verdict.problems
    assert problem == (
        "red reads 2 MΩ to the frame, black and white OL: these cannot go together, as the "
        "windings join the leads. Measure all three again before plugging in"
    )
    assert not verdict.safe
    assert name_leads(measured(ohm, frame_ohm=dict.fromkeys(LEADS, 2e6))).safe


def test_leak_to_the_frame_is_refused() -> None:
    ohm = read(motor("black", "red", "white", 164.0, 287.0))
    frame = {"black": np.inf, "red": 47e3, "white": np.inf}
    (problem,) = name_leads(measured(ohm, frame_ohm=frame)).problems
    assert "lead red reads 47 kΩ to the frame" in problem


@pytest.mark.transcribed("SERVICE-CAPACITOR", where="page 17", why="the limit itself", rtol=0.0)
@pytest.mark.parametrize(
    ("share", "good"), [(0.91, True), (0.89, False), (1.09, True), (1.11, False)]
)
def test_run_capacitor_outside_ten_per_cent(
    share: float, good: bool, published: SimpleNamespace
) -> None:
    assert published.key == "SERVICE-CAPACITOR"
    ohm = read(motor("black", "red", "white", 164.0, 287.0))
    verdict = name_leads(measured(ohm, capacitor_f=share * 1.8e-6))
    assert verdict.safe is good


def test_what_was_not_measured_keeps_it_from_safe() -> None:
    ohm = read(motor("black", "red", "white", 164.0, 287.0))
    bare = measured(ohm, frame_ohm={}, pins={}, board={}, capacitor_f=None, marking_f=None)
    verdict = name_leads(bare)
    assert verdict.problems == ()
    assert not verdict.safe
    assert len(verdict.unchecked) == 4
    half = name_leads(measured(ohm, board={"1": Role.COMMON}))
    assert half.unchecked == (ROLES_OF_PINS,)
