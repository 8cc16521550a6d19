"""Turned round: which causes fit the flags seen, and the reading that tells where they lie."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.elements import Circuit
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.faults import LOOSE_MODE
from zcd.diagnosis.flag_evidence import NO_FLAG
from zcd.diagnosis.job_history import FaultStatistics, with_fault_statistics
from zcd.diagnosis.meters import Meter, usual_meter
from zcd.diagnosis.priors import prior_shares
from zcd.diagnosis.rank import Diagnosis, diagnose
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import AccessLevel as Where
from zcd.diagnosis.readings import Reading, access_level
from zcd.diagnosis.trip import Trip, plan_trip
from zcd.results import Result
from zcd.simulation.causes import Cause, Subsystem, causes_of, sizes_of
from zcd.simulation.controller import FAN, SYNC
from zcd.simulation.timeline import SECONDS, Story, stories_of

FloatArray = NDArray[np.float64]

STEP = 0.2
"""Readings that differ by less, in logs, are taken as equal."""
GOOD_SHARE = 0.8
"""A safer reading is preferred if it tells so much of what the best one tells."""
MIN_GAIN_BITS = 0.05
SURE = 0.95
"""Share of one side from which no reading is asked to tell the sides apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A cause that raises the flags seen.

    Parameters
    ----------
    stories : tuple of Story
        Those of its sizes that do.
    share_ratio : float
        Its probability before any reading.
    """

    JSON_KEYS: ClassVar = (
        "cause=cause.key", "side=cause.subsystem", "share_ratio", "words=cause.words", "amounts",
        "unit=cause.fault.unit",
    )  # fmt: skip

    stories: tuple[Story, ...]
    share_ratio: float

    @property
    def cause(self) -> Cause:
        """The cause, at the first of these sizes."""
        return self.stories[0].cause

    @property
    def amounts(self) -> tuple[float, ...]:
        """These sizes, in the cause's own unit."""
        return tuple(s.cause.amount for s in self.stories if s.cause.amount is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class SideTest:
    """The first reading that tells on which side the cause lies.

    Parameters
    ----------
    reading : Reading
    where : Where
        Dead, isolated or mains side of the board.
    shown : dict of Subsystem to tuple of float
        10 %, 50 % and 90 % point of what the meter shows, for each side that fits.
    gain_bits, open_bits : float
        What it tells of the side, and what is open.
    """

    JSON_KEYS: ClassVar = (
        *(f"{key}=reading.{key}" for key in ("function", "red", "black")),
        "side=where", "gain_bits", "open_bits", "shows",
    )  # fmt: skip

    reading: Reading
    where: Where
    shown: dict[Subsystem, tuple[float, float, float]]
    gain_bits: float
    open_bits: float

    @property
    def shows(self) -> dict[str, dict[str, float]]:
        """What the meter shows, by side."""
        points = ("low", "middle", "high")
        return {side: dict(zip(points, self.shown[side], strict=True)) for side in self.shown}


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class CausesForFlags(Result):
    """The causes that raise just these flags.

    Parameters
    ----------
    board : Board
    flags : frozenset of str
    fits : tuple of Fit
        Likeliest first.
    told : SideTest or None
        The one reading that tells their sides apart; None: none is needed, or none tells.
    plan : Trip
        What to read first: the plan of a diagnosis that knows these flags and no reading.
    circuit : Circuit
        Nominal, for the parts between nodes.
    fan_flag_delay_s : float or None
        Median time from the sync flag to the fan flag over all causes that raise both, at all
        their sizes; None: there are none.
    known : FaultStatistics or None
        What closed jobs made of the priors; None: they were left out.
    """

    board: Board
    flags: frozenset[str]
    fits: tuple[Fit, ...]
    told: SideTest | None
    plan: Trip
    circuit: Circuit
    fan_flag_delay_s: float | None = None
    known: FaultStatistics | None = None


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class StoryTable(Result):
    """All causes of a board against the flags they raise.

    Parameters
    ----------
    board : Board
    seconds : float
        Of board time.
    stories : tuple of Story
        ``healthy`` first.
    """

    board: Board
    seconds: float
    stories: tuple[Story, ...]


def causes_for_flags(
    board: Board,
    flags: Collection[str],
    seconds: float = SECONDS,
    *,
    meter: Meter | None = None,
    statistics: FaultStatistics | None = None,
    progress: Callable[[str], None] | None = None,
) -> CausesForFlags:
    """Find the causes that raise just these flags, and the reading that tells their sides apart.

    Parameters
    ----------
    board : Board
    flags : collection of str
        ``sync``, ``fan``, both, or none.
    seconds : float
        Of board time.
    meter : Meter, optional
        By default a usual handheld one.
    statistics : FaultStatistics, optional
        What closed jobs say; they shift what is likely as they do in a diagnosis.
    progress : callable, optional
        Told which reading is being predicted.

    Returns
    -------
    causes : CausesForFlags
    """
    stories = all_stories(board, seconds)
    dictionary = make_fault_dictionary(board, meter or usual_meter(), stored=True)
    dictionary = with_fault_statistics(dictionary, statistics)
    seen = tuple(flags) or (NO_FLAG,)
    diagnosis = diagnose(dictionary, (), progress=progress, flags=seen)
    fits = matching_causes(stories, flags, _chances(diagnosis))
    side_test = find_side_test(dictionary, fits, progress) if fits else None
    dictionary.keep()
    return CausesForFlags(
        board=board,
        flags=frozenset(flags),
        fits=fits,
        told=side_test,
        plan=plan_trip(dictionary, diagnosis, flags=seen),
        circuit=dictionary.circuit,
        fan_flag_delay_s=fan_flag_delay_s(stories),
        known=statistics,
    )


def fan_flag_delay_s(stories: Sequence[Story]) -> float | None:
    """Median time from the sync flag to the fan flag, where both come; None: nowhere."""
    both = [story.flags for story in stories if {SYNC, FAN} <= set(story.flags)]
    return float(np.median([flags[FAN] - flags[SYNC] for flags in both])) if both else None


def all_stories(board: Board, seconds: float = SECONDS) -> tuple[Story, ...]:
    """The stories of all causes, each at all its sizes.

    Parameters
    ----------
    board : Board
    seconds : float
        Of board time.

    Returns
    -------
    stories : tuple of Story
        ``healthy`` first.
    """
    return stories_of(board, [c for cause in causes_of(board) for c in sizes_of(cause)], seconds)


def _chances(diagnosis: Diagnosis) -> dict[str, float]:
    """Probability of each fault of a diagnosis."""
    return {r.fault.key: r.probability for r in diagnosis.ranked if r.fault is not None}


def matching_causes(
    stories: Sequence[Story], flags: Collection[str], chances: Mapping[str, float] | None = None
) -> tuple[Fit, ...]:
    """Causes whose story ends in just these flags, likeliest first.

    Parameters
    ----------
    stories : sequence of Story
        Of all causes and sizes.
    flags : collection of str
        ``sync``, ``fan``, both, or none.
    chances : mapping, optional
        Probability of each fault as a diagnosis has it; without it the priors, to a sum of 1.

    Returns
    -------
    fits : tuple of Fit
    """
    faults = list({story.cause.fault.key: story.cause.fault for story in stories}.values())
    prior = dict(zip((f.key for f in faults), prior_shares(faults), strict=True))
    sizes: dict[str, list[Story]] = {}
    for story in stories:
        sizes.setdefault(story.cause.key, []).append(story)
    result = []
    for told in sizes.values():
        fit = tuple(story for story in told if set(story.flags) == set(flags))
        cause = told[0].cause
        weight = float(prior[cause.fault.key]) * cause.share_ratio * len(fit) / len(told)
        if fit:
            result.append((weight, fit))
    if chances is not None:
        result = _as_diagnosed(result, chances)
    total = sum(weight for weight, _ in result) if chances is None else 1.0
    result.sort(key=lambda pair: -pair[0])
    return tuple(Fit(stories=fit, share_ratio=weight / total) for weight, fit in result)


def _as_diagnosed(
    fits: Sequence[tuple[float, tuple[Story, ...]]], chances: Mapping[str, float]
) -> list[tuple[float, tuple[Story, ...]]]:
    """The fits with the probabilities of a diagnosis, which knows the flags; causes that are one
    fault to it share its."""
    keys = [_diagnosed_as(fit[0].cause) for _, fit in fits]
    groups: dict[str, float] = {}
    for key, (weight, _) in zip(keys, fits, strict=True):
        groups[key] = groups.get(key, 0.0) + weight
    return [
        (chances.get(key, 0.0) * weight / groups[key], fit)
        for key, (weight, fit) in zip(keys, fits, strict=True)
    ]


def _diagnosed_as(cause: Cause) -> str:
    """The fault of a diagnosis that a cause is: it knows drive and fan as a whole, and a loose part
    whatever makes it move."""
    if cause.subsystem is Subsystem.FAN:
        return "drive not firing" if cause.fault.kind == "triac" else "fan not turning"
    return f"{cause.fault.part} {LOOSE_MODE}" if cause.pattern is not None else cause.fault.key


def find_side_test(
    dictionary: FaultDictionary, fits: Sequence[Fit], progress: Callable[[str], None] | None = None
) -> SideTest | None:
    """The first reading that tells on which side the cause lies.

    Parameters
    ----------
    dictionary : FaultDictionary
        Of the board and the meter.
    fits : sequence of Fit
    progress : callable, optional
        Told which reading is being predicted.

    Returns
    -------
    find_side_test : SideTest or None
        None: nearly all that fits lies on one side, or no reading tells.
    """
    sides = sorted(
        {fit.cause.subsystem for fit in fits} - {Subsystem.NONE}, key=list(Subsystem).index
    )
    weights = _weights(dictionary, fits, sides)
    totals = np.array([sum(weights[side].values()) for side in sides])
    if not sides or totals.max() >= SURE * totals.sum():
        return None
    told = []
    for reading in dictionary.readings:
        if progress is not None:
            progress(reading_text(reading, dictionary.circuit))
        values = dictionary.by_fault(dictionary.predictions(reading))
        gain, shown = _gain(reading, values, weights, sides)
        told.append((gain, reading, shown))
    best = max((gain for gain, _, _ in told), default=0.0)
    if best < MIN_GAIN_BITS:
        return None
    enough = [one for one in told if one[0] >= GOOD_SHARE * best]
    gain, reading, shown = min(enough, key=lambda one: _trouble(dictionary, one[1], one[0]))
    return SideTest(
        reading=reading,
        where=access_level(dictionary.circuit, reading),
        shown=shown,
        gain_bits=gain,
        open_bits=_entropy(totals / totals.sum()),
    )


def _trouble(
    dictionary: FaultDictionary, reading: Reading, gain_bits: float
) -> tuple[int, bool, float]:
    """Safest side first; then against neutral, for 0 V elsewhere may be dead mains; then gain."""
    side = access_level(dictionary.circuit, reading)
    return list(Where).index(side), "neutral" not in (reading.red, reading.black), -gain_bits


def _weights(
    dictionary: FaultDictionary, fits: Sequence[Fit], sides: Sequence[Subsystem]
) -> dict[Subsystem, dict[int, float]]:
    """Weight of each fault of the fault dictionary, by side; causes outside the sync circuit look
    healthy."""
    place = {fault.key: f for f, fault in enumerate(dictionary.faults)}
    weights: dict[Subsystem, dict[int, float]] = {side: {} for side in sides}
    for fit in fits:
        if fit.cause.subsystem is not Subsystem.NONE:
            of_side = weights[fit.cause.subsystem]
            f = place.get(fit.cause.fault.key, 0)
            of_side[f] = of_side.get(f, 0.0) + fit.share_ratio
    return weights


def _gain(
    reading: Reading,
    values: Sequence[FloatArray],
    weights: dict[Subsystem, dict[int, float]],
    sides: Sequence[Subsystem],
) -> tuple[float, dict[Subsystem, tuple[float, float, float]]]:
    """Information about the side, in bits, and what the reading shows for each."""
    bins: dict[float, FloatArray] = {}
    shown, least = {}, reading.function.row.least_read
    for s, side in enumerate(sides):
        seen = [(values[f], w) for f, w in weights[side].items() if values[f].size]
        all_values = np.concatenate([v for v, _ in seen])
        all_weights = np.concatenate([np.full(v.size, w / v.size) for v, w in seen])
        shown[side] = _points(all_values, all_weights)
        steps = np.round(np.arcsinh(all_values / least) / STEP)
        for step in np.unique(steps):
            bins.setdefault(float(step), np.zeros(len(sides)))[s] += all_weights[
                steps == step
            ].sum()
    joint = np.array(list(bins.values()))
    joint = joint / joint.sum()
    of_bin = joint.sum(axis=1)
    left = sum(p * _entropy(row / p) for p, row in zip(of_bin, joint, strict=True))
    return max(_entropy(joint.sum(axis=0)) - float(left), 0.0), shown


def _points(values: FloatArray, weights: FloatArray) -> tuple[float, float, float]:
    """10 %, 50 % and 90 % point."""
    order = np.argsort(values)
    share = np.cumsum(weights[order])
    low, middle, high = values[order][np.searchsorted(share / share[-1], (0.1, 0.5, 0.9))]
    return float(low), float(middle), float(high)


def _entropy(shares: FloatArray) -> float:
    """In bits."""
    there = shares[shares > 0.0]
    return float(-np.sum(there * np.log2(there)))
