"""Where an output stage would be if its transistor were no slower than its load: Newton's start.

In saturation and in the dark the outline is the solution within millivolts; only the few
microseconds in which the pin is pulled low are steeper than they will be.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Phototransistor
from zcd.engine.network import Network, column
from zcd.engine.newton import base_currents, known_voltage
from zcd.engine.steady_state import Trajectory
from zcd.physics.optocoupler import collector_voltage_v

FloatArray = NDArray[np.float64]

MIN_GAP_V, MIN_CAPACITANCE_F = 1e-9, 1e-15


def lone_transistor(network: Network) -> Phototransistor | None:
    """The transistor of a network that has one active node, and no other branch; else None."""
    if network.active == 1 and len(network.branches) == 1:
        (element,) = network.branches
        return element if isinstance(element, Phototransistor) else None
    return None


def guess_output_v(
    network: Network,
    transistor: Phototransistor,
    photocurrent_a: FloatArray,
    inputs_v: FloatArray,
    trajectory: Trajectory,
) -> tuple[FloatArray, FloatArray]:
    """Outline of a network with one active node and a transistor as its only branch.

    Parameters
    ----------
    network : Network
        With capacitors.
    transistor : Phototransistor
    photocurrent_a : ndarray, shape (n, m)
    inputs_v : ndarray, shape (u, n, m)
    trajectory : Trajectory

    Returns
    -------
    active_v : ndarray, shape (1, n, m)
    collector_emitter_v : ndarray, shape (n, m)
    """
    size = photocurrent_a.shape[0]
    knee_v, knee_ratio, early_v = (
        column(value, size)
        for value in (transistor.knee_v, transistor.knee_ratio, transistor.early_v)
    )
    load_s = network.conductance_s[:, 0, 0, None]
    (current,) = base_currents(network, inputs_v, inputs_v.shape[1:])
    ends = network.place(transistor.a), network.place(transistor.b)
    sign = 1.0 if ends[0][0] == "active" else -1.0
    fixed_v = known_voltage(*ends, inputs_v)
    open_v = sign * current / load_s + fixed_v
    drop_v = photocurrent_a / load_s
    gap_v = open_v - collector_voltage_v(drop_v, open_v, knee_v, knee_ratio, early_v)
    across_v = open_v - _held(np.maximum(gap_v, MIN_GAP_V), network, trajectory)
    return np.asarray(sign * (across_v - fixed_v))[None], np.asarray(across_v)


def _held(gap_v: FloatArray, network: Network, trajectory: Trajectory) -> FloatArray:
    """What the gap is if it can close no faster than the load charges the capacitors."""
    charged_f = np.maximum(network.capacitance_f[:, :1, 0], MIN_CAPACITANCE_F)
    rate = network.conductance_s[:, :1, 0] / charged_f
    age = (trajectory.phase_rad - trajectory.phase_rad[:, :1]) / trajectory.omega_rad_per_s * rate
    held = np.log(gap_v) + age
    np.maximum.accumulate(held, axis=1, out=held)
    if trajectory.closed:
        # what the period before left
        period = 2.0 * np.pi / trajectory.omega_rad_per_s * rate
        np.maximum(held, held[:, -1:] - period, out=held)
    return np.exp(held - age)
