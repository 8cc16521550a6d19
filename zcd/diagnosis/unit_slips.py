"""Readings that would be those of a good board in another unit: 230 mV that may be 230 V."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from zcd.diagnosis.fault_dictionary import FaultDictionary
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


def unit_slips(dictionary: FaultDictionary, measured: Sequence[Measured]) -> tuple[UnitSlip, ...]:
    """Readings that no good board shows, and each would in a unit a thousand times off.

    Parameters
    ----------
    dictionary : FaultDictionary
        Has predicted these readings.
    measured : sequence of Measured

    Returns
    -------
    tuple of UnitSlip
    """
    found = (_slip(dictionary, m) for m in measured)
    return tuple(slip for slip in found if slip is not None)


def _slip(dictionary: FaultDictionary, measured: Measured) -> UnitSlip | None:
    value = measured.value
    if measured.unstable or measured.low is not None or not np.isfinite(value):
        return None
    if _is_good(dictionary, measured, value):
        return None
    good = [value * factor for factor in FACTORS if _is_good(dictionary, measured, value * factor)]
    return UnitSlip(measured=measured, meant=replace(measured, value=good[0])) if good else None


def _is_good(dictionary: FaultDictionary, measured: Measured, value: float) -> bool:
    """Whether good boards may show it."""
    fit = dictionary.fit(measured.reading)
    away, reach = fit.away(value)[0], ERRORS * fit.error_at(value)
    return bool(away.min() < reach and away.max() > -reach)
