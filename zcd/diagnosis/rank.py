"""Faults ranked by probability, and the next reading that would tell most apart."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.atlas import Atlas, Progress
from zcd.diagnosis.faults import Fault
from zcd.diagnosis.likelihood import Fit
from zcd.diagnosis.priors import prior_shares
from zcd.diagnosis.readings import Measured, Reading, Side, side_of

FloatArray = NDArray[np.float64]

SURE = 0.95
LEAST_GAIN_BITS = 0.05
COSTS = {Side.DEAD: 1.0, Side.ISOLATED: 1.5, Side.MAINS: 3.0}
"""What a reading costs in trouble and danger: common practice, no source."""
TRIALS = 160
OUTCOMES = 4
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
    outcomes : tuple of Outcome
        For the likeliest faults.
    """

    reading: Reading
    side: Side
    gain_bits: float
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
        Readings taken so far; may be empty.
    skipped : collection of Reading
        Not to be suggested: the bench cannot take them.
    progress : callable, optional
        Told which reading is being predicted.

    Returns
    -------
    diagnosis : Diagnosis
    """
    weights, none = posterior(atlas, measured)
    ranked = _ranked(atlas, weights, none)
    taken = {m.reading for m in measured} | set(skipped)
    open_readings = [r for r in atlas.readings if r not in taken]
    suggestion = None
    if ranked[0].probability < SURE:
        atlas.prepare(open_readings, progress)
        suggestion = _best(atlas, weights, none, open_readings)
    return Diagnosis(
        measured=tuple(measured),
        ranked=ranked,
        suggestion=suggestion,
        conclusion=_conclusion(ranked, suggestion),
    )


def posterior(atlas: Atlas, measured: Sequence[Measured]) -> tuple[FloatArray, float]:
    """Weight of every fault and sample, shape (F, N), and of none of these; they sum to 1."""
    shares = prior_shares(atlas.faults)
    log_weight = np.log(shares)[:, None] - np.log(atlas.severity.size)
    log_weight = np.broadcast_to(log_weight, (shares.size, atlas.severity.size))
    log_none = np.log1p(-shares.sum())
    for m in measured:
        fit = Fit(m.reading, atlas.shown(m.reading), atlas.meter)
        log_weight = log_weight + np.log(fit.density(m.value))
        log_none += np.log(fit.flat)
    top = max(float(log_weight.max()), float(log_none))
    weights, none = np.exp(log_weight - top), float(np.exp(log_none - top))
    total = float(weights.sum()) + none
    return weights / total, none / total


def _ranked(atlas: Atlas, weights: FloatArray, none: float) -> tuple[Ranked, ...]:
    """Faults with their probabilities, most probable first."""
    found = [Ranked(fault=None, probability=none)]
    for fault, row in zip(atlas.faults, weights, strict=True):
        amount = None
        if fault.amount is not None:
            amount = _points(fault.amount(atlas.severity), row)
        found.append(
            Ranked(
                fault=fault,
                probability=float(row.sum()),
                severity=_points(atlas.severity, row)[1],
                amount=amount,
            )
        )
    return tuple(sorted(found, key=lambda r: -r.probability))


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
        gain = expected_gain_bits(Fit(reading, atlas.shown(reading), atlas.meter), weights, none)
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
        outcomes=_outcomes(atlas, reading, weights),
    )


def _outcomes(atlas: Atlas, reading: Reading, weights: FloatArray) -> tuple[Outcome, ...]:
    """What the reading would show under the likeliest faults."""
    shown = atlas.shown(reading)
    likely = np.argsort(-weights.sum(axis=1))[:OUTCOMES]
    return tuple(
        Outcome(key=atlas.faults[f].key, value=_points(shown[f], weights[f])) for f in likely
    )


def expected_gain_bits(fit: Fit, weights: FloatArray, none: float) -> float:
    """Information that a reading is expected to give about which fault it is.

    Parameters
    ----------
    fit : Fit
        F faults, N samples.
    weights : ndarray, shape (F, N)
        Posterior before the reading.
    none : float
        Probability of none of these, of which a reading says nothing.

    Returns
    -------
    gain : float
        Mutual information of fault and reading, at readings drawn evenly from the posterior.
    """
    flat = weights.ravel() / weights.sum()
    picks = np.searchsorted(np.cumsum(flat), (np.arange(TRIALS) + 0.5) / TRIALS)
    values = _unscaled(fit, fit.centre.ravel()[picks.clip(0, flat.size - 1)])
    joint = np.sum(fit.density(values) * weights, axis=2)
    after = joint / joint.sum(axis=1, keepdims=True)
    before = weights.sum(axis=1) / weights.sum()
    return (1.0 - none) * max(float(_entropy(before) - np.mean(_entropy(after))), 0.0)


def _unscaled(fit: Fit, centre: FloatArray) -> FloatArray:
    """Readings whose scaled value is `centre`."""
    from zcd.diagnosis.likelihood import LEAST_OHM
    from zcd.diagnosis.readings import Function

    return 10.0**centre - LEAST_OHM if fit.function is Function.OHM else centre


def _entropy(shares: FloatArray) -> FloatArray:
    """Entropy over the last axis, in bits."""
    logs = np.log2(np.maximum(shares, 1e-300))
    return np.asarray(-np.sum(shares * logs, axis=-1))


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
