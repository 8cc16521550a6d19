"""Drive and fan of a board, in one condition, and what they do in a half cycle."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import isinf, nan, pi

import numpy as np

from zcd import refdata
from zcd.board.appliance import default_appliance
from zcd.board.model import Appliance, Board, Supervision
from zcd.physics.motor import Motor, at_frequency, design_motor, run
from zcd.simulation.causes import Condition
from zcd.simulation.controller import Controller
from zcd.simulation.gate import Load, Switch, delivered
from zcd.simulation.rotor import Impeller, Rotor, Tacho
from zcd.simulation.sync_view import SyncView

DELAYS = 181
"""Of the table of what the drive delivers: firing angles a degree apart."""
PER_RAD = (DELAYS - 1) / pi
LARGEST_LAG_RAD = 1.4
ON_TIME = (0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """What the drive delivers, against the firing angle in `DELAYS` even steps from 0 to pi.

    Parameters
    ----------
    square_v2, rms_v, direct_v : tuple of float
        Square of the voltage at mains frequency; rms of all; mean.
    """

    square_v2: tuple[float, ...]
    rms_v: tuple[float, ...]
    direct_v: tuple[float, ...]

    def at(self, firing_rad: float) -> tuple[float, float, float]:
        """Values at a firing angle from 0 to pi, on straight lines between those of the table."""
        place = firing_rad * PER_RAD
        k = min(int(place), DELAYS - 2)
        share = place - k
        square, rms, direct = self.square_v2, self.rms_v, self.direct_v
        return (
            square[k] + share * (square[k + 1] - square[k]),
            rms[k] + share * (rms[k + 1] - rms[k]),
            direct[k] + share * (direct[k + 1] - direct[k]),
        )


@lru_cache(maxsize=512)
def delivery(late_rad: tuple[float, float], load: Load, mains_rms_v: float) -> Table:
    """Make the table of one pair of timing errors.

    Parameters
    ----------
    late_rad : tuple of float
        Of the two half cycles.
    load : Load
    mains_rms_v : float

    Returns
    -------
    table : Table
    """
    result = delivered(np.linspace(0.0, pi, DELAYS), late_rad, load)
    return Table(
        square_v2=tuple(((result.fundamental_ratio * mains_rms_v) ** 2).tolist()),
        rms_v=tuple((result.rms_ratio * mains_rms_v).tolist()),
        direct_v=tuple((result.direct_ratio * mains_rms_v * 2.0**0.5).tolist()),
    )


@dataclass(slots=True)
class Plant:
    """Drive, fan and tacho at work.

    Parameters
    ----------
    rules : Supervision
    motor : Motor
        In its condition.
    load : Load
        What the drive sees.
    rotor : Rotor
    tacho : Tacho
    mains_rms_v, mains_hz : float
    earliest_rad, latest_rad : float
        Limits of the firing delay.
    """

    rules: Supervision
    motor: Motor
    load: Load
    rotor: Rotor
    tacho: Tacho
    mains_rms_v: float
    mains_hz: float
    earliest_rad: float
    latest_rad: float
    _late_s: tuple[float, float] | None = None
    _table: Table | None = None

    @property
    def still(self) -> bool:
        """Nothing turns, nothing drives, and the tacho is silent."""
        at_rest = self.rotor.speed_rpm == 0.0 and self.tacho.speed_rpm == 0.0
        return at_rest and self.load.switch is not Switch.SHORT

    def step(
        self, controller: Controller, late_s: tuple[float, float], time_s: float, step_s: float
    ) -> tuple[float, float, float]:
        """One half cycle: fire or not, turn the rotor, count the tacho.

        Parameters
        ----------
        controller : Controller
        late_s : tuple of float
            Error of the detected crossing in the two half cycles.
        time_s, step_s : float
            End and length of the half cycle.

        Returns
        -------
        delay_s, rms_v, direct_v : float
            Firing delay (nan: not fired); rms and mean voltage at the fan.
        """
        delay_s, square, rms_v, direct_v = nan, 0.0, 0.0, 0.0
        if controller.firing:
            span = self.latest_rad - self.earliest_rad
            firing = self.latest_rad - controller.opening_ratio * span
            delay_s = firing / pi * step_s
            if controller.free:
                # its own clock slips against the mains, so the true angle wanders
                slipped = controller.rules.clock_error_ratio * time_s / step_s * pi
                firing, late_s = (firing + slipped) % pi, ON_TIME
            square, rms_v, direct_v = self._delivery(late_s, step_s).at(firing)
        elif self.load.switch is Switch.SHORT:
            square, rms_v = self.mains_rms_v**2, self.mains_rms_v
        self.rotor.step(square, direct_v * direct_v, step_s)
        self.tacho.step(time_s, step_s, self.rotor.speed_rpm)
        return delay_s, rms_v, direct_v

    def _delivery(self, late_s: tuple[float, float], step_s: float) -> Table:
        """The table for these errors, which seldom change from one half cycle to the next."""
        if self._table is None or late_s is not self._late_s:
            # errors that differ by less than a microsecond share a table
            first, second = (round(late * 1e6) * 1e-6 / step_s * pi for late in late_s)
            self._late_s = late_s
            self._table = delivery((first, second), self.load, self.mains_rms_v)
        return self._table


def appliance_of(board: Board) -> Appliance:
    """What stands around the sync circuit: as written, or the defaults."""
    return board.appliance or default_appliance(board.mains.frequency_hz)


def motor_of(board: Board) -> Motor:
    """The fan's motor, sound."""
    fan = appliance_of(board).fan
    return design_motor(
        rms_v=board.mains.rms_v,
        frequency_hz=board.mains.frequency_hz,
        poles=fan.poles,
        speed_rpm=fan.full_rpm,
        input_w=fan.input_w,
        capacitance_f=fan.run_capacitor_f,
        main_ohm=fan.main_ohm,
        start_ohm=fan.start_ohm,
    )


def plant_of(board: Board, condition: Condition, sync_view: SyncView) -> Plant:
    """Drive and fan of a board, in a condition, at rest.

    Parameters
    ----------
    board : Board
    condition : Condition
    sync_view : SyncView
        Gives the mains as it is.

    Returns
    -------
    plant : Plant
    """
    appliance, sound = appliance_of(board), motor_of(board)
    drive, fan, rules = appliance.drive, appliance.fan, appliance.supervision
    motor = at_frequency(_in_condition(sound, condition), sync_view.mains_hz)
    half_s = 0.5 / sync_view.mains_hz
    return Plant(
        rules=rules,
        motor=motor,
        load=_load(board, motor, condition, sync_view),
        rotor=Rotor(motor, _impeller(board, sound, condition)),
        tacho=Tacho(condition.pulses_ratio * fan.pulses_per_turn, fan.pulses_per_turn),
        mains_rms_v=sync_view.mains_rms_v,
        mains_hz=sync_view.mains_hz,
        earliest_rad=drive.earliest_ratio * pi,
        latest_rad=min(drive.latest_ratio, 1.0 - drive.gate_pulse_s / half_s) * pi,
    )


def _in_condition(sound: Motor, condition: Condition) -> Motor:
    return replace(
        sound,
        capacitance_f=min(condition.capacitor_ratio, 1e9) * sound.capacitance_f,
        main_ohm=np.inf if condition.main_open else sound.main_ohm,
        start_ohm=np.inf if condition.start_open else sound.start_ohm,
    )


def _impeller(board: Board, sound: Motor, condition: Condition) -> Impeller:
    """Impeller and bearing that hold the sound motor at its full speed at full voltage."""
    fan = appliance_of(board).fan
    whole_nm = float(run(sound, fan.full_rpm, board.mains.rms_v).torque_nm)
    good = refdata.default("fan.bearing_ratio").value
    ratio = good if condition.bearing_ratio is None else condition.bearing_ratio
    return Impeller(
        at_rpm=fan.full_rpm,
        torque_nm=(1.0 - good) * whole_nm,
        bearing_nm=ratio if isinf(ratio) else ratio * whole_nm,
        inertia_kg_m2=fan.inertia_kg_m2,
    )


def _load(board: Board, motor: Motor, condition: Condition, sync_view: SyncView) -> Load:
    """The fan as the drive sees it: resistance and inductance of its impedance at the target."""
    appliance = appliance_of(board)
    drive = appliance.drive
    running = run(motor, appliance.supervision.target_rpm, sync_view.mains_rms_v)
    line_a = complex(running.line_a)
    lag = float(np.clip(-np.angle(line_a), 0.0, LARGEST_LAG_RAD))
    turn = 2.0 * pi * sync_view.mains_hz
    inhibit = min(1.0, drive.inhibit_v / (sync_view.mains_rms_v * 2.0**0.5))
    zero_cross = condition.zero_cross or drive.kind == "zero-cross"
    return Load(
        lag_rad=lag,
        latching_ratio=drive.latching_a / max(abs(line_a) * 2.0**0.5, 1e-12),
        gate_rad=drive.gate_pulse_s * turn,
        zero_cross_rad=float(np.arcsin(inhibit)) if zero_cross else pi,
        switch=condition.switch,
    )
