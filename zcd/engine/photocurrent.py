"""From LED current to photocurrent: CTR over current, temperature and age, and storage."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Circuit, Phototransistor
from zcd.engine.grid import mirror
from zcd.engine.network import column
from zcd.engine.steady_state import Trajectory, lagged
from zcd.physics.optocoupler import collected_current_a

FloatArray = NDArray[np.float64]


def photocurrents_a(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory | None,
    currents: Mapping[str, FloatArray],
) -> dict[str, FloatArray]:
    """Collector current, at VCE = 5 V, that the light calls for in each phototransistor."""
    result = {}
    for opto in circuit.of(Phototransistor):
        if opto.a not in island:
            continue
        size = circuit.size
        ratio = column(opto.ctr_ratio, size) * column(opto.remaining_ratio, size)
        celsius = column(opto.temperature_degc, size)
        weight = column(opto.shape_weight, size)
        light = np.zeros((size, 1))
        for number, led in enumerate(opto.leds):
            if led in currents:
                lit = _collected_a(currents[led], weight, celsius)
                light = light + (lit if number == 0 else lit * column(opto.second_led_ratio, size))
        light = ratio * light
        if trajectory is not None:
            points = trajectory.phase_rad.shape[1]
            light = np.broadcast_to(light, (size, points))
            light = lagged(light, column(opto.storage_s, size), trajectory)
        result[opto.ref] = light + column(opto.dark_a, size)
    return result


def _collected_a(led_a: FloatArray, weight: FloatArray, celsius: FloatArray) -> FloatArray:
    """As `collected_current_a`; once for points that mirror each other."""
    points = led_a.shape[1]
    if points % 4 == 0:
        rising, like = mirror(points)
        half = led_a[:, rising]
        if np.array_equal(half[:, like], led_a):
            return collected_current_a(half, weight, celsius)[:, like]
    return collected_current_a(led_a, weight, celsius)
