"""Two published views of how an optocoupler's CTR falls with use."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

BOLTZMANN_EV_PER_K = 8.62e-5
"""As printed by the source of `black_acceleration_ratio`, which also rounds 0 degC to 273 K."""
ACTIVATION_EV = 0.43
CURRENT_EXPONENT = 2.0
STRESS_HOURS = 1000.0
STRESS_CURRENT_A = 20e-3
STRESS_DEGC = 125.0
STRESS_REMAINING_RATIO = 0.992
"""What the source's stress test left of the CTR, after its hours at its current and heat."""


def black_acceleration_ratio(
    stress_a: ArrayLike, use_a: ArrayLike, stress_degc: ArrayLike, use_degc: ArrayLike
) -> FloatArray:
    r"""How much faster an optocoupler ages under stress than in use (Black's model).

    .. math:: A = (J_s/J_u)^N \exp\left(\frac{E_a}{K}\left(\frac1{T_u}-\frac1{T_s}\right)\right)

    Parameters
    ----------
    stress_a, use_a : array_like
        LED current under stress and in use, > 0. [A]
    stress_degc, use_degc : array_like
        Temperature under stress and in use. [°C]

    Returns
    -------
    acceleration : ndarray
        Hours in use for one hour of stress, for the same loss. [1]

    References
    ----------
    .. [1] Avago AV02-3401EN, calculating the LED lifetime of optocouplers: 184.7 from
       20 mA, 125 degC to 5 mA, 60 degC.

    Examples
    --------
    >>> float(black_acceleration_ratio(20e-3, 5e-3, 125.0, 60.0).round(2))
    184.77
    """
    current = (np.asarray(stress_a, dtype=float) / np.asarray(use_a)) ** CURRENT_EXPONENT
    use_k, stress_k = np.asarray(use_degc) + 273.0, np.asarray(stress_degc) + 273.0
    return np.asarray(
        current * np.exp(ACTIVATION_EV / BOLTZMANN_EV_PER_K * (1.0 / use_k - 1.0 / stress_k))
    )


def remaining_by_acceleration_ratio(
    led_on_hours: ArrayLike, led_current_a: ArrayLike, temperature_degc: ArrayLike
) -> FloatArray:
    """CTR left after a time of LED current, by the stress test scaled with Black's model.

    Parameters
    ----------
    led_on_hours, led_current_a, temperature_degc : array_like
        [h], [A], [°C]

    Returns
    -------
    remaining : ndarray
        Between 0 and 1. [1]

    Notes
    -----
    The loss goes in proportion to time in the exponent. The source's LED is a modern one and
    its model ends in centuries below 1 mA: the optimistic view.
    """
    hours = np.asarray(led_on_hours, dtype=float) / black_acceleration_ratio(
        STRESS_CURRENT_A, led_current_a, STRESS_DEGC, temperature_degc
    )
    return np.asarray(STRESS_REMAINING_RATIO ** (hours / STRESS_HOURS))


def remaining_by_design_rule_ratio(powered_years: ArrayLike) -> FloatArray:
    """CTR left by the maker's design rule: half of it lost in five years of operation.

    Parameters
    ----------
    powered_years : array_like
        Years of continuous operation (8760 h each). [year]

    Returns
    -------
    remaining : ndarray
        [1]

    References
    ----------
    .. [1] Sharp PC817X data sheet D2-A03101EN (2003), page 9, "Degradation".
    """
    return np.asarray(0.5 ** (np.asarray(powered_years, dtype=float) / 5.0))
