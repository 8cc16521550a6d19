"""After an exercise: what each reading ruled out, and how an expert would have gone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from zcd.diagnosis.expected_readings import ExpectedRange, good_board
from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.faults import HEALTHY, LOOSE_MODE, Fault, same_repair
from zcd.diagnosis.functions import Function
from zcd.diagnosis.likelihood import error, scaled
from zcd.diagnosis.next_reading import Choice, Suggestion
from zcd.diagnosis.rank import Diagnosis, choices, diagnose
from zcd.diagnosis.readings import PLUGGED, AccessLevel, Measured, Power, Reading
from zcd.practice.bench import Bench, Danger, Taken
from zcd.practice.exercise import Exercise

MIN_OPEN, MAX_RULED_OUT = 0.03, 0.01
"""Chance from which a part is in question, and below which it is ruled out."""
AS_MUCH = 0.8
"""An unplugged reading that is expected to tell so much of what a live one tells would do."""
MOST_EXPERT = 15
AT_PIN = Reading(function=Function.DC, red="pin", black="logic0")
"""Where every joint of the sync circuit shows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One reading of the apprentice, and what it told.

    Parameters
    ----------
    taken : Taken
    good : ExpectedRange
        What a good board shows there, with the error of a reading.
    ruled_out, left : tuple of str
        Repairs that it ruled out, and those still in question, likeliest first.
    instead : Reading or None
        An unplugged reading that would have told as much as this live one.
    """

    taken: Taken
    good: ExpectedRange
    ruled_out: tuple[str, ...]
    left: tuple[str, ...]
    instead: Reading | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """An exercise looked back on.

    Parameters
    ----------
    exercise : Exercise
    found : bool
        The apprentice named what was hidden.
    repairs : int
        How many of two faults were mended.
    named : tuple of str
        What the apprentice named, in order.
    wrong, hints : int
        `wrong`: how many of these were not it.
    seconds : float
        That the work would have taken.
    steps : tuple of Step
    dangers : tuple of Danger
    expert : tuple of Step
        Of one who takes the readings that tell most for their trouble and danger.
    expert_seconds : float
    expert_found : tuple of Fault
        What that one names: more than one where no reading tells them apart.
    expert_right : bool
        It is what was hidden, or one part of it.
    """

    exercise: Exercise
    found: bool
    repairs: int
    named: tuple[str, ...]
    wrong: int
    hints: int
    seconds: float
    steps: tuple[Step, ...]
    dangers: tuple[Danger, ...]
    expert: tuple[Step, ...]
    expert_seconds: float
    expert_found: tuple[Fault, ...]
    expert_right: bool


@dataclass(frozen=True, slots=True)
class Expert:
    """Knows what each fault shows, and nothing of what is hidden.

    Parameters
    ----------
    exercise : Exercise
    dictionary : FaultDictionary
        Of its board and meter.
    """

    exercise: Exercise
    dictionary: FaultDictionary

    def diagnosis(self, measured: Sequence[Measured]) -> Diagnosis:
        """What the readings say to one who knows."""
        return diagnose(self.dictionary, measured, flags=self.exercise.flags)

    def way(self) -> tuple[Bench, Diagnosis]:
        """Go through the exercise, always with the reading that is worth most.

        Before the end one reading is taken again while the board is tapped, as a loose joint shows
        by that.
        """
        bench = Bench(self.exercise)
        diagnosis = self.diagnosis(())
        while len(bench.taken) < MOST_EXPERT:
            step = self._next(diagnosis, bench)
            if step is None:
                break
            reading, tapped = step
            bench.make_ready(reading)
            bench.take(reading, tapped=tapped)
            diagnosis = self.diagnosis(bench.measured)
        return bench, diagnosis

    def _next(self, diagnosis: Diagnosis, bench: Bench) -> tuple[Reading, bool] | None:
        """The reading worth most, and whether the board is tapped meanwhile: once a display has
        jumped. Where nothing is left to ask, a loose joint is looked for: at the pin, or, where the
        board was not powered, in what no good board shows.

        Nobody says that the sync circuit is good who has not seen its pulses.
        """
        jumped = any(measured.unstable for measured in bench.measured)
        if diagnosis.suggestion is not None:
            return diagnosis.suggestion.reading, jumped
        powered = any(each.measured.reading.power in PLUGGED for each in bench.taken)
        first = diagnosis.ranked[0].fault
        if powered or (first is not None and first.reports):
            due = [AT_PIN]
        else:
            due = [each.measured.reading for each in self._odd(bench.taken)]
        tapped = {each.measured.reading for each in bench.taken if each.tapped}
        left = (reading for reading in due if reading not in tapped)
        return None if jumped or (reading := next(left, None)) is None else (reading, True)

    def _odd(self, taken: Sequence[Taken]) -> list[Taken]:
        """Readings that no good board shows."""
        ranges = [self.good(each.measured.reading) for each in taken]
        return [
            each
            for each, good in zip(taken, ranges, strict=True)
            if not good.low <= each.measured.value <= good.high
        ]

    def good(self, reading: Reading) -> ExpectedRange:
        """What a reading shows on a good board, the error of a reading included."""
        exact, function = good_board(self.dictionary, reading), reading.function
        ends = (exact.low, exact.middle, exact.high)
        off = error(function, scaled(function, np.array(ends)), self.dictionary.meter)
        if function.row.decades:
            low, high = exact.low / 10.0 ** off[0], exact.high * 10.0 ** off[2]
        else:
            low, high = exact.low - off[0], exact.high + off[2]
        least = 0.0 if exact.low >= 0.0 else low
        return ExpectedRange(low=max(low, least), middle=exact.middle, high=high)

    def steps(self, taken: Sequence[Taken]) -> tuple[Step, ...]:
        """What each reading told when it was taken."""
        result: list[Step] = []
        measured: list[Measured] = []
        diagnosis = self.diagnosis(())
        before = _open(diagnosis)
        repairs = 0
        for each in taken:
            if each.repairs > repairs:  # another board: what was read before says nothing of it
                measured, repairs, diagnosis = [], each.repairs, self.diagnosis(())
                before = _open(diagnosis)
            instead = self._instead(each, measured, diagnosis.suggestion)
            measured.append(each.measured)
            diagnosis = self.diagnosis(measured)
            after = _open(diagnosis)
            gone = [
                repair
                for repair, chance in before.items()
                if chance >= MIN_OPEN and after.get(repair, 0.0) < MAX_RULED_OUT
            ]
            left = [repair for repair, chance in after.items() if chance >= MIN_OPEN]
            result.append(
                Step(
                    taken=each,
                    good=self.good(each.measured.reading),
                    ruled_out=tuple(gone),
                    left=tuple(left),
                    instead=instead,
                )
            )
            before = after
        return tuple(result)

    def _instead(
        self, taken: Taken, measured: Sequence[Measured], suggestion: Suggestion | None
    ) -> Reading | None:
        """An unplugged reading that was expected to tell as much as one on live mains.

        None too where the expert would measure on live mains as well.
        """
        expert_does = suggestion is not None and suggestion.access is AccessLevel.MAINS
        if taken.access is not AccessLevel.MAINS or expert_does:
            return None
        open_now = choices(self.dictionary, measured, flags=self.exercise.flags)
        gains = {choice.reading: choice.gain_bits for choice in open_now}
        wanted = AS_MUCH * gains.get(taken.measured.reading, 0.0)
        able: list[Choice] = [
            choice
            for choice in open_now
            if choice.reading.power is Power.DEAD and 0.0 < wanted <= choice.gain_bits
        ]
        best = max(able, key=lambda choice: choice.gain_bits, default=None)
        return None if best is None else best.reading


def review(
    bench: Bench, expert: Expert, *, found: bool, named: Sequence[str], wrong: int, hints: int
) -> Review:
    """Look back on an exercise.

    Parameters
    ----------
    bench : Bench
        As the apprentice left it.
    expert : Expert
    found : bool
    named : sequence of str
    wrong, hints : int

    Returns
    -------
    review : Review
    """
    steps = expert.steps(bench.taken)
    needless = sum(step.instead is not None for step in steps)
    way, diagnosis = expert.way()
    hidden = bench.exercise.fault
    ends = diagnosis.indistinguishable or diagnosis.ranked[:1]
    ended = [ranked.fault for ranked in ends if ranked.fault is not None]
    # a good sync circuit is what is behind it, where the controller shows an error
    named_last = tuple(fault for fault in ended if fault.key != HEALTHY.key or len(ended) == 1)
    faults = expert.dictionary.faults
    parts = [each for each in faults if each.key in hidden.members] or [hidden]
    members = {key for fault in named_last for key in fault.members or (fault.key,)}
    named_each = [each for each in faults if each.key in members]
    return Review(
        exercise=bench.exercise,
        found=found,
        repairs=bench.repairs,
        named=tuple(named),
        wrong=wrong,
        hints=hints,
        seconds=bench.seconds,
        steps=steps,
        dangers=(*bench.dangers, *[Danger.NEEDLESS] * needless),
        expert=expert.steps(way.taken),
        expert_seconds=way.seconds,
        expert_found=named_last,
        expert_right=any(is_meant(named_each, part) for part in parts),
    )


def _open(diagnosis: Diagnosis) -> dict[str, float]:
    """Chance of each repair, likeliest first; what is no repair is left out."""
    result: dict[str, float] = {}
    for ranked in diagnosis.ranked:
        if ranked.fault is not None and ranked.key != HEALTHY.key:
            repair = ranked.fault.repair
            result[repair] = result.get(repair, 0.0) + ranked.probability
    return dict(sorted(result.items(), key=lambda each: -each[1]))


def _is_of_one(one: Fault, other: Fault) -> bool:
    """Whether two faults are of one part, such as the coil and the contact of a relay."""
    return "driver" not in (one.kind, other.kind) and (
        one.part.partition(" ")[0] == other.part.partition(" ")[0]
    )


def is_meant(named: Sequence[Fault], hidden: Fault) -> bool:
    """Whether one of the faults that a name may mean is what is hidden, as far as a repair goes."""
    return any(
        same_repair(fault, hidden)
        or hidden.part == fault.part
        # a relay that is replaced has new joints
        or (fault.is_replaced and hidden.mode == LOOSE_MODE and _is_of_one(fault, hidden))
        # behind a good sync circuit: which of these it is, no reading of this bench tells
        or (bool(hidden.reports) and hidden.reports == fault.reports)
        for fault in named
    )
