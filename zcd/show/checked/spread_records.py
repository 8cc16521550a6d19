"""What tolerances make of a board, for other programs."""

from __future__ import annotations

from typing import Any

import numpy as np

from zcd.margin.corners import Corners
from zcd.margin.population import CONFIDENCE_RATIO, Population
from zcd.margin.spread import Spread
from zcd.margin.tolerances import Tolerance

Record = dict[str, Any]


def spread_record(spread: Spread) -> Record:
    """Worst corners and population.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    record : dict
        ==============  ================================================================
        key             what it holds
        ==============  ================================================================
        tolerances      list: name, low, high, unit, source; ends in `unit`: ``x`` is a factor,
                        an empty unit a ratio
        corners         list: rule, left_ratio, passes, places (list: name, amount, unit)
        population      size_counts, failing_ratio, low_ratio, high_ratio,
                        confidence_ratio, rules (list: rule, first_ratio, left_worst_ratio,
                        left_middle_ratio)
        ==============  ================================================================

    Notes
    -----
    ``left_ratio`` is the share of its limit that a rule has left at the corner that is worst for
    it, negative where it fails; ``left_worst_ratio`` is what 1 % of the boards do not reach and
    ``left_middle_ratio`` the median; ``first_ratio`` is the share of the boards that break this
    rule first. ``low_ratio`` and ``high_ratio`` hold the true failing share with
    ``confidence_ratio``.
    """
    return {
        "tolerances": [
            {**_named(t), "low": t.low, "high": t.high, "source": t.source}
            for t in spread.corners.tolerances
        ],
        "corners": [_corner(spread.corners, k, rule.passes) for k, rule in enumerate(spread.rules)],
        "population": population_record(spread.population),
    }


def _named(tolerance: Tolerance) -> Record:
    return {"name": tolerance.name, "unit": tolerance.unit}


def _corner(corners: Corners, rule: int, passes: bool) -> Record:
    return {
        "rule": corners.names[rule],
        "left_ratio": corners.margins[rule],
        "passes": passes,
        "places": [{**_named(t), "amount": x} for t, x in corners.places(rule)],
    }


def population_record(population: Population) -> Record:
    """What share of a population fails, and by what."""
    failing, first = population.failing, population.first_failures
    worst, middle = np.quantile(population.rules.margins, (0.01, 0.5), axis=0)
    return {
        "size_counts": population.size,
        "failing_ratio": failing.ratio,
        "low_ratio": failing.low_ratio,
        "high_ratio": failing.high_ratio,
        "confidence_ratio": CONFIDENCE_RATIO,
        "rules": [
            {
                "rule": name,
                "first_ratio": first.get(name, 0.0),
                "left_worst_ratio": worst[k],
                "left_middle_ratio": middle[k],
            }
            for k, name in enumerate(population.rules.names)
        ],
    }
