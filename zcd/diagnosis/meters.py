"""The meter: its input resistances, what it makes of a waveform, how far it may be off."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from enum import StrEnum
from numbers import Real

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Value
from zcd.engine.solution import Solution
from zcd.errors import invalid_value
from zcd.refdata import default

FloatArray = NDArray[np.float64]

SINE_FORM_RATIO = np.pi / (2.0 * np.sqrt(2.0))
"""Rms over rectified mean of a sine: the scale of an average-responding meter."""

MIN_OHM_RANGE = 150.0
"""The lowest ohms range of a meter has at least this full scale."""
MIN_VOLT_RANGE_V = 0.15
HIGHEST_VOLT_RANGE_V = 1000.0
DECADES = 10
TRIGGER_V = 2.0
"""AC volts below which a meter counts no frequency: common practice, no source."""
TRIGGER_PIN_V = 0.4
"""The same at the pin, with the range set for a logic level: common practice, no source."""
OHM_FULL_SCALE_V = 0.7
"""Voltage at full scale of an ohms range (Fluke 114 to 117 users manual: below 0.7 V)."""
FULL_SCALES_V, FULL_SCALE_SHARE = (0.25, 0.9), 2.0 / 3.0
"""The same over most meters: the highest as on the top range of those of that manual, the lowest
common practice, no source. As a share of the open-circuit voltage it is at most that of meters that
divide it by a resistor of half the range (ICL7106 data sheet: the display is 1000 R / R reference,
up to 1999). No manual tells it range by range, so what a junction shows on ohms is known within
this only."""
DIODE_SOURCE_OHM = 2.7e3
"""Behind the diode test's open-circuit voltage: 1 mA into a short (the sheets: 0.4 to 1.5 mA)."""
DIODE_SHORT_A = (0.4e-3, 1.5e-3)
"""What a diode test drives into a short, by the meters' sheets."""
DIODE_FULL_SCALE_V = 2.0
OPEN_SHARE = 0.95
"""A diode test shows overload above this share of its own open-circuit voltage."""
OVERLOAD = float("inf")
"""What the meter shows beyond its range."""
NO_EDGE = float("inf")
"""What a scope shows of an edge that never comes."""


class AcKind(StrEnum):
    """How a meter makes an AC reading."""

    TRUE_RMS = "true-rms"
    AVERAGE = "average"
    TRUE_RMS_DC = "true-rms-dc"


def _usual(name: str) -> float:
    """What a usual handheld meter has."""
    value: float = field(default_factory=lambda: default(f"meter.{name}").value)
    return value


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A multimeter; what is not given is that of a usual handheld one.

    Parameters
    ----------
    dc_input_ohm, ac_input_ohm, low_impedance_ohm : float
        Input resistance on DC and AC volts, and on volts in the low-impedance mode, which is
        DC-coupled and loads what a suppressor or a film of moisture lets through.
    ac_kind : AcKind
        ``true-rms`` and ``average`` are AC-coupled; ``true-rms-dc`` is not.
    dc_accuracy_ratio, ac_accuracy_ratio, ohm_accuracy_ratio : float
        Of the reading.
    ohms_open_v, diode_open_v : float
        Open-circuit voltage of the ohms ranges and of the diode test.
    ohm_range_ohm : float
        Full scale of its highest ohms range: what is beyond shows as overload.
    counts : float
        Full scale of a range in steps of its last digit, such as 2000 or 6000: which ranges there
        are.
    diode_stop_v : float or None
        Above this the diode test shows overload; None: at the usual full scale, or just below its
        open-circuit voltage.
    diode_stated : bool
        Whether it is known where its diode test ends, as it is with `diode_stop_v`. If not, it may
        be anywhere that meters of the trade end.
    has_scope : bool
        Whether there is an oscilloscope beside it; without one no reading is proposed that takes
        one.
    """

    dc_input_ohm: float = _usual("dc_input")
    ac_input_ohm: float = _usual("ac_input")
    low_impedance_ohm: float = _usual("low_impedance")
    ac_kind: AcKind = AcKind.TRUE_RMS
    dc_accuracy_ratio: float = _usual("dc_accuracy")
    ac_accuracy_ratio: float = _usual("ac_accuracy")
    ohm_accuracy_ratio: float = _usual("ohm_accuracy")
    ohms_open_v: float = _usual("ohms_open")
    diode_open_v: float = _usual("diode_open")
    ohm_range_ohm: float = _usual("ohm_range")
    counts: float = _usual("counts")
    diode_stop_v: float | None = None
    diode_stated: bool = False
    has_scope: bool = True

    def __post_init__(self) -> None:
        for each in fields(self):
            value = getattr(self, each.name)
            if each.type == "float" and not (
                isinstance(value, Real) and 0.0 < float(value) < np.inf
            ):
                raise invalid_value(value, "a number above 0", each.name)
        if self.diode_stop_v is not None:
            object.__setattr__(self, "diode_stated", True)
        try:
            object.__setattr__(self, "ac_kind", AcKind(self.ac_kind))
        except ValueError:
            raise invalid_value(self.ac_kind, f"one of {', '.join(AcKind)}", "ac_kind") from None

    @property
    def low_impedance_kind(self) -> AcKind:
        """How it makes a reading in the low-impedance mode."""
        return AcKind.TRUE_RMS_DC

    @property
    def ohm_ranges_ohm(self) -> tuple[float, ...]:
        """Full scales of its ohms ranges, lowest first."""
        return (*self._scales(MIN_OHM_RANGE, self.ohm_range_ohm), self.ohm_range_ohm)

    @property
    def volt_ranges_v(self) -> tuple[float, ...]:
        """Full scales of its ranges on volts, lowest first."""
        return (*self._scales(MIN_VOLT_RANGE_V, HIGHEST_VOLT_RANGE_V), HIGHEST_VOLT_RANGE_V)

    def _scales(self, least: float, highest: float) -> tuple[float, ...]:
        """Full scales, a decade apart, from `least` to below `highest`."""
        first = self.counts * 10.0 ** np.ceil(np.log10(least / self.counts))
        scales = (float(first * 10.0**k) for k in range(DECADES))
        return tuple(scale for scale in scales if scale < highest)


def usual_meter() -> Meter:
    """A handheld true-rms meter, from the defaults."""
    return Meter()


def dc_volts(solution: Solution, wave: FloatArray) -> FloatArray:
    """What a DC range shows, shape (n,). [V]"""
    return solution.mean(wave)


def ac_volts(solution: Solution, wave: FloatArray, kind: AcKind) -> FloatArray:
    """What an AC range shows.

    Parameters
    ----------
    solution : Solution
        Gives the weights of the mean.
    wave : ndarray, shape (n, m)
        [V]
    kind : AcKind

    Returns
    -------
    reading : ndarray, shape (n,)
        [V]

    References
    ----------
    .. [1] Fluke 8060A instruction manual, figure 2-8: what both kinds of meter show for the
       usual waveforms.
    """
    if kind is AcKind.TRUE_RMS_DC:
        return solution.rms(wave)
    moving = wave - solution.mean(wave)[:, None]
    if kind is AcKind.TRUE_RMS:
        return solution.rms(moving)
    return SINE_FORM_RATIO * solution.mean(np.abs(moving))


def diode_full_scale_v(meter: Meter) -> float:
    """The highest voltage that the diode test of a meter shows; above it is overload. [V]"""
    if meter.diode_stop_v is not None:
        return meter.diode_stop_v
    return min(DIODE_FULL_SCALE_V, OPEN_SHARE * meter.diode_open_v)


def ohm_full_scale_v(meter: Meter) -> float:
    """What full scale of an ohms range leaves at the probes. [V]

    That is `OHM_FULL_SCALE_V`, or half of an open-circuit voltage that is too low for it.
    """
    return min(OHM_FULL_SCALE_V, 0.5 * meter.ohms_open_v)


def ohm_full_scale_span_v(meter: Meter) -> tuple[float, float]:
    """Least and most that full scale of an ohms range may leave at the probes of a meter. [V]"""
    most = FULL_SCALE_SHARE * meter.ohms_open_v
    return min(FULL_SCALES_V[0], most), most


def ohm_source_ohm(meter: Meter, full_scale_ohm: float, full_scale_v: Value) -> Value:
    """Source resistance of an ohms range that leaves so much at the probes at full scale."""
    return full_scale_ohm * (meter.ohms_open_v / full_scale_v - 1.0)
