r"""Phase control: what a switch that fires late in each half cycle lets through.

Angles are counted from the zero crossing with which the half cycle begins. The load is a
resistance and an inductance in series; its lag is `\arctan(\omega L / R)`. The current while the
switch conducts is, as a ratio to the peak that the load would draw without the switch,

.. math:: i(\theta) = \sin(\theta - \varphi) - \sin(\alpha - \varphi)
          e^{-(\theta - \alpha) / \tan\varphi}

with firing angle `\alpha` and lag `\varphi`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

MIN_LAG_RAD = 1e-4
"""Taken for a purely resistive load, so that one law covers both."""
HALVINGS = 40
LOOKS = 12
"""Angles within a gate pulse at which the current is held against the latching current."""


def power_ratio(firing_rad: ArrayLike) -> FloatArray:
    r"""Power in a resistive load, over that without phase control.

    .. math:: P / P_0 = 1 - \alpha / \pi + \sin(2 \alpha) / (2 \pi)

    Parameters
    ----------
    firing_rad : array_like
        The same in both half cycles, 0 to pi. [rad]

    Returns
    -------
    ratio : ndarray

    Examples
    --------
    >>> power_ratio([0.0, np.pi / 2, np.pi]).round(6).tolist()
    [1.0, 0.5, 0.0]
    """
    firing = np.asarray(firing_rad, dtype=float)
    share = 1.0 - firing / np.pi + np.sin(2.0 * firing) / (2.0 * np.pi)
    # at pi rounding leaves a little less than nothing
    return np.asarray(np.maximum(share, 0.0))


def rms_ratio(firing_rad: ArrayLike) -> FloatArray:
    """Rms voltage at a resistive load, over that of the mains."""
    return np.sqrt(power_ratio(firing_rad))


def current_ratio(angle_rad: ArrayLike, firing_rad: ArrayLike, lag_rad: ArrayLike) -> FloatArray:
    """Current of a conducting switch, over the peak that the load draws without it.

    Parameters
    ----------
    angle_rad : array_like
        Where; from `firing_rad` on. [rad]
    firing_rad : array_like
        Where the switch began to conduct, without current until then. [rad]
    lag_rad : array_like
        Of the load; 0 is a resistance. [rad]

    Returns
    -------
    ratio : ndarray
        Positive while the switch conducts.
    """
    lag = np.maximum(np.asarray(lag_rad, dtype=float), MIN_LAG_RAD)
    since = np.subtract(angle_rad, firing_rad)
    fading = np.sin(np.subtract(firing_rad, lag)) * np.exp(-since / np.tan(lag))
    return np.asarray(np.sin(np.subtract(angle_rad, lag)) - fading)


def extinction_rad(firing_rad: ArrayLike, lag_rad: ArrayLike) -> FloatArray:
    """Angle at which the current ends by itself.

    Parameters
    ----------
    firing_rad : array_like
        0 to below pi. [rad]
    lag_rad : array_like
        0 to below pi/2. [rad]

    Returns
    -------
    angle : ndarray
        From pi to 2 pi. [rad]

    Examples
    --------
    >>> bool(abs(extinction_rad(1.0, 1.0) - (np.pi + 1.0)) < 1e-9)
    True
    """
    firing, lag = np.broadcast_arrays(
        np.asarray(firing_rad, dtype=float), np.asarray(lag_rad, dtype=float)
    )
    low, high = np.full(firing.shape, np.pi), np.full(firing.shape, 2.0 * np.pi)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        flows = current_ratio(middle, firing, lag) > 0.0
        low, high = np.where(flows, middle, low), np.where(flows, high, middle)
    return np.asarray(0.5 * (low + high))


def highest_ratio(start_rad: ArrayLike, end_rad: ArrayLike, lag_rad: ArrayLike) -> FloatArray:
    """Highest current from firing to some later angle: what the latching current is held against.

    Parameters
    ----------
    start_rad, end_rad : array_like
        Firing, and the end of the gate pulse. [rad]
    lag_rad : array_like
        Of the load. [rad]

    Returns
    -------
    ratio : ndarray
        To the peak that the load draws without the switch.
    """
    start, end = np.asarray(start_rad, dtype=float), np.asarray(end_rad, dtype=float)
    looks = np.linspace(0.0, 1.0, LOOKS)
    angle = start[..., None] + (end - start)[..., None] * looks
    lag = np.asarray(lag_rad, dtype=float)[..., None]
    return np.asarray(np.max(current_ratio(angle, start[..., None], lag), axis=-1))


@dataclass(frozen=True, slots=True, kw_only=True)
class Slice:
    """What a stretch of conduction adds to a mean over one half cycle, mains peak 1.

    Parameters
    ----------
    square, mean : ndarray
        Of the voltage.
    fundamental : ndarray of complex
        Twice the mean of voltage times exp(-j angle): amplitude and phase at mains frequency.
    """

    square: FloatArray
    mean: FloatArray
    fundamental: NDArray[np.complex128]


def slice_of_sine(start_rad: ArrayLike, end_rad: ArrayLike) -> Slice:
    """Moments of the mains voltage between two angles of a half cycle.

    Parameters
    ----------
    start_rad, end_rad : array_like
        `end_rad` may lie in the next half cycle. [rad]

    Returns
    -------
    slice : Slice
        Of zero where the end is not after the start.
    """
    start = np.asarray(start_rad, dtype=float)
    end = np.maximum(np.asarray(end_rad, dtype=float), start)
    span, twice = end - start, np.exp(-2j * end) - np.exp(-2j * start)
    square = span / 2.0 - (np.sin(2.0 * end) - np.sin(2.0 * start)) / 4.0
    return Slice(
        square=np.asarray(square / np.pi),
        mean=np.asarray((np.cos(start) - np.cos(end)) / np.pi),
        fundamental=np.asarray((span / 1j - twice / 2.0) / np.pi),
    )
