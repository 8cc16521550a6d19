"""Faults ranked by probability, and the next reading that would tell most apart."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.atlas import Atlas, Progress
from zcd.diagnosis.faults import Fault
from zcd.diagnosis.likelihood import Fit, joint_log
from zcd.diagnosis.priors import prior_shares
from zcd.diagnosis.readings import (
    PIN_FUNCTIONS,
    Function,
    Measured,
    Reading,
    Side,
    side_of,
)

FloatArray = NDArray[np.float64]

SURE = 0.95
LEAST_GAIN_BITS = 0.05
COSTS = {Side.DEAD: 1.0, Side.ISOLATED: 1.5, Side.MAINS: 20.0}
"""What a reading costs in trouble and danger: common practice, no source."""
TRIALS = 160
NEAR_WIDTHS = 3.0
"""How far from a reading its line is fitted, in widths of a sample."""
LEAST_SPREAD = 1e-200
NINETY_PER_CENT = 1.2816
"""90 % point of the normal distribution, in standard deviations."""
OUTCOMES = 8
DANGER_FACTOR = 2.0
"""Voltage on the isolated side over its highest supply, beyond which mains is suspected."""
NONE_OF_THESE = "none of these"


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
        return "no single fault explains these readings: take them again, look for two faults"


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a reading would show if a fault were the one: 10 %, 50 % and 90 % point."""

    key: str
    value: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """The next reading to take.

    Parameters
    ----------
    reading : Reading
    side : Side
    gain_bits : float
        Information expected from it.
    open_bits : float
        What is still open before it: entropy of which fault it is.
    outcomes : tuple of Outcome
        For the likeliest faults.
    """

    reading: Reading
    side: Side
    gain_bits: float
    open_bits: float
    outcomes: tuple[Outcome, ...]


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
    """

    measured: tuple[Measured, ...]
    ranked: tuple[Ranked, ...]
    suggestion: Suggestion | None
    conclusion: str


def diagnose(
    atlas: Atlas,
    measured: Sequence[Measured],
    skipped: Collection[Reading] = (),
    progress: Progress | None = None,
) -> Diagnosis:
    """Rank the faults and choose the next reading.

    Parameters
    ----------
    atlas : Atlas
    measured : sequence of Measured
        Readings taken so far; may be empty. One that is taken again replaces the first.
    skipped : collection of Reading
        Not to be suggested: the bench cannot take them.
    progress : callable, optional
        Told which reading is being predicted.

    Returns
    -------
    diagnosis : Diagnosis
    """
    measured = list({m.reading: m for m in measured}.values())
    alarm = _alarm(atlas, measured)
    weights, none = posterior(atlas, measured)
    ranked = _ranked(atlas, weights, none, measured)
    taken = {m.reading for m in measured} | set(skipped)
    open_readings = [r for r in atlas.readings if r not in taken]
    suggestion = None
    if ranked[0].probability < SURE and not alarm:
        atlas.prepare(open_readings, progress)
        suggestion = _best(atlas, weights, none, open_readings)
    return Diagnosis(
        measured=tuple(measured),
        ranked=ranked,
        suggestion=suggestion,
        conclusion=alarm or _conclusion(ranked, suggestion),
    )


def posterior(atlas: Atlas, measured: Sequence[Measured]) -> tuple[FloatArray, float]:
    """Weight of every entry and sample, shape (E, N), and of none of these; they sum to 1."""
    shares = prior_shares(atlas.faults)
    spread = np.bincount(atlas.member)[atlas.member] * atlas.severity.shape[1]
    log_weight = np.log(shares[atlas.member] / spread)[:, None] + np.zeros(atlas.severity.shape)
    log_none = np.log1p(-shares.sum())
    for fact in _facts(measured):
        log_density, log_flat = joint_log([(atlas.fit(m.reading), m.value) for m in fact])
        log_weight = log_weight + log_density
        log_none += log_flat
    top = max(float(log_weight.max()), float(log_none))
    weights, none = np.exp(log_weight - top), float(np.exp(log_none - top))
    total = float(weights.sum()) + none
    return weights / total, none / total


def _facts(measured: Sequence[Measured]) -> list[list[Measured]]:
    """Readings by the fact they show: those of the pulses at the pin together, others alone."""
    pulses = [m for m in measured if m.reading.function in PIN_FUNCTIONS]
    others = [[m] for m in measured if m.reading.function not in PIN_FUNCTIONS]
    return [*others, pulses] if pulses else others


def _ranked(
    atlas: Atlas, weights: FloatArray, none: float, measured: Sequence[Measured]
) -> tuple[Ranked, ...]:
    """Faults with their probabilities, most probable first."""
    found = [Ranked(fault=None, probability=none)]
    for number, (fault, row) in enumerate(zip(atlas.faults, atlas.by_fault(weights), strict=True)):
        low, middle, high = 0.5, 0.5, 0.5
        if fault.amount is not None:
            low, middle, high = severity_points(atlas, number, weights, measured)
        amount = tuple(fault.amount(np.array([low, middle, high]))) if fault.amount else None
        found.append(
            Ranked(
                fault=fault,
                probability=float(row.sum()),
                severity=middle,
                amount=(float(amount[0]), float(amount[1]), float(amount[2])) if amount else None,
            )
        )
    return tuple(sorted(found, key=lambda r: -r.probability))


def severity_points(
    atlas: Atlas, fault: int, weights: FloatArray, measured: Sequence[Measured]
) -> tuple[float, float, float]:
    """10 %, 50 % and 90 % point of a fault's severity.

    The samples stand too far apart for a precise reading. Each is moved to what was read, along
    a straight line of severity against the one reading that tells most of it.

    Parameters
    ----------
    atlas : Atlas
    fault : int
        Its number.
    weights : ndarray, shape (E, N)
    measured : sequence of Measured

    Returns
    -------
    points : tuple of float

    References
    ----------
    .. [1] M. A. Beaumont, W. Zhang and D. J. Balding, "Approximate Bayesian Computation in
       Population Genetics", Genetics 162(4), pp. 2025-2035, 2002 (regression adjustment).
    """
    severity = atlas.by_fault(atlas.severity)[fault]
    weight = atlas.by_fault(weights)[fault]
    best, slope, off, error_of = 0.0, 0.0, np.zeros(severity.size), 0.0
    for m in measured:
        fit = atlas.fit(m.reading)
        away = atlas.by_fault(fit.away(m.value))[fault]
        near = np.exp(-0.5 * (away / atlas.by_fault(fit.width)[fault] / NEAR_WIDTHS) ** 2)
        told, rise = _line(away, severity, near)
        if told > best:
            best, slope, off, error_of = told, rise, away, fit.error_at(m.value)
    low, middle, high = _points(np.clip(severity - slope * off, 0.0, 1.0), weight)
    blur = NINETY_PER_CENT * abs(slope) * error_of
    return (
        float(np.clip(middle - np.hypot(middle - low, blur), 0.0, 1.0)),
        middle,
        float(np.clip(middle + np.hypot(high - middle, blur), 0.0, 1.0)),
    )


def _line(x: FloatArray, y: FloatArray, weight: FloatArray) -> tuple[float, float]:
    """Squared correlation and slope of a weighted straight line."""
    total = weight.sum()
    if total <= 0:
        return 0.0, 0.0
    dx, dy = x - weight @ x / total, y - weight @ y / total
    xx, yy, xy = weight @ dx**2, weight @ dy**2, weight @ (dx * dy)
    if xx * yy < LEAST_SPREAD:
        return 0.0, 0.0
    return float(xy**2 / (xx * yy)), float(xy / xx)


def _points(values: FloatArray, weights: FloatArray) -> tuple[float, float, float]:
    """10 %, 50 % and 90 % point of weighted samples."""
    order = np.argsort(values)
    share = np.cumsum(weights[order])
    if share[-1] <= 0:
        share = np.arange(1.0, values.size + 1)
    at = np.searchsorted(share / share[-1], (0.1, 0.5, 0.9)).clip(0, values.size - 1)
    low, middle, high = values[order][at]
    return float(low), float(middle), float(high)


def _best(
    atlas: Atlas, weights: FloatArray, none: float, readings: Sequence[Reading]
) -> Suggestion | None:
    """The reading with the largest expected gain for its cost."""
    best: tuple[float, Reading, float] | None = None
    for reading in readings:
        gain = expected_gain_bits(atlas.fit(reading), weights, atlas.member, none)
        score = gain / COSTS[side_of(atlas.circuit, reading)]
        if gain >= LEAST_GAIN_BITS and (best is None or score > best[0]):
            best = score, reading, gain
    if best is None:
        return None
    _, reading, gain = best
    return Suggestion(
        reading=reading,
        side=side_of(atlas.circuit, reading),
        gain_bits=gain,
        open_bits=float(_entropy(np.array([w.sum() for w in atlas.by_fault(weights)]))),
        outcomes=_outcomes(atlas, reading, weights),
    )


def _outcomes(atlas: Atlas, reading: Reading, weights: FloatArray) -> tuple[Outcome, ...]:
    """What the reading would show under the likeliest faults."""
    shown, weight = atlas.by_fault(atlas.shown(reading)), atlas.by_fault(weights)
    likely = np.argsort([-w.sum() for w in weight])[:OUTCOMES]
    return tuple(
        Outcome(key=atlas.faults[f].key, value=_points(shown[f], weight[f])) for f in likely
    )


def expected_gain_bits(
    fit: Fit, weights: FloatArray, member: NDArray[np.intp], none: float
) -> float:
    """Information that a reading is expected to give about which fault it is.

    Parameters
    ----------
    fit : Fit
        E entries, N samples.
    weights : ndarray, shape (E, N)
        Posterior before the reading.
    member : ndarray of int, shape (E,)
        Fault of each entry.
    none : float
        Probability of none of these, of which a reading says nothing.

    Returns
    -------
    gain : float
        Mutual information of fault and reading, at readings drawn evenly from the posterior.
    """
    flat = weights.ravel() / weights.sum()
    picks = np.searchsorted(np.cumsum(flat), (np.arange(TRIALS) + 0.5) / TRIALS)
    values = fit.reading_at(picks.clip(0, flat.size - 1))
    of_fault = np.equal.outer(member, np.arange(member.max() + 1)).astype(float)
    joint = np.sum(fit.density(values) * weights, axis=2) @ of_fault
    after = joint / joint.sum(axis=1, keepdims=True)
    before = weights.sum(axis=1) @ of_fault / weights.sum()
    return (1.0 - none) * max(float(_entropy(before) - np.mean(_entropy(after))), 0.0)


def _entropy(shares: FloatArray) -> FloatArray:
    """Entropy over the last axis, in bits."""
    logs = np.log2(np.maximum(shares, 1e-300))
    return np.asarray(-np.sum(shares * logs, axis=-1))


def _alarm(atlas: Atlas, measured: Sequence[Measured]) -> str:
    """Words to stop the work, if the isolated side is not what its name says."""
    relay = atlas.board.relay
    most = DANGER_FACTOR * max(
        atlas.board.output.supply_v, relay.coil_supply_v if relay is not None else 0.0
    )
    for m in measured:
        volts = m.reading.function in (Function.DC, Function.AC)
        isolated = side_of(atlas.circuit, m.reading) is Side.ISOLATED
        if volts and isolated and abs(m.value) > most:
            return (
                f"STOP, unplug: {m.reading.words} shows {abs(m.value):.3g} V where no more than "
                f"{most:.3g} V can be; either the isolation is broken and the isolated side is "
                "live, or a probe is on the mains side"
            )
    return ""


def _conclusion(ranked: Sequence[Ranked], suggestion: Suggestion | None) -> str:
    """One sentence on where the diagnosis stands."""
    first = ranked[0]
    if first.probability >= SURE:
        return first.words
    if suggestion is None:
        return (
            f"nothing left to measure would tell these apart; start with the first: {first.words}"
        )
    return f"not settled yet; next reading: {suggestion.reading.words}"
