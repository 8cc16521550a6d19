"""The figure of a story: lanes over time, from the load relay down to the flags."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.drawing.canvas import (
    BLUE,
    GREY,
    LEFT,
    LIGHT,
    NARROW_IN,
    NARROW_LETTERS,
    RED,
    WHITE,
    WIDTH_IN,
    drawing,
    label_beside,
    new_figure,
    title_lines,
)
from zcd.errors import plain
from zcd.report.of_story import headline
from zcd.simulation.controller import FAN, SYNC
from zcd.simulation.timeline import Story

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MS, MA = 1e3, 1e3
HEIGHTS = (0.7, 0.8, 0.8, 1.1, 1.0, 1.9, 0.9)


def timeline_figure(
    story: Story,
    board_name: str,
    seconds: float | None = None,
    name: str = "story",
    *,
    narrow: bool = False,
) -> Figure:
    """Relay, feed, LED current, sync, firing, fan and flags over time.

    Parameters
    ----------
    story : Story
    board_name : str
    seconds : float, optional
        Up to when; None: to the end.
    name : str
        Goes before every id in the SVG.
    narrow : bool
        Whether it is as wide as a phone.

    Returns
    -------
    figure : Figure
        Seven axes that share time.
    """
    with drawing():
        figure = new_figure(name, NARROW_IN if narrow else WIDTH_IN, 8.4)
        axes = figure.subplots(len(HEIGHTS), 1, sharex=True, height_ratios=HEIGHTS)
        _bands(axes[0], story, (("relay driven", story.relay, BLUE),))
        good = story.view.sound_closed
        _line(axes[1], story, story.seen("feed_rms_v"), good.feed_rms_v, "feed\n[V rms]", narrow)
        peak_ma, words = story.seen("led_peak_a") * MA, f"{story.board.input_name} peak\n[mA]"
        _line(axes[2], story, peak_ma, good.led_peak_a * MA, words, narrow)
        _bands(axes[3], story, (("pulses good", story.good, GREY), ("lock", story.locked, BLUE)))
        _firing(axes[4], story, narrow)
        _fan(axes[5], story)
        _flags(axes[6], story, narrow)
        axes[-1].set_xlabel("time since switching on [s]")
        axes[-1].set_xlim(0.0, seconds or float(story.time_s[-1]))
        for ax in axes:
            for flag in (SYNC, FAN):
                if flag in story.flags:
                    ax.axvline(story.flags[flag], color=RED, lw=0.8, ls=_dashes(flag), zorder=0)
        figure.align_ylabels(axes)
        title = plain(headline(story))
        title = title_lines(title, NARROW_LETTERS) if narrow else title
        figure.suptitle(title, weight="bold", **LEFT)
        if not narrow:
            axes[0].set_title(plain(board_name), loc="left")
    return figure


def _dashes(flag: str) -> str:
    return "--" if flag == SYNC else "-."


def _bands(ax: Axes, story: Story, lanes: tuple[tuple[str, BoolArray, str], ...]) -> None:
    """Yes and no over time: a filled band where it is so."""
    for place, (_, values, color) in enumerate(reversed(lanes)):
        kept = _turns(values)
        top = place + 0.75 * values[kept]
        ax.fill_between(story.time_s[kept], place, top, color=color, step="pre", lw=0.0)
        ax.axhline(place, color=GREY, lw=0.6)
    ax.set_ylim(-0.1, len(lanes))
    ax.set_yticks([place + 0.4 for place in range(len(lanes))])
    ax.set_yticklabels([word for word, _, _ in reversed(lanes)])
    ax.tick_params(axis="y", length=0.0)


def _turns(values: BoolArray) -> BoolArray:
    """Which points a step line needs: both ends, and both sides of each change."""
    changes = values[1:] != values[:-1]
    ends = np.ones(1, dtype=bool)
    return np.concatenate([ends, changes]) | np.concatenate([changes, ends])


def _line(
    ax: Axes, story: Story, values: FloatArray, good: float, label: str, narrow: bool
) -> None:
    """A number over time, from zero; dotted: what a good board gives with the relay on."""
    ax.axhline(good, color=GREY, lw=1.0, ls=":", label="good")
    label_beside(ax, good, "good" if narrow else "good board")
    ax.step(story.time_s, values, where="pre", color=BLUE, label="value")
    ax.set_ylim(0.0, 1.5 * max(float(np.max(values)), good))
    ax.set_ylabel(label)


def _firing(ax: Axes, story: Story, narrow: bool) -> None:
    """Firing delay; the half period is the upper edge, where nothing is left to switch."""
    half_ms = 0.5 / story.view.mains_hz * MS
    ax.plot(story.time_s, story.delay_s * MS, color=BLUE, label="delay")
    if story.free.any():
        ax.fill_between(
            story.time_s, 0.0, half_ms, where=story.free, facecolor="none", edgecolor=GREY,
            hatch="///", lw=0.0, label="own-clock",
        )  # fmt: skip
        label_beside(ax, 0.5 * half_ms, "hatched:\nby its own\nclock")
    if not story.firing.any() and narrow:
        label_beside(ax, 0.5 * half_ms, "never\nfired")
    elif not story.firing.any():
        ax.text(
            0.99, 0.45, "the drive is never fired", transform=ax.transAxes, ha="right", bbox=WHITE,
        )  # fmt: skip
    ax.set_ylim(0.0, half_ms)
    ax.set_ylabel("firing\ndelay [ms]")


def _fan(ax: Axes, story: Story) -> None:
    """Speed of the shaft, what the tacho says, the target and the least that is no fault."""
    rules = story.plant.rules
    least_rpm = rules.fan_flag_ratio * rules.target_rpm
    ax.axhspan(0.0, least_rpm, color=LIGHT, zorder=0, label="too-slow")
    ax.axhline(rules.target_rpm, color=GREY, lw=1.0, ls=":", label="target")
    ax.plot(story.time_s, story.speed_rpm, color=BLUE, label="shaft")
    ax.plot(story.time_s, story.tacho_rpm, color="black", lw=1.1, ls="--", label="tacho")
    fastest = float(np.max([story.speed_rpm, story.tacho_rpm]))
    most = 1.35 * max(rules.target_rpm, fastest)
    ax.set_ylim(-0.02 * most, most)
    ax.set_ylabel("fan [rpm]")
    label_beside(ax, rules.target_rpm, "target")
    label_beside(ax, 0.5 * least_rpm, "too slow")
    handles = [line for line in ax.get_lines() if line.get_label() in {"shaft", "tacho"}]
    ax.legend(
        handles=handles, loc="lower right", bbox_to_anchor=(1.0, 0.97), frameon=False, ncols=2
    )


def _flags(ax: Axes, story: Story, narrow: bool) -> None:
    """A bar from the moment a flag is raised."""
    end_s = float(story.time_s[-1])
    for place, flag in enumerate((FAN, SYNC)):
        ax.axhline(place, color=GREY, lw=0.6)
        if flag in story.flags:
            start_s = story.flags[flag]
            ax.broken_barh([(start_s, end_s - start_s)], (place, 0.75), color=RED, label=flag)
            words = f"{start_s:.1f} s" if narrow else f"{flag} flag, {start_s:.1f} s"
            ax.annotate(
                words, xy=(start_s, place + 0.35), xytext=(3.0, 0.0),
                textcoords="offset points", va="center", color="white", weight="bold",
            )  # fmt: skip
    ax.set_ylim(-0.1, 2.0)
    ax.set_yticks([0.4, 1.4])
    ax.set_yticklabels(["fan flag", "sync flag"])
    ax.tick_params(axis="y", length=0.0)
