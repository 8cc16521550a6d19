"""What a reading would tell: how far it is expected to part the faults that are still open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import entr, ndtr

from zcd.diagnosis.likelihood import OUTLIER_SHARE, Fit, error, restless

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

NEGLIGIBLE = 1e-4
"""Share of a fault that the choice of a reading need not look at."""
REACH_WIDTHS = 3.0
"""How far a sample reaches, in its own widths."""
LEAST_SHARE = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectrum:
    """What a reading shows, as shares in bins about as wide as its error; sparse.

    Parameters
    ----------
    bins : int
        Number of bins.
    sample, place : ndarray of int, shape (z,)
        Which sample (of all E times N) has something in which bin.
    share : ndarray, shape (z,)
    """

    bins: int
    sample: IntArray
    place: IntArray
    share: FloatArray

    def of_groups(self, weights: FloatArray, group: IntArray, groups: int) -> FloatArray:
        """Share of each bin in each group of samples, shape (groups, bins).

        `weights` and `group` have one value a sample; samples of a group below 0 do not count.
        """
        row = np.where(group < 0, groups, group)  # the last row holds what does not count
        index = (row * self.bins)[self.sample] + self.place
        value = weights[self.sample] * self.share
        found = np.bincount(index, weights=value, minlength=(groups + 1) * self.bins)
        return np.asarray(found.reshape(groups + 1, self.bins)[:groups], dtype=float)


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
    centre, width = fit.centre.ravel(), fit.width.ravel()
    reach = REACH_WIDTHS * width
    edges = _edges(fit, float(np.min(centre - reach)), float(np.max(centre + reach)))
    first = np.searchsorted(edges, centre - reach, side="right") - 1
    last = np.searchsorted(edges, centre + reach, side="left")
    size = last - first
    sample = np.repeat(np.arange(centre.size), size)
    place = np.arange(sample.size) - np.repeat(np.cumsum(size) - size, size) + first[sample]
    below, above = ((edges[place + k] - centre[sample]) / width[sample] for k in (0, 1))
    share = ndtr(above) - ndtr(below)
    share /= np.bincount(sample, weights=share)[sample]
    return _with_states(fit, edges.size - 1, sample, place, share)


def _edges(fit: Fit, low: float, high: float) -> FloatArray:
    """Bins from end to end, each as wide as the error of what lies in it."""
    edges = [low]
    while edges[-1] < high:
        edges.append(edges[-1] + float(error(fit.function, np.asarray(edges[-1]), fit.meter)))
    return np.array(edges)


def _with_states(
    fit: Fit, bins: int, sample: IntArray, place: IntArray, share: FloatArray
) -> Spectrum:
    """Add the entries that look now like one entry, now like another: half of either."""
    n = fit.centre.shape[1]
    start = np.searchsorted(sample, n * np.arange(len(fit.centre) + 1))
    samples, places, shares = [sample], [place], [share]
    for d, states in enumerate(fit.states):
        for entry, of_restless, of_others in zip(states, (0.5, 0.5), (1.0, 0.0), strict=True):
            part = slice(start[entry], start[entry + 1])
            factor = np.where(restless(n), of_restless, of_others)
            samples.append(sample[part] + (len(fit.centre) + d - entry) * n)
            places.append(place[part])
            shares.append(share[part] * factor[sample[part] % n])
    return Spectrum(
        bins=bins,
        sample=np.concatenate(samples),
        place=np.concatenate(places),
        share=np.concatenate(shares),
    )


def expected_gain_bits(
    found: Spectrum, weights: FloatArray, member: IntArray, none: float
) -> float:
    """Information that a reading is expected to give about which fault it is.

    Parameters
    ----------
    found : Spectrum
        Of the reading.
    weights : ndarray, shape (E, N)
        Posterior before the reading.
    member : ndarray of int, shape (E,)
        Fault of each entry.
    none : float
        Probability of none of these, of which a reading says nothing.

    Returns
    -------
    gain : float
        Mutual information of fault and reading, outliers included.
    """
    share = np.bincount(member, weights=weights.sum(axis=1)) / weights.sum()
    kept = np.flatnonzero(share > NEGLIGIBLE)
    joint = found.of_groups(weights.ravel(), _groups(weights, member, kept), kept.size)
    return (1.0 - none) * _information(joint / joint.sum())


def _groups(weights: FloatArray, member: IntArray, faults: IntArray) -> IntArray:
    """Place of each sample's fault in a list of faults; -1 where it has none or does not count."""
    number = np.full(int(member.max()) + 1, -1)
    number[faults] = np.arange(len(faults))
    group = np.repeat(number[member], weights.shape[1])
    group[weights.ravel() < NEGLIGIBLE * weights.max() / weights.shape[1]] = -1
    return group


def parted_bits(
    spectra: Sequence[Spectrum], weights: FloatArray, member: IntArray, faults: Sequence[int]
) -> FloatArray:
    """How well the best of some readings would part each two of some faults, if even before.

    Parameters
    ----------
    spectra : sequence of Spectrum
    weights : ndarray, shape (E, N)
    member : ndarray of int, shape (E,)
    faults : sequence of int
        K of them.

    Returns
    -------
    bits : ndarray, shape (K, K)
        1: always; 0: never.
    """
    k = len(faults)
    scale = np.bincount(member, weights=weights.max(axis=1), minlength=int(member.max()) + 1)
    even = weights / np.maximum(scale, LEAST_SHARE)[member][:, None]
    group = _groups(even, member, np.asarray(faults))
    bits = np.zeros((k, k))
    for found in spectra:
        joint = found.of_groups(even.ravel(), group, k)
        joint /= np.maximum(joint.sum(axis=1, keepdims=True), LEAST_SHARE)
        joint = (1.0 - OUTLIER_SHARE) * joint + OUTLIER_SHARE / joint.shape[1]
        alone = entropy_bits(joint)
        both = entropy_bits(0.5 * (joint[:, None] + joint[None, :]))
        bits = np.maximum(bits, both - 0.5 * (alone[:, None] + alone[None, :]))
    return bits


def _information(joint: FloatArray) -> float:
    """Mutual information of the rows and columns of a table of shares, with outliers. [bit]"""
    shares = np.asarray(joint.sum(axis=1))
    joint = (1.0 - OUTLIER_SHARE) * joint + OUTLIER_SHARE * shares[:, None] / joint.shape[1]
    both = entropy_bits(joint.sum(axis=0)) + entropy_bits(shares) - entropy_bits(joint.ravel())
    return max(float(both), 0.0)


def entropy_bits(shares: FloatArray) -> FloatArray:
    """Entropy over the last axis. [bit]"""
    return np.asarray(entr(shares).sum(axis=-1) / np.log(2.0))
