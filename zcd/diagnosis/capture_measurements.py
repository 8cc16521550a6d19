"""What a capture shows: edges, low times, jitter, pulse count, offset against the mains."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.diagnosis.capture import Capture
from zcd.diagnosis.functions import FUNCTIONS, Function
from zcd.diagnosis.readings import Measured, Reading
from zcd.errors import InputError
from zcd.results import Result

FloatArray = NDArray[np.float64]

SINE_SHARE = 0.9
"""Share of a channel's power in one sine, from which it is the mains."""
HALF_TURN = 0.5
MISSING_RATIO = 1.5
"""An interval so much longer than the usual one lacks a pulse."""
JITTER_RATIO = 0.05
"""Of a low time, over itself, from which it is called unstable."""
LONGEST_STEP_S = FUNCTIONS[Function.LOW_TIME].floor
"""Samples further apart than what a low time may be off add to its error."""
STEP_ROUNDING_RATIO = 1e-3
FEWEST_PERIODS = 1.5
SWING_RATIO = 0.1
"""Of the supply: less is noise."""
LEVEL_RATIO = 0.03
"""How far an oscilloscope's level may be off, as a share of the supply that fills its screen:
common practice, no source."""
FREQUENCY_BAND_HZ = (30.0, 80.0)
FREQUENCY_STEPS = 501


@dataclass(frozen=True, slots=True, kw_only=True, repr=False, eq=False)
class Traces(Result):
    """What was found in a capture; times are those of its own clock.

    Parameters
    ----------
    capture : Capture
    pin_v : ndarray, shape (m,)
    mains_v : ndarray, shape (m,), or None
        Where the other channel is on the mains.
    mains_hz : float
        nan without a mains channel.
    crossing_s : float
        A rising zero crossing of the mains; nan without.
    falls_s, rises_s : ndarray, shape (k,)
        Edges of complete low pulses.
    offsets_s : ndarray, shape (k,)
        Of the edge that the controller uses, from the nearest crossing; positive = late; nan
        without a mains channel.
    missing : int
        Pulses that the rhythm of the others calls for.
    """

    board: Board
    capture: Capture
    pin_v: FloatArray
    mains_v: FloatArray | None
    mains_hz: float
    crossing_s: float
    falls_s: FloatArray
    rises_s: FloatArray
    offsets_s: FloatArray
    missing: int

    @property
    def step_s(self) -> float:
        """From one sample to the next: no edge is known better."""
        return float(np.median(np.diff(self.capture.time_s)))

    @property
    def coarse(self) -> bool:
        """Whether the sample step is longer than what a reading may be off."""
        # times written with few figures leave a step that is off in its last ones
        return self.step_s > LONGEST_STEP_S * (1.0 + STEP_ROUNDING_RATIO)

    @property
    def swings(self) -> bool:
        """Whether the pin moves, be it too little for a pulse."""
        return float(np.ptp(self.pin_v)) > SWING_RATIO * self.board.output.supply_v

    @property
    def mean_v(self) -> float:
        """Mean of the pin, over whole periods of the mains where there are some."""
        time_s, period_s = self.capture.time_s, 1.0 / self.board.mains.frequency_hz
        whole_s = period_s * ((time_s[-1] - time_s[0]) // period_s)
        return float(np.mean(self.pin_v[time_s - time_s[0] < (whole_s or np.inf)]))

    @property
    def low_times_s(self) -> FloatArray:
        """Shape (k,)."""
        return self.rises_s - self.falls_s

    @property
    def interval_s(self) -> float:
        """The usual time from one falling edge to the next; nan with fewer than two."""
        return float(np.median(np.diff(self.falls_s))) if self.falls_s.size > 1 else np.nan

    @property
    def low_time_s(self) -> float:
        """The usual low time; 0 without pulses."""
        return float(np.median(self.low_times_s)) if self.falls_s.size else 0.0

    @property
    def low_jitter_s(self) -> float:
        """Standard deviation of the low time; 0 with fewer than two pulses."""
        return float(np.std(self.low_times_s)) if self.falls_s.size > 1 else 0.0

    @property
    def jumps(self) -> bool:
        """Whether the low time is nothing that one number could stand for."""
        jitter_s = max(JITTER_RATIO * self.low_time_s, self.step_s)
        return self.missing > 0 or self.low_jitter_s > jitter_s

    @property
    def interval_jitter_s(self) -> float:
        """Standard deviation of the intervals without a missing pulse; 0 with fewer than two."""
        steps = np.diff(self.falls_s)
        steps = steps[steps < MISSING_RATIO * self.interval_s]
        return float(np.std(steps)) if steps.size > 1 else 0.0

    @property
    def good(self) -> bool:
        """Whether it is the capture of a good board."""
        from zcd.diagnosis.capture_verdict import judge_capture

        return judge_capture(self).good

    @property
    def readings(self) -> tuple[Measured, ...]:
        """As readings, for `zcd.diagnose`: frequency, low time, the edge delay where the mains is
        there, and where there are no pulses the pin's mean."""

        def at(function: Function) -> Reading:
            return Reading(function=function, red="pin", black="logic0")

        def known(function: Function, value: float) -> Measured:
            """An edge between two samples far apart: somewhere within a step."""
            if not self.coarse:
                return Measured(reading=at(function), value=value)
            step_s = self.step_s
            return Measured.between(at(function), value - step_s, value + step_s)

        count = self.falls_s.size
        hertz = 1.0 / self.interval_s if count > 1 else 0.0
        result = []
        # a meter may count what swings, though not as far as the controller's levels
        if count != 1 and (count or not self.swings):
            result.append(Measured(reading=at(Function.FREQUENCY), value=hertz))
        if self.jumps or not count:
            low_time = Measured(
                reading=at(Function.LOW_TIME), value=self.low_time_s, unstable=self.jumps
            )
        else:
            low_time = known(Function.LOW_TIME, self.low_time_s)
        result.append(low_time)
        if not count:  # whether it stays high or low, or swings too little
            off_v = LEVEL_RATIO * self.board.output.supply_v
            result.append(
                Measured.between(at(Function.DC), self.mean_v - off_v, self.mean_v + off_v)
            )
        if count and np.isfinite(self.crossing_s):
            delay = float(np.median(self.offsets_s))
            result.append(known(Function.EDGE_DELAY, delay))
        return tuple(result)


def find_traces(capture: Capture, board: Board) -> Traces:
    """Tell the channels apart and find the pulses.

    Parameters
    ----------
    capture : Capture
    board : Board
        Gives the pin's thresholds and the edge that counts.

    Returns
    -------
    Traces

    Raises
    ------
    InputError
        If neither of two channels is a mains sine, or the capture is too short.
    """
    pin, mains, turn = _channels(capture)
    rules, time = board.controller, capture.time_s
    length = time[-1] - time[0]
    if length < FEWEST_PERIODS / board.mains.frequency_hz:
        raise InputError(
            f"{capture.name}: found {length * 1e3:.3g} ms; allowed: "
            f"{FEWEST_PERIODS:g} mains periods or more"
        )
    falls, rises = _edges(time, pin, rules.low_threshold_v, rules.high_threshold_v)
    hertz, crossing = (np.nan, np.nan) if turn is None else turn
    edges = falls if rules.edge == "falling" else rises
    offsets = np.full(edges.size, np.nan)
    if turn is not None:
        half = 0.5 / hertz
        offsets = (edges - crossing + HALF_TURN * half) % half - HALF_TURN * half
    steps = np.diff(falls)
    usual = np.median(steps) if steps.size else np.nan
    return Traces(
        board=board,
        capture=capture,
        pin_v=pin,
        mains_v=mains,
        mains_hz=hertz,
        crossing_s=crossing,
        falls_s=falls,
        rises_s=rises,
        offsets_s=offsets,
        missing=int(np.sum(np.round(steps[steps > MISSING_RATIO * usual] / usual) - 1)),
    )


def _channels(
    capture: Capture,
) -> tuple[FloatArray, FloatArray | None, tuple[float, float] | None]:
    """The pin, the mains if it is there, and its frequency and rising crossing."""
    if len(capture.channels_v) == 1:
        return capture.channels_v[0], None, None
    shares = [_sine(capture.time_s, channel) for channel in capture.channels_v]
    mains = int(np.argmax([share for share, _, _ in shares]))
    share, hertz, crossing = shares[mains]
    if share < SINE_SHARE:
        raise InputError(
            f"{capture.name}: found two channels, neither of them a mains sine; "
            "allowed: the pin alone, or the pin and the mains"
        )
    return capture.channels_v[1 - mains], capture.channels_v[mains], (hertz, crossing)


def _sine(time: FloatArray, wave: FloatArray) -> tuple[float, float, float]:
    """Share of the power in the best sine, its frequency, and a rising crossing of it."""
    moving = wave - np.mean(wave)
    power = float(np.mean(moving**2))
    if power == 0.0:
        return 0.0, np.nan, np.nan
    stride = max(1, time.size // 4000)
    hertz = np.linspace(*FREQUENCY_BAND_HZ, FREQUENCY_STEPS)
    best = hertz[int(np.argmin([_misfit(time[::stride], moving[::stride], f)[0] for f in hertz]))]
    near = best + np.linspace(-1.0, 1.0, 201) * (hertz[1] - hertz[0])
    best = near[int(np.argmin([_misfit(time[::stride], moving[::stride], f)[0] for f in near]))]
    rest, (sine, cosine) = _misfit(time, moving, best)
    crossing = -np.arctan2(cosine, sine) / (2.0 * np.pi * best)
    return 1.0 - rest / power, float(best), float(crossing)


def _misfit(time: FloatArray, wave: FloatArray, hertz: float) -> tuple[float, FloatArray]:
    """Mean square of what a sine of one frequency leaves, and its two amplitudes."""
    angle = 2.0 * np.pi * hertz * time
    basis = np.stack([np.sin(angle), np.cos(angle)], axis=1)
    result, *_ = np.linalg.lstsq(basis, wave, rcond=None)
    return float(np.mean((wave - basis @ result) ** 2)), result


def _edges(
    time: FloatArray, pin: FloatArray, low: float, high: float
) -> tuple[FloatArray, FloatArray]:
    """Falls below `low` and the rises above `high` after them, of complete pulses only."""
    level = np.where(pin >= high, 1, np.where(pin <= low, -1, 0))
    last = np.maximum.accumulate(np.where(level != 0, np.arange(pin.size), 0))
    state = level[last]
    falls = np.flatnonzero((state[1:] == -1) & (state[:-1] == 1))
    rises = np.flatnonzero((state[1:] == 1) & (state[:-1] == -1))
    if falls.size and rises.size:
        rises = rises[rises > falls[0]]
        falls = falls[: rises.size]
    else:
        falls = rises = falls[:0]
    return _crossed(time, pin, falls, low), _crossed(time, pin, rises, high)


def _crossed(time: FloatArray, wave: FloatArray, at: NDArray[np.intp], level: float) -> FloatArray:
    """Time at which a level is passed between a sample and the next."""
    y0, y1 = wave[at], wave[at + 1]
    share = np.divide(level - y0, y1 - y0, out=np.ones(at.size), where=y1 != y0)
    return np.asarray(time[at] + (time[at + 1] - time[at]) * np.clip(share, 0.0, 1.0))
