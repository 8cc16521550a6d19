"""What lies ahead of a board: what decides its headroom, and its margin over the years."""

from __future__ import annotations

from dataclasses import dataclass, replace

from zcd.logs import logger
from zcd.margin.ageing import Ageing, ageing_of
from zcd.margin.check import Check
from zcd.margin.sensitivity import Sensitivity, sensitivity_of

_LOG = logger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What lies ahead of a board; no part of the verdict.

    Parameters
    ----------
    sensitivity : Sensitivity
        What makes the headroom differ from board to board.
    ageing : Ageing
        Margin over the years.
    """

    sensitivity: Sensitivity
    ageing: Ageing


def with_outlook(check: Check) -> Check:
    """A check with the outlook for its board.

    Parameters
    ----------
    check : Check

    Returns
    -------
    check : Check
    """
    board, corners = check.board, check.spread.corners
    _LOG.info("finding what decides the headroom, and the margin over the years")
    outlook = Outlook(
        sensitivity=sensitivity_of(board, corners.tolerances),
        ageing=ageing_of(board, corners.tolerances, corners),
    )
    return replace(check, outlook=outlook)
