"""Stress against closed forms and published examples."""

from __future__ import annotations

from itertools import product
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.diagnosis.boards import (
    CHAIN,
    CHAIN_OHM,
    CLAMP,
    HEAD,
    OUTPUT,
    R1_OHM,
    R2_OHM,
    RECTIFIER,
    RESISTORS,
    board,
    edited,
    joined,
)
from zcd.board.files import parse_board
from zcd.board.model import Board
from zcd.circuit.build import Conditions, build_circuit
from zcd.engine.solve import solve
from zcd.margin.check import nominal_check
from zcd.margin.stress import (
    ResistorStress,
    chain_resistors,
    resistor_stress,
    reverse_stress,
    worst_stress,
)
from zcd.refdata import table

ZENER_IN_SERIES = """mains = "230 V 50 Hz"
optocoupler = "817C"
circuit = ["feed - R7 51k - R8 51k - D1 1N4007 > - ZD1 33V @ < - led+", "led- - neutral"]
output = {pull_up = "12k", supply = "5 V"}
"""

ROWS = {str(row["id"]): row for row in table("zero_crossing_examples")}


def stresses(found: Board) -> dict[str, ResistorStress]:
    """Of a board at nominal mains, by reference."""
    solution = solve(build_circuit(found))
    listed = resistor_stress(solution, found, 25.0)
    return {s.resistor.ref: s for s in listed}


def one_resistor(ohm: str, mains: str) -> Board:
    text = joined(HEAD, RECTIFIER, CHAIN, OUTPUT).replace("230 V 50 Hz", mains)
    return parse_board(text.replace(RESISTORS, f'["{ohm}"]'))


@pytest.mark.published(
    "QA-HALF-WAVE-82K",
    where="82 kohm, 1N4004 and LED in series, 120 V: about 90 mW, 2 mA peak",
    rtol=0.05,
    why="one printed digit; the answer neglects the drops of diode and LED",
)
def test_power_of_a_published_half_wave_chain(published: SimpleNamespace) -> None:
    result = one_resistor("82k", "120 V 60 Hz")
    assert_allclose(
        stresses(result)["R1"].power_w[0], float(ROWS["T11b"]["expected_si"]), rtol=published.rtol
    )
    peak = solve(build_circuit(result)).currents_a["OC1.led"].max()
    assert_allclose(peak, float(ROWS["T11a"]["expected_si"]), rtol=published.rtol)


@pytest.mark.parametrize("mains_v", [120.0, 230.0])
@pytest.mark.parametrize("ohm", [82e3, 220e3])
def test_half_wave_power_in_closed_form(mains_v: float, ohm: float) -> None:
    """V^2 / 2R less the drops Vd: (V^2/2 - 2 sqrt(2) V Vd / pi + Vd^2 / 2) / R, Vd 1.5 V +- 0.3."""
    power = stresses(one_resistor(f"{ohm / 1e3:g}k", f"{mains_v:g} V 50 Hz"))["R1"].power_w[0]

    def closed(drop_v: float) -> float:
        linear = 2.0 * np.sqrt(2.0) * mains_v * drop_v / np.pi
        return float((mains_v**2 / 2.0 - linear + drop_v**2 / 2.0) / ohm)

    assert closed(1.8) < power < closed(1.2)
    assert power < mains_v**2 / (2.0 * ohm)


def test_resistors_in_series_share_by_value() -> None:
    result = stresses(board())
    ratio = R2_OHM / R1_OHM
    for name in ("power_w", "rms_v", "peak_v"):
        assert_allclose(getattr(result["R2"], name), ratio * getattr(result["R1"], name), rtol=1e-6)


def test_film_sees_the_whole_peak() -> None:
    """Half-wave or not, the limit is held against the rms of a sine with the same peak."""
    half, full = stresses(board())["R2"], stresses(board("two-led"))["R2"]
    share = 230.0 * R2_OHM / CHAIN_OHM
    assert_allclose(half.working_stress_v, share, rtol=0.01)
    assert_allclose(full.working_stress_v, share, rtol=0.01)
    assert_allclose(full.power_w, 2.0 * half.power_w, rtol=0.01)


def test_film_sees_the_rms_where_that_is_more() -> None:
    """A pull-up whose pin is low nearly all the time carries DC, not a sine of the same peak."""
    result = stresses(board("bridge"))["pull-up"]
    assert result.rms_v[0] > 1.2 * result.peak_v[0] / np.sqrt(2.0)
    assert_allclose(result.working_stress_v, result.rms_v)
    for stress in stresses(board("clamped")).values():
        larger = max(stress.rms_v[0], stress.peak_v[0] / np.sqrt(2.0))
        assert_allclose(stress.working_stress_v, larger)


@pytest.mark.parametrize(
    ("hot_degc", "share"), [(25.0, 1.0), (70.0, 1.0), (85.0, 0.824), (100.0, 0.647), (125.0, 0.353)]
)
def test_limit_is_derated_for_the_hot_ambient(hot_degc: float, share: float) -> None:
    """Shares as the makers' straight line from 70 to 155 degC gives them."""
    solution = solve(build_circuit(board()))
    stress = resistor_stress(solution, board(), hot_degc)[0]
    assert_allclose(stress.power_limit_w / stress.resistor.rated_power_w, share, atol=0.5e-3)


def test_every_resistor_is_listed_once() -> None:
    for name in ("parallel", "bridge", "across the LED", "emitter follower"):
        refs = [s.resistor.ref for s in nominal_check(board(name)).resistors]
        assert len(refs) == len(set(refs)) == len(chain_resistors(board(name))) + 1


def test_reverse_voltage_of_a_half_wave_rectifier_is_the_mains_peak() -> None:
    """Less the little that leakage leaves over the LED and the chain."""
    result = {s.ref: s for s in reverse_stress(solve(build_circuit(board())), board())}
    assert_allclose(result["D1"].reverse_v, np.sqrt(2.0) * 230.0, rtol=0.01)


def test_clamp_holds_the_led() -> None:
    """A diode across the LED leaves it less than a volt in reverse."""
    result = {
        s.ref: s for s in reverse_stress(solve(build_circuit(board("clamped"))), board("clamped"))
    }
    assert 0.4 < result["OC1.led"].reverse_v[0] < 1.0


def test_signal_diode_as_rectifier_breaks_down_into_the_led() -> None:
    """It blocks its rated voltage only; the rest drives the chain's current through the LED."""
    result = nominal_check(edited('"1N4007"', '"1N4148"'))
    rules = {rule.name: rule for rule in result.rules}
    assert not rules["D1 reverse voltage"].passes
    assert not rules["OC1.led reverse current"].passes
    led = next(s for s in result.reverse if s.ref == "OC1.led")
    expected = (np.sqrt(2.0) * 230.0 - 75.0 - 6.0) / CHAIN_OHM
    assert_allclose(led.reverse_a[1], expected, rtol=0.02)


@pytest.mark.parametrize("name", ["half-wave", "clamped", "bridge", "two-led"])
def test_worst_sharing_is_the_worst_of_all_corners(name: str) -> None:
    """Every resistor at either end, all combinations, solved one by one."""
    result = board(name)
    resistors = chain_resistors(result)
    corners = []
    for signs in product((-1.0, 1.0), repeat=len(resistors)):
        circuit = build_circuit(result, Conditions(mains_rms_v=result.mains.high_rms_v))
        for resistor, sign in zip(resistors, signs, strict=True):
            factor = 1.0 + sign * resistor.tolerance_ratio
            circuit = circuit.scale(resistor.ref, "resistance_ohm", factor)
        corners.append(resistor_stress(solve(circuit), result, 25.0))
    for number, worst in enumerate(worst_stress(result)[:-1]):
        for quantity in ("power_w", "working_stress_v"):
            highest = max(float(getattr(corner[number], quantity)[0]) for corner in corners)
            assert_allclose(getattr(worst, quantity).max(), highest, rtol=1e-4)


def test_unequal_sharing_in_exact_arithmetic() -> None:
    """110 k and 130 k of 5 %: 1.05 x 130 over 1.05 x 130 + 0.95 x 110 of the peak."""
    worst = {s.resistor.ref: s for s in worst_stress(board("clamped"))}
    share = 1.05 * 130.0 / (1.05 * 130.0 + 0.95 * 110.0)
    assert_allclose(worst["R2"].working_stress_v.max(), 253.0 * share, rtol=5e-3)
    # the larger part heats most where it is small too
    assert_allclose(
        worst["R2"].power_w.max(), (253.0 / 0.95 / 240e3) ** 2 * 0.95 * 130e3, rtol=0.02
    )


@pytest.mark.transcribed(
    "YAGEO-RC",
    where="table of working voltage: 0402 50 V, 0603 50 V, 0805 150 V, 1206 200 V",
    rtol=1e-9,
    why="a number of parts is whole",
)
@pytest.mark.parametrize(("style", "parts"), [("0402", 6), ("0603", 6), ("0805", 2), ("1206", 2)])
def test_parts_in_series_by_the_published_working_voltage(style: str, parts: int) -> None:
    """10 Mohm at 253 V: no power to speak of, so that the voltage decides; one more for a short."""
    text = joined(HEAD, CLAMP, CHAIN, 'topology = "clamped"\n', OUTPUT)
    text = text.replace(RESISTORS, '["10M"]').replace('"1206"', f'"{style}"')
    stress = worst_stress(parse_board(text))[0]
    assert stress.parts_in_series() == parts
    assert stress.parts_in_series(shorted=1) == parts + 1


def test_parts_in_series_where_power_decides() -> None:
    """220 kohm at 253 V: 306 mW at the low end, of 125 mW: three; five for one short."""
    text = joined(HEAD, CLAMP, CHAIN, 'topology = "clamped"\n', OUTPUT)
    stress = worst_stress(parse_board(text.replace(RESISTORS, '["220k"]')))[0]
    watts = 253.0**2 / (0.95 * 220e3)
    assert_allclose(stress.power_w.max(), watts, rtol=0.02)
    assert stress.parts_in_series() == int(np.ceil(watts / 0.125)) == 3
    # n in series, one shorted: n / (n - 1)^2 of the power in each
    assert watts * 4 / 3**2 > 0.125 > watts * 5 / 4**2
    assert stress.parts_in_series(shorted=1) == 5


@pytest.mark.parametrize(("watts", "status"), [("", "pass"), ("0.5 W", "pass"), ("40 mW", "fail")])
def test_the_power_of_a_zener_is_judged_where_it_is_hot(watts: str, status: str) -> None:
    """In series with the LED: its mean current at 33 V, against a line to nothing at 175 °C.

    The line: data sheets of 1N4728 and BZX55, power at 25 °C and highest junction temperature.
    """
    board = parse_board(ZENER_IN_SERIES.replace("@", watts))
    check = nominal_check(board)
    (rule,) = (r for r in check.rules if r.name == "ZD1 power")
    strong = check.levels[-1]
    assert rule.value == pytest.approx(33.0 * strong.led_mean_a, rel=0.03)
    rated_w = 0.04 if watts == "40 mW" else 0.5
    hot = board.service.hot_degc
    assert rule.limit == pytest.approx(rated_w * (175.0 - hot) / (175.0 - 25.0))
    assert rule.status == status
    assert rule.kind == ("limit" if watts else "expectation")
