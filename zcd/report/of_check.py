"""What a check found, as tables of words; a terminal and a report only lay them out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from operator import itemgetter

from zcd.board.model import Assumption, Board, Optocoupler, Resistor
from zcd.board.optocouplers import UNRANKED, grades
from zcd.errors import plain
from zcd.margin.advice import advice
from zcd.margin.check import Check, Level, condition_text
from zcd.margin.rules import Rule
from zcd.margin.shorts import ShortStress
from zcd.margin.stress import HARMLESS_REVERSE_A, ResistorStress
from zcd.report.document import Document, Notes, Paragraph, Section
from zcd.report.of_board import served_line
from zcd.report.table import PASS, STATUS, WARNING, Cell, Quantity, Table
from zcd.report.text import (
    NOTHING,
    factor_text,
    limit_text,
    offset_span_text,
    offset_text,
    quantity_span_text,
    quantity_text,
    rule_value_text,
    rule_words,
    share_text,
    years_text,
)
from zcd.sync.lock import expected_pulses

HEADROOM_WORDS = {
    "ctr": "CTR, times lower",
    "mains": "mains, times lower",
    "chain": "chain, times higher",
}


def board_line(board: Board) -> str:
    """The board in one line: topology, mains, chain, optocoupler or none, output."""
    between = " parallel to " if board.traced is None else ", "
    chains = between.join(_chain_text(chain) for chain in board.chains)
    if board.return_chain:
        chains += f", in the neutral leg {_chain_text(board.return_chain)}"
    out = board.output
    mains = (
        f"{quantity_text(board.mains.rms_v, 'V')} {quantity_text(board.mains.frequency_hz, 'Hz')}"
    )
    feed = "direct feed" if board.relay is None else "feed through the load relay's contact"
    return (
        f"{board.topology}, {mains}, {feed}; chain {chains}; {_pin_text(board)} "
        f"on {quantity_text(out.supply_v, 'V')}"
    )


def board_document(board: Board) -> Document:
    """The board in one line, and what its file does not say."""
    blocks = (Paragraph(board_line(board)), assumptions_table(board), Notes())
    return Document(title=plain(board.name), sections=(Section("", blocks),)).on_board(board)


def _pin_text(board: Board) -> str:
    """What leads to the pin."""
    opto, out = board.optocoupler, board.output
    if board.transistor is not None:
        return f"NOT ISOLATED, no optocoupler: into the base of {board.transistor.part}"
    if opto is None:
        return "NOT ISOLATED, no optocoupler: straight into the pin"
    ohm = "" if out.resistor is None else quantity_text(out.resistor.resistance_ohm, "Ω")
    part = f"optocoupler {opto.family} {grade_text(opto)}".rstrip()
    return f"{part}; {out.kind} {ohm}"


def grade_text(opto: Optocoupler) -> str:
    """The grade of an optocoupler, or that it was not read; empty where its type has none."""
    if opto.grade != UNRANKED:
        return f"grade {opto.grade}"
    return "(no grade read)" if len(grades(opto.family)) > 1 else ""


def _chain_text(chain: tuple[Resistor, ...]) -> str:
    return " + ".join(quantity_text(part.resistance_ohm, "Ω") for part in chain)


def _lock_text(level: Level) -> str:
    return "yes" if level.locks else f"NO: {level.failed_rule}"


LEVELS = (
    Quantity("mains_rms_v", "mains"),
    Quantity("temperature_degc", "ambient"),
    Quantity("led_peak_a", "LED peak"),
    Quantity("led_mean_a", "LED mean"),
    Quantity("period_s", "period"),
    Quantity("low_time_s", "low time"),
    Quantity("fall_offset_s", "falls", lambda level: offset_text(level.fall_offset_s)),
    Quantity("rise_offset_s", "rises", lambda level: offset_text(level.rise_offset_s)),
    Quantity("transition_s", "undefined"),
    Quantity("locks", "lock", _lock_text),
)
"""What is shown of a level."""


def levels_table(check: Check) -> Table:
    """LED current, pulse and lock at each level; levels side by side."""
    unsettled = [level.name for level in check.levels if not level.settled]
    coupled = check.board.is_isolated
    weak, strong = (", the lowest CTR of the grade", ", the highest CTR") if coupled else ("", "")
    if check.board.transistor is not None:
        weak, strong = ", the lowest hFE", ", the highest hFE"
    remark = (
        f"weak: low mains, hot{weak}; strong: high mains{strong}. "
        "falls, rises: edges of the pin, after or before the zero crossing of the mains; "
        "undefined: longest time between the thresholds. Times as a typical input sees them; the "
        "rules take the guaranteed levels in the columns weak and strong, where pulses are shorter."
    )
    if expected_pulses(check.board) > 1:
        remark += " Times of the first of the pulses in a period."
    if unsettled:
        remark += f" Not settled, the last cycles are shown: {', '.join(unsettled)}."
    if check.pulse is not None:
        low, falls = check.pulse.low_time_s, check.pulse.fall_offset_s
        remark += (
            f" Over the tolerances of all parts: low {quantity_span_text(*low, 's')}, falls "
            f"{offset_span_text(*falls)}."
        )
    title = f"Sync pulses and {check.board.input_name} current"
    shown = tuple(_of_input(quantity, check.board) for quantity in LEVELS)
    return Table.across(check.levels, shown, lambda level: level.name, title, remark)


def _of_input(quantity: Quantity, board: Board) -> Quantity:
    """A quantity of the LED as one of base or pin, which it is without an optocoupler."""
    return replace(quantity, heading=quantity.heading.replace("LED", board.input_name))


def volts_text(stress: ResistorStress) -> str:
    """Voltage across a resistor beside its limit, as a meter and an oscilloscope show it."""
    if not stress.by_peak:
        return of_limit(stress.working_stress_v.max(), stress.voltage_limit_v, "V")
    rms, peak = (quantity_text(float(each.max()), "V") for each in (stress.rms_v, stress.peak_v))
    return f"{rms} rms, {peak} peak of {quantity_text(stress.voltage_limit_v * 2**0.5, 'V')}"


def of_limit(value: float, limit: float, unit: str) -> str:
    """A value beside its limit."""
    return f"{quantity_text(float(value), unit)} of {quantity_text(limit, unit)}"


RESISTORS = (
    Quantity("ref", "part", lambda stress: plain(stress.resistor.ref)),
    Quantity(
        "resistance_ohm",
        "value",
        lambda stress: quantity_text(stress.resistor.resistance_ohm, "Ω"),
        lambda stress: stress.resistor.resistance_ohm,
    ),
    Quantity("style", "style", lambda stress: stress.resistor.style),
    Quantity(
        "worst_power_w",
        "power",
        lambda stress: of_limit(stress.power_w.max(), stress.power_limit_w, "W"),
        lambda stress: stress.power_w.max(),
    ),
    Quantity(
        "power_ratio",
        "share",
        lambda stress: share_text(stress.power_w.max(), stress.power_limit_w),
        lambda stress: stress.power_w.max() / stress.power_limit_w,
    ),
    Quantity(
        "worst_working_stress_v",
        "voltage",
        volts_text,
        lambda stress: stress.working_stress_v.max(),
    ),
    Quantity(
        "voltage_ratio",
        "share",
        lambda stress: share_text(stress.working_stress_v.max(), stress.voltage_limit_v),
        lambda stress: stress.working_stress_v.max() / stress.voltage_limit_v,
    ),
)
"""What is shown of a resistor at its worst."""


def resistors_table(check: Check) -> Table:
    """Power and voltage of each resistor against its limits, at the worst corner."""
    hot = quantity_text(check.board.service.hot_degc, "°C")
    return Table.of(
        check.worst_resistors,
        RESISTORS,
        title="Resistors at their worst",
        remark=f"At high mains, each with its own tolerance and that of the others at the worse "
        f"end. Power limit derated for {hot}. Voltage: rms, or peak / √2 if that is "
        "higher.",
    )


def shorts_table(check: Check) -> Table:
    """What each single short does to the resistor it hits hardest, and to the LED."""
    rules = advice(check)
    quantities = (
        Quantity("ref", "shorted"),
        Quantity("most_power", "most power", lambda short: _hit_text(short.hottest())),
        _hit_share("power_ratio", lambda short: short.hottest()),
        Quantity("most_voltage", "most voltage", lambda short: _hit_text(short.most_stretched())),
        _hit_share("voltage_ratio", lambda short: short.most_stretched()),
        Quantity("led_peak_a", check.board.input_name, _led_text, right=False),
        Quantity("status", "verdict", lambda short: PASS if _is_kept(short, rules) else WARNING),
    )
    return Table.of(
        check.shorts,
        quantities,
        title="If one part shorts (advice, no part of the verdict)",
        remark="At high mains, against the continuous limits: beyond them the part overheats or "
        "breaks down sooner or later. Replace it together with the shorted one.",
    )


def _led_text(short: ShortStress) -> str:
    led = quantity_text(short.led_peak_a, "A") if short.led_peak_a > HARMLESS_REVERSE_A else "off"
    if short.led_reverse_a > HARMLESS_REVERSE_A:
        led += f"\n{quantity_text(short.led_reverse_a, 'A')} reverse"
    return led


def _is_kept(short: ShortStress, rules: Sequence[Rule[float]]) -> bool:
    """Whether all advice about a short is kept."""
    start = f"{short.ref} shorted:"
    return all(rule.status == "pass" for rule in rules if rule.name.startswith(start))


def _hit_text(rule: Rule[float] | None) -> str:
    """The resistor that is hit, with what it bears."""
    if rule is None:
        return NOTHING
    return f"{plain(rule.name.rpartition(' ')[0])} {quantity_text(rule.value, rule.unit)}"


def _hit_share(name: str, hit: Callable[[ShortStress], Rule[float] | None]) -> Quantity:
    """That as a share of its limit."""

    def text(short: ShortStress) -> str:
        return NOTHING if (rule := hit(short)) is None else share_text(rule.value, rule.limit)

    def value(short: ShortStress) -> float | None:
        return None if (rule := hit(short)) is None else rule.value / rule.limit

    return Quantity(name, "share", text, value)


def surge_table(check: Check) -> Table:
    """What a surge does to every part, with the letter of where the limit comes from."""
    level = quantity_text(check.surge.level_v, "V")
    name, value, limit, _, source = RULES
    quantities = (
        replace(name, heading="", text=lambda rule: _rule_name(rule).removeprefix("surge: ")),
        value,
        limit,
        Quantity("passes", "verdict", lambda rule: PASS if rule.passes else WARNING),
        source,
    )
    return Table.of(
        (rule for rule in advice(check) if rule.name.startswith("surge")),
        quantities,
        title=f"A surge of {level}, line to neutral (advice, no part of the verdict)",
        remark="The level is quoted from memory; the standard was not consulted. On the peak of "
        "high mains, of either sign, 1.2/50 µs; the generator's 2 Ω are nothing beside the chain, "
        "and what a varistor or filter on the board takes of it is not counted. Voltage: the limit "
        "is for 5 s, a surge is over in 100 µs; the maker's pulse curve may allow more, and so do "
        "more parts in series.",
    )


def headroom_table(check: Check) -> Table:
    """How far CTR, mains and chain may move before lock is lost."""
    quantities = (
        Quantity("name", "", lambda row: HEADROOM_WORDS[row[0]], itemgetter(0)),
        Quantity(
            "factor_ratio", "typical", lambda r: factor_text(r[1]), lambda r: r[1].factor_ratio
        ),
        Quantity(
            "weak_factor_ratio",
            "worst low case",
            lambda row: factor_text(row[2]),
            lambda row: row[2].factor_ratio,
        ),
        Quantity("weak_rule", "first to fail there", lambda row: row[2].rule or "nothing found"),
    )
    return Table.of(
        ((name, check.headrooms[name], weak) for name, weak in check.weak_headrooms.items()),
        quantities,
        title="Reserve until sync is lost",
        remark=f"typical: on the bench. Worst low case: {condition_text('weak', check.board)}.",
    )


def life_table(check: Check) -> Table | None:
    """Years until the CTR reserve is used up, by both views, the one that counts named."""
    if check.life is None:
        return None
    rule, model = check.life.design_rule_years, check.life.acceleration_years
    hours = quantity_text(check.board.service.hours_per_year, "h")
    views = (
        ("maker's design rule: half of the CTR lost in five years", rule, rule <= model),
        ("current-and-temperature model, indicative only", model, model < rule),
    )
    quantities = (
        Quantity("view", "view", itemgetter(0)),
        Quantity("years", "years", lambda view: years_text(view[1]), itemgetter(1)),
        Quantity("counts", "", lambda view: "counts" if view[2] else "", itemgetter(2)),
    )
    return Table.of(
        views,
        quantities,
        title="Years until ageing uses up the CTR reserve",
        remark=f"At {hours} a year with mains applied; low mains, hot, the lowest CTR of the "
        "grade, all else as marked. With every tolerance at its worse end and the chain drifting "
        f"it is sooner: {'see below' if check.outlook else 'add --outlook'}. "
        f"{served_line(check.board)}".rstrip(),
    )


def _rule_name(rule: Rule[float]) -> str:
    return rule_words(rule.name) + (f"\n  {plain(rule.remark)}" if rule.remark else "")


RULES = (
    Quantity("name", "rule", _rule_name),
    Quantity("value", "value", rule_value_text, right=True),
    Quantity("limit", "limit", limit_text, right=True),
    Quantity("status", "verdict", lambda rule: STATUS[rule.status]),
    Quantity("source", "from", lambda rule: Cell(source=rule.source)),
)
"""What is shown of a rule."""


def rules_table(check: Check) -> Table:
    """Every rule with value, limit, verdict and the letter of where the limit comes from."""
    return Table.of(check.rules, RULES, title="Rules")


def assumptions_table(board: Board) -> Table:
    """What the board file does not say, and what was taken instead."""
    title = "Assumed, because the board file does not say"
    table = assumed_values_table(title, board.assumptions)
    return table if table.rows else replace(table, remark="Nothing: the board file says it all.")


def assumed_values_table(title: str, taken: Iterable[Assumption]) -> Table:
    """What a file does not say, and what was taken instead."""
    quantities = (
        Quantity("key", "key"),
        Quantity("value", "taken as", lambda assumed: plain(assumed.value)),
        Quantity("source", "from", lambda assumed: Cell(source=assumed.source)),
    )
    return Table.of(taken, quantities, title)
