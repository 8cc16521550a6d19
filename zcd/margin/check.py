"""The verdict: every rule with its value, its limit and where the limit comes from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import nan
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.board.parts_library import odd_values
from zcd.board.pins import switching_levels
from zcd.board.units import format_si
from zcd.circuit.build import Conditions, build_circuit, input_refs
from zcd.circuit.elements import stack
from zcd.engine.solution import Solution
from zcd.logs import logger
from zcd.margin.as_new import Repair
from zcd.margin.headroom import Headroom, headrooms_beside, weak_conditions, weakenings
from zcd.margin.lifetime import Life, life_of
from zcd.margin.rules import (
    DUTY,
    RESERVE,
    SYNC,
    Kind,
    Rule,
    SourceKind,
    Status,
    limit_rule,
    without_number,
    worst_status,
)
from zcd.margin.shorts import ShortStress, short_stress
from zcd.margin.stress import (
    ResistorStress,
    ReverseStress,
    WorstLoad,
    ZenerStress,
    resistor_stress,
    reverse_stress,
    strong_conditions,
    worst_circuit,
    worst_of,
    zener_stress,
)
from zcd.margin.stress_rules import LED_REVERSE, junction_rules, resistor_rules, zener_rule
from zcd.margin.surge import SurgeStress, surge_stress
from zcd.margin.tolerances import grade_unread
from zcd.margin.unpublished import doubt_about, locks_with_doubt
from zcd.refdata import default
from zcd.results import Result
from zcd.sync.lock import FUNCTION, LIMITS, RULES, Lock, judge, times_both_edges

_LOG = logger(__name__)

if TYPE_CHECKING:
    from zcd.margin.culprit import Remedy
    from zcd.margin.outlook import Outlook
    from zcd.margin.spread import Spread

FloatArray = NDArray[np.float64]

LOCK_SOURCE = "the controller's lock rules, as written or assumed in the board file"
LEVELS = ("low", "nominal", "high", "weak", "strong")
"""Low, nominal and high mains on the bench; and what a repair must bear: low mains, hot, the
optocoupler at the minimum of its grade; high mains, the optocoupler at the maximum. Where it is
typical, a typical input counts; at the ends of the grade, what its data sheet guarantees."""
WORST_LEVELS = np.array([name in {"weak", "strong"} for name in LEVELS])


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """LED current and pulse under one of `LEVELS`.

    Parameters
    ----------
    name : str
        Which: ``low``, ``nominal``, ``high``, ``weak`` or ``strong``.
    mains_rms_v, temperature_degc : float
        What it is judged at.
    led_peak_a, led_mean_a, led_rms_a : float
        Current through the LED; without an optocoupler, into the controller's pin and out of it.
    low_time_s : float
        How long the pin is low.
    fall_offset_s, rise_offset_s : float
        From the true zero crossing to the edge, positive when the edge is late.
    transition_s : float
        The slowest passage between the controller's thresholds.
    period_s : float
        From one falling edge to the next.
    locks : bool
        Whether the controller locks.
    failed_rule : str or None
        The lock rule that is broken.
    settled : bool
        Whether the solution repeats itself.
    """

    name: str
    mains_rms_v: float
    temperature_degc: float
    led_peak_a: float
    led_mean_a: float
    led_rms_a: float
    low_time_s: float
    fall_offset_s: float
    rise_offset_s: float
    transition_s: float
    period_s: float
    locks: bool
    failed_rule: str | None
    settled: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PulseRange:
    """Between what the first pulse of a period lies, over levels and boards drawn.

    Parameters
    ----------
    low_time_s, fall_offset_s, rise_offset_s : tuple of float
        Least and largest, as in a `Level`.
    """

    low_time_s: tuple[float, float]
    fall_offset_s: tuple[float, float]
    rise_offset_s: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class NominalCheck:
    """What the nominal part and its levels say of a board: half of a `Check`, and no verdict yet.

    Parameters
    ----------
    board : Board
    levels : tuple of Level
        LED current and pulse on the bench and under what a repair must bear.
    resistors : tuple of ResistorStress
        Load of each resistor, with nominal resistors; lists in the order of the `levels`.
    worst_resistors : tuple of ResistorStress
        At high mains with tolerances at their worse ends.
    reverse : tuple of ReverseStress
        Reverse voltage of each junction; lists in the order of the `levels`.
    headrooms : dict of str to Headroom
        By quantity (ctr, mains, chain): how far it may go.
    weak_headrooms : dict of str to Headroom
        The same under the weak conditions.
    life : Life or None
        Years until ageing has used up the CTR reserve; null without an optocoupler.
    rules : tuple of Rule
        The rules of the verdict.
    """

    board: Board
    levels: tuple[Level, ...]
    resistors: tuple[ResistorStress, ...]
    worst_resistors: tuple[ResistorStress, ...]
    reverse: tuple[ReverseStress, ...]
    headrooms: dict[str, Headroom]
    weak_headrooms: dict[str, Headroom]
    life: Life | None
    rules: tuple[Rule[float], ...]

    @property
    def keeps_nominal_rules(self) -> bool:
        """Whether none of `rules` fails; at the worst corners the board may still fail."""
        return worst_status(self.rules) != "fail"


@dataclass(frozen=True, kw_only=True, repr=False)
class Check(Result, NominalCheck):
    """All that ``zcd check`` finds out about a board.

    Parameters
    ----------
    spread : Spread
        Worst corners, whose rules count for the verdict too, and a population.
    outlook : Outlook, optional
        What decides, and the margin over years; null unless asked for.
    remedies : tuple of Remedy
        Of a board that fails, or hangs on a grade that was not read: single parts that would make
        it pass, the likeliest culprit first.
    passing_values : tuple of Remedy
        Of each resistor that could not be read: the values with which the board passes; left out
        where no value does.
    passing_as_sized : tuple of Remedy
        The same where each resistor has the size that is assumed of it, no larger one.
    repair : Repair, optional
        What was changed against the board as it was built, where that is known.
    """

    JSON_KEYS: ClassVar = (
        "board=board.name",
        "topology=board.topology",
        "status",
        "passes",
        "levels",
        "pulse",
        "resistors=loads",
        "reverse",
        "headrooms",
        "weak_headrooms",
        "life",
        "rules=every_rule",
        "spread",
        "outlook",
        "remedies",
        "passing_values",
        "repair",
        "advice",
        "assumptions=board.assumptions",
        "read_as=board.read_as",
        "odd_values",
    )

    spread: Spread
    outlook: Outlook | None = None
    remedies: tuple[Remedy, ...] = ()
    passing_values: tuple[Remedy, ...] = ()
    passing_as_sized: tuple[Remedy, ...] = ()
    repair: Repair | None = None

    @property
    def every_rule(self) -> tuple[Rule[float], ...]:
        """The rules of the verdict, those at the worst corners last."""
        return self.rules + self.spread.rules

    @property
    def status(self) -> Status:
        """The overall verdict; what the board was built with is not blamed on its repair."""
        inherited = () if self.repair is None else self.repair.inherited
        own = worst_status(rule for rule in self.every_rule if rule.name not in inherited)
        return "warning" if inherited and own == "pass" else own

    @property
    def passes(self) -> bool:
        """Whether the board passes, be it with a warning."""
        return self.status != "fail"

    @property
    def hangs_on_grade(self) -> bool:
        """Whether sync depends on a grade of the optocoupler that was not read."""
        doubted = any(rule.depends_on for rule in self.every_rule if rule.subject == SYNC)
        return doubted and grade_unread(self.board)

    @property
    def pulse(self) -> PulseRange | None:
        """What the pulse may be on boards whose pin does its work; None where no level locks.

        What decides it (CTR at small currents, turn-off) differs between parts of one name.
        """
        locked = [level for level in self.levels if level.locks]
        if not locked:
            return None
        own = [(level.low_time_s, level.fall_offset_s) for level in locked]
        times_s = np.concatenate([own, self.spread.population.rule_margins.working.pulse_s])
        # against one crossing: an edge that passes the peak belongs to the next one otherwise
        usual = locked[len(locked) // 2]
        half_s = 0.5 / self.board.mains.frequency_hz
        from_usual_s = times_s[:, 1] - usual.fall_offset_s
        times_s[:, 1] -= half_s * np.round(from_usual_s / half_s)
        crossings_s = usual.fall_offset_s + usual.low_time_s - usual.rise_offset_s
        times_s = np.column_stack([times_s, times_s.sum(axis=1) - crossings_s])
        ends = np.stack([times_s.min(axis=0), times_s.max(axis=0)], axis=1).tolist()
        low, fall, rise = map(tuple, ends)
        return PulseRange(low_time_s=low, fall_offset_s=fall, rise_offset_s=rise)

    @property
    def loads(self) -> tuple[WorstLoad, ...]:
        """What each resistor has to bear."""
        both = zip(self.resistors, self.worst_resistors, strict=True)
        return tuple(WorstLoad(stress=stress, worst=worst) for stress, worst in both)

    @cached_property
    def shorts(self) -> tuple[ShortStress, ...]:
        """What parts bear with one of them shorted; no part of the verdict."""
        return short_stress(self.board)

    @cached_property
    def surge(self) -> SurgeStress:
        """What they bear in a surge; no part of the verdict."""
        return surge_stress(self.board)

    @property
    def advice(self) -> tuple[Rule[float], ...]:
        """Single shorts and the surge, in the form of rules; no part of the verdict."""
        from zcd.margin.advice import advice  # which is made of rules

        return advice(self)

    @property
    def odd_values(self) -> tuple[str, ...]:
        """Sentences on resistors that were perhaps misread."""
        return odd_values(self.board)


def nominal_check(board: Board) -> NominalCheck:
    """Judge a board by the rules of the nominal part and its levels, without the worst corners.

    Parameters
    ----------
    board : Board

    Returns
    -------
    check : NominalCheck
        `zcd.margin.spread.with_spread` makes it a whole one.

    Notes
    -----
    Power and voltage are judged at high mains, shared as unequally as tolerances allow, with the
    rating derated for the hot ambient.
    Headroom is judged under the weak conditions: a rule that only an average optocoupler
    keeps is not kept.
    """
    conditions = level_conditions(board)
    _LOG.info(
        "solving %s at %d levels, with the headrooms of CTR, mains and chain",
        board.name, len(conditions),
    )  # fmt: skip
    at_levels = stack([build_circuit(board, c) for c in conditions])
    (typical, weak, at_nominal), (solution, at_worst) = headrooms_beside(
        board,
        [Conditions(), weak_conditions(board), hot_conditions(board)],
        (False, True, True),
        [at_levels, worst_circuit(board)],
    )
    lock = judge(solution, board, worst=WORST_LEVELS)
    levels = levels_of(board, solution, lock)
    hot = board.service.hot_degc
    resistors = tuple(resistor_stress(solution, board, hot))
    worst = tuple(worst_of(at_worst, board))
    reverse = tuple(reverse_stress(solution, board))
    zeners = zener_stress(solution, board)
    life = life_of(board, levels[1].led_rms_a, weak["ctr"]) if "ctr" in weak else None
    asked = [(at_nominal if name == "mains" else weak)[name] for name in weakenings(board)]
    rules = rules_of(board, levels, lock, asked, (*worst, *zeners), reverse)
    return NominalCheck(
        board=board,
        levels=levels,
        resistors=resistors,
        worst_resistors=worst,
        reverse=reverse,
        headrooms=typical,
        weak_headrooms=weak,
        life=life,
        rules=rules,
    )


def level_conditions(board: Board) -> list[Conditions]:
    """The conditions of `LEVELS`, in their order."""
    bench = [
        Conditions(mains_rms_v=v)
        for v in (board.mains.low_rms_v, board.mains.rms_v, board.mains.high_rms_v)
    ]
    return [*bench, weak_conditions(board), strong_conditions(board)]


def hot_conditions(board: Board) -> Conditions:
    """Hot, the optocoupler the worst of its grade, the mains nominal."""
    return replace(weak_conditions(board), mains_rms_v=None)


def levels_of(board: Board, solution: Solution, lock: Lock) -> tuple[Level, ...]:
    """The table of levels from a solution whose rows are those of `level_conditions`."""
    conditions = level_conditions(board)
    return tuple(_level(k, c, solution, lock, board) for k, c in enumerate(conditions))


def rules_of(
    board: Board,
    levels: Sequence[Level],
    lock: Lock,
    headroom: Sequence[Headroom],
    worst: Sequence[ResistorStress | ZenerStress],
    reverse: Sequence[ReverseStress],
) -> tuple[Rule[float], ...]:
    """All rules of the verdict.

    Parameters
    ----------
    board : Board
    levels : sequence of Level
    lock : Lock
        At the levels.
    headroom : sequence of Headroom
        Of each of `headroom_rules`.
    worst : sequence of ResistorStress or ZenerStress
        Resistors at the worse ends of tolerance, then zeners at the levels.
    reverse : sequence of ReverseStress
        At the levels.

    Returns
    -------
    rules : tuple of Rule
    """
    doubts = _doubts(board, levels, lock)
    return (
        *_lock_rules(board, levels, lock, doubts),
        *_expectation_rules(board, lock),
        *(
            asked.found(h, doubts[LEVELS.index("weak")])
            for asked, h in zip(headroom_rules(board), headroom, strict=True)
        ),
        *_worst_resistor_rules([s for s in worst if isinstance(s, ResistorStress)]),
        *(
            zener_rule(s, board.service.hot_degc).worst()
            for s in worst
            if isinstance(s, ZenerStress)
        ),
        *_worst_junction_rules(board, reverse, np.array([level.led_peak_a for level in levels])),
    )


def _level(row: int, conditions: Conditions, solution: Solution, lock: Lock, board: Board) -> Level:
    """One line of the table of levels."""
    refs = input_refs(board)
    current = sum(solution.currents_a[ref] for ref in refs)
    pulses = lock.pulses
    celsius = conditions.temperature_degc
    transitions = np.concatenate([pulses.fall_transition_s[row], pulses.rise_transition_s[row]])
    transitions = transitions[np.isfinite(transitions)]
    return Level(
        name=LEVELS[row],
        mains_rms_v=float(conditions.mains_rms_v or board.mains.rms_v),
        temperature_degc=float(board.service.bench_degc if celsius is None else celsius),
        led_peak_a=float(solution.peak(np.asarray(current))[row]),
        led_mean_a=float(solution.mean(np.asarray(current))[row]),
        led_rms_a=float(solution.rms(np.asarray(current))[row]),
        low_time_s=float(pulses.low_time_s[row, 0]),
        fall_offset_s=float(pulses.fall_offset_s[row, 0]),
        rise_offset_s=float(pulses.rise_offset_s[row, 0]),
        transition_s=float(transitions.max()) if transitions.size else float("nan"),
        period_s=float(pulses.period_s[row]),
        locks=bool(lock.locks[row]),
        failed_rule=lock.failed_rule(row),
        settled=bool(solution.settled[row]),
    )


def _doubts(board: Board, levels: Sequence[Level], lock: Lock) -> list[str]:
    """What decides whether each level locks; empty where it does, or surely does not.

    On the bench at nominal mains the usual transistor counts.
    """
    failed = [level.failed_rule for level in levels]
    if all(level.locks for level in levels) or not levels[LEVELS.index("nominal")].locks:
        return [""] * len(levels)
    may = locks_with_doubt(board, level_conditions(board), WORST_LEVELS)
    return [
        doubt_about(board, rule) if rule in FUNCTION and would else ""
        for rule, would in zip(failed, may, strict=True)
    ]


def _lock_rules(
    board: Board, levels: Sequence[Level], lock: Lock, doubts: Sequence[str]
) -> list[Rule[float]]:
    """Lock at every level."""
    volts = " and ".join(format_si(v, "V") for v in switching_levels(board.controller).typical_v)
    by_typical = f"by the levels of a typical input, {volts}"
    return [
        without_number(
            f"lock at {condition_text(level.name, board)}",
            float(margin),
            LOCK_SOURCE,
            remark=(by_typical if typical else "")
            if level.locks
            else f"fails: {level.failed_rule}",
            kind="function",
            depends_on=doubt,
            subject=SYNC,
        )
        for level, margin, doubt, typical in zip(
            levels, lock.margin, doubts, lock.by_typical, strict=True
        )
    ]


def _expectation_rules(board: Board, lock: Lock) -> Iterator[Rule[float]]:
    """What a controller that nobody has read may expect of the pulses, where there are any."""
    there = np.flatnonzero(lock.pulses.count > 0)
    if there.size and times_both_edges(board):
        yield _duty_rule(board, lock, there)
    for column, (rule, binding) in enumerate(zip(RULES, lock.binding, strict=True)):
        if binding or not there.size:
            continue
        margins = lock.margins[there, column]
        margin = float(margins.min())
        # where all levels do alike, the first: not the one that rounding makes the least
        level = condition_text(LEVELS[there[int(np.argmin(margins.round(6)))]], board)
        expected = LIMITS[rule]
        limit = float(getattr(board.controller, expected.attribute))
        yield Rule(
            name=expected.words,
            value=limit * (1.0 + margin if expected.at_least else 1.0 - margin),
            limit=limit,
            at_least=expected.at_least,
            unit=expected.unit,
            margin=margin,
            source=default(f"controller.{expected.key}").why,
            source_kind="assumed",
            kind="expectation",
            remark=f"at {level}",
            subject=rule,
        )


def _duty_rule(board: Board, lock: Lock, there: NDArray[np.intp]) -> Rule[float]:
    """The share of a period in which the pin is low: both halves must pass as half periods."""
    slowest, fastest = default("controller.slowest_half"), default("controller.fastest_half")
    hertz = board.mains.frequency_hz
    most = min(0.5 * hertz / slowest.value, 1.0 - 0.5 * hertz / fastest.value)
    pulses = lock.pulses
    shares = pulses.low_time_s[there, 0] / pulses.period_s[there]
    worst = int(np.argmax(np.abs(shares - 0.5)))
    share = float(shares[worst])
    return Rule(
        name="share of the period that the pin is low",
        value=share,
        limit=1.0 - most if share < 0.5 else most,
        at_least=share < 0.5,
        unit="%",
        margin=(most - 0.5 - abs(share - 0.5)) / most,
        source=slowest.why,
        source_kind="assumed",
        kind="expectation",
        remark=f"at {condition_text(LEVELS[there[worst]], board)}",
        subject=DUTY,
    )


CONDITIONS = {
    "low": "low mains",
    "nominal": "nominal mains",
    "high": "high mains",
    "weak": "low mains, hot",
    "strong": "high mains",
}
"""The `LEVELS` in words, without what is worst of an optocoupler there."""
_OF_COUPLER = {"weak": ", lowest CTR of the grade", "strong": ", highest CTR of the grade"}


def condition_text(level: str, board: Board) -> str:
    """One of the `LEVELS` in words."""
    worst = "" if board.optocoupler is None else _OF_COUPLER.get(level, "")
    return CONDITIONS[level] + worst


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadroomRule:
    """A rule that asks for a headroom, before the headroom is known.

    Parameters
    ----------
    quantity : str
        Which of `zcd.margin.headroom.WEAKENINGS`.
    conditions : Conditions
        Under which it must be there.
    rule : Rule
        Its value is still to be found.
    """

    quantity: str
    conditions: Conditions
    rule: Rule[float]

    def found(self, headroom: Headroom, doubt: str = "") -> Rule[float]:
        """The rule with the headroom found; a function of the input may be in doubt."""
        rule = replace(self.rule, depends_on=doubt) if self.rule.kind == "function" else self.rule
        if not headroom.locks:
            remark = "no reserve to speak of: it does not lock as it is"
            return replace(rule, margin=-1.0, remark=remark)
        return replace(
            rule,
            value=headroom.factor_ratio,
            margin=headroom.factor_ratio / self.rule.limit - 1.0,
            remark=f"first to fail beyond it: {headroom.rule}" if headroom.rule else "",
        )


def headroom_rules(board: Board) -> tuple[HeadroomRule, ...]:
    """Headroom against ageing, low mains and drift."""
    ctr, drift = default("margin.ctr_headroom"), default("margin.chain_drift")
    tolerance = max(
        r.tolerance_ratio for chain in (*board.chains, board.return_chain) for r in chain
    )
    weak = weak_conditions(board)
    mains = board.mains
    band_is_assumed = any(assumption.key == "mains.band" for assumption in board.assumptions)
    band: SourceKind = "assumed" if band_is_assumed else "board file"

    def asked(
        quantity: str, under: Conditions, name: str, limit: float, source: str,
        source_kind: SourceKind, kind: Kind = "expectation",
    ) -> HeadroomRule:  # fmt: skip
        rule = limit_rule(
            name, nan, limit, "", source, at_least=True, source_kind=source_kind, kind=kind,
            subject=SYNC if kind == "function" else RESERVE,
        )  # fmt: skip
        return HeadroomRule(quantity=quantity, conditions=under, rule=rule)

    rules = (
        asked("ctr", weak, "CTR reserve", ctr.value, ctr.why, "assumed"),
        asked(
            "mains", hot_conditions(board), "mains reserve from nominal",
            mains.rms_v / mains.low_rms_v, f"the low end of the band {mains.band}", band,
            "function",
        ),
        asked(
            "chain", weak, "chain reserve", (1.0 + tolerance) * (1.0 + drift.value),
            f"tolerance of the chain times drift ({drift.why})", "assumed",
        ),
    )  # fmt: skip
    return tuple(rule for rule in rules if rule.quantity in weakenings(board))


def _worst_resistor_rules(stresses: Sequence[ResistorStress]) -> list[Rule[float]]:
    """Power and voltage of each resistor, at its worst."""
    rules: list[Rule[float]] = []
    for stress in stresses:
        parts = stress.parts_in_series()
        each = format_si(stress.resistor.resistance_ohm / parts, "Ω", digits=3)
        share = (
            f"{parts} in series, {each} each, would share it; "
            f"{stress.parts_in_series(shorted=1)} even with one of them shorted"
        )
        power, voltage, *any_size = (rule.worst() for rule in resistor_rules(stress))
        result = [power, voltage]
        if any(rule.status != "pass" for rule in result):
            result += any_size
        rules += [rule if rule.status == "pass" else replace(rule, remark=share) for rule in result]
    return rules


def _worst_junction_rules(
    board: Board, reverse: Sequence[ReverseStress], led_peak_a: FloatArray
) -> list[Rule[float]]:
    """Reverse voltage of each diode, and the LED's current backwards and at its peak."""
    *result, current = [rule.worst() for rule in junction_rules(board, reverse, led_peak_a)]
    return [
        *(
            replace(
                rule,
                remark=f"not protected: {format_si(float(stress.reverse_v.max()), 'V', digits=3)} "
                f"backwards, rated {format_si(stress.limit_v, 'V')}; a diode across the LED "
                "prevents it",
            )
            if rule.name.endswith(LED_REVERSE) and stress.is_over
            else rule
            for rule, stress in zip(result, reverse, strict=True)
        ),
        current,
    ]
