"""What each answer to the next reading would mean, as ranges that do not overlap."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from itertools import zip_longest
from math import isfinite, sqrt
from typing import NamedTuple

import numpy as np

from zcd.circuit.elements import Circuit, Resistance
from zcd.circuit.points import diode_of_bridge
from zcd.diagnosis.expected_readings import ExpectedRange
from zcd.diagnosis.faults import HEALTHY
from zcd.diagnosis.functions import Function, Method
from zcd.diagnosis.meters import OVERLOAD
from zcd.diagnosis.next_reading import Answer, Suggestion
from zcd.diagnosis.reading_syntax import show_measured, show_span, show_value
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import Power
from zcd.diagnosis.series_sums import row_of
from zcd.report.of_diagnosis import relay_state, spread_of
from zcd.report.of_diagnosis_text import fault_words, range_text
from zcd.report.of_readings_card import good_text, reads_far_down
from zcd.report.text import listed, probability_text

A_GOOD_BOARD = "a good board"
NARROW = 1.3
"""What faults show is told by its middle where the ends are no farther apart."""
_REFERENCE = re.compile(r"[A-Z]+\d|pull-")
JUMPS = 'jumps (enter "jumps")'
BARELY = 0.02
"""An end that is no farther off, as a share, is the same: common practice, no source."""


def suggestion_lines(
    suggestion: Suggestion, circuit: Circuit, *, doubted: bool = True
) -> list[str]:
    """The next reading: where the probes go, and what each answer would mean. One that is taken
    again is `doubted`, or all that there is."""
    reading = suggestion.reading
    removes = probability_text(suggestion.gain_bits / suggestion.open_bits)
    parts = (
        reading_text(reading, circuit),
        range_text(suggestion),
        state_text(suggestion, circuit),
        f"removes {removes} of the remaining doubt (expected)",
    )
    lines = ["; ".join(part for part in parts if part) + "."]
    if suggestion.again is not None:
        shown = show_measured(suggestion.again)
        why = f"{shown} contradicts the other readings" if doubted else f"it showed {shown}"
        lines[0] += f" Again: {why}."
    row = row_read(suggestion, circuit)
    lines += (meaning.text() for meaning in meanings_of(suggestion, full=True, row=row))
    return lines


def row_read(suggestion: Suggestion, circuit: Circuit) -> tuple[str, ...]:
    """The resistors that a reading is of and that are to blame for all above a good board's; none
    where another string in parallel lets it read less than these have."""
    row = row_of(circuit, suggestion.reading)
    parts = (circuit[ref] for ref in row)
    own = sum(float(np.max(p.resistance_ohm)) for p in parts if isinstance(p, Resistance))
    return row if own <= suggestion.good.high else ()


def state_text(suggestion: Suggestion, circuit: Circuit) -> str:
    """In which state the board has to be, and on which side the probes go."""
    side = str(suggestion.access)
    if suggestion.reading.power is Power.DEAD:
        return f"{side}: unplugged, discharged"
    if suggestion.reading.power is Power.LIVE:
        return side + (relay_state(suggestion.reading, circuit) or ", under power")
    return f"{side}, load relay off" if suggestion.reading.power is Power.OFF else side


class Meaning(NamedTuple):
    """An answer to a reading, and what it would mean.

    Parameters
    ----------
    shown : str
        What the meter shows.
    faults : tuple of str
        Likeliest first.
    as_good : bool
        Whether a good board shows the same: these faults are then what it leaves.
    then : str
        What that means where it leaves none.
    """

    shown: str
    faults: tuple[str, ...]
    as_good: bool = False
    then: str = "look for another fault"

    def text(self, most: int | None = None) -> str:
        """In a line, the first `most` faults by name, those of which the same is said together; or
        all of them, each by itself."""
        named = tuple(map(fault_words, self.faults[:most]))
        left = len(self.faults) - len(named)
        more = f" {'or' if self.as_good else 'and'} {left} more" if left else ""
        if self.faults == (A_GOOD_BOARD,):
            return f"{self.shown}, as on a good board"
        if self.as_good and not named:
            return f"{self.shown}, as on a good board: then {self.then}"
        still = ", as on a good board; still possible: " if self.as_good else ": "
        return f"{self.shown}{still}{', '.join(named if most is None else grouped(named))}{more}"


def grouped(keys: Sequence[str]) -> list[str]:
    """Names of faults, one for all parts of which the same is said, and for all that is said of the
    same parts.

    Examples
    --------
    >>> grouped(["R12 open", "R2 open", "D1 open", "R2 drift", "R1 drift + R2 drift"])
    ['D1, R2 or R12 open', 'R2 drift', 'R1 drift + R2 drift']
    >>> grouped(["R1 open", "R2 open", "R1 drift", "R2 drift", "OC1 LED open", "OC1 reversed"])
    ['R1 or R2 open or drift', 'OC1 LED open or reversed']
    >>> grouped(["BR1-~2 short", "BR1~1+ short"])
    ['a diode of BR1 short']
    >>> grouped(["R1 low", "mains low", "mains missing"])
    ['R1 low', 'mains low or missing']
    >>> grouped(["OC1 transistor open", "OC1 transistor short"])
    ['OC1 transistor open or short']
    >>> grouped(["OC1 aged", "OC1 second LED leaky", "OC1 LED leaky"])
    ['OC1 aged or either LED leaky']
    """
    parts: dict[tuple[str, str], list[str]] = {}
    for key in dict.fromkeys(map(of_bridge, keys)):
        part, _, mode = key.partition(" ")
        alone = " + " in key or not mode or part == "a"
        # R2 low and the mains low have nothing in common
        kind = "" if alone or _REFERENCE.match(part) else part
        place = (key if alone else mode, kind)
        parts.setdefault(place, []).append("" if alone else part)
    said: dict[str, list[str]] = {}
    for (mode, _), refs in parts.items():
        if who := listed(sorted(refs, key=in_order), "or"):
            said.setdefault(who, []).append(mode)
        else:
            said[mode] = []
    return [f"{who} {listed(_once(modes), 'or')}" if modes else who for who, modes in said.items()]


def _once(modes: Sequence[str]) -> list[str]:
    """Modes of one part; its piece only with the first of those that are all of the same, and one
    for both LEDs of a pair."""
    either = {mode for mode in modes if f"second {mode}" in modes}
    pairs = {each: f"either {mode}" for mode in either for each in (mode, f"second {mode}")}
    modes = list(dict.fromkeys(pairs.get(mode, mode) for mode in modes))
    pieces = {mode.rpartition(" ")[0] for mode in modes}
    if len(pieces) > 1:
        return [*modes]
    return [modes[0], *(mode.rpartition(" ")[2] for mode in modes[1:])]


def in_order(ref: str) -> list[str | int]:
    """Key to sort references by: R2 before R12."""
    return [int(each) if each.isdigit() else each for each in re.split(r"(\d+)", ref)]


def of_bridge(key: str) -> str:
    """A fault; of a diode of a bridge in one piece, that it is one of its diodes."""
    part, _, mode = key.partition(" ")
    bridge, leads = diode_of_bridge(part)
    return f"a diode of {bridge} {mode}" if leads and " + " not in key else key


def meanings_of(
    suggestion: Suggestion,
    *,
    full: bool = False,
    row: Collection[str] = (),
    headline: Collection[str] = (),
    most: int | None = None,
) -> list[Meaning]:
    """The answers to a reading, each with what it would mean, the likeliest first.

    Parameters
    ----------
    suggestion : Suggestion
    full : bool
        Otherwise one that a good board gives too names no fault: the reading does not see it.
    row : collection of str
        References of the resistors that it reads, if it reads nothing else.
    headline : collection of str
        Keys of the faults that are named as likeliest beside it: what a good reading leaves begins
        with those.
    most : int, optional
        Where there are more answers, all above a good board's are one, so that none is left out.
    """
    function, good = suggestion.reading.function, suggestion.good
    result = []
    answers = [_as_good(answer, function, good) for answer in suggestion.answers]
    if all(_within(answer, good) for answer in answers):
        answers = list(suggestion.answers)  # else a low reading would tell nothing of any of them
    dark = [answer for answer in answers if answer.dark]
    if dark:
        good = replace(good, high=min(answer.low for answer in dark))
        answers = [a if a.dark else replace(a, high=min(a.high, good.high)) for a in answers]
    told = apart([answer for answer in answers if not answer.dark], good)
    faulty = not any(_within(answer, good) for answer in suggestion.answers)
    lone = faulty and (len(told) == 1 or suggestion.again is not None)
    if lone:
        told = [piece for a in told for piece in ([a] if a.jumps else _outside(a, good) or [a])]
    below = any(not answer.jumps and answer.high <= good.low for answer in told)
    row = row if function is Function.OHM else ()
    together = most is not None and len(told) + len(dark) > most
    for answer, shown in _that_meet(told, good, row, together=together):
        healthy = HEALTHY.key in answer.keys
        keys = (HEALTHY.key,) if healthy and not full else answer.keys
        names = tuple(A_GOOD_BOARD if key == HEALTHY.key else key for key in keys)
        names = tuple(sorted(names, key=lambda name: name not in headline)) if headline else names
        as_good = not (healthy or answer.jumps) and (answer.low, answer.high) == (
            good.low,
            good.high,
        )
        text = shown or _shown_text(function, answer, good)
        if as_good and below:
            text = spread_of(function, good.low, good.high)  # what is lower has its own line
        if function is Function.DUTY and not answer.jumps:
            text += f" low ({show_span(function, 1.0 - answer.high, 1.0 - answer.low)} high)"
        result.append(Meaning(text, names, as_good))
    for answer in dark:
        shown = f"OL or over {show_value(function, answer.low)} (OL too if your meter ends lower)"
        result.insert(1, Meaning(shown, answer.keys))
    if row and isfinite(good.high) and not any(a.high > good.high for a in told):
        # no likely fault, and yet what a higher reading would mean (Ohm's law)
        keys = tuple(f"{ref} {mode}" for mode in ("open", "drift") for ref in row)
        result.append(Meaning(spread_of(function, good.high, OVERLOAD), keys))
    if lone and not dark:
        fine = Meaning(good_text(function, good), (), as_good=True)
        if suggestion.proved or suggestion.again is not None:
            which = "the first reading was" if suggestion.again else "a reading before is"
            fine = fine._replace(then=f"{which} wrong")
        result.append(fine)
    return result


def _that_meet(
    told: Sequence[Answer], good: ExpectedRange, row: Collection[str], *, together: bool
) -> Iterator[tuple[Answer, str]]:
    """Answers of a row of resistors, those above a good board's with ranges that meet: what is over
    it is always one of the row. With each, what the meter shows where that takes other words.
    `together`: those are one."""
    above = [a for a in told if not a.jumps and a.low >= good.high and HEALTHY.key not in a.keys]
    above.sort(key=lambda answer: answer.low)
    of_row = {f"{ref} {mode}" for ref in row for mode in ("open", "drift")}
    if not above or not of_row & {*above[0].keys}:
        yield from ((answer, "") for answer in told)
        return
    if together:
        keys = tuple(dict.fromkeys(key for answer in above for key in answer.keys))
        one = replace(above[0], low=good.high, high=max(a.high for a in above), keys=keys)
        likeliest = next(answer for answer in told if answer in above)
        for answer in told:
            if answer is likeliest or answer not in above:
                yield (one if answer is likeliest else answer), ""
        return
    met: dict[Answer, tuple[Answer, str]] = {}
    low = good.high
    for answer, after in zip_longest(above, above[1:]):
        high = answer.high if after is None else sqrt(answer.high * after.low)
        new = replace(answer, low=low, high=high)
        about = ""
        if answer.low <= answer.high < NARROW * answer.low:
            about = _shown_text(Function.OHM, answer, good)
            if answer is above[0]:
                about = f"over {show_value(Function.OHM, good.high)} ({about} if it alone is bad)"
        met[answer], low = (new, about), high
    first = above[0]
    drifted = [key.replace(" open", " drift") for key in first.keys if key in of_row]
    if not any(key.endswith(" drift") for answer in above for key in answer.keys):
        new, about = met[first]
        met[first] = replace(new, keys=(*new.keys, *drifted)), about
    yield from (met.get(answer, (answer, "")) for answer in told)


def _as_good(answer: Answer, function: Function, good: ExpectedRange) -> Answer:
    """An answer; one that is low is a good board's too, where parts in parallel may read as low."""
    low = not answer.jumps and answer.high < good.high and reads_far_down(function, good)
    return replace(answer, low=good.low, high=good.high) if low else answer


def apart(answers: Sequence[Answer], good: ExpectedRange) -> list[Answer]:
    """The same with ranges that do not overlap, the likeliest first.

    What a good board shows too has a good board's range; of two others one within the other goes
    with it, and two that overlap meet in the middle of what they share.
    """
    steady = [answer for answer in answers if not answer.jumps]
    as_good = [answer for answer in steady if _within(answer, good)]
    rest = [answer for answer in steady if answer not in as_good]
    if as_good:
        keys = tuple(key for answer in as_good for key in answer.keys)
        rest = [piece for answer in rest for piece in _outside(answer, good)]
        as_good = [Answer(low=good.low, high=good.high, keys=keys)]
    jumping = [answer for answer in answers if answer.jumps][:1]
    if jumping:  # how far it jumps is not entered
        keys = tuple(key for answer in answers if answer.jumps for key in answer.keys)
        jumping = [replace(jumping[0], keys=keys)]
    order = [key for answer in answers for key in answer.keys]
    likeliest = (
        replace(answer, keys=tuple(sorted(answer.keys, key=order.index)))
        for answer in (*as_good, *_cut(rest), *jumping)
    )
    return sorted(likeliest, key=lambda answer: order.index(answer.keys[0]))


def _within(answer: Answer, good: ExpectedRange) -> bool:
    """Whether a good board shows all of an answer."""
    low = good.low - BARELY * abs(good.low)
    high = good.high + BARELY * abs(good.high)
    return HEALTHY.key in answer.keys or low <= answer.low <= answer.high <= high


def _outside(answer: Answer, good: ExpectedRange) -> list[Answer]:
    """What of an answer no good board shows, below it and above."""
    below = replace(answer, high=min(answer.high, good.low))
    above = replace(answer, low=max(answer.low, good.high))
    return [piece for piece in (below, above) if piece.low < piece.high or piece == answer]


def _cut(answers: Sequence[Answer]) -> list[Answer]:
    """Answers from the lowest to the highest, cut where they overlap."""
    result: list[Answer] = []
    for answer in sorted(answers, key=lambda a: (a.low, -a.high)):
        apart = result and answer.low >= result[-1].high and answer.high > result[-1].low
        if not result or apart:
            result.append(answer)
            continue
        last = result.pop()
        if _of_one_new_part(last, answer):
            high = max(last.high, answer.high)
            result.append(replace(last, high=high, keys=(*last.keys, *answer.keys)))
        elif answer.high <= last.high:
            result.append(replace(last, keys=(*last.keys, *answer.keys)))
        else:
            low = max(answer.low, last.low)
            middle = sqrt(low * last.high) if low > 0.0 else 0.5 * (low + last.high)
            result += [replace(last, high=middle), replace(answer, low=middle)]
    return result


TOO_MUCH = ({"drift", "wrong value x10"}, {"low", "wrong value x0.1"})
"""Modes of a resistor between which no size parts."""


def _of_one_new_part(one: Answer, other: Answer) -> bool:
    """Whether two answers are of the same resistors, too high or too low, by age or by mistake."""
    pieces = [{key.partition(" ")[::2] for key in answer.keys} for answer in (one, other)]
    parts = [{part for part, _ in each} for each in pieces]
    modes = {mode for each in pieces for _, mode in each}
    return parts[0] == parts[1] and any(modes <= both for both in TOO_MUCH)


def _shown_text(function: Function, answer: Answer, good: ExpectedRange) -> str:
    """What the meter shows."""
    low, high = answer.low, answer.high
    if answer.jumps:
        return JUMPS
    if (low, high) == (good.low, good.high):
        return good_text(function, good)
    if function.row.method is Method.JUNCTION and low > good.high and high == OVERLOAD:
        return show_value(function, OVERLOAD)  # few meters show more than 2 V
    if 0.0 < low <= high < NARROW * low:
        # two ends so close together would look like limits
        return f"about {show_value(function, 0.5 * (low + high), digits=2)}"
    return spread_of(function, low, high)
