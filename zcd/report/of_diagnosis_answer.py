"""The answer of a diagnosis on one screen: what to change, why, what to measure next."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from itertools import takewhile

import numpy as np

from zcd.board.model import Board
from zcd.circuit.build import coupler_refs
from zcd.circuit.elements import Circuit, DcSource, Junction
from zcd.circuit.points import diode_of_bridge
from zcd.diagnosis.case import Case
from zcd.diagnosis.expected_readings import good_board
from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.faults import HEALTHY, LOOSE_MODE, OPEN_OHM, REPLACED, Fault, includes
from zcd.diagnosis.flag_evidence import FAN, SYNC
from zcd.diagnosis.functions import Function, Method
from zcd.diagnosis.information import SURE
from zcd.diagnosis.job import Job
from zcd.diagnosis.meters import OVERLOAD, Meter
from zcd.diagnosis.next_reading import Suggestion
from zcd.diagnosis.rank import (
    GOOD_CIRCUIT,
    UNMODELLED,
    Diagnosis,
    Ranked,
    Standing,
    one_repair,
    present,
    repairs_of,
    standings,
    together_names,
)
from zcd.diagnosis.reading_syntax import show_measured
from zcd.diagnosis.reading_words import over_text, reading_text
from zcd.diagnosis.readings import (
    AccessLevel,
    Measured,
    Power,
    is_behind_contact,
    parts_between,
    parts_read,
)
from zcd.diagnosis.retest_record import Verdict
from zcd.diagnosis.series_sums import Rest, reads_over, row_of
from zcd.diagnosis.trip import Trip, plan_trip, sync_lost_share, telling_readings
from zcd.errors import plain
from zcd.files import file_name, path_here
from zcd.margin.stress import worst_stress
from zcd.margin.tolerances import grade_unread
from zcd.report.cautions import caution_lines, most_dangerous
from zcd.report.document import Block, BulletList, Document, Paragraph, Section
from zcd.report.of_answers import Meaning, in_order, meanings_of, row_read
from zcd.report.of_board import READ_AGAIN, no_sync_line, unread_line
from zcd.report.of_diagnosis import (
    NOT_APART,
    PROBABLY,
    RELAY_ON_HOW,
    flags_line,
    hidden_line,
    relay_state,
    state_line,
    suspects_line,
    with_relay_on,
)
from zcd.report.of_diagnosis_text import (
    LOW_OHMS,
    MIN_NAMED,
    MIN_TELLING,
    MISFITS,
    MOST_NAMED,
    fault_words,
    range_text,
    sentence,
    standing_text,
)
from zcd.report.of_job_history import fault_statistics_line
from zcd.report.of_points import points_line
from zcd.report.of_readings_card import counts_high_line, good_text, typed_place
from zcd.report.of_retest import UNLESS_GONE, first_of_retest, flags_option, typed_text
from zcd.report.of_sizes import small_chain
from zcd.report.terminal import longest_on_a_screen
from zcd.report.text import count_text, listed, probability_text, quantity_text
from zcd.substitutes.search import replaceable_refs

FEW_NAMED = 2
LEAST_ALIKE, AS_LIKELY = 0.02, 0.75
"""Share of one of several alike parts from which it is told, and of the likeliest of them from
which it is as likely."""
MOST_ANSWERS, ANSWER_WIDTH = 3, 76
"""Answers to a reading that are explained, and columns of each."""
LIFTABLE = ("resistor", "diode")
"""Kinds of parts with two leads, of which one can be lifted."""
MOST_ASSUMED = 2
ACROSS_COUPLER = (
    "Before power: diode test across its LED pins{ways}; ohms from these to its transistor pins, "
    "OL; then the insulation test that your rules ask for"
)
ISOLATES = " (isolation voltage, VDE or UL mark and pin spacing no less than the old one's)"
"""What a new optocoupler has to have."""
FAN_KINDS = ("drive", "fan")
"""Kinds of faults behind a good sync circuit, when the fan does not turn."""
HALF = 0.5
MOST_SILICON_V = 0.9
"""What a meter shows of one silicon diode at most; every diode test goes as far: common practice,
no source."""
LEVELS = {"controller.low_threshold": "low below", "controller.high_threshold": "high above"}
FIRST_ASSUMED = (
    "chain.topology",
    "chain.return_resistors",
    "chain.rectifier_first",
    "optocoupler.grade",
)
"""Assumptions that a diagnosis hangs on, the most important first."""


def answer_document(case: Case) -> Document:
    """What the readings of a job say, on one screen."""
    trip = plan_trip(case.dictionary, case.diagnosis, case.job.skipped, case.job.flags)
    telling = telling_readings(case.dictionary, case.diagnosis, case.job.flags)
    make = partial(_answer, case, trip, telling, too_mild_line(case))
    return longest_on_a_screen(make, case.board, MOST_ANSWERS + 1)


def _answer(
    case: Case,
    trip: Trip,
    telling: tuple[tuple[Measured, ...], tuple[Measured, ...]],
    too_mild: str,
    most: int,
) -> Document:
    """The same with so many lines on answers to the next reading; what speaks for and against what
    is named, and whether that is too mild, do not depend on the room."""
    diagnosis, job = case.diagnosis, case.job
    fan_first = fan_first_line(case)
    unlike = no_sync_line(case.board)
    done = job.closed is not None or unlike or fan_line(diagnosis, "")
    if trip.instead is not None:
        trip = replace(trip, steps=(trip.instead,))
    plan = () if done else trip.steps
    blocks: list[Block] = [
        Paragraph(line, "strong") for line in (failed_line(case), found_line(case)) if line
    ]
    if job.codes and (flags := flags_line(job)):
        blocks.append(Paragraph(flags))
    support, against = telling
    if diagnosis.ranked[0].probability < MIN_TELLING:  # nothing is named
        support = against = ()
    doubted = () if diagnosis.suspects else against  # the suspects are told with what to do
    behind = diagnosis.ranked[0].fault is not None and diagnosis.ranked[0].fault.reports
    if behind and diagnosis.suggestion is not None:  # only the flag speaks for these so far
        support = ()
    most_named = MOST_NAMED if most >= MOST_ANSWERS else FEW_NAMED  # little room: a short reason
    support = support and _reasons(support, against, case)[:most_named]
    # suspects are told with what contradicts them
    last = () if support or diagnosis.suspects else diagnosis.measured[-most_named:]
    for title, named in (
        ("Because:", support),
        ("Measured so far:", last),
        ("Does not fit it:", doubted),
    ):
        if named:
            why = because_lines(named, case)
            blocks += [Paragraph(title), BulletList(why)]
    more = (
        rest_line(case.dictionary, diagnosis),
        others_line(case, (*support, *last, *doubted)),
        unlike,
        fan_first,
        relay_line(case, plan),
        clamp_line(diagnosis, case.board),
        unkept_line(case),
        overload_line(diagnosis, case.board),
        too_mild,
        confirm_line(diagnosis),
        higher_supply_line(diagnosis.measured, case.circuit),
        suspects_line(diagnosis, case.circuit),
        *end_lines(case),
    )
    blocks += [Paragraph(line) for line in more if line]
    if plan:
        # a line above says why
        reason = (
            ""
            if fan_first or diagnosis.rest or trip.tracks
            else tells_most_text(diagnosis, plan[0], case.circuit)
        )
        live = (m.reading for m in diagnosis.measured[-1:] if not m.reading.function.row.dead)
        on_leads = {end for reading in live for end in (reading.red, reading.black)}
        blocks += next_blocks(trip, case.circuit, diagnosis.ranked, reason, most, on_leads)
    if line := levels_line(plan, case.board):
        blocks.append(Paragraph(line))
    if most >= MOST_ANSWERS and (line := contact_line(case, plan)):
        blocks.append(Paragraph(line))
    # where there is no room for all, a second assumption goes before an answer
    most_assumed = MOST_ASSUMED if most > MOST_ANSWERS else 1
    assumed = assumed_line(case.board, job.meter, diagnosis, most_assumed)
    known = fault_statistics_line(case.known) if most > 1 else ""
    said = (unread_line(case.board), assumed, known)
    told = any(line.startswith("CAUTION") for line in more)
    cautions = () if told else caution_lines(*(step.access for step in plan))
    blocks += [Paragraph(line) for line in (*said, *cautions) if line]
    return Document(
        title=plain(case.board.name), sections=(Section("", tuple(blocks), answer=True),)
    )


def failed_line(case: Case) -> str:
    """That the last repair did not do, and where to go on; empty where it did, or none was made."""
    job = case.job
    last = job.retests[-1] if job.retests else None
    if job.closed is not None or last is None or last.verdict is not Verdict.NOT_GOOD:
        return ""
    odd = "; ".join(
        f"{plain(each.reading)}: {plain(each.shown)}" for each in last.readings if each.differs
    )
    now = last.board or ("BOARD" if job.board_file is None else path_here(job.board_file))
    told = flags_option(job.flags)
    command = " ".join(("zcd diagnose", plain(now), *told, *[UNLESS_GONE] * len(told)))
    return (
        f"The last retest FAILED ({odd}). What is wrong now: {command}, with -r and each reading "
        "taken since. What follows goes by the readings before the repair."
    )


def _reasons(
    support: Sequence[Measured], against: Collection[Measured], case: Case
) -> tuple[Measured, ...]:
    """What speaks for an answer: what is not as on a good board, as anybody would point at that;
    where all is, what tells most."""
    every = [m for m in (*support, *case.diagnosis.measured) if m not in against]
    odd = tuple(dict.fromkeys(m for m in every if _is_odd(m, case)))
    return odd or tuple(support)


def _is_odd(measured: Measured, case: Case) -> bool:
    """Whether a reading is not as on a good board."""
    good = good_board(case.dictionary, measured.reading, [measured])
    low, high = (measured.value if end is None else end for end in (measured.low, measured.high))
    return measured.unstable or high < good.low or low > good.high


def _fan_share(diagnosis: Diagnosis) -> float:
    """Probability that the sync circuit is good and the fault is behind it."""
    return sum(r.probability for r in diagnosis.ranked if r.fault and r.fault.kind in FAN_KINDS)


def fan_first_line(case: Case) -> str:
    """Where to look before anything is measured: of a board that reports its fan alone."""
    share = _fan_share(case.diagnosis)
    if {*case.job.flags} != {FAN} or case.diagnosis.suggestion is None or share < HALF:
        return ""
    if fan_line(case.diagnosis, ""):
        return ""  # which says more
    file = "BOARD" if case.job.board_file is None else path_here(case.job.board_file)
    return (
        f"The fan flag alone speaks for the fan side ({probability_text(share)}): first see "
        f"whether the fan turns (zcd story {file} --flags fan). What follows makes sure of the "
        "sync circuit."
    )


def others_line(case: Case, told: Collection[Measured]) -> str:
    """That readings which are not told count too; empty where all are."""
    others = [m for m in case.diagnosis.measured if m not in told]
    if not told or not others:
        return ""
    if any(_is_odd(m, case) for m in others):
        return f"Counted too: {count_text(len(others), 'other reading')}."
    named = [typed_text(m, case.circuit) for m in others[:MOST_NAMED]]
    more = len(others) - len(named)
    return f"As on a good board: {'; '.join(named)}{f' and {more} more' * bool(more)}."


def tells_most_text(diagnosis: Diagnosis, step: Suggestion, circuit: Circuit) -> str:
    """Why the next reading is of no part that is named; empty where it is, or none is named."""
    reading, first = step.reading, diagnosis.ranked[0]
    named = [r.fault for r in diagnosis.ranked if r.probability > 0.5 * first.probability]
    if step.access is AccessLevel.MAINS:
        return "of what is left it tells most"
    quick = reading.function.row.dead and not reading.lifted
    if step.again is not None or first.probability < MIN_TELLING or not quick:
        return ""
    parts = parts_between(circuit, reading.red, reading.black)
    read = {ref.partition(".")[0] for ref in (*parts, reading.lifted)}
    is_named = any(fault is None or fault.part.partition(" ")[0] in read for fault in named)
    return "" if is_named else "quick, and it tells much"


def proved_line(dictionary: FaultDictionary, diagnosis: Diagnosis) -> str:
    """That resistors which read high in the circuit are bad, and what may be beside them; empty
    where none does, where they are all that is wrong, and where a reading is in doubt."""
    circuit = dictionary.circuit
    first = next(standings(diagnosis.ranked))
    alone = _one_is_probable(diagnosis.ranked) and not first.needs_second
    if diagnosis.stopped not in ("", "nothing left") or diagnosis.suspects or alone:
        return ""
    high: dict[str, set[str]] = {}
    for m in diagnosis.measured:
        if name := _reads_high(m, dictionary, diagnosis.measured):
            row = (circuit, m.reading.red, m.reading.black)
            lit = m.reading.function.row.method is Method.JUNCTION
            high[name] = {*parts_between(*row, forward=lit)}
    # a row of which one is named reads high by that one
    names = [n for n, row in high.items() if not any(high[o] < row for o in high)]
    refs = set().union(*high.values())
    if not names:
        return ""
    bad_by = "is bad: it reads" if len(names) == 1 else "are bad: they read"
    if len(names) == 1 and " or " in names[0]:
        bad_by = "is bad: together they read"
    bad = f"{listed(names)} {bad_by} high. Parts in parallel can only make a reading lower."
    bad = f"{bad[:1].upper()}{bad[1:]}"
    if diagnosis.suggestion is None:
        return f"{bad} Replace {'it' if len(names) == 1 else 'them'}. {ALL_OF_IT_LATER}"
    beside = "" if diagnosis.rest else _beside(diagnosis.ranked, refs)
    return f"{bad} Most likely beside it: {beside}." if beside else bad


def rest_line(dictionary: FaultDictionary, diagnosis: Diagnosis) -> str:
    """What a row of resistors leaves for those of it that were not read; empty where it adds up."""
    rest, circuit = diagnosis.rest, dictionary.circuit
    if rest is None:
        return ""
    parts = [parts_between(circuit, m.reading.red, m.reading.black)[0] for m in rest.read]
    each = zip(parts, rest.read, strict=True)
    read = listed([f"{ref} ({quantity_text(m.value, 'Ω')})" for ref, m in each])
    ohm, good = (quantity_text(value, "Ω") for value in (rest.ohm, rest.good_ohm))
    bad = f"{rest.refs[0]} is" if len(rest.refs) == 1 else "one of these is"
    too = " too" * any(reads_over(dictionary, m) for m in rest.read)
    return (
        f"{over_text(rest.whole.reading, circuit)[0]} less {read} leaves at least {ohm} for "
        f"{listed([*rest.refs])} (good board {good} at most): {bad} bad{too}."
    )


ALL_OF_IT_LATER = "Then measure again: that shows whether it was all."


def _beside(ranked: Sequence[Ranked], refs: Collection[str]) -> str:
    """The likeliest faults of other parts, whatever is wrong with these."""
    shares: dict[str, float] = {}
    for r in ranked:
        for repair, key in repairs_of(r):
            if repair not in refs and r.fault and not r.fault.states and not r.fault.joint:
                shares[key] = shares.get(key, 0.0) + r.probability
    likely = sorted((key for key in shares if shares[key] >= MIN_TELLING), key=lambda k: -shares[k])
    told = ((fault_words(key), probability_text(shares[key])) for key in likely[:MOST_NAMED])
    return ", ".join(f"{key} ({share})" for key, share in told)


def _reads_high(measured: Measured, dictionary: FaultDictionary, others: Sequence[Measured]) -> str:
    """The resistor, or one of a row, that a reading in the circuit shows too high; empty for any
    other reading."""
    reading, circuit = measured.reading, dictionary.circuit
    if reading.function.row.method is Method.JUNCTION:
        return _reads_open(measured, dictionary)
    if reading.function is not Function.OHM or reading.lifted or measured.unstable:
        return ""
    refs = row_of(circuit, reading)
    if not refs or not reads_over(dictionary, measured):
        return ""
    ohms = (m for m in others if m.reading.function is Function.OHM)
    fine = {row_of(circuit, m.reading) for m in ohms if not reads_over(dictionary, m)}
    left = [ref for ref in refs if (ref,) not in fine]
    named = left or [*refs]
    row = listed(named, "or") if len(named) < 3 else f"one of {over_text(reading, circuit)[0]}"
    if len(refs) == 1 or measured.value < OPEN_OHM[0]:  # an open joint lets less through
        return row
    if not left:
        return f"a joint between {listed([*refs])}"
    return f"{row}, or a joint {'beside it' if len(left) == 1 else 'between them'},"


def _reads_open(measured: Measured, dictionary: FaultDictionary) -> str:
    """The same of a silicon diode that shows OL forwards: what is parallel to it cannot do that."""
    reading, circuit = measured.reading, dictionary.circuit
    refs = parts_between(circuit, reading.red, reading.black, forward=True)
    silicon = good_board(dictionary, reading).high < MOST_SILICON_V
    if len(refs) != 1 or reading.lifted or measured.value < OVERLOAD or not silicon:
        return ""
    return refs[0] if isinstance(circuit[refs[0]], Junction) else ""


def clamp_line(diagnosis: Diagnosis, board: Board) -> str:
    """Which diode it is that the file has as the clamp, where it is named."""
    parts = {r.fault.part for r in diagnosis.indistinguishable if r.fault}
    if board.clamp is None or board.clamp.ref not in parts:
        return ""
    return f"{plain(board.clamp.ref)}: the clamp, {plain(board.clamp.part)} across the LED."


def relay_line(case: Case, plan: Sequence[Suggestion]) -> str:
    """That readings under power count only with the load relay on; empty where that is read, comes
    next, or is said with the next reading."""
    powered = [m for m in case.measured if with_relay_on(m.reading, case.circuit)]
    # ohms of the coil do not show whether it was fed
    next_one = plan[0].reading if plan else None
    comes_next = (
        next_one is not None
        and not next_one.function.row.dead
        and "coil-" in (next_one.red, next_one.black)
    )
    said = plan and relay_state(plan[0].reading, case.circuit)  # with how it is brought on
    if not powered or comes_next or said or case.diagnosis.stopped == "sure":
        return ""
    coil = [m for m in powered if "coil-" in (m.reading.red, m.reading.black)]
    if any(m.value < good_board(case.dictionary, m.reading).low for m in coil):
        return (
            "The coil has its volts only while the controller calls for the load: was a program "
            "running, door or lid shut?"
        )
    if coil:
        return ""
    return (
        "Powered readings count only if the load relay was on: it clicks, its coil has its volts."
    )


def with_tracks_first(trip: Trip, circuit: Circuit) -> tuple[Suggestion, str]:
    """The next reading, what following tracks unplugged finds before it in none of its answers;
    and how to follow those, empty where there are none."""
    step = trip.steps[0]
    if not trip.tracks:
        return step, ""
    keys = {fault.key for fault in trip.tracks}
    answers = (
        replace(answer, keys=tuple(key for key in answer.keys if key not in keys))
        for answer in step.answers
    )
    then = "nothing to enter, go on"
    if trip.instead is not None and trip.instead is not step:
        then = f'before you go live, type "{typed_place(trip.instead.reading, circuit)} ..."'
    first = (
        f"First, unplugged, discharged and proved dead: {_along(trip.tracks)}. One that reads over "
        "1 Ω more than your leads alone is bad: mend it, then zcd retest. A fuse, NTC or choke in "
        f"it: read that by itself, never bridge it. All near 0: {then}."
    )
    return replace(step, answers=tuple(answer for answer in answers if answer.keys)), first


def _along(tracks: Sequence[Fault]) -> str:
    """The test of tracks that may be open."""
    return f"ohms along the track{'s' * (len(tracks) > 1)} {'; '.join(map(_track, tracks))}"


def _track(fault: Fault) -> str:
    """From where to where a track leads; of an optocoupler, from which of its leads."""
    joint = fault.joint
    assert joint is not None  # of which the track is
    leds = {ref.partition(".")[0] for ref, _ in joint.over if ".led" in ref}
    lead = "led+" if joint.node == "led+" else "led-"
    ends = fault.key.removesuffix(" joint open").split("/")
    return " to ".join(f"{lead} of {end}" if end in leds else end for end in ends)


def contact_line(case: Case, plan: Sequence[Suggestion]) -> str:
    """How to read a load contact that leads and that no reading of the plan is of: it closes only
    while its coil is fed; else empty."""
    first, relay = case.ranked[0].fault, case.board.relay
    if relay is None or first is None or first.kind != "contact" or not plan:
        return ""
    if any("feed" in (step.reading.red, step.reading.black) for step in plan):
        return ""
    volts = quantity_text(relay.coil_supply_v, "V")
    return (
        f"To test {first.part}: board unplugged and discharged, {volts} from a bench supply on "
        f"its coil, plus where the diode across it has its ring; ohms across the contact. Over "
        f"1 Ω: replace {first.repair}."
    )


def fan_line(diagnosis: Diagnosis, board_file: str) -> str:
    """Where to go on when the sync circuit is good and the fan does not turn; else empty."""
    step = diagnosis.suggestion
    asks_load = step is not None and is_behind_contact(step.reading)
    if _fan_share(diagnosis) < PROBABLY or asks_load:
        return ""
    good = "Sync is good." if diagnosis.measured else "No sync flag, so sync works."
    return (
        f"{good} Now the fan: unplug it, discharge its run capacitor and measure its "
        "windings (zcd windings -h); if they are good, the fan drive (zcd substitute "
        f"{board_file} --for drive)."
    )


def found_line(case: Case) -> str:
    """What it was and what was done, of a closed job; else what the readings say."""
    job = case.job
    if job.closed is None:
        return proved_line(case.dictionary, case.diagnosis) or verdict_line(case.diagnosis)
    done = f" Done: {done_text(job)}." if job.repair else ""
    return f"Found: {plain(fault_words(job.found))}.{done} Closed on {job.closed.isoformat()}."


def done_text(job: Job) -> str:
    """What was done, and which parts that are named there the last retest neither was told of nor
    read; empty where nothing was written."""
    text = plain(job.repair)
    if not job.retests:
        return text
    last = job.retests[-1]
    retested = " ".join((*last.replaced, *(each.reading for each in last.readings)))
    done, read = (set(re.findall(r"[\w-]+", words)) for words in (text, retested))
    left = [ref for ref in replaceable_refs(job.board) if ref in done - read]
    if not left:
        return text
    has = "were" if len(left) > 1 else "was"
    return f"{text} ({listed(left)} {has} neither entered as replaced nor measured at the retest)"


def recorded_line(case: Case) -> str:
    """The same for a record, which tells nobody what to do."""
    if case.job.closed is not None:
        return found_line(case)
    return f"{unconfirmed_name(case.diagnosis)}: {unconfirmed_text(case.diagnosis)}"


def unconfirmed_name(diagnosis: Diagnosis) -> str:
    """What to call it."""
    return "Found (not confirmed)" if diagnosis.stopped == "sure" else "Found so far"


def unconfirmed_text(diagnosis: Diagnosis) -> str:
    """What the readings of an open job say, as a finding."""
    first = diagnosis.indistinguishable[0]
    if diagnosis.stopped != "sure" or len(diagnosis.indistinguishable) > 1:
        return verdict_line(diagnosis)
    return f"{fault_name(first)} ({probability_text(diagnosis.named_ratio)} sure)."


def unkept_line(case: Case) -> str:
    """That readings count in this answer only; empty where a job file has all of them."""
    if case.job.file is None and not case.measured and case.diagnosis.suggestion is not None:
        return "To be asked for readings one by one, and to keep them: add --ask."
    if not case.unkept:
        return ""
    if case.job.file is None:
        return "Not saved: add --ask to keep these readings in a job file, for the job sheet."
    name, count = file_name(case.job.file), len(case.unkept)
    read = because_lines(case.unkept, case)[0] if count == 1 else f"the {count} readings given here"
    return f"Used, but not kept in {name} (add --ask to keep): {read}."


def end_lines(case: Case) -> tuple[str, ...]:
    """What is left to do once it is settled, one order a line."""
    job, diagnosis = case.job, case.diagnosis
    if job.closed is not None:
        return ()
    if job.board_file is None:
        return (hidden_line(diagnosis, case.circuit), fan_line(diagnosis, "BOARD"))
    job_file = None if job.file is None else path_here(job.file)
    return work_lines(diagnosis, case.board, case.circuit, path_here(job.board_file), job_file)


def work_lines(
    diagnosis: Diagnosis, board: Board, circuit: Circuit, board_file: str, job_file: str | None
) -> tuple[str, ...]:
    """The work that is left once a fault is found, one order a line; empty while there is none."""
    if line := fan_line(diagnosis, board_file):
        return (line,)
    first = diagnosis.indistinguishable[0].fault
    alike = [r.fault for r in diagnosis.indistinguishable if r.fault]
    loose = all(fault.mode == LOOSE_MODE for fault in alike)  # reflowed all of them in one go
    one = (len(alike) == 1 or loose) and diagnosis.named_ratio >= PROBABLY
    settled = diagnosis.stopped == "sure" or (diagnosis.stopped == "nothing left" and one)
    if not settled or first is None or first.key == HEALTHY.key:
        return ()
    part = first.repair.split()[0]
    measure = f"zcd retest {job_file or board_file}"
    another = "zcd retest repaired.toml" + (f" --job {job_file}" if job_file else "")
    orders = []
    if part in {unknown.ref for unknown in board.unknowns}:
        orders.append(f"The value of {part} is a guess: {READ_AGAIN}.")
    known, singles = replaceable_refs(board), {r.key: r.fault for r in diagnosis.ranked if r.fault}
    each_one = [singles[key] for key in first.members if key in singles] or [first]
    bad = [one.repair.split()[0] for one in each_one if one.mode not in ("reversed", LOOSE_MODE)]
    wanted = (*bad, *first.neighbours) if bad and {*bad} <= {*known} else ()
    parts = [ref for ref in wanted if ref in known]
    if line := unread_line_of(each_one[0], diagnosis.measured, circuit):
        orders.append(line)
    if parts:
        each = " ".join(f"--for {ref}" for ref in parts)
        of_old = ISOLATES if part in coupler_refs(board) else ""
        find = f"Find new {listed(parts)}" if len(parts) > 1 else f"Find a new {part}"
        orders.append(f"{find}{of_old}: zcd substitute {board_file} {each}")
    several = len(together_names(diagnosis.indistinguishable)) > 1
    mends = dict.fromkeys(mend_text(one, parts) for one in each_one)
    mend = _of_several(diagnosis) if several else ". ".join(mends)
    if first.mode == "reversed":
        mend = f"Make sure that red and black were not swapped, then turn {part} round"
        if board.clamp is not None and part == board.clamp.ref:
            mend += ". The LED had reverse volts meanwhile: test it (diode test, both ways)"
    if part in coupler_refs(board) and first.is_replaced and first.mode != "reversed":
        ways = ", both ways round" if board.two_leds else ""
        mend += f". {ACROSS_COUPLER.format(ways=ways)}"
    read = first_of_retest(each_one[0], diagnosis.measured, board, circuit)
    dead = read is None or read.function.row.dead
    state = "unplugged first" if dead else "leads on first, then plugged in"
    what = "" if read is None else f' -r "{typed_place(read, circuit)} ..."'
    where = "" if read is None else points_line([read], circuit, left=("logic0", "logic+"))
    where = f"{where} " if where else ""
    renewed = "".join(f" --replaced {ref}" for ref in parts) if job_file else ""
    orders += [
        f"{mend}. {hidden_line(diagnosis, circuit)}".strip(),
        f"Measure again, {state}, and enter what the meter shows; the answer says what else to "
        f"measure: {measure}{renewed}{what}\n{where}(Another value, type or grade fitted: zcd new "
        f"--like {board_file} repaired.toml, write it in, then {another})",
    ]
    if job_file is not None:
        found = "..." if several else fault_words(first.key)
        orders.append(f'Close the job: zcd close {job_file} --found "{found}"')
    cautions = () if dead else caution_lines(AccessLevel.DEAD, AccessLevel.ISOLATED)
    return (*(f"{number}. {order}" for number, order in enumerate(orders, 1)), *cautions)


def unread_line_of(fault: Fault, measured: Sequence[Measured], circuit: Circuit) -> str:
    """How to read a part that is named by what was read elsewhere; empty where it was read."""
    dead = (m.reading for m in measured if m.reading.function.row.dead)
    read = {ref for reading in dead for ref in parts_read(circuit, reading)}
    if fault.kind not in LIFTABLE or not fault.is_replaced or fault.part in read:
        return ""
    bridge, is_leg = diode_of_bridge(fault.part)
    if is_leg:
        return (
            f"Unplugged, diode test of {bridge}, red first, from its - to each ~ pin, from each ~ "
            "pin to its +: the odd one is bad. All alike: enter them with -r."
        )
    return f"Before you replace {fault.part}, lift one end and measure it, unplugged."


def _of_several(diagnosis: Diagnosis) -> str:
    """The work where one of several was named: loose joints are all reflowed."""
    faults = [r.fault for r in diagnosis.indistinguishable if r.fault]
    if all(fault.joint for fault in faults):
        return MENDS["joint"]
    if any(fault.mode != LOOSE_MODE for fault in faults):
        return "Mend what it was"
    return f"Reflow the joints of {listed(list(dict.fromkeys(fault.part for fault in faults)))}"


def mend_text(fault: Fault, found: Collection[str]) -> str:
    """The work itself, as an order; new parts may have been `found` the step before."""
    if fault.kind == "contact" and fault.mode != "welded":
        relay = fault.part.partition(" ")[0]
        if fault.mode == LOOSE_MODE:
            return f"Reflow the pins of {relay}; if it still opens, fit a new {relay}"
        return (
            "First see, unplugged, that line reaches the contact: ohms near 0, else a fuse or "
            f"track is open. Then fit a new {relay}"
        )
    if fault.is_replaced:
        fit = "Fit them" if len(found) > 1 else "Fit it"
        return fit if found else f"Fit a new {fault.repair}"
    if fault.is_leak:
        return "Clean the board there"
    if fault.mode == LOOSE_MODE:
        return f"Reflow the joints of {fault.part}"
    return MENDS.get(fault.kind, "Put that right")


MENDS = {
    "joint": "Reflow both solder joints; if the track is cracked, bridge it with wire",
    "driver": "Repair what drives the relay's coil",
    "supply": "Repair that supply",
    "mains": "Find out why the mains is wrong",
    "suppressor": "Fit a new suppressor",
    "pin": "Clean there, then lift the pin: if the board is good, the controller is bad",
}
"""The work on what is no part of the board file, by kind."""


def prompt_document(
    dictionary: FaultDictionary,
    diagnosis: Diagnosis,
    trip: Trip,
    warned: Collection[AccessLevel | None] = (),
    flags: Collection[str] = (),
) -> Document:
    """One step at the prompt: what the last answer changed, then the question, last of all.

    Parameters
    ----------
    dictionary : FaultDictionary
    diagnosis : Diagnosis
    trip : Trip
        The question first.
    warned : collection of AccessLevel
        Sides whose cautions have been shown already.
    flags : collection of str
        What the controller reports.
    """
    circuit, plan = dictionary.circuit, trip.steps
    if diagnosis.suggestion is None:
        line = verdict_line(diagnosis)
    elif diagnosis.measured or flags:
        line = proved_line(dictionary, diagnosis) or likeliest_line(diagnosis)
    else:
        line = "Nothing measured yet."
    lines = [
        line,
        confirm_line(diagnosis),
        higher_supply_line(diagnosis.measured, circuit),
        suspects_line(diagnosis, circuit),
        rest_line(dictionary, diagnosis),
    ]
    side = most_dangerous(step.access for step in plan)
    if side not in warned:
        lines += caution_lines(side)
    if plan:
        lines.append(levels_line(plan, dictionary.board))
    blocks: list[Block] = [Paragraph(text) for text in lines if text]
    if plan:
        blocks += next_blocks(trip, circuit, diagnosis.ranked)
    return Document(title="", sections=(Section("", tuple(blocks), answer=True),))


def answers_to(
    step: Suggestion, circuit: Circuit, ranked: Sequence[Ranked], most: int | None = None
) -> list[Meaning]:
    """What each answer to the next reading would mean, in the words of the headline above it; where
    there are more than `most`, those that one word covers together."""
    named = {key for group in _likely_groups(ranked) for each in group for key in each.keys}
    row = row_read(step, circuit)
    return meanings_of(step, row=row, headline=named, most=most)


def next_blocks(
    trip: Trip,
    circuit: Circuit,
    ranked: Sequence[Ranked],
    why: str = "",
    most: int | None = None,
    on_leads: Collection[str] = (),
) -> list[Block]:
    """What to measure next and `why`, what some answers would mean, and what comes after it; where
    it is no prompt, `most` lines for that, the last on how any answer is typed. `on_leads`: where
    the last reading left them, under power."""
    first, before = with_tracks_first(trip, circuit)
    state = _lower(state_line(first.reading, circuit))
    if on_leads == {first.reading.red, first.reading.black}:
        state = "before you unplug, leads left on"
    when = "To settle it" if trip.settles else "Next"
    reason = f" ({why})" if why else ""
    step = f"{when}{reason}, {state}: {step_text(first, circuit, with_state=False)}."
    blocks: list[Block] = [*[Paragraph(before)] * bool(before), Paragraph(step, "strong")]
    # a third reading that speaks for it is left out before a second answer
    shown = MOST_ANSWERS if most is None else max(most - 1, min(most, 2))
    if meanings := answers_to(first, circuit, ranked, shown):
        told = [
            *map(_whole, meanings[:shown]),
            *[other_text(first, circuit, alone=len(meanings) == 1)] * (most is not None),
        ]
        blocks.append(BulletList(tuple(told)))
    if then := then_line(trip.steps, circuit):
        blocks.append(Paragraph(then))
    if relay_state(first.reading, circuit):
        blocks.append(Paragraph(RELAY_ON_HOW))
    if line := counts_high_line(first.reading, first.good):
        blocks.append(Paragraph(line))
    left = () if most is None or most >= MOST_ANSWERS else ("logic0", "logic+")
    if line := points_line((step.reading for step in trip.steps), circuit, left):
        blocks.append(Paragraph(line))
    return blocks


def levels_line(plan: Sequence[Suggestion], board: Board) -> str:
    """From which level to which a low time is read; empty where none is."""
    if not plan or plan[0].reading.function is not Function.LOW_TIME:
        return ""
    low, high = (
        quantity_text(v, "V")
        for v in (board.controller.low_threshold_v, board.controller.high_threshold_v)
    )
    return (
        f"Low time: from where the pin falls below {low} until it rises above {high}; 0 if it "
        "never falls so low."
    )


def other_text(step: Suggestion, circuit: Circuit, *, alone: bool) -> str:
    """How any answer is given; a reading that is taken again goes beside the first. Where all that
    is likely shows as much, how much it is tells them apart."""
    again = step.again is not None
    shows = "the figure itself tells more" if alone else "whatever it shows, listed or not"
    shows = "whatever it shows, the same or not" if again else shows
    more = ", beside the first" if again else ""
    add = f'{shows}: add -r "{typed_place(step.reading, circuit)} ..."'
    to_command = f"{add} to the command{more}"
    return to_command if more or len(to_command) <= ANSWER_WIDTH else add


def _whole(meaning: Meaning) -> str:
    """An answer with as many of its faults as a line holds, and how many more; with all of them
    where one takes two lines, and they do too."""
    shortest, whole = (meaning.text(number) for number in (1, len(meaning.faults)))
    if len(shortest) > ANSWER_WIDTH and len(whole) <= 2 * ANSWER_WIDTH:
        return whole
    texts = map(meaning.text, range(len(meaning.faults), 1, -1))
    return next((text for text in texts if len(text) <= ANSWER_WIDTH), shortest)


def then_line(plan: Sequence[Suggestion], circuit: Circuit) -> str:
    """What comes after the next reading of a trip; empty where nothing is planned."""
    if not plan:
        return ""
    first = plan[0].reading
    # a part that is lifted is not read in the circuit after that
    here = replace(first, lifted="")
    names = (reading_text(s.reading, circuit) for s in plan if s.reading not in (first, here))
    later = dict.fromkeys(names)
    return f"Then, unless settled: {'; '.join(later)}." if later else ""


def verdict_line(diagnosis: Diagnosis) -> str:
    """The part to change first and how sure that is; or what is most likely so far."""
    alike, ranked = diagnosis.indistinguishable, diagnosis.ranked
    if diagnosis.stopped == "danger":
        return sentence(diagnosis.conclusion)
    if diagnosis.stopped == "contradiction":
        likely = f"{fault_name(ranked[0])} ({probability_text(ranked[0].probability)})"
        return f"Not settled: readings contradict each other. Most likely: {likely}."
    names = together_names(alike)
    several = len(names) > 1 or (len(alike) > 1 and names == (GOOD_CIRCUIT,))
    if several and diagnosis.suggestion is None:
        return _together_text(diagnosis)
    if diagnosis.stopped == "sure":
        first = alike[0]
        sure = probability_text(diagnosis.named_ratio)
        line = f"{repair_text(first, ranked).removesuffix('.')} ({sure} sure)."
        other = _second_text(first, ranked[0]) or SECOND * diagnosis.second
        return f"{line}{other}{neighbours_text(first)}"
    return _unsettled_text(diagnosis)


def _unsettled_text(diagnosis: Diagnosis) -> str:
    """What is most likely, while it asks or where no other reading would pay."""
    ranked, asks = diagnosis.ranked, diagnosis.suggestion is not None
    end = "" if asks else f" {NO_MORE}"
    if not _one_is_probable(ranked):
        if diagnosis.suspects and asks:
            return "Not settled: two readings contradict each other."
        return f"Not settled. {standing_text(_named_shares(ranked))}{end}"
    if asks or ranked[0].fault is None or present(ranked) < PROBABLY:
        return f"{_probable_text(ranked, diagnosis.rest)}{end}"
    likely = f"{fault_name(ranked[0])} ({probability_text(present(ranked))})"
    return f"Probably {likely}.{end} {repair_text(ranked[0], ranked)}"


def _one_is_probable(ranked: Sequence[Ranked]) -> bool:
    """Whether one part, or one pair of faults, is likelier by far than all others."""
    first = next(standings(ranked))
    pair = ranked[0].fault is not None and present(ranked) >= PROBABLY
    return pair or (first.repair != UNMODELLED and first.probability >= PROBABLY)


SECOND = " There may be a second fault: measure again after the repair."
NO_MORE = "No other reading is worth its effort."
IF_GOOD = "If the circuit is good: look at controller, supply, connectors, drive and fan."


def _together_text(diagnosis: Diagnosis) -> str:
    """Answers that are named together; a good sync circuit may be all of them."""
    alike = diagnosis.indistinguishable
    share = probability_text(diagnosis.named_ratio)
    names = ", ".join(map(fault_words, together_names(alike)))
    if names == GOOD_CIRCUIT:
        behind = "; or ".join(
            piece.removeprefix("the sync circuit is good: ").removeprefix(
                "the sync circuit reads as a good one: "
            )
            for piece in diagnosis.conclusion.split("; or ")
        )
        return f"Probably {names} ({share}): {behind}."
    pieces = [r.fault.part for r in alike if r.fault]
    parts = {piece.partition(" ")[0] for piece in pieces}
    if len(parts) == 1 and any(r.fault.mode == LOOSE_MODE for r in alike if r.fault):
        part = pieces[0] if len(set(pieces)) == 1 else parts.pop()
        modes = " or ".join(dict.fromkeys(fault_words(r.fault.mode) for r in alike if r.fault))
        return f"Probably {part} or its joints ({share}): {modes}. {NO_MORE}"
    swap = f" {line}" if (line := swap_line(alike)) else ""
    if GOOD_CIRCUIT in together_names(alike):
        told = map(fault_words, together_names(alike))
        others = " or ".join(name for name in told if name != GOOD_CIRCUIT)
        return (
            f"Either the sync circuit is good, or {others} ({share} together). {NOT_APART}.{swap} "
            f"{IF_GOOD}"
        )
    return f"One of these ({share}): {names}. {NOT_APART}.{swap}"


def swap_line(alike: Sequence[Ranked]) -> str:
    """How those named together are told apart without a reading that is left; empty where there is
    no part to try."""
    tracks = [r.fault for r in alike if r.fault and r.fault.joint]
    if tracks and len(alike) > 1:
        return f"To tell: unplugged, {_along(tracks)}; over 1 Ω: it is open."
    told = [r.fault for r in alike if r.fault and r.fault.kind in REPLACED]
    # only what has less resistance than it should reads otherwise once something is lifted
    faults = [fault for fault in told if fault.is_leak or fault.across]
    if not faults or len(together_names(alike)) < 2:
        return ""
    fault = next((each for each in faults if not each.is_leak), faults[0])
    part = fault.part.partition(" ")[0]
    how = f"clean there, then lift a leg of {part}," if fault.is_leak else f"lift {part}"
    return f"To tell: {how} and read again; if it shows the same, it is not {part}."


USUAL_SUPPLIES_V = (3.3, 5.0, 12.0, 15.0, 24.0)
SUPPLY_ERROR = 0.03
"""How far a regulator's output and a meter are off together: common practice, no source."""
AT_SUPPLY = {"logic+": ("pin",), "coil+": ("coil-",)}
"""Nodes that go no higher than a supply, and come near it."""
SUPPLY_ENDS = {
    "supply low": [{"logic+", "logic0"}],
    "coil supply low": [{"coil+", "logic0"}, {"coil+", "coil-"}],
}


TOO_MILD = (
    "By calculation this alone does not lose sync. Either the controller is stricter than assumed, "
    "or there is another fault: after the repair see that the sync error stays away."
)
SELDOM_LOST = 0.1
AT_RAIL = 0.02
"""Share of the supply within which a pin stands still: common practice, no source."""


def too_mild_line(case: Case) -> str:
    """That what is named does not explain the sync flag; empty where it does."""
    diagnosis, fault = case.diagnosis, case.diagnosis.indistinguishable[0].fault
    sure = diagnosis.stopped == "sure" and case.job.closed is None
    if SYNC not in case.job.flags or not sure or fault is None or fault.reports or fault is HEALTHY:
        return ""
    still = any(_stands_still(m, case) for m in diagnosis.measured)
    return (
        TOO_MILD if not still and sync_lost_share(case.dictionary, diagnosis) < SELDOM_LOST else ""
    )


def _stands_still(measured: Measured, case: Case) -> bool:
    """Whether the pin was read at ground or at its supply: whatever the model makes of it, there
    were no pulses."""
    reading, supply_v = measured.reading, case.board.output.supply_v
    level = reading.over_pin and reading.function is Function.DC and reading.power is Power.LIVE
    share = measured.value / supply_v if level and measured.exact else 0.5
    return not AT_RAIL < share < 1.0 - AT_RAIL


def overload_line(diagnosis: Diagnosis, board: Board) -> str:
    """That the part named is too small for its place, so that the same one would fail again."""
    fault = diagnosis.indistinguishable[0].fault
    if diagnosis.stopped != "sure" or fault is None:
        return ""
    over = [stress for stress in worst_stress(board) if stress.is_over]
    refs = [stress.resistor.ref for stress in over if not stress.resistor.size_assumed]
    if fault.part not in refs:
        return ""
    if chain := small_chain(board, refs, over):
        return f"{chain.cause}: the same would fail again. Fit {chain.enough}."
    return f"{fault.part} is too small for its place: the same would fail again. Fit a larger one."


def confirm_line(diagnosis: Diagnosis) -> str:
    """What to do before a part is replaced for one reading; empty where there are more."""
    step = diagnosis.suggestion
    decided = diagnosis.stopped == "sure" or (step is not None and step.again is not None)
    fault = diagnosis.indistinguishable[0].fault
    if decided and fault is not None and (volts := _usual_supply(fault, diagnosis.measured)):
        return (
            f"{volts} is a usual supply: is the supply in the board file right? Read it off the "
            "regulator before you look for a fault."
        )
    if not decided or fault is None:
        return ""
    only, *others = diagnosis.measured
    if others or only.repeated or only.reading.lifted:
        return ""
    one_piece = diode_of_bridge(fault.part)[1]
    can_lift = only.reading.function.row.dead and fault.kind in LIFTABLE and not one_piece
    # an open part reads open in circuit too: what is parallel to it only reads lower
    can_lift = can_lift and only.value < OVERLOAD
    how = f"lift one end of {fault.part} and measure it" if can_lift else "take it"
    if fault.mode == "reversed":
        how = "crossed probes read the same; look that red is where it is meant, and take it"
    opened = fault.mode == "open" and fault.kind in LIFTABLE and not one_piece
    own = f", probes on {fault.part}'s own leads: a cracked joint reads open too" if opened else ""
    return f"This rests on one reading: {how} once more to be sure{own}."


def _usual_supply(fault: Fault, measured: Sequence[Measured]) -> str:
    """What a supply that seems too low reads, where others are meant to be as high; else empty."""
    read = _usual_supplies_read(measured, SUPPLY_ENDS.get(fault.key, []))
    return next((usual for _, usual in read), "")


def _usual_supplies_read(
    measured: Sequence[Measured], ends: Collection[set[str]]
) -> Iterator[tuple[Measured, str]]:
    """Volts between such ends that are those of a usual supply, with that supply."""
    for m in measured:
        if {m.reading.red, m.reading.black} not in ends or m.reading.function is not Function.DC:
            continue
        near = [v for v in USUAL_SUPPLIES_V if abs(m.value - v) <= SUPPLY_ERROR * v]
        if m.exact and near:
            yield m, quantity_text(near[0], "V")


def higher_supply_line(measured: Sequence[Measured], circuit: Circuit) -> str:
    """That a reading is a higher supply than the board file has; empty where none is."""
    for source in circuit.of(DcSource):
        ends = [{source.a, source.b}, *({end, source.b} for end in AT_SUPPLY.get(source.a, ()))]
        written = float(np.max(source.voltage_v))
        for m, usual in _usual_supplies_read(measured, ends):
            if m.value > (1.0 + 2.0 * SUPPLY_ERROR) * written:
                return (
                    f"{show_measured(m)} where the board file has a supply of "
                    f"{quantity_text(written, 'V')}: is it {usual}? Read it off the regulator and "
                    "put the board file right first."
                )
    return ""


def fault_name(ranked: Ranked) -> str:
    """A fault of the ranking, such as ``R2 open``; of a bridge in one piece what is replaced."""
    if ranked.fault is not None and (bridge := diode_of_bridge(ranked.fault.part))[1]:
        return f"a diode of {bridge[0]} bad"
    if ranked.fault is None:
        return "a fault that is not listed"
    if ranked.fault.kind == "fan":
        return "the fan itself or its tacho"
    return "a good board" if ranked.key == HEALTHY.key else fault_words(ranked.key)


def repair_text(first: Ranked, ranked: Sequence[Ranked]) -> str:
    """What to do about a fault; of a part to replace, how it may have failed."""
    fault = first.fault
    if fault is None or not fault.is_replaced or fault.mode == "reversed":
        return sentence(first.words)
    same = [
        r
        for r in ranked
        if (r.key == first.key or r.probability >= MIN_TELLING)
        and r.fault
        and not r.fault.members
        and (one_repair(first, r) or includes(r.fault, fault))
    ]
    turned = [r for r in same if r.fault and r.fault.mode == "reversed"]
    told = [r.key.removeprefix(fault.repair).strip() for r in same if r not in turned]
    modes, of_bridge = _joined(map(_without_leg, told)), diode_of_bridge(fault.part)[1]
    if of_bridge:
        modes[0] = f"a diode of it {modes[0]}"
    look = ["(if it was replaced before) fitted the wrong way round, see its dot"] * bool(turned)
    return f"Replace {fault.repair}: {' or '.join([*modes, *look])}."


TOO_MUCH = {
    ("drift", "wrong value x10"): "too high, drifted or a wrong value fitted",
    ("low", "wrong value x0.1"): "too low, or a wrong value fitted",
}
"""What a meter cannot part, in the words for both."""


def _joined(modes: Iterable[str]) -> list[str]:
    """How a part may have failed, each way once."""
    result = [*dict.fromkeys(modes)]
    for both, words in TOO_MUCH.items():
        if {*both} <= {*result}:
            result[min(map(result.index, both))] = words
            result = [mode for mode in result if mode not in both]
    return [fault_words(mode) for mode in result]


def _without_leg(words: str) -> str:
    """What is wrong with a diode of a bridge in one piece: not with which of the four."""
    return words.rpartition(" ")[2] if words.startswith(("-~", "~")) else words


def _second_text(first: Ranked, likeliest: Ranked) -> str:
    """The other of two faults, where a second one is likely beside the first; else empty."""
    members = () if likeliest.fault is None else likeliest.fault.members
    others = [key for key in members if key != first.key]
    if likeliest.probability < PROBABLY or not others or len(others) == len(members):
        return ""
    return f" Probably also {fault_words(others[0])} ({probability_text(likeliest.probability)})."


def neighbours_text(first: Ranked) -> str:
    """The resistors to replace together with one of a chain; empty for any other part."""
    others = () if first.fault is None else first.fault.neighbours
    return f" Replace {', '.join(others)} too (same type, same age)." if others else ""


def because_lines(measured: Sequence[Measured], case: Case) -> tuple[str, ...]:
    """Readings, each beside those of a good board."""
    return tuple(_because_text(m, case) for m in measured)


def _because_text(measured: Measured, case: Case) -> str:
    reading, circuit = measured.reading, case.circuit
    state = relay_state(reading, circuit)
    good = good_board(case.dictionary, reading)
    between = {*parts_between(circuit, reading.red, reading.black)}
    unread = any(each.ref in between for each in case.job.board.unknowns)
    shown = f"good board{state}{':' * bool(state)} {good_text(reading.function, good, unread)}"
    return f"{reading_text(reading, circuit)}: {show_measured(measured)} ({shown})"


def step_text(step: Suggestion, circuit: Circuit, *, with_state: bool = True) -> str:
    """A reading to take: function, probes, range; the state of the board unless that is said
    before it."""
    reading = step.reading
    between = parts_between(circuit, reading.red, reading.black)
    ohms = reading.function is Function.OHM
    row = ", in series" if ohms and len(between) > 1 else ""
    row = f"{row}," if row and step.again is not None else row
    again = "" if step.again is None else f" once more (it showed {show_measured(step.again)})"
    where = reading_text(reading, circuit, with_state=with_state)
    parts = (f"{where}{row}{again}", range_text(step))
    return "; ".join(part for part in parts if part)


def assumed_line(board: Board, meter: Meter, diagnosis: Diagnosis, most: int = MOST_ASSUMED) -> str:
    """What was assumed and the answer may hang on: so much of the board, and of the meter."""
    taken = [m.reading.function.row for m in diagnosis.measured]
    ended = [m.reading.function.row for m in diagnosis.measured if m.value == OVERLOAD]
    if diagnosis.suggestion is not None:
        ended.append(diagnosis.suggestion.reading.function.row)
        taken.append(ended[-1])
    parts = []
    if diagnosis.suggestion is not None and diagnosis.suggestion.reading.function.row.scope:
        parts.append('a scope is at hand (else set scope = "no": zcd help readings)')
    if not meter.diode_stated and any(row.method is Method.JUNCTION for row in ended):
        parts.append(
            "your meter's diode test goes up to 1.2 V or more (to be sure set diode_stop: zcd help "
            "readings)"
        )
    scope = any(row.method is Method.SCOPE for row in taken)
    known = {each.key: each.value for each in board.assumptions}
    keys = [key for key in FIRST_ASSUMED if key in known]
    told = [_assumed_text(board, key, known[key]) for key in keys]
    if scope and (levels := [f"{LEVELS[key]} {known[key]}" for key in LEVELS if key in known]):
        told.append(f"the pin is {', '.join(levels)}")
    parts += told[:most]
    return f"Assumed: {'; '.join(parts)}." if parts else ""


def _assumed_text(board: Board, key: str, value: str) -> str:
    """One assumption: what it means where its key does not say so, else key and value."""
    if key == "chain.rectifier_first" and board.rectifier is not None:
        before = [plain(part.ref) for part in board.chains[0]]
        come = "comes" if len(before) == 1 else "come"
        return f"{listed(before)} {come} before {plain(board.rectifier.ref)}"
    if key == "chain.return_resistors":
        return f"{value} on the neutral side"
    if key == "chain.topology":
        return f"the circuit is {value}"
    if key == "optocoupler.grade":
        unread = ", no grade read" if grade_unread(board) else ""
        return f"CTR {value.partition('(')[2].rstrip(')') or value}{unread}"
    return f"{key} {value}"


def _probable_text(ranked: Sequence[Ranked], rest: Rest | None) -> str:
    """A fault to which no other comes near, and what is left to do."""
    first = next(standings(ranked))
    pair = bool(ranked[0].fault and ranked[0].fault.members) and present(ranked) >= PROBABLY
    chance = present(ranked) if pair else first.probability
    name = fault_name(ranked[0]) if pair else _standing_name([first], ranked)
    if chance >= SURE:
        left = "" if rest is None else listed([*rest.refs], "or")
        first_do = f"measure {left} too before you replace it" if left else "confirm it first"
        return sentence(f"{name} ({probability_text(chance)}): {first_do}")
    second = "" if pair or not first.needs_second else f" {NOT_ALONE}"
    return f"Probably {name} ({probability_text(chance)}), not settled yet.{second}"


NOT_ALONE = "That alone does not explain it: expect a second fault."


def likeliest_line(diagnosis: Diagnosis) -> str:
    """The likeliest faults after an answer."""
    first = diagnosis.ranked[0]
    if first.fault is None and first.probability >= PROBABLY:
        chance = probability_text(first.probability)
        return f"No fault known here fits ({chance}): check the last readings."
    if _one_is_probable(diagnosis.ranked):
        return _probable_text(diagnosis.ranked, diagnosis.rest)
    return standing_text(_named_shares(diagnosis.ranked))


def _named_shares(ranked: Sequence[Ranked]) -> list[tuple[str, float]]:
    """Names and shares of what is likely, the likeliest first."""
    return [
        (_standing_name(group, ranked), sum(each.probability for each in group))
        for group in _likely_groups(ranked)
    ]


def _likely_groups(ranked: Sequence[Ranked]) -> list[list[Standing]]:
    """What is likely, the likeliest first; resistors that are as likely in the same way together,
    as no reading told one from the other yet."""
    alike: dict[tuple[str, ...], list[Standing]] = {}
    for each in takewhile(lambda one: one.probability >= LEAST_ALIKE, standings(ranked)):
        kinds = {r.fault.kind for r in each.rows if r.fault and not r.fault.members}
        how = tuple(key.partition(" ")[2] for key in each.keys) if kinds == {"resistor"} else ()
        same = alike.get(how, [])
        if how and same and each.probability > AS_LIKELY * same[0].probability:
            same.append(each)
        else:
            alike[(*how, each.repair) if how in alike else how or (each.repair,)] = [each]
    shares = [(group, sum(each.probability for each in group)) for group in alike.values()]
    shares.sort(key=lambda one: -one[1])
    return [group for group, share in shares if share >= MIN_NAMED]


def _standing_name(group: Sequence[Standing], ranked: Sequence[Ranked]) -> str:
    """What is wrong there, such as ``R2 open``; of a part bad in several ways only that it is."""
    keys = {key for each in group for key in each.keys}
    names = dict.fromkeys(fault_name(r) for r in ranked if r.key in keys)
    if len(group) == 1 and len(names) > 2:
        return f"{group[0].repair} bad"
    pieces = [_part_and_mode(name) for name in names]
    parts = sorted({part for part, _ in pieces}, key=in_order)
    modes = dict.fromkeys(mode for _, mode in pieces)
    if len(parts) * len(modes) == len(names):
        return f"{listed(parts, 'or')} {' or '.join(modes)}".strip()
    return " or ".join(names)


def _part_and_mode(name: str) -> tuple[str, str]:
    """A fault's name in two: what part, and what is wrong with it."""
    for mode in (*MISFITS.values(), LOW_OHMS):
        if name.endswith(f" {mode}"):
            return name.removesuffix(f" {mode}"), mode
    part, _, mode = name.rpartition(" ")
    return part, mode


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
