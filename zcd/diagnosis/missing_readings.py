"""What is still to be read until a repaired board can be called good."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

import numpy as np

from zcd.diagnosis.fault_dictionary import GOOD_BOARD, FaultDictionary
from zcd.diagnosis.next_reading import cost_of
from zcd.diagnosis.readings import AccessLevel, Measured, Power, Reading, access_level

SURE_GOOD = 0.95
"""Probability from which a repaired board counts as good."""
MAX_MISSING = 4
"""No longer list is asked for."""
FEW = 2
"""Dead readings of a board that was just mended before it is plugged in: common practice, no
source."""
MIN_SHARE_OFF = 0.1
"""Share of what is still open that a reading must take away to be asked for, where even all of them
would not make it sure."""

BEYOND = 1e-3
"""Worth of doubt taken away once the board is a sure one."""


def missing_readings(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    good_ratio: Callable[[Sequence[Measured]], float],
) -> tuple[Reading, ...]:
    """The few readings which, if they are those of a good board, make it a sure one.

    One after the other, the one that takes most of the doubt away for its trouble and danger;
    nothing is lifted on a board that was just mended. Where a meter away from the mains side can
    make it sure, no oscilloscope and no live part is asked for.

    Parameters
    ----------
    dictionary : FaultDictionary
    measured : sequence of Measured
    good_ratio : callable
        How sure the board is a good one by some readings.

    Returns
    -------
    readings : tuple of Reading
        Fewer than needed where no few would do.
    """
    left = _as_on_a_good_board(dictionary, {m.reading for m in measured})
    handy = [m for m in left if _is_handy(dictionary, m.reading)]
    pulses = [m for m in handy if m.reading.over_pin and m.reading.power is Power.LIVE]
    ways = []
    for among in (handy, pulses, left):
        asked, open_ratio = _one_by_one(dictionary, measured, among, good_ratio)
        if open_ratio[-1] <= 1.0 - SURE_GOOD:
            ways.append(_needed(measured, asked, good_ratio))
            if len(ways[-1]) <= FEW or among is not handy:
                break
    if ways:  # a board that was mended is plugged in sooner than read part by part
        return tuple(m.reading for m in min(ways, key=len))
    most = 1.0 - MIN_SHARE_OFF
    return tuple(
        m.reading
        for m, before, after in zip(asked, open_ratio[:-1], open_ratio[1:], strict=True)
        if after <= most * before
    )


def _needed(
    measured: Sequence[Measured],
    asked: Sequence[Measured],
    good_ratio: Callable[[Sequence[Measured]], float],
) -> list[Measured]:
    """Readings without those that one asked for later made needless."""
    needed = list(asked)
    for m in asked[:-1]:
        fewer = [other for other in needed if other is not m]
        if good_ratio([*measured, *fewer]) >= SURE_GOOD:
            needed = fewer
    return needed


def _is_handy(dictionary: FaultDictionary, reading: Reading) -> bool:
    on_mains = access_level(dictionary.circuit, reading) is AccessLevel.MAINS
    return not (on_mains or reading.function.row.scope)


def _one_by_one(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    left: Sequence[Measured],
    good_ratio: Callable[[Sequence[Measured]], float],
) -> tuple[list[Measured], list[float]]:
    """Readings until the board is a sure one, and how open it is before and after each."""
    left, taken, told = list(left), list(measured), [good_ratio(measured)]
    while told[-1] < SURE_GOOD and len(told) <= MAX_MISSING and left:
        ratio = np.array([good_ratio([*taken, m]) for m in left])
        power = taken[-1].reading.power if taken else Power.DEAD
        cost = np.array([cost_of(dictionary, m.reading, power) for m in left])
        off, wanted = (np.log((1.0 - told[-1]) / (1.0 - after)) for after in (ratio, SURE_GOOD))
        # what goes beyond sure decides between equals only
        best = int(np.argmax((np.minimum(off, wanted) + BEYOND * off) / cost))
        told.append(float(ratio[best]))
        taken.append(left.pop(best))
    return taken[len(measured) :], [1.0 - share for share in told]


def good_reading(dictionary: FaultDictionary, reading: Reading) -> Measured:
    """A reading with the median of what a good board shows."""
    shown = np.sort(dictionary.of_fault(dictionary.predictions(reading), GOOD_BOARD))
    return Measured(reading=reading, value=float(shown[shown.size // 2]))


def _as_on_a_good_board(dictionary: FaultDictionary, taken: Collection[Reading]) -> list[Measured]:
    """The readings that are left, but those with an end lifted, as a good board shows them."""
    return [
        good_reading(dictionary, reading)
        for reading in dictionary.readings
        if reading not in taken
        and access_level(dictionary.circuit, reading) is not AccessLevel.LIFTED
    ]
