"""The controller over time: a state machine, one step a half cycle of the mains."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from zcd.board.model import Supervision

SYNC, FAN = "sync", "fan"
PROPORTIONAL, INTEGRAL_PER_S = 1.5, 0.8
"""Of the speed loop, in shares of the conduction range: common practice, no source."""


class State(StrEnum):
    """What the controller is about."""

    OFF = "no supply"
    WAIT = "waits for its supply"
    CLOSE = "has closed the load relay"
    SEEK = "looks for sync"
    RUN_UP = "runs the fan up"
    RUN = "holds the fan's speed"
    PAUSE = "waits before it tries again"
    LOCKED_OUT = "is locked out"


RELAY_ON = frozenset({State.CLOSE, State.SEEK, State.RUN_UP, State.RUN})
FAN_WANTED = frozenset({State.SEEK, State.RUN_UP, State.RUN})
FIRING = frozenset({State.RUN_UP, State.RUN})


@dataclass(slots=True)
class Controller:
    """The state machine.

    Parameters
    ----------
    rules : Supervision
    powered : bool
        False: there is no supply for it to work from.

    Attributes
    ----------
    relay_on : bool
        It drives the load relay's coil.
    locked : bool
        It has sync.
    firing : bool
        It fires the drive.
    free : bool
        It fires by its own clock.
    opening_ratio : float
        How far the drive is opened: 0 latest, 1 earliest firing.
    flags : dict of str to float
        When each flag was raised first. [s]
    """

    rules: Supervision
    powered: bool = True
    state: State = State.WAIT
    relay_on: bool = False
    locked: bool = False
    firing: bool = False
    free: bool = False
    opening_ratio: float = 0.0
    flags: dict[str, float] = field(default_factory=dict)
    _since_s: float = 0.0
    _streak: int = 0
    _unlocked_s: float = 0.0
    _slow_s: float = 0.0
    _sum: float = 0.0
    _failed: int = 0

    def __post_init__(self) -> None:
        if not self.powered:
            self.state = State.OFF

    @property
    def runs_well(self) -> bool:
        """It has lock, holds the speed, and nothing is on its way to a flag."""
        return self.state is State.RUN and self.locked and self._slow_s == 0.0

    def see(self, good: bool) -> None:
        """Take in one more mains period of pulses: good, or missing, late, too short.

        Parameters
        ----------
        good : bool
            The period kept all lock rules.
        """
        if good != self.locked:
            self._streak += 1
            needed = self.rules.lock_periods if good else self.rules.loss_periods
            if self._streak >= needed:
                self.locked, self._streak = good, 0
        else:
            self._streak = 0

    def step(self, time_s: float, step_s: float, tacho_rpm: float) -> None:
        """Go on by one half cycle.

        Parameters
        ----------
        time_s : float
            Since switching on.
        step_s : float
        tacho_rpm : float
            Speed as the controller measures it.
        """
        if self.state in FAN_WANTED:
            self._supervise(time_s, step_s, tacho_rpm)
        match self.state:
            case State.WAIT if time_s >= self.rules.supply_wait_s:
                self._enter(State.CLOSE, time_s)
            case State.CLOSE if time_s - self._since_s >= self.rules.relay_delay_s:
                self._begin(time_s)
            case State.SEEK if self.locked or self._goes_free():
                self._enter(State.RUN_UP, time_s)
                self.opening_ratio = 0.0
            case State.RUN_UP:
                self._run_up(time_s, step_s, tacho_rpm)
            case State.RUN:
                self._hold_speed(step_s, tacho_rpm)
            case State.PAUSE if time_s - self._since_s >= self.rules.retry_pause_s:
                self._enter(State.CLOSE, time_s)
        self.firing = self.state in FIRING
        self.free = self.firing and not self.locked

    def _enter(self, state: State, time_s: float) -> None:
        self.state, self._since_s = state, time_s
        self.relay_on = state in RELAY_ON

    def _begin(self, time_s: float) -> None:
        """Want the fan: from here on sync and tacho are supervised."""
        self._enter(State.SEEK, time_s)
        self._unlocked_s = self._slow_s = 0.0

    def _goes_free(self) -> bool:
        """Without sync for long enough, and told to fire nevertheless."""
        late = self._unlocked_s >= self.rules.sync_flag_s
        return late and self.rules.without_sync == "free-run"

    def _supervise(self, time_s: float, step_s: float, tacho_rpm: float) -> None:
        """Sync and tacho against their times; raise flags, end the attempt."""
        rules = self.rules
        self._unlocked_s = 0.0 if self.locked else self._unlocked_s + step_s
        slow = tacho_rpm < rules.fan_flag_ratio * rules.target_rpm
        self._slow_s = self._slow_s + step_s if slow else 0.0
        if self._unlocked_s >= rules.sync_flag_s:
            self.flags.setdefault(SYNC, time_s)
        if not self.locked and self.state is not State.SEEK and not self._goes_free():
            self._enter(State.SEEK, time_s)
        if self._slow_s >= rules.fan_flag_s:
            self.flags.setdefault(FAN, time_s)
            self._failed += 1
            over = self._failed > rules.retries
            self._enter(State.LOCKED_OUT if over else State.PAUSE, time_s)

    def _run_up(self, time_s: float, step_s: float, tacho_rpm: float) -> None:
        """Open the drive bit by bit, until the target is reached or all is open."""
        share = step_s / self.rules.run_up_s if self.rules.run_up_s > 0.0 else 1.0
        self.opening_ratio = min(1.0, self.opening_ratio + share)
        reached = tacho_rpm >= self.rules.target_rpm
        if reached:
            self._failed = 0
        if reached or self.opening_ratio >= 1.0:
            self._enter(State.RUN, time_s)
            self._sum = self.opening_ratio

    def _hold_speed(self, step_s: float, tacho_rpm: float) -> None:
        """Proportional and integral control of the firing delay."""
        error = 1.0 - tacho_rpm / self.rules.target_rpm
        self._sum = min(1.0, max(0.0, self._sum + INTEGRAL_PER_S * error * step_s))
        self.opening_ratio = min(1.0, max(0.0, self._sum + PROPORTIONAL * error))
