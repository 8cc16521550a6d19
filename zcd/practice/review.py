"""After an exercise: what each reading ruled out, and how an expert would have gone."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from zcd.diagnosis.expected_readings import ExpectedRange, good_board
from zcd.diagnosis.fault_dictionary import FaultDictionary
from zcd.diagnosis.faults import HEALTHY, LOOSE_MODE, Fault, same_repair
from zcd.diagnosis.functions import Function
from zcd.diagnosis.information import Posterior, entropy_bits
from zcd.diagnosis.likelihood import error, scaled
from zcd.diagnosis.next_reading import Suggestion, choices_of
from zcd.diagnosis.rank import Diagnosis, choices, diagnose, posterior_weights
from zcd.diagnosis.readings import PLUGGED, AccessLevel, Measured, Reading, access_level, parts_over
from zcd.practice.bench import Bench, Danger, Taken
from zcd.practice.exercise import LOOSE_LEVEL, Exercise, hidden_weights

MIN_OPEN, MAX_RULED_OUT = 0.03, 0.01
"""Chance from which a part is in question, and below which it is ruled out."""
AS_MUCH = 0.8
"""An unplugged reading that is expected to tell so much of what a live one tells would do."""
NOT_HIDDEN = 1e-6
"""Prior share of all that the level does not hide: never found, and no logarithm of 0."""
TELLS_BITS = 0.1
"""From which the mains itself is worth measuring: a controller that reports an error of the sync
circuit has its mains, and one that reports the fan alone may have too little."""
TELLS_APART = 0.5
"""Share of what is open between two faults that a reading which tells them apart must settle."""
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
        The unplugged reading that was due, and would have told as much as this live one.
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
    apart : Reading or None
        What tells apart those that the expert names.
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
    apart: Reading | None = None


@dataclass(slots=True)
class Expert:
    """Knows what each fault shows, and of what is hidden only what the level says.

    Parameters
    ----------
    exercise : Exercise
    dictionary : FaultDictionary
        Of its board and meter.
    """

    exercise: Exercise
    dictionary: FaultDictionary
    _of_level: FaultDictionary = field(init=False)

    def __post_init__(self) -> None:
        every = self.dictionary
        hidden = hidden_weights(self.exercise.level, every.faults, every.shares)
        mixed = (1.0 - NOT_HIDDEN) * hidden / hidden.sum() + NOT_HIDDEN * every.shares
        self._of_level = replace(every, shares=mixed * every.shares.sum() / mixed.sum())

    def diagnosis(
        self, measured: Sequence[Measured], skipped: Collection[Reading] = ()
    ) -> Diagnosis:
        """What the readings say to one who knows; those skipped are not to be suggested."""
        return diagnose(self._of_level, measured, skipped, flags=self.exercise.flags)

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
        """The reading worth most, and whether the board is tapped meanwhile: where the level hides
        loose joints, but on live mains only where nothing else tells which of them it is. Where
        nothing is left to ask, one is looked for at the pin, or, where the board was not powered,
        in what no good board shows.

        Nobody says that the sync circuit is good who has not seen its pulses.
        """
        loose = self.exercise.level == LOOSE_LEVEL
        jumped = any(measured.unstable for measured in bench.measured)
        suggestion = diagnosis.suggestion
        if suggestion is not None and jumped and suggestion.access is AccessLevel.MAINS:
            suggestion = self.diagnosis(bench.measured, self._on_mains).suggestion or suggestion
        if suggestion is not None:
            on_mains = suggestion.access is AccessLevel.MAINS
            return suggestion.reading, loose and (jumped or not on_mains)
        if not loose:
            return None
        powered = any(each.measured.reading.power in PLUGGED for each in bench.taken)
        first = diagnosis.ranked[0].fault
        if powered or (first is not None and first.reports):
            due = [AT_PIN]
        else:
            due = [each.measured.reading for each in self._odd(bench.taken)]
        tapped = {each.measured.reading for each in bench.taken if each.tapped}
        left = (reading for reading in due if reading not in tapped)
        return None if jumped or (reading := next(left, None)) is None else (reading, True)

    @property
    def _on_mains(self) -> list[Reading]:
        """Readings on live mains."""
        known = self.dictionary
        mains = AccessLevel.MAINS
        return [each for each in known.readings if access_level(known.circuit, each) is mains]

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
        """The unplugged reading that the expert would have taken, where it was expected to tell as
        much as the one on live mains that was taken.
        """
        if (
            taken.access is not AccessLevel.MAINS
            or suggestion is None
            or suggestion.access is not AccessLevel.DEAD
        ):
            return None
        open_now = choices(self._of_level, measured, flags=self.exercise.flags)
        gain_bits = {choice.reading: choice.gain_bits for choice in open_now}
        told = gain_bits.get(taken.measured.reading)
        if told is None or (told >= TELLS_BITS and self._is_at_inlet(taken.measured.reading)):
            return None
        return suggestion.reading if suggestion.gain_bits >= AS_MUCH * told else None

    def _is_at_inlet(self, reading: Reading) -> bool:
        """Whether a reading is of the mains itself, which no unplugged reading shows."""
        at = map(self.dictionary.circuit.node, (reading.red, reading.black, "line", "neutral"))
        return len(set(at)) == 2

    def apart(self, diagnosis: Diagnosis) -> Reading | None:
        """The reading that tells apart what is named together, best for its cost; None: none does.

        It may need a part lifted, which an expert does not do for a name.
        """
        known, named = self._of_level, [each.fault for each in diagnosis.indistinguishable]
        weights, _ = posterior_weights(known, diagnosis.measured, self.exercise.flags)
        weights = weights * np.array([known.faults[f] in named for f in known.member])[:, None]
        shares = known.sums(weights) / weights.sum()
        posterior = Posterior(
            weights=weights / weights.sum(),
            member=known.member,
            unmodelled=0.0,
            holds=known.holds,
        )
        wanted = TELLS_APART * float(entropy_bits(shares))
        taken = [each.reading for each in diagnosis.measured]
        alone = [
            replace(reading, lifted=ref)
            for reading in taken
            if reading.function.row.dead and not reading.lifted
            for ref in parts_over(known.circuit, reading.red, reading.black).split(", ")
        ]
        left = [each for each in dict.fromkeys([*known.readings, *alone]) if each not in taken]
        told = choices_of(known, posterior, left)
        return next((each.reading for each in told if each.gain_bits >= wanted), None)


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
        apart=expert.apart(diagnosis) if len(named_last) > 1 else None,
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
