"""Flags that the controller reports, as evidence: whether it can lock is known from the pulses."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SYNC, FAN, NO_FLAG = "sync", "fan", "none"
FLAGS = (SYNC, FAN, NO_FLAG)

SILENT = ("supply missing", "supplies missing", "mains missing")
"""Faults with which the controller reports nothing, as it has no supply."""

SUPPLY_LOW, RUNS = "supply low", 0.5
"""Share of its supply below which no controller runs that reports something: common practice, no
source."""

LONGEST_CODE = 40

DOUBT = 0.03
"""Chance of a flag against all that is known of the controller."""
MARGIN_WIDTH = 0.1
"""The controller's rules are mostly assumed: how sharp their limits are taken."""
FOLLOWS = 0.9
"""Chance that lost sync brings the fan flag too: the drive is never fired, the tacho silent."""
STARVED: Mapping[tuple[str, str], float] = {("contact", "resistive"): 0.5, ("mains", "low"): 0.15}
"""The same with sync, by kind and mode of a fault: through a contact that may be too bad for the
load; a fan on a low mains turns slower, and stops only in the lowest part of what is tried. Common
practice, no source."""
UNMODELLED = 0.5


def flag_text(flag: str, codes: Mapping[str, str]) -> str:
    """A flag with what the appliance shows for it.

    Examples
    --------
    >>> flag_text("sync", {"sync": "F3"}), flag_text("fan", {})
    ('F3 (sync)', 'fan')
    """
    code = codes.get(flag, "")
    return f"{code} ({flag})" if code else flag


def sync_flag_share(margin: FloatArray) -> FloatArray:
    """Chance of the sync flag for the smallest margin of the lock rules."""
    return np.clip(0.5 - 0.5 * np.tanh(0.5 * margin / MARGIN_WIDTH), DOUBT, 1.0 - DOUBT)


def flags_share(
    observed: Collection[str], sync: FloatArray, own_fan: FloatArray
) -> FloatArray | float:
    """Chance of what the controller reported; 1 where nothing was noted.

    Parameters
    ----------
    observed : collection of str
        Of `FLAGS`; empty: not checked.
    sync : ndarray
        Chance of the sync flag.
    own_fan : ndarray
        Chance of the fan flag with the sync circuit working.

    Returns
    -------
    share : ndarray or float
    """
    if not observed:
        return 1.0
    if SYNC in observed:
        return sync * (FOLLOWS if FAN in observed else 1.0 - FOLLOWS)
    return (1.0 - sync) * (own_fan if FAN in observed else 1.0 - own_fan)


def no_fault_share(observed: Collection[str]) -> float:
    """The same for none of these, which says nothing of flags."""
    half = np.array(UNMODELLED)
    return float(flags_share(observed, half, half))
