"""The figure of where sync is lost: mains voltage against what is left of the CTR."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.margin.maps import LossMap
from zcd.show.canvas import BLUE, GREY, LEFT, LIGHT, WHITE, drawing, new_figure
from zcd.show.wording import plain, quantity_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]


def loss_map_figure(board: Board, loss_map: LossMap) -> Figure:
    """Where sync is lost: mains voltage against what is left of the CTR.

    Parameters
    ----------
    board : Board
        Gives name and supply band.
    loss_map : LossMap

    Returns
    -------
    figure : Figure
        One axes; the lost area carries the label ``lost``, the board's own point ``here``.
    """
    limit = _limit_here(loss_map)
    with drawing():
        figure = new_figure("loss-map", 7.2, 4.8)
        ax = figure.subplots()
        ax.set_yscale("log")
        bottom = min(loss_map.lowest_ratio, loss_map.here[1] / 1.3)
        ax.set_ylim(100.0 * bottom, 100.0 * 4.0 * loss_map.highest_ratio)
        ax.set_xlim(loss_map.mains_rms_v[0], loss_map.mains_rms_v[-1])
        _draw_lost_area(ax, loss_map)
        _draw_supply_band(ax, board)
        _draw_here(ax, loss_map, limit)
        ticks = [t for t in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100) if t >= 100.0 * bottom]
        ax.set_yticks(ticks, [f"{t:g}" for t in ticks])
        ax.set_yticks([], minor=True)
        ax.set_xlabel("mains voltage [V rms]")
        ax.set_ylabel("remaining CTR [%]")
        figure.suptitle(_map_title(loss_map, limit), weight="bold", **LEFT)
        celsius = quantity_text(loss_map.temperature_degc, "°C")
        subtitle = f"{plain(board.name)}\ntypical part of its grade, {celsius}"
        ax.set_title(subtitle, loc="left")
    return figure


def _limit_here(loss_map: LossMap) -> float:
    """Remaining CTR at which lock is lost at the board's mains voltage; nan: it never locks."""
    logs = np.log(loss_map.boundary_ratio)
    return float(np.exp(np.interp(loss_map.here[0], loss_map.mains_rms_v, logs)))


def _upper_here(loss_map: LossMap) -> float:
    """Remaining CTR above which the part is too strong at the board's mains; inf: none."""
    upper = float(np.interp(loss_map.here[0], loss_map.mains_rms_v, loss_map.upper_ratio))
    return upper if np.isfinite(upper) else np.inf


def _map_title(loss_map: LossMap, limit: float) -> str:
    mains = quantity_text(loss_map.here[0], "V")
    upper = _upper_here(loss_map)
    if loss_map.here[1] > upper:
        return f"At {mains} the part is too strong: sync is lost above {100.0 * upper:.2g} %"
    if np.isnan(limit):
        return f"At {mains} no CTR up to {100.0 * loss_map.highest_ratio:g} % gives lock"
    if limit <= loss_map.lowest_ratio * 1.001:
        return f"At {mains} sync is kept down to {100.0 * loss_map.lowest_ratio:.2g} % of the CTR"
    return f"At {mains} sync is lost below {100.0 * limit:.2g} % of the CTR"


def _draw_lost_area(ax: Axes, loss_map: LossMap) -> None:
    mains, lowest = loss_map.mains_rms_v, loss_map.lowest_ratio
    never_locks = np.isnan(loss_map.boundary_ratio)
    edge = 100.0 * np.where(never_locks, loss_map.highest_ratio, loss_map.boundary_ratio)
    bottom = ax.get_ylim()[0]
    lost = np.where(edge > 100.1 * lowest, edge, bottom)
    ax.fill_between(
        mains, bottom, lost, facecolor=LIGHT, edgecolor="0.6", hatch="\\\\\\", lw=0.0, label="lost"
    )
    ax.plot(mains, np.where(lost > bottom, edge, np.nan), color="black", lw=2.0, label="boundary")
    ax.axhline(100.0 * loss_map.highest_ratio, color=GREY, lw=0.6, zorder=0)
    for rule, group in groupby(range(mains.size), key=lambda k: loss_map.rules[k]):
        if rule is not None:
            _name_area(ax, mains, lost / bottom, np.array(list(group)), rule)
    _draw_too_strong(ax, loss_map)


def _draw_too_strong(ax: Axes, loss_map: LossMap) -> None:
    """Where the part gives so much that the pin does not come up again."""
    strong = np.isfinite(loss_map.upper_ratio)
    if not np.any(strong):
        return
    mains, top = loss_map.mains_rms_v, 100.0 * loss_map.highest_ratio
    edge = np.where(strong, 100.0 * loss_map.upper_ratio, np.nan)
    ax.fill_between(
        mains, edge, top, where=strong, facecolor=LIGHT, edgecolor="0.6", hatch="///", lw=0.0,
        label="too strong",
    )  # fmt: skip
    ax.plot(mains, edge, color="black", lw=2.0, label="upper boundary")
    for rule, group in groupby(range(mains.size), key=lambda k: loss_map.upper_rules[k]):
        run = np.array(list(group))
        if rule is not None and run.size > 0.2 * mains.size:
            k = int(run[run.size // 2])
            text = f"no lock, too strong: {rule}"
            y = float(np.sqrt(edge[k] * top))
            ax.text(mains[k], y, text, ha="center", va="center", bbox=WHITE, label="rule")


def _name_area(
    ax: Axes, mains: FloatArray, height: FloatArray, run: NDArray[np.intp], rule: str
) -> None:
    """Write the failing rule where its part of the lost area is roomiest."""
    inside = np.minimum(run - run[0], run[-1] - run) + 0.5
    k = int(run[np.argmax(np.log(height[run]) * inside)])
    if height[k] <= 1.0:
        return
    narrow = run.size < 0.2 * mains.size
    text = f"no lock: {rule}"
    y = ax.get_ylim()[0] * np.sqrt(height[k])
    turn = 90.0 if narrow else 0.0
    edge = 0.02 * np.ptp(mains)
    x = np.clip(mains[k], mains[0] + edge, mains[-1] - edge)
    ax.text(x, y, text, ha="center", va="center", rotation=turn, bbox=WHITE, label="rule")


def _draw_supply_band(ax: Axes, board: Board) -> None:
    low, high = board.mains.low_rms_v, board.mains.high_rms_v
    ax.axvspan(low, high, facecolor=BLUE, alpha=0.15, lw=0.0, label="supply-band")
    for edge in (low, high):
        ax.axvline(edge, color=BLUE, lw=1.0, ls="--")
    text = f"supply band\n{low:.0f} to {high:.0f} V"
    middle, over = (low + high) / 2.0, ax.get_xaxis_transform()
    ax.text(middle, 0.985, text, transform=over, ha="center", va="top")


def _draw_here(ax: Axes, loss_map: LossMap, limit: float) -> None:
    volts, ratio = loss_map.here
    ax.plot(
        volts,
        100.0 * ratio,
        marker="o",
        ms=9,
        color="black",
        markeredgecolor="white",
        ls="none",
        clip_on=False,
        zorder=6,
        label="here",
    )
    text = f"this board: {quantity_text(volts, 'V')}, {100.0 * ratio:.3g} %"
    has_limit = np.isfinite(limit) and limit > 1.001 * loss_map.lowest_ratio
    if has_limit and ratio <= _upper_here(loss_map):
        arrow = {"arrowstyle": "->", "lw": 1.4, "shrinkA": 5.0, "shrinkB": 0.0}
        start, end = (volts, 100.0 * ratio), (volts, 100.0 * limit)
        ax.annotate("", xy=end, xytext=start, arrowprops=arrow, label="headroom")
        factor = ratio / limit
        short = factor < 1.0
        text += f"\nCTR {'short by' if short else 'headroom'} {max(factor, 1.0 / factor):.3g}"
    ax.annotate(
        text,
        xy=(volts, 100.0 * ratio),
        xytext=(-6.0, 3.0),
        textcoords="offset points",
        ha="right",
        va="bottom",
        bbox=WHITE,
        zorder=5,
    )
