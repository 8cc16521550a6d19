"""Faults ranked by probability, those that no reading parts named together."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Circuit, Resistance
from zcd.circuit.points import diode_of_bridge, of_leads
from zcd.diagnosis.fault_dictionary import GOOD_BOARD, FaultDictionary, Progress
from zcd.diagnosis.fault_pairs import pair_of
from zcd.diagnosis.faults import (
    HEALTHY,
    LOOSE_MODE,
    Fault,
    Joint,
    answer_of,
    includes,
    same_repair,
)
from zcd.diagnosis.flag_evidence import FAN, no_fault_share
from zcd.diagnosis.functions import TWINS, Function, Method
from zcd.diagnosis.information import SURE, Posterior, expected, sparse, together
from zcd.diagnosis.likelihood import (
    BREADTHS,
    MIN_DENSITY,
    fact_log,
    merge_repeats,
    outlier_share,
    partly_wrong,
)
from zcd.diagnosis.next_reading import (
    MOST_READINGS,
    Choice,
    Suggestion,
    at_once,
    best_reading,
    choices_of,
    of_rest,
    once_more,
    within_reach,
    within_rows,
    without,
)
from zcd.diagnosis.reading_words import reading_text
from zcd.diagnosis.readings import (
    AccessLevel,
    Measured,
    Power,
    Reading,
    access_level,
    is_behind_contact,
    parts_read,
    same_witness,
)
from zcd.diagnosis.series_sums import Rest, cannot_raise, over, rest_of_row, summed_up
from zcd.diagnosis.severity import severity_points
from zcd.diagnosis.unit_slips import UnitSlip, unit_slips

FloatArray = NDArray[np.float64]

Evidence = tuple[FloatArray, FloatArray, float]
"""Log densities of a fact: by breadth, shape (B, E, N); if few are unlike, shape (E, N); flat."""

DANGER_FACTOR = 2.0
"""Voltage on the isolated side over its highest supply, beyond which mains is suspected."""
MIN_DANGER_V = 25.0
"""No lower voltage stops the work: it is a wrong or failed supply; common practice, no source."""
UNMODELLED = "none of these"
NEAR_SHARE = 0.3
"""Faults that are not listed and yet resemble a listed one; a guess, no source."""
UNLIKE_SHARE = 0.2
"""Of a fault that is not listed but resembles one: how many facts differ; a guess, no source."""
MOST_TOGETHER = 3
"""Answers that are named together at most, where it is not settled; a good sync circuit is one of
them, whatever else the flags may tell of."""
MIN_TOGETHER = 0.03
RULED_OUT = 1e-3
"""Probability below which an open joint at the other end of a part is named no more."""
MIN_BESIDE = 0.1
"""An answer less likely than that share of the likeliest one is not named beside it."""
GOOD_CIRCUIT = "a good sync circuit"
MIN_SIZED = 1e-3
UNKNOWN_SIZE = (0.1, 0.5, 0.9)
"""Severity of a fault too improbable to ask how far it has gone."""
SUSPECT = 0.5
NEARLY = 0.9
"""Of a leak and what shows the same unless an end is lifted, together: from there it is lifted."""
UNEXPLAINED = 3.0
"""How much likelier a reading of a part is if that part is bad than by what is named: from there
the part is read alone, with an end lifted."""
BY_A_SLIP = 3.0
"""How much likelier a reading is than by a slip, where a fault explains it."""
MIN_BEARING = 1e-4
"""Of boards that read like this one, the share that a reading gives another answer: a reading with
less has none."""
UNLIKELIER = 0.1
"""How much worse than what is named another fault explains a part that was read with an end lifted:
from there it is ruled out."""
FEWEST_FACTS = 3
"""A reading can disagree with all the others only where there are some."""
CONFUSED_SHARE, FEWEST_CONFUSED, FEWEST_READ = 1.0 / 3.0, 2, 4
"""Of all readings: where so many are doubtful, no fault of the list is believed. Of three, two that
doubt each other may be one part's."""
UNCONFUSED = 0.3
"""What all faults of the list together are believed then; a guess, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """A fault with its probability.

    Parameters
    ----------
    fault : Fault or None
        None: none of these.
    probability : float
    severity : float
        Middle of the severities that explain the readings, 0 to 1.
    amount : tuple of float or None
        10 %, 50 % and 90 % point of what the severity means, in the fault's unit.
    """

    fault: Fault | None
    probability: float
    severity: float = 0.5
    amount: tuple[float, float, float] | None = None

    @property
    def key(self) -> str:
        """Such as ``R2 open``."""
        return self.fault.key if self.fault else UNMODELLED

    @property
    def words(self) -> str:
        """What is wrong and what to do about it."""
        if self.fault:
            return self.fault.words
        return "no fault in the list explains these readings: take them again, one at a time"


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Diagnosis:
    """What the readings say.

    Parameters
    ----------
    measured : tuple of Measured
    ranked : tuple of Ranked
        Most probable first; probabilities sum to 1.
    suggestion : Suggestion or None
        None: settled, or nothing left would change the mind.
    conclusion : str
        One sentence.
    indistinguishable : tuple of Ranked
        What is named: one, or what no reading worth its effort would part from it.
    suspects : tuple of Measured
        Readings that disagree with all the others.
    against : tuple of Measured
        Of each suspect, the reading that it goes with least.
    slips : tuple of UnitSlip
        Where readings contradict each other: those that may have been taken in another unit.
    stopped : str
        Why no reading is suggested: ``sure``, ``nothing left``, ``contradiction`` (a reading
        contradicts the answer, and showed the same twice), ``danger``; empty: it is.
    second : bool
        Whether readings tell of a second fault beside what is named.
    rest : Rest or None
        Resistors that have to be high, too, for a row to read as it did; None where a reading is
        in doubt.
    """

    measured: tuple[Measured, ...]
    ranked: tuple[Ranked, ...]
    suggestion: Suggestion | None
    conclusion: str
    indistinguishable: tuple[Ranked, ...] = ()
    suspects: tuple[Measured, ...] = ()
    against: tuple[Measured, ...] = ()
    slips: tuple[UnitSlip, ...] = ()
    stopped: str = ""
    second: bool = False
    rest: Rest | None = None

    def __repr__(self) -> str:
        return f"<Diagnosis: {self.conclusion}>"

    @property
    def named_ratio(self) -> float:
        """Probability that what is named is there, alone or beside a second fault."""
        first = self.indistinguishable[0]
        if len(self.indistinguishable) > 1:
            return sum(r.probability for r in self.indistinguishable)
        return present(self.ranked) if first is self.ranked[0] else first.probability


def diagnose(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    skipped: Collection[Reading] = (),
    progress: Progress | None = None,
    flags: Collection[str] = (),
    known: dict[tuple[Measured, ...], Evidence] | None = None,
) -> Diagnosis:
    """Rank the faults and choose the next reading.

    Parameters
    ----------
    dictionary : FaultDictionary
    measured : sequence of Measured
        Readings taken so far; may be empty. One that shows the same again counts
        more; one that shows something else, beside the first.
    skipped : collection of Reading
        Not to be suggested: the bench cannot take them, nor others at the same points.
    progress : callable, optional
        Told which reading is being predicted.
    flags : collection of str
        What the controller reports: ``sync``, ``fan`` or ``none``; empty: not checked.
    known : dict, optional
        What each fact says, kept for the next diagnosis with the same dictionary.

    Returns
    -------
    diagnosis : Diagnosis
    """
    known = {} if known is None else known
    power, answers = _power_now(measured), len(measured)
    measured = merge_repeats(measured, dictionary.meter)
    dictionary.prepare([m.reading for m in measured], progress)
    weights, none = posterior_weights(dictionary, measured, flags, known)
    ranked = _ranked(dictionary, weights, none, measured)
    alarm = _alarm(dictionary, measured)
    posterior = Posterior(
        weights=weights, member=dictionary.member, unmodelled=none, holds=dictionary.holds,
        measured=tuple(measured),
    )  # fmt: skip
    outliers = _outliers(dictionary, measured, flags, posterior, known)
    suspects = _suspects(outliers)
    if _is_confused(suspects, measured, none):
        posterior = replace(
            posterior, weights=weights * UNCONFUSED / (1.0 - none), unmodelled=1.0 - UNCONFUSED
        )
        ranked = _ranked(dictionary, posterior.weights, posterior.unmodelled, measured)
    alike, suggestion, certain = ranked[:1], None, _certain(ranked)
    proved = _wrong_alone(dictionary, measured, certain)
    if proved:
        ranked = _with_proved(ranked, tuple(proved.values()))
        certain = ranked[0]
    search = Search(
        taken=measured, answers=answers, skipped=skipped, power=power, flags=flags,
        progress=progress, rest=rest_of_row(dictionary, measured),
    )  # fmt: skip
    more = len(proved) == 1 or _is_one_of_two(certain, ranked)
    if certain is not None:
        alike = (certain,)
        suggestion = _beside(dictionary, posterior, certain, search) if more and not alarm else None
    elif not alarm:
        alike, suggestion = _next(dictionary, posterior, ranked, search)
    sure = suggestion is None and (certain is not None or _is_settled(alike, suggestion))
    enough = bool(alarm) or answers >= MOST_READINGS
    if proved:  # the others have another fault to tell of
        suspects = tuple(m for m in suspects if m.reading.lifted in proved)
    again = None if enough else _again(dictionary, posterior, outliers, suspects, skipped)
    if again is None and not enough and measured:
        told = replace(search, settled=sure, open=suggestion is not None)
        again = _first_of_all(dictionary, posterior, outliers, ranked, alike, told)
    twins = _twins(dictionary, ranked, alike, measured) if again is None else ()
    if twins and (sure or sum(r.probability for r in twins) >= NEARLY):
        alone = None if enough else _one_alone(dictionary, twins, measured, skipped)
        again = None if alone is None else at_once(dictionary, posterior, alone)
        alike = (*alike, *(r for r in twins if sure and again is None and r not in alike))
    if again is not None:
        suggestion, sure = again, False
    rest = None if suspects else search.rest
    contradicted = sure and bool(suspects) and not proved
    sure = sure and not contradicted
    second = sure and more
    conclusion = _conclusion(alike, suggestion, sure, dictionary.circuit)
    if certain and second:
        conclusion = _first_of_two(certain)
    if contradicted:
        conclusion = _contradicted(alike[0], suspects, dictionary.circuit)
    return Diagnosis(
        measured=tuple(measured),
        ranked=ranked,
        suggestion=_answered(dictionary, posterior, suggestion, rest, known),
        conclusion=alarm or conclusion,
        indistinguishable=alike,
        suspects=suspects,
        against=tuple(_least_at_one(dictionary, m, measured) for m in suspects),
        slips=unit_slips(dictionary, measured, ranked[0].fault, suspects) if suspects else (),
        stopped=_why_stopped(alarm, suggestion, sure=sure, contradicted=contradicted),
        second=second and not contradicted,
        rest=rest,
    )


def _power_now(measured: Sequence[Measured]) -> Power:
    """State of the board to go on from: dead readings come first, so that a board on which there
    is none yet is unplugged, whatever was read before."""
    states = [m.reading.power for m in measured]
    return states[-1] if Power.DEAD in states else Power.DEAD


def _why_stopped(
    alarm: str, suggestion: Suggestion | None, *, sure: bool, contradicted: bool
) -> str:
    if alarm:
        return "danger"
    if contradicted:
        return "contradiction"
    return "sure" if sure else "" if suggestion else "nothing left"


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """From where the next reading is looked for.

    Parameters
    ----------
    taken : sequence of Measured
    answers : int
        How many, those that showed the same again too.
    skipped : collection of Reading
    power : Power
        State of the board now.
    flags : collection of str
    progress : callable or None
    settled : bool
        Whether what is named is beyond doubt.
    open : bool
        Whether a reading is worth its effort.
    rest : Rest or None
        What a row leaves for resistors that were not read.
    """

    taken: Sequence[Measured]
    answers: int
    skipped: Collection[Reading]
    power: Power
    flags: Collection[str]
    progress: Progress | None = None
    settled: bool = False
    open: bool = False
    rest: Rest | None = None


def _next(
    dictionary: FaultDictionary,
    posterior: Posterior,
    ranked: tuple[Ranked, ...],
    search: Search,
) -> tuple[tuple[Ranked, ...], Suggestion | None]:
    """What is named together, and the next reading; None where nothing would change the mind."""
    taken, progress = {m.reading for m in search.taken}, search.progress
    taken |= {replace(r, function=TWINS[r.function]) for r in taken if r.function in TWINS}
    reached = within_reach(dictionary.readings, search.skipped, dictionary.circuit)
    left = [r for r in reached if r not in taken]
    alike = _together(ranked)
    settled = sum(r.probability for r in alike) >= SURE
    state = (progress, search.power, search.answers)
    suggestion = best_reading(dictionary, posterior, left, *state, settled=settled)
    if suggestion is not None and _looks_alike(suggestion):
        now, wanted = suggestion.reading, suggestion.reading.power
        rest = [r for r in left if r != now and r.power is wanted]
        other = best_reading(dictionary, posterior, rest, *state, settled=settled)
        suggestion = suggestion if other is None or _looks_alike(other) else other
    if suggestion is None and len(alike) > 1 and not settled:
        # none of them alone, but all of them together may be settled
        group = [dictionary.faults.index(r.fault) for r in alike if r.fault]
        joined = replace(posterior, holds=together(posterior.holds, group))
        suggestion = best_reading(dictionary, joined, left, *state)
    return (alike if suggestion is None else ranked[:1]), suggestion


def _looks_alike(suggestion: Suggestion) -> bool:
    """Whether all that is still likely shows what a good board may show: only how far within that
    it is would tell."""
    return len(suggestion.answers) == 1 and not suggestion.answers[0].jumps


def _beside(
    dictionary: FaultDictionary, posterior: Posterior, certain: Ranked, search: Search
) -> Suggestion | None:
    """The next reading for what else is wrong, where one fault does not explain the board: one that
    is at hand, as the part has to be replaced whatever it shows. None where nothing listed does."""
    if posterior.unmodelled > SUSPECT:
        return None
    assert certain.fault is not None
    known = {certain.fault.repair}
    rests = [frozenset(f.also or (answer_of(f),)) - known for f in dictionary.faults]
    number = {rest: k for k, rest in enumerate(rests)}
    code = np.array([number[rest] for rest in rests])
    apart = replace(posterior, holds=sparse((code[:, None] == code).astype(np.float64)))
    taken = {m.reading for m in search.taken}
    left = [
        r for r in within_reach(dictionary.readings, search.skipped, dictionary.circuit)
        if r not in taken and r.power is search.power and not r.lifted
    ]  # fmt: skip
    return best_reading(dictionary, apart, left, search.progress, search.power, search.answers)


def _first_of_all(
    dictionary: FaultDictionary,
    posterior: Posterior,
    outliers: Sequence[Outlier],
    ranked: Sequence[Ranked],
    named: Sequence[Ranked],
    search: Search,
) -> Suggestion | None:
    """A reading that is due before an answer is given, whatever it is worth."""
    result = None
    at = (dictionary, posterior, named, search.taken, search.skipped)
    if search.settled or not search.open:
        result = _of_the_rest(dictionary, posterior, search.rest, search.skipped)
    if result is None and not search.open and not search.settled and present(ranked) >= NEARLY:
        result = _by_itself(dictionary, posterior, ranked[:1], search.taken, search.skipped)
    if result is None and not search.settled:
        result = _alone_again(dictionary, posterior, outliers, ranked, search.skipped)
    if result is None and search.settled:
        result = _by_itself(*at) or _unexplained(*at)
    if result is None and (search.settled or not search.open):
        result = _level_again(dictionary, posterior, outliers, named, search.skipped)
    cracked = bool(ranked[0].fault and ranked[0].fault.joint)
    if result is None and (cracked or not search.open):
        doubted = None if search.settled else ranked
        result = _to_confirm(dictionary, posterior, outliers, doubted, search.skipped)
    if result is None and not search.open:
        result = _over_a_joint(*at)
    if result is None and search.flags and not search.open:
        result = _at_load(*at, fan=FAN in search.flags)
    return result


def choices(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    skipped: Collection[Reading] = (),
    flags: Collection[str] = (),
) -> tuple[Choice, ...]:
    """Readings that could be taken next without lifting a part, the best first."""
    measured = merge_repeats(measured, dictionary.meter)
    weights, none = posterior_weights(dictionary, measured, flags)
    posterior = Posterior(
        weights=weights, member=dictionary.member, unmodelled=none, holds=dictionary.holds
    )
    taken = {m.reading for m in measured}
    reached = within_reach(dictionary.readings, skipped, dictionary.circuit)
    return choices_of(
        dictionary, posterior, [r for r in reached if r not in taken and not r.lifted]
    )


def posterior_weights(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    flags: Collection[str] = (),
    known: dict[tuple[Measured, ...], Evidence] | None = None,
) -> tuple[FloatArray, float]:
    """Weight of every entry and sample, shape (E, N), and of none of these; they sum to 1.

    `known` keeps what each fact says, for the next time.
    """
    known = {} if known is None else known
    spread = (
        np.bincount(dictionary.member)[dictionary.member]
        * dictionary.severity.shape[1]
        * len(BREADTHS)
    )
    prior = np.log(dictionary.shares[dictionary.member] / spread)[:, None] + np.log(
        dictionary.flags(flags)
    )
    log_weight = np.broadcast_to(prior, (len(BREADTHS), *dictionary.severity.shape))
    # none of these: some resemble nothing, some a fault that is listed, but for a few facts
    missing = np.log1p(-dictionary.shares.sum()) + np.log(no_fault_share(flags))
    log_flat = np.log1p(-NEAR_SHARE)
    log_near = prior + np.log(NEAR_SHARE * len(BREADTHS) / dictionary.shares.sum())
    for _, (told, near, flat) in _told(dictionary, measured, known):
        log_weight, log_near, log_flat = log_weight + told, log_near + near, log_flat + flat
    log_none = missing + np.logaddexp(log_flat, np.logaddexp.reduce(log_near, axis=None))
    top = max(float(log_weight.max()), float(log_none))
    weights, none = np.exp(log_weight - top).sum(axis=0), float(np.exp(log_none - top))
    total = float(weights.sum()) + none
    return weights / total, none / total


def _told(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    known: dict[tuple[Measured, ...], Evidence],
) -> Iterator[tuple[list[Measured], Evidence]]:
    """Each fact, and what it says after those before it."""
    facts = _facts(summed_up(dictionary.circuit, measured))
    for number, fact in enumerate(facts):
        like = _like(dictionary.circuit, fact, facts[:number])
        key = (*fact, like) if like else tuple(fact)
        if key not in known:
            known[key] = _evidence(dictionary, fact, like)
        yield fact, known[key]


def _like(
    circuit: Circuit, fact: Sequence[Measured], earlier: Sequence[list[Measured]]
) -> Measured | None:
    """A reading of the same witness before it, where both showed a number."""
    if not _is_number(fact[0]):
        return None
    numbers = (m for m, *_ in earlier if _is_number(m))
    return next((m for m in numbers if same_witness(circuit, m.reading, fact[0].reading)), None)


def _is_number(measured: Measured) -> bool:
    return measured.exact and not measured.about and isfinite(measured.value)


def _evidence(
    dictionary: FaultDictionary, fact: Sequence[Measured], like: Measured | None = None
) -> Evidence:
    """What readings that show one fact say of every entry and sample.

    After one that is `like` it, it is a witness of its own or the same once more, as likely.
    """
    fits = [(dictionary.fit(m.reading), m) for m in fact]
    good, flat = zip(*(fact_log(fits, breadth) for breadth in BREADTHS), strict=True)
    if like is not None:
        same = fits[0][0].beside(fact[0], dictionary.fit(like.reading), like)
        log_same = np.log(np.maximum(same, MIN_DENSITY))
        good = tuple(np.logaddexp(log_good, log_same) - np.log(2.0) for log_good in good)
    told = partly_wrong(np.stack(good), flat[0], outlier_share(fact))
    return told, partly_wrong(good[0], flat[0], UNLIKE_SHARE), flat[0]


def _facts(measured: Sequence[Measured]) -> list[list[Measured]]:
    """Readings by the fact they show: those of the same pulses together, others alone."""
    others: list[list[Measured]] = []
    pulses: dict[Power, list[Measured]] = {}
    for m in measured:
        same = pulses.setdefault(m.reading.power, []) if m.reading.at_pin else None
        if same is None or any(m.reading == other.reading for other in same):
            others.append([m])
        else:
            same.append(m)
    return [*others, *(fact for fact in pulses.values() if fact)]


def _ranked(
    dictionary: FaultDictionary, weights: FloatArray, none: float, measured: Sequence[Measured]
) -> tuple[Ranked, ...]:
    """Faults with their probabilities, most probable first."""
    result = [Ranked(fault=None, probability=none)]
    shares = dictionary.sums(weights).tolist()
    for number, (fault, share) in enumerate(zip(dictionary.faults, shares, strict=True)):
        if fault.amount is None:
            result.append(Ranked(fault=fault, probability=share))
            continue
        low, middle, high = UNKNOWN_SIZE
        if share >= MIN_SIZED:
            low, middle, high = severity_points(dictionary, number, weights, measured)
        amount = fault.amount(np.array([low, middle, high]))
        result.append(
            Ranked(
                fault=fault,
                probability=share,
                severity=middle,
                amount=(float(amount[0]), float(amount[1]), float(amount[2])),
            )
        )
    return tuple(sorted(result, key=lambda r: -r.probability))


def present(ranked: Sequence[Ranked]) -> float:
    """Probability that the first of the ranking is there: alone, with a second, now and then."""
    first = ranked[0]
    return sum(r.probability for r in ranked if one_repair(first, r) or _has(r, first))


@dataclass(frozen=True, slots=True)
class Standing:
    """What is to be replaced or looked at: all of its rows in a ranking, alone and with a second.

    Parameters
    ----------
    repair : str
        As `Fault.repair`; `UNMODELLED` for none of the faults.
    rows : tuple of Ranked
        Likeliest first.
    """

    repair: str
    rows: tuple[Ranked, ...]

    @property
    def probability(self) -> float:
        """Of all the rows."""
        return sum(r.probability for r in self.rows)

    @property
    def needs_second(self) -> bool:
        """Whether a second fault is likelier than this alone."""
        pairs = sum(r.probability for r in self.rows if r.fault and r.fault.members)
        return pairs > 0.5 * self.probability

    @property
    def keys(self) -> tuple[str, ...]:
        """Its likeliest faults, such as ``R1 drift``, each with its rows of two."""
        shares: dict[str, float] = {}
        for r in self.rows:
            key = next(key for repair, key in repairs_of(r) if repair == self.repair)
            shares[key] = shares.get(key, 0.0) + r.probability
        most = max(shares.values())
        likely = [key for key in shares if shares[key] > 0.5 * most]
        return tuple(sorted(likely, key=lambda key: -shares[key]))


def standings(ranked: Sequence[Ranked]) -> Iterator[Standing]:
    """A ranking by what is to be done, likeliest first; two faults count for the likelier part."""
    left = list(ranked)
    while left:
        shares: dict[str, float] = {}
        for r in left:
            for repair, _ in repairs_of(r):
                shares[repair] = shares.get(repair, 0.0) + r.probability
        first = max(shares, key=lambda repair: shares[repair])
        yield Standing(first, tuple(r for r in left if first in dict(repairs_of(r))))
        left = [r for r in left if first not in dict(repairs_of(r))]


def repairs_of(ranked: Ranked) -> tuple[tuple[str, str], ...]:
    """What is to be done about a row, and the key of the fault; each of two faults by itself."""
    if ranked.fault is None:
        return ((UNMODELLED, UNMODELLED),)
    keys = ranked.fault.members or (ranked.key,)
    return tuple(zip(ranked.fault.also or (ranked.fault.repair,), keys, strict=True))


def _certain(ranked: Sequence[Ranked]) -> Ranked | None:
    """What is there beyond doubt; None: nothing is."""
    first = ranked[0]
    if first.fault is None or (there := present(ranked)) < SURE:
        return in_any_case(ranked)
    # a part is turned round only where nothing else of it may be bad; a new one mends either
    bad = [r for r in ranked if one_repair(first, r) and r.fault and r.fault.mode != "reversed"]
    if first.fault.mode == "reversed" and bad and first.probability < NEARLY * there:
        return replace(bad[0], probability=there)
    return first


def _is_one_of_two(certain: Ranked | None, ranked: Sequence[Ranked]) -> bool:
    """Whether a second fault is likelier beside what is certain than none."""
    first = ranked[0].fault
    return certain is not None and certain is not ranked[0] and bool(first and first.members)


def in_any_case(ranked: Sequence[Ranked]) -> Ranked | None:
    """What is there whatever else is, with the chance of that: one of two faults, or a part that
    does not work now and then, or not at all."""
    first = ranked[0].fault
    held = [r for r in ranked if r.fault and first and includes(first, r.fault)]
    for single in held:
        there = sum(r.probability for r in ranked if one_repair(single, r) or _has(r, single))
        if there >= SURE:
            return replace(single, probability=there)
    return None


def one_repair(first: Ranked, second: Ranked) -> bool:
    """Whether the same new part mends two faults, or they are one."""
    if first.fault is None or second.fault is None:
        return first.fault is second.fault
    return same_repair(first.fault, second.fault)


def _has(ranked: Ranked, other: Ranked) -> bool:
    """Whether one fault is there where another is: in a pair, or now and then."""
    if ranked.fault is None or other.fault is None:
        return False
    return includes(ranked.fault, other.fault)


def _joints_beside(named: Joint, ranked: Sequence[Ranked]) -> Iterator[Ranked]:
    """An open joint and those at the other ends of its parts, but for what is ruled out: volts
    alone part them, and ohms along either track say more."""
    parts = {ref for ref, _ in named.over}
    for r in ranked:
        joint = r.fault.joint if r.fault else None
        if joint and r.probability >= RULED_OUT and parts & {ref for ref, _ in joint.over}:
            yield r


def _together(ranked: Sequence[Ranked]) -> tuple[Ranked, ...]:
    """The first of the ranking and those after it, until one of them is it.

    A good board has no joint named that nothing has shown to be loose; nor is the first named once
    more with a second fault.
    """
    likely: list[tuple[str, Ranked]] = []
    for r in ranked:
        if r.fault is None or r.probability < MIN_TOGETHER:
            break
        with_second = bool(r.fault.members) and r is not ranked[0] and _has(r, ranked[0])
        if not with_second and (ranked[0].fault is not HEALTHY or r.fault.mode != LOOSE_MODE):
            likely.append((answer_of(r.fault), r))
    shares: dict[str, float] = {}
    for answer, r in likely:
        shares[answer] = shares.get(answer, 0.0) + r.probability
    most = max(shares.values(), default=0.0)
    answers = [answer for answer, share in shares.items() if share >= MIN_BESIDE * most]
    named: list[Ranked] = []
    for answer, r in likely:
        if answer in answers[:MOST_TOGETHER] and sum(n.probability for n in named) < SURE:
            named.append(r)
    return tuple(named) or (ranked[0],)


def _is_settled(alike: Sequence[Ranked], suggestion: Suggestion | None) -> bool:
    """Whether nothing is asked any more, and what is named is beyond doubt."""
    share = sum(r.probability for r in alike)
    return suggestion is None and alike[0].fault is not None and share >= SURE


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """Readings that show one fact, and whether they are plainly wrong.

    Parameters
    ----------
    fact : list of Measured
    outlier : ndarray, shape (E, N)
        Chance of that, if the fault is that one.
    probability : float
        By what is believed now; where that is none of these, whether the others could be believed
        without it.
    once : bool
        Taken once only.
    """

    fact: list[Measured]
    outlier: FloatArray
    probability: float
    once: bool


def _outliers(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    flags: Collection[str],
    posterior: Posterior,
    known: dict[tuple[Measured, ...], Evidence],
) -> tuple[Outlier, ...]:
    """Of each fact, how likely it is wrong, if a sample stands for as much as it does to the
    others."""
    each = list(_told(dictionary, measured, known))
    result = []
    for fact, (told, _, flat) in each:
        density = np.exp(told).mean(axis=0)
        outlier = outlier_share(fact) * np.exp(flat) / density
        for m in fact:
            # what jumps is explained by a joint that does it, by pulses near a limit, or by nothing
            if m.unstable:
                outlier = np.maximum(outlier, dictionary.fit(m.reading).jump_share == 0.0)
        probability = float(np.sum(outlier * posterior.weights) / (1.0 - posterior.unmodelled))
        if posterior.unmodelled > SUSPECT:
            others = [m for other, _ in each if other is not fact for m in other]
            probability = 1.0 - posterior_weights(dictionary, others, flags, known)[1]
        reading = fact[0].reading
        once = not fact[0].repeated and sum(m.reading == reading for m in measured) == 1
        result.append(Outlier(fact=fact, outlier=outlier, probability=probability, once=once))
    return tuple(result)


def _suspects(outliers: Sequence[Outlier]) -> tuple[Measured, ...]:
    """Readings that what is believed now takes for slips, or that alone stand against it."""
    if len(outliers) < FEWEST_FACTS:
        return ()
    return tuple(m for outlier in outliers if outlier.probability > SUSPECT for m in outlier.fact)


def _is_confused(
    suspects: Collection[Measured], measured: Collection[Measured], none: float
) -> bool:
    """Whether so many readings are doubtful that the list explains hardly more than it denies."""
    enough = max(FEWEST_CONFUSED, CONFUSED_SHARE * len(measured))
    doubtful = len(measured) >= FEWEST_READ and len(suspects) >= enough
    return doubtful and none < 1.0 - UNCONFUSED


def _least_at_one(
    dictionary: FaultDictionary, suspect: Measured, measured: Sequence[Measured]
) -> Measured:
    """The reading that a suspect goes with least: together unlikelier than each by itself."""
    prior, _ = posterior_weights(dictionary, ())

    def density(m: Measured) -> FloatArray:
        return np.exp(partly_wrong(*fact_log([(dictionary.fit(m.reading), m)]), outlier_share([m])))

    own = density(suspect)

    def together(other: Measured) -> float:
        theirs = density(other)
        return float(np.sum(prior * own * theirs) / np.sum(prior * theirs))

    return min((m for m in measured if m is not suspect), key=together)


def _may_be_taken_again(
    dictionary: FaultDictionary, outlier: Outlier, skipped: Collection[Reading]
) -> bool:
    """Whether a doubtful reading has been taken once only, and can be taken."""
    first = outlier.fact[0]
    once = len(outlier.fact) == 1 and outlier.once and not first.unstable
    return once and bool(within_reach([first.reading], skipped, dictionary.circuit))


def _again(
    dictionary: FaultDictionary,
    posterior: Posterior,
    outliers: Sequence[Outlier],
    suspects: Collection[Measured],
    skipped: Collection[Reading],
) -> Suggestion | None:
    """To take first of all what contradicts all others again; a part alone, where it stays so.

    The leads are still there; and whatever is read next is judged by what is believed of this one,
    so that nothing counts as settled before.
    """
    for outlier in outliers:
        if outlier.fact[0] not in suspects:
            continue
        if _may_be_taken_again(dictionary, outlier, skipped):
            return once_more(dictionary, posterior, outlier.fact[0], outlier.outlier)
        alone = _with_one_end_lifted(dictionary, outlier.fact[0].reading)
        taken = {m.reading for o in outliers for m in o.fact}
        if alone is None or alone in taken:
            continue
        if within_reach([alone], skipped, dictionary.circuit):
            return at_once(dictionary, posterior, alone)
    return None


def _over_a_joint(
    dictionary: FaultDictionary,
    posterior: Posterior,
    named: Sequence[Ranked],
    measured: Sequence[Measured],
    skipped: Collection[Reading],
) -> Suggestion | None:
    """Of several joints that may be open: ohms over the two resistors that one of them joins."""
    joints = [r.fault.joint for r in named if r.fault and r.fault.joint and not r.fault.joint.pole]
    if len(joints) < 2 or len(joints) < len(named):
        return None
    circuit, taken = (
        dictionary.circuit,
        {frozenset((m.reading.red, m.reading.black)) for m in measured},
    )
    for joint in joints:
        parts = [circuit[ref] for ref, _ in joint.over]
        if not all(isinstance(part, Resistance) for part in parts):
            continue
        red, black = (next(n for n in part.nodes if n != joint.node) for part in parts)
        reading = Reading(function=Function.OHM, red=red, black=black)
        if frozenset((red, black)) not in taken and within_reach([reading], skipped, circuit):
            return at_once(dictionary, posterior, reading)
    return None


def _of_the_rest(
    dictionary: FaultDictionary,
    posterior: Posterior,
    rest: Rest | None,
    skipped: Collection[Reading],
) -> Suggestion | None:
    """To read the resistor for which a row leaves more than it has, whatever else is bad."""
    for ref in () if rest is None else rest.refs:
        reading = over(dictionary.circuit, ref)
        if reading in dictionary.readings and within_reach([reading], skipped, dictionary.circuit):
            return at_once(dictionary, posterior, reading)
    return None


def _alone_again(
    dictionary: FaultDictionary,
    posterior: Posterior,
    outliers: Sequence[Outlier],
    ranked: Sequence[Ranked],
    skipped: Collection[Reading],
) -> Suggestion | None:
    """To take what a part alone reads wrong once more, where it is not the part that is likeliest:
    what stays so is bad, whatever else the board has."""
    for outlier in outliers:
        m = outlier.fact[0]
        own = [k for k, f in enumerate(dictionary.faults) if f.part == m.reading.lifted]
        own = [k for k in own if not dictionary.faults[k].states]
        first = ranked[0].fault
        keys = (first.key, *first.members) if first else ()
        named = any(key.startswith(f"{m.reading.lifted} ") for key in keys)
        if not (m.reading.lifted and own and outlier.once) or m.unstable or named:
            continue
        wrong, _ = _wrong_by(dictionary, own, [m])
        if wrong >= SUSPECT and within_reach([m.reading], skipped, dictionary.circuit):
            return once_more(dictionary, posterior, m, outlier.outlier)
    return None


def _to_confirm(
    dictionary: FaultDictionary,
    posterior: Posterior,
    outliers: Sequence[Outlier],
    ranked: Sequence[Ranked] | None,
    skipped: Collection[Reading],
) -> Suggestion | None:
    """To take a reading that decides once more: the only one; where it is not sure (`ranked`), that
    over what nearly is, or of an open joint, whose parts read good alone, that over both. A slip
    shows by that."""
    circuit, first = dictionary.circuit, ranked[0].fault if ranked else None
    ends: tuple[str, ...] = ()
    if ranked and first is not None and present(ranked) >= NEARLY:
        ends = tuple(circuit.node(point) for point in _own_points(dictionary, first) or ())
    for outlier in outliers:
        read = outlier.fact[0].reading
        joint = first.joint if first else None
        parts = {of_leads(ref) for ref in parts_read(circuit, read)}
        over_joint = joint and not joint.pole and parts >= {ref for ref, _ in joint.over}
        turned = read.function is Function.DIODE and (read.black, read.red) == ends
        over_it = _ends(read, circuit) == frozenset(ends) and not turned
        decides = len(outliers) == 1 or over_joint or over_it
        may = decides and outlier.once and not read.lifted
        if may and within_reach([read], skipped, circuit):
            return once_more(dictionary, posterior, outlier.fact[0], outlier.outlier)
    return None


def _answered(
    dictionary: FaultDictionary,
    posterior: Posterior,
    suggestion: Suggestion | None,
    rest: Rest | None,
    known: dict[tuple[Measured, ...], Evidence],
) -> Suggestion | None:
    """The next reading, its answers explained by what the readings before leave."""
    if suggestion is None:
        return None
    doubted = _by_a_slip(dictionary, posterior.measured, known)
    told = without(dictionary, suggestion, posterior, doubted)
    told = within_rows(told, posterior.measured, dictionary.circuit)
    return of_rest(dictionary, told, rest)


def _by_a_slip(
    dictionary: FaultDictionary,
    measured: Sequence[Measured],
    known: dict[tuple[Measured, ...], Evidence],
) -> frozenset[str]:
    """Faults that fit only if a reading was a slip: an open part that has shown a value, or none
    of a row that reads too high."""
    doubted: set[str] = set()
    for m in measured:
        if (m,) not in known:
            known[m,] = _evidence(dictionary, [m])
        told, _, flat = known[m,]
        least = np.log(outlier_share([m])) + flat + np.log(BY_A_SLIP)
        fits = told.max(axis=(0, 2)) > least
        number = len(dictionary.faults)
        fitting = np.bincount(dictionary.member, weights=fits, minlength=number) > 0.0
        doubted |= {dictionary.faults[k].key for k in np.flatnonzero(~fitting)}
        doubted |= cannot_raise(dictionary, m)
    return frozenset(doubted)


def _twins(
    dictionary: FaultDictionary,
    ranked: Sequence[Ranked],
    named: Sequence[Ranked],
    measured: Sequence[Measured],
) -> tuple[Ranked, ...]:
    """What is named and what shows the same unless an end is lifted, where that did not part them;
    of an open joint those beside it.

    A leak beside a part, or in it, or a part of a lower value: the samples of one may fit a little
    better by chance.
    """
    fault = named[0].fault
    if len(named) == 1 and fault is not None and fault.joint is not None:
        return tuple(_joints_beside(fault.joint, ranked))
    if len(named) > 1 or fault is None or not fault.across:
        return ()
    lifted = (m for m in measured if m.reading.lifted)
    alone = [m for m in lifted if _ends(m.reading, dictionary.circuit) == fault.across]
    fits = np.exp(sum((_evidence(dictionary, [m])[0] for m in alone), np.zeros(1)))

    def shows(other: Fault) -> float:
        """How well it explains what was read with an end lifted."""
        rows = dictionary.member == dictionary.faults.index(other)
        return float(fits[:, rows].mean()) if alone else 1.0

    same = tuple(
        r for r in ranked
        if r.fault and r.fault.across == fault.across
        and shows(r.fault) >= UNLIKELIER * shows(fault)
    )  # fmt: skip
    parted = len({r.fault.repair for r in same if r.fault}) > 1
    return same if parted else ()


def _ends(reading: Reading, circuit: Circuit) -> frozenset[str]:
    """The two nodes of a reading, by the names that the parts there have for them."""
    return frozenset(circuit.node(node) for node in (reading.red, reading.black))


def _unexplained(
    dictionary: FaultDictionary,
    posterior: Posterior,
    named: Sequence[Ranked],
    measured: Sequence[Measured],
    skipped: Collection[Reading],
) -> Suggestion | None:
    """To read a part alone that read wrong in the circuit, where what is named does not say why,
    and would not stay the answer whatever that shows."""
    here = [k for k, f in enumerate(dictionary.faults) if any(f is r.fault for r in named)]
    if not here:
        return None
    weights = posterior.weights * np.isin(dictionary.member, here)[:, None]
    for m in measured:
        alone = _with_one_end_lifted(dictionary, m.reading)
        if alone is None or any(other.reading == alone for other in measured):
            continue
        if any(f"{alone.lifted} " in f"{r.key} " for r in named):  # of two faults it is one
            continue
        told = np.exp(_evidence(dictionary, [m])[0]).mean(axis=0)
        as_named = float((told * weights).sum() / weights.sum())
        own = [k for k, f in enumerate(dictionary.faults) if f.part == alone.lifted]
        most = max((float(told[dictionary.member == k].mean()) for k in own), default=0.0)
        if most <= UNEXPLAINED * as_named:
            continue
        changes = expected(dictionary.spectrum(alone), posterior).rise > MIN_BEARING
        if changes and within_reach([alone], skipped, dictionary.circuit):
            return at_once(dictionary, posterior, alone)
    return None


def _level_again(
    dictionary: FaultDictionary,
    posterior: Posterior,
    outliers: Sequence[Outlier],
    named: Sequence[Ranked],
    skipped: Collection[Reading],
) -> Suggestion | None:
    """To read the level at the pin once more before the transistor is named for it, or a board good
    of which something jumped: the rest was read at another moment, and a joint that opens now and
    then may have been sound, or open, in that one only."""
    fault = named[0].fault
    if fault is None:
        return None
    read = [m for outlier in outliers for m in outlier.fact]
    jumped = answer_of(fault) == HEALTHY.key and any(m.unstable for m in read)
    if not (jumped or (fault.kind, fault.mode) == ("phototransistor", "open")):
        return None
    at_pin = [m for m in read if m.reading.over_pin and m.reading.power is Power.LIVE]
    levels = [m for m in at_pin if m.reading.function is Function.DC]
    once = len(levels) == 1 and not (levels[0].repeated or levels[0].unstable)
    if not once or not within_reach([levels[0].reading], skipped, dictionary.circuit):
        return None
    outlier = next(outlier.outlier for outlier in outliers if levels[0] in outlier.fact)
    return once_more(dictionary, posterior, levels[0], outlier)


def _at_load(
    dictionary: FaultDictionary,
    posterior: Posterior,
    named: Sequence[Ranked],
    measured: Sequence[Measured],
    skipped: Collection[Reading],
    *,
    fan: bool,
) -> Suggestion | None:
    """To read the mains that the load has before a good sync circuit is named while the controller
    reports something: pulses come at half the mains too. Behind a contact only while the fan does
    not turn: through a burnt one come pulses, but nothing that a load runs on."""
    if not any(r.fault and answer_of(r.fault) == HEALTHY.key for r in named):
        return None
    live = [r for r in dictionary.readings if r.function.row.ac_kind is not None]
    direct = Reading(function=Function.AC, red="line", black="neutral")
    behind = [r for r in live if is_behind_contact(r)]
    at_load = behind * fan or [r for r in live if r == direct and not behind]
    if any(m.reading in at_load for m in measured):
        return None
    left = within_reach(at_load, skipped, dictionary.circuit)
    return at_once(dictionary, posterior, left[0]) if left else None


OWN_POINTS = {"mains": ("line", "neutral"), "supply": ("logic+", "logic0")}
"""Where the volts of a supply are read."""


def _by_itself(
    dictionary: FaultDictionary,
    posterior: Posterior,
    named: Sequence[Ranked],
    measured: Sequence[Measured],
    skipped: Collection[Reading],
) -> Suggestion | None:
    """To read what is named by itself, where it was only concluded from what others showed.

    The neighbours of a cracked joint may have read well by chance.
    """
    fault = named[0].fault
    if len(named) > 1 or fault is None or fault.states or fault.members:
        return None
    if (points := _own_points(dictionary, fault)) is None:
        return None
    method = (
        Method.JUNCTION
        if fault.kind in ("diode", "led")
        else (Method.OHMS if fault.kind == "resistor" else Method.VOLTS)
    )
    ends = tuple(dictionary.circuit.node(p) for p in points)

    def over_it(reading: Reading) -> bool:
        probes = tuple(dictionary.circuit.node(p) for p in (reading.red, reading.black))
        turned = probes == ends[::-1] and reading.function.row.method is not Method.JUNCTION
        return probes == ends or turned

    if any(over_it(m.reading) for m in measured):
        return None
    own = [
        r for r in dictionary.readings
        if over_it(r) and not r.lifted and r.function.row.method is method
    ]  # fmt: skip
    own = within_reach(own, skipped, dictionary.circuit)
    return at_once(dictionary, posterior, own[0]) if own else None


def _own_points(dictionary: FaultDictionary, fault: Fault) -> tuple[str, ...] | None:
    """Where what is named can be read by itself; None where it cannot, or need not be."""
    if fault.kind == "resistor":
        return dictionary.circuit[fault.part].nodes
    if fault.mode == "low":
        return OWN_POINTS.get(fault.part)
    ref = fault.part.replace(" second LED", ".led2").replace(" LED", ".led")
    ref = ref.replace(" base-emitter", ".be")
    alone = fault.kind in ("diode", "led") and ref in dictionary.circuit
    if fault.mode == "open" and alone and not diode_of_bridge(ref)[1]:
        return dictionary.circuit[ref].nodes
    return None


def _wrong_alone(
    dictionary: FaultDictionary, measured: Sequence[Measured], certain: Ranked | None
) -> dict[str, Ranked]:
    """What is wrong with parts that read so with an end lifted, whatever else is; by part.

    Without what is certain already.
    """
    result: dict[str, Ranked] = {}
    for m in measured:
        own = [
            k for k, f in enumerate(dictionary.faults)
            if f.part == m.reading.lifted and not f.states
        ]  # fmt: skip
        if m.unstable or not m.reading.lifted or not own:
            continue
        points = {m.reading.red, m.reading.black}
        over = [each for each in measured if {each.reading.red, each.reading.black} == points]
        here = [each for each in over if each.reading.power is Power.DEAD and not each.unstable]
        # in the circuit it may read otherwise for a second fault
        (alone, only), (likely, fault) = (_wrong_by(dictionary, own, by) for by in ([m], here))
        if alone < 0.5:  # a good part: what else is read there is of another
            continue
        likely, fault = (alone, only) if alone > likely else (likely, fault)
        there = certain.fault if certain else None
        if likely >= SURE and not (there and fault.repair in (there.repair, *there.also)):
            result[fault.part] = Ranked(fault=fault, probability=likely)
    return result


def _wrong_by(
    dictionary: FaultDictionary, own: Sequence[int], measured: Sequence[Measured]
) -> tuple[float, Fault]:
    """How likely one of some faults is there, and not a good board; which of them first."""
    told = np.sum([_evidence(dictionary, [each])[0] for each in measured], axis=0)
    fits = [float(np.exp(told[:, dictionary.member == k]).mean()) for k in (GOOD_BOARD, *own)]
    shares = dictionary.shares[own]
    wrong = shares * fits[1:]
    likely = float(wrong.sum() / (wrong.sum() + (1.0 - shares.sum()) * fits[0]))
    return likely, dictionary.faults[own[int(wrong.argmax())]]


def _with_proved(ranked: Sequence[Ranked], wrong: Sequence[Ranked]) -> tuple[Ranked, ...]:
    """The ranking with what is proved first."""
    faults = [r.fault for r in wrong if r.fault][:2]
    fault = pair_of(*faults) if len(faults) == 2 else faults[0]
    share = float(np.prod([r.probability for r in wrong[:2]]))
    rest = [r for r in ranked if r.key != fault.key]
    left = (1.0 - share) / sum(r.probability for r in rest)
    return (
        Ranked(fault=fault, probability=share),
        *(replace(r, probability=left * r.probability) for r in rest),
    )


def _one_alone(
    dictionary: FaultDictionary,
    twins: Sequence[Ranked],
    measured: Sequence[Measured],
    skipped: Collection[Reading],
) -> Reading | None:
    """Ohms over a leak with an end of a part there lifted, one with two leads first; None where
    none is left that can be taken."""
    across, circuit = {r.fault.across for r in twins if r.fault}, dictionary.circuit
    taken = {m.reading for m in measured}
    ohms = (r for r in dictionary.readings if r.lifted and r.function is Function.OHM)
    parts = [r for r in ohms if _ends(r, circuit) in across and r not in taken]
    parts.sort(key=lambda r: ".led" in r.lifted)
    return next(iter(within_reach(parts, skipped, circuit)), None)


def _with_one_end_lifted(dictionary: FaultDictionary, reading: Reading) -> Reading | None:
    """A dead test over a part, with that part alone; None where there is none."""
    return next(
        (
            r
            for r in dictionary.readings
            if r.lifted and replace(r, lifted="") == reading and not reading.lifted
        ),
        None,
    )


def _alarm(dictionary: FaultDictionary, measured: Sequence[Measured]) -> str:
    """Words to stop the work, if the isolated side is not what its name says."""
    relay = dictionary.board.relay
    highest = max(
        dictionary.board.output.supply_v, relay.coil_supply_v if relay is not None else 0.0
    )
    most = max(DANGER_FACTOR * highest, MIN_DANGER_V)
    for m in measured:
        name = reading_text(m.reading, dictionary.circuit)
        isolated = access_level(dictionary.circuit, m.reading) in (
            AccessLevel.BENCH,
            AccessLevel.ISOLATED,
        )
        # the voltage nearest to none that a range or a bound allows
        least = m.value if m.low is None or m.high is None else max(m.low, min(0.0, m.high))
        if m.reading.function.row.volts and isolated and abs(least) > most:
            return (
                f"STOP, unplug: {name} shows {abs(m.value):.3g} V where no more than "
                f"{most:.3g} V can be; either the isolation is broken and the isolated side is "
                "live, or a probe is on the mains side"
            )
    return ""


def _contradicted(first: Ranked, suspects: Sequence[Measured], circuit: Circuit) -> str:
    names = "; ".join(reading_text(m.reading, circuit) for m in suspects)
    return f"not settled: {names} contradicts the other readings; most likely {first.words}"


def _first_of_two(certain: Ranked) -> str:
    return f"{certain.words}; there may be a second fault: repair this one, then measure again"


def together_names(alike: Sequence[Ranked]) -> tuple[str, ...]:
    """What is named together, each answer once."""
    names: dict[str, str] = {}
    for r in alike:
        answer = UNMODELLED if r.fault is None else answer_of(r.fault)
        name = GOOD_CIRCUIT if answer == HEALTHY.key else r.key
        names[answer] = answer if answer in names and name != GOOD_CIRCUIT else name
    return tuple(names.values())


def _conclusion(
    alike: Sequence[Ranked], suggestion: Suggestion | None, sure: bool, circuit: Circuit
) -> str:
    """One sentence on where the diagnosis stands."""
    first = alike[0]
    names = together_names(alike)
    if suggestion is None and names == (GOOD_CIRCUIT,):
        reported = [r.words for r in alike if r.fault and r.fault.reports]
        return first.words if first.fault is HEALTHY else "; or ".join(reported)
    if len(alike) > 1 and suggestion is None:
        listed = ", ".join(names)
        return (
            f"one of these, which no reading worth its effort tells apart: {listed}; {first.words}"
        )
    if sure:
        return first.words
    if suggestion is not None and suggestion.again is not None:
        return (
            f"not settled yet; take one reading again: {reading_text(suggestion.reading, circuit)}"
        )
    if suggestion is None:
        return (
            f"nothing left to measure would tell these apart; start with the first: {first.words}"
        )
    return f"not settled yet; next reading: {reading_text(suggestion.reading, circuit)}"
