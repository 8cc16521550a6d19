"""The fan's rotor over time: torque of the motor against impeller and bearing; its tacho."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from zcd.physics.motor import Motor, braking_torque_nm, fan_torque_nm, run

POINTS = 240
"""Of the table of torque against speed, from rest to above synchronous speed."""
BEYOND_RATIO = 1.1
RAD_S = 2.0 * np.pi / 60.0
SILENCE_S = 1.0
"""Without a pulse for so long the controller takes the speed as zero."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Impeller:
    """What the motor turns.

    Parameters
    ----------
    at_rpm, torque_nm : float
        A point of its fan law.
    bearing_nm : float
        Friction, the same at all speeds; infinite: seized.
    inertia_kg_m2 : float
    """

    at_rpm: float
    torque_nm: float
    bearing_nm: float
    inertia_kg_m2: float


@dataclass(slots=True)
class Rotor:
    """Speed of a fan, half cycle by half cycle.

    The torque of a voltage goes with its square, so one table for 1 V serves all.

    Parameters
    ----------
    motor : Motor
    impeller : Impeller
    """

    motor: Motor
    impeller: Impeller
    speed_rpm: float = 0.0
    _pull: list[float] = field(init=False, repr=False)
    _brake: list[float] = field(init=False, repr=False)
    _take: list[float] = field(init=False, repr=False)
    _per_rpm: float = field(init=False)

    def __post_init__(self) -> None:
        speeds = np.linspace(0.0, BEYOND_RATIO * self.motor.synchronous_rpm, POINTS)
        impeller = self.impeller
        self._pull = run(self.motor, speeds, 1.0).torque_nm.tolist()
        self._brake = braking_torque_nm(self.motor, speeds, 1.0).tolist()
        self._take = fan_torque_nm(speeds, impeller.at_rpm, impeller.torque_nm).tolist()
        self._per_rpm = (POINTS - 1) / float(speeds[-1])

    def torque_nm(self, speed_rpm: float, square_v2: float, direct_square_v2: float) -> float:
        """Torque that is left to speed the rotor up, bearing not yet taken off.

        Parameters
        ----------
        speed_rpm : float
        square_v2 : float
            Square of the rms voltage at mains frequency. [V²]
        direct_square_v2 : float
            Square of the mean voltage. [V²]

        Returns
        -------
        float
            [N m]
        """
        place = speed_rpm * self._per_rpm
        k = min(int(place), POINTS - 2)
        share = place - k
        pull = self._pull[k] + share * (self._pull[k + 1] - self._pull[k])
        brake = self._brake[k] + share * (self._brake[k + 1] - self._brake[k])
        take = self._take[k] + share * (self._take[k + 1] - self._take[k])
        return pull * square_v2 + brake * direct_square_v2 - take

    def settled_rpm(self, rms_v: float) -> float:
        """Speed at which it ends from rest, on a plain sine; 0 where it does not start.

        Parameters
        ----------
        rms_v : float

        Returns
        -------
        float
            The lowest speed at which the torques balance.
        """
        left = [
            pull * rms_v**2 - take - self.impeller.bearing_nm
            for pull, take in zip(self._pull, self._take, strict=True)
        ]
        k = next(k for k, torque in enumerate(left) if torque <= 0.0)
        return (k - left[k] / (left[k] - left[k - 1])) / self._per_rpm if k else 0.0

    def step(self, square_v2: float, direct_square_v2: float, step_s: float) -> None:
        """Go on by one step (midpoint rule); a rotor at rest stays while the bearing holds it.

        Parameters
        ----------
        square_v2, direct_square_v2 : float
            As for `torque_nm`.
        step_s : float
        """
        gain = step_s / (self.impeller.inertia_kg_m2 * RAD_S)
        bearing = self.impeller.bearing_nm
        speed = self.speed_rpm
        torque = self.torque_nm(speed, square_v2, direct_square_v2)
        if speed <= 0.0 and torque <= bearing:
            self.speed_rpm = 0.0
            return
        middle = max(0.0, speed + 0.5 * gain * (torque - bearing))
        torque = self.torque_nm(middle, square_v2, direct_square_v2)
        self.speed_rpm = max(0.0, speed + gain * (torque - bearing))


@dataclass(slots=True)
class Tacho:
    """Pulses of a turning shaft, and the speed that the controller makes of them.

    Parameters
    ----------
    pulses_per_turn : float
        That come; 0: the signal is lost.
    believed_per_turn : int
        That the controller reckons with.
    """

    pulses_per_turn: float
    believed_per_turn: int
    speed_rpm: float = 0.0
    _turned: float = 0.0
    _last_s: float = 0.0
    _interval_s: float = 0.0

    def step(self, time_s: float, step_s: float, shaft_rpm: float) -> None:
        """Count on.

        Parameters
        ----------
        time_s : float
            At the end of the step.
        step_s : float
        shaft_rpm : float
        """
        grown = shaft_rpm / 60.0 * self.pulses_per_turn * step_s
        turned = self._turned + grown
        whole = int(turned)
        if whole:
            at_s = time_s - step_s * (turned - whole) / grown
            self._interval_s = (at_s - self._last_s) / whole
            self._last_s = at_s
            self.speed_rpm = 60.0 / (self.believed_per_turn * self._interval_s)
            turned -= whole
        elif (silent_s := time_s - self._last_s) > SILENCE_S:
            self.speed_rpm = 0.0
        elif silent_s > self._interval_s:
            self.speed_rpm = min(self.speed_rpm, 60.0 / (self.believed_per_turn * silent_s))
        self._turned = turned
