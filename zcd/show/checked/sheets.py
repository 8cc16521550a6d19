"""What a check found, as tables of words; a terminal and a report only lay them out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from math import isnan

from zcd.board.model import Assumption, Board, Resistor
from zcd.margin.advice import advice
from zcd.margin.check import Check, Level, Rule
from zcd.margin.shorts import Load, ShortStress
from zcd.margin.spread import AT_CORNER
from zcd.margin.stress import HARMLESS_REVERSE_A, ResistorStress
from zcd.show.wording import (
    NOTHING,
    SourceNotes,
    factor_text,
    found_text,
    limit_text,
    offset_text,
    plain,
    quantity_text,
    share_text,
    years_text,
)
from zcd.sync.lock import expected_pulses

FAILS = "FAILS"
KEPT = "kept"
BEWARE = "beware"

HEADROOM_WORDS = {
    "ctr": "CTR may fall to 1/n",
    "mains": "mains may fall to 1/n",
    "chain": "chain may rise to n times",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A table of words.

    Parameters
    ----------
    title : str
    columns : tuple of str
        Heads.
    rows : tuple of tuple of str
        Cells; a line break within a cell begins a remark on the line above.
    right : tuple of int
        Columns that stand flush right, counted from 0.
    remark : str
        What to know about the whole table.
    """

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()
    remark: str = ""


def board_line(board: Board) -> str:
    """The board in one line: topology, mains, chain, optocoupler, output."""
    chains = " parallel to ".join(_chain_text(chain) for chain in board.chains)
    if board.return_chain:
        chains += f", in the neutral leg {_chain_text(board.return_chain)}"
    opto, out = board.optocoupler, board.output
    mains = (
        f"{quantity_text(board.mains.rms_v, 'V')} {quantity_text(board.mains.frequency_hz, 'Hz')}"
    )
    feed = "direct feed" if board.relay is None else "feed behind the load contact"
    return (
        f"{board.topology}, {mains}, {feed}; chain {chains}; optocoupler {opto.family} "
        f"grade {opto.grade}; {out.kind} {quantity_text(out.resistor.resistance_ohm, 'Ω')} "
        f"on {quantity_text(out.supply_v, 'V')}"
    )


def _chain_text(chain: tuple[Resistor, ...]) -> str:
    return " + ".join(quantity_text(part.resistance_ohm, "Ω") for part in chain)


def levels_sheet(check: Check) -> Sheet:
    """LED current, pulse and lock at each level; levels side by side."""
    lines: tuple[tuple[str, Callable[[Level], str]], ...] = (
        ("mains", lambda level: quantity_text(level.mains_rms_v, "V")),
        ("ambient", lambda level: quantity_text(level.temperature_degc, "°C")),
        ("LED peak", lambda level: quantity_text(level.led_peak_a, "A")),
        ("LED mean", lambda level: quantity_text(level.led_mean_a, "A")),
        ("period", lambda level: quantity_text(level.period_s, "s")),
        ("low time", lambda level: quantity_text(level.low_time_s, "s")),
        ("falls", lambda level: offset_text(level.fall_offset_s)),
        ("rises", lambda level: offset_text(level.rise_offset_s)),
        ("undefined", lambda level: quantity_text(level.transition_s, "s")),
        ("lock", _lock_text),
    )
    unsettled = [level.name for level in check.levels if not level.settled]
    remark = (
        "weak: low mains, hot, the lowest CTR of the grade; strong: high mains, the highest CTR. "
        "falls, rises: edges of the pin against the true crossing; undefined: the longer of the "
        "two ways through the band between the thresholds."
    )
    if expected_pulses(check.board) > 1:
        remark += " Times of the first of the pulses in a period."
    if unsettled:
        remark += f" Not settled, the last cycles are shown: {', '.join(unsettled)}."
    return Sheet(
        title="Sync pulses and LED current",
        columns=("", *(level.name for level in check.levels)),
        rows=tuple((name, *(show(level) for level in check.levels)) for name, show in lines),
        right=tuple(range(1, len(check.levels) + 1)),
        remark=remark,
    )


def _lock_text(level: Level) -> str:
    return "yes" if level.locks else f"NO: {level.failed_rule}"


def resistors_sheet(check: Check) -> Sheet:
    """Power and voltage of each resistor against its limits, at the worst corner."""
    hot = quantity_text(check.board.service.hot_degc, "°C")
    return Sheet(
        title="Resistors at their worst",
        columns=("part", "value", "style", "power", "share", "voltage", "share"),
        rows=tuple(_resistor_row(stress) for stress in check.worst_resistors),
        right=(1, 3, 4, 5, 6),
        remark=f"At high mains, each with its own tolerance and that of the others at the worse "
        f"end. Power limit derated for {hot}. Voltage: rms, at least that of the sine with its "
        "peak.",
    )


def _resistor_row(stress: ResistorStress) -> tuple[str, ...]:
    part = stress.resistor
    power_w, film_v = float(stress.power_w.max()), float(stress.film_v.max())
    return (
        plain(part.ref),
        quantity_text(part.resistance_ohm, "Ω"),
        part.style,
        f"{quantity_text(power_w, 'W')} of {quantity_text(stress.power_limit_w, 'W')}",
        share_text(power_w, stress.power_limit_w),
        f"{quantity_text(film_v, 'V')} of {quantity_text(stress.voltage_limit_v, 'V')}",
        share_text(film_v, stress.voltage_limit_v),
    )


def shorts_sheet(check: Check) -> Sheet:
    """What each single short does to the resistor it hits hardest, and to the LED."""
    rules = advice(check)
    return Sheet(
        title="If one part shorts (advice, no part of the verdict)",
        columns=("shorted", "most power", "share", "most voltage", "share", "LED", "verdict"),
        rows=tuple(_short_row(short, rules) for short in check.shorts),
        right=(2, 4),
        remark="At high mains, against the limits for every day: beyond them the part overheats or "
        "breaks down sooner or later. Replace it together with the shorted one.",
    )


def _short_row(short: ShortStress, rules: Sequence[Rule]) -> tuple[str, ...]:
    hottest, stretched = short.hottest(), short.most_stretched()
    led = quantity_text(short.led_peak_a, "A") if short.led_peak_a > HARMLESS_REVERSE_A else "dark"
    if short.led_reverse_a > HARMLESS_REVERSE_A:
        led += f"\n{quantity_text(short.led_reverse_a, 'A')} reverse"
    kept = all(rule.passes for rule in rules if rule.name.startswith(f"{short.ref} shorted:"))
    return (
        short.ref,
        *_hit(hottest, lambda load: (load.power_w, load.power_limit_w), "W"),
        *_hit(stretched, lambda load: (load.film_v, load.voltage_limit_v), "V"),
        led,
        KEPT if kept else BEWARE,
    )


def _hit(
    load: Load | None, numbers: Callable[[Load], tuple[float, float]], unit: str
) -> tuple[str, str]:
    """The resistor that is hit, with what it bears; and that as a share of its limit."""
    if load is None:
        return NOTHING, NOTHING
    value, limit = numbers(load)
    return f"{plain(load.resistor.ref)} {quantity_text(value, unit)}", share_text(value, limit)


def surge_sheet(check: Check, notes: SourceNotes) -> Sheet:
    """What a surge does to every part, with the letter of where the limit comes from."""
    level = quantity_text(check.surge.level_v, "V")
    return Sheet(
        title=f"A surge of {level}, line to neutral (advice, no part of the verdict)",
        columns=("", "value", "limit", "verdict", "from"),
        rows=tuple(
            (
                _rule_name(rule).removeprefix("surge: "),
                found_text(rule),
                limit_text(rule),
                KEPT if rule.passes else BEWARE,
                notes.letter(rule.source),
            )
            for rule in advice(check)
            if rule.name.startswith("surge")
        ),
        right=(1, 2),
        remark="The level is remembered from a standard, not read in it. On the peak of high "
        "mains, of either sign, 1.2/50 µs; the generator's 2 Ω are nothing beside the chain, and "
        "what a varistor or filter on the board takes of it is not counted. Voltage: the limit is "
        "for 5 s, a surge is over in 100 µs; the maker's pulse curve may allow more, and so do "
        "more parts in series.",
    )


def headroom_sheet(check: Check) -> Sheet:
    """How far CTR, mains and chain may move before lock is lost."""
    return Sheet(
        title="Headroom until lock is lost",
        columns=("", "n typical, bench", "n weak", "first to fail (weak)"),
        rows=tuple(
            (
                HEADROOM_WORDS[name],
                factor_text(check.headrooms[name]),
                factor_text(weak),
                weak.rule or "nothing found",
            )
            for name, weak in check.weak_headrooms.items()
        ),
        right=(1, 2),
    )


def life_sheet(check: Check) -> Sheet:
    """Years until the CTR headroom is used up, by both views, the harsher named."""
    rule, model = check.life.design_rule_years, check.life.acceleration_years
    hours = quantity_text(check.board.service.hours_per_year, "h")
    return Sheet(
        title="Years until ageing uses up the CTR headroom (n weak)",
        columns=("view", "years", ""),
        rows=(
            (
                "maker's design rule: half of the CTR lost in five years",
                years_text(rule),
                "harsher" if rule <= model else "",
            ),
            (
                "current-and-temperature model, indicative only",
                years_text(model),
                "harsher" if model < rule else "",
            ),
        ),
        right=(1,),
        remark=f"At {hours} a year with mains applied; low mains, hot, the lowest CTR of the "
        "grade, all else as marked. With every tolerance at its worse end and the chain drifting "
        f"it is sooner: {'see below' if check.outlook else '`zcd check --outlook` tells'}.",
    )


def rules_sheet(check: Check, notes: SourceNotes) -> Sheet:
    """Every rule with value, limit, verdict and the letter of where the limit comes from."""
    return Sheet(
        title="Rules",
        columns=("rule", "value", "limit", "verdict", "from"),
        rows=tuple(
            (
                _rule_name(rule),
                found_text(rule),
                limit_text(rule),
                KEPT if rule.passes else FAILS,
                notes.letter(rule.source),
            )
            for rule in check.rules
        ),
        right=(1, 2),
    )


def _rule_name(rule: Rule) -> str:
    return plain(rule.name) + (f"\n  {plain(rule.remark)}" if rule.remark else "")


def failed_lines(check: Check) -> tuple[str, ...]:
    """One line for each rule that fails; at the worst corner only where it holds elsewhere."""
    failed = [rule for rule in check.every_rule if not rule.passes]
    known = {f"{AT_CORNER}{rule.name}" for rule in failed}
    return tuple(
        f"{FAILS}: {plain(rule.name)}, found {found_text(rule)}, asked {limit_text(rule)}"
        + (f" ({rule.remark})" if isnan(rule.value) and rule.remark else "")
        for rule in failed
        if rule.name not in known
    )


def assumptions_sheet(board: Board, notes: SourceNotes) -> Sheet:
    """What the board file does not say, and what was taken instead."""
    title = "Assumed, because the board file does not say"
    sheet = taken_sheet(title, board.assumptions, notes)
    return sheet if sheet.rows else replace(sheet, remark="Nothing: the board file says it all.")


def taken_sheet(title: str, taken: Iterable[Assumption], notes: SourceNotes) -> Sheet:
    """What a file does not say, and what was taken instead."""
    return Sheet(
        title=title,
        columns=("key", "taken as", "from"),
        rows=tuple((a.key, plain(a.value), notes.letter(a.source)) for a in taken),
    )
