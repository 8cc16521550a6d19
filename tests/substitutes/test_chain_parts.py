"""What is tried in a chain, against hand-worked shares and against trying everything out.

Where no other source is named: in a string of resistors R1 ... Rn with V across it, resistor k has
V Rk / sum(R) across it and turns V^2 Rk / sum(R)^2 into heat (Ohm's and Kirchhoff's laws).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import combinations_with_replacement
from math import floor, log

import pytest

from tests.diagnosis.boards import board, edited
from tests.substitutes.places import section
from zcd.board.drawer import Drawer, parse_drawer, series_drawer
from zcd.board.model import Board, Resistor
from zcd.board.parts_library import all_resistors
from zcd.margin.stress import worst_stress
from zcd.physics.resistor import derated_power_w
from zcd.substitutes.chain_parts import (
    HARDER,
    LEAST_PART,
    MORE_ALIKE,
    MORE_PARTS,
    NEAR_TOTAL,
    SAME_TOTAL,
    SLACK,
    chain_candidates,
    sharing_of,
)
from zcd.substitutes.proposals import Candidate, Closeness
from zcd.substitutes.series_string import SeriesString, series_strings

MESSY = parse_drawer(
    """
    resistors = [
        {value = "39k", style = "1206"},
        {value = "62k", style = "1206", tolerance = "1 %", count = 2},
        {value = "110k", style = "1/4 W"},
        {value = "150k", style = "1 W", tolerance = "2 %", count = 1},
        {value = "2k2", style = "0603"},
    ]
    """
)
"""Different styles and tolerances, some parts few: nothing about it is regular."""
WHERE: dict[str, tuple[str, ...]] = {
    "half-wave": (),
    "half-wave, one failed": ("R2",),
    "clamped": (),
    "half-wave-clamped": (),
    "bridge": (),
    "two-led": (),
    "parallel": ("R3", "R4"),
    "across the LED": (),
    "joint capacitor": ("R2",),
    "emitter follower": (),
    "switched": (),
}
"""Which resistors are replaced, by board."""


def place_of(name: str) -> SeriesString:
    return section(board(name.partition(",")[0]), *WHERE[name])


def candidates(
    place: SeriesString, drawer: Drawer, *, others: bool = False
) -> tuple[Candidate, ...]:
    sharing = sharing_of(place, worst_stress(place.board))
    return chain_candidates(place, drawer.resistors, sharing, others=others)


def values(candidate: Candidate) -> list[float]:
    return sorted(part.resistance_ohm for part in candidate.parts if isinstance(part, Resistor))


def closeness_of(found: tuple[Candidate, ...]) -> dict[tuple[float, ...], Closeness]:
    return {tuple(values(one)): one.closeness for one in found}


def test_one_resistor_of_110k_and_130k() -> None:
    """130 kohm failed. Hand-worked, as shares of what 130 k bore in 240 k, and 110 k bore.

    2 x 68 k, total 246 k: voltage 68 / 246 / (130 / 240) = 0.51, power less; 110 k: (240/246)^2
    < 1: no part works harder. 120 k alone, total 230 k (-4.2 %): 110 k turns (240/230)^2 = 1.09
    times as much into heat: somewhat harder. 150 k, total 260 k: voltage 150 / 260 / (130 / 240) =
    1.07, likewise. 100 k: total -12.5 %, too far off.
    """
    drawer = parse_drawer(
        'resistors = [{values = ["68k", "120k", "150k", "100k"], style = "1206", count = 3}]'
    )
    found = closeness_of(candidates(section(board(), "R2"), drawer))
    assert found[(68e3, 68e3)] is Closeness.LIKE
    assert found[(120e3,)] is Closeness.NEAR
    assert found[(150e3,)] is Closeness.NEAR
    assert (100e3,) not in found
    # of the same rating 150 k bears more voltage than 130 k did; rated higher it does not
    strong = parse_drawer('resistors = [{value = "150k", style = "1 W"}]')
    assert closeness_of(candidates(section(board(), "R2"), strong))[(150e3,)] is Closeness.LIKE


def test_both_resistors_of_110k_and_130k() -> None:
    """2 x 120 k: the same total, 120 / 130 of the power and voltage of the hotter one; first.

    240 k alone would be the same total too: fewer parts than there were, never.
    """
    drawer = parse_drawer('resistors = [{values = ["120k", "240k", "82k", "33k"], style = "1206"}]')
    found = candidates(section(board()), drawer, others=True)
    assert values(found[0]) == [120e3, 120e3]
    assert found[0].closeness is Closeness.LIKE
    assert all(len(one.parts) >= 2 for one in found)
    # a quarter of the ohms, as two 33 k would be, is never tried
    assert [33e3, 33e3] not in [values(one) for one in found]
    # 3 x 82 k = 246 k: within half of 5 % of the total, with one part more
    assert [82e3, 82e3, 82e3] in [values(one) for one in found]


@pytest.mark.parametrize("name", WHERE)
def test_the_printed_values_come_first_whatever_else_there_is(name: str) -> None:
    place = place_of(name)
    printed = sorted(part.resistance_ohm for part in place.replaced)
    drawer = series_drawer("E24", "1206")
    for style in ("1206", "1/2 W"):
        same = ", ".join(f'"{ohm:g}"' for ohm in printed)
        extra = parse_drawer(f'resistors = [{{values = [{same}], style = "{style}"}}]')
        stock = replace(drawer, resistors=(*drawer.resistors, *extra.resistors))
        first = candidates(place, stock)[0]
        assert first.closeness is Closeness.SAME
        assert values(first) == printed
        assert [p.resistance_ohm for p in all_resistors(first.board)] == [
            p.resistance_ohm for p in all_resistors(place.board)
        ]


def test_a_printed_value_in_a_lower_rating_is_not_the_same_part() -> None:
    """0603 bears 50 V [Yageo RC], 1206 200 V: 130 k in 0603 would have 130 V and more across it."""
    drawer = parse_drawer('resistors = [{value = "130k", style = "0603"}]')
    assert candidates(section(board(), "R2"), drawer, others=True) == ()


def test_printed_values_that_the_drawer_has_stay_in_their_places() -> None:
    """Only 130 k is missing: 110 k is fitted as printed, two parts take the other's place."""
    drawer = parse_drawer('resistors = [{values = ["110k", "68k", "62k"], style = "1206"}]')
    first = candidates(section(board()), drawer)[0]
    assert values(first) == [62e3, 68e3, 110e3]
    assert first.board.chains[0][0] == board().chains[0][0]


def test_of_equal_values_as_many_are_fitted_as_there_are() -> None:
    """Three of 82 k, of which the drawer has two; they are not counted again for the third."""
    drawer = parse_drawer(
        'resistors = [{value = "82k", style = "1206", count = 2}, {value = "39k", style = "1206"}]'
    )
    found = candidates(section(edited('["110k", "130k"]', '["82k", "82k", "82k"]')), drawer)
    assert values(found[0]) == [39e3, 39e3, 82e3, 82e3]
    assert all(values(one).count(82e3) <= 2 for one in found)


def test_an_overloaded_original_gets_its_value_in_a_rating_that_bears_the_load() -> None:
    """One 1206 of 200 V [Yageo RC] across 230 V: as printed only if there is nothing stronger."""
    overloaded = edited('["110k", "130k"]', '["240k"]')
    same = 'resistors = [{value = "240k", style = "1206"}'
    (first,) = candidates(section(overloaded), parse_drawer(f"{same}]"))
    assert first.closeness is Closeness.SAME
    stronger = parse_drawer(f'{same}, {{value = "240k", style = "VR37"}}]')
    first = candidates(section(overloaded), stronger)[0]
    assert first.parts[0].style == "VR37"


# ---- trying everything out


def _worst(part: Resistor, others: list[Resistor], rms_v: float, film_v: float) -> float:
    """Highest share of a limit at the ends of tolerance, the others at their low ends."""
    low = sum(one.resistance_ohm * (1.0 - one.tolerance_ratio) for one in others)
    shares = []
    for sign in (1.0, -1.0):
        ohm = part.resistance_ohm * (1.0 + sign * part.tolerance_ratio)
        power = ohm * (rms_v / (ohm + low)) ** 2 / _watts(part)
        shares += [power, film_v * ohm / (ohm + low) / part.working_v]
    return max(shares)


def _watts(part: Resistor) -> float:
    return float(derated_power_w(part.rated_power_w, board().service.hot_degc))


def _shares(parts: list[Resistor], total: float) -> tuple[list[float], list[float]]:
    power = [part.resistance_ohm / total**2 / _watts(part) for part in parts]
    return power, [part.resistance_ohm / total / part.working_v for part in parts]


def _tried_out(place: SeriesString, drawer: Drawer) -> dict[tuple[Resistor, ...], Closeness]:
    """Every combination of up to two different parts that would do, and how close it comes."""
    sharing = sharing_of(place, worst_stress(place.board))
    replaced, kept = list(place.replaced), list(place.kept)
    before = sum(part.resistance_ohm for part in replaced + kept)
    old_power, old_voltage = _shares(replaced, before)
    kept_power, kept_voltage = _shares(kept, before)
    result = {}
    stock = drawer.resistors
    for size in range(len(replaced), len(replaced) + MORE_PARTS + 1):
        for row in combinations_with_replacement(range(len(stock)), size):
            parts = [stock[k].part for k in row]
            total = sum(part.resistance_ohm for part in parts + kept)
            limits = [_worst(part, [o for o in parts + kept if o is not part]
                             + [part] * (parts.count(part) - 1), sharing.rms_v, sharing.film_v)
                      for part in parts]  # fmt: skip
            if (
                len(set(row)) > 2
                or any(n > stock[k].count for k, n in Counter(row).items())
                or abs(total / before - 1.0) > NEAR_TOTAL
                or max(limits) > 1.0
                or min(part.resistance_ohm for part in parts) < LEAST_PART * before
            ):
                continue
            power, voltage = _shares(parts, total)
            mine_power, mine_voltage = _shares(kept, total)
            ratios = [max(power) / max(old_power), max(voltage) / max(old_voltage)]
            ratios += [now / was for now, was in zip(mine_power, kept_power, strict=True)]
            ratios += [now / was for now, was in zip(mine_voltage, kept_voltage, strict=True)]
            if max(ratios) <= HARDER:
                alike = max(ratios) <= SLACK and size <= len(replaced) + MORE_ALIKE
                closeness = Closeness.LIKE if alike else Closeness.NEAR
                result[tuple(sorted(parts, key=lambda p: (p.resistance_ohm, p.style)))] = closeness
    return result


@pytest.mark.parametrize("name", WHERE)
def test_nothing_is_lost_or_gained_against_trying_out(name: str) -> None:
    place = place_of(name)
    tried = _tried_out(place, MESSY)
    found = {
        tuple(
            sorted(
                (replace(part, ref="") for part in one.parts if isinstance(part, Resistor)),
                key=lambda part: (part.resistance_ohm, part.style),
            )
        ): one.closeness
        for one in candidates(place, MESSY)
        if one.closeness is not Closeness.SAME
    }
    beside = any(part.resistance_ohm == 110e3 for part in place.replaced)
    extra = {parts for parts in found if len(set(parts)) > 2}
    # three different values only where a printed one is fitted as it is
    assert beside or not extra
    assert {parts: c for parts, c in found.items() if parts not in extra} == tried


@pytest.mark.parametrize("name", ["half-wave", "half-wave, one failed", "bridge"])
def test_in_the_order_of_a_colleague(name: str) -> None:
    """No part harder first; then nearer totals, as far as tolerances let them differ; fewer."""
    place = place_of(name)
    before = sum(part.resistance_ohm for part in (*place.replaced, *place.kept))
    width = max(SAME_TOTAL, max(part.tolerance_ratio for part in place.replaced) / 2.0)
    keys = []
    for one in candidates(place, series_drawer("E12", "1206")):
        total = sum(values(one)) + sum(part.resistance_ohm for part in place.kept)
        nearness = floor(abs(log(total / before)) / width)
        keys.append((list(Closeness).index(one.closeness), nearness, len(one.parts)))
    assert len(keys) > 3
    assert keys == sorted(keys)


def test_with_any_totals_further_off_and_lower_ratings_come_last() -> None:
    drawer = parse_drawer('resistors = [{values = ["91k", "180k"], style = "1206"}]')
    place = section(board(), "R2")
    assert all(one.closeness is not Closeness.OTHER for one in candidates(place, drawer))
    found = closeness_of(candidates(place, drawer, others=True))
    assert found[(91e3,)] is found[(180e3,)] is Closeness.OTHER


def test_each_group_of_equal_current_is_a_section_of_its_own() -> None:
    of_parallel: Board = board("parallel")
    assert [len(group) for group in series_strings(of_parallel)] == [2, 2]
