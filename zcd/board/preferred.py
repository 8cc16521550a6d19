"""Preferred numbers: the E series of IEC 60063, out of the published table."""

from __future__ import annotations

from functools import cache
from math import floor, log10

import numpy as np

from zcd import refdata

SERIES = {"E6": 0.2, "E12": 0.1, "E24": 0.05, "E48": 0.02, "E96": 0.01}
"""Series of preferred numbers, and the tolerance that the standard made each for."""
_EVERY_OTHER = {"E6": "E12", "E48": "E96"}
"""Series that hold every other value of one in the table."""


@cache
def decade(series: str) -> tuple[float, ...]:
    """Values of a series from 1 to below 10.

    Parameters
    ----------
    series : str
        One of `SERIES`.

    Returns
    -------
    tuple of float

    Examples
    --------
    >>> decade("E6")
    (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
    """
    if series in _EVERY_OTHER:
        return decade(_EVERY_OTHER[series])[::2]
    values = refdata.columns("preferred_numbers", series=series)["value"]
    return tuple(float(value) for value in values / values[0])


def is_preferred(resistance_ohm: float) -> bool:
    """Whether a resistance is in E24 or E96, within what a float may be off.

    Examples
    --------
    >>> is_preferred(120e3), is_preferred(123e3)
    (True, False)
    """
    figures = resistance_ohm / 10.0 ** floor(log10(resistance_ohm))
    known = np.array([*decade("E24"), *decade("E96"), 10.0])
    return bool((np.abs(known / figures - 1.0) < 1e-6).any())
