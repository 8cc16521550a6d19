"""Results drawn into one pair of axes, for notebooks: each function draws one kind."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np

from zcd.diagnosis.reading_words import reading_text
from zcd.drawing.canvas import BLUE, GREY, RED
from zcd.sync.curves import period_curve
from zcd.sync.lock import RULES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from zcd.diagnosis.capture_measurements import Traces
    from zcd.diagnosis.case import Case, ExpectedReadings
    from zcd.diagnosis.retest import Retest
    from zcd.margin.check import Check
    from zcd.margin.loss_map import LossMap
    from zcd.margin.population import Population
    from zcd.margin.sensitivity import Sensitivity
    from zcd.simulation.drive_parts import Replacements
    from zcd.simulation.flags import CausesForFlags, StoryTable
    from zcd.simulation.timeline import Story
    from zcd.simulation.windings import Windings
    from zcd.spice.compare import Comparison
    from zcd.sync.solved import Solved

MAX_BARS = 12
MS = 1e3
WORST_CORNER = "worst corner: "
CLIP = 2.0
"""Margins beyond this are drawn no longer."""


def _bars(
    ax: Axes, names: Sequence[str], values: Sequence[float], label: str, bad: Sequence[bool] = ()
) -> None:
    """Horizontal bars, the first on top; those that are bad in red and hatched."""
    names, values = names[:MAX_BARS], values[:MAX_BARS]
    bad = (*bad, *(False,) * len(names))
    places = range(len(names))
    colours = [RED if wrong else BLUE for wrong, _ in zip(bad, names, strict=False)]
    bars = ax.barh(list(places), list(values), color=colours)
    for bar, wrong in zip(bars, bad, strict=False):
        bar.set_hatch("//" if wrong else "")
    ax.set_yticks(list(places), list(names))
    ax.invert_yaxis()
    ax.set_xlabel(label)


def plot_solved(solved: Solved, ax: Axes) -> None:
    """The pin over one mains period, with thresholds and edges."""
    solution, rules = solved.solution, solved.board.controller
    for row in range(min(solved.size, MAX_BARS)):
        wave = solution.between_v("pin", "logic0")
        time, volts = period_curve(solution, wave, row)
        ax.plot(MS * time, volts, color=BLUE, lw=1.2)
    for level in (rules.low_threshold_v, rules.high_threshold_v):
        ax.axhline(level, color=GREY, lw=0.8, ls="--")
    for edge in solved.edges:
        ax.axvline(MS * edge.time_s, color=RED, lw=0.8, ls=":")
    ax.set(xlabel="time [ms]", ylabel="pin [V]", title=solved.board.name)


def plot_margins(check: Check, ax: Axes) -> None:
    """How much of its limit each rule leaves at its worst corner; the verdict is the check's."""
    corners = check.spread.corners
    status = {rule.name.removeprefix(WORST_CORNER): rule.status for rule in check.spread.rules}
    # without a pulse its rules have no margin; the pin's own rules say why
    no_pulse = np.isin(corners.names, RULES[3:]) & (corners.margins <= -1.0)
    order = [k for k in np.argsort(corners.margins, kind="stable") if not no_pulse[k]]
    margins = np.clip(corners.margins[order], -1.0, CLIP)
    names = [corners.names[k] for k in order]
    bad = [status[name] == "fail" for name in names]
    shown = [name if status[name] == "pass" else f"{name}: {status[name]}" for name in names]
    _bars(ax, shown, list(100.0 * margins), "margin at the worst corner [%]", bad)
    ax.axvline(0.0, color="black", lw=0.8)
    ax.set_title(f"{check.board.name}: {check.status}")


def plot_population(population: Population, ax: Axes) -> None:
    """The smallest margin of each board, sorted."""
    least = np.sort(population.rule_margins.binding_margins.min(axis=1))
    share = 100.0 * (np.arange(least.size) + 0.5) / least.size
    ax.plot(share, 100.0 * np.clip(least, -1.0, CLIP), color=BLUE)
    ax.axhline(0.0, color="black", lw=0.8)
    ax.set(xlabel="boards [%]", ylabel="smallest margin [%]")


def plot_shares(decides: Sensitivity, ax: Axes) -> None:
    """Share of the headroom's variance that each tolerance makes, with its interval."""
    shown = slice(0, MAX_BARS)
    _bars(ax, decides.names, list(100.0 * decides.total), "share of the variance [%]")
    low = decides.total[shown] - decides.total_low[shown]
    high = decides.total_high[shown] - decides.total[shown]
    ax.errorbar(
        100.0 * decides.total[shown],
        np.arange(low.size),
        xerr=100.0 * np.maximum([low, high], 0.0),
        fmt="none",
        ecolor="black",
        lw=0.8,
    )


def plot_map(loss_map: LossMap, ax: Axes) -> None:
    """Where sync is lost."""
    from zcd.drawing.loss_map import draw_loss_map

    draw_loss_map(ax, loss_map.board, loss_map, loss_map.share)


def plot_readings(expected_readings: ExpectedReadings, ax: Axes) -> None:
    """Volts of a good board, from least to most."""
    volts = [line for line in expected_readings.lines if line.reading.function.row.short][:MAX_BARS]
    for place, line in enumerate(volts):
        ax.plot([line.healthy.low, line.healthy.high], [place, place], color=BLUE, lw=4.0)
    ax.set_yticks(
        range(len(volts)), [reading_text(line.reading, expected_readings.circuit) for line in volts]
    )
    ax.invert_yaxis()
    ax.set(xlabel="good board [V]", title=expected_readings.board.name)


def plot_ranking(case: Case, ax: Axes) -> None:
    """Probabilities of the likeliest faults."""
    first = case.ranked[: MAX_BARS // 2]
    _bars(ax, [r.key for r in first], [100.0 * r.probability for r in first], "probability [%]")
    ax.set(title=case.board.name, xlim=(0.0, 100.0))


def plot_retest(retest: Retest, ax: Axes) -> None:
    """Each reading within what a good board shows: 0 its low end, 1 its high end."""
    names, values, bad = [], [], []
    for again in retest.readings:
        width = again.high - again.low
        if isfinite(width) and width > 0.0:
            names.append(reading_text(again.measured.reading, retest.circuit))
            values.append(float(np.clip((again.measured.value - again.low) / width, -CLIP, CLIP)))
            bad.append(not again.good)
    _bars(ax, names, values, "place between the ends of a good board", bad)


def plot_replacements(replacements: Replacements, ax: Axes) -> None:
    """How hard the hardest-working resistor of each proposal works."""
    from zcd.report.of_substitutes import parts_text, used_ratio

    found = replacements.found
    answer = next((each for each in found.answers if each.kind == "chain"), None)
    proposals = () if answer is None else (*answer.proposals, *answer.others)
    assert answer is not None or not proposals
    names = [parts_text(found, answer, each) for each in proposals if answer]
    used = [100.0 * used_ratio(each.verdict, each.parts) for each in proposals if answer]
    _bars(ax, names, used, "hardest-working resistor, share of its limit [%]")


def plot_story(story: Story, ax: Axes) -> None:
    """Speed of the fan, and when each flag is raised."""
    ax.plot(story.time_s, story.speed_rpm, color=BLUE)
    for flag, time_s in story.flags.items():
        ax.axvline(time_s, color=RED, lw=1.0, ls=":")
        ax.annotate(f"{flag} flag", (time_s, 0.9), xycoords=("data", "axes fraction"))
    ax.set(xlabel="time [s]", ylabel="fan [rpm]", title=story.cause.key)


def plot_flags(table: StoryTable, ax: Axes) -> None:
    """When each cause raises its first flag."""
    stories = [story for story in table.stories if story.flags]
    first = [min(story.flags.values()) for story in stories]
    _bars(ax, [story.cause.key for story in stories], first, "first flag after [s]")


def plot_causes(causes_for_flags: CausesForFlags, ax: Axes) -> None:
    """Probability of each cause before any reading."""
    names = [fit.cause.key for fit in causes_for_flags.fits]
    _bars(ax, names, [100.0 * fit.share_ratio for fit in causes_for_flags.fits], "probability [%]")


def plot_capture(traces: Traces, ax: Axes) -> None:
    """The pin as captured."""
    ax.plot(MS * traces.capture.time_s, traces.pin_v, color=BLUE, lw=1.0)
    ax.set(xlabel="time [ms]", ylabel="pin [V]", title=traces.capture.name)


def plot_comparison(comparison: Comparison, ax: Axes) -> None:
    """The pin by the engine and by both levels of SPICE."""
    for name, solution, style in (
        ("zcd", comparison.ours, "-"),
        ("SPICE, same equations", comparison.equations, "--"),
        ("SPICE, transistor", comparison.device, ":"),
    ):
        wave = solution.between_v("pin", "logic0")
        time, volts = period_curve(solution, wave)
        ax.plot(MS * time, volts, ls=style, label=name)
    ax.legend(frameon=False)
    ax.set(xlabel="time [ms]", ylabel="pin [V]", title=comparison.board.name)


def plot_windings(windings: Windings, ax: Axes) -> None:
    """Resistance between each two leads."""
    ohm = {"-".join(sorted(pair)): v for pair, v in windings.measured.resistance_ohm.items()}
    finite = {name: v for name, v in sorted(ohm.items()) if isfinite(v)}
    _bars(ax, list(finite), list(finite.values()), "resistance [Ω]")
