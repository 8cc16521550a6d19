"""The plan of a trip to the bench, and the readings that an answer rests on."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.faults import Fault, includes, same_repair
from zcd.diagnosis.likelihood import OUTLIER_SHARE, fact_log, partly_wrong
from zcd.diagnosis.next_reading import Suggestion
from zcd.diagnosis.rank import Diagnosis, diagnose, one_repair, posterior_weights
from zcd.diagnosis.readings import PLUGGED, AccessLevel, Measured, Reading
from zcd.diagnosis.severity import points

MOST_PLANNED = 3
"""Readings that a person keeps in mind with the probes in hand: common practice, no source."""
MOST_TELLING = 3
MIN_TELLING = float(np.log(2.0))
"""A reading that makes the answer less than twice as likely, or half as likely, is not named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """The next readings in one state of the board.

    Parameters
    ----------
    steps : tuple of Suggestion
        That of the diagnosis first; empty where it has none.
    settles : bool
        Whether they settle it, if each shows what is most likely.
    """

    steps: tuple[Suggestion, ...] = ()
    settles: bool = False


def plan_trip(
    dictionary: FaultDictionary,
    diagnosis: Diagnosis,
    skipped: Collection[Reading] = (),
    flags: Collection[str] = (),
) -> Trip:
    """Plan the next readings without plugging in or unplugging.

    Parameters
    ----------
    dictionary : FaultDictionary
    diagnosis : Diagnosis
    skipped : collection of Reading
    flags : collection of str

    Returns
    -------
    trip : Trip
    """
    first = diagnosis.ranked[0]
    plan: list[Suggestion] = []
    measured = list(diagnosis.measured)
    while (step := diagnosis.suggestion) is not None and len(plan) < MOST_PLANNED:
        if plan and (step.again is not None or _is_other_work(step, plan[0])):
            break
        plan.append(step)
        if step.again is not None or len(plan) == MOST_PLANNED:
            break
        weights, _ = posterior_weights(dictionary, measured, flags)
        shown = dictionary.looks(step.reading)
        _, middle, _ = points(shown.ravel(), weights.ravel())
        measured.append(Measured(reading=step.reading, value=middle))
        diagnosis = diagnose(dictionary, measured, skipped, flags=flags)
    named = (diagnosis.ranked[0], *diagnosis.indistinguishable)
    one = all(one_repair(first, each) for each in named)
    settles = bool(plan) and diagnosis.stopped == "sure" and one
    return Trip(steps=tuple(plan), settles=settles)


def _is_other_work(step: Suggestion, first: Suggestion) -> bool:
    """Whether the board has to be plugged in or unplugged for it, or probes go on live parts."""
    plugged = [each.reading.power in PLUGGED for each in (step, first)]
    live = [each.access is AccessLevel.MAINS for each in (step, first)]
    return plugged[0] is not plugged[1] or live == [True, False]


def telling_readings(
    dictionary: FaultDictionary, diagnosis: Diagnosis, flags: Collection[str] = ()
) -> tuple[tuple[Measured, ...], tuple[Measured, ...]]:
    """The readings that speak for the answer, and those that speak against it: beside all other
    faults, as likely as before.

    Parameters
    ----------
    dictionary : FaultDictionary
    diagnosis : Diagnosis
    flags : collection of str

    Returns
    -------
    support, against : tuple of Measured
        `MOST_TELLING` of each at most, the strongest first.
    """
    answer = diagnosis.indistinguishable[0].fault
    if answer is None:
        return (), ()
    there = _there(dictionary.faults, answer)[dictionary.member]
    after, _ = posterior_weights(dictionary, diagnosis.measured, flags)
    before, _ = posterior_weights(dictionary, ())
    ours = np.where(there[:, None], after, 0.0)
    others = np.where(there[:, None], 0.0, before)
    if not ours.any():
        return (), ()
    told = []
    for m in diagnosis.measured:
        density = np.exp(partly_wrong(*fact_log([(dictionary.fit(m.reading), m)]), OUTLIER_SHARE))
        for_it, against = (np.sum(w * density) / w.sum() for w in (ours, others))
        told.append(float(np.log(for_it / against)))
    support, against = (
        tuple(
            diagnosis.measured[k]
            for k in np.argsort(told)[::-sign][:MOST_TELLING]
            if sign * told[k] > MIN_TELLING
        )
        for sign in (1, -1)
    )
    return support, against


def _there(faults: Sequence[Fault], answer: Fault) -> np.ndarray:
    """Faults with which what is to be replaced is the same."""
    return np.array([same_repair(answer, f) or includes(f, answer) for f in faults])
