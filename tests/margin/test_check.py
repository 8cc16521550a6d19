"""The verdict: each rule turns where its limit is crossed."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import RESISTORS, TEXTS, board, controlled, edited
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.engine.solve import SolverOptions, solve
from zcd.margin.check import LEVELS, Check, NominalCheck, level_conditions, nominal_check
from zcd.margin.headroom import weak_conditions
from zcd.margin.lifetime import life_of
from zcd.margin.rules import Rule
from zcd.margin.spread import with_spread
from zcd.sync.lock import lock_of

FINE = SolverOptions(points=4000, refine=False)
PEAK_RATIO = 1.0 - np.cos(np.radians(9.0 / 2.0))
"""A peak may be missed by half of 9 degrees, the widest step of a refined grid of 160 points."""


@cache
def verdict(name: str = "half-wave") -> NominalCheck:
    return nominal_check(board(name))


def rule(found: NominalCheck, name: str) -> Rule[float]:
    return next(r for r in found.rules if r.name == name)


def failed(found: Board) -> set[str]:
    return {r.name for r in nominal_check(found).rules if not r.passes}


def test_led_peak_of_a_usual_chain() -> None:
    """100 k + 150 k on 230 V 50 Hz, half-wave: about 1.3 mA (common practice, no source)."""
    usual = nominal_check(edited(RESISTORS, '["100k", "150k"]'))
    level = usual.levels[LEVELS.index("nominal")]
    assert_allclose(level.led_peak_a, 1.3e-3, atol=0.05e-3)


def test_life_is_that_of_the_rms_current_at_nominal_mains() -> None:
    result = verdict()
    nominal = result.levels[LEVELS.index("nominal")]
    assert result.life == life_of(board(), nominal.led_rms_a, result.weak_headrooms["ctr"])


# without a grade the CTR of this family spans 15 to 1: no pull-up suits both ends of that
GOOD_TWO_LED = (
    TEXTS["two-led"]
    .replace('"814"', '"814A"')
    .replace(RESISTORS, '["68k", "68k"]')
    .replace("1206", "1 W")
)
GOOD_BRIDGE = TEXTS["bridge"].replace(RESISTORS, '["82k", "82k"]').replace("1206", "1210")


@pytest.mark.parametrize(
    "text",
    [TEXTS["half-wave"], TEXTS["switched"], GOOD_TWO_LED, GOOD_BRIDGE],
    ids=["half-wave", "switched", "two-led", "bridge"],
)
def test_sound_board_passes(text: str) -> None:
    result = nominal_check(parse_board(text))
    assert result.keeps_nominal_rules, [r for r in result.rules if not r.passes]
    assert all(r.passes for r in result.rules)


def test_one_small_resistor_fails_on_power_and_voltage() -> None:
    """A single 0603 in place of the chain: 0.2 W over 0.1 W, 230 V over its 50 V."""
    text = TEXTS["half-wave"].replace(RESISTORS, '["240k"]').replace("1206", "0603")
    result = nominal_check(parse_board(text))
    assert not result.keeps_nominal_rules
    assert failed(parse_board(text)) == {"R1 power of most makers", "R1 voltage"}
    power = rule(result, "R1 power of most makers")
    assert power.value > power.limit
    assert rule(result, "R1 voltage").value > rule(result, "R1 voltage").limit


@pytest.mark.parametrize("name", ["R1 power", "R1 voltage"])
def test_resistor_rule_turns_where_its_limit_is_crossed(name: str) -> None:
    """Ratings written in the board file, 1 % above and below what the resistor bears."""
    value = rule(verdict(), name).value
    for share, passes in ((1.01, True), (0.99, False)):
        written = {"R1 power": (value * share, 1000.0), "R1 voltage": (10.0, value * share)}[name]
        item = (
            f'{{value = "110k", power = "{written[0]:.6f} W", working_voltage = {written[1]:.4f}}}'
        )
        result = nominal_check(edited('"110k"', item))
        assert rule(result, name).passes is passes
        assert result.keeps_nominal_rules is passes


@pytest.mark.parametrize(
    ("key", "value_of"),
    [("max_offset", "fall_offset_s"), ("max_transition", "transition_s")],
)
def test_lock_rule_turns_where_its_limit_is_crossed(key: str, value_of: str) -> None:
    """The level's own figure as the controller's limit, 1 % above and below."""
    weak = LEVELS.index("weak")
    value = float(getattr(verdict().levels[weak], value_of))
    assert value > 0.0
    for share, locks in ((1.01, True), (0.99, False)):
        result = nominal_check(controlled(f"{key} = {value * share!r}"))
        assert result.levels[weak].locks is locks
        assert rule(result, "lock at low mains, hot, lowest CTR of the grade").passes is locks


def test_headroom_rule_asks_for_half_of_the_output_to_be_lost() -> None:
    """With the CTR left such that the weak headroom is 2 % above or below 2."""
    factor = verdict().weak_headrooms["ctr"].factor_ratio
    for share, passes in ((1.02, True), (0.98, False)):
        left = 2.0 * share / factor
        text = TEXTS["half-wave"].replace(
            'optocoupler = "817C"', f'optocoupler = {{family = "817C", remaining = {left!r}}}'
        )
        result = nominal_check(parse_board(text))
        assert rule(result, "CTR reserve").status == ("pass" if passes else "warning")


def test_mains_headroom_reaches_the_low_end_exactly_when_the_weak_level_locks() -> None:
    result = verdict()
    name = "lock at low mains, hot, lowest CTR of the grade"
    assert rule(result, name).passes is rule(result, "mains reserve from nominal").passes


def test_weak_level_uses_the_minimum_of_the_grade() -> None:
    """Low mains, hot, and the lowest CTR that the grade allows: worse than any other corner."""
    result = board()
    weak = weak_conditions(result)
    assert weak.ctr_ratio == result.optocoupler.ctr_min_ratio
    assert weak.mains_rms_v == result.mains.low_rms_v
    assert weak.temperature_degc == result.service.hot_degc
    assert level_conditions(result)[LEVELS.index("weak")] == weak
    level = verdict().levels[LEVELS.index("weak")]
    alone = lock_of(build_circuit(result, weak), result)
    assert_allclose(level.low_time_s, alone.pulses.low_time_s[0, 0], rtol=1e-3)
    assert level.low_time_s < verdict().levels[LEVELS.index("low")].low_time_s


def test_strong_level_uses_the_maximum_of_the_grade() -> None:
    """High mains and the highest CTR that the grade allows, on the bench: the longest pulse."""
    result = board()
    strong = level_conditions(result)[LEVELS.index("strong")]
    assert strong.ctr_ratio == result.optocoupler.ctr_max_ratio
    assert strong.mains_rms_v == result.mains.high_rms_v
    assert strong.temperature_degc is None
    *others, level = verdict().levels
    assert level.name == "strong"
    assert level.temperature_degc == result.service.bench_degc
    alone = lock_of(build_circuit(result, strong), result)
    assert_allclose(level.low_time_s, alone.pulses.low_time_s[0, 0], rtol=1e-3)
    assert all(level.low_time_s > other.low_time_s for other in others)


STATED = '\n[controller]\nmin_high_time = "200 us"\n'
"""The same limit is no expectation where the board file states it."""


def test_board_that_a_strong_part_upsets() -> None:
    """A pull-up too large for twice a period: all is well but for the strongest of the grade."""
    result = nominal_check(parse_board(GOOD_BRIDGE.replace('"15k"', '"33k"') + STATED))
    name = "lock at high mains, highest CTR of the grade"
    assert {r.name for r in result.rules if not r.passes} == {name}
    assert rule(result, name).remark == "fails: high time"
    assert result.levels[LEVELS.index("strong")].failed_rule == "high time"


def test_usual_part_needs_no_more_than_a_typical_input() -> None:
    """2 x 91 k, bridge, 100 k pull-up: the pin rises to 3.97 V, a typical input switches at 3.4."""
    result = nominal_check(
        parse_board(
            'mains = "230 V"\noptocoupler = "817 A"\n'
            'chain = {topology = "bridge", resistors = ["91k", "91k"], style = "1/2 W"}\n'
            'rectifier = "bridge"\noutput = {pull_up = "100k", supply = "5 V"}\n'
        )
    )
    locks = {level.name: level.locks for level in result.levels}
    assert locks == {"low": True, "nominal": True, "high": True, "weak": True, "strong": False}
    assert rule(result, "lock at low mains").remark == ""
    typical = "by the levels of a typical input, 1.6 V and 3.4 V"
    assert rule(result, "lock at nominal mains").remark == typical
    assert result.headrooms["ctr"].locks
    # at the guaranteed 4 V, a transistor that is soon off decides
    strong = rule(result, "lock at high mains, highest CTR of the grade")
    assert strong.status == "warning"
    assert strong.depends_on.startswith("the turn-off time of OC1 with this pull-up")


def test_levels_are_single_solutions() -> None:
    """Each level's LED current is that of a board solved by itself."""
    result = board()
    for level, conditions in zip(verdict().levels, level_conditions(result), strict=True):
        wave = solve(build_circuit(result, conditions), FINE).currents_a["OC1.led"]
        assert_allclose(level.led_peak_a, wave.max(), rtol=PEAK_RATIO)
        assert_allclose(level.led_mean_a, wave.mean(), rtol=PEAK_RATIO)
        assert_allclose(level.led_rms_a, np.sqrt(np.mean(wave**2)), rtol=PEAK_RATIO)


def test_board_that_never_locks() -> None:
    """No pulse at all: every lock rule fails, and no figure of a level is an infinity."""
    result = nominal_check(edited(RESISTORS, '["10M", "10M"]'))
    assert not result.keeps_nominal_rules
    for level in result.levels:
        assert not level.locks
        assert level.failed_rule is not None
        assert np.isnan([level.low_time_s, level.transition_s, level.period_s]).all()
        assert np.isfinite([level.led_peak_a, level.led_mean_a, level.led_rms_a]).all()
    assert result.life.design_rule_years == 0.0
    assert rule(result, "CTR reserve").status == "warning"


def test_tolerance_of_the_return_leg_counts() -> None:
    """The chain reserve must cover the widest tolerance of either leg of a bridge."""
    loose = TEXTS["bridge"].replace(
        'topology = "bridge"',
        'topology = "bridge"\nreturn_resistors = [{value = "91k", tolerance = "20 %"}]',
    )
    result = nominal_check(parse_board(loose))
    assert rule(result, "chain reserve").limit >= 1.2 * 1.03 - 1e-9


@pytest.mark.parametrize("name", list(TEXTS))
def test_verdict_of_every_variant_is_complete(name: str) -> None:
    """Finite figures, a source for each rule, one lock rule a level."""
    result = verdict(name)
    assert len(result.levels) == len(LEVELS)
    assert sum(item.name.startswith("lock at ") for item in result.rules) == len(LEVELS)
    for item in result.rules:
        assert item.source
        if item.unit:
            assert np.isfinite(item.value)
            assert np.isfinite(item.limit)
    assert result.keeps_nominal_rules is all(r.passes for r in result.rules)
    nominal = lock_of(build_circuit(board(name), Conditions()), board(name))
    assert result.levels[LEVELS.index("nominal")].locks == nominal.locks[0]


def test_half_a_check_has_no_verdict() -> None:
    """What the worst corners may still fail cannot be taken for the command's answer."""
    half = nominal_check(board())
    assert not hasattr(half, "passes")
    assert not isinstance(half, Check)
    assert with_spread(half).every_rule[: len(half.rules)] == half.rules
