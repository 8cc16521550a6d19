"""What a resistor may bear: power derated for temperature."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zcd.refdata import table

FloatArray = NDArray[np.float64]


def derated_power_w(rated_power_w: ArrayLike, ambient_degc: ArrayLike) -> FloatArray:
    """Power that a film resistor may dissipate at an ambient temperature.

    Parameters
    ----------
    rated_power_w : array_like
        Rated dissipation at 70 degC, > 0. [W]
    ambient_degc : array_like
        Ambient temperature. [°C]

    Returns
    -------
    power_w : ndarray
        Full rating up to 70 degC, then a straight line to nothing at 155 degC. [W]

    References
    ----------
    .. [1] Yageo RC0402 data sheet V.6, figure 3; the same line stands in the makers' leaded
       film series (see ``reference/resistor_derating.csv``).

    Examples
    --------
    >>> float(derated_power_w(0.25, 85.0).round(4))
    0.2059
    """
    row = table("resistor_derating")[0]
    full, zero = float(row["full_power_degc"]), float(row["zero_power_degc"])
    share = (zero - np.asarray(ambient_degc, dtype=float)) / (zero - full)
    return np.asarray(rated_power_w, dtype=float) * np.clip(share, 0.0, 1.0)
