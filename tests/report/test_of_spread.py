"""Worst corners and population in words, for a terminal, a report and other programs."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.jobs.demo_job import DARK, FAILS, HOLDS, RESISTORS, solved
from tests.report.test_of_check_dict import numbers
from tests.report.test_of_substitutes import KILN
from tests.report.test_terminal import printed, squeezed
from zcd import api
from zcd.board.files import parse_board
from zcd.margin.population import Share
from zcd.refdata import UNITS
from zcd.report.of_check_answer import _corner_text, finding_lines, headline_text
from zcd.report.of_spread import corners_table, failing_text
from zcd.serialize import to_dict

# bears high mains at unequal tolerances, but not with harmonics on top
NARROW = HOLDS.replace('"43k"', '{value = "43k", working_voltage = "80 V"}')


@pytest.mark.parametrize("text", [HOLDS, FAILS, DARK, NARROW])
@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_no_line_is_wider_than_80_columns(text: str, encoding: str) -> None:
    lines = printed(solved(text).check, encoding=encoding).splitlines()
    assert max(map(len, lines)) <= 80


def test_corners_are_part_of_the_verdict() -> None:
    whole = solved(NARROW).check
    assert whole.keeps_nominal_rules
    assert not whole.passes
    assert headline_text(whole) == "FAILS: R2 is overloaded."
    (line,) = finding_lines(whole)
    assert line.startswith("FAIL: R2 voltage 1")
    assert "peak (limit 80 V rms, 113 V peak) where tolerances add up (" in line
    assert "harmonic 5 at the peak 6 %, mains voltage 126 V, R1 x 0.95" in squeezed(printed(whole))


@pytest.mark.usefixtures("all_samples")
def test_an_expectation_missed_within_tolerances_has_its_figure() -> None:
    """What the finding says is the shortest pause of the boards drawn, and none of them fails."""
    check = api.check(parse_board(KILN.replace("1206", "1/4 W")))
    (line,) = (line for line in finding_lines(check) if "pin above" in line)
    drawn = check.spread.population.rule_margins.working
    shortest = 1.0 + drawn.margins[:, drawn.names.index("high time")].min()
    shown = f"{1e6 * shortest * check.board.controller.min_high_time_s:.0f} µs"
    high = f"{check.board.controller.high_threshold_v:.3g} V"
    assert f"pin above {high} for only {shown} on the worst board of 1024 (at least 200" in line
    assert "none of 1024 random boards fails (parts, volts, hertz, temperature)" in squeezed(
        printed(check)
    )
    assert headline_text(check).startswith("PASSES, with 2 warnings. ")
    assert finding_lines(check)[-1] == (
        "warning: sync is lost (the pin never goes high) only if all tolerances and the shape of "
        "the "
        "mains are at their worst at once (none of 1024 random boards)"
    )


def test_a_rule_that_fails_anyway_is_not_told_twice() -> None:
    check = solved(FAILS).check
    lines = finding_lines(check)
    assert sum("R2 power" in line for line in lines) == 1
    subjects = {rule.subject for rule in check.every_rule if not rule.passes}
    assert sum(line.startswith("FAIL: ") for line in lines) == len(subjects)


def test_population_says_what_fails_and_how_sure_that_is() -> None:
    """Of 128 boards: what has a chance of 5 % of not being met in any, 1 - 0.05^(1/128)."""
    text = squeezed(printed(solved().check))
    assert "None fails: 95 % sure that fewer than 2.3 % of such boards do." in text
    text = squeezed(printed(solved(DARK).check))
    assert "All fail: 95 % sure that more than 98 % of such boards do." in text
    assert "pin never low 100 %" in text


def test_where_there_is_no_pulse_the_pins_rule_comes_first() -> None:
    table = corners_table(solved(DARK).check.spread)
    names = [row[0] for row in table.rows]
    assert names[0] == "pin never low"
    assert "low threshold 1 V" in table.rows[0][3]
    assert names[1] == "pulse count"
    rules_of_pulses = {"low time", "high time", "transition", "edge offset", "period"}
    assert rules_of_pulses.isdisjoint(names)
    assert all(name in table.remark.partition("There is no pulse")[2] for name in rules_of_pulses)


def test_share_with_its_interval() -> None:
    class Few:
        failing = Share(ratio=0.0123, low_ratio=0.0071, high_ratio=0.0213)
        doubtful_ratio = 0.0

    assert failing_text(Few()) == "1.2 % fail; 95 % sure that it is 0.71 % to 2.1 %."  # type: ignore[arg-type]


def test_an_interval_has_two_ends_that_differ() -> None:
    class Sure:
        failing = Share(ratio=0.3398, low_ratio=0.3359, high_ratio=0.3437)
        doubtful_ratio = 0.0

    assert failing_text(Sure()) == "34 % fail; 95 % sure that it is 33.6 % to 34.4 %."  # type: ignore[arg-type]


def test_what_may_fail_is_told_apart() -> None:
    class Doubtful:
        failing = Share(ratio=0.0, low_ratio=0.0, high_ratio=0.0029)
        doubtful_ratio = 0.08

    text = failing_text(Doubtful())  # type: ignore[arg-type]
    assert text.startswith("None fails: ")
    assert text.endswith(" 8 % more may: it depends on what no data sheet states.")


def test_margins_of_rules_about_pulses_are_not_told_where_there_is_none() -> None:
    text = squeezed(printed(solved(DARK).check))
    assert "edge offset none no pulse no pulse" in text


def test_everything_that_was_varied_is_listed_with_its_source() -> None:
    whole = solved().check
    text = squeezed(printed(whole))
    for tolerance in whole.spread.corners.tolerances:
        assert tolerance.name in text
    assert "typical 1.2 V, maximum 1.5 V at 20 mA" in text


@pytest.mark.parametrize("text", [HOLDS, DARK])
def test_record_is_json_with_units(text: str) -> None:
    record = to_dict(solved(text).check)
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    beside = {"low", "high", "amount"}
    for key, _ in numbers(record["spread"]):
        assert key.rpartition("_")[2] in UNITS or key in beside, key


def test_record_has_the_numbers_of_the_spread() -> None:
    spread = solved().check.spread
    record = to_dict(solved().check)["spread"]
    assert_allclose([c["left_ratio"] for c in record["corners"]], spread.corners.margins)
    margins = spread.population.rule_margins.margins
    assert_allclose(
        [rule["left_middle_ratio"] for rule in record["population"]["rules"]],
        np.median(margins, axis=0),
    )


def test_too_short_a_dark_time_says_what_helps() -> None:
    """A bridge with a slow output: the LED is dark at the crossings only."""
    bridge = HOLDS.replace("[chain]", '[chain]\ntopology = "bridge"').replace("39k", "22k")
    bridge = bridge.replace(RESISTORS, '["18k", "18k"]\nreturn_resistors = ["18k", "18k"]')
    told = "a resistor of some kΩ across the LED"
    assert told in squeezed(printed(solved(bridge).check))
    assert told not in squeezed(printed(solved(DARK).check))


def test_what_no_board_calculated_breaks_is_the_worst_corner_only() -> None:
    whole = solved(NARROW).check
    rules = [rule for rule in whole.spread.rules if not rule.passes]
    assert _corner_text(whole, rules).startswith("where tolerances add up (")
    rare = [replace(rule, share_ratio=0.0) for rule in rules]
    none = f"none of {whole.spread.population.size} random boards"
    assert _corner_text(whole, rare) == f"in the worst corner only ({none})"


def test_what_is_over_its_limit_is_never_called_a_pass() -> None:
    """An expectation that no board calculated misses, at a corner that misses it by 8 %."""
    spread = solved(HOLDS).check.spread
    margins = spread.corners.margins.copy()
    margins[0] = -0.08
    rule = replace(spread.rules[0], kind="expectation", margin=-0.08, share_ratio=0.0)
    changed = replace(
        spread,
        corners=replace(spread.corners, margins=margins),
        rules=(rule, *spread.rules[1:]),
    )
    table = corners_table(changed)
    assert table.rows[0][1:3] == ("-8 %", "rare")
    assert "rare: fewer than one board in 1,000" in table.remark
    assert "rare" not in corners_table(spread).remark
