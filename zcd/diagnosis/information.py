"""What a reading would tell: how far it is expected to part the faults that are still open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import hypot
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.likelihood import OUTLIER_SHARE, Fit, error_parts, restless
from zcd.diagnosis.readings import Measured

if TYPE_CHECKING:
    from scipy.sparse import csr_array

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

SURE = 0.98
"""Probability from which a fault counts as settled."""
NEGLIGIBLE = 1e-4
"""Share of a fault that the choice of a reading need not look at."""
REACH_WIDTHS = 3.0
"""How far a sample reaches, in its own widths."""
SAME_BINS = 2
"""A reading taken again shows the same if it lies so many bins (errors) away at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectrum:
    """What a reading shows, as shares in bins about as wide as its error; sparse.

    Parameters
    ----------
    edges : ndarray, shape (bins + 1,)
        Ends of the bins, on the reading's own scale.
    shares : sparse array, shape (E * N, bins)
        What of a sample is in a bin.
    averaged : ndarray of bool, shape (E,)
        Entries that count as a whole: their samples are all alike to this reading.
    """

    edges: FloatArray
    shares: csr_array
    averaged: NDArray[np.bool_]

    @property
    def bins(self) -> int:
        """Number of bins."""
        return self.edges.size - 1

    def bin_of(self, value: float) -> int:
        """The bin in which a value lies, or the nearest."""
        result = np.searchsorted(self.edges, value, side="right") - 1
        return int(np.clip(result, 0, self.bins - 1))

    def of_groups(self, weights: FloatArray, group: IntArray, groups: int) -> FloatArray:
        """Share of each bin in groups of entries, whose samples have weights of shape (E, N); shape
        (groups, bins). The weight of an entry that counts as a whole is even over its samples."""
        even = weights.mean(axis=1, keepdims=True)
        weights = np.where(self.averaged[:, None], even, weights).ravel()
        sample = np.flatnonzero(weights)
        entry, starts = sample // (weights.size // len(group)), self.shares.indptr[sample]
        counts = self.shares.indptr[sample + 1] - starts
        before = np.cumsum(counts) - counts
        place = np.arange(counts.sum()) + np.repeat(starts - before, counts)
        cell = self.shares.indices[place] + np.repeat(self.bins * group[entry], counts)
        share = self.shares.data[place] * np.repeat(weights[sample], counts)
        shown = np.bincount(cell, share, groups * self.bins).reshape(groups, self.bins)
        return np.asarray(shown, dtype=float)


def spectrum(fit: Fit) -> Spectrum:
    """Spread every sample of a reading over bins.

    Parameters
    ----------
    fit : Fit
        E entries, N samples.

    Returns
    -------
    spectrum : Spectrum
    """
    from scipy.special import ndtr

    centre, width = fit.centre.ravel(), fit.width.ravel()
    reach = REACH_WIDTHS * width
    edges = _edges(fit, float(np.min(centre - reach)), float(np.max(centre + reach)))
    first = np.searchsorted(edges, centre - reach, side="right") - 1
    last = np.searchsorted(edges, centre + reach, side="left")
    # every edge that a sample reaches, sample by sample: its bins lie between two of them
    ends = np.cumsum(last - first + 1)
    starts = np.concatenate([[0], ends[:-1]])
    sample = np.repeat(np.arange(centre.size), last - first + 1)
    place = np.arange(sample.size) + (first - starts)[sample]
    below = ndtr((edges[place] - centre[sample]) / width[sample])
    share = np.diff(below) / (below[ends - 1] - below[starts])[sample[:-1]]
    bins = sample[1:] == sample[:-1]
    rows = np.concatenate([[0], np.cumsum(last - first)])
    shares = sparse((share[bins], place[:-1][bins], rows), (centre.size, edges.size - 1))
    return _with_states(fit, edges, shares)


def _edges(fit: Fit, low: float, high: float) -> FloatArray:
    """Bins from end to end, each as wide as the error of what lies in it."""
    ratio, floor = error_parts(fit.function, fit.meter)
    edges = [low]
    while edges[-1] < high:
        edges.append(edges[-1] + hypot(ratio * edges[-1], floor))
    return np.array(edges)


def _with_states(fit: Fit, edges: FloatArray, shares: csr_array) -> Spectrum:
    """Add the entries that look now like one entry, now like another: half of either, or warm."""
    n = fit.centre.shape[1]
    looks = (fit.states[:, :, None] * n + np.arange(n)).swapaxes(1, 2)
    steady = np.where(fit.cold, [1.0, 0.0], [0.0, 1.0])
    share = np.where(restless(len(fit.states)), 0.5, steady)
    factor = np.broadcast_to(share[:, None], looks.shape)
    rows = np.arange(0, looks.size + 1, 2)
    turns = sparse((factor.ravel(), looks.ravel(), rows), (len(rows) - 1, shares.shape[0]))
    averaged = np.concatenate([fit.averaged, fit.averaged[fit.states].all(axis=1)])
    return Spectrum(edges=edges, shares=_stacked(shares, turns @ shares), averaged=averaged)


def _stacked(upper: csr_array, lower: csr_array) -> csr_array:
    """Rows of one table, then those of another."""
    content = (
        np.concatenate([upper.data, lower.data]),
        np.concatenate([upper.indices, lower.indices]),
        np.concatenate([upper.indptr, lower.indptr[1:] + upper.nnz]),
    )
    return sparse(content, (upper.shape[0] + lower.shape[0], upper.shape[1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What a reading is expected to be worth.

    Parameters
    ----------
    bits : float
        Information on which fault it is.
    rise : float
        How much likelier it makes the best answer to be true: of 100 boards that read like this
        one, so many more get the right repair. 0: no answer puts another fault first.
    settles : float
        Chance of an answer after which one fault is sure.
    """

    bits: float
    rise: float
    settles: float


@dataclass(frozen=True, kw_only=True)
class Posterior:
    """What is believed before a reading.

    Parameters
    ----------
    weights : ndarray, shape (E, N)
        Posterior of entries and samples.
    member : ndarray of int, shape (E,)
        Fault of each entry.
    unmodelled : float
        Probability of none of these.
    holds : sparse array, shape (F, F)
        1 where a fault (row) is there if another (column) is: itself, in a pair, now and then.
    measured : tuple of Measured
        The readings that it rests on.
    """

    weights: FloatArray
    member: IntArray
    unmodelled: float
    holds: csr_array
    measured: tuple[Measured, ...] = ()

    @cached_property
    def kept(self) -> IntArray:
        """Faults that are likely enough to matter, K of them."""
        share = np.bincount(self.member, weights=self.weights.sum(axis=1)) / self.weights.sum()
        return np.flatnonzero(share > NEGLIGIBLE)

    @cached_property
    def kept_holds(self) -> csr_array:
        """`holds` of them alone, shape (K, K)."""
        return self.holds[self.kept][:, self.kept]

    @cached_property
    def _number(self) -> IntArray:
        """Which of them each entry is of, shape (E,); -1: of none."""
        number = np.full(int(self.member.max()) + 1, -1)
        number[self.kept] = np.arange(len(self.kept))
        return number[self.member]

    @cached_property
    def _counted(self) -> FloatArray:
        """Their weights, without those of samples that are next to nothing."""
        least = NEGLIGIBLE * self.weights.max() / self.weights.shape[1]
        kept = (self._number >= 0)[:, None]
        return np.where(kept & (self.weights >= least), self.weights, 0.0)

    def shown(self, spectrum: Spectrum, share: FloatArray | float = 1.0) -> FloatArray:
        """What a share of their samples shows, shape (K, bins)."""
        return spectrum.of_groups(share * self._counted, self._number, len(self.kept))


def expected(spectrum: Spectrum, posterior: Posterior) -> Expected:
    """What a reading is expected to be worth.

    Parameters
    ----------
    spectrum : Spectrum
        Of the reading.
    posterior : Posterior

    Returns
    -------
    worth : Expected
        Its `bits` are the mutual information of fault and reading, slips included; of none of
        these a reading says nothing.
    """
    there, joint = 1.0 - posterior.unmodelled, posterior.shown(spectrum)
    joint = _with_outliers(there * joint / joint.sum())
    bits = there * _information(joint / there)
    # what they all show alike makes none of these no less likely: such a reading does not pay
    rest = joint.sum(axis=0) * posterior.unmodelled / there
    return _expected(bits, joint, rest, posterior)


def expected_again(
    spectrum: Spectrum, measured: float, outlier: FloatArray, posterior: Posterior
) -> Expected:
    """What it is worth to take a reading again that may have been a slip.

    If it was sound it shows the same again, and so it does where no fault explains it. If it was a
    slip it now shows what the board shows.

    Parameters
    ----------
    spectrum : Spectrum
        Of the reading.
    measured : float
        What it showed, on the scale of the spectrum.
    outlier : ndarray, shape (E, N)
        Chance that it was a slip, if the fault is that one.
    posterior : Posterior
        After it.

    Returns
    -------
    worth : Expected
    """
    sound = (posterior.weights * (1.0 - outlier)).sum(axis=1)
    sound = np.bincount(posterior.member, weights=sound)[posterior.kept]
    anew = posterior.shown(spectrum, outlier)
    near = np.abs(np.arange(spectrum.bins) - spectrum.bin_of(measured)) <= SAME_BINS
    same = sound + anew[:, near].sum(axis=1)
    joint = np.concatenate([same[:, None], anew[:, ~near]], axis=1)
    joint = _with_outliers(joint * (1.0 - posterior.unmodelled) / joint.sum())
    rest = np.zeros(joint.shape[1])
    rest[0] = posterior.unmodelled
    bits = _information(np.concatenate([joint, rest[None]]))
    return _expected(bits, joint, rest, posterior)


def _expected(bits: float, joint: FloatArray, rest: FloatArray, posterior: Posterior) -> Expected:
    """From shares of answers (columns) by fault (rows), and of none of these."""
    there = np.concatenate([posterior.kept_holds @ joint, rest[None]])
    best, likely = there.max(axis=0), joint.sum(axis=0) + rest
    return Expected(
        bits=bits,
        rise=float(best.sum() - there.sum(axis=1).max()),
        settles=float(likely[best >= SURE * likely].sum()),
    )


def together(holds: csr_array, faults: Sequence[int]) -> csr_array:
    """The same as `Posterior.holds`, where some faults count as one."""
    there = holds.toarray()
    there[faults] = there[faults].max(axis=0)
    return sparse(there)


def _with_outliers(joint: FloatArray) -> FloatArray:
    """A table of shares, some of the readings plainly wrong: anywhere."""
    shares = joint.sum(axis=1, keepdims=True)
    return np.asarray((1.0 - OUTLIER_SHARE) * joint + OUTLIER_SHARE * shares / joint.shape[1])


def _information(joint: FloatArray) -> float:
    """Mutual information of the rows and columns of a table of shares. [bit]"""
    rows, columns = joint.sum(axis=1), joint.sum(axis=0)
    both = entropy_bits(columns) + entropy_bits(rows) - entropy_bits(joint.ravel())
    return max(float(both), 0.0)


def entropy_bits(shares: FloatArray) -> FloatArray:
    """Entropy over the last axis. [bit]"""
    from scipy.special import entr

    return np.asarray(entr(shares).sum(axis=-1) / np.log(2.0))


def sparse(content: Any, shape: tuple[int, int] | None = None) -> csr_array:
    """A sparse array; what makes it loads slowly, and not for what only lists readings."""
    from scipy.sparse import csr_array

    result: csr_array = csr_array(content, shape=shape)
    return result
