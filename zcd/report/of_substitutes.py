"""What to fit in place of parts: a line for each proposal, and tables with the figures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from math import isnan, nan, sqrt

from zcd.board.diode_names import BRIDGE, ZENER, leg_refs
from zcd.board.model import Capacitor, Diode, Optocoupler, Resistor, Transistor
from zcd.board.optocouplers import OWN_DATA, UNRANKED, grades, package_of, sold_as
from zcd.board.parts_library import (
    is_chip,
    kind_of_diode,
    usual_sizes,
    zener_v,
)
from zcd.board.transistors import on_surface
from zcd.board.units import format_percent
from zcd.errors import plain
from zcd.margin.rules import SYNC, Rule
from zcd.margin.spread import AT_CORNER
from zcd.margin.stress import SMALL_ZENER_W, ResistorStress
from zcd.margin.tolerances import grade_unread
from zcd.refdata import default, table
from zcd.report.of_changes import pins_text
from zcd.report.of_sizes import small_chain
from zcd.report.table import FAIL, Table
from zcd.report.text import listed, quantity_span_text, quantity_text, rule_words, share_text
from zcd.substitutes.capacitors import are_parallel, together_f
from zcd.substitutes.compare import Verdict
from zcd.substitutes.diodes import diodes_needed, is_weaker
from zcd.substitutes.proposals import Answer, Closeness, Part, Proposal
from zcd.substitutes.search import Substitutes, to_buy
from zcd.substitutes.single_parts import (
    couplers_needed,
    fits_its_holes,
    has_its_leds,
    isolates_as_well,
)

UNCHANGED = "unchanged"
LOADS = ("power", "voltage", "loaded to")
"""What a line on new resistors calls their share of a limit."""
MOST_NAMED = 3
"""Resistors of a heading that are named one by one."""
ZENER_SIZES_W = (0.5, 1.3, 3.0, 5.0)
MORE_LEADED = "More parts than places: support and sleeve the joints."
MORE_CHIPS = (
    "Two chips do not fit the pads of one: the printed part is better, or leaded ones, sleeved."
)
SPARE_POWER = 2.0
"""Of a zener over its load: common practice, no source."""


def original_line(found: Substitutes) -> str:
    """What the check says of the board as it was; empty where it passes."""
    first = {rule.subject: rule for rule in reversed(found.original.failed)}
    if not first:
        return ""
    proposed = (p for answer in found.answers for p in (*answer.proposals, *answer.others))
    cured = any(proposal.verdict.passes for proposal in proposed)
    mark = '; with one marked "passes" the board passes' if cured else ""
    if chain := small_chain(found.board, first, found.original.resistors):
        if set(chain.refs) <= _asked(found):
            return f"{chain.cause}{mark}."
        again = "their sizes again, or replace them all"
        if len(chain.refs) == 1:
            again = "its size again, or replace it too"
        return f"{chain.cause}{mark}. Read {again}: {chain.command(found.board.file)}"
    named = [_failure_text(rule) for rule in reversed(first.values())]
    return f"This board fails the check ({_few_text(named)}). No part below makes it worse{mark}."


def _failure_text(rule: Rule[float]) -> str:
    name = rule.name.removeprefix(AT_CORNER)
    if rule.subject != SYNC:
        return rule_words(name)
    return (
        f"sync is lost{name.removeprefix('lock')}" if name.startswith("lock ") else "sync is lost"
    )


def _few_text(names: Sequence[str]) -> str:
    """The first names, and how many more there are."""
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return f"{', '.join(names[:MOST_NAMED])}{more}"


def heading(found: Substitutes, answer: Answer) -> str:
    """Which part is replaced."""
    if answer.kind == "contact":
        return "Load relay"
    first, *_, last = (answer.replaced[0], *answer.replaced)
    if len(answer.replaced) > MOST_NAMED:
        total = sum(part.resistance_ohm for part in _resistors(answer.replaced))
        count = len(answer.replaced)
        words = f"{first.ref} to {last.ref}: {count} resistors, {quantity_text(total, 'Ω')}"
    else:
        words = " + ".join(f"{part.ref} {_old_text(part)}" for part in answer.replaced)
    if answer.kind in {"rectifier", "clamp", "bridge", "capacitor", "transistor"}:
        words = f"{answer.kind} {words}"
    if answer.kind == "chain" and any(part.size_assumed for part in _resistors(answer.replaced)):
        words += " (size not read)"
    to_buy = "" if found.has_stock(answer.kind) else f" (to buy: none in {found.drawer.name})"
    return f"In place of {plain(words + to_buy)}"


def _old_text(part: Part) -> str:
    """A part of the board; of a resistor no size that nobody wrote."""
    if isinstance(part, Resistor) and part.size_assumed:
        return quantity_text(part.resistance_ohm, "Ω")
    if isinstance(part, Optocoupler) and part.grade != OWN_DATA:
        return part_text(part, _with_grade(part.family, part.grade))
    return part_text(part)


def answer_lines(found: Substitutes, answer: Answer, shown: int) -> tuple[str, ...]:
    """The first proposals, or what to buy."""
    lines = [proposal_line(found, answer, each) for each in answer.proposals[:shown]]
    if not lines and found.holds(answer.kind):
        return (f"No part like it in stock. {buy_line(found, answer)}",)
    return tuple(lines) or (buy_line(found, answer),)


def changed_line(found: Substitutes) -> str:
    """Above proposals with which something changes."""
    was = low_time_text(found.original)
    return f"Only with a change of pulse, rating or isolation (low time was {was}):"


def other_lines(found: Substitutes, answer: Answer) -> tuple[str, ...]:
    """Proposals with which something changes."""
    return tuple(proposal_line(found, answer, each) for each in answer.others)


def proposal_line(found: Substitutes, answer: Answer, proposal: Proposal) -> str:
    """The parts, what is different and why it is all right."""
    match answer.replaced[0]:
        case Resistor() if answer.kind == "chain":
            why = _chain_reason(found, answer, proposal)
        case Resistor() as old:
            why = _pull_up_reason(found, old, proposal)
        case Optocoupler() as old:
            why = _optocoupler_reason(found, old, proposal)
        case Diode() as old:
            why = _diode_reason(found, old, proposal)
        case Capacitor() as old:
            why = _capacitor_reason(found, old, proposal)
        case Transistor() as old:
            why = _transistor_reason(old, proposal)
    if found.original.failed and not proposal.verdict.failed:
        why += "; passes"
    elif still := _still_over(answer, proposal):
        why += f"; {still} still over"
    return f"{parts_text(found, answer, proposal)}: {why}"


def _still_over(answer: Answer, proposal: Proposal) -> str:
    """Resistors beside the new ones that are over a limit with these."""
    over = [
        plain(stress.resistor.ref)
        for stress in stresses_of(proposal.verdict, answer.kept)
        if stress.is_over
    ]
    return listed(over) if 0 < len(over) <= MOST_NAMED else f"{len(over)} others" * bool(over)


def _chain_reason(found: Substitutes, answer: Answer, proposal: Proposal) -> str:
    old, new = _resistors(answer.replaced), _resistors(proposal.parts)
    if proposal.closeness is Closeness.SAME:
        higher = any(
            n.rated_power_w > o.rated_power_w or n.working_v > o.working_v
            for n, o in zip(new, old, strict=True)
        )
        unread = {unknown.ref for unknown in found.board.unknowns}
        guessed = any(part.ref in unread for part in old)
        words = "value guessed" if guessed else "as printed"
        if not guessed and not any(part.size_assumed for part in old):
            words += f", {'higher' if higher else 'same'} rating"
        elif not guessed:
            words += f", if the old {'one was' if len(old) == 1 else 'ones were'} no larger"
        if any(is_chip(o.style) and not is_chip(n.style) for n, o in zip(new, old, strict=True)):
            words += ", leaded: solder it onto the pads"
    else:
        words = f"chain {_change_text(_total(new, answer) / _total(old, answer))}"
    before = used_text(found.original, answer.replaced)
    now = used_text(proposal.verdict, proposal.parts)
    if proposal.closeness is Closeness.OTHER:
        return f"{words}, {now}, low time {low_time_text(proposal.verdict)}"
    if proposal.overloaded:
        return f"as it was, overloaded, {now}"
    if any(part.size_assumed for part in old):
        return f"{words}, {now}"
    if used_ratio(proposal.verdict, proposal.parts) > 1.0:
        return f"{words}, but {now}: only one rated higher"
    if now == before:
        return f"{words}, {now} (as before)"
    share, was = used_share(proposal.verdict, proposal.parts), used_share(found.original, old)
    of_one_kind = _limited_by(proposal.verdict, proposal.parts) == _limited_by(found.original, old)
    return f"{words}, {now if of_one_kind else f'loaded to {share}'} (was {was})"


def _pull_up_reason(found: Substitutes, old: Resistor, proposal: Proposal) -> str:
    if proposal.closeness is Closeness.SAME:
        return "as printed"
    (new,) = _resistors(proposal.parts)
    change = _change_text(new.resistance_ohm / old.resistance_ohm)
    if change == UNCHANGED:
        return "as printed, lower rating, which is enough here"
    return f"{change}, {_low_time_change(found, proposal)}"


def _transistor_reason(old: Transistor, proposal: Proposal) -> str:
    (new,) = (part for part in proposal.parts if isinstance(part, Transistor))
    if new.part == old.part:
        return "the same type, any make"
    body = "" if on_surface(new.part) is on_surface(old.part) else "another body, "
    return f"{body}hFE {_gain_text(new)} (was {_gain_text(old)}); compare pin-outs"


def _gain_text(part: Transistor) -> str:
    return f"{part.gain_min_ratio:g} to {part.gain_max_ratio:g}"


def _optocoupler_reason(found: Substitutes, old: Optocoupler, proposal: Proposal) -> str:
    (new,) = proposal.parts
    assert isinstance(new, Optocoupler)
    if proposal.closeness is Closeness.SAME:
        unread = "; the old part's grade was not read" * (len(grades(old.family)) > 1)
        same = f"type{unread}" if old.grade == UNRANKED else "family and grade"
        make = ", any make" if sold_as(new.family) == new.family else ""
        return f"the same {same}{make}"
    if proposal.closeness is Closeness.LIKE:
        words = "pulse within the original's range"
    else:
        words = _low_time_change(found, proposal)
    isolation, before = _limit(new, "isolation_v"), _limit(old, "isolation_v")
    if new.family != old.family and not isolation >= before:
        shown = "not known" if isnan(isolation) else quantity_text(isolation, "V")
        was = "not known" if isnan(before) else quantity_text(before, "V")
        words += f"; isolation {shown} (original's {was})"
    return f"{words}; {pins_text(new, old)}"


def _diode_reason(found: Substitutes, old: Diode, proposal: Proposal) -> str:
    (new,) = proposal.parts
    assert isinstance(new, Diode)
    if kind_of_diode(old) is ZENER:
        return _zener_reason(found, old, proposal)
    if proposal.closeness is Closeness.SAME:
        return "the same part"
    now_v, before_v = new.junction.reverse_rating_v, old.junction.reverse_rating_v
    rating = quantity_text(now_v, "V")
    words = (
        f"{rating} too" if now_v == before_v else f"{rating} (was {quantity_text(before_v, 'V')})"
    )
    if is_weaker(new, old):
        amps = [quantity_text(part.rated_current_a or 0.0, "A") for part in (new, old)]
        peak_a = max(level.led_peak_a for level in proposal.verdict.levels)
        words += f", {amps[0]} (was {amps[1]}) for {quantity_text(peak_a, 'A')} in the LED"
    return (
        f"{words}; sees {quantity_text(reverse_v(proposal.verdict, new), 'V')} here; check its case"
    )


def _zener_reason(found: Substitutes, old: Diode, proposal: Proposal) -> str:
    (new,) = proposal.parts
    assert isinstance(new, Diode)
    load = _zener_load_text(proposal.verdict, new)
    off = zener_v(new) / zener_v(old) - 1.0
    words = "the same voltage" if off == 0.0 else f"{_change_text(1.0 + off)} in voltage"
    if new.rated_power_w is None:
        words += f", made for {quantity_text(_zener_to_buy_w(found, old), 'W')} or more"
    elif old.rated_power_w not in (None, new.rated_power_w):
        words += f" (was {quantity_text(old.rated_power_w or 0.0, 'W')})"
    if proposal.closeness is not Closeness.SAME:
        load = _low_time_change(found, proposal)
    return f"{words}; {load}"


def _zener_load_text(verdict: Verdict, part: Diode) -> str:
    watts = verdict.zener_w[part.ref]
    return f"load {quantity_text(watts, 'W')}" if watts >= 1e-3 else "load under 1 mW"


def _zener_to_buy_w(found: Substitutes, part: Diode) -> float:
    """Power that a zener in the place of another is to be made for."""
    least_w = max(
        part.rated_power_w or SMALL_ZENER_W, SPARE_POWER * found.original.zener_w[part.ref]
    )
    return min((watts for watts in ZENER_SIZES_W if watts >= least_w), default=least_w)


def _capacitor_reason(found: Substitutes, old: Capacitor, proposal: Proposal) -> str:
    new = [part for part in proposal.parts if isinstance(part, Capacitor)]
    made_for = f"{'it is' if len(new) == 1 else 'both are'} made for {_rating_text(found, old)}"
    check = "" if all(part.rated_v for part in new) else f"; check that {made_for}"
    if proposal.closeness is Closeness.OTHER:
        change = _change_text(together_f(new, old) / old.capacitance_f)
        return f"{change}, {_low_time_change(found, proposal)}{check}"
    return f"the same capacitance{check}"


def _rating_text(found: Substitutes, part: Capacitor) -> str:
    need = found.needs[part.ref]
    return f"{quantity_text(need.rated_v, 'V')}{'~' if need.on_mains else ''} or more"


def reverse_v(verdict: Verdict, diode: Diode) -> float:
    """Highest reverse voltage of a diode, or of any of a bridge."""
    refs = (diode.ref, *leg_refs(diode.ref, diode.part))
    names = {f"{ref} reverse voltage" for ref in refs}
    return max((r.value for r in verdict.rules if r.name in names), default=nan)


def buy_line(found: Substitutes, answer: Answer) -> str:
    """What to buy."""
    if answer.kind == "contact":
        relay = found.board.relay
        assert relay is not None
        return (
            f"Buy a relay with the same pins, coil {quantity_text(relay.coil_supply_v, 'V')} "
            f"{quantity_text(relay.coil_resistance_ohm, 'Ω')}, contact rated as printed."
        )
    parts = to_buy(found.original, answer)
    match parts[0]:
        case Resistor():
            return f"Buy {'; '.join(_to_order(_resistors(parts)))}."
        case Optocoupler() as part:
            graded = ", with a grade letter: one without may be weak" * grade_unread(found.board)
            return f"Buy {part_text(part)}{graded}."
        case Capacitor() as part:
            made_for = _rating_text(found, part)
            if found.needs[part.ref].on_mains:
                made_for = f"class X2, {made_for}"
            return f"Buy {quantity_text(part.capacitance_f, 'F')}, {made_for}."
        case Diode() as part:
            return f"Buy {_diode_to_buy(found, part, answer.kind)}."
        case Transistor() as part:
            return f"Buy {part.part}, of any make."


def _diode_to_buy(found: Substitutes, part: Diode, kind: str) -> str:
    if kind == ZENER:
        volts, watts = (
            quantity_text(zener_v(part), "V"), quantity_text(_zener_to_buy_w(found, part), "W")
        )  # fmt: skip
        return f"a {volts} zener diode, {watts} or more ({_zener_load_text(found.original, part)})"
    peak_v = sqrt(2.0) * found.board.mains.high_rms_v
    least_v = default("drive.voltage_ratio").value * peak_v
    if kind == "clamp" or part.junction.reverse_rating_v >= least_v:
        return part.part
    what = "bridge" if kind_of_diode(part) is BRIDGE else "rectifier diode"
    return f"a {what} for {quantity_text(least_v, 'V')} or more"


def _to_order(parts: Sequence[Resistor]) -> list[str]:
    """Resistors with style, power, voltage and tolerance, those of the same together."""

    def limits(part: Resistor) -> str:
        shown = (part.rated_power_w, "W"), (part.working_v, "V"), (part.tolerance_ratio, "%")
        make = "leaded" if part.style.endswith(" W") else part.style
        return ", ".join((make, *(quantity_text(*one) for one in shown)))

    ordered = sorted(parts, key=limits)
    return [f"{_values(list(group))}: {words}" for words, group in groupby(ordered, key=limits)]


def _values(parts: Sequence[Resistor]) -> str:
    """Values in series, equal ones counted."""
    counts = Counter(quantity_text(part.resistance_ohm, "Ω") for part in parts)
    return " + ".join(f"{n} x {ohm}" if n > 1 else ohm for ohm, n in counts.items())


def parts_text(found: Substitutes, answer: Answer, proposal: Proposal) -> str:
    """The parts of a proposal as one asks for them over a counter."""
    first = proposal.parts[0]
    capacitors = [part for part in proposal.parts if isinstance(part, Capacitor)]
    if len(capacitors) > 1:
        (now,) = (part for part in answer.replaced if isinstance(part, Capacitor))
        how = "in parallel" if are_parallel(capacitors, now) else "in series"
        return f"{' + '.join(map(part_text, capacitors))} {how}"
    if not isinstance(first, Resistor):
        count = 1
        if isinstance(first, Diode):
            (old,) = (part for part in answer.replaced if isinstance(part, Diode))
            count = diodes_needed(found.board, old)
        elif isinstance(first, Optocoupler):
            count = max(couplers_needed(found.board, first), len(answer.replaced))
        name = stock_text(found, first)
        return f"{count} x {name}" if count > 1 else name
    parts = _resistors(proposal.parts)
    usual = max(part.tolerance_ratio for part in _resistors(answer.replaced))

    def build(part: Resistor) -> str:
        wider = part.tolerance_ratio > usual
        return f"{part.style} {quantity_text(part.tolerance_ratio, '%')}" if wider else part.style

    groups = ((words, list(group)) for words, group in groupby(parts, key=build))
    return " + ".join(
        f"{_values(group)}{', each' * (len(group) > 1)} {words}" for words, group in groups
    )


def part_text(part: Part, name: str = "") -> str:
    """One part by its value or name; an optocoupler by another `name`, if one is given."""
    match part:
        case Resistor():
            return f"{quantity_text(part.resistance_ohm, 'Ω')} {part.style}"
        case Diode() | Transistor():
            return part.part
        case Capacitor():
            words = [quantity_text(part.capacitance_f, "F"), part.safety_class]
            if part.rated_v is not None:
                words.append(quantity_text(part.rated_v, "V") + "~" * bool(part.safety_class))
            return " ".join(word for word in words if word)
    if part.grade == OWN_DATA:
        limits = (quantity_text(ratio, "%") for ratio in (part.ctr_min_ratio, part.ctr_max_ratio))
        return f"{name or part.family} (CTR {' to '.join(limits)})"
    measured = part.ctr_min_ratio == part.ctr_max_ratio
    ctr = f" (CTR {quantity_text(part.ctr_ratio, '%')})" if measured else ""
    return (name or _with_grade(sold_as(part.family), part.grade)) + ctr


def _with_grade(name: str, grade: str) -> str:
    """A type with its grade as it is printed: ``CNY17-2``, ``817 B``."""
    return name if grade == UNRANKED else f"{name}{'-' if grade.isdigit() else ' '}{grade}"


def stock_text(found: Substitutes, part: Part) -> str:
    """One part by the name that the drawer has for it, else by its own."""
    items = found.drawer.optocouplers
    names = (item.name for item in items if replace(item.part, ref=part.ref) == part)
    return part_text(part, plain(next(names, "")))


def left_out_line(found: Substitutes, answer: Answer) -> str:
    """Optocouplers of the drawer with which something changes, where they are not asked for."""
    if answer.kind != "optocoupler" or not found.drawer.optocouplers:
        return ""
    names: dict[str, list[str]] = {}
    for part in answer.left_out:
        assert isinstance(part, Optocoupler)
        names.setdefault(_why_left_out(found, part), []).append(stock_text(found, part))
    whole = "; ".join(f"{_few_text(some)} ({why})" for why, some in names.items())
    return whole and f"Left out, --any shows more: {whole}."


def _why_left_out(found: Substitutes, part: Optocoupler) -> str:
    now = found.board.optocoupler
    assert now is not None
    if not fits_its_holes(part, now):
        return "another package" if package_of(part.family) else "package not known"
    return "the pulse would change" if isolates_as_well(part, now) else "isolation"


def passed_over_line(found: Substitutes, answer: Answer) -> str:
    """Optocouplers of the drawer with another number of LEDs; empty: none."""
    if answer.kind != "optocoupler":
        return ""
    others = [o.part for o in found.drawer.optocouplers if not has_its_leds(o.part, found.board)]
    names = ", ".join(dict.fromkeys(stock_text(found, part) for part in others))
    theirs, own = ("one LED", "two") if found.board.two_leds else ("two LEDs", "one")
    return names and f"Not {names}: {theirs}, this board's has {own}."


def proposals_table(found: Substitutes, answer: Answer) -> Table:
    """All proposals of an answer with their figures."""
    rows = []
    for proposal in (*answer.proposals, *answer.others):
        lead = [parts_text(found, answer, proposal), *_figures(found, answer, proposal)]
        failed = proposal.verdict.failed
        verdict = f"{FAIL}: {plain(failed[0].name)}" if failed else "passes"
        rows.append((*lead, low_time_text(proposal.verdict), verdict))
    return Table(
        title=f"{heading(found, answer)}: figures",
        columns=("part", *_FIGURES[_group(answer)], "low time", "check"),
        rows=tuple(rows),
        remark=_REMARKS[_group(answer)],
    )


_FIGURES = {
    "chain": ("total", "power", "voltage"),
    "optocoupler": ("CTR", "package", "isolation"),
    "diode": ("reverse rating", "voltage"),
    "pull-up": ("change",),
    "capacitor": (),
    "transistor": ("hFE",),
}
_LOW_TIME = (
    "low time: of the pin, from the weakest to the strongest of the grade and mains; 0 is no pulse."
)
_REMARKS = {
    "chain": "power, voltage: of the part that comes nearest to its limit, at high mains, hot, "
    f"tolerances at their worse ends. {_LOW_TIME}",
    "optocoupler": "A measured part goes into the drawer file with its own ctr. package and "
    f"isolation: empty where not in the tables. {_LOW_TIME}",
    "diode": _LOW_TIME,
    "pull-up": _LOW_TIME,
    "capacitor": _LOW_TIME,
    "transistor": _LOW_TIME,
}


def _group(answer: Answer) -> str:
    """Answers that have the same figures."""
    match answer.replaced[0]:
        case Optocoupler():
            return "optocoupler"
        case Diode():
            return "diode"
        case Capacitor():
            return "capacitor"
        case Transistor():
            return "transistor"
    return "chain" if answer.kind == "chain" else "pull-up"


def _figures(found: Substitutes, answer: Answer, proposal: Proposal) -> tuple[str, ...]:
    part, old = proposal.parts[0], answer.replaced[0]
    match part:
        case Optocoupler():
            ctr = quantity_span_text(part.ctr_min_ratio, part.ctr_max_ratio, "%")
            return ctr, package_of(part.family), quantity_text(_limit(part, "isolation_v"), "V")
        case Diode():
            rating = quantity_text(part.junction.reverse_rating_v, "V")
            return rating, quantity_text(reverse_v(proposal.verdict, part), "V")
        case Capacitor():
            return ()
        case Transistor():
            return (_gain_text(part),)
    assert isinstance(old, Resistor)
    if answer.kind != "chain":
        return (_change_text(part.resistance_ohm / old.resistance_ohm),)
    stresses = stresses_of(proposal.verdict, proposal.parts)
    power = max(stresses, key=lambda s: s.power_ratio)
    volts = max(stresses, key=lambda s: s.voltage_ratio)
    watts = float(power.power_w.max())
    film_v = f"{quantity_text(float(volts.peak_v.max()), 'V')} peak"
    if not volts.by_peak:
        film_v = quantity_text(float(volts.working_stress_v.max()), "V")
    total = _total(_resistors(proposal.parts), answer)
    return (
        _change_text(total / _total(_resistors(answer.replaced), answer)),
        f"{quantity_text(watts, 'W')}, {share_text(watts, power.power_limit_w)}",
        f"{film_v}, {share_text(volts.voltage_ratio, 1.0)}",
    )


def stresses_of(verdict: Verdict, parts: Sequence[Part]) -> list[ResistorStress]:
    """Load of each of some resistors."""
    mine = {part.ref for part in parts}
    return [stress for stress in verdict.resistors if stress.resistor.ref in mine]


def _most_used(verdict: Verdict, parts: Sequence[Part]) -> ResistorStress:
    return max(stresses_of(verdict, parts), key=ResistorStress.used_ratio)


def used_ratio(verdict: Verdict, parts: Sequence[Part]) -> float:
    """Highest share of a power or voltage limit that any of these resistors has."""
    return _most_used(verdict, parts).used_ratio()


def used_text(verdict: Verdict, parts: Sequence[Part]) -> str:
    """The power or the voltage of these resistors that is nearest to its limit, as its share."""
    return f"{_limited_by(verdict, parts)} {used_share(verdict, parts)}"


def used_share(verdict: Verdict, parts: Sequence[Part]) -> str:
    """The same without saying of what."""
    return share_text(used_ratio(verdict, parts), 1.0)


def _limited_by(verdict: Verdict, parts: Sequence[Part]) -> str:
    """What of these resistors is nearest to its limit."""
    worst = _most_used(verdict, parts)
    return "power" if worst.power_ratio >= worst.voltage_ratio else "voltage"


def load_line(found: Substitutes, shown: int) -> str:
    """What load means, and what the new resistors are taken to be rated for; empty: none is new."""
    listed_ones = [
        (proposal, proposal_line(found, answer, proposal))
        for answer in found.answers
        if answer.kind == "chain"
        for proposal in (*answer.proposals[:shown], *answer.others)
    ]
    ratings = {
        part.style: f"{part.style} ({_rating(part)})"
        for proposal, _ in listed_ones
        for part in _resistors(proposal.parts)
    }
    if not ratings:
        return ""
    words = [word for word in LOADS if any(f", {word} " in line for _, line in listed_ones)]
    return f"{', '.join(words)}: worst case of the new parts. Rated: {'; '.join(ratings.values())}."


def _rating(part: Resistor) -> str:
    watts, usual = quantity_text(part.rated_power_w, "W"), part.usual_power_w
    more = "" if usual is None else f" (most makers: {quantity_text(usual, 'W')})"
    power = () if part.style == watts and not more else (f"{watts}{more}",)
    return ", ".join([*power, quantity_text(part.working_v, "V")])


def pads_line(found: Substitutes, shown: int) -> str:
    """What to know where new resistors are more, or larger, than their places; empty: nothing."""
    larger: dict[str, str] = {}
    more: dict[str, None] = {}
    for answer in found.answers:
        if answer.kind != "chain":
            continue
        old = _resistors(answer.replaced)
        sizes = usual_sizes(old[0].style)
        chips = all(is_chip(part.style) and part.style in sizes for part in old)
        for proposal in (*answer.proposals[:shown], *answer.others):
            new = _resistors(proposal.parts)
            if len(new) > len(old):
                more[MORE_CHIPS if is_chip(new[0].style) else MORE_LEADED] = None
            if chips:
                pad = max((part.style for part in old), key=sizes.index)
                above = sizes[sizes.index(pad) + 1 :]
                larger |= {part.style: pad for part in new if part.style in above}
    lines = [f"A {size} does not fit the pads of a {pad}." for size, pad in larger.items()]
    return " ".join((*lines, *more))


def _asked(found: Substitutes) -> set[str]:
    return {part.ref for answer in found.answers for part in answer.replaced}


def others_over_line(found: Substitutes) -> str:
    """Resistors over their limits for which nothing is proposed; empty: none, or said before."""
    asked = _asked(found)
    subjects = [rule.subject for rule in found.original.failed]
    if small_chain(found.board, subjects, found.original.resistors):
        return ""
    over = [
        f"{plain(stress.resistor.ref)} ({share_text(stress.used_ratio(), 1.0)})"
        for stress in found.original.resistors
        if stress.is_over and stress.resistor.ref not in asked
    ]
    return f"Also over its limit as built, so fit a larger size: {', '.join(over)}." if over else ""


def low_times_s(verdict: Verdict) -> tuple[float, float]:
    """Shortest and longest low time over the levels; 0 where there is no pulse."""
    times = [0.0 if isnan(level.low_time_s) else level.low_time_s for level in verdict.levels]
    return min(times), max(times)


def low_time_text(verdict: Verdict) -> str:
    """Shortest and longest low time over the levels, or that one has no pulse."""
    low_s, high_s = low_times_s(verdict)
    if low_s == 0.0:
        return f"up to {1e3 * high_s:.2f} ms, or no pulse" if high_s > 0.0 else "no pulse"
    return f"{1e3 * low_s:.2f} to {1e3 * high_s:.2f} ms"


def _low_time_change(found: Substitutes, proposal: Proposal) -> str:
    words = f"low time typically {low_time_text(proposal.verdict)}"
    if proposal.closeness is Closeness.OTHER:
        return words
    return f"{words} (was {low_time_text(found.original)})"


def _limit(part: Optocoupler, column: str) -> float:
    rows = {str(row["family"]): float(row[column]) for row in table("optocoupler_limits")}
    return rows.get(part.family, nan)


def _change_text(ratio: float) -> str:
    return UNCHANGED if abs(ratio - 1.0) < 5e-4 else format_percent(ratio - 1.0, "+.1f")


def _total(parts: Sequence[Resistor], answer: Answer) -> float:
    return sum(part.resistance_ohm for part in (*parts, *answer.kept))


def _resistors(parts: Sequence[Part]) -> list[Resistor]:
    return [part for part in parts if isinstance(part, Resistor)]
