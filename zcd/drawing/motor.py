"""Figures of drive and fan: what the firing delay delivers, what the motor makes of it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from zcd.drawing.canvas import BLUE, GREY, LEFT, RED, drawing, new_figure
from zcd.errors import plain
from zcd.physics.motor import fan_torque_nm, run
from zcd.physics.phase_control import rms_ratio
from zcd.report.text import quantity_text
from zcd.simulation.causes import Condition
from zcd.simulation.gate import delivered
from zcd.simulation.timeline import Story

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]

MNM = 1e3
MS = 1e3
SHARES = (1.0, 0.8, 0.6)
"""Of full voltage, drawn as torque curves."""
EXAMPLE_LATE_S = 300e-6
"""Error of one half cycle against the other, drawn for comparison."""


def drive_figure(story: Story, name: str = "drive") -> Figure:
    """Voltage at the fan, and the direct voltage, against the firing delay.

    Parameters
    ----------
    story : Story
        Gives drive, load and mains.
    name : str
        Goes before every id in the SVG.

    Returns
    -------
    figure : Figure
        Two axes that share the delay.
    """
    plant, sight = story.plant, story.view.faulty_closed
    half_s = 0.5 / plant.mains_hz
    firing = np.linspace(0.0, np.pi, 721)
    late = (sight.late_s[0] / half_s * np.pi, sight.late_s[1] / half_s * np.pi)
    now = delivered(firing, late, plant.load)
    apart = EXAMPLE_LATE_S / half_s * np.pi / 2.0
    unequal = delivered(firing, (late[0] + apart, late[1] - apart), plant.load)
    delay_ms = firing / np.pi * half_s * MS
    with drawing():
        figure = new_figure(name, 7.2, 5.4)
        top, low = figure.subplots(2, 1, sharex=True, height_ratios=(1.6, 1.0))
        volts = plant.mains_rms_v
        top.plot(delay_ms, now.rms_ratio * volts, color=BLUE, label="rms at the fan")
        top.plot(delay_ms, now.fundamental_ratio * volts, color=RED, ls="--",
                 label="its part at mains frequency (makes the torque)")  # fmt: skip
        top.plot(delay_ms, rms_ratio(firing) * volts, color=GREY, lw=1.0, ls=":",
                 label="rms at a plain resistance")  # fmt: skip
        for limit in (plant.earliest_rad, plant.latest_rad):
            for ax in (top, low):
                ax.axvline(limit / np.pi * half_s * MS, color="black", lw=0.8, ls="-.")
        top.set_ylabel("voltage [V]")
        top.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), frameon=False)
        peak_v = volts * 2.0**0.5
        low.plot(delay_ms, now.direct_ratio * peak_v, color=BLUE, label="as it is")
        low.plot(delay_ms, unequal.direct_ratio * peak_v, color=RED, ls="--",
                 label=f"half cycles {quantity_text(EXAMPLE_LATE_S, 's')} apart")  # fmt: skip
        low.axhline(0.0, color=GREY, lw=0.6)
        used = (firing >= plant.earliest_rad) & (firing <= plant.latest_rad)
        most_v = max(float(np.max(np.abs(f.direct_ratio[used]))) for f in (now, unequal)) * peak_v
        low.set_ylim(-2.0 * most_v, 2.0 * most_v)
        low.set_ylabel("direct\nvoltage [V]")
        low.set_xlabel(
            "firing delay from the zero crossing seen by the controller [ms]\n"
            f"dash-dot: earliest and latest delay used{_into_next(story, half_s)}"
        )
        low.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, frameon=False)
        low.set_xlim(0.0, half_s * MS)
        figure.suptitle("The later the gate pulse, the less voltage the fan gets", weight="bold",
                        **LEFT)  # fmt: skip
    return figure


def _into_next(story: Story, half_s: float) -> str:
    """From which delay on a gate pulse lasts beyond the crossing after it; empty: from none."""
    late_s = max(story.view.faulty_closed.late_s)
    from_s = half_s - story.plant.load.gate_rad / np.pi * half_s - late_s
    if not 0.0 < from_s < half_s:
        return ""
    return f"; from {quantity_text(from_s, 's')} on, the pulse reaches into the next half cycle"


def fan_figure(story: Story, name: str = "fan") -> Figure:
    """Torque of the motor at several voltages, and of impeller and bearing, against speed.

    Parameters
    ----------
    story : Story
        Gives motor, impeller and mains.
    name : str
        Goes before every id in the SVG.

    Returns
    -------
    figure : Figure
    """
    plant = story.plant
    motor, impeller = plant.motor, plant.rotor.impeller
    speeds = np.linspace(0.0, motor.synchronous_rpm, 301)
    with drawing():
        figure = new_figure(name, 7.2, 4.6)
        ax = figure.subplots()
        for share, dashes in zip(SHARES, ("-", "--", "-."), strict=True):
            torque = run(motor, speeds, share * plant.mains_rms_v).torque_nm
            label = f"motor at {quantity_text(share * plant.mains_rms_v, 'V')}"
            ax.plot(speeds, torque * MNM, color=BLUE, ls=dashes, label=label)
            _mark(ax, story, share)
        alone = replace(motor, capacitance_f=0.0)
        torque = run(alone, speeds, plant.mains_rms_v).torque_nm
        ax.plot(speeds, torque * MNM, color=GREY, lw=1.0, label="with the capacitor open")
        taken = fan_torque_nm(speeds, impeller.at_rpm, impeller.torque_nm)
        if np.isfinite(impeller.bearing_nm):
            taken = taken + impeller.bearing_nm
        ax.plot(speeds, taken * MNM, color=RED, label="impeller and bearing")
        ax.axvline(plant.rules.target_rpm, color="black", lw=0.8, ls=":", label="target")
        ax.set_ylim(bottom=min(-5.0, 1.05 * float(torque.min()) * MNM))
        ax.set_xlim(0.0, motor.synchronous_rpm)
        ax.set_xlabel("speed [rpm]")
        ax.set_ylabel("torque [mN m]")
        ax.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), frameon=False)
        sick = story.cause.condition != Condition()
        about = f" ({plain(story.cause.key)})" if sick else ""
        figure.suptitle(f"The fan turns where the torques meet{about}", weight="bold", **LEFT)
    return figure


def _mark(ax: Axes, story: Story, share: float) -> None:
    """A dot where the fan would turn evenly at a voltage."""
    plant = story.plant
    speed = plant.rotor.settled_rpm(share * plant.mains_rms_v)
    if speed > 0.0:
        torque = run(plant.motor, speed, share * plant.mains_rms_v).torque_nm
        ax.plot(speed, float(torque) * MNM, marker="o", color="black", ls="none", zorder=5)
