"""What a resistor may bear, and how it drifts under load."""

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


DRIFT_EXPONENT = 1.0 / 3.0
REFERENCE_HOURS = 1000.0


def drift_ratio(hours: ArrayLike, first_ratio: ArrayLike) -> FloatArray:
    r"""Change of a film resistor after hours under load.

    .. math:: d = d_{1000} \sqrt[3]{t / 1000\,\mathrm h}

    Parameters
    ----------
    hours : array_like
        >= 0. [h]
    first_ratio : array_like
        Change in the first 1000 h, as data sheets limit it at full load. [1]

    Returns
    -------
    drift : ndarray
        [1]

    Notes
    -----
    A cube root joins the limits that makers print for 1000, 8000 and 225 000 h of thick and of
    thin film. At full load and 70 degC: at less of both it is an upper limit.

    References
    ----------
    .. [1] Vishay D/CRCW e3, CRCW-HP e3 and TNPW e3 data sheets, load life.

    Examples
    --------
    >>> float(drift_ratio(8000.0, 0.01).round(4))
    0.02
    """
    share = np.asarray(hours, dtype=float) / REFERENCE_HOURS
    return np.asarray(np.asarray(first_ratio, dtype=float) * share**DRIFT_EXPONENT)
