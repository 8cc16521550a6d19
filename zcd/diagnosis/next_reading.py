"""The next reading: the one that is expected to tell most for its trouble and danger."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Circuit
from zcd.diagnosis.expected_readings import ExpectedRange, good_board
from zcd.diagnosis.fault_dictionary import GOOD_BOARD, FaultDictionary, Progress
from zcd.diagnosis.faults import HEALTHY, answer_of
from zcd.diagnosis.functions import Function, Method
from zcd.diagnosis.information import (
    NEGLIGIBLE,
    Expected,
    Posterior,
    entropy_bits,
    expected,
    expected_again,
)
from zcd.diagnosis.likelihood import ALIKE_ERRORS, scaled
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import (
    PLUGGED,
    AccessLevel,
    Measured,
    Power,
    Reading,
    access_level,
    parts_between,
)
from zcd.diagnosis.series_sums import Rest, over
from zcd.diagnosis.severity import points, shown_after

FloatArray = NDArray[np.float64]

MIN_RISE = 1.0 / 150.0
"""For each unit of its cost, of a hundred and fifty boards that read like this one, one more must
get the right repair first."""
MIN_SETTLED = 0.1
MIN_SETTLED_A_COST = 0.006
"""Or the chance that its answer settles it must be so large, at least and for each unit of cost."""
HIGHEST_COST = 8.0
"""No more is asked of a reading that costs more than this: cost then orders those worth it."""
PATIENCE = 6
"""Readings after which more is asked of each further one, in proportion, unless a good board is
likeliest: a bad one that is called good comes back. Common practice, no source."""
SETTLED_FACTOR = 2.0
"""So much more is asked of it where what it is can be named with one or two others."""
NEARLY_SURE = 0.95
"""From there nothing is read only to be surer: it must be able to put another fault first; common
practice, no source."""
MOST_READINGS = 14
"""No more are advised: what they leave open is told; common practice, no source."""
COSTS = {
    AccessLevel.DEAD: 1.0,
    AccessLevel.BENCH: 1.3,
    AccessLevel.ISOLATED: 1.5,
    AccessLevel.MAINS: 8.0,
    AccessLevel.LIFTED: 12.0,
}
"""What a reading costs in trouble and danger: common practice, no source."""
HERTZ_OF_MAINS = 1.3
"""So much more costs the frequency of the mains: volts come first, as they tell whether there is
any, and every meter shows them; common practice, no source."""
DUTY = 1.3
"""So much more costs a share of time: many meters show none, and each counts from a level of its
own; common practice, no source."""
POWER_UP = 3.0
"""Cost of putting a board together and plugging it in, as far as one reading has to pay for it: the
others of the trip share it; common practice, no source."""
SCOPE_RATIO = 2.0
"""A reading of the meter goes before one of the oscilloscope that tells up to so much more: most
benches reach for the meter first; common practice, no source."""
POWER_DOWN = 9.0
"""The same of unplugging, discharging, proving the tester, the board dead and the tester again, and
reaching the parts: more than one reading on the mains; common practice, no source."""
SMALL_CHANGE = 1.0
"""The same of a bench supply put on or taken off, or of the load switched."""
AS_MUCH = 0.5
"""A dead reading that tells so much of what one on the mains does goes before it, whatever the plug
costs: live work is for what no dead test shows (HSE guidance note GS38)."""
OUTCOMES, AS_LIKELY = 24, 0.9
LIKELY = (0.02, 0.5, 0.98)
"""What a fault shows lies within: all of its samples that the readings leave likely."""
NEARLY_ALL = (0.1, 0.5, 0.9)
"""The same of a fault of one size, whose samples differ by tolerances alone."""
STILL_LIKELY = 0.05
"""Share of the likeliest fault's probability from which an answer is explained by a fault."""
LESS = 0.95
"""What a row leaves for a part is known to about so much: common practice, no source."""
MAINS_FACTOR = 1.5
"""A range on the mains side holds so much more than the nominal mains: its peak, and some."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What a reading would show if a fault were the one: 2 %, 50 % and 98 % point."""

    key: str
    value: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the meter may show, and what it would mean.

    Parameters
    ----------
    low, high : float
        2 % and 98 % point over the faults named, or least and most of a good board where it is
        one of them; `low` is 0 where it cannot be told from 0.
    keys : tuple of str
        Faults that show so, as far as this meter can tell.
    jumps : bool
        Now the one, now the other.
    dark : bool
        In a diode test most meters show OL, and of a good board a value.
    """

    low: float
    high: float
    keys: tuple[str, ...]
    jumps: bool = False
    dark: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Suggestion:
    """The next reading to take.

    Parameters
    ----------
    reading : Reading
    access : AccessLevel
    gain_bits : float
        Information expected from it.
    open_bits : float
        What is still open before it: entropy of which fault it is.
    outcomes : tuple of Outcome
        For the likeliest faults, and for a good board.
    answers : tuple of Answer
        Those of the faults still likely, put together where the meter shows the same; likeliest
        first.
    good : ExpectedRange
        What a good board shows.
    full_scale : float or None
        Of the lowest range of the meter that holds all of these; None where there is none to set.
    again : Measured or None
        What it showed the first time, where it is to be taken again.
    proved : bool
        Whether it would contradict a reading before to show what a good board shows.
    """

    reading: Reading
    access: AccessLevel
    gain_bits: float
    open_bits: float
    outcomes: tuple[Outcome, ...]
    good: ExpectedRange
    answers: tuple[Answer, ...] = ()
    full_scale: float | None = None
    again: Measured | None = None
    proved: bool = False

    def __repr__(self) -> str:
        return (
            f"<Suggestion: {self.reading.words}; {self.gain_bits:.2f} of {self.open_bits:.2f} bit>"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A reading that could be taken next.

    Parameters
    ----------
    reading : Reading
    gain_bits : float
        Information expected from it.
    cost : float
        Effort and risk; an unpowered reading is 1.
    """

    reading: Reading
    gain_bits: float
    cost: float

    @property
    def worth_bits(self) -> float:
        """Gain for its cost."""
        return self.gain_bits / self.cost


def worth_taking(worth: Expected, cost: float = 1.0, weary: float = 1.0) -> bool:
    """Whether a reading may change the mind often enough for its cost.

    The mind is what would be repaired first, and whether that is sure. A reading of which no answer
    puts another fault first, nor the first past `SURE`, leaves both as they are, however many bits
    it tells of those behind.

    Parameters
    ----------
    worth : Expected
    cost : float
    weary : float
        How much more is asked of it than of the first.
    """
    cost = min(cost, HIGHEST_COST)
    least = max(MIN_SETTLED, MIN_SETTLED_A_COST * cost)
    return worth.rise >= weary * MIN_RISE * cost or worth.settles >= weary * least


def best_reading(
    dictionary: FaultDictionary,
    posterior: Posterior,
    readings: Sequence[Reading],
    progress: Progress | None = None,
    power: Power = Power.DEAD,
    taken: int = 0,
    *,
    settled: bool = False,
) -> Suggestion | None:
    """The reading with the largest expected gain for its cost; None if none is worth it.

    Parameters
    ----------
    dictionary : FaultDictionary
    posterior : Posterior
    readings : sequence of Reading
        To choose from. Those that could not be chosen are not predicted.
    progress : callable, optional
        Told which reading is being predicted.
    power : Power
        State of the board now: changing it costs, too.
    taken : int
        Readings taken before.
    settled : bool
        Whether it is one of a few that can be named together.

    Returns
    -------
    suggestion : Suggestion or None
    """
    if taken >= MOST_READINGS:
        return None
    shares = dictionary.sums(posterior.weights)
    most = (1.0 - posterior.unmodelled) * float(entropy_bits(shares / shares.sum()))
    good = answer_of(dictionary.faults[int(shares.argmax())]) == HEALTHY.key
    weary = 1.0 if good else max(1.0, taken / PATIENCE)
    weary *= SETTLED_FACTOR if settled else 1.0
    enough = float((posterior.holds @ shares).max()) >= NEARLY_SURE
    best: tuple[float, Reading, Expected] | None = None
    dead: tuple[float, Reading, Expected] | None = None
    for reading in sorted(readings, key=lambda r: cost_of(dictionary, r, power)):
        cost = cost_of(dictionary, reading, power)
        if best is not None and most / cost <= best[0]:
            break  # not even a reading that tells all would be worth this trouble
        side, known = access_level(dictionary.circuit, reading), dictionary.has(reading)
        open_bits = most
        if not known and side is not AccessLevel.DEAD:
            open_bits = _most_bits(dictionary, posterior, reading, most)
        if best is not None and open_bits / cost <= best[0]:
            continue  # nor one that tells all but what it cannot
        if progress is not None and not known:
            progress(reading_text(reading, dictionary.circuit))
        worth = expected(dictionary.spectrum(reading), posterior)
        if enough:
            worth = replace(worth, settles=0.0)
        if not worth_taking(worth, cost, weary):
            continue
        told = worth.bits / cost / (SCOPE_RATIO if reading.function.row.scope else 1.0)
        if best is None or told > best[0]:
            best = told, reading, worth
        if side is AccessLevel.DEAD and (dead is None or told > dead[0]):
            dead = told, reading, worth
    # of a board that seems good the plug stays in
    if not good and best and dead and _on_mains(dictionary, best[1]):
        best = dead if dead[2].bits >= AS_MUCH * best[2].bits else best
    return None if best is None else _suggestion(dictionary, posterior, best[1], best[2])


def _most_bits(
    dictionary: FaultDictionary, posterior: Posterior, reading: Reading, most: float
) -> float:
    """What a reading that was not predicted yet tells at the most, of `most` bits: it does not part
    faults that it reads alike."""
    from scipy.special import rel_entr

    weights, column = posterior.weights, np.arange(posterior.weights.shape[1])
    entry, alike = dictionary.reads_as(reading), np.zeros(posterior.weights.shape)
    np.add.at(alike, (entry, column), weights)
    return most + float(rel_entr(weights, alike[entry, column]).sum()) / np.log(2.0)


def _on_mains(dictionary: FaultDictionary, reading: Reading) -> bool:
    return access_level(dictionary.circuit, reading) is AccessLevel.MAINS


def choices_of(
    dictionary: FaultDictionary,
    posterior: Posterior,
    readings: Sequence[Reading],
    power: Power = Power.DEAD,
) -> tuple[Choice, ...]:
    """What each reading is expected to tell, the best for its cost first."""
    dictionary.prepare(readings)
    result = [
        Choice(
            reading=reading,
            gain_bits=expected(dictionary.spectrum(reading), posterior).bits,
            cost=cost_of(dictionary, reading, power),
        )
        for reading in readings
    ]
    return tuple(sorted(result, key=lambda choice: -choice.worth_bits))


def cost_of(dictionary: FaultDictionary, reading: Reading, power: Power) -> float:
    """Effort and danger of a reading, and of bringing the board into the state for it.

    Parameters
    ----------
    dictionary : FaultDictionary
    reading : Reading
    power : Power
        State of the board now.

    Returns
    -------
    cost : float
        Of a reading on an unplugged board: 1.
    """
    return _effort(dictionary, reading) + change_cost(power, reading.power)


def _effort(dictionary: FaultDictionary, reading: Reading) -> float:
    """Trouble and danger of a reading by itself."""
    hertz = reading.function is Function.FREQUENCY and _on_mains(dictionary, reading)
    more = HERTZ_OF_MAINS if hertz else DUTY if reading.function is Function.DUTY else 1.0
    return COSTS[access_level(dictionary.circuit, reading)] * more


def change_cost(now: Power, wanted: Power) -> float:
    """What it costs to change the state of the board.

    Examples
    --------
    >>> change_cost(Power.DEAD, Power.DEAD), change_cost(Power.DEAD, Power.LIVE)
    (0.0, 3.0)
    """
    if now is wanted:
        return 0.0
    if (now in PLUGGED) is (wanted in PLUGGED):
        return SMALL_CHANGE
    return POWER_UP if wanted in PLUGGED else POWER_DOWN


def once_more(
    dictionary: FaultDictionary, posterior: Posterior, measured: Measured, outlier: FloatArray
) -> Suggestion:
    """To take a reading again that may have been a slip: chance of that, shape (E, N)."""
    reading = measured.reading
    shown = float(scaled(reading.function, np.asarray(measured.value)))
    worth = expected_again(dictionary.spectrum(reading), shown, outlier, posterior)
    return _suggestion(dictionary, posterior, reading, worth, measured)


def at_once(dictionary: FaultDictionary, posterior: Posterior, reading: Reading) -> Suggestion:
    """To take a reading whatever it is worth."""
    worth = expected(dictionary.spectrum(reading), posterior)
    return _suggestion(dictionary, posterior, reading, worth)


def _suggestion(
    dictionary: FaultDictionary,
    posterior: Posterior,
    reading: Reading,
    worth: Expected,
    again: Measured | None = None,
) -> Suggestion:
    outcomes = _outcomes(dictionary, reading, posterior)
    shares = dictionary.sums(posterior.weights)
    likely = _still_likely(dictionary, shares)
    good = good_board(dictionary, reading, posterior.measured)
    return Suggestion(
        reading=reading,
        access=access_level(dictionary.circuit, reading),
        gain_bits=worth.bits,
        open_bits=float(entropy_bits(shares)),
        outcomes=outcomes,
        good=good,
        answers=_answers(dictionary, reading, [o for o in outcomes if o.key in likely], good),
        full_scale=_full_scale(dictionary, reading, outcomes),
        again=again,
    )


def _beside(dictionary: FaultDictionary, faults: Sequence[int]) -> list[int]:
    """Open or drift, of resistors of which the other is among the faults: both read high."""
    number = {fault.key: k for k, fault in enumerate(dictionary.faults)}
    told = [dictionary.faults[f] for f in faults if dictionary.faults[f].kind == "resistor"]
    other = {"open": "drift", "drift": "open"}
    keys = [f"{fault.part} {other[fault.mode]}" for fault in told if fault.mode in other]
    return [number[key] for key in keys if key in number]


def _still_likely(dictionary: FaultDictionary, shares: FloatArray) -> set[str]:
    """Keys of the faults that an answer is worth explaining for: of two together only where that is
    likelier than each of them alone."""
    here = [int(f) for f in np.flatnonzero(shares >= STILL_LIKELY * max(shares))]
    here += [f for f in _beside(dictionary, here) if shares[f] > NEGLIGIBLE]
    likely = {dictionary.faults[f].key: f for f in here}
    return {
        key
        for key, f in likely.items()
        if not any(
            shares[likely[one]] > shares[f] for one in dictionary.faults[f].members if one in likely
        )
    }


def without(
    dictionary: FaultDictionary,
    suggestion: Suggestion,
    posterior: Posterior,
    doubted: Collection[str],
) -> Suggestion:
    """The same with no answer explained by faults that a reading already speaks against; as it is
    where there are no others."""
    if not doubted:
        return suggestion
    likely = _still_likely(dictionary, dictionary.sums(posterior.weights))
    kept = [o for o in suggestion.outcomes if o.key in likely and o.key not in doubted]
    if all(o.key == dictionary.faults[GOOD_BOARD].key for o in kept):
        return suggestion
    return replace(
        suggestion, answers=_answers(dictionary, suggestion.reading, kept, suggestion.good)
    )


def within_rows(
    suggestion: Suggestion, measured: Sequence[Measured], circuit: Circuit
) -> Suggestion:
    """The same without answers over what a row read that the part is in: no part of a row has more
    than all of it."""
    reading = suggestion.reading
    parts = {*parts_between(circuit, reading.red, reading.black)}
    rows = [
        m.value
        for m in measured
        if reading.function is m.reading.function is Function.OHM
        and m.exact
        and not (m.about or m.reading.lifted)
        and parts < {*parts_between(circuit, m.reading.red, m.reading.black)}
    ]
    most = min(rows, default=np.inf) / LESS
    if not np.isfinite(most):
        return suggestion
    answers = tuple(replace(a, high=min(a.high, most)) for a in suggestion.answers if a.low < most)
    return replace(suggestion, answers=answers)


def of_rest(dictionary: FaultDictionary, suggestion: Suggestion, rest: Rest | None) -> Suggestion:
    """The same with what a row leaves for the part that it reads; as it is for any other."""
    if rest is None:
        return suggestion
    each = {ref: over(dictionary.circuit, ref) for ref in rest.refs}
    here = next((ref for ref, reading in each.items() if reading == suggestion.reading), None)
    if here is None:
        return suggestion
    others = [ref for ref in rest.refs if ref != here]
    ohm = rest.ohm - sum(good_board(dictionary, each[ref]).middle for ref in others)
    good = suggestion.good
    answers = [Answer(low=ohm * LESS, high=ohm / LESS, keys=(f"{here} drift",))]
    if others:
        keys = tuple(f"{ref} drift" for ref in others)
        answers.append(Answer(low=good.low, high=good.high, keys=keys))
    return replace(suggestion, answers=tuple(answers), proved=not others)


def within_reach(
    readings: Sequence[Reading], skipped: Collection[Reading], circuit: Circuit
) -> list[Reading]:
    """Readings left when the bench cannot take some.

    Where one cannot be taken, neither can those at the same two points, in the same state of the
    board and with the same instrument.
    """

    def place(reading: Reading) -> tuple[object, ...]:
        points = frozenset((reading.red, reading.black))
        return points, access_level(circuit, reading), reading.lifted, reading.function.row.scope

    missing = {place(reading) for reading in skipped}
    return [reading for reading in readings if place(reading) not in missing]


def _full_scale(
    dictionary: FaultDictionary, reading: Reading, outcomes: Sequence[Outcome]
) -> float | None:
    """Full scale of the lowest range that holds a good board and the likely faults.

    Of ohms a good board alone, its low end where the other is open: a range that holds what a
    drifted part shows has too few digits for a good one, or a short.
    """
    if (ranges_of := reading.function.row.ranges) is None:
        return None
    ranges = ranges_of(dictionary.meter)
    mains = access_level(dictionary.circuit, reading) is AccessLevel.MAINS
    if reading.function is Function.OHM:
        good = good_board(dictionary, reading)
        most = good.high if np.isfinite(good.high) else good.low
    else:
        # the mains may be there whatever is expected
        most = MAINS_FACTOR * dictionary.board.mains.rms_v if mains else 0.0
        shown = (abs(v) for o in outcomes for v in o.value if np.isfinite(v))
        most = max([most, *shown])
    return next((r for r in ranges if r >= most), ranges[-1])


def _outcomes(
    dictionary: FaultDictionary, reading: Reading, posterior: Posterior
) -> tuple[Outcome, ...]:
    """What the reading would show under the likeliest faults, and on a good board."""
    weight = dictionary.by_fault(posterior.weights)
    shares = dictionary.sums(posterior.weights)
    least = np.sort(shares)[-OUTCOMES:][0]  # what is as likely as the last one is told too
    likely = [int(f) for f in np.argsort(-shares) if shares[f] >= AS_LIKELY * least]
    likely += [f for f in _beside(dictionary, likely) if shares[f] > NEGLIGIBLE]
    result = []
    for f in dict.fromkeys([*likely, GOOD_BOARD]):
        fault = dictionary.faults[f]
        shown = shown_after(dictionary, f, reading, posterior.measured)
        alike = fault.amount is None and not (fault.joint or fault.states or fault.members)
        value = points(shown, weight[f], NEARLY_ALL if alike else LIKELY)
        result.append(Outcome(key=fault.key, value=value))
    return tuple(result)


def _answers(
    dictionary: FaultDictionary,
    reading: Reading,
    outcomes: Sequence[Outcome],
    shown: ExpectedRange,
) -> tuple[Answer, ...]:
    """Outcomes put together where the meter cannot tell one from the other, beside what a good
    board shows."""
    fit, good = dictionary.fit(reading), dictionary.faults[GOOD_BOARD].key
    moved = dictionary.member[fit.loose.any(axis=1)]
    jumping = {dictionary.faults[f].key for f in moved}

    @cache
    def on_scale(value: float) -> tuple[float, float]:
        """A value as its error is judged, and that error."""
        return float(scaled(reading.function, np.asarray(value))), fit.error_at(value)

    def above(first: float, second: float) -> float:
        """How far one value is above another, in errors that a bench takes for none."""
        (a, error_a), (b, error_b) = on_scale(first), on_scale(second)
        return (a - b) / ALIKE_ERRORS / max(error_a, error_b)

    def same(answer: Answer, other: Answer) -> bool:
        if answer.dark is not other.dark:
            return False
        below, beyond = above(answer.low, other.low), above(other.high, answer.high)
        if good in answer.keys and below <= 1.0 and beyond <= 1.0:
            return True  # nothing that a good board does not show
        return answer.jumps is other.jumps and max(abs(below), abs(beyond)) <= 1.0

    # the good board first: what it shows too goes by its ends, though it be likely no more
    result = [Answer(low=shown.low, high=shown.high, keys=(good,))]
    diode_test = reading.function.row.method is Method.JUNCTION
    ends_below = diode_test and np.isfinite(shown.middle) and np.isinf(shown.high)
    samples = dictionary.good(reading)
    lit = float(np.max(samples, where=np.isfinite(samples), initial=0.0))
    joints = {f.key for f in dictionary.faults if f.joint is not None}

    def leaves_good(outcome: Outcome) -> bool:
        low, _, high = outcome.value
        return max(above(high, shown.high), above(shown.low, low)) > 1.0

    apart = {o.key for o in outcomes if o.key in joints and leaves_good(o)}
    for outcome in _ends_apart([o for o in outcomes if o.key != good], apart):
        low, high = (0.0 if abs(above(v, 0.0)) <= 1.0 else v for v in outcome.value[::2])
        jumps = outcome.key in jumping and leaves_good(outcome)
        dark = bool(ends_below and not jumps and np.isinf(outcome.value[1]))
        low = lit if dark else low
        new = Answer(low=low, high=high, keys=(outcome.key,), jumps=jumps, dark=dark)
        known = next((k for k, answer in enumerate(result) if same(answer, new)), len(result))
        result[known : known + 1] = [_joined([*result[known : known + 1], new])]
    order = [outcome.key for outcome in outcomes]
    told = [replace(a, keys=tuple(key for key in a.keys if key in order)) for a in result]
    named = [answer for answer in told if answer.keys]
    return tuple(sorted(named, key=lambda answer: min(map(order.index, answer.keys))))


def _ends_apart(outcomes: Sequence[Outcome], joints: Collection[str]) -> Iterator[Outcome]:
    """Outcomes, those of an open joint one at either end: the probe may be on either side."""
    for outcome in outcomes:
        if outcome.key in joints:
            low, _, high = outcome.value
            yield replace(outcome, value=(low, low, low))
            yield replace(outcome, value=(high, high, high))
        else:
            yield outcome


def _joined(answers: Sequence[Answer]) -> Answer:
    """Answers that a meter cannot tell apart as one; a good board's ends, where it is the first."""
    ends = answers[:1] if HEALTHY.key in answers[0].keys else answers
    return Answer(
        low=min(a.low for a in ends),
        high=max(a.high for a in ends),
        keys=tuple(dict.fromkeys(key for a in answers for key in a.keys)),
        jumps=answers[0].jumps,
        dark=answers[0].dark,
    )
