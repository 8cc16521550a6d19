"""From LED current to photocurrent: CTR over current, temperature and age, and storage."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from zcd.circuit.elements import Circuit, Controlled, Release, Transistor
from zcd.engine.kernel import collect, lag
from zcd.engine.network import column
from zcd.engine.trajectory import Trajectory, intervals_s
from zcd.physics.optocoupler import ctr_corners_a, ctr_shape_ratio, ctr_temperature_ratio

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
        lit = {led: currents[led] for led in opto.leds if led in currents}
        points = max((wave.shape[1] for wave in lit.values()), default=1)
        light = np.zeros((size, points if trajectory is None else trajectory.phase_rad.shape[1]))
        for led, wave in lit.items():
            share = ratio if led == opto.leds[0] else ratio * column(opto.second_led_ratio, size)
            collect(np.ascontiguousarray(wave), *_ctr_table(circuit, opto.ref), share, light)
        if trajectory is not None:
            storage_s = column(opto.storage_s, size)
            lag(light, intervals_s(trajectory), storage_s, trajectory.closed)
        result[opto.ref] = light + column(opto.dark_a, size)
    return result


@lru_cache(maxsize=4)  # of one circuit: on the coarse grid and on the fine one
def _ctr_table(circuit: Circuit, ref: str) -> tuple[FloatArray, FloatArray]:
    """CTR over that at 5 mA and 25 degC, as a table in logs; gain is the same at all currents."""
    opto, size = circuit[ref], circuit.size
    assert isinstance(opto, Controlled)
    if isinstance(opto, Transistor | Release):
        return np.arange(2.0), np.zeros((size, 2))
    own, weight = column(opto.own_shape, size), column(opto.shape_weight, size)
    current = ctr_corners_a(own)
    heat = ctr_temperature_ratio(current, column(opto.temperature_degc, size), own)
    return np.log(current), np.log(ctr_shape_ratio(current, weight, own) * heat)


def saturated_ratio(part: Transistor, collector_emitter_v: FloatArray) -> FloatArray:
    """Base current over that of the amplifying transistor, at the same base-emitter voltage."""
    size = collector_emitter_v.shape[0]
    above_v = collector_emitter_v - column(part.offset_v, size)
    ratio = column(part.knee_ratio, size)
    return 1.0 + ratio * np.exp(-np.clip(above_v / column(part.knee_v, size), 0.0, 60.0))
