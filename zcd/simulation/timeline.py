"""A story: from switching on, half cycle by half cycle, to the flags."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from zcd.board.model import Board
from zcd.logs import logger
from zcd.results import Result
from zcd.simulation.causes import Cause
from zcd.simulation.controller import Controller, State
from zcd.simulation.drive import Plant, plant_of
from zcd.simulation.intermittent_contact import opens
from zcd.simulation.sync_view import SyncView, sync_views_of

_LOG = logger(__name__)

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SECONDS = 60.0
QUIET_RPM, QUIET_RATIO, QUIET_HALF_CYCLES = 2e-3, 1e-5, 200
"""Changes a half cycle below which, for so long, a running fan is taken to go on as it is."""
OVER = (State.OFF, State.LOCKED_OUT)
"""Nothing more happens once the rotor is at rest."""


class What(StrEnum):
    """Kinds of event."""

    STATE = "state"
    LOCK = "lock"
    LOSS = "loss"
    FREE = "free"
    OPENS = "opens"
    CLOSES = "closes"
    FLAG = "flag"


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happens: when, of which kind, and which one (a state, a flag)."""

    time_s: float
    what: What
    which: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Story(Result):
    """What happens on a board with a cause, from switching on. Arrays: one value a half cycle.

    Parameters
    ----------
    cause : Cause
    view : SyncView
    time_s : ndarray
        End of each half cycle.
    relay, faulty, good, locked, firing, free : ndarray of bool
        Coil driven; the cause is there; pulses good; sync held; drive fired; fired by the
        controller's own clock.
    delay_s : ndarray
        Firing delay; nan where the drive is not fired.
    fan_rms_v, direct_v : ndarray
        At the fan: rms, and mean.
    speed_rpm, tacho_rpm : ndarray
        Of the shaft, and as the controller measures it.
    events : tuple of Event
    flags : mapping of str to float
        When each was raised first. [s]
    end_state : State
    plant : Plant
        Drive and fan as they were.
    """

    board: Board
    cause: Cause
    view: SyncView
    time_s: FloatArray
    relay: BoolArray
    faulty: BoolArray
    good: BoolArray
    locked: BoolArray
    firing: BoolArray
    free: BoolArray
    delay_s: FloatArray
    fan_rms_v: FloatArray
    direct_v: FloatArray
    speed_rpm: FloatArray
    tacho_rpm: FloatArray
    events: tuple[Event, ...]
    flags: Mapping[str, float]
    end_state: State
    plant: Plant

    def seen(self, name: str) -> FloatArray:
        """A number of the sight in force, half cycle by half cycle.

        Parameters
        ----------
        name : str
            ``led_peak_a`` or ``feed_rms_v``.
        """
        values = [
            [getattr(self.view.state(faulty, closed), name) for closed in (False, True)]
            for faulty in (False, True)
        ]
        table: FloatArray = np.array(values)
        return np.asarray(table[self.faulty.astype(int), self.relay.astype(int)])


def stories_of(
    board: Board, causes: Sequence[Cause], seconds: float = SECONDS
) -> tuple[Story, ...]:
    """The story of each cause.

    Parameters
    ----------
    board : Board
    causes : sequence of Cause
    seconds : float
        Of board time.

    Returns
    -------
    stories : tuple of Story
        In the same order. Causes that show the controller the same, with the same drive and
        fan, are followed once.
    """
    causes_text = f"{len(causes)} cause{'' if len(causes) == 1 else 's'}"
    _LOG.info("following %s over %g s of the board's time", causes_text, seconds)
    told: dict[object, Story] = {}
    stories = []
    for cause, sync_view in zip(causes, sync_views_of(board, causes), strict=True):
        key = (sync_view.acts, cause.pattern, cause.condition)
        if key not in told:
            told[key] = _follow(board, cause, sync_view, seconds)
        stories.append(replace(told[key], cause=cause, view=sync_view))
    return tuple(stories)


class _Record:
    """Columns that grow half cycle by half cycle, and the events between them."""

    def __init__(self) -> None:
        self.rows: list[tuple[float, ...]] = []
        self.events: list[Event] = []
        self._was: tuple[object, ...] = (None, False, False, False, 0)

    def note(self, time_s: float, controller: Controller, comes_and_goes: bool | None) -> None:
        """Write down what has changed."""
        flags = controller.flags
        now = (controller.state, controller.locked, controller.free, comes_and_goes, len(flags))
        if now == self._was:
            return
        was, self._was = self._was, now
        if now[3] != was[3] and comes_and_goes is not None:
            self._add(time_s, What.OPENS if comes_and_goes else What.CLOSES)
        if now[1] != was[1]:
            self._add(time_s, What.LOCK if controller.locked else What.LOSS)
        for flag in list(flags)[was[4] if isinstance(was[4], int) else 0 :]:
            self._add(time_s, What.FLAG, flag)
        if now[0] != was[0]:
            self._add(time_s, What.STATE, controller.state)
        if now[2] and not was[2]:
            self._add(time_s, What.FREE)

    def _add(self, time_s: float, what: What, which: str = "") -> None:
        self.events.append(Event(time_s=time_s, what=what, which=which))


class _Rest:
    """Tells when a fan that runs as it should does not change any more."""

    def __init__(self) -> None:
        self._speed_rpm = self._opening = 0.0
        self._count = 0

    def reached(self, controller: Controller, plant: Plant) -> bool:
        """Take in one more half cycle."""
        speed, opening = plant.rotor.speed_rpm, controller.opening_ratio
        quiet = (
            abs(speed - self._speed_rpm) < QUIET_RPM
            and abs(opening - self._opening) < QUIET_RATIO
            and controller.runs_well
        )
        self._speed_rpm, self._opening = speed, opening
        self._count = self._count + 1 if quiet else 0
        return self._count > QUIET_HALF_CYCLES


def _follow(board: Board, cause: Cause, sync_view: SyncView, seconds: float) -> Story:
    """Go through the half cycles."""
    plant = plant_of(board, cause.condition, sync_view)
    controller = Controller(rules=plant.rules, powered=sync_view.powered)
    loose = opens(cause.pattern) if cause.pattern else None
    record, rest, step_s = _Record(), _Rest(), 0.5 / sync_view.mains_hz
    sight, age, faulty = sync_view.state(loose is None, False), 0, loose is None
    steps = round(seconds / step_s)
    for k in range(steps):
        time_s = (k + 1) * step_s
        closed = controller.relay_on or board.relay is None
        if loose is not None:
            faulty = loose(step_s, closed)
        now = sync_view.state(faulty, closed)
        sight, age = (now, age + 1) if now is sight else (now, 0)
        good = sight.early[age // 2] if age // 2 < len(sight.early) else sight.good
        if k % 2 and controller.state not in (State.OFF, State.WAIT):
            controller.see(good and not cause.condition.deaf)
        controller.step(time_s, step_s, plant.tacho.speed_rpm)
        record.note(time_s, controller, faulty if loose is not None else None)
        delay_s, rms_v, direct_v = plant.step(controller, sight.late_s, time_s, step_s)
        record.rows.append(
            (
                time_s, controller.relay_on, faulty, good, controller.locked, controller.firing,
                controller.free, delay_s, rms_v, direct_v, plant.rotor.speed_rpm,
                plant.tacho.speed_rpm,
            )
        )  # fmt: skip
        if loose is None and (
            plant.still if controller.state in OVER else rest.reached(controller, plant)
        ):
            break
    columns = _to_the_end(np.array(record.rows, dtype=float).T, steps, step_s)
    flags = [column.astype(bool) for column in columns[1:7]]
    return Story(
        board=board,
        cause=cause,
        view=sync_view,
        time_s=columns[0],
        relay=flags[0],
        faulty=flags[1],
        good=flags[2],
        locked=flags[3],
        firing=flags[4],
        free=flags[5],
        delay_s=columns[7],
        fan_rms_v=columns[8],
        direct_v=columns[9],
        speed_rpm=columns[10],
        tacho_rpm=columns[11],
        events=tuple(record.events),
        flags=dict(controller.flags),
        end_state=controller.state,
        plant=plant,
    )


def _to_the_end(columns: FloatArray, steps: int, step_s: float) -> FloatArray:
    """Carry the last half cycle on to the end."""
    missing = steps - columns.shape[1]
    whole = np.concatenate([columns, np.repeat(columns[:, -1:], missing, axis=1)], axis=1)
    whole[0] = np.arange(1, steps + 1) * step_s
    return whole
