"""The figure of one mains period: mains, LED current, pin, and the edges that matter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations, product
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import input_refs
from zcd.circuit.elements import harmonics_of
from zcd.drawing.canvas import BLUE, GREY, LEFT, RED, WHITE, drawing, label_beside, new_figure
from zcd.engine.solution import Solution
from zcd.engine.solve import WINDOW_CYCLES
from zcd.errors import plain
from zcd.physics.mains import crossing_shift_rad
from zcd.report.text import MIN_SHOWN, crossing_text, offset_text, quantity_text, rule_text
from zcd.sync.curves import period_curve
from zcd.sync.lock import Lock

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

MS = 1e3
MA = 1e3
LETTER_SHARE = 0.0112
"""Width of a letter as a share of the period."""
BELOW_WORDS = 0.55
"""Of the height of the pin's axes: the crossings end there, as words stand above."""
ROWS = (1.5, 1.67, 1.84)
"""Heights of labels, as shares of the supply."""
PASSES = 3
"""Over all edges, in search of places for their words."""
LEAST_LED_MA = 0.1
"""Top of the axis of an LED without current: nanoamperes are not to look like light."""


def waveform_figure(
    board: Board, solution: Solution, lock: Lock, row: int = 0, name: str = "waveforms"
) -> Figure:
    """Mains, LED current and pin over one mains period, with the edges that matter.

    Parameters
    ----------
    board : Board
        Gives thresholds and name.
    solution : Solution
    lock : Lock
        Of the same solution.
    row : int
    name : str
        Goes before every id in the SVG; figures on one page need different ones.

    Returns
    -------
    figure : Figure
        Three axes that share time. Edges carry the labels ``falling-edge`` and ``rising-edge``.
    """
    period_s = float(solution.period_s[row])
    with drawing():
        figure = new_figure(name, 7.2, 6.8)
        axes = figure.subplots(3, 1, sharex=True, height_ratios=(1.0, 1.0, 1.8))
        _draw_mains(axes[0], solution, row, period_s)
        _draw_led(axes[1], board, solution, row)
        _draw_pin(axes[2], board, solution, lock, row, period_s)
        for ax, top in zip(axes, (1.0, 1.0, BELOW_WORDS), strict=True):
            for crossing_s in crossing_times_s(solution, row, period_s):
                ax.axvline(
                    crossing_s * MS, ymax=top, color="black", lw=0.8, ls=(0, (1, 2)),
                    label="crossing",
                )  # fmt: skip
            ax.axhline(0.0, color=GREY, lw=0.6, zorder=0)
        axes[2].set_xlim(0.0, period_s * MS)
        axes[2].set_xlabel("time [ms]")
        figure.suptitle(waveform_title(board, solution, lock, row), weight="bold", **LEFT)
        axes[0].set_title(plain(board.name), loc="left")
    return figure


def waveform_title(board: Board, solution: Solution, lock: Lock, row: int) -> str:
    pulses, edge = lock.pulses, board.controller.edge
    offsets = pulses.fall_offset_s if edge == "falling" else pulses.rise_offset_s
    verb = "falls" if edge == "falling" else "rises"
    failed, unmet = lock.failed_rule(row), lock.unmet_expectations(row)
    if failed:
        title = f"No sync: {rule_text(failed)}"
    else:
        title = f"Sync works: the pin {verb} {crossing_text(offsets[row, 0])}"
        title += f". Warning: {', '.join(map(rule_text, unmet))}" if unmet else ""
    if not solution.settled[row]:
        title += f"\n(not settled: this is cycle {WINDOW_CYCLES} after switching on)"
    return title


def crossing_times_s(solution: Solution, row: int, period_s: float) -> list[float]:
    """True zero crossings within the period, its ends included."""
    shifts = crossing_shift_rad(*harmonics_of(solution.circuit))
    rising, falling = (float(np.broadcast_to(s, solution.settled.shape)[row]) for s in shifts)
    turns = [k + rising / (2.0 * np.pi) for k in (0, 1)]
    turns += [k + 0.5 + falling / (2.0 * np.pi) for k in (-1, 0, 1)]
    return sorted(turn * period_s for turn in turns if -1e-9 <= turn <= 1.0 + 1e-9)


def _draw_wave(ax: Axes, solution: Solution, row: int, wave: FloatArray, color: str) -> None:
    time, values = period_curve(solution, wave, row)
    ax.plot(time * MS, values, color=color, label="wave")


def _draw_mains(ax: Axes, solution: Solution, row: int, period_s: float) -> None:
    mains = solution.between_v("line", "neutral")
    rms = quantity_text(float(solution.rms(mains)[row]), "V")
    _draw_wave(ax, solution, row, mains, "black")
    ax.set_ylabel("mains [V]")
    frequency = quantity_text(1.0 / period_s, "Hz")
    ax.text(0.99, 0.92, f"{rms} rms, {frequency}", transform=ax.transAxes, ha="right", va="top")
    ax.text(0.48, 0.06, "dotted: true zero crossings", transform=ax.transAxes, ha="right")


def _draw_led(ax: Axes, board: Board, solution: Solution, row: int) -> None:
    refs, what = input_refs(board), board.input_name
    current = np.asarray(sum(solution.currents_a[ref] for ref in refs)) * MA
    mean = float(solution.mean(current)[row])
    _draw_wave(ax, solution, row, current, BLUE)
    highest = float(np.max(current[row]))
    if highest < LEAST_LED_MA:
        most = f": at most {quantity_text(highest / MA, 'A')}" if highest / MA > MIN_SHOWN else ""
        _write_between(ax, 0.5, f"no {what} current{most}")
    else:
        ax.axhline(mean, color=BLUE, lw=1.0, ls="--", label="mean")
        label_beside(ax, mean, f"mean\n{quantity_text(mean / MA, 'A')}")
    both = "\nboth LEDs" if len(refs) > 1 and board.is_isolated else ""
    ax.set_ylabel(f"{what} current [mA]{both}")
    ax.set_ylim(-0.04 * max(highest, LEAST_LED_MA), 1.25 * max(highest, LEAST_LED_MA))


def _draw_pin(
    ax: Axes, board: Board, solution: Solution, lock: Lock, row: int, period_s: float
) -> None:
    low, high = board.controller.low_threshold_v, board.controller.high_threshold_v
    supply = board.output.supply_v
    ax.axhspan(
        low, high, facecolor="none", edgecolor="0.75", hatch="///", lw=0.0, label="undefined-band"
    )
    for level, word, dashes in ((low, "low", "-."), (high, "high", "--")):
        ax.axhline(level, color="black", lw=1.0, ls=dashes, label=f"{word}-threshold")
        label_beside(ax, level, f"{word}\n{quantity_text(level, 'V')}")
    label_beside(ax, (low + high) / 2.0, "undefined")
    _draw_wave(ax, solution, row, solution.pin_v, RED)
    ax.set_ylim(-0.06 * supply, 1.95 * supply)
    ax.set_yticks(_ticks_up_to(supply))
    ax.set_ylabel("sync pin [V]")
    low_times_s = lock.pulses.low_time_s[row]
    _mark_pulses(ax, board, lock, row, period_s)
    if not np.any(np.isfinite(low_times_s)):
        _write_between(ax, 0.85, "no sync pulse")


def _write_between(ax: Axes, y: float, words: str) -> None:
    """Write words half way between two crossings."""
    ax.text(0.25, y, words, transform=ax.transAxes, ha="center")


def _ticks_up_to(supply_v: float) -> FloatArray:
    """Round voltages from 0 to the supply; the room above it is for dimensions."""
    from matplotlib.ticker import MaxNLocator

    ticks = np.asarray(MaxNLocator(5, steps=[1, 2, 5, 10]).tick_values(0.0, supply_v))
    return ticks[ticks <= 1.001 * supply_v]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edge:
    """An edge of a pulse and the words at it."""

    share: float
    """Where it is, of the period."""
    level_v: float
    text: str

    def words(self, to_right: bool) -> tuple[float, float]:
        """From where to where its words reach, as shares of the period."""
        width = LETTER_SHARE * (len(self.text) + 1)
        return (self.share, self.share + width) if to_right else (self.share - width, self.share)


def _mark_pulses(ax: Axes, board: Board, lock: Lock, row: int, period_s: float) -> None:
    """Edges of all pulses with their offsets, and the low times as dimensions."""
    pulses, supply, rules = lock.pulses, board.output.supply_v, board.controller
    edges = []
    for k in np.flatnonzero(np.isfinite(pulses.low_time_s[row])):
        fall_s, low_time_s = float(pulses.fall_s[row, k]), float(pulses.low_time_s[row, k])
        for word, at_s, level_v, offsets in (
            ("falls", fall_s, rules.low_threshold_v, pulses.fall_offset_s),
            ("rises", (fall_s + low_time_s) % period_s, rules.high_threshold_v,
             pulses.rise_offset_s),
        ):  # fmt: skip
            text = f"{word} {offset_text(float(offsets[row, k]))}"
            edges.append(_Edge(share=at_s / period_s, level_v=level_v, text=text))
        _mark_low_time(ax, fall_s, low_time_s, period_s, 1.14 * supply)
    for edge, (height, to_right) in zip(edges, _places(edges), strict=True):
        at_s = edge.share * period_s
        _mark_edge(ax, at_s, edge.level_v, ROWS[height] * supply, edge.text, to_right)


def _places(edges: Sequence[_Edge]) -> tuple[tuple[int, bool], ...]:
    """Row and side of the words at each edge: the lowest where nothing meets.

    An edge's own line goes up to its words, so that words in a lower row keep clear of it.
    """
    options = list(product(range(len(ROWS)), (True, False)))
    way = [options[0]] * len(edges)
    for _ in range(PASSES):
        for k in range(len(edges)):
            way = min(
                ([*way[:k], option, *way[k + 1 :]] for option in options),
                key=lambda tried: _meetings(edges, tried),
            )
    return tuple(way)


def _meetings(edges: Sequence[_Edge], way: Sequence[tuple[int, bool]]) -> int:
    """How many words leave the picture, or meet other words or another edge's line."""
    spans = [edge.words(to_right) for edge, (_, to_right) in zip(edges, way, strict=True)]
    count = sum(begin < -0.02 or end > 1.02 for begin, end in spans)
    for one, other in permutations(range(len(edges)), 2):
        (begin, end), (row, _), (other_row, _) = spans[one], way[one], way[other]
        count += other_row >= row and begin < edges[other].share < end
        count += other_row == row and begin < spans[other][1] and spans[other][0] < end
    return count


def _mark_edge(
    ax: Axes, time_s: float, level_v: float, height_v: float, text: str, to_right: bool
) -> None:
    falling = text.startswith("falls")
    ax.plot([time_s * MS] * 2, [level_v, height_v], color="black", lw=0.8)
    ax.plot(
        time_s * MS,
        level_v,
        marker="v" if falling else "^",
        ms=8,
        color="black",
        markeredgecolor="white",
        ls="none",
        clip_on=False,
        zorder=5,
        label="falling-edge" if falling else "rising-edge",
    )
    ax.annotate(
        text,
        xy=(time_s * MS, height_v),
        xytext=(3.0 if to_right else -3.0, 0.0),
        textcoords="offset points",
        ha="left" if to_right else "right",
        va="center",
        bbox=WHITE,
        zorder=4,
    )


def _mark_low_time(
    ax: Axes, fall_s: float, low_time_s: float, period_s: float, height_v: float
) -> None:
    """Dimension arrow from falling to rising edge, in two pieces if the period ends between."""
    end_s = fall_s + low_time_s
    pieces = [(fall_s, min(end_s, period_s))]
    if end_s > period_s:
        pieces.append((0.0, end_s - period_s))
    for begin, end in pieces:
        heads = ("<" if begin == fall_s else "") + "-" + (">" if end % period_s == end else "")
        arrow = {"arrowstyle": heads, "shrinkA": 0.0, "shrinkB": 0.0, "lw": 0.9}
        xy, start = (end * MS, height_v), (begin * MS, height_v)
        ax.annotate("", xy=xy, xytext=start, arrowprops=arrow, label="low-time")
    begin, end = max(pieces, key=lambda piece: piece[1] - piece[0])
    ax.annotate(
        f"low for {quantity_text(low_time_s, 's')}",
        xy=((begin + end) / 2.0 * MS, height_v),
        xytext=(0.0, 2.0),
        textcoords="offset points",
        ha="center",
        va="bottom",
    )
