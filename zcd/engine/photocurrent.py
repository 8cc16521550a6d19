"""From LED current to photocurrent: CTR over current, temperature and age, and storage."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Circuit, Controlled, Release, Transistor
from zcd.engine.grid import mirror
from zcd.engine.network import column
from zcd.engine.trajectory import Trajectory, lagged
from zcd.physics.optocoupler import collected_current_a

FloatArray = NDArray[np.float64]


def photocurrents_a(
    circuit: Circuit,
    island: frozenset[str],
    trajectory: Trajectory | None,
    currents: Mapping[str, FloatArray],
) -> dict[str, FloatArray]:
    """Collector current, at VCE = 5 V, that the light calls for in each phototransistor.

    Of a base-emitter junction whose transistor `currents` has a `saturated_ratio` of, that.
    """
    result: dict[str, FloatArray] = {}
    for part in circuit.of(Transistor):
        if part.ref in currents:
            result |= dict.fromkeys(part.leds, currents[part.ref])
            return result
    for opto in circuit.of(Controlled):
        if not island.issuperset(opto.nodes):
            continue
        size = circuit.size
        ratio = column(opto.ctr_ratio, size) * column(opto.remaining_ratio, size)
        celsius = column(opto.temperature_degc, size)
        weight, own = column(opto.shape_weight, size), column(opto.own_shape, size)
        light = np.zeros((size, 1))
        for number, led in enumerate(opto.leds):
            if led in currents:
                if isinstance(opto, Transistor | Release):
                    lit = np.maximum(currents[led], 0.0)
                else:
                    lit = _collected_a(currents[led], weight, celsius, own)
                light = light + (lit if number == 0 else lit * column(opto.second_led_ratio, size))
        light = ratio * light
        if trajectory is not None:
            points = trajectory.phase_rad.shape[1]
            light = np.broadcast_to(light, (size, points))
            light = lagged(light, column(opto.storage_s, size), trajectory)
        result[opto.ref] = light + column(opto.dark_a, size)
    return result


def saturated_ratio(part: Transistor, collector_emitter_v: FloatArray) -> FloatArray:
    """Base current over that of the amplifying transistor, at the same base-emitter voltage."""
    size = collector_emitter_v.shape[0]
    above_v = collector_emitter_v - column(part.offset_v, size)
    ratio = column(part.knee_ratio, size)
    return 1.0 + ratio * np.exp(-np.clip(above_v / column(part.knee_v, size), 0.0, 60.0))


def _collected_a(led_a: FloatArray, *law: FloatArray) -> FloatArray:
    """As `collected_current_a`; once for points that mirror each other."""
    points = led_a.shape[1]
    if points % 4 == 0:
        rising, like = mirror(points)
        half = led_a[:, rising]
        if np.array_equal(half[:, like], led_a):
            return collected_current_a(half, *law)[:, like]
    return collected_current_a(led_a, *law)
