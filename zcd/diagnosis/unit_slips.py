"""Readings that would be those of a good board in another unit: 230 mV that may be 230 V."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from zcd.diagnosis.fault_dictionary import GOOD_BOARD, FaultDictionary
from zcd.diagnosis.faults import Fault
from zcd.diagnosis.likelihood import scaled
from zcd.diagnosis.readings import Measured

FACTORS = (1e3, 1e-3)
"""Milli, kilo or mega left out, or read off where there is none."""
ERRORS = 3.0
"""Standard errors beyond the good boards of the fault dictionary within which a value is theirs."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitSlip:
    """A reading, and what it may have been.

    Parameters
    ----------
    measured : Measured
    meant : Measured
        The same in the other unit.
    """

    measured: Measured
    meant: Measured


def unit_slips(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    likeliest: Fault | None,
    suspects: Sequence[Measured],
) -> tuple[UnitSlip, ...]:
    """Readings that no good board shows, nor one with the likeliest fault, and each a good one
    would in a unit a thousand times off.

    Where all that contradicts that fault reads as on a good board, what speaks for the fault may
    be the slip.

    Parameters
    ----------
    dictionary : FaultDictionary
        Has predicted these readings.
    measured : sequence of Measured
    likeliest : Fault or None
        None: none of the list.
    suspects : sequence of Measured
        What contradicts it.

    Returns
    -------
    tuple of UnitSlip
    """
    as_good = all(_shows(dictionary, m, m.value) for m in suspects)
    believed = None if as_good else likeliest
    listed = (k for k, fault in enumerate(dictionary.faults) if fault is believed)
    number = next(listed, GOOD_BOARD)
    odd = (m for m in measured if not _shows(dictionary, m, m.value, number))
    return tuple(slip for slip in (_slip(dictionary, m) for m in odd) if slip is not None)


def _slip(dictionary: FaultDictionary, measured: Measured) -> UnitSlip | None:
    value = measured.value
    if measured.unstable or measured.low is not None or not np.isfinite(value):
        return None
    if _shows(dictionary, measured, value):
        return None
    good = [value * factor for factor in FACTORS if _shows(dictionary, measured, value * factor)]
    return UnitSlip(measured=measured, meant=replace(measured, value=good[0])) if good else None


def _shows(
    dictionary: FaultDictionary, measured: Measured, value: float, fault: int = GOOD_BOARD
) -> bool:
    """Whether boards with a fault may show it."""
    reading = measured.reading
    fit, predicted = dictionary.fit(reading), dictionary.predictions(reading)
    shown = dictionary.good(reading)
    if fault != GOOD_BOARD:
        shown = dictionary.of_fault(predicted, fault)
    at, ends = (scaled(reading.function, np.asarray(v)) for v in (value, shown))
    reach = ERRORS * fit.error_at(value)
    return bool(ends.size and ends.min() - reach < at < ends.max() + reach)
