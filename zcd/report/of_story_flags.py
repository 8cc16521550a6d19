"""Why a story raises just these flags, for someone who sees it for the first time."""

from __future__ import annotations

import numpy as np

from zcd.board.units import some_of
from zcd.margin.shorts import short_stress
from zcd.report.of_story import TURNS_RPM
from zcd.report.text import broken_text, quantity_text
from zcd.simulation.controller import FAN, SYNC, State
from zcd.simulation.gate import Switch
from zcd.simulation.timeline import Story
from zcd.sync.lock import expected_pulses

FADES = "they fade away"
HOT_DIRECT_SHARE = 0.02
"""Mean voltage over rms, from which direct current in the winding is worth a word."""


def why_lines(story: Story, *, fan: bool = True) -> list[str]:
    """Why just these flags come, for someone who sees it for the first time; also of the fan."""
    overload = _overload_line(story)
    # what burns leaves no room on a screen for what else is worth knowing
    sides = [] if overload or not fan else _side_lines(story)
    lines = [overload, _sync_line(story), _fan_line(story) if fan else "", *sides]
    return [line for line in lines if line]


def _overload_line(story: Story) -> str:
    """What a shorted part makes the resistors bear that are left; empty where nothing too much."""
    fault = story.cause.fault
    if fault.mode != "short":
        return ""
    shorts = {s.ref.replace(".led", " LED"): s for s in short_stress(story.board)}
    short = shorts.get(fault.part)
    over = [r for r in (*short.power, *short.voltage) if r.margin < 0.0] if short else []
    if not over:
        return ""
    worst = min(over, key=lambda rule: rule.margin)
    refs = list(dict.fromkeys(rule.subject for rule in over))
    bear, it = ("bears", "it") if len(refs) == 1 else ("bear", "them")
    return (
        f"{some_of(refs)} then {bear} too much: {worst.name} "
        f"{quantity_text(worst.value, worst.unit)} at high mains (limit "
        f"{quantity_text(worst.limit, worst.unit)}). Look for burnt parts and replace {it} too."
    )


def _sync_line(story: Story) -> str:
    """What the controller makes of the pulses."""
    sight = story.view.faulty_closed
    if story.end_state is State.OFF:
        return "Without its supply the controller neither looks nor reports: measure that first."
    if story.cause.pattern and not sight.good:
        unflagged = (
            " Each time that is shorter than the sync flag's time: lock comes and goes, the fan "
            "surges, and nothing is reported."
        )
        return (
            "While the loose part is open no good pulses come and lock is lost; when it closes, "
            "lock comes back." + ("" if SYNC in story.flags else unflagged)
        )
    if story.cause.condition.deaf:
        return "The sync pulses are good, but the controller does not see them, so it cannot lock."
    if not sight.good:
        due, rule = expected_pulses(story.board), sight.failed_rule
        why = broken_text(rule, sight.pulses_a_cycle, due) if rule else FADES
        return f"The controller gets no good sync pulses ({why}), so it cannot lock."
    return "The controller accepts the sync pulses."


def _fan_line(story: Story) -> str:
    """What the fan does, and why its flag comes."""
    if story.end_state is State.OFF:
        return ""
    if story.free.any():
        return _rough_text(story)
    if FAN not in story.flags:
        return _held_text(story)
    if not story.firing.any():
        return (
            "Without sync it does not fire the fan's triac: the fan does not turn and its tacho "
            "is silent. The sync fault alone explains the fan flag; see that the fan turns once "
            "sync is back."
        )
    if SYNC in story.flags:
        return (
            "Whenever lock is gone the drive is shut and the fan runs down; if that lasts too "
            "long, the fan flag follows the sync flag. There is one fault, not two."
        )
    return _own_fault_text(story)


def _held_text(story: Story) -> str:
    """A fan that runs, and what it takes to keep it so."""
    if story.end_state is not State.RUN or story.cause.pattern is not None:
        return ""
    return (
        f"The fan runs at {story.speed_rpm[-1]:.0f} rpm; the speed loop gives it "
        f"{story.fan_rms_v[-1]:.0f} V of the {story.view.mains_rms_v:.0f} V."
    )


def _own_fault_text(story: Story) -> str:
    """Why the fan's flag comes although the drive is fired in time."""
    turned, volts = float(np.max(story.speed_rpm)), float(np.max(story.fan_rms_v))
    if turned > TURNS_RPM and story.cause.condition.pulses_ratio == 0.0:
        return (
            f"The fan turns, up to {turned:.0f} rpm and faster than wanted, but no tacho pulse "
            "comes back: the controller must take it for stopped."
        )
    if turned > TURNS_RPM:
        return f"The drive is fired and the fan turns, but too slowly: {turned:.0f} rpm at most."
    if volts > 0.0:
        return f"The fan gets up to {volts:.0f} V and does not turn."
    return "The gate is driven, but no voltage reaches the fan."


def _rough_text(story: Story) -> str:
    """A fan fired by the controller's own clock."""
    free = story.speed_rpm[story.free]
    settled = free[free.size // 2 :]
    return (
        "Without sync the drive is fired by the controller's own clock, which slips against the "
        f"mains: the fan surges between {settled.min():.0f} and {settled.max():.0f} rpm. It runs "
        "rough."
    )


def _side_lines(story: Story) -> list[str]:
    """Things worth knowing that raise no flag."""
    lines = []
    rms_v, direct_v = float(np.max(story.fan_rms_v)), float(np.max(np.abs(story.direct_v)))
    if not story.free.any() and direct_v > HOT_DIRECT_SHARE * rms_v:
        ohm = float(np.asarray(story.plant.motor.main_ohm))
        amps = 0.0 if np.isinf(ohm) else direct_v / ohm
        lines.append(
            f"The half cycles are unequal{_lag_text(story)}: {quantity_text(direct_v, 'V')} of "
            f"direct voltage put {quantity_text(amps, 'A')} through the main winding, "
            f"{quantity_text(amps * direct_v, 'W')} of heat, and brake the rotor."
        )
    if story.cause.condition.switch is Switch.SHORT:
        relay_off = "" if story.board.relay is None else "with the relay off and "
        lines.append(f"The fan runs {relay_off}before the controller asks for it.")
    sync_view = story.view
    if (
        sync_view.faulty_open.feed_rms_v
        > 0.5 * sync_view.mains_rms_v
        > sync_view.sound_open.feed_rms_v
    ):
        lines.append(
            "The feed is live although the relay is off: what hangs on the contact cannot be "
            "switched off."
        )
    slow = story.cause.condition.pulses_ratio
    if slow > 1.0:
        lines.append(
            f"The controller reads {story.tacho_rpm[-1]:.0f} rpm while the shaft turns at "
            f"{story.speed_rpm[-1]:.0f} rpm: no flag, but too little air."
        )
    return lines


def _lag_text(story: Story) -> str:
    """Why a sound triac fires in one half cycle only."""
    first, second = story.view.faulty_closed.late_s
    if story.cause.condition.switch is not Switch.GOOD or first != second:
        return ""
    return " (the current lags so much that every second gate pulse has ended before it does)"
