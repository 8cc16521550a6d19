"""What a map says on a terminal and in JSON."""

from __future__ import annotations

import json
from dataclasses import replace
from io import StringIO

import numpy as np
import pytest
from rich.console import Console

from tests.jobs.demo_job import HOLDS, lost_below, share_lost, solved
from zcd import api
from zcd.board.files import parse_board
from zcd.margin.loss_map import EVERY, LossMap, Reach
from zcd.margin.quantities import Quantity
from zcd.renderings import document_of
from zcd.report.of_check_answer import finding_lines
from zcd.report.of_check_document import map_document
from zcd.report.of_loss_map import (
    end_text,
    loss_map_lines,
    loss_map_table,
    loss_map_title,
    value_text,
    warning_lines,
)
from zcd.report.terminal import document_text, print_document
from zcd.serialize import to_dict
from zcd.sync.lock import LIMITS

CHAIN = Quantity(
    key="chain", words="chain", unit="", here=1.0, low=0.1, high=20.0, logarithmic=True
)
HEAT = Quantity(
    key="temperature", words="temperature", unit="°C", here=25.0, low=-20.0, high=100.0,
    logarithmic=False,
)  # fmt: skip
NOWHERE = Reach(below=np.nan, above=np.nan, rule_below=None, rule_above=None)


def test_value_with_its_unit() -> None:
    assert value_text(CHAIN, 3.214) == "3.21 times"
    assert value_text(HEAT, 60.0) == "60 °C"


def test_factors_on_logarithmic_axes_and_differences_on_others() -> None:
    assert end_text(CHAIN, 3.2) == "limit 3.2 times"
    assert end_text(CHAIN, 0.5) == "limit 0.5 times"
    assert end_text(HEAT, -5.0) == "limit -5 °C, reserve 30 °C"
    ohms = replace(CHAIN, unit="Ω", here=10e3)
    assert end_text(ohms, 2e3) == "limit 2 kΩ, reserve factor 5"


def test_title_speaks_of_the_other_axis_where_this_one_has_no_end() -> None:
    result = lost_below(0.2)
    turned = replace(
        result, across=CHAIN, up=HEAT, reach_up=NOWHERE, reach_across=replace(NOWHERE, above=2.0)
    )
    assert loss_map_title(turned) == "At 25 °C, sync is lost where chain is above 2 times"
    assert loss_map_title(replace(result, across=CHAIN)).startswith(
        "With the chain as it is, a typical optocoupler loses sync once its CTR is below 20 % of "
    )


def test_sheet_has_a_line_for_each_end_and_says_where_there_is_none() -> None:
    table = loss_map_table(lost_below(0.2))
    assert table.remark.startswith("Mains voltage: keeps sync at every value tried, 36 to 150 V. ")
    assert table.rows == (("CTR", "100 %", "down to 20 %", "factor 5", "edge offset"),)


def test_lines_count_curves_and_boards() -> None:
    result = lost_below(0.2, above=1.2)
    text = " ".join(loss_map_lines(result, share_lost(result)))
    assert "Beyond the limit fails first: " in text
    assert "edge offset" in text
    assert "high time" in text
    assert "Of 16 boards within tolerance" in text
    # 0.95 that one of 16 is lost where 17 % of all are
    assert "none loses sync: 95 % sure that fewer than 17 % of such boards do." in text


@pytest.mark.parametrize("found", [lost_below(0.2), lost_below(0.2, here=0.1), lost_below(0.005)])
def test_printed_within_80_columns(found: LossMap) -> None:
    file = StringIO()
    found = replace(found, share=share_lost(found))
    print_document(map_document(found), Console(file=file, width=80))
    lines = file.getvalue().splitlines()
    assert max(map(len, lines)) <= 80
    assert solved().board.name in lines[0]
    assert "Assumed, because" in file.getvalue()


def test_record_is_json() -> None:
    result = lost_below(0.2)
    record = to_dict(replace(result, share=share_lost(result)))
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert record["up"]["unit"] == ""
    assert record["across"]["unit"] == "V"
    assert record["reach"]["up"]["below"] == 0.2
    assert record["reach"]["across"]["below"] is None


def test_record_points_rules_and_shares_belong_together() -> None:
    result = lost_below(0.2)
    record = to_dict(replace(result, share=share_lost(result)))
    (curve,) = record["boundaries"]
    assert len(curve["across"]) == len(curve["up"]) == len(curve["rules"])
    lost = record["lost"]
    size = (result.lattice.places.size - 1) // EVERY + 1
    assert len(lost["across"]) == len(lost["up"]) == len(lost["rules"]) == size
    for up, rules, ratio in zip(lost["up"], lost["rules"], lost["ratio"], strict=True):
        assert set(rules) == ({"edge offset"} if up < 0.2 else {None})
        assert set(ratio) == ({1.0} if up < 0.2 else {0.0})


def test_what_some_controllers_refuse_is_a_warning_as_in_the_check() -> None:
    """A slow edge that loses no lock: the map says of the board what its check says."""
    text = HOLDS.replace("[output]", '[output]\npin_capacitor = "100n"')
    check = api.check(parse_board(text))
    there = {rule.subject for rule in check.rules if rule.kind == "expectation"}
    loss_map = api.loss_map(check.board, "mains", "temperature")
    assert loss_map.locks
    assert loss_map.unmet_expectations
    assert set(loss_map.unmet_expectations) <= there
    lines = warning_lines(loss_map)
    assert len(lines) == len(loss_map.unmet_expectations)
    for line, rule in zip(lines, loss_map.unmet_expectations, strict=True):
        assert line.startswith("warning on the ")
        (found,) = (told for told in finding_lines(check) if LIMITS[rule].meaning in told)
        assert line.endswith(found.rpartition(": ")[2])
    text = document_text(document_of(loss_map).answer)
    assert "warning on the " in text
