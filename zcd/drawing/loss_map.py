"""The figure of where sync is lost: over any two quantities, with the cause told by hatching."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import ceil
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.drawing.canvas import (
    BLUE,
    LEFT,
    LIGHT,
    WHITE,
    WIDTH_IN,
    drawing,
    new_figure,
    title_lines,
)
from zcd.errors import plain
from zcd.margin.loss_map import LossMap
from zcd.margin.loss_share import LINES, LossShare
from zcd.margin.quantities import Quantity
from zcd.margin.roots import broken_rule
from zcd.report.of_loss_map import axis_text, end_text, here_text, loss_map_title, value_text
from zcd.report.text import percent_text, quantity_text, rule_text
from zcd.sync.lock import RULES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HATCHES = dict(zip(RULES, ("\\\\\\", "///", "ooo", "|||", "---", "...", "xxx", "+++"), strict=True))
"""Told apart in black and white: one for each rule."""
LEVEL, UPRIGHT = (5.0, 1.35), (3.0, 2.5)
"""Room that words take, level and upright: across their lines, and for each letter along them; in
lines of a lattice of 97, of which the ones that go up are closer than those that go across."""
MARKER_SHARE = 0.03
"""Of both axes: nearer to the board's point, words would stand on its marker."""
MIN_SHARE = 1e-3
"""Of the plane: a smaller area cannot be seen, nor is it in the legend."""
TICK_STEPS = (1.0, 2.0, 5.0)
CAPTION_LETTERS = 96
"""So many fit into a line of the caption."""
NO_FIELD, WORDS = -1, -2
"""Places where no words may stand, and where some do, or a line leads from them."""
MOST_TRIED = 2000
"""Places near an area that are tried for its name."""


def loss_map_figure(
    board: Board,
    loss_map: LossMap,
    loss_share: LossShare | None = None,
    *,
    width_in: float | None = None,
) -> Figure:
    """Where sync is lost over two quantities.

    Parameters
    ----------
    board : Board
        Gives name and supply band.
    loss_map : LossMap
    loss_share : LossShare, optional
        Of the same map: shades the share of boards that lose sync, and shows where boards lie.
    width_in : float, optional
        Of a drawing without title and caption, which stand beside it; narrower than `WIDTH_IN` it
        names the lost areas in its legend alone.

    Returns
    -------
    figure : Figure
        One axes; a lost area carries the label ``lost: RULE``, each curve of the boundary
        ``boundary``, the board's own point ``here``.
    """
    with drawing():
        figure = new_figure("loss-map", width_in or WIDTH_IN, 5.3 if width_in is None else 4.2)
        ax = figure.subplots()
        if width_in is None:
            draw_loss_map(ax, board, loss_map, loss_share)
            figure.suptitle(title_lines(loss_map_title(loss_map)), weight="bold", **LEFT)
        else:
            _draw(ax, board, loss_map, loss_share, narrow=width_in < WIDTH_IN)
    return figure


def draw_loss_map(
    ax: Axes, board: Board, loss_map: LossMap, loss_share: LossShare | None = None
) -> None:
    """The same into given axes, without the figure's title."""
    _draw(ax, board, loss_map, loss_share)
    lines = loss_map_caption(board, loss_map, loss_share)
    ax.set_title("\n".join(title_lines(line, CAPTION_LETTERS) for line in lines), loc="left")


def _draw(
    ax: Axes,
    board: Board,
    loss_map: LossMap,
    loss_share: LossShare | None,
    *,
    narrow: bool = False,
) -> None:
    _set_axes(ax, loss_map, narrow=narrow)
    _draw_lost_areas(ax, loss_map, None if narrow else _fields(board, loss_map, loss_share))
    if loss_share is not None:
        _draw_share(ax, loss_map, loss_share)
    for curve in loss_map.boundaries:
        close = np.s_[:] if not curve.closed else np.append(np.arange(curve.up.size), 0)
        ax.plot(curve.across[close], curve.up[close], color="black", lw=2.0, label="boundary")
    _draw_supply_band(ax, board, loss_map)
    _draw_here(ax, loss_map)


def loss_map_caption(
    board: Board, loss_map: LossMap, loss_share: LossShare | None = None
) -> list[str]:
    """What is drawn, in lines of words, as words inside the axes would stand on its lines."""
    typical = "line and hatching: a board with a typical part of its grade"
    keys = (loss_map.across.key, loss_map.up.key)
    if "temperature" not in keys:
        typical += f", {quantity_text(loss_map.temperature_degc, '°C')}"
    ends = [end_text(quantity, end) for quantity, end, _ in _reaches(loss_map)]
    lines = [plain(board.name), typical, here_text(loss_map)]
    if "mains" in keys:
        low, high = board.mains.low_rms_v, board.mains.high_rms_v
        lines[-1] += f"; blue band: supply, {low:.0f} to {high:.0f} V"
    if ends:
        lines.append(f"arrow{'s' * (len(ends) > 1)}: {'; '.join(ends)}")
    if loss_share is not None:
        here = percent_text(loss_share.here(loss_map).ratio)
        low_text, high_text = map(percent_text, LINES)
        lines.append(
            f"shading: share lost of {loss_share.boards} boards within tolerance, "
            f"here {here}; dotted lines: {low_text} and {high_text}"
        )
        lines.append(f"blue dots: where {loss_share.cloud_up.size} such boards lie")
    return lines


def _set_axes(ax: Axes, loss_map: LossMap, *, narrow: bool) -> None:
    """Ranges, scales and ticks with their units."""
    for quantity, axis, set_lim, set_scale in (
        (loss_map.across, ax.xaxis, ax.set_xlim, ax.set_xscale),
        (loss_map.up, ax.yaxis, ax.set_ylim, ax.set_yscale),
    ):
        if quantity.logarithmic:
            set_scale("log")
            ticks = list(_log_ticks(quantity, narrow=narrow and axis is ax.xaxis))
            axis.set_ticks(ticks, [value_text(quantity, t) for t in ticks])
            axis.set_ticks([], minor=True)
        else:
            axis.set_major_formatter(_formatter(quantity))
        axis.set_label_text(axis_text(quantity))
        set_lim(quantity.low, quantity.high)


def _formatter(quantity: Quantity) -> Callable[[float, float], str]:
    """What writes a tick with its unit."""
    return lambda value, _: value_text(quantity, value)


def _log_ticks(quantity: Quantity, *, narrow: bool) -> Iterator[float]:
    """1, 2, 5 of each decade; over many decades only 1."""
    first, last = np.floor(np.log10(quantity.low)), np.ceil(np.log10(quantity.high))
    steps = TICK_STEPS if last - first <= (1 if narrow else 4) else TICK_STEPS[:1]
    for decade in np.arange(first, last + 1):
        for step in steps:
            tick = step * 10.0**decade
            if quantity.low <= tick <= quantity.high:
                yield float(tick)


def _draw_lost_areas(ax: Axes, loss_map: LossMap, fields: NDArray[np.int_] | None) -> None:
    """Each rule's part of the lost area in a hatching of its own; named where there are fields."""
    from matplotlib.patches import Patch

    margins, places = loss_map.lattice.margins, loss_map.lattice.places
    across, up = loss_map.across.value(places), loss_map.up.value(places)
    kinds = broken_rule(margins)
    handles, own_areas = [], {}
    ax.contourf(across, up, -margins.min(axis=2), levels=[0.0, np.inf], colors=[LIGHT])
    for kind, rule in enumerate(RULES):
        if np.mean(kinds == kind) < MIN_SHARE:
            continue
        # positive where this rule is broken and none before it, and straight in between
        only = np.min(np.concatenate([-margins[..., kind, None], margins[..., :kind]], -1), -1)
        area = ax.contourf(
            across, up, only, levels=[0.0, np.inf], colors="none", hatches=[HATCHES[rule]]
        )
        area.set(edgecolor="0.55", linewidth=0.0, label=f"lost: {rule}")
        words = rule_text(rule)
        handles.append(Patch(facecolor=LIGHT, edgecolor="0.55", hatch=HATCHES[rule], label=words))
        own_areas[rule] = kinds == kind
    if fields is not None:
        free = np.where(fields == NO_FIELD, NO_FIELD, (kinds + 1) * (fields.max() + 1) + fields)
        for rule in [r for r, own in own_areas.items() if not _name_inside(ax, free, own, r)]:
            _name_beside(ax, free, own_areas[rule], rule)
    if handles:
        ax.figure.legend(
            handles=handles, loc="outside lower center", ncols=1 if fields is None else 3,
            title="no lock because of", frameon=False, handleheight=1.6, handlelength=2.6,
        )  # fmt: skip


def _fields(board: Board, loss_map: LossMap, loss_share: LossShare | None) -> NDArray[np.int_]:
    """Number of the field, between dotted lines and edges of the supply band, of each point."""
    places = loss_map.lattice.places
    fields = np.zeros((places.size, places.size), dtype=int)
    if loss_share is not None:
        fields += np.digitize(loss_share.lost_ratio, LINES)
    edges = [board.mains.low_rms_v, board.mains.high_rms_v]
    for quantity, turned in ((loss_map.across, np.s_[None, :]), (loss_map.up, np.s_[:, None])):
        if quantity.key == "mains":
            fields += 3 * np.digitize(quantity.value(places), edges)[turned]
    near = [
        np.abs(places - quantity.share(quantity.here)) < MARKER_SHARE
        for quantity in (loss_map.across, loss_map.up)
    ]
    fields[np.outer(near[1], near[0])] = NO_FIELD
    for _, _, (across, up) in _reaches(loss_map):
        steps = np.linspace(0.0, 1.0, places.size)
        ends = (loss_map.up, up), (loss_map.across, across)
        shares = (np.interp(steps, [0, 1], q.share(np.array([q.here, to]))) for q, to in ends)
        fields[_lines(places, *shares)] = NO_FIELD
    if loss_share is not None:
        up_share = loss_map.up.share(loss_share.cloud_up)
        across_share = loss_map.across.share(loss_share.cloud_across)
        fields[_lines(places, up_share, across_share)] = NO_FIELD
    return fields


def _lines(
    places: NDArray[np.float64], up: NDArray[np.float64], across: NDArray[np.float64]
) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """Lines of the lattice that are nearest to shares of both axes."""
    last = places.size - 1
    rows, columns = (np.round(np.clip(s, 0.0, 1.0) * last).astype(int) for s in (up, across))
    return rows, columns


def _boxes(fields: NDArray[np.int_], rule: str) -> tuple[tuple[int, int], tuple[int, int]]:
    """Half the sides of its words in lines of the lattice, up and across: level, then upright."""
    half = len(fields) / 97.0 / 2.0
    return (
        (ceil(half * LEVEL[0]), ceil(half * LEVEL[1] * len(rule))),
        (ceil(half * UPRIGHT[1] * len(rule)), ceil(half * UPRIGHT[0])),
    )


def _depth(area: NDArray[np.bool_]) -> NDArray[np.float64]:
    """How far each point of an area is from its end, or the map's."""
    from scipy.ndimage import distance_transform_edt

    return np.asarray(distance_transform_edt(np.pad(area, 1))[1:-1, 1:-1])


def _room(fields: NDArray[np.int_], half: tuple[int, int]) -> NDArray[np.float64]:
    """How far from the end of its field each point is on which a box fits; elsewhere 0."""
    from scipy.ndimage import binary_erosion

    window = np.ones([2 * side + 1 for side in half], dtype=bool)
    room = np.zeros(fields.shape)
    for number in np.unique(fields[fields > NO_FIELD]):
        own = fields == number
        if np.any(fits := binary_erosion(own, window)):
            room += np.where(fits, _depth(own), 0.0)
    return room


def _name_inside(ax: Axes, fields: NDArray[np.int_], area: NDArray[np.bool_], rule: str) -> bool:
    """Write the rule where its area has most room, level or upright; whether there is room."""
    for half, turn in zip(_boxes(fields, rule), (0.0, 90.0), strict=True):
        room = _room(np.where(area, fields, NO_FIELD), half)
        if np.any(room):
            _write(ax, fields, _at_most(room), half, rule, rotation=turn)
            return True
    return False


def _name_beside(ax: Axes, fields: NDArray[np.int_], area: NDArray[np.bool_], rule: str) -> None:
    """Write the rule near its area, with a line to its widest place; the legend has it anyway."""
    half = _boxes(fields, rule)[0]
    widest = np.array(_at_most(_depth(area)))
    rooms = np.argwhere(_room(fields, half) > 0.0)
    for place in rooms[np.argsort(np.hypot(*(rooms - widest).T))][:MOST_TRIED]:
        reach = np.abs(widest - place) / half
        if reach.max() <= 1.0:
            continue
        start = place + (widest - place) / reach.max()
        along = np.linspace(start, widest, 2 * len(fields)).round().astype(int).T
        if WORDS not in fields[along[0], along[1]]:
            points = np.array([start, widest])[:, ::-1] / (len(fields) - 1)
            ax.plot(*points.T, transform=ax.transAxes, color="black", lw=0.8, marker=".", ms=5,
                    markevery=[1], label="pointer")  # fmt: skip
            fields[along[0], along[1]] = WORDS
            _write(ax, fields, (int(place[0]), int(place[1])), half, rule)
            return


def _at_most(values: NDArray[np.float64]) -> tuple[int, int]:
    """Row and column of the largest value."""
    row, column = np.unravel_index(np.argmax(values), values.shape)
    return int(row), int(column)


def _write(
    ax: Axes, fields: NDArray[np.int_], place: tuple[int, int], half: tuple[int, int],
    words: str, rotation: float = 0.0,
) -> None:  # fmt: skip
    """Write words, and take their box out of the fields."""
    y, x = np.array(place) / (len(fields) - 1)
    ax.text(
        x, y, words, transform=ax.transAxes, rotation=rotation,
        ha="center", va="center", bbox=WHITE, label="rule",
    )  # fmt: skip
    box = tuple(
        np.s_[max(at - side, 0) : at + side + 1] for at, side in zip(place, half, strict=True)
    )
    fields[box] = WORDS


def _draw_share(ax: Axes, loss_map: LossMap, loss_share: LossShare) -> None:
    """Shading and lines of the share of boards that lose sync; boards as a cloud of dots."""
    places = loss_map.lattice.places
    across, up = loss_map.across.value(places), loss_map.up.value(places)
    lost = loss_share.lost_ratio
    ax.contourf(
        across, up, lost, levels=np.linspace(1e-3, 1.0, 11), cmap="Greys", vmin=0.0, vmax=1.6,
        alpha=0.45, extend="max",
    )  # fmt: skip
    for margins in loss_share.line_margins:
        ax.contour(
            across, up, margins, levels=[0.0], colors="black", linewidths=0.8, linestyles=":"
        )
    ax.plot(
        loss_share.cloud_across, loss_share.cloud_up, ls="none", marker=".", ms=2.5, color=BLUE,
        label="cloud", zorder=3,
    )  # fmt: skip


def _draw_supply_band(ax: Axes, board: Board, loss_map: LossMap) -> None:
    """The band of the mains, where the mains is one of the two quantities."""
    low, high = board.mains.low_rms_v, board.mains.high_rms_v
    for quantity, span, line in (
        (loss_map.across, ax.axvspan, ax.axvline),
        (loss_map.up, ax.axhspan, ax.axhline),
    ):
        if quantity.key == "mains":
            span(low, high, facecolor=BLUE, alpha=0.15, lw=0.0, label="supply-band")
            for edge in (low, high):
                line(edge, color=BLUE, lw=1.0, ls="--")


def _draw_here(ax: Axes, loss_map: LossMap) -> None:
    """The board's own point, and arrows to the boundary along both quantities."""
    here = loss_map.across.here, loss_map.up.here
    arrow = {"arrowstyle": "->", "lw": 1.4, "shrinkA": 5.0, "shrinkB": 0.0}
    for _, _, to in _reaches(loss_map):
        ax.annotate("", xy=to, xytext=here, arrowprops=arrow, zorder=5, label="reach")
    ax.plot(
        *here, marker="o", ms=9, color="black", markeredgecolor="white", ls="none", clip_on=False,
        zorder=6, label="here",
    )  # fmt: skip


def _reaches(loss_map: LossMap) -> Iterator[tuple[Quantity, float, tuple[float, float]]]:
    """Each way from the board that meets the boundary: along what, its value there, the point."""
    across, up = loss_map.across, loss_map.up
    for end in (loss_map.reach_across.below, loss_map.reach_across.above):
        if np.isfinite(end):
            yield across, end, (end, up.here)
    for end in (loss_map.reach_up.below, loss_map.reach_up.above):
        if np.isfinite(end):
            yield up, end, (across.here, end)
