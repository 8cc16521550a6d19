"""The drive, half cycle by half cycle: what the fan gets for a firing delay.

A gate pulse may begin before the crossing it belongs to, or reach beyond the next one; current
may still flow from the half cycle before; the current may be below latching when the pulse ends.
All this repeats every mains period, so it is followed until it does, for many delays at once. What
passes during a gate pulse that does not make the triac latch is left out: it is below latching.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from zcd.physics.phase_control import extinction_rad, highest_ratio, slice_of_sine

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SETTLING = 6
"""Half cycles followed before the two that count."""


class Switch(StrEnum):
    """What the drive's triac does."""

    GOOD = "good"
    OPEN = "open"
    SHORT = "short"
    ONE_HALF = "fires in one half cycle only"


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What the drive sees, angles in radians of the mains.

    Parameters
    ----------
    lag_rad : float
        Of the load.
    latching_ratio : float
        Latching current over the peak current without phase control.
    gate_rad : float
        Length of the gate pulse.
    zero_cross_rad : float
        A zero-cross part fires only up to this angle; pi: a random-phase part.
    switch : Switch
    """

    lag_rad: float
    latching_ratio: float
    gate_rad: float
    zero_cross_rad: float = float(np.pi)
    switch: Switch = Switch.GOOD


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivered:
    """What reaches the fan, over the mains; shape (n,) for n delays.

    Parameters
    ----------
    fundamental_ratio : ndarray
        Of the voltage at mains frequency, which makes the torque.
    rms_ratio : ndarray
        Of the whole voltage.
    direct_ratio : ndarray
        Mean voltage over the mains peak.
    conducts_rad : ndarray, shape (n, 2)
        Conduction angle in each half cycle; 0: it did not fire.
    """

    fundamental_ratio: FloatArray
    rms_ratio: FloatArray
    direct_ratio: FloatArray
    conducts_rad: FloatArray


def delivered(firing_rad: FloatArray, late_rad: tuple[float, float], load: Load) -> Delivered:
    """Follow the half cycles for each firing delay.

    Parameters
    ----------
    firing_rad : ndarray, shape (n,)
        Delay that the firmware asks for, from the crossing as it believes it.
    late_rad : tuple of float
        By how much that belief is late, in the one half cycle and in the other.
    load : Load

    Returns
    -------
    delivered : Delivered
    """
    n = firing_rad.size
    if load.switch is Switch.OPEN:
        nothing = np.zeros(n)
        return Delivered(
            fundamental_ratio=nothing,
            rms_ratio=nothing,
            direct_ratio=nothing,
            conducts_rad=np.zeros((n, 2)),
        )
    if load.switch is Switch.SHORT:
        return Delivered(
            fundamental_ratio=np.ones(n),
            rms_ratio=np.ones(n),
            direct_ratio=np.zeros(n),
            conducts_rad=np.full((n, 2), np.pi),
        )
    free = np.zeros(n)
    halves = []
    for half in range(SETTLING + 2):
        starts, ends = _pulses(firing_rad, late_rad, half, load.gate_rad)
        start, fired = _fires(starts, ends, free, load)
        if load.switch is Switch.ONE_HALF and half % 2:
            fired = np.zeros(n, dtype=bool)
        start = np.where(fired, start, 0.0)
        end = np.where(fired, extinction_rad(start, load.lag_rad), 0.0)
        free = np.maximum(end - np.pi, 0.0)
        halves.append((start, end))
    return _over_a_period(halves[-2:])


def _pulses(
    firing: FloatArray, late: tuple[float, float], half: int, gate: float
) -> tuple[FloatArray, FloatArray]:
    """Starts and ends of the gate pulses that may touch a half cycle, shape (3, n), in order."""
    starts = np.stack([firing + late[(half + k) % 2] + k * np.pi for k in (-1, 0, 1)])
    return starts, starts + gate


def _fires(
    starts: FloatArray, ends: FloatArray, free: FloatArray, load: Load
) -> tuple[FloatArray, BoolArray]:
    """Where conduction begins in a half cycle, if one of the gate pulses makes the triac latch."""
    begin = np.zeros(free.size)
    fired = np.zeros(free.size, dtype=bool)
    for pulse, over in zip(starts, ends, strict=True):
        first = np.maximum(pulse, free)
        there = (over > first) & (first < np.pi) & (first <= load.zero_cross_rad)
        start, end = np.where(there, first, 0.0), np.where(there, over, 0.0)
        latches = highest_ratio(start, end, np.asarray(load.lag_rad)) >= load.latching_ratio
        now = there & latches & ~fired
        begin = np.where(now, start, begin)
        fired |= now
    return begin, fired


def _over_a_period(halves: list[tuple[FloatArray, FloatArray]]) -> Delivered:
    """Moments over two half cycles of opposite polarity."""
    first, second = (slice_of_sine(start, end) for start, end in halves)
    return Delivered(
        fundamental_ratio=np.abs(first.fundamental + second.fundamental) / 2.0,
        rms_ratio=np.sqrt(first.square + second.square),
        direct_ratio=(first.mean - second.mean) / 2.0,
        conducts_rad=np.stack([end - start for start, end in halves], axis=1),
    )
