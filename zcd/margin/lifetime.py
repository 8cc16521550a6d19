"""Years until ageing has used up the CTR reserve, by both published views."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from zcd.board.model import Board
from zcd.margin.headroom import Headroom
from zcd.physics.ageing import (
    STRESS_CURRENT_A,
    STRESS_DEGC,
    STRESS_HOURS,
    STRESS_REMAINING_RATIO,
    black_acceleration_ratio,
)

HOURS_PER_YEAR = 8760.0
DESIGN_RULE_YEARS = 5.0
MIN_LED_A = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Life:
    """Years in service, at the board's hours a year, until the CTR reserve is used up.

    Parameters
    ----------
    design_rule_years : float
        By the maker's rule (half of the output lost in five years of operation): the harsher
        view, which the verdict uses.
    acceleration_years : float
        By the current-and-temperature model; beyond a century it says only that LED current
        is not what will end this part.
    """

    design_rule_years: float
    acceleration_years: float


def life_of(board: Board, led_rms_a: float, headroom: Headroom) -> Life:
    """How long a CTR reserve lasts.

    Parameters
    ----------
    board : Board
        Gives the hours a year with mains applied and the hot temperature.
    led_rms_a : float
        Rms of the LED current: the model goes with its square, so that the rms carries pulse
        shape and duty. [A]
    headroom : Headroom
        Of the CTR; without lock it lasts no time.

    Returns
    -------
    life : Life
    """
    if not headroom.reaches(1.0):
        return Life(design_rule_years=0.0, acceleration_years=0.0)
    if board.service.hours_per_year == 0.0:
        return Life(design_rule_years=np.inf, acceleration_years=np.inf)
    share = board.service.hours_per_year / HOURS_PER_YEAR
    rule = DESIGN_RULE_YEARS * np.log2(headroom.factor_ratio) / share
    acceleration = black_acceleration_ratio(
        STRESS_CURRENT_A, max(led_rms_a, MIN_LED_A), STRESS_DEGC, board.service.hot_degc
    )
    stress_hours = STRESS_HOURS * np.log(headroom.factor_ratio) / -np.log(STRESS_REMAINING_RATIO)
    years = acceleration * stress_hours / board.service.hours_per_year
    return Life(design_rule_years=float(rule), acceleration_years=float(years))
