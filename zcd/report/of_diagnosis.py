"""What the readings say, as tables of words: bench card, ranked faults, next reading."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import inf
from operator import itemgetter

from zcd.circuit.elements import Circuit, DcSource, Junction, Phototransistor, Resistance, is_hidden
from zcd.circuit.points import PART_ENDINGS, diode_of_bridge, part_words
from zcd.diagnosis.expected_readings import ExpectedRange
from zcd.diagnosis.faults import HEALTHY
from zcd.diagnosis.flag_evidence import flag_text
from zcd.diagnosis.functions import Function, Method
from zcd.diagnosis.information import SURE
from zcd.diagnosis.job import Job
from zcd.diagnosis.meters import OVERLOAD
from zcd.diagnosis.rank import Diagnosis, Ranked, standings, together_names
from zcd.diagnosis.reading_syntax import show_measured, show_span, show_value
from zcd.diagnosis.reading_words import over_text, probes_text, reading_text
from zcd.diagnosis.readings import (
    AccessLevel,
    Measured,
    Power,
    Reading,
    parts_between,
    parts_over,
    parts_read,
)
from zcd.engine.network import REFERENCES, islands
from zcd.report.cautions import BENCH, DEAD, GENERAL, ISOLATED, LIFTED, LIVE, Caution
from zcd.report.of_diagnosis_text import amount_text, fault_words
from zcd.report.table import Quantity, Table
from zcd.report.text import percent_text, probability_text

MIN_SHOWN = 0.005
MAX_SHOWN = 8
PROBABLY = 0.75
"""From here on the likeliest fault is named alone: no other comes near it."""

ACCESS_TITLES = {
    AccessLevel.DEAD: "Dead tests: unplugged, discharged, proved dead",
    AccessLevel.BENCH: "Isolated side, board unplugged, its supply from a bench supply",
    AccessLevel.ISOLATED: "Isolated side, board under power",
    AccessLevel.MAINS: "Mains side, LIVE: only where the rest does not settle it",
    AccessLevel.LIFTED: "Dead, one end of the part lifted; last: lifting can tear pads",
}
STATES = {
    Power.DEAD: "Board unplugged and discharged",
    Power.BENCH: "Board unplugged, its logic supply from a bench supply",
    Power.OFF: "Board powered, load relay off",
    Power.LIVE: "Board powered",
}
RELAY_ON = ", a program started"
"""How the load relay is switched on: whether it then is, a reading at its coil is to show."""
RELAY_ON_HOW = (
    "A program started: use the service mode; or switch off and on, start a program and read "
    "before the error comes back. Listen for the load relay."
)
OR_NONE = "or 0 if the meter misses the short highs"
NOT_APART = "No reading worth its effort tells these apart"
CAUTIONS: dict[AccessLevel, tuple[Caution, ...]] = {
    AccessLevel.DEAD: DEAD,
    AccessLevel.BENCH: BENCH,
    AccessLevel.ISOLATED: ISOLATED,
    AccessLevel.MAINS: LIVE,
    AccessLevel.LIFTED: LIFTED,
}


def spread_text(function: Function, shown: ExpectedRange) -> str:
    """Least to most of what a reading shows, or one value where they look alike."""
    return spread_of(function, shown.low, shown.high)


def spread_of(function: Function, low: float, high: float) -> str:
    """Two ends of what a reading shows, or one value where they look alike."""
    if may_miss(function, low, high):
        most = show_value(function, high)
        often = f"{most} or 0"
        return often if function is Function.FREQUENCY else f"up to {most}, {OR_NONE}"
    return show_span(function, low, high)


def may_miss(function: Function, low: float, high: float) -> bool:
    """Whether a reading is 0 where it finds no pulse, and there may be one or not."""
    return low == 0.0 < high and function.row.pulses


def indistinguishable_line(diagnosis: Diagnosis) -> str:
    """Names what no reading worth its effort parts from the first; empty where there is nothing."""
    names = together_names(diagnosis.indistinguishable)
    if len(names) < 2 or diagnosis.suggestion is not None:
        return ""
    share = probability_text(sum(r.probability for r in diagnosis.indistinguishable))
    return f"{NOT_APART} ({share} together): {', '.join(map(fault_words, names))}."


def flags_line(job: Job) -> str:
    """What the controller reported, in the appliance's own codes; empty where none were read."""
    names = ", ".join(flag_text(flag, job.codes) for flag in job.flags)
    return f"Flags reported: {names}." if names else ""


def state_line(reading: Reading, circuit: Circuit) -> str:
    """State of the board for a reading."""
    return STATES[reading.power] + relay_state(reading, circuit)


def relay_state(reading: Reading, circuit: Circuit) -> str:
    """That the load relay has to be called for; the supply of its coil is there without it."""
    if not with_relay_on(reading, circuit) or {reading.red, reading.black} == {"coil+", "logic0"}:
        return ""
    return RELAY_ON


def with_relay_on(reading: Reading, circuit: Circuit) -> bool:
    """Whether what a good board shows holds only while the controller drives the load relay."""
    return reading.power is Power.LIVE and "K1.contact" in circuit


def suspects_line(diagnosis: Diagnosis, circuit: Circuit) -> str:
    """Readings that contradict another, beside it; empty where there are none."""
    if known := _contrary_lines(diagnosis, circuit):
        return " ".join(known[:MOST_SUSPECTS])
    step = diagnosis.suggestion
    pairs = list(zip(diagnosis.suspects, diagnosis.against, strict=True))
    # the one that is read again comes first
    pairs.sort(key=lambda pair: step is None or pair[0] != step.again)
    lines = []
    for suspect, other in pairs[:MOST_SUSPECTS]:
        name, shown = (f"{reading_text(m.reading, circuit)} ({show_measured(m)})"
                       for m in (suspect, other))  # fmt: skip
        twice = f" {SHOWN_TWICE} {MEANT}" if suspect.repeated else ""
        if suspect.repeated and suspect.reading.lifted:
            twice = f" {SHOWN_TWICE} {MEANT_LIFTED}"
        if step is not None and step.reading.lifted:
            twice = f" {_once_more(diagnosis, part_words(step.reading.lifted), circuit)}"
        elif step is not None and step.again is suspect:
            twice = " Take it again."
        lines.append(f"{name[:1].upper()}{name[1:]} contradicts {shown}.{twice}")
    return " ".join([*lines, *_unit_lines(diagnosis, circuit)])


def _unit_lines(diagnosis: Diagnosis, circuit: Circuit) -> list[str]:
    """What may have been read in another unit."""
    asked = [
        f"{reading_text(slip.measured.reading, circuit)}: {show_measured(slip.measured)}, "
        f"or {show_measured(slip.meant)}?"
        for slip in diagnosis.slips
    ]
    return [f"Check the unit: {' '.join(asked[:MOST_SUSPECTS])}"] if asked else []


def _contrary_lines(diagnosis: Diagnosis, circuit: Circuit) -> list[str]:
    """Pairs of readings that cannot both be right, whatever the fault; those of one place first."""
    lines, measured = [], diagnosis.measured
    for number, first in enumerate(measured):
        name = _short_place(first.reading, circuit)
        for other in measured[number + 1 :]:
            if other.reading == first.reading:
                shown = f"{show_measured(first)}, then {show_measured(other)}"
                step = diagnosis.suggestion
                again = step is not None and (step.reading.lifted or step.again is not None)
                end = f". {_once_more(diagnosis, name, circuit)}" if again else OR_JUMPS
                lines.append(f"{name} read {shown}{end}")
    for inner in measured:
        for outer in measured:
            if _open_inside(inner, outer, circuit):
                name, whole = (_short_place(m.reading, circuit) for m in (inner, outer))
                lines.append(
                    f"{name} reads {show_measured(inner)}, but {whole} reads "
                    f"{show_measured(outer)}: one of the two is wrong. "
                    f"{_once_more(diagnosis, name, circuit)}"
                )
    return [*lines, *_pulse_lines(measured, circuit)]


def _pulse_lines(measured: Sequence[Measured], circuit: Circuit) -> list[str]:
    """A reading without pulses at the pin beside one with them, in the same state of the board."""
    of_pulses = [m for m in measured if m.exact and m.reading.at_pin and _shows_pulses(m.reading)]
    return [
        f"{reading_text(none.reading, circuit)} reads {show_measured(none)}: no pulses; "
        f"{reading_text(some.reading, circuit)} reads {show_measured(some)}: pulses. One "
        "of the two is wrong, or a joint opens now and then. Measure both again."
        for none in of_pulses
        for some in of_pulses
        if none.value == 0.0 < some.value and none.reading.power is some.reading.power
    ]


def _shows_pulses(reading: Reading) -> bool:
    """Whether a reading is 0 where there are none."""
    counted = reading.function.row.method is Method.COUNTED
    return counted or reading.function is Function.LOW_TIME


def _open_inside(inner: Measured, outer: Measured, circuit: Circuit) -> bool:
    """Whether ohms over a part of a row show OL, and those over the whole row do not."""
    pair = [m.reading for m in (inner, outer)]
    if any(r.function is not Function.OHM or r.lifted for r in pair):
        return False
    part, whole = (set(parts_between(circuit, r.red, r.black)) for r in pair)
    is_open = inner.exact and inner.value == OVERLOAD
    return bool(part) and part < whole and is_open and outer.exact and outer.value < OVERLOAD


def _once_more(diagnosis: Diagnosis, name: str, circuit: Circuit) -> str:
    """How a doubtful reading is taken again: as it is asked next, where it is."""
    step = diagnosis.suggestion
    if step is not None and step.reading.lifted:
        return f"Lift one end of {part_words(step.reading.lifted)} and measure it again."
    if step is not None and step.again is not None:
        name = _short_place(step.reading, circuit)
    return f"Measure {name} again."


def _short_place(reading: Reading, circuit: Circuit) -> str:
    """Where ohms were read, such as ``R1 to R2``; of other readings, all of it."""
    text = reading_text(reading, circuit)
    if reading.function is Function.OHM and not reading.lifted:
        over, _ = over_text(reading, circuit)
        return over or text
    return f"{text[:1].upper()}{text[1:]}"


def unseen_parts(diagnosis: Diagnosis, circuit: Circuit) -> tuple[str, ...]:
    """Parts that no reading was taken across, while a fault stops the pulses: those of the chain,
    the optocoupler's output and the pull-up. A load contact cannot be read on a dead board: the
    pulses tell of it, once there are any.

    While it is there the pin says nothing of them, so that a second bad part would not show. Where
    pulses were seen, they have told of all.
    """
    fault = diagnosis.indistinguishable[0].fault if diagnosis.stopped == "sure" else None
    if fault is None or fault.kind not in BLOCKED_BY or fault.mode not in BLOCKING:
        return ()
    if any(_needs_whole_chain(m, circuit) for m in diagnosis.measured):
        return ()
    read = {
        ref
        for m in diagnosis.measured
        for ref in (m.reading.lifted, *parts_read(circuit, m.reading))
    }
    own = _as_in_list(fault.part)
    mains = next(island for island in islands(circuit) if "line" in island)
    chain = [
        e.ref
        for e in circuit
        if isinstance(e, Resistance | Junction)
        and set(e.nodes) <= mains - {"logic+"}  # a pin without pulses is as high as that makes it
        and not is_hidden(e)
    ]
    unseen = [
        ref
        for ref in chain
        if ref not in (*read, own, "K1.contact")
        and fault.repair not in (diode_of_bridge(ref)[0], ref.partition(".")[0])
    ]
    # a level that stays tells nothing of a transistor that the LED never switched on; ohms tell as
    # much as a dead board can
    dead = (m.reading for m in diagnosis.measured if m.reading.function.row.dead)
    told = {ref for r in dead for ref in parts_over(circuit, r.red, r.black).split(", ")}
    outputs = [e.ref for e in circuit.of(Phototransistor) if e.ref not in (fault.repair, *told)]
    # the level at the pin tells of the pull-up
    level = any(m.reading.over_pin and not m.reading.lifted for m in diagnosis.measured)
    loads = [ref for ref in (PULL_UP,) if ref in circuit and ref not in (*read, own) and not level]
    return (*unseen, *(f"{ref} transistor" for ref in outputs), *loads)


def _needs_whole_chain(measured: Measured, circuit: Circuit) -> bool:
    """Whether the pin was seen to do what needs the whole chain."""
    reading, value = measured.reading, measured.value
    if not (reading.over_pin and measured.exact and reading.power is Power.LIVE):
        return False
    if reading.function is Function.DC:
        low, high = MOVING_RATIO
        supply_v = next(e.voltage_v for e in circuit.of(DcSource) if e.ref == "supply")
        # only its transistor lifts the pin of an emitter follower
        follows = any(set(e.nodes) == {"logic+", "pin"} for e in circuit.of(Phototransistor))
        return low < value / float(supply_v) < (inf if follows else high)
    return reading.at_pin and _shows_pulses(reading) and 0.0 < value < OVERLOAD


def hidden_line(diagnosis: Diagnosis, circuit: Circuit) -> str:
    """What a fault hides, and how to look for it; empty where there is nothing."""
    fault = diagnosis.indistinguishable[0].fault
    renewed = () if fault is None else fault.neighbours  # with the part that is named
    unseen = [ref for ref in unseen_parts(diagnosis, circuit) if ref not in renewed]
    if not unseen:
        return ""
    names = [*dict.fromkeys(part_words(diode_of_bridge(ref)[0]) for ref in unseen)]
    them = "it" if len(names) == 1 else "them"
    return f"Not yet tested: {', '.join(names)}. Test {them} (ohms, diode test) before you plug in."


PULL_UP = "pull-up"
BLOCKED_BY = ("led", "resistor", "diode", "phototransistor", "contact", "joint")
BLOCKING = ("open", "short", "reversed")
"""Faults (kind, mode) with which there are no pulses, or none that tell of other parts."""
MOVING_RATIO = (0.1, 0.9)
"""Mean of a pin with pulses, over its supply: one at rest is nearer to either end (common practice,
no source)."""
MOST_SUSPECTS = 2
OR_JUMPS = ": one of the two is wrong, or it jumps."
SHOWN_TWICE = "The first of these showed the same twice."
MEANT_LIFTED = (
    "Look whether it is the part that was meant, and whether the lead that was lifted touches the "
    "board."
)
MEANT = (
    "Look whether it is the part that was meant, and what else lies across it; lift one end of the "
    "part and measure it alone."
)
STOPPED = {
    "sure": f"No further reading needed: over {percent_text(SURE)} sure.",
    "nothing left": "No further reading would change the answer.",
    "contradiction": "No further reading settles it: see the reading above.",
    "danger": "No further reading: it would not be safe.",
    "": "",
}
"""Why it stops, in words."""


def measured_table(measured: Iterable[Measured], circuit: Circuit) -> Table:
    """The readings taken."""
    quantities = (
        Quantity("number", "", lambda row: str(row[0]), itemgetter(0), right=True),
        Quantity("reading", "reading", lambda row: row[1].reading.name),
        Quantity("probes", "probes", lambda row: probes_text(row[1].reading, circuit)),
        Quantity("shown", "shown", lambda row: _shown_text(row[1]), right=True),
    )
    return Table.of(enumerate(measured, start=1), quantities, "Readings taken")


def _shown_text(measured: Measured) -> str:
    return f"{show_measured(measured)}{', twice' if measured.repeated else ''}"


def node_texts(measured: Iterable[Measured], circuit: Circuit) -> dict[str, str]:
    """Readings against a reference node, as words for the diagram such as ``DC 4.98 V``.

    Parameters
    ----------
    measured : iterable of Measured
        Those over parts or between other nodes are left out.
    circuit : Circuit

    Returns
    -------
    texts : dict
        Node -> words, one line for each reading.
    """
    texts: dict[str, list[str]] = {}
    for m in measured:
        reading = m.reading
        short = reading.function.row.short
        if short and circuit.node(reading.black) in REFERENCES:
            text = f"{short} {show_measured(m)}"
            texts.setdefault(circuit.node(reading.red), []).append(text)
    return {node: "\n".join(lines) for node, lines in texts.items()}


def part_texts(measured: Iterable[Measured], circuit: Circuit) -> dict[str, str]:
    """Readings over a part, as words for the diagram such as ``ohm 2.14 MΩ``, by the part."""
    texts: dict[str, list[str]] = {}
    for m in measured:
        reading = m.reading
        over = parts_over(circuit, reading.red, reading.black)
        if over in circuit and circuit.node(reading.black) not in REFERENCES:
            name = reading.function.row.short or reading.function
            texts.setdefault(over, []).append(f"{name} {show_measured(m)}")
    return {part: "\n".join(lines) for part, lines in texts.items()}


def failed_marks(ranked: Ranked, circuit: Circuit) -> dict[str, str]:
    """What the diagram marks for a fault: the part or node, and how it failed; empty for none."""
    fault = ranked.fault
    if fault is None:
        return {}
    if fault.joint is not None:
        return {fault.joint.node: fault.mode}
    named = [key.rpartition(" ")[::2] for key in fault.members] or [(fault.part, fault.mode)]
    marks = {}
    for part, mode in named:
        key = _as_in_list(part)
        if key in circuit or key in circuit.nodes:
            marks[key] = fault_words(mode)
    return marks


def _as_in_list(part: str) -> str:
    """A part by the name that the element list has for it."""
    for words, ending in PART_ENDINGS.items():
        if part.endswith(words):
            return part.removesuffix(words) + ending
    return part


def ranked_table(diagnosis: Diagnosis, circuit: Circuit) -> Table:
    """The likeliest faults."""
    shown = [r for r in diagnosis.ranked[:MAX_SHOWN] if r.probability >= MIN_SHOWN]
    quantities = (
        Quantity(
            "probability", "probability", lambda r: probability_text(r.probability), right=True
        ),
        Quantity("key", "fault", lambda ranked: _with_amount(ranked, circuit)),
        Quantity("words", "what it means"),
    )
    rest = diagnosis.ranked[len(shown) :]
    share = sum(r.probability for r in rest)
    remarks = [_in_all_text(diagnosis)]
    if share >= MIN_SHOWN:
        remarks.append(f"{len(rest)} others, together {probability_text(share)}.")
    remark = " ".join(filter(None, remarks))
    return Table.of(shown, quantities, "What explains the readings", remark)


def _in_all_text(diagnosis: Diagnosis) -> str:
    """The figure of the answer, where the first row alone is less: the same part in other rows."""
    first = next(standings(diagnosis.ranked))
    chance = probability_text(first.probability)
    if len(first.rows) == 1 or chance == probability_text(first.rows[0].probability):
        return ""
    return f"{first.repair} in all (its rows added, and with a second fault): {chance}."


def _with_amount(ranked: Ranked, circuit: Circuit) -> str:
    """A fault with its size, where it has one."""
    name = "a good board" if ranked.key == HEALTHY.key else fault_words(ranked.key)
    amount = amount_text(ranked, circuit)
    return f"{name}\n{amount}" if amount else name


def cautions_of_step(diagnosis: Diagnosis) -> tuple[Caution, ...]:
    """The cautions due for the next reading; those for a dead board where there is none."""
    return cautions_for(() if diagnosis.suggestion is None else (diagnosis.suggestion.access,))


def cautions_for(sides: Iterable[AccessLevel]) -> tuple[Caution, ...]:
    """The cautions due for readings on these sides, the general ones first.

    Probes are attached and leads changed on a dead board, so those for dead tests are always due.
    """
    wanted = {AccessLevel.DEAD, *sides}
    return (*GENERAL, *(c for side in AccessLevel if side in wanted for c in CAUTIONS[side]))
