"""The diode law, alone and behind a resistance, with temperature."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import elementary_charge, zero_Celsius
from scipy.constants import k as boltzmann
from scipy.special import wrightomega

from zcd.errors import require
from zcd.refdata import REFERENCE_DEGC

REFERENCE_K = zero_Celsius + REFERENCE_DEGC
"""Junction temperature at which `reference/` gives diode parameters. [K]"""

FloatArray = NDArray[np.float64]

BUILT_IN_V, PRINTED_AT_V = 0.7, 4.0
"""Of the junction capacitance: the law's voltage, and where data sheets of rectifiers print it."""

_MANY_VALUES = 1000
_NOTHING_BELOW, _SERIES_ABOVE = -40.0, 100.0


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
    kelvin = np.asarray(temperature_degc, dtype=float) + zero_Celsius
    ok = bool(np.all(np.isfinite(kelvin) & (kelvin > 0)))
    require(ok, "temperature_degc", temperature_degc, "degC", "finite and above -273.15")
    return np.asarray(boltzmann * kelvin / elementary_charge)


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
    kelvin = np.asarray(temperature_degc, dtype=float) + zero_Celsius
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
    Far from the knee, where nearly all points of a mains period are, the series for large z
    is several times faster than the general method.

    References
    ----------
    .. [1] R. M. Corless, G. H. Gonnet, D. E. G. Hare, D. J. Jeffrey, D. E. Knuth, "On the Lambert
       W function", Advances in Computational Mathematics 5, pp. 329-359, 1996, equation 4.20.
    """
    if z.size < _MANY_VALUES:
        return np.asarray(wrightomega(z))
    flat = z.ravel()
    omega = np.zeros(flat.size)
    near = np.flatnonzero((flat > _NOTHING_BELOW) & (flat < _SERIES_ABOVE))
    far = np.flatnonzero(flat >= _SERIES_ABOVE)
    omega[near] = wrightomega(flat[near])
    log = np.log(flat[far])
    x = 1.0 / flat[far]
    fourth = -1.0 + log * (3.0 + log * (-11.0 / 6.0 + 0.25 * log))
    third = 1.0 + log * (-1.5 + log / 3.0)
    second = -1.0 + 0.5 * log
    omega[far] = flat[far] - log + log * x * (1.0 + x * (second + x * (third + x * fourth)))
    return omega.reshape(z.shape)
