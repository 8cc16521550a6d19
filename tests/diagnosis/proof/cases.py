"""A case from the first reading to the last, and whether what was said is true."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tests.diagnosis.proof.designs import design
from tests.diagnosis.proof.kept import Kept, atlas_of
from tests.diagnosis.proof.patient import LOCK, Patient, patient
from tests.diagnosis.proof.wrong import chances
from zcd.circuit.build import build_circuit
from zcd.diagnosis.expected_readings import list_expected_readings
from zcd.diagnosis.fault_dictionary import GOOD_BOARD, FaultDictionary
from zcd.diagnosis.faults import Fault, answer_of
from zcd.diagnosis.likelihood import error, scaled
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.rank import Diagnosis, Ranked, diagnose, present
from zcd.diagnosis.readings import AccessLevel, Measured, Power, Reading
from zcd.errors import SimulationError, SolverError
from zcd.report.of_diagnosis_text import MIN_TELLING

FloatArray = NDArray[np.float64]

CASES_A_DESIGN = 20
FIXED_ORDER_EVERY = 10
IDEAL_ERROR_D = 3.29
"""Distance of two known boards, in standard errors over all readings together, at which even a
judge who knew both exactly would mistake them in 5 % of cases: 2 times the 95 % point of the
normal distribution."""
RIVAL_FROM = 0.02
CTR_STEPS, SEVERITY_STEPS = 3, 161
SIMPLE = "healthy"


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """How one case went.

    Parameters
    ----------
    number : tuple of int
        Seed, design, case.
    topology, kind, truth, first : str
    place : int
        Of the first in the ranking that names nothing but what is true.
    answer : int
        The same, where all that leaves the sync circuit good counts as one place, and so does all
        that one new part mends.
    group : int
        How many faults were named together; 1: one.
    named : bool
        What was named is there, always or now and then, or one of those named together.
    apart : bool
        The readings of the board can tell the truth from what was named, or stood second.
    said : float
        Probability of what was named.
    sure : bool
        It claimed to be settled.
    passes : bool
        Something is wrong with it and it was called good, as no reading of the assembled board
        tells it from a good one.
    taken, fixed : int
        Readings until it stopped, and down the bench card until it would have; 0: not tried.
    changes : int
        How often the board was plugged in or unplugged on the way; it comes unplugged.
    on_the_way : tuple of (float, bool)
        After each reading: probability of the first, and whether it was true.
    expected : float
        How much oftener the tool expects such a case than the proof puts it in; 0: never.
    """

    number: tuple[int, int, int]
    topology: str
    kind: str
    truth: str
    first: str
    place: int
    answer: int
    group: int
    named: bool
    apart: bool
    said: float
    sure: bool
    passes: bool
    taken: int
    fixed: int
    changes: int
    on_the_way: tuple[tuple[float, bool], ...]
    expected: float

    @property
    def wrong_and_sure(self) -> bool:
        """Whether it named what is not there, and called that settled."""
        return self.sure and not self.named

    @property
    def right(self) -> bool:
        """Whether the first place, alone, is true."""
        return self.place == 1


def cases_of(seed: int, number: int, cases: int = CASES_A_DESIGN) -> list[Result]:
    """Cases of one design; the fixed order is tried on some."""
    made = design(seed, number)
    kept = Kept(made)
    dictionary = atlas_of(made)
    result = []
    for case in range(cases):
        sick = patient(made, case, kept)
        try:
            result.append(_result(dictionary, sick, fixed=case % FIXED_ORDER_EVERY == 0))
        except (SimulationError, SolverError) as problem:
            print(f"left out: {sick.seed}, {sick.wrong.keys}: {problem}")
    kept.write()
    dictionary.keep()
    return result


def _result(dictionary: FaultDictionary, sick: Patient, *, fixed: bool) -> Result:
    path = list(follow(dictionary, sick))
    last = path[-1]
    called_good = any(r.key == SIMPLE for r in last.indistinguishable)
    sick.passes = called_good and reads_as_good(dictionary, sick)
    first = last.ranked[0]
    holds = [n for n, r in enumerate(last.ranked, start=1) if said_truly(sick, r)]
    named = any(said_truly(sick, r) for r in last.indistinguishable) or _turned_named(sick, last)
    rival = _rival(sick, last)
    return Result(
        number=sick.seed,
        topology=sick.design.board.topology.value,
        kind=sick.wrong.kind,
        truth=" + ".join(sick.wrong.keys) or SIMPLE,
        first=first.key,
        place=min(holds, default=len(last.ranked) + 1),
        answer=_answers(last, min(holds, default=len(last.ranked) + 1)),
        group=len(last.indistinguishable),
        named=named,
        apart=told_apart(dictionary, sick, rival.fault) if rival is not None else True,
        said=_said(last),
        sure=last.stopped == "sure",
        passes=sick.passes and bool(sick.wrong.keys),
        taken=len(path) - 1,
        fixed=len(list(follow(dictionary, sick, _down_the_card(dictionary)))) - 1 if fixed else 0,
        changes=_changes(last.measured),
        on_the_way=tuple((present(d.ranked), said_truly(sick, d.ranked[0])) for d in path[1:]),
        expected=_expected(dictionary, sick),
    )


def _expected(dictionary: FaultDictionary, sick: Patient) -> float:
    """Prior probability of what is wrong over how often it is put in."""
    truth = _plain(sick.wrong.keys)
    held = sum(
        float(share)
        for fault, share in zip(dictionary.faults, dictionary.shares, strict=True)
        if _plain(fault.members or ((fault.key,) if fault.key != SIMPLE else ())) == truth
    )
    return held / sum(often for w, often in chances(sick.healthy) if _plain(w.keys) == truth)


def _answers(last: Diagnosis, place: int) -> int:
    """How many answers there are up to this place."""
    upto = last.ranked[:place]
    return len({answer_of(r.fault) if r.fault else r.key for r in upto}) + (
        place > len(last.ranked)
    )


def _said(last: Diagnosis) -> float:
    """Probability of what is named: a group, a fault that is there whatever the second is, the
    first, always or now and then."""
    if last.indistinguishable[0] is last.ranked[0] and len(last.indistinguishable) == 1:
        return present(last.ranked)
    return sum(r.probability for r in last.indistinguishable)


def _changes(taken: Sequence[Measured]) -> int:
    """How often the mains is put on or taken off for these readings."""
    on = [False, *(m.reading.power in (Power.LIVE, Power.OFF) for m in taken)]
    return sum(a is not b for a, b in pairwise(on))


def follow(
    dictionary: FaultDictionary, sick: Patient, order: Sequence[Reading] | None = None
) -> Iterator[Diagnosis]:
    """Take what is suggested, or go down a list, until nothing more is asked."""
    taken: list[Measured] = []
    while True:
        result = diagnose(dictionary, taken, flags=sick.flags)
        yield result
        if result.suggestion is None or (order is not None and len(taken) == len(order)):
            return
        asked = result.suggestion
        following = asked.reading if order is None else order[len(taken)]
        taken.append(sick.take(following, again=order is None and asked.again is not None))


def _down_the_card(dictionary: FaultDictionary) -> list[Reading]:
    """The fixed order: dead tests, isolated side, mains side; nothing is lifted."""
    return [
        line.reading
        for line in list_expected_readings(dictionary)
        if line.access is not AccessLevel.LIFTED
    ]


def reads_as_good(dictionary: FaultDictionary, sick: Patient) -> bool:
    """Whether the controller locks, and each reading of the assembled board lies within what good
    boards show, give or take one standard error of that reading: there is nothing to repair.

    A joint that opens now and then is never as good.
    """
    if sick.wrong.loose or sick.kept.of(sick.looks[0], LOCK, sick.lock_margin) <= 0.0:
        return False
    for reading in dictionary.readings:
        if reading.lifted:
            continue
        good = dictionary.of_fault(dictionary.predictions(reading), GOOD_BOARD)
        good, here = (scaled(reading.function, v) for v in (good, np.array(sick.exact(reading))))
        off = error(reading.function, good, dictionary.meter)
        if np.any(here < np.min(good - off)) or np.any(here > np.max(good + off)):
            return False
    return True


def true_of(sick: Patient, ranked: Ranked) -> bool:
    """Whether all that a fault names is wrong with this board, or nothing that it shows is."""
    if ranked.fault is None:
        return False
    names = ranked.fault.members or (ranked.fault.key,)
    truths = (*sick.wrong.keys, SIMPLE) if sick.passes else sick.wrong.keys or (SIMPLE,)
    return all(any(_same_repair(name, truth) for truth in truths) for name in names)


def said_truly(sick: Patient, ranked: Ranked) -> bool:
    """The same of what is said of a first place: that it is there, always or now and then.

    A new part comes with new joints.
    """
    open_now = tuple(key.replace(" intermittent", " open") for key in sick.wrong.keys)
    mended = sick.wrong.loose and _replaced(ranked.key) == _replaced(open_now[0])
    return true_of(sick, ranked) or mended


def _turned_named(sick: Patient, last: Diagnosis) -> bool:
    """Whether an optocoupler that was fitted the wrong way round is to be replaced, and the answer
    says that it may have been: a new one is fitted by its dot."""
    told = {r.key for r in last.ranked if r.probability >= MIN_TELLING}
    turned = [key for key in sick.wrong.keys if key.startswith("OC") and key in told]
    first = {_replaced(r.key) for r in last.indistinguishable}
    return any(key.endswith("reversed") and key.partition(" ")[0] in first for key in turned)


def _same_repair(name: str, truth: str) -> bool:
    """Whether two names are one fault."""
    return _plain((name,)) == _plain((truth,)) or _replaced(name) == _replaced(truth)


REPLACED = {
    **dict.fromkeys(
        ("R", "pull-up"), ("open", "drift", "low", "wrong value x10", "wrong value x0.1")
    ),
    "D": ("open", "short", "leaky", "wrong part"),
    "OC": ("LED open", "LED short", "second LED open", "second LED short", "LEDs open",
           "aged", "transistor open", "transistor short"),
    "K": ("contact open", "contact resistive", "contact welded", "coil open"),
}  # fmt: skip
"""What is mended by a new part, whichever of these it is."""


SAME_PLACE = {
    "pin stuck low": "pin leaky",
    "pin stuck high": "pin leaky to supply",
    "chain leaky in part": "chain leaky",
    "chain leaky to neutral": "chain leaky",
    "OC1 second LED leaky": "OC1 LED leaky",
}
"""Cleaned in one go, whichever of these it is."""


def _replaced(key: str) -> str:
    """The part that mends a fault, or whose joints do; the fault itself where neither does."""
    part, _, mode = key.partition(" ")
    if mode.endswith("intermittent"):
        return f"{part} joints"
    letters = part.rstrip("0123456789abcd")
    if mode in REPLACED.get(letters, ()):
        return part
    return SAME_PLACE.get(key, key)


def _plain(keys: Iterable[str]) -> frozenset[str]:
    """Names; a part of ten times the value has drifted, for whoever replaces it."""
    return frozenset(
        key.replace("wrong value x10", "drift").replace("wrong value x0.1", "low") for key in keys
    )


def _rival(sick: Patient, last: Diagnosis) -> Ranked | None:
    """The likeliest that shares nothing with the truth, if it is likely at all."""
    truths = sick.wrong.keys or (SIMPLE,)
    for ranked in last.ranked:
        if ranked.probability < RIVAL_FROM or (ranked is last.ranked[0] and ranked.fault is None):
            return None
        if ranked.fault is None or true_of(sick, ranked):
            continue
        parts = (*ranked.fault.members, *ranked.fault.states)
        if not any(_same_repair(part, truth) for part in parts for truth in truths):
            return ranked
    return None


def told_apart(dictionary: FaultDictionary, sick: Patient, rival: Fault | None) -> bool:
    """Whether the readings of a board can tell what is wrong with it from another fault.

    The other may be of any size, and the optocoupler anywhere within its grade. Each reading
    adds the square of its gap in standard errors. All readings of the board count, taken or not;
    of a loose joint only those that were taken, as it shows itself by chance.
    """
    if rival is None:
        return True
    looks = [_rows(dictionary, sick, key) for key in _looks(rival)]
    loose = sick.wrong.loose
    taken = list(sick.shown)
    others = [] if loose else [r for r in dictionary.readings if r not in sick.shown]
    square = np.zeros(looks[0].circuit.size)
    for reading in (*taken, *others):
        shown = [scaled(reading.function, b.read([reading])[:, 0]) for b in looks]
        read = sick.shown.get(reading) if loose else None
        if read is not None and read.unstable:
            gap = np.abs(shown[0] - shown[-1])
            square += np.where(
                gap > 4.0 * error(reading.function, shown[0], dictionary.meter), 0.0, 1e3
            )
            continue
        value = sick.exact(reading)[0] if read is None else read.value
        there = scaled(reading.function, np.asarray(value))
        far = np.min([np.abs(there - each) for each in shown], axis=0)
        square += np.square(far / error(reading.function, there, dictionary.meter))
        if square.min() > IDEAL_ERROR_D**2:
            return True
    return False


def _looks(fault: Fault) -> tuple[str, ...]:
    return fault.states or (fault.key,)


def _rows(dictionary: FaultDictionary, sick: Patient, key: str) -> MeterModel:
    """A fault of any size on this very board, its optocoupler anywhere within its grade."""
    opto = dictionary.board.optocoupler
    fault = next(f for f in dictionary.faults if f.key == key)
    severity = np.linspace(0.0, 1.0, SEVERITY_STEPS)
    ratio = np.geomspace(opto.ctr_min_ratio, opto.ctr_max_ratio, CTR_STEPS) / opto.ctr_ratio
    typical = build_circuit(dictionary.board)[opto.ref]
    circuit = sick.healthy.rows(np.zeros(CTR_STEPS * len(severity), dtype=int)).change(
        opto.ref,
        ctr_ratio=np.repeat(ratio, len(severity)) * np.asarray(typical.ctr_ratio),  # type: ignore[attr-defined]
    )
    circuit = fault.edit(circuit, np.tile(severity, CTR_STEPS))
    volts = np.full(circuit.size, sick.design.full_scale_v)
    return MeterModel(dictionary.board, circuit, dictionary.meter, full_scale_v=volts)
