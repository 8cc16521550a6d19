"""Stories in words: what happens when, why it raises which flags, what to do about it."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from zcd.show.sheets import Sheet
from zcd.show.wording import quantity_text
from zcd.story.causes import Cause, Side
from zcd.story.controller import FAN, SYNC, State
from zcd.story.firing import Switch
from zcd.story.flags import Fit, Telling
from zcd.story.timeline import Event, Story, What

STATE_WORDS = {
    State.OFF: "no supply: the controller does not start, the display stays dark",
    State.WAIT: "switched on; the controller waits for its supply",
    State.CLOSE: "the load relay's coil is driven",
    State.SEEK: "the fan is wanted: the controller looks for sync, the drive waits",
    State.RUN_UP: "the drive is fired: run-up, the firing delay shortens",
    State.RUN: "closed loop: the tacho sets the firing delay",
    State.PAUSE: "attempt ended: drive and load off, a pause",
    State.LOCKED_OUT: "locked out: no further attempt until it is switched off and on",
}
FLAG_WORDS = {
    SYNC: "SYNC FLAG: no lock for too long",
    FAN: "FAN FLAG: no tacho, or too slow, for too long",
}
EVENT_WORDS = {
    What.LOCK: "lock: enough good periods in a row",
    What.LOSS: "lock lost",
    What.FREE: "no sync: the drive is fired by the controller's own clock",
    What.OPENS: "the loose part opens",
    What.CLOSES: "the loose part closes again",
}
MOST_EVENTS = 30
TURNS_RPM = 5.0
SURGE_SHARE = 0.2
"""Of the target: a fan whose speed moves more, late in the story, comes and goes."""
HOT_DIRECT_SHARE = 0.02
"""Mean voltage over rms, from which direct current in the winding is worth a word."""
NO_FLAG = "none"


def event_text(event: Event) -> str:
    """What happens, in words."""
    if event.what is What.STATE:
        return STATE_WORDS[State(event.which)]
    if event.what is What.FLAG:
        return FLAG_WORDS[event.which]
    return EVENT_WORDS[event.what]


def cause_text(cause: Cause) -> str:
    """A cause with its size, where it has one."""
    if cause.amount is None:
        return cause.key
    return f"{cause.key} ({amount_text(cause)})"


def amount_text(cause: Cause) -> str:
    """The size of a cause."""
    if cause.amount is None:
        return ""
    factor = cause.fault.unit == "x"
    return (
        f"x {quantity_text(cause.amount, '')}"
        if factor
        else quantity_text(cause.amount, cause.fault.unit)
    )


def flags_text(flags: Collection[str]) -> str:
    """Flags in the order sync, fan."""
    return " + ".join(flag for flag in (SYNC, FAN) if flag in flags) or NO_FLAG


def headline(story: Story) -> str:
    """The story in one line."""
    if not story.flags:
        if story.end_state is State.OFF:
            return f"{cause_text(story.cause)}: the controller is dark and flags nothing"
        return f"{cause_text(story.cause)}: no flag"
    times = ", ".join(
        f"{flag} flag after {story.flags[flag]:.1f} s"
        for flag in (SYNC, FAN)
        if flag in story.flags
    )
    return f"{cause_text(story.cause)}: {times}"


def events_sheet(story: Story) -> Sheet:
    """What happens when."""
    shown = story.events[:MOST_EVENTS]
    rows = tuple((f"{event.time_s:.2f}", event_text(event)) for event in shown)
    left = len(story.events) - len(shown)
    remark = f"{left} more events until {story.time_s[-1]:.0f} s, of the same kind." if left else ""
    return Sheet(title="What happens when", columns=("s", ""), rows=rows, right=(0,), remark=remark)


def seen_sheet(story: Story) -> Sheet:
    """What there is to see and measure with the load relay on, and when it is off."""
    view = story.view
    rows = []
    for word, closed in (("relay on", True), ("relay off", False)):
        sight = view.sight(True, closed)
        rows.append(
            (
                word,
                quantity_text(sight.feed_rms_v, "V"),
                quantity_text(sight.led_peak_a, "A"),
                "good" if sight.good else (sight.failed_rule or "fading away"),
                _crossing_text(sight.late_s) if sight.good else "-",
            )
        )
    if view.sight(True, True) is view.sight(True, False):
        rows = [("feed direct", *rows[0][1:])]
    remark = "While the loose part is open." if story.cause.pattern else ""
    return Sheet(
        title="What the sync circuit gives",
        columns=("", "feed to neutral", "LED peak", "pulses", "crossing believed"),
        rows=tuple(rows),
        right=(1, 2),
        remark=remark,
    )


def _crossing_text(late_s: tuple[float, float]) -> str:
    """By how much the firmware is wrong about the crossing."""
    first, second = (round(late * 1e6) for late in late_s)
    if not first and not second:
        return "on time"
    words = [f"{abs(us)} µs {'late' if us > 0 else 'early'}" if us else "on time"
             for us in (first, second)]  # fmt: skip
    return words[0] if first == second else f"{words[0]} / {words[1]}"


def why_lines(story: Story) -> list[str]:
    """Why just these flags come, for someone who sees it for the first time."""
    lines = [_sync_line(story), _fan_line(story), *_side_lines(story)]
    return [line for line in lines if line]


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
        return (
            f"The controller gets no good sync pulses ({sight.failed_rule or 'they fade away'}), "
            "so it cannot lock."
        )
    return "The sync pulses are good: the controller has lock."


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
            "Without lock it never fires the drive; the fan, which may be perfectly good, does "
            "not turn and its tacho is silent. The fan flag is a consequence of the sync fault, "
            "not a second fault."
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
        f"The fan runs at {story.speed_rpm[-1]:.0f} rpm on {story.fan_rms_v[-1]:.0f} V; the mains "
        f"has {story.view.mains_rms_v:.0f} V. What is missing, the speed loop makes up for."
    )


def _own_fault_text(story: Story) -> str:
    """Why the fan's flag comes although the drive is fired in time."""
    turned, volts = float(np.max(story.speed_rpm)), float(np.max(story.fan_rms_v))
    if turned > TURNS_RPM and story.cause.condition.pulses_ratio == 0.0:
        return (
            f"The fan turns, up to {turned:.0f} rpm and faster than wanted, but no tacho pulse "
            "comes back: the controller must believe that it stands."
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
        lines.append("The fan runs with the relay off and before the controller asks for it.")
    view = story.view
    if view.faulty_open.feed_rms_v > 0.5 * view.mains_rms_v > view.sound_open.feed_rms_v:
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
    return " (the current lags so far that every other gate pulse is over before it ends)"


def table_sheet(stories: Sequence[Story]) -> Sheet:
    """All causes against the flags they raise; neighbouring sizes that do the same, together."""
    groups: list[list[Story]] = []
    for story in stories:
        last = groups[-1][-1] if groups else None
        same = last is not None and last.cause.key == story.cause.key
        if same and last is not None and flags_text(last.flags) == flags_text(story.flags):
            groups[-1].append(story)
        else:
            groups.append([story])
    return Sheet(
        title="All causes against the flags they raise",
        columns=("cause", "sync", "fan", "the fan", "controller"),
        rows=tuple(_table_row(group) for group in groups),
        right=(1, 2),
        remark="Flags sync and fan: seconds after switching on; an empty cell: none. Below a "
        "cause its size: a factor (x), or ohms.",
    )


def _table_row(group: Sequence[Story]) -> tuple[str, ...]:
    first, last = group[0], group[-1]
    sizes = [amount_text(story.cause) for story in group if story.cause.amount is not None]
    span = sizes[:1] if len(set(sizes)) == 1 else [f"{sizes[0]} to {sizes[-1]}"] if sizes else []
    times = [f"{first.flags[flag]:.1f}" if flag in first.flags else "" for flag in (SYNC, FAN)]
    name = "\n  ".join([first.cause.key, *span])
    return (name, *times, fan_text(last), END_WORDS[last.end_state])


END_WORDS = {
    State.OFF: "dark",
    State.WAIT: "waiting",
    State.CLOSE: "trying again",
    State.SEEK: "seeking sync",
    State.RUN_UP: "running up",
    State.RUN: "running",
    State.PAUSE: "trying again",
    State.LOCKED_OUT: "locked out",
}


def fan_text(story: Story) -> str:
    """What somebody beside the fan sees."""
    most, end = float(np.max(story.speed_rpm)), float(story.speed_rpm[-1])
    if most <= TURNS_RPM:
        return "stands"
    if story.free.any():
        return "runs rough"
    tail = story.speed_rpm[2 * story.speed_rpm.size // 3 :]
    if tail.max() - tail.min() > SURGE_SHARE * story.plant.rules.target_rpm:
        return "comes and goes"
    return f"{end:.0f} rpm" if end > TURNS_RPM else f"{most:.0f} rpm, then stops"


def fits_sheet(fits: Sequence[Fit], flags: Collection[str], shown: int = 14) -> Sheet:
    """Causes that fit the flags seen."""
    rows = tuple(
        (
            f"{100.0 * fit.share_ratio:.0f} %" if fit.share_ratio >= 0.01 else "< 1 %",
            fit.cause.key + (f"\n{_sizes(fit)}" if fit.cause.amount is not None else ""),
            str(fit.cause.side),
            fit.cause.words,
        )
        for fit in fits[:shown]
    )
    left = fits[shown:]
    remark = (
        "Shares are priors, before any reading: weak, and no verdict. Feed side: mains, load relay "
        "with coil, driver and contact; fan side: drive, motor, capacitor, tacho."
    )
    if left:
        share = 100.0 * sum(fit.share_ratio for fit in left)
        remark = f"{len(left)} more, together {share:.0f} %, none above the last. {remark}"
    return Sheet(
        title=f"Causes that fit the flags: {flags_text(flags)}",
        columns=("share", "cause", "where", "what it means"),
        rows=rows,
        right=(0,),
        remark=remark,
    )


def _sizes(fit: Fit) -> str:
    return ", ".join(amount_text(story.cause) for story in fit.stories)


def side_shares(fits: Sequence[Fit]) -> dict[Side, float]:
    """How much of what fits lies on each side, largest first."""
    shares: dict[Side, float] = {}
    for fit in fits:
        shares[fit.cause.side] = shares.get(fit.cause.side, 0.0) + fit.share_ratio
    return dict(sorted(shares.items(), key=lambda pair: -pair[1]))


def advice_lines(fits: Sequence[Fit], flags: Collection[str], told: Telling | None) -> list[str]:
    """What the flags themselves say about where to look first."""
    lines = []
    if not fits:
        return ["No single cause of this board raises just these flags: look for two faults."]
    shares = side_shares(fits)
    words = ", ".join(f"{side} {100.0 * share:.0f} %" for side, share in shares.items())
    lines.append(f"Where it lies, by prior: {words}.")
    if not flags:
        lines.append(
            "A dark display leaves only what feeds the controller; with a lit one, the controller "
            "is content with what it sees, which need not be all that there is."
        )
    if SYNC in flags and FAN in flags:
        lines.append(
            "Both flags together: no single fault of drive, fan or tacho raises the sync flag. "
            "Find the sync fault; leave the fan alone until lock is back."
        )
        if Side.FEED in shares and told is not None:
            lines.append(
                "A relay that clicks has moved its armature, no more: listening does not show "
                "that its contact closes. Measure at the switched terminal."
            )
    if set(flags) == {FAN}:
        lines.append(
            "The sync circuit is good: nothing is to be measured there. Look whether the fan "
            "turns; if it does, the tacho; if not, with the plug pulled: turn it by hand, measure "
            "its windings (zcd windings) and its run capacitor, before the drive."
        )
    return lines
