"""What lies ahead of a board, for other programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from zcd.margin.decides import Decides
from zcd.margin.outlook import Outlook
from zcd.margin.years import YEARS, Ageing

Record = dict[str, Any]


def outlook_record(outlook: Outlook) -> Record:
    """What decides, and margin over the years.

    Parameters
    ----------
    outlook : Outlook

    Returns
    -------
    record : dict
        ===========  ===================================================================
        key          what it holds
        ===========  ===================================================================
        decides      headroom_low_ratio, headroom_middle_ratio, headroom_high_ratio (factors
                     that 5, 50 and 95 % of the boards do not reach), unexplained_ratio,
                     tolerances (list: name, first_ratio, total_ratio, total_low_ratio,
                     total_high_ratio)
        ageing       use_h (a year), points_years, drift_ratio (of the chain, at these), views
                     (by name: low_ratio, middle_ratio, high_ratio, corner_ratio at these;
                     first_years, median_years, corner_years)
        ===========  ===================================================================

    Notes
    -----
    A board that keeps sync over all the years has null in ``first_years`` and the like.
    """
    return {"decides": decides_record(outlook.decides), "ageing": _ageing(outlook.ageing)}


def decides_record(decides: Decides) -> Record:
    """What makes the headroom differ from board to board."""
    return {
        "headroom_low_ratio": decides.headroom_low,
        "headroom_middle_ratio": decides.headroom_middle,
        "headroom_high_ratio": decides.headroom_high,
        "unexplained_ratio": decides.unexplained,
        "tolerances": [
            {
                "name": name,
                "first_ratio": decides.first[d],
                "total_ratio": decides.total[d],
                "total_low_ratio": decides.total_low[d],
                "total_high_ratio": decides.total_high[d],
            }
            for d, name in enumerate(decides.names)
        ],
    }


def _ageing(ageing: Ageing) -> Record:
    return {
        "use_h": ageing.hours_per_year,
        "points_years": YEARS,
        "drift_ratio": ageing.drift,
        "views": {
            view: {
                key if key.endswith("_years") else f"{key}_ratio": value
                for key, value in asdict(course).items()
            }
            for view, course in ageing.courses.items()
        },
    }
