"""How well what was read fits a prediction: a number, a rough one, a range, a jumping one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.functions import Function
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.readings import PLUGGED, Measured, Power, Reading, is_behind_contact

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

OUTLIER_SHARE = 0.01
"""Readings that are plainly wrong: slipped probe, wrong range, wrong node; common practice, no
source."""
PULSE_OUTLIER_SHARE = 0.04
"""The same of pulses: near the limit of a threshold, whether there are any hangs on more than the
model knows; common practice, no source."""
TWICE_SHARE = 0.05
"""How often a slip is made a second time by a person who looks for it: common practice, no
source."""
ABOUT_RATIO = 0.1
"""What "about" may be off, over the value: common practice, no source."""
MIN_OHM = 1.0
ALIKE_ERRORS = 2.0
"""Standard errors within which a bench takes two values for one."""
JUMPS = 0.5
"""Chance that a joint that opens now and then is caught at it by a reading that it changes."""
NEAR_JUMPS = 0.3
"""Chance that a display jumps where the pulses are near the limit of what the instrument sees:
common practice, no source."""
NEAR_OTHER = 0.3
"""Chance that pulses near that limit are there where none were predicted, or the other way round:
common practice, no source."""
STEADY_JUMPS = 0.003
UNKNOWN_JUMPS = 0.01
"""Chance of a jumping reading on a board without such a joint, and on one of which nothing is
known; common practice, no source."""
BREADTHS = (1.0, 3.0, 9.0)
"""How many gaps between samples one of them may stand for. Readings that together depend on several
unknown quantities find samples that fit all of them only far apart; equally likely before."""
WHOLE_REACH = 0.4
"""The same of an entry that counts as a whole: its samples meet, and none reaches past the next."""
HARDLY_MOVED = 0.5
"""How far the size of a fault moves a reading at least to be seen by it, in standard deviations of
those of a good board; a guess, no source."""
MOST_REACH = 0.6
"""How far a sample reaches at most, in standard deviations of those of its entry: the last before a
gap stands for no board beyond all others. [1]_

.. [1] B. W. Silverman, "Density Estimation for Statistics and Data Analysis", Chapman and Hall,
   1986, eq. 3.28: 1.06 n^-1/5 standard deviations, 0.61 for 16 samples; from memory.
"""
JUMP_ERRORS = 2.0
"""Errors between two looks of a joint from which a display is seen to jump. Both are of one board,
read with one meter: how well its parts are known does not come in."""
CHIP_SHARE = 0.15
"""Chance that a controller without its supply lets through more than the diodes of the model do: a
dead chip has other ways in it, and what hangs at its supply is known to nobody; common practice, no
source."""
CHIP_OPENS_V = 0.5
"""Volts at a pin up to which it lets nothing through (ATmega328P data sheet, absolute maximum
ratings: from 0.5 V below ground to 0.5 V above the supply)."""
GHOST_SHARE, GHOST_RATIO, NOTHING_V = 0.3, 0.25, 2.0
"""Chance that a wire on which there should be nothing shows some volts AC, as its neighbours couple
into it and a meter of 10 MΩ hardly loads it; how far up, over what a good board shows; and what is
nothing. Common practice, no source."""
MIN_DENSITY = 1e-300
WIDE_DECADES = 2.0
"""Spread of ohms on a good board from which its samples do not show the most that it may read."""


def scaled(function: Function, values: FloatArray) -> FloatArray:
    """A reading on the scale on which its error is judged: ohms in decades, the rest as it is."""
    row = function.row
    if row.decades:
        return np.log10(np.clip(values, 0.0, row.overload_as) + MIN_OHM)
    if row.overload_as == inf:
        return values
    return np.where(np.isinf(values), row.overload_as, values)


def unscaled(function: Function, values: FloatArray) -> FloatArray:
    """A reading from the scale of `scaled`, where that is not over range."""
    return 10.0**values - MIN_OHM if function.row.decades else values


def error(
    function: Function, values: FloatArray, meter: Meter, *, jump: bool = False
) -> FloatArray:
    """Standard error of a reading of this (scaled) size: meter, model, floor together.

    With `jump`, that between two looks at one board: pick-up stays as it is.
    """
    ratio, floor = error_parts(function, meter, jump=jump)
    if ratio == 0.0:
        return np.full(np.shape(values), floor)
    return np.sqrt((ratio * values) ** 2 + floor**2)


def error_parts(function: Function, meter: Meter, *, jump: bool = False) -> tuple[float, float]:
    """The share of the (scaled) reading that its standard error has, and the error of nothing."""
    row = function.row
    accuracy = row.accuracy_ratio(meter)
    floor = row.jump_floor if jump and row.jump_floor is not None else row.floor
    if row.decades:
        return 0.0, float(np.hypot(floor, np.log10(1.0 + accuracy)))
    return accuracy + row.model_ratio, floor


class Fit:
    """Density of a reading in every entry of the fault dictionary, from its samples there.

    Each sample stands for the gap to its neighbours of the same entry: a drift that was tried
    at some sizes explains those in between.

    Parameters
    ----------
    reading : Reading
    shown : ndarray, shape (S, N)
        Prediction of each simulated entry.
    meter : Meter
    states : ndarray of int, shape (D, 2), optional
        Simulated entries between which each of D further entries changes, see `restless`.
    graded : ndarray of bool, shape (S,), optional
        Whether an entry's samples differ in the size of its fault.
    near : ndarray of bool, shape (S, N), optional
        Where the instrument may now see pulses and now miss them.
    past_chip : bool
        Whether the controller, without its supply, is a way from probe to probe.
    """

    def __init__(
        self,
        reading: Reading,
        shown: FloatArray,
        meter: Meter,
        states: IntArray | None = None,
        graded: NDArray[np.bool_] | None = None,
        near: NDArray[np.bool_] | None = None,
        *,
        past_chip: bool = False,
    ) -> None:
        self.function, self.meter = reading.function, meter
        self.past_chip = past_chip and _open_v(reading.function, meter) > CHIP_OPENS_V
        self.cold = is_cold(reading)
        self.ghosts = reading.function is Function.AC and is_behind_contact(reading)
        self.states = np.zeros((0, 2), dtype=np.intp) if states is None else states
        self.centre = scaled(reading.function, shown)
        self.noise = error(reading.function, self.centre, meter)
        self.gaps = _gaps(self.centre)
        self.averaged = np.zeros(len(self.centre), dtype=bool)
        if graded is not None and _is_local(reading):
            # what a size moves by less than all else that is unknown does not show it
            unknown = np.maximum(self.noise, HARDLY_MOVED * self.centre[0].std())
            moved = np.abs(self.centre - self.centre[0]) > unknown
            self.averaged = ~(graded & moved.any(axis=1))
        self.wide = self.function.row.decades and np.ptp(self.centre[0]) > WIDE_DECADES
        farthest = np.where(self.averaged, np.inf, MOST_REACH * self.centre.std(axis=1))
        self.farthest = farthest[:, None]
        self.width = self.width_of(1.0)
        self.ends = self._good_ends()
        low, high = float(self.centre.min()), float(self.centre.max())
        widest = float(self.width.max())
        self.span = high - low + 10.0 * widest
        self.flat = 1.0 / self.span
        nothing = reading.function.row.nothing
        shown_as = np.asarray(nothing if isinstance(nothing, float) else 0.0)
        self.none = float(scaled(reading.function, shown_as))
        self.none_error = float(error(reading.function, np.asarray(self.none), meter))
        here, there = (self.centre[self.states[:, k]] for k in (0, 1))
        larger = error(reading.function, np.maximum(abs(here), abs(there)), meter, jump=True)
        self.loose = np.zeros((len(self.centre) + len(self.states), shown.shape[1]), dtype=bool)
        self.loose[len(self.centre) :] = np.abs(here - there) > JUMP_ERRORS * larger
        self.loose[len(self.centre) :] &= restless(len(self.states))
        unsure = np.zeros(shown.shape, dtype=bool) if near is None else near
        unsure = np.concatenate([unsure, unsure[self.states].any(axis=1)])
        self.near = None if near is None or not near.any() else near
        self.jump_share = np.where(self.loose, JUMPS, np.where(unsure, NEAR_JUMPS, 0.0))

    def width_of(self, breadth: float) -> FloatArray:
        """Error of a reading at each sample, and how far the sample stands for others.

        The samples of an entry that counts as a whole need only reach each other: no other
        reading depends on what this one does, so it says nothing of the breadth.
        """
        reach = np.where(self.averaged[:, None], WHOLE_REACH, breadth) * self.gaps
        return np.asarray(np.hypot(self.noise, np.minimum(reach, self.farthest)))

    def _good_ends(self) -> tuple[FloatArray, FloatArray]:
        """From where on a reading is beyond a good board on the side to which an entry never leads,
        shape (S, 1): a leak at its least is a good board, and no size of it makes ohms read higher.
        """
        least, most = self.centre.min(axis=1), self.centre.max(axis=1)
        error = self.noise.max(axis=1)
        low = np.where(least >= least[0] - error, least[0], -inf)
        high = np.where(most <= most[0] + error, most[0], inf)
        return low[:, None], high[:, None]

    def _width_at(self, value: FloatArray, breadth: float) -> FloatArray:
        """`width_of` for a reading of this value, on its own scale: beyond a good board, where the
        fault never leads, no sample reaches farther than one of a good board."""
        width = self.width_of(breadth)
        (low, high), reach = self.ends, MOST_REACH * self.centre[0].std()
        beyond = ((value < low) | (value > high)) & ~self.averaged[:, None]
        return np.where(beyond, np.minimum(width, np.hypot(self.noise, reach)), width)

    def away(self, value: float) -> FloatArray:
        """How far each simulated sample is above a value, on the reading's own scale."""
        return np.asarray(self.centre - scaled(self.function, np.asarray(value, dtype=float)))

    def error_at(self, value: float) -> float:
        """Standard error of a reading of this value, on its own scale."""
        return float(error(self.function, scaled(self.function, np.asarray(value)), self.meter))

    def good(self, value: FloatArray | float, breadth: float = 1.0) -> FloatArray:
        """Density of a sound, exact reading at each sample, shape (..., E, N).

        `value` has shape (...,).
        """
        y = scaled(self.function, np.asarray(value, dtype=float))[..., None, None]
        width = self._width_at(y, breadth)
        density = self._with_chip(_normal(y - self.centre, width), y, y)
        density = self._with_ghost(density, y, y)
        return self._of_all(self._with_other(density, _normal(y - self.none, self.none_error)))

    def _with_chip(
        self, shown: FloatArray, low: FloatArray | float, high: FloatArray | float
    ) -> FloatArray:
        """Densities (of a range: probabilities), where a chip may let through more than predicted:
        anything below, evenly."""
        if not self.past_chip:
            return shown
        least = float(scaled(self.function, np.asarray(self.function.row.least_past_chip)))
        span = np.maximum(self.centre - least, self.noise)
        if low is high:
            more = (low > least) & (low < self.centre)
        else:
            more = np.maximum(np.minimum(high, self.centre) - np.maximum(low, least), 0.0)
        share = np.where(self.centre > least, CHIP_SHARE, 0.0)
        return np.asarray((1.0 - share) * shown + share * more / span)

    def _with_ghost(
        self, shown: FloatArray, low: FloatArray | float, high: FloatArray | float
    ) -> FloatArray:
        """Densities (of a range: probabilities), where an open wire may show some volts, evenly up
        to a share of what a good board shows."""
        if not self.ghosts:
            return shown
        most = GHOST_RATIO * float(self.centre[0].mean())
        if low is high:
            more = np.asarray((low >= 0.0) & (low <= most), dtype=float)
        else:
            more = np.maximum(np.minimum(high, most) - np.maximum(low, 0.0), 0.0)
        share = np.where(np.abs(self.centre) < NOTHING_V, GHOST_SHARE, 0.0)
        return np.asarray((1.0 - share) * shown + share * more / most)

    def _with_other(self, density: FloatArray, without: FloatArray | float) -> FloatArray:
        """Densities near a limit: there may be no pulses where some are due, or the reverse."""
        if self.near is None:
            return density
        other = np.where(self.centre == self.none, self.flat, without)
        return np.where(self.near, (1.0 - NEAR_OTHER) * density + NEAR_OTHER * other, density)

    def likelihood(self, measured: Measured, breadth: float = 1.0) -> FloatArray:
        """Density (of a range: probability) of what was read, if it is sound, shape (E, N)."""
        if measured.unstable:
            return np.maximum(self.jump_share, STEADY_JUMPS)
        ends = self._ends(measured)
        if ends is not None:
            from scipy.special import ndtr  # loads slowly: not for what only lists readings

            width = self.width_of(breadth)
            low, high = ((end - self.centre) / width for end in ends)
            least, most = ((end - self.none) / self.none_error for end in ends)
            share = self._with_chip(ndtr(high) - ndtr(low), *ends)
            share = self._with_ghost(share, *ends)
            share = self._with_other(share, float(ndtr(most) - ndtr(least)))
            if self.wide and ends[1] == inf:
                # none of N beyond: rarer than about one in N, not impossible (rule of succession);
                # of what reads as high as a good board may: a short does not
                high_too = self.centre.max(axis=1, keepdims=True) >= np.median(self.centre[0])
                least_share = 0.5 / (1.0 + share.shape[-1])
                share = np.where(high_too, np.maximum(share, least_share), share)
            result = self._of_all(share)
        elif measured.about:
            y = scaled(self.function, np.asarray(measured.value))
            width = np.hypot(self._width_at(y, breadth), self._about(measured.value))
            without = _normal(y - self.none, self.none_error)
            density = self._with_chip(_normal(y - self.centre, width), y, y)
            density = self._with_ghost(density, y, y)
            result = self._of_all(self._with_other(density, without))
        else:
            result = self.good(measured.value, breadth)
        return result * (1.0 - self.jump_share)

    def beside(self, measured: Measured, other: Fit, like: Measured) -> FloatArray:
        """Density of an exact reading, given one of the same witness, shape (E, N).

        What a sample is off in the first, it is off in the second: both hang on one meter, one
        room and one make of diode.
        """
        off, known = (
            scaled(fit.function, np.asarray(m.value)) - fit.centre
            for fit, m in ((self, measured), (other, like))
        )
        width = np.hypot(np.hypot(self.noise, other.noise), self.function.row.alike_floor)
        density = self._of_all(_normal(off - known, width))
        return density * (1.0 - self.jump_share)

    def flat_of(self, measured: Measured) -> float:
        """The same, if it is an outlier or the board has none of these faults."""
        if measured.unstable:
            return UNKNOWN_JUMPS
        ends = self._ends(measured)
        if ends is None:
            return self.flat
        low, high = (np.clip(end, self.centre.min(), self.centre.max()) for end in ends)
        return float(max((high - low) * self.flat, OUTLIER_SHARE))

    def _ends(self, measured: Measured) -> tuple[float, float] | None:
        """Ends of a range on the reading's own scale; None where one value was read."""
        low, high = measured.low, measured.high
        if low is None or high is None:
            most = self.meter.ohm_range_ohm
            if not self.function.row.decades or measured.value < most:
                return None
            low, high = most, inf
        lower, upper = (
            end if np.isinf(end) else float(scaled(self.function, np.asarray(end)))
            for end in (low, high)
        )
        if lower < upper:
            return lower, upper
        return None

    def _about(self, value: float) -> float:
        """Further error of a rough reading."""
        if self.function.row.decades:
            return float(np.log10(1.0 + ABOUT_RATIO))
        return ABOUT_RATIO * abs(value)

    def _of_all(self, density: FloatArray) -> FloatArray:
        """Densities of all entries from those of the simulated ones.

        What a local reading depends on (one part's own tolerance) no other reading depends on:
        its density is that of the entry, the same for all samples. Else each such reading would
        leave a few of the samples, until none fits them all.
        """
        if self.averaged.any():
            mean = density.mean(axis=-1, keepdims=True)
            density = np.where(self.averaged[:, None], mean, density)
        if not len(self.states):
            return density
        first, other = (density[..., self.states[:, k], :] for k in (0, 1))
        steady = first if self.cold else other
        turns = np.where(restless(len(self.states)), 0.5 * (first + other), steady)
        return np.concatenate([density, turns], axis=-2)


def _open_v(function: Function, meter: Meter) -> float:
    """Volts at the open probes of a dead test."""
    return meter.diode_open_v if function is Function.DIODE else meter.ohms_open_v


def _is_local(reading: Reading) -> bool:
    """Whether a reading depends on one part only: a dead test, volts at the relay's coil, or what
    hangs at the open contact."""
    points = {reading.red, reading.black}
    at_contact = reading.power is Power.OFF and points == {"feed", "neutral"}
    return reading.function.row.dead or "coil+" in points or at_contact


def is_cold(reading: Reading) -> bool:
    """Whether a reading is of a board that the mains does not warm."""
    return reading.power not in PLUGGED


LOOSE_ENTRIES = 2
"""Entries of a loose joint: one of a joint that opens when it is warm, sound on a board that is
unplugged and open under power, then one of a joint that moves at each look; as likely, common
practice, no source. Both have the samples of the two entries between which they change: else what
tells a loose joint from a good board would hang on which samples it happened to get."""


def restless(entries: int) -> NDArray[np.bool_]:
    """Which of the entries of loose joints move at each look, shape (entries, 1)."""
    return (np.arange(entries) % LOOSE_ENTRIES == 1)[:, None]


def outlier_share(fact: Sequence[Measured]) -> float:
    """How often readings that show one fact are plainly wrong, before anything is known of it."""
    again = any(measured.repeated for measured in fact)
    if any(measured.reading.at_pin for measured in fact):
        return PULSE_OUTLIER_SHARE
    return OUTLIER_SHARE * TWICE_SHARE if again else OUTLIER_SHARE


def merge_repeats(measured: Iterable[Measured], meter: Meter) -> list[Measured]:
    """Readings without those that only say again what one of them said, which is marked so.

    One that shows something else the second time stays beside the first: one of them was a slip,
    or a joint is loose.
    """
    result: list[Measured] = []
    for new in measured:
        at = next((k for k, old in enumerate(result) if _same(old, new, meter)), None)
        if at is None:
            result.append(new)
        else:
            result[at] = replace(new, repeated=True)
    return result


def _same(first: Measured, second: Measured, meter: Meter) -> bool:
    """Whether a meter that is held to the same points twice shows the same."""
    if first.reading != second.reading:
        return False
    if first.unstable or second.unstable:
        return first.unstable and second.unstable
    function = first.reading.function
    spans = [(m.value, m.value) if m.low is None or m.high is None else (m.low, m.high)
             for m in (first, second)]  # fmt: skip
    if not function.row.decades and any(np.isinf(end) for span in spans for end in span):
        return spans[0] == spans[1]
    (low, high), (lower, upper) = np.asarray(scaled(function, np.array(spans)))
    off = ALIKE_ERRORS * float(np.max(error(function, np.array([high, upper]), meter)))
    return bool(low - off <= upper and lower - off <= high)


def partly_wrong(log_good: FloatArray, log_flat: float, share: float) -> FloatArray:
    """Log density of a fact that is plainly wrong in a share of cases."""
    return np.asarray(np.logaddexp(np.log1p(-share) + log_good, np.log(share) + log_flat))


def fact_log(
    fits: Sequence[tuple[Fit, Measured]], breadth: float = 1.0
) -> tuple[FloatArray, float]:
    """Log density of sound readings that show one fact, and of the same as outliers.

    If one of them is wrong, all are: three ways to see that there is no pulse are one piece of
    evidence, not three.

    Parameters
    ----------
    fits : sequence of (Fit, Measured)
        Each with what was read.
    breadth : float
        How many gaps a sample stands for.

    Returns
    -------
    log_good : ndarray, shape (E, N)
    log_flat : float
    """
    log_flat = float(sum(np.log(fit.flat_of(read)) for fit, read in fits))
    log_good = np.sum(
        [np.log(np.maximum(fit.likelihood(read, breadth), MIN_DENSITY)) for fit, read in fits],
        axis=0,
    )
    return np.asarray(log_good), log_flat


def _normal(away: FloatArray, width: FloatArray | float) -> FloatArray:
    """Density of the normal distribution."""
    z = away / width
    return np.asarray(np.exp(-0.5 * z * z) / (np.sqrt(2.0 * np.pi) * width))


def _gaps(centre: FloatArray) -> FloatArray:
    """Half the distance between the neighbours of each sample, within its entry."""
    order = np.argsort(centre, axis=1)
    ranked = np.take_along_axis(centre, order, axis=1)
    step = np.diff(ranked, axis=1)
    ends = np.concatenate([step[:, :1], step, step[:, -1:]], axis=1)
    gaps = np.empty_like(centre)
    np.put_along_axis(gaps, order, 0.5 * (ends[:, :-1] + ends[:, 1:]), axis=1)
    return gaps
