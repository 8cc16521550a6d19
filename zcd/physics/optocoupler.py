"""The optocoupler: CTR against current, grade, temperature and age; its output transistor."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, reduce

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zcd.refdata import Default, columns, default, table

FloatArray = NDArray[np.float64]

# CTR at 5 mA of the two samples whose curves bracket the class: the low one from the EL-817
# output curves (6.6 mA at 5 V and 5 mA), the high one from the SHARP-817 CTR curve.
LOW_SAMPLE_CTR_RATIO = 1.32
HIGH_SAMPLE_CTR_RATIO = 4.74
HIGH_RANK = "SHARP-817"
"""Curve of the high-rank shape."""

OWN_HEAT = {"293": "TLP293", "281": "TLP281"}
"""Families whose CTR is published against temperature at two LED currents, and that curve."""

_MIN_CURRENT_A = 1e-9
_FAR = 1e3
_JOIN_A = 0.5e-3
_MIN_DROP_V, _MAX_SATURATED = 1e-9, 0.999
_HEAT_KNOWN_A = (0.3e-3, 15e-3)


@cache
def _low_shape() -> tuple[FloatArray, FloatArray]:
    """Log current and log CTR of the low-rank shape, relative to 5 mA.

    The EL-817 curve ends at 0.5 mA; below, the 4N35 curve is scaled to meet it there.
    """
    low, tail = columns("ctr_shape", curve="EL-817"), columns("ctr_shape", curve="4N35")
    below = tail["current_a"] < _JOIN_A
    at_join = np.exp(
        np.interp(np.log(low["current_a"][0]), np.log(tail["current_a"]),
                  np.log(tail["relative_ratio"]))
    )  # fmt: skip
    scale = low["relative_ratio"][0] / at_join
    current = np.concatenate([tail["current_a"][below], low["current_a"]])
    ratio = np.concatenate([tail["relative_ratio"][below] * scale, low["relative_ratio"]])
    return _with_ends(np.log(current), np.log(ratio))


@cache
def _published_shape(*samples: str) -> tuple[FloatArray, FloatArray]:
    """Log current and log CTR of a curve, relative to 5 mA; of several samples their mean."""
    curves = [columns("ctr_shape", curve=sample) for sample in samples]
    common = reduce(np.intersect1d, [rows["current_a"] for rows in curves])
    logs = [np.log(rows["relative_ratio"][np.isin(rows["current_a"], common)]) for rows in curves]
    return _with_ends(np.log(common), np.mean(logs, axis=0))


@cache
def _own_shapes() -> dict[str, tuple[FloatArray, FloatArray]]:
    """The curves of the families that have one of their own."""
    samples: dict[str, list[str]] = {}
    for row in table("ctr_shape_families"):
        samples.setdefault(str(row["family"]), []).append(str(row["curve"]))
    return {family: _published_shape(*curves) for family, curves in samples.items()}


def own_shape(family: str) -> int:
    """Number of a family whose curve of CTR against current is published; 0: it has none.

    Examples
    --------
    >>> own_shape("817"), own_shape("H11AA1")
    (0, 1)
    """
    return next((n for n, name in enumerate(_own_shapes(), 1) if name == family), 0)


def _with_ends(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Points of a curve, and one far beyond either end, along the end segments."""
    first, last = (y[1] - y[0]) / (x[1] - x[0]), (y[-1] - y[-2]) / (x[-1] - x[-2])
    wide = np.concatenate([[x[0] - _FAR], x, [x[-1] + _FAR]])
    return wide, np.concatenate([[y[0] - _FAR * first], y, [y[-1] + _FAR * last]])


def _log_shape(log_current: FloatArray, weight: FloatArray, own: FloatArray) -> FloatArray:
    """Log of CTR relative to 5 mA: see `ctr_shape_ratio`."""
    numbers = np.unique(own)
    curves = [np.interp(log_current, *_curve(number)) for number in numbers]
    start = curves[0]
    for number, curve in zip(numbers[1:], curves[1:], strict=True):
        start = np.where(own == number, curve, start)
    if not np.any(weight):
        return np.asarray(start)
    low = np.interp(log_current, *_low_shape()) if numbers[0] > 0 else curves[0]
    high = np.interp(log_current, *_high_shape())
    return np.asarray(start + weight * (high - low))


def _curve(number: float) -> tuple[FloatArray, FloatArray]:
    """The curve that a shape of weight 0 is: a family's own, or the low-rank shape."""
    return list(_own_shapes().values())[int(number) - 1] if number else _low_shape()


def _high_shape() -> tuple[FloatArray, FloatArray]:
    return _published_shape(HIGH_RANK)


def ctr_shape_ratio(
    led_current_a: ArrayLike, shape_weight: ArrayLike, own: ArrayLike = 0
) -> FloatArray:
    """CTR at a LED current relative to CTR at 5 mA, at 25 degC.

    Parameters
    ----------
    led_current_a : array_like, shape (...,)
        LED current; negative and zero count as 1 nA. [A]
    shape_weight : array_like
        0: the low-rank shape of the 817 class, 1: the high-rank one; between, a geometric mean.
        With a curve of its own: how far from it, in the same steps. [1]
    own : array_like
        Number of the family's own curve, as from `own_shape`; 0: that of the class.

    Returns
    -------
    ratio : ndarray
        [1]

    Notes
    -----
    Measured from 0.1 to 30 mA; outside, the curve goes on along its last segment (in logs).

    References
    ----------
    .. [1] Everlight EL817 data sheet Rev. 10 (2010), figure 2.
    .. [2] Sharp PC817X data sheet D2-A03101EN (2003), figure 6.
    .. [3] Avago 4N35 data sheet AV02-0773EN (2007), figure 4, below 0.5 mA.
    .. [4] The families' own curves: `reference/ctr_shape.csv` names sheet and figure of each.
    """
    log_current = np.log(np.maximum(np.asarray(led_current_a, dtype=float), _MIN_CURRENT_A))
    weight = np.asarray(shape_weight, dtype=float)
    return np.exp(_log_shape(log_current, weight, np.asarray(own, dtype=float)))


def ctr_corners_a(own: ArrayLike = 0) -> FloatArray:
    """LED currents between which CTR is a power of the current.

    For readers that need the law as a table: in logs it is a straight line between these.

    Parameters
    ----------
    own : array_like
        Numbers of the families' own curves.

    Returns
    -------
    current_a : ndarray
        Rising; below the first CTR stays, above the last it goes on. [A]
    """
    limits = np.log([_MIN_CURRENT_A, *_HEAT_KNOWN_A])
    curves = (_low_shape(), _high_shape(), *map(_curve, np.unique(own)))
    logs = np.concatenate([limits, *(at[1:-1] for at, _ in curves)])
    # rounded, so that a current that both curves have is one corner
    return np.exp(np.unique(np.round(logs, 9)))


def family_shape_weight(
    family: str, ctr_ratio: ArrayLike, test_current_a: float
) -> FloatArray | float:
    """The shape of CTR against current: on a family's own curve where published, else by its CTR.

    Parameters
    ----------
    family : str
    ctr_ratio, test_current_a
        As for `shape_weight_ratio`.

    Returns
    -------
    weight : float or ndarray
        [1]
    """
    return 0.0 if own_shape(family) else shape_weight_ratio(ctr_ratio, test_current_a)


def shape_spread(family: str) -> Default:
    """How far the shape of one part may lie from its family's, either way, as a weight."""
    return default("spread.ctr_own_shape" if own_shape(family) else "spread.ctr_shape")


def weakest_shape_weight(family: str) -> float:
    """The shape of a family that collects least at small currents: the low-rank one, or its own."""
    return -shape_spread(family).value if own_shape(family) else 0.0


def shape_weight_ratio(ctr_ratio: ArrayLike, test_current_a: float) -> FloatArray:
    """Where a part of this CTR stands between the low-rank and the high-rank shape.

    Parameters
    ----------
    ctr_ratio : array_like
        CTR at the test current, > 0. [1]
    test_current_a : float
        The data sheet's test current. [A]

    Returns
    -------
    weight : ndarray
        0 at or below the low-rank sample's CTR, 1 at or above the high-rank sample's. [1]
    """
    # the CTR at 5 mA follows from the one stated by the part's own shape, so that both are sought
    low, high = _at_ranks(test_current_a)
    span = np.log(HIGH_SAMPLE_CTR_RATIO / LOW_SAMPLE_CTR_RATIO) + high - low
    above = np.log(np.asarray(ctr_ratio, dtype=float) / LOW_SAMPLE_CTR_RATIO) - low
    return np.clip(above / span, 0.0, 1.0)


@cache
def _at_ranks(led_current_a: float) -> tuple[FloatArray, FloatArray]:
    """Log of CTR relative to 5 mA, of the low-rank and of the high-rank shape."""
    low, high = (np.log(ctr_shape_ratio(led_current_a, weight)) for weight in (0.0, 1.0))
    return low, high


@cache
def _temperature_grid(
    curve: str,
) -> tuple[FloatArray, tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Log of the source's two LED currents; log ratio over temperature at the lower and the
    higher."""
    one = columns("ctr_temperature", curve=curve)
    low, high = np.unique(one["current_a"])
    at = {i: one["current_a"] == i for i in (low, high)}
    celsius = one["temperature_degc"][at[low]]
    at_low, at_high = (
        _with_ends(celsius, np.log(one["relative_ratio"][at[i]])) for i in (low, high)
    )
    return np.log([low, high]), at_low, at_high


def _log_heat(log_current: FloatArray, t: FloatArray, own: FloatArray) -> FloatArray:
    """Log of CTR relative to 25 degC: see `ctr_temperature_ratio`."""
    current = np.clip(log_current, *np.log(_HEAT_KNOWN_A))

    def of_curve(curve: str) -> FloatArray:
        ends, low, high = _temperature_grid(curve)
        at_low, at_high = np.interp(t, *low), np.interp(t, *high)
        steepness = (at_high - at_low) / (ends[1] - ends[0])
        return np.asarray(at_low + steepness * (current - ends[0]))

    owners = _heat_owners()
    first, *others = [own.item()] if own.size == 1 else np.unique(own).tolist()
    result = of_curve(owners.get(first, HIGH_RANK))
    for number in others:
        result = np.where(own == number, of_curve(owners.get(number, HIGH_RANK)), result)
    return result


@cache
def _heat_owners() -> dict[float, str]:
    """Curve of each number of `own_shape` whose family has one of its own."""
    return {float(own_shape(family)): curve for family, curve in OWN_HEAT.items()}


def ctr_temperature_ratio(
    led_current_a: ArrayLike, temperature_degc: ArrayLike, own: ArrayLike = 0
) -> FloatArray:
    """CTR at a temperature relative to CTR at 25 degC, at the same LED current.

    Parameters
    ----------
    led_current_a, temperature_degc : array_like, broadcastable
        [A], [°C]
    own : array_like
        As in `ctr_shape_ratio`; there is one law for all but the families of `OWN_HEAT`.

    Returns
    -------
    ratio : ndarray
        [1]

    Notes
    -----
    Published at 1 and 5 mA, -30 to 100 degC. The log ratio goes as a straight line in log
    current, on to 0.3 mA and 15 mA, then stays: heat costs more at lower current. Other makers'
    curves lose less: at 85 degC 0.53 and 0.56 are left at 0.5 mA, where this law says 0.50, and
    0.77 to 0.83 at 5 mA, where it says 0.68.

    References
    ----------
    .. [1] Sharp PC817X data sheet D2-A03101EN (2003), figure 9.
    .. [2] Toshiba TLP293 data sheet Rev. 5.0 (2018), figure 11.13: a newer kind of LED.
    .. [3] Toshiba TLP281 data sheet (2002), page 6.
    """
    log_current = np.log(np.maximum(np.asarray(led_current_a, dtype=float), _MIN_CURRENT_A))
    t, number = (np.asarray(value, dtype=float) for value in (temperature_degc, own))
    return np.exp(_log_heat(log_current, t, number))


@cache
def _dark_shape() -> tuple[FloatArray, FloatArray]:
    rows = columns("dark_current", curve="EL-817")
    return _with_ends(rows["temperature_degc"], np.log(rows["dark_current_a"]))


def dark_current_a(temperature_degc: ArrayLike) -> FloatArray:
    """Collector current without light (typical part).

    Parameters
    ----------
    temperature_degc : array_like
        [°C]

    Returns
    -------
    current_a : ndarray
        [A]

    References
    ----------
    .. [1] Everlight EL817 data sheet Rev. 10 (2010), figure 4 (VCE = 10 V).
    """
    return np.exp(np.interp(np.asarray(temperature_degc, dtype=float), *_dark_shape()))


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputTransistor:
    """Constants of the phototransistor as a switch.

    Parameters
    ----------
    knee_ratio : float
        Forward over reverse current gain: how hard the transistor saturates. [1]
    emission_ratio : float
        Emission coefficient of the saturation law. [1]
    early_v : float
        Early voltage. [V]
    storage_s : float
        Time constant with which the photocurrent builds up and dies. [s]
    miller_f : float
        Collector-base capacitance times current gain, as seen from collector to emitter. [F]
    speed_factor_ratio : float
        Factor, each way, by which storage and capacitance differ from maker to maker. [1]
    """

    knee_ratio: float
    emission_ratio: float
    early_v: float
    storage_s: float
    miller_f: float
    speed_factor_ratio: float = 1.0


def output_transistor(family: str) -> OutputTransistor:
    """Output constants of an optocoupler family; families without their own take those of 817."""
    rows = {row["family"]: row for row in table("optocoupler_output")}
    row = rows.get(family, rows["817"])
    return OutputTransistor(**{k: float(v) for k, v in row.items() if k != "family"})


def turn_off_temperature_ratio(temperature_degc: ArrayLike) -> FloatArray:
    """Storage time and capacitance over their values at 25 degC.

    Parameters
    ----------
    temperature_degc : array_like
        [°C]

    Returns
    -------
    ratio : ndarray
        [1]

    Notes
    -----
    The turn-off time of one maker's part, which has the only published curve; storage rises
    as much within 12 % from 0 degC up.

    References
    ----------
    .. [1] Toshiba TLP293 data sheet Rev. 5.0 (2018), figure 11.17.
    """
    return np.exp(np.interp(np.asarray(temperature_degc, dtype=float), *_turn_off_shape()))


@cache
def _turn_off_shape() -> tuple[FloatArray, FloatArray]:
    """Temperatures and log turn-off time, relative to 25 degC."""
    rows = columns("turn_off_temperature", curve="TLP293")
    return _with_ends(rows["temperature_degc"], np.log(rows["turn_off_ratio"]))


REFERENCE_COLLECTOR_V = 5.0
"""Collector-emitter voltage at which data sheets state CTR. [V]"""


def collector_share(
    collector_emitter_v: FloatArray, knee_v: FloatArray, knee_ratio: FloatArray, early_v: FloatArray
) -> tuple[FloatArray, FloatArray]:
    r"""Collector current over its value at VCE = 5 V, and the slope of that share.

    .. math:: \sigma(v) = \frac{e^{v/v_k} - 1}{e^{v/v_k} + r}\,
              \frac{1 + v/V_A}{1 + 5\,\mathrm{V}/V_A}

    the saturation law of the transport model of a bipolar transistor at fixed base current.

    Parameters
    ----------
    collector_emitter_v : ndarray
        [V]
    knee_v : ndarray
        Emission coefficient times thermal voltage. [V]
    knee_ratio, early_v : ndarray
        As in `OutputTransistor`. [1], [V]

    Returns
    -------
    share, slope : ndarray
        [1], [1/V]

    Notes
    -----
    Below 0 V the Early factor is held at its value for 0 V, so that the share stays monotone.
    """
    v = collector_emitter_v
    e = np.exp(np.clip(v / knee_v, -60.0, 60.0))
    inverse = 1.0 / (e + knee_ratio)
    saturation = (e - 1.0) * inverse
    saturation_slope = e * inverse * inverse * ((1.0 + knee_ratio) / knee_v)
    scale = 1.0 / (1.0 + REFERENCE_COLLECTOR_V / early_v)
    early = scale + np.maximum(v, 0.0) * (scale / early_v)
    early_slope = (v > 0) * (scale / early_v)
    return saturation * early, saturation_slope * early + saturation * early_slope


def collector_voltage_v(
    drop_v: FloatArray,
    open_v: FloatArray,
    knee_v: FloatArray,
    knee_ratio: FloatArray,
    early_v: FloatArray,
) -> FloatArray:
    """Where the transistor comes to rest on a load, nearly.

    Parameters
    ----------
    drop_v : ndarray
        What its current at VCE = 5 V would drop over the load. [V]
    open_v : ndarray
        What the load is fed from. [V]
    knee_v, knee_ratio, early_v : ndarray
        As for `collector_share`.

    Returns
    -------
    collector_emitter_v : ndarray
        Within some millivolts where it amplifies and where it is saturated, tens of millivolts
        in between. [V]
    """
    drop = drop_v / (1.0 + REFERENCE_COLLECTOR_V / early_v)
    amplified = (open_v - drop) / (1.0 + drop / early_v)
    share = np.clip(open_v / np.maximum(drop, _MIN_DROP_V), 0.0, _MAX_SATURATED)
    saturated = knee_v * np.log((1.0 + knee_ratio * share) / (1.0 - share))
    return np.asarray(np.maximum(amplified, saturated))
