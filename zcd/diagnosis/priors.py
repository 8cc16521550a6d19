"""How likely each fault is before any reading: weak, tempered, no part swamping the rest."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

from zcd.diagnosis.faults import MAINS_RESISTOR, Fault
from zcd.refdata import table

FloatArray = NDArray[np.float64]

TEMPER = 0.5
"""Exponent on the handbook's failure rates and shares of modes: their ratios are weak evidence for
one appliance, and what is rare in a handbook is still what some board on the bench has."""
LARGEST_CLASS_SHARE = 0.25
MAINS_RESISTOR_SHARE = 0.25
"""Resistors of high value in series with the mains, of all parts that fail: more than any other
class, as field reports have it; how much more is common practice, no source."""
HEALTHY_SHARE = 0.05
ELSEWHERE_SHARE = 0.02
"""Of each fault elsewhere, with a good sync circuit, that only the flags tell of; common practice,
no source."""
MISFIT_SHARE = 0.08
"""A part put in the wrong way round, or of a wrong value: boards come to a bench after someone else
has been at them; common practice, no source."""
FITTED = ("resistor", "diode", "led")
MISFITS = ("reversed", "wrong part", "low", "wrong value x0.1", "wrong value x10")
"""Modes that no part comes to by itself. Any part may be the one: how often it fails says nothing
of it."""
UNMODELLED_SHARE = 0.01

RATE_OF = {
    "resistor": "resistor",
    "mains resistor": "resistor",
    "diode": "rectifier diode",
    "led": "optocoupler",
    "phototransistor": "optocoupler",
    "transistor": "transistor",
    "capacitor": "ceramic capacitor",
    "mains capacitor": "plastic capacitor",
    "suppressor": "plastic capacitor",
    "contact": "relay",
    "coil": "relay",
    "driver": "relay",
}
"""Row of ``reference/failure_rates.csv`` for each kind of fault; others take `OTHER_FIT`."""
OTHER_FIT = 50.0
"""Mains, supply, pin, dirt: common practice, no source."""


def prior_shares(faults: Sequence[Fault]) -> FloatArray:
    """Prior probability of each single fault; what is missing to 1 belongs to none of them.

    Parameters
    ----------
    faults : sequence of Fault
        Including ``healthy``, without pairs.

    Returns
    -------
    shares : ndarray, shape (len(faults),)
        Sum `1 - NONE_OF_THESE_SHARE`.
    """
    weights = np.array([_weight(fault) for fault in faults])
    classes = np.array([class_of(fault) for fault in faults])
    elsewhere = np.array([bool(fault.reports) for fault in faults])
    misfit = np.array([fault.kind in FITTED and fault.mode in MISFITS for fault in faults])
    sick = (classes != "healthy") & ~elsewhere & ~misfit
    on_mains = sick & (classes == MAINS_RESISTOR)
    others = sick & ~on_mains
    weights[others] = _capped(weights[others], classes[others])
    if on_mains.any():
        weights[others] *= 1.0 - MAINS_RESISTOR_SHARE
        weights[on_mains] *= MAINS_RESISTOR_SHARE / weights[on_mains].sum()
    away = ELSEWHERE_SHARE * np.count_nonzero(elsewhere)
    weights[sick] *= 1.0 - UNMODELLED_SHARE - HEALTHY_SHARE - away - MISFIT_SHARE
    weights[misfit] = MISFIT_SHARE * _even([f for f, m in zip(faults, misfit, strict=True) if m])
    weights[elsewhere] = ELSEWHERE_SHARE
    weights[classes == "healthy"] = HEALTHY_SHARE
    return weights


def with_pairs(shares: FloatArray, pairs: FloatArray) -> FloatArray:
    """Prior probabilities of single faults and pairs, from those of the single ones."""
    single = 1.0 - pairs.sum() / shares.sum()
    return np.concatenate([single * shares, pairs])


def class_of(fault: Fault) -> str:
    """Faults whose share is limited together."""
    return fault.row if fault.row == MAINS_RESISTOR else RATE_OF.get(fault.row, fault.kind)


def _weight(fault: Fault) -> float:
    """Rate times the share of the mode, tempered."""
    if fault.kind == "healthy":
        return 0.0
    rates = {
        row["part"]: row["lowest_quality_fit"]
        for row in table("failure_rates")
        if row["source"] == "RAMSTK-217F"
    }
    rate = float(rates[RATE_OF[fault.row]]) if fault.row in RATE_OF else OTHER_FIT
    return float((rate * _mode_shares()[fault.row, fault.mode]) ** TEMPER)


def _even(faults: Sequence[Fault]) -> FloatArray:
    """Shares of misfits: each part alike, and of one part the modes as the table has them."""
    shares = _mode_shares()
    weights = np.array([shares[fault.row, fault.mode] for fault in faults])
    _, part = np.unique([fault.part for fault in faults], return_inverse=True)
    weights = weights / np.bincount(part, weights=weights)[part]
    return np.asarray(weights / weights.sum())


@cache
def _mode_shares() -> dict[tuple[str, str], float]:
    return {
        (str(row["part"]), str(row["mode"])): float(row["share_ratio"])
        for row in table("fault_shares")
    }


def _capped(weights: FloatArray, classes: NDArray[np.str_]) -> FloatArray:
    """Normalise, with no class above `LARGEST_CLASS_SHARE`; the rest takes up what is cut."""
    names, member = np.unique(classes, return_inverse=True)
    share = np.bincount(member, weights=weights)
    share = share / share.sum()
    cap = max(LARGEST_CLASS_SHARE, 1.0 / names.size)
    held = np.zeros(names.size, dtype=bool)
    while np.any(share > cap + 1e-12):
        held |= share > cap
        free = 1.0 - cap * held.sum()
        share = np.where(held, cap, share * free / share[~held].sum())
    before = np.bincount(member, weights=weights)
    return np.asarray(weights * (share / before)[member])
