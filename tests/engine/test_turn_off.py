"""How late the pin rises when the light goes out: the engine's own response, and the makers'.

A square wave of photocurrent is put into the isolated side, as the makers' test circuits do with
the LED. Storage, saturation and the capacitance act together in the engine, so the constants
have to be right for what the engine makes of them.
"""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.stats import norm

from tests.boards import NOMINAL_VT_V, capacitance, element_list, resistance
from zcd.circuit.elements import DcSource, Phototransistor
from zcd.engine.island import solve_network
from zcd.engine.kernel import lag
from zcd.engine.network import compile_island, input_voltages_v, island_of
from zcd.engine.trajectory import Trajectory, intervals_s
from zcd.physics.optocoupler import (
    OutputTransistor,
    output_transistor,
    turn_off_temperature_ratio,
)
from zcd.refdata import Row, columns, table

FloatArray = NDArray[np.float64]

LEVELS = (0.1, 0.9)
"""Of the supply: storage ends at the first, turn-off at the second, in the makers' sheets."""
PHOTOCURRENT_H11AA1_A = 31.5e-3
"""What fits figure 13 best. More than 10 mA in any case: 350 ohm could not be pulled to 1.5 V."""
FITS = table("turn_off_fit")
each_fit = pytest.mark.parametrize(
    "fit", FITS, ids=[f"{row['curve']}-{1e3 * float(row['led_current_a']):g}mA" for row in FITS]
)


def turn_off_s(
    model: OutputTransistor,
    photocurrent_a: float,
    pull_up_ohm: FloatArray,
    ends_v: tuple[float, float],
    points: int = 1500,
) -> FloatArray:
    """From the end of the light to the pin's rise through a level: (supply, level) in `ends_v`."""
    supply_v, level_v = ends_v
    size = pull_up_ohm.size
    transistor = Phototransistor(
        ref="Q",
        a="pin",
        b="logic0",
        leds=(),
        ctr_ratio=1.0,
        remaining_ratio=1.0,
        shape_weight=0.0,
        temperature_degc=25.0,
        dark_a=0.0,
        knee_v=model.emission_ratio * NOMINAL_VT_V,
        knee_ratio=model.knee_ratio,
        early_v=model.early_v,
        storage_s=model.storage_s,
    )
    circuit = element_list(
        DcSource(ref="supply", a="logic+", b="logic0", voltage_v=supply_v),
        resistance("R", "logic+", "pin", pull_up_ohm),
        transistor,
        capacitance("C", "pin", "logic0", model.miller_f),
    )
    period_s = 20.0 * (pull_up_ohm * model.miller_f + 5.0 * model.storage_s)[:, None]
    phase = np.broadcast_to(np.arange(points) * (2 * np.pi / points), (size, points)).copy()
    trajectory = Trajectory(phase, 2 * np.pi / period_s)
    light = np.where(phase < np.pi, photocurrent_a, 0.0)
    lag(light, intervals_s(trajectory), np.full((size, 1), model.storage_s), trajectory.closed)
    network = compile_island(circuit, island_of(circuit, "pin"), dynamic=True)
    inputs = input_voltages_v(network, phase)
    ((pin,), _, _) = solve_network(network, inputs, {transistor.ref: light}, trajectory)
    dark = phase >= np.pi
    after = np.argmax(dark & (pin > level_v), axis=1)[:, None]
    above, below = (np.take_along_axis(pin, after - k, axis=1) for k in (0, 1))
    share = (level_v - below) / (above - below)
    # the light goes out on a straight line over the step that ends half-way: its middle counts
    after_light = (after - 1 + share) / points - (0.5 - 0.5 / points)
    return np.asarray(after_light[:, 0] * period_s[:, 0])


def test_light_load_follows_the_exponentials() -> None:
    """Storage 10 us, no capacitance to speak of: the pin follows the dying photocurrent.

    10 mA into 100 ohm does not saturate at 5 V: through half of the drop after 10 us ln 2.
    """
    ideal = OutputTransistor(
        knee_ratio=141.0, emission_ratio=1.0, early_v=1e9, storage_s=10e-6, miller_f=1e-15
    )
    found_s = turn_off_s(ideal, 10e-3, np.array([100.0]), (5.0, 4.5), 4000)
    assert_allclose(found_s, 10e-6 * np.log(2.0), rtol=0.01)


def test_heavy_load_follows_its_time_constant() -> None:
    """100 kohm and 10 nF, storage too short to matter: 1 ms ln(5 / 3.5) after saturation."""
    ideal = OutputTransistor(
        knee_ratio=141.0, emission_ratio=1.0, early_v=1e9, storage_s=1e-9, miller_f=10e-9
    )
    found_s = turn_off_s(ideal, 10e-3, np.array([100e3]), (5.0, 1.5), 4000)
    assert_allclose(found_s, 1e-3 * np.log(5.0 / 3.5), rtol=0.02)


# ------------------------------------------------------------------ each maker by itself


def curve_of(fit: Row) -> tuple[FloatArray, FloatArray, float]:
    """Pull-ups of a maker's curve, times to both levels of shape (2, n), and the supply."""
    rows = columns("turn_off", curve=fit["curve"], led_current_a=fit["led_current_a"])
    here = rows["pull_up_ohm"] > float(fit["least_ohm"])
    rows = {name: values[here] for name, values in rows.items()}
    times_s = np.stack([rows["turn_off_s"] - rows["fall_s"], rows["turn_off_s"]])
    return rows["pull_up_ohm"], times_s, float(rows["supply_v"][0])


def to_both_levels_s(
    model: OutputTransistor, fit: Row, pull_up_ohm: FloatArray, supply_v: float
) -> FloatArray:
    """The engine's times to both levels, shape (2, n)."""
    photocurrent_a = float(fit["photocurrent_a"])
    return np.stack(
        [
            turn_off_s(model, photocurrent_a, pull_up_ohm, (supply_v, level * supply_v), 1000)
            for level in LEVELS
        ]
    )


def with_speed(model: OutputTransistor, storage_s: float, miller_f: float) -> OutputTransistor:
    return replace(model, storage_s=storage_s, miller_f=miller_f)


@each_fit
def test_speed_constants_are_the_least_squares_fit(fit: Row) -> None:
    """3 %: a third of the curves' reading error."""
    pull_up_ohm, times_s, supply_v = curve_of(fit)

    def left(logs: FloatArray) -> FloatArray:
        model = with_speed(output_transistor("817"), *np.exp(logs))
        result = to_both_levels_s(model, fit, pull_up_ohm, supply_v)
        return np.asarray(np.log(result / times_s)).ravel()

    fitted = np.exp(least_squares(left, np.log([8e-6, 3e-9]), xtol=1e-4, diff_step=0.02).x)
    assert_allclose([fit["storage_s"], fit["miller_f"]], fitted, rtol=0.03)


@each_fit
def test_law_follows_each_makers_curve(fit: Row) -> None:
    """With the maker's own two constants: 20 % in turn-off over a decade or more of loads.

    Storage alone, a quarter of it, is met within a factor of 1.6: in some sheets it rises faster
    with the load than one capacitance can make it.
    """
    pull_up_ohm, times_s, supply_v = curve_of(fit)
    model = with_speed(output_transistor("817"), float(fit["storage_s"]), float(fit["miller_f"]))
    storage, turn_off = to_both_levels_s(model, fit, pull_up_ohm, supply_v) / times_s
    assert np.all(np.abs(np.log(turn_off)) < np.log(1.2))
    assert np.all(np.abs(np.log(storage)) < np.log(1.6))


# ------------------------------------------------------------------ the class


def test_class_is_the_middle_of_its_makers() -> None:
    """Geometric means, three figures; the factor is 90 % of a normal spread, two figures."""
    made_of = [row for row in FITS if row["kind"] == "class"]
    logs = np.log([[float(row["storage_s"]), float(row["miller_f"])] for row in made_of])
    model = output_transistor("817")
    assert_allclose([model.storage_s, model.miller_f], np.exp(logs.mean(axis=0)), rtol=0.005)
    factor = np.exp(norm.ppf(0.95) * logs.std(axis=0, ddof=1))
    assert_allclose(model.speed_factor_ratio, factor.max(), rtol=0.02)
    farthest = np.exp(np.abs(logs - logs.mean(axis=0)).max())
    assert farthest < model.speed_factor_ratio


def ends(family: str) -> tuple[OutputTransistor, OutputTransistor]:
    """The fastest and the slowest part that a check carries."""
    model = output_transistor(family)
    factor = model.speed_factor_ratio
    return (
        with_speed(model, model.storage_s / factor, model.miller_f / factor),
        with_speed(model, model.storage_s * factor, model.miller_f * factor),
    )


@pytest.mark.circuit(
    "TOSHIBA-TLP293",
    where="figures 11.14 (16 mA) and 11.16 (1.6 mA), 4.7 to 100 kohm, to 10 and to 90 % of 5 V",
    rtol=0.14,
    why="scans: 2 % of logarithmic axes of three decades is 14 % of the value",
)
@pytest.mark.parametrize("fit", [row for row in FITS if row["kind"] == "witness"])
def test_class_covers_a_maker_that_was_left_out(fit: Row, published: SimpleNamespace) -> None:
    """No point of this maker went into the constants, nor into their spread."""
    pull_up_ohm, times_s, supply_v = curve_of(fit)
    fast, slow = (to_both_levels_s(m, fit, pull_up_ohm, supply_v) for m in ends("817"))
    assert np.all(fast < times_s * (1 + published.rtol))
    assert np.all(slow > times_s * (1 - published.rtol))


@pytest.mark.circuit(
    "TOSHIBA-TLP293",
    where="figure 11.16, turn-off at 1.6 mA, 10 to 100 kohm: the drive and loads of a sync circuit",
    rtol=0.30,
    why="half of the standard deviation from maker to maker, a factor of 1.67",
)
def test_middle_of_the_class_is_near_the_maker_left_out(published: SimpleNamespace) -> None:
    (fit,) = (row for row in FITS if row["kind"] == "witness" and row["led_current_a"] == 1.6e-3)
    pull_up_ohm, times_s, supply_v = curve_of(fit)
    here = pull_up_ohm >= 10e3
    found_s = to_both_levels_s(output_transistor("817"), fit, pull_up_ohm, supply_v)[1]
    assert_allclose(found_s[here], times_s[1][here], rtol=published.rtol)


@each_fit
def test_how_far_the_middle_is_from_each_maker(fit: Row) -> None:
    """To 90 % of the supply from 10 kohm up: what the guide to accuracy says."""
    pull_up_ohm, times_s, supply_v = curve_of(fit)
    here = pull_up_ohm >= 9.9e3
    if not here.any():  # EL-817 ends at 10 kohm
        return
    found = to_both_levels_s(output_transistor("817"), fit, pull_up_ohm[here], supply_v)[1]
    ratio = found / times_s[1][here]
    low, high = (1.05, 1.4) if fit["kind"] == "witness" else (0.5, 2.2)
    assert low < ratio.min() <= ratio.max() < high


@each_fit
def test_class_covers_each_maker(fit: Row) -> None:
    """Turn-off of every curve lies between the fastest and the slowest part that is carried."""
    pull_up_ohm, times_s, supply_v = curve_of(fit)
    fast, slow = (to_both_levels_s(m, fit, pull_up_ohm, supply_v)[1] for m in ends("817"))
    assert np.all(fast < times_s[1])
    assert np.all(slow > times_s[1])


PRINTED = [row for row in table("turn_off") if row["curve"] in {"TLP293-printed", "ACPL-214"}]


@pytest.mark.circuit(
    "TOSHIBA-TLP293",
    where="page 4: tOFF 35 us (16 mA, 1.9 kohm) and 47 us (1.6 mA, 4.7 kohm), typical; "
    "ACPL-214: 40 us (16 mA, 1.9 kohm)",
    rtol=0.05,
    why="typical values, printed to 1 or 5 us",
)
@pytest.mark.parametrize("row", PRINTED, ids=lambda row: str(row["curve"]))
def test_class_covers_printed_turn_off_times(row: Row, published: SimpleNamespace) -> None:
    """CTR of the samples 200 %, the middle of the makers' range; nominal 1.3 to 1.8 times."""
    light_a = 2.0 * float(row["led_current_a"])
    ohm, level = np.array([float(row["pull_up_ohm"])]), (5.0, 4.5)
    fast, slow = (turn_off_s(model, light_a, ohm, level) for model in ends("817"))
    nominal = turn_off_s(output_transistor("817"), light_a, ohm, level) / float(row["turn_off_s"])
    assert 1.3 < nominal < 1.8
    assert fast < float(row["turn_off_s"]) * (1 + published.rtol)
    assert slow > float(row["turn_off_s"]) * (1 - published.rtol)


@pytest.mark.fitted(
    "H11AA1",
    where="figure 13, 10 mA, 5 V, output through 1.5 V, 4.7 to 100 kohm",
    rtol=0.05,
    why="1 % of two-decade logarithmic axes",
)
def test_h11aa1_covers_its_makers_curve_and_the_class(published: SimpleNamespace) -> None:
    rows = columns("turn_off", curve="H11AA1")
    here = rows["pull_up_ohm"] > 4e3
    ohm, wanted_s = rows["pull_up_ohm"][here], rows["turn_off_s"][here]
    fast, slow = (
        turn_off_s(model, PHOTOCURRENT_H11AA1_A, ohm, (5.0, 1.5)) for model in ends("H11AA1")
    )
    assert np.all(fast < wanted_s * (1 + published.rtol))
    assert np.all(slow > wanted_s * (1 - published.rtol))
    assert_allclose(ends("H11AA1")[0].miller_f, ends("817")[0].miller_f, rtol=0.02)


# ------------------------------------------------------------------ temperature


@pytest.mark.law(
    "TOSHIBA-TLP281",
    where="page 6, 16 mA, 1.9 kohm: turn-off 23, 29, 48 us at -20, 25, 100 degC",
    rtol=0.15,
    why="read by eye; the other part of the maker that has a curve",
)
def test_turn_off_grows_with_heat_as_another_part_does(published: SimpleNamespace) -> None:
    rows = columns("turn_off_temperature", curve="TLP281")
    result = turn_off_temperature_ratio(rows["temperature_degc"])
    assert_allclose(result, rows["turn_off_ratio"], rtol=published.rtol)


def test_storage_grows_with_heat_about_as_turn_off_does() -> None:
    """One ratio for both constants: 12 % from 0 to 125 degC, of the one published curve."""
    rows = columns("turn_off_temperature", curve="TLP293")
    here = rows["temperature_degc"] >= 0.0
    result = turn_off_temperature_ratio(rows["temperature_degc"][here])
    assert_allclose(result, rows["storage_ratio"][here], rtol=0.12)
