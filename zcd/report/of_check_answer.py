"""A check on one screen: the verdict, the culprit, what fails, and the figures that matter."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from math import isfinite, isnan

from zcd.board.model import Assumption, Board
from zcd.board.optocouplers import OWN_DATA, grades, optocoupler
from zcd.board.parts_library import all_resistors, odd_mains
from zcd.board.units import format_si
from zcd.circuit.build import coupler_refs, led_refs
from zcd.circuit.points import part_words
from zcd.diagnosis.readings import AccessLevel
from zcd.errors import plain
from zcd.margin.as_new import Change, Repair
from zcd.margin.check import CONDITIONS, Check, Level
from zcd.margin.culprit import USUAL_RECTIFIER, Remedy, unclamped_v
from zcd.margin.population import Population
from zcd.margin.rules import RESERVE, SYNC, WEIGHTS, Rule, worst_status
from zcd.margin.spread import AT_CORNER, DISTORTED
from zcd.margin.stress import HARMLESS_REVERSE_A, ResistorStress, chain_resistors
from zcd.margin.stress_rules import OF_MOST_MAKERS
from zcd.margin.tolerances import grade_unread
from zcd.report.cautions import caution_lines
from zcd.report.document import Block, BulletList, Facts, Paragraph, Section, Verdict
from zcd.report.of_board import BEARS, READ_AGAIN, read_as_line, unread_parts, years_from
from zcd.report.of_changes import changes
from zcd.report.of_check import of_limit
from zcd.report.of_sizes import Makes, Sizes, SmallChain, of_size, sizes_of, small_chain
from zcd.report.table import STATUS
from zcd.report.text import (
    crossing_text,
    listed,
    offset_span_text,
    offset_text,
    percent_text,
    quantity_span_text,
    quantity_text,
    rule_words,
    share_text,
    years_text,
)
from zcd.sync.lock import LIMITS, LOCK_RULES, expected_pulses

MILD_RATIO = 2.0
"""Up to here over its rating a resistor is too small for its place; beyond, a value is more likely
wrong (common practice, no source)."""
QUARTER_RATIO = 0.5
"""Edges farther from the crossing than so much of a quarter period are those of a capacitor."""
MOST_FINDINGS = 5
FEW_RATIO = 0.01
"""A smaller share of boards is not told in figures, nor does the verdict begin with it."""
DUTY = "some controllers that use both edges reject such a pulse"
"""What it means that the pin is low for too large a share of a period."""
GRADE = "optocoupler.grade"
WEIGHTY = (
    "chain.topology", "chain.return_resistors", "mains.band", "mains.frequency", "chain.style",
    "chain.tolerance", GRADE, "controller.low_threshold", "controller.high_threshold",
)  # fmt: skip
"""Assumptions that most often change a verdict, the first first: common practice, no source."""
MOST_ASSUMED = 3
AS_MUCH = 0.8
"""Of the reserve of before: less is told as less, though it will do."""
CLEARLY_MORE = 1.1
"""So many times the voltage at which a diode breaks down is another one."""
HARDLY_ANY = 5.0
"""A resistor of so many times fewer ohms than another of the chain takes hardly any of the mains:
its value is doubted before the size of the other (common practice, no source)."""
BURNING_RATIO = 10.0
"""Of its power: from here on a resistor was misread."""
TYPICAL = "PASSES with typical parts"
CLEAN = "PASSES on a clean mains"
"""How a verdict begins that hangs on what no data sheet gives, or on the mains."""
FAR = 10.0
"""So many times its value nobody fits in place of a part that was read right."""
NO_LOWER_END_RATIO = 1e-2
"""A span of values that begins this far below its end has no lower end worth telling."""


def answer_section(
    check: Check,
    title: str = "Verdict",
    is_verdict: bool = True,
    most: int = MOST_FINDINGS,
    graded: str = "",
) -> Section:
    """The whole answer, with so many findings at most; of a board that something else keeps from
    passing, no verdict. `graded` stands in place of the advice to read a grade."""
    headline = headline_text(check)
    first = Verdict(headline, check.passes) if is_verdict else Paragraph(headline)
    blocks: list[Block] = [first]
    blocks += [Paragraph(line) for line in advice_lines(check, graded)]
    if findings := finding_lines(check):
        blocks.append(BulletList(_first(findings, most)))
    if line := design_line(check):
        blocks.append(Paragraph(line))
    blocks.append(Facts(tuple(_facts(check))))
    blocks += [Paragraph(line) for line in (read_as_line(check.board),) if line]
    blocks.append(Paragraph(assumed_text(check.board)))
    blocks += [Paragraph(line) for line in caution_lines(AccessLevel.DEAD)]
    return Section(title, tuple(blocks), answer=True)


def _first(lines: tuple[str, ...], most: int) -> tuple[str, ...]:
    more = len(lines) - most
    return lines if more <= 0 else (*lines[:most], f"and {more} more")


def design_line(check: Check) -> str:
    """What to make of warnings that come with the design; empty where there are none."""
    of_pulse = [r for r in check.every_rule if r.status != "pass" and r.kind == "expectation"]
    if check.status != "warning" or check.repair is not None or not of_pulse:
        return ""
    return "The warnings are of the design: leave it. If it shows errors: zcd diagnose."


def headline_text(check: Check) -> str:
    """The verdict in one sentence."""
    inherited = () if check.repair is None else check.repair.inherited
    band = _band_text(check.board)
    sizes = sizes_of(check, _failed_subjects(check))
    made = [each for each in sizes if isinstance(each, Sizes)]
    condition = f", if {listed([each.condition for each in made])}" if made else ""
    sound = f"Sync works from {band} (the band checked)"
    sound += "" if sizes else "; no part is overloaded"
    if check.status == "pass":
        return f"PASSES{condition}. {sound}."
    if inherited and check.passes:
        parts = sorted({r.subject for r in check.every_rule if r.status == "fail"} - {SYNC})
        weak = f": {_overloaded_text(parts)}" if parts else ""
        return f"NO WORSE than the original, which has the same weakness{weak}."
    if check.status == "warning":
        return _warning_text(check, sizes, condition, sound)
    return _failed_text(check)


def _warning_text(check: Check, sizes: Sequence[Sizes | Makes], condition: str, sound: str) -> str:
    """A verdict that hangs on something: what to know before the board goes out."""
    count = len(finding_lines(check))
    passes = f"PASSES, with {count} warnings" if count > 1 else "PASSES, with a warning"
    if count == 1 and any(each.too_small for each in sizes if isinstance(each, Sizes)):
        passes = "PASSES"
    if ratio := _second_pulse_ratio(check):
        share = percent_text(ratio)
        return f"{CLEAN}; on a distorted one {share} of such boards may give two pulses for one."
    if doubt := next((rule.depends_on for rule in check.every_rule if rule.depends_on), ""):
        what = plain(doubt.partition(",")[0])
        if may := _may_fail_ratio(check):
            share = percent_text(may)
            return f"{TYPICAL}, but {share} of such boards may lose sync, depending on {what}."
        if check.hangs_on_grade:
            return f"{TYPICAL}, but {_may_be_lost_text(check)}."
        return f"{TYPICAL}, but {_may_be_lost_text(check)}."
    if makes := [each for each in sizes if isinstance(each, Makes)]:
        return f"DEPENDS on {'; '.join(each.condition for each in makes)}. {sound}."
    return f"{passes}{condition}. {sound}."


def _failed_text(check: Check) -> str:
    """What fails, in one sentence."""
    failed = _failed_subjects(check)
    parts = sorted(failed - {SYNC})
    if SYNC in failed and not parts and _only_the_weakest_fails(check):
        return f"FAILS with a weak {_coupler_text(check)}; a typical one works."
    wrong = ["sync is lost"] if SYNC in failed else []
    if parts:
        wrong.append(_overloaded_text(parts))
    return f"FAILS: {' and '.join(wrong)}."


def _second_pulse_ratio(check: Check) -> float:
    """Share of boards that count wrong on a distorted mains, where that alone is in doubt; else
    0."""
    doubts = [r for r in check.every_rule if r.subject == SYNC and r.status != "pass"]
    broken = [rule for rule in doubts if rule.depends_on == DISTORTED]
    if not all(rule in broken or rule.is_rare for rule in doubts):
        return 0.0
    return max((rule.share_ratio or 0.0 for rule in broken), default=0.0)


def _may_fail_ratio(check: Check) -> float:
    """Share of such boards of which the verdict says that they may fail; 0 where it does not."""
    doubted = check.status == "warning" and any(rule.depends_on for rule in check.every_rule)
    ratio = check.spread.population.doubtful_ratio
    return ratio if doubted and ratio >= FEW_RATIO else 0.0


def _overloaded_text(parts: list[str]) -> str:
    return f"{listed([*map(rule_words, parts)])} {'is' if len(parts) == 1 else 'are'} overloaded"


def _failed_subjects(check: Check) -> set[str]:
    """Sync and the parts that fail, without what failed on the original too."""
    inherited = () if check.repair is None else check.repair.inherited
    failed = {
        rule.subject
        for rule in check.every_rule
        if rule.status == "fail" and rule.name not in inherited
    }
    if SYNC in failed:  # what only a corner overloads is beside the point
        failed = {rule.subject for rule in check.rules if rule.status == "fail"} | {SYNC}
    return failed


def advice_lines(check: Check, graded: str = "") -> tuple[str, ...]:
    """What to do first: values to read again, the part to put right, what the repair changed."""
    lines = (
        *_reread_lines(check), *unread_lines(check),
        *((graded,) if graded else _grade_lines(check)), *culprit_lines(check),
        *quarter_lines(check),
    )  # fmt: skip
    if check.repair is None:
        return lines
    doubts = (plain(line) for line in check.repair.doubts)
    return (*lines, repair_text(check.repair, check.board, check.passes), *doubts)


def _reread_lines(check: Check) -> Iterator[str]:
    """Values that were probably misread, before anything is made of them."""
    for line in check.odd_values or _burning_lines(check):
        yield f"Check first: {plain(line)}"


def _burning_lines(check: Check) -> Iterator[str]:
    """Resistors that no maker would have fitted."""
    for stress in check.worst_resistors:
        if stress.power_ratio > BURNING_RATIO:
            part, watts = stress.resistor, quantity_text(float(stress.power_w.max()), "W")
            ohms = quantity_text(part.resistance_ohm, "Ω")
            yield f"{part.ref} = {ohms} would burn at {watts}; read it again."


def unread_lines(check: Check) -> Iterator[str]:
    """Resistors that could not be read: what was taken, and with what values the board passes."""
    spans = {values.ref: values for values in check.passing_values}
    for line, unknown in zip(unread_parts(check.board), check.board.unknowns, strict=True):
        values = spans.get(unknown.ref)
        if values and (values.high < unknown.low_ohm or values.low > unknown.high_ohm):
            values = None
        taken = values is not None and values.low <= values.value <= values.high
        if check.passes and not taken:
            # a value that is passed for a doubt, or a rare corner, has no room left
            typical = "a typical board" if check.hangs_on_grade else "the board"
            with_values = f"{typical} just works with it"
        elif values is None:
            with_values = "no likely value of it makes the board pass"
        else:
            with_values = (
                f"the board passes with {_sized_text(check, values)} (E12, watts and volts as its "
                "neighbours; check again with the one you fit); what follows is for "
                f"{quantity_text(values.value, values.unit)}"
            )
        yield f"{line}; {with_values}."
    if check.board.unknowns:
        yield f"The value taken is a guess: before you fit one, {READ_AGAIN}."


def _sized_text(check: Check, values: Remedy) -> str:
    """The values with which the board passes; apart those that only larger resistors bear."""
    known = (each for each in check.passing_as_sized if each.ref == values.ref)
    sized = next(known, None)
    if sized is not None and _span_text(sized) == _span_text(values):
        return _span_text(values)
    guessed = [part.style for part in all_resistors(check.board) if part.size_assumed]
    larger = f"if the resistors are larger than {guessed[0]}"
    if sized is None:
        return f"{_span_text(values)}, but only {larger}"
    return f"{_span_text(sized)}, or {_span_text(values)} {larger}"


def _grade_lines(check: Check) -> Iterator[str]:
    """To read the grade before any part is blamed."""
    if check.hangs_on_grade:
        ref = _coupler_text(check)
        yield (f"Read the grade letter after the type number of {ref}, write it in, check again.")
    elif grade_unread(check.board) and any(
        rule.status == "warning" and not rule.is_rare for rule in check.every_rule
    ):
        ref, opto = _coupler_text(check), check.board.optocoupler
        assert opto is not None  # whose grade it is
        ends = (opto.ctr_min_ratio, opto.ctr_max_ratio)
        yield (
            f"No grade was read on {ref}: its CTR may be anything from "
            f"{quantity_span_text(*ends, '%')}. If there is a letter after its type number, "
            "write it in and check again."
        )


def culprit_lines(check: Check) -> Iterator[str]:
    """Which part to put right, and with what values the board passes."""
    first, *others = check.remedies or (None,)
    if odd_mains(check.board.mains.rms_v):
        first = None
    if line := _too_small_line(check):
        yield line
        return
    small = _only_overloaded(check)
    if first is None or (small and _is_too_small(check, small)):
        if not check.passes:
            yield _uncured_line(check, small)
        return
    if check.hangs_on_grade:
        near = (
            first
            if first.low > FAR * first.value
            else replace(first, high=min(first.high, FAR * first.value))
        )
        now = quantity_text(near.value, near.unit)
        ref = _coupler_text(check)
        yield (
            f"No letter: while the old {ref} keeps sync, change nothing. With a new {ref} fit "
            f"{_of_text(near)} too (now {now})."
        )
        return
    if check.passes:
        yield f"To cure it: {_of_text(first)}."
        return
    if _only_the_weakest_fails(check):
        if not check.board.unknowns:  # that comes first
            yield f"The board passes with {_of_text(first)}."
    else:
        yield f"Most likely cause: {_part_text(first.ref)}. {_remedy_text(first)}"
    ways = list(map(_of_text, others))
    if _leaves_it_the_mains(check) and (chain := _small_chain(check)) is not None:
        ways.append(f"{listed(list(chain.refs))} in {chain.enough}")
    if ways:
        yield f"Or else: {'; '.join(ways)}."


def _uncured_line(check: Check, small: str) -> str:
    """What to do about a board that no one part in its place, but perhaps a larger one, mends."""
    file, chain = plain(check.board.file), _small_chain(check)
    if any(_reread_lines(check)):
        return "Correct what was misread, and check again."
    if small:
        return f"Only {plain(small)} is over its limit. Next: zcd substitute {file} --for {small}"
    if _only_the_weakest_fails(check):
        ref, chain_refs = _coupler_text(check), {part.ref for part in chain_resistors(check.board)}
        small_ones = sorted(map(plain, _failed_subjects(check) & chain_refs))
        larger = f", and a larger {listed(small_ones)}" if small_ones else ""
        asked = " ".join(f"--for {each}" for each in (ref, *small_ones))
        return (
            f"Fit one with a higher minimum CTR{larger}. Next: zcd substitute {file} {asked} --any"
        )
    if chain is not None:
        return (
            f"Changing one part will not cure it: {chain.cause}. {chain.remedy}. "
            f"Next: {chain.command(check.board.file)}"
        )
    return (
        "Changing one part will not cure it. Compare the mains voltage, each value and "
        f"each type with the board. Next: correct {file}, then zcd check {file}"
    )


def _too_small_line(check: Check) -> str:
    """What to fit where a repair left out resistors, or all are right but too small; else empty."""
    if not check.passes and check.repair is not None and check.repair.doubts:
        return "Fit what was there before: what was changed is named below."
    misread = odd_mains(check.board.mains.rms_v) or any(_reread_lines(check))
    chain = None if misread else _small_chain(check)
    if chain is None or chain.used_ratio > MILD_RATIO or _leaves_it_the_mains(check):
        return ""
    if check.passes:
        return f"To cure it: {chain.cause}. {chain.remedy}."
    command = chain.command(check.board.file)
    return f"Most likely cause: {chain.cause}. {chain.remedy}. Next: {command}"


def _leaves_it_the_mains(check: Check) -> bool:
    """Whether the part to blame is a resistor so small that the others have nearly all to bear."""
    ohms = {part.ref: part.resistance_ohm for part in chain_resistors(check.board)}
    ref = check.remedies[0].ref if check.remedies else ""
    return ref in ohms and ohms[ref] * HARDLY_ANY < max(ohms.values())


def _small_chain(check: Check) -> SmallChain | None:
    """Whether all that fails, here or on the original, is that resistors of the chain are too
    small."""
    failed = {r.subject for r in check.every_rule if r.status == "fail"}
    return small_chain(check.board, failed, check.worst_resistors)


def _only_the_weakest_fails(check: Check) -> bool:
    """Whether sync is lost with the lowest CTR of the grade and nowhere else."""
    lost = [level.name for level in check.levels if not level.locks]
    return check.board.optocoupler is not None and lost == ["weak"]


def _coupler_text(check: Check) -> str:
    """The optocoupler by its reference."""
    return listed([plain(ref) for ref in coupler_refs(check.board)[:1]])


def _only_overloaded(check: Check) -> str:
    """The resistor that alone is over its rating while sync works; empty: none, or more."""
    failed = _failed_subjects(check)
    refs = {part.ref for part in chain_resistors(check.board)}
    return next(iter(failed)) if len(failed) == 1 and failed <= refs else ""


def _is_too_small(check: Check, ref: str) -> bool:
    """Whether a resistor would bear its load in the size of the largest of the chain."""
    stresses = {stress.resistor.ref: stress for stress in check.worst_resistors}
    chain = [stresses[part.ref].resistor for part in chain_resistors(check.board)]
    part, load = stresses[ref].resistor, stresses[ref]
    larger = max(chain, key=lambda other: other.rated_power_w)
    power = load.power_ratio * part.rated_power_w / larger.rated_power_w
    return max(power, load.voltage_ratio * part.working_v / larger.working_v) <= 1.0


def _part_text(ref: str) -> str:
    """A part by its reference; one without has a word of its own."""
    return plain(ref) if any(c.isdigit() for c in ref) else f"the {plain(ref)}"


def quarter_lines(check: Check) -> Iterator[str]:
    """Whether a series capacitor turns the edges away from the crossings, and who minds."""
    nominal = next(level for level in check.levels if level.name == "nominal")
    quarter_s = 0.25 / check.board.mains.frequency_hz
    edges_s = (nominal.fall_offset_s, nominal.rise_offset_s)
    if check.board.traced is None or not check.board.traced.capacitors:
        return
    if max(map(abs, edges_s)) > QUARTER_RATIO * quarter_s:
        passed_s = edges_s[0] + nominal.low_time_s - edges_s[1]  # from crossing to crossing
        which = "the next" if passed_s > quarter_s else "it"
        yield (
            f"Behind a series capacitor the pulse comes early: the pin falls "
            f"{crossing_text(edges_s[0])} and rises {offset_text(edges_s[1])} {which}. Firmware "
            "made for it allows for that; other firmware would fire the drive as much too early."
        )


def repair_text(repair: Repair, board: Board, passes: bool = True) -> str:
    """What the repair changed, and whether for the worse."""
    changed = [*changes(repair.was, board)]
    now = {part.ref: part for part in all_resistors(board)}
    unread = {each.ref for each in board.unknowns}
    read = [each.ref for each in repair.was.unknowns if each.ref in now.keys() - unread]
    known = [f"{plain(ref)} {quantity_text(now[ref].resistance_ohm, 'Ω')}" for ref in read]
    if known:
        changed.append(f"{listed(known)} in place of what could not be read")
    if not changed:
        return "Same types and values as the original."
    if repair.mended:
        how = [_change_text(change) for change in repair.worse]
        less = f" Less good: {'; '.join(how)}." if how else ""
        verdict = f"Better: the original does not pass, this board does.{less}"
    elif repair.worse:
        loads_first = sorted(repair.worse, key=lambda change: change.unit == "s")
        verdict = f"Worse than the original: {'; '.join(map(_change_text, loads_first))}."
    elif repair.outcome == "better":
        how = [_change_text(change) for change in repair.changes if change.effect == "better"]
        verdict = f"Better than the original: {'; '.join(how)}."
    elif not passes:
        verdict = "No worse than the original, which fails too."
    elif (led := repair.led_current) is not None:
        way = f"{share_text(abs(led.after / led.before - 1.0), 1.0)} "
        way += "higher" if led.after > led.before else "lower"
        reserve = [c.after for c in repair.changes if c.name == "CTR reserve"]
        times = quantity_text(reserve[0], "") if reserve else ""
        still = f"; the optocoupler still gives {times} times what is needed" if reserve else ""
        verdict = f"Not as built, but as good: {plain(led.name)} {way}{still}."
    elif repair.inherited:
        verdict = "The repair made nothing worse."
    else:
        weaker = any(
            c.after < AS_MUCH * c.before for c in repair.changes if c.name == "CTR reserve"
        )
        good = "Good on paper, with less reserve than" if weaker else "On paper as good as"
        verdict = f"{good} the original{_reserves_text(repair)}."
        if repair.warned:
            verdict = "On paper it will do, but the original has no warning."
    part, was = board.optocoupler, repair.was.optocoupler
    if passes and part is not None and part == was and part.remaining_ratio == 1.0:
        verdict += (
            f" {plain(part.ref)} was not renewed: take the years it has served off its reserve."
        )
    inherited = " What fails failed on the original too." if repair.inherited and passes else ""
    return f"{verdict}{inherited} Changed: {'; '.join(changed)}."


def _reserves_text(repair: Repair) -> str:
    """What of the CTR may be lost now, and before, where that differs as it is printed."""
    texts = [
        tuple(percent_text(1.0 - 1.0 / ratio) for ratio in (change.after, change.before))
        for change in repair.changes
        if change.name == "CTR reserve" and min(change.after, change.before) > 1.0
    ]
    return next((f" (reserve {now}, was {was})" for now, was in texts if now != was), "")


def _change_text(change: Change) -> str:
    if change.unit == "s":
        before, after = crossing_text(change.before), crossing_text(change.after)
        side = after.partition(" the zero crossing")[0].split()[-1]
        ends = before.removesuffix(f" {side} the zero crossing"), after
    else:
        unit = change.unit
        ends = quantity_text(change.before, unit), quantity_text(change.after, unit)
    of_limit = {"%": " of its limit", "": " times"}.get(change.unit, "")
    return f"{plain(change.name)} now {ends[1]}{of_limit} (was {ends[0]})"


def _remedy_text(remedy: Remedy) -> str:
    now = quantity_text(remedy.value, remedy.unit)
    rated = "rated " if remedy.unit == "V" else ""
    again = "" if rated else f" First {READ_AGAIN}; {BEARS}."
    return f"It is {rated}{now}; the board surely passes with {_span_text(remedy)}.{again}"


def _of_text(remedy: Remedy) -> str:
    """A part with the values with which the board passes."""
    if remedy.unit == "V":
        return _span_text(remedy)
    return f"{_part_text(remedy.ref).replace('the ', 'a ')} of {_span_text(remedy)}"


def _span_text(remedy: Remedy) -> str:
    if remedy.unit == "V":
        low = quantity_text(remedy.low, remedy.unit)
        return f"a rectifier rated {low} or more, such as {USUAL_RECTIFIER}"
    high = quantity_text(remedy.high, remedy.unit)
    if remedy.low == 0.0:
        return f"up to {high}, or without it"
    if remedy.low < remedy.high * NO_LOWER_END_RATIO:
        low = quantity_text(remedy.low, remedy.unit)
        return f"{low} or more" if remedy.value < remedy.low else f"up to {high}"
    return quantity_span_text(remedy.low, remedy.high, remedy.unit)


def finding_lines(check: Check) -> tuple[str, ...]:
    """One line for each thing that fails or is marginal, whatever number of rules it breaks."""
    groups: dict[str, list[Rule[float]]] = {}
    of_sync = [rule for rule in check.every_rule if rule.subject == SYNC]
    lost = any(rule.status == "fail" for rule in of_sync)
    doubtful = any(rule.depends_on for rule in of_sync)
    for rule in check.every_rule:
        # without sync, what pulses there may be says nothing, nor what hardly any board bears
        corner = rule.name.startswith(AT_CORNER) and rule.subject != SYNC
        expected = rule.kind == "expectation"
        moot = lost and (expected or corner)
        if doubtful and expected and corner and rule.subject in LIMITS:
            moot = _worst_margin(check, rule.subject, ()) >= 0.0
        moot = moot or (rule.subject == "edge offset" and any(quarter_lines(check)))
        if rule.status != "pass" and not moot:
            groups.setdefault(rule.subject, []).append(rule)
    rare = [subject for subject, rules in groups.items() if all(rule.is_rare for rule in rules)]
    rarely = [rule for subject in rare for rule in groups.pop(subject)]
    ranked = sorted(groups.items(), key=_place_of)
    lines = [_finding_line(check, subject, rules) for subject, rules in ranked]
    fails = sum(line.startswith(STATUS["fail"]) for line in lines)
    lines[fails:fails] = [  # what the verdict hangs on before all that it does not
        f"{STATUS['warning']}: {sizes.warning}"
        for sizes in sizes_of(check, _failed_subjects(check))
        if sizes.too_small
    ]
    some_lose = any(rule.subject == SYNC and rule.share_ratio for rule in rarely)
    lines.insert(fails if some_lose else len(lines), _rare_line(check, rarely))
    return tuple(plain(line) for line in lines if line)


def _rare_line(check: Check, rules: Sequence[Rule[float]]) -> str:
    """All that only hardly any board comes to, in one line; empty where there is nothing."""
    sync = [rule for rule in rules if rule.subject == SYNC]
    what = [f"sync is lost ({_pin_text(sync[0])})"] if sync else []
    what += [_figures_text(check, [r]) for r in rules if r.subject != SYNC and not of_size(r)]
    if not what:
        return ""
    mark, reach = STATUS["warning"], _reach_text(check, rules)
    worst = "all tolerances and the shape of the mains are at their worst at once"
    return f"{mark}: {listed(what)} only if {worst} ({reach})"


def _place_of(group: tuple[str, list[Rule[float]]]) -> tuple[int, int, float]:
    """Where a finding comes: what fails, sync, its reserve, then what concerns most of the boards
    drawn."""
    subject, rules = group
    status = worst_status(rules)
    place = {SYNC: 0, RESERVE: 1}.get(subject, 2)
    return -WEIGHTS.index(status), place, -_share(rules) if status == "warning" else 0.0


def _finding_line(check: Check, subject: str, rules: list[Rule[float]]) -> str:
    mark = STATUS[worst_status(rules)]
    if check.passes and worst_status(rules) == "fail":
        mark = "warning, as on the original"
    if subject == SYNC:
        text = SECOND_PULSE if _second_pulse_ratio(check) else _sync_text(check, rules)
        return f"{mark}: {text}" if text else ""
    if subject == RESERVE:
        texts = [text for rule in rules if (text := _reserve_text(check, rule))]
        return f"{mark}: {'; '.join(texts)}" if texts else ""
    if subject in (*LIMITS, "duty"):
        return f"{mark}: {_expectation_text(check, subject, rules)}"
    text = _stress_text(check, rules)
    return f"{mark}: {text}" if text else ""


SECOND_PULSE = (
    "a controller made for it leaves the second pulse out; if sync is lost now and then, more ohms "
    "beside the series capacitor help, or a larger capacitor at the pin"
)


def _sync_text(check: Check, rules: list[Rule[float]]) -> str:
    """Where sync is lost, and what the pin does there."""
    lost = [level for level in check.levels if not level.locks]
    corners = [rule for rule in rules if rule.name.startswith(AT_CORNER)]
    doubt = next((rule.depends_on for rule in rules if rule.depends_on), "")
    if doubt and worst_status(rules) == "warning":
        if check.hangs_on_grade and not _may_fail_ratio(check):
            return ""  # which the first line tells
        if check.hangs_on_grade:
            return _may_be_lost_text(check)
        return f"sync depends on {doubt}; look at the pulse at low and at high mains"
    if lost:
        return f"sync is lost {_lost_where(check)}: {_broken_text(check, lost[0])}"
    if not corners:
        return "sync is lost inside the mains band when hot"
    return f"sync is lost {_corner_text(check, corners)}: {_pin_text(corners[0])}"


def _may_be_lost_text(check: Check) -> str:
    """Where sync may be lost, and what the pin does there."""
    missed = [rule for rule in check.every_rule if rule.subject == SYNC and rule.status != "pass"]
    corners = [rule for rule in missed if rule.name.startswith(AT_CORNER)]
    pin = f": {_pin_text(corners[0])}" if corners else ""
    ratio = check.spread.population.doubtful_ratio
    where = f"on {_share_text(ratio)} of boards" if ratio else _lost_where(check)
    if check.hangs_on_grade:
        where = f"({where}) " * bool(ratio)
        where = f"{where}with a {_coupler_text(check)} of the {_lost_end(check)} CTR"
    return f"sync may be lost {where}{pin}"


def _pin_text(corner: Rule[float]) -> str:
    """What the pin does where tolerances add up."""
    return LOCK_RULES[corner.name.removeprefix(AT_CORNER)].broken


def _lost_end(check: Check) -> str:
    """Which optocoupler loses sync: too little CTR leaves the pin high, too much holds it low."""
    names = {rule.name for rule in check.every_rule if rule.subject == SYNC and rule.depends_on}
    held = all(level.locks for level in check.levels if level.name == "weak")
    return "highest" if held and f"{AT_CORNER}pin never low" not in names else "lowest"


def _lost_where(check: Check) -> str:
    """Where sync is lost, or may be."""
    lost = [level for level in check.levels if not level.locks]
    coupled = check.board.optocoupler is not None
    if not lost:
        return "where tolerances add up"
    if len(lost) == len(CONDITIONS):
        return "at any mains voltage"
    names = {level.name for level in lost}
    usual = [level for level in lost if level.name in ("low", "nominal", "high")]
    words = [quantity_text(level.mains_rms_v, "V") for level in usual]
    if "weak" in names and "low" not in names:
        words.append(f"low mains when hot{', with the lowest CTR of the grade' * coupled}")
    if "strong" in names and "high" not in names:
        words.append(f"high mains{' with the highest CTR of the grade' * coupled}")
    return f"at {listed(words)}"


def _broken_text(check: Check, level: Level) -> str:
    if level.failed_rule == "pulse count" and isfinite(level.period_s):
        board = check.board
        due = board.mains.frequency_hz * expected_pulses(board)
        return f"{1.0 / level.period_s:.3g} pulses a second, {due:.3g} are due"
    return LOCK_RULES[level.failed_rule].broken if level.failed_rule else ""


def _share(rules: Iterable[Rule[float]]) -> float:
    """Largest share of the boards calculated that break one of these rules."""
    return max(rule.share_ratio or 0.0 for rule in rules)


def _share_text(ratio: float) -> str:
    """A share of boards, which may be a small one."""
    return percent_text(ratio) if ratio >= FEW_RATIO else format_si(ratio, "%", digits=1)


def _reach_text(check: Check, rules: Iterable[Rule[float]]) -> str:
    if share := _share(rules):
        return f"{_share_text(share)} of boards"
    return f"none of {check.spread.population.size} random boards"


def _corner_text(check: Check, rules: Sequence[Rule[float]]) -> str:
    """Where a rule is broken that single boards keep, and by how many."""
    where = "where tolerances add up" if _share(rules) else "in the worst corner only"
    return f"{where} ({_reach_text(check, rules)})"


def _reserve_text(check: Check, rule: Rule[float]) -> str:
    """A reserve that is smaller than is good; nothing where sync is lost anyway."""
    if isnan(rule.value):
        return ""
    if rule.name.startswith("CTR"):
        left, wanted = (percent_text(1.0 - 1.0 / ratio) for ratio in (rule.value, rule.limit))
        assert check.life is not None  # there is an optocoupler
        fit = stronger_text(check.board, rule.limit / rule.value)
        return (
            f"too little reserve for ageing: the {_weakest(check)} may lose only {left} of its "
            f"CTR ({wanted} wanted), {_years_text(check)}{f'. {fit}' if fit else ''}"
        )
    rise, due = percent_text(rule.value - 1.0), percent_text(rule.limit - 1.0)
    return (
        f"with the {_weakest(check)} sync is lost if the chain is {rise} too high; tolerance "
        f"and ageing may come to {due}"
    )


def stronger_text(board: Board, ratio: float) -> str:
    """Which optocoupler to fit where its lowest CTR has to be so many times as high.

    Empty where the grade is to be read first.
    """
    part = board.optocoupler
    assert part is not None
    if grade_unread(board):
        return ""
    known = [optocoupler(part.family, grade) for grade in grades(part.family)]
    able = [each for each in known if each.ctr_min_ratio >= ratio * part.ctr_min_ratio]
    if part.grade == OWN_DATA or not able:
        least = percent_text(ratio * part.ctr_min_ratio)
        return f"Fit one with a minimum CTR of {least} or more"
    # the usual letters first: X or Y of one maker lies between A and C of the others
    first = min(able, key=lambda each: (each.grade not in "ABCD", each.ctr_min_ratio))
    return f"Fit grade {first.grade} or higher"


def _expectation_text(check: Check, subject: str, rules: list[Rule[float]]) -> str:
    found = [rule for rule in rules if not isnan(rule.value)]
    if subject in LIMITS:
        return f"{_worst_text(check, subject, rules)}: {LIMITS[subject].meaning}"
    (rule,) = found
    bound, value, limit = _bound(rule.at_least), rule.value, rule.limit
    shown, expected = quantity_text(value, rule.unit), quantity_text(limit, rule.unit)
    return f"{rule.name} {shown} {rule.remark} ({bound} {expected} wanted): {DUTY}"


def _bound(at_least: bool) -> str:
    return "at least" if at_least else "at most"


def _may_lose_sync(check: Check) -> bool:
    """Whether some of such boards lose sync, and not only at the worst of all tolerances."""
    return any(r.subject == SYNC and r.status != "pass" and not r.is_rare for r in check.every_rule)


def _worst_text(check: Check, subject: str, rules: Sequence[Rule[float]]) -> str:
    """What an expectation comes to at the levels and on the boards drawn whose pin does its work;
    in the corner where none of these misses it."""
    limit, controller = LIMITS[subject], check.board.controller
    expected = float(getattr(controller, limit.attribute))
    of_drawn = all(isnan(rule.value) for rule in rules)  # no level misses it
    lost = _may_lose_sync(check)
    of_all = "that works" if lost else f"of {check.spread.population.size}"
    where = "on the worst board that works" if lost else "at worst"
    where = f"on the worst board {of_all}" if of_drawn else where
    margin = _worst_margin(check, subject, rules)
    if margin >= 0.0:
        margin, where = rules[0].margin, "with all tolerances at their worst"
    worst = quantity_text(
        max(expected * (1.0 + margin if limit.at_least else 1.0 - margin), 0.0), limit.unit
    )
    said = limit.spoken.format(
        worst=worst,
        most=f"{'over' if margin <= -1.0 else 'up to'} {worst}",  # there margins end
        low=quantity_text(controller.low_threshold_v, "V"),
        high=quantity_text(controller.high_threshold_v, "V"),
    )
    expects = f"{_bound(limit.at_least)} {quantity_text(expected, limit.unit)} wanted"
    if of_drawn:
        beyond = "fall short" if limit.at_least else "exceed it"
        expects += f"; {_reach_text(check, rules)} {beyond}"
    return f"{said} {where} ({expects})"


def _worst_margin(check: Check, subject: str, rules: Sequence[Rule[float]]) -> float:
    """The least of an expectation on the boards drawn whose pin does its work, and at the levels
    that some rules are of."""
    drawn = check.spread.population.rule_margins.working
    margins = [*drawn.margins[:, drawn.names.index(subject)].tolist()]
    return min((*margins, *(rule.margin for rule in rules if not isnan(rule.value))), default=0.0)


def _stress_text(check: Check, rules: list[Rule[float]]) -> str:
    """What a part has to bear, at its worst."""
    rules = [rule for rule in rules if not of_size(rule)]
    if not rules:
        return ""
    plain_ones = [rule for rule in rules if not rule.name.startswith(AT_CORNER)]
    where = "" if plain_ones else f" {_corner_text(check, rules)}"
    return f"{_figures_text(check, plain_ones or rules)}{where}"


def _unclamped_v(check: Check, rule: Rule[float]) -> float:
    """What a diode would see that holds the voltage itself, as it breaks down; 0 where it is not
    that."""
    if rule.margin >= 0.0:
        return 0.0
    volts = unclamped_v(check.board, rule.subject)
    return volts if volts > CLEARLY_MORE * rule.value else 0.0


def _figures_text(check: Check, rules: Sequence[Rule[float]]) -> str:
    """What parts have to bear, and their limits."""
    by_peak = {f"{s.resistor.ref} voltage" for s in check.worst_resistors if s.by_peak}
    texts = []
    for rule in rules:
        name = rule.name.removeprefix(AT_CORNER)
        if rule.limited_by_breakdown and (volts := _unclamped_v(check, rule)):
            rated = quantity_text(rule.limit, rule.unit)
            seen = quantity_text(volts, rule.unit)
            texts.append(
                f"{part_words(rule.subject)} breaks down (it would see {seen}, rated {rated})"
            )
            continue
        value, limit = (quantity_text(each, rule.unit) for each in (rule.value, rule.limit))
        if name in by_peak:
            peak, most = (quantity_text(2**0.5 * each, "V") for each in (rule.value, rule.limit))
            value, limit = f"{peak} peak", f"{limit} rms, {most} peak"
        by_most = name.endswith(OF_MOST_MAKERS)
        words = rule_words(name.removesuffix(OF_MOST_MAKERS))
        texts.append(f"{words} {value} (limit {limit}{' by most makers' * by_most})")
    return ", ".join(texts)


HOURS = "service.hours_per_year"
"""The key of a board file for them."""
ALWAYS_H = 8760
"""Hours of a year."""


def _facts(check: Check) -> Iterator[tuple[str, str]]:
    """The few figures that matter."""
    by_name = {level.name: level for level in check.levels}
    nominal = by_name["nominal"]
    if nominal.locks:
        yield "pulse", _pulse_text(check, nominal)
    of_pin = "" if check.board.is_isolated else " current"
    yield f"{check.board.input_name}{of_pin}", _led_text(check, by_name)
    yield "most loaded", _most_loaded_text(check)
    if check.life is not None:
        yield from _reserve_fact(check)
    population = check.spread.population
    if share := _second_pulse_ratio(check):
        random = f"of {population.size} random boards {percent_text(share)} may give two pulses"
        yield "tolerances", f"{random} (distorted mains)"
        return
    said = check.hangs_on_grade or _may_fail_ratio(check)
    said = said and not population.failing.ratio
    if any(level.locks for level in check.levels) and not said:  # else the verdict says it all
        doubted = any(rule.depends_on for rule in check.every_rule)
        yield "tolerances", _population_text(population, doubted)


def _weakest(check: Check) -> str:
    """Which optocoupler is the weakest that may be fitted."""
    return f"weakest of its {'type' if grade_unread(check.board) else 'grade'}"


def _years_text(check: Check) -> str:
    """How long the CTR lasts by the makers' rule, and how long a year the board is powered."""
    assert check.life is not None  # there is an optocoupler
    hours = check.board.service.hours_per_year
    powered = f"{hours:g} h a year" if hours < ALWAYS_H else "all the time"
    fed = "powered" if check.board.relay is None else "with the relay on"
    assumed = any(each.key == HOURS for each in check.board.assumptions)
    return (
        f"about {years_text(check.life.design_rule_years)} {years_from(check.board)} {fed} "
        f"{powered}{' (assumed)' * assumed}"
    )


def _reserve_fact(check: Check) -> Iterator[tuple[str, str]]:
    """How long the CTR lasts."""
    weak = check.weak_headrooms["ctr"]
    short = any(rule.subject == RESERVE and rule.status != "pass" for rule in check.every_rule)
    if check.passes and not short and weak.locks and isfinite(weak.factor_ratio):
        left = percent_text(1.0 - 1.0 / weak.factor_ratio)
        lost = _may_lose_sync(check) and not _second_pulse_ratio(check)
        works = f"ageing is not the worry: even the {_weakest(check)} pulls the pin low"
        works = works if lost else f"even the {_weakest(check)} works"
        yield "reserve", f"{works} until it has lost {left} of its CTR, {_years_text(check)}"
    elif check.passes and not (weak.locks or check.hangs_on_grade) and check.headrooms["ctr"].locks:
        left = percent_text(1.0 - 1.0 / check.headrooms["ctr"].factor_ratio)
        ref = _coupler_text(check)
        sure = f"none with the weakest {ref} of its grade"
        yield "reserve", f"{sure}; a typical one works until it has lost {left} of its CTR"


AT_RANDOM = "(parts, volts, hertz, temperature)"


def _population_text(population: Population, doubted: bool) -> str:
    """What part tolerances, mains and heat do to such boards; where sync may be lost, what of
    them."""
    failing, doubtful = population.failing.ratio, population.doubtful_ratio
    if not failing and not doubtful:
        only = ", the worst case may" if doubted else f" {AT_RANDOM}"
        return f"none of {population.size} random boards fails{only}"
    shares = ((failing, "fail"), (doubtful, "may fail"))
    texts = [f"{round(ratio * population.size)} {what}" for ratio, what in shares if ratio]
    return f"of {population.size} random boards {', another '.join(texts)} {AT_RANDOM}"


def _few_text(ratio: float) -> str:
    return percent_text(ratio) if ratio >= FEW_RATIO else "under 1 %"


def _pulse_text(check: Check, nominal: Level) -> str:
    assert check.pulse is not None  # where the nominal level locks
    least_s, most_s = check.pulse.low_time_s
    least_most = quantity_span_text(least_s, most_s, "s")
    none = "" if all(level.locks for level in check.levels) else ", on some no pulse"
    often = "two" if expected_pulses(check.board) == 2 else "one"
    mains = check.board.mains
    hertz = f" of {quantity_text(mains.frequency_hz, 'Hz')}" * (len(mains.nominal_hz) > 1)
    low, span_s = quantity_text(nominal.low_time_s, "s"), check.pulse.fall_offset_s
    falls = crossing_text(nominal.fall_offset_s, max(map(abs, span_s)))
    if any(rule.subject == SYNC and rule.status == "fail" for rule in check.every_rule):
        return f"{often} a mains cycle{hertz}, typically low {low}, falls {falls}"
    drawn = f"{check.spread.population.size} random boards: {least_most}{none}"
    return (
        f"{often} a mains cycle{hertz}, low {low} ({drawn}), "
        f"falls {falls} ({_offsets_text(*span_s)})"
    )


def _offsets_text(first_s: float, last_s: float) -> str:
    """From when to when an edge comes; after the crossing, as most do, the figures alone."""
    return offset_span_text(first_s, last_s).removesuffix(" after")


def _led_text(check: Check, by_name: dict[str, Level]) -> str:
    low_a, high_a = (by_name[name].led_peak_a for name in ("low", "high"))
    peak = f"{quantity_span_text(low_a, high_a, 'A')} peak over the mains band"
    over = [s for s in check.reverse if s.is_over and s.ref in led_refs(check.board)]
    if not over:
        return peak
    worst = max(over, key=lambda stress: float(stress.reverse_v.max()))
    volts, amps = float(worst.reverse_v.max()), float(worst.reverse_a.max())
    rectifier = check.board.rectifier
    leak = quantity_text(amps, "A")
    through = "" if rectifier is None else f" through {plain(rectifier.ref)}"
    leaks = f"{leak}{through}"
    if amps <= HARMLESS_REVERSE_A:
        limit = quantity_text(HARMLESS_REVERSE_A, "A")
        leaks = f"but only {leaks}: harmless below {limit}"
    sees, rated = (quantity_text(each, "V") for each in (volts, worst.limit_v))
    return f"{peak}; in reverse it sees {sees} (rated {rated}), {leaks}"


def _most_loaded_text(check: Check) -> str:
    """The resistor nearest to one of its limits, and that limit."""
    worst = max(check.worst_resistors, key=ResistorStress.used_ratio)
    if worst.power_ratio >= worst.voltage_ratio:
        load = of_limit(worst.power_w.max(), worst.power_limit_w, "W")
    else:
        load = of_limit(worst.working_stress_v.max(), worst.voltage_limit_v, "V")
    return (
        f"{plain(worst.resistor.ref)} {quantity_text(worst.resistor.resistance_ohm, 'Ω')}: "
        f"up to {load} ({share_text(worst.used_ratio(), 1.0)}{_most_makers_text(worst)})"
        f"{f' if it is {worst.resistor.style}' if worst.resistor.size_assumed else ''}"
    )


def _most_makers_text(stress: ResistorStress) -> str:
    """The share of what most makers rate a resistor for, where some rate it for too little."""
    part = stress.resistor
    if part.usual_power_w is None or stress.power_ratio <= 1.0:
        return ""
    usual = stress.power_ratio * part.rated_power_w / part.usual_power_w
    return f"; {share_text(usual, 1.0)} of most makers' {quantity_text(part.usual_power_w, 'W')}"


def assumed_text(board: Board) -> str:
    """The assumptions that matter most, and how many others there are."""
    if not board.assumptions:
        return "Nothing was assumed."
    values: dict[str, list[str]] = {}
    for assumption in sorted(board.assumptions, key=_weight):
        band = assumption.key == "mains.band"
        values.setdefault(assumption.key, []).append(
            _band_text(board) if band else assumption.value
        )
    said = {"mains.frequency"} if "mains.band" in values else set()  # a band is of one frequency
    named = [key for key in values if key in WEIGHTY and key not in said][:MOST_ASSUMED]
    texts = [_said_text(key, " or ".join(values[key])) for key in named]
    part = board.optocoupler
    if part is not None and GRADE in named:
        ctr = quantity_span_text(part.ctr_min_ratio, part.ctr_max_ratio, "%")
        unread = f"no grade read on {part.ref} (CTR {ctr})"
        texts[named.index(GRADE)] = unread if grade_unread(board) else f"CTR of {part.ref} {ctr}"
    more = len(values) - len(named)
    if more:
        texts.append(f"{more} more")
    return plain(f"Assumed: {listed(texts)}.")


def _said_text(key: str, value: str) -> str:
    """One assumption: what it means where its key does not say so, else key and value."""
    if key == "chain.return_resistors":
        return f"{value} on the neutral side"
    return f"{_key_text(key)} {value}"


def _band_text(board: Board) -> str:
    return quantity_span_text(board.mains.low_rms_v, board.mains.high_rms_v, "V")


def _weight(assumption: Assumption) -> int:
    return WEIGHTY.index(assumption.key) if assumption.key in WEIGHTY else len(WEIGHTY)


def _key_text(key: str) -> str:
    words = key.replace("chain.topology", "topology").removeprefix("controller.")
    return words.replace(".", " ").replace("_", " ")
