"""Tests of zcd.refdata."""

from __future__ import annotations

import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from zcd import refdata


def test_number_columns_are_float_and_others_text():
    row = refdata.table("ctr_grades")[0]
    assert row == {
        "family": "817",
        "grade": "any",
        "min_ctr_ratio": 0.5,
        "max_ctr_ratio": 6.0,
        "test_current_a": 5e-3,
        "source": "EL-817",
    }


def test_empty_number_is_nan():
    (row,) = (row for row in refdata.table("ctr_grades") if row["family"] == "H11AA1")
    assert math.isnan(row["max_ctr_ratio"])


def test_table_is_read_once():
    assert refdata.table("ctr_grades") is refdata.table("ctr_grades")


def test_unknown_table_lists_those_that_exist():
    with pytest.raises(KeyError, match=r"no reference table 'nothing'; there are .*ctr_grades"):
        refdata.table("nothing")


@pytest.mark.parametrize(
    ("column", "number"),
    [("pull_up_ohm", True), ("order", True), ("ohm", False), ("family", False), ("data", False)],
)
def test_unit_at_the_end_of_the_name_makes_a_number(column, number):
    assert refdata.is_number(column) is number


def test_columns_keep_the_order_and_drop_text():
    shape = refdata.columns("ctr_shape", curve="EL-817")
    assert set(shape) == {"current_a", "relative_ratio"}
    assert shape["current_a"].dtype == np.float64
    assert np.all(np.diff(shape["current_a"]) > 0)


def test_columns_filter_on_text_and_number():
    hot = refdata.columns("led_forward", curve="EL-817", temperature_degc=110)
    assert hot["current_a"].size == 17
    assert np.all(hot["temperature_degc"] == 110.0)


def test_columns_may_be_changed_without_changing_the_table():
    refdata.columns("ctr_shape")["current_a"][:] = 0.0
    assert np.all(refdata.columns("ctr_shape")["current_a"] > 0.0)


def test_unknown_column_lists_those_that_exist():
    with pytest.raises(KeyError, match=r"ctr_shape has no column 'part'; it has curve, current_a"):
        refdata.columns("ctr_shape", part="817")


def test_filter_that_leaves_nothing_lists_the_choices():
    with pytest.raises(KeyError, match=r"no curve 'XX'; there are 4N25, 4N35, EL-817"):
        refdata.columns("ctr_shape", curve="XX")


def test_cite_is_one_line():
    assert refdata.cite("EL-817").startswith("EL817 Series data sheet DPC-0000046 Rev. 10, Everli")
    assert refdata.cite("COMMON-PRACTICE") == "Common practice of the trade, no source"


def test_cite_refuses_unknown_source():
    with pytest.raises(KeyError, match="no source 'HEARSAY'"):
        refdata.cite("HEARSAY")


def test_default_has_value_unit_and_reason():
    default = refdata.default("feed.contact_resistance")
    assert (default.value, default.unit) == (0.1, "ohm")
    assert "Omron" in default.why


def test_unknown_default_lists_those_that_exist():
    with pytest.raises(KeyError, match=r"no default 'x'; there are mains\.frequency"):
        refdata.default("x")


@pytest.fixture
def fresh_cache():
    yield
    for cached in (refdata._folder, refdata.table, refdata.sources):
        cached.cache_clear()


@pytest.mark.usefixtures("fresh_cache")
def test_folder_inside_the_package_goes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    (tmp_path / "reference").mkdir()
    (tmp_path / "reference" / "one.csv").write_text("# source: X\nname,length_ohm\na,2\n")
    monkeypatch.setattr(refdata.resources, "files", lambda package: tmp_path)
    refdata._folder.cache_clear()
    assert refdata.table("one") == ({"name": "a", "length_ohm": 2.0},)


def test_import_stays_light():
    heavy = "{'pandas', 'scipy', 'matplotlib', 'pydantic'}"
    code = f"import sys, zcd.refdata; sys.exit(len({heavy} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
