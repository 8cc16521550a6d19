"""Readings after a repair: tables on a terminal, and a JSON object."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise
from math import isfinite

from zcd.board.model import Board
from zcd.circuit.elements import Circuit
from zcd.circuit.points import diode_of_bridge, part_words
from zcd.diagnosis.expected_readings import ExpectedRange
from zcd.diagnosis.faults import Fault
from zcd.diagnosis.flag_evidence import NO_FLAG
from zcd.diagnosis.functions import Function
from zcd.diagnosis.missing_readings import SURE_GOOD
from zcd.diagnosis.reading_syntax import show_measured, show_value
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import (
    AccessLevel,
    Measured,
    Power,
    Reading,
    access_level,
    parts_over,
    parts_read,
    useful_readings,
)
from zcd.diagnosis.retest import LOW_TIME, RepeatedReading, Retest
from zcd.errors import plain
from zcd.margin.headroom import Headroom
from zcd.report.cautions import DANGER, Caution, caution_lines
from zcd.report.document import Document, Paragraph, Section
from zcd.report.of_board import allowed_line, no_sync_line
from zcd.report.of_check import grade_text
from zcd.report.of_check_document import caution_sections
from zcd.report.of_diagnosis import (
    PROBABLY,
    cautions_for,
    spread_of,
    state_line,
    with_relay_on,
)
from zcd.report.of_diagnosis_dict import reading_to_dict, repeated_to_dict
from zcd.report.of_diagnosis_text import fault_words
from zcd.report.of_points import points_line
from zcd.report.of_readings_card import (
    cells_legend,
    counts_high_line,
    good_text,
    typed_place,
)
from zcd.report.of_retest_record import (
    CLOSE,
    ON_BENCH,
    WEAK,
    readings_after,
    reserve_text,
    retest_reading,
)
from zcd.report.table import Table
from zcd.report.terminal import longest_on_a_screen
from zcd.report.text import (
    count_text,
    factor_text,
    percent_text,
    probability_text,
    quantity_span_text,
    quantity_text,
    short_of,
)
from zcd.serialize import Record

PULSES = Reading(function=Function.FREQUENCY, red="pin", black="logic0")
WITH_JUNCTION = ("diode", "led", "phototransistor")
"""Kinds of faults of parts that a diode test tells of."""
MIN_NAMED = 0.2
MIN_OTHERWISE_GOOD = 0.5
NEEDED = f"{percent_text(SURE_GOOD)} needed"
MOST_NAMED = 3
MOST_SHOWN = 5
MOST_REMAINING = 1
"""Readings, and lines on the CTR that is left, in the answer of one screen."""
LINES_BELOW = 3
"""What the command says below an answer that asks for more: where they are kept, what to type."""


def retest_document(retest: Retest) -> Document:
    """How a repaired board reads, and what is left of its optocoupler."""
    return Document(
        title=plain(retest.board.name),
        sections=(
            Section(
                "",
                (
                    Paragraph(retest_line(retest), "strong"),
                    _readings_after(retest),
                    *_after_lines(retest, remaining_lines(retest)),
                ),
                answer=True,
            ),
            *caution_sections(*retest_cautions(retest)),
        ),
    )


def retest_answer(retest: Retest) -> Document:
    """The same on one screen: what differs first, with the cautions of the next action."""
    below = LINES_BELOW if retest.missing else 0
    return longest_on_a_screen(partial(_answer, retest), retest.board, MOST_SHOWN, 0, below=below)


def _answer(retest: Retest, length: int) -> Document:
    """The same with so many of the readings taken; at 0 one, and of the rest what counts now."""
    most = max(length, 1)
    differs = [again for again in retest.readings if not again.good]
    good = sorted((a for a in retest.readings if a.good), key=lambda again: again.is_close)
    room = most - len(differs)
    latest = good[-room:] if room > 0 else []
    shown = (*differs[:most], *latest)
    more = len(retest.readings) - len(shown)
    brief = replace(retest, readings=shown)
    rest = f"and {count_text(more, 'more reading')} (--full)" if more > 0 else ""
    sides = (access_level(retest.circuit, reading) for reading in asked_readings(retest))
    return Document(
        title=plain(retest.board.name),
        sections=(
            Section(
                "",
                (
                    Paragraph(retest_line(retest), "strong"),
                    replace(_readings_after(brief), title="", remark=rest),
                    *_after_lines(retest, remaining_lines(retest)[:MOST_REMAINING], length > 0),
                    *map(Paragraph, caution_lines(*sides)),
                ),
                answer=True,
            ),
        ),
    )


def asked_readings(retest: Retest) -> tuple[Reading, ...]:
    """The readings that the answer names as still to take; none once all is read."""
    if retest.as_described:
        return ()
    again = tuple(a.measured.reading for a in retest.differs[:1] if _otherwise_good(retest))
    return retest.missing or (*again, *list(_by_name(retest.to_take, retest).values())[:MOST_NAMED])


def _otherwise_good(retest: Retest) -> bool:
    """Whether all but the readings that differ fit a good board."""
    return retest.good_ratio > MIN_OTHERWISE_GOOD


def _after_lines(retest: Retest, remaining: Sequence[str], whole: bool = True) -> list[Paragraph]:
    """What stands after the readings: what may be left, what to take, what is left of the CTR; not
    `whole`: but for what can wait until all is read."""
    not_repeated = "" if retest.missing or retest.as_described else _to_take_line(retest)
    lines = (
        no_sync_line(retest.board) if not retest.locks else "",
        _likeliest_line(retest),
        _next_line(retest),
        _first_line(retest),
        _then_line(retest),
        _run_line(retest) if whole else "",
        not_repeated,
        cells_legend(map(_good_of, retest.readings)),
        _duty_line(retest),
        points_line(retest.missing, retest.circuit),
        _relay_line(retest) if whole else "",
        allowed_line(retest.board),
        *(remaining if whole else ()),
    )
    return [Paragraph(line) for line in lines if line]


def _duty_line(retest: Retest) -> str:
    """Which share of time a duty is, where one was read or is missing; empty elsewhere."""
    taken = ((each.measured.reading, _good_of(each)[1]) for each in retest.readings)
    asked = zip(retest.missing, retest.expected, strict=False)
    lines = (counts_high_line(*each) for each in (*taken, *asked))
    return next((line for line in lines if line), "")


def _relay_line(retest: Retest) -> str:
    """When the readings under power that were taken count; empty where any of them does."""
    taken = [again.measured.reading for again in retest.readings]
    if not any(with_relay_on(reading, retest.circuit) for reading in taken):
        return ""
    off = any(reading.power is Power.OFF for reading in taken)
    which = "Powered readings above not marked relay off" if off else "Powered readings above"
    return f"{which} count only if the load relay was on (a program running)."


def _readings_after(retest: Retest) -> Table:
    """The readings after the repair, each beside that of a good board."""
    return readings_after(retest_reading(again, retest.circuit) for again in retest.readings)


def _good_of(again: RepeatedReading) -> tuple[Function, ExpectedRange]:
    """What a good board shows of a reading."""
    good = ExpectedRange(low=again.low, middle=again.middle, high=again.high)
    return again.measured.reading.function, good


def close_mark(again: RepeatedReading) -> str:
    """How a reading that counts as good lies to what nearly all good boards show."""
    return CLOSE if again.is_close else "good"


def close_text(again: RepeatedReading, board: Board) -> str:
    """The same of one that lies outside, and from where on it would differ."""
    end = show_value(again.measured.reading.function, again.fits[0 if again.is_low else 1])
    side = "under" if again.is_low else "over"
    supply = quantity_text(board.output.supply_v, "V")
    return (
        f"{show_measured(again.measured)} is {close_mark(again)}: few good boards show it, "
        f"{side} {end} none. If the pin's {supply} or the mains is wrong, correct it and read "
        "again."
    )


def _likeliest_line(retest: Retest) -> str:
    """What is likeliest now, where a reading differs from that of a good board."""
    if not retest.differs or retest.likeliest_ratio < MIN_NAMED:
        return ""
    share, likeliest = probability_text(retest.likeliest_ratio), retest.likeliest
    what = f"; {likeliest.words}" if retest.likeliest_ratio >= PROBABLY else ""
    return f"Likeliest so far: {fault_words(likeliest.key)} ({share}){what}."


def _next_line(retest: Retest) -> str:
    """How to find the fault of a board that fails, as a command; empty where none does."""
    if not retest.differs:
        return ""
    order = sorted(retest.readings, key=lambda again: again.good)
    given = [f'-r "{typed_text(each.measured, retest.circuit)}"' for each in order]
    more = ", and all other readings" if len(given) > MOST_SHOWN else ""
    again = "If it stays so, find" if _otherwise_good(retest) else "Next: find"
    flags = flags_option(retest.flags_before)
    asked = " ".join((*flags, *given[:MOST_SHOWN]))
    gone = f" {UNLESS_GONE}" if flags else ""
    return f"{again} the fault: zcd diagnose {plain(retest.board.file)} {asked}{more}{gone}"


UNLESS_GONE = "(without -f if it shows no error now)"
"""Behind a command with what the controller reported before the repair."""


def flags_option(flags: Collection[str]) -> tuple[str, ...]:
    """The option that gives what a controller reports, ``-f sync,fan``; none where it is nothing.

    Examples
    --------
    >>> flags_option(("sync", "fan")), flags_option(())
    (('-f sync,fan',), ())
    """
    return (f"-f {','.join(flags)}",) if {*flags} - {NO_FLAG} else ()


def typed_text(measured: Measured, circuit: Circuit) -> str:
    """A reading as a person types it, ``ohm R2 82 kΩ``."""
    return f"{typed_place(measured.reading, circuit)} {show_measured(measured)}"


def first_of_retest(
    fault: Fault, measured: Sequence[Measured], board: Board, circuit: Circuit
) -> Reading | None:
    """What to read first once a fault is mended: the part that was at fault, on the dead board.

    Parameters
    ----------
    fault : Fault
    measured : sequence of Measured
        What showed it; of a fault that no new part mends a reading of them is taken again.
    board : Board
    circuit : Circuit
        Nominal.

    Returns
    -------
    reading : Reading or None
        The pulses at the pin where no dead test is of the part; None where the pin is live too.
    """
    offered = useful_readings(board, circuit) if fault.is_replaced else ()
    readings = (*(m.reading for m in reversed(measured)), *offered)
    dead = [r for r in readings if r.function.row.dead and not r.lifted]
    if fault.kind == "contact" and fault.mode != "welded":  # unplugged a good one is open too
        dead = []
    if own := [r for r in dead if _is_of(fault, r, circuit)]:
        return max(own, key=lambda r: _likeness(fault, r, circuit))
    return PULSES if board.is_isolated else None


def _is_of(fault: Fault, reading: Reading, circuit: Circuit) -> bool:
    """Whether a reading is of the part at fault, or spans the joint or leak."""
    refs, part = _refs(reading, circuit), diode_of_bridge(fault.part.partition(" ")[0])[0]
    joined = {ref.partition(".")[0] for ref, _ in fault.joint.over} if fault.joint else {part}
    return joined <= refs or fault.across == {*map(circuit.node, (reading.red, reading.black))}


def _refs(reading: Reading, circuit: Circuit) -> set[str]:
    """The parts that a reading is taken over or through."""
    over = parts_over(circuit, *map(circuit.node, (reading.red, reading.black)))
    refs = {*parts_read(circuit, reading), *over.split(", ")} - {""}
    return {diode_of_bridge(ref.partition(".")[0])[0] for ref in refs}


def _likeness(fault: Fault, reading: Reading, circuit: Circuit) -> tuple[bool, ...]:
    """How well a reading shows that a new part is good: a diode test of what has a junction, of it
    alone, the way it leads, of the piece that failed."""
    suits = (reading.function is Function.DIODE) is (fault.kind in WITH_JUNCTION)
    refs = parts_read(circuit, reading)
    leads = any(circuit[ref].nodes == (reading.red, reading.black) for ref in refs)
    piece = fault.part in map(part_words, refs)
    alone = len(_refs(reading, circuit)) == 1
    return (suits, alone, leads, piece)


def added_line(retest: Retest) -> str:
    """What to type next where no job keeps the readings: what to add; empty where nothing is."""
    return f"Next: the same command with {_to_add(retest)} added." if retest.missing else ""


def _to_add(retest: Retest) -> str:
    """The options that enter the readings which are missing, in the order to take them."""
    places = (typed_place(reading, retest.circuit) for reading in missing_in_order(retest))
    return " ".join(f'-r "{place} ..."' for place in places)


def command_line(retest: Retest, file: str, job_file: str) -> str:
    """What to type next; empty where the answer says so."""
    if retest.good:
        return f'Next: zcd close {plain(job_file)} --found "what it was"'
    if not retest.missing:
        return ""
    about = "" if file == job_file else f" --job {plain(job_file)}"
    return f"Next: zcd retest {plain(file)}{about} {_to_add(retest)}"


def _first_line(retest: Retest) -> str:
    """The reading to take next; empty where none is missing."""
    if not retest.missing:
        return ""
    step = missing_in_order(retest)[0]
    return f"Next, {_lower(_state_text(step, retest))}: {_with_good(step, retest)}."


def _then_line(retest: Retest) -> str:
    """What is missing after the next reading, and in which state of the board."""
    order, lines = missing_in_order(retest), []
    for before, reading in pairwise(order):
        state = _state_text(reading, retest)
        new = state != _state_text(before, retest)
        said = f"{_lower(state)}: " if new else ""
        lines.append(f"{said}{_with_good(reading, retest)}")
    return f"Then: {'; '.join(lines)}." if lines else ""


def _to_take_line(retest: Retest) -> str:
    """What was taken before the repair and not since."""
    names = _names(retest.to_take, retest)
    return names and f"Not measured again since the repair: {names}."


def _names(readings: Sequence[Reading], retest: Retest) -> str:
    """Readings in words, the first few of them."""
    names = _by_name(readings, retest)
    more = len(names) - MOST_NAMED
    return "; ".join(list(names)[:MOST_NAMED]) + (f"; {more} more" if more > 0 else "")


def _by_name(readings: Sequence[Reading], retest: Retest) -> dict[str, Reading]:
    return {reading_text(reading, retest.circuit): reading for reading in readings}


def retest_cautions(retest: Retest) -> tuple[Caution, ...]:
    """The cautions due for the readings taken, and for those to take."""
    taken = (again.measured.reading for again in retest.readings)
    readings = (*taken, *retest.missing, *retest.to_take)
    return cautions_for(access_level(retest.circuit, reading) for reading in readings)


def retest_line(retest: Retest) -> str:
    """One sentence on how the board reads now."""
    if retest.as_described:
        sure = probability_text(retest.good_ratio)
        passes = f"PASSES: the sync circuit reads like a good one ({sure} sure)."
        has_none = "NOT PASSED: every part reads as described, but such a board has no sync."
        return passes if retest.good else has_none
    share = short_of(retest.good_ratio)
    if retest.differs:
        first = retest.differs[0]
        reading = reading_text(first.measured.reading, retest.circuit)
        good = spread_of(first.measured.reading.function, first.low, first.high)
        line = f"FAILS: {reading}: {show_measured(first.measured)} (good board {good})."
        if first.measured.reading.function is Function.DUTY and (
            first.low <= 1.0 - first.measured.value <= first.high
        ):
            value = show_value(Function.DUTY, first.measured.value)
            return f'{line} If your meter counts the time high, enter "duty {value} high".'
        again = " All else fits a good board: take this one again."
        return line + (again if _otherwise_good(retest) else "")
    if retest.likeliest_ratio > retest.good_ratio:
        return (
            "NOT PASSED: each reading could be a good board's, but together they fit "
            f"{fault_words(retest.likeliest.key)} better "
            f"({probability_text(retest.likeliest_ratio)}; a good board {share})."
        )
    if not retest.missing:
        return (
            f"NOT PASSED: only {share} sure that the board is good ({NEEDED}), and no reading "
            f"left would settle it. Not excluded: {fault_words(retest.likeliest.key)} "
            f"({probability_text(retest.likeliest_ratio)})."
        )
    count = len(retest.missing)
    more = "One more good reading" if count == 1 else f"{count} more readings, all good"
    take = f"{more}, and it passes"
    if not retest.suffices:
        take = f"Take at least {count_text(count, 'more reading')}"
    step = missing_in_order(retest)[0]
    why = f"{share} sure that the board is good ({NEEDED})"
    off = next((again for again in retest.readings if again.is_close), None)
    if retest.good_ratio >= SURE_GOOD:
        spans = step.function is Function.DIODE and step not in retest.to_take
        why = "a diode of which the pulses say nothing was not tested" if spans else SHOWED_IT
    close = f" {close_text(off, retest.board)}" if off else ""
    return f"NOT PASSED yet: {why}. {take}.{close}"


SHOWED_IT = "what showed the fault was not read again"


def _lower(text: str) -> str:
    """The same within a sentence."""
    return f"{text[:1].lower()}{text[1:]}"


def _state_text(reading: Reading, retest: Retest) -> str:
    """State of the board for a reading, and how it comes to it."""
    off = reading.power is Power.OFF
    return f"{state_line(reading, retest.circuit)}{', no program running' if off else ''}"


def missing_in_order(retest: Retest) -> list[Reading]:
    """The readings that are missing, those of a dead board first."""
    return sorted(retest.missing, key=lambda r: DANGER.index(access_level(retest.circuit, r)))


def _with_good(reading: Reading, retest: Retest) -> str:
    """A reading that is missing, beside what a good board shows."""
    good = retest.expected[retest.missing.index(reading)]
    text = good_text(reading.function, good)
    return f"{reading_text(reading, retest.circuit)} (good board {text})"


def _run_line(retest: Retest) -> str:
    """When to let the appliance run: once what is missing on the dead board is read."""
    if not retest.missing or not _pulses_read(retest):
        return ""
    dead = access_level(retest.circuit, missing_in_order(retest)[0]) is AccessLevel.DEAD
    first = "Then plug in and let it run" if dead else "Then let it run"
    return f"{first}: the sync error must not come back."


def _pulses_read(retest: Retest) -> bool:
    """Whether level and number of the pulses were read at the pin, and there are some."""
    taken = (a.measured for a in retest.readings if a.measured.value > 0.0)
    at_pin = {m.reading.function for m in taken if m.reading.over_pin}
    return Function.DC in at_pin and Function.FREQUENCY in at_pin


def remaining_lines(retest: Retest) -> list[str]:
    """What the measured pulses say of the optocoupler, in words."""
    remaining, opto = retest.remaining, retest.board.optocoupler
    if opto is None:
        return []
    if remaining is None:
        low_times = (a.measured for a in retest.readings if a.measured.reading == LOW_TIME)
        if any(m.exact and m.value > 0.0 for m in low_times):
            return ["No CTR gives this board the low time that was measured: measure it again."]
        return []
    low, middle, high = remaining.ctr_ratio
    measured = f"From the measured low time of {quantity_text(remaining.low_time_s, 's')}"
    if isfinite(remaining.mains_rms_v):
        measured += f" at {quantity_text(remaining.mains_rms_v, 'V')}"
    grade = f"{quantity_span_text(opto.ctr_min_ratio, opto.ctr_max_ratio, '%')} when new"
    if remaining.tells:
        named = f"{text.strip('()')}: " if (text := grade_text(opto)) else ""
        span, likeliest = quantity_span_text(low, high, "%"), quantity_text(middle, "%")
        ctr = f"CTR {span}, most likely {likeliest}"
        less = ": aged, or another grade fitted" * (high < opto.ctr_min_ratio)
        less += f"; still at least{_times_text(remaining.weak[0])[1:]}" * bool(less)
        lines = [f"{measured}: {ctr} ({named}{grade}){less}."]
    else:
        least = f"{quantity_text(low, '%')}{_times_text(remaining.weak[0])}"
        lines = [f"{measured}: CTR at least {least}. This reading cannot show more."]
    for words, reserves in ((ON_BENCH, remaining.bench), (WEAK, remaining.weak)):
        texts = [factor_text(reserve) for reserve in reserves]
        lines.append(f"{reserve_text(texts, remaining.tells, words)}.")
    return lines


def _times_text(weak: Headroom) -> str:
    """A CTR against what the board needs, where it is enough."""
    if not weak.locks:
        return ""
    return f", {factor_text(weak)} times what the board needs at low mains, hot"


def retest_to_dict(retest: Retest) -> Record:
    """How a repaired board reads, ready for `json.dumps`."""
    left, circuit = retest.remaining, retest.circuit
    return {
        "board": retest.board.name,
        "good": retest.good,
        "good_ratio": retest.good_ratio,
        "likeliest": {
            "fault": retest.likeliest.key,
            "probability_ratio": retest.likeliest_ratio,
        },
        "readings": [repeated_to_dict(again, circuit) for again in retest.readings],
        "missing": [reading_to_dict(r, circuit) for r in retest.missing],
        "to_take": [reading_to_dict(r, circuit) for r in retest.to_take],
        "remaining": None
        if left is None
        else {
            "low_time_s": left.low_time_s,
            "mains_rms_v": left.mains_rms_v,
            "ctr_ratio": left.ctr_ratio,
            "bench_headrooms": [h.factor_ratio for h in left.bench],
            "weak_headrooms": [h.factor_ratio for h in left.weak],
            "tells": left.tells,
        },
    }
