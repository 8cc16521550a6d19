"""How far a fault has gone, from the readings that tell of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.likelihood import scaled, unscaled
from zcd.diagnosis.readings import Measured, Reading

FloatArray = NDArray[np.float64]

NEAR_WIDTHS = 3.0
"""How far from a reading its line is fitted, in widths of a sample."""
MIN_SPREAD = 1e-200
NINETY_PER_CENT = 1.2816
"""90 % point of the normal distribution, in standard deviations."""


def severity_points(
    dictionary: FaultDictionary, fault: int, weights: FloatArray, measured: Sequence[Measured]
) -> tuple[float, float, float]:
    """10 %, 50 % and 90 % point of a fault's severity.

    The samples stand too far apart for a precise reading. Each is moved to what was read, along
    a straight line of severity against the one reading that tells most of it.

    Parameters
    ----------
    dictionary : FaultDictionary
    fault : int
        Number of one with an amount.
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
    severity = dictionary.of_fault(dictionary.severity, fault)
    weight = dictionary.of_fault(weights, fault)
    slope, off, error_of = _most_telling(dictionary, fault, severity, measured)
    low, middle, high = points(np.clip(severity - slope * off, 0.0, 1.0), weight)
    blur = NINETY_PER_CENT * abs(slope) * error_of
    return (
        float(np.clip(middle - np.hypot(middle - low, blur), 0.0, 1.0)),
        middle,
        float(np.clip(middle + np.hypot(high - middle, blur), 0.0, 1.0)),
    )


def shown_after(
    dictionary: FaultDictionary, fault: int, reading: Reading, measured: Sequence[Measured]
) -> FloatArray:
    """What a reading would show with a fault, of the size that other readings tell of.

    A chain of 100 k that reads 300 k leaves 225 k for a resistor of 25 k, and not the sizes that
    happened to be tried. Moved as by `severity_points`, within the sizes that were.

    Parameters
    ----------
    dictionary : FaultDictionary
    fault : int
    reading : Reading
    measured : sequence of Measured

    Returns
    -------
    shown : ndarray, shape (samples of the fault,)
    """
    shown = dictionary.of_fault(dictionary.looks(reading), fault)
    if dictionary.faults[fault].amount is None or not np.isfinite(shown).all():
        return shown
    others = [m for m in measured if m.reading != reading]
    on_scale = scaled(reading.function, shown)
    slope, off, _ = _most_telling(dictionary, fault, on_scale, others)
    moved = np.clip(on_scale - slope * off, on_scale.min(), on_scale.max())
    return unscaled(reading.function, moved)


def _most_telling(
    dictionary: FaultDictionary, fault: int, target: FloatArray, measured: Sequence[Measured]
) -> tuple[float, FloatArray, float]:
    """Of the reading that tells most of some quantity of a fault's samples: slope of the straight
    line, how far each sample is above what was read, and the error of that."""
    best, slope, off, error_of = 0.0, 0.0, np.zeros(target.size), 0.0
    for m in measured:
        if not m.exact or m.about:
            continue
        fit = dictionary.fit(m.reading)
        away = dictionary.of_fault(fit.away(m.value), fault)
        near = np.exp(-0.5 * (away / dictionary.of_fault(fit.width, fault) / NEAR_WIDTHS) ** 2)
        told, rise = _line(away, target, near)
        if told > best:
            best, slope, off, error_of = told, rise, away, fit.error_at(m.value)
    return slope, off, error_of


def _line(x: FloatArray, y: FloatArray, weight: FloatArray) -> tuple[float, float]:
    """Squared correlation and slope of a weighted straight line."""
    total = weight.sum()
    if total <= 0:
        return 0.0, 0.0
    dx, dy = x - weight @ x / total, y - weight @ y / total
    xx, yy, xy = weight @ dx**2, weight @ dy**2, weight @ (dx * dy)
    if xx * yy < MIN_SPREAD:
        return 0.0, 0.0
    return float(xy**2 / (xx * yy)), float(xy / xx)


def points(
    values: FloatArray, weights: FloatArray, shares: tuple[float, float, float] = (0.1, 0.5, 0.9)
) -> tuple[float, float, float]:
    """Points of weighted samples below which such shares of them lie."""
    order = np.argsort(values)
    share = np.cumsum(weights[order])
    if share[-1] <= 0:
        share = np.arange(1.0, values.size + 1)
    at = np.searchsorted(share / share[-1], shares).clip(0, values.size - 1)
    low, middle, high = values[order][at]
    return float(low), float(middle), float(high)
