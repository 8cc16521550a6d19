r"""The fan: a permanent-split-capacitor motor on a fan-law load.

Two windings at right angles on the same mains, one through the run capacitor. Each makes a
pulsating field, which is a forward and a backward rotating one of half the size (double revolving
field). With the impedance of the rotor as the main winding sees it,

.. math:: Z_r(s) = \frac{j X_m (R_2 + j s X_2)}{R_2 + j s (X_2 + X_m)},
          \qquad Z_f = Z_r(s) / 2, \quad Z_b = Z_r(2 - s) / 2,

and turns ratio `a` of start to main winding,

.. math::
    V &= (R_1 + j X_1 + Z_f + Z_b) I_m - j a (Z_f - Z_b) I_s \\
    V &= (R_s + j X_s + 1 / j \omega C + a^2 (Z_f + Z_b)) I_s + j a (Z_f - Z_b) I_m \\
    T &= (|I_m - j a I_s|^2 \Re Z_f - |I_m + j a I_s|^2 \Re Z_b) / \omega_s

Left out: saturation, iron loss, skin effect, harmonics of the field. All arrays broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Value = float | FloatArray

# In proportion to one another: small motors with a high-resistance rotor.
MAIN_OHM = 0.20
LEAK_OHM = 0.10
MAGNETISING_OHM = 0.60
ROTOR_OHM = 0.22
OPEN_OHM = 1e12
"""Impedance of a winding that is open, or of a capacitor that has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """A permanent-split-capacitor motor.

    Parameters
    ----------
    frequency_hz : float
    poles : int
    main_ohm, main_leak_ohm : float or ndarray
        Resistance and leakage reactance of the main (run) winding; infinite where it is open.
    start_ohm, start_leak_ohm : float or ndarray
        Of the start winding.
    turns_ratio : float or ndarray
        Start over main.
    magnetising_ohm, rotor_ohm, rotor_leak_ohm : float or ndarray
        As the main winding sees them.
    capacitance_f : float or ndarray
        Of the run capacitor; 0: open; infinite: shorted.
    """

    frequency_hz: float
    poles: int
    main_ohm: Value
    main_leak_ohm: Value
    start_ohm: Value
    start_leak_ohm: Value
    turns_ratio: Value
    magnetising_ohm: Value
    rotor_ohm: Value
    rotor_leak_ohm: Value
    capacitance_f: Value

    @property
    def synchronous_rpm(self) -> float:
        """Speed of the rotating field."""
        return 120.0 * self.frequency_hz / self.poles


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """A motor at some speed, in the steady state.

    Parameters
    ----------
    main_a, start_a : ndarray of complex
        Rms phasors, the mains at phase 0.
    torque_nm : ndarray
    input_w : ndarray
        Taken from the mains, mean over a period.
    """

    main_a: ComplexArray
    start_a: ComplexArray
    torque_nm: FloatArray
    input_w: FloatArray

    @property
    def line_a(self) -> ComplexArray:
        """Current of both windings together."""
        return self.main_a + self.start_a


def rotor_impedance_ohm(motor: Motor, slip: ArrayLike) -> ComplexArray:
    """Rotor and air gap as the main winding sees them under a rotating field."""
    s = np.asarray(slip, dtype=float)
    x_m, r_2, x_2 = motor.magnetising_ohm, motor.rotor_ohm, motor.rotor_leak_ohm
    return np.asarray(1j * x_m * (r_2 + 1j * s * x_2) / (r_2 + 1j * s * np.add(x_2, x_m)))


def run(motor: Motor, speed_rpm: ArrayLike, rms_v: ArrayLike) -> Running:
    """Currents, torque and powers at a speed.

    Parameters
    ----------
    motor : Motor
    speed_rpm : array_like
        Positive in the direction in which it starts.
    rms_v : array_like
        At mains frequency, across both windings. [V]

    Returns
    -------
    running : Running
    """
    speed = np.asarray(speed_rpm, dtype=float)
    volts = np.asarray(rms_v, dtype=float)
    slip = 1.0 - speed / motor.synchronous_rpm
    forward = 0.5 * rotor_impedance_ohm(motor, slip)
    backward = 0.5 * rotor_impedance_ohm(motor, 2.0 - slip)
    a = np.asarray(motor.turns_ratio, dtype=float)
    main = _impedance(motor.main_ohm, motor.main_leak_ohm) + forward + backward
    start = _impedance(motor.start_ohm, motor.start_leak_ohm) + _capacitor_ohm(motor)
    start = start + a**2 * (forward + backward)
    across = 1j * a * (forward - backward)
    whole = main * start + across**2
    main_a = volts * (start + across) / whole
    start_a = volts * (main - across) / whole
    field_forward, field_backward = main_a - 1j * a * start_a, main_a + 1j * a * start_a
    gap_forward_w = np.abs(field_forward) ** 2 * forward.real
    gap_backward_w = np.abs(field_backward) ** 2 * backward.real
    synchronous_rad_s = 2.0 * np.pi * motor.synchronous_rpm / 60.0
    torque = (gap_forward_w - gap_backward_w) / synchronous_rad_s
    return Running(
        main_a=main_a,
        start_a=start_a,
        torque_nm=np.asarray(torque),
        input_w=np.asarray(np.real(volts * np.conj(main_a + start_a))),
    )


def _impedance(ohm: Value, leak_ohm: Value) -> ComplexArray:
    """A winding; an open one is a very large resistance."""
    return np.asarray(np.minimum(ohm, OPEN_OHM) + 1j * np.asarray(leak_ohm))


def _capacitor_ohm(motor: Motor) -> ComplexArray:
    """Impedance of the run capacitor."""
    omega = 2.0 * np.pi * motor.frequency_hz
    farads = np.maximum(motor.capacitance_f, 1.0 / (omega * OPEN_OHM))
    return np.asarray(-1j / (omega * farads))


def braking_torque_nm(motor: Motor, speed_rpm: ArrayLike, direct_v: ArrayLike) -> FloatArray:
    r"""Torque with which a direct voltage across the main winding brakes the rotor.

    The capacitor keeps the direct current out of the start winding. The standing field of the
    main one is, to the rotor, a field that turns at the rotor's own speed:
    `T = -I^2 \Re Z_r(n / n_s) / \omega_s`.

    Parameters
    ----------
    motor : Motor
    speed_rpm : array_like
    direct_v : array_like
        Mean voltage. [V]

    Returns
    -------
    torque : ndarray
        Zero or negative. [N m]
    """
    current_a = np.asarray(direct_v, dtype=float) / np.minimum(motor.main_ohm, OPEN_OHM)
    turning = np.asarray(speed_rpm, dtype=float) / motor.synchronous_rpm
    synchronous_rad_s = 2.0 * np.pi * motor.synchronous_rpm / 60.0
    ohm = rotor_impedance_ohm(motor, turning).real
    return np.asarray(-(current_a**2) * ohm / synchronous_rad_s)


def design_motor(
    *,
    rms_v: float,
    frequency_hz: float,
    poles: int,
    speed_rpm: float,
    input_w: float,
    capacitance_f: float | None = None,
    main_ohm: float | None = None,
    start_ohm: float | None = None,
) -> Motor:
    r"""A motor that does what its plate says, of the proportions of small fan motors.

    The impedances are in fixed proportion (common practice, no source) and scaled so that the
    motor takes `input_w` at `speed_rpm`. Both windings make equal fields there, at right angles,
    if `a = \tan \arg Z` and `X_C = a |Z| \sqrt{1 + a^2}`, with the impedance Z of the main
    winding under the forward field. A capacitor that was written sets the turns ratio.

    Parameters
    ----------
    rms_v, frequency_hz : float
        Of the mains.
    poles : int
    speed_rpm : float
        At full voltage, with its fan.
    input_w : float
        Then taken from the mains.
    capacitance_f : float, optional
        None: the one that suits. [F]
    main_ohm, start_ohm : float, optional
        Measured winding resistances; None: in proportion.

    Returns
    -------
    motor : Motor
    """
    slip = 1.0 - speed_rpm * poles / (120.0 * frequency_hz)
    unit = _proportions(frequency_hz, poles, slip)
    taken_w = float(run(unit, speed_rpm, 1.0).input_w)
    scale = rms_v**2 * taken_w / input_w
    suits_f = float(np.asarray(unit.capacitance_f)) / scale
    wider = 1.0 if capacitance_f is None else suits_f / capacitance_f
    return Motor(
        frequency_hz=frequency_hz,
        poles=poles,
        main_ohm=scale * unit.main_ohm if main_ohm is None else main_ohm,
        main_leak_ohm=scale * unit.main_leak_ohm,
        start_ohm=scale * wider * unit.start_ohm if start_ohm is None else start_ohm,
        start_leak_ohm=scale * wider * unit.start_leak_ohm,
        turns_ratio=unit.turns_ratio * wider**0.5,
        magnetising_ohm=scale * unit.magnetising_ohm,
        rotor_ohm=scale * unit.rotor_ohm,
        rotor_leak_ohm=scale * unit.rotor_leak_ohm,
        capacitance_f=suits_f if capacitance_f is None else capacitance_f,
    )


def _proportions(frequency_hz: float, poles: int, slip: float) -> Motor:
    """The motor of 1 V, balanced at a slip."""
    x_2 = LEAK_OHM
    rotor = 1j * MAGNETISING_OHM * (ROTOR_OHM + 1j * slip * x_2)
    rotor /= ROTOR_OHM + 1j * slip * (x_2 + MAGNETISING_OHM)
    main = MAIN_OHM + 1j * LEAK_OHM + rotor
    a = float(np.tan(np.angle(main)))
    reactance = a * abs(main) * float(np.hypot(1.0, a))
    return Motor(
        frequency_hz=frequency_hz,
        poles=poles,
        main_ohm=MAIN_OHM,
        main_leak_ohm=LEAK_OHM,
        start_ohm=a**2 * MAIN_OHM,
        start_leak_ohm=a**2 * LEAK_OHM,
        turns_ratio=a,
        magnetising_ohm=MAGNETISING_OHM,
        rotor_ohm=ROTOR_OHM,
        rotor_leak_ohm=x_2,
        capacitance_f=1.0 / (2.0 * np.pi * frequency_hz * reactance),
    )


def fan_torque_nm(speed_rpm: ArrayLike, at_rpm: ArrayLike, torque_nm: ArrayLike) -> FloatArray:
    """Torque that a fan takes: as the square of its speed, through one known point.

    Parameters
    ----------
    speed_rpm : array_like
    at_rpm, torque_nm : array_like
        The known point.

    Returns
    -------
    torque : ndarray
        [N m]
    """
    turning = np.asarray(speed_rpm, dtype=float) / np.asarray(at_rpm, dtype=float)
    return np.asarray(torque_nm * turning * np.abs(turning))


def at_frequency(motor: Motor, frequency_hz: float) -> Motor:
    """The same motor on mains of another frequency: its reactances go with it."""
    ratio = frequency_hz / motor.frequency_hz
    return replace(
        motor,
        frequency_hz=frequency_hz,
        main_leak_ohm=ratio * np.asarray(motor.main_leak_ohm),
        start_leak_ohm=ratio * np.asarray(motor.start_leak_ohm),
        magnetising_ohm=ratio * np.asarray(motor.magnetising_ohm),
        rotor_leak_ohm=ratio * np.asarray(motor.rotor_leak_ohm),
    )
