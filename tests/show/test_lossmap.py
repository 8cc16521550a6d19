"""The map of lost sync shows boundary, failing rule, supply band and the board itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.show.demo import HOLDS, lost_below, solved
from tests.show.test_waveform import marked, words
from zcd.board.files import parse_board
from zcd.margin.maps import LossMap, loss_map
from zcd.show.lossmap import loss_map_figure

BOUNDARY = (0.8, 0.4, 0.2, 0.1, 0.05)


def test_axes_and_boundary() -> None:
    figure = loss_map_figure(solved().board, lost_below(*BOUNDARY))
    (ax,) = figure.axes
    assert ax.get_xlabel() == "mains voltage [V rms]"
    assert ax.get_ylabel() == "remaining CTR [%]"
    (line,) = marked(figure, "boundary")
    assert line.get_ydata() == pytest.approx(100.0 * np.array(BOUNDARY))


def test_lost_area_is_hatched_and_names_the_rule() -> None:
    figure = loss_map_figure(solved().board, lost_below(*BOUNDARY, rule="low time"))
    (area,) = marked(figure, "lost")
    assert area.get_hatch()
    assert "no lock: low time" in words(figure)


def test_each_failing_rule_is_named_in_its_part() -> None:
    whole = lost_below(*BOUNDARY)
    parts = LossMap(
        **{name: getattr(whole, name) for name in LossMap.__slots__ if name != "rules"},
        rules=("pin never low", "pin never low", "transition", "transition", None),
    )
    figure = loss_map_figure(solved().board, parts)
    assert [text.get_text() for text in marked(figure, "rule")] == [
        "no lock: pin never low",
        "no lock: transition",
    ]


def too_strong(*upper_ratio: float, here: float = 1.0) -> LossMap:
    """A map made by hand, lost below 20 % and, where a number is given, above that too."""
    whole = lost_below(*(0.2 for _ in upper_ratio), here=here)
    return replace(
        whole,
        upper_ratio=np.array(upper_ratio),
        upper_rules=tuple("high time" if np.isfinite(r) else None for r in upper_ratio),
    )


def test_area_where_the_part_is_too_strong_is_drawn_apart() -> None:
    figure = loss_map_figure(solved().board, too_strong(np.nan, np.nan, 0.8, 0.6, 0.5))
    (area,) = marked(figure, "too strong")
    assert area.get_hatch() == "///"
    (below,) = marked(figure, "lost")
    assert below.get_hatch() != area.get_hatch()
    (path,) = area.get_paths()
    assert path.get_extents().extents == pytest.approx((180.0, 50.0, 260.0, 100.0))
    (line,) = marked(figure, "upper boundary")
    assert line.get_ydata() == pytest.approx([np.nan, np.nan, 80.0, 60.0, 50.0], nan_ok=True)
    assert "no lock, too strong: high time" in words(figure)


def test_without_too_strong_a_part_nothing_is_drawn_of_it() -> None:
    figure = loss_map_figure(solved().board, lost_below(*BOUNDARY))
    assert not marked(figure, "too strong")
    assert not marked(figure, "upper boundary")
    assert "too strong" not in words(figure)


def test_board_with_too_strong_a_part_has_no_headroom() -> None:
    """Above the upper boundary there is no lock: title and label must say the same."""
    figure = loss_map_figure(solved().board, too_strong(0.5, 0.5, 0.5))
    title = "At 230 V the part is too strong: sync is lost above 50 %"
    assert title in figure.get_suptitle()
    assert "headroom" not in words(figure)


def test_board_below_the_upper_boundary_keeps_its_title() -> None:
    figure = loss_map_figure(solved().board, too_strong(0.5, 0.5, 0.5, here=0.4))
    assert "At 230 V sync is lost below 20 % of the CTR" in figure.get_suptitle()
    assert "CTR headroom 2" in words(figure)


def test_board_that_is_too_strong_is_drawn_from_its_own_map() -> None:
    """Pull-up and chain such that a bridge's pin does not come up in time."""
    text = HOLDS.replace("[chain]", '[chain]\ntopology = "bridge"').replace(
        '"switched"', '"direct"'
    )
    board = parse_board(text)
    found = loss_map(board, points=15)
    figure = loss_map_figure(board, found)
    (area,) = marked(figure, "too strong")
    finite = np.isfinite(found.upper_ratio)
    assert area.get_paths()[0].get_extents().x1 == pytest.approx(found.mains_rms_v[finite][-1])
    assert "no lock, too strong: high time" in words(figure)


def test_supply_band_and_board() -> None:
    board = solved().board
    figure = loss_map_figure(board, lost_below(*BOUNDARY))
    (band,) = marked(figure, "supply-band")
    assert (band.get_x(), band.get_x() + band.get_width()) == pytest.approx(
        (board.mains.low_rms_v, board.mains.high_rms_v)
    )
    (here,) = marked(figure, "here")
    assert (here.get_xdata()[0], here.get_ydata()[0]) == (230.0, 100.0)
    assert "this board: 230 V, 100 %" in words(figure)


@pytest.mark.parametrize(
    ("found", "title", "label", "arrows"),
    [
        (lost_below(0.2, 0.2, 0.2), "At 230 V sync is lost below 20 % of the CTR", "headroom 5", 1),
        (lost_below(0.2, 0.2, 0.2, here=0.1), "sync is lost below 20 %", "CTR short by 2", 1),
        (lost_below(np.nan, np.nan), "At 230 V no CTR up to 100 % gives lock", "100 %", 0),
        (lost_below(0.01, 0.01), "At 230 V sync is kept down to 1 % of the CTR", "100 %", 0),
    ],
)
def test_title_and_headroom(found: LossMap, title: str, label: str, arrows: int) -> None:
    figure = loss_map_figure(solved().board, found)
    assert title in figure.get_suptitle()
    assert label in words(figure)
    assert len(marked(figure, "headroom")) == arrows


def test_headroom_in_the_picture_is_that_of_the_check() -> None:
    case = solved()
    figure = loss_map_figure(case.board, loss_map(case.board))
    assert f"CTR headroom {case.check.headrooms['ctr'].factor:.3g}" in words(figure)
