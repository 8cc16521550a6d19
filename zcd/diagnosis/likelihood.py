"""How well a reading fits a prediction."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.meters import Meter
from zcd.diagnosis.readings import Function, Reading

FloatArray = NDArray[np.float64]

OUTLIER_SHARE = 0.02
"""Readings that are plainly wrong: slipped probe, wrong range, wrong node."""
MODEL_RATIO = 0.03
"""What the model leaves out, as a share of the reading."""
FLOORS = {
    Function.DC: 0.03,
    Function.AC: 0.5,
    Function.OHM: 0.01,
    Function.DIODE: 0.03,
    Function.FREQUENCY: 0.5,
    Function.DUTY: 0.03,
    Function.LOW_TIME: 50e-6,
}
"""Smallest error, in the reading's own scale (ohms: decades); AC pick-up is half a volt."""
LEAST_OHM = 1.0
OVERLOAD_OHM = 100e6
OVERLOAD_DIODE_V = 3.0


def scaled(function: Function, values: FloatArray) -> FloatArray:
    """A reading on the scale on which its error is judged: ohms in decades, the rest as it is."""
    if function is Function.OHM:
        return np.log10(np.clip(values, 0.0, OVERLOAD_OHM) + LEAST_OHM)
    if function is Function.DIODE:
        return np.where(np.isinf(values), OVERLOAD_DIODE_V, values)
    return values


def error(function: Function, values: FloatArray, meter: Meter) -> FloatArray:
    """Standard error of a reading of this (scaled) size: meter, model, floor together."""
    floor = FLOORS[function]
    if function is Function.OHM:
        return np.full(np.shape(values), np.hypot(floor, np.log10(1.0 + meter.ohm_accuracy_ratio)))
    accuracy = {
        Function.DC: meter.dc_accuracy_ratio,
        Function.AC: meter.ac_accuracy_ratio,
        Function.DIODE: meter.dc_accuracy_ratio,
    }.get(function, 0.0)
    return np.sqrt(((accuracy + MODEL_RATIO) * values) ** 2 + floor**2)


class Fit:
    """Density of a reading in every entry of the atlas, from its samples there.

    Each sample stands for the gap to its neighbours of the same entry: a drift that was tried
    at some sizes explains those in between.
    """

    def __init__(self, reading: Reading, shown: FloatArray, meter: Meter) -> None:
        self.function, self.meter = reading.function, meter
        self.centre = scaled(reading.function, shown)
        self.width = np.hypot(error(reading.function, self.centre, meter), _gaps(self.centre))
        low, high = float(self.centre.min()), float(self.centre.max())
        widest = float(self.width.max())
        self.flat = 1.0 / (high - low + 10.0 * widest)

    def reading_at(self, index: NDArray[np.intp]) -> FloatArray:
        """What the meter shows in some of the samples, by their place among all."""
        centre = self.centre.ravel()[index]
        return 10.0**centre - LEAST_OHM if self.function is Function.OHM else centre

    def away(self, value: float) -> FloatArray:
        """How far each sample is above a value, on the reading's own scale, shape (E, N)."""
        return np.asarray(self.centre - scaled(self.function, np.asarray(value, dtype=float)))

    def error_at(self, value: float) -> float:
        """Standard error of a reading of this value, on its own scale."""
        return float(error(self.function, scaled(self.function, np.asarray(value)), self.meter))

    def good(self, value: FloatArray | float) -> FloatArray:
        """Density of a sound reading at each sample, shape (..., E, N).

        `value` has shape (...,).
        """
        y = scaled(self.function, np.asarray(value, dtype=float))[..., None, None]
        z = (y - self.centre) / self.width
        return np.asarray(np.exp(-0.5 * z * z) / (np.sqrt(2.0 * np.pi) * self.width))

    def density(self, value: FloatArray | float) -> FloatArray:
        """Density at each sample, outliers included."""
        return (1.0 - OUTLIER_SHARE) * self.good(value) + OUTLIER_SHARE * self.flat


def joint_log(fits: Sequence[tuple[Fit, float]]) -> tuple[FloatArray, float]:
    """Log density of readings that show one fact, and that of the same readings as outliers.

    If one of them is wrong, all are: three ways to see that there is no pulse are one piece of
    evidence, not three.

    Parameters
    ----------
    fits : sequence of (Fit, float)
        Each with what was read.

    Returns
    -------
    log_density : ndarray, shape (E, N)
    log_flat : float
    """
    log_flat = float(sum(np.log(fit.flat) for fit, _ in fits))
    with np.errstate(divide="ignore"):
        log_good = np.sum([np.log(fit.good(value)) for fit, value in fits], axis=0)
    return (
        np.logaddexp(np.log1p(-OUTLIER_SHARE) + log_good, np.log(OUTLIER_SHARE) + log_flat),
        log_flat,
    )


def _gaps(centre: FloatArray) -> FloatArray:
    """Half the distance between the neighbours of each sample, within its entry."""
    order = np.argsort(centre, axis=1)
    ranked = np.take_along_axis(centre, order, axis=1)
    step = np.diff(ranked, axis=1)
    ends = np.concatenate([step[:, :1], step, step[:, -1:]], axis=1)
    gaps = np.empty_like(centre)
    np.put_along_axis(gaps, order, 0.5 * (ends[:, :-1] + ends[:, 1:]), axis=1)
    return gaps
