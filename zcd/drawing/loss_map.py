"""The figure of where sync is lost: over any two quantities, with the cause told by hatching."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.drawing.canvas import BLUE, LEFT, LIGHT, WHITE, drawing, new_figure, title_lines
from zcd.errors import plain
from zcd.margin.lattice import broken_rule
from zcd.margin.loss_map import LossMap
from zcd.margin.loss_share import LossShare
from zcd.margin.quantities import Quantity
from zcd.report.of_loss_map import axis_text, end_text, here_text, loss_map_title, value_text
from zcd.report.text import percent_text, quantity_text, rule_text
from zcd.sync.lock import RULES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

FloatArray = NDArray[np.float64]

HATCHES = dict(zip(RULES, ("\\\\\\", "///", "ooo", "|||", "---", "...", "xxx", "+++"), strict=True))
"""Told apart in black and white: one for each rule."""
LEVEL, UPRIGHT = (5.0, 1.35), (3.0, 2.5)
"""Room that words take, level and upright: across their lines, and for each letter along them; in
lines of a lattice of 97, of which the ones that go up are closer than those that go across."""
RIM = 0.03
"""Of both axes: nearer to the rim, words along the boundary would leave the picture."""
LABEL_SHARE = 0.16
"""Of the height: what the words at the supply band take."""
SHORT_SHARE = 0.12
"""Of an axis: a shorter arrow gets no words."""
MIN_SHARE = 1e-3
"""Of the plane: a smaller area cannot be seen, nor is it in the legend."""
MOVES = sorted(
    ((float(dx), float(dy)) for dx in range(-80, 81, 8) for dy in range(-42, 43, 6)),
    key=lambda move: np.hypot(*move),
)
"""Points by which words at an arrow may be moved, nearest first."""
LOST = " lost"
SHARES = (0.1, 0.9)
"""Shares of boards that lose sync which get a line of their own."""
TICK_STEPS = (1.0, 2.0, 5.0)


def loss_map_figure(board: Board, loss_map: LossMap, loss_share: LossShare | None = None) -> Figure:
    """Where sync is lost over two quantities.

    Parameters
    ----------
    board : Board
        Gives name and supply band.
    loss_map : LossMap
    loss_share : LossShare, optional
        Of the same map: shades the share of boards that lose sync, and shows where boards lie.

    Returns
    -------
    figure : Figure
        One axes; a lost area carries the label ``lost: RULE``, each curve of the boundary
        ``boundary``, the board's own point ``here``.
    """
    with drawing():
        figure = new_figure("loss-map", 7.2, 5.0)
        ax = figure.subplots()
        draw_loss_map(ax, board, loss_map, loss_share)
        title = title_lines(loss_map_title(loss_map))
        figure.suptitle(title, weight="bold", **LEFT)
        ax.set_title(_legend_text(board, loss_map, loss_share), loc="left")
        _clear_words(figure)
    return figure


GROUND = 4.0
"""How far the ground of words reaches beyond them. [px]"""


def _clear_words(figure: Figure) -> None:
    """Move the words at the arrows off the boundary and off other words, as far as there is room.

    Words on a line of shares that would stand on others are taken away; the title has them.
    """
    from matplotlib.text import Annotation

    figure.draw_without_rendering()
    ax = figure.axes[0]
    curves = [
        line.get_path().transformed(line.get_transform())
        for line in ax.lines
        if line.get_label() in ("boundary", "here")
    ]

    def is_free(text: Text) -> bool:
        box = text.get_window_extent().padded(GROUND)
        others = (word.get_window_extent() for word in ax.texts if word is not text and _said(word))
        return not (
            any(map(box.overlaps, others))
            or any(curve.intersects_bbox(box, filled=False) for curve in curves)
        )

    for text in list(filter(_said, ax.texts)):
        if text.get_text().endswith(LOST) and not is_free(text):
            text.remove()
    for text in ax.texts:
        if isinstance(text, Annotation) and text.get_label() == "reach-text":
            first = text.xyann
            for dx, dy in MOVES:
                text.xyann = first[0] + dx, first[1] + dy
                box = text.get_window_extent()
                if is_free(text) and ax.bbox.x0 < box.x0 and box.x1 < ax.bbox.x1:
                    break
            else:
                text.xyann = first


def _said(text: Text) -> bool:
    return bool(text.get_text())


def draw_loss_map(
    ax: Axes, board: Board, loss_map: LossMap, loss_share: LossShare | None = None
) -> None:
    """The same into given axes, without titles."""
    _set_axes(ax, loss_map)
    _draw_lost_areas(ax, loss_map)
    if loss_share is not None:
        _draw_share(ax, loss_map, loss_share)
    for curve in loss_map.boundaries:
        close = np.s_[:] if not curve.closed else np.append(np.arange(curve.up.size), 0)
        ax.plot(curve.across[close], curve.up[close], color="black", lw=2.0, label="boundary")
    _draw_supply_band(ax, board, loss_map)
    _draw_here(ax, loss_map)


def _legend_text(board: Board, loss_map: LossMap, loss_share: LossShare | None) -> str:
    """What is drawn, under the title."""
    lines = [plain(board.name), "line and hatching: a board with a typical part of its grade"]
    if "temperature" not in (loss_map.across.key, loss_map.up.key):
        lines[-1] += f", {quantity_text(loss_map.temperature_degc, '°C')}"
    if loss_share is not None:
        here = 100.0 * loss_share.here(loss_map).ratio
        low, high = map(percent_text, SHARES)
        lines.append(
            f"shading: share lost of {loss_share.boards} boards within tolerance, "
            f"here {here:.0f} %; dotted lines: {low} and {high}"
        )
        lines.append(f"blue dots: where {loss_share.cloud_up.size} such boards lie")
    return "\n".join(lines)


def _set_axes(ax: Axes, loss_map: LossMap) -> None:
    """Ranges, scales and ticks with their units."""
    for quantity, axis, set_lim, set_scale in (
        (loss_map.across, ax.xaxis, ax.set_xlim, ax.set_xscale),
        (loss_map.up, ax.yaxis, ax.set_ylim, ax.set_yscale),
    ):
        if quantity.logarithmic:
            set_scale("log")
            ticks = list(_log_ticks(quantity))
            axis.set_ticks(ticks, [value_text(quantity, t) for t in ticks])
            axis.set_ticks([], minor=True)
        else:
            axis.set_major_formatter(_formatter(quantity))
        axis.set_label_text(axis_text(quantity))
        set_lim(quantity.low, quantity.high)


def _formatter(quantity: Quantity) -> Callable[[float, float], str]:
    """What writes a tick with its unit."""
    return lambda value, _: value_text(quantity, value)


def _log_ticks(quantity: Quantity) -> Iterator[float]:
    """1, 2, 5 of each decade; over many decades only 1."""
    first, last = np.floor(np.log10(quantity.low)), np.ceil(np.log10(quantity.high))
    steps = TICK_STEPS if last - first <= 4 else TICK_STEPS[:1]
    for decade in np.arange(first, last + 1):
        for step in steps:
            tick = step * 10.0**decade
            if quantity.low <= tick <= quantity.high:
                yield float(tick)


def _draw_lost_areas(ax: Axes, loss_map: LossMap) -> None:
    """Each rule's part of the lost area in a hatching of its own, named there or beside it."""
    from matplotlib.patches import Patch

    margins, places = loss_map.lattice.margins, loss_map.lattice.places
    across, up = loss_map.across.value(places), loss_map.up.value(places)
    kinds = broken_rule(margins)
    handles = []
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
        if not _name_areas(ax, loss_map, kinds == kind, rule):
            _name_boundary(ax, loss_map, rule)
    if handles:
        ax.figure.legend(
            handles=handles, loc="outside lower center", ncols=3, title="no lock because of",
            frameon=False, handleheight=1.6, handlelength=2.6,
        )  # fmt: skip


def _name_areas(ax: Axes, loss_map: LossMap, inside: NDArray[np.bool_], rule: str) -> bool:
    """Write the rule into each piece of its area where it fits, level or upright.

    Returns whether it fits anywhere.
    """
    from scipy.ndimage import binary_erosion, distance_transform_edt, label

    pieces, count = label(inside)
    places = loss_map.lattice.places
    scale = places.size / 97.0
    level = scale * np.array([LEVEL[0], LEVEL[1] * len(rule)])
    upright = scale * np.array([UPRIGHT[1] * len(rule), UPRIGHT[0]])
    named = False
    for piece in range(1, count + 1):
        own = pieces == piece
        for box, turn in ((level, 0.0), (upright, 90.0)):
            fits = binary_erosion(own, np.ones([2 * round(side / 2.0) + 1 for side in box]))
            if np.any(fits):
                room = np.where(fits, distance_transform_edt(np.pad(own, 1))[1:-1, 1:-1], 0.0)
                row, column = np.unravel_index(np.argmax(room), room.shape)
                ax.text(
                    places[column], places[row], rule, transform=ax.transAxes, rotation=turn,
                    ha="center", va="center", bbox=WHITE, label="rule",
                )  # fmt: skip
                named = True
                break
    return named


def _name_boundary(ax: Axes, loss_map: LossMap, rule: str) -> None:
    """For want of room: write the rule along the boundary, on the side where it fails."""
    runs = [
        (curve, np.array([k for k, _ in group]))
        for curve in loss_map.boundaries
        for name, group in groupby(enumerate(curve.rules), key=lambda numbered: numbered[1])
        if name == rule
    ]
    curve, run = max(runs, key=lambda result: result[1].size, default=(None, np.array([])))
    if curve is None or run.size < LEVEL[1] * len(rule):
        return
    middle, reach = run.size // 2, min(5, run.size // 2 - 1)
    points = np.stack([loss_map.across.share(curve.across), loss_map.up.share(curve.up)])
    way = points[:, run[middle + reach]] - points[:, run[middle - reach]]
    way = way * (np.sign(way[0]) or 1.0) / np.hypot(*way)
    left = np.array([-way[1], way[0]])
    at = points[:, run[middle]]
    column, row = np.round((at + 0.02 * left) * (loss_map.lattice.places.size - 1)).astype(int)
    lost = broken_rule(loss_map.lattice.margins)
    is_left = bool(0 <= row < lost.shape[0] > column >= 0 and lost[row, column] >= 0)
    x, y = at + (0.012 if is_left else -0.012) * left
    if not RIM < min(x, y) <= max(x, y) < 1.0 - RIM:
        return
    ax.text(
        x, y, rule, transform=ax.transAxes, rotation=np.degrees(np.arctan2(way[1], way[0])),
        transform_rotates_text=True, rotation_mode="anchor", ha="center",
        va="bottom" if is_left else "top", bbox=WHITE, label="rule",
    )  # fmt: skip


def _draw_share(ax: Axes, loss_map: LossMap, loss_share: LossShare) -> None:
    """Shading and lines of the share of boards that lose sync; boards as a cloud of dots."""
    places = loss_map.lattice.places
    across, up = loss_map.across.value(places), loss_map.up.value(places)
    lost = loss_share.lost_ratio
    ax.contourf(
        across, up, lost, levels=np.linspace(1e-3, 1.0, 11), cmap="Greys", vmin=0.0, vmax=1.6,
        alpha=0.45, extend="max",
    )  # fmt: skip
    lines = ax.contour(
        across, up, lost, levels=SHARES, colors="black", linewidths=0.8, linestyles=":"
    )
    places_of = _label_places(loss_map, lines.allsegs)
    labels = ax.clabel(
        lines, inline=False, fmt=lambda level: f"{percent_text(level)}{LOST}", fontsize=7.5,
        manual=places_of,
    )  # fmt: skip
    for label in labels:
        label.set_bbox(WHITE)
    ax.plot(
        loss_share.cloud_across, loss_share.cloud_up, ls="none", marker=".", ms=2.5, color=BLUE,
        label="cloud", zorder=3,
    )  # fmt: skip


def _label_places(
    loss_map: LossMap, segments: Sequence[Sequence[FloatArray]]
) -> list[tuple[float, float]]:
    """Where the lines of the shares are labelled: one near either side, off the rim."""
    result = []
    for side, pieces in zip((0.92, 0.08), segments, strict=True):
        points = np.concatenate([np.empty((0, 2)), *pieces])
        if points.size:
            x, y = points.T
            at_rim = np.abs(loss_map.up.share(y) - 0.5) > 0.36
            k = int(np.argmin(np.abs(loss_map.across.share(x) - side) + at_rim))
            result.append((float(x[k]), float(y[k])))
    return result


def _draw_supply_band(ax: Axes, board: Board, loss_map: LossMap) -> None:
    """The band of the mains, where the mains is one of the two quantities."""
    low, high = board.mains.low_rms_v, board.mains.high_rms_v
    text = f"supply band\n{low:.0f} to {high:.0f} V"
    style: dict[str, Any] = {"facecolor": BLUE, "alpha": 0.15, "lw": 0.0, "label": "supply-band"}
    if loss_map.across.key == "mains":
        ax.axvspan(low, high, **style)
        for edge in (low, high):
            ax.axvline(edge, color=BLUE, lw=1.0, ls="--")
        over = ax.get_xaxis_transform()
        # beside the band, and over the boundary there, where an arrow ends low in it
        free = not loss_map.up.share(loss_map.reach_up.below) < LABEL_SHARE
        at, side, y = (low + high) / 2.0, "center", 0.02
        if not free:
            at, side = (low, "right") if _words_side(loss_map) > 0 else (high, "left")
            y += LABEL_SHARE
        ax.text(at, y, text, transform=over, ha=side, va="bottom", bbox=WHITE)
    if loss_map.up.key == "mains":
        ax.axhspan(low, high, **style)
        for edge in (low, high):
            ax.axhline(edge, color=BLUE, lw=1.0, ls="--")
        beside = ax.get_yaxis_transform()
        text = text.replace("\n", " ")
        ax.text(0.985, high, text, transform=beside, ha="right", va="bottom", bbox=WHITE)


def _draw_here(ax: Axes, loss_map: LossMap) -> None:
    """The board's own point, and how far it is from the boundary along both quantities."""
    x, y = loss_map.across.here, loss_map.up.here
    side, words_side = _name_side(loss_map), _words_side(loss_map)
    ax.annotate(
        here_text(loss_map), xy=(x, y), xytext=(8.0 * side, 6.0), textcoords="offset points",
        ha="left" if side > 0 else "right", va="bottom", bbox=WHITE, zorder=5, label="this-board",
    ).set_in_layout(False)  # fmt: skip
    ends = [
        (loss_map.across, end, (end, y), {"ha": "center", "va": "top"}, (0.0, -5.0))
        for end in (loss_map.reach_across.below, loss_map.reach_across.above)
    ]
    beside: dict[str, Any] = {"ha": "left" if words_side > 0 else "right", "va": "center"}
    ends += [
        (loss_map.up, end, (x, end), beside, (6.0 * words_side, 0.0))
        for end in (loss_map.reach_up.below, loss_map.reach_up.above)
    ]
    for quantity, end, to, words, away in ends:
        if np.isfinite(end):
            _draw_reach(ax, loss_map, quantity, end, to, words, away)
    ax.plot(
        x, y, marker="o", ms=9, color="black", markeredgecolor="white", ls="none", clip_on=False,
        zorder=6, label="here",
    )  # fmt: skip


def _name_side(loss_map: LossMap) -> int:
    """Left (-1) or right (1) of the board's point: its name goes to the roomier side."""
    return -1 if loss_map.across.share(loss_map.across.here) > 0.55 else 1


def _words_side(loss_map: LossMap) -> int:
    """The side of the words at upright arrows: the other one, unless the rim is near."""
    at_rim = abs(float(loss_map.across.share(loss_map.across.here)) - 0.5) > 0.3
    return _name_side(loss_map) if at_rim else -_name_side(loss_map)


def _draw_reach(
    ax: Axes,
    loss_map: LossMap,
    quantity: Quantity,
    end: float,
    to: tuple[float, float],
    words: dict[str, Any],
    away: tuple[float, float],
) -> None:
    """An arrow from the board to the boundary; beside it, if it is long, where it ends."""
    here = loss_map.across.here, loss_map.up.here
    arrow = {"arrowstyle": "->", "lw": 1.4, "shrinkA": 5.0, "shrinkB": 0.0}
    ax.annotate("", xy=to, xytext=here, arrowprops=arrow, zorder=5, label="reach")
    # upright arrows have theirs nearer to the end, clear of the board's name
    part = 0.5 if quantity is loss_map.across else 0.7
    at = [
        float(q.value((1.0 - part) * q.share(start) + part * q.share(stop)))
        for q, start, stop in zip((loss_map.across, loss_map.up), here, to, strict=True)
    ]
    if abs(float(quantity.share(end) - quantity.share(quantity.here))) > SHORT_SHARE:
        ax.annotate(
            end_text(quantity, end), xy=(at[0], at[1]), xytext=away, zorder=5,
            textcoords="offset points", bbox=WHITE, label="reach-text", **words,
        ).set_in_layout(False)  # fmt: skip
