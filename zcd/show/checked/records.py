"""What a check found, as one JSON object for other programs."""

from __future__ import annotations

from dataclasses import asdict
from math import isfinite, isinf
from typing import Any

import numpy as np

from zcd.board.library import odd_values
from zcd.margin.advice import advice
from zcd.margin.check import Check
from zcd.margin.headroom import Headroom
from zcd.margin.stress import ResistorStress, ReverseStress
from zcd.show.checked.outlook_records import outlook_record
from zcd.show.checked.spread_records import spread_record

Record = dict[str, Any]


def check_record(check: Check) -> Record:
    """What a check found, in SI units, ready for `json.dumps`.

    Parameters
    ----------
    check : Check

    Returns
    -------
    record : dict
        =================  =============================================================
        key                what it holds
        =================  =============================================================
        board              name of the board
        topology           ``half-wave``, ``clamped``, ...
        passes             the overall verdict
        levels             list: name, mains_rms_v, temperature_degc, led_peak_a,
                           led_mean_a, led_rms_a, low_time_s, fall_offset_s, rise_offset_s,
                           transition_s, period_s, locks, failed_rule, settled
        resistors          list: ref, style, resistance_ohm, tolerance_ratio, power_w,
                           rms_v, peak_v, judged_v, power_limit_w, voltage_limit_v,
                           worst_power_w, worst_judged_v
        reverse            list: ref, reverse_v, reverse_a, limit_v, source
        headrooms          by quantity (ctr, mains, chain): locks, factor_ratio,
                           outcome, rule
        weak_headrooms     the same under the weak conditions
        life               design_rule_years, acceleration_years
        rules              list: name, value, limit, unit, at_least, passes, source,
                           remark; value and limit in `unit`, a factor where that is empty
        spread             worst corners and population, as in `zcd.show.checked.spread_records`
        outlook            what decides and margin over years, as in
                           `zcd.show.checked.outlook_records`; null unless asked for
        advice             list like ``rules``: single shorts and the surge; no part of the
                           verdict
        assumptions        list: key, value, source
        odd_values         list of sentences
        =================  =============================================================

    Notes
    -----
    Lists under ``power_w``, ``rms_v``, ``peak_v``, ``judged_v``, ``reverse_v`` and ``reverse_a``
    are in the order of ``levels``. The unit ends the key. A number that does not exist or is
    infinite is null; ``outcome`` of a headroom then says which: ``found``, ``beyond search`` or
    ``never locks``. Offsets are positive when the edge is late. ``judged_v`` is the rms, at least
    that of the sine with the same peak; it is held against the voltage limit. ``worst_*`` are
    at high mains with tolerances at their worse ends.
    """
    board = check.board
    found = {
        "board": board.name,
        "topology": str(board.topology),
        "passes": check.passes,
        "levels": [asdict(level) for level in check.levels],
        "resistors": [
            _resistor(stress, worst)
            for stress, worst in zip(check.resistors, check.worst_resistors, strict=True)
        ],
        "reverse": [_reverse(stress) for stress in check.reverse],
        "headrooms": {name: _headroom(h) for name, h in check.headrooms.items()},
        "weak_headrooms": {name: _headroom(h) for name, h in check.weak_headrooms.items()},
        "life": asdict(check.life),
        "rules": [rule.to_dict() for rule in check.rules],
        "spread": spread_record(check.spread),
        "outlook": check.outlook and outlook_record(check.outlook),
        "advice": [rule.to_dict() for rule in advice(check)],
        "assumptions": [asdict(assumption) for assumption in board.assumptions],
        "odd_values": list(odd_values(board)),
    }
    record: Record = plain_values(found)
    return record


def plain_values(value: Any) -> Any:
    """Numbers and arrays as JSON knows them; nan and inf become None.

    Examples
    --------
    >>> plain_values({"a": np.array([1.0, np.nan]), "b": (np.bool_(True), float("inf"))})
    {'a': [1.0, None], 'b': [True, None]}
    """
    if isinstance(value, dict):
        return {key: plain_values(item) for key, item in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return plain_values(value.tolist())
    if isinstance(value, list | tuple):
        return [plain_values(item) for item in value]
    if isinstance(value, float) and not isfinite(value):
        return None
    return value


def _resistor(stress: ResistorStress, worst: ResistorStress) -> Record:
    part = stress.resistor
    return {
        "ref": part.ref,
        "style": part.style,
        "resistance_ohm": part.resistance_ohm,
        "tolerance_ratio": part.tolerance_ratio,
        "power_w": stress.power_w,
        "rms_v": stress.rms_v,
        "peak_v": stress.peak_v,
        "judged_v": stress.film_v,
        "worst_power_w": worst.power_w.max(),
        "worst_judged_v": worst.film_v.max(),
        "power_limit_w": stress.power_limit_w,
        "voltage_limit_v": stress.voltage_limit_v,
    }


def _reverse(stress: ReverseStress) -> Record:
    return {
        "ref": stress.ref,
        "reverse_v": stress.reverse_v,
        "reverse_a": stress.reverse_a,
        "limit_v": stress.limit_v,
        "source": stress.source,
    }


def _headroom(headroom: Headroom) -> Record:
    outcome = "found"
    if not isfinite(headroom.factor):
        outcome = "beyond search" if isinf(headroom.factor) else "never locks"
    return {
        "locks": headroom.locks,
        "factor_ratio": headroom.factor,
        "outcome": outcome,
        "rule": headroom.rule,
    }
