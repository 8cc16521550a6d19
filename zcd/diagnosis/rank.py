"""Faults ranked by probability, those that no reading parts named together."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.atlas import Atlas, Progress
from zcd.diagnosis.faults import Fault
from zcd.diagnosis.flags import no_fault_share
from zcd.diagnosis.gain import parted_bits
from zcd.diagnosis.likelihood import BREADTHS, OUTLIER_SHARE, joint_log
from zcd.diagnosis.readings import VOLTS, Measured, Power, Reading, Side, side_of
from zcd.diagnosis.severity import severity_points
from zcd.diagnosis.suggest import Suggestion, best_reading, within_reach

FloatArray = NDArray[np.float64]

SURE = 0.95
DANGER_FACTOR = 2.0
"""Voltage on the isolated side over its highest supply, beyond which mains is suspected."""
LEAST_DANGER_V = 25.0
"""No lower voltage stops the work: it is a wrong or failed supply; common practice, no source."""
NONE_OF_THESE = "none of these"
LEAST_PARTED_BITS = 0.1
"""Two faults that no reading is expected to part by so much are named together."""
WRONG_VALUE = {"ten times too high": "drift", "ten times too low": "low"}
"""Modes that a meter cannot part and that ask for the same repair."""
LEAST_SIZED = 1e-3
UNKNOWN_SIZE = (0.1, 0.5, 0.9)
"""Severity of a fault too improbable to ask how far it has gone."""
LEAST_COMPARED = 0.01
MOST_COMPARED = 8
SUSPECT = 0.5
FEWEST_FACTS = 3
"""A reading can disagree with all the others only where there are some."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """A fault with its probability.

    Parameters
    ----------
    fault : Fault or None
        None: none of these.
    probability : float
    severity : float
        Middle of the severities that explain the readings, 0 to 1.
    amount : tuple of float or None
        10 %, 50 % and 90 % point of what the severity means, in the fault's unit.
    """

    fault: Fault | None
    probability: float
    severity: float = 0.5
    amount: tuple[float, float, float] | None = None

    @property
    def key(self) -> str:
        """Such as ``R2 open``."""
        return self.fault.key if self.fault else NONE_OF_THESE

    @property
    def words(self) -> str:
        """What is wrong and what to do about it."""
        if self.fault:
            return self.fault.words
        return "no fault in the list explains these readings: take them again, one at a time"


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """What the readings say.

    Parameters
    ----------
    measured : tuple of Measured
    ranked : tuple of Ranked
        Most probable first; probabilities sum to 1.
    suggestion : Suggestion or None
        None: settled, or nothing left would change the mind.
    conclusion : str
        One sentence.
    alike : tuple of Ranked
        The first of the ranking, and what no reading on this board would part from it.
    suspects : tuple of Measured
        Readings that disagree with all the others.
    stopped : str
        Why nothing more is asked: ``sure``, ``nothing left``, ``danger``; empty: it is.
    """

    measured: tuple[Measured, ...]
    ranked: tuple[Ranked, ...]
    suggestion: Suggestion | None
    conclusion: str
    alike: tuple[Ranked, ...] = ()
    suspects: tuple[Measured, ...] = ()
    stopped: str = ""


def diagnose(
    atlas: Atlas,
    measured: Sequence[Measured],
    skipped: Collection[Reading] = (),
    progress: Progress | None = None,
    flags: Collection[str] = (),
) -> Diagnosis:
    """Rank the faults and choose the next reading.

    Parameters
    ----------
    atlas : Atlas
    measured : sequence of Measured
        Readings taken so far; may be empty. One that is taken again replaces the first.
    skipped : collection of Reading
        Not to be suggested: the bench cannot take them, nor others at the same points.
    progress : callable, optional
        Told which reading is being predicted.
    flags : collection of str
        What the controller reports: ``sync``, ``fan`` or ``none``; empty: nobody looked.

    Returns
    -------
    diagnosis : Diagnosis
    """
    measured = list({m.reading: m for m in measured}.values())
    atlas.prepare([m.reading for m in measured], progress)
    weights, none = posterior(atlas, measured, flags)
    ranked = _ranked(atlas, weights, none, measured)
    alarm = _alarm(atlas, measured)
    alike, suggestion = ranked[:1], None
    sure = present(ranked) >= SURE
    if not sure and not alarm:
        taken = {m.reading for m in measured}
        reached = within_reach(atlas.readings, skipped, atlas.circuit)
        open_readings = [r for r in reached if r not in taken]
        suggestion = best_reading(atlas, weights, none, open_readings, progress)
        if suggestion is None or sum(r.probability for r in _near(ranked)) >= SURE:
            atlas.prepare(atlas.readings, progress)
            alike = _alike(atlas, weights, ranked, measured)
            sure = sum(r.probability for r in alike) >= SURE
            suggestion = None if sure else suggestion
    certain = None if sure or suggestion or alarm else in_every_pair(ranked)
    if certain is not None:
        alike, sure = (certain,), True
    return Diagnosis(
        measured=tuple(measured),
        ranked=ranked,
        suggestion=suggestion,
        conclusion=alarm
        or (_first_of_two(certain) if certain else _conclusion(alike, suggestion, sure)),
        alike=alike,
        suspects=_suspects(atlas, measured, flags, weights, none),
        stopped="danger" if alarm else "sure" if sure else "" if suggestion else "nothing left",
    )


def posterior(
    atlas: Atlas, measured: Sequence[Measured], flags: Collection[str] = ()
) -> tuple[FloatArray, float]:
    """Weight of every entry and sample, shape (E, N), and of none of these; they sum to 1."""
    spread = np.bincount(atlas.member)[atlas.member] * atlas.severity.shape[1] * len(BREADTHS)
    prior = np.log(atlas.shares[atlas.member] / spread)[:, None] + np.log(atlas.flags(flags))
    log_weight = np.broadcast_to(prior, (len(BREADTHS), *atlas.severity.shape))
    log_none = np.log1p(-atlas.shares.sum()) + np.log(no_fault_share(flags))
    for fact in _facts(measured):
        fits = [(atlas.fit(m.reading), m) for m in fact]
        found = [joint_log(fits, breadth) for breadth in BREADTHS]
        log_weight = log_weight + np.stack([log_density for log_density, _ in found])
        log_none += found[0][1]
    top = max(float(log_weight.max()), float(log_none))
    weights, none = np.exp(log_weight - top).sum(axis=0), float(np.exp(log_none - top))
    total = float(weights.sum()) + none
    return weights / total, none / total


def _facts(measured: Sequence[Measured]) -> list[list[Measured]]:
    """Readings by the fact they show: those of the same pulses together, others alone."""
    others = [[m] for m in measured if not m.reading.at_pin]
    pulses: dict[Power, list[Measured]] = {}
    for m in measured:
        if m.reading.at_pin:
            pulses.setdefault(m.reading.power, []).append(m)
    return [*others, *pulses.values()]


def _ranked(
    atlas: Atlas, weights: FloatArray, none: float, measured: Sequence[Measured]
) -> tuple[Ranked, ...]:
    """Faults with their probabilities, most probable first."""
    found = [Ranked(fault=None, probability=none)]
    for number, (fault, row) in enumerate(zip(atlas.faults, atlas.by_fault(weights), strict=True)):
        if fault.amount is None:
            found.append(Ranked(fault=fault, probability=float(row.sum())))
            continue
        low, middle, high = UNKNOWN_SIZE
        if row.sum() >= LEAST_SIZED:
            low, middle, high = severity_points(atlas, number, weights, measured)
        amount = fault.amount(np.array([low, middle, high]))
        found.append(
            Ranked(
                fault=fault,
                probability=float(row.sum()),
                severity=middle,
                amount=(float(amount[0]), float(amount[1]), float(amount[2])),
            )
        )
    return tuple(sorted(found, key=lambda r: -r.probability))


def present(ranked: Sequence[Ranked]) -> float:
    """Probability that the first of the ranking is there: alone, with a second, now and then."""
    first = ranked[0]
    return sum(r.probability for r in ranked if one_repair(first, r) or _has(r, first.key))


def in_every_pair(ranked: Sequence[Ranked]) -> Ranked | None:
    """Of two faults the one that is there whatever the second is, with the chance of that."""
    first = ranked[0].fault
    for member in first.members if first is not None else ():
        single = next(r for r in ranked if r.key == member)
        there = sum(r.probability for r in ranked if r is single or _has(r, member))
        if there >= SURE:
            return replace(single, probability=there)
    return None


def one_repair(first: Ranked, second: Ranked) -> bool:
    """Whether two faults are one, or differ only in how a part of the wrong value came about."""
    a, b = first.fault, second.fault
    if a is None or b is None:
        return a is b
    same = [WRONG_VALUE.get(fault.mode, fault.mode) for fault in (a, b)]
    return a.key == b.key or (bool(a.part) and a.part == b.part and same[0] == same[1])


def _has(ranked: Ranked, key: str) -> bool:
    fault = ranked.fault
    return fault is not None and key in (*fault.members, *fault.states[1:])


def _near(ranked: Sequence[Ranked]) -> list[Ranked]:
    """The likeliest faults, which are worth comparing."""
    return [r for r in ranked[:MOST_COMPARED] if r.fault and r.probability >= LEAST_COMPARED]


def _alike(
    atlas: Atlas, weights: FloatArray, ranked: Sequence[Ranked], measured: Sequence[Measured]
) -> tuple[Ranked, ...]:
    """The first of the ranking, and those that no reading parts from it, taken or not."""
    near = _near(ranked)
    if not near or near[0] is not ranked[0]:
        return tuple(ranked[:1])
    numbers = [atlas.faults.index(r.fault) for r in near if r.fault]
    every = dict.fromkeys((*atlas.readings, *(m.reading for m in measured)))
    bits = parted_bits([atlas.spectrum(r) for r in every], weights, atlas.member, numbers)
    return tuple(
        r
        for r, each in zip(near, bits[0], strict=True)
        if each < LEAST_PARTED_BITS or one_repair(ranked[0], r)
    )


def _suspects(
    atlas: Atlas,
    measured: Sequence[Measured],
    flags: Collection[str],
    weights: FloatArray,
    none: float,
) -> tuple[Measured, ...]:
    """Readings that what is believed now takes for slips, or that alone stand against it."""
    facts = _facts(measured)
    if len(facts) < FEWEST_FACTS:
        return ()
    found: list[Measured] = []
    for fact in facts:
        if none > SUSPECT:
            others = [m for other in facts if other is not fact for m in other]
            _, rest = posterior(atlas, others, flags)
            slip = 1.0 - rest
        else:
            log_density, log_flat = joint_log([(atlas.fit(m.reading), m) for m in fact])
            share = np.exp(np.log(OUTLIER_SHARE) + log_flat - log_density)
            slip = float(np.sum(share * weights) / (1.0 - none))
        if slip > SUSPECT:
            found += fact
    return tuple(found)


def _alarm(atlas: Atlas, measured: Sequence[Measured]) -> str:
    """Words to stop the work, if the isolated side is not what its name says."""
    relay = atlas.board.relay
    highest = max(atlas.board.output.supply_v, relay.coil_supply_v if relay is not None else 0.0)
    most = max(DANGER_FACTOR * highest, LEAST_DANGER_V)
    for m in measured:
        isolated = side_of(atlas.circuit, m.reading) in (Side.BENCH, Side.ISOLATED)
        shown = m.value if m.low is None else m.low
        if m.reading.function in VOLTS and isolated and abs(shown) > most:
            return (
                f"STOP, unplug: {m.reading.words} shows {abs(m.value):.3g} V where no more than "
                f"{most:.3g} V can be; either the isolation is broken and the isolated side is "
                "live, or a probe is on the mains side"
            )
    return ""


def _first_of_two(certain: Ranked) -> str:
    return f"{certain.words}; there is a second fault: repair this one, then measure again"


def _conclusion(alike: Sequence[Ranked], suggestion: Suggestion | None, sure: bool) -> str:
    """One sentence on where the diagnosis stands."""
    first = alike[0]
    if len(alike) > 1 and suggestion is None:
        names = ", ".join(r.key for r in alike)
        return f"one of these, which no reading on this board tells apart: {names}; {first.words}"
    if sure:
        return first.words
    if suggestion is None:
        return (
            f"nothing left to measure would tell these apart; start with the first: {first.words}"
        )
    return f"not settled yet; next reading: {suggestion.reading.words}"
