"""The plan of a trip to the bench, and the readings that an answer rests on."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.faults import Fault, includes, same_repair
from zcd.diagnosis.likelihood import BREADTHS, OUTLIER_SHARE, fact_log, partly_wrong
from zcd.diagnosis.next_reading import Suggestion
from zcd.diagnosis.rank import Diagnosis, Evidence, diagnose, posterior_weights
from zcd.diagnosis.readings import PLUGGED, AccessLevel, Measured, Reading
from zcd.diagnosis.series_sums import summed_up
from zcd.diagnosis.severity import points

FloatArray = NDArray[np.float64]

MOST_PLANNED = 3
"""Readings that a person keeps in mind with the probes in hand: common practice, no source."""
MOST_TELLING = 3
MOST_TRACKS = 3
"""Tracks to follow before a reading on the mains."""
RULED_OUT = 1e-9
"""What is left of the share of a fault that was looked for and not found."""
TINY = 1e-9
LEAST_FOR, LEAST_AGAINST = float(np.log(1.15)), float(np.log(2.0))
"""A reading that makes the answer less than so much likelier, or less likely, is not named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """The next readings in one state of the board.

    Parameters
    ----------
    steps : tuple of Suggestion
        That of the diagnosis first; empty where it has none.
    settles : bool
        Whether it is one reading that settles it, whatever it shows of what is likely.
    tracks : tuple of Fault
        Tracks that may be open, to be followed on the dead board before a reading on the mains:
        those that lead, and those that it would tell of.
    instead : Suggestion or None
        What to read then, if these are good and it need not be on the mains.
    """

    steps: tuple[Suggestion, ...] = ()
    settles: bool = False
    tracks: tuple[Fault, ...] = ()
    instead: Suggestion | None = None


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
    plan: list[Suggestion] = []
    tracks, first = _tracks_before(diagnosis), diagnosis
    taken, measured = diagnosis.measured, list(diagnosis.measured)
    known: dict[tuple[Measured, ...], Evidence] = {}
    while (step := diagnosis.suggestion) is not None and len(plan) < MOST_PLANNED:
        if plan and (step.again is not None or _is_other_work(step, plan[0])):
            break
        plan.append(step)
        if step.again is not None or len(plan) == MOST_PLANNED:
            break
        weights, _ = posterior_weights(dictionary, measured, flags, known)
        shown = dictionary.looks(step.reading)
        _, middle, _ = points(shown.ravel(), weights.ravel())
        measured.append(Measured(reading=step.reading, value=middle))
        diagnosis = diagnose(dictionary, measured, skipped, flags=flags, known=known)
    one = len(plan) == 1 and diagnosis.stopped == "sure"
    settles = one and all(
        diagnose(dictionary, [*taken, shown], skipped, flags=flags, known=known).stopped == "sure"
        for shown in _likely_answers(plan[0])
    )
    instead = None
    if tracks:
        shares = dictionary.shares.copy()
        shares[[dictionary.faults.index(fault) for fault in tracks]] *= RULED_OUT
        good = replace(dictionary, shares=shares)
        instead = diagnose(good, first.measured, skipped, flags=flags).suggestion
    if instead is not None and instead.access is AccessLevel.MAINS:
        instead = None
    return Trip(steps=tuple(plan), settles=settles, tracks=tracks, instead=instead)


def _tracks_before(diagnosis: Diagnosis) -> tuple[Fault, ...]:
    """The tracks to follow before the next reading; none where it is not on the mains, or where
    none of them leads."""
    step, joints = diagnosis.suggestion, {}
    for r in diagnosis.ranked:
        if r.fault and r.fault.joint:
            joints[r.key] = r.fault
    leading = [r.key for r in diagnosis.ranked[:MOST_TRACKS] if r.key in joints]
    if step is None or step.access is not AccessLevel.MAINS or not leading:
        return ()
    told = {key for answer in step.answers for key in answer.keys}
    keys = dict.fromkeys((*leading, *(key for key in joints if key in told)))
    return tuple(joints[key] for key in keys)[:MOST_TRACKS]


def _likely_answers(step: Suggestion) -> list[Measured]:
    """What a reading would show under the likeliest fault of each answer, but of one that jumps."""
    middle = {outcome.key: outcome.value[1] for outcome in step.outcomes}
    steady = [answer for answer in step.answers if not answer.jumps]
    # what a row leaves for a part is no outcome of its own
    shown = [middle.get(a.keys[0], 0.5 * (a.low + a.high)) for a in steady]
    return [Measured(reading=step.reading, value=value) for value in shown]


def _is_other_work(step: Suggestion, first: Suggestion) -> bool:
    """Whether the board has to be plugged in or unplugged for it, or probes go on live parts."""
    plugged = [each.reading.power in PLUGGED for each in (step, first)]
    live = [each.access is AccessLevel.MAINS for each in (step, first)]
    return plugged[0] is not plugged[1] or live == [True, False]


def telling_readings(
    dictionary: FaultDictionary, diagnosis: Diagnosis, flags: Collection[str] = ()
) -> tuple[tuple[Measured, ...], tuple[Measured, ...]]:
    """The readings that speak for the answer, and those that speak against it: beside all other
    faults, as likely as before, or as all other readings leave them. None speaks against it that it
    explains better than by chance.

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
    counted = {m.reading for m in summed_up(dictionary.circuit, diagnosis.measured)}
    measured = [m for m in diagnosis.measured if m.reading in counted]
    if answer is None:
        return (), ()
    there = _there(dictionary.faults, answer)[dictionary.member]
    known: dict[tuple[Measured, ...], Evidence] = {}

    def chance(taken: Sequence[Measured]) -> float:
        return float(posterior_weights(dictionary, taken, flags, known)[0][there].sum())

    after, _ = posterior_weights(dictionary, measured, flags, known)
    before, _ = posterior_weights(dictionary, ())
    ours = np.where(there[:, None], after, 0.0)
    others = np.where(there[:, None], 0.0, before)
    if not ours.any():
        return (), ()
    told, left_out, unfit = [], [], []
    for m in measured:
        fit = dictionary.fit(m.reading)
        log_good, log_flat = fact_log([(fit, m)])
        density = np.exp(partly_wrong(log_good, log_flat, OUTLIER_SHARE))
        for_it, against = (np.sum(w * density) / w.sum() for w in (ours, others))
        told.append(float(np.log(for_it / against)))
        between_samples = np.exp(fact_log([(fit, m)], BREADTHS[-1])[0])
        unfit.append(bool(np.sum(ours * between_samples) / ours.sum() < np.exp(log_flat)))
        without = chance([other for other in measured if other is not m])
        left_out.append(_log_odds(float(after[there].sum())) - _log_odds(without))
    speaks_for = np.maximum(told, left_out)
    speaks_against = np.where(
        np.array(unfit, dtype=bool) & (speaks_for <= LEAST_FOR), -np.array(told), 0.0
    )
    return (
        _strongest(measured, speaks_for, LEAST_FOR),
        _strongest(measured, speaks_against, LEAST_AGAINST),
    )


def sync_lost_share(dictionary: FaultDictionary, diagnosis: Diagnosis) -> float:
    """Chance that what is named, as far gone as the readings tell, loses sync by itself.

    Parameters
    ----------
    dictionary : FaultDictionary
    diagnosis : Diagnosis
        One that names a fault.
    """
    answer = diagnosis.indistinguishable[0].fault
    assert answer is not None
    weights, _ = posterior_weights(dictionary, diagnosis.measured)
    ours = weights * _there(dictionary.faults, answer)[dictionary.member][:, None]
    return float((ours * dictionary.sync_lost).sum() / ours.sum())


def _strongest(
    measured: Sequence[Measured], told: FloatArray, least: float
) -> tuple[Measured, ...]:
    order = np.argsort(-told)[:MOST_TELLING]
    return tuple(measured[k] for k in order if told[k] > least)


def _log_odds(share: float) -> float:
    share = min(max(share, TINY), 1.0 - TINY)
    return float(np.log(share / (1.0 - share)))


def _there(faults: Sequence[Fault], answer: Fault) -> np.ndarray:
    """Faults with which what is to be replaced is the same."""
    return np.array([same_repair(answer, f) or includes(f, answer) for f in faults])
