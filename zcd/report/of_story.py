"""Stories in words: what happens when, why it raises which flags, what to do about it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from operator import itemgetter

import numpy as np

from zcd.board.model import Assumption, Board
from zcd.board.units import format_si
from zcd.errors import plain
from zcd.report.of_answers import grouped
from zcd.report.of_diagnosis_text import fault_words, standing_text
from zcd.report.table import Quantity, Table
from zcd.report.text import offset_text, percent_text, probability_text, quantity_text
from zcd.simulation.causes import Cause, Subsystem
from zcd.simulation.controller import FAN, SYNC, State
from zcd.simulation.flags import Fit
from zcd.simulation.sync_view import SyncState
from zcd.simulation.timeline import Event, Story, What

STATE_WORDS = {
    State.OFF: "no supply: the controller does not start, the display stays dark",
    State.WAIT: "switched on; the controller waits for its supply",
    State.CLOSE: "the load relay's coil is driven",
    State.SEEK: "the controller wants the fan: it looks for sync first",
    State.RUN_UP: "the drive is fired: run-up, the firing delay shortens",
    State.RUN: "closed loop: the tacho sets the firing delay",
    State.PAUSE: "the attempt ends: fan and load off, then a pause",
    State.LOCKED_OUT: "locked out: no further attempt until it is switched off and on",
}
NO_RELAY = "the controller waits a little before it looks for sync"
"""What it does where the feed has no relay to drive."""
FLAG_WORDS = {
    SYNC: "SYNC FLAG: no sync for too long",
    FAN: "FAN FLAG: no speed signal (tacho), or too slow, for too long",
}
EVENT_WORDS = {
    What.LOCK: "sync: enough good periods in a row",
    What.LOSS: "sync lost",
    What.FREE: "no sync: the drive is fired by the controller's own clock",
    What.OPENS: "the loose part opens",
    What.CLOSES: "the loose part closes again",
}
MAX_EVENTS = 30
TURNS_RPM = 5.0
SURGE_SHARE = 0.2
"""Of the target: a fan whose speed moves more, late in the story, comes and goes."""
NO_FLAG = "none"
ABOVE = 1.1
"""Feed over mains, from which a charged capacitor has to be named."""
CHARGED = (
    "More than the mains: through the rectifier the suppressor's capacitor charges, and its direct "
    "voltage adds to the mains. Without a meter: one of low impedance pulls it far down."
)

FAN_FEED = (
    "Assumed: the fan is fed ahead of the load relay. If it is behind the relay's contact, a "
    "contact that does not close stops the fan too, whatever the sync circuit does."
)


def event_text(event: Event, board: Board) -> str:
    """What happens, in words."""
    if event.what is What.STATE:
        state = State(event.which)
        no_relay = state is State.CLOSE and board.relay is None
        return NO_RELAY if no_relay else STATE_WORDS[state]
    if event.what is What.FLAG:
        return FLAG_WORDS[event.which]
    return EVENT_WORDS[event.what]


def cause_text(cause: Cause) -> str:
    """A cause with its size, where it has one."""
    if cause.amount is None:
        return fault_words(cause.key)
    return f"{fault_words(cause.key)} ({amount_text(cause)})"


def amount_text(cause: Cause) -> str:
    """The size of a cause."""
    if cause.amount is None:
        return ""
    if cause.fault.unit != "x":
        return quantity_text(cause.amount, cause.fault.unit)
    if cause.fault.kind == "phototransistor":
        return f"CTR at {percent_text(cause.amount)} of new"
    return f"{quantity_text(cause.amount, '')} times"


def flags_text(flags: Collection[str]) -> str:
    """Flags in the order sync, fan."""
    return " + ".join(flag for flag in (SYNC, FAN) if flag in flags) or NO_FLAG


FLAG_TIMES = {f"supervision.{flag}_flag_after": flag for flag in (SYNC, FAN)}
"""Keys of a board file for the times of the flags."""
FIRST_EVENTS = 7
NAMED = 3
"""Causes that are named on one screen."""
LONGEST = 190
"""Letters on the causes of each set of flags, where all are listed."""


def headline(story: Story, *, fan: bool = True) -> str:
    """The story in one line; also of the fan's flag."""
    if not story.flags:
        if story.end_state is State.OFF:
            return f"{cause_text(story.cause)}: the controller has no supply and reports nothing"
        return f"{cause_text(story.cause)}: no flag"
    times = ", ".join(
        f"{flag} flag after about {format_si(story.flags[flag], 's', digits=2)}"
        for flag in ((SYNC, FAN) if fan else (SYNC,))
        if flag in story.flags
    )
    return f"{cause_text(story.cause)}: {times}"


def first_events(story: Story) -> tuple[tuple[str, str], ...]:
    """The first things that happen, up to the last flag."""
    last = max(story.flags.values(), default=0.0)
    shown = [event for event in story.events if event.time_s <= last][:FIRST_EVENTS]
    shown = shown or list(story.events[:FIRST_EVENTS])
    return tuple((f"{event.time_s:.1f} s", event_text(event, story.board)) for event in shown)


def by_flags(stories: Sequence[Story]) -> tuple[tuple[str, str], ...]:
    """The causes that raise each set of flags, in few words."""
    groups: dict[str, list[str]] = {}
    for story in stories:
        names = groups.setdefault(flags_text(story.flags), [])
        if (name := _name(story.cause)) not in names:
            names.append(name)
    most_first = sorted(groups, key=lambda flags: -flags.count("+") - (flags != NO_FLAG))
    return tuple((flags, _listed_text(groups[flags])) for flags in most_first)


def _listed_text(names: Sequence[str]) -> str:
    """As many causes as three lines hold, those of one part or one mode together, and how many
    more there are."""
    told = ""
    for number in range(1, len(names) + 1):
        text = "; ".join(grouped(names[:number])) + _more_text(len(names) - number)
        if told and len(text) > LONGEST:
            break
        told = text
    return told


def _name(cause: Cause) -> str:
    """A cause as a person names it."""
    return "a good board" if cause.subsystem is Subsystem.NONE else fault_words(cause.key)


def _more_text(more: int) -> str:
    return f" and {more} more" if more > 0 else ""


def likeliest_line(fits: Sequence[Fit]) -> str:
    """How many causes fit, and which of them stand out before any reading."""
    count = "1 cause fits" if len(fits) == 1 else f"{len(fits)} single faults fit"
    return f"{count}. {standing_text([(_name(fit.cause), fit.share_ratio) for fit in fits])}"


def next_line(board: Board, flags: Collection[str]) -> str:
    """What to do once the flags are known."""
    words = ",".join(flag for flag in (SYNC, FAN) if flag in flags) or "none"
    return f"Next: zcd diagnose {plain(board.file)} -f {words}"


def likeliest(fits: Sequence[Fit]) -> tuple[tuple[str, str], ...]:
    """The first few causes with their shares, and what to do about each."""
    return tuple(
        (probability_text(fit.share_ratio), f"{_name(fit.cause)}: {_first_clause(fit.cause.words)}")
        for fit in fits[:NAMED]
    )


def _first_clause(words: str) -> str:
    """What to do, where the words say it behind a colon; else all of them."""
    _, _, after = words.partition(": ")
    return (after or words).partition(";")[0]


def assumed_times_line(assumptions: Sequence[Assumption]) -> str:
    """Times of the flags that nobody wrote; empty: both are the machine's own."""
    times = {note.key: note.value for note in assumptions}
    named = [f"{flag} flag after {times[key]}" for key, flag in FLAG_TIMES.items() if key in times]
    if not named:
        return ""
    return (
        f"Assumed: {', '.join(named)}; the fan's figures too. Write those of your machine into "
        "[supervision] and [fan] of the board file."
    )


def events_table(story: Story) -> Table:
    """What happens when."""
    shown = story.events[:MAX_EVENTS]
    quantities = (
        Quantity("time_s", "s", lambda event: f"{event.time_s:.2f}"),
        Quantity("event", "", lambda event: event_text(event, story.board)),
    )
    left = len(story.events) - len(shown)
    remark = f"{left} more events until {story.time_s[-1]:.0f} s, of the same kind." if left else ""
    return Table.of(shown, quantities, "What happens when", remark)


def seen_table(story: Story) -> Table:
    """What there is to see and measure with the load relay on, and when it is off."""
    sync_view = story.view
    on, off = (sync_view.state(True, closed) for closed in (True, False))
    rows = (("relay on", on), ("relay off", off)) if on is not off else (("feed direct", on),)
    quantities = (
        Quantity("relay", "", itemgetter(0)),
        Quantity("feed_rms_v", "feed to neutral", value=lambda row: row[1].feed_rms_v),
        Quantity("led_peak_a", f"{story.board.input_name} peak", value=lambda r: r[1].led_peak_a),
        Quantity("pulses", "pulses", lambda row: _pulses_text(row[1])),
        Quantity(
            "late",
            "crossing, as the controller sees it",
            lambda row: _offset_text(row[1].late_s) if row[1].good else "-",
        ),
    )
    remarks = ["While the loose part is open."] if story.cause.pattern else []
    if (
        max(sync_view.faulty_open.feed_rms_v, sync_view.faulty_closed.feed_rms_v)
        > ABOVE * sync_view.mains_rms_v
    ):
        remarks.append(CHARGED)
    return Table.of(rows, quantities, "What the sync circuit gives", " ".join(remarks))


def _pulses_text(state: SyncState) -> str:
    return "good" if state.good else (state.failed_rule or "fading away")


def _offset_text(late_s: tuple[float, float]) -> str:
    """By how much the firmware is wrong about the crossing, in each half cycle."""
    first, second = map(offset_text, late_s)
    return first if first == second else f"{first} / {second}"


def stories_table(stories: Sequence[Story]) -> Table:
    """All causes against the flags they raise; neighbouring sizes that do the same, together."""
    groups: list[list[Story]] = []
    for story in stories:
        last = groups[-1][-1] if groups else None
        same = last is not None and last.cause.key == story.cause.key
        if same and last is not None and flags_text(last.flags) == flags_text(story.flags):
            groups[-1].append(story)
        else:
            groups.append([story])
    return Table(
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
    name = "\n  ".join([fault_words(first.cause.key), *span])
    return (name, *times, fan_text(last), END_WORDS[last.end_state])


END_WORDS = {
    State.OFF: "no supply",
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
        return "does not turn"
    if story.free.any():
        return "runs rough"
    tail = story.speed_rpm[2 * story.speed_rpm.size // 3 :]
    if tail.max() - tail.min() > SURGE_SHARE * story.plant.rules.target_rpm:
        return "comes and goes"
    return f"{end:.0f} rpm" if end > TURNS_RPM else f"{most:.0f} rpm, then stops"


def fits_table(fits: Sequence[Fit], flags: Collection[str], shown: int = 14) -> Table:
    """Causes that fit the flags seen."""
    quantities = (
        Quantity("share_ratio", "probability", lambda fit: probability_text(fit.share_ratio)),
        Quantity("cause", "cause", _sized_text, lambda fit: fit.cause.key),
        Quantity("side", "where", lambda fit: str(fit.cause.subsystem)),
        Quantity("words", "what it means", lambda fit: fit.cause.words),
    )
    left = fits[shown:]
    remark = (
        "Probabilities before any reading, as zcd diagnose has them with these flags: weak, and no "
        "verdict. Feed side: what feeds the board and switches it; fan side: drive, motor, "
        "capacitor, tacho."
    )
    if left:
        share = probability_text(sum(fit.share_ratio for fit in left))
        remark = f"{len(left)} others, together {share}. {remark}"
    return Table.of(
        fits[:shown], quantities, f"Causes that fit the flags: {flags_text(flags)}", remark
    )


def _sized_text(fit: Fit) -> str:
    """A cause with its sizes, where it has some."""
    sizes = ", ".join(amount_text(story.cause) for story in fit.stories)
    return fault_words(fit.cause.key) + (f"\n{sizes}" if fit.amounts else "")


def side_shares(fits: Sequence[Fit]) -> dict[Subsystem, float]:
    """How much of what fits lies on each side, largest first."""
    shares: dict[Subsystem, float] = {}
    total = sum(fit.share_ratio for fit in fits)
    for fit in fits:
        side = fit.cause.subsystem
        shares[side] = shares.get(side, 0.0) + fit.share_ratio / total
    return dict(sorted(shares.items(), key=lambda pair: -pair[1]))


def advice_lines(
    fits: Sequence[Fit],
    flags: Collection[str],
    fan_flag_delay_s: float | None = None,
) -> list[str]:
    """What the flags themselves say about where to look first."""
    lines = []
    if not fits and set(flags) == {SYNC} and fan_flag_delay_s is not None:
        return [
            "The fan flag follows a sync fault, after about "
            f"{format_si(fan_flag_delay_s, 's', digits=2)} with the controller as assumed. Wait "
            "and read the display again: with both flags it is mostly one fault. Start at the sync "
            "circuit and what feeds it."
        ]
    if not fits:
        return ["No single cause of this board raises just these flags: look for two faults."]
    shares = side_shares(fits)
    names = {side: "no fault" if side is Subsystem.NONE else str(side) for side in shares}
    words = ", ".join(f"{names[side]} {probability_text(share)}" for side, share in shares.items())
    (first, *others) = shares
    fed = " or what feeds it" if first is Subsystem.SYNC else ""
    lines.append(f"Where: {words}." if others else f"All in the {first}{fed}.")
    if not flags:
        lines.append(
            "A dark display leaves only what feeds the controller; with a lit one, the controller "
            "is content with what it sees, which need not be all that there is."
        )
    if SYNC in flags and FAN in flags:
        lines.append("No fan fault raises the sync flag: find the sync fault, leave the fan alone.")
    if set(flags) == {FAN} and Subsystem.SYNC in shares:
        lines.append(
            "On this board a sync fault may come without its flag (see the times in "
            "[supervision]): the sync circuit is not cleared. Look first whether the fan turns."
        )
    elif set(flags) == {FAN}:
        lines.append(
            "The sync circuit is good: there is nothing to measure. See whether the fan turns; "
            "if it does, the tacho; if not, with the plug pulled: turn it by hand, measure "
            "its windings (zcd windings) and its run capacitor, before the drive."
        )
    return lines
