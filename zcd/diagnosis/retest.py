"""After the repair: does the board read as a good one, and what is left, from measured values."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.circuit.build import Conditions
from zcd.circuit.elements import Circuit, stack
from zcd.diagnosis.expected_readings import ExpectedRange, good_board, good_range, good_spans
from zcd.diagnosis.fault_dictionary import FaultDictionary, Progress
from zcd.diagnosis.faults import Fault
from zcd.diagnosis.functions import Function
from zcd.diagnosis.likelihood import error, merge_repeats, scaled, unscaled
from zcd.diagnosis.meter_model import MeterModel
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.missing_readings import SURE_GOOD, good_reading, missing_readings
from zcd.diagnosis.rank import Evidence, posterior_weights
from zcd.diagnosis.reading_syntax import show_value
from zcd.diagnosis.readings import Measured, Power, Reading, parts_read
from zcd.diagnosis.retest_record import told_clearly
from zcd.diagnosis.samples import sample_circuits
from zcd.diagnosis.severity import points
from zcd.errors import InputError
from zcd.margin.headroom import Headroom, headrooms, weak_conditions
from zcd.physics.optocoupler import ctr_shape_ratio
from zcd.results import Result
from zcd.sync.lock import lock_of

FloatArray = NDArray[np.float64]

LOW_TIME = Reading(function=Function.LOW_TIME, red="pin", black="logic0")
REPAIRED_SHARE = 0.8
"""How often a board is good after one repair, before it is measured again: common practice, no
source."""
CTR_STEPS = 25
MIN_CTR_RATIO = 0.02
SAMPLES = 16
MAINS_NODES = ({"line", "neutral"}, {"feed", "neutral"})

Points = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatedReading:
    """A reading on the repaired board.

    Parameters
    ----------
    measured : Measured
    low, middle, high : float
        What a good board shows, errors included.
    good : bool
    fits : tuple of (float, float)
        From where to where a reading counts as good: few good boards are so far out.
    """

    measured: Measured
    low: float
    middle: float
    high: float
    good: bool
    fits: tuple[float, float] = (-inf, inf)

    @property
    def is_close(self) -> bool:
        """Whether a good one lies beyond what nearly all good boards show, as it is printed."""
        function, value = self.measured.reading.function, self.measured.value
        low, high = self.measured.low, self.measured.high
        first, last = value if low is None else low, value if high is None else high
        nearest = last if last < self.low else max(first, self.low)
        end = min(max(nearest, self.low), self.high)
        return self.good and show_value(function, nearest) != show_value(function, end)

    @property
    def is_low(self) -> bool:
        """Whether it lies below what nearly all good boards show."""
        high = self.measured.high
        return (self.measured.value if high is None else high) < self.low


@dataclass(frozen=True, slots=True, kw_only=True)
class Remaining:
    """What the measured pulses say of the optocoupler.

    Parameters
    ----------
    low_time_s : float
        As measured.
    mains_rms_v : float
        As measured; nan: anywhere within the band of the bench.
    ctr_ratio : tuple of float
        10 %, 50 % and 90 % point of its CTR at the data sheet's test current.
    bench, weak : tuple of Headroom
        Of the CTR at these points, as it stands on the bench, and at low mains, hot.
    """

    low_time_s: float
    mains_rms_v: float
    ctr_ratio: Points
    bench: tuple[Headroom, ...]
    weak: tuple[Headroom, ...]

    @property
    def tells(self) -> bool:
        """Whether the low time depends on the CTR clearly enough."""
        return told_clearly(self.ctr_ratio)


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Retest(Result):
    """A repaired board, measured again.

    Parameters
    ----------
    board : Board
    circuit : Circuit
        Nominal, for the parts between nodes.
    readings : tuple of RepeatedReading
    to_take : tuple of Reading
        Taken before the repair and not after it; a joint that was just made is not lifted again.
    missing : tuple of Reading
        Where nothing speaks against the board: what showed the fault and was not read since, and
        what would make it sure.
    suffices : bool
        Whether these make it sure, if they read as on a good board.
    expected : tuple of ExpectedRange
        What a good board shows at each of these.
    good_ratio : float
        Probability that the sync circuit is good.
    remaining : Remaining or None
        None: no low time was measured.
    likeliest : Fault
        Of those that make the board a bad one, and its probability.
    likeliest_ratio : float
    locks : bool
        Whether the board as described gives a sync at all.
    flags_before : tuple of str
        What the controller reported before the repair, where a job has it.
    """

    board: Board
    circuit: Circuit
    readings: tuple[RepeatedReading, ...]
    to_take: tuple[Reading, ...]
    good_ratio: float
    remaining: Remaining | None
    likeliest: Fault
    likeliest_ratio: float
    missing: tuple[Reading, ...] = ()
    suffices: bool = True
    expected: tuple[ExpectedRange, ...] = ()
    locks: bool = True
    flags_before: tuple[str, ...] = ()

    @property
    def differs(self) -> tuple[RepeatedReading, ...]:
        """Readings that are not those of a good board."""
        return tuple(again for again in self.readings if not again.good)

    @property
    def as_described(self) -> bool:
        """Whether the board reads as one of which every part is as described."""
        return self.good_ratio >= SURE_GOOD and not self.differs and not self.missing

    @property
    def good(self) -> bool:
        """Whether the board reads as a good one."""
        return self.as_described and self.locks


def require_reading(taken: Sequence[object]) -> None:
    """Refuse to judge a board of which nothing was read since the repair."""
    if not taken:
        raise InputError(
            'no reading since the repair: give what you measured now, such as "dc pin 2.9 V", or a '
            "capture; zcd readings lists what may be read"
        )


def retest(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    before: Sequence[Measured] = (),
    flags: Collection[str] = (),
    progress: Progress | None = None,
) -> Retest:
    """Judge readings taken after a repair.

    Parameters
    ----------
    dictionary : FaultDictionary
        Of the repaired board.
    measured : sequence of Measured
        After the repair.
    before : sequence of Measured
        Before it.
    flags : collection of str
        What the controller reports now.
    progress : callable, optional
        Told which reading is being predicted.

    Returns
    -------
    Retest
    """
    measured = merge_repeats(measured, dictionary.meter)
    dictionary.prepare([m.reading for m in measured], progress)
    repaired = replace(dictionary, shares=_repaired_shares(dictionary))
    good = _reads_good(dictionary)
    told: dict[tuple[Measured, ...], Evidence] = {}

    def shares_after(measured: Sequence[Measured]) -> FloatArray:
        weights, _ = posterior_weights(repaired, measured, flags, told)
        return repaired.sums(weights)

    shares = shares_after(measured)
    worst = int(np.argmax(np.where(good, -1.0, shares)))
    taken = {m.reading for m in measured}
    known = set(dictionary.readings)
    places = dict.fromkeys(m.reading for m in before)
    again = tuple(_again(dictionary, m) for m in measured)
    missing: tuple[Reading, ...] = ()
    if all(each.good for each in again):
        missing = _symptoms(dictionary, [m for m in before if m.reading not in taken])
        missing += _silent_diodes(dictionary, before, measured)
        assumed = [*measured, *(good_reading(dictionary, reading) for reading in missing)]
        if (shares_after(assumed) if missing else shares)[good].sum() < SURE_GOOD:
            dictionary.prepare(dictionary.readings, progress)
            missing += missing_readings(
                repaired, assumed, lambda more: float(shares_after(more)[good].sum())
            )
    as_good = [*measured, *(good_reading(dictionary, reading) for reading in missing)]
    return Retest(
        board=dictionary.board,
        circuit=dictionary.circuit,
        readings=again,
        missing=missing,
        suffices=float(shares_after(as_good)[good].sum()) >= SURE_GOOD,
        expected=tuple(good_board(dictionary, reading) for reading in missing),
        to_take=tuple(r for r in places if r in known and r not in taken and not r.lifted),
        good_ratio=float(shares[good].sum()),
        remaining=remaining(dictionary.board, dictionary.meter, measured),
        likeliest=dictionary.faults[worst],
        likeliest_ratio=float(shares[worst]),
        locks=lock_of(dictionary.circuit, dictionary.board).failed_rule(0) is None,
    )


def _symptoms(dictionary: FaultDictionary, before: Sequence[Measured]) -> tuple[Reading, ...]:
    """Readings of the pin under power that were not those of a good board: what a repair is for."""
    shown = [
        m
        for m in before
        if m.reading.power is Power.LIVE and m.reading.over_pin and m.reading in dictionary.readings
    ]
    dictionary.prepare([m.reading for m in shown])
    return tuple(dict.fromkeys(m.reading for m in shown if not _again(dictionary, m).good))


def _silent_diodes(
    dictionary: FaultDictionary, before: Sequence[Measured], measured: Sequence[Measured]
) -> tuple[Reading, ...]:
    """Diode tests over diodes that nobody read while the fault stopped the pulses, and of which the
    pulses say nothing: with a shorted rectifier, or an open diode across the LED, they come as
    before, and the LED has the mains in reverse."""
    circuit = dictionary.circuit
    pulses = (m for m in before if m.reading.function.row.pulses and m.value > 0.0)
    if not before or any(pulses):
        return ()
    dead = [m.reading for m in (*before, *measured) if m.reading.function.row.dead]
    read = frozenset[str]().union(*(parts_read(circuit, reading) for reading in dead))
    forward = {(circuit.node(r.red), circuit.node(r.black)) for r in dead}
    level = Reading(function=Function.DC, red="pin", black="logic0")
    good, shown = good_board(dictionary, level), dictionary.predictions(level)
    tests = []
    for number, fault in enumerate(dictionary.faults):
        if fault.kind != "diode" or fault.mode not in ("short", "open"):
            continue
        ends = circuit[fault.part].nodes[:2]  # anode, cathode
        if fault.part in read if fault.mode == "short" else ends in forward:
            continue
        silent = good.low <= float(np.median(dictionary.of_fault(shown, number))) <= good.high
        test = Reading(function=Function.DIODE, red=ends[0], black=ends[1])
        if silent and test in dictionary.readings:
            tests.append(test)
    return tuple(dict.fromkeys(tests))


def _reads_good(dictionary: FaultDictionary) -> NDArray[np.bool_]:
    """Faults whose sync circuit is a good one, shape (F,)."""
    return np.array([f.kind == "healthy" or bool(f.reports) for f in dictionary.faults])


def _repaired_shares(dictionary: FaultDictionary) -> FloatArray:
    """Priors of a board that somebody has just mended."""
    good = _reads_good(dictionary)
    shares = dictionary.shares.copy()
    shares[good] *= REPAIRED_SHARE / shares[good].sum()
    shares[~good] *= (dictionary.shares.sum() - REPAIRED_SHARE) / shares[~good].sum()
    return shares


def _again(dictionary: FaultDictionary, measured: Measured) -> RepeatedReading:
    """A reading beside what a good board shows."""
    return beside_good(measured, dictionary.good(measured.reading), dictionary.meter)


def beside_good(measured: Measured, shown: FloatArray, meter: Meter) -> RepeatedReading:
    """Judge a reading by what a good board shows.

    Parameters
    ----------
    measured : Measured
    shown : ndarray, shape (n,)
        By a good board, over all that a bench does not know of it.
    meter : Meter

    Returns
    -------
    RepeatedReading
    """
    function = measured.reading.function
    spans = good_spans(function, shown, meter)
    board = good_range(function, shown, meter)
    ends = (measured.low, measured.high) if measured.low is not None else (measured.value,) * 2
    at = [float(scaled(function, np.asarray(end))) for end in ends if end is not None]
    return RepeatedReading(
        measured=measured,
        low=board.low,
        middle=board.middle,
        high=board.high,
        fits=(
            float(unscaled(function, np.asarray(min(low for low, _ in spans)))),
            float(unscaled(function, np.asarray(max(high for _, high in spans)))),
        ),
        good=not measured.unstable and any(at[0] <= high and at[-1] >= low for low, high in spans),
    )


def remaining(board: Board, meter: Meter, measured: Sequence[Measured]) -> Remaining | None:
    """CTR from the measured low time and mains, and the headroom that it leaves.

    Parameters
    ----------
    board : Board
    meter : Meter
    measured : sequence of Measured
        With a low time; the mains where it was measured.

    Returns
    -------
    Remaining or None
        None: there is no optocoupler, no low time, or none that any CTR of this board gives.

    Notes
    -----
    The engine is asked for the low time over a ladder of CTR, for tolerances, temperature and
    (where it was not measured) mains anywhere within what a bench knows; each row is then read
    backwards.
    """
    low_time, opto = _exact(measured, Function.LOW_TIME), board.optocoupler
    if opto is None or low_time is None or low_time.value <= 0.0:
        return None
    mains = next((m for m in measured if _is_mains(m.reading) and m.exact and m.value > 0.0), None)
    circuit, _ = sample_circuits(board, SAMPLES)
    if mains is not None:
        circuit = circuit.change("mains", rms_v=mains.value)
    ctr = np.geomspace(MIN_CTR_RATIO, 2.0 * opto.ctr_max_ratio, CTR_STEPS)
    ladder = stack([circuit] * CTR_STEPS)
    ref, size = opto.ref, circuit.size
    values = ladder[ref].values()
    shape = ctr_shape_ratio(opto.test_current_a, values["shape_weight"], values["own_shape"])
    at_test = np.asarray(shape)
    rows = ladder.change(ref, ctr_ratio=np.repeat(ctr, size) / at_test, remaining_ratio=1.0)
    shown = MeterModel(board, rows, meter).read([LOW_TIME])[:, 0].reshape(CTR_STEPS, size)
    width = float(error(Function.LOW_TIME, np.asarray(low_time.value), meter))
    result = _read_backwards(
        np.log(ctr), shown, low_time.value + width * np.array([-1.0, 0.0, 1.0])
    )
    if not result.size:
        return None
    low, middle, high = points(np.exp(result), np.ones(result.size))
    here = Conditions(mains_rms_v=mains.value if mains else None)
    return Remaining(
        low_time_s=low_time.value,
        mains_rms_v=mains.value if mains else np.nan,
        ctr_ratio=(low, middle, high),
        bench=_headrooms(board, (low, middle, high), here, worst=False),
        weak=_headrooms(board, (low, middle, high), weak_conditions(board), worst=True),
    )


def _exact(measured: Sequence[Measured], function: Function) -> Measured | None:
    live = (m for m in measured if m.reading.power is Power.LIVE)
    return next((m for m in live if m.reading.function is function and m.exact), None)


def _is_mains(reading: Reading) -> bool:
    live = reading.function is Function.AC and reading.power is Power.LIVE
    return live and {reading.red, reading.black} in MAINS_NODES


def _read_backwards(log_ctr: FloatArray, shown: FloatArray, wanted: FloatArray) -> FloatArray:
    """Where each column of `shown`, shape (steps, n), passes the wanted values; all that do."""
    result = []
    for column in shown.T:
        rising = column if column[-1] >= column[0] else -column
        target = wanted if column[-1] >= column[0] else -wanted
        steady = np.maximum.accumulate(rising)
        inside = target[(target > steady[0]) & (target < steady[-1])]
        result.append(np.interp(inside, steady, log_ctr))
    return np.concatenate(result)


def _headrooms(
    board: Board, ctr: Points, conditions: Conditions, *, worst: bool
) -> tuple[Headroom, ...]:
    """Headroom of the CTR at each of three values of it."""
    cases = [
        replace(conditions, ctr_ratio=value, remaining_ratio=1.0, shape_weight=None)
        for value in ctr
    ]
    return tuple(each["ctr"] for each in headrooms(board, cases, worst))
