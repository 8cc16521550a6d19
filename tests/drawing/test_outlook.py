"""What lies ahead of a board, in words, pictures and for other programs."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from numpy.testing import assert_allclose

from tests.jobs.demo_job import course, lost_below, outlook, share_lost, solved
from tests.report.test_of_check_dict import numbers
from tests.report.test_terminal import printed, squeezed
from zcd.drawing.figures import save_plots
from zcd.drawing.outlook import sensitivity_figure, years_figure
from zcd.jobs.job_sheet import report_document, write_report
from zcd.margin.ageing import YEARS
from zcd.margin.check import Check
from zcd.margin.sensitivity import LADDER
from zcd.refdata import UNITS
from zcd.report.of_outlook import sensitivity_table
from zcd.serialize import to_dict


def whole() -> Check:
    return replace(solved().check, outlook=outlook())


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_no_line_is_wider_than_80_columns(encoding: str) -> None:
    assert max(map(len, printed(whole(), encoding=encoding).splitlines())) <= 80


def test_what_decides_is_said_in_a_sentence() -> None:
    text = squeezed(printed(whole()))
    assert "CTR of OC1 makes 71 % (69 to 73 %) of the spread of the CTR reserve" in text
    assert "of 20 boards one has less than 8.8, one has more than 35." in text
    assert "CTR of OC1 71 % 69 to 73 % 70 %" in text
    assert "mains voltage 15 to 26 % 15 to 26 % 18 %" in text
    assert "together with others; of 2 % it is not known what makes it." in text


def test_nothing_decides_where_all_boards_are_alike() -> None:
    known = outlook().sensitivity
    nothing = np.zeros(3)
    alike = replace(
        known,
        total=nothing,
        first=nothing,
        total_low=nothing,
        total_high=nothing,
        unexplained_ratio=0.0,
    )
    table = sensitivity_table(alike)
    assert table.rows == ()
    assert table.remark.startswith("Nothing that may differ moves the CTR reserve")


def test_one_in_twenty_without_lock_is_said() -> None:
    weak = replace(outlook().sensitivity, headroom_low_ratio=float(np.exp(LADDER[0])))
    assert (
        "of 20 boards one gets no lock at any CTR, one has more" in sensitivity_table(weak).remark
    )


def test_years_of_both_views_stand_side_by_side() -> None:
    text = squeezed(printed(whole()))
    assert "worst corner of all tolerances 7.5 years from the beginning" in text
    assert "worst 1 % of boards 26 years not in 40 years" in text
    assert "Mains at the chain for 4000 h a year, as the feed is switched; chain" in text


def test_outlook_leaves_the_verdict_alone() -> None:
    assert whole().passes is solved().check.passes
    assert len(whole().every_rule) == len(solved().check.every_rule)


def test_record_is_json_with_units() -> None:
    record = to_dict(whole())
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    for key, _ in numbers(record["outlook"]):
        assert key.rpartition("_")[2] in {*UNITS, "years"}, key
    assert record["outlook"]["ageing"]["views"]["acceleration"]["first_years"] is None


def labelled(ax: Axes, label: str) -> list[object]:
    return [artist for artist in ax.get_children() if artist.get_label() == label]


def test_bars_have_the_length_of_the_shares() -> None:
    figure = sensitivity_figure(solved().board, outlook().sensitivity)
    (ax,) = figure.axes
    total, first, _ = ax.containers
    assert_allclose([bar.get_width() for bar in total], [71.0, 20.0, 0.4])
    assert_allclose([bar.get_width() for bar in first], [70.0, 18.0, 0.0])
    assert {bar.get_hatch() for bar in total} == {"///"}
    assert figure._suptitle.get_text().startswith("CTR of OC1 makes 71 %")


def test_both_views_are_drawn_on_the_same_scales() -> None:
    figure = years_figure(solved().board, outlook().ageing)
    left, right = figure.axes
    assert left.get_xlim() == right.get_xlim() == (0.0, YEARS[-1])
    assert left.get_ylim() == right.get_ylim()
    assert left.get_title(loc="left") == (
        "maker's design rule, sync lost\nworst corner: 7.5 years\n"
        "worst 1 % of boards: 26 years\nmedian board: not in 40 years"
    )
    assert right.get_title(loc="left").startswith(
        "current and temperature, sync lost\nworst corner: from the beginning\n"
    )
    for ax in (left, right):
        (middle,), (corner,) = labelled(ax, "middle"), labelled(ax, "corner")
        computed = np.isin(middle.get_xdata(), YEARS)
        straight = 100.0 * (0.7 - np.linspace(0, 1, YEARS.size))
        assert_allclose(middle.get_ydata()[computed], straight)
        assert middle.get_linestyle() != corner.get_linestyle()
    (mark,) = labelled(left, "worst 1 % of boards lost")
    assert_allclose(mark.get_xdata(), 26.5)
    assert not labelled(right, "worst 1 % of boards lost")


@pytest.mark.parametrize(
    ("first", "words"),
    [
        (26.5, "26 years"),
        (np.inf, "not in 40 years"),
        (0.0, "from the beginning"),
    ],
)
def test_title_says_when_the_worst_and_the_first_ones_fail(first: float, words: str) -> None:
    ageing = replace(
        outlook().ageing,
        courses={"design rule": course(first, 30.0, 0.0)}
        | {"acceleration": course(np.inf, np.inf, np.inf)},
    )
    title = years_figure(solved().board, ageing)._suptitle.get_text()
    assert title.replace("\n", " ").endswith(
        f"worst corner from the beginning, worst 1 % of boards {words}"
    )


def test_report_and_folder_have_the_pictures(tmp_path: Path) -> None:
    one, lost = solved(), replace(lost_below(0.2), share=share_lost(lost_below(0.2)))
    pages = report_document(
        board=one.board, check=whole(), solution=one.solution, lock=one.lock,
        lost=lost,
    )  # fmt: skip
    path = write_report(tmp_path / "r.html", pages)
    text = path.read_text(encoding="utf-8")
    for name in ("picture-decides", "picture-years"):
        assert f'id="{name}"' in text
    assert "Years until sync is lost" in text
    paths = save_plots(
        tmp_path / "plots", board=one.board, solution=one.solution, lock=one.lock, loss_map=lost,
        outlook=outlook(),
    )  # fmt: skip
    assert [p.name for p in paths][-2:] == ["what-decides.png", "years.png"]
