"""The map of lost sync shows boundary, failing rules, supply band, boards and the board itself."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from tests.boards import stated
from tests.diagnosis.boards import board
from tests.drawing.test_waveforms import marked, words
from tests.jobs.demo_job import lost_below, share_lost, solved
from zcd.drawing.canvas import BLUE
from zcd.drawing.loss_map import HATCHES, loss_map_figure
from zcd.margin.loss_map import LossMap, loss_map
from zcd.margin.roots import broken_rule
from zcd.sync.lock import RULES


@cache
def drawn(name: str = "bridge", across: str = "temperature", up: str = "pull-up") -> Figure:
    return loss_map_figure(board(name), chart(name, across, up))


@cache
def chart(name: str, across: str, up: str) -> LossMap:
    return loss_map(stated(board(name)), across, up)


def test_axes_name_the_quantities_and_ticks_their_units() -> None:
    figure = loss_map_figure(solved().board, lost_below(0.2))
    figure.draw_without_rendering()
    (ax,) = figure.axes
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("mains voltage", "CTR")
    assert all(tick.get_text().endswith(" V") for tick in ax.get_xticklabels())
    assert "10 %" in [tick.get_text() for tick in ax.get_yticklabels()]
    assert (ax.get_xscale(), ax.get_yscale()) == ("linear", "log")


def test_boundary_is_drawn_where_it_was_found() -> None:
    result = lost_below(0.2)
    (line,) = marked(loss_map_figure(solved().board, result), "boundary")
    assert line.get_ydata() == pytest.approx(np.full(result.boundaries[0].up.size, 0.2), rel=1e-3)


def test_every_rule_has_a_hatching_of_its_own() -> None:
    assert list(HATCHES) == list(RULES)
    assert len(set(HATCHES.values())) == len(RULES)


def test_lost_areas_are_hatched_by_rule_and_the_legend_says_which() -> None:
    figure = loss_map_figure(solved().board, lost_below(0.1, rule="low time", above=1.2))
    for rule in ("low time", "high time"):
        (area,) = marked(figure, f"lost: {rule}")
        assert area.hatches == [HATCHES[rule]]
    (legend,) = figure.legends
    assert [text.get_text() for text in legend.get_texts()] == [
        "low time (pulse too short)",
        "high time (pause too short)",
    ]
    assert [patch.get_hatch() for patch in legend.get_patches()] == [
        HATCHES["low time"],
        HATCHES["high time"],
    ]


def test_the_rule_stands_in_its_area() -> None:
    """In the middle of the axes' share that is lost."""
    (text,) = marked(loss_map_figure(solved().board, lost_below(0.2, rule="low time")), "rule")
    assert text.get_text() == "low time"
    result = lost_below(0.2)
    assert text.get_position()[1] < result.up.share(0.2)


def test_an_area_too_narrow_for_its_name_is_pointed_at() -> None:
    """High time fails in a band too narrow for words: they stand beside it, and a line leads in."""
    figure = drawn()
    lattice = chart("bridge", "temperature", "pull-up").lattice
    kinds = broken_rule(lattice.margins)
    named = {text.get_position(): text.get_text() for text in marked(figure, "rule")}
    assert {"high time", "pin never high"} <= set(named.values())
    pointed = set()
    for line in marked(figure, "pointer"):
        start, end = line.get_xydata()
        column, row = np.round(end * (lattice.places.size - 1)).astype(int)
        nearest = min(named, key=lambda at: np.hypot(*(start - at)))
        assert RULES[kinds[row, column]] == named[nearest]
        pointed.add(named[nearest])
    assert "high time" in pointed


def test_closed_curves_are_drawn_closed() -> None:
    result = lost_below(0.2)
    curve = result.boundaries[0]
    ring = type(curve)(across=curve.across, up=curve.up, rules=curve.rules, closed=True)
    closed = type(result)(
        **{
            name: (ring,) if name == "boundaries" else getattr(result, name)
            for name in LossMap.__slots__
        }
    )
    (line,) = marked(loss_map_figure(solved().board, closed), "boundary")
    assert line.get_xdata()[0] == line.get_xdata()[-1]


def test_supply_band_wherever_the_mains_is() -> None:
    mains = solved().board.mains
    (band,) = marked(loss_map_figure(solved().board, lost_below(0.2)), "supply-band")
    edges = (mains.low_rms_v, mains.high_rms_v)
    assert (band.get_x(), band.get_x() + band.get_width()) == pytest.approx(edges)
    mains = board("half-wave").mains
    (band,) = marked(drawn("half-wave", "frequency", "mains"), "supply-band")
    edges = (mains.low_rms_v, mains.high_rms_v)
    assert (band.get_y(), band.get_y() + band.get_height()) == pytest.approx(edges)
    assert not marked(drawn(), "supply-band")


def test_board_and_its_reach() -> None:
    figure = loss_map_figure(solved().board, lost_below(0.2))
    (here,) = marked(figure, "here")
    assert (here.get_xdata()[0], here.get_ydata()[0]) == (120.0, 1.0)
    caption = figure.axes[0].get_title(loc="left")
    assert "large dot: this board, 120 V, 100 %; blue band: supply, 114 to 126 V" in caption
    assert "arrow: limit 20 %, reserve factor 5" in caption
    assert len(marked(figure, "reach")) == 1


LOST_BELOW = (
    "At 120 V, a typical optocoupler loses sync once its CTR is below 20 % of what it was when new"
)


@pytest.mark.parametrize(
    ("found", "title", "arrows"),
    [
        (lost_below(0.2), LOST_BELOW, 1),
        (
            lost_below(0.2, above=1.2),
            "its CTR is below 20 % or above 120 % of what it was when new",
            2,
        ),
        (lost_below(0.2, here=0.1), "No sync as described: the edge is too far", 0),
        (lost_below(0.005), "This board keeps sync at every value tried", 0),
    ],
)
def test_title_and_arrows(found: LossMap, title: str, arrows: int) -> None:
    figure = loss_map_figure(solved().board, found)
    assert title in " ".join(figure.get_suptitle().split())
    assert len(marked(figure, "reach")) == arrows


def test_boards_within_tolerance_are_shaded_dotted_and_explained() -> None:
    result = lost_below(0.2)
    share = share_lost(result)
    figure = loss_map_figure(solved().board, result, share)
    (cloud,) = marked(figure, "cloud")
    assert list(cloud.get_xdata()) == list(share.cloud_across)
    assert to_rgb(cloud.get_color()) == to_rgb(BLUE)
    assert "share lost of 16 boards within tolerance" in figure.axes[0].get_title(loc="left")
    assert not marked(loss_map_figure(solved().board, result), "cloud")


def test_map_without_any_loss_is_drawn_without_shading() -> None:
    result = lost_below(0.005)
    figure = loss_map_figure(solved().board, result, share_lost(result))
    figure.draw_without_rendering()
    assert not marked(figure, "boundary")
    assert not figure.legends


def test_headroom_in_the_picture_is_that_of_the_check() -> None:
    case = solved()
    figure = loss_map_figure(case.board, loss_map(case.board))
    factor = case.check.headrooms["ctr"].factor_ratio
    assert f"reserve factor {factor:.3g}" in words(figure)


@pytest.mark.parametrize(("across", "up"), [("chain", "temperature"), ("ctr", "R1")])
def test_any_pair_can_be_drawn(across: str, up: str) -> None:
    figure = drawn("half-wave", across, up)
    figure.draw_without_rendering()
    assert marked(figure, "here")
    assert figure.get_suptitle()
