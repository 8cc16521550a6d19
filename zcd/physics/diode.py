"""The diode law, alone and behind a resistance, with temperature."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zcd.errors import require
from zcd.refdata import REFERENCE_DEGC

BOLTZMANN_J_PER_K, ELEMENTARY_CHARGE_C, ZERO_CELSIUS_K = 1.380649e-23, 1.602176634e-19, 273.15
"""Exact, by the definition of the units: `thermal_voltage_v` names it."""
REFERENCE_K = ZERO_CELSIUS_K + REFERENCE_DEGC
"""Junction temperature at which `reference/` gives diode parameters. [K]"""

FloatArray = NDArray[np.float64]

BUILT_IN_V, PRINTED_AT_V = 0.7, 4.0
"""Of the junction capacitance: the law's voltage, and where data sheets of rectifiers print it."""

NOTHING_BELOW, SERIES_ABOVE = -40.0, 400.0
PLACES_PER_UNIT = 16
"""Of the table of Wright's omega: a sixteenth apart, the Taylor series between is good to 2e-12."""


def thermal_voltage_v(temperature_degc: ArrayLike) -> FloatArray:
    r"""Thermal voltage of a junction.

    .. math:: V_T = k T / q

    Parameters
    ----------
    temperature_degc : array_like, shape (...,)
        Junction temperature, above absolute zero. [°C]

    Returns
    -------
    thermal_voltage_v : ndarray, shape (...,)
        Thermal voltage. [V]

    Raises
    ------
    InputError
        If any temperature is not finite or not above absolute zero.

    References
    ----------
    .. [1] BIPM, "The International System of Units (SI)", 9th ed., 2019, table 1 (k and e exact).

    Examples
    --------
    >>> float(thermal_voltage_v(25.0).round(6))
    0.025693
    """
    kelvin = np.asarray(temperature_degc, dtype=float) + ZERO_CELSIUS_K
    ok = bool(np.all(np.isfinite(kelvin) & (kelvin > 0)))
    require(ok, "temperature_degc", temperature_degc, "degC", "finite and above -273.15")
    return np.asarray(BOLTZMANN_J_PER_K * kelvin / ELEMENTARY_CHARGE_C)


def saturation_current_a(
    saturation_current_25_a: ArrayLike,
    emission_ratio: ArrayLike,
    gap_v: ArrayLike,
    temperature_degc: ArrayLike,
) -> FloatArray:
    r"""Saturation current at a temperature.

    .. math:: I_s(T) = I_{s,25} \exp\left(-\frac{V_g (1 - T/T_0)}{n V_T}\right)

    so that the forward voltage at a fixed current is a straight line in temperature that meets
    `gap_v` at absolute zero.

    Parameters
    ----------
    saturation_current_25_a : array_like
        Saturation current at 25 degC, >= 0. [A]
    emission_ratio : array_like
        Emission coefficient n. [1]
    gap_v : array_like
        Extrapolated forward voltage at 0 K. [V]
    temperature_degc : array_like
        Junction temperature. [°C]

    Returns
    -------
    saturation_current_a : ndarray
        Broadcast shape of the inputs. [A]

    Notes
    -----
    Valid where the forward voltage was measured, about -55 to 110 degC.
    """
    kelvin = np.asarray(temperature_degc, dtype=float) + ZERO_CELSIUS_K
    fall_v = np.asarray(gap_v, dtype=float) * (1.0 - kelvin / REFERENCE_K)
    n_vt = np.asarray(emission_ratio, dtype=float) * thermal_voltage_v(temperature_degc)
    return np.asarray(saturation_current_25_a, dtype=float) * np.exp(-fall_v / n_vt)


def forward_voltage_v(
    current_a: ArrayLike,
    saturation_a: ArrayLike,
    emission_v: ArrayLike,
    series_ohm: ArrayLike = 0.0,
) -> FloatArray:
    """Forward voltage at a current.

    Parameters
    ----------
    current_a : array_like
        Diode current, > -saturation current. [A]
    saturation_a : array_like
        Saturation current at the junction's temperature. [A]
    emission_v : array_like
        n times the thermal voltage. [V]
    series_ohm : array_like
        Series resistance. [ohm]

    Returns
    -------
    forward_voltage_v : ndarray
        Broadcast shape of the inputs. [V]
    """
    current = np.asarray(current_a, dtype=float)
    return np.asarray(
        np.asarray(emission_v) * np.log1p(current / np.asarray(saturation_a))
        + np.asarray(series_ohm) * current
    )


def reverse_charge_c(reverse_v: ArrayLike, capacitance_f: float) -> FloatArray:
    r"""Charge that a rectifier takes up as it is reversed.

    .. math:: Q = 2 C_0 V_j (\sqrt{1 + V/V_j} - 1), \quad C(V) = C_0 / \sqrt{1 + V/V_j}

    Parameters
    ----------
    reverse_v : array_like
        Forward voltages count as none. [V]
    capacitance_f : float
        As printed, at 4 V reverse. [F]

    Returns
    -------
    charge_c : ndarray
        [C]

    Notes
    -----
    The law of an abrupt junction, the usual one of SPICE; a graded one (exponent 1/3) takes up
    half as much again at mains voltage.
    """
    ratio = np.maximum(np.asarray(reverse_v, dtype=float), 0.0) / BUILT_IN_V
    charge_c = 2.0 * BUILT_IN_V * capacitance_at_zero_f(capacitance_f) * (np.sqrt(1.0 + ratio) - 1)
    return np.asarray(charge_c)


def capacitance_at_zero_f(capacitance_f: float) -> float:
    """Junction capacitance of a rectifier at 0 V, from the one printed at 4 V reverse. [F]"""
    return float(capacitance_f * np.sqrt(1.0 + PRINTED_AT_V / BUILT_IN_V))


def current_behind_resistance_a(
    voltage_v: ArrayLike,
    saturation_a: ArrayLike,
    emission_v: ArrayLike,
    resistance_ohm: ArrayLike,
) -> FloatArray:
    r"""Current of a diode in series with a resistance, in closed form.

    .. math:: I = \frac{n V_T}{R} W\left(\frac{I_s R}{n V_T}
              e^{(V + I_s R)/(n V_T)}\right) - I_s

    solved as :math:`w + \ln w = L` so that it does not overflow at mains voltage.

    Parameters
    ----------
    voltage_v : array_like
        Voltage over resistance and diode together. [V]
    saturation_a : array_like
        Saturation current, >= 0; 0 stands for no diode at all. [A]
    emission_v : array_like
        n times the thermal voltage, > 0. [V]
    resistance_ohm : array_like
        Total series resistance, > 0. [ohm]

    Returns
    -------
    current_a : ndarray
        Broadcast shape of the inputs. [A]

    References
    ----------
    .. [1] T. C. Banwell and A. Jayakumar, "Exact analytical solution for current flow through
       diode with series resistance", Electronics Letters 36(4), pp. 291-292, 2000.

    Examples
    --------
    >>> from zcd.physics.diode import current_behind_resistance_a
    >>> float(current_behind_resistance_a(0.9, 25e-15, 0.0257025, 249.3).round(8))
    0.00108485
    """
    saturation = np.asarray(saturation_a, dtype=float)
    omega = diode_omega(voltage_v, saturation, emission_v, resistance_ohm)
    return np.asarray(omega * np.asarray(emission_v) / np.asarray(resistance_ohm) - saturation)


def diode_omega(
    voltage_v: ArrayLike, saturation_a: ArrayLike, emission_v: ArrayLike, resistance_ohm: ArrayLike
) -> FloatArray:
    """Solve w + ln w = ln(Is R / nVt) + (V + Is R) / nVt; w is 0 where Is is 0."""
    start = omega_start(saturation_a, emission_v, resistance_ohm)
    return wright_omega(np.asarray(start + np.asarray(voltage_v) / np.asarray(emission_v)))


def omega_start(
    saturation_a: ArrayLike, emission_v: ArrayLike, resistance_ohm: ArrayLike
) -> FloatArray:
    """The part of the equation's right side that the voltage does not change."""
    knee = np.asarray(saturation_a, dtype=float) * np.asarray(resistance_ohm, dtype=float)
    knee = knee / np.asarray(emission_v, dtype=float)
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(knee) + knee)


def wright_omega(z: FloatArray) -> FloatArray:
    """Solve w + ln w = z to 1e-10 of w, or of 1e-17 where w is smaller still.

    Parameters
    ----------
    z : ndarray

    Returns
    -------
    omega : ndarray, shape of `z`

    Notes
    -----
    Near the knee a Taylor series around the nearest place of a table; far from it, where nearly
    all points of a mains period are, the series for large z. Both are several times faster than
    the general method, and need no library that takes long to load.

    References
    ----------
    .. [1] R. M. Corless, G. H. Gonnet, D. E. G. Hare, D. J. Jeffrey, D. E. Knuth, "On the Lambert
       W function", Advances in Computational Mathematics 5, pp. 329-359, 1996, equation 4.20.
    .. [2] R. M. Corless and D. J. Jeffrey, "The Wright omega function", Lecture Notes in Computer
       Science 2385, pp. 76-89, 2002: its derivatives.
    """
    flat = z.ravel()
    omega = np.zeros(flat.size)
    near = np.flatnonzero((flat > NOTHING_BELOW) & (flat < SERIES_ABOVE))
    far = np.flatnonzero(flat >= SERIES_ABOVE)
    omega[near] = _omega_near_knee(flat[near])
    large = flat[far]
    log, x = np.log(large), 1.0 / large
    second, third = 0.5 * log - 1.0, 1.0 + log * (log / 3.0 - 1.5)
    omega[far] = large - log + log * x * (1.0 + x * (second + x * third))
    return omega.reshape(z.shape)


def _omega_near_knee(z: FloatArray) -> FloatArray:
    place = (z - NOTHING_BELOW) * PLACES_PER_UNIT
    nearest = np.rint(place).astype(np.intp)
    away = (place - nearest) / PLACES_PER_UNIT
    highest, *others = omega_table().T
    omega = highest.take(nearest)
    for coefficients in others:
        omega *= away
        omega += coefficients.take(nearest)
    return omega


@cache
def omega_table() -> FloatArray:
    """Taylor coefficients of Wright's omega around evenly spaced places, the highest first."""
    span = int((SERIES_ABOVE - NOTHING_BELOW) * PLACES_PER_UNIT)
    z = NOTHING_BELOW + np.arange(span + 1) / PLACES_PER_UNIT
    # Newton on u + exp u = z with u = ln w, from a little above the root: monotone
    log = np.where(z < 1.0, np.minimum(z, 0.0), np.log(np.maximum(z, 1.0)))
    for _ in range(8):
        log -= (log + np.exp(log) - z) / (1.0 + np.exp(log))
    w = np.exp(log)
    c = 1.0 / (1.0 + w)
    coefficients = (
        w * (1.0 + w * (-22.0 + w * (58.0 - 24.0 * w))) * c**9 / 120.0,
        w * (1.0 + w * (-8.0 + 6.0 * w)) * c**7 / 24.0,
        w * (1.0 - 2.0 * w) * c**5 / 6.0,
        w * c**3 / 2.0,
        w * c,
        w,
    )
    return np.stack(coefficients, axis=1)
