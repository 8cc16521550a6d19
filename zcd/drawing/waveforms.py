"""The figure of one mains period: mains, LED current, pin, and the edges that matter."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import led_refs
from zcd.circuit.elements import MainsSource, harmonics_of
from zcd.drawing.canvas import BLUE, GREY, LEFT, RED, WHITE, drawing, label_beside, new_figure
from zcd.engine.solution import Solution
from zcd.engine.solve import WINDOW_CYCLES
from zcd.physics.mains import crossing_shift_rad
from zcd.report.text import offset_text, plain, quantity_text
from zcd.sync.lock import Lock

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

MS = 1e3
MA = 1e3
LABEL_SHARE = 0.21
"""Width of an edge's label as a share of the period."""


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
    period_s = mains_period_s(solution, row)
    with drawing():
        figure = new_figure(name, 7.2, 6.8)
        axes = figure.subplots(3, 1, sharex=True, height_ratios=(1.0, 1.0, 1.8))
        _draw_mains(axes[0], solution, row, period_s)
        _draw_led(axes[1], board, solution, row, period_s)
        _draw_pin(axes[2], board, solution, lock, row, period_s)
        for ax in axes:
            for crossing_s in crossing_times_s(solution, row, period_s):
                ax.axvline(crossing_s * MS, color="black", lw=0.8, ls=(0, (1, 2)), label="crossing")
            ax.axhline(0.0, color=GREY, lw=0.6, zorder=0)
        axes[2].set_xlim(0.0, period_s * MS)
        axes[2].set_xlabel("time [ms]")
        figure.suptitle(waveform_title(board, solution, lock, row), weight="bold", **LEFT)
        axes[0].set_title(plain(board.name), loc="left")
    return figure


def mains_period_s(solution: Solution, row: int) -> float:
    frequency_hz = np.asarray(solution.circuit.of(MainsSource)[0].frequency_hz, dtype=float)
    return 1.0 / float(np.broadcast_to(frequency_hz, solution.settled.shape)[row])


def waveform_title(board: Board, solution: Solution, lock: Lock, row: int) -> str:
    pulses, edge = lock.pulses, board.controller.edge
    offsets = pulses.fall_offset_s if edge == "falling" else pulses.rise_offset_s
    failed = lock.failed_rule(row)
    if failed:
        title = f"The controller does not lock: {failed}"
    else:
        title = f"The controller locks: its {edge} edge comes {offset_text(offsets[row, 0])}"
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


def _draw_wave(
    ax: Axes, solution: Solution, row: int, wave: FloatArray, period_s: float, color: str
) -> None:
    """A waveform; where it repeats, it is closed at the end of the period."""
    time, values = solution.time_s[row], np.asarray(wave)[row]
    if solution.settled[row]:
        time, values = np.append(time, time[0] + period_s), np.append(values, values[0])
    ax.plot(time * MS, values, color=color, label="wave")


def _draw_mains(ax: Axes, solution: Solution, row: int, period_s: float) -> None:
    mains = solution.between_v("line", "neutral")
    rms = quantity_text(float(solution.rms(mains)[row]), "V")
    _draw_wave(ax, solution, row, mains, period_s, "black")
    ax.set_ylabel("mains [V]")
    frequency = quantity_text(1.0 / period_s, "Hz")
    ax.text(0.99, 0.92, f"{rms} rms, {frequency}", transform=ax.transAxes, ha="right", va="top")
    ax.text(0.48, 0.06, "dotted: true zero crossings", transform=ax.transAxes, ha="right")


def _draw_led(ax: Axes, board: Board, solution: Solution, row: int, period_s: float) -> None:
    refs = led_refs(board)
    current = np.asarray(sum(solution.currents_a[ref] for ref in refs)) * MA
    mean = float(solution.mean(current)[row])
    _draw_wave(ax, solution, row, current, period_s, BLUE)
    ax.axhline(mean, color=BLUE, lw=1.0, ls="--", label="mean")
    label_beside(ax, mean, f"mean\n{quantity_text(mean / MA, 'A')}")
    ax.set_ylabel("LED current [mA]" + ("\nboth LEDs" if len(refs) > 1 else ""))
    ax.set_ylim(top=max(1.25 * float(np.max(current[row])), 1e-6))


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
    _draw_wave(ax, solution, row, solution.voltages_v["pin"], period_s, RED)
    ax.set_ylim(-0.06 * supply, 1.8 * supply)
    ax.set_yticks(_ticks_up_to(supply))
    ax.set_ylabel("sync pin [V]")
    low_times_s = lock.pulses.low_time_s[row]
    for k in np.flatnonzero(np.isfinite(low_times_s)):
        _mark_pulse(ax, board, lock, (row, int(k)), period_s)
    if not np.any(np.isfinite(low_times_s)):
        ax.text(0.5, 0.85, "no sync pulse", transform=ax.transAxes, ha="center", bbox=WHITE)


def _ticks_up_to(supply_v: float) -> FloatArray:
    """Round voltages from 0 to the supply; the room above it is for dimensions."""
    from matplotlib.ticker import MaxNLocator

    ticks = np.asarray(MaxNLocator(5, steps=[1, 2, 5, 10]).tick_values(0.0, supply_v))
    return ticks[ticks <= 1.001 * supply_v]


def _mark_pulse(ax: Axes, board: Board, lock: Lock, at: tuple[int, int], period_s: float) -> None:
    """Both edges of a pulse with their offsets, and its low time as a dimension."""
    pulses, supply = lock.pulses, board.output.supply_v
    fall_s, low_time_s = float(pulses.fall_s[at]), float(pulses.low_time_s[at])
    rise_s = (fall_s + low_time_s) % period_s
    room_s = LABEL_SHARE * period_s
    wide = low_time_s > 2.0 * room_s
    # two rows of labels, so that neighbouring pulses keep out of each other's way
    height_v = supply * (1.5 + 0.17 * (at[1] % 2))
    to_right = fall_s + room_s < period_s and (wide or fall_s < room_s)
    offset = float(pulses.fall_offset_s[at])
    text = f"falls {offset_text(offset)}"
    _mark_edge(ax, fall_s, board.controller.low_threshold_v, height_v, text, to_right)
    to_left = rise_s > room_s and (wide or rise_s + room_s > period_s)
    offset = float(pulses.rise_offset_s[at])
    text = f"rises {offset_text(offset)}"
    _mark_edge(ax, rise_s, board.controller.high_threshold_v, height_v, text, not to_left)
    _mark_low_time(ax, fall_s, low_time_s, period_s, 1.14 * supply)


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
