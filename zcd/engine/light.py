"""From LED current to photocurrent: CTR over current, temperature and age, and storage."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Circuit, Phototransistor
from zcd.engine.network import column
from zcd.engine.trajectory import Trajectory, lagged
from zcd.physics.optocoupler import ctr_shape_ratio, ctr_temperature_ratio

FloatArray = NDArray[np.float64]


def photocurrents_a(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory | None,
    currents: Mapping[str, FloatArray],
) -> dict[str, FloatArray]:
    """Collector current, at VCE = 5 V, that the light calls for in each phototransistor."""
    found = {}
    for opto in circuit.of(Phototransistor):
        if opto.a not in island:
            continue
        size = circuit.size
        ratio = column(opto.ctr_ratio, size) * column(opto.remaining_ratio, size)
        celsius = column(opto.temperature_degc, size)
        weight = column(opto.shape_weight, size)
        light = np.zeros((size, 1))
        for led in opto.leds:
            if led in currents:
                i = np.maximum(currents[led], 0.0)
                light = light + i * ctr_shape_ratio(i, weight) * ctr_temperature_ratio(i, celsius)
        light = ratio * light
        if trajectory is not None:
            points = trajectory.phase_rad.shape[1]
            light = np.broadcast_to(light, (size, points))
            light = lagged(light, column(opto.storage_s, size), trajectory)
        found[opto.ref] = light + column(opto.dark_a, size)
    return found
